"""Check the numbers in what is said, and the values at and around each limit of loops and readings."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from kb.base.errors import BadInput
from kb.domain.driver import DriverLimits
from kb.loop import text_map
from kb.loop import tone as tones
from kb.loop.diagnose import compared, diagnose
from kb.loop.document import as_json
from kb.loop.driver import Choice, fit
from kb.loop.field import STANDING_M_AHEAD, STANDING_M_ASIDE, best_offset, drawn_h, front_plane, vertical_h
from kb.loop.geometry import Loop
from kb.loop.input_level import voltage
from kb.loop.plan import Ask, _one_turn, plan
from kb.loop.readings_file import Readings, readings_from
from kb.loop.routes import Caution
from kb.loop.standard import SLACK, Programme, Use, at_most
from kb.loop.text_map import _sign, field_sketch
from kb.loop.tone import Tone, samples
from kb.loop.units import FOOT_M, length, room
from kb.loop.verdict import Check, judge
from kb.loop.wire import Load, Stock, load, wire_from
from kb.loop.wire_layouts import Layout, _fewest, _shift, laid

# -- limits ----------------------------------------------------------------------------------------------


def test_a_limit_is_met_by_itself_and_by_what_rounding_makes_of_it() -> None:
    assert [at_most(level, 0.0) for level in (-1.0, 0.0, SLACK, 2 * SLACK)] == [True, True, True, False]
    assert at_most(-8.9 + 5.9, -3.0)
    assert at_most(0.1 + 0.2, 0.3)


@pytest.mark.parametrize(
    ("low", "high", "said"),
    [(None, None, ""), (None, -32, "-32 or less"), (3, None, "3 or more"), (-3, 3, "-3 to +3")],
)
def test_the_limit_of_a_check_is_said_in_words(low: float | None, high: float | None, said: str) -> None:
    assert Check("field", 0.0, True, low=low, high=high).limit == said


def read(*levels: float, **more: Any) -> Readings:
    places = [{"name": f"p{n}", "field_db": level} for n, level in enumerate(levels, 1)]
    return readings_from({"positions": places, **more})


@pytest.mark.parametrize(
    ("use", "level", "faults"),
    [
        ("room", -3, []),
        ("room", -3.01, ["drive-low"]),
        ("room", 3, []),
        ("room", 3.01, ["drive-high"]),
        ("chair", -6, []),
        ("chair", -6.01, ["drive-low"]),
    ],
)
def test_the_drive_is_a_fault_beyond_the_tolerance_of_the_use(
    use: str, level: float, faults: list[str]
) -> None:
    # 3 dB in a room (8.4.3), 6 dB in a small volume (9.5), second-hand
    assert [one.code for one in diagnose(read(level, level, level, use=use))] == faults


def test_a_height_within_five_centimetres_counts_for_that_of_the_standard() -> None:
    def points(height: float) -> bool | None:
        point = {"name": "p", "field_db": 0, "height_m": height}
        checks = judge(readings_from({"use": "chair", "positions": [point]})).checks
        return next(one.ok for one in checks if one.code == "points")

    assert [points(height) for height in (1.15, 1.25, 1.149, 1.251)] == [True, True, None, None]


def test_places_that_differ_by_six_decibels_are_helped_by_the_drive_and_by_more_are_not() -> None:
    def advice(*levels: float) -> list[tuple[str, tuple[str, ...]]]:
        return [(one.code, one.where) for one in judge(read(*levels)).advice]

    assert advice(3.1, 0, -2.9) == [("level", ())]
    # the place at the limit itself is none to keep away from
    assert advice(3.2, 0, -3) == [("uneven-area", ("p1",))]


def test_where_the_site_was_not_measured_the_driver_may_add_one_decibel_to_its_noisiest_place() -> None:
    def faults(on: float) -> list[str]:
        places = [{"name": "a", "noise_off_dba": -40}, {"name": "b", "noise_on_dba": on}]
        return [one.code for one in diagnose(readings_from({"positions": places}))]

    assert [faults(on) for on in (-39, -38.9)] == [[], ["noise-driver"]]


@pytest.mark.parametrize(
    ("read_text", "most", "typed"), [(length, 40, "5.2"), (room, 80, "5x4"), (voltage, 40, "0.5 V")]
)
def test_a_text_that_is_longer_than_any_of_its_kind_is_refused(
    read_text: Callable[[str], object], most: int, typed: str
) -> None:
    assert read_text(typed.ljust(most)) == read_text(typed)
    with pytest.raises(BadInput):
        read_text(typed.ljust(most + 1))


# -- numbers in sentences --------------------------------------------------------------------------------


def test_what_a_driver_lacks_is_said_with_its_numbers() -> None:
    load, amperes = Load(3.0, 4.0 / (2 * math.pi * 1000)), 2.5
    calm = amperes * 10 ** (-7 / 20)
    volts = calm * math.hypot(3.0, 4.0 * 3.15)
    said = [one.text for one in fit(DriverLimits("weak", 2.0, 10.0, 4.0), load, amperes).reasons]
    assert [text.split(":")[0] for text in said] == [
        "the loop asks for 2.50 A, the driver is rated for 2.00 A (1.9 dB short)",
        "at 1 kHz the loop asks for 12.50 V for its full 2.50 A, the driver gives 10.00 V (1.9 dB short)",
        f"at 3.15 kHz the loop asks for {volts:.2f} V in the overload test for speech ({calm:.2f} A, "
        f"7 dB less than the full current), the driver gives 10.00 V "
        f"({20 * math.log10(volts / 10):.1f} dB short)",
        "the loop has 3.00 ohm, the driver wants at least 4.00 ohm",
    ]


SIDES = {"length_m": 5, "width_m": 4}
SEATS = [(0.0, 1.0), (4.0, 0.0), (1.0, 3.0), (4.0, 3.0), (2.5, 2.0)]


def measured(*off: float, current: float | None = 3.0) -> Readings:
    """Readings that differ by so many dB from the field of the loop; two of the seats are at a wall."""
    places: list[dict[str, Any]] = [
        {"name": f"p{n}", "x_m": x, "y_m": y, "field_db": 0} for n, (x, y) in enumerate(SEATS[: len(off)])
    ]
    loop = {**SIDES, "wire_height_m": -1.5} | ({} if current is None else {"current_a": current})
    for place, more in zip(places, off, strict=True):
        above = vertical_h(Loop.rectangle(5, 4, z=-1.5), (place["x_m"], place["y_m"], 1.2))
        place["field_db"] = 20 * math.log10((current or 1.0) * above / 0.4) + more
    return readings_from({"positions": places, "loop": loop})


def test_a_field_of_half_or_twice_the_size_is_said_to_be_a_factor_of_two() -> None:
    def said(off: float) -> str:
        [fault] = diagnose(measured(off, off, off))
        return fault.text

    for off in (5.1, 6.02, 6.9):
        assert f"{off:.1f} dB above what 3.00 A should give" in said(off)
        assert f"{off:.1f} dB below what 3.00 A should give" in said(-off)
        assert "turns than counted (6 dB is a factor of two)" in said(off)
        assert "turns than counted (6 dB is a factor of two)" in said(-off)
    for off in (4.9, 7.1):
        assert "factor" not in said(off)
        assert "factor" not in said(-off)


def test_three_places_that_do_not_agree_have_no_common_level_and_two_are_not_asked_to() -> None:
    def keys(*off: float) -> list[str]:
        return [one.key for one in diagnose(measured(*off)) if one.key.endswith("computed")]

    assert keys(-10, -5, 1) == []
    assert keys(-6, -5, 1) == keys(-10, -5) == ["loop/fault/drive-low/computed"]


def test_the_current_is_said_that_would_put_the_level_right() -> None:
    # without places nothing can be computed: only the level and the current count
    loop = {"loop": {**SIDES, "current_a": 2.0}}
    [low] = diagnose(read(-6.02, -6.02, -6.02, **loop))
    assert "6.0 dB below 400 mA/m: turn up the drive to about 4.00 A." in low.text
    [high] = diagnose(read(6.02, 6.02, 6.02, **loop))
    assert "6.0 dB above 400 mA/m: turn down the drive to about 1.00 A." in high.text
    [unknown] = diagnose(read(6.02, 6.02, 6.02))
    assert "turn down the drive." in unknown.text


def test_a_tilt_is_said_with_its_drop_and_its_two_lowest_places() -> None:
    # 1 dB a metre along the room, from 2.5 m on
    [fault] = [one for one in diagnose(measured(*(2.5 - x for x, _ in SEATS))) if one.code == "tilt"]
    assert "4.0 dB against the computed field" in fault.text
    assert fault.where == ("p1", "p3")


def test_what_was_measured_at_0_decibels_is_compared_as_that() -> None:
    places = [{"name": "p", "x_m": 0.0, "y_m": 0.0, "field_db": 0}]
    [pair] = compared(
        readings_from({"positions": places, "signal": "pink", "loop": {**SIDES, "current_a": 2.0}})
    )
    level = 20 * math.log10(2 * vertical_h(Loop.rectangle(5, 4), (0.0, 0.0, 1.2)) / 0.4)
    assert (pair.measured_db, pair.computed_db, pair.spot) == (6, pytest.approx(level), (0.0, 0.0))


def test_the_drive_is_advised_with_its_change_its_current_and_what_it_leads_to() -> None:
    loop = {"loop": {**SIDES, "current_a": 2.0}}
    [more] = judge(read(-5, -4, -1, **loop)).advice
    assert more.text.startswith(
        f"3.0 dB more drive, to about {2 * 10 ** (3 / 20):.2f} A, brings every place measured within +-3 dB "
        "(-2.0 to +2.0)."
    )
    [less] = judge(read(3.5, 4, 4, **loop)).advice
    # the middle of the window: +-0.25 dB, and the strongest place at 0 dB at least
    assert less.text.startswith("3.8 dB less drive")
    assert "(-0.2 to +0.2)" in less.text
    [far] = judge(read(-5, -4, 2.5)).advice
    assert "differ by 7.5 dB: no drive brings all of them within +-3 dB" in far.text


# -- geometry --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("corners", "said"),
    [
        ([(0, 0), (5, 0), (5, 0), (0, 4)], "polygon, corner 2: saw 5,0 twice"),
        ([(0, 0), (5, 0), (5, 4), (0, 0)], "polygon, corner 4: saw 0,0 twice"),
        ([(2, 6), (0, 0), (4, 0), (0, 4), (4, 4)], "side 1 crossing side 3"),
        ([(4, 4), (0, 4), (4, 0), (0, 0), (2, 6)], "side 1 crossing side 4"),
    ],
)
def test_the_corner_or_the_sides_that_are_wrong_are_named(
    corners: list[tuple[float, float]], said: str
) -> None:
    with pytest.raises(BadInput, match=said):
        Loop.polygon(corners)


def test_it_does_not_matter_with_which_corner_a_room_begins_and_which_way_round_it_was_typed() -> None:
    corners = [(0, 0), (6, 0), (6, 4), (3, 4), (3, 2), (0, 2)]

    def spots(typed: list[tuple[int, int]]) -> list[set[tuple[float, float]]]:
        room = Loop.polygon(typed)
        # eight on each side, and those round the inward corner
        found = [room.margin_spots(0.5, 40), room.inset(0.5), room.spots_inside(0.5, most=60)]
        return [{(round(x, 6) + 0.0, round(y, 6) + 0.0) for x, y in some} for some in found]

    along, inset, _ = first = spots(corners)
    assert inset == {(0.5, 0.5), (5.5, 0.5), (5.5, 3.5), (3.5, 3.5), (3.5, 1.5), (0.5, 1.5)}
    round_it = [math.dist(spot, (3, 2)) for spot in along if spot[0] < 3.0 + 1e-6 and spot[1] < 2 - 1e-6]
    assert min(round_it) == pytest.approx(0.5, abs=1e-6)
    for at in range(1, 6):
        assert spots(corners[at:] + corners[:at]) == first


def test_a_corner_too_far_away_is_told_with_both_limits() -> None:
    with pytest.raises(BadInput, match=r"corner 2: saw 500, expected a number from -100\.1 to 100\.1 m"):
        readings_from({"loop": {"corners_m": [[0, 0], [500, 0], [3, 3]]}})


def test_people_stand_as_far_aside_as_the_points_of_the_refuge() -> None:
    # Fig. 2 a, second-hand: 300 and 500 mm away, at 0 and 45 degrees
    assert max(side for side, _ in Use.REFUGE.figure) == pytest.approx(STANDING_M_ASIDE, abs=0.005)
    assert STANDING_M_AHEAD == (0.3, 0.5)


def test_in_front_of_a_loop_that_leans_to_one_side_people_stand_on_both() -> None:
    for right in (1, -1):
        loop = Loop.polygon([(0, 0), (right * 1.0, 0), (right * 1.0, 1.0)])
        middle = right * 0.5
        spots = [
            (middle + 0.035 * across, -0.3 - 0.01 * back) for across in range(-10, 11) for back in range(21)
        ]
        spots += [(middle + side, -ahead) for side, ahead in Use.COUNTER.figure]
        strongest = max(abs(vertical_h(loop, (*spot, 0.1))) for spot in spots)
        assert front_plane(loop, 0.1, Use.COUNTER).standing == pytest.approx(strongest, rel=1e-6)


def test_the_most_even_height_is_looked_for_up_to_half_the_shorter_side() -> None:
    assert best_offset(Loop.rectangle(3, 4), margin=0.02, step=0.5).offset == 1.5


# -- layouts ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("levels", "shift"),
    [
        # the median comes to 0 dB if that serves as many spots as any
        ([-2, -1, 0], 1),
        ([-3, 0, 3], 0),
        ([-7, -7, 0, 1, 2], 0),
        # else it is moved as little as brings in the most: to the end of the window that is nearer
        ([-4, -3, 0, 0, 0], 1),
        ([0, 0, 0, 3, 4], -1),
        ([0, 0, 5], -2),
        ([0, 5, 5], -3),
    ],
)
def test_a_layout_is_set_so_that_most_spots_are_within_3_db_and_the_middle_one_is_near_0_db(
    levels: list[float], shift: float
) -> None:
    assert _shift([float(level) for level in levels]) == pytest.approx(shift)


def test_of_layouts_as_good_within_a_hundredth_the_first_is_taken() -> None:
    def first(*shares: float) -> float:
        one = laid(Layout.EIGHT, Loop.rectangle(6, 4), ear=1.2, margin=1.9, current_a=3.0)
        return _fewest([replace(one, share=share) for share in shares]).share

    assert first(0.8, 0.985, 0.99) == 0.985
    assert first(0.98, 0.985, 0.99) == 0.98
    assert first(0.979, 0.985, 0.99) == 0.985
    assert first(0.99, 0.98) == 0.99


# -- what is planned -------------------------------------------------------------------------------------

ROOM = Loop.rectangle(5, 4)
THIN = Stock(wire_from("0.5mm2"), 39.0, "invented")
USUAL = Stock(wire_from("1.5mm2"), 13.3, "invented", usual=True)
THICK = Stock(wire_from("2.5mm2"), 7.98, "invented", usual=True)


def test_why_one_turn_is_not_enough_is_said_of_the_usual_wire_that_comes_nearest() -> None:
    def said(driver: DriverLimits | None, *sold: Stock, turns: int = 2) -> list[str]:
        ask = Ask(room=ROOM, driver=driver)
        seen = load(ROOM, USUAL.wire)
        fits = fit(DriverLimits("any", 9.0, 9.0), seen, 1.0)
        found = [
            Choice(USUAL.wire, count, 1.0, seen, 36.0, 1.0, fits, usual=True, least=False)
            for count in (turns, 1)
        ]
        reasons = _one_turn(ask, ROOM, 3.0, sold, found, feed=2.0, detour=1.0)
        return [one.code for one in reasons]

    # 3 A through 23 m: 1.5 mm2 as it may be sold asks for 0.92 V, 2.5 mm2 for 0.55 V, each with its reactance
    weak = DriverLimits("weak", 2.0, 1.0)
    assert said(weak, USUAL, THICK) == said(weak, THICK, THIN) == ["current"]
    assert said(weak, THIN, USUAL) == said(weak, USUAL) == ["current", "voltage"]
    assert said(weak, THIN) == ["current", "voltage", "voltage"], "the only wire, usual or not"
    assert said(weak, THIN, THIN) == [], "no usual wire"
    assert said(None, USUAL) == said(weak, USUAL, turns=1) == []


@pytest.mark.parametrize(
    ("most", "data"),
    [
        (100, lambda n: {"positions": [{"response_db": {str(100 + at): 0 for at in range(n)}}]}),
        (500, lambda n: {"positions": [{"field_db": 0}] * n}),
    ],
)
def test_a_file_holds_so_many_and_no_more(most: int, data: Callable[[int], dict[str, Any]]) -> None:
    readings_from(data(most))
    with pytest.raises(BadInput):
        readings_from(data(most + 1))


def test_a_room_has_no_doorways_no_feed_and_no_metal_unless_somebody_says_so() -> None:
    ask = Ask(room=ROOM)
    assert (ask.doorways, ask.feed, ask.metal_db, ask.metal_5k_db, ask.celsius) == (0, 0, 0, None, 20)
    assert (ask.margin, ask.ceiling, ask.use, ask.programme) == (0.5, 2.4, Use.ROOM, Programme.SPEECH)


def test_a_caution_is_a_sentence_and_names_its_source() -> None:
    caution = Caution("ladder", "29 CFR 1926.1053")
    assert caution.text == caution.sentence.text
    assert "one out for four up" in caution.text
    assert not caution.always


def test_on_a_wire_in_any_direction_the_map_shows_the_field_beside_it() -> None:
    for degrees in range(0, 180, 5):
        east, north = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
        corners = [(-3 * east, -3 * north), (3 * east, 3 * north), (-2 * north, 2 * east)]
        assert abs(drawn_h(Loop.polygon(corners), (0.1 * east, 0.1 * north, 0.0))) > 1


def test_programs_get_the_level_of_the_source_if_both_levels_are_known() -> None:
    def line(**more: float) -> Any:
        return as_json(plan(Ask(room=Loop.rectangle(1, 1), height=0.5, margin=0.3, **more)))["line"]

    both = {"source_v": 1.0, "sensitivity_v": 0.5}
    assert line(**both) == {**both, "margin_db": pytest.approx(6.0206, abs=1e-4)}
    assert line() is line(source_v=1.0) is None


def test_a_length_in_feet_is_taken_up_to_its_bounds_and_refused_beyond() -> None:
    low, high = 10 * FOOT_M, 20 * FOOT_M
    assert [length(feet, low=low, high=high, feet=True) for feet in ("10", "20")] == [low, high]
    for feet in ("9.9", "20.1"):
        with pytest.raises(BadInput):
            length(feet, low=low, high=high, feet=True)


def test_the_level_is_set_at_the_centre_unless_that_lies_within_a_quarter_of_the_way_to_the_wire() -> None:
    # two rooms of 4 x 4 m, joined by a passage along one wall; the centre of area lies in the passage
    def point(wide: float) -> tuple[float, float]:
        corners = [(0, 0), (10, 0), (10, 4), (6, 4), (6, wide), (4, wide), (4, 4), (0, 4)]
        return Loop.polygon(corners).commissioning_point

    # it has 0.6 m to the wall of a passage of 2.5 m, and 0.4 m of one of 2.3 m; 2 m are there in each room
    assert point(2.5)[0] == pytest.approx(5)
    x, y = point(2.3)
    assert (min(x, 10 - x), y) == pytest.approx((2, 2), abs=0.15)


# -- maps and tones --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("wide", "deep", "asked", "size"),
    [
        # a character is twice as high as wide; 24 rows at most
        (8, 2, 72, (72, 9)),
        (5, 4, 72, (60, 24)),
        (2, 9, 72, (11, 24)),
        # 5 rows, 8 columns and 16 columns asked for at least
        (40, 1, 72, (72, 5)),
        (1, 20, 72, (8, 24)),
        (8, 2, 3, (16, 5)),
    ],
)
@pytest.mark.parametrize("by", [0, -7])
def test_a_map_of_letters_has_the_shape_of_the_room(
    monkeypatch: pytest.MonkeyPatch, wide: float, deep: float, asked: int, size: tuple[int, int], by: float
) -> None:
    monkeypatch.setattr(text_map, "grid", lambda loop, height, columns, rows, *rest: [[0.4] * columns] * rows)
    spots = [(by, -by), (by + wide, -by), (by + wide, deep - by), (by, deep - by)]
    *lines, _ = field_sketch(Loop.polygon(spots), 1.2, 1.0, width=asked).split("\n")
    assert (len(lines[0]), len(lines)) == size
    # the wire goes all round, and 0 dB within it
    assert lines[0] == lines[-1] == "#" * size[0]
    assert set(lines[1:-1]) == {"#" + "o" * (size[0] - 2) + "#"}


def test_the_floor_outside_is_marked_where_the_field_is_as_strong_as_asked(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def lines(level: float) -> list[str]:
        field = 0.4 * 10 ** (level / 20)
        monkeypatch.setattr(
            text_map, "grid", lambda loop, _, columns, rows, *rest: [[-field] * columns] * rows
        )
        return field_sketch(Loop.rectangle(8, 4), 1.2, 1.0, spill_db=-32.0).split("\n")

    # half of the shorter side of floor round the room: 12 x 8 m
    assert lines(-32)[0] == "." * 72
    assert lines(-32.1)[0] == ""
    assert len(lines(-32)) == 24 + 2


@pytest.mark.parametrize(
    ("level", "sign"),
    [
        (-3.06, "<"),
        (-3.04, "-"),
        (-0.94, "o"),
        (-0.96, "-"),
        (1.04, "o"),
        (1.06, "+"),
        (3.04, "+"),
        (3.06, ">"),
    ],
)
def test_a_sign_stands_for_a_band_of_levels_with_a_hair_of_room(level: float, sign: str) -> None:
    assert _sign(level, 3.0) == sign


@pytest.mark.parametrize(
    ("tone", "shares"),
    [
        # a ground loop, and a dimmer, which cuts into each half wave (common practice)
        (Tone.HUM, {50: 1.0, 100: 0.5, 150: 0.3, 200: 0.1}),
        (Tone.BUZZ, {100 * number: 1 / number for number in range(1, 25)}),
    ],
)
def test_hum_and_buzz_hold_these_multiples_of_the_mains(
    monkeypatch: pytest.MonkeyPatch, tone: Tone, shares: dict[int, float]
) -> None:
    monkeypatch.setattr(tones, "FADE_IN_S", 0.0)
    monkeypatch.setattr(tones, "FADE_OUT_S", 0.0)
    heard = np.abs(np.fft.rfft(np.array(samples(tone, seconds=1.0, level_db=-20)))) / 24_000
    whole = math.sqrt(sum(share**2 for share in shares.values()))
    for hertz in range(25, 4000, 25):
        assert heard[hertz] == pytest.approx(0.1 * shares.get(hertz, 0.0) / whole, abs=1e-6)
