"""Check the limits of what is computed and played: from where on is it refused, and what is said there?"""

from __future__ import annotations

import math

import pytest

from kb.base.errors import BadInput
from kb.loop.field import Plane
from kb.loop.tone import Tone, samples
from kb.loop.verdict import icnirp_reference_a_per_m


@pytest.mark.parametrize(
    ("hertz", "a_per_m"),
    [(50, 160), (400, 160), (800, 80), (1000, 64), (3000, 21), (5000, 21), (1e7, 21)],
)
def test_the_exposure_levels_are_those_of_the_icnirp_table(hertz: float, a_per_m: float) -> None:
    # ICNIRP 2010, Health Phys. 99:818-836, Table 4, general public
    assert icnirp_reference_a_per_m(hertz) == pytest.approx(a_per_m)


@pytest.mark.parametrize("hertz", [49.9, 1.01e7])
def test_beyond_the_icnirp_table_there_is_no_exposure_level(hertz: float) -> None:
    with pytest.raises(BadInput, match="frequency"):
        icnirp_reference_a_per_m(hertz)


@pytest.mark.parametrize(
    ("wrong", "right"),
    [
        ({"level_db": -3.0}, {"level_db": -3.1}),
        ({"level_db": -80.5}, {"level_db": -80.0}),
        ({"hertz": 19.9}, {"hertz": 20.0}),
        ({"hertz": 20_001.0}, {"hertz": 20_000.0}),
        ({"mains_hz": 15.9}, {"mains_hz": 16.0}),
        ({"mains_hz": 401.0}, {"mains_hz": 400.0}),
        ({"seconds": 0.9}, {"seconds": 1.0}),
    ],
)
def test_a_tone_is_played_up_to_its_limits_and_not_beyond(
    wrong: dict[str, float], right: dict[str, float]
) -> None:
    said = {"seconds": 1.0}
    assert len(samples(Tone.SINE, **{**said, **right})) == 48_000
    with pytest.raises(BadInput):
        samples(Tone.SINE, **{**said, **wrong})


def test_a_minute_of_hum_is_as_loud_in_its_last_second_as_in_its_third() -> None:
    """The mains and three of its multiples have the r.m.s. of a sine of the same level together."""
    hum = samples(Tone.HUM, seconds=5, level_db=-20, mains_hz=50)
    for begin in (2, 3):
        second = hum[begin * 48_000 : (begin + 1) * 48_000]
        rms = math.sqrt(sum(value * value for value in second) / len(second))
        assert 20 * math.log10(rms * math.sqrt(2)) == pytest.approx(-20, abs=0.01)


@pytest.mark.parametrize("centre", [0.0, -0.4])
def test_where_the_field_vanishes_or_points_down_no_current_gives_the_level(centre: float) -> None:
    plane = Plane(1.2, 1.2, ((0.0, 0.0),), (centre,), centre, centre, centre)
    with pytest.raises(BadInput, match="no upward field at its centre"):
        _ = plane.current_for_centre_a


def test_half_an_ampere_a_metre_for_one_ampere_takes_eight_tenths_of_an_ampere() -> None:
    plane = Plane(1.2, 1.2, ((0.0, 0.0),), (0.5,), 0.5, 0.5, 0.5)
    assert plane.current_for_centre_a == pytest.approx(0.8)  # 400 mA/m over 0.5 A/m per A
