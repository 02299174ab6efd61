"""What is heard outside a loop: next door, upstairs, downstairs."""

from __future__ import annotations

import json
import math

import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st

from kb.cli.loop import loop_command
from kb.loop.field import level_db, vertical_h
from kb.loop.geometry import Loop
from kb.loop.spill import spill
from tests.conftest import LONG

ROOM = Loop.rectangle(5, 4)


def test_far_away_a_loop_is_a_dipole():
    # H = I A / (4 pi r^3) in its plane: the textbook dipole, independent of the code's formula
    found = spill(ROOM, 3.0, ear=0.0, level_db=-60, storey=None)
    distance = (3.0 * 20 / (4 * math.pi * 0.4e-3)) ** (1 / 3)
    assert found.reach_m + 2.25 == pytest.approx(distance, rel=0.03)  # counted from a wall, 2 to 2.5 m off


@settings(max_examples=2000 if LONG else 8)  # tests/reference looks at bent rooms, too
@given(st.floats(2, 20), st.floats(2, 20), st.floats(0.3, 2), st.floats(-45, -15))
def test_beyond_the_reach_the_field_stays_below_the_level(a, b, ear, asked):
    loop = Loop.rectangle(a, b)
    found = spill(loop, 2.0, ear=ear, level_db=asked, storey=2.7)
    for x, y in ((a / 2, b), (a, b / 2)):
        out = (0, 1) if y == b else (1, 0)
        for more in (0.1, 1.0, 5.0, 20.0):
            far = found.reach_m + more
            here = vertical_h(loop, (x + far * out[0], y + far * out[1], ear))
            assert level_db(abs(here) * 2.0) <= asked + 1e-6


def test_more_current_reaches_farther_and_other_storeys_hear_what_the_formula_says():
    one, two = (spill(ROOM, amperes, ear=1.2, level_db=-32, storey=2.7) for amperes in (2.0, 4.0))
    assert two.reach_m > one.reach_m
    above = max(abs(vertical_h(ROOM, (2.5 + dx, 2.0, 3.9))) for dx in (-0.5, 0, 0.5)) * 2.0
    assert one.storeys[0].level_db == pytest.approx(level_db(above), abs=0.2)
    assert two.storeys[1].level_db - one.storeys[1].level_db == pytest.approx(6.02, abs=0.01)


def run(*args):
    return CliRunner().invoke(
        loop_command, args, standalone_mode=False, env={"COLUMNS": "80", "JACKFIELD_HOME": "/none"}
    )


def test_the_command_tells_the_spill_and_marks_it_on_the_map():
    room = ("--room", "5x4", "--wire-height", "0")
    shown = run(*room, "--spill", "-32", "--plot").stdout
    assert "It falls below -32 dB at" in " ".join(shown.split())
    assert ". outside at -32 dB or more" in shown
    assert "Spill" not in run(*room).stdout
    found = json.loads(run(*room, "--spill", "-32", "--json").stdout)["spill"]
    assert found["asked_db"] == -32
    assert [each["distance_m"] for each in found["beside"]] == [0.5, 1, 2, 4, 8]
    assert len(found["storeys"]) == 2
