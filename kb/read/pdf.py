"""Take the text of a manual in a process that can be stopped, and put its pieces together to paragraphs.

``limits`` bounds what a manual may cost. A page that costs too much ends the reading; the pages before it are
kept, and ``Document.stopped`` says so.
"""

from __future__ import annotations

import base64
import json
import re
import subprocess
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from importlib.util import find_spec
from typing import Any, Final, NamedTuple

from kb.base.errors import BadInput, MissingExtra
from kb.base.messages import Said, Wording
from kb.read import child, limits, pdf_text
from kb.read.limits import PdfLimits

#: What may stand before the header (ISO 32000-1, 7.5.2, has it at the first byte): a byte order mark, blanks.
_HEADER: Final = re.compile(rb"(\xef\xbb\xbf)?\s{0,16}%PDF-\d")
WANTED: Final = Said("expected/manual")


class Piece(NamedTuple):
    """A line of text or a cell of a table, with its place in points from the lower left corner."""

    text: str
    left: float
    bottom: float
    right: float
    top: float

    @property
    def high(self) -> float:
        """Its height in points."""
        return max(self.top - self.bottom, 1.0)


@dataclass(frozen=True, slots=True)
class Page:
    """The text of a page. ``picture``: it has no text, but a picture that may show some."""

    number: int
    pieces: tuple[Piece, ...]
    picture: bool = False


@dataclass(frozen=True, slots=True)
class Document:
    """The pages that could be read, of ``count``; ``stopped`` is the first page that could not, or None."""

    count: int
    pages: tuple[Page, ...]
    stopped: int | None = None


def document(sent: bytes, place: Wording) -> Document:
    """Return the text of a PDF.

    Raises BadInput naming what was seen if it is none, is encrypted, or has too many pages or bytes;
    MissingExtra if the library for it is not installed.
    """
    count, said, ended = _asked(sent, place, limits.PDF)
    pages = []
    for one in said:
        pieces = tuple(Piece(*piece) for piece in one.get("pieces", ()))
        pages.append(Page(int(one["page"]), pieces, not pieces and bool(one.get("drawn"))))
    return Document(count, tuple(pages), None if ended else len(pages) + 1)


def pictures(sent: bytes, numbers: Sequence[int], place: Wording) -> dict[int, bytes]:
    """Return pages of a PDF as PNG, by number; a page that cannot be drawn is missing."""
    _, said, _ = _asked(sent, place, replace(limits.PDF, pictures=tuple(numbers)))
    return {int(one["page"]): base64.b64decode(one["picture"]) for one in said if "picture" in one}


def _asked(sent: bytes, place: Wording, bounds: PdfLimits) -> tuple[int, list[dict[str, Any]], bool]:
    """The number of pages, what was said of pages, and whether the process came to its end."""
    child.bound(sent, limits.MANUAL_BYTES, place)
    if not _HEADER.match(sent):
        raise BadInput(place, (Said("seen/not-a-pdf") if sent else Said("seen/empty-file")), WANTED)
    if find_spec("pypdfium2") is None:
        raise MissingExtra(place, "pypdfium2", "read")
    command, env = child.command(pdf_text.__file__, bounds.text()), child.environment()
    try:
        done = subprocess.run(command, input=sent, capture_output=True, env=env, timeout=limits.PDF_WAIT_S)  # noqa: S603
        out, code = done.stdout, done.returncode
    except subprocess.TimeoutExpired as late:
        out, code = late.stdout or b"", -1
    except OSError as problem:
        raise child.not_now(place, problem) from problem
    first, *rest = out.decode("utf-8", "replace").split("\n")
    if code == 1 and (wrong := child.refused(place, first.encode())):
        raise wrong
    try:
        count = int(json.loads(first)["pages"])
    except (ValueError, TypeError, KeyError):
        raise BadInput(place, Said("seen/heavy-pdf"), WANTED) from None
    said = list(_whole(rest))
    return count, said, code == 0


def _whole(said: Sequence[str]) -> Iterator[dict[str, Any]]:
    """The lines that were written to their end."""
    for line in said:
        try:
            yield json.loads(line)
        except ValueError:
            return


class Block(NamedTuple):
    """A paragraph, a heading or a cell: the pieces that belong together."""

    text: str
    left: float
    bottom: float
    right: float
    top: float
    high: float
    """The height of its first line."""


_ITEM: Final = re.compile(r"(?:[•●▪■*–-]|\(?\d{1,2}[.)]?|\(?[A-Za-z][.)]|[①-⑳❶-❿])\s")
_ENDED: Final = re.compile(r"[.:;!?]\W*\Z")


def blocks(
    page: Page,
    apart: Callable[[str, str], bool] = lambda _first, _next: False,
    rows: Callable[[Piece, Piece], bool] = lambda _first, _next: False,
) -> list[Block]:
    """Put the pieces of a page together to paragraphs, from the top down.

    ``apart`` tells of the text of a paragraph and of a next line whether they cannot belong together,
    ``rows`` of their first piece and the next whether they are cells of two rows of a table.
    """
    open_ones: list[list[Piece]] = []
    pieces = sorted(page.pieces, key=lambda one: (-one.top, one.left))
    usual = _line_gap(pieces)
    edges: dict[int, float] = {}
    for piece in pieces:
        edges[round(piece.left)] = max(edges.get(round(piece.left), 0.0), piece.right)
    for piece in pieces:
        for held in reversed(open_ones[-40:]):
            edge = edges[round(held[-1].left)]
            if _goes_on(held[-1], piece, usual, edge) and not (
                apart(_text(held), piece.text) or rows(held[0], piece)
            ):
                held.append(piece)
                break
        else:
            open_ones.append([piece])
    return [_block(held) for held in open_ones]


def _line_gap(pieces: Sequence[Piece]) -> float:
    """The gap between lines of a paragraph in heights: where a line begins with a small letter."""
    gaps = []
    for at, piece in enumerate(pieces):
        if piece.text[:1].islower():
            above = [one for one in pieces[max(0, at - 6) : at] if _is_below(one, piece)]
            gaps += [(one.bottom - piece.top) / piece.high for one in above[-1:]]
    return sorted(gaps)[len(gaps) // 2] if gaps else _USUAL_GAP


_USUAL_GAP: Final = 0.15


def _is_below(above: Piece, piece: Piece) -> bool:
    return abs(above.left - piece.left) < piece.high and -0.45 < (above.bottom - piece.top) / piece.high < 0.9


def _goes_on(above: Piece, piece: Piece, usual: float, edge: float) -> bool:
    """Is it the next line of a paragraph, whose lines are ``usual`` heights apart and reach to ``edge``?"""
    if abs(above.high - piece.high) > 0.06 * above.high or _ITEM.match(piece.text):
        return False
    gap = (above.bottom - piece.top) / piece.high
    indent = 1.5 if _ITEM.match(above.text) else 0.5
    if not -0.45 < gap < 0.9 or abs(above.left - piece.left) > indent * piece.high:
        return False
    if _ENDED.search(above.text):
        return gap < usual + 0.1
    if not piece.text[:1].isupper() or above.text.endswith((">", "›", "→")):
        return True
    label = _LABEL.match(above.text)
    if _LABEL.match(piece.text) or (label and len(above.text) - label.end() <= _SHORT + 15):
        return False
    # A line that goes on was broken where the column ends; a short one is an entry of a list.
    full = len(above.text) > _SHORT and above.right > edge - 0.3 * (edge - above.left)
    return full or (above.text.isupper() and len(above.text) <= _SHORT)


_SHORT: Final = 30  #: characters of a line that may be an entry of a list
_LABEL: Final = re.compile(r"[^:]{3,40}: ")


def _text(held: Sequence[Piece]) -> str:
    text = held[0].text
    for piece in held[1:]:
        parted = text.endswith("-") and text[-2:-1].isalpha() and piece.text[:1].islower()
        text = f"{text[:-1]}{piece.text}" if parted else f"{text} {piece.text}"
    return text


def _block(held: Sequence[Piece]) -> Block:
    return Block(
        _text(held),
        min(one.left for one in held),
        held[-1].bottom,
        max(one.right for one in held),
        held[0].top,
        held[0].high,
    )
