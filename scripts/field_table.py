"""Print the fields of a visit file as Markdown tables, from the declarations that the readers follow.

    python3 scripts/field_table.py

A page that shows the file format holds these lines, or is checked against them.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from kb.domain.jack import Jack
from kb.domain.kinds import DeclaredField, fields_of, part_of
from kb.domain.visit import Driver, Finding, Source, Visit

#: The objects of a visit file with the classes whose fields stand in them.
OBJECTS: tuple[tuple[str, tuple[type[Any], ...]], ...] = (
    ("the visit", (Visit,)),
    ("`source`", (Source,)),
    ("`driver`", (Driver,)),
    ("each of `jacks`", (Jack, Finding)),
)


def lines() -> Iterator[str]:
    """One table for each object of a visit file."""
    for name, classes in OBJECTS:
        yield f"| Field of {name} | What it says | What it holds | CSV column |"
        yield "| --- | --- | --- | --- |"
        for of in classes:
            yield from (_line(one) for one in fields_of(of))
        yield ""


def _line(one: DeclaredField) -> str:
    more = [word for word, yes in (("required", one.required), ("private", one.private)) if yes]
    about = one.about + (f" ({', '.join(more)})" if more else "")
    column = "" if part_of(one) is not None or one.key == "jacks" else f"`{one.column}`"
    return f"| `{one.key}` | {about} | {one.kind.expected} | {column} |"


if __name__ == "__main__":
    print("\n".join(lines()).rstrip())
