"""Read a readings file: what was measured, where and how.

A readings file holds these keys, all but ``positions`` optional; what is not there is reported as not
measured::

    date = "2026-03-04"
    place = "living room"                       # free text
    [[positions]]                               # peak field at 1 kHz, vertical, 125 ms r.m.s. maximum
    name = "sofa"
    field_ma_per_m = 380                        # or field_db, re 400 mA/m
    x_m = 2.5                                   # optional, from one corner of the room
    y_m = 2.0
    height_m = 1.2                              # above the floor; 1.2 where not given
    [response]                                  # level at one position, dB, any one reference
    at = "sofa"
    db_100_hz = -1.0
    db_1000_hz = 0.0
    db_5000_hz = -2.0
    [noise]                                     # background, A-weighted, dB(A) re 400 mA/m
    driver_off_dba = -52                        # or driver_off_ma_per_m
    driver_on_dba = -45                         # or driver_on_ma_per_m
    [loop]                                      # optional: measured against computed
    length_m = 5.0                              # x; with width_m (y); or corners_m = [[0, 0], [5, 0], ...]
    width_m = 4.0
    wire_height_m = 0.0                         # above the floor
    turns = 1
    current_a = 2.7                             # r.m.s. at 1 kHz during the measurement; optional
    metal_db = 0                                # loss to metal that was allowed for
    [user]                                      # the user's own verdict has the last word at home
    satisfied = true
    words = "clear, better than before"
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date as Day
from typing import Final

from kb.base.errors import BadInput, described
from kb.base.text import line, note
from kb.base.validation import Fields, bounded, listed, number, truth, whole
from kb.loop.field import REFERENCE_A_PER_M, SEATED_M
from kb.loop.geometry import MOST_CORNERS, MOST_TURNS, Loop, spot

MOST_POSITIONS: Final = 500


@dataclass(frozen=True)
class Position:
    """One place measured: its name, field in dB re 400 mA/m, and where it is in metres, if told."""

    name: str
    field_db: float
    x: float | None = None
    y: float | None = None
    height: float = SEATED_M


@dataclass(frozen=True)
class Response:
    """Levels at one place in dB, any one reference; None where not measured."""

    at: str
    db_100_hz: float | None
    db_1000_hz: float | None
    db_5000_hz: float | None


@dataclass(frozen=True)
class User:
    """What the user of the loop says of it: satisfied or not (None: not asked), and the words."""

    satisfied: bool | None
    words: str


@dataclass(frozen=True)
class Readings:
    """A readings file, checked. Noise in dB(A) re 400 mA/m; ``current`` in A r.m.s. at 1 kHz."""

    positions: tuple[Position, ...]
    response: Response | None = None
    noise_off: float | None = None
    noise_on: float | None = None
    loop: Loop | None = None
    current: float | None = None
    metal_db: float = 0.0
    user: User | None = None
    date: str = ""
    place: str = ""


def readings_from(data: object) -> Readings:
    """Check a parsed readings file (JSON or TOML) and return it; keys as at the top of the module.

    Raises BadInput naming the field, what was seen and what was expected; unknown keys are named too, so
    that a slip of spelling does not pass as "not measured".
    """
    fields = Fields(data, "readings", _TABLE)
    loop, current, metal = fields.take("loop", _loop, (None, None, 0.0))
    noise_off, noise_on = fields.take("noise", _noise, (None, None))
    readings = Readings(
        positions=_named(fields.take("positions", _positions, ())),
        response=fields.take("response", _response, None),
        noise_off=noise_off,
        noise_on=noise_on,
        loop=loop,
        current=current,
        metal_db=metal,
        user=fields.take("user", _user, None),
        date=fields.take("date", _date, ""),
        place=fields.take("place", _words(200), ""),
    )
    fields.end()
    return readings


_TABLE: Final = "a table of keys and values"


def _words(most: int) -> Callable[[object, str], str]:
    return lambda value, place: line(value, place, most)


def _date(value: object, place: str) -> str:
    """A day as text, or as TOML has read it already."""
    return line(value.isoformat() if isinstance(value, Day) else value, place, 40)


def _position(data: object, at: str) -> Position:
    fields = Fields(data, at, _TABLE)
    name = fields.take("name", _words(80), "") or at
    level = _level(fields, f"{at}, field", "field_db", "field_ma_per_m", -80)
    if level is None:
        raise BadInput(f"{at}, field_ma_per_m", described("nothing"), "the field in mA/m, or field_db")
    position = Position(
        name=name,
        field_db=level,
        x=fields.take("x_m", number(-100, 100), None),
        y=fields.take("y_m", number(-100, 100), None),
        height=fields.take("height_m", number(0, 3), SEATED_M),
    )
    fields.end()
    return position


_positions: Final = listed(_position, MOST_POSITIONS, each="position {number}")


def _named(positions: tuple[Position, ...]) -> tuple[Position, ...]:
    seen: set[str] = set()
    for count, each in enumerate(positions, 1):
        if each.name in seen:
            raise BadInput(f"position {count}, name", each.name, "a name that no other position has")
        seen.add(each.name)
    return positions


def _response(data: object, _: str) -> Response:
    fields = Fields(data, "response", _TABLE)
    level = number(-120, 60)
    response = Response(
        at=fields.take("at", _words(80), ""),
        db_100_hz=fields.take("db_100_hz", level, None),
        db_1000_hz=fields.take("db_1000_hz", level, None),
        db_5000_hz=fields.take("db_5000_hz", level, None),
    )
    fields.end()
    return response


def _noise(data: object, _: str) -> tuple[float | None, float | None]:
    fields = Fields(data, "noise", _TABLE)
    off, on = (
        _level(fields, f"noise, {driver}", f"{driver}_dba", f"{driver}_ma_per_m", -120)
        for driver in ("driver_off", "driver_on")
    )
    fields.end()
    return off, on


def _loop(data: object, _: str) -> tuple[Loop | None, float | None, float]:
    fields = Fields(data, "loop", _TABLE)
    z = fields.take("wire_height_m", number(-5, 10), 0.0)
    turns = fields.take("turns", whole(1, MOST_TURNS, f"a whole number from 1 to {MOST_TURNS}"), 1)
    outline = listed(spot, MOST_CORNERS, each="loop, corners_m, corner {number}")
    corners = fields.take("corners_m", outline, ())
    side = number(0.3, 100, "a number from 0.3 to 100 m")
    length, width = (
        fields.take(key, side, 0.0) if corners else fields.need(key, side) for key in ("length_m", "width_m")
    )
    current = fields.take("current_a", number(0.001, 100), None)
    metal = fields.take("metal_db", number(0, 30), 0.0)
    fields.end()
    try:
        if corners:
            return Loop.polygon(corners, z=z, turns=turns), current, metal
        return Loop.rectangle(length, width, z=z, turns=turns), current, metal
    except BadInput as trouble:
        raise trouble.within("loop") from None


def _user(data: object, _: str) -> User:
    fields = Fields(data, "user", _TABLE)
    user = User(fields.take("satisfied", truth, None), fields.take("words", note, ""))
    fields.end()
    return user


def _level(fields: Fields, at: str, decibels: str, milliamps: str, lowest: float) -> float | None:
    """Return a level in dB re 400 mA/m that is given in dB or as a field in mA/m; both must not be there."""
    level = fields.take(
        decibels,
        lambda value, _: bounded(value, f"{at} ({decibels})", low=lowest, high=48, unit="dB"),
        None,
    )
    field = fields.take(
        milliamps,
        lambda value, _: bounded(value, f"{at} ({milliamps})", low=0, high=1e5, unit="mA/m"),
        None,
    )
    if field is None:
        return level
    if level is not None:
        raise BadInput(at, f"{decibels} and {milliamps}", "one of the two")
    least = 1000 * REFERENCE_A_PER_M * 10 ** (lowest / 20)
    # a meter that shows zero is below its range, not at minus infinity
    return 20 * math.log10(max(field, least) / (1000 * REFERENCE_A_PER_M))
