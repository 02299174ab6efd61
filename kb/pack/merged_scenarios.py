"""Merge rare scenarios so that a chance is quick to compute and errs to the safe side.

A world is *harder* than another that has all of its ways and more, and *easier* than one each of whose ways
holds one of its own.
"""

from __future__ import annotations

from collections.abc import Mapping
from operator import le

from kb.pack.chances import Stock, Task

Worlds = Mapping[tuple[Stock, ...], float]


def eased(task: Task, rare: float) -> Task:
    """The task with each world rarer than ``rare`` taken for the likeliest easier one, if there is one.

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
