"""Recordings through a coil: levels, weighting, response and noise, from signals of known values."""

from __future__ import annotations

import contextlib
import io
import json
import math
import struct
import subprocess
import sys
import tomllib
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import signal
from scipy.io import wavfile

import kb.loop
import kb.loop.wav_recording
from kb.base.errors import BadInput
from kb.cli.listen import listen_command
from kb.loop import tone
from kb.loop.listen import Recorded, hear, readings_text
from kb.loop.readings_file import readings_from
from kb.loop.standard import Channel, PlayedSignal, Probe
from kb.loop.tone import combi, noise_sections
from kb.loop.verdict import judge
from kb.loop.wav_recording import (
    BANDS_HZ,
    NoiseKind,
    Recording,
    a_weighting,
    bands_db,
    fast,
)

RATE = 48_000
CHANCE = np.random.default_rng(5)
HISS = CHANCE.standard_normal(14 * RATE)


def sine(hertz=1000.0, level_db=-20.0, seconds=4.0, rate=RATE):
    """A sine at a level re the largest one, without a fade."""
    return 10 ** (level_db / 20) * np.sin(2 * np.pi * hertz * np.arange(round(seconds * rate)) / rate)


def rec(sound, rate=RATE, name="coil.wav"):
    return Recording.of(np.asarray(sound, float), rate, name)


def recording_from(raw, name, **more):
    return kb.loop.wav_recording.recording_from(io.BytesIO(raw), name, **more)


def mains(times, f0, seconds=12):
    at = np.arange(round(seconds * RATE)) / RATE
    return sum(share * np.sin(2 * np.pi * f0 * number * at + number) for number, share in times.items())


HUM = {1: 1.0, 2: 0.5, 3: 0.3, 4: 0.1}
BUZZ = {2 * number: 1 / number for number in range(1, 25)}


@pytest.fixture(scope="module")
def played():
    """Our pink noise, through its filters by scipy, which is quicker; 26 dB below the largest sine."""
    sound = np.random.default_rng(8).uniform(-1, 1, 11 * RATE)
    for b, a in noise_sections():
        sound = signal.lfilter(b, a, sound)
    sound = sound[RATE // 2 :]
    return 0.1 / 2 / math.sqrt(2) * np.clip(sound / sound.std(), -4, 4)


def wav_bytes(sound, rate=RATE, kind="<i2"):
    """A WAV file of samples from -1 to 1, one column for each channel."""
    sound = np.asarray(sound, float)
    if kind == "<i2":
        sound = np.clip(np.rint(32767 * sound), -32768, 32767)
    elif kind == "<i4":
        sound = np.clip(np.rint((2**31 - 1) * sound), -(2**31), 2**31 - 1)
    elif kind == "u1":
        sound = np.rint(127 * sound + 128)
    out = io.BytesIO()
    wavfile.write(out, rate, sound.astype(kind))
    return out.getvalue()


# -- weighting and averaging, against the tables of IEC 61672-1 ----------------------------------------

#: Table 3 of IEC 61672-1, A, by nominal frequency: read in the data file of acoustic-toolbox 0.2.2 (BSD
#: licence); the same values as from memory.
A_TABLE = {
    10: -70.4, 12.5: -63.4, 16: -56.7, 20: -50.5, 25: -44.7, 31.5: -39.4, 40: -34.6, 50: -30.2, 63: -26.2,
    80: -22.5, 100: -19.1, 125: -16.1, 160: -13.4, 200: -10.9, 250: -8.6, 315: -6.6, 400: -4.8, 500: -3.2,
    630: -1.9, 800: -0.8, 1000: 0, 1250: 0.6, 1600: 1.0, 2000: 1.2, 2500: 1.3, 3150: 1.2, 4000: 1.0,
    5000: 0.5, 6300: -0.1, 8000: -1.1, 10000: -2.5, 12500: -4.3, 16000: -6.6, 20000: -9.3,
}  # fmt: skip


def test_the_a_weighting_is_that_of_the_table():
    # the table is rounded to 0.1 dB and counts at the exact frequencies 10^(n/10)
    exact = np.array([10 ** (number / 10) for number in range(10, 44)])
    found = 10 * np.log10(a_weighting(exact))
    assert np.max(np.abs(found - np.array(list(A_TABLE.values())))) <= 0.0501


def test_the_a_weighting_is_that_of_scipys_analog_filter():
    # four zeros at 0, double poles at 20.6 and 12194 Hz, single ones at 107.7 and 737.9 Hz (from memory)
    poles = [-2 * np.pi * each for each in (20.6, 20.6, 107.7, 737.9, 12194.0, 12194.0)]
    hertz = np.array([31.5, 100.0, 1000.0, 5000.0, 12500.0])
    gain = np.abs(signal.freqs_zpk([0, 0, 0, 0], poles, 1, 2 * np.pi * hertz)[1])
    assert 10 * np.log10(a_weighting(hertz)) == pytest.approx(20 * np.log10(gain / gain[2]), abs=1e-9)


@pytest.mark.parametrize(
    ("milliseconds", "level"),
    [(1000, 0.0), (500, -0.1), (200, -1.0), (100, -2.6), (50, -4.8), (20, -8.3), (10, -11.1), (5, -14.1),
     (2, -18.0), (1, -21.0)],
)  # fmt: skip
def test_the_125_ms_meter_reads_short_bursts_as_the_standard_says(milliseconds, level):
    # Table 4 of IEC 61672-1, F, bursts of 4 kHz re the steady tone (from memory; 10 lg(1 - exp(-t/125 ms)))
    burst = np.zeros(2 * RATE)
    length = round(milliseconds * RATE / 1000)
    burst[RATE // 2 : RATE // 2 + length] = sine(4000, 0, length / RATE)
    found = rec(burst).highest_db() - rec(sine(4000, 0)).highest_db()
    assert found == pytest.approx(level, abs=0.06)
    assert 10 * math.log10(-math.expm1(-milliseconds / 125)) == pytest.approx(level, abs=0.06)


def test_the_125_ms_meter_falls_by_34_7_db_a_second():
    # IEC 61672-1, 5.8 (from memory): 34.7 dB/s when the tone stops
    power = fast(np.concatenate([sine(seconds=2), np.zeros(RATE)]), RATE)
    assert 10 * math.log10(power[-1] / power[-RATE // 2 - 1]) == pytest.approx(-34.7 / 2, abs=0.05)


def test_a_sine_has_its_level_flat_and_weighted():
    # S44 and S45, cl. 6.1.3
    full = rec(sine(1000, 0)).highest_db()
    assert rec(sine(1000, -6)).highest_db() - full == pytest.approx(-6, abs=0.01)
    assert rec(sine(1000, 0)).weighted_db() - full == pytest.approx(0.0, abs=0.02)
    assert rec(sine(100, 0)).weighted_db() - full == pytest.approx(-19.1, abs=0.1)


def test_the_highest_reading_of_sine_and_noise_is_that_of_the_sine(played, monkeypatch):
    # S43, 6.6: 0.0 dB
    monkeypatch.setattr(tone, "pink", lambda count, seed: list(played[:count] / played[:count].std()))
    sound = rec(np.array(combi(11 * RATE)) / 4)
    assert sound.highest_db() - rec(sine(level_db=20 * math.log10(1 / 4))).highest_db() == pytest.approx(
        0, abs=0.05
    )


def test_third_octaves_have_the_bands_of_the_standard():
    # IEC 61260-1: midbands 1000 * 10^(n/10), shown by their nominal frequencies (ISO 266)
    assert list(BANDS_HZ)[::17] == [100.0, 5000.0]
    assert all(abs(exact / nominal - 1) < 0.02 for nominal, exact in BANDS_HZ.items())
    hertz = np.arange(0, 10_000, 0.5)
    white = bands_db(hertz, np.ones(len(hertz)))
    # the width of a band is 23% of its middle, and white noise rises by 1 dB a band
    assert white[1000.0] == pytest.approx(10 * math.log10(2 * 1000 * (10**0.05 - 10**-0.05)), abs=0.02)
    assert white[5000.0] - white[1000.0] == pytest.approx(7, abs=0.02)
    # a tone on the edge of two bands is half in each
    one = np.zeros(len(hertz))
    one[round(BANDS_HZ[1000.0] * 10**0.05 / 0.5)] = 1
    split = bands_db(hertz, one)
    assert 10 ** (split[1000.0] / 10) + 10 ** (split[1250.0] / 10) == pytest.approx(1, abs=1e-6)


# -- response -------------------------------------------------------------------------------------------


def test_our_own_noise_comes_back_flat(played):
    # a block of ten seconds: a third octave at 100 Hz has some 0.3 dB of chance in it
    response = hear(Recorded(pink=rec(played))).response
    assert list(response) == list(BANDS_HZ)
    assert max(abs(level) for level in response.values()) < 0.8
    assert response[1000.0] == 0


def test_the_response_is_that_of_the_filter_between(played):
    # a first-order loss from 2 kHz on, as metal takes treble away; scipy computes it
    b, a = signal.butter(1, 2000, fs=RATE)
    coil = rec(signal.lfilter(b, a, played))
    want = {
        hertz: 20 * math.log10(abs(signal.freqz(b, a, worN=[hertz], fs=RATE)[1][0])) for hertz in BANDS_HZ
    }
    for source, near in ((None, 0.8), (rec(played, name="played.wav"), 0.2)):
        found = hear(Recorded(pink=coil, source=source)).response
        for hertz, level in found.items():
            assert level == pytest.approx(want[hertz] - want[1000.0], abs=near), hertz


def test_a_bare_coil_rises_by_6_db_an_octave_and_is_made_flat_if_told(played):
    coil = np.diff(played) * RATE / (2 * np.pi * 1000)
    raw = wav_bytes(coil / 4)
    taken = {probe: recording_from(raw, "coil.wav", least_s=10, probe=probe) for probe in Probe}
    flat = hear(Recorded(pink=taken[Probe.FLAT]))
    assert flat.response[5000.0] - flat.response[100.0] == pytest.approx(34, abs=1)
    assert "rising" in [note.key.split("/")[-1] for note in flat.notes]
    right = hear(Recorded(pink=taken[Probe.COIL]))
    # np.diff falls a little short of the slope at the top
    assert max(abs(level) for level in right.response.values()) < 1.0
    assert "rising" not in [note.key.split("/")[-1] for note in right.notes]


def test_what_noise_hides_is_left_out_of_the_response(played):
    noise = mains({2: 0.05}, 50)
    heard = hear(Recorded(pink=rec(played + noise[: len(played)]), on=rec(noise + 1e-6 * HISS[: len(noise)])))
    assert heard.hidden == (100.0,)
    assert 100.0 not in heard.response
    assert 125.0 in heard.response


# -- noise ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("f0", [50.0, 50.07, 49.9, 60.0, 59.95])
@pytest.mark.parametrize(("times", "kind"), [(HUM, NoiseKind.HUM), (BUZZ, NoiseKind.BUZZ)])
def test_hum_and_buzz_are_told_apart_at_either_mains(f0, times, kind):
    found = rec(0.01 * mains(times, f0) + 1e-5 * HISS[: 12 * RATE]).mains()
    assert found.kind is kind
    assert found.mains_hz == pytest.approx(f0, abs=0.1)
    lines = {round(line.hertz / f0) for line in found.lines}
    assert lines == set(times)


def test_a_line_has_its_share_of_the_noise():
    hum = 0.01 * mains({1: 1.0, 3: 1.0}, 50)
    lines = {round(line.hertz): line.level_db for line in rec(hum + 1e-7 * HISS[: len(hum)]).mains().lines}
    assert lines[50] - lines[150] == pytest.approx(A_TABLE[50] + 14.0, abs=0.7)  # 150 Hz: about -14 dB
    assert 10 * math.log10(sum(10 ** (level / 10) for level in lines.values())) == pytest.approx(0, abs=0.1)


def test_hiss_is_not_of_the_mains():
    assert rec(0.01 * HISS).mains().kind is NoiseKind.OTHER
    hum = rec(0.01 * HISS[: 12 * RATE] + 0.002 * mains({1: 1}, 50)).mains()
    assert (hum.kind, hum.mains_hz) == (NoiseKind.OTHER, pytest.approx(50, abs=0.1))


def test_noise_is_told_against_the_signal():
    tone, hiss = sine(level_db=-10, seconds=4), 10 ** (-60 / 20) * sine(1000, 0, 12)
    heard = hear(Recorded(sine=rec(tone), off=rec(hiss)))
    assert heard.noise["off"].re_signal_db == pytest.approx(-50, abs=0.05)
    assert heard.noise["off"].dba is None
    assert heard.field_db is None


def test_noise_against_pink_noise_counts_as_against_a_sine(played):
    # Table 3: the r.m.s. meter reads -6 dB with it. Its highest 125 ms level is above that of the whole.
    hiss = 10 ** (-60 / 20) * sine(1000, 0, 12)
    by_sine = hear(Recorded(sine=rec(sine(level_db=-20)), off=rec(hiss))).noise["off"].re_signal_db
    by_pink = hear(Recorded(pink=rec(played), off=rec(hiss))).noise["off"].re_signal_db
    assert by_sine - 3 < by_pink < by_sine + 0.5


# -- relative and absolute ----------------------------------------------------------------------------------


def test_a_calibration_makes_levels_absolute():
    tone = rec(sine(level_db=-26))
    heard = hear(
        Recorded(sine=rec(sine(level_db=-23)), off=rec(sine(1000, -80, 12)), calibration=tone,
                 calibration_a_per_m=0.4)
    )  # fmt: skip
    assert heard.field_db == pytest.approx(3.0, abs=0.01)
    assert heard.noise["off"].dba == pytest.approx(-54, abs=0.05)
    assert not [note for note in heard.notes if note.key == "loop/heard/relative"]


def test_what_is_relative_is_in_no_readings_file(played):
    relative = hear(Recorded(sine=rec(sine()), pink=rec(played), off=rec(1e-4 * HISS), on=rec(1e-4 * HISS)))
    data = tomllib.loads(readings_text(relative, name="sofa", date="2026-03-04"))
    assert set(data) == {"date", "positions"}
    assert set(data["positions"][0]) == {"name", "response_db"}
    assert [note.key for note in relative.notes if "relative" in note.key] == ["loop/heard/relative"]
    said = json.loads(json.dumps(relative.as_json()))
    absolute = [
        said["field_db_re_400_ma_per_m"],
        *(each["dba_re_400_ma_per_m"] for each in said["noise"].values()),
    ]
    assert absolute == [None, None, None]
    with pytest.raises(BadInput, match="relative"):
        readings_text(hear(Recorded(sine=rec(sine()), off=rec(1e-4 * HISS))), name="sofa", date="2026-03-04")


def test_a_calibrated_place_is_judged(played):
    tone = rec(sine(level_db=-20))
    heard = hear(
        Recorded(sine=tone, pink=rec(played), off=rec(1e-5 * HISS), on=rec(1e-5 * HISS), calibration=tone,
                 calibration_a_per_m=0.41)
    )  # fmt: skip
    text = readings_text(heard, name='so"fa', date="2026-03-04")
    judged = judge(readings_from(tomllib.loads(text)))
    assert judged.verdict == "meets"
    assert judged.readings.positions[0].name == 'so"fa'


def test_a_sine_that_fills_the_file_has_zero_decibels_of_full_scale():
    for level in (0.0, -6.0, -40.0):
        heard = hear(Recorded(sine=rec(sine(level_db=level))))
        assert heard.full_scale_db == pytest.approx(level, abs=0.01)


def test_a_recording_has_from_32_to_192_thousand_samples_a_second_and_eight_channels_at_most():
    hiss = 0.1 * HISS[: 32_000 * 4]
    for sound, rate in ((hiss, 32_000), (hiss, 192_000), (np.stack([hiss] * 8, 1), 32_000)):
        assert recording_from(wav_bytes(sound, rate=rate), "x.wav", least_s=0.5).rate == rate
    for sound, rate in ((hiss, 31_999), (hiss, 192_001), (np.stack([hiss] * 9, 1), 48_000)):
        with pytest.raises(BadInput, match=r"x\.wav"):
            recording_from(wav_bytes(sound, rate=rate), "x.wav", least_s=0.5)


@pytest.mark.parametrize(("hertz", "told"), [(899, True), (900, False), (1100, False), (1101, True)])
def test_a_sine_more_than_a_tenth_away_from_a_thousand_hertz_is_told_and_calibrates_nothing(hertz, told):
    heard = rec(sine(hertz))
    notes = hear(Recorded(sine=heard)).notes
    assert any(note.key == "loop/heard/pitch" for note in notes) is told
    with pytest.raises(BadInput) if told else contextlib.nullcontext():
        hear(Recorded(sine=heard, calibration=heard, calibration_a_per_m=0.4))


@pytest.mark.parametrize(("gain_db", "rate"), [(-50, 44_100), (-0.3, 48_000)])
def test_a_gain_changes_nothing_that_is_relative(gain_db, rate):
    gain = 10 ** (gain_db / 20)
    at = np.arange(12 * rate) / rate
    hiss = HISS[: len(at)]
    kept = {
        "sine": 0.2 * np.sin(2 * np.pi * 1000 * at),
        "pink": 0.1 * hiss,
        "off": 1e-4 * hiss + 1e-3 * np.sin(2 * np.pi * 50 * at) + 1e-3 * np.sin(2 * np.pi * 100 * at),
    }
    one, other = (
        hear(
            Recorded(**{name: rec(by * sound, rate) for name, sound in kept.items()},
                     calibration=rec(by * kept["sine"], rate), calibration_a_per_m=0.35)
        )
        for by in (1.0, gain)
    )  # fmt: skip
    assert other.full_scale_db - one.full_scale_db == pytest.approx(gain_db, abs=1e-6)
    assert other.field_db == pytest.approx(one.field_db, abs=1e-6)
    assert other.response == pytest.approx(one.response, abs=1e-6)
    assert other.hidden == one.hidden
    assert other.noise["off"].dba == pytest.approx(one.noise["off"].dba, abs=1e-6)
    assert other.noise["off"].re_signal_db == pytest.approx(one.noise["off"].re_signal_db, abs=1e-6)
    assert other.noise["off"].mains.kind is one.noise["off"].mains.kind
    assert other.notes == one.notes


# -- foreign files ----------------------------------------------------------------------------------------


def refused(raw, least_s=2.0, **more):
    with pytest.raises(BadInput) as said:
        recording_from(raw, "coil.wav", least_s=least_s, **more)
    assert str(said.value).startswith("coil.wav: ")
    return str(said.value)


def header(**changed):
    """A WAV header by its fields, with a second and a half of noise."""
    fields = {"tag": 1, "channels": 1, "rate": RATE, "bits": 16, "data": None, "riff": b"RIFF"} | changed
    sound = np.rint(3000 * HISS[: 3 * RATE]).clip(-32768, 32767).astype("<i2").tobytes()
    align = fields["channels"] * fields["bits"] // 8
    size = len(sound) if fields["data"] is None else fields["data"]
    form = struct.pack("<HHIIHH", fields["tag"], fields["channels"], fields["rate"],
                       (fields["rate"] * align) % 2**32, align, fields["bits"])  # fmt: skip
    inside = b"WAVEfmt " + struct.pack("<I", len(form)) + form + b"data" + struct.pack("<I", size) + sound
    return fields["riff"] + struct.pack("<I", len(inside)) + inside


def test_a_plain_recording_is_read():
    found = recording_from(header(), "coil.wav", least_s=2)
    assert (found.rate, found.seconds, found.channel) == (RATE, 3.0, None)


@pytest.mark.parametrize(
    "raw",
    [
        b"", b"RIFF", b"RIFF\0\0\0\0WAVE", header()[:30], header(channels=0), header(bits=0), header(rate=0),
        header(bits=13), header(tag=85), header(tag=0xFFFE), header(data=2**32 - 1)[:61],
        header(riff=b"RIFX"), header(channels=2, bits=16_000),
        header(channels=9), header(rate=2**32 - 1), b"RIFF\xff\xff\xff\xffWAVEfmt \xff\xff\xff\xff",
        b"\0" * 500, "résumé".encode() * 40,
    ],
)  # fmt: skip
def test_a_wrong_header_is_named_and_never_a_traceback(raw):
    refused(raw)


@settings(max_examples=50, deadline=None)
@given(st.data())
def test_no_damage_to_a_file_ends_in_a_traceback(data):
    raw = bytearray(header())
    for _ in range(data.draw(st.integers(1, 6))):
        raw[data.draw(st.integers(0, 43))] = data.draw(st.integers(0, 255))
    raw = raw[: data.draw(st.sampled_from([len(raw), 44, 45, 60, 47_001]))]
    with contextlib.suppress(BadInput):
        recording_from(bytes(raw), "coil.wav", least_s=0.5)


@pytest.mark.parametrize(
    ("start", "kind"),
    [
        (b"ID3\4", "MP3"),
        (b"OggS\0", "Ogg"),
        (b"fLaC", "FLAC"),
        (b"\0\0\0\x1cftypM4A ", "M4A"),
        (b"FORM", "AIFF"),
    ],
)
def test_another_format_is_named(start, kind):
    assert kind in refused(start + bytes(200))


def test_sizes_are_bounded():
    assert "1.0 s" in refused(wav_bytes(0.1 * HISS[:RATE]))
    assert "8000 samples a second" in refused(wav_bytes(0.1 * HISS[:40_000], rate=8000))
    assert "8 bits" in refused(wav_bytes(0.1 * HISS[: 3 * RATE], kind="u1"))


def test_silence_and_a_gate_are_told():
    assert "silent" in refused(wav_bytes(np.zeros(3 * RATE)))
    gated = 0.01 * HISS[: 12 * RATE]
    gated[3 * RATE : 4 * RATE] = 0
    assert "noise reduction" in refused(wav_bytes(gated))


@pytest.mark.parametrize("limit", [1.0, 0.6])
@pytest.mark.parametrize("over_db", [1.0, 6.0])
def test_clipping_is_told_at_full_scale_and_below(limit, over_db, played):
    loud = np.clip(limit * 10 ** (over_db / 20) * sine(level_db=0), -limit, limit)
    assert "clipped" in refused(wav_bytes(loud))
    noisy = np.clip(limit * 10 ** (over_db / 20) * played / np.abs(played).max(), -limit, limit)
    assert "clipped" in refused(wav_bytes(noisy))


@pytest.mark.parametrize("hertz", [50.0, 100.0, 1000.0, 999.7, 5000.0, 4800.0])
@pytest.mark.parametrize("level", [-0.2, -6.0, -11.0, -30.0])
def test_a_sine_that_is_not_clipped_is_not_said_to_be(hertz, level):
    recording_from(wav_bytes(sine(hertz, level)), "coil.wav", least_s=2)


def test_values_that_are_no_sound_are_refused():
    wrong = 0.1 * HISS[: 3 * RATE]
    wrong[1000] = np.inf
    assert "no sound" in refused(wav_bytes(wrong, kind="<f4"))
    wrong[1000] = np.nan
    assert "no sound" in refused(wav_bytes(wrong, kind="<f8"))


@pytest.mark.parametrize("kind", ["<i2", "<i4", "<f4", "<f8"])
def test_every_usual_depth_gives_the_same_level(kind):
    found = recording_from(wav_bytes(sine(level_db=-20), kind=kind), "coil.wav", least_s=2)
    assert found.highest_db() == pytest.approx(-23.01, abs=0.01)


@pytest.mark.parametrize("probe", list(Probe))
def test_blocks_of_any_size_give_the_levels_of_the_whole(monkeypatch, probe):
    # peaks, the meter, the spectrum and flat pieces go across the borders of blocks
    sound = 0.02 * HISS[: 13 * RATE] + sine(level_db=-30, seconds=13) + 0.01
    found = []
    for block in (13 * RATE, 10_007):
        monkeypatch.setattr("kb.loop.wav_recording._BLOCK", block)
        found.append(recording_from(wav_bytes(sound), "coil.wav", least_s=10, probe=probe))
    whole, parts = found
    assert parts.highest_db() == pytest.approx(whole.highest_db(), abs=1e-9)
    assert parts.spread_db() == pytest.approx(whole.spread_db(), abs=1e-9)
    assert parts.bands_db() == pytest.approx(whole.bands_db(), abs=1e-9)
    # scipy's own averaging over the whole
    samples = np.rint(32767 * sound) / 32768
    power = signal.welch(samples - samples.mean(), RATE, nperseg=round(13 / 5 * RATE))[1]
    if probe is Probe.FLAT:
        assert whole.spectrum[1] == pytest.approx(power * 5 / 13, rel=1e-5)


@pytest.mark.parametrize("block", [256, 1000, 8192])
def test_a_gate_and_a_flat_peak_are_seen_across_blocks(monkeypatch, block):
    monkeypatch.setattr("kb.loop.wav_recording._BLOCK", block * 8)
    gated = 0.01 * HISS[: 3 * RATE]
    gated[block * 8 - 100 : block * 8 + RATE // 2] = 0
    assert "silent" in refused(wav_bytes(gated))
    cut = 0.1 * np.clip(HISS[: 3 * RATE], -4, 4)
    cut[block * 8 - 3 : block * 8 + 3] = 0.6
    assert "clipped (6 samples" in refused(wav_bytes(cut))


def test_the_level_of_a_bare_coil_is_that_of_the_field():
    # its voltage is the field's times the frequency
    for hertz in (100.0, 1000.0, 5000.0):
        raw = wav_bytes(hertz / 1000 * sine(hertz, level_db=-30))
        found = recording_from(raw, "coil.wav", least_s=2, probe=Probe.COIL)
        assert found.highest_db() == pytest.approx(-33.01, abs=0.5 if hertz > 1000 else 0.05), hertz
        assert 10 * math.log10(found.spectrum[1].sum()) == pytest.approx(-33.01, abs=0.05)


_HEAR = """
import sys
from kb.loop.wav_recording import recording_from
with open(sys.argv[1], "rb") as file:
    recording_from(file, "coil.wav", least_s=10)
print(next(line for line in open("/proc/self/status") if line.startswith("VmHWM")).split()[1])
"""


def test_memory_does_not_grow_with_the_length(tmp_path):
    if not Path("/proc/self/status").exists():
        pytest.skip("this system does not say how much memory a process took")
    file, most = tmp_path / "coil.wav", []
    for seconds in (25, 150):
        file.write_bytes(wav_bytes(0.1 * np.resize(HISS, seconds * RATE)))
        heard = subprocess.run(
            [sys.executable, "-c", _HEAR, str(file)], capture_output=True, text=True, check=True
        )
        most.append(int(heard.stdout))
    # the whole would be six times as much: 48 MB more for its samples alone
    assert most[1] < 1.25 * most[0]


def form(kind, fields, more=b"", order="<"):
    body = struct.pack(f"{order}HHIIHH", *fields) + more
    return kind + struct.pack(f"{order}I", len(body)) + body


def test_files_as_recorders_write_them_are_read():
    tone = np.stack([sine(level_db=-20, seconds=3), 0.001 * HISS[: 3 * RATE]], axis=1)
    # 24 bits in the extensible format, after a note of odd length; its id says PCM (RFC 2361)
    pcm = b"\x01\x00\x00\x00\x00\x00\x10\x00\x80\x00\x00\xaa\x008\x9bq"
    deep = np.rint((2**23 - 1) * tone).astype("<i4").reshape(-1, 1).view("u1")[:, :3].tobytes()
    head = form(b"fmt ", (0xFFFE, 2, RATE, 6 * RATE, 6, 24), struct.pack("<HHI", 22, 24, 3) + pcm)
    inside = b"WAVELIST\x05\x00\x00\x00noted\x00" + head + b"data" + struct.pack("<I", len(deep)) + deep
    # 16 bits, big end first, with something after the sound
    wide = np.rint((2**15 - 1) * tone).astype(">i2").tobytes()
    front = form(b"fmt ", (1, 2, RATE, 4 * RATE, 4, 16), order=">")
    behind = b"WAVE" + front + b"data" + struct.pack(">I", len(wide)) + wide + b"junk" + bytes(50)
    for raw in (
        b"RIFF" + struct.pack("<I", len(inside)) + inside,
        b"RIFX" + struct.pack(">I", len(behind)) + behind,
    ):
        found = recording_from(raw, "coil.wav", least_s=2)
        assert (found.seconds, found.channel) == (3.0, Channel.LEFT)
        assert found.highest_db() == pytest.approx(-23.01, abs=0.01)


def test_a_long_file_and_one_that_was_cut_off_are_read():
    plain = header()
    data = plain.index(b"data")
    sizes = struct.pack("<QQQ", len(plain) + 36, len(plain) - data - 8, 3 * RATE) + bytes(4)
    long = b"RF64" + b"\xff" * 4 + b"WAVEds64" + struct.pack("<I", 28) + sizes
    long += plain[12 : data + 4] + b"\xff" * 4 + plain[data + 8 :] + b"LIST\4\0\0\0abcd"
    assert recording_from(long, "coil.wav", least_s=2).seconds == 3.0
    cut = header(data=2**31)
    assert recording_from(cut, "coil.wav", least_s=2).seconds == 3.0


def test_the_louder_channel_is_taken_unless_one_is_named():
    both = np.stack([0.001 * HISS[: 4 * RATE], sine(level_db=-20)], axis=1)
    assert recording_from(wav_bytes(both), "coil.wav", least_s=2).channel is Channel.RIGHT
    alike = np.stack([sine(level_db=-20)] * 2, axis=1)
    for sound in (both[:, ::-1], alike):
        assert recording_from(wav_bytes(sound), "coil.wav", least_s=2).channel is Channel.LEFT
    left = recording_from(wav_bytes(both), "coil.wav", least_s=2, channel=Channel.LEFT)
    assert left.highest_db() < -50


# -- the command ------------------------------------------------------------------------------------------


@pytest.fixture
def folder(tmp_path, monkeypatch, played):
    monkeypatch.setenv("JACKFIELD_HOME", str(tmp_path / "none"))
    monkeypatch.chdir(tmp_path)
    for name, sound in {
        "sine": sine(level_db=-20), "pink": played, "off": 1e-4 * HISS + 1e-3 * mains(HUM, 50, 14),
        "on": 1e-4 * HISS + 2e-3 * mains(HUM, 50, 14),
    }.items():  # fmt: skip
        (tmp_path / f"{name}.wav").write_bytes(wav_bytes(sound))
    return tmp_path


def run(*typed):
    return CliRunner().invoke(listen_command, list(typed))


def wrong(*typed):
    """The message about what was typed; kb/cli/main.py shows it and ends with exit code 2."""
    done = run(*typed)
    assert isinstance(done.exception, BadInput)
    assert done.stdout == ""
    return str(done.exception)


def test_the_command_writes_a_readings_file_and_adds_a_place(folder):
    typed = (
        "--sine",
        "sine.wav",
        "--pink",
        "pink.wav",
        "--off",
        "off.wav",
        "--calibration",
        "sine.wav",
        "410",
    )
    done = run(*typed, "--place", "sofa", "--out", "readings.toml")
    assert done.exit_code == 0, done.output
    assert "+0.2 dB re 400 mA/m" in done.stdout
    assert "50, 100, 150, 200 Hz" in done.stdout
    again = run(*typed, "--place", "chair", "--add", "readings.toml")
    assert again.exit_code == 0, again.output
    readings = readings_from(tomllib.loads((folder / "readings.toml").read_text()))
    assert [each.name for each in readings.positions] == ["sofa", "chair"]
    assert readings.signal is PlayedSignal.SINE
    before = (folder / "readings.toml").read_text()
    assert "no other position" in wrong(*typed, "--place", "chair", "--add", "readings.toml")
    assert (folder / "readings.toml").read_text() == before


def test_the_command_says_what_is_relative(folder):
    done = run("--pink", "pink.wav", "--off", "off.wav")
    assert "Without a calibration" in " ".join(done.stdout.split())
    assert "not re 400 mA/m" in " ".join(done.stdout.split())
    assert "dB re 400 mA/m\n" not in done.stdout
    assert "relative" in wrong("--off", "off.wav", "--out", "readings.toml")
    assert not (folder / "readings.toml").exists()


def test_the_command_names_the_file_and_the_problem(folder):
    (folder / "loud.wav").write_bytes(wav_bytes(np.clip(2 * sine(level_db=0), -1, 1)))
    assert wrong("--sine", "loud.wav", "--json").startswith("loud.wav: is clipped")
    assert "at least one recording" in wrong()
    assert "TOML" in wrong("--sine", "sine.wav", "--out", "readings.json")
    assert "file not found" in wrong("--sine", "none.wav")
    assert "no steady 1 kHz sine" in wrong("--sine", "sine.wav", "--calibration", "pink.wav", "400")


def test_without_its_libraries_the_command_says_what_to_install(folder, monkeypatch):
    for name in ("numpy", "kb.loop.listen", "kb.loop.wav_recording"):
        monkeypatch.setitem(sys.modules, name, None)
    monkeypatch.delitem(sys.modules, "kb.loop.listen")
    monkeypatch.delitem(sys.modules, "kb.loop.wav_recording")
    monkeypatch.delattr(kb.loop, "listen")
    assert "pip install '.[listen]'" in wrong("--sine", "sine.wav")


def test_a_recording_is_bounded_in_length(monkeypatch):
    monkeypatch.setattr("kb.loop.wav_recording.MOST_S", 2.0)
    assert "2 s or less" in refused(wav_bytes(0.1 * HISS[: 3 * RATE]))
