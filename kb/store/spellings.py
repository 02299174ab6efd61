"""Decide which spellings are one set, and which of them to keep.

The result depends only on the alias facts in force, not on their order, so merged books agree.

>>> both = Spellings([("NORWEL/NV40", "NORWELL/NV40")])
>>> both.kept("NORWEL/NV40"), both.kept("OTHER/X1")
('NORWELL/NV40', 'OTHER/X1')
>>> both.all_of("NORWELL/NV40")
('NORWEL/NV40', 'NORWELL/NV40')
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable


class Spellings:
    """Hold alias facts as (set_key, same_as); ``same_as`` is the spelling to keep."""

    def __init__(self, facts: Iterable[tuple[str, str]]) -> None:
        near: dict[str, set[str]] = defaultdict(set)
        given_up = set()
        for key, same_as in facts:
            near[key].add(same_as)
            near[same_as].add(key)
            given_up.add(key)
        self._group: dict[str, tuple[str, ...]] = {}
        self._kept: dict[str, str] = {}
        for key in near:
            if key not in self._group:
                group = tuple(sorted(_reached(key, near)))
                # Nobody gave it up. If facts contradict or form a cycle, take the first by code point.
                kept = min([one for one in group if one not in given_up] or group)
                self._group |= dict.fromkeys(group, group)
                self._kept |= dict.fromkeys(group, kept)

    def kept(self, key: str) -> str:
        """Return the spelling under which the set is known."""
        return self._kept.get(key, key)

    def all_of(self, key: str) -> tuple[str, ...]:
        """Return all spellings of the set, in order."""
        return self._group.get(key, (key,))


def _reached(start: str, near: dict[str, set[str]]) -> set[str]:
    reached, open_ = {start}, [start]
    while open_:
        fresh = near[open_.pop()] - reached
        reached |= fresh
        open_ += fresh
    return reached
