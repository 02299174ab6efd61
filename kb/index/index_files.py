"""Define the files of the index: their folder, which of them are in use, and the tables of the SQLite file.

::

    folder/current          one line: the name of the generation in use, replaced atomically
    folder/lock.sqlite      held by the writer; released by the system when its process ends
    folder/gen-XXXX/        one generation: keys.sqlite, bits-N, words/

A rebuild makes a new generation next to the old one and then swaps ``current``. A reader that has the old one
open keeps it. Only the owner can read the files.

In the SQLite file, ``sets`` has a row per set, ``spelling`` one per spelling of it, and ``keys`` one
integer per key (see ``kb.index.keys``). A further table has a row per make. ``pending`` holds the texts
that the files of the words do not have yet. ``words_file`` holds the CRC-32 of each of these files, as a
damaged one may answer without an error. All of it follows from the store; ``meta`` says from which
revision.
"""

from __future__ import annotations

import json
import os
import re
import sqlite3
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from types import MappingProxyType
from typing import Any, Final
from zlib import crc32

from kb.base.errors import BookTrouble, why_of
from kb.base.files import Way, make_empty, private_folder, readable, uri_of
from kb.base.messages import Said
from kb.index import keys as k
from kb.index.entry import Filters, IndexBroken, SetEntry
from kb.index.normalize import fold, normalise, shape, spellings

FORMAT = 10
"""Increased with every change of tables, hashes, folding or texts: an index of another format is rebuilt."""

SCHEMA = """
CREATE TABLE meta (name TEXT PRIMARY KEY, value) WITHOUT ROWID;
CREATE TABLE sets (
  id INTEGER PRIMARY KEY, key TEXT NOT NULL, make TEXT NOT NULL, model TEXT NOT NULL, kind TEXT NOT NULL,
  findings INTEGER NOT NULL, visits INTEGER NOT NULL, first_year INTEGER, last_year INTEGER,
  signals TEXT NOT NULL, outcomes TEXT NOT NULL, best TEXT NOT NULL, payload TEXT NOT NULL,
  sizes TEXT NOT NULL, facts TEXT NOT NULL);
CREATE TABLE spelling (
  id INTEGER PRIMARY KEY, set_id INTEGER NOT NULL, make TEXT NOT NULL, model TEXT NOT NULL,
  folded TEXT NOT NULL, backward TEXT NOT NULL, short INTEGER NOT NULL);
CREATE TABLE keys (key INTEGER PRIMARY KEY);
CREATE TABLE makes (id INTEGER PRIMARY KEY, make TEXT NOT NULL, sets INTEGER NOT NULL, shown TEXT NOT NULL);
CREATE TABLE make_word (word TEXT NOT NULL, make TEXT NOT NULL, PRIMARY KEY (word, make)) WITHOUT ROWID;
CREATE TABLE pending (key TEXT PRIMARY KEY, text TEXT NOT NULL) WITHOUT ROWID;
CREATE TABLE words_file (name TEXT PRIMARY KEY, crc INTEGER NOT NULL) WITHOUT ROWID;
"""
INDEXES = """
CREATE UNIQUE INDEX sets_key ON sets (key);
CREATE INDEX spelling_set ON spelling (set_id);
CREATE INDEX spelling_make ON spelling (make);
CREATE INDEX spelling_folded ON spelling (folded);
CREATE INDEX spelling_backward ON spelling (backward);
CREATE UNIQUE INDEX makes_make ON makes (make);
"""
CACHE_KB = 16 * 1024

SETS = (
    "SELECT id, key, make, model, kind, findings, visits, first_year, last_year, signals, outcomes, best,"
    " payload, sizes, facts FROM sets"
)
BY_ID = SETS + " WHERE id IN (SELECT value FROM json_each(?))"  # noqa: S608  # constants only
BY_KEY = SETS + " WHERE key IN (SELECT value FROM json_each(?))"  # noqa: S608
MOST_FOUND = " ORDER BY findings DESC, make, model"

SetRow = tuple[int, str, str, str, str, int, int, int | None, int | None, str, str, str, str, str, str]
PUT_SET = "INSERT OR REPLACE INTO sets VALUES (?,?,?,?,?,?,?,?,?,?,?,?,?,?,?)"
SpellingRow = tuple[int, int, str, str, str, str, int]
Row = tuple[int, str, str, int]
"""Set, make, model (normalised), and whether the model lacks the make at its front."""


def other_format(meta: Mapping[str, Any]) -> IndexBroken:
    """Return the error of an index that another Jackfield has written."""
    return IndexBroken(Said("error/index-format", seen=meta.get("format"), expected=FORMAT))


def connect(path: Path, *, create: bool = False) -> sqlite3.Connection:
    """Connect in autocommit; raises ``IndexBroken`` if the file is missing or not a database."""
    db = None
    try:
        if create:
            make_empty(path)
        db = sqlite3.connect(uri_of(path, "rw"), uri=True, timeout=30, isolation_level=None)
        db.execute(f"PRAGMA cache_size=-{CACHE_KB}")
    except sqlite3.Error as error:
        if db is not None:
            db.close()
        raise IndexBroken(
            Said(
                "error/cannot-be-opened",
                place=path.name,
                why=why_of(error),
            )
        ) from error
    return db


def connect_to_read(path: Path) -> tuple[sqlite3.Connection, Way | None]:
    """Connect for reading, and return the way of opening if it has no locks; raises as ``connect``.

    On a full disk, or in a read-only folder, the file is read without locks. Such a connection never sees
    later writing.
    """
    try:
        return connect(path), None
    except IndexBroken as trouble:
        way = next((way for way in readable(path) if way.stood), None)
        refused = getattr(trouble.__cause__, "sqlite_errorcode", 0) & 0xFF
        if way is None or refused not in _NOT_SHARED or not path.is_file():
            raise
        return sqlite3.connect(way.uri, uri=True, isolation_level=None), way


#: SQLite's error if it cannot make the file that readers share.
_NOT_SHARED: Final = frozenset(
    {
        sqlite3.SQLITE_CANTOPEN,
        sqlite3.SQLITE_READONLY,
        sqlite3.SQLITE_PERM,
        sqlite3.SQLITE_IOERR,
        sqlite3.SQLITE_FULL,
    }
)


def meta(db: sqlite3.Connection) -> dict[str, int]:
    """Return all of ``meta`` but the mark."""
    return dict(db.execute("SELECT name, value FROM meta WHERE name <> 'mark'"))


def mark(db: sqlite3.Connection) -> str:
    """Return the mark that came with the revision, "" if none."""
    row = db.execute("SELECT value FROM meta WHERE name = 'mark'").fetchone()
    return str(row[0]) if row else ""


def set_meta(db: sqlite3.Connection, **values: int | str) -> None:
    """Write entries of ``meta``."""
    db.executemany("INSERT OR REPLACE INTO meta VALUES (?, ?)", values.items())


def words_files(db: sqlite3.Connection) -> dict[str, int]:
    """Return the CRC-32 of each file of the words by its name, as last written."""
    return dict(db.execute("SELECT name, crc FROM words_file"))


def set_words_files(db: sqlite3.Connection, files: dict[str, int]) -> None:
    """Replace all known CRCs by these."""
    db.execute("DELETE FROM words_file")
    db.executemany("INSERT INTO words_file VALUES (?, ?)", files.items())


def flags(values: Iterable[str]) -> str:
    """Join values to one text for searching: ``" a b "``; separators inside a value are dropped."""
    return "".join(f" {value.replace(' ', '-')}" for value in values) + " " if values else ""


def set_row(ident: int, entry: SetEntry) -> SetRow:
    """Return a row of ``sets``."""
    return (
        ident, entry.key, entry.make, entry.model, entry.kind, entry.findings, entry.visits, *entry.years,
        flags(entry.signals), flags(entry.outcomes), entry.best, entry.payload,
        flags([f"{size:g}" for size in entry.sizes]), flags(entry.facts),
    )  # fmt: skip


def entry_spellings(entry: SetEntry) -> list[tuple[str, str, int]]:
    """Return the normalised (make, model, short) under which the set is found, its own first.

    They are distinct, and no model is empty. ``short`` is 1 if the make was cut off the front of the model.
    """
    out: dict[tuple[str, str], int] = {}
    for make, model in ((entry.make, entry.model), *entry.aliases):
        for short, code in enumerate(spellings(make, model)):
            if code:
                out.setdefault((normalise(make), code), short)
    return [(make, code, short) for (make, code), short in out.items()]


def spelling_row(ident: int, set_id: int, make: str, model: str, short: int) -> SpellingRow:
    """Return a row of ``spelling``."""
    folded = fold(model)
    return (ident, set_id, make, model, folded, folded[::-1], short)


def key_hashes(model: str) -> set[int]:
    """Return every hash under which a spelling of a model is stored: its neighbourhood and its shape."""
    out = k.stored_hashes(fold(model))
    skeleton = shape(model)
    if skeleton:
        out.add(crc32(k.encode(skeleton), k.SHAPE))
    return out


def make_hashes(make: str) -> set[int]:
    """Return every hash under which a make is stored."""
    return k.stored_hashes(fold(make), k.MAKE)


def dump_text(entry: SetEntry) -> str:
    """Return the document of a set for ``pending``; "" if it has no text."""
    if not entry.text:
        return ""
    return json.dumps(
        {
            "make": normalise(entry.make), "kind": entry.kind, "years": entry.years,
            "signals": entry.signals, "outcomes": entry.outcomes, "facts": entry.facts, "text": entry.text,
        },
        ensure_ascii=False,
    )  # fmt: skip


def words_of(shown: str) -> tuple[str, ...]:
    """Return the normalised words of a make of several words, in order; () for a make of one word."""
    words = tuple(word for part in re.split(r"[\s/,;_|\\.-]+", shown) if (word := normalise(part)))
    return words if len(words) > 1 else ()


def chunks(rows: Iterable[SetEntry], size: int) -> Iterator[list[SetEntry]]:
    """Yield lists of at most ``size`` entries."""
    batch: list[SetEntry] = []
    for row in rows:
        batch.append(row)
        if len(batch) >= size:
            yield batch
            batch = []
    if batch:
        yield batch


def rows_of(db: sqlite3.Connection, ids: list[int]) -> dict[int, SetRow]:
    """Return rows of ``sets`` by id."""
    return {row[0]: row for row in db.execute(BY_ID, (str(ids),))} if ids else {}


def passes(row: SetRow, filters: Filters) -> bool:
    """Return whether a set meets the filters."""
    if not filters:
        return True
    if filters.make and normalise(row[2]) != normalise(filters.make):
        return False
    if filters.kind and row[4] != filters.kind:
        return False
    if filters.years is not None and not in_years(row, filters.years):
        return False
    return all(
        set(wanted) <= set(known.split())
        for wanted, known in (
            (filters.signals, row[9]),
            (filters.outcomes, row[10]),
            (filters.facts, row[14]),
        )
    )


def in_years(row: SetRow, years: tuple[int, int]) -> bool:
    """Return whether the known years of a set touch the range."""
    first, last = row[7], row[8]
    low = first if first is not None else last
    high = last if last is not None else first
    return low is not None and high is not None and low <= years[1] and high >= years[0]


# the folder

_NAME = re.compile(r"gen-[0-9a-f]{16}\Z")
CURRENT, LOCK, KEYS, WORDS = "current", "lock.sqlite", "keys.sqlite", "words"
LOCK_WAIT_S = 60.0


def current(folder: Path) -> Path | None:
    """Return the folder of the generation in use, None if there is none."""
    try:
        with open(folder / CURRENT, encoding="ascii") as file:
            name = file.read(40).strip()
    except (OSError, UnicodeDecodeError):
        return None
    if not _NAME.match(name):  # the file is data, never a path
        return None
    return folder / name


def new_generation(folder: Path) -> Path:
    """Make a fresh, empty generation folder, not yet in use."""
    import secrets  # a lookup does not load modules that only writers need

    make_private(folder)
    path = folder / f"gen-{secrets.token_hex(8)}"
    path.mkdir(mode=0o700)
    return path


def put_in_force(folder: Path, generation: Path) -> None:
    """Use ``generation`` from now on, and drop the others."""
    import shutil

    from kb.base.atomic import write_mine

    _make_way(folder / CURRENT)
    write_mine(folder / CURRENT, f"{generation.name}\n".encode())
    for other in folder.iterdir():
        if _NAME.match(other.name) and other.name != generation.name:
            # If the system locks open files, the next rebuild removes the rest.
            shutil.rmtree(other, ignore_errors=True)
        elif other.name.startswith(f".{CURRENT}"):  # an unfinished one
            other.unlink(missing_ok=True)


def _make_way(path: Path) -> None:
    """Rename a folder that has the name of a file, since its content is unknown."""
    import secrets

    if path.is_dir():
        path.rename(path.with_name(f"{path.name}-was-a-folder-{secrets.token_hex(4)}"))


def crcs(folder: Path, known: Mapping[str, int] = MappingProxyType({})) -> dict[str, int]:
    """Return the CRC-32 of each file of the words in ``folder``.

    Such a file never changes under its name, so those in ``known`` are not computed again.
    """
    return {
        path.name: known[path.name] if path.name in known else _crc(path)
        for pattern in ("*.seg", "_*.toc")
        for path in folder.glob(pattern)
    }


def damaged(folder: Path, known: Mapping[str, int]) -> str | None:
    """Return the name of a file of the words that differs from the file written; read each once per process.

    Another process may have taken a missing file away and put others in its place.
    """
    for name, crc in known.items():
        path = folder / name
        try:
            about = path.stat()
            seen = (str(path), about.st_ino, about.st_size, about.st_mtime_ns, crc)
            if seen not in _WHOLE and _crc(path) != crc:
                return name
        except FileNotFoundError:
            continue
        except OSError:
            return name
        _WHOLE.add(seen)
    return None


_WHOLE: set[tuple[str, int, int, int, int]] = set()  # files found to be unchanged


def _crc(path: Path) -> int:
    crc = 0
    with open(path, "rb") as file:
        while some := file.read(1 << 20):
            crc = crc32(some, crc)
    return crc


def make_private(folder: Path) -> None:
    """Make the folder, and make sure that only its owner can look inside."""
    private_folder(folder)
    os.chmod(folder, 0o700)


@contextmanager
def writing(folder: Path, wait_s: float = LOCK_WAIT_S) -> Iterator[None]:
    """Hold the writer's lock; raises ``BookTrouble`` if another process holds it for ``wait_s`` seconds."""
    try:
        make_private(folder)
        _make_way(folder / LOCK)
        make_empty(folder / LOCK)
        try:
            lock = _locked(folder / LOCK, wait_s)
        except sqlite3.DatabaseError as error:
            if isinstance(error, sqlite3.OperationalError):
                raise
            # Damaged: it holds nothing, so it is emptied. It stays the same file and is not opened for that:
            # the first process to repair it keeps its lock.
            os.truncate(folder / LOCK, 0)
            lock = _locked(folder / LOCK, wait_s)
    except (OSError, sqlite3.Error) as error:
        if "locked" in str(error):
            raise BookTrouble(Said("error/index-busy", folder=folder)) from error
        raise BookTrouble(Said("error/index-unwritable", folder=folder, why=why_of(error))) from error
    try:
        yield
    finally:
        lock.close()


def _locked(path: Path, wait_s: float) -> sqlite3.Connection:
    """Return the lock file, held until the connection is closed or its process ends."""
    lock = sqlite3.connect(path, timeout=wait_s, isolation_level=None)
    try:
        lock.execute("BEGIN EXCLUSIVE")
    except BaseException:
        lock.close()
        raise
    return lock
