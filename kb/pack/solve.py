"""What is the cheapest stock with which a day's jobs all succeed with a given chance?

The search packs all tasks together, each of them alone where they are few, takes out what can go, and then,
where chances are exact, looks for the cheapest stock by branch and bound over boxes of stocks: more stock
never does harm, so a box whose greatest stock misses the target is empty, and no stock of a box costs less
than its least one. ``bound`` is what no stock can undercut: equal to the cost where the search ended.

>>> tasks = [Task(((0.6, ((1, 0),)), (0.4, ((0, 1),))))] * 2
>>> found = cheapest(tasks, (Cost(2.0), Cost(3.0)), 0.95)
>>> found.stock, round(found.chance, 6), found.cost
((2, 2), 1.0, 10.0)
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from heapq import heappop, heappush
from typing import Final, NamedTuple

from kb.pack.bound import least_cost
from kb.pack.chances import MOST, Chances, Cost, Stock, Task, cost_of, packed

SLACK: Final = 1e-9  #: a chance that misses the target by no more than this reaches it


class Found(NamedTuple):
    """A stock, its chance and cost, the cost that no stock can undercut, and whether these two agree."""

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
    floor: float | None = None,
) -> Found:
    """The cheapest stock whose chance reaches ``target``. Without ``prove`` a good one that need not be it.

    ``floor``: a cost that is known to be no more than that of any such stock; None: found here.

    ``work`` limits the steps (a step is some tens of microseconds), the same for the same input; where it
    ends the search, or chances are lower bounds, ``bound`` is below the cost. A target that nothing reaches
    gives the greatest stock of use, its chance below the target.
    """
    known = chances or Chances(tasks, len(costs), weigh=[cost.each for cost in costs])
    return _Search(tasks, known, costs, target, known.work + work).run(prove, floor)


class _Search:
    def __init__(
        self, tasks: Sequence[Task], chances: Chances, costs: Sequence[Cost], target: float, limit: int
    ) -> None:
        self.tasks, self.chances, self.costs, self.limit = tasks, chances, costs, limit
        self.target = target - SLACK
        self.best: Stock = chances.caps[0]
        self.best_cost = cost_of(self.best, costs)
        self.best_chance = chances.at_most(self.best)  # with all that is of use no task takes from another

    def maybe(self, stock: Stock) -> bool:
        """False: the stock is surely not enough."""
        return self.chances.at_most(stock) >= self.target

    def enough(self, stock: Stock) -> bool:
        return self.maybe(stock) and self.chances.of(stock) >= self.target

    def run(self, prove: bool, floor: float | None) -> Found:
        most = self.best
        if self.target <= 0:
            nothing = tuple(0 for _ in self.costs)
            return Found(nothing, self.chances.of(nothing), 0.0, 0.0, True)
        if self.best_chance < self.target:
            return Found(most, self.best_chance, self.best_cost, self.best_cost, False)
        least = self.raised((0,) * self.chances.kinds, most)
        bound, done = cost_of(least, self.costs), False
        if prove:
            bound = max(bound, least_cost(self.tasks, self.costs, self.target) if floor is None else floor)
        if len(self.tasks) > 1:
            self.pool()
            self.trim(partial(self.chances.assured, wanted=self.target), swap=True)
        if len(self.tasks) < 4:
            self.take(*self.apart())
        if self.chances.exact and self.enough(self.best):
            self.trim(self.chances.of, swap=prove)
        if self.chances.exact and prove:
            found, done = self.branch(least, most)
            bound = max(bound, found)
        cost = self.best_cost
        # The stock of a quick start comes with a lower bound of its chance; here the better one is told.
        chance = max(self.best_chance, self.chances.of(self.best))
        return Found(self.best, chance, cost, min(bound, cost), done)

    def take(self, stock: Stock, chance: float) -> None:
        cost = cost_of(stock, self.costs)
        if (cost, sum(stock)) < (self.best_cost - 1e-9, 0) or (
            cost < self.best_cost + 1e-9 and sum(stock) < sum(self.best)
        ):
            self.best, self.best_cost, self.best_chance = stock, cost, chance

    def raised(self, least: Stock, most: Stock, *, exactly: bool = False) -> Stock:
        """For each item the fewest with which the target is in reach when there is plenty of the rest."""
        test = self.enough if exactly else self.maybe
        low = list(least)
        for k in range(len(low)):
            bottom, top = low[k], most[k]
            while bottom < top:
                middle = (bottom + top) // 2
                if test((*most[:k], middle, *most[k + 1 :])):
                    top = middle
                else:
                    bottom = middle + 1
            low[k] = bottom
        return tuple(low)

    def apart(self) -> tuple[Stock, float]:
        """Every task packed by itself, none using what another's bag holds: a stock, and its chance."""
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
        """A stock for all tasks together, as a shop keeps it: of each item enough for what chance may ask.

        From nothing on, always one more of what lowers the chance of running out most for its cost.
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
        """A stock for one task: from the least on, always what adds most to the chance for its cost."""
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
        """Take out what can go, the dearest first; ``swap`` one for a cheaper one; again while it helps."""
        order = sorted(range(len(self.best)), key=lambda k: -self.costs[k].each)
        changed = True
        while changed and self.chances.work < self.limit:
            changed = False
            for k in order:
                while self.best[k] and self.better(self.changed(k, None), chance):
                    changed = True
            for out in order if swap else ():
                for into in reversed(order):
                    if self.best[out] and out != into and self.better(self.changed(out, into), chance):
                        changed = True

    def changed(self, out: int, into: int | None) -> Stock:
        """The best stock with one less of an item and one more of another."""
        counts = list(self.best)
        counts[out] -= 1
        if into is not None:
            counts[into] = min(MOST, counts[into] + 1)
        return tuple(counts)

    def better(self, stock: Stock, chance: Callable[[Stock], float]) -> bool:
        """Does the stock cost less and reach the target? Then it is the best from now on."""
        if self.chances.work >= self.limit or cost_of(stock, self.costs) >= self.best_cost - 1e-9:
            return False
        if not self.maybe(stock):
            return False
        found = chance(stock)
        if found < self.target:
            return False
        self.take(stock, found)
        return True

    def branch(self, least: Stock, most: Stock) -> tuple[float, bool]:
        """Box by box, the one with the cheapest least stock first. The bound, and whether it was proved."""
        born = 0
        queue: list[tuple[float, int, Stock, Stock]] = [(cost_of(least, self.costs), 0, least, most)]
        while queue:
            bound, _, low, high = heappop(queue)
            if bound >= self.best_cost - 1e-9:
                return bound, True
            high = self.lowered(low, high)
            if self.enough(high):
                low = self.raised(low, high, exactly=True)
                enough = self.enough(low)
            elif self.chances.exact:
                continue
            if self.chances.work >= self.limit or not self.chances.exact:
                return bound, False
            cost = cost_of(low, self.costs)
            if cost >= self.best_cost - 1e-9:
                continue
            if enough:
                self.take(low, self.chances.of(low))
                continue
            k = max(range(len(low)), key=lambda j: (high[j] - low[j]) * self.costs[j].each)
            if high[k] == low[k]:
                k = max(range(len(low)), key=lambda j: high[j] - low[j])
            middle = (low[k] + high[k]) // 2
            for lower, upper in (
                (low, (*high[:k], middle, *high[k + 1 :])),
                ((*low[:k], middle + 1, *low[k + 1 :]), high),
            ):
                cost = cost_of(lower, self.costs)
                if cost < self.best_cost - 1e-9:
                    born += 1
                    heappush(queue, (cost, born, lower, upper))
        return self.best_cost, True

    def lowered(self, low: Stock, high: Stock) -> Stock:
        """No more of any item than what is left of the money of the best stock so far."""
        spent = cost_of(low, self.costs)
        return tuple(
            min(b, max(a, cost.count_for(self.best_cost - spent + cost.of(a))))
            for a, b, cost in zip(low, high, self.costs, strict=True)
        )
