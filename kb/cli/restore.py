"""restore: put a backup in the place of a lost book."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import click

from kb.base.messages import worded
from kb.cli.backup import own_book
from kb.cli.command import command
from kb.cli.common import Session, answering, text
from kb.settings import BACKUPS

if TYPE_CHECKING:
    from kb.domain.language import Language
    from kb.exchange.backup import Restored


@command("restore")
@click.argument("file", required=False, metavar="[BACKUP]")
@click.option("--replace", is_flag=True)
def restore_command(session: Session, file: str | None, replace: bool) -> int:
    """
    jackfield restore
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
            session.say(session.language("cli/restore/skipped", file=one.name))
    done = restore(named, book, replace=replace)
    brought = done.brought
    for what in (*_besides(done, session.language), *brought.problems):
        session.say(what)
    with answering(session, "restored"):
        if session.as_json:
            session.json(_listed(done, session.language.code))
        else:
            _tell(session, done)
    return 3 if brought.problems else 0


def _listed(done: Restored, code: str) -> dict[str, object]:
    copy, brought = done.copy, done.brought
    return {
        "restored": str(copy.path),
        "visits": copy.visits,
        "findings": copy.findings,
        "revision": copy.revision,
        "kept": str(done.kept) if done.kept else None,
        "logs": [str(one) for one in done.logs],
        "left_out": [worded(one, code) for one in done.left_out],
        "files": list(brought.files),
        "trusted": list(brought.trusted),
        "not_trusted": list(brought.not_trusted),
        "photos": brought.photos,
        "manuals": brought.manuals,
        "problems": [worded(one, code) for one in brought.problems],
    }


def _tell(session: Session, done: Restored) -> None:
    copy, said, out = done.copy, session.language, session.console
    counts = {
        "visits": said.counted("visit", copy.visits),
        "findings": said.counted("finding", copy.findings),
    }
    out.print(text(said("cli/restore/done", **counts, file=copy.path.name)), soft_wrap=True)
    if done.kept:
        out.print(text(said("cli/restore/kept", file=done.kept)), soft_wrap=True)
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
