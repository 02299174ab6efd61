"""What is wrong with the book, in one line that a person can act on?

Everything that SQLAlchemy, a database driver or the disk raises is turned here into Jackfield's own
errors, with its cause attached; nothing foreign leaves the store.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Final

import sqlalchemy.exc

from kb.errors import BadInput, BookTrouble, JackfieldError, MissingExtra, ascii_controls
from kb.store.signs import SQLITE

#: PostgreSQL's classes and codes (its manual, appendix A), the longer first.
_POSTGRESQL: Final = {
    "53100": "the server's disk is full; nothing was changed",
    "53300": "the server takes no more connections; try again",
    "25006": "the server takes no changes just now (read-only); nothing was changed",
    "42501": "this user may not do that there; ask whoever looks after the server",
    "55P03": "somebody else has been writing for too long; nothing was changed, try again",
    "28": "the server refuses this user or password",
    "3D": "there is no such database on the server; have it made first",
    "53": "the server has no room left; nothing was changed",
    "57": "the server is stopping or gave up; nothing was changed, try again",
    "40": "somebody else was writing at the same time; nothing was changed, try again",
    "08": "the server cannot be reached; is the network there?",
}
_FULL: Final = "53100"
_REFUSED: Final = "23"  # integrity constraint violation
_UNFIT: Final = "22"  # data exception
_SHOWN: Final = 120


@contextmanager
def told(place: str) -> Iterator[None]:
    """Whatever goes wrong inside is raised as BookTrouble or BadInput about the book at ``place``."""
    try:
        yield
    except JackfieldError:
        raise
    except (sqlalchemy.exc.SQLAlchemyError, sqlite3.Error) as problem:
        raise _translated(place, problem) from problem
    except OSError as problem:
        raise BookTrouble(f"{place}: {ascii_controls(problem.strerror or str(problem))}") from problem
    except ImportError as problem:
        raise MissingExtra(place, problem.name, "team") from problem
    except (UnicodeError, OverflowError) as problem:  # a driver meets text or a number it cannot send
        raise BadInput("visit", _line(problem), "what the book can hold") from problem


def _translated(place: str, problem: Exception) -> JackfieldError:
    origin = problem.orig if isinstance(problem, sqlalchemy.exc.DBAPIError) else problem
    if isinstance(problem, sqlalchemy.exc.TimeoutError):
        return BookTrouble(f"{place}: busy for too long; try again")
    if isinstance(origin, sqlite3.Error):
        return _from_sqlite(place, origin)
    state = getattr(origin, "sqlstate", None) or ""
    if state.startswith((_REFUSED, _UNFIT)):
        return BadInput("visit", _line(origin), "what the book can hold")
    for sign, said in _POSTGRESQL.items():
        if state.startswith(sign):
            return BookTrouble(f"{place}: {said}")
    if not state and isinstance(problem, sqlalchemy.exc.OperationalError):
        return BookTrouble(f"{place}: the server cannot be reached ({_line(origin)})")
    return BookTrouble(f"{place}: {_line(origin)}")


def _from_sqlite(place: str, origin: sqlite3.Error) -> JackfieldError:
    code = getattr(origin, "sqlite_errorcode", None)
    if code is not None and code & 0xFF == sqlite3.SQLITE_CONSTRAINT:
        return BadInput("visit", _line(origin), "what the book can hold")
    said = SQLITE.get(code & 0xFF) if code is not None else None
    return BookTrouble(f"{place}: {said or _line(origin)}")


def _line(problem: object) -> str:
    """The first line of a foreign message, without anything that could steer a terminal."""
    said = str(problem).strip().splitlines()
    return ascii_controls(said[0][:_SHOWN]) if said else type(problem).__name__
