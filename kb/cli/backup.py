"""backup, restore: make checked copies of the book, and put one in the place of a lost book."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING

import click

from kb.base.errors import BadInput, BookTrouble
from kb.base.messages import Said, worded
from kb.cli.command import command
from kb.cli.common import Session, answering, text
from kb.cli.progress import bar
from kb.settings import BACKUPS

if TYPE_CHECKING:
    from kb.domain.language import Language
    from kb.exchange.backup import Backup, Restored


def own_book(session: Session, what: str) -> Path:
    """The file of the user's own book; raises BadInput for a shared one, whose keeper backs it up."""
    if session.store:
        raise BadInput(
            what,
            Said("seen/shared-book-option"),
            Said("expected/own-book-to-back-up"),
        )
    return session.book.path


@command("backup")
@click.argument("folder", required=False, metavar="[DIR]")
@click.option("--keep", type=click.IntRange(1, 10_000))
@click.option("--list", "listing", is_flag=True)
def backup_command(session: Session, folder: str | None, keep: int | None, listing: bool) -> int:
    """
    jackfield backup
    jackfield backup /media/stick --keep 5
    """
    from kb.exchange.backup import KEEP, back_up, backups

    book, said = own_book(session, "backup"), session.language
    place = Path(folder).expanduser() if folder else session.folder / BACKUPS
    if listing:
        found = backups(place)
        if session.as_json:
            listed = [
                {
                    "file": str(one.path),
                    "bytes": one.path.stat().st_size,
                    "book": one.standing.book if one.standing else None,
                    "revision": one.standing.revision if one.standing else None,
                }
                for one in found
            ]
            session.json({"backups": listed})
        for one in [] if session.as_json else found:
            state = said("cli/backup/no-book")
            if one.standing:
                state = said("cli/backup/revision", revision=said.whole(one.standing.revision))
            size = said("cli/backup/bytes", bytes=said.whole(one.path.stat().st_size))
            session.console.print(text(f"{one.path.name}  {size}  {state}"), soft_wrap=True)
        return 0 if found else 1
    done = back_up(book, place, keep or KEEP)
    copy, gone = done.copy, done.removed
    for problem in done.problems:
        session.say(problem)
    if copy.wrong:
        session.say(said("cli/backup/wrong"))
    with answering(session, "backup", file=copy.path):
        if session.as_json:
            counts = {"visits": copy.visits, "findings": copy.findings, "revision": copy.revision}
            problems = [worded(one, said.code) for one in done.problems]
            more = {"photos": done.photos, "manuals": done.manuals, "problems": problems}
            removed = [str(one) for one in gone]
            session.json({"backup": str(copy.path), **counts, "removed": removed, **more})
        else:
            _tell(session, done)
    return 3 if done.problems else 0


def _tell(session: Session, done: Backup) -> None:
    copy, said, out = done.copy, session.language, session.console
    counts = {
        "visits": said.counted("visit", copy.visits),
        "findings": said.counted("finding", copy.findings),
    }
    out.print(text(f"{said('cli/backup/done', **counts)}\n{copy.path}"), soft_wrap=True)
    if done.photos:
        out.print(text(said("cli/backup/photos", count=done.photos)))
    if done.manuals:
        out.print(text(said("cli/backup/manuals", count=done.manuals)))
    if done.removed:
        out.print(text(said("cli/backup/removed", count=len(done.removed))))


@command("restore")
@click.argument("file", required=False, metavar="[BACKUP]")
@click.option("--replace", is_flag=True)
def restore_command(session: Session, file: str | None, replace: bool) -> int:
    """
    jackfield restore
    jackfield restore /media/stick
    jackfield restore copies/book-20260304T170000Z-5d2f90ab.sqlite --replace
    """
    from kb.exchange.backup import newest, restore

    book, folder = own_book(session, "restore"), session.folder / BACKUPS
    bare = file is not None and Path(file).name == file and (folder / file).is_file()
    named = folder / (file or "") if bare or file is None else Path(file).expanduser()
    if named.is_dir() or file is None:
        named, unreadable = newest(named, book)
        for one in unreadable:
            session.say(session.language("cli/restore/skipped", file=one.name))
    done = restore(named, book, replace=replace)
    with bar(session.language("cli/progress/index")) as tell, suppress(BookTrouble):
        session.open_book(tell).catch_up()  # what it misses it catches up at the next question
    brought = done.brought
    for what in (*_besides(done, session.language), *brought.problems):
        session.say(what)
    with answering(session, "restored"):
        if session.as_json:
            session.json(_restored_json(done, session.language.code))
        else:
            _tell_restored(session, done)
    return 3 if brought.problems else 0


def _restored_json(done: Restored, code: str) -> dict[str, object]:
    copy, brought = done.copy, done.brought
    return {
        "restored": str(copy.path),
        "visits": copy.visits,
        "findings": copy.findings,
        "revision": copy.revision,
        "kept": str(done.kept) if done.kept else None,
        "only_in_kept": done.only_kept,
        "logs": [str(one) for one in done.logs],
        "left_out": [worded(one, code) for one in done.left_out],
        "files": list(brought.files),
        "trusted": list(brought.trusted),
        "not_trusted": list(brought.not_trusted),
        "photos": brought.photos,
        "manuals": brought.manuals,
        "problems": [worded(one, code) for one in brought.problems],
    }


def _tell_restored(session: Session, done: Restored) -> None:
    copy, said, out = done.copy, session.language, session.console
    counts = {
        "visits": said.counted("visit", copy.visits),
        "findings": said.counted("finding", copy.findings),
    }
    out.print(text(said("cli/restore/done", **counts, file=copy.path.name)), soft_wrap=True)
    if done.kept:
        out.print(text(said("cli/restore/kept", file=done.kept)), soft_wrap=True)
    if done.only_kept:
        out.print(text(said("cli/restore/only-kept", count=done.only_kept)), soft_wrap=True)
    if done.brought.photos:
        out.print(text(said("cli/restore/photos", count=done.brought.photos)))
    if done.brought.manuals:
        out.print(text(said("cli/restore/manuals", count=done.brought.manuals)))


def _besides(done: Restored, said: Language) -> Iterator[str]:
    """What the user has to know besides."""
    brought, join = done.brought, said("language/join").join
    yield from (said("cli/restore/log", file=log) for log in done.logs)
    yield from (said("cli/restore/left-out", part=part) for part in done.left_out)
    if brought.files:
        yield said("cli/restore/files", files=join(brought.files))
    if brought.trusted:
        yield said("cli/restore/trusted", names=join(brought.trusted))
    if brought.not_trusted:
        yield said("cli/restore/not-trusted", names=join(brought.not_trusted))
