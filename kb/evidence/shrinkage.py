"""Let a group with few findings borrow from wider groups.

A tree of circles (a set in its family in its make and era ...). In each circle the chance of a symbol is

    p(symbol | circle) = (n(symbol) + c q(symbol) + s p(symbol | next wider circle)) / (n + c + s)

where ``n`` counts what the circle has seen, ``q`` is a prior worth ``c`` sets (where the caller has one for
the circle), and ``s`` is the *strength* of the level: how many sets of its own a circle needs before it is
believed as much as the next wider one. This is the predictive rule of the hierarchical Dirichlet process
(Teh, Jordan, Beal & Blei 2006). A circle does not pass every finding up: ten visits to one set say ten times
what that set is, and once what its family is like. What is passed is the expected number of independent
draws (tables of the Chinese restaurant process, Antoniak 1974): near one where the circle is all of a piece,
near the count where it is as mixed as the wider circle.

The strengths are learned from the findings: for each level by itself a one-dimensional search over ln s for
the greatest marginal likelihood of the circles' counts (Dirichlet-multinomial; MacKay & Peto 1995), each
circle judged against its wider circle *without* what it passed up itself, times a broad log-normal prior.

Symbols may be made of *parts* (a panel of its outputs). Then a new member of a circle is drawn either like
the members seen, as a whole, or part by part at the circle's own rates:

    p(symbol | new member) = (1 - w) p(symbol | circle) + w product over parts of rate or (1 - rate)

(the product scaled to symbols of one part at least: what has none is a kind of its own, not a coincidence)
so that a family whose sets differ in one odd jack is still known by the others. The share ``w`` of each
level is learned like the strengths; whole panels seen often enough outweigh it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from itertools import combinations, pairwise
from math import exp, log1p
from typing import Any, Final

Path = Sequence[tuple[str, str]]  #: (level, key) from the widest circle to the narrowest
Counts = dict[str, float]
Circles = dict[str, dict[str, Counts]]  #: by level and key

RARE: Final = 0.002  #: the rate of a part before anything is known of it
UNCERTAIN: Final = 7  #: parts of a circle that may be there or not when its combinations are listed


def nothing(level: str, key: str) -> Mapping[str, float]:
    """No prior of its own for any circle."""
    return {}


def alone(level: str, key: str) -> tuple[str, ...]:
    """No wider variants of any circle."""
    return ()


class Tree:
    """Counts of symbols by circle, the chances that follow, and the strengths of the levels.

    ``levels`` go from the widest to the narrowest. ``base(key, symbol)`` is the chance of a symbol before
    anything is known, for the widest circle ``key``: above zero for each symbol. ``widened`` names the
    circles of the same level that also see what comes to one. ``parts`` splits a symbol into its parts.
    """

    def __init__(
        self,
        levels: Sequence[str],
        base: Callable[[str, str], float],
        *,
        prior: Callable[[str, str], Mapping[str, float]] = nothing,
        worth: float = 0.0,
        widened: Callable[[str, str], tuple[str, ...]] = alone,
        parts: Callable[[str], Sequence[str]] | None = None,
        centre: float = 2.0,
        strengths: Mapping[str, float] | None = None,
    ) -> None:
        self.levels = tuple(levels)
        self.base, self.prior, self.worth, self._widened, self._centre = base, prior, worth, widened, centre
        self._parts = parts
        self.strengths = dict.fromkeys(self.levels, centre)
        if parts is not None:
            self.strengths |= {rate_name(level): centre for level in self.levels[:-1]}
            self.strengths |= {share_name(level): 0.5 for level in self.levels[:-1]}
        self.strengths |= strengths or {}
        self.seen: dict[str, dict[str, Counts]] = {level: {} for level in self.levels}
        self._own: dict[str, Counts] = {}
        self._over: dict[str, dict[str, str]] = {level: {} for level in self.levels}
        self._parted: dict[tuple[str, str], tuple[Counts, float]] = {}
        self._known_parts: tuple[str, ...] = ()

    # -- counting ------------------------------------------------------------------------------

    def add(self, path: Path, symbol: str, weight: float) -> None:
        """One finding of the narrowest circle of ``path``, which names a circle of every level."""
        for (_, outer), (level, key) in pairwise(path):
            self._over[level][key] = outer
        counts = self._own.setdefault(path[-1][1], {})
        counts[symbol] = counts.get(symbol, 0.0) + weight

    def _saw(self, seen: Circles) -> None:
        self.seen = seen
        self._parted = {}
        if self._parts is not None:
            every = {symbol for counts in seen[self.levels[0]].values() for symbol in counts}
            every |= {
                symbol for key in seen[self.levels[0]] or ("",) for symbol in self.prior(self.levels[0], key)
            }
            self._known_parts = tuple(sorted({part for symbol in every for part in self._parts(symbol)}))

    # -- asking --------------------------------------------------------------------------------

    def p(self, path: Path, symbol: str) -> float:
        """The chance of ``symbol`` in the narrowest circle of ``path``; levels may be missing from it."""
        return self.chances(path, (symbol,))[symbol]

    def chances(self, path: Path, symbols: Iterable[str]) -> dict[str, float]:
        """The chance of each of ``symbols`` in the narrowest circle of ``path``."""
        found = {symbol: self.base(path[0][1], symbol) for symbol in symbols}
        rates: Mapping[str, float] = {}
        for level, key in path:
            counts, prior = self.seen[level].get(key, {}), self.prior(level, key)
            worth, strength = self.worth if prior else 0.0, self.strengths[level]
            whole = sum(counts.values()) + worth + strength
            found = {
                symbol: (counts.get(symbol, 0.0) + worth * prior.get(symbol, 0.0) + strength * p) / whole
                for symbol, p in found.items()
            }
            if self._parts is not None and level != self.levels[-1]:
                rates = self._rates(level, key, rates)
                blank = none_of(rates)
                w = self.strengths[share_name(level)]
                found = {
                    symbol: (1 - w) * p + w * self._by_parts(symbol, rates, blank)
                    for symbol, p in found.items()
                }
        return found

    def _mixed(
        self, level: str, key: str, symbol: str, wider: float, away: Mapping[str, float] | None = None
    ) -> float:
        counts = self.seen[level].get(key, {})
        prior = self.prior(level, key)
        worth = self.worth if prior else 0.0
        strength = self.strengths[level]
        n, total = counts.get(symbol, 0.0), sum(counts.values())
        if away:
            n, total = max(0.0, n - away.get(symbol, 0.0)), max(0.0, total - sum(away.values()))
        return (n + worth * prior.get(symbol, 0.0) + strength * wider) / (total + worth + strength)

    def _rates(
        self, level: str, key: str, wider: Mapping[str, float], away: Mapping[str, float] | None = None
    ) -> dict[str, float]:
        """How often each part is there among the members of a circle."""
        known = self._parted.get((level, key))
        if known is None:
            known = self._parted[level, key] = self._part_counts(self.seen[level].get(key, {}))
        counts, total = known
        prior, _ = self._part_counts(self.prior(level, key))
        worth = self.worth if prior else 0.0
        strength = self.strengths[rate_name(level)]
        gone, lost = self._part_counts(away) if away else ({}, 0.0)
        whole = max(0.0, total - lost) + worth + strength
        return {
            part: min(
                1 - 1e-6,
                (
                    max(0.0, counts.get(part, 0.0) - gone.get(part, 0.0))
                    + worth * prior.get(part, 0.0)
                    + strength * wider.get(part, RARE)
                )
                / whole,
            )
            for part in self._known_parts
        }

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
        parts = self._parts(symbol)
        if not parts:
            return 0.0
        p = blank / (1 - blank)
        for part in parts:
            rate = rates.get(part, 0.0)
            p *= rate / (1 - rate)
        return p

    def symbols(self, path: Path) -> set[str]:
        """Every symbol that a circle of ``path`` has seen or its prior names."""
        found: set[str] = set()
        for level, key in path:
            found |= self.seen[level].get(key, {}).keys()
            found |= self.prior(level, key).keys()
        return found

    def combinations(self, path: Path) -> set[frozenset[str]]:
        """Sets of parts that the circles of ``path`` make likely, seen together or not.

        For each circle the parts that are surely there, with every choice of the most uncertain ones.
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
        """How much each level of ``path`` says in the answer; ``prior`` is the rest. They sum to 1.

        What a level says part by part is counted with what it says as a whole.
        """
        left, said, before = 1.0, {}, 0.0
        for level, key in reversed(path):
            total = sum(self.seen[level].get(key, {}).values())
            worth = self.worth if self.prior(level, key) else 0.0
            whole = total + worth + self.strengths[level]
            own = total / whole
            if self._parts is not None and level != self.levels[-1]:
                w = self.strengths[share_name(level)]
                own = (1 - w) * own + w * total / (total + worth + self.strengths[rate_name(level)])
            said[level] = left * own
            first = worth / (worth + self.strengths[level])
            before += left * (1 - own) * first
            left *= (1 - own) * (1 - first)
        return {**dict(reversed(said.items())), "prior": before + left}

    # -- keeping -------------------------------------------------------------------------------

    def to_dict(self) -> dict[str, Any]:
        """Strengths and counts as plain values for JSON."""
        return {"strengths": self.strengths, "seen": self.seen}

    def fill(self, data: Mapping[str, Any]) -> None:
        """Take strengths and counts from ``to_dict``; such a tree answers, and takes no more findings."""
        self.strengths = {name: float(data["strengths"][name]) for name in self.strengths}
        self._saw({level: data["seen"][level] for level in self.levels})


def rate_name(level: str) -> str:
    """The name of the strength of a level's rates of parts."""
    return f"{level}, rates"


def share_name(level: str) -> str:
    """The name of the share of a level's members that are drawn part by part."""
    return f"{level}, by parts"


def none_of(rates: Mapping[str, float]) -> float:
    return exp(sum(log1p(-rate) for rate in rates.values()))
