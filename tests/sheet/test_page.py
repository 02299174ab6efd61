"""The sheet: whole, private where it must be, without effect of what people typed, readable by all."""

from __future__ import annotations

import re
from html.parser import HTMLParser
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from jinja2 import UndefinedError

from kb.domain.language import language
from kb.loop.readings_file import readings_from
from kb.loop.verdict import judge
from kb.sheet import file_page as forfile
from kb.sheet import palette
from kb.sheet.loop_input import loop_data_from
from kb.sheet.page import templates
from kb.sheet.paper import Paper
from tests.sheet.contrast import COLOURS, PAIRS, contrast
from tests.sheet.sheets import HEADPHONE, HOSTILE, INPUTS, OPTICAL, page_of, sheet_of

VOID = {"meta", "br", "link", "img", "hr", "input"}


class Seen(HTMLParser):
    """Tags with their attributes, and the text outside style."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.text = ""
        self._open: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag not in VOID:
            self._open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self._open.pop() == tag, f"</{tag}> closes what it did not open"

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        if "style" not in self._open:
            self.text += data

    def count(self, tag: str) -> int:
        return sum(name == tag for name, _ in self.tags)


def seen(page: str) -> Seen:
    parser = Seen()
    parser.feed(page)
    parser.close()
    assert not parser._open
    return parser


def parts(page: str) -> tuple[str, str]:
    """The client's page and the page for the file."""
    client, _, file = page.partition('<article class="file')
    return client, file


READINGS = {
    "date": "2026-03-04",
    "place": "Mrs Ardlow's kitchen",
    "positions": [{"name": "sofa", "field_ma_per_m": 380}, {"name": "table", "field_ma_per_m": 120}],
    "response": {"at": "sofa", "db_100_hz": -1.0, "db_1000_hz": 0.0, "db_5000_hz": -2.0},
    "noise": {"driver_off_dba": -52, "driver_on_dba": -45},
    "user": {"satisfied": True, "words": "clearer than my doctor"},
}


def loop_json(side_m: float = 5, height: float = 1.2, **changed: Any) -> dict[str, Any]:
    """What the loop's own calculator prints for a room of 5 by 4 m."""
    from kb.loop.document import as_json
    from kb.loop.geometry import Loop
    from kb.loop.plan import Ask, plan
    from kb.loop.wire import wire_from

    answer = plan(Ask(room=Loop.rectangle(side_m, 4), height=height, wire=wire_from("awg18")))
    return {**as_json(answer), **changed}


# -- what is on it -----------------------------------------------------------------------------------


def test_the_page_needs_nothing_from_outside_and_runs_no_script() -> None:
    page = page_of(OPTICAL, *INPUTS, readings=judge(readings_from(READINGS)))
    tags = seen(page)
    assert tags.count("script") == tags.count("link") == tags.count("img") == tags.count("iframe") == 0
    assert "@import" not in page
    urls = set(re.findall(r"[a-z]+://[^\"'< )]+", page))
    assert urls <= {"http://www.w3.org/2000/svg"}
    assert set(re.findall(r"url\(([^)]*)\)", page)) <= {"#map-weak", "#map-strong"}
    policy = next(a["content"] for t, a in tags.tags if t == "meta" and "http-equiv" in a)
    assert policy == "default-src 'none'; style-src 'unsafe-inline'"


def test_the_client_s_page_holds_connection_menu_item_first_aid_and_two_drawings() -> None:
    client, _ = parts(page_of(OPTICAL, *INPUTS))
    said = seen(client + "</main></body></html>").text
    for wanted in (
        "DIGITAL AUDIO OUT",
        "Digital sound format: PCM stereo",
        "If the loop is silent, try this first",
        "Never open the television",
        "THIS ONE",
    ):
        assert wanted in said
    assert client.count("<svg") == 2


def test_the_page_for_the_file_holds_findings_path_and_standing_cautions() -> None:
    said = seen(page_of(OPTICAL, *INPUTS)).text
    for wanted in (
        "carried sound 1×",
        "Every usable output is digital",
        "Local code and licensed practice come first.",
        "licensed electrician",
        "Two outputs tied together",
        "4 March 2026: tested",
    ):
        assert wanted in said


def test_readings_say_the_verdict_and_what_is_out_in_words() -> None:
    said = seen(page_of(OPTICAL, readings=judge(readings_from(READINGS)))).text
    assert "Falls short of IEC 60118-4" in said
    assert "OUT" in said
    assert "-10.5 dB" in said  # 20 lg(120/400)
    assert "At home the user has the last word: satisfied." in said


def test_a_position_out_of_limits_is_never_among_those_left_out() -> None:
    many = [{"name": f"seat {n}", "field_ma_per_m": 400} for n in range(20)]
    many.append({"name": "the far corner", "field_ma_per_m": 100})
    said = seen(page_of(OPTICAL, readings=judge(readings_from(READINGS | {"positions": many})))).text
    assert "field at the far corner" in said
    # 16 places, and the responses that were not measured, but for five of them
    assert "36 more checks, none out of limits" in said


def test_the_loop_s_numbers_and_map_are_there_with_their_cautions() -> None:
    data = loop_data_from(loop_json())
    page = page_of(OPTICAL, loop=data)
    said = seen(page).text
    # the calculator's own worked example: 2.74 A for 5 x 4 m at 1.2 m
    assert "2.74 A r.m.s." in said
    assert "Keep loop wire apart from mains wiring" in said
    assert "plenum-listed" in said
    assert page.count("<svg") == 3
    assert "Field of the hearing loop" in said


@pytest.mark.parametrize(
    ("changed", "verdict"),
    [
        ({}, "not judged: no driver was named"),
        ({"driver": {"name": "bench driver"}}, "fits"),
        ({"fits": False}, "does not fit"),
    ],
)
def test_a_loop_without_a_driver_is_not_said_to_fit(changed: dict[str, Any], verdict: str) -> None:
    page = page_of(OPTICAL, loop=loop_data_from(loop_json(**changed)))
    assert f"Verdict{verdict}\n" in seen(page).text


def test_the_map_s_number_at_the_centre_is_the_level_of_the_loop_room() -> None:
    from kb.loop.field import level_db, vertical_h
    from kb.sheet.fieldmap import _NUMBERS, field_picture

    data = loop_data_from(loop_json())
    drawn = re.findall(r">([+-]?\d+)</text>", str(field_picture(data)))
    x = 5 * (_NUMBERS // 2 + 0.5) / _NUMBERS
    level = level_db(vertical_h(data.loop, (x, 2.5, 1.2)) * data.drawn.current_a)
    assert f"{round(level):+d}".replace("+0", "0") in drawn
    assert len(drawn) == 20


def test_a_map_is_drawn_though_one_of_its_spots_lies_on_the_wire() -> None:
    """Seven metres and the border make cells of 20 cm, of which one is centred on the wire."""
    page = page_of(OPTICAL, loop=loop_data_from(loop_json(side_m=7, height=0)))
    assert page.count("<svg") == 3


def test_a_map_of_a_small_volume_counts_with_its_own_tolerance() -> None:
    from kb.sheet.fieldmap import field_picture

    field = loop_json()["field"] | {"tolerance_db": 6}
    room, small = (loop_data_from(loop_json(**more)) for more in ({}, {"field": field}))
    assert "within ±3 dB" in page_of(OPTICAL, loop=room)
    assert "within ±6 dB" in page_of(OPTICAL, loop=small)
    room_marked, small_marked = (
        sum(float(width) for width in re.findall(r'width="([\d.]+)"[^>]*url\(#', str(field_picture(data))))
        for data in (room, small)
    )
    assert 0 < small_marked < room_marked


def test_a_map_is_left_out_where_the_file_does_not_tell_the_height() -> None:
    field = loop_json()["field"] | {"offset_m": None}
    page = page_of(OPTICAL, loop=loop_data_from(loop_json(field=field)))
    assert page.count("<svg") == 2


def test_letter_paper_tells_feet_and_inches_and_a4_metres() -> None:
    letter = page_of(OPTICAL, paper=Paper.LETTER, loop=loop_data_from(loop_json()))
    assert "size: 8.5in 11in" in letter
    assert "16 ft 5 in × 13 ft 1 in" in seen(letter).text  # 5 m and 4 m by 0.0254 m an inch
    assert "November 25, 2026" in letter
    metric = page_of(OPTICAL, loop=loop_data_from(loop_json()))
    assert "size: 210mm 297mm" in metric
    assert "5 m × 4 m" in seen(metric).text
    assert " ft " not in seen(metric).text


def test_an_empty_panel_and_a_missing_path_make_a_page_too() -> None:
    said = seen(page_of(inputs="optical")).text
    assert "No jack is recorded yet." in said
    assert "No way has been found yet" in said
    assert "No path found" in said


def test_a_long_list_is_counted_not_spilled() -> None:
    jacks = [{"form": "toslink", "marking": f"OPTICAL OUT {n}", "outcome": "silent"} for n in range(62)]
    sheet = sheet_of(OPTICAL, *jacks)
    lines, more = forfile.jack_lines(sheet.panel, (0,), language())
    assert len(lines) == forfile.MOST_JACKS
    assert lines[0].used
    assert more.startswith("53 more (out 53): ")


# -- private -------------------------------------------------------------------------------------------

SECRETS = ("Roswitha T", "J-104", "third pot", "Ardlow", "clearer than my doctor")


def test_nothing_private_is_printed_unless_asked() -> None:
    page = page_of(OPTICAL, *INPUTS, readings=judge(readings_from(READINGS)))
    assert [secret for secret in SECRETS if secret in page] == []


def test_private_notes_come_onto_the_page_for_the_file_alone() -> None:
    client, file = parts(page_of(OPTICAL, *INPUTS, readings=judge(readings_from(READINGS)), private=True))
    assert [secret for secret in SECRETS if secret in client] == []
    assert [secret for secret in SECRETS if secret not in file.replace("&#39;", "'")] == []


# -- what people typed -----------------------------------------------------------------------------------


@pytest.mark.parametrize("hostile", HOSTILE)
def test_what_people_typed_stays_text(hostile: str) -> None:
    source = {"make": hostile[:60], "model": "X1" + hostile[:60]}
    jack = OPTICAL | {"marking": hostile[:60], "setting": hostile, "note": hostile}
    plain = seen(page_of(OPTICAL, *INPUTS, private=True))
    page = page_of(
        jack, *INPUTS, source=source, note=hostile, job=hostile[:60], contact=hostile, private=True
    )
    tags = seen(page)
    same = {tag for tag, _ in plain.tags}
    assert {tag for tag, _ in tags.tags} <= same
    assert not [name for _, attrs in tags.tags for name in attrs if name.startswith("on")]
    assert hostile in tags.text
    assert "49" not in re.findall(r"\d+", tags.text) or "7 * 7" in tags.text


def test_control_characters_are_shown_as_signs() -> None:
    page = page_of(OPTICAL, contact="ring\x1b[31m\x07\u202ethis")
    assert not [c for c in page if ord(c) < 32 and c != "\n"]
    assert "\u202e" not in page
    assert "ring␛[31m␇" in page


def test_a_readings_file_cannot_put_markup_into_the_sheet() -> None:
    positions = [{"name": HOSTILE[0], "field_ma_per_m": 380}]
    page = page_of(OPTICAL, readings=judge(readings_from(READINGS | {"positions": positions})))
    assert "<script" not in page
    assert HOSTILE[0] in seen(page).text


def test_a_loop_file_gives_numbers_and_known_codes_only() -> None:
    cautions = [{"code": "silica", "text": HOSTILE[0]}, {"code": HOSTILE[1]}, {"code": 7}]
    page = page_of(OPTICAL, loop=loop_data_from(loop_json(cautions=cautions, wire=HOSTILE[0])))
    tags = seen(page)
    assert tags.count("script") == 0
    assert "silica dust" in tags.text
    assert tags.text.count("alert(1)") == 1  # the name of the wire, as text


def test_a_name_that_a_template_does_not_know_is_an_error() -> None:
    with pytest.raises(UndefinedError):
        templates().from_string("{{ missing }}").render()
    assert templates().from_string("{{ x }}").render(x="<b>") == "&lt;b&gt;"


# -- for all eyes and ears --------------------------------------------------------------------------------


@pytest.mark.parametrize(("front", "back", "least"), PAIRS)
def test_every_pair_of_colours_keeps_its_contrast(front: str, back: str, least: float) -> None:
    """WCAG 2.2, SC 1.4.3, 1.4.6 and 1.4.11, computed by the published formula."""
    assert contrast(front, back) >= least


@pytest.mark.parametrize(
    ("front", "back", "ratio"),
    [
        ("#000000", "#ffffff", 21.0),  # by definition: (1 + 0.05) / (0 + 0.05)
        (
            "#767676",
            "#ffffff",
            4.54,
        ),  # the lightest grey that passes on white, W3C technique G18 (from memory)
        ("#ff0000", "#ffffff", 4.0),  # (1.05) / (0.2126 + 0.05), coefficient of red in the definition
        ("#00ff00", "#000000", 15.30),  # (0.7152 + 0.05) / 0.05
    ],
)
def test_the_formula_of_contrast_is_that_of_the_standard(front: str, back: str, ratio: float) -> None:
    assert contrast(front, back) == pytest.approx(ratio, abs=0.005)
    assert contrast(front, back) == contrast(back, front)


def test_the_page_uses_no_colour_outside_the_palette() -> None:
    page = page_of(OPTICAL, HEADPHONE, *INPUTS, loop=loop_data_from(loop_json()))
    assert {colour.lower() for colour in re.findall(r"#[0-9a-fA-F]{6}\b", page)} <= COLOURS
    assert not re.findall(r"(?:rgb|hsl)a?\(", page)
    styled = re.search(r"<style>(.*?)</style>", page, re.DOTALL)
    assert styled
    declared = re.findall(r"(?<![-\w])color: ([^;}]+)", styled[1])
    assert set(declared) <= {palette.INK, palette.MARK, palette.QUIET}


def test_the_client_s_text_is_large() -> None:
    """Large print begins at 14 points (common practice of clear print; 18 px or 14 pt bold in WCAG)."""
    css = re.search(r"\.client \{ font-size: ([\d.]+)pt", page_of(OPTICAL))
    assert css
    assert float(css[1]) >= 14


@pytest.mark.parametrize("lang", ["en", "es"])
def test_the_page_can_be_walked_by_headings_and_landmarks(lang: str) -> None:
    tags = seen(page_of(OPTICAL, *INPUTS, lang=lang))
    assert next(a for t, a in tags.tags if t == "html")["lang"] == lang
    assert tags.count("main") == tags.count("h1") == 1
    assert tags.count("article") == 2
    levels = [int(tag[1]) for tag, _ in tags.tags if re.fullmatch(r"h\d", tag)]
    assert levels[0] == 1
    assert all(after - before <= 1 for before, after in pairwise(levels))


def test_every_picture_has_a_title_and_a_description() -> None:
    tags = seen(page_of(OPTICAL, *INPUTS, loop=loop_data_from(loop_json())))
    ids = [a["id"] for _, a in tags.tags if "id" in a]
    assert len(ids) == len(set(ids))
    pictures = 0
    for tag, attrs in tags.tags:
        if tag == "svg":
            assert attrs["role"] == "img"
            assert set(str(attrs["aria-labelledby"]).split()) <= set(ids)
            pictures += 1
        if "aria-labelledby" in attrs:
            assert set(str(attrs["aria-labelledby"]).split()) <= set(ids)
    assert pictures == 3  # the panel, the way of the sound, the field


def test_tables_say_which_cells_are_heads() -> None:
    tags = seen(page_of(OPTICAL, *INPUTS, readings=judge(readings_from(READINGS))))
    assert all("scope" in attrs for tag, attrs in tags.tags if tag == "th")


def test_the_templates_lie_in_the_package() -> None:
    names = templates().list_templates()
    assert set(names) == {"day.html", "document.html", "sheet.html", "sheet.css", "tag.html"}
    assert all((Path(forfile.__file__).parent / "templates" / name).is_file() for name in names)
