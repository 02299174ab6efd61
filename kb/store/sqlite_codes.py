"""Explain SQLite's result codes, and list the known formats of a book.

Separate from ``failures.py`` and ``upgrade.py``, so that ``revision.py`` and ``one_set.py`` need no
SQLAlchemy.
"""

from __future__ import annotations

import sqlite3
from typing import Final

from kb.base.errors import unchanged
from kb.base.messages import Said

#: By primary result code (sqlite.org/rescode.html).
SQLITE: Final = {
    sqlite3.SQLITE_BUSY: unchanged(Said("error/another-writes"), again=True),
    sqlite3.SQLITE_LOCKED: unchanged(Said("error/another-uses"), again=True),
    sqlite3.SQLITE_READONLY: unchanged(Said("error/file-read-only")),
    sqlite3.SQLITE_PERM: Said("error/may-not-open"),
    sqlite3.SQLITE_CANTOPEN: Said("error/not-opened"),
    sqlite3.SQLITE_IOERR: unchanged(Said("error/disk-failed")),
    sqlite3.SQLITE_FULL: unchanged(Said("error/system/sqlite-13")),
    sqlite3.SQLITE_NOTADB: Said("error/no-sqlite"),
    sqlite3.SQLITE_CORRUPT: Said("error/damaged-restore"),
    sqlite3.SQLITE_NOMEM: Said("error/no-memory"),
    sqlite3.SQLITE_TOOBIG: unchanged(Said("error/text-too-long")),
    sqlite3.SQLITE_SCHEMA: Said("error/changed-by-another"),
}

#: Codes for missing rights: another way of opening may still be able to read.
RIGHTS: Final = frozenset({sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_READONLY, sqlite3.SQLITE_PERM})
#: Codes of a full disk, without space for the readers' shared file: the book itself may be readable.
NO_ROOM: Final = frozenset({sqlite3.SQLITE_IOERR, sqlite3.SQLITE_FULL})


def code_of(problem: BaseException) -> int:
    """Return the primary result code; SQLITE_ERROR if Python found the mistake: text that is no UTF-8."""
    code: int = getattr(problem, "sqlite_errorcode", sqlite3.SQLITE_ERROR)
    return code & 0xFF


#: All formats, oldest first: the names of the migrations. The last is the present one.
FORMATS: Final = ("0001", "0002", "0003", "0004", "0005", "0006", "0007")
