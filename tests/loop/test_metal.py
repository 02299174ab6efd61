"""Loss to metal from a trial loop, with readings that are made from a known loss."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kb.loop.field import vertical_h
from kb.loop.geometry import Loop
from kb.loop.plan import Ask
from kb.loop.readings_file import readings_from
from kb.loop.verdict import judge

PLACES = [(2.5, 2.0), (1.0, 1.0), (4.0, 3.0)]


def trial(at_1k, at_5k, *, hertz=(100, 1000, 2000, 5000), current=0.5, **loop):
    """Readings over a 5 x 4 m trial loop whose field is weakened by a line over the octaves."""
    room = Loop.rectangle(5, 4)
    loss = Ask(room, metal_db=at_1k, metal_5k_db=at_5k)
    positions = []
    for number, (x, y) in enumerate(PLACES):
        computed = 20 * math.log10(vertical_h(room, (x, y, 1.2)) * current / 0.4)
        positions.append({
            "name": f"place {number}", "x_m": x, "y_m": y, "field_db": computed - at_1k,
            "response_db": {f"{each}": computed - loss.metal_at(each) for each in hertz},
        })  # fmt: skip
    about = {"length_m": 5.0, "width_m": 4.0, "current_a": current, "trial": True, **loop}
    return judge(readings_from({"positions": positions, "loop": about}))


@given(st.floats(0, 8), st.floats(0, 12))
def test_a_loss_that_was_put_in_comes_out(at_1k, more):
    found = trial(at_1k, at_1k + more).metal
    assert found.at_1_khz_db == pytest.approx(at_1k, abs=1e-6)
    assert found.at_5_khz_db == pytest.approx(at_1k + more, abs=1e-6)


def test_the_advice_says_what_to_plan_with_and_blames_no_drive():
    found = trial(2.0, 7.0)
    (advice,) = found.advice
    assert "--metal-db 2.0 --metal-5k-db 7.0" in advice.text
    assert found.diagnosis == ()
    assert found.doubted == ()
    assert found.as_json()["metal"] == {"at_1_khz_db": pytest.approx(2.0), "at_5_khz_db": pytest.approx(7.0)}


def test_without_5_khz_and_with_more_field_than_computed_it_says_so():
    assert "too, before you plan with --metal-db 3.0" in trial(3.0, 3.0, hertz=(100, 1000)).advice[0].text
    assert "metal cannot do" in trial(-4.0, -4.0).advice[0].text
    # what was allowed for already counts
    assert trial(3.0, 5.0, metal_db=3.0).metal.at_1_khz_db == pytest.approx(3.0)


def test_a_loop_that_is_no_trial_is_judged_as_before():
    found = trial(4.0, 9.0, trial=False)
    assert found.metal is None
    assert {each.code for each in found.diagnosis} == {"drive-low", "treble-low"}
