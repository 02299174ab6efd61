"""Locate a fault when readings differ from the computed field.

No field at all points at the loop's wire or the driver. A field too low everywhere points at the drive; low
at one place, at wire or metal there. A steady fall across the room points at a wire that lies deeper on one
side. The first two need few places, the next three, and the last five; a weaker pattern gives no finding.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from kb.base.errors import BadInput
from kb.loop.decibels import ratio
from kb.loop.field import level_db, vertical_h
from kb.loop.geometry import Spot
from kb.loop.readings_file import Noise, Readings
from kb.loop.sentences import Amount, Digits, Key, Sentence
from kb.loop.standard import (
    RESPONSE_DB,
    RESPONSE_HZ,
    at_most,
    noise_on_limit_dba,
    site_noise,
)

#: More than this below 400 mA/m there is no real field, only noise and stray speech, dB (common practice).
NO_LOOP_DB: Final = -25.0
#: A hand-held meter differs this much from the computed field without any fault, dB (common practice).
METER_DB: Final = 2.0
#: One place this much below the others is a fault of that place, dB (common practice).
ODD_DB: Final = 3.0


@dataclass(frozen=True)
class Compared:
    """Measured against computed at one place, dB re 400 mA/m; ``spot`` is (x, y) in metres.

    Both are for a 1 kHz sine: a reading of another signal counts from what it should read.
    """

    name: str
    measured_db: float
    computed_db: float
    spot: Spot

    @property
    def difference(self) -> float:
        """Measured less computed, dB."""
        return self.measured_db - self.computed_db


def diagnose(readings: Readings) -> tuple[Sentence, ...]:
    """Return the likely faults that the readings show: places first, then response, then noise.

    A trial loop shows what metal does, so that its level and response are no faults.
    """
    if readings.trial:
        return tuple(_noise_faults(readings))
    inside = [each for each in compared(readings) if each.name not in readings.outside]
    return (
        *_place_faults(readings, inside),
        *_response_faults(readings),
        *_noise_faults(readings),
    )


def compared(readings: Readings) -> tuple[Compared, ...]:
    """Return measured against computed where place and loop are known; without a current, for 1 A."""
    if readings.loop is None:
        return ()
    current = readings.current if readings.current is not None else 1.0
    found = []
    for each, measured in readings.measured:
        if each.x is None or each.y is None:
            continue
        try:
            field = vertical_h(readings.loop, (each.x, each.y, each.height)) * current
        except BadInput as trouble:
            raise trouble.within(each.name) from None
        # the meter shows no sign, so the field's amount is compared
        level = level_db(abs(field)) - readings.metal_db
        found.append(Compared(each.name, measured - readings.target_db, level, (each.x, each.y)))
    return tuple(found)


def _place_faults(readings: Readings, pairs: Sequence[Compared]) -> list[Sentence]:
    """Say what pattern the field shows: level everywhere, one odd place, or a tilt.

    The level is the median of the differences, which one bad place cannot move. With no computed field
    the readings themselves are looked at, for level only, since they need not be equal.
    """
    faults: list[Sentence] = []
    levels = readings.levels.values()
    if levels and max(levels) < NO_LOOP_DB:
        return [Sentence("loop/fault/no-field")]
    if readings.current is not None and pairs:
        level = statistics.median(each.difference for each in pairs)
        if abs(level) > METER_DB and (len(pairs) < 3 or _agree(pairs, level)):
            faults.append(_not_as_computed(level, readings.current))
    if levels and not faults:
        level = statistics.median(levels)
        if not at_most(abs(level), readings.use.tolerance_db):
            faults.append(_level_fault(level, readings.current))
    return faults + _pattern(pairs)


def _agree(pairs: Sequence[Compared], level: float) -> bool:
    """Whether more than half of the places lie near the common level, so that there is one level."""
    return sum(abs(each.difference - level) <= METER_DB for each in pairs) > len(pairs) / 2


def _not_as_computed(level: float, current: float) -> Sentence:
    """Say that the stated current gives another field than computed, by ``level`` dB.

    More drive is not the first remedy: the field is too small for the current that flows, or the current does
    not flow.
    """
    half = Key("loop/half") if abs(abs(level) - 6.02) < 1 else ""
    values = {"off": Digits(abs(level)), "current": Amount(current), "half": half}
    return Sentence(f"loop/fault/drive-{_way(level)}/computed", values)


def _way(level: float) -> str:
    return "low" if level < 0 else "high"


def _level_fault(level: float, current: float | None) -> Sentence:
    """Say that the level is off by ``level`` dB, and which current in A would put it right."""
    right: Sentence | str = ""
    if current:
        right = Sentence("loop/right", {"current": Amount(current * ratio(-level))})
    return Sentence(f"loop/fault/drive-{_way(level)}", {"off": Digits(abs(level)), "right": right})


def _pattern(pairs: Sequence[Compared]) -> list[Sentence]:
    if len(pairs) < 3:
        return []  # two places cannot tell which of them is wrong
    level = statistics.median(each.difference for each in pairs)
    rest = {each.name: each.difference - level for each in pairs}
    odd = [name for name, value in rest.items() if abs(value) > ODD_DB]
    others = [value for name, value in rest.items() if name not in odd]
    lone = len(odd) == 1 and max(others) - min(others) <= METER_DB
    # one bad corner drags a plane along with it: report a lone odd place as such
    tilt = None if lone else _tilt(pairs)
    if tilt:
        return [tilt]
    if len(odd) > len(rest) / 3:
        return [Sentence("loop/fault/uneven", where=tuple(odd))]
    found = {way: tuple(name for name in odd if _way(rest[name]) == way) for way in ("low", "high")}
    return [Sentence(f"loop/fault/{way}-at-place", where=where) for way, where in found.items() if where]


def _tilt(pairs: Sequence[Compared]) -> Sentence | None:
    """Return a tilt when a plane through the differences explains most of them and drops 3 dB or more.

    Needs five places that do not lie on one line; fewer would fit a plane to chance.
    """
    if len(pairs) < 5:
        return None
    dx, dy, dz = (
        _off_mean(values) for values in zip(*((*each.spot, each.difference) for each in pairs), strict=True)
    )
    xx, yy, xy = _dot(dx, dx), _dot(dy, dy), _dot(dx, dy)
    determinant = xx * yy - xy * xy
    if determinant <= 1e-6 * xx * yy:
        return None
    slope_x = (_dot(dx, dz) * yy - _dot(dy, dz) * xy) / determinant
    slope_y = (_dot(dy, dz) * xx - _dot(dx, dz) * xy) / determinant
    fitted = [slope_x * x + slope_y * y for x, y in zip(dx, dy, strict=True)]
    drop = max(fitted) - min(fitted)
    if not at_most(ODD_DB, drop) or _dot(fitted, fitted) < 0.8 * _dot(dz, dz):
        return None
    order = sorted(zip(fitted, pairs, strict=True), key=lambda one: one[0])
    return Sentence("loop/fault/tilt", {"drop": Digits(drop)}, tuple(each.name for _, each in order[:2]))


def _off_mean(values: Sequence[float]) -> list[float]:
    mean = statistics.fmean(values)
    return [value - mean for value in values]


def _dot(a: Sequence[float], b: Sequence[float]) -> float:
    return math.fsum(x * y for x, y in zip(a, b, strict=True))


def _response_faults(readings: Readings) -> list[Sentence]:
    points = [each for each in (*readings.positions, readings.response) if each is not None]
    where: dict[tuple[str, str], list[str]] = {}
    for point in points:
        levels = point.response_re_1_khz()
        for end, hertz in zip(("bass", "treble"), RESPONSE_HZ, strict=True):
            level = levels.get(hertz)
            if level is not None and not at_most(abs(level), RESPONSE_DB):
                where.setdefault((end, _way(level)), []).append(point.name)
    order = sorted(where, key=lambda fault: fault[0], reverse=True)  # metal shows first at 5 kHz
    return [Sentence(f"loop/fault/{end}-{way}", where=tuple(where[end, way])) for end, way in order]


def _noise_faults(readings: Readings) -> list[Sentence]:
    points = {each.name: each.noise for each in readings.positions if each.noise != Noise()}
    if readings.noise != Noise():
        points[""] = readings.noise
    offs = {name: noise.off for name, noise in points.items() if noise.off is not None}
    worst = max(offs.values(), default=-math.inf)
    found = []
    if site_noise(worst, tonal=readings.tonal).report:
        found.append(Sentence("loop/fault/noise-outside"))
    loud = [
        name
        for name, noise in points.items()
        if noise.on is not None and not at_most(noise.on, noise_on_limit_dba(offs.get(name, worst), worst))
    ]
    if loud:
        found.append(Sentence("loop/fault/noise-driver", where=tuple(filter(None, loud))))
    return found
