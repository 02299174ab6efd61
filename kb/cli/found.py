"""Answer a find, and print what was found; needs no library that parses options."""

from __future__ import annotations

import os
import sys
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from kb.base.text import cells, visible, wrapped
from kb.cli.session import terminal_columns
from kb.settings import MANUALS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from kb.book import Found, FoundSet
    from kb.cli.session import Session
    from kb.domain.language import Language
    from kb.read.label import Label
    from kb.read.picture import Piece
    from kb.read.shelf import Hit


def answer(session: Session, words: Sequence[str], limit: int = 10) -> int:
    """Ask the book for the words and print the answer; returns the exit code."""
    found = session.book.find(" ".join(words), limit=limit)
    hits = _in_manuals(session, words)
    if session.book.behind:
        session.say(session.language("cli/find/older", why=session.book.behind))
    if session.as_json:
        session.json(found_json(found) | {"manuals": [asdict(hit) for hit in hits]})
    else:
        if found.matches or not hits:
            _show(found, session.language)
        if not (found.matches or hits):
            for line in wrapped(session.language("cli/find/none-next"), min(terminal_columns(), 100)):
                _line(styled(line, dim=True))
        _show_hits(hits, session.language)
    return 0 if found.matches or hits else 1


def _in_manuals(session: Session, words: Sequence[str]) -> list[Hit]:
    """Pages of the manuals next to the book that have all the words; fields of a query are none of theirs."""
    if not os.path.isdir(os.path.join(session.folder, MANUALS)):
        return []
    from kb.read.shelf import Shelf  # a look-up without manuals does not load it

    return Shelf(session.folder).search(" ".join(word for word in words if ":" not in word))


def _show_hits(hits: Sequence[Hit], said: Language) -> None:
    width = min(terminal_columns(), 100)
    for hit in hits:
        line = said("cli/manual/from", name=hit.manual, page=hit.page, line=hit.line)
        for part in wrapped(visible(line), width, "", "    "):
            _line(part)


def answer_photo(session: Session, name: str, limit: int) -> int:
    """Read the label on a photo, ask the book for what it names, and print both; returns the exit code."""
    from kb.base import clock
    from kb.base.inputfiles import read_bytes
    from kb.read.label import look
    from kb.read.limits import PHOTO_BYTES

    sent, place = read_bytes(name, PHOTO_BYTES)
    with session.book.searcher() as searcher:
        label = look(
            sent,
            place,
            lambda query: searcher.find(query, limit=limit),
            searcher.make_of,
            today=clock.today().year,
        )
    if session.as_json:
        session.json(
            {
                "photo": {"width": label.reading.width, "height": label.reading.height},
                "hints": hints_json(label.reading.flaws, session.language),
                "read": [_piece_json(piece) for piece in label.reading.pieces],
                "year": label.year,
                "candidates": [
                    {
                        "make": one.make,
                        "model": one.model,
                        "named": one.named,
                        "piece": _piece_json(one.piece),
                        **found_json(one.found),
                    }
                    for one in label.candidates
                ],
            }
        )
    else:
        _show_label(label, session.language)
        for flaw in label.reading.flaws:
            for line in wrapped(session.language(f"read/photo/{flaw}"), min(terminal_columns(), 100)):
                _line(line)
    return 0 if any(one.found.matches for one in label.candidates) else 1


def hints_json(flaws: Sequence[str], said: Language) -> list[dict[str, str]]:
    """What is wrong with a photo, and what would make the next one better, as ``--json`` prints it."""
    return [{"code": flaw, "text": said(f"read/photo/{flaw}")} for flaw in flaws]


def _piece_json(piece: Piece) -> dict[str, Any]:
    return {"text": piece.text, "corners": piece.corners, "confidence": piece.sure}


def _show_label(label: Label[Found], said: Language) -> None:
    width = min(terminal_columns(), 100)
    if not label.candidates:
        texts = " | ".join(piece.text for piece in label.reading.pieces)
        told = said("cli/find/photo/no-model", texts=texts) if texts else said("cli/find/photo/no-text")
        for line in wrapped(visible(told), width):
            _line(line)
        return
    for one in label.candidates:
        name = f"{one.make} {one.model}".strip()
        for line in wrapped(visible(said("cli/find/photo/read", name=name, piece=one.piece.text)), width):
            _line(styled(line, dim=True))
        _show(one.found, said)
    first = label.candidates[0]
    if not any(match.how == "exact" for match in first.found.matches):
        from shlex import quote

        names = [first.make or "MAKE", first.model, *([str(label.year)] if label.year else [])]
        for line in wrapped(said("cli/find/photo/record"), width):
            _line(line)
        _line("  " + visible(" ".join(["jackfield record", *map(quote, names)])))  # whole, to be copied


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


# -- how the answer looks: lines of plain text, since a cold lookup is too short to load more ------------


def _show(found: Found, said: Language) -> None:
    from kb.book import best_line

    width = min(terminal_columns(), 100)
    if not found.matches:
        lines = wrapped(said("cli/find/none", query=repr(found.query)), width)
        for make, model in found.did_you_mean:
            lines += wrapped(said("cli/find/meant", name=f"{make} {model}"), width, "  ", "    ")
        for line in lines:
            _line(line)
        return
    longest = max(cells(visible(f"{one.make} {one.model}")) for one in found.matches)
    for one in found.matches:
        _match_line(one, min(longest, 40), width, said)
        for line in wrapped(visible(best_line(one, said)), width, *_INDENT):
            _line(line)
        for line in wrapped(visible(one.snippet), width, *_INDENT):
            _line(styled(line, dim=True))


def percent(score: float, said: Language) -> str:
    """A share that is not nothing is never shown as nothing."""
    return said("language/percent/under") if 0 < score < 0.01 else f"{score:.0%}"


_INDENT = ("    ", "      ")


def _match_line(one: FoundSet, padded: int, width: int, said: Language) -> None:
    """Name and how it was found, on one line where it fits."""
    name = visible(f"{one.make} {one.model}")
    kind = said(f"cli/find/how/{one.how}")
    how = said("cli/find/match", how=kind, score=percent(one.score, said), count=one.findings)
    if max(cells(name), padded) + 2 + cells(how) <= width:
        _line(styled(name + " " * (padded - cells(name)), bold=True), f"  {how}")
        return
    for line in wrapped(name, width):
        _line(styled(line, bold=True))
    _line(f"  {how}")


def styled(said: str, **style: bool) -> str:
    """Bold or dim, if a person reads it on a terminal that wants it."""
    plain = not sys.stdout.isatty() or "NO_COLOR" in os.environ or os.environ.get("TERM") == "dumb"
    if plain:
        return said
    if os.name == "nt":  # its older consoles have to be told first
        import click

        return click.style(said, **style)
    return "".join(_STYLES[name] for name, wanted in style.items() if wanted) + said + "\x1b[0m"


#: Select graphic rendition (ECMA-48).
_STYLES = {"bold": "\x1b[1m", "dim": "\x1b[2m"}


def _line(*parts: str) -> None:
    print("".join(parts).rstrip())
