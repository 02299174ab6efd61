"""find: find the set that is meant, and how it was connected."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator
from typing import Final

import click

from kb.base.errors import NOTHING, BadInput, inside, not_together
from kb.base.messages import Said
from kb.cli.command import command
from kb.cli.common import Session
from kb.cli.found import answer, found_json


@command("find")
@click.argument("words", nargs=-1)
@click.option("--batch", metavar="F")
@click.option("--limit", type=click.IntRange(1, 100), default=10, show_default=True)
@click.option("--photo", metavar="FILE")
def find_command(
    session: Session, words: tuple[str, ...], batch: str | None, limit: int, photo: str | None
) -> int:
    """
    jackfield find nv40-210
    jackfield find norwell 'NV4?-21'
    jackfield find muted headphone year:2012
    jackfield find --photo label.jpg
    """
    if photo is not None:
        if words or batch:
            raise BadInput("--photo", Said("seen/words-or-batch"), Said("expected/photo-alone"))
        from kb.cli.found import answer_photo

        return answer_photo(session, photo, limit)
    if batch:
        if words:
            raise not_together("find", Said("seen/words-and-batch"))
        return _batch(session, batch, limit)
    if not words:
        raise BadInput("find", NOTHING, Said("expected/query"))
    return answer(session, words, limit)


def _batch(session: Session, name: str, limit: int) -> int:
    book = session.book
    place = Said("place/standard-input") if name == "-" else name
    language = session.language.code
    code = 0
    with book.searcher() as searcher:
        for number, line in _queries(name):
            query = line.decode("utf-8", "replace").removeprefix("\ufeff").strip()
            if not query:
                continue
            try:
                if len(line) < _LONGEST:  # the cut may split a letter, and so long a line is invalid anyway
                    _check_utf8(line)
                told = found_json(searcher.find(query, limit=limit))
            except BadInput as mistake:  # the others still want their answers
                session.say(mistake.within(inside(place, Said("place/line", number=number))))
                told = {
                    "query": query,
                    "matches": [],
                    "did_you_mean": [],
                    "error": mistake.in_language(language),
                }
                code = mistake.exit_code
            json.dump(told, sys.stdout, allow_nan=False)
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
        seen = Said("seen/not-utf-8")
        raise BadInput(Said("place/query"), seen, Said("expected/text-in-utf-8")) from None
