"""What must always hold for the field of a loop, and where people listen."""

from __future__ import annotations

import math
import random

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from kb.base.errors import BadInput
from kb.loop.field import Plane, best_offset, drawn_h, grid, level_db, listening_plane, vertical_h
from kb.loop.geometry import Loop
from tests.conftest import LONG

side = st.floats(1, 15)
height = st.floats(0.1, 3)
share = st.floats(0.05, 0.95)
L_ROOM = [(0, 0), (5, 0), (5, 3), (3, 3), (3, 4), (0, 4)]


@given(side, side, share, share, height, st.integers(1, 20))
def test_the_field_grows_with_the_turns(a, b, u, v, h, turns):
    point = (u * a, v * b, h)
    once = vertical_h(Loop.rectangle(a, b), point)
    assert vertical_h(Loop.rectangle(a, b, turns=turns), point) == pytest.approx(turns * once, rel=1e-12)


@given(side, side, share, share, height)
def test_the_field_is_the_same_on_both_sides_of_the_middle_and_above_as_below(a, b, u, v, h):
    loop = Loop.rectangle(a, b)
    here = vertical_h(loop, (u * a, v * b, h))
    for mirrored in ((a - u * a, v * b, h), (u * a, b - v * b, h), (u * a, v * b, -h)):
        assert vertical_h(loop, mirrored) == pytest.approx(here, rel=1e-9)


@given(side, side, st.floats(0.2, 0.8), share, share, height)
def test_two_half_loops_side_by_side_make_the_whole(a, b, cut, u, v, h):
    # the wire between them carries the current both ways, and adds nothing
    x = cut * a
    left = Loop.polygon([(0, 0), (x, 0), (x, b), (0, b)])
    right = Loop.polygon([(x, 0), (a, 0), (a, b), (x, b)])
    point = (u * a, v * b, h)
    both = vertical_h(left, point) + vertical_h(right, point)
    assert both == pytest.approx(vertical_h(Loop.rectangle(a, b), point), rel=1e-9, abs=1e-12)


@given(side, side, share, share, height, st.floats(0.2, 5))
def test_a_room_twice_as_large_has_half_the_field(a, b, u, v, h, scale):
    assume(max(a, b) * scale < 100 and min(a, b) * scale > 0.3)
    here = vertical_h(Loop.rectangle(a, b), (u * a, v * b, h))
    there = vertical_h(Loop.rectangle(a * scale, b * scale), (u * a * scale, v * b * scale, h * scale))
    assert there * scale == pytest.approx(here, rel=1e-9, abs=1e-12)


def test_the_corners_may_be_given_either_way_round():
    assert vertical_h(Loop.polygon(L_ROOM), (2, 2, 1.2)) == pytest.approx(
        vertical_h(Loop.polygon(L_ROOM[::-1]), (2, 2, 1.2)), rel=1e-12
    )
    assert vertical_h(Loop.polygon(L_ROOM), (2, 2, 1.2)) > 0


def test_beyond_the_end_of_a_wire_there_is_a_field():
    # on the line of the wire, but not on the wire: it adds nothing, the other wires do
    assert math.isfinite(vertical_h(Loop.rectangle(5, 4), (7, 0, 0)))


@pytest.mark.parametrize("point", [(0, 2, 0), (5, 4, 0), (2.5, 0.003, 0), (2.5, 0, 0.004), (0, 0, 0)])
def test_a_listener_on_the_wire_gets_a_clear_answer(point):
    with pytest.raises(BadInput, match="on the wire"):
        vertical_h(Loop.rectangle(5, 4), point)


@given(st.integers(0, 4), st.floats(0, 1), st.floats(-1e-3, 1e-3))
def test_a_map_can_be_drawn_through_the_wire_of_any_wall(wall, share, aside):
    """The ear is as high as the wire; a few millimetres beside it the field is huge."""
    loop = Loop.polygon([(0, 0), (7, 0), (7, 3.5), (3.5, 7), (0, 7)])
    (ax, ay, _), (bx, by, _) = loop.sides[wall]
    field = drawn_h(loop, (ax + share * (bx - ax) + aside, ay + share * (by - ay) + aside, 0.0))
    assert abs(field) > 5
    assert len(grid(loop, 0.0, 72, 24, 0.5)) == 24


@pytest.mark.parametrize(
    "sides", [(0, 4), (5, 0), (-5, 4), (5, -4), (float("nan"), 4), (5, float("inf")), (101, 4)]
)
def test_a_room_without_size_is_refused(sides):
    with pytest.raises(BadInput, match=r"length|width"):
        Loop.rectangle(*sides)


@pytest.mark.parametrize(
    ("spots", "why"),
    [
        ([(0, 0), (5, 0), (0, 4), (6, 4)], "crossing"),
        ([(0, 0), (5, 0), (0, 4), (5, 4)], "no floor"),
        ([(0, 0), (5, 0), (5, 0), (0, 4)], "twice"),
        ([(0, 0), (2, 0), (4, 0)], "no floor"),
        ([(0, 0), (5, 0)], "corners"),
        ([(0, 0), (4, 0), (4, 4), (2, 0), (0, 4)], "crossing"),
        ([(0, 0), (5, 0), (5, 1000)], "1000"),
    ],
)
def test_corners_that_make_no_room_are_refused(spots, why):
    with pytest.raises(BadInput, match=why):
        Loop.polygon(spots)


@pytest.mark.parametrize("turns", [0, -1, 101, True, 1.5])
def test_turns_that_are_none_are_refused(turns):
    with pytest.raises(BadInput, match="turns"):
        Loop.rectangle(5, 4, turns=turns)


def test_the_listening_area_ends_at_the_margin_and_holds_its_corners():
    plane = listening_plane(Loop.rectangle(5, 4), 1.2, margin=0.5)
    xs, ys = [x for x, _ in plane.spots], [y for _, y in plane.spots]
    assert (min(xs), max(xs), min(ys), max(ys)) == pytest.approx((0.5, 4.5, 0.5, 3.5))
    # common practice, and the closed form: the corner is the weakest place above the floor
    assert min(plane.fields) == pytest.approx(vertical_h(Loop.rectangle(5, 4), (0.5, 0.5, 1.2)), rel=1e-12)


def test_in_a_bent_room_nobody_listens_outside_it():
    loop = Loop.polygon(L_ROOM)
    plane = listening_plane(loop, 1.2)
    assert all(loop.contains(spot) and loop.clearance(spot) >= 0.5 - 1e-9 for spot in plane.spots)
    assert not any(x > 2.6 and y > 2.6 for x, y in plane.spots)
    assert (0.5, 0.5) in [(round(x, 9), round(y, 9)) for x, y in plane.spots]


def test_the_commissioning_point_of_a_horseshoe_lies_inside_it():
    horseshoe = Loop.polygon([(0, 0), (9, 0), (9, 6), (7, 6), (7, 2), (2, 2), (2, 6), (0, 6)])
    assert horseshoe.contains(horseshoe.commissioning_point)
    assert horseshoe.clearance(horseshoe.commissioning_point) > 0.8


def test_a_margin_that_leaves_no_floor_is_refused():
    with pytest.raises(BadInput, match="margin"):
        listening_plane(Loop.rectangle(5, 4), 1.2, margin=2.0)


def test_a_listening_area_up_to_the_wire_in_its_own_plane_is_refused():
    with pytest.raises(BadInput, match="on the wire"):
        listening_plane(Loop.rectangle(5, 4), 0.0, margin=0.001)


@settings(max_examples=2000 if LONG else 15)  # an area takes half a second
@given(side, side, st.floats(0.3, 2.5))
def test_where_the_area_can_be_even_the_level_shift_makes_it_so_and_is_the_least(a, b, h):
    assume(min(a, b) > 1.3)
    plane = listening_plane(Loop.rectangle(a, b), h, most=400 if LONG else 49)
    shift = plane.shift_db
    if shift is None:
        assert plane.spread_db > 6
        return
    current = plane.current_for_centre_a * 10 ** (shift / 20)
    low, high = plane.range_db(current)
    assert -3 - 1e-9 <= low <= high <= 3 + 1e-9
    assert plane.share_within(current) == 1
    # the least: either nothing was to do, or a little less of it leaves one end outside
    if shift:
        low, high = plane.range_db(plane.current_for_centre_a * 10 ** (0.999 * shift / 20))
        assert low < -3 or high > 3


def test_the_current_for_the_centre_gives_400_ma_per_m_there():
    plane = listening_plane(Loop.rectangle(5, 4), 1.2)
    assert level_db(plane.centre * plane.current_for_centre_a) == pytest.approx(0, abs=1e-12)
    # 146.10 mA/m for 1 A at the centre of 4 x 5 m, 1.2 m away (magpylib)
    assert plane.current_for_centre_a == pytest.approx(0.4 / 0.14610, rel=1e-4)


@pytest.mark.parametrize("sides", [(3, 3), (5, 4), (6, 9)])
def test_the_best_height_is_more_even_than_those_beside_it(sides):
    loop = Loop.rectangle(*sides)
    best = best_offset(loop)
    for other in (best.offset - 0.3, best.offset + 0.3):
        assert listening_plane(loop, other, most=120).spread_db > best.spread_db


def test_too_weak_and_too_strong_are_both_outside_the_share_that_is_right():
    fields = (0.05, 0.1, 0.14, 0.2, 0.28, 0.4)  # A/m per A; at 2 A these are -12, -6, -3.1, 0, 2.9 and 6 dB
    plane = Plane(1.2, 1.2, tuple((float(n), 0.0) for n in range(6)), fields, 0.2, min(fields), max(fields))
    assert plane.share_within(2.0) == pytest.approx(2 / 6)
    assert plane.range_db(2.0) == pytest.approx((-12.04, 6.02), abs=0.01)
    assert (plane.even, plane.shift_db) == (False, None)


def test_where_the_field_has_turned_over_the_area_is_not_called_even():
    # far outside a small loop the field points down: no current makes that right
    plane = listening_plane(Loop.rectangle(5, 4), 1.2)
    assert plane.even
    assert level_db(-0.3) == level_db(0) == -60


def rooms(seed):
    """A random room: a rectangle or one with an inner corner, up to 35 by 25 m, and a height."""
    chance = random.Random(seed)
    a, b = chance.uniform(2.5, 35), chance.uniform(2.5, 25)
    height = chance.choice([0.2, 0.5, 1.2, 1.7, 2.2])
    if seed % 2:
        return Loop.rectangle(a, b), height
    c, d = chance.uniform(0.3, 0.7) * a, chance.uniform(0.3, 0.7) * b
    return Loop.polygon([(0, 0), (a, 0), (a, d), (c, d), (c, b), (0, b)]), height


@pytest.mark.parametrize(
    ("loop", "height"),
    [(Loop.rectangle(33, 24), 1.2), (Loop.rectangle(33, 24), 0.2), *(rooms(seed) for seed in range(8))],
)
def test_the_extremes_of_the_area_are_within_a_twentieth_of_a_db_of_a_fine_grid(loop, height):
    plane = listening_plane(loop, height)
    spots = [*loop.spots_inside(0.5, most=8000), *loop.margin_spots(0.5, 2000)]
    fields = [vertical_h(loop, (x, y, height)) for x, y in spots]
    assert level_db(plane.weakest) <= level_db(min(fields)) + 0.05
    assert level_db(plane.strongest) >= level_db(max(fields)) - 0.05
    # and nothing is made up: what was found is a field of the area
    assert min(plane.fields) >= plane.weakest
    assert max(plane.fields) <= plane.strongest


def test_what_is_said_of_the_most_even_height_does_not_contradict_the_plane_at_that_height():
    for loop in (Loop.rectangle(33, 24), Loop.rectangle(6, 9), rooms(4)[0]):
        best = best_offset(loop)
        there = listening_plane(loop, best.offset)
        assert best.spread_db == pytest.approx(there.spread_db, abs=0.05)


@pytest.mark.parametrize(
    ("diameter", "height", "field"), [(2.0, 0.0, 0.5), (5.0, 0.0, 0.2), (5.0, 1.2, 0.14654)]
)
def test_a_ring_has_the_field_of_a_circle_on_its_axis(diameter, height, field):
    # I R^2 / (2 (R^2 + h^2)^1.5), textbook; 72 sides of the same area are within a tenth of a percent
    ring = Loop.ring(diameter)
    assert ring.area == pytest.approx(math.pi * diameter**2 / 4, rel=1e-9)
    assert vertical_h(ring, (diameter / 2, diameter / 2, height)) == pytest.approx(field, rel=1.5e-3)
