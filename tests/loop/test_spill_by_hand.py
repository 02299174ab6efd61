"""Check the spill of a loop with fields that are simple enough to know every level beforehand."""

from __future__ import annotations

import math

import pytest

from kb.loop.geometry import Corner, Loop
from kb.loop.spill import DISTANCES_M, FARTHEST_M, Outside, Spill, _along, _db, _level, _ways, spill
from kb.loop.standard import REFERENCE_A_PER_M

ROOM = Loop.rectangle(5, 4)
EAR = 1.2


def outside(corner: Corner) -> float:
    """Metres from the room of 5 by 4 metres."""
    x, y, _ = corner
    return math.hypot(max(-x, x - 5, 0), max(-y, y - 4, 0))


def fading(corner: Corner) -> float:
    """400 mA/m at the wire, and 10 dB less with each metre; a field may point either way."""
    return -REFERENCE_A_PER_M * 10 ** (-outside(corner) / 2)


def fading_right(corner: Corner) -> float:
    """The same, but 6 dB stronger on the right."""
    return fading(corner) * (10**0.3 if corner[0] > 5 else 1)


def found(
    asked_db: float, amperes: float = 1.0, storey: float | None = None, field: object = fading
) -> Spill:
    return spill(ROOM, amperes, ear=EAR, level_db=asked_db, storey=storey, field=field)  # type: ignore[arg-type]


def test_the_level_is_told_at_half_a_metre_to_eight_metres() -> None:
    assert DISTANCES_M == (0.5, 1.0, 2.0, 4.0, 8.0)
    for amperes, more in ((1.0, 0.0), (10.0, 20.0), (0.5, 20 * math.log10(0.5))):
        beside = found(-32, amperes).by_distance
        assert [one.distance_m for one in beside] == list(DISTANCES_M)
        assert [one.level_db for one in beside] == pytest.approx([more - 10 * d for d in DISTANCES_M])
        assert {one.height_m for one in beside} == {EAR}
    right = found(-32, field=fading_right).by_distance
    assert [one.level_db for one in right] == pytest.approx([6 - 10 * d for d in DISTANCES_M]), (
        "the strongest side"
    )


@pytest.mark.parametrize(("asked", "reach"), [(-32, 3.2), (-1, 0.1), (-60, 6.0), (0.1, 0.0), (-119.9, 11.99)])
def test_the_reach_is_where_the_level_falls_below_what_was_asked(asked: float, reach: float) -> None:
    assert found(asked).reach_m == pytest.approx(reach, abs=1e-3)
    assert found(asked).asked_db == asked


def test_a_level_that_is_met_everywhere_reaches_as_far_as_anybody_looks() -> None:
    assert found(-121).reach_m == FARTHEST_M
    assert found(-32, field=lambda corner: 0.4).reach_m == FARTHEST_M
    assert found(-32, 10.0).reach_m == pytest.approx(5.2, abs=1e-3), "ten times the current, 20 dB, 2 m more"
    assert found(-32, field=fading_right).reach_m == pytest.approx(3.8, abs=1e-3)


def test_a_dip_nearer_to_the_wire_does_not_end_the_reach() -> None:
    def dipped(corner: Corner) -> float:
        return 0.0 if 1 < outside(corner) < 2 else fading(corner)

    assert found(-32, field=dipped).reach_m == pytest.approx(3.2, abs=1e-3)


def test_no_field_at_all_is_as_faint_as_any() -> None:
    assert [_db(field) for field in (0.4, -0.4, 0.04, 0.0, 1e-9)] == pytest.approx([0, 0, -20, -120, -120])


def test_the_way_out_is_away_from_the_room_on_every_side() -> None:
    ways = _ways(ROOM)
    assert len(ways) == 4 * 9
    for spot, out in ways:
        assert math.hypot(*out) == pytest.approx(1)
        assert outside((*spot, 0.0)) == 0
        assert outside((*_along((spot, out), 2.0), 0.0)) == pytest.approx(2)
    assert ways[0] == ((0.0, 0.0), (0.0, -1.0))
    assert ways[1][0] == pytest.approx((5 / 8, 0.0))
    assert {tuple(map(round, out)) for _, out in ways} == {(0, -1), (1, 0), (0, 1), (-1, 0)}


def test_from_a_bent_room_into_its_other_part_is_no_spill() -> None:
    bent = Loop.polygon([(0, 0), (6, 0), (6, 6), (4, 6), (4, 2), (2, 2), (2, 6), (0, 6)])
    assert _level(bent, (1.0, 3.0), EAR, 1.0, lambda corner: 0.4) == -120
    assert _level(bent, (3.0, 3.0), EAR, 1.0, lambda corner: 0.4) == pytest.approx(0)
    assert _level(bent, (3.0, 3.0), EAR, 0.1, lambda corner: 0.4) == pytest.approx(-20)


def test_other_storeys_are_looked_through_over_the_room_and_half_its_size_round_it() -> None:
    asked: list[Corner] = []

    def field(corner: Corner) -> float:
        asked.append(corner)
        return -0.4 if corner[2] > 3 and corner[:2] == (7.5, -2.0) else 0.004

    upstairs, downstairs = found(-32, 1.0, 2.7, field).storeys
    assert upstairs == Outside(0.0, EAR + 2.7, pytest.approx(0))
    assert downstairs == Outside(0.0, EAR - 2.7, pytest.approx(-40))
    spots = {corner[:2] for corner in asked if corner[2] == EAR + 2.7}
    assert len(spots) == 25 * 25
    xs, ys = sorted({x for x, _ in spots}), sorted({y for _, y in spots})
    assert (xs[0], xs[-1], ys[0], ys[-1]) == pytest.approx((-2.5, 7.5, -2.0, 6.0))
    assert found(-32).storeys == (), "nobody knows how high it is"
