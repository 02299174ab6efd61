"""Make the signals for setting and testing a loop, as WAV files.

All levels count from the 1 kHz sine: a sine at ``level_db`` is that far below the largest sine that a file
can hold. Pink noise is written 6 dB lower, as IEC 60118-4 mixes the two (Table 2, second-hand): a driver that
a sine has set right then reads -6 dB on an r.m.s. meter (Table 3). Every signal is faded in, so that nothing
is suddenly loud.

>>> sound = samples(Tone.SINE, seconds=1.0, level_db=-20.0)
>>> len(sound), round(max(sound), 4)
(48000, 0.1)
"""

from __future__ import annotations

import io
import math
import random
import wave
from array import array
from collections.abc import Sequence
from itertools import cycle, islice, pairwise
from typing import Final

from kb.base.validation import bounded
from kb.domain.words import Word
from kb.loop.decibels import ratio
from kb.loop.standard import RESPONSE_HZ

RATE_HZ: Final = 48_000
LEVEL_DB: Final = -20.0
#: The peaks of the noise are 3 dB above those of the sine (Table 2), which leaves this as the highest level.
HIGHEST_DB: Final = -3.1
LOWEST_DB: Final = -80.0
SECONDS: Final = 30.0
LONGEST_S: Final = 600.0
#: Every file begins softly over this time, seconds, and ends softly (common practice).
FADE_IN_S: Final = 2.0
FADE_OUT_S: Final = 0.1
#: Band of the pink noise: third-order Butterworth filters, -3 dB here, Hz (cl. 6.4, second-hand).
BAND_HZ: Final = (75.0, 6500.0)
#: Peak over r.m.s. of the pink noise (cl. 6.4, second-hand): peak-to-peak is then 18 dB over r.m.s.
CREST: Final = 4.0
#: The noise's r.m.s. against the sine's, dB (Table 2, second-hand).
NOISE_DB: Final = -6.0
#: The same as a factor on the peak of the sine.
_NOISE_RMS: Final = ratio(NOISE_DB) / math.sqrt(2)
#: Sine and noise in turn: bursts of the sine, its rise and fall, and the noise between, seconds (Table 2).
BURST_S: Final = 1.0
RISE_S: Final = 0.005
NOISE_S: Final = 4.0
#: The sweep goes over the band of the response, Hz.
SWEEP_HZ: Final = RESPONSE_HZ
#: Beeps of the pattern for left and right (own choice): one for left, two for right.
BEEP_S: Final = 0.4


class Tone(Word):
    """Name the signals that can be played."""

    SINE = "sine", "1 kHz sine"
    PINK = "pink", "pink noise"
    COMBI = "combi", "sine and noise in turn"
    SWEEP = "sweep"
    HUM = "hum"
    BUZZ = "buzz"
    SIDES = "sides", "left and right"


def wav(
    tone: Tone,
    *,
    seconds: float = SECONDS,
    level_db: float = LEVEL_DB,
    hertz: float = 1000.0,
    mains_hz: float = 50.0,
    seed: int = 1,
) -> bytes:
    """Return a signal as a stereo WAV file of 16 bits and 48 000 samples a second; see ``samples``."""
    sound = samples(tone, seconds=seconds, level_db=level_db, hertz=hertz, mains_hz=mains_hz, seed=seed)
    sides = [sound, sound]
    if tone is Tone.SIDES:
        sides = [_beeping(sound, beeps) for beeps in (1, 2)]
    whole = array("h", bytes(4 * len(sound)))
    for side, values in enumerate(sides):
        whole[side::2] = array("h", (round(32767 * value) for value in values))
    out = io.BytesIO()
    with wave.open(out, "wb") as file:  # it turns samples into little-endian ones on every machine
        file.setnchannels(2)
        file.setsampwidth(2)
        file.setframerate(RATE_HZ)
        file.writeframes(whole.tobytes())
    return out.getvalue()


def samples(
    tone: Tone,
    *,
    seconds: float = SECONDS,
    level_db: float = LEVEL_DB,
    hertz: float = 1000.0,
    mains_hz: float = 50.0,
    seed: int = 1,
) -> list[float]:
    """Return a signal as samples from -1 to 1, 48 000 a second, faded in and out.

    ``hertz`` is the frequency of the sine, ``mains_hz`` that of hum and buzz, ``seed`` that of the noise.
    Raises BadInput for less than a second or more than ten minutes, a level outside -80 to -3.1 dB, a sine
    outside 20 Hz to 20 kHz, mains outside 16 to 400 Hz.
    """
    bounded(seconds, "seconds", low=1, high=LONGEST_S, unit="s")
    bounded(level_db, "level", low=LOWEST_DB, high=HIGHEST_DB, unit="dB")
    bounded(hertz, "hertz", low=20, high=20_000, unit="Hz")
    bounded(mains_hz, "mains", low=16, high=400, unit="Hz")
    count = round(seconds * RATE_HZ)
    peak = ratio(level_db)
    match tone:
        case Tone.PINK:
            sound = _scaled(pink(count, seed), peak * _NOISE_RMS)
        case Tone.COMBI:
            sound = _scaled(combi(count, seed), peak)
        case Tone.SWEEP:
            sound = _scaled(_sweep(count), peak)
        case Tone.HUM:  # the mains and its first multiples, as a ground loop has them (common practice)
            sound = _scaled(_lines(count, mains_hz, {1: 1.0, 2: 0.5, 3: 0.3, 4: 0.1}), peak)
        case Tone.BUZZ:  # many multiples of twice the mains, as a dimmer makes them (common practice)
            sound = _scaled(_lines(count, mains_hz, {2 * each: 1 / each for each in range(1, 25)}), peak)
        case _:
            sound = _sine(count, hertz if tone is Tone.SINE else 1000.0, peak)
    return _faded(sound)


def pink(count: int, seed: int = 1) -> list[float]:
    """Return ``count`` samples of the pink noise of cl. 6.4 with an r.m.s. of 1 and peaks of 4.

    White noise goes through first-order sections whose poles and zeros alternate, which makes it fall by 3 dB
    an octave, then through the band's filters. More than ten seconds repeat; the joins are blended.
    """
    chance = random.Random(seed)  # noqa: S311  # noise, not a secret
    settle, join, block = RATE_HZ // 4, RATE_HZ // 10, 10 * RATE_HZ
    sound = [chance.random() - 0.5 for _ in range(min(count, block + join) + settle)]
    for b, a in noise_sections():
        sound = _filtered(sound, b, a)
    sound = sound[settle:]
    if count > len(sound):
        # the end of the block blends into its beginning, at equal power
        for at in range(join):
            angle = math.pi / 2 * at / join
            sound[at] = math.sin(angle) * sound[at] + math.cos(angle) * sound[block + at]
        sound = sound[:block]
    return _repeated(_with_crest(sound), count)


def combi(count: int, seed: int = 1) -> list[float]:
    """Return ``count`` samples of sine and noise in turn (Table 2); the sine's peak is 1.

    The noise comes first and lasts at least four times as long as the sine. Both are joined where they are
    zero.
    """
    rise, burst, noise = (round(each * RATE_HZ) for each in (RISE_S, BURST_S, NOISE_S))
    tone = _ramped(_sine(burst, 1000.0, 1.0), rise, rise)
    hiss = _scaled(pink(noise, seed), _NOISE_RMS)
    rising = [at for at, (before, here) in enumerate(pairwise(hiss), 1) if before < 0 <= here]
    start, end = rising[0], rising[-1]
    # at least 4:1 in time, so that the part cut off at both ends is made up for, to the next zero crossing
    until = next(at for at in rising if end - start + at - start >= noise)
    return _repeated([*hiss[start:end], *hiss[start:until], *tone], count)


def noise_sections() -> list[tuple[tuple[float, ...], tuple[float, ...]]]:
    """Return the digital filters of the pink noise at 48 kHz: (b, a) of each section."""
    found = []
    lowest, each = 15.0, 10 ** (3.2 / 9)  # nine poles from 15 Hz to 24 kHz
    for number in range(9):
        pole = lowest * each**number
        zero = pole * math.sqrt(each)
        p, z = (math.exp(-2 * math.pi * hertz / RATE_HZ) for hertz in (pole, zero))
        found.append(((1.0, -z), (1.0, -p)))
    return [*found, *_butterworth(BAND_HZ[0], high_pass=True), *_butterworth(BAND_HZ[1], high_pass=False)]


def _butterworth(hertz: float, *, high_pass: bool) -> list[tuple[tuple[float, ...], tuple[float, ...]]]:
    """A third-order Butterworth filter as a first-order and a second-order section (bilinear transform)."""
    w = math.tan(math.pi * hertz / RATE_HZ)
    one, two = 1 + w, 1 + w + w * w
    gain1, gain2 = (1 / one, 1 / two) if high_pass else (w / one, w * w / two)
    sign = -1.0 if high_pass else 1.0
    return [
        ((gain1, sign * gain1), (1.0, (w - 1) / one)),
        ((gain2, 2 * sign * gain2, gain2), (1.0, 2 * (w * w - 1) / two, (1 - w + w * w) / two)),
    ]


def _filtered(sound: Sequence[float], b: Sequence[float], a: Sequence[float]) -> list[float]:
    """Pass samples through one section of the first or second order."""
    b0, b1, b2 = (*b, 0.0)[:3]
    a1, a2 = (*a[1:], 0.0)[:2]
    one = two = 0.0
    out = []
    for value in sound:
        result = b0 * value + one
        one = b1 * value - a1 * result + two
        two = b2 * value - a2 * result
        out.append(result)
    return out


def _with_crest(sound: list[float]) -> list[float]:
    """Bring noise to an r.m.s. of 1 and to peaks of 4 either way.

    The rare higher peaks are cut off. If there is none as high, a cubic term lifts the highest a little.
    """
    for _ in range(3):
        rms = math.sqrt(math.fsum(value * value for value in sound) / len(sound))
        sound = [value / rms for value in sound]
        lift, drop = (max(0.0, CREST / peak - 1) / peak**2 for peak in (max(sound), -min(sound)))
        sound = [value + (lift if value > 0 else drop) * value * value * value for value in sound]
        sound = [max(-CREST, min(CREST, value)) for value in sound]
    return sound


def _sine(count: int, hertz: float, peak: float) -> list[float]:
    turn = 2 * math.pi * hertz / RATE_HZ
    return [peak * math.sin(turn * at) for at in range(count)]


def _sweep(count: int) -> list[float]:
    """A sine that rises by the same share each second."""
    low, high = SWEEP_HZ
    growth = math.log(high / low) / count
    turn = 2 * math.pi * low / RATE_HZ / growth
    return [math.sin(turn * (math.exp(growth * at) - 1)) for at in range(count)]


def _lines(count: int, hertz: float, shares: dict[int, float]) -> list[float]:
    """Sines at multiples of a frequency, with the r.m.s. of one sine of peak 1; the first second repeats."""
    power = math.sqrt(math.fsum(share * share for share in shares.values()))
    one = [0.0] * min(count, RATE_HZ)  # whole numbers of Hz repeat every second
    for times, share in shares.items():
        turn = 2 * math.pi * hertz * times / RATE_HZ
        one = [value + share / power * math.sin(turn * at) for at, value in enumerate(one)]
    return _repeated(one, count)


def _beeping(sound: Sequence[float], beeps: int) -> list[float]:
    """Leave so many beeps of every three seconds, each with a pause of its length behind it."""
    beep, rise = round(BEEP_S * RATE_HZ), round(RISE_S * RATE_HZ)
    one = [*_ramped([1.0] * beep, rise, rise), *([0.0] * beep)]
    gate = [*(one * beeps), *([0.0] * (3 * RATE_HZ - len(one) * beeps))]
    return [value * share for value, share in zip(sound, cycle(gate), strict=False)]


def _scaled(sound: Sequence[float], by: float) -> list[float]:
    return [by * value for value in sound]


def _faded(sound: list[float]) -> list[float]:
    """The same, faded in and out; of a short sound the fade takes half."""
    rise = min(round(FADE_IN_S * RATE_HZ), len(sound) // 2)
    fall = min(round(FADE_OUT_S * RATE_HZ), len(sound) // 4)
    return _ramped(sound, rise, fall)


def _ramped(sound: list[float], rise: int, fall: int) -> list[float]:
    """The same with its first samples raised from 0 and its last ones lowered to 0, without a corner."""
    for count, places in ((rise, range(rise)), (fall, range(-1, -1 - fall, -1))):
        for step, at in enumerate(places):
            sound[at] *= math.sin(math.pi / 2 * step / count) ** 2
    return sound


def _repeated(sound: Sequence[float], count: int) -> list[float]:
    """So many samples: the same again and again."""
    return list(islice(cycle(sound), count))
