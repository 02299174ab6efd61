"""Bound from below the chance that a stock is enough, and the cost of any stock that reaches a chance.

*The chance* (``Assured``). Fix a choice of ways: in every world take the way that uses least of expensive
items (``weigh``), among those whose items are in the stock at all. The demand for each item is then a sum
over tasks, which are independent:

    chance >= P(every task has such a way) (1 - P(some demand is above the stock))

The chance of that union is at most the sum of the single chances less those of pairs along a tree (Hunter
1976, J. Appl. Prob. 13: 597; Boole's inequality without the pairs). Pairs matter if two items are used
together: the DAC and its cable run out in the same worlds.

*The cost* (``least_cost``). Two bounds, both from necessary conditions; the greater one counts.

1. Items used by the cheapest ways. In a day that succeeds, the stock holds the used items. So its cost is at
least the quantile, at the target, of the sum of the tasks' cheapest ways.

2. Indispensable items. In a world all of whose ways need an item, one is used: the demand for it is at least
a sum over independent tasks. Take items of which no world needs two. Their demands are negatively associated
(Joag-Dev & Proschan 1983, Ann. Statist. 11: 286: at most one of them is above zero in each task, and tasks
are independent), so

    P(no demand is above the stock) <= product over items of P(its demand is not above the stock)

Dynamic programming over the rounded-down logarithms finds the cheapest counts whose product reaches the
target. They cost no more than the same items of any stock that reaches it. Items are grouped into families of
this kind; the bounds of the families add up, as each has other items. Items that replace each other, such as
two lengths of a cable, may count as one item at the lower price.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import accumulate, combinations
from math import inf, log
from typing import Final, NamedTuple

from kb.pack.tasks import Cost, Stock, Task, swap_of

SLIGHT: Final = 1e-5  #: pairs with a smaller chance of running out are ignored

Numbered = Sequence[tuple[float, tuple[int, ...]]]  #: worlds: a chance, and the numbers of their ways


class _Demands(NamedTuple):
    """``reach``: all tasks have a way. ``enough[k][n]``: n of item k are enough, if all tasks have one."""

    reach: float
    enough: list[list[float]]
    used: list[list[list[tuple[float, Stock]]]]
    """For each item and task the chosen ways that use it, with their chances if there is a way."""
    pairs: list[tuple[int, int]]


class Assured:
    """Compute lower bounds of the chances of stocks for one row of tasks."""

    def __init__(
        self, ways: Sequence[Sequence[Stock]], worlds: Sequence[Numbered], kinds: int, weigh: Sequence[float]
    ) -> None:
        self._ways, self._worlds, self._kinds, self._weigh = ways, worlds, kinds, weigh
        self._known: dict[tuple[tuple[bool, ...], int], _Demands] = {}
        self._joint: dict[tuple[object, ...], list[list[float]]] = {}

    def of(self, stock: Sequence[int], first: int = 0, wanted: float = 0.0) -> float:
        """Return at most the chance that the tasks from ``first`` on succeed.

        Pairs are left out if the chance without them is already below ``wanted``.
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
        """Sum the chances of running out of both items along the tree of pairs with the greatest sum."""
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
        """Return P(demand of i <= a and demand of j <= b) at [a][b]."""
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
        """Return the demands of the tasks if the stock has at least one of each ``held`` item."""
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
    """Return the chances that the tasks use 0, 1, 2 ... of one item."""
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


Groups = Sequence[Sequence[int]]
Musts = Sequence[tuple[float, tuple[int, ...]]]  #: of a task: chances, and indispensable items

GRID: Final = 400  #: cells of the chance that may be lost, in logarithms
MOSTLY: Final = 0.9  #: an item counts with another that can replace it in this share of its worlds


def least_cost(tasks: Sequence[Task], costs: Sequence[Cost], target: float) -> float:
    """Return a cost below that of every stock whose chance reaches ``target``."""
    single: Groups = [[k] for k in range(len(costs))]
    alike = _alike(tasks, len(costs))
    bounds = [_needed(tasks, costs, target, groups) for groups in (single, alike)]
    return max(_used_up(tasks, costs, target), *bounds)


def _used_up(tasks: Sequence[Task], costs: Sequence[Cost], target: float) -> float:
    least = [min(cost.each, cost.at_hand if cost.have else cost.each) for cost in costs]
    sums = {0: 1.0}
    for task in tasks:
        # Rounded down to hundredths: the bound stays a bound, and there are few different sums.
        each = {
            way: int(100 * sum([n * c for n, c in zip(way, least, strict=True) if n]))
            for way in {way for _, ways in task.worlds for way in ways}
        }
        cheapest: dict[int, float] = {}
        for p, ways in task.worlds:
            if ways and p > 0:
                price = min([each[way] for way in ways])
                cheapest[price] = cheapest.get(price, 0.0) + p
        after: dict[int, float] = {}
        for price, p in cheapest.items():
            for spent, chance in sums.items():
                after[spent + price] = after.get(spent + price, 0.0) + chance * p
        sums = after
    reached = 0.0
    for spent in sorted(sums):
        reached += sums[spent]
        if reached >= target:
            return spent / 100
    return 0.0


def _needed(tasks: Sequence[Task], costs: Sequence[Cost], target: float, groups: Groups) -> float:
    musts: list[Musts] = []
    reach = 1.0
    for task in tasks:
        # For each way, the count it needs from each group. In a world, the minimum over its ways is needed
        # whichever way is used.
        takes = {
            way: tuple([sum([way[k] for k in some]) for some in groups])
            for way in {way for _, ways in task.worlds for way in ways}
        }
        worlds = [
            (p, tuple(map(min, zip(*[takes[way] for way in ways], strict=True))))
            for p, ways in task.worlds
            if ways and p > 0
        ]
        some_way = sum(p for p, _ in worlds)
        reach *= some_way
        musts.append([(p / some_way, must) for p, must in worlds] if some_way else [])
    if not 0 < target <= reach:
        return 0.0
    each = range(len(groups))
    most = [sum(max(must[g] for _, must in worlds) for worlds in musts) for g in each]
    prices = [_cheapest(some, costs, max(1, n)) for some, n in zip(groups, most, strict=True)]
    expected = [sum(p * must[g] for worlds in musts for p, must in worlds) * prices[g][1] for g in each]
    clash = {
        (g, h) for worlds in musts for _, must in worlds for g in each if must[g] for h in each if must[h]
    }
    families: list[list[int]] = []
    for g in sorted(each, key=lambda g: -expected[g]):
        if expected[g] > 0:
            home = next((some for some in families if not any((g, h) in clash for h in some)), None)
            if home is None:
                families.append([g])
            else:
                home.append(g)
    return sum(_family(some, musts, prices, target / reach) for some in families)


def _cheapest(some: Sequence[int], costs: Sequence[Cost], most: int) -> list[float]:
    """Return the least cost of 0, 1, 2 ... pieces of a group, up to ``most``."""
    each = sorted(price for k in some for price in _pieces(costs[k], most))
    return [0.0, *accumulate(each)]


def _pieces(cost: Cost, most: int) -> list[float]:
    return [cost.of(n + 1) - cost.of(n) for n in range(most)]


def _alike(tasks: Sequence[Task], kinds: int) -> Groups:
    """Group items that can replace each other in nearly all their worlds, as longer cables can."""
    used = [0.0] * kinds
    swapped: dict[tuple[int, int], float] = {}
    known: dict[tuple[Stock, Stock], tuple[tuple[int, int], ...]] = {}
    for task in tasks:
        for p, ways in task.worlds:
            here: set[tuple[int, int]] = set()
            for two in combinations(ways, 2):
                if two not in known:
                    swap = swap_of(*two)
                    known[two] = (swap, swap[::-1]) if swap else ()
                here.update(known[two])
            for pair in here:
                swapped[pair] = swapped.get(pair, 0.0) + p
            for k, most in enumerate(map(max, zip(*ways, strict=True))):
                used[k] += p if most else 0.0
    root = list(range(kinds))
    for (i, j), p in sorted(swapped.items(), key=lambda one: (-one[1], one[0])):
        if p >= MOSTLY * used[i]:
            root = [root[j] if one == root[i] else one for one in root]
    return [[k for k in range(kinds) if root[k] == some] for some in sorted(set(root))]


def _family(
    kinds: Sequence[int], musts: Sequence[Musts], prices: Sequence[Sequence[float]], share: float
) -> float:
    """Return the least cost of counts of these groups whose chances of being enough multiply to ``share``."""
    budget = -log(share) + 1e-12
    cell = budget / GRID if budget > 1e-9 else 1.0
    best = [0.0] * (GRID + 1)  #: least cost by the cells that may still be lost
    for g in kinds:
        options = []  # (cells lost, cost)
        reached = 0.0
        for count, p in enumerate(_demand(g, musts)):
            reached += p
            lost = -log(min(1.0, reached)) if reached > 0 else inf
            if lost <= budget:
                options.append((int(lost / cell), prices[g][count]))
                if not options[-1][0]:
                    break
        after = [[inf] * lost + [one + price for one in best[: GRID + 1 - lost]] for lost, price in options]
        best = [*map(min, zip(*after, strict=True))] if after else [inf] * (GRID + 1)
    return best[GRID] if best[GRID] < inf else 0.0


def _demand(k: int, musts: Sequence[Musts]) -> list[float]:
    """Return the chances that 0, 1, 2 ... of an item are indispensable."""
    sums = [1.0]
    for worlds in musts:
        odds: dict[int, float] = {}
        for p, must in worlds:
            odds[must[k]] = odds.get(must[k], 0.0) + p
        more = [0.0] * (len(sums) + max(odds, default=0))
        for before, chance in enumerate(sums):
            for n, p in odds.items():
                more[before + n] += chance * p
        sums = more
    return sums
