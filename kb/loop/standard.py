"""Hold the limits and rules of IEC 60118-4 that the judgements use.

All of them are second-hand: they were read in a public copy of BS EN 60118-4:2015 and of Amendment 1
of 2017, never in the standard itself. The clause stands beside each number, and ``source`` says "second-hand"
wherever a clause is shown. Levels are dB re 400 mA/m.

>>> target_db(PlayedSignal.PINK, LevelMeter.RMS)
-6.0
>>> site_noise(-47.01), site_noise(-32).report, site_noise(-31.99).report
(<SiteNoise.IDEAL: 'ideal'>, False, True)
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import Enum
from typing import TYPE_CHECKING, Final

from kb.domain.words import Word
from kb.loop.decibels import decibels, ratio

if TYPE_CHECKING:
    from kb.loop.wire import Load

STANDARD: Final = "IEC 60118-4:2014+A1:2017"

#: 0 dB: the highest r.m.s. level with 125 ms averaging, A/m (cl. 3.1; the 125 ms: cl. 6.1.3).
REFERENCE_A_PER_M: Final = 0.4
#: Flux density of 1 A/m in air, microtesla: 0.4 pi (E.6 prints 1.256).
MICROTESLA: Final = 0.4 * math.pi
#: The field at every selected point of a room, dB either way (cl. 8.4.3); see ``Use.tolerance_db``.
TOLERANCE_DB: Final = 3.0
#: The response at every selected point, dB either way re its own 1 kHz (cl. 8.3.7).
RESPONSE_DB: Final = 3.0
#: The response counts from here to there, Hz, ends included (cl. 8.3.3 and 8.3.4).
RESPONSE_HZ: Final = (100.0, 5000.0)
RESPONSE_REFERENCE_HZ: Final = 1000.0
#: Noise of the site (driver off), dB(A): below the first it is ideal, to the second acceptable, to the third
#: bearable for short periods (cl. 7.2, a recommendation).
IDEAL_DBA: Final = -47.0
ACCEPTABLE_DBA: Final = -32.0
SHORT_PERIODS_DBA: Final = -22.0
#: What the driver may add to the noise of a site that is not better than ``IDEAL_DBA``, dB (cl. 10.4.7).
DRIVER_ADDS_DB: Final = 1.0
#: The overload test is made this far below the required field, dB (cl. 10.3.2).
CALM_DB: Final = 7.0
#: A small volume (counter, refuge): every point, dB either way, and the most where people stand (cl. 9.5).
SMALL_DB: Final = 6.0
STANDING_DB: Final = 8.0
#: A reading that was typed as the limit itself is within it, whatever binary arithmetic makes of it.
SLACK: Final = 1e-9


def at_most(level: float, limit: float) -> bool:
    """Return whether a level is no higher than a limit, but for rounding.

    >>> at_most(0.1 + 0.2, 0.3), at_most(0.31, 0.3)
    (True, False)
    """
    return level <= limit + SLACK


def source(clause: str) -> str:
    """Return the words that name a clause and its source."""
    return f"{STANDARD} cl. {clause} (second-hand)"


class PlayedSignal(Word):
    """Name the signal played while the field was measured (cl. 6)."""

    SINE = "sine", "1 kHz sine"
    PINK = "pink", "pink noise"
    SPEECH = "speech", "speech-like signal"
    COMBI = "combi", "sine and noise in turn"


class LevelMeter(Word):
    """Name the meter's averaging: r.m.s. over 125 ms (cl. 6.1.3), or a peak programme meter (cl. 6.1.4)."""

    RMS = "rms", "r.m.s. meter"
    PROGRAMME = "peak-programme", "peak programme meter"


class Channel(Word):
    """Name the channel of a recording that the coil is connected to."""

    LEFT = "left"
    RIGHT = "right"


class Probe(Word):
    """Name the probe: flat, or a bare coil, whose voltage rises by 6 dB an octave (law of induction)."""

    FLAT = "flat", "flat probe"
    COIL = "coil", "bare coil"


class Use(Word):
    """Name the use of the loop: a room (cl. 8) or a small volume (cl. 9)."""

    ROOM = "room"
    COUNTER = "counter"
    REFUGE = "refuge"
    CHAIR = "chair"

    @property
    def small(self) -> bool:
        """Return whether the limits of a small volume apply (cl. 9.5)."""
        return self is not Use.ROOM

    @property
    def tolerance_db(self) -> float:
        """Return the greatest allowed difference of a point from its target, dB."""
        return SMALL_DB if self.small else TOLERANCE_DB

    @property
    def points(self) -> tuple[tuple[float, int], ...]:
        """Heights in metres with the points that each must have at least.

        Counter: cl. 9.3, Fig. 3. Refuge or call point: cl. 9.2, Fig. 2. The copy has no figure for a chair:
        its points are agreed (cl. 9.4), and one at least lies at the height of people who sit (cl. 7.1; own
        choice).
        """
        return {
            Use.ROOM: (),
            Use.COUNTER: ((1.2, 3), (1.45, 3), (1.7, 3)),
            Use.REFUGE: ((1.2, 6), (1.7, 6)),
            Use.CHAIR: ((1.2, 1),),
        }[self]

    @property
    def figure(self) -> tuple[tuple[float, float], ...]:
        """Points seen from above, metres to the side of the source and in front of it; () without a figure.

        Counter: 300 mm away, straight ahead and 150 mm to each side (Fig. 3 a). Refuge: 300 and 500 mm
        away, at 0 and 45 degrees (Fig. 2 a).
        """
        if self is Use.COUNTER:
            ahead = math.sqrt(0.3**2 - 0.15**2)
            return (0.0, 0.3), (-0.15, ahead), (0.15, ahead)
        if self is Use.REFUGE:
            slant = math.sqrt(0.5)
            return tuple(
                (radius * side * slant, radius * (slant if side else 1.0))
                for radius in (0.3, 0.5)
                for side in (0, -1, 1)
            )
        return ()

    @property
    def programme(self) -> Programme:
        """Return the usual programme: speech, and speech for short use at a counter or refuge (Table 4)."""
        return Programme.SHORT if self.figure else Programme.SPEECH


def target_db(signal: PlayedSignal, meter: LevelMeter) -> float:
    """Return the meter's reading in a correctly set system, dB re 400 mA/m (Table 3)."""
    return -6.0 if (signal, meter) == (PlayedSignal.PINK, LevelMeter.RMS) else 0.0


class SiteNoise(Enum):
    """Name the class of a site's noise by cl. 7.2; it does not decide if the loop meets the standard."""

    IDEAL = "ideal"
    ACCEPTABLE = "acceptable"
    SHORT_PERIODS = "short-periods"
    NOT_TOLERABLE = "not-tolerable"

    @property
    def report(self) -> bool:
        """Return whether the noise has to be reported to the operator and agreed with them."""
        return self in (SiteNoise.SHORT_PERIODS, SiteNoise.NOT_TOLERABLE)


def site_noise(level_dba: float, *, tonal: bool = False) -> SiteNoise:
    """Return the class of the site's noise, dB(A) re 400 mA/m at the noisiest point (cl. 7.2).

    ``tonal``: the noise has a marked tone, so it cannot be borne even for short periods.
    """
    if level_dba < IDEAL_DBA:
        return SiteNoise.IDEAL
    if level_dba <= ACCEPTABLE_DBA:
        return SiteNoise.ACCEPTABLE
    if level_dba <= SHORT_PERIODS_DBA and not tonal:
        return SiteNoise.SHORT_PERIODS
    return SiteNoise.NOT_TOLERABLE


def noise_on_limit_dba(off_dba: float, worst_off_dba: float) -> float:
    """Return the most that a point may have with the driver on, dB(A) (cl. 10.4.7).

    ``off_dba`` is the point's own level with the driver off, ``worst_off_dba`` that of the noisiest point. At
    exactly -47 dB neither sentence of the clause holds; the 1 dB rule is the choice of the copy's author.
    """
    return IDEAL_DBA if worst_off_dba < IDEAL_DBA else off_dba + DRIVER_ADDS_DB


class Programme(Word):
    """Name the programme of the loop. It decides at which frequency the driver must not clip (Table 4)."""

    SPEECH = "speech"
    MUSIC = "music"
    SHORT = "short-use", "speech for short use"

    @property
    def test_hz(self) -> float:
        """Return the frequency of the overload test, Hz (Table 4)."""
        return {Programme.SPEECH: 3150.0, Programme.MUSIC: 4000.0, Programme.SHORT: 2500.0}[self]


def overload_current_a(current_a: float) -> float:
    """Return the current of the overload test for a loop that needs ``current_a`` (cl. 10.3.2)."""
    return current_a * ratio(-CALM_DB)


def overload_voltage_v(load: Load, current_a: float, programme: Programme) -> float:
    """Return the voltage at which the driver must not clip, V r.m.s. (cl. 10.3.3)."""
    return load.voltage(overload_current_a(current_a), programme.test_hz)


@dataclass(frozen=True)
class Quadrature:
    """Hold what a wrong phase between two loops does to the field, at most up and down, dB."""

    up_db: float
    down_db: float


def quadrature(degrees: float) -> Quadrature:
    """Return the error of a phase between two loops; 90 and -90 degrees have none (IEC 62489-1, 5.4.14.1)."""
    share = abs(math.cos(math.radians(degrees)))
    down = decibels(max(1e-9, 1 - share))
    return Quadrature(decibels(1 + share), down)
