"""Check levels over a listening area and bundles of wire with numbers that are known beforehand."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import replace

import pytest

from kb.base.errors import BadInput
from kb.loop.field import (
    Plane,
    _apart,
    best_offset,
    field_a_per_m,
    front_plane,
    grid,
    level_db,
    listening_plane,
    vertical_h,
)
from kb.loop.geometry import Loop, Spot
from kb.loop.standard import Use
from kb.loop.wire import Feed, Load, Stock, _beside, _heap, bundle_gmd, load, too_dense, wire_from


def plane(
    *levels_db: float, centre: float = 0.0, standing: float | None = None, tolerance: float = 3.0
) -> Plane:
    """An area with these levels at 1 A, dB re 400 mA/m; as many spots."""
    fields = tuple(field_a_per_m(level) for level in levels_db)
    return Plane(
        height=1.2,
        offset=1.2,
        spots=tuple((float(n), 0.0) for n in range(len(fields))),
        fields=fields,
        centre=field_a_per_m(centre),
        weakest=min(fields),
        strongest=max(fields),
        tolerance_db=tolerance,
        standing=None if standing is None else field_a_per_m(standing),
    )


def test_a_level_counts_from_400_milliamperes_a_metre() -> None:
    assert [level_db(field) for field in (0.4, 0.8, 0.04, 0.0, -1.0, 1e-9)] == pytest.approx(
        [0, 6.0206, -20, -60, -60, -60], abs=1e-4
    )
    assert [field_a_per_m(level) for level in (0, 20, -20)] == pytest.approx([0.4, 4.0, 0.04])


#: Rooms with and without a corner that points inward, metres.
ROOMS = {
    "oblong": [(0, 0), (6, 0), (6, 4), (0, 4)],
    "L": [(0, 0), (6, 0), (6, 4), (3, 4), (3, 2), (0, 2)],
    "T": [(0, 0), (7, 0), (7, 2), (5, 2), (5, 5), (2, 5), (2, 2), (0, 2)],
}


@pytest.mark.parametrize("room", ROOMS)
@pytest.mark.parametrize(("east", "north"), [(3.0, -9.0), (-8.0, 2.5), (-4.0, -4.0)])
def test_where_the_origin_of_the_plan_lies_changes_nothing_that_is_measured(
    room: str, east: float, north: float
) -> None:
    here = Loop.polygon(ROOMS[room])
    there = Loop.polygon([(x + east, y + north) for x, y in ROOMS[room]])

    def moved(spots: Iterable[Spot]) -> list[tuple[float, float]]:
        return sorted((round(x + east, 6), round(y + north, 6)) for x, y in spots)

    def rounded(spots: Iterable[Spot]) -> list[tuple[float, float]]:
        return sorted((round(x, 6), round(y, 6)) for x, y in spots)

    for margin in (0.0, 0.5):
        assert rounded(there.spots_inside(margin, most=100)) == moved(here.spots_inside(margin, most=100))
        assert rounded(there.margin_spots(margin, 40)) == moved(here.margin_spots(margin, 40))
    assert rounded([there.commissioning_point]) == moved([here.commissioning_point])
    assert (there.area, there.perimeter, there.shorter_side) == pytest.approx(
        (here.area, here.perimeter, here.shorter_side)
    )
    for near, far in zip(grid(here, 1.2, 7, 5, 0.5), grid(there, 1.2, 7, 5, 0.5), strict=True):
        assert far == pytest.approx(near, rel=1e-6)


def test_a_counter_hears_the_same_wherever_it_is_on_the_plan() -> None:
    use = next(one for one in Use if one.figure)
    for by in (-3.0, 5.0):
        moved = Loop.polygon([(by, -by), (by + 0.6, -by), (by + 0.6, 0.4 - by), (by, 0.4 - by)])
        here, there = (front_plane(loop, 1.2, use) for loop in (Loop.rectangle(0.6, 0.4), moved))
        assert there.fields == pytest.approx(here.fields)
        assert (there.strongest, there.standing) == pytest.approx((here.strongest, here.standing))
        for near, far in zip(here.spots, there.spots, strict=True):
            assert far == pytest.approx((near[0] + by, near[1] - by))


def test_a_room_beside_the_origin_of_the_plan_is_as_even_as_one_at_it() -> None:
    one, other = (
        listening_plane(Loop.polygon([(x + by, y - 3 * by) for x, y in ROOMS["L"]]), 1.2) for by in (0, 3)
    )
    assert (other.weakest, other.strongest, other.centre) == pytest.approx(
        (one.weakest, one.strongest, one.centre), rel=1e-3
    )


@pytest.mark.parametrize("room", ROOMS)
def test_the_weakest_and_strongest_field_are_those_of_a_grid_of_ten_centimetres(room: str) -> None:
    loop = Loop.polygon(ROOMS[room])
    x0, x1, y0, y1 = loop.box
    spots = [(x0 + column / 10, y0 + row / 10) for column in range(10 * 7) for row in range(10 * 5)]
    fields = [
        vertical_h(loop, (*spot, 1.2))
        for spot in spots
        if loop.contains(spot) and loop.clearance(spot) >= 0.5 - 1e-9
    ]
    found = listening_plane(loop, 1.2, margin=0.5)
    assert (x1, y1) <= (7, 5)
    assert min(fields) * 0.995 <= found.weakest <= min(fields) * (1 + 1e-9)
    assert max(fields) * (1 - 1e-9) <= found.strongest <= max(fields) * 1.005


def test_people_at_a_counter_stand_thirty_to_fifty_centimetres_before_it_and_within_its_width() -> None:
    # a wide loop that is far from square: the strongest field is at an edge of where people stand
    for loop in (Loop.rectangle(0.45, 0.35), Loop.rectangle(3.0, 0.3)):
        x0, x1, y0, _ = loop.box
        middle = (x0 + x1) / 2
        area = [
            (middle + 0.35 * (across / 40 - 1), y0 - 0.3 - 0.2 * ahead / 40)
            for across in range(0, 81, 2)
            for ahead in range(0, 41, 4)
        ]
        spots = [*area, *((middle + side, y0 - ahead) for side, ahead in Use.COUNTER.figure)]
        by_hand = max(abs(vertical_h(loop, (*spot, 0.2))) for spot in spots)
        assert front_plane(loop, 0.2, Use.COUNTER).standing == pytest.approx(by_hand, rel=1e-3)


@pytest.mark.parametrize("size", [0.1, 0.2, 1.0, 5.0])
def test_a_loop_with_a_notch_crosses_itself_only_if_its_wires_do(size: float) -> None:
    notched = [(0, 0), (4, 0), (4, 3), (2.2, 3), (2.2, 1), (1.8, 1), (1.8, 3), (0, 3)]
    assert Loop.polygon([(size * x, size * y) for x, y in notched]).area == pytest.approx(size**2 * 11.2)
    bow = [(0, 0), (4, 0), (4, 3), (2.2, 3), (2.2, -1), (1.8, -1), (1.8, 3), (0, 3)]
    with pytest.raises(BadInput, match="cross"):
        Loop.polygon([(size * x, size * y) for x, y in bow])


def test_the_spread_is_what_no_current_changes() -> None:
    area = plane(-2, 0, 3)
    assert area.spread_db == pytest.approx(5)
    assert area.range_db(1.0) == pytest.approx((-2, 3))
    assert area.range_db(10.0) == pytest.approx((18, 23))
    assert area.standing_db(1.0) is None
    assert plane(0, standing=5).standing_db(10.0) == pytest.approx(25)
    assert [plane(low, 3).even for low in (-2.99, -3.01)] == [True, False]
    assert not replace(plane(0), weakest=0.0).even
    assert plane(-4, 4, tolerance=4.001).even


def test_the_share_of_the_area_within_the_tolerance_counts_spots() -> None:
    area = plane(-4, -3, 0, 3, 5)
    assert area.share_within(1.0) == 3 / 5
    assert area.share_within(1.0, 5.0) == 1
    assert area.share_within(1.0, 0.0) == 1 / 5
    assert area.share_within(10 ** (-2 / 20)) == 3 / 5, "2 dB less: -5, -2 and 1, 3"
    assert area.share_within(10.0) == 0


def test_turns_multiply_every_field_and_other_heights_widen_the_range() -> None:
    area = plane(-2, 3, centre=1, standing=6)
    double = area.wound(2)
    assert (double.weakest, double.strongest, double.centre) == (
        2 * area.weakest,
        2 * area.strongest,
        2 * area.centre,
    )
    assert double.fields == tuple(2 * field for field in area.fields)
    assert (double.standing, plane(0).wound(2).standing) == (2 * (area.standing or 0), None)
    both = plane(0, 1).with_others([area, plane(-5, 2, standing=4)])
    assert len(both.spots) == len(both.fields) == 6
    assert (both.weakest, both.strongest) == pytest.approx((field_a_per_m(-5), field_a_per_m(3)))
    assert both.standing == pytest.approx(field_a_per_m(6))
    assert plane(0).with_others([plane(1)]).standing is None


def test_the_current_for_the_centre_brings_it_to_the_reference() -> None:
    assert plane(0, centre=-20).current_for_centre_a == pytest.approx(10)
    with pytest.raises(BadInput, match="no upward field"):
        _ = replace(plane(0), centre=0.0).current_for_centre_a


@pytest.mark.parametrize(
    ("area", "least", "shift"),
    [
        # The weakest spot may lack 3 dB, the strongest has to reach 0 dB.
        (plane(-2, 1), -1, 0),
        (plane(-2, 3), -1, 0),
        (plane(-4, 1), 1, 1),
        (plane(-4, 2), 1, 1),
        (plane(-1, 4), -2, -1),
        (plane(-3, -1), 1, 1),
        (plane(-5, 1), 2, 2),
        (plane(-6, 1), None, None),
        (plane(2, 4), -4, -1),
        # People may stand where there are +8 dB at most.
        (plane(-2, 1, standing=8), -1, 0),
        (plane(-2, 1, standing=9), -1, -1),
        (plane(-4, 1, standing=9), None, None),
        # As seen from a centre that is 2 dB up, all is 2 dB less.
        (plane(0, 3, centre=2), -1, 0),
        (plane(-4, 2, centre=2), 3, 3),
    ],
)
def test_the_change_of_the_current_is_the_least_that_brings_all_within_the_tolerance(
    area: Plane, least: float | None, shift: float | None
) -> None:
    assert area.least_shift_db == (None if least is None else pytest.approx(least))
    assert area.shift_db == (None if shift is None else pytest.approx(shift, abs=1e-8))


def test_people_stand_in_front_of_a_counter_up_to_half_a_metre_away() -> None:
    loop = Loop.rectangle(0.5, 0.4)
    use = next(one for one in Use if one.figure)
    front = front_plane(loop, 1.2, use)
    spots = [(0.25 + side, -ahead) for side, ahead in use.figure]
    for found, spot in zip(front.spots, spots, strict=True):
        assert found == pytest.approx(spot)
    assert front.fields == pytest.approx([abs(vertical_h(loop, (*spot, 1.2))) for spot in spots])
    assert (front.weakest, front.strongest, front.centre) == (
        min(front.fields),
        max(front.fields),
        max(front.fields),
    )
    near = [
        abs(vertical_h(loop, (0.25 + (across - 10) * 0.035, -0.3 - back * 0.01, 1.2)))
        for across in range(21)
        for back in range(21)
    ]
    assert front.standing == pytest.approx(max(*near, *front.fields))
    assert (front.offset, front.height, front.tolerance_db) == (1.2, 1.2, use.tolerance_db)
    inside = listening_plane(Loop.rectangle(4, 3), 1.2, most=60, use=use)
    assert inside.standing is not None
    assert listening_plane(Loop.rectangle(4, 3), 1.2, most=60).standing is None


def test_where_points_are_agreed_people_stand_up_to_the_wire_itself() -> None:
    loop = Loop.rectangle(1.6, 1.4)
    around = [(x / 20, y / 20) for x in range(33) for y in range(29)]
    strongest = max(abs(vertical_h(loop, (x, y, 0.2))) for x, y in around)
    standing = listening_plane(loop, 0.2, margin=0.3, use=Use.COUNTER).standing
    assert standing == pytest.approx(strongest, rel=0.02)
    inner = max(abs(vertical_h(loop, (x, y, 0.2))) for x, y in around if 0.5 <= x <= 1.1 and 0.5 <= y <= 0.9)
    assert standing > 1.2 * inner


def test_a_map_goes_from_border_to_border() -> None:
    asked = grid(Loop.rectangle(5, 4), 1.2, 3, 5, 0.5, field=lambda corner: 100 * corner[0] + corner[1])
    assert [row[0] for row in asked] == pytest.approx([-50 + y for y in (-0.5, 0.75, 2.0, 3.25, 4.5)])
    assert asked[0] == pytest.approx([-50.5, 249.5, 549.5])


def test_searches_begin_at_spots_that_are_not_near_each_other() -> None:
    spots = [(0.0, 0.0), (1.0, 0.0), (1.6, 0.0), (3.0, 0.0), (3.2, 0.0)]
    assert _apart(spots, 1.0) == [(0.0, 0.0), (1.6, 0.0), (3.2, 0.0)]
    assert len(_apart([(10.0 * n, 0.0) for n in range(9)], 1.0)) == 6


def test_of_heights_that_are_as_even_the_nearest_is_taken() -> None:
    # one listener in the middle of a large room: the field is flat there at any height
    best = best_offset(Loop.rectangle(8, 8), margin=3.9)
    assert best.offset == pytest.approx(0.05)
    assert best.spread_db < 0.05
    # and none is taken farther away than a wire is laid
    assert best_offset(Loop.rectangle(40, 40), margin=4.0, step=0.5).offset == pytest.approx(4.0)


# -- wire ------------------------------------------------------------------------------------------

WIRE = wire_from("1 mm2")
SELF = WIRE.radius * math.exp(-0.25)


def test_the_mean_distance_of_a_bundle_is_that_of_grover() -> None:
    gap = WIRE.spacing
    assert bundle_gmd(WIRE, 1) == pytest.approx(SELF)
    assert bundle_gmd(WIRE, 2) == pytest.approx(math.sqrt(SELF * gap))
    assert bundle_gmd(WIRE, 3) == pytest.approx((SELF * gap**2) ** (1 / 3))
    assert bundle_gmd(WIRE, 4) == pytest.approx((SELF * gap**2 * gap * math.sqrt(2)) ** (1 / 4))
    assert bundle_gmd(WIRE, 2, 0.02) == pytest.approx(math.sqrt(SELF * 0.02))
    assert bundle_gmd(WIRE, 1, 0.0) == bundle_gmd(WIRE, 1), "one wire has no spacing"
    for wrong in (WIRE.diameter * 0.99, 0.501):
        with pytest.raises(BadInput, match="spacing of turns"):
            bundle_gmd(WIRE, 2, wrong)


def test_seven_wires_lie_as_one_with_six_round_it() -> None:
    heap = _heap(7, 2.0)
    assert heap[0] == (0.0, 0.0)
    assert [math.hypot(*place) for place in heap[1:]] == pytest.approx([2.0] * 6)
    for turns in (2, 3, 5, 7, 12):
        places = _heap(turns, 2.0)
        assert len(set(places)) == turns
        gaps = [math.dist(a, b) for n, a in enumerate(places) for b in places[:n]]
        assert min(gaps) == pytest.approx(2.0)


def test_a_pair_and_a_doorway_add_to_what_the_driver_sees() -> None:
    loop, per_m = Loop.rectangle(5, 4, turns=2), WIRE.resistance_per_m(20.0)
    plain, fed = load(loop, WIRE), load(loop, WIRE, feed=3.0, extra=1.5)
    assert plain.resistance == pytest.approx(2 * 18 * per_m)
    assert fed.resistance == pytest.approx((2 * 19.5 + 2 * 3) * per_m)
    pair = 3.0 * 4e-7 * (math.log(WIRE.spacing / WIRE.radius) + 0.25)
    assert Feed(3.0).inductance(WIRE) == pytest.approx(pair, rel=1e-6)
    assert fed.inductance - plain.inductance == pytest.approx(pair, rel=1e-6)


def test_impedance_and_voltage_are_those_of_a_resistance_and_an_inductance_in_series() -> None:
    seen = Load(3.0, 4.0 / (2 * math.pi * 1000))
    assert seen.impedance(1000) == pytest.approx(5)
    assert seen.voltage(2.0, 1000) == pytest.approx(10)
    assert seen.impedance(0) == 3


def test_wire_is_judged_by_the_greatest_resistance_that_its_standard_allows() -> None:
    seen = Load(1.0, 1e-3)
    per_km = 1000 * WIRE.resistance_per_m()
    assert Stock(WIRE, 1.25 * per_km, "").worst(seen) == Load(pytest.approx(1.25), 1e-3)
    assert Stock(WIRE, 0.0, "").worst(seen) == Load(pytest.approx(7 / 6), 1e-3)


def test_more_than_ten_amperes_a_square_millimetre_are_too_many() -> None:
    most = 10 * WIRE.area * 1e6
    assert [too_dense(WIRE, most * share) for share in (0.999, 1.001)] == [False, True]


def test_the_second_integral_of_one_over_the_distance_is_so_near_its_derivative() -> None:
    for apart in (1e-9, 0.5):
        for x in (0.3, 2.0):
            step = 1e-4
            second = (_beside(x + step, apart) - 2 * _beside(x, apart) + _beside(x - step, apart)) / step**2
            assert second == pytest.approx(1 / math.hypot(x, apart), rel=1e-4)
    assert _beside(0.0, 1e-9) == -1e-9
    assert _beside(-2.0, 1e-9) == _beside(2.0, 1e-9)
