"""Check what a recording is measured by with sound and spectra so short that every number is known."""

from __future__ import annotations

import io
import itertools
import math
import struct

import numpy as np
import pytest

from kb.base.errors import BadInput
from kb.loop import wav_recording
from kb.loop.wav_recording import NoiseKind, Recording, _Faults, _Runs, _Wav, a_weighting, bands_db, fast

RATE = 1000


@pytest.mark.parametrize("cuts", [(), (1,), (4,), (2, 5), (3, 4, 5)])
def test_what_holds_in_a_row_is_counted_across_blocks(cuts):
    for row in itertools.product((True, False), repeat=8):
        runs = _Runs()
        for start, end in itertools.pairwise((0, *cuts, 8)):
            runs.add(np.array(row[start:end]))
        longest = max((len(list(some)) for holds, some in itertools.groupby(row) if holds), default=0)
        assert (runs.total, runs.longest) == (sum(row), longest), row


def faults(samples, rate=RATE):
    samples = np.asarray(samples, float)
    found = _Faults(rate, float(samples.max()), float(samples.min()))
    for half in np.array_split(samples, 2):
        found.add(half)
    return found


def test_half_a_second_of_one_value_is_a_gate():
    noise = np.linspace(-0.2, 0.2, 300)
    assert not faults([*noise, *[0.1] * 500, *noise]).silent
    assert faults([*noise, *[0.1] * 501, *noise]).silent
    assert faults(np.linspace(-0.9e-6, 0.9e-6, 300)).silent, "nothing is there"
    assert not faults(np.linspace(-1.1e-6, 1.1e-6, 300)).silent
    assert not faults([0.0, *noise]).silent


@pytest.mark.parametrize(
    ("peak", "flat", "rate", "clipped"),
    [
        (0.5, 3, 1000, 3),  # three samples at least
        (0.5, 2, 1000, 0),
        (0.25, 3, 1000, 3),  # from a quarter of the largest value on
        (0.249, 3, 1000, 0),
        (0.5, 6, 50_000, 6),  # 120 microseconds
        (0.5, 5, 50_000, 0),
        (1.0, 3, 50_000, 3),  # at the largest value itself more than two, wherever
        (1.0, 2, 50_000, 0),
    ],
)
def test_a_peak_that_stays_at_one_value_is_cut_off(peak, flat, rate, clipped):
    rise = np.linspace(-0.01, 0.99 * peak, 40)
    for sign in (1, -1):
        assert faults(sign * np.array([*rise, *[peak] * flat, *rise[::-1]]), rate).clipped == clipped
    both = np.array([*rise, *[peak] * flat, *-rise, *[-peak] * flat, *rise])
    assert faults(both, rate).clipped == 2 * clipped


def test_the_meter_comes_within_a_third_of_the_power_in_its_time_constant():
    shown = fast(np.ones(RATE), RATE)
    for seconds in (0.05, 0.125, 0.5):
        assert shown[round(seconds * RATE) - 1] == pytest.approx(1 - math.exp(-seconds / 0.125))
    falling = fast(np.zeros(RATE), RATE, 4.0)
    assert falling[124] == pytest.approx(4 * math.exp(-1))


def test_a_steady_spectrum_gives_each_third_octave_its_width():
    hertz = np.arange(0, 8000.0)
    found = bands_db(hertz, np.full(8000, 0.01))
    assert list(found)[:2] == [100, 125]
    assert len(found) == 18
    for number, level in zip(range(-10, 8), found.values(), strict=True):
        middle = 1000 * 10 ** (number / 10)
        width = middle * (10**0.05 - 10**-0.05)
        assert level == pytest.approx(10 * math.log10(0.01 * width), abs=1e-6)


STEP = 0.25
HERTZ = np.arange(0, 6000, STEP)


def noise_of(lines, ground=1e-9):
    """A noise of the same power everywhere with lines of a power, by their frequency."""
    power = np.full(len(HERTZ), ground)
    for hertz, more in lines.items():
        power[round(hertz / STEP)] += more
    return Recording(48_000, 10.0, "x.wav", 0.01, (0.01, 0.1), (HERTZ, power))


def weight(hertz):
    return float(a_weighting(np.array([float(hertz)]))[0])


@pytest.mark.parametrize("mains", [50, 60])
@pytest.mark.parametrize(
    ("high", "kind"),
    [(0.0, NoiseKind.HUM), (0.19, NoiseKind.HUM), (0.21, NoiseKind.BUZZ), (0.9, NoiseKind.BUZZ)],
)
def test_lines_above_ten_times_the_mains_are_buzz_if_they_hold_a_fifth(mains, high, kind):
    """Each line has its share of the A-weighted power."""
    shares = {1: 0.2 * (1 - high), 2: 0.3 * (1 - high), 10: 0.5 * (1 - high), 11: 0.4 * high, 20: 0.6 * high}
    lines = {number * mains: share / weight(number * mains) for number, share in shares.items() if share}
    found = noise_of(lines).mains()
    assert (found.mains_hz, found.kind) == (pytest.approx(mains, rel=2e-3), kind)
    assert [line.hertz for line in found.lines] == pytest.approx(list(lines), rel=2e-3)
    expected = [10 * math.log10(share) for share in shares.values() if share]
    assert [line.level_db for line in found.lines] == pytest.approx(expected, abs=0.01)


def test_lines_with_less_than_half_of_the_power_make_no_noise_of_the_mains():
    for share, kind in ((0.4, NoiseKind.OTHER), (0.6, NoiseKind.HUM)):
        lines = {100: share / weight(100), 50: 1e-5 / weight(50)}
        rest = np.full(len(HERTZ), (1 - share) / float(np.sum(a_weighting(HERTZ))))
        found = noise_of(lines, rest[0]).mains()
        assert found.kind is kind
        assert [round(line.hertz) for line in found.lines] == [100], "the other is 50 dB below: not named"
    assert noise_of({}).mains() == wav_recording.MainsNoise(None, (), NoiseKind.OTHER)
    assert noise_of({}).mains().mains_hz is None


def test_a_high_multiple_may_be_off_by_a_thousandth_as_the_mains_and_the_clock_of_a_recorder_are():
    lines = {100: 0.3 / weight(100), 3003: 0.7 / weight(3003)}
    found = noise_of(lines).mains()
    assert found.kind is NoiseKind.BUZZ
    assert [round(line.hertz, -1) for line in found.lines] == [100, 3000]


def test_what_rises_by_less_than_ten_decibels_is_no_line():
    for rise, count in ((9.5, 1), (10.5, 2)):
        ground = 0.4 / float(np.sum(a_weighting(HERTZ)))
        more = ground * (10 ** (rise / 10) - 1)
        near = {1000 + STEP * step: more for step in range(-2, 3)}
        found = noise_of({100: 0.6 / weight(100), **near}, ground).mains()
        assert [round(line.hertz) for line in found.lines] == [100, 1000][:count]


def test_levels_are_those_of_the_meter_and_the_pitch_is_the_strongest_line():
    found = noise_of({440: 1.0, 1000: 0.5})
    assert (found.highest_db(), found.spread_db(), found.pitch_hz()) == pytest.approx((-20, 10, 440))
    assert found.weighted_db() == pytest.approx(10 * math.log10(weight(440) + 0.5), abs=1e-3)
    assert weight(1000) == pytest.approx(1)


@pytest.mark.parametrize(
    ("quiet", "spread"),
    [
        ((0, 1.5), 0.08),
        ((0, 1.95), 4.73),
        ((7, 8), 0.0),
        ((6.9, 8), 3.42),
        ((4, 5), 19.86),
        ((4, 4.05), 1.72),
    ],
)
def test_the_level_counts_from_the_second_quarter_to_the_last_eighth(quiet, spread):
    """The meter settles in the first quarter, and a fade may take the last eighth; 20 dB less for a time."""
    rate = 1000
    sound = np.where(np.arange(8 * rate) % 2, 1.0, -1.0)
    sound[round(quiet[0] * rate) : round(quiet[1] * rate)] *= 0.1
    meters = wav_recording._Meters(len(sound), rate)
    for block in np.array_split(sound, 7):
        meters.add(block)
    found = meters.recording("x.wav").spread_db()
    # the meter comes nearer to the new power, 0.01 or 1, with a time constant of 125 ms
    assert found == pytest.approx(spread, abs=0.08)


# -- the header ------------------------------------------------------------------------------------


def header(channels=2, rate=48_000, align=4, data=b"\0" * 40, size=None, extra=b"", mark=b"RIFF"):
    order = ">" if mark == b"RIFX" else "<"
    form = struct.pack(
        f"{order}HHIIHH", 1, channels, rate, rate * align, align, 8 * align // max(1, channels)
    )
    chunks = extra + b"fmt " + struct.pack(f"{order}I", 16) + form
    chunks += b"data" + struct.pack(f"{order}I", len(data) if size is None else size) + data
    return mark + struct.pack(f"{order}I", 4 + len(chunks)) + b"WAVE" + chunks


def read(raw):
    return _Wav.of(io.BytesIO(raw), "x.wav")


@pytest.mark.parametrize("mark", [b"RIFF", b"RIFX"])
def test_a_header_tells_rate_channels_and_length(mark):
    wav = read(header(mark=mark))
    assert (wav.rate, wav.channels, wav.align, wav.rows, wav.start) == (48_000, 2, 4, 10, 44)


def test_other_parts_of_a_file_are_passed_over_with_their_padding():
    order = b"LIST" + struct.pack("<I", 3) + b"abc\0"
    assert (read(header(extra=order)).start, read(header(extra=order)).rows) == (44 + 12, 10)
    assert read(header(size=4_000_000_000)).rows == 10, "cut off"
    assert read(header(size=7)).rows == 1
    many = (b"junk" + struct.pack("<I", 0)) * 999
    with pytest.raises(BadInput, match="header is wrong"):
        read(header(extra=many))
    assert read(header(extra=many[: 8 * 998])).rows == 10


def test_the_part_that_describes_the_format_has_a_thousand_bytes_at_most():
    raw = header()
    for size, right in ((40, True), (1000, True), (1001, False)):
        longer = struct.pack("<I", size) + raw[20:36] + bytes(size - 16 + size % 2)
        file = raw[:16] + longer + raw[36:]
        if right:
            assert (read(file).rate, read(file).rows) == (48_000, 10)
        else:
            with pytest.raises(BadInput, match="header is wrong"):
                read(file)


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"channels": 0}, "header is wrong"),
        ({"align": 0}, "header is wrong"),
        ({"channels": 2, "align": 5}, "header is wrong"),
        ({"channels": 1, "align": 9}, "header is wrong"),
        ({"data": b""}, "without samples"),
        ({"data": b"abc"}, "without samples"),
        ({"mark": b"RAFF"}, "no WAV file"),
    ],
)
def test_a_header_that_cannot_be_is_named(wrong, said):
    with pytest.raises(BadInput, match=said):
        read(header(**wrong))
    assert read(header(channels=1, align=8)).rows == 5
