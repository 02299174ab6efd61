"""How may a query be split into make, model and words?

A label, a caller or a memory gives make and model in any order, with any spacing, or the make not at all.
Each ``Reading`` is one way to take the query; all are tried, the likelier first.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from typing import NamedTuple

from kb.index.fold import normalise
from kb.index.query import telling, year_of

_SPLIT = re.compile(r"[\s/,;_|\\-]+")
_MOST_PIECES = 12
_MAKE_PIECES = 3  # a make may be three words


class Reading(NamedTuple):
    """One way to read the query: ``code`` is the model (normalised, ``?`` kept), ``rest`` the other pieces.

    ``make`` is a make of the book that the rest spells exactly, "" where it does not. ``bound``: the split
    into make and code was made for this make (perhaps a slip off) and says nothing about others.
    ``turned``: the pieces of the code stand in another order than they were given.
    """

    code: str
    rest: tuple[str, ...]
    make: str = ""
    bound: bool = False
    turned: bool = False

    @property
    def leaves_digits(self) -> bool:
        """Whether pieces with digits, other than a year, are left outside the code."""
        return any(any(map(str.isdigit, piece)) and year_of(piece) is None for piece in self.rest)

    @property
    def plausible(self) -> bool:
        """Whether it is worth looking far: a code with a digit (or ``?``), and no digits left over."""
        digits = any(char.isdigit() or char == "?" for char in self.code)
        return len(self.code) >= 4 and digits and not self.leaves_digits


def pieces(tokens: tuple[str, ...]) -> tuple[str, ...]:
    """The normalised pieces of the tokens, noise words left out, at most ``_MOST_PIECES``."""
    words = [piece for token in tokens for piece in _SPLIT.split(token)]
    codes = (normalise(word, keep_unknown=True) for word in telling(tuple(words)))
    return tuple(code for code in codes if code)[:_MOST_PIECES]


def ends(parts: tuple[str, ...]) -> set[str]:
    """What may be a make at either end."""
    out: set[str] = set()
    for size in range(1, min(_MAKE_PIECES, len(parts)) + 1):
        out.add("".join(parts[:size]))
        out.add("".join(parts[-size:]))
    return out


def readings(parts: tuple[str, ...], makes: Iterable[str]) -> list[Reading]:
    """All readings worth trying, the likelier first; ``makes`` are those of ``ends`` that the book has."""
    known = set(makes)
    out: dict[tuple[str, tuple[str, ...]], Reading] = {}

    def put(model: tuple[str, ...], rest: tuple[str, ...], *, turned: bool = False) -> None:
        code = "".join(model)
        if 2 <= len(code) <= 40:
            joined = "".join(rest)
            out.setdefault(
                (code, rest), Reading(code, rest, joined if joined in known else "", turned=turned)
            )

    count = len(parts)
    for size in range(min(_MAKE_PIECES, count - 1), 0, -1):
        if "".join(parts[:size]) in known:
            put(parts[size:], parts[:size])
        if "".join(parts[-size:]) in known:
            put(parts[:-size], parts[-size:])
    if count <= 5:
        put(parts, ())
        for size in range(1, min(_MAKE_PIECES, count - 1) + 1):
            put(parts[size:], parts[:size])
            put(parts[:-size], parts[-size:])
    if 2 <= count <= 4:  # pieces in the wrong order, "210 NV40"
        for size in range(min(2, count - 2) + 1):
            for model, rest in ((parts[size:], parts[:size]), (parts[: count - size], parts[count - size :])):
                if "".join(rest) in known or not rest:
                    put(model[::-1], rest, turned=True)
    if count >= 3:
        for start, end in _codelike(parts):
            put(parts[start:end], parts[:start] + parts[end:])
    return list(out.values())


def _codelike(parts: tuple[str, ...]) -> Iterator[tuple[int, int]]:
    """Runs of pieces that look like parts of a model number, years first left out, then let in."""
    for with_years in (False, True):
        start: int | None = None
        for at, piece in enumerate((*parts, "")):
            coded = any(char.isdigit() or char == "?" for char in piece)
            if coded and not with_years and year_of(piece) is not None:
                coded = False
            if coded and start is None:
                start = at
            elif not coded and start is not None:
                yield start, at
                if at < len(parts) and len(piece) <= 2:
                    yield start, at + 1  # a split suffix: "NV40 210 XA"
                if start and len(parts[start - 1]) <= 3 and parts[start - 1].isalpha():
                    yield start - 1, at  # a split beginning: "NV 40 210"
                start = None
