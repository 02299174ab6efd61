"""The run from jack to driver is covered, and no signal is sent further than it goes."""

from __future__ import annotations

import inspect

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kb.catalogue import catalogue
from kb.domain.words import Signal
from kb.path import connect
from tests.path.panels import (
    LINE,
    OPTICAL,
    PHONES,
    SCART,
    SPEAKERS,
    ask,
    cautions,
    chosen,
    panel,
    ruled_out,
    steps,
    text,
)


def test_the_default_run_is_that_of_a_driver_beside_the_set() -> None:
    default = inspect.signature(connect).parameters["length_m"].default
    assert default == catalogue().number("usual-run")
    assert chosen(LINE).items == ("RCA pair to 3.5 mm cable 2 m",)


@pytest.mark.parametrize(("run", "cable"), [(0, 2), (2, 2), (2.5, 3), (3.2, 5), (5.5, 10)])
def test_the_cable_is_as_long_as_the_run(run: float, cable: int) -> None:
    assert chosen(LINE, length_m=run).items == (f"RCA pair to 3.5 mm cable {cable} m",)


def test_a_longer_run_is_joined_with_a_coupler() -> None:
    path = chosen(LINE, length_m=12)
    assert sum("coupler" in item for item in path.items) == 1
    assert path.length_m >= 12
    assert "long-cable" in cautions(path)
    assert "with the RCA pair coupler" in text(path)
    assert steps(path).count("join") == 1


def test_over_five_metres_of_fibre_is_told() -> None:
    assert "long-cable" not in cautions(chosen(OPTICAL, inputs=("optical",), length_m=5))
    assert "long-cable" in cautions(chosen(OPTICAL, inputs=("optical",), length_m=7))


@pytest.mark.parametrize("run", [11, 15, 25])
def test_beyond_ten_metres_the_converter_moves_to_the_set_and_the_analog_cable_makes_the_run(
    run: float,
) -> None:
    path = chosen(OPTICAL, length_m=run)
    assert path.items[:2] == ("optical cable 2 m", "DAC")
    assert path.length_m >= run


def test_a_shared_fibre_is_kept_short() -> None:
    shared = {**OPTICAL, "taken": True}
    path = chosen(shared, inputs=("optical",), length_m=2)
    assert path.items == ("optical splitter", "optical cable 2 m")
    assert "2 m of optical digital after it are like 9.5 m" in text(path)
    assert "long-cable" in cautions(path)


@pytest.mark.parametrize("run", [2.5, 3, 5, 10])
def test_a_powered_splitter_sends_the_light_afresh_if_a_passive_one_leaves_too_little(run: float) -> None:
    path = chosen({**OPTICAL, "taken": True}, inputs=("optical",), length_m=run)
    assert path.items[0] == "powered optical splitter"
    assert len(path.items) == 2


def test_no_row_of_format_converters_mends_what_a_splitter_has_taken() -> None:
    shared = {**OPTICAL, "taken": True}
    answer = ask(shared, inputs=("optical",), length_m=12)
    assert answer.chosen is None
    assert ruled_out(answer) == {0: "taken"}


def test_behind_a_splitter_the_dac_stands_at_the_set_and_the_analog_cable_makes_the_run() -> None:
    path = chosen({**OPTICAL, "taken": True}, length_m=8)
    assert path.items[:2] == ("optical splitter", "optical cable 2 m")
    assert path.converter == "DAC"
    assert path.length_m >= 8


@pytest.mark.parametrize(
    ("jack", "driver"),
    [(LINE, "line-3.5"), (LINE, "mic"), (PHONES, "line-rca"), (SCART, "line-3.5"), (SPEAKERS, "line-rca")],
)
def test_only_a_powered_box_begins_a_new_stretch(jack: dict[str, str], driver: str) -> None:
    """A pad, an isolator or a coupler gives on what it takes in: 30 m of analog cable is the most."""
    far = ask({**jack, "outcome": "hum"}, inputs=(driver,), length_m=60).chosen
    assert far is None or "low-delay wireless pair" in far.items
    assert ask({**jack, "outcome": "not-tried"}, inputs=(driver,), length_m=91).chosen is None
    for outcome in ("not-tried", "hum"):
        assert ask({**jack, "outcome": outcome}, inputs=(driver,), length_m=29).chosen is not None


def test_cables_to_hand_are_used_first() -> None:
    assert chosen(LINE, have=["RCA pair to 3.5 mm cable 5 m"]).items == ("RCA pair to 3.5 mm cable 5 m",)


def test_a_cable_to_hand_works_either_way_round() -> None:
    line_out = {"form": "jack-3.5", "marking": "LINE OUT (FIXED)"}
    path = chosen(line_out, inputs=("line-rca",), have=["RCA pair to 3.5 mm cable 3 m"])
    assert path.items == ("3.5 mm to RCA pair cable 3 m",)


def test_no_chain_reaches_across_a_hundred_metres() -> None:
    assert ask(LINE, length_m=100).chosen is None


@given(
    run=st.floats(0, 40),
    jack=st.sampled_from([LINE, OPTICAL, PHONES]),
    inputs=st.sampled_from([("line-3.5",), ("line-rca", "optical"), ("coaxial",)]),
)
def test_cables_always_cover_the_run_and_no_stretch_is_too_long(
    run: float, jack: dict[str, str], inputs: tuple[str, ...]
) -> None:
    known = catalogue()
    answer = connect(panel(jack), inputs, length_m=run)
    analog = known.reaches[Signal.ANALOG_LINE].longest_m
    for path in filter(None, [answer.chosen, *answer.others]):
        items = [known.item(name) for name in path.items]
        assert sum(item.length_m for item in items) >= run - 0.005  # to the centimetre
        for item in items:
            if item.family.startswith("optical cable"):
                assert item.length_m <= known.reaches[Signal.OPTICAL].longest_m
        stretch = 0.0
        for item in items:
            stretch = 0.0 if item.powered else stretch + item.length_m
            assert stretch <= analog
