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
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from kb.base.errors import BadInput, ascii_controls, described
from kb.base.validation import bounded
from kb.loop.field import REFERENCE_A_PER_M, SEATED_M
from kb.loop.geometry import Loop

MOST_POSITIONS: Final = 500
_LONGEST: Final = 4000


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
    table = _table(data, "readings")
    _only(table, "readings", {"date", "place", "positions", "response", "noise", "loop", "user"})
    positions = _positions(table.get("positions", []))
    loop, current, metal = _loop(table.get("loop"))
    noise = _table(table.get("noise", {}), "noise")
    _only(noise, "noise", {f"driver_{s}_{u}" for s in ("off", "on") for u in ("dba", "ma_per_m")})
    return Readings(
        positions=positions,
        response=_response(table.get("response")),
        noise_off=_level(noise, "noise, driver_off", "driver_off_dba", "driver_off_ma_per_m", -120),
        noise_on=_level(noise, "noise, driver_on", "driver_on_dba", "driver_on_ma_per_m", -120),
        loop=loop,
        current=current,
        metal_db=metal,
        user=_user(table.get("user")),
        date=_text(table, "readings", "date", 40),
        place=_text(table, "readings", "place", 200),
    )


def _positions(rows: object) -> tuple[Position, ...]:
    if not isinstance(rows, Sequence) or isinstance(rows, str):
        raise BadInput("positions", rows, "a list")
    if len(rows) > MOST_POSITIONS:
        raise BadInput("positions", f"{len(rows)}", f"at most {MOST_POSITIONS}")
    found: list[Position] = []
    for number, row in enumerate(rows, 1):
        at = f"position {number}"
        table = _table(row, at)
        _only(table, at, {"name", "field_ma_per_m", "field_db", "x_m", "y_m", "height_m"})
        name = _text(table, at, "name", 80) or f"position {number}"
        if any(each.name == name for each in found):
            raise BadInput(f"{at}, name", name, "a name that no other position has")
        level = _level(table, f"{at}, field", "field_db", "field_ma_per_m", -80)
        if level is None:
            raise BadInput(f"{at}, field_ma_per_m", described("nothing"), "the field in mA/m, or field_db")
        found.append(
            Position(
                name=name,
                field_db=level,
                x=_number(table, at, "x_m", -100, 100),
                y=_number(table, at, "y_m", -100, 100),
                height=_given(_number(table, at, "height_m", 0, 3), SEATED_M),
            )
        )
    return tuple(found)


def _response(value: object) -> Response | None:
    if value is None:
        return None
    table = _table(value, "response")
    keys = ("db_100_hz", "db_1000_hz", "db_5000_hz")
    _only(table, "response", {"at", *keys})
    low, middle, high = (_number(table, "response", key, -120, 60) for key in keys)
    return Response(_text(table, "response", "at", 80), low, middle, high)


def _loop(value: object) -> tuple[Loop | None, float | None, float]:
    if value is None:
        return None, None, 0.0
    table = _table(value, "loop")
    _only(
        table, "loop", {"length_m", "width_m", "corners_m", "wire_height_m", "turns", "current_a", "metal_db"}
    )
    z = _given(_number(table, "loop", "wire_height_m", -5, 10), 0.0)
    turns = table.get("turns", 1)
    if not isinstance(turns, int):
        raise BadInput("loop, turns", turns, "a whole number")
    try:
        if "corners_m" in table:
            loop = Loop.polygon(_corners(table["corners_m"]), z=z, turns=turns)
        else:
            length, width = (
                bounded(table.get(key), key, low=0.3, high=100, unit="m") for key in ("length_m", "width_m")
            )
            loop = Loop.rectangle(length, width, z=z, turns=turns)
    except BadInput as trouble:
        raise trouble.within("loop") from None
    metal = _given(_number(table, "loop", "metal_db", 0, 30), 0.0)
    return loop, _number(table, "loop", "current_a", 0.001, 100), metal


def _corners(value: object) -> list[tuple[float, float]]:
    if not isinstance(value, Sequence) or isinstance(value, str) or len(value) > 64:
        raise BadInput("corners_m", value, "a list of at most 64 [x, y]")
    found = []
    for number, corner in enumerate(value, 1):
        if not isinstance(corner, Sequence) or isinstance(corner, str) or len(corner) != 2:
            raise BadInput(f"corners_m, corner {number}", corner, "[x, y] in metres")
        x, y = (bounded(axis, f"corners_m, corner {number}", low=-100, high=100, unit="m") for axis in corner)
        found.append((x, y))
    return found


def _user(value: object) -> User | None:
    if value is None:
        return None
    table = _table(value, "user")
    _only(table, "user", {"satisfied", "words"})
    satisfied = table.get("satisfied")
    if satisfied is not None and not isinstance(satisfied, bool):
        raise BadInput("user, satisfied", satisfied, "true or false")
    return User(satisfied, _text(table, "user", "words", _LONGEST))


def _level(
    table: Mapping[str, object], at: str, decibels: str, milliamps: str, lowest: float
) -> float | None:
    """Return a level in dB re 400 mA/m that is given in dB or as a field in mA/m; both must not be there."""
    if decibels in table and milliamps in table:
        raise BadInput(at, f"{decibels} and {milliamps}", "one of the two")
    if milliamps in table:
        field = bounded(table[milliamps], f"{at} ({milliamps})", low=0, high=1e5, unit="mA/m")
        least = 1000 * REFERENCE_A_PER_M * 10 ** (lowest / 20)
        # a meter that shows zero is below its range, not at minus infinity
        return 20 * math.log10(max(field, least) / (1000 * REFERENCE_A_PER_M))
    if table.get(decibels) is None:
        return None
    return bounded(table[decibels], f"{at} ({decibels})", low=lowest, high=48, unit="dB")


def _number(table: Mapping[str, object], at: str, key: str, low: float, high: float) -> float | None:
    if table.get(key) is None:
        return None
    return bounded(table[key], f"{at}, {key}", low=low, high=high)


def _given(value: float | None, usual: float) -> float:
    return usual if value is None else value


def _text(table: Mapping[str, object], at: str, key: str, most: int) -> str:
    value = table.get(key)
    if value is None:
        return ""
    # a date that TOML has read already
    text = value if isinstance(value, str) else value.isoformat() if hasattr(value, "isoformat") else None
    if not isinstance(text, str) or len(text) > most:
        raise BadInput(f"{at}, {key}", value, f"text of at most {most} characters")
    if not all(sign.isprintable() or sign in "\n\t" for sign in text):
        raise BadInput(f"{at}, {key}", text, "text without control characters")
    return text.strip()


def _table(value: object, at: str) -> Mapping[str, object]:
    if not isinstance(value, Mapping):
        raise BadInput(at, value, "a table of keys and values")
    return value


def _only(table: Mapping[str, object], at: str, known: set[str]) -> None:
    for key in table:
        if key not in known:
            raise BadInput(
                f"{at}, {ascii_controls(str(key)[:40])}",
                described("an unknown key"),
                f"one of {', '.join(sorted(known))}",
            )
