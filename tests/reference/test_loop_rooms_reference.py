"""Check outline, listening area and commissioning point of rooms against shapely 2, a library for plane
geometry (BSD licence): the listening area is the floor shrunk by the margin."""

from __future__ import annotations

import math
import random

import pytest
import shapely
from shapely.geometry import LineString, Point, Polygon

from kb.base.errors import BadInput
from kb.loop.geometry import Loop, Spot

#: Rooms with walls at right angles and others, metres; none has a corner at 0,0, and most lie on both sides
#: of an axis of the plan.
ROOMS: dict[str, list[Spot]] = {
    "oblong": [(-2, 1), (5, 1), (5, 6), (-2, 6)],
    "L": [(1, -3), (8, -3), (8, 1), (4, 1), (4, 3), (1, 3)],
    "T": [(-4, 2), (4, 2), (4, 5), (2, 5), (2, 10), (-2, 10), (-2, 5), (-4, 5)],
    "horseshoe": [(2, 1), (11, 1), (11, 8), (8.5, 8), (8.5, 3.5), (4.5, 3.5), (4.5, 8), (2, 8)],
    "slanting": [(1, 0.5), (9, 2), (7, 8), (2.5, 6)],
    "bay": [(3, 3), (9, 3), (11, 5), (11, 7), (9, 9), (3, 9)],
    "dent": [(-6, -4), (3, -4), (3, 4), (-1, 1), (-6, 3)],
}
MARGIN = 0.6


def floor(room: str) -> Polygon:
    return Polygon(ROOMS[room])


def spots_about(room: str, count: int = 150) -> list[Spot]:
    """Spots inside, outside and near the wire, the same ones each time."""
    chance = random.Random(room)
    x0, y0, x1, y1 = floor(room).bounds
    return [(chance.uniform(x0 - 1, x1 + 1), chance.uniform(y0 - 1, y1 + 1)) for _ in range(count)]


@pytest.mark.parametrize("room", ROOMS)
@pytest.mark.parametrize("way", [1, -1])
def test_a_room_has_the_area_the_wire_and_the_bounds_that_the_library_finds(room: str, way: int) -> None:
    loop, seen = Loop.polygon(ROOMS[room][::way], z=0.3), floor(room)
    assert (loop.area, loop.perimeter) == pytest.approx((seen.area, seen.length))
    x0, y0, x1, y1 = seen.bounds
    assert loop.box == (x0, x1, y0, y1)
    assert loop.shorter_side == pytest.approx(min(x1 - x0, y1 - y0))
    assert loop.plane == 0.3
    assert shapely.is_ccw(shapely.LinearRing(loop.spots))


@pytest.mark.parametrize("room", ROOMS)
def test_who_sits_inside_and_how_far_from_the_wire_is_what_the_library_finds(room: str) -> None:
    loop, seen = Loop.polygon(ROOMS[room]), floor(room)
    for spot in spots_about(room):
        away = seen.exterior.distance(Point(spot))
        assert loop.clearance(spot) == pytest.approx(away, abs=1e-12)
        assert loop.contains(spot) is seen.contains(Point(spot))
        assert loop.is_inside(spot, MARGIN) is (seen.contains(Point(spot)) and away >= MARGIN)


@pytest.mark.parametrize("room", ROOMS)
@pytest.mark.parametrize("margin", [0.0, MARGIN])
def test_the_listening_area_is_the_floor_less_its_margin(room: str, margin: float) -> None:
    loop, seen = Loop.polygon(ROOMS[room]), floor(room)
    area = seen.buffer(-margin, quad_segs=200)
    spots = loop.spots_inside(margin, most=400)
    around = area.buffer(1e-4)
    assert all(around.contains(Point(spot)) for spot in spots)
    # an even grid: a square metre has as many spots as the next, and none is farther from a spot than a step
    x0, x1, y0, y1 = loop.box
    step = math.sqrt((x1 - x0 - 2 * margin) * (y1 - y0 - 2 * margin) / 400)
    assert len(spots) == pytest.approx(area.area / step**2, rel=0.25)
    assert len(set(spots)) == len(spots)
    heard = shapely.MultiPoint(spots)
    for spot in spots_about(room):
        if area.contains(Point(spot)):
            assert heard.distance(Point(spot)) <= 1.3 * step
    # the corners, where the field is weakest, are among them
    if margin:
        sharp = seen.buffer(-margin, join_style="mitre", mitre_limit=50).exterior.coords
        for corner in sharp:
            if area.buffer(1e-3).contains(Point(corner)):
                assert heard.distance(Point(corner)) < 1e-3


@pytest.mark.parametrize("room", ROOMS)
def test_the_spots_along_the_margin_go_all_along_it_and_round_its_inward_corners(room: str) -> None:
    loop, seen = Loop.polygon(ROOMS[room]), floor(room)
    spots = loop.margin_spots(MARGIN, 120)
    edge = seen.buffer(-MARGIN, quad_segs=200).exterior
    assert all(edge.distance(Point(spot)) < 1e-4 for spot in spots)
    step = loop.perimeter / 120
    along = shapely.MultiPoint(spots)
    for part in range(400):
        assert along.distance(edge.interpolate(part / 400, normalized=True)) <= step
    assert loop.margin_spots(0.0, 120) == []


@pytest.mark.parametrize("room", ["oblong", "L", "T", "slanting", "bay"])
def test_the_outline_that_is_drawn_is_the_floor_less_its_margin(room: str) -> None:
    drawn = Polygon(Loop.polygon(ROOMS[room]).inset(MARGIN))
    sharp = floor(room).buffer(-MARGIN, join_style="mitre", mitre_limit=50)
    assert drawn.symmetric_difference(sharp).area < 1e-6


@pytest.mark.parametrize("room", ROOMS)
def test_the_level_is_set_at_the_centre_of_the_floor_or_at_the_spot_farthest_from_the_wire(room: str) -> None:
    loop, seen = Loop.polygon(ROOMS[room]), floor(room)
    found = loop.commissioning_point
    deepest = seen.exterior.distance(Point(shapely.maximum_inscribed_circle(seen, 0.01).coords[0]))
    centre = seen.centroid
    if seen.contains(centre) and seen.exterior.distance(centre) > 0.25 * deepest:
        assert found == pytest.approx((centre.x, centre.y))
    else:  # to a step of the grid
        assert room == "horseshoe"
        assert seen.contains(Point(found))
        assert seen.exterior.distance(Point(found)) > deepest - 0.2


def test_a_wire_that_crosses_or_touches_itself_is_no_loop_round_a_room() -> None:
    refused = 0
    for seed in range(150):
        chance = random.Random(seed)
        spots = [(chance.uniform(-4, 6), chance.uniform(-4, 6)) for _ in range(3 + seed % 4)]
        ring = LineString([*spots, spots[0]])
        if ring.is_simple:
            assert Loop.polygon(spots).area == pytest.approx(Polygon(spots).area)
        else:
            refused += 1
            with pytest.raises(BadInput):
                Loop.polygon(spots)
    assert 30 < refused < 120
