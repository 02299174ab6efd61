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
        self._guard = packed((MOST + 1,) * kinds)
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
            self._ways.append(tuple(packed(way) for way in every))
            self._worlds.append(tuple((p, tuple(number[way] for way in ways)) for ways, p in merged.items()))
            self._kinds_of.append(tuple(k for k in range(kinds) if any(way[k] for way in every)))
        self.ways = [sorted({way for _, ways in task.worlds for way in least_ways(ways)}) for task in tasks]
        self.caps = self._caps(self.ways)
        self.sure = Assured(self.ways, self._worlds, kinds, tuple(weigh) if weigh else (1.0,) * kinds)
        #: The same as sets of bits, where only it matters whether one of a world's ways fits.
        self._bits = [[(way, 1 << n) for n, way in enumerate(ways)] for ways in self._ways]
        self._masks = [[(p, sum(1 << n for n in ways)) for p, ways in worlds] for worlds in self._worlds]
        self._known: list[dict[int, float]] = [{} for _ in tasks]
        self._alone: list[dict[int, float]] = [{} for _ in tasks]

    def _caps(self, ways: Sequence[Sequence[Stock]]) -> list[Stock]:
        """From each task on, the most of each item that can still be used."""
        caps: list[Stock] = [(0,) * self.kinds]
        for some in reversed(ways):
            most = tuple(max((way[k] for way in some), default=0) for k in range(self.kinds))
            caps.append(tuple(min(MOST, a + b) for a, b in zip(caps[-1], most, strict=True)))
        return caps[::-1]

    def of(self, stock: Sequence[int]) -> float:
        """The chance that every task succeeds with ``stock``."""
        return self.from_task(0, stock)

    def at_most(self, stock: Sequence[int]) -> float:
        """No less than ``of(stock)``, and quick: each task with the whole stock to itself."""
        clipped = packed(list(map(min, stock, self.caps[0])))
        return prod(self.alone(n, clipped) for n in range(len(self._ways)))

    def alone(self, task: int, held: int) -> float:
        """The chance of one task with the whole stock to itself."""
        known = self._alone[task].get(held)
        if known is None:
            self.work += 1
            guard = self._guard
            guarded = held | guard
            fits = 0
            for way, bit in self._bits[task]:
                if (guarded - way) & guard == guard:
                    fits |= bit
            known = sum([p for p, ways in self._masks[task] if ways & fits])
            self._alone[task][held] = known
        return known

    def each(self, stock: Sequence[int]) -> list[float]:
        """The chance of each task by itself."""
        clipped = packed([min(a, MOST) for a in stock])
        return [self.alone(n, clipped) for n in range(len(self._ways))]

    def _value(self, task: int, held: int) -> float:
        if task >= len(self._ways) - 1:
            return self.alone(task, held) if self._ways[task:] else 1.0
        known = self._known[task].get(held)
        if known is not None:
            return known
        self.work += 1
        if self.work > self._stop:
            raise _TooLong
        guarded, guard = held | self._guard, self._guard
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
        self._known[task][held] = value
        return value

    def _clipped(self, task: int, held: int) -> int:
        """What can never be used is left out, so that stocks that make no difference are one."""
        cap = self.caps[task + 1]
        for k in self._kinds_of[task]:
            count = (held >> (_BITS * k)) & MOST
            if count > cap[k]:
                held -= (count - cap[k]) << (_BITS * k)
        return held

    def best_way(self, task: int, ways: Sequence[Stock], stock: Stock) -> Stock | None:
        """Of the ways that do in the world as found, the one that leaves the best chance; None: none fits."""
        fits = [way for way in least_ways(ways) if all(a <= b for a, b in zip(way, stock, strict=True))]
        return max(fits, key=lambda way: self.from_task(task + 1, minus(stock, way)), default=None)

    def from_task(self, task: int, stock: Sequence[int]) -> float:
        """The chance that this task and all later ones succeed with what is left."""
        held = packed(list(map(min, stock, self.caps[task])))
        if self.exact:
            self._stop = self.work + self._each
            try:
                return self._value(task, held)
            except _TooLong:
                self.exact = False
        return self.assured(stock, task)

    def assured(self, stock: Sequence[int], first: int = 0, wanted: float = 0.0) -> float:
        """No more than the chance, and quick; see ``kb.pack.assured``."""
        self.work += 1
        return self.sure.of(stock, first, wanted)


def least_ways(ways: Sequence[Stock]) -> tuple[Stock, ...]:
    """The ways that do not hold another one: what needs more is never better."""
    different = sorted(set(ways), key=lambda way: (sum(way), way))
    if len(different) < 2:
        return tuple(different)
    guard = packed((MOST + 1,) * len(different[0]))
    kept: list[tuple[int, Stock]] = []
    for way in different:
        number = packed(way)
        guarded = number | guard
        if not any((guarded - other) & guard == guard for other, _ in kept):
            kept.append((number, way))
    return tuple(sorted([way for _, way in kept]))


def packed(stock: Sequence[int]) -> int:
    """The counts side by side in one number, a byte each: one subtraction compares them all."""
    return int.from_bytes(bytes(stock), "little")


def minus(stock: Stock, way: Stock) -> Stock:
    """What is left."""
    return tuple(a - b for a, b in zip(stock, way, strict=True))


def cost_of(stock: Sequence[int], costs: Sequence[Cost]) -> float:
    """What a stock costs."""
    return sum([cost.of(count) for cost, count in zip(costs, stock, strict=True) if count])
