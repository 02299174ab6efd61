"""Back up a book, check the copy, and restore it.

SQLite's online backup makes the copy (sqlite.org/backup.html), so the book may be in use meanwhile. The copy
is then opened and checked. A restore first makes and checks a complete copy next to the book. Then it writes
that copy back in one transaction of the book's own file. A program that has the book open sees the old book
or the restored one, and so does a program that starts after a crash.
"""

from __future__ import annotations

import os
import re
import secrets
import sqlite3
import time
from contextlib import closing, suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

from kb.base import clock
from kb.base.atomic import put_new, sync_names
from kb.base.errors import BadInput, BookTrouble, NotFound, Stated, first_line, why_of
from kb.base.files import SQLITE_ENDINGS, free_name, private_folder, refuse_special, uri_of
from kb.base.messages import Said, Wording
from kb.exchange import home_files as beside
from kb.exchange.home_files import Brought
from kb.store.failures import translated
from kb.store.places import PATIENCE, FilePlace, copy_book
from kb.store.revision import WAIT, Standing, read_file, standing
from kb.store.schema_check import Differences, differences, mend
from kb.store.sqlite_codes import FORMATS, SQLITE, code_of
from kb.store.upgrade import bring_up_to_date

KEEP: Final = 14  #: default number of backups kept
_NAME: Final = re.compile(r"book-\d{8}T\d{6}Z(-[0-9a-f]{8})?(-\d+)?\.sqlite\Z")


@dataclass(frozen=True, slots=True)
class Copy:
    """Describe a checked backup. ``wrong``: how its schema differs from a book's, if it does."""

    path: Path
    visits: int
    findings: int
    standing: Standing
    stamp: str
    wrong: Differences = field(default_factory=Differences)

    @property
    def revision(self) -> int:
        """Return the revision of the book in it."""
        return self.standing.revision


@dataclass(frozen=True, slots=True)
class Backup:
    """Hold the result of ``back_up``. ``problems``: other failures; the copy itself is good."""

    copy: Copy
    removed: tuple[Path, ...]
    photos: int
    manuals: int
    problems: tuple[Wording, ...]


@dataclass(frozen=True, slots=True)
class Restored:
    """Hold the result of ``restore``: the book's content, the old book's place, remains of a lost one."""

    copy: Copy
    kept: Path | None
    only_kept: int | None
    """How many visits the old book has that the restored one lacks; None if it cannot be read or was none."""
    logs: tuple[Path, ...]
    left_out: tuple[Wording, ...]
    """Parts of the backup that belong to no book."""
    brought: Brought


@dataclass(frozen=True, slots=True)
class Kept:
    """A file in a folder of backups; ``standing`` is None if no book can be read in it."""

    path: Path
    standing: Standing | None


def back_up(book: Path, folder: Path, keep: int = KEEP) -> Backup:
    """Make a checked copy in ``folder``, and remove older ones of the same book so that ``keep`` remain.

    Raises NotFound if there is no book, BookTrouble if no copy could be made or it does not agree; then
    there is no new file.
    """
    if not book.exists():
        raise NotFound(Said("error/no-book", place=book))
    refuse_special(book)
    with translated(str(folder)):
        private_folder(folder)
    here = standing(book)
    # The end of the book's id, so that two books never share a name.
    start = f"book-{clock.file_stamp()}" + (f"-{here.book[-8:]}" if here else "")
    path = free_name(folder, start, ".sqlite")
    copy_book(book, path)
    try:
        copy = examined(path)
        _agrees(book, copy)
        beside.keep(book.parent, path)
    except BaseException:
        with suppress(OSError):
            path.unlink(missing_ok=True)
        raise
    problems: list[Wording] = list(copy.wrong.said("trigger", "index", "view", "table"))
    removed: tuple[Path, ...] = ()
    photos = manuals = 0
    try:
        photos = beside.PHOTOS.keep(book.parent, folder)
        manuals = beside.MANUALS.keep(book.parent, folder)
        if not problems:  # an older copy may be the better one
            removed = _pruned(folder, keep, copy)
    except BookTrouble as trouble:
        problems.append(trouble.said)
    return Backup(copy, removed, photos, manuals, tuple(problems))


def backups(folder: Path) -> list[Kept]:
    """Return the backups in a folder: of each book the one with the latest revision first."""
    if not folder.is_dir():
        return []
    with translated(str(folder)):
        paths = [one for one in folder.iterdir() if _NAME.match(one.name) and one.is_file()]
    found = sorted((Kept(path, _stands(path)) for path in paths), key=lambda one: one.path.name, reverse=True)
    return sorted(
        found, key=lambda one: (one.standing.book, -one.standing.revision) if one.standing else ("~", 0)
    )


def newest(folder: Path, book: Path) -> tuple[Path, tuple[Path, ...]]:
    """Return the backup with most of the book, and the files in which no book can be read.

    The clock does not matter. Raises NotFound if there is none; BadInput if there are backups of several
    books, or of one book that was continued in two ways.
    """
    found = backups(folder)
    unreadable = tuple(one.path for one in found if one.standing is None)
    here = _stands(book)
    of_books = [(one.path, one.standing) for one in found if one.standing]
    own = [one for one in of_books if here and one[1].book == here.book]
    if here:
        own = [one for one in own if _follows(book, one[1])] or own
    heads: list[tuple[Path, Standing]] = []
    for path, stands in own or of_books:  # of each book the latest revision comes first
        if not any(_follows(head, stands) for head, _ in heads):
            heads.append((path, stands))
    if not heads:
        raise NotFound(Said("error/no-backup", place=folder))
    if len(heads) > 1:
        names = ", ".join(path.name for path, _ in heads)
        raise BadInput(str(folder), Said("seen/several-histories"), Said("expected/name-of-one", names=names))
    return heads[0][0], unreadable


def _follows(later: Path, earlier: Standing) -> bool:
    """Return whether everything in the book, in its earlier state, is also in the file ``later``."""
    with translated(str(later)), closing(_read_only(later)) as book:
        if book.execute("SELECT id FROM book").fetchone() != (earlier.book,):
            return False
        asked = "SELECT 1 FROM writing WHERE revision = ? AND mark = ?"
        return not earlier.revision or bool(book.execute(asked, earlier[1:]).fetchone())


def _pruned(folder: Path, keep: int, made: Copy) -> tuple[Path, ...]:
    """Remove old copies whose whole content is in the copy just made.

    Copies of another book, of the same book continued elsewhere, and unreadable files all stay.
    """
    older = [
        one.path
        for one in backups(folder)
        if one.standing
        and one.path != made.path
        and not one.path.is_symlink()
        and _follows(made.path, one.standing)
    ]
    gone = tuple(older[max(keep, 1) - 1 :])
    for path in gone:
        with translated(str(path)):
            path.unlink(missing_ok=True)
            beside.beside(path).unlink(missing_ok=True)
    return gone


def examined(path: Path) -> Copy:
    """Return the content of a backup; raises BookTrouble if it is no complete book of a known format."""
    if not path.exists():
        raise BadInput(str(path), Stated("error/file-not-found"))
    refuse_special(path)
    try:
        with closing(_read_only(path)) as copy:
            copy.execute("PRAGMA trusted_schema = OFF")
            for check in ("integrity_check(3)", "foreign_key_check"):
                wrong = [row for row in copy.execute(f"PRAGMA {check}") if row[0] != "ok"]
                if wrong:
                    raise BookTrouble(Said("error/damaged-why", place=path, why=first_line(wrong[0][0])))
            [(stamp,)] = copy.execute("SELECT version_num FROM alembic_version").fetchall()
            if stamp not in FORMATS:
                raise BookTrouble(Said("error/unknown-format", place=path))
            other = differences(copy, stamp)
            if other.fatal:
                raise BookTrouble(Said("error/not-a-book", place=path, what=other.fatal[0]))
            [(encoding,)] = copy.execute("PRAGMA encoding").fetchall()
            [(book, revision, mark)] = copy.execute("SELECT id, revision, mark FROM book").fetchall()
            [(visits,)] = copy.execute("SELECT count(*) FROM visit").fetchall()
            [(findings,)] = copy.execute("SELECT count(*) FROM finding").fetchall()
            last = copy.execute("SELECT coalesce(max(revision), 0) FROM writing").fetchone()[0]
    except sqlite3.Error as problem:
        raise BookTrouble(Said("error/place-why", place=path, why=_not_read(problem))) from problem
    except ValueError as problem:
        raise BookTrouble(Said("error/incomplete-book", place=path)) from problem
    if last != revision or encoding != "UTF-8":
        raise BookTrouble(Said("error/revision-differs", place=path, revision=revision, last=last))
    return Copy(path, visits, findings, Standing(book, revision, mark), stamp, other)


_TROUBLE: Final = frozenset(
    {
        sqlite3.SQLITE_IOERR,
        sqlite3.SQLITE_FULL,
        sqlite3.SQLITE_BUSY,
        sqlite3.SQLITE_CANTOPEN,
        sqlite3.SQLITE_NOMEM,
    }
)


def _not_read(problem: sqlite3.Error) -> Said:
    """Say why the file cannot be read: it is no book, or SQLite has trouble just now."""
    code = code_of(problem)
    if code in _TROUBLE:
        return SQLITE[code]
    return Said("error/no-book-why", why=why_of(problem))


def _read_only(path: Path) -> sqlite3.Connection:
    return sqlite3.connect(uri_of(path), uri=True, timeout=WAIT)


def _to_write(path: Path) -> sqlite3.Connection:
    return sqlite3.connect(uri_of(path, "rw"), uri=True, timeout=WAIT, isolation_level=None)


def _agrees(book: Path, copy: Copy) -> None:
    """Check that the copy has everything that was in the book up to the copy's revision."""
    visits = "SELECT (SELECT id FROM book), count(*) FROM visit WHERE revision <= ?"
    of_them = "SELECT count(*) FROM finding JOIN visit ON visit.id = finding.visit WHERE revision <= ?"

    def rows(live: sqlite3.Connection) -> list[Any]:
        return [live.execute(asked, (copy.revision,)).fetchone() for asked in (visits, of_them)]

    with translated(str(book)):
        there, (findings,) = read_file(book, rows)
    if there != (copy.standing.book, copy.visits) or findings != copy.findings:
        raise BookTrouble(
            Said(
                "error/copy-differs",
                place=copy.path,
                visits=copy.visits,
                findings=copy.findings,
                there=there[1],
                found=findings,
            )
        )


def restore(backup: Path, book: Path, *, replace: bool) -> Restored:
    """Replace the book by the backup.

    Everything is made and checked next to the book first. Raises BadInput if a book is there and ``replace``
    is not set, BookTrouble if either file is not fit or the disk fails. The book then stays as it was.
    """
    copy = examined(backup)
    if book.exists() and backup.samefile(book):
        raise BadInput(str(backup), Said("seen/book-itself"), Said("expected/backup-of-it"))
    refuse_special(book)
    if book.exists() and not replace:
        raise BadInput(str(book), _there(book, backup), Said("do/replace-book"))
    with translated(str(book)):
        private_folder(book.parent)
        real = Path(os.path.realpath(book))  # SQLite keeps its log next to the file that a link points to
    draft = real.with_name(f"{real.name}.{secrets.token_hex(4)}.part")
    try:
        copy_book(backup, draft)
        left_out = _made_fit(draft, copy)
        _same_pages(draft, real)
        visits = _visits(draft)  # once the book is in place, nothing may fail that says it is not
        kept, logs = _put_in_place(draft, real)
    finally:
        for ending in ("", *SQLITE_ENDINGS):
            with suppress(OSError):
                draft.with_name(draft.name + ending).unlink(missing_ok=True)
    brought = beside.bring_back(backup, book.parent, visits)
    return Restored(copy, kept, _only_in(kept, visits), logs, left_out, brought)


_NAMED: Final = 3  #: of the visits that a backup lacks, the newest


def _there(book: Path, backup: Path) -> Stated:
    """Say that a book exists, and which visits only that one has."""
    with suppress(BookTrouble, OSError, sqlite3.Error):
        if lost := _visits(book) - _visits(backup):
            with translated(str(book)), closing(_read_only(book)) as live:
                rows = live.execute(
                    "SELECT id, date, make, model FROM visit ORDER BY revision DESC"
                ).fetchall()
            named = [f"{date} {make} {model}"[:40] for id_, date, make, model in rows if id_ in lost]
            some = "; ".join(named[:_NAMED]) + "; …" * (len(named) > _NAMED)
            return Stated("error/book-with-more", count=len(lost), visits=some)
    return Stated("error/book-exists")


def _only_in(kept: Path | None, visits: set[str]) -> int | None:
    """Count the visits of the old book that are not in ``visits``; damaged books count as unreadable."""
    with suppress(BookTrouble, OSError, sqlite3.Error):
        return len(_visits(kept) - visits) if kept else None
    return None


def _visits(book: Path) -> set[str]:
    with translated(str(book)), closing(_read_only(book)) as live:
        return {id_ for (id_,) in live.execute("SELECT id FROM visit")}


class _Draft(FilePlace):
    """Hold a copy that is upgraded without keeping a copy of the copy."""

    def keep(self, stamp: str) -> None:  # type: ignore[override]
        return None


def _made_fit(draft: Path, backup: Copy) -> tuple[Wording, ...]:
    """Turn a copy of a backup into a fresh book: no foreign parts, the present format.

    A server that has the book open would otherwise meet tables of an older format. Returns the removed parts.
    """
    with translated(str(draft)):
        with closing(_to_write(draft)) as copy:
            copy.execute("PRAGMA trusted_schema = OFF")
            copy.execute("PRAGMA synchronous = FULL")
            wrong = differences(copy, backup.stamp)
            if wrong:
                copy.execute("BEGIN IMMEDIATE")
                mend(copy, backup.stamp, wrong, tables=True)
                copy.execute("COMMIT")
        if backup.stamp != FORMATS[-1]:
            place = _Draft(draft)
            engine = place.engine(create=False)
            try:
                bring_up_to_date(engine, place, create=False)
            finally:
                engine.dispose()
            with closing(_to_write(draft)) as copy:
                copy.execute("PRAGMA journal_mode = DELETE").fetchone()
    found = examined(draft)
    if (found.visits, found.findings, found.standing) != (
        backup.visits,
        backup.findings,
        backup.standing,
    ) or found.wrong:
        raise BookTrouble(Said("error/not-copied-whole", place=backup.path))
    return tuple(wrong.said("trigger", "index", "view", "table"))


def _same_pages(draft: Path, book: Path) -> None:
    """Give the draft the book's page size: SQLite writes over a book page by page."""
    if not book.exists():
        return
    try:
        with closing(_read_only(book)) as live:
            size = live.execute("PRAGMA page_size").fetchone()[0]
    except sqlite3.Error:
        return  # it is damaged, and no page of it will stay
    with (
        translated(str(draft)),
        closing(_to_write(draft)) as copy,
    ):
        if copy.execute("PRAGMA page_size").fetchone()[0] != size:
            copy.execute(f"PRAGMA page_size = {int(size)}")
            copy.execute("VACUUM")


def _put_in_place(draft: Path, book: Path) -> tuple[Path | None, tuple[Path, ...]]:
    """Make the checked copy the book; return the place of the old book, and remains of a lost one."""
    kept = free_name(book.parent, f"{book.name}.before-restore-{clock.file_stamp()}", ".bak")
    if not book.exists():
        with translated(str(book)):
            return None, _replace(draft, book, kept)
    if _sound(book):
        _write_over(draft, book, kept)
    else:
        _alone(book)
        with translated(str(book)):
            _replace(draft, book, kept)
    return kept, ()


def _sound(book: Path) -> bool:
    """Return whether SQLite can read the book, so that a transaction can write over it."""
    try:
        with closing(_to_write(book)) as live:
            return bool(live.execute("PRAGMA quick_check(1)").fetchone()[0] == "ok")
    except sqlite3.DatabaseError as problem:
        code = code_of(problem)
        if code in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB, sqlite3.SQLITE_ERROR):
            return False
        raise BookTrouble(Said("error/place-why", place=book, why=SQLITE.get(code, problem))) from problem


def _alone(book: Path) -> None:
    """Raise BookTrouble if another program has a damaged book open.

    It would go on writing to the file that is set aside.
    """
    try:
        with closing(_to_write(book)) as live:
            live.execute("PRAGMA locking_mode = EXCLUSIVE")  # granted only if nobody else has it open
            live.execute("BEGIN EXCLUSIVE")
            live.execute("ROLLBACK")
    except sqlite3.DatabaseError as problem:
        code = code_of(problem)
        if code in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
            raise BookTrouble(Said("error/damaged-and-open", place=book)) from problem


def _write_over(draft: Path, book: Path, kept: Path) -> None:
    """Write the checked copy into the book's own file: one transaction of SQLite, with its journal.

    The old state is copied to ``kept`` while that transaction already keeps every other writer out. So every
    acknowledged visit is in one of the two.
    """
    until = time.monotonic() + PATIENCE
    saved = False

    def save() -> None:
        nonlocal saved
        copy_book(book, kept)
        saved = True

    def stepped(status: int, remaining: int, total: int) -> None:
        if status in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
            if time.monotonic() > until:
                raise BookTrouble(Said("error/place-why", place=book, why=SQLITE[sqlite3.SQLITE_BUSY]))
        elif not saved:  # after the first page, which took the lock
            save()

    try:
        with (
            translated(str(book)),
            closing(_read_only(draft)) as source,
            closing(_to_write(book)) as live,
        ):
            live.execute("PRAGMA synchronous = FULL")
            live.execute("PRAGMA fullfsync = ON")
            if live.execute("PRAGMA journal_mode = WAL").fetchone()[0] != "wal":
                save()  # readers are kept out too while pages are written
            source.backup(live, pages=1, progress=stepped, sleep=0.02)
    except BookTrouble as trouble:
        # The error may have come before or after the writing: check the book itself.
        if not saved:
            raise
        now = _stands(book)
        if now is not None and now == _stands(draft):
            return
        if now is None or now != _stands(kept):
            raise BookTrouble(Said("error/old-book-kept", trouble=trouble, kept=kept)) from trouble
        with suppress(OSError):
            kept.unlink(missing_ok=True)
        raise


def _stands(path: Path) -> Standing | None:
    """Return the state of the book in a file; None if it cannot be read now."""
    try:
        return standing(path)
    except BookTrouble:
        return None


def _replace(draft: Path, book: Path, kept: Path) -> tuple[Path, ...]:
    """Set aside the files with the book's names and put the draft there; undo all if a step fails.

    A log without its book, or next to a damaged one, is never taken for the new one's. Returns the places of
    the logs. Raises OSError.
    """
    undo: list[tuple[Path, Path]] = []
    linked = False
    there = book.exists()
    try:
        if there:
            try:
                os.link(book, kept)  # so that the name of the book is never free
                linked = True
            except OSError:  # a disk without links
                book.rename(kept)
                undo.append((kept, book))
        for ending in SQLITE_ENDINGS:
            part, aside = book.with_name(book.name + ending), kept.with_name(kept.name + ending)
            if part.exists():
                part.rename(aside)
                undo.append((aside, part))
        if there:
            draft.replace(book)
        else:
            try:
                put_new(draft, book)
            except FileExistsError:
                raise BookTrouble(Said("error/book-made-meanwhile", place=book)) from None
    except BaseException:
        for now, before in reversed(undo):
            now.rename(before)
        if linked:
            kept.unlink(missing_ok=True)
        raise
    sync_names(book.parent)
    return tuple(aside for aside, _ in undo if aside != kept)
