"""Read a loop's answer, as ``jackfield loop --json`` prints it, for the sheet.

The file may come from anywhere, so every value is checked, and of the cautions only the codes are taken.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from kb.base import text
from kb.base.messages import Said, Wording
from kb.base.validation import Fields, listed, number, truth, whole
from kb.loop.geometry import MOST_CORNERS, MOST_TURNS, Loop, spot
from kb.loop.standard import TOLERANCE_DB

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
    where the file does not tell. ``levelled`` is the current that brings the whole area within the tolerance.
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
    tolerance_db: float = TOLERANCE_DB
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
    fields = Fields(data, "loop", _OBJECT, bare=True)
    field = fields.need("field", _object)
    current = fields.need("current_a", _AMPERES)
    level = fields.take("level", _object, None)
    offset = field.take("offset_m", number(-20, 20), None)
    return LoopData(
        loop=_loop(fields),
        offset=None if offset is None else abs(offset),
        wire=fields.need("wire", lambda value, place: text.line(value, place, 40)),
        laid=fields.need("wire_laid_m", number(0, 1e5)),
        centre=_range(current, field),
        levelled=None if level is None else _range(level.need("current_a", _AMPERES), level),
        voltage_v=fields.need("voltage_v", number(0, 1e5)),
        resistance_ohm=fields.need("resistance_ohm", number(0, 1e5)),
        inductance_h=fields.need("inductance_h", number(0, 1e3)),
        metal_db=fields.take("metal_allowance_db", number(0, 60), 0.0),
        fits=fields.need("fits", truth),
        judged=fields.take("driver", _told, False),
        cautions=tuple(filter(None, fields.take("cautions", _cautions, ()))),
        tolerance_db=field.take("tolerance_db", number(0.1, 20), TOLERANCE_DB),
        routed=fields.take("route", _told, False),
    )


_OBJECT: Final = Said("expected/printed-by-loop")
_AMPERES: Final = number(0, 1000)


def _told(value: object, _: Wording) -> bool:
    return bool(value)


def _object(value: object, place: Wording) -> Fields:
    return Fields(value, place, _OBJECT, bare=True)


def _loop(fields: Fields) -> Loop:
    spots = listed(spot, MOST_CORNERS, 3, expected=_CORNERS, each="place/corner-of")
    corners = fields.need("room", _object).need("corners_m", spots)
    turns = fields.need("turns", whole(1, MOST_TURNS))
    return Loop(tuple((x, y, 0.0) for x, y in corners), turns)


_CORNERS: Final = Said("expected/list-of-corners", most=MOST_CORNERS)


def _range(current: float, fields: Fields) -> Range:
    return Range(current, fields.need("min_db", number(-200, 200)), fields.need("max_db", number(-200, 200)))


def _caution(value: object, place: Wording) -> str:
    code = _object(value, place).take("code", lambda one, _: one, None)
    return code if isinstance(code, str) else ""


_cautions: Final = listed(_caution, MOST_CAUTIONS, each="place/caution")
