"""Parse a query, and list the ways to segment it into make, model and words.

The parser finds tokens that may be make or model, words, phrases and filters:

>>> asked = parse('norwell nv40 "sound menu" signal:optical year:2010-2014')
>>> asked.tokens, asked.phrases, asked.filters.years
(('norwell', 'nv40'), ('sound menu',), (2010, 2014))

A label, a caller or a memory gives make and model in any order and spacing, sometimes without the make. Each
``Segmentation`` is one way to read the tokens. All are tried, the likelier first.
"""

from __future__ import annotations

import re
from collections.abc import Container, Iterable, Iterator
from itertools import groupby
from typing import NamedTuple

from kb.base.errors import NOTHING, BadInput, inside
from kb.base.messages import Said
from kb.index.entry import FACT_FIELDS, SIZE, Filters
from kb.index.normalize import normalise

MAX_QUERY = 600
"""Characters of a query: a whole label of a set fits; longer text is a mistake, not a question."""
MAX_TOKENS = 90

_FIELD = re.compile(r"([a-z]+):(.*)", re.DOTALL)
_YEARS = re.compile(r"(\d{4})(?:(-|\.\.)(\d{4})?)?\Z|(-|\.\.)(\d{4})\Z")
FIELDS = ("make", "kind", "year", "size", "signal", "outcome", *FACT_FIELDS)
_A_FIELD = 3  # letters before a colon that can be meant as a field; fewer are part of a name
_PIECES = re.compile(r'([a-z]+:)?"([^"]*)"|(\S+)')
_INCHES = re.compile(r'(?<!\S)(\d{2,3})"(?!\S)')
_SIZE_SIGN = re.compile(r'(\bsize:\d{2,3})"(?!\S)')
_NOISE = frozenset("model modell number television".split())
"""Words that say nothing about the set in question."""
SMALL = frozenset("no nr tv set the a an and with of in on by for to is i it my we".split())
"""The same, but short enough to be part of a code: only longer queries leave them out."""
_AFTER_NUMBER = frozenset("a in".split())
_LONGER = 4


class Query(NamedTuple):
    """Hold a query taken apart: ``tokens`` in order, each with at least one letter, digit or ``?``."""

    text: str
    tokens: tuple[str, ...]
    phrases: tuple[str, ...]
    filters: Filters


def parse(asked: str) -> Query:
    """Take a query apart; raises ``BadInput`` if it cannot be meant."""
    text = asked
    if len(text) > MAX_QUERY:
        raise BadInput(
            Said("place/query"),
            Said("seen/characters", count=len(text)),
            Said("expected/at-most", most=MAX_QUERY),
        )
    if text.count('"') % 2:  # the last sign may mean inches
        text = _INCHES.sub(r"\1 inch", _SIZE_SIGN.sub(r"\1", text))
    if text.count('"') % 2:
        raise BadInput(Said("place/query"), text, Said("expected/second-quote"))
    tokens: list[str] = []
    phrases: list[str] = []
    filters = Filters()
    for prefix, phrase, word in _PIECES.findall(text):
        if prefix:
            filters = _filter(filters, prefix[:-1], phrase)
        elif word:
            field = _FIELD.match(word.lower())
            if field and field.group(1) in FIELDS:
                filters = _filter(filters, field.group(1), word[len(field.group(1)) + 1 :])
            elif field and _wrong_field(*field.groups()):
                raise BadInput(
                    Said("place/query"), word, Said("expected/field-before-colon", fields=", ".join(FIELDS))
                )
            elif any(char.isalnum() or char == "?" for char in word):
                tokens.append(word)
        elif any(char.isalnum() for char in phrase):
            phrases.append(phrase)
    if not tokens and not phrases and not filters:
        raise BadInput(Said("place/query"), text, Said("expected/query-such-as"))
    if len(tokens) > MAX_TOKENS:
        raise BadInput(
            Said("place/query"),
            Said("seen/words", count=len(tokens)),
            Said("expected/at-most", most=MAX_TOKENS),
        )
    return Query(asked, tuple(tokens), tuple(phrases), filters)


def _wrong_field(name: str, value: str) -> bool:
    """Return whether a word with a colon is meant as a field we do not have, not a label's "Serial:408"."""
    if value[:1] in ("", "/") or len(name) < _A_FIELD:
        return False
    from kb.index.rewriting import is_field  # reads data

    return not is_field(name)


def telling(tokens: tuple[str, ...]) -> tuple[str, ...]:
    """Return the tokens without noise words, unless nothing would remain.

    After a number "a" may be a suffix and "in" inches: they stay.
    """
    noise = _NOISE | SMALL if len(tokens) >= _LONGER else _NOISE
    kept = tuple(
        token
        for at, token in enumerate(tokens)
        if (word := token.lower().strip(".,;:")) not in noise
        or (word in _AFTER_NUMBER and at and tokens[at - 1][-1:].isdigit())
    )
    return kept or tokens


def year_of(token: str) -> int | None:
    """Return the year that a token may be: 1950 to 2049."""
    return (
        int(token)
        if len(token) == 4 and token.isascii() and token.isdigit() and "1950" <= token < "2050"
        else None
    )


def _filter(filters: Filters, field: str, value: str) -> Filters:
    value = value.strip()
    if field not in FIELDS:
        raise BadInput(
            Said("place/query"),
            Said("seen/field-colon", field=field),
            Said("expected/field-before-colon", fields=", ".join(FIELDS)),
        )
    if not value:
        raise BadInput(
            inside(Said("place/query"), field),
            NOTHING,
            Said("expected/value-such-as", example=_EXAMPLE[field]),
        )
    if field == "make":
        return filters._replace(make=value)
    if field == "year":
        return filters._replace(years=_years(value))
    if field == SIZE:
        return filters._replace(facts=(*filters.facts, f"{SIZE}:{_inches(value)}"))
    from kb.domain import words  # only a query with such a filter pays for it

    value = value.lower()
    if field in FACT_FIELDS:
        word = getattr(words, field.capitalize()).read(value, f"query, {field}")
        return filters._replace(facts=(*filters.facts, f"{field}:{word.value}"))
    if field == "kind":
        return filters._replace(kind=words.Kind.read(value, "query, kind").value)
    if field == "signal":
        signal = words.Signal.read(value, "query, signal")
        return filters._replace(signals=(*filters.signals, signal.value))
    outcome = words.Outcome.read(value, "query, outcome")
    return filters._replace(outcomes=(*filters.outcomes, outcome.value))


_EXAMPLE = {
    "make": "make:norwell", "kind": "kind:television", "year": "year:2010-2014", "size": "size:40",
    "signal": "signal:optical",
    "outcome": "outcome:silent", "speakers": "speakers:mute", "level": "level:fixed", "format": "format:pcm",
    "form": "form:toslink", "direction": "direction:output", "display": "display:tube",
    "basis": "basis:tested",
}  # fmt: skip


def _years(value: str) -> tuple[int, int]:
    """Parse an inclusive range: ``2012``, ``2010-2014``, ``2010-`` or ``-2014``."""
    found = _YEARS.match(value)
    if not found or not value.isascii():
        raise BadInput(inside(Said("place/query"), "year"), value, Said("expected/year-or-range"))
    first, dash, last, _, only_last = found.groups()
    if only_last:
        return (0, int(only_last))
    low = int(first)
    high = int(last) if last else (9999 if dash else low)
    if high < low:
        raise BadInput(
            inside(Said("place/query"), "year"),
            value,
            Said("expected/earlier-year-first", early=high, late=low),
        )
    return (low, high)


def _inches(value: str) -> int:
    """Parse a picture size in inches, as typed: ``40``, ``40"``, ``40in``, ``40-inch``."""
    found = _SIZE_TYPED.fullmatch(value.upper().replace(",", "."))
    if not found:
        raise BadInput(inside(Said("place/query"), "size"), value, Said("expected/picture-size"))
    return round(float(found[1]))


_SPLIT = re.compile(r"[\s/,;_|\\-]+")
_MOST_PIECES = 12


def parts_of(token: str) -> list[str]:
    """Return the words of a token between separators."""
    return [part for part in _SPLIT.split(token) if part]


_UNIT = re.compile(r"(\d+)?(M|MM|METERS?|METRES?|METROS?)\Z")


def measures(parts: tuple[str, ...]) -> frozenset[str]:
    """Return the pieces that are a length: "5 m" are words, not a model."""
    out: set[str] = set()
    for at, piece in enumerate(parts):
        unit = _UNIT.match(piece)
        if unit and (unit[1] or (at and parts[at - 1].isdigit())):
            out.update((piece,) if unit[1] else parts[at - 1 : at + 1])
    return frozenset(out)


_AROUND = 6  # in up to so many pieces, a make may be inside the code
_MAKE_PIECES = 3  # a make may have three words


class Segmentation(NamedTuple):
    """Hold one way to read the query: ``code`` is the model (normalised, ``?`` kept), ``rest`` the other
    pieces.

    ``make`` is a make of the book that the rest spells exactly, else "". ``bound``: the split into make and
    code was made for this make (perhaps with a slip) and says nothing about others. ``turned``: the pieces of
    the code are in another order than in the query. ``torn``: the query has no blank between code and rest.
    """

    code: str
    rest: tuple[str, ...]
    make: str = ""
    bound: bool = False
    turned: bool = False
    torn: bool = False

    def leaves_digits(self, makes: Container[str] = ()) -> bool:
        """Return whether pieces with digits, other than a year and misspelt ``makes``, are outside."""
        return any(
            any(map(str.isdigit, piece)) and piece not in makes and year_of(piece) is None
            for piece in self.rest
        )

    def plausible(self, makes: Container[str] = ()) -> bool:
        """Return whether a wide search pays: a code with a digit (or ``?``), and no digits outside it."""
        digits = any(char.isdigit() or char == "?" for char in self.code)
        return len(self.code) >= 4 and digits and not self.leaves_digits(makes)


def pieces(tokens: tuple[str, ...]) -> tuple[tuple[str, ...], frozenset[int]]:
    """Return the normalised pieces of the tokens without noise words, at most ``_MOST_PIECES``.

    The second value holds the positions of pieces without a blank before them: in "nv40-210 xa", 1.
    """
    told = telling(_joined(tokens))
    words = [(piece, at) for at, token in enumerate(told) for piece in _SPLIT.split(token)]
    codes = [(normalise(word, keep_unknown=True), at) for word, at in words]
    codes = [(code, at) for code, at in codes if code][:_MOST_PIECES]
    joined = frozenset(n for n in range(1, len(codes)) if codes[n][1] == codes[n - 1][1])
    return tuple(code for code, _ in codes), joined


_SPELT = 4  # so many signs in a row are a code read out one by one: "n v 4 0"
_SAID = "zero one two three four five six seven eight nine oh".split()
_DIGITS = {word: str(n % 10) for n, word in enumerate(_SAID)}
_TIMES = {"double": 2, "triple": 3}  # repeats the sign after it


def _joined(tokens: tuple[str, ...]) -> tuple[str, ...]:
    """Join runs of tokens of one sign each.

    Digits may be words, as over the telephone, if at least two of them follow each other; "double five" is
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
    """Return the pieces at either end that may be a make."""
    out: set[str] = set()
    for size in range(1, min(_MAKE_PIECES, len(parts)) + 1):
        out.add("".join(parts[:size]))
        out.add("".join(parts[-size:]))
    return out


def middles(parts: tuple[str, ...]) -> dict[str, tuple[int, int]]:
    """Return makes that may have code on both sides ("NV40 Norwell 210"), with their positions."""
    count = len(parts)
    if not 3 <= count <= _AROUND:
        return {}
    return {
        "".join(parts[start:end]): (start, end)
        for start in range(1, count - 1)
        for end in range(start + 1, min(start + _MAKE_PIECES + 1, count))
    }


def around(parts: tuple[str, ...], start: int, end: int, make: str) -> Segmentation:
    """Take the pieces before ``start`` and from ``end`` on as the code, those between as the make."""
    return Segmentation("".join(parts[:start] + parts[end:]), parts[start:end], make, bound=True)


def segmentations(
    parts: tuple[str, ...], makes: Iterable[str], joined_at: frozenset[int] = frozenset()
) -> list[Segmentation]:
    """Return all segmentations worth trying, the likelier first; ``makes`` are those of ``ends`` in the book.

    ``joined_at`` are the pieces without a blank before them.
    """
    known = set(makes)
    out: dict[tuple[str, tuple[str, ...]], Segmentation] = {}

    def put(model: tuple[str, ...], rest: tuple[str, ...], *cuts: int, turned: bool = False) -> None:
        code = "".join(model)
        if 2 <= len(code) <= 40:
            joined = "".join(rest)
            torn = not joined_at.isdisjoint(cuts)
            way = Segmentation(code, rest, joined if joined in known else "", turned=turned, torn=torn)
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
    """Yield runs of pieces that look like parts of a model number, first without years, then with them."""
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
    """Yield starts of a code whose first number is at ``start``: "NV 40 210", "N-V-40 210", "N V40"."""
    yield start
    for front in range(start - 1, max(-1, start - 4), -1):
        most = 3 if front == start - 1 else 2
        if not parts[front].isalpha() or not (front + 1 in joined_at or len(parts[front]) <= most):
            return
        yield front


def _has_sign(piece: str) -> bool:
    return any(char.isdigit() or char == "?" for char in piece)


_INCH = "INCHES|INCH|INS|IN|ZOLL|PULGADAS|PULGADA|PULG|POUCES|POUCE|POLLICI|POLLICE|POLEGADAS|DUIM|TUM|CALI"
"""Inches in languages of the region (common practice)."""
_SIZE = re.compile(rf"(?:[1-9]\d|1[01]\d)({_INCH})?\Z")
_SIZE_TYPED = re.compile(rf"(\d{{1,3}}(?:\.\d+)?)[ -]?(?:{_INCH}|\"|''|″)?")
UNITS = frozenset(_INCH.split("|"))


class Recollection(NamedTuple):
    """Hold what a person remembers instead of a model: a size, a year, or both, and the other words.

    ``size`` is in inches. Size and year are 0 if not given. ``digits`` are the pieces with digits.
    """

    size: int
    year: int
    words: tuple[str, ...]
    digits: str


_BESIDE = frozenset(
    "MY OUR THEIR FROM OLD NEW ABOUT YEAR MADE BOUGHT CIRCA AROUND ROUGHLY TV TELE TELEVISION TELEVISOR SET"
    " THE A AN OF WITH IN ONE IS IT ITS SOME MODEL FLAT SCREEN LED LCD DE DEL MI UNA UN EL LA ANO VON AUS DEM"
    " JAHR CA VOM ETWA MEIN ALTER FERNSEHER".split()
)
"""Words other than make, size and year that say nothing more (common practice)."""


def recollected(parts: tuple[str, ...]) -> Recollection | None:
    """Return size and year if no other piece has a digit, and one of them is a year or has its unit.

    A number with an inch sign is no model, nor is a year.
    """
    size = year = 0
    sure = False
    words: list[str] = []
    digits: list[str] = []
    for at, piece in enumerate(parts):
        found = _SIZE.match(piece)
        if found and not size:
            size = int(piece.removesuffix(found.group(1) or ""))
            sure = sure or bool(found.group(1)) or not UNITS.isdisjoint(parts[at + 1 : at + 2])
            digits.append(piece)
        elif not year and year_of(piece) is not None:
            year, sure = int(piece), True
            digits.append(piece)
        elif any(char.isdigit() or char == "?" for char in piece):
            return None
        elif piece not in UNITS or not size:
            words.append(piece)
    if not sure:
        return None
    return Recollection(size, year, tuple(word for word in words if word not in _BESIDE), "".join(digits))


def without_size(parts: tuple[str, ...], joined: frozenset[int]) -> tuple[tuple[str, ...], frozenset[int]]:
    """Return the pieces, and their joints, without a size in inches ("40 inch"), if a code remains."""
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
