"""What a room needs: the answer an installer takes along."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kb.base.datafiles import data_tables
from kb.base.errors import BadInput
from kb.catalogue.drivers import drivers
from kb.domain.driver import DriverLimits
from kb.loop.document import as_json
from kb.loop.geometry import Loop
from kb.loop.plan import Ask, items, plan
from kb.loop.routes import cautions_from, route_named, routes_from
from kb.loop.standard import Programme
from kb.loop.wire import Load, awg, load, stock_from, wire_from
from tests.conftest import LONG

TABLE = data_tables("routes.toml")
ROUTES = routes_from(TABLE)
ALWAYS = [each for each in cautions_from(TABLE) if each.always]
STOCK = stock_from(data_tables("wire.toml"))
BENCH = next(each for each in drivers() if each.name == "bench driver")
ROOM = Loop.rectangle(5, 4)


def test_a_room_of_5_by_4_m_has_the_numbers_of_the_tables():
    # field: magpylib 146.10 mA/m per A; R 0.37707 ohm, L 30.766 uH: Grover, IEC 60028
    answer = plan(Ask(room=ROOM, height=1.2, wire=awg(18), turns=1))
    assert answer.planes[0].centre == pytest.approx(0.14610, rel=1e-4)
    assert answer.current_a == pytest.approx(0.4 / 0.14610, rel=1e-4)
    assert answer.load.resistance == pytest.approx(0.37707, rel=1e-4)
    assert answer.load.inductance == pytest.approx(30.766e-6, rel=1e-4)
    assert answer.voltage_v == pytest.approx(answer.current_a * (0.37707**2 + 0.9666**2) ** 0.5, rel=1e-3)
    # the corner of the listening area, 0.5 m inside both walls: 91.713 mA/m per A
    low, high = answer.range_db(answer.planes[0])
    assert low == pytest.approx(-4.0444, abs=1e-3)
    assert high == pytest.approx(0, abs=0.05)
    assert answer.fits


def test_the_drive_is_raised_no_more_than_the_weakest_corner_asks_for():
    answer = plan(Ask(room=ROOM, height=1.2, wire=awg(18)))
    assert answer.level is not None
    assert answer.level.shift_db == pytest.approx(1.0444, abs=1e-3)
    assert answer.level.min_db == pytest.approx(-3, abs=1e-9)
    assert answer.level.current_a == pytest.approx(answer.current_a * 10 ** (answer.level.shift_db / 20))


def test_the_driver_is_judged_at_the_current_it_will_be_turned_up_to():
    # 3.58 A for the centre would do, 4.97 A for the whole area does not; one turn was asked for
    answer = plan(Ask(room=ROOM, height=1.7, driver=BENCH, wire=awg(18), turns=1), STOCK)
    assert answer.current_a < BENCH.rated_current_a_rms
    assert [each.code for each in answer.reasons] == ["current"]


def test_flexible_wire_may_have_the_resistance_that_iec_60228_allows():
    # 18 m of 1.5 mm2: 13.3 ohm/km at most in class 5; the AWG series has no such limit
    answer = plan(Ask(room=ROOM, height=1.2, wire=wire_from("1.5mm2")), STOCK)
    assert answer.resistance_max == pytest.approx(18 * 13.3e-3)
    assert answer.resistance_max > answer.load.resistance
    assert plan(Ask(room=ROOM, height=1.2, wire=awg(18)), STOCK).resistance_max is None


def test_two_turns_halve_the_current_and_keep_the_field():
    one = plan(Ask(room=ROOM, height=1.2, wire=awg(18), turns=1))
    two = plan(Ask(room=ROOM, height=1.2, wire=awg(18), turns=2))
    assert two.current_a == pytest.approx(one.current_a / 2)
    assert two.range_db(two.planes[0]) == pytest.approx(one.range_db(one.planes[0]))
    assert two.load.resistance == pytest.approx(2 * one.load.resistance)


def test_a_stated_loss_to_metal_raises_the_current_by_just_that():
    plain = plan(Ask(room=ROOM, height=1.2))
    metal = plan(Ask(room=ROOM, height=1.2, metal_db=6.0))
    assert metal.current_a == pytest.approx(plain.current_a * 10 ** (6 / 20))
    assert metal.range_db(metal.planes[0]) == pytest.approx(plain.range_db(plain.planes[0]))
    assert as_json(metal)["metal_allowance_db"] == 6.0
    assert metal.level is not None
    assert metal.level.min_db == pytest.approx(-3, abs=1e-9)


def test_with_a_driver_the_least_bother_that_fits_is_taken():
    # fewest turns, then wire that a tradesman has, then least copper
    answer = plan(Ask(room=ROOM, height=1.2, driver=BENCH), STOCK)
    assert answer.fits
    assert (answer.wire.label, answer.loop.turns) == (answer.better[0].wire.label, answer.better[0].turns)
    assert answer.loop.turns == 1
    usual = [each.wire for each in STOCK if each.usual]
    assert answer.wire in usual
    lighter = [wire for wire in usual if wire.area < answer.wire.area]
    assert all(
        not plan(Ask(room=ROOM, height=1.2, driver=BENCH, wire=wire, turns=1), STOCK).fits for wire in lighter
    )


@pytest.mark.parametrize("rated", [3.08, 3.0, 2.6, 2.0, 1.6])
def test_just_over_a_driver_s_rating_the_advice_does_not_jump_to_the_thickest_wire(rated):
    # 2.74 A for the centre, 3.09 A for the whole area
    strong = plan(Ask(room=ROOM, height=1.2, driver=DriverLimits("enough", 3.1, 8.0)), STOCK)
    weaker = plan(Ask(room=ROOM, height=1.2, driver=DriverLimits("less", rated, 8.0)), STOCK)
    assert (strong.loop.turns, weaker.loop.turns) == (1, 2)
    assert weaker.wire in [each.wire for each in STOCK if each.usual]
    assert weaker.wire.area <= strong.wire.area
    assert [each.code for each in weaker.one_turn] == ["current"]
    assert f"{rated:.2f} A" in weaker.one_turn[0].text


def test_a_driver_that_manages_only_the_least_current_of_the_standard_fits_with_one_turn():
    # seen from afar the room is even: 400 mA/m at the centre is more than the standard asks for
    ask = Ask(room=Loop.rectangle(8, 8), height=1.0, margin=1.5)
    plain = plan(ask, STOCK)
    least = plain.current_a * 10 ** (plain.planes[0].least_shift_db / 20)
    assert least < plain.current_a
    driver = DriverLimits("just", (least + plain.current_a) / 2, 20.0)
    answer = plan(replace(ask, driver=driver), STOCK)
    assert answer.fits
    assert answer.loop.turns == 1
    assert answer.level.least
    assert answer.level.min_db >= -3 - 1e-9
    assert answer.level.max_db >= -1e-9  # cl. 8.2.7


def test_the_programme_decides_where_the_driver_is_tested():
    # cl. 10.3 and Table 4, second-hand
    hall = Ask(room=Loop.rectangle(20, 10), height=1.4, driver=BENCH, wire=wire_from("2.5mm2"), turns=1)
    enough = plan(hall, STOCK).fit.needs[1].voltage_v * 1.01
    driver = DriverLimits("low voltage", 20.0, enough)
    speech = plan(replace(hall, driver=driver), STOCK)
    music = plan(replace(hall, driver=driver, programme=Programme.MUSIC), STOCK)
    assert [need.hertz for need in speech.fit.needs] == [1000, 3150]
    assert [need.hertz for need in music.fit.needs] == [1000, 4000]
    assert speech.fits
    assert [each.code for each in music.reasons] == ["voltage"]
    assert "music" in music.reasons[0].text


def test_a_fit_holds_with_the_greatest_resistance_that_the_wire_is_sold_with():
    # IEC 60228 class 5: 1.5 mm2 may have 13.3 ohm/km, pure copper has 11.5
    ask = Ask(room=ROOM, height=1.2, wire=wire_from("1.5mm2"), turns=1)
    loaded = plan(replace(ask, driver=BENCH), STOCK)
    worst = Load(18 * 13.3e-3, loaded.load.inductance)
    current = loaded.fit.needs[0].current_a
    assert loaded.fit.needs[0].voltage_v == pytest.approx(worst.voltage(current, 1000))
    enough = DriverLimits("enough", 9, worst.voltage(current, 1000) * 1.001)
    short = DriverLimits("short", 9, worst.voltage(current, 1000) * 0.999)
    assert plan(replace(ask, driver=enough), STOCK).fits
    assert not plan(replace(ask, driver=short), STOCK).fits


def test_where_people_stand_the_standing_height_counts():
    ask = Ask(room=ROOM, wire_height=0.0, driver=BENCH)
    seated, both = plan(ask, STOCK), plan(replace(ask, every_height=True), STOCK)
    assert seated.fits
    assert [plane.height for plane in seated.uncounted] == [1.7]
    assert both.uncounted == ()
    assert not both.fits
    assert "all heights" in both.reasons[0].text
    large = Ask(room=Loop.rectangle(9, 9), wire_height=-0.5, every_height=True, margin=1.5)
    fits = plan(large, STOCK)
    assert fits.fits
    for plane in fits.planes:
        low, high = fits.range_db(plane, fits.level.current_a)
        assert -3 - 1e-6 <= low <= high <= 3 + 1e-6


def test_a_named_wire_or_number_of_turns_is_kept():
    assert plan(Ask(room=ROOM, height=1.2, driver=BENCH, turns=2), STOCK).loop.turns == 2
    assert plan(Ask(room=ROOM, height=1.2, driver=BENCH, wire=awg(14)), STOCK).wire == awg(14)
    odd = wire_from("1.25mm2")
    assert plan(Ask(room=ROOM, height=1.2, driver=BENCH, wire=odd), STOCK).wire == odd


def test_a_driver_too_small_for_any_wire_gets_a_clear_answer():
    answer = plan(Ask(room=ROOM, height=1.2, driver=DriverLimits("tiny", 0.1, 0.5)), STOCK)
    assert not answer.fits
    assert answer.better == ()
    assert any("0.10 A" in text for text in (each.text for each in answer.reasons))


def test_a_room_too_uneven_for_any_current_says_which_height_would_do():
    answer = plan(Ask(room=Loop.rectangle(6, 9), height=2.4))
    assert not answer.fits
    assert answer.level is None
    assert answer.reasons[0].code == "uneven"
    assert f"{answer.best.offset:.2f} m" in answer.reasons[0].text


def test_a_wire_too_thin_for_its_current_is_not_called_fitting():
    answer = plan(Ask(room=ROOM, height=1.2, wire=awg(30)))
    assert [each.code for each in answer.reasons] == ["thin"]


def test_heights_from_the_floor_and_the_distance_between_say_the_same():
    by_floor = plan(Ask(room=ROOM, wire_height=-0.3, listen=(1.2,)))
    by_distance = plan(Ask(room=ROOM, height=1.5))
    assert by_floor.current_a == pytest.approx(by_distance.current_a, rel=1e-12)
    above = plan(Ask(room=ROOM, wire_height=2.7, listen=(1.2,)))
    assert above.current_a == pytest.approx(by_distance.current_a, rel=1e-12)


def test_a_route_sets_the_height_and_the_feed_climbs_to_it():
    attic = plan(Ask(room=ROOM, route=route_named("attic", ROUTES), ceiling=2.5, wire=awg(18)))
    assert attic.planes[0].offset == pytest.approx(2.5 + 0.02 - 1.2)
    assert attic.laid_m == pytest.approx(18 + 2 * 2.52)
    assert attic.buy_m == pytest.approx(attic.laid_m * 1.15 + 3)
    assert attic.load.resistance == pytest.approx(attic.laid_m * awg(18).resistance_per_m())


@pytest.mark.parametrize(
    ("route", "between"),
    [
        ("joists", 1.5),  # below the floor: farther from the ear
        ("tack-strip", 1.2),
        ("trim", 1.2),
        ("saw-cut", 1.22),
        ("attic", 1.22),  # above a ceiling of 2.4 m
        ("drop-ceiling", 1.2),
    ],
)
def test_each_route_has_its_distance_from_a_seated_ear(route, between):
    answer = plan(Ask(room=ROOM, route=route_named(route, ROUTES)))
    assert answer.planes[0].offset == pytest.approx(between)


@pytest.mark.parametrize(
    ("typed", "code"),
    [
        ("Joist", "joists"),
        ("tack strip", "tack-strip"),
        ("under joists", "joists"),
        ("saw cut", "saw-cut"),
        ("concrete", "saw-cut"),
        ("ceiling", "drop-ceiling"),
        ("glued carpet", "trim"),
    ],
)
def test_a_route_is_known_by_any_words_of_its_name_that_only_it_has(typed, code):
    assert route_named(typed, ROUTES).code == code


def test_words_of_two_routes_name_both():
    with pytest.raises(BadInput) as refused:
        route_named("carpet", ROUTES)
    assert str(refused.value) == (
        "route: saw 'carpet', expected tack-strip (behind the carpet edge on tack strip) "
        "or trim (under the trim or the edge of glued carpet)"
    )


def test_staples_go_by_the_way_the_wire_takes_and_turns_share_them():
    for turns in (1, 3):
        answer = plan(Ask(room=ROOM, route=route_named("joists", ROUTES), turns=turns))
        counts = {each.item: each.count for each in items(answer)}
        assert (
            counts["insulated cable staple"] == 37
        )  # every half metre of 18 m, and of 0.3 m up to the driver
        assert counts["cable stapler"] == 1
        assert next(each.item for each in items(answer) if each.tool) == "cable stapler"


def test_each_doorway_lengthens_every_turn():
    route = route_named("tack-strip", ROUTES)
    none = plan(Ask(room=ROOM, route=route, turns=2))
    two = plan(Ask(room=ROOM, route=route, turns=2, doorways=2))
    assert two.laid_m - none.laid_m == pytest.approx(2 * 2 * 0.2)
    assert two.load.resistance > none.load.resistance


def test_what_to_carry_is_whole_pieces_with_the_wire_first():
    answer = plan(Ask(room=ROOM, route=route_named("drop-ceiling", ROUTES), wire=awg(18)), always=ALWAYS)
    carried = items(answer)
    assert carried[0].item == "plenum-listed wire AWG 18"
    assert carried[0].count >= answer.buy_m
    assert all(isinstance(each.count, int) and each.count > 0 for each in carried)


@pytest.mark.parametrize(
    ("change", "why"),
    [
        ({"height": -0.1}, "height"),
        ({"height": float("nan")}, "height"),
        ({"listen": ()}, "listening height"),
        ({"listen": (5.0,)}, "listening height"),
        ({"ceiling": 0.5}, "ceiling"),
        ({"feed": -1}, "feed"),
        ({"metal_db": -1}, "metal"),
        ({"metal_db": float("inf")}, "metal"),
        ({"margin": 2.5}, "margin"),
        ({"doorways": -1}, "doorways"),
        ({"celsius": 1000}, "temperature"),
        ({"turns": 0}, "turns"),
    ],
)
def test_what_cannot_be_is_refused_by_name(change, why):
    with pytest.raises(BadInput, match=why):
        plan(replace(Ask(room=ROOM, wire_height=0.0), **change))


@settings(max_examples=100 if LONG else 5)
@given(
    st.floats(1.5, 12),
    st.floats(1.5, 12),
    st.floats(0.2, 3),
    st.integers(1, 4),
    st.sampled_from(["awg14", "awg20", "1mm2"]),
)
def test_every_answer_is_finite_and_goes_through_json(a, b, height, turns, name):
    answer = plan(
        Ask(room=Loop.rectangle(a, b), height=height, turns=turns, wire=wire_from(name), driver=BENCH), STOCK
    )
    document = json.loads(json.dumps(as_json(answer), allow_nan=False))
    assert {"current_a", "voltage_v", "resistance_ohm", "inductance_h", "field", "fits", "cautions"} <= set(
        document
    )
    assert {"centre_a_per_m_per_a", "min_db", "max_db"} <= set(document["field"])
    assert document["field"]["centre_a_per_m_per_a"] * document["current_a"] == pytest.approx(0.4)
    assert document["fits"] == (not document["reasons"])


def test_every_route_carries_the_cautions_it_needs():
    # trade knowledge (common practice) and the codes beside each caution
    needed = {
        "joists": {"mains", "joist-services", "dust"},
        "tack-strip": {"mains", "tack-points", "asbestos"},
        "trim": {"mains", "insulation", "asbestos"},
        "attic": {"mains", "attic-heat", "ladder", "footing", "attic-insulation"},
        "drop-ceiling": {"mains", "plenum", "ladder", "metal-grid"},
        "saw-cut": {"silica", "post-tension", "floor-heating", "asbestos"},
    }
    assert set(needed) == {route.code for route in ROUTES}
    for route in ROUTES:
        answer = plan(Ask(room=ROOM, route=route), always=ALWAYS)
        codes = {each.code for each in answer.cautions}
        assert needed[route.code] | {"local-code", "licensed", "never-open"} <= codes
        assert "too-high" not in codes


def test_impedance_and_voltage_are_told_at_the_ends_and_the_reference_of_the_response():
    answer = plan(Ask(room=ROOM))
    assert list(answer.voltages_v) == [100, 1000, 5000]
    assert list(as_json(answer)["impedances_ohm"]) == ["100", "1000", "5000"]


def test_a_ceiling_higher_than_the_route_is_good_for_is_cautioned():
    route = route_named("drop-ceiling", ROUTES)
    codes = [{each.code for each in route.cautions_for(ceiling)} for ceiling in (2.7, 2.71)]
    assert ["too-high" in some for some in codes] == [False, True]
    assert "too-high" in {each.code for each in plan(Ask(room=ROOM, route=route, ceiling=3.2)).cautions}


def test_every_number_and_caution_of_the_routes_has_its_source():
    for route in ROUTES:
        assert {"height", "slack", "ends", "doorway"} <= set(route.sources)
        assert all(route.sources.values())
        assert all(supply.source for supply in (*route.tools, *route.materials))
    sources = {each.code: each.source for each in cautions_from(TABLE)}
    assert "1926.1153" in sources["silica"]
    assert "1926.1101" in sources["asbestos"]
    assert "300.22" in sources["plenum"]
    assert "1926.1053" in sources["ladder"]


def test_an_unknown_route_lists_the_known():
    with pytest.raises(BadInput, match="joists"):
        route_named("ceiling fan", ROUTES)


def test_without_a_field_meter_the_current_is_read_with_a_clamp_or_across_a_resistor():
    answer = plan(Ask(room=ROOM, height=1.2, wire=awg(18), turns=2), STOCK)
    amperes = answer.level.current_a
    said = {each.key: each.text for each in answer.notes}
    assert f"{amperes:.2f} A" in said["loop/set/current"]
    assert f"{2 * amperes:.2f} A" in said["loop/set/bundle"]
    assert f"{100 * amperes:.0f} mV" in said["loop/set/resistor"]  # Ohm: 0.1 ohm
    assert "loop/set/equalize" not in said


def test_metal_that_takes_more_at_5_khz_is_equalized_and_the_boost_counts_in_the_overload_test():
    # cl. 10.3.1 and Annex F, second-hand
    plain = Ask(room=ROOM, height=1.2, driver=BENCH, wire=awg(18), turns=1, metal_db=1.0)
    falling = replace(plain, metal_5k_db=6.0)
    assert falling.metal_at(1000) == pytest.approx(1)
    assert falling.metal_at(5000) == pytest.approx(6)
    assert 1 < falling.metal_at(3150) < 6
    one, two = plan(plain, STOCK), plan(falling, STOCK)
    assert two.current_a == one.current_a  # set at 1 kHz
    ratio = two.fit.needs[1].voltage_v / one.fit.needs[1].voltage_v
    assert 20 * math.log10(ratio) == pytest.approx(falling.boost_db)
    assert two.fit.needs[0].voltage_v == one.fit.needs[0].voltage_v
    assert any(each.key == "loop/set/equalize" and "5.0 dB more" in each.text for each in two.notes)
    with pytest.raises(BadInput, match="metal allowance at 5 kHz"):
        plan(replace(plain, metal_5k_db=0.5))


def test_a_pad_under_a_chair_has_many_turns_and_their_spacing_counts():
    # Neumann's integral of the bundle against N squared: Table B.1's perfect coupling is never reached
    pad = Ask(room=Loop.rectangle(0.4, 0.4), height=0.5, margin=0.1, turns=12, wire=awg(24))
    close, apart = plan(pad, STOCK), plan(replace(pad, spacing=0.005), STOCK)
    single = load(Loop.rectangle(0.4, 0.4), awg(24)).inductance
    assert apart.load.inductance < close.load.inductance < 144 * single
    assert close.current_a == pytest.approx(plan(replace(pad, turns=1), STOCK).current_a / 12)
    driver = DriverLimits("pad", 1.0, 3.0)
    fits = plan(replace(pad, wire=None, driver=driver), STOCK)
    assert fits.loop.turns == 12
    assert {each.turns for each in fits.better} <= {12}
