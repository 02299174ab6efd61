"""Read makes and models for the shell's completion, quickly and without SQLAlchemy.

Nothing here writes, waits long or reports trouble: what cannot be read is not suggested.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing
from itertools import islice
from pathlib import Path
from time import monotonic
from typing import Final

from kb.base.errors import BookTrouble
from kb.base.files import moved, readable, refuse_special
from kb.base.text import squeezed
from kb.store import counted
from kb.store.spellings import Spellings
from kb.store.sqlite_codes import FORMATS

MOST: Final = 50  #: suggestions at once; more than fit a screen help nobody
TIME_S: Final = 0.3  #: for all reading; what was found by then is suggested
_BUSY_S: Final = 0.1
_STEPS: Final = 2_000  #: of SQLite's machine between two looks at the clock

_LAST: Final = "\U0010ffff"  #: sorts after every character of a key
# A key is squeezed make, slash, squeezed model. A blank sorts before the slash, "0" next after it.
_AFTER_MAKE: Final = "0"
_AFTER_KEY: Final = " "

# Only names of tables and columns are put into the text of a question; values are passed separately.
_ALIASES: Final = f"SELECT set_key, same_as FROM alias WHERE {counted.counts('alias')}"  # noqa: S608
_NEXT: Final = f"""
  SELECT set_key, make, model FROM visit WHERE set_key >= ? AND set_key < ? AND {counted.in_force("visit")}
  ORDER BY set_key LIMIT 1"""  # noqa: S608
_ANY_MAKE: Final = "SELECT DISTINCT set_key FROM visit WHERE instr(set_key, ?) ORDER BY set_key"


def makes(path: Path, begun: str) -> list[str]:
    """Return makes in the book ``path`` that begin so, as typed in a visit; at most ``MOST``."""
    return _read(path, lambda book: _makes(book, squeezed(begun))) if _readable(begun) else []


def models(path: Path, make: str, begun: str) -> list[str]:
    """Return models of the make in the book ``path`` that begin so; at most ``MOST``."""
    if not _readable(begun):
        return []
    return _read(path, lambda book: _models(book, squeezed(make), squeezed(begun)))


def words(path: Path, before: str, begun: str) -> list[str]:
    """Return makes and models that begin so. If ``before`` names a make, return its models only."""
    make, start = squeezed(before), squeezed(begun)

    def both(book: _Book) -> Iterator[str]:
        if make and book.next_set(f"{make}/", f"{make}{_AFTER_MAKE}"):
            yield from _models(book, make, start)
            return
        yield from _makes(book, start)
        if start:
            yield from _models_of_any(book, start)

    return _read(path, both) if _readable(begun) else []


def _readable(begun: str) -> bool:
    """Whether there is a letter or digit, or nothing yet; signs alone begin no name."""
    return not begun or bool(squeezed(begun))


class _Book:
    def __init__(self, connection: sqlite3.Connection) -> None:
        self.ask = connection.execute
        self._spellings = Spellings(self.ask(_ALIASES))

    def next_set(self, low: str, high: str) -> tuple[str, str, str] | None:
        """The first set with a visit in force and a key in the range, under a kept spelling."""
        while found := self.ask(_NEXT, (low, high)).fetchone():
            key, make, model = found
            if self._spellings.kept(key) == key:
                return key, make, model
            low = key + _AFTER_KEY
        return None


_Names = Callable[[_Book], Iterator[object]]  # a damaged book may hold anything


def _makes(book: _Book, start: str) -> Iterator[str]:
    low = start
    while found := book.next_set(low, start + _LAST):
        yield found[1]
        low = found[0].partition("/")[0] + _AFTER_MAKE


def _models(book: _Book, make: str, start: str) -> Iterator[str]:
    low = f"{make}/{start}"
    while found := book.next_set(low, f"{make}/{start}{_LAST}"):
        yield found[2]
        low = found[0] + _AFTER_KEY


def _models_of_any(book: _Book, start: str) -> Iterator[str]:
    for (key,) in book.ask(_ANY_MAKE, (f"/{start}",)):
        if found := book.next_set(key, key + _AFTER_KEY):
            yield found[2]


def _read(path: Path, names: _Names) -> list[str]:
    """The names that could be read; none where the book is missing, of another format, damaged or busy."""
    found: list[str] = []
    try:
        refuse_special(path)
        # The last of the two ways: as the file stands, unless somebody writes to it. So SQLite makes no file.
        way = list(islice(readable(path), 2))[-1]
        try:
            with closing(sqlite3.connect(way.uri, uri=True, timeout=_BUSY_S, isolation_level=None)) as db:
                _collect(db, names, found)
        except (sqlite3.Error, TypeError, AttributeError):
            pass  # damaged, busy, or its time is over
        return [] if moved(path, way) else found
    except (OSError, ValueError, BookTrouble):
        return []


def _collect(db: sqlite3.Connection, names: _Names, found: list[str]) -> None:
    late = monotonic() + TIME_S
    db.set_progress_handler(lambda: monotonic() > late, _STEPS)
    db.execute("BEGIN")  # one state of the book, even if others write meanwhile
    if db.execute("SELECT version_num FROM alembic_version").fetchall() != [(FORMATS[-1],)]:
        return
    for name in names(_Book(db)):
        if isinstance(name, str) and name not in found:
            found.append(name)
        if len(found) >= MOST:
            return
