"""undo: take back a correction, withdrawal or merge."""

from __future__ import annotations

import click

from kb.cli.command import command
from kb.cli.common import Session, text


@command("undo")
@click.argument("what", required=False, metavar="[ID]")
def undo_command(session: Session, what: str | None) -> int:
    """
    jackfield undo
    jackfield undo 3fa2b1c0
    """
    from kb.exchange.corrections import about, latest, undo
    from kb.store.facts import briefly

    book = session.book_or("error/no-book-to-undo")
    if what is None:
        with book.store.snapshot() as now:
            change = latest(now)
            said = session.language
            session.say(said("cli/undo/undoing", what=about(now, change, said)))
        what = change.id
    kind, fact = book.change(lambda store: undo(store, what))
    if session.as_json:
        session.json({"undone": kind, "id": fact})
    else:
        with book.store.snapshot() as now:
            brief = briefly(now, [fact])[fact]
            session.console.print(text(session.language(f"cli/undo/{kind}", id=brief)))
    return 0
