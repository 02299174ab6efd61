"""Turn a visit into rows, and rows into a visit.

The tables follow the domain, never the other way: reading gives the frozen value that was written.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from functools import cache
from itertools import islice
from typing import Any, Final, TypeVar

import sqlalchemy as sa

from kb.base.errors import BadInput
from kb.base.messages import Said
from kb.domain.visit import INFERRED, Finding, Visit, visit_to
from kb.store import schema
from kb.store.assembly import assembled
from kb.store.content_id import reentry_nonce
from kb.store.field_columns import ATTACHED, FINDING, FINDING_PRIVATE, LISTS, VISIT, VISIT_PRIVATE
from kb.store.withdrawn import counts

Row = dict[str, Any]
Rows = dict[sa.Table, list[Row]]

#: Parents before children, the order in which rows go in.
ORDER: Final = (
    schema.visit,
    schema.seal,
    schema.finding,
    *schema.lists.values(),
    schema.reentered,
    schema.visit_private,
    schema.attached_private,
    schema.finding_private,
)
CHUNK: Final = 500  #: visits that are written or read at a time

T = TypeVar("T")


def chunks(every: Iterable[T], most: int = CHUNK) -> Iterator[list[T]]:
    """Yield lists of at most ``most``, as ``itertools.batched`` of Python 3.12 does."""
    coming = iter(every)
    while some := list(islice(coming, most)):
        yield some


def insert(connection: sa.Connection, rows: Rows) -> None:
    """Write the rows, parents before children."""
    for table in ORDER:
        if rows[table]:
            connection.execute(table.insert(), rows[table])


def fingerprint(visit: Visit) -> str:
    """Return the SHA-256, in hex, of the visit's content with private words, without its id."""
    said = visit_to(replace(visit, id=""))
    line = json.dumps(said, sort_keys=True, ensure_ascii=False, separators=(",", ":"))
    return hashlib.sha256(line.encode("utf-8", "surrogatepass")).hexdigest()


# -- out of the domain -----------------------------------------------------------------------------


def add_rows(rows: Rows, visit: Visit, *, revision: int, seen: str, at: str, nonce: str = "") -> None:
    """Add the rows of one visit that has an id.

    ``seen`` is its fingerprint, ``at`` the time in UTC; both are empty for a visit from another book, which
    has no private words. ``nonce`` went into its id.
    """
    source, key = visit.source, visit.source.key
    if len(key) > schema.KEY:
        raise BadInput("model", source.model, Said("expected/shorter-names", most=schema.KEY))
    rows[schema.visit].append(
        {
            "id": visit.id,
            "revision": revision,
            "set_key": key,
            "driver": visit.driver is not None,
            **{one.name: one.written(visit) for one in VISIT},
        }
    )
    _add_lists(rows, visit, {"visit": visit.id}, private=False)
    if nonce:
        rows[schema.seal].append({"visit": visit.id, "nonce": nonce})
        rows[schema.reentered] += [
            {"visit": visit.id, "earlier": earlier}
            for earlier in visit.supersedes
            if nonce == reentry_nonce(earlier)
        ]
    for seq, finding in enumerate(visit.findings):
        _add_finding(rows, visit.id, seq, finding)
    if seen:
        add_private_rows(rows, visit, seen=seen, at=at)


def add_private_rows(rows: Rows, visit: Visit, *, seen: str, at: str) -> None:
    """Add the rows that hold the person, the job and the private words."""
    rows[schema.visit_private].append(
        {
            "visit": visit.id,
            **{one.name: one.written(visit) for one in VISIT_PRIVATE},
            "fingerprint": seen,
            "recorded_at": at,
        }
    )
    rows[schema.attached_private] += [
        {"visit": visit.id, "kind": kind, "body": body} for kind in ATTACHED if (body := getattr(visit, kind))
    ]
    _add_lists(rows, visit, {"visit": visit.id}, private=True)
    for seq, finding in enumerate(visit.findings):
        at_jack = {"visit": visit.id, "seq": seq}
        words = {one.name: one.written(finding) for one in FINDING_PRIVATE}
        if any(words.values()):
            rows[schema.finding_private].append({**at_jack, **words})
        _add_lists(rows, finding, at_jack, private=True)


def _add_finding(rows: Rows, visit_id: str, seq: int, finding: Finding) -> None:
    at_jack = {"visit": visit_id, "seq": seq}
    rows[schema.finding].append(
        {
            **at_jack,
            **{one.name: one.written(finding) for one in FINDING},
            **{f"inferred_{name}": name in finding.inferred for name in INFERRED},
        }
    )
    _add_lists(rows, finding, at_jack, private=False)


def _add_lists(rows: Rows, value: Visit | Finding, at: Row, *, private: bool) -> None:
    """Add the rows of the lists in a visit or finding; ``at`` names it."""
    for one in LISTS:
        if one.keys[:-1] == tuple(at) and one.field.private is private:
            rows[schema.lists[one.table]] += [
                {**at, one.keys[-1]: place, one.column: cell} for place, cell in enumerate(one.written(value))
            ]


# -- back into the domain --------------------------------------------------------------------------


def load(
    connection: sa.Connection, ids: Sequence[str], *, private: bool = True, reviewed: bool = True
) -> dict[str, Visit]:
    """Return the visits of these ids with all that belongs to them.

    Without ``private`` the private tables are not read. ``reviewed`` adds notes released for other books if
    there is no own note.
    """
    found: dict[str, Visit] = {}
    for some in chunks(ids):
        found |= _load(connection, some, private, reviewed)
    return found


def _load(
    connection: sa.Connection, ids: Sequence[str], with_private: bool, with_reviewed: bool
) -> dict[str, Visit]:
    def fetch(name: str, columns: Sequence[str], owner: str, order: Sequence[str]) -> Iterable[Any]:
        return connection.execute(_asked(name, tuple(columns), owner, tuple(order)), {"ids": ids})

    return assembled(
        fetch,
        private=with_private,
        released=_released(connection, ids) if with_reviewed else (),
    )


@cache
def _asked(name: str, columns: Sequence[str], owner: str, order: Sequence[str]) -> sa.Select[Any]:
    """Return the query for these columns of the rows whose ``owner`` is one of the ``ids`` it is run with."""
    table = schema.metadata.tables[name]
    wanted = table.c[owner].in_(sa.bindparam("ids", expanding=True))
    asked = sa.select(*(table.c[column] for column in columns)).where(wanted)
    return asked.order_by(*(table.c[column] for column in order))


def _released(connection: sa.Connection, ids: Sequence[str]) -> Iterable[Any]:
    """Return released notes that count, by visit and place on the panel."""
    table = schema.reviewed_note
    return connection.execute(
        sa.select(table.c.visit, table.c.jack, table.c.note)
        .where(table.c.visit.in_(ids), counts(table))
        .order_by(table.c.id)
    )
