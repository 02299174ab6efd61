"""Find where the fault lies when readings differ from what was computed.

No field at all points at the loop's wire or the driver; too low everywhere at the drive; low at one place
at wire or metal there; a steady fall across the room at a wire that lies deeper on one side. Few places are
enough for the first two, three for the next and five for the last: what a pattern cannot carry is not said.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from kb.base.errors import BadInput
from kb.loop.field import vertical_h
from kb.loop.readings_file import Noise, Readings
from kb.loop.standard import (
    IDEAL_DBA,
    REFERENCE_A_PER_M,
    RESPONSE_DB,
    RESPONSE_HZ,
    SLACK,
    noise_on_limit_dba,
    site_noise,
)

#: So far below 400 mA/m there is no field to speak of: noise and speech that strays, dB (common practice).
NO_LOOP_DB: Final = -25.0
#: A hand-held meter differs this much from the computed field without any fault, dB (common practice).
METER_DB: Final = 2.0
#: One place this much below the others is a fault of that place, dB (common practice).
ODD_DB: Final = 3.0


@dataclass(frozen=True)
class Diagnosis:
    """A likely fault: code, sentence, and the names of the places it shows at."""

    code: str
    text: str
    where: tuple[str, ...] = ()


@dataclass(frozen=True)
class Compared:
    """Measured against computed at one place, dB re 400 mA/m; ``difference`` is measured less computed.

    Both are for a 1 kHz sine: a reading of another signal counts from what it should read.
    """

    name: str
    measured_db: float
    computed_db: float

    @property
    def difference(self) -> float:
        """Measured less computed, dB."""
        return self.measured_db - self.computed_db


def diagnose(readings: Readings) -> tuple[Diagnosis, ...]:
    """Return the likely faults that the readings show: places first, then response, then noise."""
    return (
        *_place_faults(readings, compared(readings)),
        *_response_faults(readings),
        *_noise_faults(readings),
    )


def compared(readings: Readings) -> tuple[Compared, ...]:
    """Return measured against computed where place and loop are known; without a current, for 1 A."""
    if readings.loop is None:
        return ()
    current = readings.current if readings.current is not None else 1.0
    found = []
    for each in readings.measured:
        if each.x is None or each.y is None:
            continue
        try:
            field = vertical_h(readings.loop, (each.x, each.y, each.height)) * current
        except BadInput as trouble:
            raise trouble.within(f"position {each.name}") from None
        # the meter shows no sign, so the field's amount is compared
        if abs(field) > 1e-6:
            level = 20 * math.log10(abs(field) / REFERENCE_A_PER_M) - readings.metal_db
            found.append(Compared(each.name, readings.levels[each.name], level))
    return tuple(found)


def _place_faults(readings: Readings, pairs: Sequence[Compared]) -> list[Diagnosis]:
    """Say what pattern the field shows: level everywhere, one odd place, or a tilt.

    The level is the median of the differences, which one bad place cannot move. With no computed field
    the readings themselves are looked at, for level only, since they need not be equal.
    """
    faults: list[Diagnosis] = []
    levels = readings.levels.values()
    if levels and max(levels) < NO_LOOP_DB:
        return [
            Diagnosis(
                "no-field",
                "No field to speak of at any place: driver on, signal at its input, both ends of the "
                "wire bare under the terminals? 'jackfield isolate --complaint no-sound' asks one by "
                "one.",
            )
        ]
    if readings.current is not None and pairs:
        level = statistics.median(each.difference for each in pairs)
        if abs(level) > METER_DB and (len(pairs) < 3 or _agree(pairs, level)):
            faults.append(_not_as_computed(level, readings.current))
    if levels and not faults:
        level = statistics.median(levels)
        if abs(level) > readings.use.tolerance_db:
            faults.append(_level_fault(level, readings.current))
    return faults + _pattern(readings, pairs)


def _agree(pairs: Sequence[Compared], level: float) -> bool:
    """Whether more than half of the places lie near the common level, so that there is one level."""
    return sum(abs(each.difference - level) <= METER_DB for each in pairs) > len(pairs) / 2


def _not_as_computed(level: float, current: float) -> Diagnosis:
    """Say that the current that was told gives another field than computed, by ``level`` dB.

    More drive is not the first thing here: the field is too small for the current that flows, or it does
    not flow.
    """
    half = " (6 dB is a factor of two)" if abs(abs(level) - 6.02) < 1 else ""
    if level < 0:
        return Diagnosis(
            "drive-low",
            f"Too low everywhere, {-level:.1f} dB below what {current:.2f} A should give. See first "
            "that this current flows (drive turned down, driver at its limit). If it does: fewer "
            f"turns than counted{half}, turns that touch, a wire farther away than drawn, or metal "
            "under the whole room.",
        )
    return Diagnosis(
        "drive-high",
        f"Too high everywhere, {level:.1f} dB above what {current:.2f} A should give: measure the "
        f"current again; more turns than counted{half}, or a wire nearer than drawn.",
    )


def _level_fault(level: float, current: float | None) -> Diagnosis:
    """Say that the level is off by ``level`` dB, and which current in A would put it right."""
    right = f" to about {current * 10 ** (-level / 20):.2f} A" if current else ""
    if level < 0:
        return Diagnosis(
            "drive-low",
            f"Too low everywhere, {-level:.1f} dB below 400 mA/m: turn up the drive{right}. If it "
            "does not rise, look at the source's level and the driver's limit; 'jackfield loop' "
            "tells which wire and turns it manages.",
        )
    return Diagnosis(
        "drive-high", f"Too high everywhere, {level:.1f} dB above 400 mA/m: turn down the drive{right}."
    )


def _pattern(readings: Readings, pairs: Sequence[Compared]) -> list[Diagnosis]:
    if len(pairs) < 3:
        return []  # two places cannot tell which of them is wrong
    level = statistics.median(each.difference for each in pairs)
    rest = {each.name: each.difference - level for each in pairs}
    odd = [name for name, value in rest.items() if abs(value) > ODD_DB]
    others = [value for name, value in rest.items() if name not in odd]
    lone = len(odd) == 1 and max(others) - min(others) <= METER_DB
    # one bad corner drags a plane along with it: a lone odd place is told as what it is
    tilt = None if lone else _tilt(readings, rest)
    if tilt:
        return [tilt]
    if len(odd) > len(rest) / 3:
        return [
            Diagnosis(
                "uneven",
                "The places differ from the computed field in no simple pattern: check that the wire lies as "
                "drawn, that places and heights are right, and look for metal.",
                tuple(odd),
            )
        ]
    low = tuple(name for name in odd if rest[name] < 0)
    high = tuple(name for name in odd if rest[name] > 0)
    found = []
    if low:
        found.append(
            Diagnosis(
                "low-at-place",
                "Low here only, against the other places. Measure there again; then look whether the "
                "wire strays from the plan there, or metal lies near (pipe, grid, reinforcement, "
                "appliance).",
                low,
            )
        )
    if high:
        found.append(
            Diagnosis(
                "high-at-place",
                "High here only, against the other places. Measure there again; then look whether "
                "the wire or the feed passes nearer than planned, or the feed is not twisted.",
                high,
            )
        )
    return found


def _tilt(readings: Readings, rest: Mapping[str, float]) -> Diagnosis | None:
    """Return a tilt when a plane through the differences explains most of them and drops 3 dB or more.

    Needs five places that do not lie on one line; fewer would fit a plane to chance.
    """
    places = [p for p in readings.positions if p.name in rest and p.x is not None and p.y is not None]
    if len(places) < 5:
        return None
    xs, ys, zs = [p.x or 0.0 for p in places], [p.y or 0.0 for p in places], [rest[p.name] for p in places]
    mx, my, mz = statistics.fmean(xs), statistics.fmean(ys), statistics.fmean(zs)
    dx, dy, dz = [x - mx for x in xs], [y - my for y in ys], [z - mz for z in zs]
    xx, yy, xy = _dot(dx, dx), _dot(dy, dy), _dot(dx, dy)
    determinant = xx * yy - xy * xy
    if determinant <= 1e-6 * xx * yy or determinant <= 0:
        return None
    slope_x = (_dot(dx, dz) * yy - _dot(dy, dz) * xy) / determinant
    slope_y = (_dot(dy, dz) * xx - _dot(dx, dz) * xy) / determinant
    fitted = [slope_x * x + slope_y * y for x, y in zip(dx, dy, strict=True)]
    total = _dot(dz, dz)
    drop = max(fitted) - min(fitted)
    if drop < ODD_DB or total <= 0 or _dot(fitted, fitted) / total < 0.8:
        return None
    lowest = [places[number].name for number in sorted(range(len(places)), key=lambda n: fitted[n])[:2]]
    return Diagnosis(
        "tilt",
        f"The field falls off steadily across the room, {drop:.1f} dB against the computed: on the low side "
        "the wire lies farther away than drawn, or metal lies under that side.",
        tuple(lowest),
    )


def _dot(a: Sequence[float], b: Sequence[float]) -> float:
    return math.fsum(x * y for x, y in zip(a, b, strict=True))


_RESPONSE: Final = {
    ("treble", "low"): "Low at 5 kHz: the loop's inductance asks for more voltage than the driver has (fewer "
    "turns, a smaller loop, more voltage), or metal takes the high tones.",
    ("treble", "high"): "High at 5 kHz: a treble or metal correction in the driver, or a tone setting in the "
    "source, is set too far.",
    ("bass", "low"): "Low at 100 Hz: a low cut or tone setting in source or driver, or an isolating "
    "transformer too small.",
    (
        "bass",
        "high",
    ): "High at 100 Hz: a bass or loudness setting in the source, or hum that adds to the tone.",
}


def _response_faults(readings: Readings) -> list[Diagnosis]:
    points = [each for each in (*readings.positions, readings.response) if each is not None]
    where: dict[tuple[str, str], list[str]] = {}
    for point in points:
        levels = point.response_re_1_khz()
        for end, hertz in zip(("bass", "treble"), RESPONSE_HZ, strict=True):
            level = levels.get(hertz, 0.0)
            if abs(level) > RESPONSE_DB + SLACK:
                where.setdefault((end, "low" if level < 0 else "high"), []).append(point.name)
    order = sorted(where, key=lambda fault: fault[0], reverse=True)  # metal shows first at 5 kHz
    return [Diagnosis(f"{end}-{way}", _RESPONSE[end, way], tuple(where[end, way])) for end, way in order]


def _noise_faults(readings: Readings) -> list[Diagnosis]:
    points = {each.name: each.noise for each in readings.positions if each.noise != Noise()}
    if readings.noise != Noise():
        points[""] = readings.noise
    offs = {name: noise.off for name, noise in points.items() if noise.off is not None}
    worst = max(offs.values(), default=None)
    found = []
    if worst is not None and site_noise(worst, tonal=readings.tonal).report:
        found.append(
            Diagnosis(
                "noise-outside",
                "Noise with the driver off comes from elsewhere: mains wiring, dimmers, chargers, floor "
                "heating, or somebody else's loop (then you hear its programme). Switch these off one by "
                "one; faults in mains wiring belong to a licensed electrician.",
            )
        )
    loud = [
        name
        for name, noise in points.items()
        if noise.on is not None
        and noise.on
        > (IDEAL_DBA if worst is None else noise_on_limit_dba(offs.get(name, IDEAL_DBA), worst)) + SLACK
    ]
    if loud:
        found.append(
            Diagnosis(
                "noise-driver",
                "Noise comes with the driver: a ground loop from the source (isolating transformer or "
                "optical output), gain too high, or wire beside mains.",
                tuple(filter(None, loud)),
            )
        )
    return found
