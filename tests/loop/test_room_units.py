"""What installers type for a length, and what is not one."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kb.base.errors import BadInput
from kb.base.validation import bounded
from kb.loop.units import has_unit, length, outline, room, show_length


@pytest.mark.parametrize(
    ("typed", "sides"),
    [
        ("5.2x4.1", (5.2, 4.1)),
        ("5.2 m x 4.1 m", (5.2, 4.1)),
        ("5,2 × 4,1", (5.2, 4.1)),
        ("520x410 cm", (5.2, 4.1)),
        ("17x13 ft", (17 * 0.3048, 13 * 0.3048)),
        ("17ftx13ft 6in", (17 * 0.3048, 13.5 * 0.3048)),
        ("17'6\" x 13'", (17.5 * 0.3048, 13 * 0.3048)),
        ("17 x 13ft 6in", (17 * 0.3048, 13.5 * 0.3048)),
        ("5 by 4", (5.0, 4.0)),
    ],
)
def test_a_room_may_be_typed_in_metres_or_in_feet_and_inches(typed, sides):
    assert room(typed) == pytest.approx(sides, rel=1e-12)


@pytest.mark.parametrize(
    "typed",
    [
        "", " ", "0", "-2", "nan", "inf", "1e3", "5 yards", "five", "5 m 2 cm 1", "17ft 6in 2in", "6in 17ft",
        "1/0 in", "1,200 m", "101", "0.1", "5.2.1", "9" * 60, "5;2", "١m", "m", "'", "5\x1b[31m",
    ],
)  # fmt: skip
def test_what_is_no_length_of_a_room_is_refused_by_name(typed):
    with pytest.raises(BadInput) as refused:
        length(typed, "--length")
    assert "--length" in str(refused.value)
    assert "expected" in str(refused.value)
    assert "\x1b" not in str(refused.value)


@pytest.mark.parametrize("typed", ["5.2", "5x", "x4", "5x4x3", "5x-4", "0x4", "5x0", "5 x4 x", "x" * 500])
def test_what_is_no_room_is_refused(typed):
    with pytest.raises(BadInput, match="room"):
        room(typed, "--room")


def test_a_wire_under_the_floor_has_a_height_below_zero():
    assert length("-30 cm", low=-5, high=10) == pytest.approx(-0.3)
    assert length("−1 ft", low=-5, high=10) == pytest.approx(-0.3048)


def test_corners_may_be_typed_in_either_family():
    assert outline("0,0 5,0 5,3 0,3") == ((0, 0), (5, 0), (5, 3), (0, 3))
    assert outline("0,0; 16' 5\",0; 16ft 5in,3m")[1] == pytest.approx((16 * 0.3048 + 5 * 0.0254, 0))


@pytest.mark.parametrize("typed", ["", "0,0 5,0", "0,0 5,0 5", "0,0 5,0 5,3,1", "a,b c,d e,f", "0,0 " * 65])
def test_what_are_no_corners_is_refused(typed):
    with pytest.raises(BadInput, match="polygon"):
        outline(typed, "--polygon")


def test_a_length_is_shown_in_both_families():
    assert show_length(5.334) == "5.33 m (17 ft 6 in)"
    assert show_length(0.3048) == "0.30 m (1 ft 0 in)"
    assert show_length(-0.3) == "-0.30 m (-12 in)" or show_length(-0.3) == "-0.30 m (-1 ft 0 in)"


@given(st.floats(0.3, 99.9))
def test_what_is_shown_reads_back_within_its_rounding(metres):
    metric, imperial = show_length(metres).rstrip(")").split(" (")
    assert length(metric) == pytest.approx(metres, abs=0.0051)
    assert length(imperial, low=0.2, high=101) == pytest.approx(metres, abs=0.0128)


@given(st.text(max_size=60))
def test_whatever_is_typed_gives_a_bounded_length_or_a_clear_refusal(typed):
    try:
        metres = length(typed)
    except BadInput:
        return
    assert 0.3 <= metres <= 100


@pytest.mark.parametrize("value", [True, None, "5", [], float("nan"), float("inf"), 10**400, -1])
def test_only_a_finite_number_in_range_passes(value):
    with pytest.raises(BadInput):
        bounded(value, "feed", low=0, high=100)


@pytest.mark.parametrize(
    ("typed", "feet"),
    [("17x13", (17, 13)), ("17ftx13", (17, 13)), ("17x13'", (17, 13)), ("17' 6\"x13", (17.5, 13))],
)
def test_one_unit_does_for_both_sides_and_bare_numbers_may_be_feet(typed, feet):
    assert room(typed, feet=True) == pytest.approx([0.3048 * side for side in feet])


def test_inches_and_metres_are_what_they_are_where_feet_are_usual():
    assert length("6 in", low=0, feet=True) == pytest.approx(0.1524)
    assert length("5.2 m", feet=True) == 5.2
    assert length("17' 6", feet=True) == pytest.approx(5.334)
    with pytest.raises(BadInput, match=r"1 ft 0 in \(0.30 m\) to 328 ft \(100 m\)"):
        length("400", feet=True)


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ("17x13", False),
        ("17 by 13", False),
        ("17x13 ft", True),
        ("5mx4", True),
        ("0,0 5,0 5,4", False),
        ("1' 2", True),
    ],
)
def test_it_is_seen_whether_a_unit_was_typed(typed, said):
    assert has_unit(typed) is said
