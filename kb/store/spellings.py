"""Know which spellings are one set, and which of them is kept.

A function of the alias facts in force, whatever order they came in, so that merged books agree.

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
    """Alias facts as (set_key, same_as); ``same_as`` is the spelling to keep."""

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
                # Nobody gave it up; if facts go in a cycle or apart, the first by code point.
                kept = min([one for one in group if one not in given_up] or group)
                self._group |= dict.fromkeys(group, group)
                self._kept |= dict.fromkeys(group, kept)

    def kept(self, key: str) -> str:
        """The spelling under which the set is known."""
        return self._kept.get(key, key)

    def all_of(self, key: str) -> tuple[str, ...]:
        """All spellings of the set, in order."""
        return self._group.get(key, (key,))


def _reached(start: str, near: dict[str, set[str]]) -> set[str]:
    reached, open_ = {start}, [start]
    while open_:
        fresh = near[open_.pop()] - reached
        reached |= fresh
        open_ += fresh
    return reached
