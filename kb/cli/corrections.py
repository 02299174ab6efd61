"""correct, withdraw, merge, undo: put right what was recorded, and take that back.

Nothing is changed in place: each is a new fact in the book.
"""

from __future__ import annotations

import click

from kb.base.errors import BadInput, not_together
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
        raise not_together("correct", Said("seen/file-and-changes"))
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


@command("withdraw")
@click.argument("visits", nargs=-1, required=True, metavar="VISIT...")
def withdraw_command(session: Session, visits: tuple[str, ...]) -> int:
    """
    jackfield withdraw 3fa2b1c0
    """
    from kb.exchange.corrections import title, visit_named
    from kb.store.facts import briefly

    book = session.found_book
    with book.store.snapshot() as now:
        named = {one.id: one for one in (visit_named(now, given) for given in visits)}
    gone = book.change(lambda store: store.withdraw(named))
    with book.store.snapshot() as now:
        # A correction took the place of a visit before, and still counts.
        later = {one: counts.visit.id for one in named if (counts := now.in_force(now.entry(one))).stands}
        brief = briefly(now, {*named, *later.values()})
    if session.as_json:
        already = [one for one in named if one not in gone]
        session.json({"withdrawn": list(gone), "already": already, "still_counting": [*{*later.values()}]})
        return 0
    for one in named:
        key = "cli/withdraw/done" if one in gone else "cli/withdraw/already"
        said = session.language(key, set=title(named[one].source), id=brief[one])
        session.console.print(text(said))
        if one in later:
            session.say(session.language("cli/withdraw/later", id=brief[later[one]]))
    return 0


@command("merge")
@click.argument("make")
@click.argument("model")
@click.option("--into", nargs=2, required=True, metavar="MAKE MODEL")
def merge_command(session: Session, make: str, model: str, into: tuple[str, str]) -> int:
    """
    jackfield merge Norwel NV4O-210 --into Norwell NV40-210
    """
    from kb.exchange.corrections import merge

    book = session.book_or("error/nobody-met", set=f"{make} {model}")
    new = not book.visits(*into)
    fact = book.change(lambda store: merge(store, (make, model), into))
    if new:
        session.say(session.language("cli/merge/new", name=" ".join(into)))
    if session.as_json:
        session.json({"merge": fact, "spelling": [make, model], "same_as": list(into)})
    else:
        names = {"spelling": f"{make} {model}", "same_as": " ".join(into)}
        session.console.print(text(session.language("cli/merge/done", **names, id=fact[:8])))
    return 0


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
