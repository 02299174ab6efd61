"""Find the cheapest stock with which a day's jobs all succeed with a given chance.

A quick start packs all tasks together, or each alone if they are few, and removes unnecessary items. Then the
search looks for the cheapest of all stocks; if that takes too long, the stock found is trimmed once more. No
stock costs less than ``bound``: it equals the cost if the search ended.

The search repeatedly adds what a failing stock lacks. A *shortfall* is a stock that is not enough, made as
large as possible. A stock that is enough holds more of something than it: a choice of items, each with a
sufficient count. The cheapest stock that covers all known shortfalls costs no more than the cheapest that is
enough. If it is enough, it is that one. Otherwise it shows the next shortfall (implicit hitting sets:
Moreno-Centeno & Karp 2013, Oper. Res. 61: 453). Few of them are needed: some dozens for millions of stocks.

The search begins with an empty stock and goes from cheap to expensive. It bounds the remaining cost from
below by sharing the price of each piece among the shortfalls (Bar-Yehuda & Even 1981, J. Algorithms 2: 198).

>>> tasks = [Task(((0.6, ((1, 0),)), (0.4, ((0, 1),))))] * 2
>>> found = cheapest(tasks, (Cost(2.0), Cost(3.0)), 0.95)
>>> found.stock, round(found.chance, 6), found.cost
((2, 2), 1.0, 10.0)
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence
from functools import partial
from heapq import heappop, heappush
from typing import Final, NamedTuple

from kb.pack.bounds import least_cost
from kb.pack.chances import Chances
from kb.pack.tasks import MOST, Cost, Stock, Task, cost_of, eased, packed

TINY: Final = 1e-9  #: of money

Misses = Callable[[Stock], bool]  #: is the stock surely not enough?


class Need(NamedTuple):
    """Hold a least count of an item."""

    item: int
    least: int


class Shortfalls:
    """Search by shortfalls. ``tests`` show that a stock misses, the quickest and least exact first.

    ``most``: more of an item is of no use. ``tired``: is it time to stop?
    """

    def __init__(
        self, tests: Sequence[Misses], costs: Sequence[Cost], most: Stock, tired: Callable[[int], bool]
    ) -> None:
        self._tests, self._costs, self._most, self._tired = tests, costs, most, tired
        self._known: list[dict[Stock, bool]] = [{} for _ in tests]
        self._all: list[tuple[Need, ...]] = []
        self._paid = [[cost.of(n) for n in range(top + 1)] for cost, top in zip(costs, most, strict=True)]
        self._cheap_first = sorted(range(len(costs)), key=lambda k: costs[k].each)

    def cheapest(self, below: float) -> tuple[float, Stock | None]:
        """Return a lower bound of the cost of any sufficient stock, and a stock at that cost that passes the
        tests.

        The stock is None if there is none below ``below``, or none was found in time.
        """
        born = itertools.count()  # of equals the one that came last
        queue = [(0.0, -next(born), (0,) * len(self._most), self._most)]
        while queue:
            bound, _, held, most = heappop(queue)
            if bound >= below - TINY:
                return below, None
            if self._tired(len(self._all)):
                return bound, None
            to_pay, choice = self._ahead(held, most)
            if choice is None:
                continue
            spent = cost_of(held, self._costs)
            if spent + to_pay > bound + TINY:
                heappush(queue, (spent + to_pay, -next(born), held, most))
                continue
            if not choice:
                shortfall = self._above(held)
                if shortfall is None:
                    return spent, held
                choice = [need for need in shortfall if need.least <= most[need.item]]
            left = list(most)
            for item, least in choice:
                more = (*held[:item], least, *held[item + 1 :])
                heappush(queue, (max(bound, cost_of(more, self._costs)), -next(born), more, tuple(left)))
                left[item] = least - 1  # stocks with so many are in the branch just made
        return below, None

    def _above(self, held: Stock) -> tuple[Need, ...] | None:
        """Return the needs of a stock that misses, after growing it as far as possible with cheap items
        first.

        So the choice is among few expensive items. None: no test says that it misses.
        """
        level = next((level for level in range(len(self._tests)) if self._miss(held, level)), None)
        if level is None:
            return None

        def misses(stock: Stock) -> bool:
            return any(self._miss(stock, each) for each in range(level + 1))

        stock = held
        for k in self._cheap_first:
            stock = self._more_of(k, stock, misses)
        needs = [Need(k, stock[k] + 1) for k in self._cheap_first if stock[k] < self._most[k]]
        self._all.append(tuple(needs))
        return self._all[-1]

    def _more_of(self, k: int, stock: Stock, misses: Misses) -> Stock:
        """Return a stock that still misses, with as much more of an item as possible."""

        def with_count(count: int) -> Stock:
            return (*stock[:k], count, *stock[k + 1 :])

        low, high = stock[k], self._most[k]
        if low < high and misses(with_count(high)):
            return with_count(high)
        while low < high - 1:
            middle = (low + high) // 2
            if misses(with_count(middle)):
                low = middle
            else:
                high = middle
        return with_count(low)

    def _miss(self, stock: Stock, level: int) -> bool:
        known = self._known[level]
        if stock not in known:
            known[stock] = self._tests[level](stock)
        return known[stock]

    def _ahead(self, held: Stock, most: Stock) -> tuple[float, list[Need] | None]:
        """Return a lower bound of the remaining cost, and the most expensive open choice, cheapest need
        first.

        The choice is empty if all shortfalls are covered, None if one cannot be within ``most``.
        """
        paid = self._paid
        open_ones = []
        for needs in self._all:
            choice = []
            for need in needs:
                item, least = need
                if held[item] >= least:
                    break
                if least <= most[item]:
                    choice.append((paid[item][least] - paid[item][held[item]], need))
            else:
                if not choice:
                    return 0.0, None
                open_ones.append((min(choice)[0], choice))
        if not open_ones:
            return 0.0, []
        open_ones.sort(key=lambda one: (-one[0], len(one[1])))
        left: dict[int, list[float]] = {}
        total = 0.0
        for _, choice in open_ones:
            share = min(
                sum(left[item][held[item] : count]) if item in left else price
                for price, (item, count) in choice
            )
            if share <= TINY:
                continue
            total += share
            for _, (item, least) in choice:
                if item not in left:
                    left[item] = [b - a for a, b in zip(paid[item], paid[item][1:], strict=False)]
                _take(share, left[item], held[item], least)
        return total, [need for _, need in sorted(open_ones[0][1])]


def _take(share: float, pieces: list[float], first: int, end: int) -> None:
    """Take a share from the prices of pieces, the last ones first: the others serve more shortfalls."""
    for n in range(end - 1, first - 1, -1):
        part = min(pieces[n], share)
        pieces[n] -= part
        share -= part
        if share <= 0:
            return


RARE: Final = (0.02, 0.004)  #: rarer worlds count as easier ones, to see quickly that a stock misses
SHORTFALLS_A_STEP: Final = 4  #: so many take the time of a step
SHARE: Final = 0.5  #: of the steps for finding the cheapest stock; the others improve a good one
SLACK: Final = 1e-9  #: a chance below the target by no more than this reaches it


class Found(NamedTuple):
    """Hold a stock, its chance and cost, a lower bound of any cost, and whether cost and bound agree."""

    stock: Stock
    chance: float
    cost: float
    bound: float
    optimal: bool


def cheapest(
    tasks: Sequence[Task],
    costs: Sequence[Cost],
    target: float,
    *,
    work: int = 40_000,
    chances: Chances | None = None,
    prove: bool = True,
    known_bound: float | None = None,
) -> Found:
    """Return the cheapest stock whose chance reaches ``target``. Without ``prove``, return a good one.

    ``known_bound``: a known lower bound of the cost, used instead of a proof; None: prove here as far as
    possible.

    ``work`` limits the steps (a step is some tens of microseconds), the same for the same input. If it ends
    the search, or chances are lower bounds, ``bound`` is below the cost. If no stock reaches the target, the
    result is the largest useful stock, with its chance below the target.
    """
    known = chances or Chances(tasks, len(costs), weigh=[cost.each for cost in costs])
    return _Search(tasks, known, costs, target, known.work + work).run(prove, known_bound)


class _Search:
    def __init__(
        self, tasks: Sequence[Task], chances: Chances, costs: Sequence[Cost], target: float, limit: int
    ) -> None:
        self.tasks, self.chances, self.costs, self.limit = tasks, chances, costs, limit
        self.target = target - SLACK
        self.quick: list[Chances] = []  #: chances of easier days, at least as high and quicker
        self.best: Stock = chances.caps[0]
        self.best_cost = cost_of(self.best, costs)
        self.best_chance = chances.at_most(self.best)  # with all useful items, no task takes from another

    @property
    def work(self) -> int:
        """Return the number of steps done."""
        return sum(one.work for one in (self.chances, *self.quick))

    def maybe(self, stock: Stock) -> bool:
        """Return False if the stock is surely not enough."""
        apart = self.chances.at_most(stock)
        return apart >= self.target and not any(one.misses(stock, self.target) for one in self.quick)

    def enough(self, stock: Stock) -> bool:
        return self.maybe(stock) and self.chances.of(stock) >= self.target

    def run(self, prove: bool, known_bound: float | None) -> Found:
        if self.target <= 0:
            nothing = tuple(0 for _ in self.costs)
            return Found(nothing, self.chances.of(nothing), 0.0, 0.0, True)
        if self.best_chance < self.target:
            return Found(self.best, self.best_chance, self.best_cost, self.best_cost, False)
        bound = 0.0
        if prove:
            bound = least_cost(self.tasks, self.costs, self.target) if known_bound is None else known_bound
        if len(self.tasks) > 1:
            self.pool()
            self.trim(partial(self.chances.assured, wanted=self.target), swap=True)
        if len(self.tasks) < 4:
            self.take(*self.apart())
        if prove and known_bound is None and bound < self.best_cost - 1e-9:
            bound = max(bound, self.prove())
        if bound < self.best_cost - 1e-9 and self.chances.exact and self.enough(self.best):
            self.trim(self.chances.of, swap=prove)
        cost = self.best_cost
        # The stock of a quick start has a lower bound of its chance; return the better one here.
        chance = max(self.best_chance, self.chances.of(self.best))
        return Found(self.best, chance, cost, min(bound, cost), prove and bound >= cost - 1e-9)

    def take(self, stock: Stock, chance: float) -> None:
        cost = cost_of(stock, self.costs)
        if (cost, sum(stock)) < (self.best_cost - 1e-9, 0) or (
            cost < self.best_cost + 1e-9 and sum(stock) < sum(self.best)
        ):
            self.best, self.best_cost, self.best_chance = stock, cost, chance

    def apart(self) -> tuple[Stock, float]:
        """Pack every task by itself, without items from another's bag; return a stock and its chance."""
        if len(self.tasks) == 1:
            stock = self.grown(tuple(0 for _ in self.costs))
            return stock, self.chances.of(stock)
        most = self.chances.caps[0]
        share = (self.target / self.best_chance) ** (1 / len(self.tasks))
        total: Stock = tuple(0 for _ in self.costs)
        chance = 1.0
        for task, reach in zip(self.tasks, self.chances.each(most), strict=True):
            found = cheapest([task], self.costs, reach * share, work=400)
            total = tuple(a + b for a, b in zip(total, found.stock, strict=True))
            chance *= found.chance
        return total, chance

    def pool(self) -> None:
        """Return a stock for all tasks together, as a shop keeps it: of each item enough for chance demands.

        Start empty. Add one more of the item that lowers the chance of running out most for its cost.
        """
        reach, enough, *_ = self.chances.sure.demands(tuple(count > 0 for count in self.chances.caps[0]))
        counts = [0] * len(self.costs)
        short = [1 - chances[0] for chances in enough]
        while reach * (1 - sum(short)) < self.target:
            gains = [
                (chances[n + 1] - chances[n]) / max(cost.of(n + 1) - cost.of(n), 1e-9)
                if n + 1 < len(chances)
                else 0.0
                for chances, n, cost in zip(enough, counts, self.costs, strict=True)
            ]
            k = max(range(len(gains)), key=gains.__getitem__)
            if gains[k] <= 0:
                return
            counts[k] += 1
            short[k] = 1 - enough[k][counts[k]]
        self.take(tuple(counts), reach * (1 - sum(short)))

    def grown(self, least: Stock) -> Stock:
        """Return a stock for one task: from the least on, add the item with most chance for its cost."""
        stock, caps, alone = least, self.chances.caps[0], self.chances.alone
        while (now := alone(0, packed(stock))) < self.target:
            spent = cost_of(stock, self.costs)
            options = []
            for more in {tuple(map(min, caps, map(max, stock, way))) for way in self.chances.ways[0]}:
                gain = alone(0, packed(more)) - now
                if gain > 0:
                    options.append((gain / max(cost_of(more, self.costs) - spent, 1e-9), more))
            if not options:
                return caps
            stock = max(options)[1]
        return stock

    def trim(self, chance: Callable[[Stock], float], *, swap: bool) -> None:
        """Remove unnecessary items, expensive first; ``swap`` for cheaper ones; repeat while it helps."""
        order = sorted(range(len(self.best)), key=lambda k: -self.costs[k].each)
        changed = True
        while changed and self.work < self.limit:
            changed = False
            for k in order:
                while self.best[k] and self.better(self.changed(k, None), chance):
                    changed = True
            for out in order if swap else ():
                for into in reversed(order):
                    if self.best[out] and out != into and self.better(self.changed(out, into), chance):
                        changed = True

    def changed(self, out: int, into: int | None) -> Stock:
        """Return the best stock with one less of an item and one more of another."""
        counts = list(self.best)
        counts[out] -= 1
        if into is not None:
            counts[into] = min(MOST, counts[into] + 1)
        return tuple(counts)

    def better(self, stock: Stock, chance: Callable[[Stock], float]) -> bool:
        """Return whether the stock costs less and reaches the target, and make it the best if so."""
        if self.work >= self.limit or cost_of(stock, self.costs) >= self.best_cost - 1e-9:
            return False
        if not self.maybe(stock):
            return False
        found = chance(stock)
        if found < self.target:
            return False
        self.take(stock, found)
        return True

    def prove(self) -> float:
        """Search all stocks for the cheapest, and return a lower bound of the cost."""
        if len(self.tasks) > 1:
            self.quick = [
                Chances([eased(task, rare) for task in self.tasks], len(self.costs)) for rare in RARE
            ]
        looked = 0

        def tired(known: int) -> bool:
            nonlocal looked
            looked += 1 + known // SHORTFALLS_A_STEP
            return self.work + looked >= self.limit * SHARE

        tests = [partial(one.misses, target=self.target) for one in (*self.quick, self.chances)]
        search = Shortfalls(tests, self.costs, self.chances.caps[0], tired)
        bound, stock = search.cheapest(self.best_cost)
        if stock is not None and self.enough(stock):
            self.take(stock, self.chances.of(stock))
        return bound
