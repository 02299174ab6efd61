"""Check what is made of recordings with levels and spectra that are known beforehand: nothing is played."""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from scipy import signal

from kb.base.errors import BadInput
from kb.loop.listen import Heard, Recorded, hear, readings_text
from kb.loop.readings_file import readings_from
from kb.loop.standard import PlayedSignal
from kb.loop.wav_recording import BANDS_HZ, NoiseKind, Recording

HERTZ = np.arange(0.0, 8000.0)
Shape = Callable[[np.ndarray], np.ndarray]


def recorded(
    level_db: float = -20.0, *, spread_db: float = 0.2, pitch: float = 1000.0, shape: Shape | None = None
) -> Recording:
    """A recording with a highest level, and a spectrum that is a line or has a shape."""
    power = np.zeros(len(HERTZ))
    if shape is None:
        power[round(pitch)] = 1.0
    else:
        power[1:] = shape(HERTZ[1:])
    highest = 10 ** (level_db / 10)
    steady = highest * 10 ** (-spread_db / 10), highest
    return Recording(48_000, 12.0, "coil.wav", highest, steady, (HERTZ, power * highest / power.sum()))


def pink(hertz: np.ndarray) -> np.ndarray:
    """The noise of cl. 6.4: 3 dB less an octave, between analog filters of the third order."""
    band = np.ones(len(hertz))
    for edge, kind in ((75.0, "highpass"), (6500.0, "lowpass")):
        b, a = signal.butter(3, 2 * np.pi * edge, kind, analog=True)
        band *= np.square(np.abs(signal.freqs(b, a, 2 * np.pi * hertz)[1]))
    return np.asarray(band / hertz)


def tilted(by_octave_db: float) -> Shape:
    return lambda hertz: pink(hertz) * (hertz / 1000) ** (by_octave_db / (10 * np.log10(2)))


def keys(heard: Heard) -> list[str]:
    return [note.key.removeprefix("loop/heard/") for note in heard.notes]


# -- the response: spectrum of the field less spectrum of the source (cl. 8.3.2 d) ------------------------


def test_our_own_noise_through_nothing_is_flat_and_its_own_level_does_not_count() -> None:
    for level in (-20.0, -50.0):
        heard = hear(Recorded(pink=recorded(level, shape=pink)))
        assert list(heard.response) == list(BANDS_HZ)
        assert max(abs(each) for each in heard.response.values()) < 0.7
        assert heard.response[1000.0] == 0
        assert heard.hidden == ()


def test_the_response_is_what_happens_to_the_noise_on_its_way() -> None:
    # a third of an octave is a third of the slope
    source = recorded(-31.0, shape=pink)
    found = hear(Recorded(pink=recorded(shape=tilted(-3.0)), source=source)).response
    exact = {hertz: -3.0 * np.log2(BANDS_HZ[hertz] / 1000) for hertz in BANDS_HZ}
    assert found == pytest.approx(exact, abs=0.05)
    own = hear(Recorded(pink=recorded(shape=tilted(-3.0)))).response
    assert own == pytest.approx(exact, abs=0.7)


def in_band(nominal: float, level_db: float) -> Shape:
    """Noise in one third octave, so many dB from that of ``pink``."""
    low, high = BANDS_HZ[nominal] * 10**-0.05, BANDS_HZ[nominal] * 10**0.05
    return lambda hertz: np.where((hertz > low) & (hertz < high), pink(hertz), 1e-12) * 10 ** (level_db / 10)


def at_same_gain(shape: Shape) -> Recording:
    """A noise beside ``recorded(shape=pink)``: its power is not brought to a level."""
    gain = 0.01 / pink(HERTZ[1:]).sum()
    spectrum = HERTZ, np.array([0.0, *(gain * shape(HERTZ[1:]))])
    return Recording(48_000, 12.0, "noise.wav", 1e-6, (1e-6, 1e-6), spectrum)


@pytest.mark.parametrize("driver", ["off", "on"])
def test_a_band_counts_if_the_noise_is_ten_decibels_lower_in_it(driver: str) -> None:
    cases: tuple[tuple[float, tuple[float, ...]], ...] = ((-9.9, (250.0,)), (-10.1, ()))
    for level, hidden in cases:
        noise = at_same_gain(in_band(250.0, level))
        sounds = Recorded(off=noise) if driver == "off" else Recorded(on=noise)
        heard = hear(replace(sounds, pink=recorded(shape=pink)))
        assert heard.hidden == hidden
        assert set(heard.response) == set(BANDS_HZ) - set(hidden)
        assert ("hidden" in keys(heard)) is bool(hidden)
    # of two noises, that of the driver switched on counts: it is on while the response is taken
    off, on = (at_same_gain(in_band(hertz, 0.0)) for hertz in (250.0, 400.0))
    assert hear(Recorded(pink=recorded(shape=pink), off=off, on=on)).hidden == (400.0,)


def test_without_its_one_kilohertz_there_is_no_response() -> None:
    heard = hear(Recorded(pink=recorded(shape=pink), off=at_same_gain(in_band(1000.0, 0.0))))
    assert (dict(heard.response), heard.hidden, heard.readings) == ({}, (1000.0,), False)
    [told] = [note.text for note in heard.notes if note.key == "loop/heard/hidden"]
    assert "1000" in told
    assert "10" in told


def test_half_of_the_rise_of_a_bare_coil_is_a_hint() -> None:
    # 6 dB an octave are 34 dB from 100 Hz to 5 kHz
    source = recorded(shape=pink)
    octaves = np.log2(BANDS_HZ[5000.0] / BANDS_HZ[100.0])
    for rise, told in ((16.8, False), (17.2, True), (34.0, True)):
        coil = recorded(shape=tilted(rise / octaves))
        heard = hear(Recorded(pink=coil, source=source))
        assert ("rising" in keys(heard)) is told, rise
        hidden = hear(Recorded(pink=coil, source=source, off=at_same_gain(in_band(5000.0, 60.0))))
        assert "rising" not in keys(hidden)
    [said] = [note.text for note in heard.notes if note.key == "loop/heard/rising"]
    assert "34" in said


# -- levels -------------------------------------------------------------------------------------------


def test_the_sine_counts_before_sine_and_noise_in_turn_and_these_before_noise() -> None:
    sounds = Recorded(sine=recorded(-10.0), combi=recorded(-12.0), pink=recorded(-14.0, shape=pink))
    for name, played, level in (
        ("sine", PlayedSignal.SINE, -10.0),
        ("combi", PlayedSignal.COMBI, -12.0),
        ("pink", PlayedSignal.PINK, -14.0),
    ):
        heard = hear(sounds)
        assert heard.signal is played
        # a sine that fills the file has 3 dB less than the largest square
        assert heard.full_scale_db == pytest.approx(level + 3.0103, abs=1e-4)
        assert heard.field_db is None
        sounds = replace(sounds, **{name: None})
    alone = hear(Recorded(off=recorded(-60.0)))
    assert (alone.signal, alone.full_scale_db, alone.noise["off"].re_signal_db) == (None, None, None)
    assert not alone.readings
    with pytest.raises(BadInput, match="at least one recording"):
        hear(Recorded())
    with pytest.raises(BadInput, match="at least one recording"):
        hear(Recorded(calibration=recorded(), calibration_a_per_m=0.4))


def test_noise_counts_from_where_a_right_system_has_its_level() -> None:
    # Table 3: an r.m.s. meter reads -6 dB with pink noise and 0 dB with a sine
    noise = recorded(-60.0)
    by_sine = hear(Recorded(sine=recorded(-20.0), off=noise)).noise["off"]
    by_pink = hear(Recorded(pink=recorded(-26.0, shape=pink), on=noise)).noise["on"]
    assert (by_sine.re_signal_db, by_pink.re_signal_db) == pytest.approx((-40, -40))
    assert (by_sine.dba, by_pink.dba) == (None, None)
    low = hear(Recorded(sine=recorded(-20.0), off=recorded(-60.0, pitch=100.0))).noise["off"]
    assert low.re_signal_db == pytest.approx(-40 - 19.1, abs=0.1)  # IEC 61672-1: A at 100 Hz


def test_a_meter_beside_the_coil_makes_every_level_absolute() -> None:
    sounds = Recorded(sine=recorded(-23.0), off=recorded(-70.0), on=recorded(-68.0),
                      calibration=recorded(-26.0), calibration_a_per_m=0.2)  # fmt: skip
    heard = hear(sounds)
    # 200 mA/m are -6.02 dB re 400 mA/m
    assert heard.field_db == pytest.approx(-6.0206 + 3, abs=1e-4)
    assert [heard.noise[each].dba for each in ("off", "on")] == pytest.approx([-50.0206, -48.0206], abs=1e-4)
    assert (heard.calibrated, keys(heard)) == (True, ["buzz", "buzz"]), "20 times 50 Hz"
    for wrong in (0.0009, 100.1):
        with pytest.raises(BadInput, match="calibration"):
            hear(Recorded(sine=recorded(), calibration=recorded(), calibration_a_per_m=wrong))
    for right in (0.001, 100.0):
        assert hear(Recorded(sine=recorded(), calibration=recorded(), calibration_a_per_m=right)).calibrated
    assert "relative" in keys(hear(Recorded(sine=recorded(), calibration=recorded())))


def test_a_sine_is_steady_within_a_decibel() -> None:
    for spread, told in ((0.99, False), (1.01, True)):
        sound = recorded(spread_db=spread)
        assert ("unsteady" in keys(hear(Recorded(sine=sound)))) is told
        assert "unsteady" not in keys(hear(Recorded(combi=sound)))
        if told:
            with pytest.raises(BadInput, match="steady"):
                hear(Recorded(sine=recorded(), calibration=sound, calibration_a_per_m=0.4))
        else:
            hear(Recorded(sine=recorded(), calibration=sound, calibration_a_per_m=0.4))
    [said] = [note.text for note in hear(Recorded(sine=recorded(spread_db=2.5))).notes if "unst" in note.key]
    assert "2.5 dB" in said


# -- the readings file ---------------------------------------------------------------------------------


def absolute(sounds: Recorded) -> Heard:
    return hear(replace(sounds, calibration=recorded(-26.0), calibration_a_per_m=0.4))


def test_what_was_heard_is_read_back_as_readings() -> None:
    heard = absolute(
        Recorded(
            sine=recorded(-24.5),
            pink=recorded(shape=tilted(-1.0)),
            source=recorded(shape=pink),
            off=recorded(-80.25),
            on=recorded(-79.25),
        )
    )
    text = readings_text(heard, name='by the "sofa"', date="2026-03-04")
    readings = readings_from(tomllib.loads(text))
    [place] = readings.positions
    assert (place.name, readings.date, readings.signal) == ('by the "sofa"', "2026-03-04", PlayedSignal.SINE)
    assert place.field_db == pytest.approx(1.5, abs=0.006)
    assert (place.noise.off, place.noise.on) == pytest.approx((-54.25, -53.25), abs=0.006)
    assert place.response[5000.0] == pytest.approx(-2.32, abs=0.05)
    assert list(place.response) == list(BANDS_HZ)
    # one more place of a file that is there already
    more = tomllib.loads(readings_text(heard, name="chair", date="2026-03-04", whole=False))
    assert set(more) == {"positions"}
    assert more["positions"][0]["field_db"] == 1.5


def test_what_is_relative_is_told_beside_and_not_read() -> None:
    heard = hear(Recorded(pink=recorded(-26.0, shape=pink), off=recorded(-70.0), source=recorded(shape=pink)))
    text = readings_text(heard, name="sofa", date="2026-03-04")
    assert "# noise, driver off: -50.0 dB(A) re the signal" in text
    data = tomllib.loads(text)
    assert set(data) == {"date", "positions"}
    assert set(data["positions"][0]) == {"name", "response_db"}
    alone = hear(Recorded(sine=recorded(), off=recorded(-70.0)))
    assert not alone.readings
    with pytest.raises(BadInput, match="relative"):
        readings_text(alone, name="sofa", date="2026-03-04")
    # each of the three is enough for a file
    assert absolute(Recorded(sine=recorded())).readings
    assert absolute(Recorded(off=recorded(-70.0))).readings
    quiet = readings_text(absolute(Recorded(off=recorded(-70.0))), name="sofa", date="2026-03-04")
    assert "signal" not in tomllib.loads(quiet)
    assert tomllib.loads(quiet)["positions"][0]["noise_off_dba"] == -44


def test_programs_get_the_same_numbers() -> None:
    mains = recorded(-70.0, pitch=100.0)
    heard = absolute(Recorded(sine=recorded(-24.5), off=mains))
    told = heard.as_json()
    assert (told["calibrated"], told["signal"]) == (True, "sine")
    assert told["field_db_re_400_ma_per_m"] == heard.field_db
    assert told["level_db_re_full_scale_sine"] == heard.full_scale_db
    noise = told["noise"]
    assert isinstance(noise, dict)
    assert (noise["off"]["dba_re_400_ma_per_m"], noise["off"]["kind"]) == (heard.noise["off"].dba, "hum")
    assert noise["off"]["mains_hz"] == pytest.approx(50, abs=0.5)
    [line] = noise["off"]["lines"]
    assert (line["hertz"], line["db_re_noise"]) == pytest.approx((100, 0), abs=1)
    assert told["notes"] == [{"code": "hum", "text": heard.notes[0].text}]
    assert heard.noise["off"].mains.kind is NoiseKind.HUM
    assert "50 Hz" in heard.notes[0].text
