"""undo: take back a correction, withdrawal or merge."""

from __future__ import annotations

import click

from kb.base.errors import NotFound
from kb.cli.common import Session, command_options, text


@click.command("undo")
@click.argument("what", required=False, metavar="[ID]")
@command_options
def undo_command(session: Session, what: str | None) -> int:
    """Undo a correction, withdrawal or merge: the one with this id (as `history` shows it), or the latest
    that was made in this book.

    A change that came from colleagues needs its id, or `share undo` for its whole bundle. Undoing what was
    undone, by its id, puts it in force again.

    \b
    jackfield undo
    jackfield undo 3fa2b1c0
    """
    from kb.exchange.corrections import about, latest, undo
    from kb.store.facts import briefly

    book = session.book
    if session.store is None and not book.path.exists():
        raise NotFound("there is nothing to undo: there is no book yet")
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
