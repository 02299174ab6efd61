"""Read a WAV recording taken through a coil, and compute its levels.

Needs numpy and scipy, the extra ``jackfield[listen]``. Levels are in dB re an r.m.s. of 1. The file is
foreign: its rate, length and values are bounded. It is read in blocks, twice, so that memory does not
grow with its length.

>>> tone = Recording.of(np.sin(2 * np.pi * 1000 * np.arange(96_000) / 48_000), 48_000, "tone.wav")
>>> round(tone.highest_db(), 1), round(tone.weighted_db(), 1)
(-3.0, -3.0)
"""

from __future__ import annotations

import io
import math
import struct
import warnings
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import IO, TYPE_CHECKING, Final, Literal

import numpy as np
from scipy import ndimage, signal
from scipy.io import wavfile

from kb.base.errors import BadInput, Stated
from kb.base.messages import Said, Wording
from kb.domain.words import Word
from kb.loop.standard import RESPONSE_REFERENCE_HZ, Channel, Probe

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Samples = NDArray[np.float64]

#: Longest recording, seconds; one minute is plenty.
MOST_S: Final = 3600.0
#: So many samples of each channel are in memory at a time.
_BLOCK: Final = 1 << 18
#: Bounds of a header: its chunks, and the bytes of the one that describes the format (40 are usual).
_MOST_CHUNKS: Final = 1000
_LONGEST_FORM: Final = 1000
#: Bytes of a sample at most, so that no header makes a block large.
_LONGEST_SAMPLE: Final = 8
#: Larger values are no sound, and smaller ones are nothing; 1 is the largest that a file of integers holds.
_LARGEST: Final = 1e3
_FAINTEST: Final = 1e-6
#: Noise counts to 16 kHz, and the response to the upper edge of the band at 5 kHz, 5.6 kHz.
LEAST_RATE_HZ: Final = 32_000
MOST_RATE_HZ: Final = 192_000
MOST_CHANNELS: Final = 8
#: Time constant of the meter, seconds: "F" of IEC 61672-1. The 125 ms are those of IEC 60118-4 cl. 6.1.3
#: (second-hand) and of acoustic-toolbox 0.2.2 (``FAST``). That "F" is an exponential average, and the bursts
#: and the decay in the tests, are from memory.
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
    """Hold the levels of one channel, the rate in Hz, the name of the file, and the channel if it has two.

    ``highest`` is the highest power that the 125 ms meter shows; ``steady`` are its lowest and highest power
    once it has settled, less the fade at the end. ``spectrum`` are frequencies in Hz, evenly spaced, and the
    power in each of them (Welch's method).
    """

    rate: int
    seconds: float
    name: Wording
    highest: float
    steady: tuple[float, float]
    spectrum: tuple[Samples, Samples]
    channel: Channel | None = None

    @classmethod
    def of(cls, samples: Samples, rate: int, name: Wording) -> Recording:
        """Return the levels of samples in memory."""
        meters = _Meters(len(samples), rate)
        meters.add(samples)
        return meters.recording(name)

    def highest_db(self) -> float:
        """Return the highest level that the 125 ms meter shows."""
        return float(_decibels(self.highest))

    def spread_db(self) -> float:
        """Return the range of the 125 ms level once the meter has settled, less the fade at both ends."""
        low, high = _decibels(np.array(self.steady))
        return float(high - low)

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
            if np.max(rise[near]) < _LINE_DB:
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
    below, edges = np.cumsum(power) - power, hertz - step / 2

    def inside(middle: float) -> float:
        low, high = np.interp([middle / _HALF_BAND, middle * _HALF_BAND], edges, below)
        return float(high - low)

    return {nominal: float(_decibels(inside(middle))) for nominal, middle in BANDS_HZ.items()}


def recording_from(
    file: IO[bytes], name: Wording, *, least_s: float, channel: Channel | None = None,
    probe: Probe = Probe.FLAT, played: bool = False,
) -> Recording:  # fmt: skip
    """Read a WAV file and return the levels of one channel; without ``channel``, of the one that is louder.

    ``file`` is read from its start and has to allow going back. ``least_s`` is the least length in seconds.
    ``played``: this is the signal that was played, not a recording, so that its peaks may be cut. Raises
    BadInput naming the file and the problem: another format, a wrong header, too short or too long, a rate
    that is too low, silence, clipping.
    """
    wav = _Wav.of(file, name)
    rate, seconds = wav.rate, wav.rows / wav.rate if wav.rate else 0.0
    if not LEAST_RATE_HZ <= rate <= MOST_RATE_HZ:
        seen = Said("seen/sample-rate", rate=rate)
        raise BadInput(name, seen, Said("expected/sample-rates", least=LEAST_RATE_HZ, most=MOST_RATE_HZ))
    if not 1 <= wav.channels <= MOST_CHANNELS:
        raise BadInput(name, Said("seen/channels", count=wav.channels), Said("expected/one-or-two"))
    if seconds < least_s:
        raise BadInput(
            name,
            Said("seen/seconds", seconds=f"{seconds:.1f}"),
            Said("expected/recording-of", least=f"{least_s:g}"),
        )
    if seconds > MOST_S:
        raise BadInput(
            name,
            Said("seen/seconds", seconds=f"{seconds:.0f}"),
            Said("expected/at-most-seconds", most=f"{MOST_S:g}"),
        )
    total, loudness, high, low = np.zeros(2), np.zeros(2), np.full(2, -np.inf), np.full(2, np.inf)
    with np.errstate(all="ignore"):  # foreign values may be anything
        for block in wav.blocks():
            total += block.sum(axis=0)
            loudness += np.square(block).sum(axis=0)
            high, low = np.maximum(high, block.max(axis=0)), np.minimum(low, block.min(axis=0))
    if wav.channels == 1:
        channel = None
    elif channel is None:
        channel = Channel.RIGHT if loudness[1] > loudness[0] else Channel.LEFT
    side = 1 if channel is Channel.RIGHT else 0
    peak, trough = float(high[side]), float(low[side])
    if not (math.isfinite(peak) and math.isfinite(trough)) or max(peak, -trough) > _LARGEST:
        raise BadInput(name, Stated("error/no-sound-values"), Said("do/record-again"))
    faults = _Faults(rate, peak, trough)
    meters = _Meters(wav.rows, rate, probe)
    for block in wav.blocks():
        faults.add(block[:, side])
        meters.add(block[:, side] - total[side] / wav.rows)
    if faults.silent:
        said = Stated("error/silent-for-a-time")
        raise BadInput(name, said, Said("do/look-at-cable"))
    if not played and faults.clipped:
        said = Stated("error/clipped", count=faults.clipped)
        raise BadInput(name, said, Said("do/record-with-less-gain"))
    return meters.recording(name, channel)


def fast(samples: Samples, rate: int, before: float = 0.0) -> Samples:
    """Return the power that a meter shows over time: true r.m.s. over 125 ms ("F").

    The square of the signal goes through an exponential average with this time constant. ``before`` is the
    power that it showed just before.
    """
    share = -math.expm1(-1 / (rate * FAST_S))
    filtered, _ = signal.lfilter([share], [1, share - 1], np.square(samples), zi=[(1 - share) * before])
    return np.asarray(filtered)


class _Meters:
    """Measure samples that come in blocks: the 125 ms meter, and the spectrum by Welch's method."""

    def __init__(self, count: int, rate: int, probe: Probe = Probe.FLAT) -> None:
        self.count, self.rate, self.probe = count, rate, probe
        self.seen, self.power, self.highest = 0, 0.0, 0.0
        self.lowest, self.most = math.inf, 0.0
        size = int(min(max(count / rate / 5, 1.0), 4.0) * rate)
        self.segment = min(size, count)
        self.hop = self.segment - self.segment // 2
        self.kept, self.parts = np.zeros(0), 0
        self.density = np.zeros(self.segment // 2 + 1)
        # a bare coil's voltage is integrated: less by 6 dB an octave, the same at 1 kHz, nothing below 20 Hz
        poles = signal.butter(2, _COIL_FROM_HZ, "highpass", fs=rate, output="zpk")[1]
        self.coil = signal.zpk2sos([1, -1], poles, 1)
        self.coil[0, :3] /= abs(signal.sosfreqz(self.coil, [RESPONSE_REFERENCE_HZ], fs=rate)[1][0])
        self.held = np.zeros((1, 2))

    def add(self, samples: Samples) -> None:
        """Measure the next block."""
        self._spectrum(samples)
        if self.probe is Probe.COIL:
            samples, self.held = signal.sosfilt(self.coil, samples, zi=self.held)
        shown = fast(samples, self.rate, self.power)
        self.power, self.highest = float(shown[-1]), max(self.highest, float(np.max(shown)))
        settled, fading = self.count // 4, self.count - math.ceil(self.count / 8)
        steady = shown[max(0, settled - self.seen) : max(0, fading - self.seen)]
        if len(steady):
            self.lowest = min(self.lowest, float(np.min(steady)))
            self.most = max(self.most, float(np.max(steady)))
        self.seen += len(samples)

    def _spectrum(self, samples: Samples) -> None:
        """Add the segments that are complete; half of each belongs to the next one, too."""
        self.kept = np.concatenate([self.kept, samples])
        count = (len(self.kept) - self.segment) // self.hop + 1
        if count > 0:
            whole = self.kept[: self.hop * (count - 1) + self.segment]
            self.density += count * signal.welch(whole, self.rate, nperseg=self.segment)[1]
            self.parts += count
            self.kept = self.kept[count * self.hop :]

    def recording(self, name: Wording, channel: Channel | None = None) -> Recording:
        """Return what was measured."""
        hertz = np.fft.rfftfreq(self.segment, 1 / self.rate).astype(np.float64)
        power = self.density / self.parts * (hertz[1] - hertz[0])
        if self.probe is Probe.COIL:
            heard = hertz >= _COIL_FROM_HZ
            power[heard] *= np.square(RESPONSE_REFERENCE_HZ / hertz[heard])
            power[~heard] = 0
        steady = float(self.lowest), float(self.most)
        seconds = self.count / self.rate
        return Recording(self.rate, seconds, name, self.highest, steady, (hertz, power), channel)


_OTHERS: Final = (
    (0, b"ID3", "MP3"), (0, b"\xff\xfb", "MP3"), (0, b"\xff\xf3", "MP3"), (0, b"\xff\xf1", "AAC"),
    (0, b"OggS", "Ogg"), (0, b"fLaC", "FLAC"), (0, b"FORM", "AIFF"), (0, b"caff", "CAF"),
    (4, b"ftyp", "M4A"), (0, b"#!AMR", "AMR"), (0, b"\x1aE\xdf\xa3", "WebM"), (0, b"wvpk", "WavPack"),
)  # fmt: skip
_EXPECTED: Final = Said("expected/wav")


@dataclass(frozen=True)
class _Wav:
    """Read the samples of a WAV file in blocks. scipy reads each block, with the header in front."""

    file: IO[bytes]
    name: Wording
    riff: bytes
    form: bytes
    start: int
    rows: int
    rate: int
    channels: int
    align: int

    @classmethod
    def of(cls, file: IO[bytes], name: Wording) -> _Wav:
        """Read the header; raises BadInput."""
        head = file.read(16)
        for at, mark, format_name in _OTHERS:
            if head[at : at + len(mark)] == mark:
                raise BadInput(name, Said("seen/wav-format", format=format_name), _EXPECTED)
        riff = head[:4]
        if riff not in (b"RIFF", b"RIFX", b"RF64") or head[8:12] != b"WAVE":
            raise BadInput(name, Said("seen/no-wav"), _EXPECTED)
        big = riff == b"RIFX"
        file.seek(12)
        form, long = b"", 0
        for _ in range(_MOST_CHUNKS):
            chunk = file.read(8)
            kind, size = chunk[:4], int.from_bytes(chunk[4:], "big" if big else "little")
            if len(chunk) < 8 or kind == b"data":
                break
            if kind == b"fmt " and size <= _LONGEST_FORM:
                form = chunk + file.read(size + size % 2)
            elif kind == b"ds64":  # the sizes of a long file
                long = int.from_bytes(file.read(size + size % 2)[8:16], "little")
            else:
                file.seek(size + size % 2, 1)
        if len(form) < 24 or kind != b"data":
            raise _wrong_header(name)
        _, channels, rate, _, align, _ = struct.unpack(f"{'>' if big else '<'}HHIIHH", form[8:24])
        if not channels or not align or align % channels or align // channels > _LONGEST_SAMPLE:
            raise _wrong_header(name)
        start = file.tell()
        # a recorder that was cut off leaves a size that is too large
        rows = min(long or size, file.seek(0, 2) - start) // align
        if rows < 1:
            raise BadInput(name, Said("seen/wav-without-samples"), _EXPECTED)
        return cls(file, name, b"RIFX" if big else b"RIFF", form, start, rows, rate, channels, align)

    def blocks(self) -> Iterator[Samples]:
        """Yield the samples from -1 to 1, a row for each moment, and the first two channels at most."""
        self.file.seek(self.start)
        left = self.rows
        while left > 0:
            count = min(left, _BLOCK)
            left -= count
            rows = self._decoded(self.file.read(count * self.align))
            if len(rows) != count:
                raise _wrong_header(self.name)
            yield rows[:, :2].astype(np.float64)

    def _decoded(self, raw: bytes) -> NDArray[np.float32]:
        order: Literal["big", "little"] = "big" if self.riff == b"RIFX" else "little"
        sizes = [size.to_bytes(4, order) for size in (len(self.form) + len(raw) + 12, len(raw))]
        whole = b"".join((self.riff, sizes[0], b"WAVE", self.form, b"data", sizes[1], raw))
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")  # the padding of an odd size is missing
                _, found = wavfile.read(io.BytesIO(whole))
        except (ValueError, TypeError, ArithmeticError, EOFError, LookupError, UnboundLocalError,
                struct.error, MemoryError, OSError):  # fmt: skip
            # a foreign header has many ways to be wrong, and scipy names few of them
            raise _wrong_header(self.name) from None
        if found.dtype.kind == "i" and found.dtype.itemsize in (2, 4, 8):
            found = found / np.float32(2.0 ** (8 * found.dtype.itemsize - 1))
        elif found.dtype.kind != "f":
            said = Said("expected/more-bits")
            raise BadInput(self.name, Said("seen/samples-of-8-bits"), said)
        with np.errstate(over="ignore"):
            rows = np.asarray(found, np.float32)
        return rows.reshape(len(rows), -1)


def _wrong_header(name: Wording) -> BadInput:
    said = Stated("error/unreadable-wav")
    return BadInput(name, said, _EXPECTED)


#: A coil always has some noise. A recorder may begin with zeros, but not with so many of one value, seconds.
_STILL_S: Final = 0.5
#: A peak that stays at one value this long is cut off, seconds: hum in 16 bits is not as flat (own choice).
_FLAT_S: Final = 120e-6
#: Below this share of the largest value a 16-bit file is too coarse to tell a flat peak.
_LEAST_PEAK: Final = 0.25
#: From this share on samples are at the largest value itself; more than two of them are no chance.
_FULL: Final = 0.9999


class _Runs:
    """Count what holds in a row, in samples that come in blocks."""

    def __init__(self) -> None:
        self.total = self.longest = self.open = 0

    def add(self, holds: NDArray[np.bool_]) -> None:
        """Count the next block."""
        self.total += int(np.count_nonzero(holds))
        ends = np.flatnonzero(~holds)
        if len(ends):
            self.longest = max(self.longest, self.open + int(ends[0]), int(np.diff(ends).max(initial=1)) - 1)
            self.open = len(holds) - 1 - int(ends[-1])
        else:
            self.open += len(holds)
        self.longest = max(self.longest, self.open)


class _Faults:
    """Look for silence and clipping in samples whose highest and lowest value are known.

    A recorder may clip below the largest value of the file, so that flat peaks are looked for.
    """

    def __init__(self, rate: int, peak: float, trough: float) -> None:
        self.rate, self.peaks = rate, (peak, -trough)
        self.still, self.flat = _Runs(), (_Runs(), _Runs())
        self.last = math.nan

    def add(self, samples: Samples) -> None:
        """Look at the next block."""
        self.still.add(np.diff(samples, prepend=self.last) == 0)
        self.last = float(samples[-1])
        for peak, flat, side in zip(self.peaks, self.flat, (samples, -samples), strict=True):
            flat.add(side >= peak - 1e-7)

    @property
    def silent(self) -> bool:
        """Return whether nothing is there, or nothing for so long that a gate must have closed."""
        return max(self.peaks) < _FAINTEST or self.still.longest + 1 > _STILL_S * self.rate

    @property
    def clipped(self) -> int:
        """Return how many samples lie at the limit of a recording that is clipped; 0 if it is not."""
        least = max(3, math.ceil(_FLAT_S * self.rate))
        return sum(
            flat.total
            for peak, flat in zip(self.peaks, self.flat, strict=True)
            if peak >= _LEAST_PEAK and (flat.longest >= least or (peak >= _FULL and flat.total > 2))
        )
