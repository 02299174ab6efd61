"""restore: put a backup in the place of a lost book."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import click

from kb.cli.backup import own_book
from kb.cli.common import Session, answering, command_options, text
from kb.settings import BACKUPS

if TYPE_CHECKING:
    from kb.exchange.backup import Restored


@click.command("restore")
@click.argument("file", required=False, metavar="[BACKUP]")
@click.option("--replace", is_flag=True, help="Overwrite an existing book; the old one is kept next to it.")
@command_options
def restore_command(session: Session, file: str | None, replace: bool) -> int:
    """Bring a backup back: the newest in the folder backups, or the file named.

    The backup is checked first. An existing book is overwritten only with --replace, and kept. Settings and
    trusted keys come back only if this machine has none.

    \b
    jackfield restore                            (the newest)
    jackfield restore copies/book-20260304T170000Z-5d2f90ab.sqlite --replace
    """
    from kb.exchange.backup import newest, restore

    book, folder = own_book(session, "restore"), session.folder / BACKUPS
    if file:
        bare = Path(file).name == file
        named = folder / file if bare and (folder / file).is_file() else Path(file).expanduser()
    else:
        named, unreadable = newest(folder, book)
        for one in unreadable:
            session.say(f"{one.name}: no book can be read in it; skipped")
    done = restore(named, book, replace=replace)
    brought = done.brought
    for what in (*_told(done), *brought.problems):
        session.say(what)
    with answering(session, "the backup is restored"):
        if session.as_json:
            session.json(_listed(done))
        else:
            _tell(session, done)
    return 3 if brought.problems else 0


def _listed(done: Restored) -> dict[str, object]:
    copy, brought = done.copy, done.brought
    return {
        "restored": str(copy.path),
        "visits": copy.visits,
        "findings": copy.findings,
        "revision": copy.revision,
        "kept": str(done.kept) if done.kept else None,
        "logs": [str(one) for one in done.logs],
        "left_out": list(done.left_out),
        "files": list(brought.files),
        "trusted": list(brought.trusted),
        "not_trusted": list(brought.not_trusted),
        "photos": brought.photos,
        "problems": list(brought.problems),
    }


def _tell(session: Session, done: Restored) -> None:
    copy = done.copy
    said = f"{copy.visits:,} visits with {copy.findings:,} findings restored from {copy.path.name}"
    session.console.print(text(said), soft_wrap=True)
    if done.kept:
        session.console.print(text(f"the old book is kept: {done.kept}"), soft_wrap=True)
    if done.brought.photos:
        session.console.print(text(f"{done.brought.photos:,} photos are back"))


def _told(done: Restored) -> Iterator[str]:
    """What the user has to know besides."""
    for log in done.logs:
        yield f"a log of a missing book was set aside and not applied: {log}"
    for part in done.left_out:
        yield f"the backup has this, the book does not: {part}"
    brought = done.brought
    if brought.files:
        yield f"back from the backup: {', '.join(brought.files)}"
    if brought.trusted:
        names = ", ".join(brought.trusted)
        yield f"trusted again, as on the day of the backup: {names} (to undo: share trust --drop NAME)"
    if brought.not_trusted:
        names = ", ".join(brought.not_trusted)
        yield f"trusted in the backup but not on this machine; still not trusted: {names}"
