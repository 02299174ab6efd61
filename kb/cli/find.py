"""find: which set is meant, and how was it connected?"""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

import click

from kb.cli.common import Session, command_options, text
from kb.cli.files import read_text
from kb.errors import BadInput

if TYPE_CHECKING:
    from kb.book import Found, FoundSet


@click.command("find")
@click.argument("words", nargs=-1)
@click.option("--batch", metavar="F", help="A query a line (- for stdin); one JSON object a line.")
@click.option("--limit", type=click.IntRange(1, 100), default=10, show_default=True, help="Matches, at most.")
@command_options
def find_command(session: Session, words: tuple[str, ...], batch: str | None, limit: int) -> int:
    """Find a set that somebody met before.

    Make and model in any order, worn or half remembered; words search the notes. A letter that cannot be
    read is a question mark. Fields narrow a search: make: year:2010-2014 signal:optical outcome:silent

    \b
    jackfield find nv40-210
    jackfield find norwell 'NV4?-21'
    jackfield find muted headphone year:2012
    """
    if batch:
        if words:
            raise BadInput("find", "words and --batch", "one of them")
        return _batch(session, batch, limit)
    if not words:
        raise BadInput("find", "no words", "a make, a model or words of a note")
    found = session.book.find(" ".join(words), limit=limit)
    if session.as_json:
        session.json(found_json(found))
    else:
        _show(session, found)
    return 0 if found.matches else 1


def found_json(found: Found) -> dict[str, Any]:
    """The answer with the contract's keys."""
    return {
        "query": found.query,
        "matches": [
            {
                "make": one.make,
                "model": one.model,
                "kind": one.kind,
                "score": round(one.score, 4),
                "how": one.how,
                "findings": one.findings,
                "best": one.best,
                "snippet": one.snippet,
            }
            for one in found.matches
        ],
        "did_you_mean": [{"make": make, "model": model} for make, model in found.did_you_mean],
    }


def _batch(session: Session, name: str, limit: int) -> int:
    book = session.book
    with book.searcher() as searcher:
        for query in _queries(name):
            found = searcher.find(query, limit=limit)
            json.dump(found_json(found), sys.stdout, allow_nan=False)
            sys.stdout.write("\n")
            sys.stdout.flush()
    return 0


def _queries(name: str) -> Iterator[str]:
    """A query a line; from stdin as they come, so that another program can ask one at a time."""
    if name == "-":
        yield from (line.strip() for line in sys.stdin if line.strip())
        return
    content, _ = read_text(name)
    yield from (line.strip() for line in content.splitlines() if line.strip())


def _show(session: Session, found: Found) -> None:
    out = session.console
    if not found.matches:
        out.print(text(f"no set like {found.query!r} in the book"))
        for make, model in found.did_you_mean:
            out.print(text(f"  did you mean {make} {model}?"))
        return
    table = _table(found)
    out.print(table)


def _table(found: Found) -> Any:
    from rich.table import Table
    from rich.text import Text

    table = Table.grid(padding=(0, 2))
    table.add_column(overflow="fold", max_width=30)
    table.add_column(no_wrap=True, style="dim")
    table.add_column(overflow="fold")
    for one in found.matches:
        name = text(f"{one.make} {one.model}", "bold" if one.how in ("exact", "near") else "")
        best = text(best_line(one)) if one.best else Text("no output known", style="dim")
        if one.snippet:
            best.append("\n").append_text(text(one.snippet, "dim"))
        table.add_row(name, f"{one.how} {one.score:.2f}", best)
    return table


def best_line(one: FoundSet) -> str:
    """``optical digital → optical cable 2 m → DAC; speakers stay on; 3 findings``."""
    from kb.words import Signal, Speakers

    best = one.best or {}
    chain = " → ".join([Signal(best["signal"]).label, *best["items"]])
    speakers = Speakers(best["speakers"])
    said = [chain]
    if speakers is not Speakers.UNKNOWN:
        said.append(f"speakers {speakers.label}")
    said.append(f"{one.findings} finding{'s' if one.findings != 1 else ''}")
    return "; ".join(said)
