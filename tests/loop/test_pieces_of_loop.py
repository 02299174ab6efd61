"""Find the edges of readings, advice and drivers: which numbers are taken, and from where on is one said?"""

from __future__ import annotations

import contextlib
import math
import random
from typing import Any

import numpy as np
import pytest

from kb.base.errors import BadInput
from kb.domain.driver import DriverLimits
from kb.loop.diagnose import compared, diagnose
from kb.loop.driver import choices, driver_named, fit, same_name
from kb.loop.field import vertical_h
from kb.loop.geometry import Loop
from kb.loop.input_level import margin_db, show_level, voltage
from kb.loop.metal import MetalLoss
from kb.loop.readings_file import Readings, readings_from
from kb.loop.spill import spill
from kb.loop.standard import (
    LevelMeter,
    PlayedSignal,
    Programme,
    Use,
    noise_on_limit_dba,
    quadrature,
    site_noise,
    target_db,
)
from kb.loop.units import has_unit, length, outline, room, show_frequency, show_length
from kb.loop.verdict import judge
from kb.loop.wire import Load, Stock, awg, load, stock_from, too_dense, wire_from

# -- the readings file -----------------------------------------------------------------------------

SIDES = {"length_m": 5, "width_m": 4}
#: Where, the key, the least and the greatest value that is taken.
BOUNDS = [
    ("", "target_db", -40, 40),
    ("positions", "field_db", -80, 48),
    ("positions", "field_ma_per_m", 0, 100_000),
    ("positions", "field_ut", 0, 100),
    ("positions", "x_m", -100, 100),
    ("positions", "y_m", -100, 100),
    ("positions", "height_m", 0, 3),
    ("positions", "noise_off_dba", -120, 48),
    ("positions", "noise_on_ma_per_m", 0, 100_000),
    ("response", "db_100_hz", -120, 60),
    ("noise", "driver_off_dba", -120, 48),
    ("loop", "wire_height_m", -5, 10),
    ("loop", "turns", 1, None),
    ("loop", "length_m", 0.3, 100),
    ("loop", "width_m", 0.3, 100),
    ("loop", "current_a", 0.001, 100),
    ("loop", "metal_db", 0, 30),
]


def file_with(table: str, key: str, value: object) -> dict[str, Any]:
    if not table:
        return {key: value}
    if table == "positions":
        return {table: [{"response_db": {"1000": 0}, key: value}]}
    return {table: {**(SIDES if table == "loop" else {}), key: value}}


@pytest.mark.parametrize(("table", "key", "low", "high"), BOUNDS)
def test_a_reading_is_taken_up_to_its_bounds_and_named_beyond_them(
    table: str, key: str, low: float, high: float | None
) -> None:
    for edge, beyond in ((low, -1), (high, 1)):
        if edge is not None:
            assert readings_from(file_with(table, key, edge))
            with pytest.raises(BadInput):
                readings_from(
                    file_with(table, key, edge + beyond * (1 if key == "turns" else 1e-4 * max(1, edge)))
                )


@pytest.mark.parametrize("hertz", ["10", "40000", "1e3"])
def test_a_frequency_from_10_hz_to_40_khz_is_read(hertz: str) -> None:
    assert readings_from({"positions": [{"response_db": {hertz: 0}}]})


@pytest.mark.parametrize("hertz", ["9.99", "40001", "nan", "loud", "1" + "0" * 12])
def test_any_other_is_named(hertz: str) -> None:
    with pytest.raises(BadInput, match="a frequency in Hz"):
        readings_from({"positions": [{"response_db": {hertz: 0}}]})


def test_half_an_ampere_a_metre_is_read_the_same_in_each_unit() -> None:
    # 500 mA/m is 20 lg 1.25 dB re 400 mA/m, and 0.2 pi microtesla in air
    for said in ({"field_ma_per_m": 500}, {"field_ut": 0.2 * math.pi}, {"field_db": 20 * math.log10(1.25)}):
        [place] = readings_from({"positions": [said]}).positions
        assert place.field_db == pytest.approx(1.9382, abs=1e-4)
    for two in (
        {"field_ma_per_m": 1, "field_db": 1},
        {"field_ut": 1, "field_db": 1},
        {"field_ut": 1, "field_ma_per_m": 1},
    ):
        with pytest.raises(BadInput, match="one of the two"):
            readings_from({"positions": [two]})


def test_what_an_older_file_says_of_the_response_belongs_to_the_place_it_names() -> None:
    def places(*names: str, at: str = "") -> Readings:
        data = {"positions": [{"name": name, "field_db": 0} for name in names]}
        return readings_from({**data, "response": {"at": at, "db_1000_hz": 1}})

    assert [bool(one.response) for one in places("sofa", "chair", at="chair").positions] == [False, True]
    alone = places("sofa")
    assert (alone.positions[0].response, alone.response) == ({1000.0: 1.0}, None)
    for other in (places("sofa", "chair"), places("sofa", at="door")):
        assert other.response is not None
        assert not any(one.response for one in other.positions)
    assert readings_from({"response": {"at": "sofa"}}).response is None
    with pytest.raises(BadInput, match=r"position 1: .*one of the two"):
        readings_from({"positions": [{"response_db": {"1000": 0}}], "response": {"db_1000_hz": 1}})


def test_two_places_of_one_name_are_refused_and_a_place_of_which_nothing_was_measured_too() -> None:
    with pytest.raises(BadInput, match="position 2, name"):
        readings_from({"positions": [{"name": "sofa", "field_db": 0}, {"name": "sofa", "field_db": 0}]})
    with pytest.raises(BadInput, match="position 1, field_ma_per_m"):
        readings_from({"positions": [{"name": "sofa", "x_m": 1}]})
    for enough in (
        {"field_db": 0},
        {"response_db": {"1000": 0}},
        {"noise_off_dba": -50},
        {"noise_on_dba": -50},
    ):
        assert readings_from({"positions": [enough]})


def test_a_file_that_says_nothing_has_the_usual_method() -> None:
    plain = readings_from({})
    assert (plain.use, plain.signal, plain.meter, plain.target_db) == (
        Use.ROOM,
        PlayedSignal.SINE,
        LevelMeter.RMS,
        0,
    )
    assert (plain.points_agreed, plain.tonal, plain.trial, plain.loop, plain.metal_db) == (
        False,
        False,
        False,
        None,
        0,
    )
    assert readings_from({"signal": "pink"}).target_db == -6
    assert readings_from({"signal": "pink", "meter": "peak-programme"}).target_db == 0
    looped = readings_from({"loop": SIDES})
    assert looped.loop == Loop.rectangle(5, 4, z=0, turns=1)
    assert (looped.current, looped.metal_db, looped.trial) == (None, 0, False)
    with pytest.raises(BadInput, match="width_m"):
        readings_from({"loop": {"length_m": 5}})


# -- advice ----------------------------------------------------------------------------------------


def read(*levels: float, **more: Any) -> Readings:
    places = [{"name": f"p{n}", "field_db": level} for n, level in enumerate(levels, 1)]
    return readings_from({"positions": places, **more})


def advice(*levels: float, **more: Any) -> list[str]:
    return [one.code for one in judge(read(*levels, **more)).advice]


def test_a_change_of_the_drive_is_advised_where_one_brings_every_place_into_the_tolerance() -> None:
    assert advice(0, -3, -1) == []
    assert advice(0, -3.1, -1) == ["level"]
    assert advice(-0.5, -1, -2) == ["level"], "no place reaches the full field"
    assert advice(3, 0, -3) == []
    assert advice(3.1, 0, -2.9) == ["level"]
    assert "level" not in advice(3.2, 0, -3), "they differ by more than 6 dB"
    assert advice(-30, -31, -30) == [], "no field at all is no matter of the level"


def test_one_or_two_places_do_not_describe_a_room_and_one_point_does_a_chair() -> None:
    assert advice(0) == advice(0, 0) == ["few-places"]
    assert advice(0, 0, 0) == []
    assert "few-places" not in advice(0, use="chair")


def test_where_the_user_and_the_standard_differ_it_is_said() -> None:
    right = {"user": {"satisfied": False}}
    assert advice(0, 0, 0, **right) == ["user-not-satisfied"]
    assert advice(-9, -9, -9, user={"satisfied": True})[-1] == "user-satisfied"
    assert "user-not-satisfied" not in advice(-9, -9, -9, **right)
    assert advice(0, 0, 0, user={"satisfied": True}) == []


# -- faults ----------------------------------------------------------------------------------------

SEATS = [(1, 1), (4, 1), (1, 3), (4, 3), (2.5, 2)]


def found(*off: float, known: bool = True, metal: float = 0.0) -> list[str]:
    """The faults that readings show which differ from the computed field by so many dB."""
    loop: dict[str, Any] = {**SIDES, "metal_db": metal} | (
        {"current_a": 2.9 * 10 ** (metal / 20)} if known else {}
    )
    places = [
        {"name": f"p{n}", "x_m": x, "y_m": y, "field_db": 0} for n, (x, y) in enumerate(SEATS[: len(off)])
    ]
    computed = [one.computed_db for one in compared(readings_from({"positions": places, "loop": loop}))]
    for place, more, level in zip(places, off, computed, strict=True):
        place["field_db"] = level + more
    return [one.code for one in diagnose(readings_from({"positions": places, "loop": loop}))]


def test_a_meter_may_differ_by_2_db_from_the_computed_field_and_a_place_by_3_from_the_others() -> None:
    assert found(1.9, 1.9, 1.9) == found(-1.9, -1.9, -1.9) == found(0, 0, -2.9) == []
    assert found(-2.1, -2.1, -2.1) == ["drive-low"]
    assert found(2.1, 2.1, 2.1) == ["drive-high"]
    assert found(0, 0, -3.1, 0, 0) == ["low-at-place"]
    assert found(0, 0, 0, 3.1, 0) == ["high-at-place"]
    assert found(0, -3.5) == [], "two places cannot tell which of them is wrong"
    assert found(-9, 9, 0, 9, -9) == ["uneven"]
    assert found(0, 0, -3.1, 0, 0, known=False)[-1] == "low-at-place", (
        "without a current they are compared with each other"
    )


def test_a_steady_fall_of_3_db_over_five_places_is_a_tilt() -> None:
    def falling(slope: float, places: int = 5) -> list[str]:
        return found(*(slope * (x - 2.5) for x, _ in SEATS[:places]))

    assert falling(1.1) == ["tilt"]
    assert falling(0.9) == []
    assert "tilt" not in falling(2.5, places=4)


def test_what_metal_takes_was_allowed_for_and_is_no_fault() -> None:
    assert found(0, 0, 0, metal=5) == []
    assert found(-5, -5, -5) == ["drive-low"]


def test_no_place_with_a_field_within_25_db_is_no_field() -> None:
    assert [one.code for one in diagnose(read(-25.1, -40))] == ["no-field"]
    assert [one.code for one in diagnose(read(-24.9, -40))] != ["no-field"]


def test_treble_is_told_before_bass_and_each_from_3_db_on() -> None:
    def faults(bass: float, treble: float) -> list[str]:
        place = {"field_db": 0, "response_db": {"100": 1 + bass, "1000": 1, "5000": 1 + treble}}
        return [one.code for one in diagnose(readings_from({"positions": [place]}))]

    assert faults(3, -3) == []
    assert faults(-3.1, 3.1) == ["treble-high", "bass-low"]
    assert faults(3.1, -3.1) == ["treble-low", "bass-high"]


def test_noise_is_the_sites_or_the_drivers() -> None:
    def faults(off: float, on: float, **more: Any) -> list[str]:
        noise = {"driver_off_dba": off, "driver_on_dba": on, **more}
        return [one.code for one in diagnose(readings_from({"noise": noise}))]

    assert faults(-48, -47) == []
    assert faults(-48, -46.9) == ["noise-driver"]
    assert faults(-40, -39) == []
    assert faults(-40, -38.9) == ["noise-driver"]
    assert faults(-31.9, -31.9) == ["noise-outside"]
    assert faults(-32, -32) == []


def test_a_loss_to_metal_is_planned_with_and_a_gain_is_none() -> None:
    def codes(low: float, high: float | None) -> list[str]:
        return [one.code for one in MetalLoss(low, high).sentences]

    assert codes(-1.1, 3) == ["metal-none"]
    assert codes(-1, 3) == codes(2, 3) == ["metal"]
    assert codes(2, None) == ["metal-1-khz"]


# -- the standard ----------------------------------------------------------------------------------


def test_the_classes_of_a_sites_noise_begin_where_the_copy_says() -> None:
    levels = (-47.1, -47, -32, -31.9, -22, -21.9)
    assert [site_noise(level).value for level in levels] == [
        "ideal", "acceptable", "acceptable", "short-periods", "short-periods", "not-tolerable"
    ]  # fmt: skip
    assert [site_noise(level, tonal=True).value for level in levels[1:4]] == [
        "acceptable",
        "acceptable",
        "not-tolerable",
    ]
    assert noise_on_limit_dba(-50, -47.1) == -47
    assert noise_on_limit_dba(-50, -47) == -49
    assert target_db(PlayedSignal.PINK, LevelMeter.PROGRAMME) == 0


def test_the_points_of_a_counter_are_300_mm_away_and_those_of_a_refuge_at_45_degrees() -> None:
    assert [math.hypot(*point) for point in Use.COUNTER.figure] == pytest.approx([0.3] * 3)
    assert [x for x, _ in Use.COUNTER.figure] == [0, -0.15, 0.15]
    assert sorted(round(math.hypot(*point), 6) for point in Use.REFUGE.figure) == [0.3] * 3 + [0.5] * 3
    assert {round(math.degrees(math.atan2(x, y))) for x, y in Use.REFUGE.figure} == {0, -45, 45}
    assert Use.CHAIR.figure == Use.ROOM.figure == ()
    assert [use.programme for use in Use] == [
        Programme.SPEECH,
        Programme.SHORT,
        Programme.SHORT,
        Programme.SPEECH,
    ]


def test_two_loops_in_phase_add_up_and_at_90_degrees_do_not() -> None:
    assert (quadrature(90).up_db, quadrature(-90).down_db) == pytest.approx((0, 0), abs=1e-9)
    assert quadrature(0).up_db == pytest.approx(20 * math.log10(2))
    assert quadrature(180).down_db == pytest.approx(-180)
    assert quadrature(60).down_db == pytest.approx(20 * math.log10(0.5))


# -- drivers and wire ------------------------------------------------------------------------------

BENCH = DriverLimits("Bench Driver", 5.0, 10.0, 0.5)


def test_a_driver_is_known_whatever_the_case_and_the_spacing_of_its_name() -> None:
    assert same_name(" bench-driver", "Bench  Driver")
    assert driver_named("BENCH_DRIVER", [BENCH]) == BENCH
    with pytest.raises(BadInput, match="one of Bench Driver"):
        driver_named("Bench", [BENCH])


def test_a_driver_fits_up_to_the_numbers_of_its_plate_and_says_what_it_lacks() -> None:
    def lacks(resistance: float, current: float) -> list[str]:
        return [one.code for one in fit(BENCH, Load(resistance, 0.0), current).reasons]

    assert lacks(1, 5) == lacks(2, 5) == lacks(0.5, 5) == []
    assert lacks(1, 5.01) == ["current"]
    assert lacks(2.01, 5) == ["voltage"]
    assert lacks(0.49, 5) == ["resistance"]
    assert lacks(5, 5.01) == ["current", "voltage", "voltage"]
    whole = fit(BENCH, Load(1, 0.0), 2.5)
    assert whole.fits
    assert whole.current_margin_db == pytest.approx(20 * math.log10(2))
    assert [need.margin_db for need in whole.needs] == pytest.approx(
        [20 * math.log10(4), 20 * math.log10(4) + 7]
    )
    boosted = fit(BENCH, Load(1, 0.0), 2.5, boost_db=6).needs
    assert [need.margin_db for need in boosted] == pytest.approx([20 * math.log10(4), 20 * math.log10(4) + 1])
    assert [one.code for one in fit(BENCH, Load(1, 0.0), 5, worst=Load(2.1, 0.0)).reasons] == ["voltage"]


def test_of_the_wires_that_fit_the_fewest_turns_come_first_then_the_usual_one_then_the_least_copper() -> None:
    loop = Loop.rectangle(5, 4)
    stock = [Stock(wire_from(name), 0.0, "invented", usual) for name, usual in
             [("2.5mm2", True), ("1.5mm2", True), ("1mm2", False), ("0.05mm2", True)]]  # fmt: skip
    found = choices(loop, 4.0, DriverLimits("any", 5.0, 10.0), stock, turns=(2, 1))
    assert [(one.turns, one.wire.label) for one in found] == [
        (turns, label) for turns in (1, 2) for label in ("1.5 mm2", "2.5 mm2", "1 mm2")
    ]
    plain = fit(DriverLimits("any", 5.0, 10.0), found[0].ask, 4.0, worst=stock[1].worst(found[0].ask))
    assert found[0].fit == plain, "without a boost, for speech"
    small = DriverLimits("pad", 1.0, 30.0)
    none, least = (
        choices(loop, 4.4, small, stock, turns=(4,)),
        choices(loop, 4.4, small, stock, turns=(4,), least_ampere_turns=3.2),
    )
    assert none == ()
    assert {(one.current_a, one.least) for one in least} == {(0.8, True)}
    wide = choices(loop, 4.0, small, stock, turns=(4,), spacing=1.5e-3)
    assert "2.5 mm2" not in {one.wire.label for one in wide}, "its turns would not fit into each other"
    assert all(one.metres == pytest.approx(4 * 18) for one in wide)
    assert wide[0].copper_kg == pytest.approx(72 * 1.5e-6 * 8890)


def test_ten_amperes_a_square_millimetre_are_the_most_for_a_wire() -> None:
    assert not too_dense(wire_from("1mm2"), 10.0)
    assert too_dense(wire_from("1mm2"), 10.01)


@pytest.mark.parametrize("typed", ["awg18", "AWG-18", "awg #18", "18 gauge", "#18awg", "18AWG"])
def test_a_gauge_is_read_however_it_is_written(typed: str) -> None:
    assert wire_from(typed) == awg(18)


@pytest.mark.parametrize(
    ("typed", "mm2"),
    [("1.5mm²", 1.5), ("1,5 sq mm", 1.5), (".5qmm", 0.5), ("50 mm^2", 50), ("0.05mm2", 0.05)],
)
def test_an_area_is_read_however_it_is_written(typed: str, mm2: float) -> None:
    assert wire_from(typed).area == pytest.approx(mm2 * 1e-6)


@pytest.mark.parametrize("typed", ["awg41", "0.049mm2", "50.1mm2", "18", "mm2", "awg"])
def test_what_is_no_wire_is_refused(typed: str) -> None:
    with pytest.raises(BadInput, match="a wire such as"):
        wire_from(typed)
    assert (awg(0).label, awg(40).label) == ("AWG 0", "AWG 40")


def test_copper_warms_up_by_four_thousandths_a_kelvin_from_minus_40_to_90_degrees() -> None:
    wire = wire_from("1mm2")
    assert 58 * wire.resistance_per_m() == pytest.approx(1)
    assert wire.resistance_per_m(70) / wire.resistance_per_m() == pytest.approx(1.1965)
    for celsius in (-40, 90):
        assert wire.resistance_per_m(celsius)
    for celsius in (-40.1, 90.1):
        with pytest.raises(BadInput, match="temperature"):
            wire.resistance_per_m(celsius)


def test_detours_and_the_feed_count_out_and_back_in_the_resistance() -> None:
    loop, wire = Loop.rectangle(5, 4, turns=2), wire_from("1mm2")
    plain = load(loop, wire)
    assert plain.resistance == pytest.approx(2 * 18 / 58)
    assert load(loop, wire, extra=3).resistance == pytest.approx(2 * 21 / 58)
    assert load(loop, wire, extra=3).inductance == plain.inductance
    fed = load(loop, wire, feed=4)
    assert fed.resistance == pytest.approx((36 + 8) / 58)
    # mu0/pi (ln(D/r) + 1/4) a metre of a pair
    pair = 4e-7 * (math.log(wire.spacing / wire.radius) + 0.25)
    assert fed.inductance - plain.inductance == pytest.approx(4 * pair)


def test_wire_of_unknown_resistance_is_judged_with_a_sixth_more_and_known_wire_with_its_own() -> None:
    seen = Load(2.0, 1e-5)
    unknown, known = stock_from(
        {"wire": [{"name": "1mm2", "source": "x"}, {"name": "1mm2", "source": "x", "max_ohm_per_km": 20}]}
    )
    assert unknown.worst(seen) == Load(pytest.approx(7 / 3), 1e-5)
    assert known.worst(seen).resistance == pytest.approx(2 * 0.020 * 58)
    assert (unknown.usual, unknown.max_ohm_per_km) == (False, 0)


# -- lengths and levels ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("typed", "metres"),
    [("5.2", 5.2), ("520 cm", 5.2), ("5200mm", 5.2), ("17 ft", 5.1816), ("17' 6\"", 5.334), ("17' 6", 5.334),
     ("17ft 6 1/2 in", 5.3467), ("17-1/2 ft", 5.334), ("5,2 m", 5.2), ("+2", 2.0), ("½ m", 0.5),
     ("1½ m", 1.5), ("3,5 metros", 3.5), ("3 m 50", 3.5), ("3 m 5 cm", 3.05), ("6 pies", 1.8288),
     ("1⁄2 m", 0.5), ("17' 6 1⁄2\"", 5.3467)],
)  # fmt: skip
def test_a_length_is_read_as_people_write_it(typed: str, metres: float) -> None:
    assert length(typed) == pytest.approx(metres)


@pytest.mark.parametrize(
    "typed",
    [
        "",
        "m",
        "5 yd",
        "5 m 3 in",
        "6 in 5 ft",
        "1/0 m",
        "5" * 41,
        "0.29",
        "100.1",
        "1 2 m 3",
        "3 m 5",
        "3 m 500",
        "3 cm 50",
        "5²",
    ],
)
def test_what_is_no_length_is_refused(typed: str) -> None:
    with pytest.raises(BadInput):
        length(typed)


def test_lengths_at_their_bounds_are_taken_in_both_families() -> None:
    assert (length("0.3"), length("100"), length("-2", low=-5)) == (0.3, 100, -2)
    assert length("17", feet=True) == pytest.approx(5.1816)
    with pytest.raises(BadInput, match="328 ft"):
        length("330", feet=True)


def test_a_unit_after_one_side_holds_for_both() -> None:
    assert room("520x410 cm") == room("520 cm x 410") == pytest.approx((5.2, 4.1))
    assert room("5.2 by 4.1") == room("5.2×4.1") == room("5.2*4.1") == (5.2, 4.1)
    assert room("17ft x 13") == room("17x13", feet=True) == room("17 x 13ft")
    for wrong in ("5", "5x4x3", "5x", "x4"):
        with pytest.raises(BadInput, match="two sides"):
            room(wrong)
    with pytest.raises(BadInput, match="second side"):
        room("5x0.1")


def test_an_outline_has_three_to_64_corners() -> None:
    assert outline("0,0 5,0 5,4") == ((0, 0), (5, 0), (5, 4))
    assert outline("17' 6\", 0; 0,0; 0,4 m")[0] == pytest.approx((5.334, 0))
    assert len(outline(" ".join(f"{n},0" for n in range(64)))) == 64
    for wrong in ("0,0 5,0", " ".join(f"{n},0" for n in range(65)), "0,0 5,0 5", "0,0 5,0 5,4,3"):
        with pytest.raises(BadInput, match="polygon"):
            outline(wrong)
    with pytest.raises(BadInput, match="corner 2"):
        outline("0,0 5 5,4")


def test_lengths_and_frequencies_are_shown_in_both_families() -> None:
    assert [show_length(m) for m in (0.0, 0.2794, 0.3048, -0.3048, -0.001)] == [
        "0.00 m (0 in)", "0.28 m (11 in)", "0.30 m (1 ft 0 in)", "-0.30 m (-1 ft 0 in)", "-0.00 m (0 in)"
    ]  # fmt: skip
    assert [show_frequency(hz) for hz in (999, 1000, 3150)] == ["999 Hz", "1 kHz", "3.15 kHz"]
    assert [has_unit(text) for text in ("5x4", "5m x 4", "17' x 13'", "0,0 5,0 5,4")] == [
        False,
        True,
        True,
        False,
    ]


@pytest.mark.parametrize(
    ("typed", "volts"),
    [("0.5", 0.5), ("0.5 V", 0.5), ("150 mV", 0.15), ("0 dBV", 1.0), ("+4 dBu", 1.2277), ("−10 dBV", 0.3162),
     (",5", 0.5), ("100", 100.0), ("0.01 mV", 1e-5)],
)  # fmt: skip
def test_a_level_is_read_as_data_sheets_give_it(typed: str, volts: float) -> None:
    assert voltage(typed) == pytest.approx(volts, rel=1e-4)


@pytest.mark.parametrize(
    "typed", ["100.1", "0.009 mV", "0", "-1 V", "loud", "9999 dBV", "-9999 dBu", "1 W", "1" * 41]
)
def test_what_is_no_level_is_refused(typed: str) -> None:
    with pytest.raises(BadInput, match="a level such as"):
        voltage(typed)


def test_a_source_twice_as_strong_as_needed_has_6_db_to_spare() -> None:
    assert margin_db(1.0, 0.5) == pytest.approx(6.0206, abs=1e-4)
    assert show_level(1.0) == "1 V (+0.0 dBV, +2.2 dBu)"


# -- doubt and order of the checks ----------------------------------------------------------------------


def doubted(*off: float, known: bool) -> tuple[str, ...]:
    """The places that are doubted if their readings differ from the computed field by so many dB."""
    loop: dict[str, Any] = {**SIDES, "wire_height_m": 0.0} | ({"current_a": 3.0} if known else {})
    places = []
    for number, ((x, y), more) in enumerate(zip(SEATS, off, strict=False)):
        level = 20 * math.log10(3.0 * vertical_h(Loop.rectangle(5, 4), (x, y, 1.2)) / 0.4) + more
        places.append({"name": f"p{number}", "x_m": x, "y_m": y, "field_db": level})
    judgement = judge(readings_from({"positions": places, "loop": loop}))
    return tuple(one.place for one in judgement.checks if one.doubted)


def test_a_reading_that_differs_by_more_than_6_db_is_doubted() -> None:
    assert doubted(5.9, -5.9, known=True) == ()
    assert doubted(6.1, 0, -6.1, known=True) == ("p0", "p2")
    # without the current, from the middle one of three places or more
    assert doubted(9, 9 - 6.1, 9, 9 + 5.9, known=False) == ("p1",)
    assert doubted(-6.1, 0, 0, known=False) == ("p0",)
    assert doubted(-9, 0, known=False) == ()


def test_noise_of_the_whole_site_is_told_before_that_of_the_places() -> None:
    places = [
        {"name": "sofa", "field_db": 0, "noise_off_dba": -50, "noise_on_dba": -49.5},
        {"name": "door", "field_db": 0, "noise_off_dba": -40, "noise_on_dba": -38.9},
        {"name": "lamp", "field_db": 0},
    ]
    site = {"driver_off_dba": -45, "driver_on_dba": -44}
    checks = judge(readings_from({"positions": places, "noise": site})).checks
    off, *on = [one for one in checks if one.code.startswith("noise")]
    # the noisiest place counts with the driver off, and each place against itself with it on (10.4.7)
    assert (off.place, off.value, off.ok) == ("door", -40, True)
    assert [(one.place, one.value, one.high, one.ok) for one in on] == [
        ("", -44, -44, True),
        ("sofa", -49.5, -49, True),
        ("door", -38.9, -39, False),
    ]


# -- a tilt, against numpy's least squares ----------------------------------------------------------------


@pytest.mark.parametrize("seed", range(40))
def test_a_tilt_is_the_plane_through_the_differences_that_numpy_finds(seed: int) -> None:
    chance = random.Random(seed)
    spots = [(chance.uniform(0.7, 4.3), chance.uniform(0.7, 3.3)) for _ in range(6)]
    slope = chance.uniform(-2.2, 2.2), chance.uniform(-2.2, 2.2)
    places, off = [], []
    for number, (x, y) in enumerate(spots):
        off.append(slope[0] * (x - 2.5) + slope[1] * (y - 2) + chance.gauss(0, 0.8))
        level = 20 * math.log10(3.0 * vertical_h(Loop.rectangle(5, 4), (x, y, 1.2)) / 0.4) + off[-1]
        places.append({"name": f"p{number}", "x_m": x, "y_m": y, "field_db": level})
    loop = {**SIDES, "wire_height_m": 0.0, "current_a": 3.0}
    faults = diagnose(readings_from({"positions": places, "loop": loop}))
    told = [(one.text, one.where) for one in faults if one.code == "tilt"]

    plane = np.column_stack([np.array(spots), np.ones(6)])
    fitted = plane @ np.linalg.lstsq(plane, np.array(off), rcond=None)[0]
    spread = np.array(off) - np.mean(off)
    explained = float(np.sum((fitted - np.mean(off)) ** 2) / np.sum(spread**2))
    rest = np.array(off) - np.median(off)
    odd = np.abs(rest) > 3
    lone = odd.sum() == 1 and np.ptp(rest[~odd]) <= 2
    if np.ptp(fitted) >= 3 and explained >= 0.8 and not lone:
        lowest = tuple(f"p{number}" for number in np.argsort(fitted)[:2])
        assert [where for _, where in told] == [lowest]
        assert f"{np.ptp(fitted):.1f} dB" in told[0][0]
    else:
        assert told == []


def test_places_on_one_line_show_no_tilt() -> None:
    loop = {**SIDES, "wire_height_m": 0.0, "current_a": 3.0}
    places = []
    for number in range(5):
        x = y = 0.9 + 0.5 * number
        level = 20 * math.log10(3.0 * vertical_h(Loop.rectangle(5, 4), (x, y, 1.2)) / 0.4) + 2.0 * number - 4
        places.append({"name": f"p{number}", "x_m": x, "y_m": y, "field_db": level})
    assert "tilt" not in [one.code for one in diagnose(readings_from({"positions": places, "loop": loop}))]


def test_the_corners_of_a_loop_in_a_file_are_two_numbers_each_within_100_metres() -> None:
    def corners(*spots: object) -> Loop | None:
        return readings_from({"loop": {"corners_m": list(spots)}}).loop

    seen = corners([0, 0], [5, -100], [5, 4], [0, 4])
    assert seen is not None
    assert set(seen.spots) == {(0, 0), (5, -100), (5, 4), (0, 4)}
    for wrong in ([5, 100.2], [-100.2, 4], [5], [5, 4, 0], "5,4", [5, "4"]):
        with pytest.raises(BadInput, match="corner 3"):
            corners([0, 0], [5, 0], wrong)
    # and a wire lies from 10 m below the floor to 20 m above it
    for z, right in ((-10.0, True), (20.0, True), (-10.1, False), (20.1, False)):
        with contextlib.nullcontext() if right else pytest.raises(BadInput, match="height"):
            Loop(((0, 0, z), (5, 0, z), (5, 4, z)))
    for flat in ((0, 0), (0, 0, 0, 0)):
        with pytest.raises(BadInput, match="corner 1"):
            Loop((flat, (5, 0, 0), (5, 4, 0)))  # type: ignore[arg-type]


def test_a_loop_with_one_corner_a_millimetre_higher_lies_flat_and_with_two_it_does_not() -> None:
    for rise, plane in ((0.0009, 1.0), (0.0011, None)):
        assert Loop(((0, 0, 1.0), (5, 0, 1.0), (5, 4, 1.0 + rise))).plane == plane


def test_a_ring_is_a_polygon_of_72_sides_from_ten_centimetres_to_100_metres() -> None:
    ring = Loop.ring(2.0)
    assert len(ring.corners) == 72
    assert ring.box == pytest.approx((-0.000635, 2.000635, -0.000635, 2.000635), abs=1e-6)
    assert ring.commissioning_point == pytest.approx((1, 1))
    for diameter in (0.1, 100.0):
        assert Loop.ring(diameter).area == pytest.approx(math.pi * diameter**2 / 4)


# -- wire that goes up a wall, and what programs get -----------------------------------------------------

#: Along the floor on two sides, up in two corners, and along the ceiling on the others.
UP_THE_WALL = Loop(((0, 0, 0), (5, 0, 0), (5, 4, 0), (5, 4, 2.5), (0, 4, 2.5), (0, 0, 2.5)))


def test_a_wire_that_goes_up_a_wall_is_a_spot_seen_from_above() -> None:
    assert (UP_THE_WALL.area, UP_THE_WALL.perimeter, UP_THE_WALL.plane) == (20, 18 + 5, None)
    assert UP_THE_WALL.clearance((2.5, 2)) == 2
    assert UP_THE_WALL.clearance((5.3, 4.4)) == pytest.approx(0.5)
    # 8 ways out of each side, and their ends; none from the upright wires
    flat = spill(Loop.rectangle(5, 4), 2.0, ear=1.2, level_db=-32.0, storey=None)
    found = spill(UP_THE_WALL, 2.0, ear=1.2, level_db=-32.0, storey=None)
    assert all(one.level_db > -60 for one in found.by_distance)
    assert 0.3 * flat.reach_m < found.reach_m < 2 * flat.reach_m


def test_a_place_of_which_nobody_knows_where_it_is_is_compared_with_nothing() -> None:
    places = [
        {"name": "sofa", "x_m": 2.5, "y_m": 2, "field_db": 0},
        {"name": "door", "x_m": 1, "field_db": 0},
        {"name": "lamp", "y_m": 1, "field_db": 0},
        {"name": "table", "field_db": 0},
        {"name": "chair", "x_m": 1, "y_m": 1, "field_db": 0},
    ]
    found = compared(readings_from({"positions": places, "loop": SIDES}))
    assert [one.name for one in found] == ["sofa", "chair"]


def test_the_field_where_people_stand_near_a_counter_has_to_be_measured() -> None:
    points = [{"name": f"p{n}", "field_db": 0, "height_m": 1.2} for n in range(3)]
    for use, told in (("counter", [None]), ("refuge", [None]), ("chair", []), ("room", [])):
        judgement = judge(readings_from({"use": use, "positions": points}))
        standing = [one for one in judgement.checks if one.code == "standing"]
        assert [one.ok for one in standing] == told
        assert all((one.value, one.high, one.clause) == (None, 8, "9.5") for one in standing)
        assert all(one.note is not None and "measured" in one.note.text for one in standing)


def test_half_of_the_places_do_not_agree_on_one_level() -> None:
    def keys(*off: float) -> list[str]:
        loop: dict[str, Any] = {**SIDES, "wire_height_m": 0.0, "current_a": 3.0}
        places = []
        for number, ((x, y), more) in enumerate(zip(SEATS, off, strict=False)):
            level = 20 * math.log10(3.0 * vertical_h(Loop.rectangle(5, 4), (x, y, 1.2)) / 0.4) + more
            places.append({"name": f"p{number}", "x_m": x, "y_m": y, "field_db": level})
        return [one.key for one in diagnose(readings_from({"positions": places, "loop": loop}))]

    # the middle of -10, -4, -3 and 5 dB is -3.5 dB, which two of the four places are near
    assert "loop/fault/drive-low/computed" not in keys(-10, -3, -4, 5)
    assert "loop/fault/drive-low/computed" in keys(-10, -3, -4, -5)


@pytest.mark.parametrize(
    "data",
    [
        {"loop": {**SIDES, "colour": 1}},
        {"positions": [{"name": "sofa", "field_db": 0, "colour": 1}]},
        {"noise": {"driver_off_dba": -50, "colour": 1}},
        {"response": {"db_100_hz": 0, "colour": 1}},
        {"user": {"satisfied": True, "colour": 1}},
        {"colour": 1},
    ],
)
def test_a_field_that_nobody_knows_is_named_wherever_it_is(data: dict[str, Any]) -> None:
    with pytest.raises(BadInput, match="colour"):
        readings_from(data)


def test_a_side_of_a_room_in_a_file_is_bounded_and_the_bounds_are_said() -> None:
    for side in (0.29, 100.1):
        with pytest.raises(BadInput, match=r"0\.3 to 100(\.0)? m"):
            readings_from({"loop": {"length_m": side, "width_m": 4}})


def test_the_name_of_a_place_has_80_characters_at_most() -> None:
    for count, right in ((80, True), (81, False)):
        for data in (
            {"positions": [{"name": "x" * count, "field_db": 0}]},
            {"response": {"at": "x" * count, "db_1000_hz": 0}},
        ):
            with contextlib.nullcontext() if right else pytest.raises(BadInput, match="80"):
                readings_from(data)


def test_of_agreed_points_one_at_each_height_is_enough() -> None:
    # cl. 9.4, second-hand; by the figure of clause 9.3 three are
    points = [{"name": f"p{h}", "field_db": 0, "height_m": h} for h in (1.2, 1.45, 1.7)]
    for agreed, ok in ((True, True), (False, None)):
        data = {"use": "counter", "positions": points, "points_agreed": agreed}
        checks = [one for one in judge(readings_from(data)).checks if one.code == "points"]
        assert [(one.height, one.ok) for one in checks] == [(h, ok) for h in (1.2, 1.45, 1.7)]
        assert {one.low for one in checks} == ({1.0} if agreed else {3.0})
