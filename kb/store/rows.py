"""Turn a visit into rows, and rows into a visit.

The tables bend to the domain, never the other way: what comes out is the frozen value that went in.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Any, Final

import sqlalchemy as sa

from kb.base.errors import BadInput
from kb.domain.visit import Finding, Visit, visit_to
from kb.domain.words import Word
from kb.store import schema
from kb.store.assembly import INFERRED, assembled
from kb.store.content_id import nonce_of_entering_anew
from kb.store.withdrawn import counts

Row = dict[str, Any]
Rows = dict[sa.Table, list[Row]]

#: Parents before children, the order in which rows go in.
ORDER: Final = (
    schema.visit,
    schema.seal,
    schema.driver_input,
    schema.finding,
    schema.finding_item,
    schema.supersession,
    schema.entered_anew,
    schema.visit_private,
    schema.attached_private,
    schema.finding_private,
)
CHUNK: Final = 500  #: visits that are written or read at a time


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
        rows[schema.entered_anew] += [
            {"visit": visit.id, "earlier": earlier}
            for earlier in visit.supersedes
            if nonce == nonce_of_entering_anew(earlier)
        ]
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
    rows[schema.attached_private] += [
        {"visit": visit.id, "kind": kind, "body": body}
        for kind, body in (("readings", visit.readings), ("case", visit.case))
        if body
    ]
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
            **{f"inferred_{field}": field in finding.inferred for field in INFERRED},
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
    def fetch(name: str, owner: str, order: Sequence[str]) -> Iterable[Any]:
        table = schema.metadata.tables[name]
        asked = sa.select(table).where(table.c[owner].in_(ids))
        return connection.execute(asked.order_by(*(table.c[column] for column in order)))

    return assembled(
        fetch,
        private=with_private,
        released=_released(connection, ids) if with_reviewed else (),
    )


def _released(connection: sa.Connection, ids: Sequence[str]) -> Iterable[Any]:
    """Notes that were released and count, by visit and place on the panel."""
    table = schema.reviewed_note
    return connection.execute(
        sa.select(table.c.visit, table.c.jack, table.c.note)
        .where(table.c.visit.in_(ids), counts(table))
        .order_by(table.c.id)
    )
