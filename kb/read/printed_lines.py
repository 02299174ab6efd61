"""Lay the pieces of text on a photo level, as they are printed."""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Iterator, Sequence
from typing import Final, NamedTuple

from kb.read.picture import Piece

_LONG: Final = 3  # a text so many times as long as high tells how its line runs


class Line(NamedTuple):
    """Hold a piece in the frame of the print, whose lines are level: centre, ends and height in pixels."""

    piece: Piece
    text: str
    x: float
    y: float
    left: float
    right: float
    high: float
    tilt: float  #: what the perspective adds to the level, in pixels down for each to the right


def slope(pieces: Sequence[Piece]) -> float:
    """Return the angle of the lines in radians: that of most of the text."""
    across = down = 0.0
    for piece in pieces:
        (x0, y0), (x1, y1) = piece.corners[0], piece.corners[1]
        far = math.hypot(x1 - x0, y1 - y0) or 1.0
        across += (x1 - x0) / far * len(piece.text)
        down += (y1 - y0) / far * len(piece.text)
    return math.atan2(down, across)


def level(piece: Piece, angle: float) -> Line:
    """Return a piece as it is where lines at this angle are level."""
    cos, sin = math.cos(angle), math.sin(angle)
    turned = [(x * cos + y * sin, y * cos - x * sin) for x, y in piece.corners]
    xs, ys = [x for x, _ in turned], [y for _, y in turned]
    high = math.dist(piece.corners[0], piece.corners[3])
    run, drop = xs[1] - xs[0], ys[1] - ys[0]
    tilt = drop / run if run > _LONG * high else 0.0
    return Line(piece, plain(piece.text), sum(xs) / 4, sum(ys) / 4, min(xs), max(xs), high, tilt)


#: Two letters that look like one to a reader of pictures. Unicode TR39 (confusables) has rn and m, vv and w
#: (from memory); cl and d are common practice. People who type do not confuse them.
_ALIKE: Final = (("rn", "m"), ("vv", "w"), ("VV", "W"), ("cl", "d"))


def look_alikes(text: str) -> Iterator[str]:
    """Yield what a text may be if two letters were read as one that looks the same, or one as two.

    One place differs at a time: the reader seldom errs twice in a word.

    >>> list(look_alikes("Irnberg")), list(look_alikes("Auclio")), list(look_alikes("VVX5"))
    (['Imberg'], ['Audio'], ['WX5'])
    """
    for two, one in _ALIKE:
        for read, printed in ((two, one), (one, two)):
            for found in re.finditer(read, text):
                yield text[: found.start()] + printed + text[found.end() :]


def plain(text: str) -> str:
    """Return a text with signs of full width, as some fonts have them, as the usual ones."""
    return unicodedata.normalize("NFKC", text).strip()
