"""Find the cheapest stock by adding, again and again, what a failing stock falls short of.

A *shortfall* is a stock that is not enough, made as great as it can be without being so. A stock that is
enough holds more of something than it: a choice of items, each with the count that would do. The cheapest
stock that makes up for all shortfalls known costs no more than the cheapest that is enough; where it is
enough itself it is that one, else it shows the next shortfall (implicit hitting sets: Moreno-Centeno & Karp
2013, Oper. Res. 61: 453). Few of them have to be known: some dozens where there are millions of stocks.

Stocks are looked at from nothing on, the cheapest first. What is still to be paid is bounded from below by
sharing the price of each piece out among the shortfalls (Bar-Yehuda & Even 1981, J. Algorithms 2: 198).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from heapq import heappop, heappush
from typing import Final, NamedTuple

from kb.pack.chances import Cost, Stock, cost_of

TINY: Final = 1e-9  #: of money

Misses = Callable[[Stock], bool]  #: is the stock surely not enough?


class Need(NamedTuple):
    """So many of an item at least."""

    item: int
    least: int


class Shortfalls:
    """The search. ``tests`` say that a stock misses, the quickest first and each more exact than the last;
    ``most``: more of an item is of no use; ``tired``: is it time to stop?"""

    def __init__(
        self, tests: Sequence[Misses], costs: Sequence[Cost], most: Stock, tired: Callable[[int], bool]
    ) -> None:
        self._tests, self._costs, self._most, self._tired = tests, costs, most, tired
        self._known: list[dict[Stock, bool]] = [{} for _ in tests]
        self._all: list[tuple[Need, ...]] = []
        self.last: Stock | None = None  #: the last stock looked at that makes up for all then known
        self._paid = [[cost.of(n) for n in range(top + 1)] for cost, top in zip(costs, most, strict=True)]
        self._cheap_first = sorted(range(len(costs)), key=lambda k: costs[k].each)

    def cheapest(self, below: float) -> tuple[float, Stock | None]:
        """A cost that no stock undercuts that is enough, and the stock that no test says to miss at that
        cost; None: none was found below ``below`` or in time."""
        queue: list[tuple[float, int, Stock, Stock]] = [(0.0, 0, (0,) * len(self._most), self._most)]
        born = 0
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
            born += 1
            if spent + to_pay > bound + TINY:
                heappush(queue, (spent + to_pay, -born, held, most))
                continue
            if not choice:
                self.last = held
                shortfall = self._above(held)
                if shortfall is None:
                    return spent, held
                choice = [need for need in shortfall if need.least <= most[need.item]]
            left = list(most)
            for item, least in choice:
                more = (*held[:item], least, *held[item + 1 :])
                born += 1
                heappush(queue, (max(bound, cost_of(more, self._costs)), -born, more, tuple(left)))
                left[item] = least - 1  # stocks with so many are in the branch just made
        return below, None

    def _above(self, held: Stock) -> tuple[Need, ...] | None:
        """What a stock that misses lacks, made as great as it can be: the cheapest items first, so that the
        choice is among few dear ones. None: no test says that it misses."""
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
        """A stock that misses, with as much more of an item as leaves it so."""

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
        """What is still to be paid at least, and the dearest choice still open, the cheapest need first;
        empty where all shortfalls are made up for, None where one cannot be within ``most``."""
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
