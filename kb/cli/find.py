"""find: find the set that is meant, and how it was connected."""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any, Final

import click

from kb.base.errors import BadInput, described
from kb.base.text import cells, visible, wrapped
from kb.cli.common import Session, command_options, terminal_columns

if TYPE_CHECKING:
    from kb.book import Found, FoundSet


@click.command("find")
@click.argument("words", nargs=-1)
@click.option(
    "--batch",
    metavar="F",
    help="Read one query from each line of F (- for stdin); print one JSON object for each.",
)
@click.option(
    "--limit", type=click.IntRange(1, 100), default=10, show_default=True, help="Most matches to show."
)
@command_options
def find_command(session: Session, words: tuple[str, ...], batch: str | None, limit: int) -> int:
    """Find a set that somebody met before.

    Type what you can read of make and model, in any order; ? stands for a letter that cannot be read. Other
    words search the notes. Fields narrow a search: make: year:2010-2014 signal:optical outcome:silent

    \b
    jackfield find nv40-210
    jackfield find norwell 'NV4?-21'
    jackfield find muted headphone year:2012
    """
    if batch:
        if words:
            raise BadInput("find", described("words and --batch"), "one of them")
        return _batch(session, batch, limit)
    if not words:
        raise BadInput("find", described("no words"), "a make, a model or words of a note")
    found = session.book.find(" ".join(words), limit=limit)
    if session.book.behind:
        session.say(f"an older answer: {session.book.behind}")
    if session.as_json:
        session.json(found_json(found))
    else:
        _show(found)
    return 0 if found.matches else 1


def found_json(found: Found) -> dict[str, Any]:
    """The answer as ``--json`` prints it (README, "For programs")."""
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
    place = "standard input" if name == "-" else name
    code = 0
    with book.searcher() as searcher:
        for number, line in _queries(name):
            query = line.decode("utf-8", "replace").removeprefix("\ufeff").strip()
            if not query:
                continue
            try:
                if len(line) < _LONGEST:  # the cut may split a letter, and so long a line is invalid anyway
                    _check_utf8(line)
                answer = found_json(searcher.find(query, limit=limit))
            except BadInput as mistake:  # the others still want their answers
                session.say(str(mistake.within(f"{place}, line {number}")))
                answer = {"query": query, "matches": [], "did_you_mean": [], "error": str(mistake)}
                code = mistake.exit_code
            json.dump(answer, sys.stdout, allow_nan=False)
            sys.stdout.write("\n")
            sys.stdout.flush()
    return code


#: Bytes of a line that are read; a query is much shorter, and a line without end is not kept.
_LONGEST: Final = 65_536


def _queries(name: str) -> Iterator[tuple[int, bytes]]:
    """Numbered lines; from stdin as they come, so that a program can ask one at a time."""
    from io import BytesIO

    from kb.base.inputfiles import read_bytes

    source = sys.stdin.buffer if name == "-" else BytesIO(read_bytes(name)[0])
    number = 0
    while line := source.readline(_LONGEST):
        number += 1
        rest = line
        while len(rest) == _LONGEST and not rest.endswith(b"\n"):
            rest = source.readline(_LONGEST)
        yield number, line


def _check_utf8(line: bytes) -> None:
    try:
        line.decode("utf-8")
    except UnicodeDecodeError:
        seen = described("bytes that are not UTF-8")
        raise BadInput("query", seen, "text in UTF-8") from None


# -- how the answer looks: lines of plain text, since a cold lookup is too short to load more ------------


def _show(found: Found) -> None:
    from kb.book import best_line

    width = min(terminal_columns(), 100)
    if not found.matches:
        lines = wrapped(visible(f"no set like {found.query!r} in the book"), width)
        for make, model in found.did_you_mean:
            lines += wrapped(visible(f"did you mean {make} {model}?"), width, "  ", "    ")
        for line in lines:
            _line(line)
        return
    longest = max(cells(visible(f"{one.make} {one.model}")) for one in found.matches)
    for one in found.matches:
        _match_line(one, min(longest, 40), width)
        for line in wrapped(visible(best_line(one)), width, *_INDENT):
            _line(line)
        for line in wrapped(visible(one.snippet), width, *_INDENT):
            _line(styled(line, dim=True))


def percent(score: float) -> str:
    """A share that is not nothing is never shown as nothing."""
    return "under 1%" if 0 < score < 0.01 else f"{score:.0%}"


_INDENT = ("    ", "      ")


def _match_line(one: FoundSet, padded: int, width: int) -> None:
    """Name and how it was found, on one line where it fits."""
    name = visible(f"{one.make} {one.model}")
    how = f"{_HOW[one.how]} {percent(one.score)}, {one.findings} finding{'s' if one.findings != 1 else ''}"
    if max(cells(name), padded) + 2 + cells(how) <= width:
        _line(styled(name + " " * (padded - cells(name)), bold=True), f"  {how}")
        return
    for line in wrapped(name, width):
        _line(styled(line, bold=True))
    _line(f"  {how}")


#: How a match was made, as people say it.
_HOW = {"exact": "exact", "near": "near", "family": "family", "text": "words"}


def styled(said: str, **style: bool) -> str:
    """Bold or dim, if a person reads it on a terminal that wants it."""
    plain = not sys.stdout.isatty() or "NO_COLOR" in os.environ or os.environ.get("TERM") == "dumb"
    return said if plain else click.style(said, **style)


def _line(*parts: str) -> None:
    click.echo("".join(parts).rstrip())
