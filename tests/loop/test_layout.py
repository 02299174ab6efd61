"""Layouts that spill little: held against a numerical Biot-Savart integral and against magpylib."""

from __future__ import annotations

import json
import math
from itertools import pairwise

import numpy as np
import pytest
from click.testing import CliRunner

from kb.base.errors import BadInput
from kb.cli.loop import loop_command
from kb.loop.geometry import Loop
from kb.loop.standard import quadrature
from kb.loop.wire import inductance, mutual, wire_from
from kb.loop.wire_layouts import Group, Layout, laid, spilt

ROOM = Loop.rectangle(10, 8)
EAR = 1.2


def biot_savart(corners, point, pieces=4000):
    """The vertical field of a closed loop for 1 A, as a sum over short pieces of wire."""
    total = 0.0
    for a, b in zip(corners, (*corners[1:], corners[0]), strict=True):
        a, b = np.array(a), np.array(b)
        step = (b - a) / pieces
        middles = a + np.outer(np.arange(pieces) + 0.5, step)
        arm = np.array(point) - middles
        total += float(np.sum(np.cross(step, arm)[:, 2] / np.linalg.norm(arm, axis=1) ** 3))
    return total / (4 * math.pi)


def strips(edges, x=10.0, y=8.0):
    """Rectangles across x between shares of it, in turn one way round and the other, written out by hand."""
    for number, (low, high) in enumerate(pairwise(edges)):
        corners = [(low * x, 0, 0), (high * x, 0, 0), (high * x, y, 0), (low * x, y, 0)]
        yield corners if number % 2 == 0 else corners[::-1]


GROUPS = {
    Layout.PERIMETER: [[0, 1]],
    Layout.EIGHT: [[0, 0.5, 1]],
    Layout.QUADRATURE: [[0, 0.5, 1], [0, 0.25, 0.75, 1]],
}
INSIDE = [(1.0, 1.0, EAR), (2.5, 4.0, EAR), (5.0, 4.0, EAR), (4.1, 6.7, EAR), (8.8, 3.3, 1.7)]
OUTSIDE = [(12.0, 4.0, EAR), (-5.0, 7.0, EAR), (5.0, 14.0, EAR), (18.0, 4.0, EAR), (3.0, 3.0, 3.9)]


@pytest.mark.parametrize("kind", Layout)
@pytest.mark.parametrize("point", [*INSIDE, *OUTSIDE])
def test_the_field_is_that_of_the_numerical_integral(kind, point):
    found = laid(kind, ROOM, ear=EAR).field(point)
    parts = [sum(biot_savart(loop, point) for loop in strips(edges)) for edges in GROUPS[kind]]
    assert found == pytest.approx(math.sqrt(sum(part * part for part in parts)), rel=1e-4, abs=1e-7)


@pytest.mark.parametrize("kind", Layout)
def test_the_spill_is_that_of_magpylib(kind):
    magpylib = pytest.importorskip("magpylib", reason="pip install magpylib (the extra test has it)")
    found = laid(kind, ROOM, ear=EAR)
    for point in OUTSIDE:
        parts = []
        for edges in GROUPS[kind]:
            wires = [
                magpylib.current.Polyline(current=1.0, vertices=[*loop, loop[0]]) for loop in strips(edges)
            ]
            parts.append(sum(float(magpylib.getH(wire, point)[2]) for wire in wires))
        assert found.field(point) == pytest.approx(math.hypot(*parts), rel=1e-6)


def test_far_away_a_pair_falls_with_the_fourth_power():
    # a dipole falls by 18 dB when the distance doubles, two opposite ones by 24 dB
    for kind, fall in ((Layout.PERIMETER, 18.06), (Layout.EIGHT, 24.08), (Layout.QUADRATURE, 24.08)):
        field = laid(kind, Loop.rectangle(2, 2), ear=0.0).field
        near, far = field((1 + 100.0, 1.7, 0.0)), field((1 + 200.0, 1.7, 0.0))
        assert 20 * math.log10(near / far) == pytest.approx(fall, abs=0.15), kind


def test_a_figure_of_eight_hears_nothing_over_its_middle_and_quadrature_fills_the_gap():
    eight, both = (laid(kind, ROOM, ear=EAR) for kind in (Layout.EIGHT, Layout.QUADRATURE))
    assert eight.field((5.0, 4.0, EAR)) < 1e-6
    assert 0.5 < eight.gap_m < 1.2
    edge = eight.field((5.0 + eight.gap_m / 2, 4.0, EAR)) * eight.current_a
    assert edge == pytest.approx(0.283, rel=0.1)  # -3 dB
    assert both.gap_m == 0
    assert both.share == 1.0


@pytest.mark.parametrize("room", [(5, 4), (10, 8), (8, 10), (20, 8)])
def test_both_layouts_spill_less_at_a_level_that_is_as_good_inside(room):
    outline = Loop.rectangle(*room)
    around = {}
    for kind in Layout:
        one = laid(kind, outline, ear=EAR)
        around[kind] = spilt(one, outline, ear=EAR, asked_db=-32, storey=2.7)
        # somebody hears 400 mA/m, and what counts as within is within
        assert one.strongest_db >= 0
        assert one.share > 0.8
    loop = around.pop(Layout.PERIMETER)
    for each in around.values():
        assert each.reach_m < loop.reach_m - 1
        assert each.by_distance[-1].level_db < loop.by_distance[-1].level_db - 5


def test_metal_is_made_up_for_and_a_current_that_is_known_is_kept():
    plain, lossy = (laid(Layout.EIGHT, ROOM, ear=EAR, metal_db=metal) for metal in (0, 6))
    assert lossy.current_a == pytest.approx(plain.current_a * 10**0.3)
    assert lossy.weakest_db == pytest.approx(plain.weakest_db)
    assert laid(Layout.PERIMETER, ROOM, ear=EAR, current_a=3.0).current_a == pytest.approx(3.0)


@pytest.mark.parametrize(("east", "north", "turned"), [(3.0, -9.0, False), (-4.0, 2.0, True)])
def test_where_a_room_lies_on_the_plan_and_which_way_it_is_turned_changes_no_layout(east, north, turned):
    def room(x, y):
        return Loop.polygon([(east, north), (east + x, north), (east + x, north + y), (east, north + y)])

    here, there = (
        laid(Layout.EIGHT, one, ear=EAR)
        for one in (Loop.rectangle(7, 4), room(4, 7) if turned else room(7, 4))
    )
    measures = [
        (one.current_a, one.share, one.weakest_db, one.strongest_db, one.gap_m) for one in (here, there)
    ]
    assert measures[0] == pytest.approx(measures[1], abs=1e-6)
    assert there.metres == pytest.approx(here.metres)


def test_each_layout_says_what_it_loses_against_one_loop():
    said = {kind: [one.key for one in laid(kind, ROOM, ear=EAR).cautions] for kind in Layout}
    assert said == {
        Layout.PERIMETER: [],
        Layout.EIGHT: ["loop/layout/eight", "loop/layout/height"],
        Layout.QUADRATURE: ["loop/layout/quadrature", "loop/layout/height"],
    }


def test_a_bent_room_has_no_strips():
    with pytest.raises(BadInput, match="rectangle"):
        laid(Layout.EIGHT, Loop.polygon([(0, 0), (5, 0), (5, 3), (3, 3), (3, 4), (0, 4)]), ear=EAR)


def test_two_loops_side_by_side_have_the_mutual_inductance_of_neumanns_integral():
    # one loop of twice the size is both in series, the middle wires cancelling: L = 2 L1 + 2 M
    wire = wire_from("1.5mm2")
    one, other = Loop.rectangle(5, 8), Loop(((5, 0, 0), (10, 0, 0), (10, 8, 0), (5, 8, 0)))
    whole = inductance(ROOM, wire)
    # the two middle wires lie at the mean distance of the wire from itself, so that they cancel exactly
    between = mutual(one, other, wire.radius * math.exp(-0.25))
    assert 2 * inductance(one, wire) + 2 * between == pytest.approx(whole, rel=2e-3)
    assert mutual(one, other, 5e-3) < 0


def test_the_error_of_a_phase():
    # S65 and S66, IEC 62489-1, 5.4.14.1
    off = quadrature(85)
    assert off.up_db == pytest.approx(0.726, abs=0.01)
    assert off.down_db == pytest.approx(-0.792, abs=0.005)
    for degrees in (90, -90, 270):
        assert quadrature(degrees).up_db == pytest.approx(0, abs=1e-12)


def run(*args, columns="80"):
    return CliRunner().invoke(
        loop_command, args, standalone_mode=False, env={"COLUMNS": columns, "JACKFIELD_HOME": "/none"}
    )


@pytest.mark.parametrize("columns", ["80", "60"])
def test_the_command_compares_layouts_and_says_what_is_lost(columns):
    shown = run("--room", "10x8", "--wire-height", "0", "--layout", "eight", "--plot", columns=columns).stdout
    flat = " ".join(shown.split())
    assert "nobody hears anything over the middle wire" in flat
    assert "keep 90 degrees from 100 Hz to 5 kHz" in flat
    assert max(map(len, shown.splitlines())) <= int(columns)
    assert "…" not in shown
    # the middle wire is on the map
    rows = [line for line in shown.splitlines() if line.count("#") == 3]
    assert len(rows) > 8


def test_the_layouts_are_in_the_json():
    found = json.loads(run("--room", "10x8", "--spill", "-32", "--json").stdout)
    one, eight, both = found["layouts"]
    assert [each["layout"] for each in found["layouts"]] == ["perimeter", "eight", "quadrature"]
    # the loop round the room is the one that the rest of the answer is about
    assert one["spill"] == found["spill"]
    assert [len(group["loops"]) for group in both["groups"]] == [2, 3]
    assert {loop["way"] for loop in eight["groups"][0]["loops"]} == {1, -1}
    assert json.loads(run("--room", "10x8", "--json").stdout)["layouts"] == []


WIRE = wire_from("1.5mm2")
HALVES = [Loop.polygon([(x, 0), (x + 3, 0), (x + 3, 4), (x, 4)]) for x in (0, 3)]


def test_two_halves_with_the_same_current_are_the_whole_loop_and_a_pair_of_wires():
    # the wires in the middle carry it there and back: a two-wire line, mu0/pi (ln(D/r) + 1/4) a metre
    same = Group(((HALVES[0], 1), (HALVES[1], 1))).load(WIRE)
    pair = 4 * 4e-7 * (math.log(WIRE.spacing / WIRE.radius) + 0.25)
    assert same.inductance == pytest.approx(inductance(Loop.rectangle(6, 4), WIRE) + pair, rel=2e-3)
    assert same.resistance == pytest.approx(28 / 58 / 1.5)
    # the other way round, each takes from the other what it gave
    apart = 2 * inductance(HALVES[0], WIRE)
    against = Group(((HALVES[0], 1), (HALVES[1], -1))).load(WIRE)
    assert against.inductance + same.inductance == pytest.approx(2 * apart)
    assert against.resistance == same.resistance


def test_two_turns_of_half_the_current_make_the_same_field():
    once = laid(Layout.EIGHT, Loop.rectangle(6, 4), ear=EAR, margin=1.5, current_a=3.0)
    twice = once.wound(2)
    assert (once.turns, twice.turns, twice.current_a) == (1, 2, 1.5)
    assert twice.metres == pytest.approx(2 * once.metres) == pytest.approx(56)
    assert [loop.spots for loop in twice.wires] == [loop.spots for loop, _ in twice.groups[0].loops]
    assert [loop.turns for loop in twice.wires] == [2, 2]
    for point in INSIDE[:2]:
        assert twice.field(point) == pytest.approx(2 * once.field(point))
    (one,), (two,) = once.groups, twice.groups
    assert two.load(WIRE).resistance == pytest.approx(2 * one.load(WIRE).resistance)
    # the turns share most of their field: somewhat less than four times
    assert 3 < two.load(WIRE).inductance / one.load(WIRE).inductance < 4


def test_where_no_spot_along_the_middle_is_loud_enough_the_gap_is_the_room():
    far = laid(Layout.EIGHT, Loop.rectangle(6, 4), ear=EAR, margin=1.5, current_a=0.1)
    assert far.gap_m == 6
    near = laid(Layout.EIGHT, Loop.rectangle(4, 6), ear=EAR, margin=1.5)
    # over the middle wire there is no vertical field; at the edge of the gap it is at -3 dB
    edge = (2.0, 3.0 + near.gap_m / 2, EAR)
    assert 20 * math.log10(near.field(edge) * near.current_a / 0.4) == pytest.approx(-3, abs=0.4)
    assert laid(Layout.PERIMETER, Loop.rectangle(6, 4), ear=EAR, margin=1.5).gap_m == 0


def test_what_spills_of_a_layout_is_its_own_field():
    layout = laid(Layout.EIGHT, Loop.rectangle(6, 4), ear=EAR, margin=1.5, current_a=3.0)
    found = spilt(layout, Loop.rectangle(6, 4), ear=EAR, asked_db=-32.0, storey=None)
    strongest = max(
        3.0 * layout.field((x, y, EAR))
        for step in range(9)
        for x, y in ((6 * step / 8, -1.0), (7.0, 4 * step / 8))
    )
    one_metre = next(each for each in found.by_distance if each.distance_m == 1.0)
    assert one_metre.level_db == pytest.approx(20 * math.log10(strongest / 0.4))
    assert (found.asked_db, found.storeys) == (-32.0, ())


def test_a_map_of_a_layout_is_refused_for_a_bent_room():
    done = run("--polygon", "0,0 5,0 5,3 3,3 3,4 0,4", "--layout", "eight")
    assert isinstance(done.exception, BadInput)
    spill = run("--polygon", "0,0 5,0 5,3 3,3 3,4 0,4", "--spill", "-32")
    flat = " ".join(spill.stdout.split())
    assert "Layouts that spill less, dB" not in flat
    assert "computed only for a room that is a rectangle" in flat
    assert spill.exception is None
