"""Describe jobs, stocks and costs as bare counts of items, for the search.

A *task* is a job reduced to counts: worlds with chances, and in each world the *ways* that connect, each a
bundle of items. Rare worlds may be merged so that a chance is quicker to compute. A world is *harder* than
another that has all of its ways and more. It is *easier* than a world each of whose ways contains one of its
own ways.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from operator import le
from typing import Final, NamedTuple

Stock = tuple[int, ...]  #: how many of each item
World = tuple[float, tuple[Stock, ...]]  #: a chance, and the ways that connect in it (none: no way does)

BITS: Final = 8  #: bits of one count in a packed stock; the highest bit stays free to catch a borrow
MOST: Final = (1 << (BITS - 1)) - 1  #: of one item in a stock


class Cost(NamedTuple):
    """Hold the costs of one item: the first ``have`` of them cost ``at_hand``, every further one ``each``."""

    each: float
    have: int = 0
    at_hand: float = 0.0

    def of(self, count: int) -> float:
        """Return the cost of ``count`` of it."""
        free = min(count, self.have)
        return free * self.at_hand + (count - free) * self.each


@dataclass(frozen=True, slots=True)
class Task:
    """Hold the worlds of a job. If their chances sum to less than one, no way connects in the rest."""

    worlds: tuple[World, ...]


def packed(stock: Sequence[int]) -> int:
    """Pack the counts into one number, a byte each: one subtraction compares them all."""
    return int.from_bytes(bytes(stock), "little")


def cost_of(stock: Sequence[int], costs: Sequence[Cost]) -> float:
    """Return the cost of a stock."""
    return sum([cost.of(count) for cost, count in zip(costs, stock, strict=True) if count])


def least_ways(ways: Sequence[Stock]) -> tuple[Stock, ...]:
    """Return the ways that contain no other way: needing more is never better."""
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


def swap_of(one: Stock, other: Stock) -> tuple[int, int] | None:
    """Return the item that one way has one more of and the one it has one less of, if that is all.

    >>> swap_of((1, 0, 1), (1, 1, 0)), swap_of((1, 0), (0, 0))
    ((2, 1), None)
    """
    differ = [k for k, (a, b) in enumerate(zip(one, other, strict=True)) if a != b]
    if len(differ) != 2:
        return None
    more, less = differ if one[differ[0]] > other[differ[0]] else reversed(differ)
    return (more, less) if one[more] - other[more] == 1 == other[less] - one[less] else None


def eased(task: Task, rare: float) -> Task:
    """Replace each world rarer than ``rare`` by the likeliest easier one, if there is one.

    >>> eased(Task(((0.5, ((1, 0),)), (0.25, ((1, 1),)), (0.25, ((0, 1),)))), 0.4).worlds
    ((0.75, ((1, 0),)), (0.25, ((0, 1),)))
    """
    kept: dict[tuple[Stock, ...], float] = {}
    for p, ways in task.worlds:
        kept[ways] = kept.get(ways, 0.0) + p
    for ways, p in sorted(kept.items(), key=lambda one: (one[1], one[0])):
        if p >= rare:
            break
        likely = sorted(kept, key=lambda other: (-kept[other], other))
        easier = next((other for other in likely if other != ways and _easier(other, ways)), None)
        if easier is not None:
            kept[easier] += kept.pop(ways)
    return Task(tuple((p, ways) for ways, p in kept.items()))


def _easier(one: tuple[Stock, ...], other: tuple[Stock, ...]) -> bool:
    return all(any(all(map(le, way, more)) for way in one) for more in other)


def hardened(worlds: Mapping[tuple[Stock, ...], float], rare: float) -> dict[tuple[Stock, ...], float]:
    """Replace each world rarer than ``rare`` by the likeliest harder one, if there is one."""
    kept = dict(worlds)
    for ways, p in sorted(worlds.items(), key=lambda one: (one[1], one[0])):
        if p >= rare:
            break
        have = set(ways)
        harder = [other for other in kept if other != ways and have.issuperset(other)]
        if harder:
            kept[max(harder, key=lambda other: (kept[other], other))] += kept.pop(ways)
    return kept
