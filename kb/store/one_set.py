"""Read one set from a book's file quickly, without SQLAlchemy.

SQLAlchemy takes longer to load than a whole answer of ``path``, so this module reads one set with the
standard library alone. It does the same as ``Snapshot.visits_of``, for SQLite only, by the same rules
(``counted.py``); tests compare the two. On any irregularity the answer is None. Then the caller asks the
store, which upgrades an old book or reports the trouble.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterable, Sequence
from contextlib import closing
from pathlib import Path
from typing import Any, Final, TypeVar

from kb.base.errors import BookTrouble
from kb.base.files import moved, readable
from kb.domain.visit import Visit
from kb.store import counted
from kb.store.assembly import assembled
from kb.store.revision import WAIT
from kb.store.spellings import Spellings
from kb.store.sqlite_codes import FORMATS

T = TypeVar("T")
MOST: Final = 500  #: visits to one set, or its spellings, that are read here; the store reads more in turns


def visits_of(path: Path, set_key: str) -> list[Visit] | None:
    """Return the visits in force to a set, under all spellings, by date; None: the store must answer."""
    return quickly(path, lambda book: _visits_of(book, set_key))


def quickly(path: Path, read: Callable[[sqlite3.Connection], T | None]) -> T | None:
    """Return what ``read`` finds in one state of the book, even if others write; None: ask the store."""
    for way in readable(path):
        try:
            with closing(sqlite3.connect(way.uri, uri=True, timeout=WAIT, isolation_level=None)) as book:
                book.execute("BEGIN")
                formats = book.execute("SELECT version_num FROM alembic_version").fetchall()
                found = read(book) if formats == [(FORMATS[-1],)] else None
            if not moved(path, way):
                return found
        except (sqlite3.Error, ValueError, TypeError, AttributeError, BookTrouble):
            continue
    return None


# Only names of tables and columns are put into the text of a question; values are passed separately.
_ALIASES: Final = f"SELECT set_key, same_as FROM alias WHERE {counted.counts('alias')}"  # noqa: S608
_STANDING: Final = f"""
  SELECT id FROM visit WHERE set_key IN (%s) AND {counted.in_force("visit")} ORDER BY date, id"""  # noqa: S608
_RELEASED: Final = f"""
  SELECT visit, jack, note FROM reviewed_note
  WHERE visit IN (%s) AND {counted.counts("reviewed_note")} ORDER BY id"""  # noqa: S608


def _visits_of(book: sqlite3.Connection, set_key: str) -> list[Visit] | None:
    spellings = Spellings(book.execute(_ALIASES))
    keys = spellings.all_of(spellings.kept(set_key))
    ids = [row[0] for row in book.execute(_STANDING % _holes(keys), keys)]
    if max(len(ids), len(keys)) > MOST:
        return None
    released = book.execute(_RELEASED % _holes(ids), ids).fetchall()

    def fetch(name: str, columns: Sequence[str], owner: str, order: Sequence[str]) -> Iterable[Any]:
        wanted = f"{owner} IN ({_holes(ids)}) ORDER BY {', '.join(order)}"
        return book.execute(f"SELECT {', '.join(columns)} FROM {name} WHERE {wanted}", ids)  # noqa: S608

    found = assembled(fetch, released=released)
    return [found[one] for one in ids]


def _holes(values: Sequence[object]) -> str:
    return ", ".join("?" * len(values))
