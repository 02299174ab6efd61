"""Decide from the store's data which merges and notes other books may get.

``kb.store.facts`` reads the visits; no private column is read here either.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator
from enum import Enum
from typing import Any

import sqlalchemy as sa

from kb.store import schema
from kb.store.facts import AliasFact, NoteFact, standing_of
from kb.store.failures import translated
from kb.store.rows import chunks
from kb.store.snapshot import Snapshot
from kb.store.withdrawn import withdrawn

_TABLES: tuple[tuple[type[AliasFact] | type[NoteFact], sa.Table], ...] = (
    (AliasFact, schema.alias),
    (NoteFact, schema.reviewed_note),
)


def rows_of(book: Snapshot, ids: list[str]) -> Iterator[AliasFact | NoteFact]:
    """Yield the ids that are merges or released notes, in force or not."""
    for kind, table in _TABLES:
        columns = [table.c[name] for name in kind.__slots__]
        for some in chunks(ids):
            asked = sa.select(*columns).where(table.c.id.in_(some)).order_by(table.c.id)
            for row in _asked(book, asked):
                yield kind(**row._asdict())


def standing_rows(book: Snapshot, ids: list[str]) -> set[str]:
    """Return the ids that are merges or released notes and were not taken back."""
    found: set[str] = set()
    for _, table in _TABLES:
        for some in chunks(ids):
            asked = sa.select(table.c.id).where(table.c.id.in_(some), sa.not_(withdrawn(table.c.id)))
            found |= {row.id for row in _asked(book, asked)}
    return found


def spelt(book: Snapshot, keys: Iterable[str]) -> dict[str, list[str]]:
    """Return, by spelling, the ids of all visits recorded under it, in force or not."""
    found: dict[str, list[str]] = defaultdict(list)
    for some in chunks(sorted(set(keys))):
        columns = schema.visit.c.set_key, schema.visit.c.id
        asked = sa.select(*columns).where(schema.visit.c.set_key.in_(some)).order_by(schema.visit.c.id)
        for row in _asked(book, asked):
            found[row.set_key].append(row.id)
    return found


class Became(Enum):
    """Name the present state of a visit."""

    IN_FORCE = "it is in force"
    WITHDRAWN = "it was withdrawn"
    CORRECTED = "another took its place"


def became_of(book: Snapshot, ids: list[str]) -> dict[str, Became]:
    """Return the present state of those visits that are in the book."""
    found: dict[str, Became] = {}
    gone = withdrawn(schema.visit.c.id).label("gone")
    for some in chunks(ids):
        stand = standing_of(book, some)
        for row in _asked(book, sa.select(schema.visit.c.id, gone).where(schema.visit.c.id.in_(some))):
            other = Became.WITHDRAWN if row.gone else Became.CORRECTED
            found[row.id] = Became.IN_FORCE if row.id in stand else other
    return found


def _asked(book: Snapshot, asked: sa.Select[Any]) -> list[Any]:
    with translated(book._place):
        return list(book._connection.execute(asked).all())
