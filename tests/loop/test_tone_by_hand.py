"""Check the pieces of the test signals against scipy's filters and formulas for a single sample."""

from __future__ import annotations

import io
import math
import random
import wave

import numpy as np
import pytest
from scipy import signal

from kb.base.errors import BadInput
from kb.loop import tone
from kb.loop.tone import (
    BAND_HZ,
    CREST,
    RATE_HZ,
    Tone,
    _beeping,
    _butterworth,
    _faded,
    _filtered,
    _lines,
    _sine,
    _sweep,
    _with_crest,
    combi,
    noise_sections,
    pink,
    samples,
    wav,
)

HERTZ = np.array([20.0, 75.0, 300.0, 1000.0, 6500.0, 15_000.0])


@pytest.mark.parametrize(("hertz", "kind"), [(75.0, "highpass"), (6500.0, "lowpass"), (1000.0, "highpass")])
def test_the_filters_of_the_band_are_butterworths_of_the_third_order(hertz, kind):
    response = np.ones(len(HERTZ), complex)
    for b, a in _butterworth(hertz, high_pass=kind == "highpass"):
        response *= signal.freqz(b, a, HERTZ, fs=RATE_HZ)[1]
    expected = signal.freqz(*signal.butter(3, hertz, kind, fs=RATE_HZ), HERTZ, fs=RATE_HZ)[1]
    assert response == pytest.approx(expected, rel=1e-6, abs=1e-9)


def test_a_section_filters_as_scipy_does():
    chance = random.Random(3)
    sound = [chance.random() - 0.5 for _ in range(60)]
    for b, a in [((1.0, -0.4), (1.0, -0.9)), ((0.2, 0.4, 0.2), (1.0, -0.5, 0.3))]:
        assert _filtered(sound, b, a) == pytest.approx(list(signal.lfilter(b, a, sound)))


def test_the_poles_of_pink_noise_lie_from_15_hz_to_24_khz_with_the_zeros_between():
    sections = noise_sections()
    assert len(sections) == 9 + 4
    poles = [-math.log(-a[1]) * RATE_HZ / (2 * math.pi) for _, a in sections[:9]]
    zeros = [-math.log(-b[1]) * RATE_HZ / (2 * math.pi) for b, _ in sections[:9]]
    assert poles[0] == pytest.approx(15)
    assert poles[-1] * (poles[1] / poles[0]) == pytest.approx(15 * 10**3.2)
    for number, zero in enumerate(zeros):
        assert zero == pytest.approx(math.sqrt(poles[number] * poles[number] * poles[1] / poles[0]))
    assert sections[9:] == [
        *_butterworth(BAND_HZ[0], high_pass=True),
        *_butterworth(BAND_HZ[1], high_pass=False),
    ]


@pytest.mark.parametrize("spike", [0.0, 9.0])
def test_noise_is_brought_to_an_rms_of_one_and_to_peaks_of_four(spike):
    chance = random.Random(4)
    sound = [chance.gauss(0, 0.7) for _ in range(4000)]
    sound[17] += spike
    found = _with_crest(sound)
    rms = math.sqrt(sum(value * value for value in found) / len(found))
    assert rms == pytest.approx(1, abs=0.01)
    assert max(found) == pytest.approx(CREST, abs=0.03) == -min(found)
    assert max(found) <= CREST
    assert all((a > 0) == (b > 0) for a, b in zip(sound, found, strict=True))


def test_a_sine_and_a_sweep_have_the_phase_of_their_frequency():
    assert _sine(3, 12_000.0, 0.5) == pytest.approx([0, 0.5, 0], abs=1e-12)
    count = 4800
    sweep = _sweep(count)
    low, high = 100.0, 5000.0
    for at in (0, 1, 100, 2400, 4799):
        seconds, growth = at / RATE_HZ, math.log(high / low) / (count / RATE_HZ)
        turns = low * (math.exp(growth * seconds) - 1) / growth
        assert sweep[at] == pytest.approx(math.sin(2 * math.pi * turns), abs=1e-6)


def test_lines_at_multiples_have_together_the_power_of_one_sine_and_none_is_too_high():
    found = _lines(RATE_HZ + 5, 50.0, {1: 3.0, 2: 4.0})
    assert len(found) == RATE_HZ + 5
    for at in (0, 1, 77, RATE_HZ - 1):
        turn = 2 * math.pi * 50 * at / RATE_HZ
        assert found[at] == pytest.approx(0.6 * math.sin(turn) + 0.8 * math.sin(2 * turn), abs=1e-9)
    assert found[RATE_HZ:] == found[:5], "it repeats every second"
    assert sum(value * value for value in found[:RATE_HZ]) / RATE_HZ == pytest.approx(0.5)
    assert len(_lines(100, 50.0, {1: 1.0})) == 100


@pytest.mark.parametrize("beeps", [1, 2])
def test_so_many_beeps_of_four_tenths_of_a_second_come_every_three_seconds(beeps):
    found = _beeping([1.0] * (4 * RATE_HZ), beeps)
    beep, rise = 19_200, 240
    for number in range(2):
        at = 2 * number * beep
        on = number < beeps
        assert [
            found[at + more] for more in (0, rise // 2, rise, beep - 1 - rise, beep - 1 - rise // 2, beep - 1)
        ] == pytest.approx([0, 0.5, 1, 1, 0.5, 0] if on else [0] * 6)
        assert max(found[at + beep : at + 2 * beep]) == 0
    assert found[3 * RATE_HZ :] == found[:RATE_HZ]


def test_sound_begins_over_two_seconds_and_ends_over_a_tenth():
    found = _faded([1.0] * (5 * RATE_HZ))
    assert (found[0], found[-1]) == (0, 0)
    assert [found[round(seconds * RATE_HZ)] for seconds in (0.5, 1.0, 2.0, 4.89)] == pytest.approx(
        [math.sin(math.pi / 8) ** 2, 0.5, 1, 1]
    )
    assert found[-1 - 2400] == pytest.approx(0.5)
    short = _faded([1.0] * 1000)
    assert (short[250], short[500], short[-1 - 125]) == pytest.approx((0.5, 1, 0.5))


@pytest.mark.parametrize(
    ("of", "peak"),
    [(Tone.SINE, 1.0), (Tone.SWEEP, 1.0), (Tone.SIDES, 1.0), (Tone.HUM, None), (Tone.BUZZ, None)],
)
def test_a_signal_of_one_second_has_its_level(of, peak):
    sound = samples(of, seconds=1.0, level_db=-20.0, hertz=500.0, mains_hz=60.0)
    assert len(sound) == RATE_HZ
    full = sound[RATE_HZ // 2 : RATE_HZ // 2 + RATE_HZ // 5]  # whole periods between the fades
    if peak:
        assert max(full) == pytest.approx(0.1 * peak, rel=1e-3)
    if of is not Tone.SWEEP:
        assert sum(value * value for value in full) / len(full) == pytest.approx(0.005, rel=0.01)
    pitch = {Tone.SINE: 500, Tone.SIDES: 1000, Tone.HUM: 60, Tone.BUZZ: 120}.get(of)
    if pitch:
        assert int(np.argmax(np.abs(np.fft.rfft(full)))) * 5 == pitch


@pytest.mark.parametrize(
    ("key", "low", "high"),
    [("seconds", 1, 600), ("level_db", -80, -3.1), ("hertz", 20, 20_000), ("mains_hz", 16, 400)],
)
def test_what_is_played_stays_within_its_bounds(key, low, high):
    if key != "seconds":
        for edge in (low, high):
            assert samples(Tone.SINE, **{"seconds": 1.0, key: edge})
    for beyond in (low - 0.01, high + 0.01):
        with pytest.raises(BadInput):
            samples(Tone.SINE, **{"seconds": 1.0, key: beyond})


# -- at a low rate, without the filters: what is done with the noise -------------------------------------


def low_rate(monkeypatch: pytest.MonkeyPatch, rate: int, smooth: float = 0.7) -> None:
    """So many samples a second, and one filter that makes the noise slow in place of the thirteen."""
    monkeypatch.setattr(tone, "RATE_HZ", rate)
    monkeypatch.setattr(tone, "noise_sections", lambda: [((1 - smooth, 0.0), (1.0, -smooth))])


def test_noise_longer_than_ten_seconds_repeats_without_a_jump(monkeypatch):
    low_rate(monkeypatch, 100, smooth=0.95)
    for seed in range(8):
        sound = pink(2500, seed)
        assert len(sound) == 2500
        assert sound[:1000] == sound[1000:2000]
        assert sound[2000:] == sound[:500]
        steps = np.abs(np.diff(sound))
        # where it begins again, and where the blend of a tenth of a second ends
        assert max(steps[999], steps[1009]) <= 1.01 * max(steps[20:990])
    assert len(pink(300, 1)) == 300
    assert pink(300) == pink(300, 1)
    assert pink(300, 1)[:10] != pink(300, 2)[:10]
    assert combi(450) == combi(450, 1)


def test_the_join_is_as_loud_as_the_rest(monkeypatch):
    low_rate(monkeypatch, 100, smooth=0.5)
    sounds = np.array([pink(1500, seed) for seed in range(80)])
    power = np.mean(np.square(sounds), axis=0)
    assert np.mean(power[:10]) == pytest.approx(np.mean(power[20:990]), rel=0.2)
    assert np.mean(power[20:990]) == pytest.approx(1, abs=0.1)
    assert abs(np.mean(sounds)) < 0.02


def test_bursts_of_a_sine_and_noise_are_joined_where_both_pass_zero(monkeypatch):
    # Table 2: bursts of 1 s with 5 ms of rise and fall; noise of four times that at least, 6 dB lower
    low_rate(monkeypatch, 4800)
    burst = np.sin(2 * np.pi * 1000 * np.arange(4800) / 4800)
    ramp = np.sin(np.pi / 2 * np.arange(24) / 24) ** 2
    burst[:24] *= ramp
    burst[-24:] *= ramp[::-1]
    for seed in range(3):
        sound = np.array(combi(48_500, seed))
        at = next(at for at in range(19_200, 19_300) if np.allclose(sound[at : at + 4800], burst))
        assert sound[0] >= 0 > sound[at - 1]
        again = at + 4800
        assert np.array_equal(sound[again:], np.resize(sound[:again], 48_500 - again))
        noise = np.sqrt(np.mean(np.square(sound[:at])))
        assert 20 * math.log10(noise * math.sqrt(2)) == pytest.approx(-6, abs=0.05)
        assert np.max(sound[:at]) * math.sqrt(2) == pytest.approx(4 * noise * math.sqrt(2), rel=0.01)


def test_what_is_written_has_the_level_of_the_sine_and_the_noise_lies_6_db_lower(monkeypatch):
    low_rate(monkeypatch, 4800)
    full = slice(2 * 4800, 4 * 4800)

    def level(of, **more):
        return 10 * math.log10(2 * np.mean(np.square(samples(of, seconds=5, **more)[full])))

    assert level(Tone.SINE) == pytest.approx(-20, abs=0.01)
    assert level(Tone.PINK) == pytest.approx(-26, abs=0.1)
    assert level(Tone.PINK, level_db=-40) == pytest.approx(-46, abs=0.1)
    assert level(Tone.HUM) == pytest.approx(-20, abs=0.01)
    turn = np.array(samples(Tone.COMBI, seconds=11, level_db=-30))
    assert np.max(np.abs(turn[19_300 + 200 : 19_300 + 4500])) == pytest.approx(10 ** (-30 / 20), rel=0.01)
    assert 10 * math.log10(2 * np.mean(np.square(turn[full]))) == pytest.approx(-36, abs=0.1)


def test_who_says_nothing_gets_half_a_minute_at_20_db_below_the_largest_sine(monkeypatch):
    low_rate(monkeypatch, 4800)
    for of in (Tone.SINE, Tone.HUM, Tone.PINK):
        said = {"level_db": -20.0, "hertz": 1000.0, "mains_hz": 50.0, "seed": 1}
        assert wav(of, seconds=1) == wav(of, seconds=1, **said)
        assert samples(of, seconds=1) == samples(of, seconds=1, **said)
    assert wav(Tone.PINK, seconds=1) != wav(Tone.PINK, seconds=1, seed=2)
    with wave.open(io.BytesIO(wav(Tone.SINE))) as file:
        assert (file.getnframes(), file.getframerate()) == (30 * 4800, 4800)
        written = np.frombuffer(file.readframes(30 * 4800), "<i2").reshape(-1, 2)
    assert np.array_equal(written[:, 0], written[:, 1])
    # 1000 Hz has 24 samples in five periods: the highest lies 90 degrees after a zero
    assert np.max(written) == round(0.1 * 32_767)


@pytest.mark.parametrize(
    ("of", "lines"),
    [
        (Tone.HUM, {1: 1.0, 2: 0.5, 3: 0.3, 4: 0.1}),
        (Tone.BUZZ, {2 * each: 1 / each for each in range(1, 25)}),
    ],
)
def test_hum_and_buzz_have_the_lines_of_a_ground_loop_and_of_a_dimmer(monkeypatch, of, lines):
    # common practice: the first multiples of the mains, and many of twice the mains
    low_rate(monkeypatch, 9600)
    second = samples(of, seconds=4, mains_hz=50)[2 * 9600 : 3 * 9600]
    found = np.abs(np.fft.rfft(second)) / 4800
    least = 0.1 / math.sqrt(sum(share**2 for share in lines.values()))
    assert found[50 * np.array(list(lines))] == pytest.approx(
        least * np.array(list(lines.values())), rel=1e-6
    )
    assert np.count_nonzero(found > 1e-6) == len(lines)
