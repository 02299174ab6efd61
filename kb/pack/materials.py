"""List what the day's loops need: wire, fixings and tools.

>>> laid = materials_from({"items": [{"item": "wire AWG 18 (m)", "count": 24},
...                                  {"item": "ladder", "count": 1, "tool": True}]})
>>> [(each.item, each.count) for each in together([laid, laid])]
[('wire AWG 18 (m)', 48), ('ladder', 1)]
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

from kb.base import text
from kb.base.validation import Fields, listed, truth, whole

MOST_LINES: Final = 100  #: of one loop
MOST_COUNT: Final = 10_000  #: of one line


@dataclass(frozen=True, slots=True)
class Material:
    """A line of a loop's list. Wire and fixings are used up; a ``tool`` does for every job of the day."""

    item: str
    count: int
    tool: bool = False


def materials_from(data: object, place: str = "loop") -> tuple[Material, ...]:
    """The lines of what ``jackfield loop --json`` prints, or of its ``items`` alone.

    Raises BadInput naming the line, what was seen and what was expected.
    """
    lines = data.get("items") if isinstance(data, Mapping) else data
    expected = "what 'jackfield loop --json' prints, or its items"
    return listed(_material, MOST_LINES, expected=expected, each="{place}, item {number}")(lines, place)


def together(loops: Iterable[Sequence[Material]]) -> tuple[Material, ...]:
    """One list for several loops: what is used up adds up, of tools the most that one job asks for."""
    found: dict[str, Material] = {}
    for loop in loops:
        for one in loop:
            before = found.get(one.item)
            count = 0 if before is None else before.count
            found[one.item] = replace(one, count=max(count, one.count) if one.tool else count + one.count)
    return tuple(found.values())


def _material(data: object, place: str) -> Material:
    fields = Fields(data, place, "an object with item and count")
    material = Material(
        fields.need("item", lambda value, at: text.line(value, at, empty=False)),
        fields.need("count", whole(1, MOST_COUNT, f"a whole number from 1 to {MOST_COUNT}")),
        fields.take("tool", truth, False),
    )
    fields.end()
    return material
