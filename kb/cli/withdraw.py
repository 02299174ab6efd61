"""withdraw: take back visits that should not have been recorded."""

from __future__ import annotations

import click

from kb.cli.command import command
from kb.cli.common import Session, text


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
