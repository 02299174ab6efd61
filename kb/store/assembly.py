"""Put rows together to visits, without SQLAlchemy.

Free of SQLAlchemy, so that a cold look-up of one set (``quick.py``) makes the very same values as the store.
A row gives its columns by name; dates and flags come as Python's own.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any, Final, TypeVar

from kb.base import text
from kb.base.errors import BookTrouble, shown
from kb.domain.jack import Jack
from kb.domain.visit import Driver, Finding, Source, Visit
from kb.domain.words import (
    Basis,
    Colour,
    Direction,
    Display,
    DriverInput,
    Form,
    Format,
    Kind,
    Level,
    Outcome,
    Signal,
    Speakers,
    Word,
)

W = TypeVar("W", bound=Word)

#: Tells the rows of a table whose column (the second) names the visits wanted, in the order of columns.
Fetch = Callable[[str, str, Sequence[str]], Iterable[Any]]

INFERRED: Final = ("direction", "signal", "level")

#: What belongs to a visit: the columns that tell its rows apart, and by how many of these it is looked up.
_BELONGS: Final[Mapping[str, tuple[tuple[str, ...], int]]] = {
    "driver_input": (("visit", "seq"), 1),
    "supersession": (("visit", "seq"), 1),
    "finding": (("visit", "seq"), 1),
    "finding_item": (("visit", "seq", "place"), 2),
}
_PRIVATE: Final[Mapping[str, tuple[tuple[str, ...], int]]] = {
    "visit_private": (("visit",), 1),
    "finding_private": (("visit", "seq"), 2),
    "attached_private": (("visit", "kind"), 2),
}


def assembled(fetch: Fetch, *, private: bool = True, released: Iterable[Any] = ()) -> dict[str, Visit]:
    """The visits that ``fetch`` gives the rows of, by id, with all that belongs to them.

    Without ``private`` the private tables are not even asked. ``released`` are notes released for other books
    (visit, jack, note), put where there is no note of one's own. Raises BookTrouble where a row holds what no
    visit can.
    """

    def grouped(name: str, keys: tuple[str, ...], depth: int) -> dict[Any, list[Any]]:
        """Rows by visit (depth 1), or by visit and one column more (depth 2)."""
        groups: dict[Any, list[Any]] = defaultdict(list)
        for row in fetch(name, "visit", keys):
            groups[row.visit if depth == 1 else (row.visit, getattr(row, keys[1]))].append(row)
        return groups

    rows = {name: grouped(name, *how) for name, how in _BELONGS.items()}
    rows |= {name: grouped(name, *how) if private else {} for name, how in _PRIVATE.items()}
    given = _released(released)
    visits = {}
    for row in fetch("visit", "id", ("id",)):
        try:
            visits[row.id] = _visit(row, rows, given)
        except (ValueError, TypeError) as problem:  # written by something else than Jackfield
            raise BookTrouble(
                f"visit {shown(row.id)}: the book holds what none can hold ({shown(problem)}); "
                "restore a backup"
            ) from problem
    return visits


_Notes = dict[tuple[str, "int | None"], str]


def _visit(row: Any, rows: Mapping[str, dict[Any, list[Any]]], given: _Notes) -> Visit:
    words = next(iter(rows["visit_private"].get(row.id, ())), None)

    def note(seq: int) -> str:
        own = rows["finding_private"].get((row.id, seq))
        return own[0].note if own else given.get((row.id, seq), "")

    def body(kind: str) -> str:
        attached = rows["attached_private"].get((row.id, kind))
        return attached[0].body if attached else ""

    # Not by the flag of the row: a bundle leaves out a driver of which only the (private) name is known, and
    # one's own notes may bring the name later.
    driver = Driver(
        name=words.driver_name if words else "",
        inputs=tuple(DriverInput(one.input) for one in rows["driver_input"].get(row.id, ())),
    )
    return Visit(
        source=_source(row),
        date=row.date,
        basis=Basis(row.basis),
        findings=tuple(
            _finding(one, rows["finding_item"].get((row.id, one.seq), ()), note(one.seq))
            for one in rows["finding"].get(row.id, ())
        ),
        driver=driver if driver != Driver() else None,
        id=row.id,
        supersedes=tuple(one.earlier for one in rows["supersession"].get(row.id, ())),
        by=words.person if words else "",
        job=words.job if words else "",
        note=(words.note if words else "") or given.get((row.id, None), ""),
        readings=body("readings"),
        case=body("case"),
    )


def _released(rows: Iterable[Any]) -> _Notes:
    """Released notes by visit and place on the panel; several of one place are one text."""
    found: _Notes = {}
    for visit, jack, note in rows:
        both = f"{found[visit, jack]}\n{note}" if (visit, jack) in found else note
        found[visit, jack] = both[: text.NOTE].rstrip()
    return found


def _source(row: Any) -> Source:
    return Source(
        make=row.make,
        model=row.model,
        kind=Kind(row.kind),
        display=_word(Display, row.display),
        year=row.year,
        size_in=row.size_in,
    )


def _finding(row: Any, items: Sequence[Any], note: str) -> Finding:
    return Finding(
        jack=Jack(
            form=Form(row.form),
            marking=row.marking,
            direction=Direction(row.direction),
            signal=_word(Signal, row.signal),
            level=Level(row.level),
            format=Format(row.format),
            colour=_word(Colour, row.colour),
        ),
        speakers=Speakers(row.speakers),
        taken=row.taken,
        outcome=Outcome(row.outcome),
        items=tuple(one.item for one in items),
        input=_word(DriverInput, row.input),
        setting=row.setting,
        note=note,
        inferred=tuple(field for field in INFERRED if getattr(row, f"inferred_{field}")),
    )


def _word(words: type[W], value: str | None) -> W | None:
    return None if value is None else words(value)
