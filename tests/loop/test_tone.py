"""Test signals: levels, band and crest of IEC 60118-4 (second-hand), and nothing that is suddenly loud."""

from __future__ import annotations

import io
import json
import math
import wave

import numpy as np
import pytest
from click.testing import CliRunner
from scipy import signal

from kb.base.errors import BadInput
from kb.cli.tone import tone_command
from kb.loop import tone as tones
from kb.loop.tone import RATE_HZ, Tone, combi, noise_sections, pink, samples, wav


def rms(sound):
    return float(np.sqrt(np.mean(np.square(sound))))


@pytest.fixture(scope="module")
def noise():
    return np.array(pink(4 * RATE_HZ))


def test_the_filters_of_the_pink_noise_are_flat_within_1_db():
    # cl. 6.4: against 3 dB an octave, 100 Hz to 5 kHz; scipy computes the filters' response
    hertz = np.geomspace(100, 5000, 200)
    response = np.ones(len(hertz), complex)
    for b, a in noise_sections():
        response *= signal.freqz(b, a, worN=hertz, fs=RATE_HZ)[1]
    level = 20 * np.log10(np.abs(response)) + 10 * np.log10(hertz)
    level -= level[np.argmin(abs(hertz - 1000))]
    assert np.max(np.abs(level)) < 1.0
    # the third-order filters at the ends: 18 dB an octave below 75 Hz
    ends = np.array([30.0, 15.0])
    below = np.ones(2, complex)
    for b, a in noise_sections():
        below *= signal.freqz(b, a, worN=ends, fs=RATE_HZ)[1]
    fall = 20 * np.log10(np.abs(below[0] / below[1])) - 10 * np.log10(0.5)
    assert fall == pytest.approx(18 + 3, abs=3.5)


def test_the_noise_itself_has_equal_power_in_each_octave(noise):
    hertz, power = signal.welch(noise, RATE_HZ, nperseg=8192)
    bands = []
    for centre in (250, 500, 1000, 2000, 4000):
        inside = (hertz >= centre / math.sqrt(2)) & (hertz < centre * math.sqrt(2))
        bands.append(10 * math.log10(float(power[inside].sum())))
    assert max(bands) - min(bands) < 1.5


def test_the_crest_factor_of_the_noise_is_4(noise):
    # S40, cl. 6.4: peak-to-peak over r.m.s. at least 18 dB, at most 20 (62489-1, 5.4.8.2 b)
    span = 20 * math.log10((noise.max() - noise.min()) / rms(noise))
    assert 18 <= span <= 20
    assert span == pytest.approx(18.062, abs=0.06)
    assert noise.max() == pytest.approx(-noise.min(), rel=1e-6)
    assert rms(noise) == pytest.approx(1, rel=0.01)


def test_sine_and_noise_in_turn(noise, monkeypatch):
    # Table 2 and S41 to S43
    monkeypatch.setattr(tones, "pink", lambda count, seed: list(noise[:count]))
    sound = np.array(combi(11 * RATE_HZ))
    tone = sound[4 * RATE_HZ : 5 * RATE_HZ]
    hiss = sound[: 4 * RATE_HZ - RATE_HZ // 100]
    middle = tone[RATE_HZ // 4 : 3 * RATE_HZ // 4]
    assert 20 * math.log10(rms(hiss) / rms(middle)) == pytest.approx(-6, abs=0.05)
    assert 20 * math.log10(max(abs(middle)) / max(abs(hiss))) == pytest.approx(-3.03, abs=0.1)
    whole = sound[: 5 * RATE_HZ]
    assert 20 * math.log10(rms(whole) / rms(middle)) == pytest.approx(-3.97, abs=0.1)
    assert np.max(np.abs(np.diff(sound))) < 2.0  # no jump where they are joined


def test_a_sine_has_the_level_and_pitch_asked_for():
    sound = np.array(samples(Tone.SINE, seconds=4, level_db=-20, hertz=500))
    steady = sound[2 * RATE_HZ : 3 * RATE_HZ]
    assert 20 * math.log10(rms(steady) * math.sqrt(2)) == pytest.approx(-20, abs=0.01)
    spectrum = np.abs(np.fft.rfft(steady))
    assert np.argmax(spectrum) == 500  # a second long: a hertz a bin


@pytest.mark.parametrize("tone", Tone)
def test_nothing_is_suddenly_loud_and_nothing_clips(tone, noise, monkeypatch):
    monkeypatch.setattr(tones, "pink", lambda count, seed: list(noise[:count]))
    sound = np.array(samples(tone, seconds=3, level_db=-3.1))
    assert np.max(np.abs(sound)) <= 1.0
    assert np.max(np.abs(sound[: RATE_HZ // 20])) < 0.05
    assert abs(sound[-1]) < 1e-3


def read(data):
    with wave.open(io.BytesIO(data)) as file:
        assert (file.getnchannels(), file.getsampwidth(), file.getframerate()) == (2, 2, tones.RATE_HZ)
        return np.frombuffer(file.readframes(file.getnframes()), "<i2").reshape(-1, 2)


def test_left_has_one_beep_and_right_two(monkeypatch):
    monkeypatch.setattr(tones, "RATE_HZ", 4800)
    sides = read(wav(Tone.SIDES, seconds=6))[3 * 4800 :]
    for side, beeps in ((0, 1), (1, 2)):
        loud = np.abs(sides[:, side]).reshape(-1, 96).max(axis=1) > 1000
        assert int(np.sum(np.diff(loud.astype(int)) == 1)) + int(loud[0]) == beeps


@pytest.mark.parametrize(
    "wrong", [{"seconds": 0.5}, {"seconds": 601}, {"level_db": -3}, {"hertz": 5}, {"mains_hz": float("nan")}]
)
def test_what_cannot_be_played_is_refused(wrong):
    with pytest.raises(BadInput):
        samples(Tone.SINE, **{"seconds": 1, **wrong})


def test_the_command_writes_the_file_and_says_to_turn_the_driver_down_first(tmp_path, monkeypatch):
    monkeypatch.setenv("JACKFIELD_HOME", str(tmp_path / "none"))
    file = tmp_path / "t.wav"
    done = CliRunner().invoke(tone_command, ["sine", "--seconds", "2", "--out", str(file)])
    assert done.exit_code == 0
    assert "Turn the driver down" in done.stderr
    assert "1 kHz sine" in " ".join(done.stdout.split())  # where lines break depends on the file's name
    assert len(read(file.read_bytes())) == 2 * RATE_HZ
    told = CliRunner().invoke(tone_command, ["sides", "--seconds", "2", "--out", str(file), "--json"])
    assert json.loads(told.stdout)["signal"] == "sides"
