"""Find the cheapest stock with which a day's jobs all succeed with a given chance.

A quick start packs all tasks together, each of them alone where they are few, and takes out what can go.
Then the cheapest stock is looked for among all (``kb.pack.shortfalls``); where that takes too long, the stock
found is bettered by exchanges. ``bound`` is what no stock can undercut: equal to the cost where the search
ended.

>>> tasks = [Task(((0.6, ((1, 0),)), (0.4, ((0, 1),))))] * 2
>>> found = cheapest(tasks, (Cost(2.0), Cost(3.0)), 0.95)
>>> found.stock, round(found.chance, 6), found.cost
((2, 2), 1.0, 10.0)
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from typing import Final, NamedTuple

from kb.pack.chances import MOST, Chances, Cost, Stock, Task, cost_of, packed
from kb.pack.cost_bound import least_cost
from kb.pack.merged_scenarios import eased
from kb.pack.shortfalls import Shortfalls

RARE: Final = (0.02, 0.004)  #: worlds so rare are taken for easier ones, to see quickly that a stock misses
SHORTFALLS_A_STEP: Final = 4  #: so many are gone through in the time of a step
SHARE: Final = 0.5  #: of the steps to look for the cheapest stock; the others to better one that is good
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

    ``floor``: a cost that is known to be no more than that of any such stock, and all that is proved; None:
    proved here as far as may be.

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
        self.quick: list[Chances] = []  #: chances of easier days, no less and sooner said
        self.best: Stock = chances.caps[0]
        self.best_cost = cost_of(self.best, costs)
        self.best_chance = chances.at_most(self.best)  # with all that is of use no task takes from another

    @property
    def work(self) -> int:
        """The steps done."""
        return sum(one.work for one in (self.chances, *self.quick))

    def maybe(self, stock: Stock) -> bool:
        """False: the stock is surely not enough."""
        if self.chances.at_most(stock) < self.target:
            return False
        return not any(one.misses(stock, self.target) for one in self.quick)

    def enough(self, stock: Stock) -> bool:
        return self.maybe(stock) and self.chances.of(stock) >= self.target

    def run(self, prove: bool, floor: float | None) -> Found:
        if self.target <= 0:
            nothing = tuple(0 for _ in self.costs)
            return Found(nothing, self.chances.of(nothing), 0.0, 0.0, True)
        if self.best_chance < self.target:
            return Found(self.best, self.best_chance, self.best_cost, self.best_cost, False)
        bound = 0.0
        if prove:
            bound = least_cost(self.tasks, self.costs, self.target) if floor is None else floor
        if len(self.tasks) > 1:
            self.pool()
            self.trim(partial(self.chances.assured, wanted=self.target), swap=True)
        if len(self.tasks) < 4:
            self.take(*self.apart())
        if prove and floor is None and bound < self.best_cost - 1e-9:
            bound = max(bound, self.prove())
        if bound < self.best_cost - 1e-9 and self.chances.exact and self.enough(self.best):
            self.trim(self.chances.of, swap=prove)
            if self.quick:
                self.exchange()
        cost = self.best_cost
        # The stock of a quick start comes with a lower bound of its chance; here the better one is told.
        chance = max(self.best_chance, self.chances.of(self.best))
        return Found(self.best, chance, cost, min(bound, cost), prove and bound >= cost - 1e-9)

    def take(self, stock: Stock, chance: float) -> None:
        cost = cost_of(stock, self.costs)
        if (cost, sum(stock)) < (self.best_cost - 1e-9, 0) or (
            cost < self.best_cost + 1e-9 and sum(stock) < sum(self.best)
        ):
            self.best, self.best_cost, self.best_chance = stock, cost, chance

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
        """The best stock with one less of an item and one more of another."""
        counts = list(self.best)
        counts[out] -= 1
        if into is not None:
            counts[into] = min(MOST, counts[into] + 1)
        return tuple(counts)

    def better(self, stock: Stock, chance: Callable[[Stock], float]) -> bool:
        """Does the stock cost less and reach the target? Then it is the best from now on."""
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
        """Look for the cheapest stock among all: a cost that none undercuts."""
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
        elif search.last is not None:
            self.mend(search.last)
        return bound

    def exchange(self) -> None:
        """Take one out, the dearest first, and put in whatever does for it at less; again while it helps."""
        changed = True
        while changed and self.work < self.limit:
            changed = False
            for k in sorted(range(len(self.best)), key=lambda k: -self.costs[k].each):
                if self.best[k] and self.mend(self.changed(k, None)):
                    self.trim(self.chances.of, swap=True)
                    changed = True

    def mend(self, stock: Stock) -> bool:
        """Add to a stock that misses what lifts its chance most for its cost. Is it the best one then?"""
        caps, chances = self.chances.caps[0], [self.chances, *self.quick][-1]
        while not self.enough(stock):
            now, spent = chances.of(stock), cost_of(stock, self.costs)
            options = []
            for k, count in enumerate(stock):
                more = (*stock[:k], count + 1, *stock[k + 1 :])
                cost = cost_of(more, self.costs)
                if count < caps[k] and cost < self.best_cost - 1e-9:
                    options.append(((chances.of(more) - now) / max(cost - spent, 1e-9), more))
            if not options or max(options)[0] <= 0 or self.work >= self.limit:
                return False
            stock = max(options)[1]
        self.take(stock, self.chances.of(stock))
        return True
