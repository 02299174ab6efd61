"""Panel and chain: the terminal and the picture tell the same, and nothing in them has an effect."""

from __future__ import annotations

import io
import xml.etree.ElementTree as ET
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kb.catalogue import item_name
from kb.domain.jack import Jack
from kb.domain.language import ENGLISH, language
from kb.domain.panel import Panel, PanelJack
from kb.domain.words import Direction, DriverInput, Form, Signal
from kb.path import chain
from kb.sheet.drawing import chain_picture, panel_picture, path_picture
from kb.sheet.layout import Link, LinkKind, chain_links, panel_rows, the_most_telling
from kb.sheet.page import render
from kb.sheet.svg import UNIT_MM, text_width, wrapped
from tests.sheet.contrast import COLOURS
from tests.sheet.sheets import HEADPHONE, HOSTILE, INPUTS, OPTICAL, sheet_of

SVG = "{http://www.w3.org/2000/svg}"


def read(picture: object) -> ET.Element:
    return ET.fromstring(str(picture))


def texts(picture: object) -> list[str]:
    return [one.text or "" for one in read(picture).iter(f"{SVG}text")]


def test_the_terminal_and_the_picture_show_the_same_jacks_in_the_same_order() -> None:
    from rich.console import Console

    from kb.cli.panel_view import panel_table

    panel = sheet_of(OPTICAL, *INPUTS).panel
    out = Console(file=io.StringIO(), width=100)
    out.print(panel_table(panel, ENGLISH, used=(0,)))
    assert isinstance(out.file, io.StringIO)
    said = out.file.getvalue()
    drawn = " ".join(texts(panel_picture("Norwell", panel_rows(panel, (0,)))))
    places = [said.index(one.jack.marking) for one in panel.jacks]
    assert places == sorted(places)
    assert "← this" in said
    assert "THIS ONE" in drawn
    assert [drawn.index(one.jack.marking) for one in panel.jacks] == sorted(
        drawn.index(one.jack.marking) for one in panel.jacks
    )


def test_the_chain_in_the_picture_is_the_chain_of_the_path() -> None:
    sheet = sheet_of(OPTICAL, *INPUTS)
    path = sheet.connection.chosen
    assert path is not None
    links = chain_links(path, sheet.panel)
    assert tuple(link.label for link in links) == chain(path, sheet.panel)
    drawn = " ".join(texts(chain_picture("Norwell", links))).replace("\N{NO-BREAK SPACE}", " ")
    for label in chain(path, sheet.panel):
        assert label in drawn


def test_only_the_used_jack_is_marked() -> None:
    panel = sheet_of(OPTICAL, HEADPHONE, *INPUTS).panel
    drawn = texts(panel_picture("Norwell", panel_rows(panel, (1,))))
    assert drawn.count("THIS ONE") == 1
    assert "THIS ONE" not in texts(panel_picture("Norwell", panel_rows(panel)))


def test_left_and_right_are_both_marked_and_told_as_the_terminal_tells_them() -> None:
    left = {"form": "rca-single", "marking": "AUDIO OUT L", "colour": "white"}
    sheet = sheet_of(*INPUTS, left, {**left, "marking": "AUDIO OUT R", "colour": "red"})
    path = sheet.connection.chosen
    assert path is not None
    assert path.jacks == (2, 3)
    assert [link.label for link in chain_links(path, sheet.panel)] == list(chain(path, sheet.panel))
    page = render(sheet)
    assert page.count("THIS ONE") == page.count("★</td>") == 2
    assert "at the single RCA jack marked AUDIO OUT L and the one marked AUDIO OUT R." in page


def test_a_picture_tells_who_cannot_see_it_which_jack_is_used() -> None:
    panel = sheet_of(OPTICAL, *INPUTS).panel
    picture = read(panel_picture("Norwell NV40-210", panel_rows(panel, (0,))))
    named = (picture.get("aria-labelledby") or "").split()
    told = {one.get("id"): one.text for one in picture if one.tag in (f"{SVG}title", f"{SVG}desc")}
    assert set(named) == set(told)
    assert "Used for the loop: jack 1, DIGITAL AUDIO OUT" in " ".join(str(text) for text in told.values())
    assert picture.get("role") == "img"


def test_a_direction_is_said_in_words_not_by_colour_alone() -> None:
    rows = panel_rows(sheet_of(OPTICAL, *INPUTS, {"form": "jack-3.5"}).panel)
    drawn = texts(panel_picture("Norwell", rows))
    assert [one for one in drawn if one[:1] in "▲▽?"] == ["▲ out", "▽ in", "▽ in", "? unclear"]


def test_every_form_has_a_sign_of_its_own() -> None:
    signs = set()
    for form in Form:
        panel = Panel((PanelJack(Jack(form, "X", Direction.OUTPUT, Signal.ANALOG_LINE)),))
        picture = read(panel_picture("x", panel_rows(panel)))
        signs.add(ET.tostring(list(picture.iter(f"{SVG}g"))[-1]))
    assert len(signs) == len(Form)


def test_pictures_use_no_colour_outside_the_palette() -> None:
    sheet = sheet_of(OPTICAL, HEADPHONE, *INPUTS)
    assert sheet.connection.chosen
    links = chain_links(sheet.connection.chosen, sheet.panel)
    picture = read(path_picture("x", panel_rows(sheet.panel, (0,)), links))
    used = {one.get(name) for one in picture.iter() for name in ("fill", "stroke")} - {None, "none"}
    assert used <= COLOURS


@pytest.mark.parametrize("hostile", HOSTILE)
def test_markup_in_a_marking_stays_text(hostile: str) -> None:
    panel = Panel((PanelJack(Jack(Form.TOSLINK, hostile, Direction.OUTPUT, Signal.OPTICAL)),))
    picture = read(panel_picture(hostile, panel_rows(panel, (0,))))
    kinds = {one.tag.removeprefix(SVG) for one in picture.iter()}
    assert kinds <= {"svg", "title", "desc", "g", "rect", "path", "circle", "text"}
    assert not [name for one in picture.iter() for name in one.attrib if name.startswith("on")]
    assert hostile in (picture.find(f"{SVG}desc").text or "")  # type: ignore[union-attr]


def test_sixty_four_jacks_are_drawn_and_on_the_client_s_page_the_most_telling() -> None:
    inputs = [PanelJack(Jack(Form.HDMI, f"HDMI {n}", Direction.INPUT)) for n in range(63)]
    output = PanelJack(Jack(Form.TOSLINK, "OPTICAL OUT", Direction.OUTPUT, Signal.OPTICAL))
    rows = panel_rows(Panel((*inputs, output)), (63,))
    assert sum(one.startswith(("▲", "▽")) for one in texts(panel_picture("x", rows))) == 64
    few = texts(panel_picture("x", rows, most=6))
    assert "and 58 more" in few
    assert "THIS ONE" in few


def test_an_empty_panel_says_so() -> None:
    assert "No jack is recorded yet." in texts(panel_picture("x", panel_rows(Panel())))


def test_without_a_path_the_picture_says_so() -> None:
    rows = panel_rows(sheet_of(*INPUTS).panel)
    assert "No path found" in texts(path_picture("x", rows, ()))


def test_a_chain_that_is_too_long_for_a_line_goes_on_in_the_next() -> None:
    din = {"form": "din-5", "marking": "TAPE", "outcome": "carried", "speakers": "stay-on"}
    sheet = sheet_of(din, inputs="mic")
    path = sheet.connection.chosen
    assert path is not None
    links = chain_links(path, sheet.panel)
    assert len(links) >= 5
    picture = chain_picture("x", links)
    for one in read(picture).iter(f"{SVG}g"):
        x, _ = (one.get("transform") or "")[10:].split(")")[0].split()
        assert 0 <= float(x) < picture.width


def test_a_word_too_wide_for_its_box_is_broken_after_a_hyphen() -> None:
    assert wrapped("speaker-to-line converter", 130, 17, 3) == ["speaker-to-", "line", "converter"]
    assert wrapped("W" * 9, 60, 17, 3)[0].startswith("WWW")


@given(st.text(max_size=80), st.floats(30, 300), st.integers(1, 4))
def test_a_wrapped_text_keeps_to_its_lines_and_width(text: str, width: float, lines: int) -> None:
    found = wrapped(text, width, 14, lines)
    assert len(found) <= lines
    assert all(text_width(line, 14) <= width for line in found if len(line) > 1)


@given(
    st.lists(
        st.builds(
            Jack,
            form=st.sampled_from(Form),
            marking=st.text(max_size=80),
            direction=st.sampled_from(Direction),
            signal=st.one_of(st.none(), st.sampled_from(Signal)),
        ),
        max_size=64,
    )
)
def test_any_panel_makes_a_picture_that_can_be_read(jacks: list[Jack]) -> None:
    rows = panel_rows(Panel(tuple(PanelJack(jack) for jack in jacks)), (), language("es"))
    picture = read(panel_picture("any", rows))
    assert picture.tag == f"{SVG}svg"
    assert len(the_most_telling(rows, 6)) == min(6, len(rows))


def test_a_picture_is_as_wide_as_the_text_of_the_page() -> None:
    picture: Any = panel_picture("x", panel_rows(Panel()))
    assert picture.width * UNIT_MM <= 210 - 2 * 13


def test_an_independent_renderer_draws_what_is_there() -> None:
    resvg = pytest.importorskip("resvg_py", reason="the SVG renderer is not installed")
    sheet = sheet_of(OPTICAL, *INPUTS)
    assert sheet.connection.chosen
    links = chain_links(sheet.connection.chosen, sheet.panel)
    picture = str(path_picture("Norwell", panel_rows(sheet.panel, (0,)), links))
    png = bytes(resvg.svg_to_bytes(svg_string=picture, dpi=96, width=720, background="#ffffff"))
    assert png.startswith(b"\x89PNG")
    assert len(png) > 5000


@pytest.mark.parametrize("lang", ["en", "es"])
@pytest.mark.parametrize("driver", list(DriverInput))
def test_which_input_and_how_long_a_cable_is_are_never_cut_off(lang: str, driver: DriverInput) -> None:
    """In the longest words there are: Spanish, with feet beside the metres."""
    said = language(lang, feet=True)
    cables = [
        item_name(name, said) for name in ("RCA pair to 3.5 mm cable 10 m", "coaxial digital cable 5 m")
    ]
    links = (
        Link(LinkKind.SOURCE, "DIGITAL AUDIO OUT", Form.TOSLINK),
        *(Link(LinkKind.CABLE, cable) for cable in cables),
        Link(LinkKind.DRIVER, said("path/part/driver", input=driver)),
    )
    drawn = "".join(chain_picture("Norwell NV40-210", links, said).root.itertext())
    assert "…" not in drawn
