"""Read a readings file: the measured values, with place and method.

All keys are optional; what is not there is reported as not measured::

    date = "2026-03-04"
    place = "living room"                       # free text
    use = "room"                                # or counter, refuge, chair
    signal = "sine"                             # what was played: sine (1 kHz), pink, speech, combi
    meter = "rms"                               # 125 ms true r.m.s., or peak-programme
    target_db = -6                              # only for another signal: what the driver's maker states
    points_agreed = true                        # small volumes: the points were agreed by contract
    [[positions]]                               # the highest vertical field there
    name = "sofa"
    field_ma_per_m = 380                        # or field_db, re 400 mA/m, or field_ut, in microtesla
    x_m = 2.5                                   # optional, from one corner of the room
    y_m = 2.0
    height_m = 1.2                              # above the floor; 1.2 where not given
    response_db = { 100 = -1, 1000 = 0, 5000 = -2 }  # level by frequency in Hz, dB, any one reference
    noise_off_dba = -52                         # A-weighted, driver off; or noise_off_ma_per_m
    noise_on_dba = -51                          # driver on, inputs muted; or noise_on_ma_per_m
    standing = true                             # small volumes: people stand here, it is not a point of use
    [response]                                  # the same for one place, as older files have it
    at = "sofa"
    db_100_hz = -1.0
    db_1000_hz = 0.0
    db_5000_hz = -2.0
    [noise]                                     # the same for a place without a name
    driver_off_dba = -52                        # or driver_off_ma_per_m
    driver_on_dba = -45                         # or driver_on_ma_per_m
    tonal = false                               # the noise has a marked tone
    [loop]                                      # optional: measured against computed
    length_m = 5.0                              # x; with width_m (y); or corners_m = [[0, 0], [5, 0], ...]
    width_m = 4.0
    wire_height_m = 0.0                         # above the floor
    turns = 1
    current_a = 2.7                             # r.m.s. at 1 kHz during the measurement; optional
    metal_db = 0                                # loss to metal that was allowed for
    trial = true                                # a trial loop, to find the loss to metal
    [user]                                      # the user's own verdict has the last word at home
    satisfied = true
    words = "clear, better than before"
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from datetime import date as Day
from typing import Final

from kb.base.errors import NOTHING, BadInput, inside
from kb.base.messages import LANGUAGES, Said, Wording
from kb.base.text import line, note
from kb.base.validation import Fields, bounded, keyed, listed, number, truth, whole
from kb.loop.decibels import decibels, ratio
from kb.loop.field import SEATED_M
from kb.loop.geometry import MOST_CORNERS, MOST_TURNS, Loop, spot
from kb.loop.standard import (
    MICROTESLA,
    REFERENCE_A_PER_M,
    RESPONSE_REFERENCE_HZ,
    LevelMeter,
    PlayedSignal,
    Use,
    target_db,
)
from kb.loop.units import LONGEST_SIDE_M, SHORTEST_SIDE_M

MOST_POSITIONS: Final = 500
MOST_FREQUENCIES: Final = 100


@dataclass(frozen=True)
class Noise:
    """Hold the A-weighted noise at one place, dB(A) re 400 mA/m, driver off and on; None: not measured."""

    off: float | None = None
    on: float | None = None


@dataclass(frozen=True)
class Position:
    """Hold one place: its name, its position in metres if known, and its measured values.

    ``field_db`` is re 400 mA/m as the meter read it, None where the field was not measured. ``response``
    has the level in dB by frequency in Hz, any one reference. ``standing``: people stand here, near a small
    volume.
    """

    name: str
    field_db: float | None = None
    x: float | None = None
    y: float | None = None
    height: float = SEATED_M
    response: Mapping[float, float] = field(default_factory=dict)
    noise: Noise = Noise()
    standing: bool = False

    def response_re_1_khz(self) -> dict[float, float]:
        """Return the response re its own 1 kHz, dB by Hz; empty if 1 kHz was not measured."""
        middle = self.response.get(RESPONSE_REFERENCE_HZ)
        return {} if middle is None else {hertz: level - middle for hertz, level in self.response.items()}


@dataclass(frozen=True)
class User:
    """Hold the opinion of the loop's user: satisfied or not (None: not asked), and the words."""

    satisfied: bool | None
    words: str


@dataclass(frozen=True)
class Readings:
    """Hold a checked readings file.

    ``target_db`` is what the meter reads in a system that is set right, dB re 400 mA/m. ``noise`` was
    measured at a place without a name, and ``response`` at one that is no position. ``points_agreed``: the
    points of a small volume were agreed by contract. ``current`` is in A r.m.s. at 1 kHz. ``trial``: the loop
    was laid to find the loss to metal.
    """

    positions: tuple[Position, ...]
    use: Use = Use.ROOM
    signal: PlayedSignal = PlayedSignal.SINE
    meter: LevelMeter = LevelMeter.RMS
    target_db: float = 0.0
    points_agreed: bool = False
    response: Position | None = None
    noise: Noise = Noise()
    tonal: bool = False
    loop: Loop | None = None
    current: float | None = None
    metal_db: float = 0.0
    trial: bool = False
    user: User | None = None
    date: str = ""
    place: str = ""

    @property
    def measured(self) -> tuple[tuple[Position, float], ...]:
        """Return the points of use whose field was measured, each with it, dB re 400 mA/m."""
        return tuple(
            (each, each.field_db)
            for each in self.positions
            if each.field_db is not None and not each.standing
        )

    @property
    def outside(self) -> frozenset[str]:
        """Return the names of the measured places that lie outside a room's loop, where nobody listens."""
        if self.loop is None or self.use.small:
            return frozenset()
        return frozenset(
            each.name
            for each, _ in self.measured
            if each.x is not None and each.y is not None and not self.loop.contains((each.x, each.y))
        )

    @property
    def levels(self) -> dict[str, float]:
        """Return the field at each of these inside the loop, by name, dB re its target.

        0 is 400 mA/m of a 1 kHz sine.
        """
        return {
            each.name: level - self.target_db
            for each, level in self.measured
            if each.name not in self.outside
        }


def readings_from(data: object, language: str = LANGUAGES[0]) -> Readings:
    """Check a parsed readings file (JSON or TOML) and return it; keys as at the top of the module.

    ``language``: positions without a name are called by their number in it.

    Raises BadInput naming the field, what was seen and what was expected; unknown keys are named too, so
    that a slip of spelling does not pass as "not measured".
    """
    fields = Fields(data, "readings", _TABLE)
    loop, current, metal, trial = fields.take("loop", _loop, (None, None, 0.0, False))
    noise, tonal = fields.take("noise", _noise, (Noise(), False))
    signal = fields.take("signal", PlayedSignal.read, PlayedSignal.SINE)
    meter = fields.take("meter", LevelMeter.read, LevelMeter.RMS)
    positions, elsewhere = _with_response(
        _named(fields.take("positions", _positions, ()), language), fields.take("response", _response, None)
    )
    readings = Readings(
        positions=positions,
        use=fields.take("use", Use.read, Use.ROOM),
        signal=signal,
        meter=meter,
        target_db=fields.take("target_db", number(-40, 40), target_db(signal, meter)),
        points_agreed=fields.take("points_agreed", truth, False),
        response=elsewhere,
        noise=noise,
        tonal=tonal,
        loop=loop,
        current=current,
        metal_db=metal,
        trial=trial,
        user=fields.take("user", _user, None),
        date=fields.take("date", _date, ""),
        place=fields.take("place", _words(200), ""),
    )
    fields.end()
    return readings


_TABLE: Final = Said("expected/table-of-keys")


def _words(most: int) -> Callable[[object, Wording], str]:
    return lambda value, place: line(value, place, most)


def _date(value: object, place: Wording) -> str:
    """Read a day from text, or from a date that TOML has read."""
    return line(value.isoformat() if isinstance(value, Day) else value, place, 40)


def _position(data: object, at: Wording) -> Position:
    fields = Fields(data, at, _TABLE)
    name = fields.take("name", _words(80), "")
    level = _level(fields, inside(at, "field"), "field_db", "field_ma_per_m", -80)
    flux = fields.take("field_ut", number(0, 100, Said("expected/microtesla")), None)
    if flux is not None:
        if level is not None:
            raise BadInput(
                inside(at, "field"),
                Said("seen/two-fields", field="field_ut"),
                Said("expected/one-of-the-two"),
            )
        level = decibels(max(1e-4, flux / MICROTESLA / REFERENCE_A_PER_M))
    off, on = (
        _level(
            fields,
            Said("place/noise-of", place=at, driver=driver),
            f"noise_{driver}_dba",
            f"noise_{driver}_ma_per_m",
            -120,
        )
        for driver in ("off", "on")
    )
    position = Position(
        name=name,
        field_db=level,
        x=fields.take("x_m", number(-100, 100), None),
        y=fields.take("y_m", number(-100, 100), None),
        height=fields.take("height_m", number(0, 3), SEATED_M),
        response=fields.take("response_db", _by_frequency, {}),
        noise=Noise(off, on),
        standing=fields.take("standing", truth, False),
    )
    fields.end()
    if level is None and not position.response and position.noise == Noise():
        raise BadInput(inside(at, "field_ma_per_m"), NOTHING, Said("expected/field-or-db"))
    return position


def _hertz(key: object, place: Wording) -> float:
    """Read a frequency from the key of a table, if it is text."""
    try:
        typed = float(key) if isinstance(key, str) and len(key) <= 12 else math.nan
    except ValueError:
        typed = math.nan
    if not 10 <= typed <= 40_000:
        raise BadInput(place, key, Said("expected/frequency"))
    return typed


_LEVEL_DB: Final = number(-120, 60)
_by_frequency: Final = keyed(_hertz, _LEVEL_DB, MOST_FREQUENCIES)


_positions: Final = listed(_position, MOST_POSITIONS, each="place/position")


def _named(positions: tuple[Position, ...], language: str) -> tuple[Position, ...]:
    """Call each position without a name by its number."""
    seen: dict[str, Position] = {}
    for count, each in enumerate(positions, 1):
        at = Said("place/position", number=count)
        name = each.name or at.in_language(language)
        if name in seen:
            raise BadInput(inside(at, "name"), name, Said("expected/own-position-name"))
        seen[name] = replace(each, name=name)
    return tuple(seen.values())


def _response(data: object, _: Wording) -> Position:
    fields = Fields(data, "response", _TABLE)
    at = fields.take("at", _words(80), "")
    levels = {hertz: fields.take(f"db_{hertz}_hz", _LEVEL_DB, None) for hertz in (100, 1000, 5000)}
    fields.end()
    return Position(
        at, response={float(hertz): level for hertz, level in levels.items() if level is not None}
    )


def _with_response(
    positions: tuple[Position, ...], response: Position | None
) -> tuple[tuple[Position, ...], Position | None]:
    """Put the response of an older file to the position that it names, if there is one."""
    if response is None or not response.response:
        return positions, None
    alone = len(positions) == 1 and not response.name
    for at, each in enumerate(positions):
        if each.name == response.name or alone:
            if each.response:
                raise BadInput(
                    Said("place/position", number=at + 1),
                    Said("seen/both-responses"),
                    Said("expected/one-of-the-two"),
                )
            joined = replace(each, response=response.response)
            return (*positions[:at], joined, *positions[at + 1 :]), None
    return positions, response


def _noise(data: object, _: Wording) -> tuple[Noise, bool]:
    fields = Fields(data, "noise", _TABLE)
    off, on = (
        _level(fields, f"noise, {driver}", f"{driver}_dba", f"{driver}_ma_per_m", -120)
        for driver in ("driver_off", "driver_on")
    )
    tonal = fields.take("tonal", truth, False)
    fields.end()
    return Noise(off, on), tonal


def _loop(data: object, _: Wording) -> tuple[Loop | None, float | None, float, bool]:
    fields = Fields(data, "loop", _TABLE)
    z = fields.take("wire_height_m", number(-5, 10), 0.0)
    turns = fields.take("turns", whole(1, MOST_TURNS), 1)
    outline = listed(spot, MOST_CORNERS, each="place/corner-of")
    corners = fields.take("corners_m", outline, ())
    low, high = SHORTEST_SIDE_M, LONGEST_SIDE_M
    side = number(low, high, Said("expected/number-from-to-unit", low=low, high=high, unit="m"))
    length, width = (
        fields.take(key, side, 0.0) if corners else fields.need(key, side) for key in ("length_m", "width_m")
    )
    current = fields.take("current_a", number(0.001, 100), None)
    metal = fields.take("metal_db", number(0, 30), 0.0)
    trial = fields.take("trial", truth, False)
    fields.end()
    try:
        if corners:
            return Loop.polygon(corners, z=z, turns=turns), current, metal, trial
        return Loop.rectangle(length, width, z=z, turns=turns), current, metal, trial
    except BadInput as trouble:
        raise trouble.within("loop") from None


def _user(data: object, _: Wording) -> User:
    fields = Fields(data, "user", _TABLE)
    user = User(fields.take("satisfied", truth, None), fields.take("words", note, ""))
    fields.end()
    return user


def _level(fields: Fields, at: Wording, db_key: str, field_key: str, lowest: float) -> float | None:
    """Return a level in dB re 400 mA/m that is given in dB or as a field in mA/m; both must not be there."""
    level = fields.take(
        db_key,
        lambda value, _: bounded(
            value, Said("place/with-key", place=at, key=db_key), low=lowest, high=48, unit="dB"
        ),
        None,
    )
    field = fields.take(
        field_key,
        lambda value, _: bounded(
            value, Said("place/with-key", place=at, key=field_key), low=0, high=1e5, unit="mA/m"
        ),
        None,
    )
    if field is None:
        return level
    if level is not None:
        raise BadInput(
            at, Said("seen/two-options", option=db_key, other=field_key), Said("expected/one-of-the-two")
        )
    least = 1000 * REFERENCE_A_PER_M * ratio(lowest)
    # a meter that shows zero is below its range, not at minus infinity
    return decibels(max(field, least) / (1000 * REFERENCE_A_PER_M))
