"""backup: is there a copy of the book that can be trusted?"""

from __future__ import annotations

from pathlib import Path

import click

from kb.cli.common import Session, command_options, text
from kb.errors import BadInput, described
from kb.settings import BACKUPS


def own_book(session: Session, what: str) -> Path:
    """The file of the user's own book; raises BadInput for a shared one, whose keeper backs it up."""
    if session.store:
        raise BadInput(
            what,
            described("a shared book (--store or JACKFIELD_STORE)"),
            "a book of one's own; whoever keeps the server backs it up, and `dump` copies it",
        )
    return session.book.path


@click.command("backup")
@click.argument("folder", required=False, metavar="[DIR]")
@click.option("--keep", type=click.IntRange(1, 10_000), help="How many backups stay there (14).")
@click.option("--list", "listing", is_flag=True, help="List the backups; make none.")
@command_options
def backup_command(session: Session, folder: str | None, keep: int | None, listing: bool) -> int:
    """Back the book up to DIR (the folder backups beside the book), check the copy, remove the oldest.

    The book may be in use meanwhile. Keep copies on another disk too.

    \b
    jackfield backup
    jackfield backup /media/stick --keep 5
    """
    from kb.exchange.backup import KEEP, back_up, backups

    book = own_book(session, "backup")
    place = Path(folder).expanduser() if folder else session.folder / BACKUPS
    if listing:
        found = backups(place)
        if session.as_json:
            session.json({"backups": [{"file": str(one), "bytes": one.stat().st_size} for one in found]})
        for one in [] if session.as_json else found:
            session.console.print(text(f"{one.name}  {one.stat().st_size:,} bytes"), soft_wrap=True)
        return 0 if found else 1
    copy, gone = back_up(book, place, keep or KEEP)
    if session.as_json:
        said = {"backup": str(copy.path), "visits": copy.visits, "findings": copy.findings}
        session.json({**said, "revision": copy.revision, "removed": [str(one) for one in gone]})
        return 0
    session.console.print(
        text(f"{copy.visits:,} visits with {copy.findings:,} findings, checked:\n{copy.path}"), soft_wrap=True
    )
    if gone:
        session.console.print(text(f"{len(gone)} older removed"))
    return 0
