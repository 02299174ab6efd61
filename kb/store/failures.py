"""Explain a database failure in one line that a person can act on.

All errors of SQLAlchemy, a database driver or the disk become Jackfield's own errors here, with their cause
attached. No foreign error leaves the store.
"""

from __future__ import annotations

import sqlite3
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Final

import sqlalchemy.exc

from kb.base.errors import (
    BadInput,
    BookTrouble,
    BookUnavailable,
    Interrupted,
    JackfieldError,
    MissingExtra,
    first_line,
    unchanged,
    why_of,
)
from kb.base.messages import Said
from kb.store.sqlite_codes import NO_ROOM, RIGHTS, SQLITE, code_of

#: The meaning of PostgreSQL's codes and classes (its manual, appendix A) for the user. Longer codes come
#: first.
_POSTGRESQL: Final = {
    "25006": unchanged(Said("error/server-takes-no-changes")),
    "25P03": unchanged(Said("error/server-closed-transaction"), again=True),
    "42501": Said("error/server-forbids"),
    "53100": unchanged(Said("error/server-disk-full")),
    "53300": unchanged(Said("error/server-too-many"), again=True),
    "55P03": unchanged(Said("error/others-write-too-long"), again=True),
    "57014": unchanged(Said("error/server-time-limit")),
    "57P03": unchanged(Said("error/server-starting"), again=True),
    "XX001": Said("error/server-damaged"),
    "XX002": Said("error/server-damaged"),
    "08": Said("error/server-no-network"),
    "28": Said("error/server-refuses"),
    "3D": Said("error/server-no-database"),
    "40": unchanged(Said("error/others-wrote"), again=True),
    "53": unchanged(Said("error/server-no-room")),
    "57": unchanged(Said("error/server-stopping"), again=True),
    "58": unchanged(Said("error/server-disk-failed")),
}
#: After these codes, the same question may succeed next time.
_BROKE_OFF: Final = ("08", "40", "57P")
_DAMAGED: Final = ("XX", "58")
#: libpq gives no code for a refused connection: English messages of the server (src/backend), by code.
_REFUSALS: Final = {
    "too many clients": "53300",
    "connection slots": "53300",
    "too many connections": "53300",
    "starting up": "57P03",
    "shutting down": "57P03",
    "not yet accepting connections": "57P03",
    "not accepting connections": "57P03",
    "in recovery mode": "57P03",
    "authentication failed": "28",
    "no pg_hba.conf entry": "28",
    "no password supplied": "28",
}
_REFUSED: Final = "23"  # integrity constraint violation
_UNFIT: Final = "22"  # data exception


@contextmanager
def translated(place: str) -> Iterator[None]:
    """Raise any failure inside as BookTrouble or BadInput about the book at ``place``."""
    try:
        yield
    except JackfieldError:
        raise
    except (sqlalchemy.exc.SQLAlchemyError, sqlite3.Error) as problem:
        raise _translated(place, problem) from problem
    except OSError as problem:
        raise BookTrouble(Said("error/place-why", place=place, why=why_of(problem))) from problem
    except ImportError as problem:
        raise MissingExtra(place, problem.name, "team") from problem
    except (UnicodeError, OverflowError) as problem:  # a driver gets text or a number that it cannot send
        raise BadInput("visit", first_line(problem), Said("expected/visit-that-fits")) from problem
    except Exception as problem:
        # SQLAlchemy does not wrap an error of the driver that is raised while a connection is made.
        if not _of_driver(problem):
            raise
        raise _translated(place, problem) from problem


def state_of(problem: BaseException) -> str:
    """Return the SQLSTATE of a driver's error, "" if none; also of a refused connection."""
    state: str | None = getattr(problem, "sqlstate", None)
    if state:
        return state
    said = str(problem)
    return next((state for text, state in _REFUSALS.items() if text in said), "")


def is_lost(problem: BaseException) -> bool:
    """Return whether the connection broke, so that no answer can come any more."""
    if isinstance(problem, sqlalchemy.exc.PendingRollbackError):
        return True
    return isinstance(problem, sqlalchemy.exc.DBAPIError) and problem.connection_invalidated


def is_of_disk(problem: BaseException | None) -> bool:
    """Return whether SQLite met a full, failing or closed disk: it says nothing about the book itself."""
    while problem is not None:
        if code_of(problem) in RIGHTS | NO_ROOM:
            return True
        problem = problem.__cause__
    return False


def _of_driver(problem: Exception) -> bool:
    psycopg = sys.modules.get("psycopg")  # imported only if the book is shared
    return psycopg is not None and isinstance(problem, psycopg.Error)


def _translated(place: str, problem: Exception) -> JackfieldError:
    origin = problem.orig if isinstance(problem, sqlalchemy.exc.DBAPIError) else problem
    if isinstance(problem, sqlalchemy.exc.TimeoutError):
        return BookUnavailable(Said("error/busy", place=place))
    if isinstance(origin, sqlite3.Error):
        return _from_sqlite(place, origin)
    state = state_of(origin) if origin else ""
    if state.startswith((_REFUSED, _UNFIT)):
        return BadInput("visit", first_line(origin), Said("expected/visit-that-fits"))
    said = next((said for sign, said in _POSTGRESQL.items() if state.startswith(sign)), None)
    if state.startswith(_DAMAGED):
        return BookTrouble(Said("error/place-why", place=place, why=said or first_line(origin)))
    if is_lost(problem):
        lost = unchanged(Said("error/went-away"), again=True)
        return Interrupted(Said("error/place-why", place=place, why=said or lost))
    if said:
        kind = Interrupted if state.startswith(_BROKE_OFF) else BookUnavailable
        return kind(Said("error/place-why", place=place, why=said))
    if not state and type(origin).__name__ == "OperationalError":
        return BookUnavailable(Said("error/server-unreachable", place=place, why=first_line(origin)))
    return BookTrouble(Said("error/place-why", place=place, why=first_line(origin)))


def _from_sqlite(place: str, origin: sqlite3.Error) -> JackfieldError:
    code = code_of(origin)
    if code == sqlite3.SQLITE_CONSTRAINT:
        return BadInput("visit", first_line(origin), Said("expected/visit-that-fits"))
    busy = code in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED)
    why = SQLITE.get(code) or first_line(origin)
    return (BookUnavailable if busy else BookTrouble)(Said("error/place-why", place=place, why=why))
