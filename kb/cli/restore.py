"""restore: how does a backup take the place of a book that is lost?"""

from __future__ import annotations

import shutil
from pathlib import Path

import click

from kb.cli.backup import own_book
from kb.cli.common import Session, command_options, text
from kb.errors import NotFound
from kb.settings import BACKUPS


@click.command("restore")
@click.argument("file", required=False, metavar="[BACKUP]")
@click.option("--replace", is_flag=True, help="Though a book is there; it is kept beside the new one.")
@command_options
def restore_command(session: Session, file: str | None, replace: bool) -> int:
    """Put a backup (the newest in the folder backups, or the file named) in the place of the book.

    The backup is checked first. A book that is there is overwritten only with --replace, and kept.

    \b
    jackfield restore                            (the newest)
    jackfield restore copies/book-20260304T170000Z.sqlite --replace
    """
    from kb.exchange.backup import backups, restore

    book, folder = own_book(session, "restore"), session.folder / BACKUPS
    if file:
        bare = Path(file).name == file
        named = folder / file if bare and (folder / file).is_file() else Path(file).expanduser()
    else:
        found = backups(folder)
        if not found:
            raise NotFound(f"{folder}: there is no backup here; name one")
        named = found[0]
    copy, kept = restore(named, book, replace=replace)
    shutil.rmtree(session.folder / "index" / "own", ignore_errors=True)  # derived; made anew when asked
    if session.as_json:
        said = {"restored": str(copy.path), "visits": copy.visits, "findings": copy.findings}
        session.json({**said, "revision": copy.revision, "kept": str(kept) if kept else None})
        return 0
    said_ = f"{copy.visits:,} visits with {copy.findings:,} findings restored from {copy.path.name}"
    session.console.print(text(said_), soft_wrap=True)
    if kept:
        session.console.print(text(f"the old book is kept: {kept}"), soft_wrap=True)
    return 0
