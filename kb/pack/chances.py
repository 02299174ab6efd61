"""Compute how likely a stock is enough for a row of tasks, as each task uses items.

The chance of a stock is that of the best choice at each task in turn, without knowing the later tasks:

    V(i, stock) = sum over worlds w of p(w) max over ways a in w, a <= stock, of V(i + 1, stock - a)

It is exact if that takes no more than EACH steps; otherwise a lower bound replaces it (``assured``).

>>> tasks = [Task(((0.6, ((1, 0),)), (0.4, ((0, 1),))))] * 2
>>> round(Chances(tasks, 2).of((1, 1)), 6)
0.48
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations
from math import prod
from operator import le
from typing import Final

from kb.pack.bounds import Assured
from kb.pack.tasks import BITS, MOST, Stock, Task, least_ways, packed, swap_of

EACH: Final = 10_000  #: steps for the exact chance of one stock


class _TooLong(Exception):
    """The exact chance of a stock takes more steps than allowed."""


class Chances:
    """Compute the chances of stocks for a row of tasks, each once.

    ``work`` counts the steps done. ``exact`` becomes false with the first chance that is only a lower bound.
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
        self.ways = [sorted({way for _, ways in task.worlds for way in least_ways(ways)}) for task in tasks]
        self.caps = self._caps(self.ways)
        self._packed_caps = [packed(cap) for cap in self.caps]
        self.sure = Assured(self.ways, self._worlds, kinds, tuple(weigh) if weigh else (1.0,) * kinds)
        #: The same as bit masks, for questions that only ask if one of a world's ways fits.
        self._bits = [[(way, 1 << n) for n, way in enumerate(ways)] for ways in self._ways]
        self._masks = [[(p, sum(1 << n for n in ways)) for p, ways in worlds] for worlds in self._worlds]
        self._sparing = _sparing(self.ways, [[ways for _, ways in worlds] for worlds in self._worlds])
        self._choices: list[dict[int, list[tuple[float, list[int]]]]] = [{} for _ in tasks]
        self._known: list[dict[int, float]] = [{} for _ in tasks]
        self._alone: list[dict[int, float]] = [{} for _ in tasks]

    def _caps(self, ways: Sequence[Sequence[Stock]]) -> list[Stock]:
        """Return, for each task, the greatest count of each item that it and later tasks can use."""
        caps: list[Stock] = [(0,) * self.kinds]
        for some in reversed(ways):
            most = tuple(max((way[k] for way in some), default=0) for k in range(self.kinds))
            caps.append(tuple(min(MOST, a + b) for a, b in zip(caps[-1], most, strict=True)))
        return caps[::-1]

    def of(self, stock: Sequence[int]) -> float:
        """Return the chance that every task succeeds with ``stock``."""
        return self.from_task(0, stock)

    def at_most(self, stock: Sequence[int]) -> float:
        """Return at least ``of(stock)``, quickly: each task has the whole stock to itself."""
        clipped = packed(list(map(min, stock, self.caps[0])))
        return prod(self.alone(n, clipped) for n in range(len(self._ways)))

    def misses(self, stock: Sequence[int], target: float) -> bool:
        """Return whether the chance is surely below ``target``. False also if the answer takes too long."""
        if self.at_most(stock) < target:
            return True
        chance = self._exactly(0, stock) if self.exact else None
        return chance is not None and chance < target

    def alone(self, task: int, held: int) -> float:
        """Return the chance of one task with the whole stock to itself."""
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
        """Return the chance of each task by itself."""
        clipped = packed([min(a, MOST) for a in stock])
        return [self.alone(n, clipped) for n in range(len(self._ways))]

    def _value(self, task: int, held: int) -> float:
        if task >= len(self._ways) - 1:
            return self.alone(task, held) if self._ways[task:] else 1.0
        known = self._known[task].get(held)
        if known is not None:
            return known
        self.work += 1 + len(self._ways[task]) // 8
        if self.work > self._stop:
            raise _TooLong
        guarded, guard, ways = held | self._guard, self._guard, self._ways[task]
        fits = 0
        for way, bit in self._bits[task]:
            if (guarded - way) & guard == guard:
                fits |= bit
        after: dict[int, float] = {}
        seen, value = self._known[task + 1], 0.0
        for p, choice in self._choices[task].get(fits) or self._chosen_from(task, fits):
            best = 0.0
            for n in choice:
                chance = after.get(n)
                if chance is None:
                    left = self._clipped(task + 1, held - ways[n])
                    chance = seen.get(left)
                    if chance is None:
                        chance = self._value(task + 1, left)
                    after[n] = chance
                if chance > best:
                    best = chance
            value += p * best
        self._known[task][held] = value
        return value

    def _chosen_from(self, task: int, fits: int) -> list[tuple[float, list[int]]]:
        """Return the worlds of a task when these ways fit: chances, and the ways worth choosing there."""
        odds: dict[int, float] = {}
        sparing = self._sparing[task]
        for p, ways in self._masks[task]:
            some = ways & fits
            for bit, better in sparing:
                if some & bit and some & better:
                    some ^= bit
            if some:
                odds[some] = odds.get(some, 0.0) + p
        chosen = [(p, _bits_of(some)) for some, p in odds.items()]
        self._choices[task][fits] = chosen
        return chosen

    def _clipped(self, task: int, held: int) -> int:
        """Drop items that no task from this one on can use, so that equivalent stocks become equal."""
        cap, guard = self._packed_caps[task], self._guard
        over = ((cap | guard) - held & guard) ^ guard
        if not over:
            return held
        counts = over - (over >> (BITS - 1))  # all bits of the counts that exceed the cap
        return held & ~counts | cap & counts

    def from_task(self, task: int, stock: Sequence[int]) -> float:
        """Return the chance that this task and all later ones succeed with the remaining stock."""
        if self.exact:
            found = self._exactly(task, stock)
            if found is not None:
                return found
            self.exact = False
        return self.assured(stock, task)

    def _exactly(self, task: int, stock: Sequence[int]) -> float | None:
        """Return the exact chance; None if it takes too long."""
        self._stop = self.work + self._each
        try:
            return self._value(task, packed(list(map(min, stock, self.caps[task]))))
        except _TooLong:
            return None

    def assured(self, stock: Sequence[int], first: int = 0, wanted: float = 0.0) -> float:
        """Return at most the chance, quickly; see ``kb.pack.bounds``."""
        self.work += 1
        return self.sure.of(stock, first, wanted)


def _sparing(
    ways: Sequence[Sequence[Stock]], worlds: Sequence[Sequence[Sequence[int]]]
) -> list[list[tuple[int, int]]]:
    """For each task, find the ways that another way makes unnecessary (as bit masks).

    A way with the long cable is unnecessary if a way with the short cable differs only in that item, and the
    long one could replace the short one everywhere. Taking the short one keeps the more versatile item in the
    bag.
    """
    does = _does_for(ways, worlds)
    found: list[list[tuple[int, int]]] = []
    for some in ways:
        pairs: dict[int, int] = {}
        for n, m in combinations(range(len(some)), 2):
            for one, other in ((n, m), (m, n)):
                swap = swap_of(some[one], some[other])
                # Of two items that replace each other everywhere, the first is used first.
                if swap in does and (swap[::-1] not in does or swap[0] > swap[1]):
                    pairs[one] = pairs.get(one, 0) | 1 << other
        found.append([(1 << n, better) for n, better in sorted(pairs.items())])
    return found


def _does_for(
    ways: Sequence[Sequence[Stock]], worlds: Sequence[Sequence[Sequence[int]]]
) -> set[tuple[int, int]]:
    """Return pairs of items of which the first can replace the second in every world.

    After the swap, each way of the world still contains one of its ways.
    """
    swaps = {swap for some in ways for two in combinations(some, 2) if (swap := swap_of(*two))}
    pairs = swaps | {(j, i) for i, j in swaps}
    for some, every in zip(ways, worlds, strict=True):
        for numbers in {tuple(numbers) for numbers in every}:
            here = [some[n] for n in numbers]
            for i, j in list(pairs):
                for way in here:
                    if way[j]:
                        swapped = [n + (k == i) - (k == j) for k, n in enumerate(way)]
                        if not any(all(map(le, other, swapped)) for other in here):
                            pairs.discard((i, j))
                            break
    return pairs


def _bits_of(some: int) -> list[int]:
    """Return the positions of the set bits."""
    places = []
    while some:
        places.append((some & -some).bit_length() - 1)
        some &= some - 1
    return places
