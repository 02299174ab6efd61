"""Pictures of the field: on paper and in the terminal."""

from __future__ import annotations

import sys
import xml.etree.ElementTree as ElementTree

import pytest

from kb.base.errors import BadInput
from kb.domain.language import language
from kb.loop.field_picture import draw
from kb.loop.geometry import Loop
from kb.loop.plan import Ask, plan
from kb.loop.text_map import field_sketch, legend
from kb.loop.wire import awg

ROOM = Loop.rectangle(5, 4)
L_ROOM = Loop.polygon([(0, 0), (5, 0), (5, 3), (3, 3), (3, 4), (0, 4)])


@pytest.fixture(autouse=True)
def coarse_pictures(monkeypatch):
    """Compute fewer points of each picture, for speed."""
    monkeypatch.setattr("kb.loop.field_picture._FINENESS", 40)


def test_the_terminal_plot_shows_the_wire_all_round_and_the_middle_as_right():
    lines = field_sketch(ROOM, 1.2, 2.74).splitlines()
    assert set(lines[0]) == set(lines[-2]) == {"#"}
    assert all(line.startswith("#") and line.endswith("#") for line in lines[:-1])
    middle = lines[len(lines) // 2]
    assert middle[len(middle) // 2] == "o"
    assert lines[-1] == legend()


def test_the_terminal_plot_is_the_same_seen_from_either_side():
    for line in field_sketch(ROOM, 1.2, 2.74).splitlines()[:-1]:
        assert line == line[::-1]


@pytest.mark.parametrize(("level", "sign"), [(-3.5, "<"), (-2.5, "-"), (0.0, "o"), (2.0, "+"), (3.5, ">")])
def test_each_sign_stands_for_its_band(level, sign):
    # 400 mA/m in the middle of 5 x 4 m, 1.2 m away, takes 2.7378 A (magpylib)
    lines = field_sketch(ROOM, 1.2, 2.7378 * 10 ** (level / 20), width=71).splitlines()[:-1]
    assert lines[len(lines) // 2][len(lines[0]) // 2] == sign


def test_more_current_turns_too_weak_into_too_strong():
    assert "<" in field_sketch(ROOM, 1.2, 1.0).rsplit("\n", 1)[0]
    assert ">" not in field_sketch(ROOM, 1.2, 1.0).rsplit("\n", 1)[0]
    assert ">" in field_sketch(ROOM, 1.2, 6.0).rsplit("\n", 1)[0]


def test_a_bent_room_is_empty_outside_its_wire():
    lines = field_sketch(L_ROOM, 1.2, 2.74).splitlines()
    assert len(lines[1]) < len(lines[-2])


@pytest.mark.parametrize("sides", [(5, 4), (20, 1), (1, 20), (0.5, 0.5), (100, 100)])
@pytest.mark.parametrize("width", [20, 72])
def test_the_terminal_plot_keeps_to_its_width_and_height(sides, width):
    lines = field_sketch(Loop.rectangle(*sides), 1.2, 3.0, width=width).splitlines()[:-1]
    assert max(map(len, lines)) <= width
    assert len(lines) <= 24


def test_the_legend_fits_80_columns():
    assert len(legend()) < 80


@pytest.mark.parametrize("room", [ROOM, L_ROOM], ids=["rectangle", "l-shape"])
def test_the_svg_has_the_wire_the_area_and_the_levels_and_is_the_same_each_time(room):
    pytest.importorskip("matplotlib")
    answer = plan(Ask(room=room, height=1.2, wire=awg(18)))
    drawn = draw(answer, "svg")
    words = "".join(ElementTree.fromstring(drawn).itertext())
    for word in ("wire", "listening area", "commissioning point", "dB re 400 mA/m", "AWG 18", "-3 dB"):
        assert word in words.replace("−", "-")
    if room is ROOM:
        assert draw(answer, "svg") == drawn


def test_the_picture_speaks_the_language_of_the_answer():
    pytest.importorskip("matplotlib")
    drawn = draw(plan(Ask(room=ROOM, height=1.2, wire=awg(18))), "svg", language=language("es"))
    words = "".join(ElementTree.fromstring(drawn).itertext())
    for word in (
        "Campo vertical a 1,20 m",
        "1 vuelta de AWG 18",
        "zona de escucha",
        "punto de ajuste",
    ):
        assert word in words


def test_the_png_is_a_picture_of_useful_size():
    pytest.importorskip("matplotlib")
    drawn = draw(plan(Ask(room=ROOM, height=1.2)), "png")
    assert drawn.startswith(b"\x89PNG\r\n\x1a\n")
    assert int.from_bytes(drawn[16:20]) >= 900


def test_without_the_plotting_library_the_answer_says_what_to_install(monkeypatch):
    for name in [name for name in sys.modules if name.split(".")[0] == "matplotlib"]:
        monkeypatch.delitem(sys.modules, name)
    monkeypatch.setitem(sys.modules, "matplotlib", None)
    with pytest.raises(BadInput, match=r"\[plot\]"):
        draw(plan(Ask(room=ROOM, height=1.2)), "png")


def test_the_calculator_needs_no_foreign_library():
    # run apart, since the tests around it have imported plenty
    import subprocess

    code = (
        "import sys; import kb.loop.plan, kb.loop.verdict, kb.loop.text_map, kb.loop.routes;"
        "import kb.loop.field_picture;"
        "foreign = {'numpy', 'matplotlib', 'rich', 'click', 'pint'};"
        "print(sorted({name.split('.')[0] for name in sys.modules} & foreign))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_the_map_in_the_terminal_is_explained_in_the_language_of_the_user():
    from kb.domain.language import language

    lines = field_sketch(ROOM, 1.2, 2.74, spill_db=-32, said=language("es")).splitlines()
    assert lines[-2].startswith("# cable  < bajo -3 dB")
    assert lines[-1] == ". fuera con -32 dB o más"
