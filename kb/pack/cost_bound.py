"""Bound from below the cost of any stock that reaches a chance.

Two bounds, both from necessary conditions; the greater one counts.

*What the cheapest ways use up.* In a day that succeeds the stock holds what was used. So its cost is at least
the quantile, at the target, of the sum of the tasks' cheapest ways.

*What cannot be done without.* In a world all of whose ways need an item, one is used: the demand for it is at
least a sum over independent tasks. Take items of which no world needs two. Their demands are negatively
associated (Joag-Dev & Proschan 1983, Ann. Statist. 11: 286: at most one of them is above nothing in each
task, and tasks are independent), so

    P(no demand is above the stock) <= product over items of P(its demand is not above the stock)

and the cheapest counts whose product reaches the target, found by dynamic programming over the logarithms
rounded down, cost no more than the same items of any stock that does. Items are put into families of this
kind; the bounds of the families add up, as each is of other items. Items that do for one another, such as two
lengths of a cable, may stand as one item at the price of the cheaper.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import accumulate, combinations
from math import inf, log
from typing import Final

from kb.pack.chances import Cost, Stock, Task, swap_of

Groups = Sequence[Sequence[int]]
Musts = Sequence[tuple[float, tuple[int, ...]]]  #: of a task: chances, and what cannot be done without

GRID: Final = 400  #: cells of the chance that may be lost, in logarithms
MOSTLY: Final = 0.9  #: an item that another does for in so many of its worlds is counted with it


def least_cost(tasks: Sequence[Task], costs: Sequence[Cost], target: float) -> float:
    """A cost below that of every stock whose chance reaches ``target``."""
    single: Groups = [[k] for k in range(len(costs))]
    alike = _alike(tasks, len(costs))
    bounds = [_needed(tasks, costs, target, groups) for groups in (single, alike)]
    return max(_used_up(tasks, costs, target), *bounds)


def _used_up(tasks: Sequence[Task], costs: Sequence[Cost], target: float) -> float:
    least = [min(cost.each, cost.at_hand if cost.have else cost.each) for cost in costs]
    sums = {0: 1.0}
    for task in tasks:
        # Rounded down to hundredths: the bound stays a bound, and sums that differ stay few.
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
    prices = [_cheapest(some, costs, len(tasks)) for some in groups]
    musts: list[Musts] = []
    reach = 1.0
    for task in tasks:
        # What each way takes of each group; in a world that cannot be done without which its ways all take.
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
    if reach < target:
        return 0.0
    each = range(len(groups))
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
    """What 0, 1, 2 ... pieces of a group cost at least."""
    each = sorted(price for k in some for price in _pieces(costs[k], 2 * most))
    return [0.0, *accumulate(each)]


def _pieces(cost: Cost, most: int) -> list[float]:
    return [cost.of(n + 1) - cost.of(n) for n in range(most)]


def _alike(tasks: Sequence[Task], kinds: int) -> Groups:
    """Items in groups: those where one does for another nearly wherever it is of use, as longer cables do."""
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
    """The least cost of counts of these groups whose chances of being enough multiply to ``share``."""
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
        best = [
            min((best[left - lost] + price for lost, price in options if lost <= left), default=inf)
            for left in range(GRID + 1)
        ]
    return best[GRID] if best[GRID] < inf else 0.0


def _demand(k: int, musts: Sequence[Musts]) -> list[float]:
    """The chances that 0, 1, 2 ... of an item cannot be done without."""
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
