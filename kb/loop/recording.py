"""Read a WAV recording taken through a coil, and compute its levels.

Needs numpy and scipy, the extra ``jackfield[listen]``. Levels are in dB re an r.m.s. of 1. The file is
foreign: its size, rate, length and values are bounded before anything is computed.

>>> tone = Recording(np.sin(2 * np.pi * 1000 * np.arange(96_000) / 48_000), 48_000, "tone.wav")
>>> round(tone.highest_db(), 1), round(tone.weighted_db(), 1)
(-3.0, -3.0)
"""

from __future__ import annotations

import io
import math
import struct
import warnings
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Final

import numpy as np
from scipy import ndimage, signal
from scipy.io import wavfile

from kb.base.errors import BadInput, described, stated
from kb.domain.words import Word
from kb.loop.standard import RESPONSE_REFERENCE_HZ, Channel, Probe

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Samples = NDArray[np.float64]

MOST_BYTES: Final = 32 * 1024 * 1024
#: Nearly three minutes at 48 kHz, for each channel; one minute is plenty.
MOST_SAMPLES: Final = 8_000_000
#: Noise counts to 16 kHz, and the response to the upper edge of the band at 5 kHz, 5.6 kHz.
LEAST_RATE_HZ: Final = 32_000
MOST_RATE_HZ: Final = 192_000
MOST_CHANNELS: Final = 8
#: Time constant of the meter, seconds: "F" of IEC 61672-1 (IEC 60118-4 cl. 6.1.3, second-hand).
FAST_S: Final = 0.125
#: Corners of the A-weighting, Hz (IEC 61672-1, Annex E, from memory; the tests hold them against its table).
_A_POLES_HZ: Final = (20.60, 107.7, 737.9, 12194.0)
#: Midband frequencies of third octaves: nominal, by their exact value 1000 * 10^(n/10) (IEC 61260-1).
_NOMINAL_HZ: Final = (100, 125, 160, 200, 250, 315, 400, 500, 630, 800, 1000, 1250, 1600, 2000, 2500, 3150,
                      4000, 5000)  # fmt: skip
BANDS_HZ: Final[Mapping[float, float]] = {
    float(nominal): 1000 * 10 ** (number / 10) for number, nominal in enumerate(_NOMINAL_HZ, -10)
}
#: Half a third octave, as a factor (IEC 61260-1: 10^(3/10) is an octave).
_HALF_BAND: Final = 10 ** (0.1 / 2)
#: A bare coil is counted from here on, Hz: below, its integrated noise would hide everything.
_COIL_FROM_HZ: Final = 20.0


class NoiseKind(Word):
    """Name what a noise is made of."""

    HUM = "hum", "mains hum"
    BUZZ = "buzz"
    OTHER = "other", "not from the mains"


@dataclass(frozen=True)
class Line:
    """Hold one line of a noise: its frequency in Hz and its A-weighted level re the whole noise, dB."""

    hertz: float
    level_db: float


@dataclass(frozen=True)
class MainsNoise:
    """Hold the mains in a noise: its frequency in Hz (None: not found), its lines, and the kind of noise."""

    mains_hz: float | None
    lines: tuple[Line, ...]
    kind: NoiseKind


#: Spread of a line that is looked for: this far above its surroundings, dB (own choice).
_LINE_DB: Final = 10.0
#: Multiples of the mains up to here are hum, those above are buzz: a dimmer cuts into every half wave, and
#: its lines go up to some kHz (common practice).
_HUM_TIMES: Final = 10
_BUZZ_TIMES: Final = 100
#: A noise is from the mains if its lines hold half of its A-weighted power, and a buzz if this share of them
#: is above the hum (own choice).
_BUZZ_SHARE: Final = 0.2
#: A line with a smaller share of the noise is not named: 40 dB below it (own choice).
_FAINT_LINE: Final = 1e-4


@dataclass(frozen=True, eq=False)
class Recording:
    """Hold samples of one channel, their rate in Hz, the name of the file, and the channel if it has two."""

    samples: Samples
    rate: int
    name: str
    channel: Channel | None = None

    @property
    def seconds(self) -> float:
        """Return the length."""
        return len(self.samples) / self.rate

    @cached_property
    def fast(self) -> Samples:
        """Return the power that a meter shows over time: true r.m.s. over 125 ms ("F")."""
        share = -math.expm1(-1 / (self.rate * FAST_S))
        return np.asarray(signal.lfilter([share], [1, share - 1], np.square(self.samples)))

    def highest_db(self) -> float:
        """Return the highest level that the 125 ms meter shows."""
        return float(_decibels(self.fast.max()))

    def spread_db(self) -> float:
        """Return the range of the 125 ms level once the meter has settled, less the fade at both ends."""
        steady = self.fast[len(self.fast) // 4 : -len(self.fast) // 8]
        return float(_decibels(steady.max()) - _decibels(steady.min()))

    @cached_property
    def spectrum(self) -> tuple[Samples, Samples]:
        """Return frequencies in Hz, evenly spaced, and power in each of them (Welch's method)."""
        size = int(min(max(self.seconds / 5, 1.0), 4.0) * self.rate)
        hertz, density = signal.welch(self.samples, self.rate, nperseg=min(size, len(self.samples)))
        return hertz, density * (hertz[1] - hertz[0])

    def weighted_db(self) -> float:
        """Return the A-weighted level of the whole recording (IEC 61672-1)."""
        hertz, power = self.spectrum
        return float(_decibels(np.sum(power * a_weighting(hertz))))

    def bands_db(self) -> dict[float, float]:
        """Return the level of each third octave from 100 Hz to 5 kHz, by its nominal frequency."""
        return bands_db(*self.spectrum)

    def pitch_hz(self) -> float:
        """Return the frequency at which the recording is strongest."""
        hertz, power = self.spectrum
        return float(hertz[int(np.argmax(power))])

    def mains(self) -> MainsNoise:
        """Return the lines at multiples of 50 or 60 Hz that rise above the rest of the noise."""
        hertz, power = self.spectrum
        step = float(hertz[1])
        around = ndimage.median_filter(power, size=2 * round(12 / step) + 1, mode="nearest") + 1e-30
        rise = _decibels(power / around)
        times = np.arange(1, _BUZZ_TIMES + 1)
        # the mains wanders a little, and a recorder's clock is off a little
        tried = np.concatenate([np.linspace(0.99 * mains, 1.01 * mains, 251) for mains in (50.0, 60.0)])
        found = rise[np.clip(np.rint(np.outer(tried, times[:40]) / step).astype(int), 0, len(rise) - 1)]
        score = np.where(found >= _LINE_DB, found, 0.0).sum(axis=1)
        if not score.max():
            return MainsNoise(None, (), NoiseKind.OTHER)
        # the middle of the candidates that are as good
        mains = float(np.median(tried[score >= score.max() - 1e-9]))
        weighted = power * a_weighting(hertz)
        ground = around * a_weighting(hertz)
        whole = float(weighted.sum())
        lines, shares = [], {}
        for number in times:
            middle, reach = round(mains * number / step), 2 + round(0.002 * mains * number / step)
            if middle + reach >= len(hertz):
                break
            near = slice(middle - reach, middle + reach + 1)
            if rise[near].max() < _LINE_DB:
                continue
            share = max(0.0, float((weighted[near] - ground[near]).sum())) / whole
            shares[int(number)] = share
            if share >= _FAINT_LINE:
                lines.append(Line(float(mains * number), float(_decibels(share))))
        low = math.fsum(share for number, share in shares.items() if number <= _HUM_TIMES)
        high = math.fsum(shares.values()) - low
        kind = NoiseKind.OTHER
        if low + high >= 0.5:
            kind = NoiseKind.BUZZ if high > _BUZZ_SHARE * (low + high) else NoiseKind.HUM
        return MainsNoise(mains, tuple(lines), kind)


def _decibels(power: Samples | float) -> Samples:
    return np.asarray(10 * np.log10(np.maximum(power, 1e-30)))


def a_weighting(hertz: Samples) -> Samples:
    """Return the A-weighting as a factor on power, 1 at 1 kHz (IEC 61672-1, Annex E, from memory)."""
    low, two, three, high = (pole * pole for pole in _A_POLES_HZ)

    def gain(squared: Samples | float) -> Samples:
        parts = (squared + low) ** 2 * (squared + two) * (squared + three) * (squared + high) ** 2
        return np.asarray(squared**4 / parts)

    return np.asarray(gain(np.square(hertz)) / gain(RESPONSE_REFERENCE_HZ**2))


def bands_db(hertz: Samples, power: Samples) -> dict[float, float]:
    """Return the level of each third octave of a spectrum, by its nominal frequency."""
    step = float(hertz[1] - hertz[0])
    below = np.concatenate([[0.0], np.cumsum(power)])
    edges = np.concatenate([hertz - step / 2, [hertz[-1] + step / 2]])

    def inside(middle: float) -> float:
        low, high = np.interp([middle / _HALF_BAND, middle * _HALF_BAND], edges, below)
        return float(high - low)

    return {nominal: float(_decibels(inside(middle))) for nominal, middle in BANDS_HZ.items()}


def recording_from(
    raw: bytes, name: str, *, least_s: float, channel: Channel | None = None, probe: Probe = Probe.FLAT,
    played: bool = False,
) -> Recording:  # fmt: skip
    """Read the bytes of a WAV file and return one channel; without ``channel``, the one that is louder.

    ``least_s`` is the least length in seconds. ``played``: this is the signal that was played, not a
    recording, so that its peaks may be cut. Raises BadInput naming the file and the problem: another format,
    a wrong header, too short or too long, a rate that is too low, silence, clipping.
    """
    rate, both = _read(raw, name)
    if not LEAST_RATE_HZ <= rate <= MOST_RATE_HZ:
        seen = described(f"{rate} samples a second")
        raise BadInput(name, seen, f"{LEAST_RATE_HZ} to {MOST_RATE_HZ} (44100 or 48000 are usual)")
    if not 1 <= both.shape[1] <= MOST_CHANNELS:
        raise BadInput(name, described(f"{both.shape[1]} channels"), "one or two")
    if len(both) < least_s * rate:
        seen = described(f"{len(both) / rate:.1f} s")
        raise BadInput(name, seen, f"a recording of {least_s:g} s or more")
    if len(both) > MOST_SAMPLES:
        seen = described(f"{len(both) / rate:.0f} s")
        raise BadInput(name, seen, f"{MOST_SAMPLES / rate:.0f} s or less")
    if both.shape[1] == 1:
        channel = None
    elif channel is None:
        loudness = [float(np.dot(side, side)) for side in both[:, :2].T.astype(np.float64)]
        channel = Channel.RIGHT if loudness[1] > loudness[0] else Channel.LEFT
    samples = np.array(both[:, 1 if channel is Channel.RIGHT else 0], np.float64)
    if not np.isfinite(samples).all() or np.abs(samples).max() > 1e3:
        raise BadInput(name, stated("holds values that are no sound"), "record it again")
    if _silent(samples, rate):
        said = stated("is silent for a time, or the recorder cut the noise off")
        raise BadInput(name, said, "look at the cable, switch noise reduction off, use more gain")
    if not played and (count := clipped(samples, rate)):
        said = stated(f"is clipped ({count} samples at the limit)")
        raise BadInput(name, said, "record it again with less gain")
    samples -= samples.mean()
    if probe is Probe.COIL:
        samples = _integrated(samples, rate)
    return Recording(samples, rate, name, channel)


_OTHERS: Final = (
    (0, b"ID3", "MP3"), (0, b"\xff\xfb", "MP3"), (0, b"\xff\xf3", "MP3"), (0, b"\xff\xf1", "AAC"),
    (0, b"OggS", "Ogg"), (0, b"fLaC", "FLAC"), (0, b"FORM", "AIFF"), (0, b"caff", "CAF"),
    (4, b"ftyp", "M4A"), (0, b"#!AMR", "AMR"), (0, b"\x1aE\xdf\xa3", "WebM"), (0, b"wvpk", "WavPack"),
)  # fmt: skip
_EXPECTED: Final = "a WAV file (PCM of 16 or 24 bits)"


def _read(raw: bytes, name: str) -> tuple[int, NDArray[np.float32]]:
    """The rate and the samples from -1 to 1, a row for each moment."""
    for at, mark, format_name in _OTHERS:
        if raw[at : at + len(mark)] == mark:
            raise BadInput(name, described(f"a file of the format {format_name}"), _EXPECTED)
    if raw[:4] not in (b"RIFF", b"RIFX", b"RF64") or raw[8:12] != b"WAVE":
        raise BadInput(name, described("no WAV file"), _EXPECTED)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # chunks with names and dates
            rate, found = wavfile.read(io.BytesIO(raw))
    except (ValueError, TypeError, ArithmeticError, EOFError, LookupError, UnboundLocalError, struct.error,
            MemoryError, OSError):  # fmt: skip
        # a foreign header has many ways to be wrong, and scipy names few of them
        said = stated("is a WAV file that cannot be read (its header is wrong, or it is cut off)")
        raise BadInput(name, said, _EXPECTED) from None
    if not isinstance(rate, int) or found.ndim not in (1, 2) or not found.size:
        raise BadInput(name, described("a WAV file without samples"), _EXPECTED)
    if found.dtype.kind == "i" and found.dtype.itemsize in (2, 4, 8):
        found = found / np.float32(2.0 ** (8 * found.dtype.itemsize - 1))
    elif found.dtype.kind != "f":
        raise BadInput(name, described("samples of 8 bits"), "16 bits or more: 8 bits hide the noise")
    with np.errstate(over="ignore"):
        rows = np.asarray(found, np.float32)
    return rate, rows.reshape(len(rows), -1)


#: A coil always has some noise. A recorder may begin with zeros, but not with so many of one value, seconds.
_STILL_S: Final = 0.5


def _silent(samples: Samples, rate: int) -> bool:
    """Whether nothing is there, or nothing for so long that a gate must have closed."""
    changes = np.flatnonzero(np.diff(samples))
    still = np.diff(np.concatenate([[-1], changes, [len(samples) - 1]])).max()
    return bool(np.abs(samples).max() < 1e-6 or still > _STILL_S * rate)


#: A peak that stays at one value this long is cut off, seconds: hum in 16 bits is not as flat (own choice).
_FLAT_S: Final = 120e-6
#: Below this share of the largest value a 16-bit file is too coarse to tell a flat peak.
_LEAST_PEAK: Final = 0.25
#: From this share on samples are at the largest value itself; more than two of them are no chance.
_FULL: Final = 0.9999


def clipped(samples: Samples, rate: int) -> int:
    """Return how many samples lie at the limit of a recording that is clipped; 0 if it is not.

    A recorder may clip below the largest value of the file, so that flat peaks are looked for.
    """
    least = max(3, math.ceil(_FLAT_S * rate))
    count = 0
    for side in (samples, -samples):
        peak = float(side.max())
        if peak < _LEAST_PEAK:
            continue
        at = side >= peak - 1e-7
        ends = np.flatnonzero(np.diff(np.concatenate([[0], at.astype(np.int8), [0]])))
        lengths = ends[1::2] - ends[::2]
        if lengths.max() >= least or (peak >= _FULL and lengths.sum() > 2):
            count += int(lengths.sum())
    return count


def _integrated(samples: Samples, rate: int) -> Samples:
    """The voltage of a bare coil as the field: less by 6 dB an octave, the same at 1 kHz."""
    spectrum = np.fft.rfft(samples)
    hertz = np.fft.rfftfreq(len(samples), 1 / rate)
    heard = hertz >= _COIL_FROM_HZ
    spectrum[heard] *= RESPONSE_REFERENCE_HZ / hertz[heard]
    spectrum[~heard] = 0
    return np.asarray(np.fft.irfft(spectrum, len(samples)))
