"""Check what is drawn on a field map, number by number, on paper that only notes what it is given."""

from __future__ import annotations

import math
from collections import defaultdict
from dataclasses import replace
from typing import Any

import pytest

from kb.domain.language import ENGLISH
from kb.loop import field_picture as picture
from kb.loop import plan as planning
from kb.loop.field import BestOffset, listening_plane
from kb.loop.geometry import Loop, Spot
from kb.loop.plan import Answer, Ask, Compared, plan
from kb.loop.spill import Spill
from kb.loop.standard import Use
from kb.loop.wire_layouts import Layout, laid


class Paper:
    """Stands for the axes and the figure of a picture: it notes what is called with what."""

    def __init__(self) -> None:
        self.calls: dict[str, list[tuple[tuple[Any, ...], dict[str, Any]]]] = defaultdict(list)

    def __getattr__(self, name: str) -> Any:
        def noted(*given: Any, **named: Any) -> Paper:
            self.calls[name].append((given, named))
            return self

        return noted


@pytest.fixture(autouse=True)
def coarse(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(picture, "_FINENESS", 30)
    monkeypatch.setattr(
        planning, "listening_plane", lambda *given, **named: listening_plane(*given, **named, most=25)
    )
    monkeypatch.setattr(planning, "best_offset", lambda loop, margin: BestOffset(0.9, 2.0))


def answer_for(wide: float = 6.0, deep: float = 4.0, **more: Any) -> Answer:
    """The answer for a room that lies from 2,-3 on."""
    spots = [(2.0, -3.0), (2.0 + wide, -3.0), (2.0 + wide, -3.0 + deep), (2.0, -3.0 + deep)]
    return plan(Ask(**{"room": Loop.polygon(spots), "height": 1.5, **more}))


def field(x: float, y: float, z: float) -> float:
    """The vertical field of the loop of 6 x 4 m from 2,-3 for 1 A, from its four corners (textbook)."""
    total = 0.0
    for u in (x - 2, 8 - x):
        for v in (y + 3, 1 - y):
            r = math.sqrt(u * u + v * v + z * z)
            total += u * v / r * (1 / (u * u + z * z) + 1 / (v * v + z * z))
    return total / (4 * math.pi)


@pytest.mark.parametrize("unit", [1.0, 0.3048])
def test_the_map_shows_the_level_that_a_meter_reads_at_each_spot(unit: float) -> None:
    answer, paper = answer_for(metal_db=3.0), Paper()
    picture._field(answer, 0, paper, paper, unit)  # type: ignore[arg-type]
    [((xs, ys, levels), shaded)] = paper.calls["contourf"]
    [((_, _, again), lines)] = paper.calls["contour"]
    # half a metre of floor outside the wire on each side, 7 x 5 m
    assert [xs[0] * unit, xs[-1] * unit, ys[0] * unit, ys[-1] * unit] == pytest.approx([1.5, 8.5, -3.5, 1.5])
    assert (len(xs), len(ys)) == (30, round(30 * 5 / 7))
    assert [len(levels), len(levels[0])] == [len(ys), len(xs)]
    assert again is levels
    amperes = answer.shown_a * 10 ** (-3 / 20)
    for row, column in ((0, 0), (3, 25), (11, 7), (20, 29)):
        level = 20 * math.log10(abs(field(xs[column] * unit, ys[row] * unit, 1.5)) * amperes / 0.4)
        assert levels[row][column] == pytest.approx(max(-60, level), abs=1e-6)
    assert xs[1] - xs[0] == pytest.approx(xs[-1] - xs[-2])
    # a band ends a hair beyond the tolerance, so that the spots set to it lie within
    assert shaded["levels"] == pytest.approx([-60, -12, -9, -6, -3.05, -1, 1, 3.05, 6, 9, 90])
    assert lines["levels"] == pytest.approx((-3.05, 3.05))
    assert len(shaded["colors"]) == len(shaded["levels"]) - 1
    [((ticks,), named)] = paper.calls["set_ticks"]
    assert ticks == pytest.approx([-12, -9, -6, -3.05, -1, 1, 3.05, 6, 9])
    assert paper.calls["set_label"] == [(("dB re 400 mA/m",), {})]
    assert named["labels"] == ["-12", "-9", "-6", "-3", "-1", "+1", "+3", "+6", "+9"]
    [((on,), said)] = paper.calls["clabel"]
    assert on is paper
    assert [said["fmt"](level) for level in (-3.05, 3.05)] == ["-3 dB", "+3 dB"]


def test_a_small_volume_has_its_lines_at_six_decibels() -> None:
    answer = answer_for(0.4, 0.4, margin=0.1, height=0.5, use=Use.CHAIR)
    paper = Paper()
    picture._field(answer, 0, paper, paper, 1.0)  # type: ignore[arg-type]
    assert paper.calls["contour"][0][1]["levels"] == pytest.approx((-6.05, 6.05))
    assert paper.calls["contourf"][0][1]["levels"][3:8] == pytest.approx([-6.05, -3, -1, 1, 3])


def test_a_long_room_is_computed_at_fewer_spots_across() -> None:
    for (wide, deep), size in (
        ((9, 5), (30, 20)),
        ((5, 9), (20, 30)),
        ((3, 20), (20, 30)),
        ((4, 4), (30, 30)),
    ):
        answer, paper = answer_for(wide, deep), Paper()
        picture._field(answer, 0, paper, paper, 1.0)  # type: ignore[arg-type]
        xs, ys, _ = paper.calls["contourf"][0][0]
        # the floor with its border is 10 x 6 m: 30 by 18, but 20 at least
        assert (len(xs), len(ys)) == size


def test_each_height_has_its_own_map() -> None:
    answer = answer_for(height=None, listen=(1.2, 1.7))
    middle = []
    for plane in (0, 1):
        paper = Paper()
        picture._field(answer, plane, paper, paper, 1.0)  # type: ignore[arg-type]
        levels = paper.calls["contourf"][0][0][2]
        middle.append(levels[len(levels) // 2][15])
        x, y = (paper.calls["contourf"][0][0][n] for n in (0, 1))
        at = field(x[15], y[len(levels) // 2], (1.2, 1.7)[plane]) * answer.shown_a
        assert middle[-1] == pytest.approx(20 * math.log10(at / 0.4), abs=1e-6)


def test_the_picture_has_the_shape_of_its_floor_and_fits_a_page() -> None:
    # the floor with its border: 5 x 5, 13 x 5, 5 x 13, 5 x 7 m
    for (wide, deep), height in (
        ((4, 4), 7.0),
        ((12, 4), 5.4 * 5 / 13 + 1.6),
        ((4, 12), 9.0),
        ((24, 4), 3.4),
    ):
        assert picture._inches(answer_for(wide, deep)) == pytest.approx((7.2, height))


def spilt(reach: float) -> Spill:
    return Spill(-32.0, reach, (), ())


def test_the_map_reaches_as_far_as_the_spill_or_three_times_the_room() -> None:
    answer = answer_for()
    assert picture._border(answer) == 0.5
    for reach, border in ((0.1, 0.5), (5.0, 5.5), (30.0, 12.0)):
        assert picture._border(replace(answer, spill=spilt(reach))) == pytest.approx(border)
    front = answer_for(0.5, 0.4, height=None, use=Use.COUNTER)
    assert picture._border(front) == picture._border(replace(front, spill=spilt(9.0))) == 1.0


def test_the_line_of_the_spill_is_drawn_where_the_field_is_left_for_good() -> None:
    answer, paper = replace(answer_for(), spill=spilt(3.0)), Paper()
    picture._field(answer, 0, paper, paper, 0.3048)  # type: ignore[arg-type]
    (_, (given, named)) = paper.calls["contour"]
    xs, ys, outer = given
    assert named["levels"] == (-32.0,)
    levels = paper.calls["contourf"][0][0][2]
    kept = 0
    for y, line, shown in zip(ys, outer, levels, strict=True):
        for x, level, same in zip(xs, line, shown, strict=True):
            # nothing nearer to the wire than half of the reach
            if answer.loop.clearance((x * 0.3048, y * 0.3048)) > 1.5:
                kept += 1
                assert level == same
            else:
                assert math.isnan(level)
    assert 0 < kept < len(xs) * len(ys)


def drawn(answer: Answer, unit: float = 1.0) -> dict[str, list[Spot]]:
    """The lines over the field by their names, corner after corner in metres; what has no name counts on."""
    paper = Paper()
    picture._room(answer, paper, unit, ENGLISH)  # type: ignore[arg-type]
    found: dict[str, list[Spot]] = {}
    for (xs, ys), named in paper.calls["plot"]:
        name = named["label"] if named["label"] != "_" else f"_{len(found)}"
        found[name] = [(round(x * unit, 6), round(y * unit, 6)) for x, y in zip(xs, ys, strict=True)]
    return found


@pytest.mark.parametrize("unit", [1.0, 0.3048])
def test_wire_area_and_point_are_drawn_where_they_are(unit: float) -> None:
    wire = [(2, -3), (8, -3), (8, 1), (2, 1), (2, -3)]
    assert drawn(answer_for(margin=0.5), unit) == {
        "wire": wire,
        "listening area": [(2.5, -2.5), (7.5, -2.5), (7.5, 0.5), (2.5, 0.5), (2.5, -2.5)],
        "commissioning point": [(5, -1)],
    }
    assert list(drawn(answer_for(margin=0.0), unit)) == ["wire", "commissioning point"]
    front = answer_for(0.5, 0.4, height=None, use=Use.COUNTER)
    [_, points] = drawn(front, unit).values()
    assert points == [(round(x, 6), round(y, 6)) for x, y in front.planes[0].spots]


def test_a_layout_is_drawn_loop_by_loop_and_its_second_group_apart() -> None:
    answer = answer_for(margin=1.0)
    room = answer.loop
    for kind, loops in ((Layout.EIGHT, 2), (Layout.QUADRATURE, 5)):
        layout = laid(kind, room, ear=1.5, margin=1.5, current_a=3.0)
        compared = Compared(layout, spilt(2.0), (), None)
        shown = replace(answer, ask=replace(answer.ask, layout=kind), layouts=(compared,))
        lines = drawn(shown)
        named = [name for name in lines if not name.startswith("_")]
        assert len(named) == len(layout.groups) + 1
        assert (named[0], named[-1]) == ("wire", "listening area")
        assert len(lines) >= loops + 1
        assert "commissioning point" not in lines, "it is set at no one spot"
        assert lines["wire"] == [(2, -3), (5, -3), (5, 1), (2, 1), (2, -3)]
        paper = Paper()
        picture._field(shown, 0, paper, paper, 1.0)  # type: ignore[arg-type]
        xs, ys, levels = paper.calls["contourf"][0][0]
        own = layout.field((xs[4], ys[3], 1.5)) * 3.0 / 0.4
        assert levels[3][4] == pytest.approx(20 * math.log10(own), abs=1e-6)
        picture._words(shown, 0, paper, feet=False, language=ENGLISH)  # type: ignore[arg-type]
        [((title,), _)] = paper.calls["set_title"]
        assert "3.00 A" in title
        assert str(kind.label) in title


def title(answer: Answer, plane: int = 0, *, feet: bool = False) -> tuple[str, str]:
    paper = Paper()
    picture._words(answer, plane, paper, feet=feet, language=ENGLISH)  # type: ignore[arg-type]
    assert paper.calls["set_xlabel"] == paper.calls["set_ylabel"]
    return paper.calls["set_title"][0][0][0], paper.calls["set_xlabel"][0][0][0]


def test_the_title_says_from_where_the_height_counts_and_for_which_current_the_map_is() -> None:
    answer = answer_for(turns=2)
    said, unit = title(answer)
    assert unit == "m"
    assert "1.50 m" in said
    assert f"{answer.shown_a:.2f} A" in said
    assert "2 turns of AWG 18" in said
    assert "metal" not in said
    assert "metal" in title(answer_for(metal_db=3.0))[0]
    assert title(answer, feet=True)[1] == "ft"
    assert "4 ft 11 in" in title(answer, feet=True)[0]
    floor = answer_for(height=None, wire_height=-0.5, listen=(1.2, 1.7))
    assert "1.20 m" in title(floor)[0]
    assert "1.70 m" in title(floor, 1)[0]
    from_loop = answer_for(height=1.2)
    assert title(floor)[0].split("1.20 m")[1] != title(from_loop)[0].split("1.20 m")[1]
