"""backup: make a checked copy of the book."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from kb.base.errors import BadInput
from kb.base.messages import Said, worded
from kb.cli.command import command
from kb.cli.common import Session, answering, text
from kb.settings import BACKUPS

if TYPE_CHECKING:
    from kb.exchange.backup import Backup


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
