"""Is there a copy of the book that can be trusted, and how does it take the place of a book that is lost?

The copy is made by SQLite's online backup (sqlite.org/backup.html), so the book may be in use meanwhile; it
is then opened and checked by itself. A restore goes the same way back, in one transaction of the book's own
file: whoever has it open sees the old book or the restored one, and so does whoever comes after a crash.
"""

from __future__ import annotations

import re
import sqlite3
import time
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from kb import clock
from kb.errors import BadInput, BookTrouble, NotFound, ascii_controls, described
from kb.given import refuse_special, uri_of
from kb.store.peek import WAIT
from kb.store.places import copy_book
from kb.store.signs import FORMATS, SQLITE
from kb.store.trouble import told
from kb.whole import sync_names

KEEP: Final = 14  #: backups that are kept unless told otherwise
_NAME: Final = re.compile(r"book-(\d{8}T\d{6}Z)(-\d+)?\.sqlite\Z")


@dataclass(frozen=True, slots=True)
class Copy:
    """A backup that was checked."""

    path: Path
    visits: int
    findings: int
    revision: int
    book: str


def back_up(book: Path, folder: Path, keep: int = KEEP) -> tuple[Copy, tuple[Path, ...]]:
    """A checked copy in ``folder``, and the older ones that were removed so that ``keep`` remain.

    Raises NotFound where there is no book, BookTrouble where no copy could be made or it does not agree.
    """
    if not book.exists():
        raise NotFound(f"{book}: there is no book here yet")
    refuse_special(book)
    with told(str(folder)):
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    stamp, number = clock.now().strftime("%Y%m%dT%H%M%SZ"), 1
    path = folder / f"book-{stamp}.sqlite"
    while path.exists():
        number += 1
        path = folder / f"book-{stamp}-{number}.sqlite"
    copy_book(book, path)
    try:
        copy = examined(path)
        _agrees(book, copy)
    except BookTrouble:
        path.unlink(missing_ok=True)
        raise
    return copy, _pruned(folder, keep)


def backups(folder: Path) -> list[Path]:
    """The backups in a folder, the newest first."""
    if not folder.is_dir():
        return []
    found = [path for path in folder.iterdir() if _NAME.match(path.name) and path.is_file()]
    return sorted(found, key=_age, reverse=True)


def _age(path: Path) -> tuple[str, int]:
    stamp = _NAME.match(path.name)
    return (stamp[1], int((stamp[2] or "-1")[1:])) if stamp else ("", 0)


def _pruned(folder: Path, keep: int) -> tuple[Path, ...]:
    gone = tuple(backups(folder)[max(keep, 1) :])
    for path in gone:
        path.unlink(missing_ok=True)
    return gone


def examined(path: Path) -> Copy:
    """What is in a backup; raises BookTrouble where it is no whole book of a format that is known here."""
    if not path.exists():
        raise BadInput(str(path), described("no such file"), "a backup of a book")
    refuse_special(path)
    try:
        with closing(_read_only(path)) as copy:
            for check in ("integrity_check(3)", "foreign_key_check"):
                wrong = [row for row in copy.execute(f"PRAGMA {check}") if row[0] != "ok"]
                if wrong:
                    raise BookTrouble(f"{path}: is damaged ({ascii_controls(str(wrong[0][0]))[:120]})")
            [(stamp,)] = copy.execute("SELECT version_num FROM alembic_version").fetchall()
            [(book, revision)] = copy.execute("SELECT id, revision FROM book").fetchall()
            [(visits,)] = copy.execute("SELECT count(*) FROM visit").fetchall()
            [(findings,)] = copy.execute("SELECT count(*) FROM finding").fetchall()
            last = copy.execute("SELECT coalesce(max(revision), 0) FROM writing").fetchone()[0]
    except sqlite3.Error as problem:
        raise BookTrouble(f"{path}: is no book ({ascii_controls(str(problem))[:120]})") from problem
    except ValueError as problem:
        raise BookTrouble(f"{path}: is no whole book") from problem
    if stamp not in FORMATS:
        raise BookTrouble(f"{path}: is of a format that this Jackfield does not know; update jackfield")
    if last != revision:
        raise BookTrouble(f"{path}: says revision {revision}, but its last writing is {last}")
    return Copy(path, visits, findings, revision, book)


def _read_only(path: Path) -> sqlite3.Connection:
    return sqlite3.connect(uri_of(path), uri=True, timeout=WAIT)


def _agrees(book: Path, copy: Copy) -> None:
    """Of all that was in the book up to the copy's revision, is everything in the copy?"""
    with told(str(book)), closing(_read_only(book)) as live:
        asked = "SELECT (SELECT id FROM book), count(*) FROM visit WHERE revision <= ?"
        there = live.execute(asked, (copy.revision,)).fetchone()
        findings = live.execute(
            "SELECT count(*) FROM finding JOIN visit ON visit.id = finding.visit WHERE revision <= ?",
            (copy.revision,),
        ).fetchone()[0]
    if there != (copy.book, copy.visits) or findings != copy.findings:
        raise BookTrouble(
            f"{copy.path}: holds {copy.visits} visits with {copy.findings} findings, the book {there[1]} "
            f"with {findings}; the copy was removed"
        )


def restore(
    backup: Path, book: Path, *, replace: bool, before: Callable[[], None] = lambda: None
) -> tuple[Copy, Path | None]:
    """Put the backup in the place of the book; returns what is in it and where the old book was kept.

    ``before`` is called once the backup was found whole and before anything is changed. Raises BadInput where
    a book is there and ``replace`` is not set; BookTrouble where either file is not fit; the book is then as
    it was.
    """
    copy = examined(backup)
    if backup.exists() and book.exists() and backup.samefile(book):
        raise BadInput(str(backup), described("the book itself"), "a backup of it")
    refuse_special(book)
    if not book.exists():
        before()
        copy_book(backup, book)
        return copy, None
    if not replace:
        raise BadInput(
            str(book), described("a book that is there"), "--replace (the old book is kept beside the new)"
        )
    before()
    kept = _free(book.with_name(f"{book.name}.before-restore-{clock.now().strftime('%Y%m%dT%H%M%SZ')}"))
    if _sound(book):
        copy_book(book, kept)
        with told(str(book)):
            _write_over(backup, book)
    else:
        _move_away(book, kept)
        copy_book(backup, book)
    return copy, kept


def _free(path: Path) -> Path:
    number, free = 1, path.with_name(f"{path.name}.bak")
    while free.exists():
        number += 1
        free = path.with_name(f"{path.name}-{number}.bak")
    return free


def _sound(book: Path) -> bool:
    """Can SQLite read the book at all, so that it can be written over in a transaction?"""
    try:
        with closing(sqlite3.connect(uri_of(book, "rw"), uri=True)) as live:
            live.execute("PRAGMA busy_timeout = 10000")
            return bool(live.execute("PRAGMA quick_check(1)").fetchone()[0] == "ok")
    except sqlite3.OperationalError as problem:
        code = problem.sqlite_errorcode & 0xFF
        if code in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
            raise BookTrouble(f"{book}: {SQLITE[code]}") from problem
        return False
    except sqlite3.DatabaseError:
        return False


def _write_over(backup: Path, book: Path) -> None:
    """All pages of the backup into the book's own file: one transaction of SQLite, with its journal."""
    until = time.monotonic() + WAIT

    def waited(status: int, remaining: int, total: int) -> None:
        if status in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED) and time.monotonic() > until:
            raise BookTrouble(f"{book}: {SQLITE[sqlite3.SQLITE_BUSY]}")

    with (
        closing(_read_only(backup)) as source,
        closing(sqlite3.connect(uri_of(book, "rw"), uri=True)) as live,
    ):
        live.execute("PRAGMA synchronous = FULL")
        live.execute("PRAGMA fullfsync = ON")
        source.backup(live, progress=waited, sleep=0.05)


def _move_away(book: Path, kept: Path) -> None:
    """Set a book that cannot be read aside, with its log: nothing of it is taken for the new one's."""
    with told(str(book)):
        for ending in ("-wal", "-shm", ""):
            part = book.with_name(book.name + ending)
            if part.exists():
                part.rename(kept.with_name(kept.name + ending))
        sync_names(book.parent)
