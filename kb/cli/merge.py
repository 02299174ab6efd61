"""merge: declare that two spellings are one set."""

from __future__ import annotations

import click

from kb.cli.command import command
from kb.cli.common import Session, text


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
    fact = book.change(lambda store: merge(store, (make, model), into))
    if session.as_json:
        session.json({"merge": fact, "spelling": [make, model], "same_as": list(into)})
    else:
        names = {"spelling": f"{make} {model}", "same_as": " ".join(into)}
        session.console.print(text(session.language("cli/merge/done", **names, id=fact[:8])))
    return 0
