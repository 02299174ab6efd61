"""Read and show lengths in metres or feet.

>>> length("17' 6\\"")
5.334
>>> room("5.2x4.1")
(5.2, 4.1)
>>> show_length(5.334), show_length(5.334, feet=True)
('5.33 m (17 ft 6 in)', '17 ft 6 in (5.33 m)')
>>> room("17x13", feet=True) == room("17ft x 13ft")
True

A small parser of our own: a whole units library costs a noticeable part of a second at every start,
for two unit families. The tests check it against such a library. One inch is 25.4 mm exactly
(international inch, 1959).
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping
from fractions import Fraction
from typing import Final

from kb.base.errors import BadInput, inside
from kb.base.messages import Said, Wording
from kb.base.validation import bounded

INCH_M: Final = 0.0254
FOOT_M: Final = 12 * INCH_M

#: No dwelling or hall that this tool is for has a side longer than this (metres).
LONGEST_SIDE_M: Final = 100.0
#: Shorter than this is a slip of the finger, not a room (metres).
SHORTEST_SIDE_M: Final = 0.3
#: Longest text that is looked at; anything longer is not a length.
LONGEST_TEXT: Final = 40
#: More corners than this are not a room.
MOST_CORNERS: Final = 64

_EXPECTED: Final = Said("expected/length-such-as")

_UNIT_M: Final[Mapping[str, float]] = {
    "m": 1.0,
    "metre": 1.0,
    "metres": 1.0,
    "meter": 1.0,
    "meters": 1.0,
    "metro": 1.0,
    "metros": 1.0,
    "cm": 0.01,
    "mm": 0.001,
    "ft": FOOT_M,
    "foot": FOOT_M,
    "feet": FOOT_M,
    "pie": FOOT_M,
    "pies": FOOT_M,
    "'": FOOT_M,
    "in": INCH_M,
    "inch": INCH_M,
    "inches": INCH_M,
    '"': INCH_M,
}
_FEET: Final = frozenset({"ft", "foot", "feet", "'"})
_INCHES: Final = frozenset({"in", "inch", "inches", '"'})

_NUMBER: Final = r"(?:\d+[ -]\d+/\d+|\d+/\d+|\d+\.\d*|\.\d+|\d+)"
_PART: Final = re.compile(rf"\s*({_NUMBER})\s*([a-z]+|'|\")?\.?\s*", re.ASCII)
#: Signs between the sides of a room.
_BETWEEN: Final = r"[x×*]|\bby\b"
#: Typographic and prime signs that phones and word processors put for ' and ".
_QUOTES: Final = str.maketrans({
    "’": "'", "‘": "'", "′": "'", "”": '"', "“": '"', "″": '"', "−": "-", "\u00a0": " ", "⁄": "/",
})  # fmt: skip


def length(
    text: str,
    place: Wording = "length",
    *,
    low: float = SHORTEST_SIDE_M,
    high: float = LONGEST_SIDE_M,
    feet: bool = False,
) -> float:
    """Read one length; return metres.

    A bare number is metres, or feet with ``feet``. Metric units are m, cm, mm, also metres then centimetres
    (``3 m 50``); imperial are ft (or ') and in (or "), alone or feet then inches, with fractions (``6 1/2
    in``). A decimal comma is read as one when one or two digits follow it. A leading minus is allowed where
    ``low`` is below zero (a wire under the floor).

    ``place`` names the option or field in errors. ``low`` and ``high`` bound the answer, in metres.

    Raises BadInput when the text is not a length, or lies outside the bounds.
    """
    clean = _normal(text)
    if not clean or len(text) > LONGEST_TEXT:
        raise BadInput(place, text, _EXPECTED)
    sign = 1.0
    if clean[0] in "+-":
        sign = -1.0 if clean[0] == "-" else 1.0
        clean = clean[1:].lstrip()
    metres = sign * _parts(clean, place, text, "ft" if feet else "m")
    if feet and not low <= metres <= high:
        raise BadInput(
            place,
            text,
            Said("expected/length-from-to", low=show_length(low, feet=True), high=_round_feet(high)),
        )
    return bounded(metres, place, low=low, high=high, unit="m", seen=text)


def room(text: str, place: Wording = "room", *, feet: bool = False) -> tuple[float, float]:
    """Read a room such as ``5.2x4.1``, ``5.2 m x 4.1 m`` or ``17ftx13ft 6in``; return metres (length, width).

    A unit given after one side only holds for both (``520x410 cm``, ``17ft x 13``); bare numbers are metres,
    or feet with ``feet``. Raises BadInput.
    """
    sides = re.split(_BETWEEN, _normal(text))
    if len(sides) != 2 or not all(side.strip() for side in sides) or len(text) > 2 * LONGEST_TEXT:
        raise BadInput(place, text, Said("expected/two-sides"))
    first, second = (side.strip() for side in sides)
    unit = re.compile(r"[a-z]+|'|\"")
    alone = [re.fullmatch(_NUMBER, side) for side in (first, second)]
    if alone[0] and (found := unit.search(second)):
        # The other side is read first: its unit holds for both, and what is wrong with it is named there.
        width = length(second, Said("place/second-side", place=place), feet=feet)
        return length(first + found[0], Said("place/first-side", place=place), feet=feet), width
    if alone[1] and (found := unit.search(first)):
        second += found[0]
    return (
        length(first, Said("place/first-side", place=place), feet=feet),
        length(second, Said("place/second-side", place=place), feet=feet),
    )


def outline(text: str, place: Wording = "polygon", *, feet: bool = False) -> tuple[tuple[float, float], ...]:
    """Read corners such as ``0,0 5,0 5,3 0,3``; return them in metres, in the order given.

    Corners are parted by spaces, or by ``;`` where a length itself holds a space (``17' 6", 0; ...``).
    Bare numbers are metres, or feet with ``feet``. Raises BadInput for fewer than three corners, or more
    than 64.
    """
    parts = [part for part in (text.split(";") if ";" in text else text.split()) if part.strip()]
    if not 3 <= len(parts) <= MOST_CORNERS:
        expected = Said("expected/corners-such-as", most=MOST_CORNERS)
        raise BadInput(place, text if len(parts) < 3 else Said("seen/corners", count=len(parts)), expected)
    corners = []
    for number, part in enumerate(parts, 1):
        pair = part.split(",")
        if len(pair) != 2:
            raise BadInput(inside(place, Said("place/corner", number=number)), part, Said("expected/corner"))
        at = inside(place, Said("place/corner", number=number))
        x, y = (length(axis, at, low=-LONGEST_SIDE_M, high=LONGEST_SIDE_M, feet=feet) for axis in pair)
        corners.append((x, y))
    return tuple(corners)


def show_length(metres: float, *, feet: bool = False) -> str:
    """Return a length in both families, such as ``5.33 m (17 ft 6 in)``; rounded to 1 cm and 1 inch.

    With ``feet`` these come first.
    """
    inches = round(abs(metres) / INCH_M)
    sign = "-" if metres < 0 and inches else ""
    whole, rest = divmod(inches, 12)
    imperial = f"{sign}{whole} ft {rest} in" if whole else f"{sign}{rest} in"
    return f"{imperial} ({metres:.2f} m)" if feet else f"{metres:.2f} m ({imperial})"


def show_frequency(hertz: float) -> str:
    """Return a frequency as people write it.

    >>> show_frequency(100), show_frequency(3150)
    ('100 Hz', '3.15 kHz')
    """
    return f"{hertz:g} Hz" if hertz < 1000 else f"{hertz / 1000:g} kHz"


def _round_feet(metres: float) -> str:
    return f"{metres / FOOT_M:.0f} ft ({metres:g} m)"


def _parts(clean: str, place: Wording, text: str, bare: str) -> float:
    """Return the metres of ``5.2m`` or of ``17ft 6in``; the sign is already taken off."""
    position, total = 0, 0.0
    units: list[str] = []
    while position < len(clean):
        found = _PART.match(clean, position)
        if not found:
            raise BadInput(place, text, _EXPECTED)
        number, unit = found[1], found[2] or ""
        # 17' 6 means inches after feet, 3 m 50 centimetres after metres
        after = units[-1] if units else ""
        cm = len(number) == 2 and _UNIT_M.get(after) == 1
        unit = unit or ("in" if after in _FEET else "cm" if cm else bare)
        if unit not in _UNIT_M:
            raise BadInput(place, text, Said("expected/length-units"))
        total += _number(number, place, text) * _UNIT_M[unit]
        units.append(unit)
        position = found.end()
    first, *rest = units
    pair = len(rest) == 1 and (
        (first in _FEET and rest[0] in _INCHES) or (rest == ["cm"] and _UNIT_M[first] == 1)
    )
    if rest and not pair:
        raise BadInput(place, text, Said("expected/one-unit", lengths=_EXPECTED))
    return total


def has_unit(text: str) -> bool:
    """Whether a length, room or outline as typed names its unit anywhere.

    >>> has_unit("17x13"), has_unit("17x13 ft"), has_unit("0,0 5,0 5,4")
    (False, True, False)
    """
    return re.search(r"[a-z'\"]", re.sub(_BETWEEN, " ", _normal(text))) is not None


def _number(text: str, place: Wording, seen: str) -> float:
    try:
        return float(sum(Fraction(part) for part in re.split(r"[ -]", text)))
    except ZeroDivisionError:
        raise BadInput(place, seen, _EXPECTED) from None


def _normal(text: str) -> str:
    """Return the text in lower case with plain quotes, fractions spelled out and decimal points."""
    spelled = []
    for sign in text:
        if unicodedata.category(sign) == "No" and "⁄" in unicodedata.normalize("NFKC", sign):
            spelled.append(" " + unicodedata.normalize("NFKC", sign))
        else:
            spelled.append(sign)
    clean = "".join(spelled).translate(_QUOTES).strip().lower().replace("''", '"')
    return re.sub(r"(?<=\d),(?=\d{1,2}(?!\d))", ".", clean)
