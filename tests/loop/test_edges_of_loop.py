"""Check the limits of what is computed and played: from where on is it refused, and what is said there?"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import pytest

from kb.base.errors import BadInput
from kb.loop.field import Plane
from kb.loop.geometry import Loop
from kb.loop.plan import Ask, _check
from kb.loop.tone import Tone, samples
from kb.loop.verdict import icnirp_reference_a_per_m
from kb.loop.wire import awg, bundle_gmd, wire_from


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


def asked(name: str) -> Callable[[Any], object]:
    return lambda value: _check(Ask(room=Loop.rectangle(5, 4), **{name: value}))


#: What is asked, with values that are still answered and values beyond: bounds that help and manual tell.
BOUNDS: list[tuple[Callable[[Any], object], list[object], list[object]]] = [
    (lambda side: Loop.rectangle(side, 5), [0.3, 100], [0.29, 100.1]),
    (lambda side: Loop.rectangle(5, side), [0.3, 100], [0.29, 100.1]),
    (Loop.ring, [0.1, 100], [0.09, 100.1]),
    (lambda turns: Loop.rectangle(5, 4, turns=turns), [1, 100], [0, 101, 2.0, True]),
    (lambda east: Loop.polygon([(0, 0), (east, 0), (east, 9)]), [-100.09, 100.09], [-100.11, 100.11]),
    (lambda north: Loop.polygon([(0, 0), (9, 0), (9, north)]), [-100.09, 100.09], [-100.11, 100.11]),
    (lambda apart: Loop.polygon([(0, 0), (9, 0), (9, apart), (9, 5)]), [0.0011], [0.0009]),
    (lambda corners: Loop(on_a_circle(corners)), [3, 720], [2, 721]),
    (awg, [0, 40], [-1, 41]),
    (wire_from, ["awg 0", "awg40", "0.05mm2", "50 mm²"], ["awg41", "0.049mm2", "50.1mm2", "0mm2"]),
    (awg(18).resistance_per_m, [-40, 90], [-40.1, 90.1]),
    (lambda gap: bundle_gmd(awg(18), 2, gap), [awg(18).diameter, 0.5], [awg(18).diameter * 0.99, 0.51]),
    (asked("height"), [0, 10], [-0.1, 10.1]),
    (asked("wire_height"), [-5, 10], [-5.1, 10.1]),
    (asked("listen"), [(0,), (3,)], [(), (-0.1,), (1.2, 3.1)]),
    (asked("ceiling"), [1.5, 10], [1.49, 10.1]),
    (asked("feed"), [0, 100], [-0.1, 100.1]),
    (asked("metal_db"), [0, 30], [-0.1, 30.1]),
    (asked("metal_5k_db"), [0, 30], [-0.1, 30.1]),
    (asked("margin"), [0, 20], [-0.1, 20.1]),
    (asked("spill_db"), [-60, 0], [-60.1, 0.1]),
    (asked("doorways"), [0, 20], [-1, 21]),
]


def on_a_circle(corners: int) -> tuple[tuple[float, float, float], ...]:
    turn = 2 * math.pi / corners
    return tuple((5 * math.cos(turn * n), 5 * math.sin(turn * n), 0.0) for n in range(corners))


@pytest.mark.parametrize(("ask", "right", "wrong"), BOUNDS)
def test_what_is_asked_is_answered_up_to_its_bounds_and_refused_beyond(
    ask: Callable[[Any], object], right: list[object], wrong: list[object]
) -> None:
    for value in right:
        ask(value)
    for value in wrong:
        with pytest.raises(BadInput):
            ask(value)


def test_metal_damps_high_notes_no_less_than_a_thousand_hertz() -> None:
    room = Loop.rectangle(5, 4)
    _check(Ask(room=room, metal_db=6.0, metal_5k_db=6.0))
    with pytest.raises(BadInput, match="5"):
        _check(Ask(room=room, metal_db=6.0, metal_5k_db=5.9))
