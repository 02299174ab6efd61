"""The tag: small, bounded, and its code reads as what it says."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kb.base.errors import BadInput
from kb.domain.language import language
from kb.sheet.tag import HEIGHT_MM, MOST_BYTES, WIDTH_MM, Tag, make_tag, tag_page
from tests.sheet.sheets import HOSTILE, INPUTS, OPTICAL, sheet_of

DAY = date(2026, 11, 25)


def tag_of(*jacks: dict[str, Any], lang: str = "en", **changed: Any) -> Tag:
    sheet = sheet_of(*jacks, **changed)
    return make_tag(sheet.source, sheet.panel, sheet.connection.chosen, DAY, language(lang))


def decoded(tag: Tag) -> str:
    """What an independent decoder reads from the picture as an independent renderer draws it."""
    zxingcpp = pytest.importorskip("zxingcpp", reason="the independent QR decoder is not installed")
    resvg = pytest.importorskip("resvg_py", reason="the SVG renderer is not installed")
    pillow = pytest.importorskip("PIL.Image", reason="Pillow is not installed")
    import io

    # 300 dots per inch, as a label printer has
    width = round(WIDTH_MM / 25.4 * 300)
    png = resvg.svg_to_bytes(svg_string=str(tag.picture), dpi=96, width=width, background="#ffffff")
    found = zxingcpp.read_barcodes(pillow.open(io.BytesIO(bytes(png))).convert("L"))
    assert len(found) == 1
    return str(found[0].text)


def test_the_code_holds_set_jack_items_input_and_day_in_plain_text() -> None:
    tag = tag_of(OPTICAL, *INPUTS)
    assert tag.text.split("\n") == [
        "Norwell NV40-210",
        "DIGITAL AUDIO OUT (optical digital)",
        "optical cable 2 m",
        "DAC",
        "RCA pair to 3.5 mm cable 2 m",
        "driver, 3.5 mm line input",
        "PCM stereo",
        "2026-11-25",
    ]
    assert decoded(tag) == tag.text


def test_the_code_is_read_in_spanish_with_its_accents() -> None:
    tag = tag_of(OPTICAL, lang="es")
    assert "cable óptico" in tag.text
    assert decoded(tag) == tag.text


def test_nothing_private_is_on_a_tag() -> None:
    tag = tag_of(OPTICAL)
    for secret in ("Roswitha", "J-104", "pot", "Ardlow"):
        assert secret not in str(tag.picture)


def test_a_set_without_a_path_says_so() -> None:
    tag = tag_of({"form": "jack-3.5"}, inputs="optical")
    assert "no path" in tag.text
    assert decoded(tag) == tag.text


def test_the_tag_has_its_size_in_millimetres_and_squares_that_a_camera_can_tell_apart() -> None:
    tag = tag_of(OPTICAL, *INPUTS)
    assert f'width="{WIDTH_MM:g}mm" height="{HEIGHT_MM:g}mm"' in str(tag.picture)
    squares = 17 + 4 * tag.version + 8  # ISO/IEC 18004: 17 + 4v, and 4 of white at each side
    assert 26 / squares >= 0.4


@pytest.mark.parametrize("hostile", HOSTILE)
def test_markup_on_a_tag_stays_text(hostile: str) -> None:
    tag = tag_of(OPTICAL | {"marking": hostile[:60]}, source={"make": hostile[:60], "model": "X1"})
    page = tag_page(tag, sheet_of(OPTICAL, source={"make": hostile[:60], "model": "X1"}).source, language())
    assert "<script" not in page
    assert "<img" not in page
    assert "<foreignObject" not in page
    assert decoded(tag) == tag.text


@settings(max_examples=15)
@given(
    make=st.text(min_size=1, max_size=60).map(lambda made: "N" + "".join(c for c in made if c.isprintable())),
    mark=st.text(max_size=80).map(lambda mark: "".join(c for c in mark if c.isprintable()).strip()),
)
def test_a_tag_of_any_set_stays_within_its_bytes(make: str, mark: str) -> None:
    jack = OPTICAL | {"marking": mark}
    tag = tag_of(jack, source={"make": make.strip(), "model": "X1"})
    assert len(tag.text.encode()) <= MOST_BYTES
    assert tag.version <= 8


def test_very_long_names_are_shortened_line_by_line() -> None:
    tag = tag_of(OPTICAL | {"marking": "ÄÖÜ" * 26}, source={"make": "N" * 80, "model": "V" * 80})
    assert len(tag.text.encode()) <= MOST_BYTES
    assert tag.text.startswith("NNN")
    assert tag.text.endswith("2026-11-25")
    assert decoded(tag) == tag.text


def test_the_code_ends_with_the_page_of_the_set_if_the_book_is_served_under_a_name() -> None:
    sheet = sheet_of(OPTICAL, *INPUTS)
    plain = tag_of(OPTICAL, *INPUTS)
    tag = make_tag(
        sheet.source,
        sheet.panel,
        sheet.connection.chosen,
        DAY,
        language("en"),
        served="https://loops.example/",
    )
    lines = tag.text.split("\n")
    assert lines[0] == "Norwell NV40-210"
    assert lines[-2:] == ["2026-11-25", "https://loops.example/set?make=Norwell&model=NV40-210"]
    assert lines[:-1] == plain.text.split("\n")  # nothing is shortened for it
    assert tag.version == 10
    assert decoded(tag) == tag.text


def test_an_address_that_leaves_no_room_for_the_path_is_refused() -> None:
    sheet = sheet_of(OPTICAL)
    with pytest.raises(BadInput, match="at most 100 bytes"):
        make_tag(sheet.source, sheet.panel, None, DAY, served="https://" + "x" * 90 + ".example/")
