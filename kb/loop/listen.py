"""Turn recordings taken through a coil at one place into readings.

A recording holds no absolute level. Only if one of them was taken while a field meter was read is anything
here in dB re 400 mA/m; else levels count from the signal that was recorded, and no reading of the field or of
the noise is made of them. All recordings have to be made with the same gain.

Needs numpy and scipy, the extra ``jackfield[listen]``; only the command that listens imports this module.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Final

import numpy as np
from scipy import signal

from kb.base.errors import NOTHING, BadInput, Stated
from kb.base.messages import Said
from kb.base.validation import bounded
from kb.loop.decibels import decibels
from kb.loop.sentences import Digits, Hertz, Sentence
from kb.loop.standard import REFERENCE_A_PER_M, RESPONSE_REFERENCE_HZ, LevelMeter, PlayedSignal, target_db
from kb.loop.tone import RATE_HZ, noise_sections
from kb.loop.wav_recording import BANDS_HZ, MainsNoise, Recording, bands_db

#: Least lengths, seconds: long enough for the meter to settle, for a cycle of sine and noise, and for a third
#: octave at 100 Hz to be right within some 0.3 dB (own choice).
SINE_S: Final = 2.0
NOISE_S: Final = 10.0
#: A band counts if the noise is so much lower in it, dB (common practice).
CLEAR_DB: Final = 10.0
#: A steady sine varies less than this, dB (own choice).
STEADY_DB: Final = 1.0
#: A bare coil that was taken for a flat probe shows this much from 100 Hz to 5 kHz: 34 dB; half of it is a
#: hint (own choice).
_RISING_DB: Final = 17.0


@dataclass(frozen=True)
class Recorded:
    """Hold the recordings of one place, each None if it was not made.

    ``sine``, ``combi`` and ``pink`` are the signals of ``kb.loop.tone``; ``off`` and ``on`` are noise with
    the driver off and with it on and its inputs muted. ``calibration`` is a steady 1 kHz sine, and
    ``calibration_a_per_m`` the field that a meter read meanwhile. ``source`` is the pink noise that was
    played, if it is not ours.
    """

    sine: Recording | None = None
    combi: Recording | None = None
    pink: Recording | None = None
    off: Recording | None = None
    on: Recording | None = None
    calibration: Recording | None = None
    calibration_a_per_m: float | None = None
    source: Recording | None = None


@dataclass(frozen=True)
class NoiseHeard:
    """Hold an A-weighted noise.

    ``dba`` is re 400 mA/m, None without a calibration. ``re_signal_db`` is against the signal at the same
    place (pink noise as a sine of the same setting, Table 3), None if no signal was recorded. ``mains`` is
    its part from the mains.
    """

    dba: float | None
    re_signal_db: float | None
    mains: MainsNoise


@dataclass(frozen=True)
class Heard:
    """Hold the result of listening at one place.

    ``signal`` is the one whose level counts (None: none was recorded). ``field_db`` is its highest 125 ms
    level re 400 mA/m, None without a calibration; ``full_scale_db`` the same re the largest sine that the
    file can hold. ``response`` is in dB re 1 kHz, by Hz; ``hidden`` are the frequencies that noise hides.
    """

    signal: PlayedSignal | None
    full_scale_db: float | None
    field_db: float | None
    response: Mapping[float, float]
    hidden: tuple[float, ...] = ()
    noise: Mapping[str, NoiseHeard] = field(default_factory=dict)
    notes: tuple[Sentence, ...] = ()
    calibrated: bool = False

    @property
    def readings(self) -> bool:
        """Return whether there is anything for a readings file, which holds no relative level."""
        measured = self.field_db is not None or any(each.dba is not None for each in self.noise.values())
        return measured or bool(self.response)

    def as_json(self) -> dict[str, object]:
        """Return plain values for JSON; null where a level would be relative."""
        return {
            "calibrated": self.calibrated,
            "signal": self.signal,
            "level_db_re_full_scale_sine": self.full_scale_db,
            "field_db_re_400_ma_per_m": self.field_db,
            "response_db_re_1_khz": {f"{hertz:g}": level for hertz, level in self.response.items()},
            "hidden_by_noise_hz": list(self.hidden),
            "noise": {
                driver: {
                    "dba_re_400_ma_per_m": each.dba,
                    "dba_re_signal": each.re_signal_db,
                    "kind": each.mains.kind,
                    "mains_hz": each.mains.mains_hz,
                    "lines": [
                        {"hertz": line.hertz, "db_re_noise": line.level_db} for line in each.mains.lines
                    ],
                }
                for driver, each in self.noise.items()
            },
            "notes": [{"code": each.code, "text": each.text} for each in self.notes],
        }


def hear(recorded: Recorded) -> Heard:
    """Return the levels, the response and the noise of recordings.

    Raises BadInput, naming the file, if a calibration is no steady 1 kHz sine, or the field is out of range.
    """
    kept = [
        each for each in (recorded.sine, recorded.combi, recorded.pink, recorded.off, recorded.on) if each
    ]
    if not kept:
        raise BadInput("recording", NOTHING, Said("expected/at-least-one-recording"))
    notes: list[Sentence] = []
    gain = _gain_db(recorded)
    if gain is None:
        notes.append(Sentence("loop/heard/relative"))
    played, level = _level(recorded, notes)
    meter = level if gain is None or level is None else level + gain
    # where a system that is set right has its level with this signal
    zero = None if level is None or played is None else level - target_db(played, LevelMeter.RMS)
    noise = {
        driver: _noise(each, gain, zero)
        for driver, each in (("off", recorded.off), ("on", recorded.on))
        if each
    }
    for driver, each in noise.items():
        if each.mains.mains_hz is not None:
            key = f"loop/heard/{each.mains.kind.value}"
            values = {
                "driver": Sentence(f"loop/heard/driver-{driver}"),
                "hertz": Hertz(round(each.mains.mains_hz)),
            }
            notes.append(Sentence(key, values))
    response, hidden = _response(recorded, notes)
    return Heard(
        signal=played,
        full_scale_db=None if level is None else level + 10 * math.log10(2),
        field_db=None if gain is None else meter,
        response=response,
        hidden=hidden,
        noise=noise,
        notes=tuple(notes),
        calibrated=gain is not None,
    )


def _is_1_khz(pitch: float) -> bool:
    """Whether a sine counts as one of 1 kHz: within a tenth (own choice)."""
    return 900 <= pitch <= 1100


def _gain_db(recorded: Recorded) -> float | None:
    """What has to be added to a level for dB re 400 mA/m."""
    sound, amount = recorded.calibration, recorded.calibration_a_per_m
    if sound is None or amount is None:
        return None
    bounded(amount, "calibration", low=1e-3, high=100, unit="A/m")
    pitch, spread = sound.pitch_hz(), sound.spread_db()
    if not _is_1_khz(pitch) or spread > STEADY_DB:
        said = Stated("error/no-steady-sine", pitch=f"{pitch:.0f}", spread=f"{spread:.1f}")
        raise BadInput(sound.name, said, Said("do/record-steady-sine"))
    return decibels(amount / REFERENCE_A_PER_M) - sound.highest_db()


def _level(recorded: Recorded, notes: list[Sentence]) -> tuple[PlayedSignal | None, float | None]:
    """The signal that counts and its highest 125 ms level; the sine first, since it defines the field."""
    for played, sound in (
        (PlayedSignal.SINE, recorded.sine),
        (PlayedSignal.COMBI, recorded.combi),
        (PlayedSignal.PINK, recorded.pink),
    ):
        if sound is None:
            continue
        if played is PlayedSignal.SINE:
            if (spread := sound.spread_db()) > STEADY_DB:
                notes.append(Sentence("loop/heard/unsteady", {"spread": Digits(spread)}))
            if not _is_1_khz(pitch := sound.pitch_hz()):
                notes.append(Sentence("loop/heard/pitch", {"hertz": Hertz(round(pitch))}))
        return played, sound.highest_db()
    return None, None


def _noise(sound: Recording, gain: float | None, zero: float | None) -> NoiseHeard:
    level = sound.weighted_db()
    return NoiseHeard(
        dba=None if gain is None else level + gain,
        re_signal_db=None if zero is None else level - zero,
        mains=sound.mains(),
    )


@lru_cache(maxsize=1)
def _own_noise_db() -> dict[float, float]:
    """The third octaves of our own pink noise, by its filters."""
    hertz = np.arange(0.0, 8000.0, 0.5)
    power = np.ones(len(hertz))
    for b, a in noise_sections():
        power *= np.square(np.abs(signal.freqz(b, a, worN=hertz, fs=RATE_HZ)[1]))
    return bands_db(hertz, power)


def _response(recorded: Recorded, notes: list[Sentence]) -> tuple[dict[float, float], tuple[float, ...]]:
    """Spectrum of the field less spectrum of the source (cl. 8.3.2 d, second-hand), re 1 kHz."""
    sound = recorded.pink
    if sound is None:
        return {}, ()
    source = recorded.source.bands_db() if recorded.source else _own_noise_db()
    found = sound.bands_db()
    noises = [each.bands_db() for each in (recorded.on or recorded.off,) if each]
    hidden = tuple(
        hertz for hertz in BANDS_HZ if any(found[hertz] - noise[hertz] < CLEAR_DB for noise in noises)
    )
    if hidden:
        notes.append(
            Sentence(
                "loop/heard/hidden", {"hertz": ", ".join(f"{hertz:g}" for hertz in hidden), "db": CLEAR_DB}
            )
        )
    if RESPONSE_REFERENCE_HZ in hidden:
        return {}, hidden
    zero = found[RESPONSE_REFERENCE_HZ] - source[RESPONSE_REFERENCE_HZ]
    response = {hertz: found[hertz] - source[hertz] - zero for hertz in BANDS_HZ if hertz not in hidden}
    steps = [level for hertz, level in response.items() if hertz in (min(BANDS_HZ), max(BANDS_HZ))]
    if len(steps) == 2 and steps[1] - steps[0] > _RISING_DB:
        notes.append(Sentence("loop/heard/rising", {"more": Digits(steps[1] - steps[0], 0)}))
    return response, hidden


def readings_text(heard: Heard, *, name: str, date: str, whole: bool = True) -> str:
    """Return the readings as TOML for ``kb.loop.readings_file``; with ``whole``, date and signal go first.

    Only what is absolute is in it, and the response, which is relative to its own 1 kHz in any case. Raises
    BadInput if there is neither.
    """
    if not heard.readings:
        said = Stated("error/all-levels-relative")
        raise BadInput("--out", said, Said("do/add-pink-or-calibration"))
    lines = [f"date = {date}"] if whole else []
    if whole and heard.field_db is not None and heard.signal is not None:
        lines.append(f"signal = {json.dumps(heard.signal.value)}")
    lines += ["[[positions]]", f"name = {json.dumps(name)}"]
    if heard.field_db is not None:
        lines.append(f"field_db = {heard.field_db:z.2f}")
    if heard.response:
        levels = ", ".join(f"{hertz:g} = {level:z.2f}" for hertz, level in heard.response.items())
        lines.append(f"response_db = {{ {levels} }}")
    for driver, each in heard.noise.items():
        if each.dba is not None:
            lines.append(f"noise_{driver}_dba = {each.dba:z.2f}")
        elif each.re_signal_db is not None:
            lines.append(
                f"# noise, driver {driver}: {each.re_signal_db:z.1f} dB(A) re the signal; no reading"
            )
    return "\n".join((*lines, ""))
