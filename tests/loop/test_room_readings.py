"""Readings judged: the limits, the honest gaps, and where a fault lies."""

from __future__ import annotations

import copy
import json
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kb.base.errors import BadInput
from kb.loop.field import level_db, vertical_h
from kb.loop.geometry import Loop
from kb.loop.readings_file import readings_from
from kb.loop.verdict import judge

PLACES = {
    "sofa": (2.5, 2.0),
    "window chair": (4.2, 3.3),
    "door": (0.8, 0.7),
    "table": (4.2, 0.7),
    "piano": (0.8, 3.3),
    "lamp": (2.5, 3.2),
}
GOOD = {
    "date": "2026-03-04",
    "place": "living room",
    "positions": [
        {"name": "sofa", "field_ma_per_m": 400, "response_db": {"100": -1.0, "1000": 0.5, "5000": -2.0}},
        {"name": "door", "field_db": -1.5, "response_db": {"100": -1.5, "1000": -0.5, "5000": -3.0}},
    ],
    "noise": {"driver_off_dba": -52, "driver_on_dba": -48},
    "user": {"satisfied": True, "words": "clear"},
}


FLAT = {"100": 0, "1000": 0, "5000": 0}


SEAT = {"name": "sofa", "field_db": 0}


def judged(**change):
    return judge(readings_from({**copy.deepcopy(GOOD), **change}))


def fields(*levels, **more):
    """Readings of the field at places p0, p1, ...; all else is in order."""
    positions = [{"name": f"p{n}", "field_db": level, "response_db": FLAT} for n, level in enumerate(levels)]
    return judged(positions=positions, **more)


def check(judgement, name):
    return next(each for each in judgement.checks if each.name == name)


def measured(offsets, *, current=2.8, known=True):
    """A readings file of a room 5 x 4 m whose places read as computed, plus an offset in dB each."""
    loop = Loop.rectangle(5, 4)
    positions = [
        {
            "name": name,
            "x_m": x,
            "y_m": y,
            "field_db": level_db(vertical_h(loop, (x, y, 1.2)) * current) + offsets.get(name, 0.0),
            "response_db": FLAT,
        }
        for name, (x, y) in PLACES.items()
    ]
    room = {"length_m": 5, "width_m": 4} | ({"current_a": current} if known else {})
    return {**copy.deepcopy(GOOD), "positions": positions, "loop": room}


def faults(data):
    return {each.code: each.where for each in judge(readings_from(data)).diagnosis}


def test_readings_within_every_limit_meet_the_standard():
    judgement = judged()
    assert judgement.verdict == "meets"
    assert judgement.failed == judgement.incomplete == ()
    assert all(each.ok for each in judgement.checks)
    assert judgement.diagnosis == ()


@pytest.mark.parametrize(
    ("level", "ok"), [(-3.0, True), (3.0, True), (-3.01, False), (3.01, False), (0.0, True)]
)
def test_the_field_may_differ_by_3_db_from_400_ma_per_m(level, ok):
    # IEC 60118-4:2014+A1:2017 cl. 8.4.3, second-hand
    judgement = fields(0.0, level)
    assert check(judgement, "field at p1").ok is ok
    assert (judgement.verdict == "meets") is ok
    assert "cl. 8.4.3 (second-hand)" in check(judgement, "field at p1").source


def test_the_full_field_is_reached_at_one_place_at_least():
    # cl. 8.2.1 and 8.2.7, second-hand
    judgement = fields(-3.0, -2.5, -0.01)
    assert judgement.failed == ("400 mA/m reached",)
    advice = next(each for each in judgement.advice if each.code == "level")
    assert "1.5 dB more drive" in advice.text
    assert fields(-3.0, 0.0).failed == ()


def test_pink_noise_on_an_rms_meter_does_not_ask_for_twice_the_current():
    # Table 3, second-hand: a right system reads -6 dB
    noise = fields(-6.0, -7.5, signal="pink", meter="rms")
    assert (noise.verdict, noise.diagnosis) == ("meets", ())
    assert "level" not in [each.code for each in noise.advice]
    assert fields(-6.0, -7.5).verdict == "falls-short"
    assert fields(0.0, -1.5, signal="pink", meter="peak-programme").verdict == "meets"
    assert fields(-4.0, -5.0, target_db=-4).verdict == "meets"  # what the driver's maker states


def test_a_place_outside_the_loop_says_nothing_of_the_drive():
    # 410 mA/m at 2.7 A in the middle is right; the meter in the hall shows the same of somebody else's loop
    hall = {"name": "hall", "field_ma_per_m": 410, "x_m": 9.0, "y_m": 1.0}
    sofa = {"name": "sofa", "field_ma_per_m": 395, "x_m": 2.5, "y_m": 2.0}
    loop = {"length_m": 5, "width_m": 4, "current_a": 2.7}
    assert not {"drive-high", "uneven", "high-at-place"} & set(faults({"loop": loop, "positions": [hall]}))
    assert not {"drive-high", "uneven", "high-at-place"} & set(
        faults({"loop": loop, "positions": [hall, sofa]})
    )
    # nor is it a place that has to be brought within 3 dB
    far = judge(readings_from({"loop": loop, "positions": [hall | {"field_ma_per_m": 40}, sofa]}))
    assert "uneven-area" not in [each.code for each in far.advice]


def test_a_tone_is_named_where_it_alone_makes_a_noise_worse():
    # 7.2: down to 22 dB below the signal for short periods, if the noise has no marked tone
    def note(level, *, tonal):
        found = judged(noise={"driver_off_dba": level, "tonal": tonal})
        return next(each.note.text for each in found.checks if each.code == "noise-off")

    assert "marked tone" in note(-25, tonal=True)
    assert "short periods" in note(-25, tonal=False)
    assert "marked tone" not in note(-20, tonal=True)
    assert "more than can be borne" in note(-20, tonal=True)


def test_a_reading_outside_the_loop_is_doubted_and_not_passed():
    data = measured({})
    data["positions"].append({"name": "hall", "x_m": 5.5, "y_m": 2, "field_db": 0, "response_db": FLAT})
    judgement = judge(readings_from(data))
    assert judgement.doubted == ("field at hall",)
    assert judgement.failed == ()
    assert judgement.incomplete == ("field at hall",)
    assert "outside the loop" in check(judgement, "field at hall").note.text


def test_a_reading_far_from_the_computed_field_is_doubted_and_not_passed():
    data = measured({})
    # the corner of the room should be far too weak, and the meter is said to have read 0 dB there
    data["positions"].append({"name": "corner", "x_m": 0.1, "y_m": 0.1, "field_db": 0, "response_db": FLAT})
    judgement = judge(readings_from(data))
    assert judgement.doubted == ("field at corner",)
    assert "against the computed field" in check(judgement, "field at corner").note.text


def test_a_verdict_counts_the_places_it_holds_for():
    assert fields(0.0).places == 1
    assert fields(0.0, -1.0).as_json()["places"] == 2


@pytest.mark.parametrize(("milliamps", "ok"), [(283.2, True), (283.1, False), (565.0, True), (565.1, False)])
def test_the_limits_in_ma_per_m_are_those_of_3_db(milliamps, ok):
    # 283.18 and 565.02 mA/m: arithmetic on 400 mA/m
    assert check(judged(positions=[{"name": "a", "field_ma_per_m": milliamps}]), "field at a").ok is ok


@pytest.mark.parametrize(
    ("low", "middle", "high", "ok"), [(-4, -1, -4, True), (-4.1, -1, 0, False), (0, 0, 3.2, False)]
)
def test_the_response_is_judged_against_1_khz(low, middle, high, ok):
    # cl. 8.3.7, second-hand: +-3 dB from 100 Hz to 5 kHz re 1 kHz
    response = {"at": "sofa", "db_100_hz": low, "db_1000_hz": middle, "db_5000_hz": high}
    judgement = judged(positions=[{"name": "sofa", "field_db": 0}], response=response)
    assert (judgement.verdict == "meets") is ok
    assert check(judgement, "response at 100 Hz").value == pytest.approx(low - middle)
    assert "cl. 8.3.7" in check(judgement, "response at 5 kHz").source


def test_the_response_counts_at_every_place():
    # cl. 8.3.7, second-hand
    positions = copy.deepcopy(GOOD["positions"])
    del positions[1]["response_db"]
    assert judged(positions=positions).incomplete == ("response at door",)
    positions[1]["response_db"] = {"100": 0, "1000": 0, "2000": -3.5, "5000": 0}
    assert judged(positions=positions).failed == ("response at 2 kHz, door",)


@pytest.mark.parametrize(
    ("noise", "ok", "word"),
    [(-50, True, "ideal"), (-47, True, "acceptable"), (-32, True, "acceptable"), (-31, False, "report")],
)
def test_noise_of_the_site_is_told_and_does_not_decide(noise, ok, word):
    # cl. 7.2, second-hand, dB(A) re 400 mA/m
    judgement = judged(noise={"driver_off_dba": noise, "driver_on_dba": -50})
    found = check(judgement, "background noise, driver off")
    assert found.ok is ok
    assert word in found.note.text
    assert judgement.verdict == "meets"


def test_noise_that_the_driver_adds_decides():
    # cl. 10.4.7, second-hand
    assert judged(noise={"driver_off_dba": -52, "driver_on_dba": -47}).verdict == "meets"
    loud = judged(noise={"driver_off_dba": -52, "driver_on_dba": -46.9})
    assert loud.failed == ("background noise, driver on",)
    assert [each.code for each in loud.diagnosis] == ["noise-driver"]
    assert judged(noise={"driver_off_dba": -40, "driver_on_dba": -38.9}).verdict == "falls-short"


def test_noise_may_be_given_in_ma_per_m():
    # -47 dB is 1.787 mA/m
    found = check(
        judged(noise={"driver_off_ma_per_m": 1.787, "driver_on_dba": -50}), "background noise, driver off"
    )
    assert found.value == pytest.approx(-47, abs=2e-3)


@pytest.mark.parametrize(
    ("gone", "names"),
    [
        ({"positions": []}, {"field", "response at 100 Hz", "response at 5 kHz"}),
        ({"positions": [SEAT]}, {"response at 100 Hz", "response at 5 kHz"}),
        ({"positions": [SEAT], "response": {"db_100_hz": 0, "db_1000_hz": 0}}, {"response at 5 kHz"}),
        (
            {"positions": [SEAT], "response": {"db_100_hz": 0, "db_5000_hz": 0}},
            {"response at 100 Hz", "response at 5 kHz"},
        ),
        ({"noise": {"driver_off_dba": -50}}, {"background noise, driver on"}),
        ({"noise": {"driver_on_dba": -50}}, {"background noise, driver on"}),
        ({"noise": {}}, {"background noise, driver on"}),
    ],
)
def test_what_was_not_measured_is_never_taken_as_met(gone, names):
    judgement = judged(**gone)
    assert judgement.verdict == "falls-short"
    assert judgement.failed == ()
    assert set(judgement.incomplete) == names
    assert all(
        check(judgement, name).ok is None and "not measured" in check(judgement, name).note.text
        for name in names
    )


def test_an_empty_file_meets_nothing():
    judgement = judge(readings_from({}))
    assert judgement.verdict == "falls-short"
    assert len(judgement.incomplete) == 4


def test_exposure_is_told_for_information_and_never_decides():
    # ICNIRP 2010: 64 A/m at 1 kHz; a reading that high would be 44 dB above the reference field
    strong = judged(positions=[{"name": "a", "field_ma_per_m": 65_000}])
    found = check(strong, "exposure at 1 kHz, strongest position")
    assert found.ok is False
    assert not found.required
    assert found.name not in strong.failed


@pytest.mark.parametrize("satisfied", [True, False, None])
def test_the_user_s_verdict_stands_beside_the_standard_s_and_changes_nothing(satisfied):
    user = {"words": "thin"} if satisfied is None else {"satisfied": satisfied, "words": "thin"}
    judgement = judged(user=user)
    assert judgement.verdict == "meets"
    assert judgement.as_json()["user"] == {"satisfied": satisfied, "words": "thin"}


def test_readings_as_computed_show_no_fault():
    assert faults(measured({})) == {}


@given(st.lists(st.floats(-1.2, 1.2), min_size=6, max_size=6))
def test_the_scatter_of_a_hand_held_meter_is_no_fault(scatter):
    assert faults(measured(dict(zip(PLACES, scatter, strict=True)))) == {}


@given(st.floats(-12, -2.5), st.lists(st.floats(-0.4, 0.4), min_size=6, max_size=6))
def test_too_low_everywhere_points_at_the_drive(loss, scatter):
    found = faults(measured({name: loss + bit for name, bit in zip(PLACES, scatter, strict=True)}))
    assert set(found) == {"drive-low"}


def test_too_high_everywhere_points_at_the_drive_too():
    assert set(faults(measured(dict.fromkeys(PLACES, 4.0)))) == {"drive-high"}


@given(
    st.sampled_from(sorted(PLACES)),
    st.floats(-15, -4),
    st.lists(st.floats(-0.4, 0.4), min_size=6, max_size=6),
)
def test_low_at_one_place_points_at_wire_or_metal_there(name, loss, scatter):
    offsets = dict(zip(PLACES, scatter, strict=True))
    offsets[name] += loss
    assert faults(measured(offsets)) == {"low-at-place": (name,)}


def test_low_everywhere_and_lower_at_one_place_is_told_as_both():
    offsets = dict.fromkeys(PLACES, -5.0) | {"table": -12.0}
    assert set(faults(measured(offsets))) == {"drive-low", "low-at-place"}


def test_a_steady_fall_across_the_room_is_a_tilt():
    offsets = {name: -2.0 * (x - 2.5) for name, (x, _) in PLACES.items()}
    found = faults(measured(offsets))
    assert set(found) == {"tilt"}
    assert set(found["tilt"]) == {"window chair", "table"}


def test_a_steep_fall_whose_places_share_no_level_is_not_blamed_on_the_drive():
    # strong enough a current that the middle of the room reads right
    offsets = {name: -3.0 * x for name, (x, _) in PLACES.items()}
    assert set(faults(measured(offsets, current=6.4))) == {"tilt"}


def test_a_steady_fall_is_seen_without_knowing_the_current():
    offsets = {name: -1.8 * (y - 2.0) - 4 for name, (_, y) in PLACES.items()}
    assert "tilt" in faults(measured(offsets, known=False))


def test_two_places_are_not_made_into_a_pattern():
    data = measured({"sofa": -6.0})
    data["positions"] = data["positions"][:2]
    assert not {"low-at-place", "tilt", "uneven"} & set(faults(data))


def test_one_bad_place_far_from_the_others_is_not_made_into_a_tilt():
    loop = Loop.rectangle(5, 4)
    spots = {"a": (0.8, 0.8), "b": (1.1, 0.8), "c": (0.8, 1.1), "d": (1.1, 1.1), "far": (4.2, 3.3)}
    data = measured({})
    data["positions"] = [
        {"name": name, "x_m": x, "y_m": y, "field_db": level_db(vertical_h(loop, (x, y, 1.2)) * 2.8)}
        for name, (x, y) in spots.items()
    ]
    data["positions"][-1]["field_db"] -= 8
    assert faults(data) == {"low-at-place": ("far",)}


def test_four_places_are_not_made_into_a_tilt():
    offsets = {name: -2.0 * (x - 2.5) for name, (x, _) in PLACES.items()}
    data = measured(offsets)
    data["positions"] = data["positions"][1:5]
    assert "tilt" not in faults(data)


def test_a_loss_to_metal_that_was_allowed_for_is_no_fault():
    data = measured(dict.fromkeys(PLACES, -6.0), current=5.4)
    data["loop"]["metal_db"] = 6.0
    assert faults(data) == {}


def test_places_on_one_line_are_not_made_into_a_tilt():
    loop = Loop.rectangle(5, 4)
    data = measured({})
    data["positions"] = [
        {
            "name": f"p{x}",
            "x_m": x,
            "y_m": 2.0,
            "field_db": level_db(vertical_h(loop, (x, 2.0, 1.2)) * 2.8) - 2 * x,
        }
        for x in (0.8, 1.6, 2.4, 3.2, 4.0)
    ]
    assert "tilt" not in faults(data)


def test_without_a_loop_low_readings_still_point_at_the_drive():
    positions = [{"name": name, "field_db": -7.0} for name in PLACES]
    assert faults({**GOOD, "positions": positions}) == {"drive-low": ()}


def test_a_loss_at_5_khz_points_at_voltage_and_noise_with_the_driver_at_a_ground_loop():
    found = faults({**GOOD, "response": {"db_100_hz": 0, "db_1000_hz": 0, "db_5000_hz": -6}})
    assert set(found) == {"treble-low"}
    assert set(faults({**GOOD, "noise": {"driver_off_dba": -50, "driver_on_dba": -28}})) == {"noise-driver"}
    assert set(faults({**GOOD, "noise": {"driver_off_dba": -28, "driver_on_dba": -27}})) == {"noise-outside"}


def test_a_response_that_is_too_high_points_at_a_correction_or_a_tone_setting():
    found = faults({**GOOD, "response": {"db_100_hz": 4, "db_1000_hz": 0, "db_5000_hz": 3.5}})
    assert set(found) == {"treble-high", "bass-high"}


def test_no_field_anywhere_is_a_matter_of_wire_and_driver_and_not_of_more_drive():
    data = measured(dict.fromkeys(PLACES, -60.0))
    assert set(faults(data)) == {"no-field"}
    assert advised(data) == ["user-satisfied"]


def test_a_field_below_what_the_current_should_give_is_first_a_question_of_that_current():
    (fault,) = judge(readings_from(measured(dict.fromkeys(PLACES, -6.0)))).diagnosis
    assert "6.0 dB below what 2.80 A should give" in fault.text
    assert "factor of two" in fault.text
    assert "level" not in advised(measured(dict.fromkeys(PLACES, -6.0)))


# -- what to do next


def advised(data):
    return [each.code for each in judge(readings_from(data)).advice]


def test_where_all_is_measured_right_and_liked_nothing_is_left_to_do():
    assert advised(measured({})) == []


def test_the_drive_that_brings_all_places_into_the_tolerance_is_told_with_its_current():
    data = measured({}, current=1.6)
    advice = next(each for each in judge(readings_from(data)).advice if each.code == "level")
    shift = float(advice.text.split(" dB more drive", 1)[0])
    assert f"to about {1.6 * 10 ** (shift / 20):.2f} A" in advice.text
    for each in data["positions"]:
        each["field_db"] += shift
    assert judge(readings_from(data)).failed == ()


@given(st.lists(st.floats(-12, 12), min_size=3, max_size=8))
def test_no_drive_is_promised_where_the_places_differ_too_much(levels):
    data = {**GOOD, "positions": [{"name": f"p{n}", "field_db": level} for n, level in enumerate(levels)]}
    codes = set(advised(data))
    out = max(map(abs, levels)) > 3 + 1e-9 or max(levels) < -1e-9
    assert ("level" in codes) == (out and max(levels) - min(levels) <= 6)
    assert ("uneven-area" in codes) == (out and max(levels) - min(levels) > 6)


def test_an_area_too_near_the_wire_is_told_as_the_loop_s_own_unevenness():
    loop = Loop.rectangle(5, 4)
    data = measured({})
    near = level_db(abs(vertical_h(loop, (0.1, 0.1, 1.2))) * 2.8)
    data["positions"].append({"name": "corner seat", "x_m": 0.1, "y_m": 0.1, "field_db": near})
    assert faults(data) == {}
    (advice,) = [each for each in judge(readings_from(data)).advice if each.code == "uneven-area"]
    assert "as computed" in advice.text
    assert "corner seat" in advice.where


def test_one_chair_is_told_apart_from_a_room():
    data = {**GOOD, "positions": GOOD["positions"][:1]}
    assert advised(data) == ["few-places"]
    assert judge(readings_from(data)).verdict == "meets"  # a chair may be all there is


def test_where_user_and_standard_differ_both_are_kept_and_it_is_said_where_to_look():
    unhappy = measured({}) | {"user": {"satisfied": False, "words": "thin"}}
    assert (judge(readings_from(unhappy)).verdict, advised(unhappy)) == ("meets", ["user-not-satisfied"])
    content = measured({"sofa": -8.0})
    assert judge(readings_from(content)).verdict == "falls-short"
    assert "user-satisfied" in advised(content)


def test_a_bent_room_may_be_told_by_its_corners():
    data = {
        **GOOD,
        "loop": {"corners_m": [[0, 0], [5, 0], [5, 3], [3, 3], [3, 4], [0, 4]], "turns": 2, "current_a": 1.4},
    }
    data["positions"] = [{"name": "sofa", "field_db": 0, "x_m": 2, "y_m": 2}]
    (compared,) = judge(readings_from(data)).compared
    loop = Loop.polygon([(0, 0), (5, 0), (5, 3), (3, 3), (3, 4), (0, 4)], turns=2)
    assert compared.computed_db == pytest.approx(level_db(1.4 * vertical_h(loop, (2, 2, 1.2))))


@pytest.mark.parametrize(
    ("change", "why"),
    [
        ({"positions": "sofa"}, "positions"),
        ({"positions": [3]}, "position 1"),
        ({"positions": [{"name": "a"}]}, "position 1, field_ma_per_m"),
        ({"positions": [{"name": "a", "field_ma_per_m": "400"}]}, "position 1, field"),
        ({"positions": [{"name": "a", "field_ma_per_m": -1}]}, "position 1, field"),
        ({"positions": [{"name": "a", "field_ma_per_m": float("nan")}]}, "position 1, field"),
        ({"positions": [{"name": "a", "field_ma_per_m": True}]}, "position 1, field"),
        ({"positions": [{"name": "a", "field_ma_per_m": 400, "field_db": 0}]}, "one of the two"),
        ({"positions": [{"name": "a", "field_db": 0}] * 2}, "position 2, name"),
        ({"positions": [{"name": "a\x1b[31m", "field_db": 0}]}, "control"),
        ({"positions": [{"name": "a", "field": 400}]}, "position 1, unknown field: saw 'field'"),
        ({"positions": [{"name": "a", "x_m": 1}]}, "position 1, field_ma_per_m"),
        ({"positions": [{"field_db": 0, "response_db": {"1 kHz": 0}}]}, "response_db: saw '1 kHz'"),
        ({"signal": "white"}, "signal"),
        (
            {"positions": [{"name": "n" * 81, "field_db": 0}]},
            "position 1, name: saw 81 characters",
        ),
        ({"positions": [{"field_db": 0}] * 501}, "500"),
        ({"response": []}, "response"),
        ({"response": {"db_100_hz": "x"}}, "response, db_100_hz"),
        ({"noise": {"driver_of_dba": -50}}, "noise, unknown field: saw 'driver_of_dba'"),
        ({"noise": {"driver_off_dba": 10**400}}, "driver_off"),
        ({"loop": {"length_m": 5}}, "loop, width_m"),
        ({"loop": {"length_m": 0, "width_m": 4}}, "loop, length_m"),
        ({"loop": {"length_m": 5, "width_m": 4, "turns": 1.5}}, "loop, turns"),
        ({"loop": {"corners_m": [[0, 0], [5]]}}, "corner 2"),
        ({"user": {"satisfied": "yes"}}, "user, satisfied"),
        ({"colour": "red"}, "readings, unknown field: saw 'colour'"),
    ],
)
def test_a_mistake_in_the_file_is_named_by_its_field(change, why):
    with pytest.raises(BadInput) as refused:
        judged(**change)
    assert why in str(refused.value)
    assert "\x1b" not in str(refused.value)


def test_a_place_on_the_wire_is_named():
    data = measured({})
    data["positions"][0] |= {"x_m": 0.0, "y_m": 2.0, "height_m": 0.0}
    with pytest.raises(BadInput, match=r"sofa, listener.*on the wire"):
        judge(readings_from(data))


def test_a_meter_that_shows_nothing_is_below_its_range_and_not_at_minus_infinity():
    judgement = judged(positions=[{"name": "a", "field_ma_per_m": 0}])
    assert math.isfinite(check(judgement, "field at a").value)
    json.dumps(judgement.as_json(), allow_nan=False)


KEYS = ["positions", "name", "field_db", "field_ma_per_m", "noise", "loop", "length_m", "x_m", "user"]
JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=12),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.sampled_from(KEYS), inner, max_size=5),
    max_leaves=12,
)


@given(JSON)
def test_whatever_a_file_holds_gives_a_judgement_or_a_clear_refusal(data):
    try:
        judgement = judge(readings_from(data))
    except BadInput:
        return
    json.dumps(judgement.as_json(), allow_nan=False)
    assert judgement.verdict in ("meets", "falls-short")


def test_a_field_in_microtesla_is_read():
    # S56, E.6: 0.4 A/m is 0.50265 uT, 1 Oe is 79.58 A/m (0.1 mT in air)
    def level(**field):
        return readings_from({"positions": [{"name": "sofa", **field}]}).positions[0].field_db

    assert level(field_ut=0.50265) == pytest.approx(0.0, abs=1e-4)
    assert 0.4 * 10 ** (level(field_ut=100) / 20) == pytest.approx(79.58, abs=5e-3)
    with pytest.raises(BadInput, match="one of the two"):
        level(field_ut=0.5, field_db=0.0)


def test_a_number_in_quotes_is_told_from_one_that_is_none():
    for typed, said in (
        ("410,5", "without quotation marks and with a decimal point: 410.5"),
        ("loud", "mA/m$"),
    ):
        with pytest.raises(BadInput, match=said):
            readings_from({"positions": [{"name": "sofa", "field_ma_per_m": typed}]})
