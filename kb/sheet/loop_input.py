"""Read a loop's answer, as ``jackfield loop --json`` prints it, for the sheet.

The file may come from anywhere, so every value is checked, and of the cautions only the codes are taken.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from kb.base import text
from kb.base.errors import BadInput
from kb.base.validation import bounded
from kb.loop.geometry import MOST_CORNERS, Loop

MOST_CAUTIONS: Final = 40


@dataclass(frozen=True, slots=True)
class Range:
    """Weakest and strongest level in the listening area, dB re 400 mA/m, at a current in A r.m.s."""

    current_a: float
    min_db: float
    max_db: float


@dataclass(frozen=True, slots=True)
class LoopData:
    """A loop as computed. Lengths in metres, A and V r.m.s., ohm, henry.

    ``loop`` lies at height 0 with its turns; ``offset`` is the height of the ear above or below it, None
    where the file does not tell. ``levelled`` is the current that brings the whole area within +-3 dB.
    """

    loop: Loop
    offset: float | None
    wire: str
    laid: float
    centre: Range
    levelled: Range | None
    voltage_v: float
    resistance_ohm: float
    inductance_h: float
    metal_db: float
    fits: bool
    judged: bool  #: by a driver; without one nothing but the field can be found wrong
    cautions: tuple[str, ...]
    routed: bool = False
    """The route is told, and with it what to mind on the way."""

    @property
    def drawn(self) -> Range:
        """The range that is drawn: with the current that suits the whole area, where there is one."""
        return self.levelled or self.centre


def loop_data_from(data: object) -> LoopData:
    """Check a parsed answer of ``jackfield loop --json``.

    Raises BadInput naming the key, what was seen and what was expected.
    """
    table = _table(data, "loop")
    field = _table(table.get("field"), "field")
    current = _number(table, "current_a", 0, 1000)
    level = table.get("level")
    return LoopData(
        loop=_loop(table),
        offset=None if field.get("offset_m") is None else abs(_number(field, "offset_m", -20, 20)),
        wire=text.line(table.get("wire"), "wire", 40),
        laid=_number(table, "wire_laid_m", 0, 1e5),
        centre=_range(current, field),
        levelled=None if level is None else _range(None, _table(level, "level")),
        voltage_v=_number(table, "voltage_v", 0, 1e5),
        resistance_ohm=_number(table, "resistance_ohm", 0, 1e5),
        inductance_h=_number(table, "inductance_h", 0, 1e3),
        metal_db=_number(table, "metal_allowance_db", 0, 60) if "metal_allowance_db" in table else 0.0,
        fits=_flag(table.get("fits"), "fits"),
        judged=table.get("driver", {}) is not None,
        cautions=_codes(table.get("cautions", [])),
        routed=bool(table.get("route")),
    )


def _loop(table: Mapping[str, object]) -> Loop:
    corners = _table(table.get("room"), "room").get("corners_m")
    if not isinstance(corners, Sequence) or isinstance(corners, str) or not 3 <= len(corners) <= MOST_CORNERS:
        raise BadInput("room, corners_m", corners, f"a list of 3 to {MOST_CORNERS} corners [x, y]")
    spots = []
    for number, corner in enumerate(corners, 1):
        at = f"room, corner {number}"
        if not isinstance(corner, Sequence) or isinstance(corner, str) or len(corner) != 2:
            raise BadInput(at, corner, "[x, y] in metres")
        x, y = (bounded(each, at, low=-1000, high=1000, unit="m") for each in corner)
        spots.append((x, y, 0.0))
    turns = table.get("turns")
    if type(turns) is not int:
        raise BadInput("turns", turns, "a whole number")
    return Loop(tuple(spots), turns)


def _range(current: float | None, table: Mapping[str, object]) -> Range:
    amps = _number(table, "current_a", 0, 1000) if current is None else current
    return Range(amps, _number(table, "min_db", -200, 200), _number(table, "max_db", -200, 200))


def _codes(rows: object) -> tuple[str, ...]:
    if not isinstance(rows, Sequence) or isinstance(rows, str) or len(rows) > MOST_CAUTIONS:
        raise BadInput("cautions", rows, f"a list of at most {MOST_CAUTIONS}")
    codes = (_table(row, f"caution {number}").get("code") for number, row in enumerate(rows, 1))
    return tuple(code for code in codes if isinstance(code, str))


def _table(value: object, place: str) -> Mapping[str, object]:
    if not isinstance(value, Mapping):
        raise BadInput(place, value, "an object, as 'jackfield loop --json' prints it")
    return value


def _number(table: Mapping[str, object], key: str, low: float, high: float) -> float:
    return bounded(table.get(key), key, low=low, high=high)


def _flag(value: object, place: str) -> bool:
    if not isinstance(value, bool):
        raise BadInput(place, value, "true or false")
    return value
