"""List the ways to split a query into make, model and words.

A label, a caller or a memory gives make and model in any order, with any spacing, or the make not at all.
Each ``Reading`` is one way to take the query; all are tried, the likelier first.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from itertools import groupby
from typing import NamedTuple

from kb.index.normalize import normalise
from kb.index.query import telling, year_of

_SPLIT = re.compile(r"[\s/,;_|\\-]+")
_MOST_PIECES = 12
_AROUND = 6  # pieces up to which a make may stand within the code
_MAKE_PIECES = 3  # a make may be three words


class Reading(NamedTuple):
    """One way to read the query: ``code`` is the model (normalised, ``?`` kept), ``rest`` the other pieces.

    ``make`` is a make of the book that the rest spells exactly, "" where it does not. ``bound``: the split
    into make and code was made for this make (perhaps a slip off) and says nothing about others.
    ``turned``: the pieces of the code stand in another order than they were given. ``torn``: code and rest
    were written without a blank between them.
    """

    code: str
    rest: tuple[str, ...]
    make: str = ""
    bound: bool = False
    turned: bool = False
    torn: bool = False

    @property
    def leaves_digits(self) -> bool:
        """Whether pieces with digits, other than a year, are left outside the code."""
        return any(any(map(str.isdigit, piece)) and year_of(piece) is None for piece in self.rest)

    @property
    def plausible(self) -> bool:
        """Whether it is worth looking far: a code with a digit (or ``?``), and no digits left over."""
        digits = any(char.isdigit() or char == "?" for char in self.code)
        return len(self.code) >= 4 and digits and not self.leaves_digits


def pieces(tokens: tuple[str, ...]) -> tuple[tuple[str, ...], frozenset[int]]:
    """The normalised pieces of the tokens, noise words left out, at most ``_MOST_PIECES``.

    The second value are the places of pieces before which no blank was written: in "nv40-210 xa", 1.
    """
    told = telling(_joined(tokens))
    words = [(piece, at) for at, token in enumerate(told) for piece in _SPLIT.split(token)]
    codes = [(normalise(word, keep_unknown=True), at) for word, at in words]
    codes = [(code, at) for code, at in codes if code][:_MOST_PIECES]
    joined = frozenset(n for n in range(1, len(codes)) if codes[n][1] == codes[n - 1][1])
    return tuple(code for code, _ in codes), joined


_SPELT = 4  # signs in a row that are a code said one by one: "n v 4 0"
_SAID = "zero one two three four five six seven eight nine oh".split()
_DIGITS = {word: str(n % 10) for n, word in enumerate(_SAID)}
_TIMES = {"double": 2, "triple": 3}  # said before a sign that is there so often


def _joined(tokens: tuple[str, ...]) -> tuple[str, ...]:
    """The tokens, those of one sign put together where several stand in a row.

    Digits may be words, as over the telephone, where at least two of them follow each other; "double five" is
    two of them.
    """
    signs = [token if len(token) == 1 else _DIGITS.get(token.lower(), "") for token in tokens]
    for at, (token, sign) in enumerate(zip(tokens, signs[1:], strict=False)):
        signs[at] = signs[at] or sign * (_TIMES.get(token.lower(), 1) - 1)
    out: list[str] = []
    for sign, run in groupby(zip(tokens, signs, strict=True), lambda pair: pair[1] != ""):
        row = list(run)
        said = sum(len(token) > 1 for token, _ in row)
        if sign and (len(row) >= _SPELT or said > 1):
            out.append("".join(one for _, one in row))
        else:
            out += [token for token, _ in row]
    return tuple(out)


def ends(parts: tuple[str, ...]) -> set[str]:
    """What may be a make at either end."""
    out: set[str] = set()
    for size in range(1, min(_MAKE_PIECES, len(parts)) + 1):
        out.add("".join(parts[:size]))
        out.add("".join(parts[-size:]))
    return out


def middles(parts: tuple[str, ...]) -> dict[str, tuple[int, int]]:
    """What may be a make with pieces of the code on both sides of it: "NV40 Norwell 210"; where it stands."""
    count = len(parts)
    if not 3 <= count <= _AROUND:
        return {}
    return {
        "".join(parts[start:end]): (start, end)
        for start in range(1, count - 1)
        for end in range(start + 1, min(start + _MAKE_PIECES + 1, count))
    }


def around(parts: tuple[str, ...], start: int, end: int, make: str) -> Reading:
    """The pieces before ``start`` and from ``end`` on as the code, those between as the make."""
    return Reading("".join(parts[:start] + parts[end:]), parts[start:end], make, bound=True)


def readings(
    parts: tuple[str, ...], makes: Iterable[str], joined_at: frozenset[int] = frozenset()
) -> list[Reading]:
    """All readings worth trying, the likelier first; ``makes`` are those of ``ends`` that the book has.

    ``joined_at`` are the pieces before which no blank was written.
    """
    known = set(makes)
    out: dict[tuple[str, tuple[str, ...]], Reading] = {}

    def put(model: tuple[str, ...], rest: tuple[str, ...], *cuts: int, turned: bool = False) -> None:
        code = "".join(model)
        if 2 <= len(code) <= 40:
            joined = "".join(rest)
            torn = not joined_at.isdisjoint(cuts)
            way = Reading(code, rest, joined if joined in known else "", turned=turned, torn=torn)
            out.setdefault((code, rest), way)

    count = len(parts)
    for size in range(min(_MAKE_PIECES, count - 1), 0, -1):
        if "".join(parts[:size]) in known:
            put(parts[size:], parts[:size], size)
        if "".join(parts[-size:]) in known:
            put(parts[:-size], parts[-size:], count - size)
    if count <= 5:
        put(parts, ())
        for size in range(1, min(_MAKE_PIECES, count - 1) + 1):
            put(parts[size:], parts[:size], size)
            put(parts[:-size], parts[-size:], count - size)
    if 2 <= count <= 4:  # pieces in the wrong order, "210 NV40"
        for size in range(min(2, count - 2) + 1):
            for model, rest in ((parts[size:], parts[:size]), (parts[: count - size], parts[count - size :])):
                if "".join(rest) in known or not rest:
                    put(model[::-1], rest, turned=True)
    if count >= 3:
        for start, end in _codelike(parts, joined_at):
            put(parts[start:end], parts[:start] + parts[end:], start, end)
    return list(out.values())


def _codelike(parts: tuple[str, ...], joined_at: frozenset[int]) -> Iterator[tuple[int, int]]:
    """Runs of pieces that look like parts of a model number, years first left out, then let in."""
    for with_years in (False, True):
        coded = [_has_sign(piece) and (with_years or year_of(piece) is None) for piece in parts]
        for at in range(1, len(parts) - 1):  # a letter between numbers: "BRN 46 F 25"
            if coded[at - 1] and coded[at + 1] and len(parts[at]) <= 2:
                coded[at] = True
        start: int | None = None
        for at, now in enumerate((*coded, False)):
            if now and start is None:
                start = at
            elif not now and start is not None:
                behind = at < len(parts) and (len(parts[at]) <= 2 or at in joined_at)
                for front in _fronts(parts, start, joined_at):
                    yield front, at
                    if behind:
                        yield front, at + 1  # a split suffix: "NV40 210 XA"
                start = None


def _fronts(parts: tuple[str, ...], start: int, joined_at: frozenset[int]) -> Iterator[int]:
    """Where a code may begin whose first number is at ``start``: "NV 40 210", "N-V-40 210", "N V40"."""
    yield start
    for front in range(start - 1, max(-1, start - 4), -1):
        most = 3 if front == start - 1 else 2
        if not parts[front].isalpha() or not (front + 1 in joined_at or len(parts[front]) <= most):
            return
        yield front


def _has_sign(piece: str) -> bool:
    return any(char.isdigit() or char == "?" for char in piece)


_SIZE = re.compile(r"(?:[1-9]\d|1[01]\d)(IN|INCH|INCHES|ZOLL)?\Z")
UNITS = frozenset("IN INCH INCHES ZOLL".split())


def without_size(parts: tuple[str, ...], joined: frozenset[int]) -> tuple[tuple[str, ...], frozenset[int]]:
    """The pieces, and their joints, without a size in inches ("40 inch"), if a code is left."""
    for at, piece in enumerate(parts):
        size = _SIZE.match(piece)
        if size and (size.group(1) or not UNITS.isdisjoint(parts[at + 1 : at + 2])):
            end = at + (1 if size.group(1) else 2)
            left = parts[:at] + parts[end:]
            if any(map(_has_sign, left)):
                gone = range(at, end + 1)
                moved = {place - (end - at if place > at else 0) for place in joined if place not in gone}
                return left, frozenset(moved)
    return parts, joined
