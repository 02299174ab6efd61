"""Check that the book is intact; each check is one small function.

SQLite's own checks first (``PRAGMA integrity_check``, ``foreign_key_check``), then ours: nothing forged,
nothing in a cycle, nothing readable by others.
"""

from __future__ import annotations

import os
import re
import sqlite3
import stat
import tempfile
import time
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator
from contextlib import closing
from dataclasses import dataclass
from graphlib import CycleError, TopologicalSorter
from pathlib import Path
from typing import Final

from kb.base import clock
from kb.base.errors import BookUnavailable, JackfieldError, first_line, why_of
from kb.base.files import SQLITE_ENDINGS, uri_of
from kb.base.messages import Said, Wording
from kb.domain.visit import Visit, in_future
from kb.settings import BACKUPS, FILES
from kb.store import Store
from kb.store.content_id import is_sealed
from kb.store.facts import rows, visits
from kb.store.failures import is_of_disk, translated
from kb.store.merging import certified
from kb.store.revision import WAIT, read_file
from kb.store.schema_check import Differences, differences, mend
from kb.store.sqlite_codes import FORMATS, code_of

_FEW: Final = 5  #: of the faults, so many are named


@dataclass(frozen=True, slots=True)
class Check:
    """Hold one check: its subject, and its faults (none if all is well)."""

    name: str
    wrong: tuple[Wording, ...]

    @property
    def ok(self) -> bool:
        """Return whether all is well."""
        return not self.wrong


def checks(store: Store, path: Path | None) -> list[Check]:
    """Run every check of an open book; ``path`` is its file, None for a shared one.

    Raises BookUnavailable if the book cannot be read now, BookTrouble if the disk does not let it be read.
    """
    found = []
    with translated(store.place):
        if path is not None:
            found += [Check(name, _tried(lambda look=look: look(path))) for name, look in _OF_FILE]  # type: ignore[misc]
        found += [Check(name, _tried(lambda look=look: look(store))) for name, look in _OF_STORE]  # type: ignore[misc]
    return found


def _tried(look: Callable[[], Iterator[Wording]]) -> tuple[Wording, ...]:
    wrong: list[Wording] = []
    try:
        for one in look():
            wrong.append(one)
            if len(wrong) > _FEW:
                return (*wrong[:_FEW], Said("book/fault/more"))
    except BookUnavailable:
        raise  # the server is away or the book is busy: its state stays unknown
    except (JackfieldError, sqlite3.Error, OSError, ValueError) as problem:
        if is_of_disk(problem):
            raise  # nothing was found out about the book
        wrong.append(why_of(problem))
    return tuple(wrong)


def _asked(path: Path, question: str) -> list[tuple[object, ...]]:
    return read_file(path, lambda book: book.execute(question).fetchall())


def _integrity(path: Path) -> Iterator[Said]:
    for (said,) in _asked(path, f"PRAGMA integrity_check({_FEW + 1})"):
        if said != "ok":
            yield Said("error/says", program="SQLite", words=first_line(said))


def _references(path: Path) -> Iterator[Said]:
    for table, row, parent, _ in _asked(path, "PRAGMA foreign_key_check"):
        yield Said("book/fault/reference", table=table, row=row, parent=parent)


def _differences(path: Path) -> Differences:
    def found(book: sqlite3.Connection) -> Differences:
        [(stamp,)] = book.execute("SELECT version_num FROM alembic_version").fetchall()
        return differences(book, stamp)

    return read_file(path, found)


def _guards(path: Path) -> Iterator[Said]:
    yield from _differences(path).said("trigger")


def _indexes(path: Path) -> Iterator[Said]:
    yield from _differences(path).said("index", "view")


def _tables(path: Path) -> Iterator[Said]:
    yield from _differences(path).said("table")


def mend_schema(path: Path) -> tuple[Said, ...]:
    """Drop triggers, indexes and views that belong to no book, and add the missing ones.

    No table is touched, so no fact is. Return the faults found; raises BookTrouble.
    """
    with (
        translated(str(path)),
        closing(sqlite3.connect(uri_of(path, "rw"), uri=True, timeout=WAIT, isolation_level=None)) as book,
    ):
        book.execute("PRAGMA trusted_schema = OFF")
        book.execute("PRAGMA synchronous = FULL")
        book.execute("BEGIN IMMEDIATE")
        [(stamp,)] = book.execute("SELECT version_num FROM alembic_version").fetchall()
        wrong = differences(book, stamp)
        if stamp != FORMATS[-1] or not wrong:
            book.execute("ROLLBACK")
            return ()
        mend(book, stamp, wrong)
        book.execute("COMMIT")
    return tuple(wrong.said("trigger", "index", "view"))


#: If rights are lists of names (Windows), a mode does not show who can read.
_MODES: Final = os.name != "nt"


def _rights(path: Path) -> Iterator[Said]:
    for one in (path.parent, path):
        mode = stat.S_IMODE(one.stat().st_mode)
        if _MODES and mode & 0o077:
            yield Said("book/fault/rights", place=one, mode=f"{mode:o}")


def _seals(store: Store) -> Iterator[Said]:
    with store.snapshot() as book:
        for fact in visits(book, 0, private=False):
            if (fact.nonce or is_sealed(fact.id)) and not certified(fact):
                yield Said("book/fault/seal", id=fact.id)
        for other in rows(book):
            if is_sealed(other.id) and not certified(other):
                kind = type(other).__name__.removesuffix("Fact").lower()
                yield Said("book/fault/other-seal", kind=kind, id=other.id)


def _lineage(store: Store) -> Iterator[Said]:
    later: dict[str, set[str]] = defaultdict(set)
    with store.snapshot() as book:
        for fact in visits(book, 0, private=False):
            for earlier in fact.visit.supersedes:
                later[fact.id].add(earlier)
    while True:
        try:
            TopologicalSorter(later).prepare()
            return
        except CycleError as circle:  # of several circles it finds one
            earlier, visit, *_ = circle.args[1]  # each comes before the next
            yield Said("book/fault/lineage", one=earlier, other=visit)
            later[visit].remove(earlier)


def _counts(store: Store) -> Iterator[Said]:
    with store.snapshot() as book:
        counts, streamed = book.counts(), sum(len(some) for some in book.visits())
    if counts.visits != streamed:
        yield Said("book/fault/counts", count=counts.visits, read=streamed)


def ahead(some: Iterable[Visit]) -> Iterator[Said]:
    """Yield a sentence for each visit with a day that has not come by this machine's clock."""
    for visit in some:
        if in_future(visit.date):
            name = f"{visit.source.make} {visit.source.model}"
            values = {"id": visit.id[:8], "date": visit.date.isoformat(), "today": clock.today().isoformat()}
            yield Said("book/fault/ahead", set=name, **values)


def _dates(store: Store) -> Iterator[Said]:
    with store.snapshot() as book:
        yield from ahead(book.visits_found(since=clock.today()))


_OF_FILE: Final[tuple[tuple[str, Callable[[Path], Iterator[Wording]]], ...]] = (
    ("integrity", _integrity),
    ("references", _references),
    ("guards", _guards),
    ("indexes", _indexes),
    ("tables", _tables),
    ("rights", _rights),
)
_OF_STORE: Final[tuple[tuple[str, Callable[[Store], Iterator[Wording]]], ...]] = (
    ("readable", _counts),
    ("seals", _seals),
    ("lineage", _lineage),
    ("dates", _dates),
)


_DRAFT: Final = r"\.[0-9a-f]{8}\.part"
_COPY: Final = r"book[-.\w]*\.(?:sqlite|bak)"  # a backup, or the old book before an upgrade or a restore
_KEPT: Final = "|".join(re.escape(name) for name in FILES)
#: What `kb.base.atomic`, and a copy of the book with the files of SQLite next to it, leave if cut off.
_UNFINISHED: Final = re.compile(
    rf"(\.?(?:{_COPY}|{_KEPT})(?:{_DRAFT}){{1,2}})(?:{'|'.join(SQLITE_ENDINGS)})?", re.ASCII
)
#: Seconds since its last change after which an unfinished file is abandoned.
_LEFT_ALONE: Final = 60.0


def leftovers(home: Path) -> list[Path]:
    """Return unfinished files of interrupted work: copies and settings that were never put in place.

    Only files with Jackfield's own names count, and none that a program is still writing.
    """
    found: list[Path] = []
    for folder in (home, home / BACKUPS):
        if folder.is_dir():
            now = _now_in(folder)
            found += [path for path in folder.iterdir() if _is_left(path, now)]
    return sorted(found)


def _is_left(path: Path, now: float) -> bool:
    made = _UNFINISHED.fullmatch(path.name)
    return made is not None and _left_alone(path, now) and not _in_use(path.with_name(made[1]))


def _now_in(folder: Path) -> float:
    """Return the time by the clock that stamps files in this folder, on a shared disk another machine's."""
    try:
        with tempfile.TemporaryFile(dir=folder) as file:
            return os.fstat(file.fileno()).st_mtime
    except OSError:
        return time.time()


def _left_alone(path: Path, now: float) -> bool:
    try:
        about = path.lstat()
    except OSError:  # it was put in place meanwhile
        return False
    return stat.S_ISREG(about.st_mode) and abs(now - about.st_mtime) > _LEFT_ALONE


def _in_use(path: Path) -> bool:
    """Return whether SQLite is writing to it. A long copy, or a changed clock, makes a file look old."""
    try:
        with closing(sqlite3.connect(uri_of(path, "rw"), uri=True, timeout=0, isolation_level=None)) as copy:
            copy.execute("BEGIN EXCLUSIVE")
    except sqlite3.DatabaseError as problem:
        return code_of(problem) in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED)
    return False
