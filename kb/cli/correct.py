"""correct: replace what was wrong in a visit by a new entry."""

from __future__ import annotations

import click

from kb.base.errors import BadInput
from kb.base.messages import Said
from kb.cli.command import command
from kb.cli.common import Session, text
from kb.cli.record import read_visits


@command("correct")
@click.argument("visit")
@click.argument("edits", nargs=-1, metavar="[FIELD=VALUE]...")
@click.option("--drop", multiple=True, type=int, metavar="JACK")
@click.option("--add", multiple=True, metavar="JACK")
@click.option("--file", "file", metavar="F")
def correct_command(
    session: Session,
    visit: str,
    edits: tuple[str, ...],
    drop: tuple[int, ...],
    add: tuple[str, ...],
    file: str | None,
) -> int:
    """
    jackfield correct 3fa2b1c0 year=2015 model=NV40-211
    jackfield correct 3fa2b1c0 2.outcome=silent 2.items="optical cable 2 m, DAC"
    jackfield correct 3fa2b1c0 1.setting=
    jackfield correct 3fa2b1c0 --drop 3 --add hp:mute
    """
    from kb.exchange.corrections import correct, corrected, succeeding, title, visit_named
    from kb.store.facts import briefly

    if file and (edits or drop or add):
        raise BadInput("correct", Said("seen/file-and-changes"), Said("expected/one-of-them"))
    book = session.found_book
    with book.store.snapshot() as now:
        old = visit_named(now, visit)
    if file:
        new, *more = read_visits(file)
        if more:
            raise BadInput(file, Said("seen/visits", count=len(more) + 1), Said("expected/one"))
        new = succeeding(new, old)
    else:
        new = corrected(old, edits, drop, add)
    fact = book.change(lambda store: correct(store, old, new))
    if session.as_json:
        session.json({"corrected": old.id, "visit": fact, "make": new.source.make, "model": new.source.model})
    else:
        with book.store.snapshot() as now:
            brief = briefly(now, [fact, old.id])
        said = session.language("cli/correct/done", set=title(new.source), new=brief[fact], old=brief[old.id])
        session.console.print(text(said))
    return 0
