"""Explain SQLite's result codes, and list the known formats of a book.

Separate from ``failures.py`` and ``upgrade.py``, so that ``revision.py`` and ``one_set.py`` need no
SQLAlchemy.
"""

from __future__ import annotations

import sqlite3
from typing import Final

#: By primary result code (sqlite.org/rescode.html).
SQLITE: Final = {
    sqlite3.SQLITE_BUSY: "another program writes to it for too long; nothing was changed, try again",
    sqlite3.SQLITE_LOCKED: "another program is using it; nothing was changed, try again",
    sqlite3.SQLITE_READONLY: "the file or its folder is read-only; nothing was changed",
    sqlite3.SQLITE_PERM: "this user may not open it; check the rights of the file and its folder",
    sqlite3.SQLITE_CANTOPEN: "cannot be opened; check the rights of the file and its folder",
    sqlite3.SQLITE_IOERR: "the disk failed to read or write, or has no room; nothing was changed",
    sqlite3.SQLITE_FULL: "the disk is full; nothing was changed",
    sqlite3.SQLITE_NOTADB: "is no book (no SQLite database); choose another file or restore a backup",
    sqlite3.SQLITE_CORRUPT: "is damaged; keep a copy of it and restore the newest backup",
    sqlite3.SQLITE_NOMEM: "there is not enough memory",
    sqlite3.SQLITE_TOOBIG: "a text is too long for it; nothing was changed",
    sqlite3.SQLITE_SCHEMA: "was changed by another program meanwhile; try again",
}

#: Codes for missing rights: another way of opening may still be able to read.
RIGHTS: Final = frozenset({sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_READONLY, sqlite3.SQLITE_PERM})
#: Codes of a full disk, without space for the readers' shared file: the book itself may be readable.
NO_ROOM: Final = frozenset({sqlite3.SQLITE_IOERR, sqlite3.SQLITE_FULL})

#: All formats, oldest first: the names of the migrations. The last is the present one.
FORMATS: Final = ("0001", "0002", "0003", "0004", "0005", "0006", "0007")
