"""Read a book's id and revision without SQLAlchemy.

A cold ``find`` calls this before it trusts the index; it costs one read of one row. If the answer is None,
the caller opens the store, which reports the reason.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Final, NamedTuple, TypeVar

from kb.base.errors import BookTrouble
from kb.base.files import moved, readable, refuse_special
from kb.base.messages import Said
from kb.store.sqlite_codes import NO_ROOM, RIGHTS, SQLITE, code_of

WAIT: Final = 10.0  #: seconds to wait for another program's write
T = TypeVar("T")

_NO_BOOK: Final = frozenset({sqlite3.SQLITE_NOTADB, sqlite3.SQLITE_ERROR, sqlite3.SQLITE_CORRUPT})


class Standing(NamedTuple):
    """Hold a book's id and revision.

    ``mark`` is new with every writing. So two copies of one book that were continued separately differ even
    at equal revisions.
    """

    book: str
    revision: int
    mark: str


def revision(path: Path) -> int | None:
    """Return the revision of the book in the file ``path``, None without one. Raises as ``standing``."""
    stands = standing(path)
    return stands.revision if stands else None


def standing(path: Path) -> Standing | None:
    """Return the state of the book in the file ``path``, or None if there is none.

    Raises BookTrouble if a book may be there but cannot be read (rights, a lock held too long).
    """
    refuse_special(path)
    try:
        row = read_file(path, lambda book: book.execute("SELECT id, revision, mark FROM book").fetchone())
    except sqlite3.DatabaseError as problem:
        code = code_of(problem)
        if code in _NO_BOOK or (code in RIGHTS and not path.exists()):
            return None
        raise BookTrouble(Said("error/place-why", place=path, why=SQLITE.get(code, problem))) from problem
    return Standing(*row) if row else None


def read_file(path: Path, read: Callable[[sqlite3.Connection], T]) -> T:
    """Return what ``read`` finds in a book's file, also on a full disk or in a read-only folder.

    ``read`` may run more than once: without locks, what it found counts only if nobody wrote meanwhile.
    Raises sqlite3.DatabaseError, and BookTrouble if others keep writing.
    """
    refusal: sqlite3.OperationalError | None = None
    for way in readable(path):
        try:
            with closing(sqlite3.connect(way.uri, uri=True, timeout=WAIT, isolation_level=None)) as book:
                found = read(book)
        except sqlite3.OperationalError as problem:
            if code_of(problem) not in RIGHTS | NO_ROOM:
                raise
            refusal = problem
            continue
        if not moved(path, way):
            return found
    raise refusal or BookTrouble(Said("error/changed-while-read", place=path))
