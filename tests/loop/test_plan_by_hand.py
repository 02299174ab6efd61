"""Work out whole answers for a room by hand: current, wire, voltage and shopping list from textbook formulas.

The field is that of a rectangle in closed form, from its four corners; resistance is 1/58 ohm mm2/m.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import pytest

from kb.base.errors import BadInput
from kb.domain.driver import DriverLimits
from kb.loop import plan as planning
from kb.loop import spill as spilling
from kb.loop.document import as_json
from kb.loop.field import BestOffset, Plane, listening_plane
from kb.loop.geometry import Loop
from kb.loop.input_level import OVERLOAD_V
from kb.loop.plan import Answer, Ask, _field_reasons, is_pad, items, plan
from kb.loop.routes import Caution, Needed, Route, Supply
from kb.loop.standard import Programme, Use
from kb.loop.wire import Stock, wire_from
from kb.loop.wire_layouts import Layout


@pytest.fixture(autouse=True)
def few_spots(monkeypatch: pytest.MonkeyPatch) -> None:
    """Compute the field at few spots: the centre and the corners of the area are among them."""
    monkeypatch.setattr(
        planning, "listening_plane", lambda *args, **more: listening_plane(*args, **more, most=25)
    )
    monkeypatch.setattr(planning, "best_offset", lambda loop, margin: BestOffset(0.9, 2.0))


def field(a: float, b: float, x: float, y: float, z: float) -> float:
    """The vertical field of a rectangle a by b for 1 A at x, y from a corner, z from its plane (textbook)."""
    total = 0.0
    for u in (x, a - x):
        for v in (y, b - y):
            r = math.sqrt(u * u + v * v + z * z)
            total += u * v / r * (1 / (u * u + z * z) + 1 / (v * v + z * z))
    return total / (4 * math.pi)


def decibels(share: float) -> float:
    return 20 * math.log10(share)


ROUTE = Route(
    code="attic",
    base="ceiling",
    height=0.1,
    highest=None,
    slack=0.1,
    ends=0.5,
    doorway=0.25,
    cautions=(Caution("ladder", "invented"),),
    tools=(Supply("drill", "invented", each=1),),
    materials=(
        Supply("clip", "invented", per_m=2),
        Supply("bend", "invented", per_corner=1),
        Supply("cover", "invented", per_doorway=1),
        Supply("duct", "invented", per_feed_m=1),
    ),
    sources={},
)


def test_a_loop_in_the_attic_has_the_numbers_that_a_pocket_calculator_gives() -> None:
    # 6 x 4 m, wire at 2.6 + 0.1 m, ear at 1.2 m; metal takes 4 dB; two turns of 2.5 mm2 at 30 C
    ask = Ask(room=Loop.rectangle(6, 4), listen=(1.2,), route=ROUTE, ceiling=2.6, doorways=3, feed=2.0,
              metal_db=4.0, turns=2, wire=wire_from("2.5mm2"), celsius=30.0, margin=0.5)  # fmt: skip
    answer = plan(ask)
    centre, corner = field(6, 4, 3, 2, 1.5), field(6, 4, 0.5, 0.5, 1.5)
    metal = 10 ** (4 / 20)
    assert answer.current_a == pytest.approx(0.4 / centre / 2 * metal)
    plane = answer.planes[0]
    assert (plane.centre, plane.weakest) == pytest.approx((2 * centre, 2 * corner))
    assert (plane.height, plane.offset) == pytest.approx((1.2, 1.5))
    assert (answer.loop.turns, answer.loop.plane) == pytest.approx((2, 2.7))

    # 20 m and three doorways twice; from the driver 2 m, and up to the wire, out and back
    laid = 2 * (20 + 3 * 0.25) + 2 * (2 + 2.7)
    assert answer.laid_m == pytest.approx(laid)
    assert answer.buy_m == pytest.approx(laid * 1.1 + 2 * 0.5)
    assert answer.load.resistance == pytest.approx(laid / 58 / 2.5 * (1 + 0.00393 * 10))
    run = 20 + 0.75 + 4.7
    assert answer.needed == (
        Needed("drill", 1, tool=True),
        Needed("clip", math.ceil(2 * run)),
        Needed("bend", 4),
        Needed("cover", 3),
        Needed("duct", math.ceil(4.7)),
    )
    assert items(answer)[0] == Needed("insulated wire 2.5 mm2", math.ceil(answer.buy_m), unit="m")
    assert items(replace(answer, buy_m=12.0))[0].count == 12
    assert items(replace(answer, buy_m=0.4))[0].count == 1

    # the corner of the area lacks more than 3 dB
    shift = -3 - decibels(corner / centre)
    assert shift > 0
    assert answer.level is not None
    assert answer.level.shift_db == pytest.approx(shift)
    assert answer.level.current_a == pytest.approx(answer.current_a * 10 ** (shift / 20))
    assert (answer.level.min_db, answer.level.max_db) == pytest.approx((-3, shift), abs=0.1)
    reactance = 2 * math.pi * 5000 * answer.load.inductance
    assert answer.level.voltage_v == pytest.approx(
        answer.level.current_a * math.hypot(answer.load.resistance, reactance)
    )
    assert answer.voltage_v == pytest.approx(answer.current_a * math.hypot(answer.load.resistance, reactance))
    assert answer.level.least is False
    assert answer.metal_gain == pytest.approx(1 / metal)
    assert answer.range_db(plane) == pytest.approx((decibels(corner / centre), 0), abs=0.01)
    assert answer.range_db(plane, 2 * answer.current_a)[0] == pytest.approx(decibels(2 * corner / centre))
    assert answer.share_within(plane, answer.level.current_a) == 1
    assert answer.share_within(plane) < 1
    assert answer.share_within(plane, 4 * answer.level.current_a) == 0
    assert [each.code for each in answer.cautions] == ["ladder"]
    assert answer.shown_a == answer.level.current_a


def test_without_a_route_there_is_no_rise_no_doorway_and_no_slack() -> None:
    answer = plan(Ask(room=Loop.rectangle(6, 4), listen=(1.2,), doorways=3, feed=2.0, wire=wire_from("1mm2")))
    assert (answer.laid_m, answer.buy_m) == pytest.approx((24, 24))
    assert answer.load.resistance == pytest.approx(24 / 58)
    assert (answer.needed, answer.cautions) == ((), ())
    assert (answer.loop.plane, answer.planes[0].offset) == pytest.approx((0, 1.2))
    assert plan(Ask(room=Loop.rectangle(6, 4), height=0.7)).planes[0].offset == pytest.approx(0.7)
    assert answer.laid_m - plan(Ask(room=Loop.rectangle(6, 4))).laid_m == pytest.approx(4)


def test_the_bounds_of_a_pad_are_its_size_and_not_where_it_lies() -> None:
    for west, south in ((0.0, 0.0), (3.0, -2.0), (-4.0, 5.0)):
        for size, pad in ((0.5, True), (0.51, False)):
            for wide, deep in ((size, 0.4), (0.4, size)):
                x, y = west + wide, south + deep
                assert is_pad(Loop.polygon([(west, south), (x, south), (x, y), (west, y)])) is pad


# -- what is known of the room ----------------------------------------------------------------------

ROOM = Loop.rectangle(5, 4)


def test_metal_takes_more_by_the_octave_from_one_to_five_kilohertz() -> None:
    ask = Ask(room=ROOM, metal_db=2.0, metal_5k_db=8.0)
    assert [ask.metal_at(hertz) for hertz in (100, 1000, 1000 * math.sqrt(5), 5000)] == pytest.approx(
        [2, 2, 5, 8]
    )
    assert replace(ask, metal_5k_db=None).metal_at(5000) == 2
    assert ask.boost_db == pytest.approx(6 * math.log(3.15) / math.log(5))
    assert replace(ask, programme=Programme.MUSIC).boost_db == pytest.approx(6 * math.log(4) / math.log(5))


def test_people_sit_and_stand_unless_the_use_or_the_installer_says_where() -> None:
    assert Ask(room=ROOM).heights == (1.2, 1.7)
    assert Ask(room=ROOM, use=Use.COUNTER).heights == (1.2, 1.45, 1.7)
    assert Ask(room=ROOM, use=Use.COUNTER, listen=(1.0,)).heights == (1.0,)
    counted = {
        (use, every): Ask(room=ROOM, use=use, every_height=every).all_count
        for use in Use
        for every in (False, True)
    }
    assert [key for key, counts in counted.items() if not counts] == [(Use.ROOM, False)]
    front = [
        (use, agreed)
        for use in Use
        for agreed in (False, True)
        if Ask(room=ROOM, use=use, points_agreed=agreed).in_front
    ]
    assert front == [(Use.COUNTER, False), (Use.REFUGE, False)]


def test_all_heights_count_where_people_stand_too() -> None:
    ask = Ask(room=Loop.rectangle(7, 6), wire_height=0.0, margin=1.5)
    sitting, both = plan(ask), plan(replace(ask, every_height=True))
    seated, standing = (
        [field(7, 6, x, y, z) for x, y in ((1.5, 1.5), (3.5, 3), (3.5, 1.5))] for z in (1.2, 1.7)
    )
    assert sitting.counted.weakest == pytest.approx(min(seated))
    assert both.counted.weakest == pytest.approx(min(*seated, *standing))
    assert both.counted.strongest == sitting.counted.strongest == pytest.approx(max(seated))
    assert sitting.current_a == both.current_a == pytest.approx(0.4 / field(7, 6, 3.5, 3, 1.2))
    assert [plane.height for plane in sitting.uncounted] == [1.7]
    assert both.uncounted == ()
    assert as_json(both)["heights_counted_m"] == [1.2, 1.7]
    assert as_json(sitting)["heights_counted_m"] == [1.2]


def test_a_source_is_held_against_the_input_of_the_driver() -> None:
    def reasons(source: float | None, wants: float | None) -> list[str]:
        return [
            one.text for one in plan(Ask(room=ROOM, height=1.2, source_v=source, sensitivity_v=wants)).reasons
        ]

    assert reasons(0.5, 0.5) == reasons(OVERLOAD_V, 0.5) == reasons(None, 0.5) == reasons(0.1, None) == []
    [weak] = reasons(0.25, 0.5)
    assert "line level is 6.0 dB below" in weak
    [strong] = reasons(1.01 * OVERLOAD_V, 0.5)
    assert f"{1.01 * OVERLOAD_V:.3g} V" in strong
    assert Ask(room=ROOM, source_v=1.0, sensitivity_v=0.5).line_margin_db == pytest.approx(6.0206, abs=1e-4)


# -- turns, wire and driver -------------------------------------------------------------------------

STOCK = (
    Stock(wire_from("1.5mm2"), 13.3, "invented", usual=True),
    Stock(wire_from("2.5mm2"), 7.98, "invented", usual=True),
    Stock(wire_from("0.5mm2"), 39.0, "invented"),
)
EVEN = Ask(room=Loop.rectangle(8, 8), height=1.4, margin=2.0)
#: A for the centre with one turn, and for the corner of the area at -3 dB
CENTRE_A = 0.4 / field(8, 8, 4, 4, 1.4)


def driven(rated: float, volts: float = 30.0, **more: Any) -> Answer:
    return plan(replace(EVEN, driver=DriverLimits("invented", rated, volts), **more), STOCK)


def test_the_fewest_turns_are_taken_that_the_current_of_the_driver_allows() -> None:
    # the weakest spot, the centre, is at -3 dB, unless no spot then reaches 0 dB (cl. 8.2.7)
    near = [field(8, 8, 2, 2 + step / 10, 1.4) for step in range(41)]
    least = CENTRE_A * max(10 ** (-3 / 20), field(8, 8, 4, 4, 1.4) / max(near))
    for turns in (1, 2, 3, 4):
        enough = driven(1.0001 * CENTRE_A / turns)
        assert (enough.loop.turns, enough.fits) == (turns, True)
        assert enough.level is not None
        assert enough.level.least is False
        just = driven(1.0001 * least / turns)
        assert (just.loop.turns, just.fits) == (turns, True)
        assert just.level is not None
        assert just.level.least is True
        assert just.level.current_a == pytest.approx(least / turns, rel=1e-4)
        assert min(just.level.min_db + 3, just.level.max_db) == pytest.approx(0, abs=0.01)
    none = driven(0.9 * least / 4)
    assert (none.loop.turns, none.wire.label, none.better, none.fits) == (1, "AWG 18", (), False)
    assert [one.code for one in none.reasons] == ["current"]


def test_a_number_of_turns_that_was_asked_for_is_tried_whatever_it_is() -> None:
    for turns in (2, 4, 5, 7):
        answer = driven(1.01 * CENTRE_A / turns, turns=turns)
        assert (answer.loop.turns, answer.fits) == (turns, True)
        assert turns in {each.turns for each in answer.better}
    assert {each.turns for each in driven(50.0, turns=4).better} == {1, 2, 3, 4}
    assert {each.turns for each in driven(50.0, turns=6).better} == {6}


def test_a_wire_that_was_named_is_kept_and_one_that_is_not_in_stock_is_tried_too() -> None:
    thin = driven(50.0, wire=wire_from("0.5mm2"), turns=2)
    assert (thin.wire.label, thin.loop.turns) == ("0.5 mm2", 2)
    odd = driven(50.0, wire=wire_from("4mm2"))
    assert "4 mm2" in {each.wire.label for each in odd.better}
    assert (odd.wire.label, odd.resistance_max) == ("4 mm2", None)
    assert driven(50.0).wire.label == "1.5 mm2", "usual wire, the lightest"
    assert driven(50.0).resistance_max == pytest.approx(32 * 13.3e-3)
    usual = [each.wire.label for each in driven(50.0).better if each.turns == 1]
    assert usual == ["1.5 mm2", "2.5 mm2", "0.5 mm2", "AWG 18"]


def test_it_is_said_why_one_turn_is_not_enough() -> None:
    for rated, said in ((1.01 * CENTRE_A, []), (1.01 * CENTRE_A / 2, ["current"]), (0.1, [])):
        assert [one.code for one in driven(rated).one_turn] == said
    assert plan(EVEN, STOCK).one_turn == ()
    # a driver that takes 0.7 ohm at least: 32 m of AWG 18 have 0.67
    wants = plan(replace(EVEN, driver=DriverLimits("invented", 50.0, 30.0, 0.7)), STOCK[:2])
    assert (wants.loop.turns, [one.code for one in wants.one_turn]) == (2, ["resistance"])


def test_a_loop_that_was_not_judged_has_no_fit_and_one_that_was_is_judged_at_its_highest_current() -> None:
    assert plan(EVEN, STOCK).fit is None
    answer = driven(50.0, turns=2)
    assert answer.fit is not None
    full, test = answer.fit.needs
    assert full.current_a == pytest.approx(CENTRE_A / 2, rel=1e-3)
    assert test.current_a == pytest.approx(full.current_a * 10 ** (-7 / 20))
    assert full.voltage_v == pytest.approx(
        full.current_a
        * math.hypot(2 * 32 * 13.3e-3, 2 * math.pi * 1000 * driven(50.0, turns=2).load.inductance)
    )


# -- reasons, notes and layouts ----------------------------------------------------------------------


def area(low_db: float, high_db: float, *, standing_db: float | None = None, tolerance: float = 3.0) -> Plane:
    low, high = (0.4 * 10 ** (level / 20) for level in (low_db, high_db))
    standing = None if standing_db is None else 0.4 * 10 ** (standing_db / 20)
    return Plane(1.2, 1.2, ((0, 0), (1, 0)), (low, high), 0.4, low, high, tolerance, standing)


def test_an_uneven_field_is_told_with_what_would_help() -> None:
    def said(plane: Plane, best: BestOffset | None, *, several: bool = False) -> str:
        return " ".join(one.text for one in _field_reasons(plane, best, several=several))

    assert said(area(-2, 3), None) == ""
    wide = area(-5, 2)
    assert "7.0 dB" in said(wide, BestOffset(1.5, 5.9))
    assert "1.50 m" in said(wide, BestOffset(1.5, 6.0))
    assert "5.9 dB" in said(wide, BestOffset(1.5, 5.9))
    assert "1.50 m" not in said(wide, BestOffset(1.5, 6.1))
    assert said(wide, BestOffset(1.5, 6.1)) == said(wide, BestOffset(1.5, 6.1), several=True)
    assert said(wide, BestOffset(1.5, 5.9), several=True) not in ("", said(wide, BestOffset(1.5, 5.9)))
    assert said(wide, None) not in ("", said(wide, BestOffset(1.5, 6.1)))
    # a small volume has twice the tolerance
    assert said(area(-6, 5, tolerance=6.0), None) == ""
    assert "1.50 m" in said(area(-8, 5, tolerance=6.0), BestOffset(1.5, 11.9))
    assert "13.0 dB" in said(area(-8, 5, tolerance=6.0), BestOffset(1.5, 11.9))
    # a field that turns over has no spread that means anything
    assert "99.0 dB" in said(replace(area(0, 50), weakest=1e-9), None)
    # people stand where there are 8 dB at most
    [standing] = _field_reasons(area(-4, 1, standing_db=9), None, several=False)
    assert (standing.code, "8" in standing.text) == ("standing", True)


def test_a_meter_and_a_resistor_show_the_current_and_metal_asks_for_an_equalizer() -> None:
    def notes(**more: Any) -> dict[str, str]:
        return {one.code: one.text for one in plan(replace(EVEN, **more)).notes}

    # the answer is given for the level that brings the whole area within the tolerance
    answer = plan(EVEN)
    assert answer.level is not None
    amperes = answer.level.current_a
    one, two = notes(turns=1), notes(turns=2)
    assert f"{amperes:.2f} A" in one["current"]
    assert f"{100 * amperes:.0f} mV" in one["resistor"]
    assert (set(one), set(two)) == ({"current", "resistor"}, {"current", "resistor", "bundle"})
    assert f"{amperes:.2f} A" in two["bundle"]
    assert f"{amperes / 2:.2f} A" in two["current"]

    def told(**more: Any) -> list[str]:
        return [each.key for each in plan(replace(EVEN, **more)).notes]

    assert "loop/set/equalize" not in told(metal_db=1.0, metal_5k_db=4.0)
    assert "loop/set/equalize" in told(metal_db=1.0, metal_5k_db=4.01)
    [said] = [
        each.text
        for each in plan(replace(EVEN, metal_db=1.0, metal_5k_db=7.0)).notes
        if each.key == "loop/set/equalize"
    ]
    assert "6.0 dB" in said
    assert f"{6 * math.log(3.15) / math.log(5):.1f} dB" in said
    assert "loop/set/neck" not in told()


def test_a_loop_worn_round_the_neck_is_told_by_its_volts_and_its_least_impedance() -> None:
    # IEC 62489-1, 9.1-9.3: volts for 400 mA/m at 1 kHz, least impedance from 100 Hz on
    answer = plan(
        Ask(room=Loop.ring(0.22), height=0.15, margin=0.06, turns=10, wire=wire_from("0.5mm2"), use=Use.CHAIR)
    )
    [said] = [each.text for each in answer.notes if each.key == "loop/set/neck"]
    amperes = answer.level.current_a if answer.level else answer.current_a
    ohm = answer.load.resistance
    at_1k = math.hypot(ohm, 2 * math.pi * 1000 * answer.load.inductance)
    at_100 = math.hypot(ohm, 2 * math.pi * 100 * answer.load.inductance)
    assert f"{amperes * at_1k:.4f} V" in said
    assert f"{at_100:.1f} ohm" in said


@pytest.fixture
def few_ways(monkeypatch: pytest.MonkeyPatch) -> None:
    """Look for the spill on few ways, and for the current of a layout at few spots."""
    inside = Loop.spots_inside
    monkeypatch.setattr(spilling, "_ALONG", 1)
    monkeypatch.setattr(spilling, "DISTANCES_M", (1.0,))
    monkeypatch.setattr(spilling, "_storey", lambda _, height, *rest: spilling.Outside(0.0, height, -40.0))
    monkeypatch.setattr(
        Loop, "spots_inside", lambda self, margin, most: inside(self, margin, most=min(most, 25))
    )


@pytest.mark.usefixtures("few_ways")
def test_the_storey_above_is_a_ceiling_and_a_floor_away() -> None:
    room = Ask(room=ROOM, listen=(1.2,), ceiling=2.5, spill_db=-32.0)
    spilt = plan(room).spill
    assert spilt is not None
    assert [one.height_m for one in spilt.storeys] == pytest.approx([1.2 + 2.8, 1.2 - 2.8])
    assert plan(replace(room, spill_db=None)).spill is None
    by_distance = plan(replace(room, listen=None, height=1.2)).spill
    assert by_distance is not None
    assert by_distance.storeys == (), "where the floor is nobody said"


@pytest.mark.usefixtures("few_ways")
def test_layouts_are_compared_for_a_room_along_the_axes_if_somebody_asks_for_the_spill() -> None:
    room = Ask(room=ROOM, height=1.2, margin=1.0, turns=2)
    assert plan(room).layouts == ()
    compared = plan(replace(room, spill_db=-32.0))
    assert [each.laid.kind for each in compared.layouts] == list(Layout)
    assert [each.laid.turns for each in compared.layouts] == [2, 2, 2]
    assert {each.fits for each in compared.layouts} == {None}
    # the one loop is the loop of the answer, at its current
    one = compared.layouts[0]
    assert one.laid.current_a == pytest.approx(compared.shown_a)
    assert one.spill.reach_m == pytest.approx(compared.spill.reach_m if compared.spill else 0)
    assert compared.drawn is None
    assert compared.shown_spill is compared.spill
    eight = plan(replace(room, spill_db=-32.0, layout=Layout.EIGHT))
    assert eight.drawn is eight.layouts[1].laid
    assert (eight.shown_a, eight.shown_spill) == (eight.layouts[1].laid.current_a, eight.layouts[1].spill)
    bent = Loop.polygon([(0, 0), (5, 0), (5, 3), (3, 3), (3, 4), (0, 4)])
    assert plan(replace(room, room=bent, spill_db=-32.0)).layouts == ()
    with pytest.raises(BadInput, match="rectang"):
        plan(replace(room, room=bent, spill_db=-32.0, layout=Layout.EIGHT))
    pad = replace(room, room=Loop.rectangle(0.4, 0.4), margin=0.1, use=Use.CHAIR, spill_db=-32.0)
    assert plan(pad).layouts == ()
    with pytest.raises(BadInput, match="room"):
        plan(replace(pad, layout=Layout.EIGHT))


@pytest.mark.usefixtures("few_ways")
@pytest.mark.parametrize("turns", [1, 2, 3, 4])
def test_a_layout_has_as_many_turns_as_the_driver_needs_for_it(turns: int) -> None:
    room = Ask(room=ROOM, height=1.2, margin=1.0, spill_db=-32.0)
    single = plan(room).layouts[1].laid.current_a
    driver = DriverLimits("invented", 1.01 * single / turns, 60.0)
    eight = plan(replace(room, driver=driver), STOCK).layouts[1]
    assert (eight.laid.turns, eight.fits) == (turns, True)


@pytest.mark.usefixtures("few_ways")
def test_a_layout_that_no_driver_feeds_is_shown_with_one_turn() -> None:
    room = Ask(room=ROOM, height=1.2, margin=1.0, spill_db=-32.0, driver=DriverLimits("invented", 0.1, 60.0))
    weak = plan(room, STOCK).layouts[1]
    assert (weak.laid.turns, weak.fits) == (1, False)
    # a wire that is too thin for the current does not do either, however strong the driver
    strong = DriverLimits("invented", 50.0, 60.0)
    thin = plan(replace(room, driver=strong, wire=wire_from("0.1mm2"), turns=1), STOCK).layouts[1]
    assert (thin.laid.turns, thin.fits) == (1, False)


@pytest.mark.usefixtures("few_ways")
def test_a_layout_is_judged_with_wire_as_bad_as_it_may_be_sold_and_with_the_boost_for_metal() -> None:
    # 13.3 ohm/km at most (IEC 60228, class 5); 7 dB less at 4 kHz for music (Table 4)
    room = Ask(room=ROOM, height=1.2, margin=1.0, spill_db=-32.0, turns=1, wire=wire_from("1.5mm2"),
               programme=Programme.MUSIC)  # fmt: skip

    def fits(volts: float, metal_5k: float) -> bool | None:
        asked = replace(room, metal_5k_db=metal_5k, driver=DriverLimits("invented", 20.0, volts))
        return plan(asked, STOCK).layouts[1].fits

    eight = plan(room, STOCK).layouts[1]
    (seen,), amperes = eight.loads, eight.laid.current_a
    worst = 13.3e-3 * eight.laid.metres
    assert worst > seen.resistance
    for metal_5k in (0.0, 12.0):
        boost = metal_5k * math.log(4) / math.log(5)
        needs = max(
            amperes * math.hypot(worst, 2 * math.pi * 1000 * seen.inductance),
            amperes * 10 ** ((boost - 7) / 20) * math.hypot(worst, 2 * math.pi * 4000 * seen.inductance),
        )
        assert [fits(share * needs, metal_5k) for share in (0.99, 1.01)] == [False, True]


@pytest.mark.usefixtures("few_ways")
def test_programs_get_what_the_driver_has_to_give_and_how_far_the_field_reaches() -> None:
    answer = driven(50.0, spill_db=-32.0)
    told: Any = as_json(answer)
    assert answer.fit is not None
    assert answer.spill is not None
    for key, need in (("at_1_khz", answer.fit.needs[0]), ("overload_test", answer.fit.needs[1])):
        assert told["driver"][key] == {
            "hertz": need.hertz, "current_a": need.current_a, "voltage_v": need.voltage_v
        }  # fmt: skip
        assert told["driver"]["voltage_margin_db"][f"{need.hertz:g}"] == need.margin_db
    assert [told["driver"][key]["hertz"] for key in ("at_1_khz", "overload_test")] == [1000, 3150]
    assert (told["spill"]["asked_db"], told["spill"]["reach_m"]) == (-32.0, answer.spill.reach_m)
    [beside] = told["spill"]["beside"]
    assert beside == {"distance_m": 1.0, "level_db": answer.spill.by_distance[0].level_db}
    assert len(told["would_fit"]) == min(8, len(answer.better))
    assert [each["turns"] for each in told["would_fit"]] == [each.turns for each in answer.better[:8]]
    assert (told["wire_laid_m"], told["turns"], told["level"]["least"]) == (32, 1, False)
    assert told["room"]["corners_m"] == [[0, 0], [8, 0], [8, 8], [0, 8]]


def test_of_one_height_that_is_uneven_it_is_said_which_would_do_and_of_several_it_is_not() -> None:
    pad = Ask(room=Loop.rectangle(1, 1), wire_height=1.17, listen=(1.2,), margin=0.03, use=Use.CHAIR)
    [one] = plan(pad).reasons
    assert "0.90 m" in one.text
    [both] = plan(replace(pad, listen=(1.2, 1.25))).reasons
    assert "0.90 m" not in both.text
