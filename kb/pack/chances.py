"""How likely does a stock see a row of tasks through, when what one task uses is gone for the next?

A *task* is a job made bare: worlds with chances, and in each world the *ways* that would do, each a bundle
of items. The chance of a stock is that of the best choice at each task in its turn, not knowing how later
tasks turn out:

    V(i, stock) = sum over worlds w of p(w) max over ways a in w, a <= stock, of V(i + 1, stock - a)

computed exactly where that takes no more than EACH steps; beyond it a lower bound stands in (``assured``).

>>> tasks = [Task(((0.6, ((1, 0),)), (0.4, ((0, 1),))))] * 2
>>> round(Chances(tasks, 2).of((1, 1)), 6)
0.48
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import prod
from typing import Final, NamedTuple

from kb.pack.assured import Assured

Stock = tuple[int, ...]  #: how many of each item
World = tuple[float, tuple[Stock, ...]]  #: a chance, and the ways that do in it (none: nothing does)

EACH: Final = 2_000  #: steps for the exact chance of one stock
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


class _TooLong(Exception):
    """The exact chance of a stock takes more steps than allowed."""


class Chances:
    """The chances of stocks for a row of tasks, each computed once.

    ``work`` counts the steps done; ``exact`` turns false with the first chance that is a lower bound only.
    """

    def __init__(
        self, tasks: Sequence[Task], kinds: int, *, each: int = EACH, weigh: Sequence[float] | None = None
    ) -> None:
        self.kinds = kinds
        self.work = 0
        self.exact = True
        self._each = each
        self._stop = 0
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
            every = sorted({way for ways in merged for way in ways})  # as in self.ways
            number = {way: n for n, way in enumerate(every)}
            self._ways.append(tuple(self._packed(way) for way in every))
            self._worlds.append(tuple((p, tuple(number[way] for way in ways)) for ways, p in merged.items()))
            self._kinds_of.append(tuple(k for k in range(kinds) if any(way[k] for way in every)))
        self.ways = [sorted({way for _, ways in task.worlds for way in least_ways(ways)}) for task in tasks]
        self.caps = self._caps(self.ways)
        self.sure = Assured(self.ways, self._worlds, kinds, tuple(weigh) if weigh else (1.0,) * kinds)
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
        return self.from_task(0, stock)

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
        if self.work > self._stop:
            raise _TooLong
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
        packed = self._packed([min(a, b) for a, b in zip(stock, self.caps[task], strict=True)])
        if self.exact:
            self._stop = self.work + self._each
            try:
                return self._value(task, packed)
            except _TooLong:
                self.exact = False
        return self.assured(stock, task)

    def assured(self, stock: Sequence[int], first: int = 0) -> float:
        """No more than the chance, and quick; see ``kb.pack.assured``."""
        self.work += 1
        return self.sure.of(stock, first)


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
