"""Find make and model among what was read on a photo of a label, and ask the book for them.

Lines of labels are read by ``kb.index.rewriting``, as lines that somebody typed are. This module adds what
only a photo has: places. The value of a field may be on its right or below it. Large print may be the make.
"""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final, Generic, NamedTuple, Protocol, TypeVar

from kb.base.messages import Wording
from kb.index.rewriting import dates, names_fields, printed
from kb.read.picture import PictureReader, Piece, Reading, cleaned
from kb.read.printed_lines import Line, level, look_alikes, plain, slope

MOST: Final = 3  #: candidates that are told
_ASKED: Final = 48  # codes that the book is asked for
_ROW: Final = 0.55  # pieces closer than this share of their height are on one line
_SHORT: Final = 3  # letters of a part of a code without a digit
_MAKE_WORDS: Final = 3
_LONGEST: Final = 40  # signs of a make or a model


class _Match(Protocol):
    @property
    def make(self) -> str: ...
    @property
    def model(self) -> str: ...
    @property
    def score(self) -> float: ...
    @property
    def how(self) -> str: ...


class Found(Protocol):
    """The answer to a query, of the book or of its index."""

    @property
    def matches(self) -> Sequence[_Match]: ...


F = TypeVar("F", bound=Found)
#: The make of the book that a word means, or "", and whether the word is all of its name.
MakeOf = Callable[[str], tuple[str, bool]]


class Candidate(NamedTuple, Generic[F]):
    """Hold a set that the label may name: ``make`` and ``model`` as read ("" for a make that was not read).

    ``found`` is the book's answer to ``query``, ``piece`` the piece of the photo with the model. ``named``:
    a field of the label, such as "MODEL NO.", names the model.
    """

    make: str
    model: str
    query: str
    piece: Piece
    named: bool
    found: F


class _Code(NamedTuple):
    model: str
    piece: Piece
    named: bool


@dataclass(frozen=True, slots=True)
class Label(Generic[F]):
    """Hold what a photo of a label says: its text, sets it may name, likeliest first, and a year or None.

    ``picture`` is the photo as a JPEG of our own, in which the places of the pieces are.
    """

    reading: Reading
    candidates: tuple[Candidate[F], ...]
    year: int | None
    picture: bytes = b""


def look(sent: bytes, place: Wording, find: Callable[[str], F], make_of: MakeOf, *, today: int) -> Label[F]:
    """Read the label on a photo from anywhere, and ask the book for what it names; ``today`` is a year.

    ``find`` answers a query, and ``make_of`` tells which make of the book a word means. If no set of the book
    is as the photo says, look closer once. Raises as ``PictureReader`` and ``cleaned`` do.
    """
    with PictureReader(place) as reader:
        picture = cleaned(sent, place)
        label = look_at(
            lambda closer: reader.read(picture, place, closer=closer, label=True), find, make_of, today=today
        )
        return replace(label, picture=picture)


def look_at(
    read: Callable[[bool], Reading], find: Callable[[str], F], make_of: MakeOf, *, today: int
) -> Label[F]:
    """As ``look``; ``read`` reads the photo as a whole, or its part with the text more closely."""
    whole = interpreted(read(False), find, make_of, today=today)
    if whole.candidates and _worth(whole.candidates[0])[0] >= _PLAIN:
        return whole
    near = interpreted(read(True), find, make_of, today=today, also=whole.reading)
    told = _told([*whole.candidates, *near.candidates])
    if not told:
        return near if near.reading.pieces else whole
    return replace(near if told[0] in near.candidates else whole, candidates=told)


def interpreted(
    reading: Reading,
    find: Callable[[str], F],
    make_of: MakeOf,
    *,
    today: int,
    also: Reading | None = None,
) -> Label[F]:
    """Return up to ``MOST`` sets that the text of a label may name; none if it has no code.

    The make, and the year, may also be in ``also``, another reading of the same label.
    """
    rows = _rows(reading)
    codes = _distinct(_codes(rows))
    others = _rows(also) if also else []
    known = _known_make([*rows, *others], make_of) if codes else ""
    make = known or _large_print([*rows, *others])
    told: list[Candidate[F]] = []
    for code in codes[:_ASKED]:
        query = _SIGNS.sub(" ", f"{known} {code.model}").strip()
        told.append(Candidate(make, code.model, query, code.piece, code.named, find(query)))
    told += list(_look_alikes(told, find))
    years = [
        year for row in (*rows, *others) for year in dates(" ".join(one.text for one in row)) if year <= today
    ]
    return Label(reading, _told(told), years[0] if years else None)


def _look_alikes(told: Sequence[Candidate[F]], find: Callable[[str], F]) -> Iterator[Candidate[F]]:
    """Yield the sets that the book has exactly, if letters were read as others that look the same."""
    for one in told:
        if one.found.matches and one.found.matches[0].how == "exact":
            continue
        for model in look_alikes(one.model):
            query = one.query.removesuffix(one.model) + model
            found = find(query) if one.query.endswith(one.model) else None
            if found and found.matches and found.matches[0].how == "exact":
                piece = one.piece._replace(sure=one.piece.sure * _AGAIN)
                yield one._replace(model=model, query=query, piece=piece, found=found)


def _told(found: Sequence[Candidate[F]]) -> tuple[Candidate[F], ...]:
    """Return the likeliest candidates, one for each set of the book; the likeliest if it has none."""
    ranked = [one for one in sorted(found, key=_worth, reverse=True) if _is_read(one)]
    there: dict[tuple[str, str], Candidate[F]] = {}
    for one in ranked:
        if one.found.matches and _worth(one)[0] >= 1:
            best = one.found.matches[0]
            there.setdefault((best.make, best.model), one)
    return tuple([*there.values()][:MOST] or ranked[:1])


_APART: Final = re.compile(r"[=:|]+")  # in no model
_SIGNS: Final = re.compile(r"[^\w\s./+?-]|(?<=\w):")  # what a query would take for something else
_SURE: Final = 0.6  # of the reader's confidence, for a code that no field names
_AGAIN: Final = 0.97  # of the confidence, for a line that was read again
_READ_WELL: Final = 0.01  # of two readings that the book does not have, the surer one
_PLAIN: Final = 4.5  # a set of the book with exactly the model that a field names
_HOW: Final = {"exact": 3, "near": 2, "family": 1}


def _is_read(one: Candidate[F]) -> bool:
    """Return whether the code was read, or is a set of the book: grain looks like codes, too."""
    close = one.found.matches and _HOW.get(one.found.matches[0].how, 0) > 1
    return bool(one.named or close or one.piece.sure >= _SURE)


def _worth(one: Candidate[F]) -> tuple[float, bool, float]:
    """Return what comes first: a set of the book that fits, then what a field names."""
    match = one.found.matches[0] if one.found.matches else None
    fits = float(_HOW.get(match.how, 0)) if match else 0.0
    if one.named:
        fits += 1.5  # a chassis or a part that is called as some set is no model
    return fits, one.named, ((match.score if match else 0.0) + _READ_WELL) * one.piece.sure


# -- places ----------------------------------------------------------------------------------------------


def _rows(reading: Reading) -> list[list[Line]]:
    """Return the pieces in lines from top to bottom, each from left to right; values follow their names."""
    lines = [level(piece, slope(reading.pieces)) for piece in reading.pieces if piece.text.strip()]
    rows: list[list[Line]] = []
    for line in sorted(lines, key=lambda one: one.y):
        for row in reversed(rows[-3:]):
            near = min(row, key=lambda one: abs(one.x - line.x))
            there = near.y + (line.x - near.x) * near.tilt
            if abs(there - line.y) < _ROW * min(near.high, line.high):
                row.append(line)
                break
        else:
            rows.append([line])
    for row in rows:
        row.sort(key=lambda one: one.left)
    return _joined(rows)


def _joined(rows: list[list[Line]]) -> list[list[Line]]:
    """Put values that are below the names of their fields after these names."""
    out: list[list[Line]] = []
    at = 0
    while at < len(rows):
        row = rows[at]
        below = rows[at + 1] if at + 1 < len(rows) else []
        if below and all(names_fields(one.text) for one in row):
            left = list(below)
            for head in row:
                value = min(left, key=lambda one: abs(one.left - head.left), default=None)
                if value is None or names_fields(value.text):
                    out.append([head])
                else:
                    left.remove(value)
                    out.append([head, value])
            at += 1
            if left:
                rows[at] = left
            else:
                at += 1
        else:
            out.append(row)
            at += 1
    return out


# -- codes -----------------------------------------------------------------------------------------------


def _codes(rows: list[list[Line]]) -> Iterator[_Code]:
    """Yield what may be the model: first the values of its fields, then codes that stand alone.

    A code after words, such as "Remote control RC1055", comes last, and so does the end of a longer one.
    """
    alone: list[_Code] = []
    behind: list[_Code] = []
    for row in itertools.chain.from_iterable(map(_readings, rows)):
        said = printed(" ".join(one.text for one in row))
        if said.named and len(" ".join(said.code)) <= _LONGEST:
            yield _Code(" ".join(said.code), _piece(said.code, row), True)
        for start, code in _runs(said.beside):
            text = " ".join(code)
            if _is_code(text):
                (behind if start else alone).append(_Code(text, _piece(code, row), False))
            ends = (" ".join(code[at:]) for at in range(1, len(code)))
            behind += [_Code(end, _piece(code, row), False) for end in ends if _is_code(end)]
    yield from sorted(alone, key=lambda one: -math.dist(one.piece.corners[0], one.piece.corners[3]))
    yield from behind


def _readings(row: list[Line]) -> Iterator[list[Line]]:
    """Yield the row as it was read first, and as its pieces were read again."""
    yield row
    for number in range(max(len(one.piece.others) for one in row)):
        yield [_again(one, number) for one in row]


def _again(line: Line, number: int) -> Line:
    if number >= len(line.piece.others):
        return line
    text = line.piece.others[number]
    sure = line.piece.sure * _AGAIN
    return line._replace(piece=line.piece._replace(text=text, sure=sure), text=plain(text))


def _distinct(codes: Iterable[_Code]) -> list[_Code]:
    """Return each code once, as it was read first."""
    kept: dict[tuple[str, bool], _Code] = {}
    for one in codes:
        kept.setdefault((one.model, one.named), one)
    return list(kept.values())


def _piece(code: Sequence[str], row: Sequence[Line]) -> Piece:
    """Return the piece that has the end of a code."""
    return next((one.piece for one in row if code[-1] in one.text), row[-1].piece)


def _runs(words: Sequence[str]) -> Iterator[tuple[int, list[str]]]:
    """Yield runs of words that may form one code, "BZ 48 S 605-H", with the number of words before each."""
    run: list[str] = []
    parts = [part for word in words for part in _APART.split(word)]  # a worn name before it: "M0IEL=NV40-210"
    for at, word in enumerate([*parts, ""]):
        if any(map(str.isdigit, word)) or (0 < len(word) <= _SHORT and word.isupper() and word.isalpha()):
            run.append(word)
        elif run:
            yield at - len(run), run
            run = []


def _is_code(text: str) -> bool:
    return 4 <= len(text) <= 24 and any(map(str.isdigit, text)) and any(map(str.isalpha, text))


# -- makes -----------------------------------------------------------------------------------------------


def _known_make(rows: list[list[Line]], make_of: MakeOf) -> str:
    """Return the make of the book that is printed in full and largest, or else in part; "" for none."""
    best = (False, 0.0, "")
    for row in rows:
        for one in row:
            words = [word for word in one.text.split() if word.isalpha() or "&" in word]
            for size in range(min(_MAKE_WORDS, len(words)), 0, -1):
                for at in range(len(words) - size + 1):
                    name = " ".join(words[at : at + size])
                    for meant, read in ((name, True), *((other, False) for other in look_alikes(name))):
                        make, whole = make_of(meant) if len(meant) > 2 else ("", False)
                        if make and (read or whole):
                            best = max(best, (whole, one.high * size, make))
                            break
    return best[2]


def _large_print(rows: list[list[Line]]) -> str:
    """Return the largest words that say nothing else, as the make of a set that the book does not have."""
    names = []
    for row in rows:
        for one in row:
            words = printed(one.text).beside
            text = " ".join(words)
            plain = all(word.isalpha() or word in "&-" or word[-1:] == "." for word in words)
            if plain and 2 < len(text) <= _LONGEST and len(words) <= _MAKE_WORDS:
                names.append((one.high, text))
    return max(names, default=(0.0, ""))[1]
