"""Bound from below, quickly, the chance that a stock is enough.

A fixed choice of ways: in every world the way that uses least of what is dear to buy (``weigh``), of those
whose items are in the stock at all. The demand for each item is then a sum over tasks, which are independent:

    chance >= P(every task has such a way) (1 - P(some demand is above the stock))

and the chance of that union is no more than the sum of the single chances less those of pairs along a tree
(Hunter 1976, J. Appl. Prob. 13: 597; Boole's inequality without the pairs). Pairs matter where two items
are used together: the DAC and its cable run out in the same worlds.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import accumulate
from typing import Final, NamedTuple

SLIGHT: Final = 1e-5  #: a chance of running out so small that no pair it is in is looked at

Stock = tuple[int, ...]
Numbered = Sequence[tuple[float, tuple[int, ...]]]  #: worlds: a chance, and the numbers of the ways that do


class _Demands(NamedTuple):
    """``reach``: all tasks have a way. ``enough[k][n]``: n of item k are enough, given that they have."""

    reach: float
    enough: list[list[float]]
    used: list[list[list[tuple[float, Stock]]]]
    """For each item and task the ways chosen that use it, with their chances given that there is one."""
    pairs: list[tuple[int, int]]


class Assured:
    """Lower bounds of the chances of stocks for one row of tasks."""

    def __init__(
        self, ways: Sequence[Sequence[Stock]], worlds: Sequence[Numbered], kinds: int, weigh: Sequence[float]
    ) -> None:
        self._ways, self._worlds, self._kinds, self._weigh = ways, worlds, kinds, weigh
        self._known: dict[tuple[tuple[bool, ...], int], _Demands] = {}
        self._joint: dict[tuple[object, ...], list[list[float]]] = {}

    def of(self, stock: Sequence[int], first: int = 0, wanted: float = 0.0) -> float:
        """No more than the chance that the tasks from ``first`` on succeed.

        Where what was found without pairs settles that it is below ``wanted``, pairs are left out.
        """
        held = tuple(count > 0 for count in stock)
        demands = self.demands(held, first)
        short = [
            1 - chances[count] if count < len(chances) else 0.0
            for chances, count in zip(demands.enough, stock, strict=True)
        ]
        lacking = sum(short)
        if lacking > 1e-12 and demands.reach * (1 - max(short)) >= wanted:
            lacking -= self._together(demands, held, first, stock, short)
        return demands.reach * max(0.0, 1 - lacking)

    def _together(
        self, demands: _Demands, held: tuple[bool, ...], first: int, stock: Sequence[int], short: list[float]
    ) -> float:
        """The chances of running out of both, summed along the tree of pairs where that is most."""
        edges = []
        for i, j in demands.pairs:
            if min(short[i], short[j]) > SLIGHT:
                table = self._table(demands, held, first, i, j)
                both = table[stock[i]][stock[j]] - 1 + short[i] + short[j]
                if both > 1e-12:
                    edges.append((both, i, j))
        root = list(range(self._kinds))
        total = 0.0
        for both, i, j in sorted(edges, reverse=True):
            while root[i] != i:
                i = root[i]
            while root[j] != j:
                j = root[j]
            if i != j:
                root[i] = j
                total += both
        return total

    def _table(
        self, demands: _Demands, held: tuple[bool, ...], first: int, i: int, j: int
    ) -> list[list[float]]:
        """P(demand of i <= a and demand of j <= b) at [a][b]."""
        key = (held, first, i, j)
        if key not in self._joint:
            odds: dict[tuple[int, int], float] = {(0, 0): 1.0}
            for of_i, of_j in zip(demands.used[i], demands.used[j], strict=True):
                asked: dict[tuple[int, int], float] = {}
                some = 0.0
                for p, way in (*of_i, *[one for one in of_j if not one[1][i]]):
                    at = way[i], way[j]
                    asked[at] = asked.get(at, 0.0) + p
                    some += p
                if not asked:
                    continue
                after = {at: chance * (1 - some) for at, chance in odds.items()}
                for (a, b), chance in odds.items():
                    for (more, less), p in asked.items():
                        to = a + more, b + less
                        after[to] = after.get(to, 0.0) + chance * p
                odds = after
            rows = len(demands.enough[i])
            columns = len(demands.enough[j])
            table = [[odds.get((a, b), 0.0) for b in range(columns)] for a in range(rows)]
            table = [list(accumulate(row)) for row in table]
            for a in range(1, rows):
                table[a] = [above + here for above, here in zip(table[a - 1], table[a], strict=True)]
            self._joint[key] = table
        return self._joint[key]

    def demands(self, held: tuple[bool, ...], first: int = 0) -> _Demands:
        """What the tasks ask for when these items are there at all."""
        key = (held, first)
        if key not in self._known:
            self._known[key] = self._demanded(held, first)
        return self._known[key]

    def _demanded(self, held: tuple[bool, ...], first: int) -> _Demands:
        reach, chosen = 1.0, []
        for task in range(first, len(self._ways)):
            ways = self._ways[task]
            rank = [
                (sum(n * weight for n, weight in zip(way, self._weigh, strict=True)), number)
                for number, way in enumerate(ways)
                if all(held[k] for k, n in enumerate(way) if n)
            ]
            place = {number: at for at, (_, number) in enumerate(sorted(rank))}
            odds: dict[int, float] = {}
            for p, numbers in self._worlds[task]:
                fits = [number for number in numbers if number in place]
                if fits:
                    way = min(fits, key=place.__getitem__)
                    odds[way] = odds.get(way, 0.0) + p
            some = sum(odds.values())
            reach *= some
            chosen.append([(p / some, ways[way]) for way, p in odds.items()] if some else [])
        sums = [_sum_of(chosen, k) if reach else [1.0] for k in range(self._kinds)]
        pairs = {
            (i, j) for used in chosen for _, way in used for i in range(self._kinds) if way[i]
            for j in range(i + 1, self._kinds) if way[j]
        }  # fmt: skip
        used = [[[one for one in some if one[1][k]] for some in chosen] for k in range(self._kinds)]
        return _Demands(reach, [list(accumulate(odds)) for odds in sums], used, sorted(pairs))


def _sum_of(chosen: Sequence[Sequence[tuple[float, Stock]]], k: int) -> list[float]:
    """The chances that the tasks use 0, 1, 2 ... of one item."""
    sums = [1.0]
    for used in chosen:
        odds: dict[int, float] = {}
        for p, way in used:
            odds[way[k]] = odds.get(way[k], 0.0) + p
        if set(odds) == {0}:
            continue
        more = [0.0] * (len(sums) + max(odds))
        for before, chance in enumerate(sums):
            for n, p in odds.items():
                more[before + n] += chance * p
        sums = more
    return sums
