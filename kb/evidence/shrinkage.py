"""Let a group with few findings borrow from wider groups.

The groups form a tree (a set is in its family, a family in its make and era, and so on). In each group the
chance of a symbol is

    p(symbol | group) = (n(symbol) + c q(symbol) + s p(symbol | next wider group)) / (n + c + s)

``n`` counts the findings of the group. ``q`` is a prior worth ``c`` sets, if the caller has one for the
group; it replaces the wider groups' priors. ``s`` is the *strength* of the level: how many sets of its own a
group needs to weigh as much as the next wider one. This is the predictive rule of the hierarchical Dirichlet
process (Teh, Jordan, Beal & Blei 2006). A group does not pass every finding up: ten visits to one set count
ten times for the set, and once for its family. It passes the expected number of independent draws (tables of
the Chinese restaurant process, Antoniak 1974). That is near one if the group is uniform, and near the count
if it is as mixed as the wider group.

The strengths are learned from the findings. Each level has its own one-dimensional search over ln s for the
greatest marginal likelihood of the groups' counts (Dirichlet-multinomial; MacKay & Peto 1995). Each group is
judged against its wider group *without* its own contribution, times a broad log-normal prior.

Symbols may be made of *parts* (a panel of its outputs). Then a new member of a group is drawn either whole,
like the members seen, or part by part at the group's own rates:

    p(symbol | new member) = (1 - w) p(symbol | group) + w product over parts of rate or (1 - rate)

So a family is still recognised if its sets differ in one odd jack. The share ``w`` of each level is learned
like the strengths; whole panels seen often enough outweigh it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from functools import partial
from itertools import combinations, pairwise
from math import exp, log1p
from types import MappingProxyType
from typing import Any, Final

from kb.evidence.numerics import SPREAD, best, expected_tables, log_rising, sampled, strength_of

Path = Sequence[tuple[str, str]]  #: (level, key) from the widest group to the narrowest
Counts = dict[str, float]
Groups = dict[str, dict[str, Counts]]  #: by level and key

RARE: Final = 0.002  #: the rate of a part before there are findings
UNCERTAIN: Final = 7  #: uncertain parts of a group whose combinations are listed, at most


def nothing(level: str, key: str) -> Mapping[str, float]:
    """Return no prior of its own for any group."""
    return {}


def alone(level: str, key: str) -> tuple[str, ...]:
    """Return no wider variants of any group."""
    return ()


class Tree:
    """Hold counts of symbols by group, the chances that follow, and the strengths of the levels.

    ``levels`` go from the widest to the narrowest. ``base(key, symbol)`` is the chance of a symbol before any
    finding, for the widest group ``key``: above zero for each symbol. ``widened`` names the groups of the
    same level that also count the findings of one. ``room``: the share of symbols that ``prior`` does not
    list. ``parts`` splits a symbol into its parts.
    """

    def __init__(
        self,
        levels: Sequence[str],
        base: Callable[[str, str], float],
        *,
        prior: Callable[[str, str], Mapping[str, float]] = nothing,
        worth: float = 0.0,
        room: float = 0.0,
        widened: Callable[[str, str], tuple[str, ...]] = alone,
        parts: Callable[[str], Sequence[str]] | None = None,
        centre: float = 2.0,
        centres: Mapping[str, float] | None = None,
        strengths: Mapping[str, float] | None = None,
    ) -> None:
        self.levels = tuple(levels)
        self.base, self.prior, self.worth, self._widened, self._centre = base, prior, worth, widened, centre
        self.room = room
        self._parts = parts
        self._centres = dict.fromkeys(self.levels, centre) | dict(centres or {})
        self.strengths = dict(self._centres)
        if parts is not None:
            self.strengths |= {rate_name(level): centre for level in self.levels[:-1]}
            self.strengths |= {share_name(level): 0.5 for level in self.levels[:-1]}
        self.strengths |= strengths or {}
        self._strength_names = tuple(self.strengths)
        self.seen: dict[str, dict[str, Counts]] = {level: {} for level in self.levels}
        self._own: dict[str, Counts] = {}
        self._over: dict[str, dict[str, str]] = {level: {} for level in self.levels}
        self._parted: dict[tuple[str, str], tuple[Counts, float, Counts, float]] = {}
        self._known_parts: tuple[str, ...] = ()

    # -- counting ------------------------------------------------------------------------------

    def add(self, path: Path, symbol: str, weight: float) -> None:
        """Add one finding of the narrowest group of ``path``, which names a group of every level."""
        for (_, outer), (level, key) in pairwise(path):
            self._over[level][key] = outer
        counts = self._own.setdefault(path[-1][1], {})
        counts[symbol] = counts.get(symbol, 0.0) + weight

    def count(self, path: Path, counts: Mapping[str, float]) -> None:
        """Add all findings of the narrowest group of ``path``."""
        for symbol, n in counts.items():
            self.add(path, symbol, n)

    def recount(self, key: str, counts: Counts) -> None:
        """Replace the findings of a narrowest group."""
        self._own[key] = counts

    def _saw(self, seen: Groups) -> None:
        self._parted = {}
        if self._parts is not None:
            every = {symbol for counts in seen[self.levels[0]].values() for symbol in counts}
            every |= {
                symbol for key in seen[self.levels[0]] or ("",) for symbol in self.prior(self.levels[0], key)
            }
            self._known_parts = tuple(sorted({part for symbol in every for part in self._parts(symbol)}))
        self.seen = seen  # last: another thread that finds it here (see fill_later) finds the rest, too

    # -- asking --------------------------------------------------------------------------------

    def p(self, path: Path, symbol: str) -> float:
        """Return the chance of ``symbol`` in the narrowest group of ``path``, which may lack levels."""
        return self.chances(path, (symbol,))[symbol]

    def chances(self, path: Path, symbols: Iterable[str]) -> dict[str, float]:
        """Return the chance of each of ``symbols`` in the narrowest group of ``path``."""
        found = dict.fromkeys(symbols, 0.0)  #: share from findings
        left, first = 1.0, {symbol: self.base(path[0][1], symbol) for symbol in found}
        rates: Mapping[str, float] = {}
        for level, key in path:
            counts, prior = self.seen[level].get(key, {}), self.prior(level, key)
            worth, strength = self.worth if prior else 0.0, self.strengths[level]
            if prior:
                first = {symbol: self.first(prior, path[0][1], symbol) for symbol in found}
            whole = sum(counts.values()) + worth + strength
            found = {symbol: (counts.get(symbol, 0.0) + strength * p) / whole for symbol, p in found.items()}
            left = (worth + strength * left) / whole
            if self._parts is not None and level != self.levels[-1]:
                rates = self._rates(level, key, rates)
                blank = none_of(rates)
                w = self.strengths[share_name(level)] * (1 - left)
                found = {
                    symbol: (1 - w) * p + w * self._by_parts(symbol, rates, blank)
                    for symbol, p in found.items()
                }
                left *= 1 - w
        return {symbol: p + left * first[symbol] for symbol, p in found.items()}

    def first(self, prior: Mapping[str, float], top: str, symbol: str) -> float:
        """Return the chance by a prior, with ``room`` for symbols that it does not list."""
        any_one = self.base(top, symbol)
        return (1 - self.room) * prior.get(symbol, 0.0) + self.room * any_one if prior else any_one

    def rates(self, path: Path) -> dict[str, float]:
        """Return how often members of the narrowest group of ``path`` have each part."""
        rates: dict[str, float] = {}
        for level, key in path:
            rates = self._rates(level, key, rates)
        return rates

    def _rates(
        self, level: str, key: str, wider: Mapping[str, float], away: Mapping[str, float] | None = None
    ) -> dict[str, float]:
        """Return how often members of a group have each part."""
        known = self._parted.get((level, key))
        if known is None:
            prior, _ = self._part_counts(self.prior(level, key))
            counts, total = self._part_counts(self.seen[level].get(key, {}))
            known = self._parted[level, key] = counts, total, prior, self.worth if prior else 0.0
        counts, total, prior, worth = known
        strength = self.strengths[rate_name(level)]
        if away:
            gone, lost = self._part_counts(away)
            counts = {part: max(0.0, n - gone.get(part, 0.0)) for part, n in counts.items()}
            total = max(0.0, total - lost)
        whole = total + worth + strength
        rates = {}
        for part in self._known_parts:
            n = counts.get(part, 0.0) + worth * prior.get(part, 0.0) + strength * wider.get(part, RARE)
            rates[part] = min(1 - 1e-6, n / whole)
        return rates

    def _part_counts(self, counts: Mapping[str, float]) -> tuple[Counts, float]:
        assert self._parts is not None
        found: Counts = {}
        total = 0.0
        for symbol, n in counts.items():
            total += n
            for part in self._parts(symbol):
                found[part] = found.get(part, 0.0) + n
        return found, total

    def _by_parts(self, symbol: str, rates: Mapping[str, float], blank: float) -> float:
        assert self._parts is not None
        p = blank
        for part in self._parts(symbol):
            rate = rates.get(part, 0.0)
            p *= rate / (1 - rate)
        return p

    def symbols(self, path: Path) -> set[str]:
        """Return every symbol that a group of ``path`` has seen or its prior names."""
        found: set[str] = set()
        for level, key in path:
            found |= self.seen[level].get(key, {}).keys()
            found |= self.prior(level, key).keys()
        return found

    def combinations(self, path: Path) -> set[frozenset[str]]:
        """Return the combinations of parts that the groups of ``path`` make likely, seen together or not.

        For each group these are the certain parts, with every choice of the most uncertain ones.
        """
        found: set[frozenset[str]] = set()
        rates: Mapping[str, float] = {}
        for level, key in path:
            if level == self.levels[-1]:
                break
            rates = self._rates(level, key, rates)
            sure = {part for part, rate in rates.items() if rate > 0.5}
            open_parts = sorted(rates, key=lambda part: abs(rates[part] - 0.5))[:UNCERTAIN]
            for n in range(len(open_parts) + 1):
                for some in combinations(open_parts, n):
                    found.add(frozenset(sure.symmetric_difference(some)))
        return found

    def shares(self, path: Path) -> dict[str, float]:
        """Return the share of each level of ``path`` in the answer; ``prior`` is the rest. They sum to 1.

        The share of a level includes its answer part by part.
        """
        shares: dict[str, float] = {"prior": 1.0}
        by_parts, left = dict(shares), 1.0
        for level, key in path:
            total = sum(self.seen[level].get(key, {}).values())
            worth = self.worth if self.prior(level, key) else 0.0
            strength = self.strengths[level]
            shares = _diluted(shares, level, total, worth, strength)
            left = (worth + strength * left) / (total + worth + strength)
            if self._parts is not None and level != self.levels[-1]:
                by_parts = _diluted(by_parts, level, total, worth, self.strengths[rate_name(level)])
                w = self.strengths[share_name(level)] * (1 - left)
                shares = {one: (1 - w) * p + w * by_parts[one] for one, p in shares.items()}
                left *= 1 - w
        return shares

    # -- keeping -------------------------------------------------------------------------------

    def to_dict(self) -> dict[str, Any]:
        """Return strengths and counts as plain values for JSON."""
        return {"strengths": self.strengths, "seen": self.seen}

    def fill(self, data: Mapping[str, Any]) -> None:
        """Load strengths and counts from ``to_dict``; such a tree answers, and takes no more findings."""
        self.strengths = {name: float(data["strengths"][name]) for name in self._strength_names}
        self._saw({level: data["seen"][level] for level in self.levels})

    def fill_later(self, read: Callable[[], Mapping[str, Any]]) -> None:
        """Load what ``read`` returns when the tree is first asked: a cold look-up asks few of the trees."""
        self._read = read
        del self.strengths, self.seen

    def __getattr__(self, name: str) -> Any:
        """Load a tree that was not asked before; two threads that do so at once load the same."""
        if name not in ("strengths", "seen"):
            raise AttributeError(name)
        self.fill(self._read())
        return self.__dict__[name]


def _diluted(
    shares: Mapping[str, float], level: str, total: float, worth: float, strength: float
) -> dict[str, float]:
    """Return the shares after adding a level with so many findings."""
    whole = total + worth + strength
    found = {one: strength * p / whole for one, p in shares.items()}
    found["prior"] += worth / whole
    found[level] = total / whole
    return found


def rate_name(level: str) -> str:
    """Return the name of the strength of a level's rates of parts."""
    return f"{level}, rates"


def share_name(level: str) -> str:
    """Return the name of the share of a level's members that are drawn part by part."""
    return f"{level}, by parts"


def none_of(rates: Mapping[str, float]) -> float:
    return exp(sum([log1p(-rate) for rate in rates.values()]))


ROUNDS: Final = 4  #: passes up and down; counts passed up settle to three digits on the books tried
MOST: Final = 1000  #: groups of a level that its strength is learned from; more are sampled evenly


def settle(
    tree: Tree,
    learn: bool = True,
    progress: Callable[[int, int], None] | None = None,
    share: Callable[[Chances, Groups], None] | None = None,
) -> None:
    """Pass counts up and chances down until they agree; with ``learn``, find the strengths too.

    ``progress`` gets the rounds done and their number. Between rounds ``share`` may change the counts of the
    narrowest groups; it gets the chances and the counts that each group passed up.
    """
    for turn in range(ROUNDS):
        arrived, tables = _pass_up(tree, first=turn == 0)
        if learn and turn:
            _learn(tree, arrived, tables)
        if share and turn < ROUNDS - 1:
            share(Chances(tree), tables)
        if progress:
            progress(turn + 1, ROUNDS)


def _pass_up(tree: Tree, *, first: bool) -> tuple[Groups, Groups]:
    """Return the counts that came to each group, and those that it passed up. Renews ``seen``."""
    chances = Chances(tree)
    tables: Groups = {level: {} for level in tree.levels}
    seen: Groups = {level: {} for level in tree.levels}
    arrived: Groups = {level: {} for level in tree.levels}
    arrived[tree.levels[-1]] = tree._own
    for place in range(len(tree.levels) - 1, -1, -1):
        level = tree.levels[place]
        strength = tree.strengths[level]
        for key, counts in arrived[level].items():
            for wide in (key, *tree._widened(level, key)):
                _add(seen[level].setdefault(wide, {}), counts)
            passed = {
                symbol: min(n, 1.0)
                if first
                else expected_tables(strength * chances.wider(level, key, symbol), n)
                for symbol, n in counts.items()
            }
            tables[level][key] = passed
            if place:
                _add(arrived[tree.levels[place - 1]].setdefault(tree._over[level][key], {}), passed)
    tree._saw(seen)
    return arrived, tables


def _learn(tree: Tree, arrived: Groups, tables: Groups) -> None:
    for place, level in enumerate(tree.levels):
        chances = Chances(tree)
        groups = sampled([key for key, counts in arrived[level].items() if sum(counts.values()) > 0], MOST)
        if place and tree._parts is not None:
            _learn_parts(tree, tree.levels[place - 1], level, groups, arrived, tables, chances)
        counted = []
        for key in groups:
            counts = arrived[level][key]
            # A single finding does not show how alike the findings of a group are.
            if sum(counts.values()) > 1:
                wider = chances.wider_without(level, key, tables[level][key])
                counted.append([(n, wider(symbol)) for symbol, n in counts.items() if n > 0])
        if counted:
            tree.strengths[level] = strength_of(counted, centre=tree._centres[level])


def _learn_parts(
    tree: Tree,
    above: str,
    level: str,
    groups: Sequence[str],
    arrived: Groups,
    tables: Groups,
    chances: Chances,
) -> None:
    """Return the share of members drawn part by part in groups ``above``, and the strength of rates."""
    drawn: list[tuple[float, float, float]] = []
    for key in groups:
        two_ways = chances.two_ways(above, tree._over[level][key], tables[level][key])
        drawn += [(n, *two_ways(symbol)) for symbol, n in arrived[level][key].items() if n > 0]
    strength = tree.strengths[level]

    def score(logit: float) -> float:
        w = 1 / (1 + exp(-logit))
        chance = [log_rising(strength * max(1e-12, (1 - w) * j + w * i), n) for n, j, i in drawn]
        return sum(chance) - (logit / SPREAD) ** 2 / 2

    tree.strengths[share_name(above)] = 1 / (1 + exp(-best(score, -5.0, 5.0)))
    place = tree.levels.index(above)
    counted: list[list[tuple[float, float]]] = []
    for key, counts in arrived[above].items():
        total = sum(counts.values())
        if total <= 1:
            continue
        away = tables[above][key] if place else {}
        rates = chances.rates_over(above, key, away)
        parted, _ = tree._part_counts(counts)
        for part, rate in rates.items():
            n = parted.get(part, 0.0)
            counted.append([(n, rate), (total - n, 1 - rate)])
    if counted:
        tree.strengths[rate_name(above)] = strength_of(sampled(counted, MOST), centre=tree._centre)


class Chances:
    """Compute chances and rates of the groups that findings belong to, each once."""

    def __init__(self, tree: Tree) -> None:
        self._tree = tree
        self._known: dict[tuple[str, str, str], float] = {}
        self._both: dict[tuple[str, str], Callable[[str], tuple[float, float]]] = {}
        self._rate: dict[tuple[str, str], tuple[dict[str, float], float]] = {}
        self._left: dict[tuple[str, str], tuple[float, float]] = {}
        self._prior: dict[tuple[str, str], tuple[Mapping[str, float], str]] = {}

    def wider(self, level: str, key: str, symbol: str) -> float:
        """Return the chance in the group around this one."""
        above = self._above(level, key)
        return self.first(level, key, symbol) if above is None else self.member(*above, symbol)

    def wider_without(self, level: str, key: str, away: Mapping[str, float]) -> Callable[[str], float]:
        """Return a function like ``wider`` for many symbols, without the counts from ``away``."""
        above = self._above(level, key)
        return partial(self.first, level, key) if above is None else self.without(*above, away)

    def member(self, level: str, key: str, symbol: str) -> float:
        """Return the chance of ``symbol`` for a new member of a group."""
        left, w = self._left_in(level, key)
        return self._found(level, key, symbol) + (1 - w) * left * self.first(level, key, symbol)

    def without(self, level: str, key: str, away: Mapping[str, float]) -> Callable[[str], float]:
        """Return a function like ``member`` for many symbols, without the counts from ``away``."""
        left, w = self._left_in(level, key, away)
        ways = self._ways(level, key, away)

        def member(symbol: str) -> float:
            whole, parted = ways(symbol)
            return (1 - w) * (whole + left * self.first(level, key, symbol)) + w * parted

        return member

    def two_ways(
        self, level: str, key: str, away: Mapping[str, float]
    ) -> Callable[[str], tuple[float, float]]:
        """Return a function that gives the chance of a symbol with whole members, and with members part by
        part, in a group without the counts from ``away``.
        """
        left, _ = self._left_in(level, key, away)
        ways = self._ways(level, key, away)

        def both(symbol: str) -> tuple[float, float]:
            found, parted = ways(symbol)
            whole = found + left * self.first(level, key, symbol)
            return whole, left * whole + (1 - left) * parted

        return both

    def first(self, level: str, key: str, symbol: str) -> float:
        """Return the prior chance in a group: its own, or that of the next wider one that has one."""
        prior, top = self._prior_of(level, key)
        return self._tree.first(prior, top, symbol)

    def rates_over(self, level: str, key: str, away: Mapping[str, float] | None = None) -> dict[str, float]:
        """Return the rates of parts in the group around this one."""
        tree, above = self._tree, self._above(level, key)
        if above is None:
            return dict.fromkeys(tree._known_parts, RARE)
        return tree._rates(*above, self.rates_over(*above), away) if away else self.rates_of(*above)[0]

    def rates_of(self, level: str, key: str) -> tuple[dict[str, float], float]:
        """Return the rates of parts in a group, and the chance that a member has none of them."""
        if (level, key) not in self._rate:
            rates = self._tree._rates(level, key, self.rates_over(level, key))
            self._rate[level, key] = rates, none_of(rates)
        return self._rate[level, key]

    def _found(self, level: str, key: str, symbol: str) -> float:
        """Return the part of the chance of ``symbol`` that comes from findings."""
        known = self._known.get((level, key, symbol))
        if known is None:
            _, w = self._left_in(level, key)
            if (level, key) not in self._both:
                self._both[level, key] = self._ways(level, key, {})
            whole, parted = self._both[level, key](symbol)
            known = self._known[level, key, symbol] = (1 - w) * whole + w * parted
        return known

    def _ways(self, level: str, key: str, away: Mapping[str, float]) -> Callable[[str], tuple[float, float]]:
        """Return a function that gives what findings say of a symbol, as a whole and part by part."""
        tree, above = self._tree, self._above(level, key)
        counts = tree.seen[level].get(key, {})
        total, strength = self._whole(level, key, away)
        rates: Mapping[str, float] = {}
        blank = 0.0
        by_parts = tree._parts is not None and level != tree.levels[-1]
        if by_parts:
            if away:
                rates = tree._rates(level, key, self.rates_over(level, key), away)
                blank = none_of(rates)
            else:
                rates, blank = self.rates_of(level, key)

        def ways(symbol: str) -> tuple[float, float]:
            n = counts.get(symbol, 0.0)
            if away:
                n = max(0.0, n - away.get(symbol, 0.0))
            whole = (n + strength * (self._found(*above, symbol) if above else 0.0)) / total
            return whole, tree._by_parts(symbol, rates, blank) if by_parts else 0.0

        return ways

    def _whole(self, level: str, key: str, away: Mapping[str, float]) -> tuple[float, float]:
        tree = self._tree
        total = sum(tree.seen[level].get(key, {}).values())
        if away:
            total = max(0.0, total - sum(away.values()))
        strength = tree.strengths[level]
        return total + strength + (tree.worth if tree.prior(level, key) else 0.0), strength

    def _left_in(
        self, level: str, key: str, away: Mapping[str, float] = MappingProxyType({})
    ) -> tuple[float, float]:
        """Return the share of whole members that rests on no finding, and the share drawn part by part."""
        known = None if away else self._left.get((level, key))
        if known is not None:
            return known
        tree, above = self._tree, self._above(level, key)
        outer = 1.0
        if above is not None:
            left, w = self._left_in(*above)
            outer = left * (1 - w)
        whole, strength = self._whole(level, key, away)
        left = ((tree.worth if tree.prior(level, key) else 0.0) + strength * outer) / whole
        parted = tree._parts is not None and level != tree.levels[-1]
        found = left, tree.strengths[share_name(level)] * (1 - left) if parted else 0.0
        if not away:
            self._left[level, key] = found
        return found

    def _above(self, level: str, key: str) -> tuple[str, str] | None:
        tree = self._tree
        place = tree.levels.index(level)
        return (tree.levels[place - 1], tree._over[level][key]) if place else None

    def _prior_of(self, level: str, key: str) -> tuple[Mapping[str, float], str]:
        """Return the prior that applies to a group, and the key of the widest group around it."""
        if (level, key) not in self._prior:
            above = self._above(level, key)
            own = self._tree.prior(level, key)
            outer, top = self._prior_of(*above) if above else ({}, key)
            self._prior[level, key] = own or outer, top
        return self._prior[level, key]


def _add(into: Counts, more: Mapping[str, float]) -> None:
    for symbol, n in more.items():
        into[symbol] = into.get(symbol, 0.0) + n
