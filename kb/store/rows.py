"""How does a visit become rows, and rows a visit?

The tables bend to the domain, never the other way: what comes out is the frozen value that went in.
"""

from __future__ import annotations

import hashlib
import json
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Any, Final, TypeVar

import sqlalchemy as sa

from kb import text
from kb.errors import BadInput, BookTrouble, shown
from kb.panel import Jack
from kb.store import schema
from kb.store.withdrawn import withdrawn
from kb.visit import Driver, Finding, Source, Visit, visit_to
from kb.words import (
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

Row = dict[str, Any]
Rows = dict[sa.Table, list[Row]]
W = TypeVar("W", bound=Word)

#: Parents before children, the order in which rows go in.
ORDER: Final = (
    schema.visit,
    schema.seal,
    schema.driver_input,
    schema.finding,
    schema.finding_item,
    schema.supersession,
    schema.visit_private,
    schema.finding_private,
)
CHUNK: Final = 500  #: visits that are written or read at a time

_INFERRED: Final = ("direction", "signal", "level")


def fingerprint(visit: Visit) -> str:
    """SHA-256, in hex, over what the visit says, private words included, its id left out."""
    said = visit_to(replace(visit, id=""))
    line = json.dumps(said, sort_keys=True, ensure_ascii=False, separators=(",", ":"))
    return hashlib.sha256(line.encode("utf-8", "surrogatepass")).hexdigest()


# -- out of the domain -----------------------------------------------------------------------------


def add_rows(rows: Rows, visit: Visit, *, revision: int, seen: str, at: str, nonce: str = "") -> None:
    """Add the rows of one visit that has an id. ``seen`` is its fingerprint, ``at`` the time in UTC; both
    empty for a visit from another book, which has no private words. ``nonce`` went into its id."""
    source, key = visit.source, visit.source.key
    if len(key) > schema.KEY:
        raise BadInput("model", source.model, f"make and model of at most {schema.KEY} letters and digits")
    rows[schema.visit].append(
        {
            "id": visit.id,
            "revision": revision,
            "date": visit.date,
            "basis": visit.basis.value,
            "make": source.make,
            "model": source.model,
            "set_key": key,
            "kind": source.kind.value,
            "display": _value(source.display),
            "year": source.year,
            "size_in": source.size_in,
            "driver": visit.driver is not None,
        }
    )
    if nonce:
        rows[schema.seal].append({"visit": visit.id, "nonce": nonce})
    rows[schema.driver_input] += [
        {"visit": visit.id, "seq": seq, "input": one.value}
        for seq, one in enumerate(visit.driver.inputs if visit.driver else ())
    ]
    rows[schema.supersession] += [
        {"visit": visit.id, "seq": seq, "earlier": earlier} for seq, earlier in enumerate(visit.supersedes)
    ]
    for seq, finding in enumerate(visit.findings):
        _add_finding(rows, visit.id, seq, finding)
    if seen:
        add_private_rows(rows, visit, seen=seen, at=at)


def add_private_rows(rows: Rows, visit: Visit, *, seen: str, at: str) -> None:
    """Add the rows that hold who, for whom and in which words."""
    rows[schema.visit_private].append(
        {
            "visit": visit.id,
            "person": visit.by,
            "job": visit.job,
            "note": visit.note,
            "driver_name": visit.driver.name if visit.driver else "",
            "fingerprint": seen,
            "recorded_at": at,
        }
    )
    rows[schema.finding_private] += [
        {"visit": visit.id, "seq": seq, "note": finding.note}
        for seq, finding in enumerate(visit.findings)
        if finding.note
    ]


def _add_finding(rows: Rows, visit_id: str, seq: int, finding: Finding) -> None:
    jack, at = finding.jack, {"visit": visit_id, "seq": seq}
    rows[schema.finding].append(
        {
            **at,
            "form": jack.form.value,
            "marking": jack.marking,
            "colour": _value(jack.colour),
            "direction": jack.direction.value,
            "signal": _value(jack.signal),
            "level": jack.level.value,
            "format": jack.format.value,
            "speakers": finding.speakers.value,
            "taken": finding.taken,
            "outcome": finding.outcome.value,
            "input": _value(finding.input),
            "setting": finding.setting,
            **{f"inferred_{field}": field in finding.inferred for field in _INFERRED},
        }
    )
    rows[schema.finding_item] += [
        {**at, "place": place, "item": item} for place, item in enumerate(finding.items)
    ]


def _value(word: Word | None) -> str | None:
    return word.value if word is not None else None


# -- back into the domain --------------------------------------------------------------------------


def load(
    connection: sa.Connection, ids: Sequence[str], *, private: bool = True, reviewed: bool = True
) -> dict[str, Visit]:
    """The visits of these ids with all that belongs to them.

    Without ``private`` the private tables are not even asked; ``reviewed`` puts notes that were released
    for other books where there is no note of one's own.
    """
    found: dict[str, Visit] = {}
    for start in range(0, len(ids), CHUNK):
        found |= _load(connection, ids[start : start + CHUNK], private, reviewed)
    return found


def _load(
    connection: sa.Connection, ids: Sequence[str], with_private: bool, with_reviewed: bool
) -> dict[str, Visit]:
    def fetch(table: sa.Table, owner: sa.Column[Any], *order: sa.Column[Any]) -> Iterable[Any]:
        return connection.execute(sa.select(table).where(owner.in_(ids)).order_by(*order))

    def grouped(table: sa.Table, depth: int) -> dict[Any, list[Any]]:
        """Rows by visit (depth 1), or by visit and place on the panel (depth 2)."""
        keys = list(table.primary_key)
        groups: dict[Any, list[Any]] = defaultdict(list)
        for row in fetch(table, table.c.visit, *keys):
            groups[row[0] if depth == 1 else (row[0], row[1])].append(row)
        return groups

    inputs, earlier = grouped(schema.driver_input, 1), grouped(schema.supersession, 1)
    findings, items = grouped(schema.finding, 1), grouped(schema.finding_item, 2)
    private = grouped(schema.visit_private, 1) if with_private else {}
    notes = grouped(schema.finding_private, 2) if with_private else {}
    released = _released(connection, ids) if with_reviewed else {}
    visits = {}
    for row in fetch(schema.visit, schema.visit.c.id):
        try:
            words = private[row.id][0] if row.id in private else None
            visits[row.id] = Visit(
                source=_source(row),
                date=row.date,
                basis=Basis(row.basis),
                findings=tuple(
                    _finding(
                        one,
                        items.get((one[0], one[1]), ()),
                        notes[one[0], one[1]][0].note
                        if (one[0], one[1]) in notes
                        else released.get((one[0], one[1]), ""),
                    )
                    for one in findings.get(row.id, ())
                ),
                driver=Driver(
                    name=words.driver_name if words else "",
                    inputs=tuple(DriverInput(one.input) for one in inputs.get(row.id, ())),
                )
                if row.driver
                else None,
                id=row.id,
                supersedes=tuple(one.earlier for one in earlier.get(row.id, ())),
                by=words.person if words else "",
                job=words.job if words else "",
                note=(words.note if words else "") or released.get((row.id, None), ""),
            )
        except (ValueError, TypeError) as problem:  # written by something else than Jackfield
            raise BookTrouble(
                f"visit {shown(row.id)}: the book holds what none can hold ({shown(problem)}); "
                "restore a backup"
            ) from problem
    return visits


def _released(connection: sa.Connection, ids: Sequence[str]) -> dict[tuple[str, int | None], str]:
    """Notes that were released and not withdrawn, by visit and place on the panel."""
    table = schema.reviewed_note
    rows = connection.execute(
        sa.select(table.c.visit, table.c.jack, table.c.note)
        .where(table.c.visit.in_(ids), sa.not_(withdrawn(table.c.id)))
        .order_by(table.c.id)
    )
    found: dict[tuple[str, int | None], str] = {}
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
        inferred=tuple(field for field in _INFERRED if row._mapping[f"inferred_{field}"]),
    )


def _word(words: type[W], value: str | None) -> W | None:
    return None if value is None else words(value)
