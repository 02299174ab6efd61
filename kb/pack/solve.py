"""What is the cheapest stock with which a day's jobs all succeed with a given chance?

A *task* is a job made bare: worlds with chances, and in each world the *ways* that would do, each a bundle
of items. Items used at one task are gone at the next. The chance of a stock is that of the best choice at
each task in its turn, not knowing how later tasks turn out:

    V(i, stock) = sum over worlds w of p(w) max over ways a in w, a <= stock, of V(i + 1, stock - a)

computed exactly. The cheapest stock is found by branch and bound over boxes of stocks: more stock never does
harm, so a box whose greatest stock misses the target is empty, and no stock of a box costs less than its
least one. ``bound`` is what no stock can undercut: equal to the cost where the search ran to its end.

>>> tasks = [Task(((0.6, ((1, 0),)), (0.4, ((0, 1),))))] * 2
>>> found = cheapest(tasks, (Cost(2.0), Cost(3.0)), 0.95)
>>> found.stock, round(found.chance, 6), found.cost
((2, 2), 1.0, 10.0)
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from heapq import heappop, heappush
from math import inf, log, prod
from typing import Final, NamedTuple

Stock = tuple[int, ...]  #: how many of each item
World = tuple[float, tuple[Stock, ...]]  #: a chance, and the ways that do in it (none: nothing does)

SLACK: Final = 1e-9  #: a chance that misses the target by no more than this reaches it
_BITS: Final = 8  #: of one count in a packed stock; the highest bit stays free to catch a borrow
MOST: Final = (1 << (_BITS - 1)) - 1  #: of one item in a stock


class Cost(NamedTuple):
    """What one item costs: the first ``have`` of them ``at_hand``, every further one ``each``."""

    each: float
    have: int = 0
    at_hand: float = 0.0

    def of(self, count: int) -> float:
        """The cost of ``count`` of it."""
        free = min(count, self.have)
        return free * self.at_hand + (count - free) * self.each

    def count_for(self, money: float) -> int:
        """How many can be had for ``money``."""
        count = 0
        while count < MOST and self.of(count + 1) <= money + 1e-9:
            count += 1
        return count


@dataclass(frozen=True, slots=True)
class Task:
    """A job made bare: its worlds. What their chances lack of one is a world in which nothing does."""

    worlds: tuple[World, ...]


class Found(NamedTuple):
    """A stock, its chance and cost, the cost that no stock can undercut, and whether these two agree."""

    stock: Stock
    chance: float
    cost: float
    bound: float
    optimal: bool


class Chances:
    """The chances of stocks for a row of tasks, each computed once. ``work`` counts the steps done."""

    def __init__(self, tasks: Sequence[Task], kinds: int) -> None:
        self.kinds = kinds
        self.work = 0
        self._guard = sum(1 << (_BITS * k + _BITS - 1) for k in range(kinds))
        self._ways: list[tuple[int, ...]] = []
        self._worlds: list[tuple[tuple[float, tuple[int, ...]], ...]] = []
        self._kinds_of: list[tuple[int, ...]] = []
        for task in tasks:
            merged: dict[tuple[Stock, ...], float] = {}
            for p, ways in task.worlds:
                least = least_ways(ways)
                if least and p > 0:
                    merged[least] = merged.get(least, 0.0) + p
            every = sorted({way for ways in merged for way in ways})
            number = {way: n for n, way in enumerate(every)}
            self._ways.append(tuple(self._packed(way) for way in every))
            self._worlds.append(tuple((p, tuple(number[way] for way in ways)) for ways, p in merged.items()))
            self._kinds_of.append(tuple(k for k in range(kinds) if any(way[k] for way in every)))
        self.caps = self._caps([sorted({w for ways, _ in [(ws, p) for p, ws in t.worlds] for w in ways}) for t in tasks])
        self._known: list[dict[int, float]] = [{} for _ in tasks]
        self._alone: list[dict[int, float]] = [{} for _ in tasks]

    def _caps(self, ways: Sequence[Sequence[Stock]]) -> list[Stock]:
        """From each task on, the most of each item that can still be used."""
        caps: list[Stock] = [(0,) * self.kinds]
        for some in reversed(ways):
            most = tuple(max((way[k] for way in some), default=0) for k in range(self.kinds))
            caps.append(tuple(min(MOST, a + b) for a, b in zip(caps[-1], most, strict=True)))
        return caps[::-1]

    def _packed(self, stock: Sequence[int]) -> int:
        return sum(count << (_BITS * k) for k, count in enumerate(stock))

    def of(self, stock: Sequence[int]) -> float:
        """The chance that every task succeeds with ``stock``."""
        clipped = [min(a, b) for a, b in zip(stock, self.caps[0], strict=True)]
        return self._value(0, self._packed(clipped))

    def at_most(self, stock: Sequence[int]) -> float:
        """No less than ``of(stock)``, and quick: each task with the whole stock to itself."""
        clipped = self._packed([min(a, b) for a, b in zip(stock, self.caps[0], strict=True)])
        return prod(self.alone(n, clipped) for n in range(len(self._ways)))

    def alone(self, task: int, packed: int) -> float:
        """The chance of one task with the whole stock to itself."""
        known = self._alone[task].get(packed)
        if known is None:
            self.work += 1
            guarded = packed | self._guard
            fits = [(guarded - way) & self._guard == self._guard for way in self._ways[task]]
            known = sum(p for p, ways in self._worlds[task] if any(fits[way] for way in ways))
            self._alone[task][packed] = known
        return known

    def each(self, stock: Sequence[int]) -> list[float]:
        """The chance of each task by itself."""
        clipped = self._packed([min(a, MOST) for a in stock])
        return [self.alone(n, clipped) for n in range(len(self._ways))]

    def _value(self, task: int, packed: int) -> float:
        if task == len(self._ways):
            return 1.0
        known = self._known[task].get(packed)
        if known is not None:
            return known
        self.work += 1
        guarded, guard = packed | self._guard, self._guard
        after = []
        for way in self._ways[task]:
            left = guarded - way
            if left & guard == guard:
                after.append(self._value(task + 1, self._clipped(task, left ^ guard)))
            else:
                after.append(0.0)
        value = 0.0
        for p, ways in self._worlds[task]:
            value += p * max([after[way] for way in ways])
        self._known[task][packed] = value
        return value

    def _clipped(self, task: int, packed: int) -> int:
        """What can never be used is left out, so that stocks that make no difference are one."""
        cap = self.caps[task + 1]
        for k in self._kinds_of[task]:
            count = (packed >> (_BITS * k)) & MOST
            if count > cap[k]:
                packed -= (count - cap[k]) << (_BITS * k)
        return packed

    def best_way(self, task: int, ways: Sequence[Stock], stock: Stock) -> Stock | None:
        """Of the ways that do in the world as found, the one that leaves the best chance; None: none fits."""
        fits = [way for way in least_ways(ways) if all(a <= b for a, b in zip(way, stock, strict=True))]
        return max(fits, key=lambda way: self.from_task(task + 1, minus(stock, way)), default=None)

    def from_task(self, task: int, stock: Sequence[int]) -> float:
        """The chance that this task and all later ones succeed with what is left."""
        clipped = [min(a, b) for a, b in zip(stock, self.caps[task], strict=True)]
        return self._value(task, self._packed(clipped))


def least_ways(ways: Sequence[Stock]) -> tuple[Stock, ...]:
    """The ways that do not hold another one: what needs more is never better."""
    different = sorted(set(ways), key=lambda way: (sum(way), way))
    kept: list[Stock] = []
    for way in different:
        if not any(all(a <= b for a, b in zip(other, way, strict=True)) for other in kept):
            kept.append(way)
    return tuple(sorted(kept))


def minus(stock: Stock, way: Stock) -> Stock:
    """What is left."""
    return tuple(a - b for a, b in zip(stock, way, strict=True))


def cost_of(stock: Sequence[int], costs: Sequence[Cost]) -> float:
    """What a stock costs."""
    return sum(cost.of(count) for cost, count in zip(costs, stock, strict=True))


def cheapest(
    tasks: Sequence[Task],
    costs: Sequence[Cost],
    target: float,
    *,
    work: int = 400_000,
    chances: Chances | None = None,
) -> Found:
    """The cheapest stock whose chance reaches ``target``, or the surest one where none does.

    ``work`` limits the steps (a step is some microseconds), the same for the same input. Where it ends the
    search, ``bound`` is below the cost. A target that nothing reaches gives the greatest stock of use, its
    chance below the target; ask again with that chance, or a little less, for the cheapest such.
    """
    known = chances or Chances(tasks, len(costs))
    search = _Search(known, costs, target, known.work + work)
    return search.run()


class _Search:
    def __init__(self, chances: Chances, costs: Sequence[Cost], target: float, limit: int) -> None:
        self.chances, self.costs, self.target, self.limit = chances, costs, target - SLACK, limit
        self.best: Stock = chances.caps[0]
        self.best_cost = cost_of(self.best, costs)

    def enough(self, stock: Stock) -> bool:
        return self.chances.at_most(stock) >= self.target and self.chances.of(stock) >= self.target

    def run(self) -> Found:
        most = self.chances.caps[0]
        if not self.enough(most):
            return Found(most, self.chances.of(most), self.best_cost, self.best_cost, False)
        least = self.raised((0,) * self.chances.kinds, most)
        self.take(self.trimmed(self.grown(least)))
        bound, done = self.branch(least, most)
        cost = self.best_cost
        return Found(self.best, self.chances.of(self.best), cost, min(bound, cost), done)

    def take(self, stock: Stock) -> None:
        cost = cost_of(stock, self.costs)
        if cost < self.best_cost - 1e-9 or (cost < self.best_cost + 1e-9 and sum(stock) < sum(self.best)):
            self.best, self.best_cost = stock, cost

    def raised(self, least: Stock, most: Stock) -> Stock:
        """For each item the fewest with which the target is in reach when there is plenty of the rest."""
        low = list(least)
        for k in range(len(low)):
            bottom, top = low[k], most[k]
            while bottom < top:
                middle = (bottom + top) // 2
                if self.enough((*most[:k], middle, *most[k + 1 :])):
                    top = middle
                else:
                    bottom = middle + 1
            low[k] = bottom
        return tuple(low)

    def grown(self, least: Stock) -> Stock:
        """A stock that is enough: from the least on, always what adds most to the chance for its cost."""
        stock = least
        kits = sorted({way for ways in self._all_ways() for way in ways})
        while not self.enough(stock):
            now = self._measure(stock)
            options = []
            for kit in kits:
                for more in {
                    tuple(max(a, b) for a, b in zip(stock, kit, strict=True)),
                    tuple(a + b for a, b in zip(stock, kit, strict=True)),
                    *(
                        tuple(a + (j == k) for j, a in enumerate(stock))
                        for k in range(len(stock))
                        if kit[k]
                    ),
                }:
                    capped = tuple(min(a, b) for a, b in zip(more, self.chances.caps[0], strict=True))
                    price = cost_of(capped, self.costs) - cost_of(stock, self.costs)
                    if capped != stock:
                        options.append(((self._measure(capped) - now) / max(price, 1e-9), capped))
            if not options:
                return self.chances.caps[0]
            gain, stock = max(options)
            if gain <= 0:
                return self.chances.caps[0]
        return stock

    def _measure(self, stock: Stock) -> float:
        """How near the target: log chance; the quick measure breaks in where the exact one is nothing yet."""
        chance = self.chances.of(stock) if self.chances.work < self.limit else self.chances.at_most(stock)
        each = self.chances.each(stock)
        return log(chance + 1e-12) + 1e-3 * sum(log(p + 1e-6) for p in each)

    def _all_ways(self) -> list[list[Stock]]:
        return [
            [tuple((way >> (_BITS * k)) & MOST for k in range(self.chances.kinds)) for way in ways]
            for ways in self.chances._ways
        ]

    def trimmed(self, stock: Stock) -> Stock:
        """Without what can go: the dearest first, one by one; then one for a cheaper one."""
        changed = True
        while changed and self.chances.work < self.limit:
            changed = False
            order = sorted(range(len(stock)), key=lambda k: -self.costs[k].each)
            for k in order:
                while stock[k]:
                    less = (*stock[:k], stock[k] - 1, *stock[k + 1 :])
                    if not self.enough(less):
                        break
                    stock, changed = less, True
            now = cost_of(stock, self.costs)
            for out in order:
                for into in reversed(order):
                    if not stock[out] or out == into:
                        continue
                    swapped = list(stock)
                    swapped[out] -= 1
                    swapped[into] = min(MOST, swapped[into] + 1)
                    if cost_of(swapped, self.costs) < now - 1e-9 and self.enough(tuple(swapped)):
                        stock, changed = tuple(swapped), True
                        now = cost_of(stock, self.costs)
        return stock

    def branch(self, least: Stock, most: Stock) -> tuple[float, bool]:
        """Box by box, the one with the cheapest least stock first. The bound, and whether it was proved."""
        born = 0
        queue: list[tuple[float, int, Stock, Stock]] = [(cost_of(least, self.costs), 0, least, most)]
        while queue:
            bound, _, low, high = heappop(queue)
            if bound >= self.best_cost - 1e-9:
                return bound, True
            if self.chances.work >= self.limit:
                return bound, False
            high = self.lowered(low, high)
            if not self.enough(high):
                continue
            low = self.raised(low, high)
            bound = cost_of(low, self.costs)
            if bound >= self.best_cost - 1e-9:
                continue
            if self.enough(low):
                self.take(low)
                continue
            k = max(range(len(low)), key=lambda j: (high[j] - low[j]) * self.costs[j].each)
            if high[k] == low[k]:
                k = max(range(len(low)), key=lambda j: high[j] - low[j])
            middle = (low[k] + high[k]) // 2
            for lower, upper in (
                (low, (*high[:k], middle, *high[k + 1 :])),
                ((*low[:k], middle + 1, *low[k + 1 :]), high),
            ):
                born += 1
                cost = cost_of(lower, self.costs)
                if cost < self.best_cost - 1e-9:
                    heappush(queue, (cost, born, lower, upper))
        return self.best_cost if self.best_cost < inf else 0.0, True

    def lowered(self, low: Stock, high: Stock) -> Stock:
        """No more of any item than what is left of the money of the best stock so far."""
        spent = cost_of(low, self.costs)
        return tuple(
            min(b, max(a, cost.count_for(self.best_cost - spent + cost.of(a))))
            for a, b, cost in zip(low, high, self.costs, strict=True)
        )
