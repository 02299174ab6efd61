"""Pool the counts of groups upwards, under the concentrations that suit all groups.

What is computed here, and why so, stands with ``kb.evidence.shrinkage``, which answers from it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from math import exp
from typing import Final

from kb.evidence.concentration import SPREAD, strength_of
from kb.evidence.numerics import best, expected_tables, log_rising
from kb.evidence.shrinkage import RARE, Circles, Counts, Tree, none_of, rate_name, share_name

ROUNDS: Final = 4  #: passes up and down; counts passed up settle to three digits on books tried
MOST: Final = 1000  #: circles of a level that its strength is learned from; more are sampled evenly


def settle(tree: Tree, learn: bool = True, told: Callable[[int, int], None] | None = None) -> None:
    """Pass counts up and chances down until they agree; with ``learn``, find the strengths too.

    ``told`` gets how many of how many rounds are done.
    """
    for turn in range(ROUNDS):
        arrived, tables = _pass_up(tree, first=turn == 0)
        if learn and turn:
            _learn(tree, arrived, tables)
        if told:
            told(turn + 1, ROUNDS)


def _pass_up(tree: Tree, *, first: bool) -> tuple[Circles, Circles]:
    """What came to each circle itself, and what it passed up. Renews ``seen``."""
    chances = _Chances(tree)
    tables: Circles = {level: {} for level in tree.levels}
    seen: Circles = {level: {} for level in tree.levels}
    arrived: Circles = {level: {} for level in tree.levels}
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


def _learn(tree: Tree, arrived: Circles, tables: Circles) -> None:
    for place, level in enumerate(tree.levels):
        chances = _Chances(tree)
        circles = [key for key, counts in arrived[level].items() if sum(counts.values()) > 0]
        circles = circles[:: max(1, len(circles) // MOST)]
        if place and tree._parts is not None:
            _learn_parts(tree, tree.levels[place - 1], level, circles, arrived, tables, chances)
        groups = []
        for key in circles:
            counts = arrived[level][key]
            # A single finding tells nothing of how alike the findings of a circle are.
            if sum(counts.values()) > 1:
                away = tables[level][key] if place else {}
                groups.append([(n, chances.wider(level, key, k, away)) for k, n in counts.items() if n > 0])
        if groups:
            tree.strengths[level] = strength_of(groups, centre=tree._centre)


def _learn_parts(
    tree: Tree,
    above: str,
    level: str,
    circles: Sequence[str],
    arrived: Circles,
    tables: Circles,
    chances: _Chances,
) -> None:
    """The share of circles ``above`` whose members are drawn part by part, and the strength of rates."""
    drawn: list[tuple[float, float, float]] = []
    for key in circles:
        away = tables[level][key]
        for symbol, n in arrived[level][key].items():
            if n > 0:
                drawn.append((n, *chances.two_ways(above, tree._over[level][key], symbol, away)))
    strength = tree.strengths[level]

    def score(logit: float) -> float:
        w = 1 / (1 + exp(-logit))
        chance = (log_rising(strength * max(1e-12, (1 - w) * j + w * i), n) for n, j, i in drawn)
        return sum(chance) - (logit / SPREAD) ** 2 / 2

    tree.strengths[share_name(above)] = 1 / (1 + exp(-best(score, -5.0, 5.0)))
    place = tree.levels.index(above)
    groups: list[list[tuple[float, float]]] = []
    for key, counts in arrived[above].items():
        total = sum(counts.values())
        if total <= 1:
            continue
        away = tables[above][key] if place else {}
        rates = chances.rates_over(above, key, away)
        parted, _ = tree._part_counts(counts)
        for part, rate in rates.items():
            n = parted.get(part, 0.0)
            groups.append([(n, rate), (total - n, 1 - rate)])
    if groups:
        tree.strengths[rate_name(above)] = strength_of(
            groups[:: max(1, len(groups) // MOST)], centre=tree._centre
        )


class _Chances:
    """Chances and rates of the circles that findings stand in, each computed once."""

    def __init__(self, tree: Tree) -> None:
        self._tree = tree
        self._members: dict[tuple[str, str, str], float] = {}
        self._rate: dict[tuple[str, str], tuple[dict[str, float], float]] = {}

    def wider(self, level: str, key: str, symbol: str, away: Mapping[str, float] | None = None) -> float:
        """What the circle around this one expects of it, without what it got from ``away``."""
        tree = self._tree
        place = tree.levels.index(level)
        if not place:
            return tree.base(key, symbol)
        return self._member(tree.levels[place - 1], tree._over[level][key], symbol, away)

    def _member(self, level: str, key: str, symbol: str, away: Mapping[str, float] | None = None) -> float:
        known = None if away else self._members.get((level, key, symbol))
        if known is not None:
            return known
        whole, parted = self.two_ways(level, key, symbol, away)
        w = self._tree.strengths[share_name(level)] if self._tree._parts is not None else 0.0
        value = (1 - w) * whole + w * parted
        if not away:
            self._members[level, key, symbol] = value
        return value

    def two_ways(
        self, level: str, key: str, symbol: str, away: Mapping[str, float] | None = None
    ) -> tuple[float, float]:
        """The chance of ``symbol`` in a circle, as a whole and part by part."""
        tree = self._tree
        whole = tree._mixed(level, key, symbol, self.wider(level, key, symbol), away)
        if tree._parts is None:
            return whole, 0.0
        if away:
            rates = tree._rates(level, key, self.rates_over(level, key), away)
            return whole, tree._by_parts(symbol, rates, none_of(rates))
        return whole, tree._by_parts(symbol, *self._rates_of(level, key))

    def rates_over(self, level: str, key: str, away: Mapping[str, float] | None = None) -> dict[str, float]:
        """The rates of parts in the circle around this one."""
        tree = self._tree
        place = tree.levels.index(level)
        if not place:
            return dict.fromkeys(tree._known_parts, RARE)
        above, over = tree.levels[place - 1], tree._over[level][key]
        if away:
            return tree._rates(above, over, self.rates_over(above, over), away)
        return self._rates_of(above, over)[0]

    def _rates_of(self, level: str, key: str) -> tuple[dict[str, float], float]:
        if (level, key) not in self._rate:
            rates = self._tree._rates(level, key, self.rates_over(level, key))
            self._rate[level, key] = rates, none_of(rates)
        return self._rate[level, key]


def _add(into: Counts, more: Mapping[str, float]) -> None:
    for symbol, n in more.items():
        into[symbol] = into.get(symbol, 0.0) + n
