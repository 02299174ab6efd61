"""The commands sheet and tag, and the pictures of show and path."""

from __future__ import annotations

import json
import xml.etree.ElementTree as ET
from pathlib import Path
from typing import Any

import pytest

from tests.cli.conftest import Run
from tests.sheet.sheets import INPUTS, OPTICAL, visit_of
from tests.sheet.test_page import READINGS, loop_json


@pytest.fixture
def book(jackfield: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A book with one set; commands run in an empty folder beside it."""
    visit = tmp_path / "visit.json"
    visit.write_text(json.dumps(visit_of(OPTICAL, *INPUTS)), encoding="utf-8")
    assert jackfield("record", "--file", visit).code == 0
    work = tmp_path / "work"
    work.mkdir()
    monkeypatch.chdir(work)
    monkeypatch.setenv("JACKFIELD_TODAY", "2026-11-25")
    return work


def written(folder: Path, name: str, data: dict[str, Any]) -> Path:
    path = folder / name
    path.write_text(json.dumps(data), encoding="utf-8")
    return path


def test_a_sheet_is_written_and_told(jackfield: Run, book: Path) -> None:
    done = jackfield("sheet", "Norwell", "nv40 210", "--out", "a.html")
    assert (done.code, done.out) == (0, "")
    assert "a.html written" in done.err
    assert "Your television and the hearing loop" in (book / "a.html").read_text(encoding="utf-8")
    assert [path.name for path in book.iterdir()] == ["a.html"]


def test_the_json_tells_what_was_written(jackfield: Run, book: Path) -> None:
    readings = written(book, "readings.json", READINGS)
    loop = written(book, "loop.json", loop_json())
    done = jackfield(
        "sheet", "Norwell", "NV40-210", "--readings", readings, "--loop", loop, "--json", "--lang", "es",
        "--paper", "letter",
    )  # fmt: skip
    told = done.json
    assert done.code == 0
    assert told["bytes"] == (book / "sheet.html").stat().st_size
    assert (told["file"], told["lang"], told["paper"], told["private"]) == (
        "sheet.html",
        "es",
        "letter",
        False,
    )
    assert told["best"]["needs_dac"] is True
    assert (told["readings"], told["loop_fits"]) == ("falls-short", True)


def test_a_sheet_goes_to_standard_output_on_request(jackfield: Run, book: Path) -> None:
    done = jackfield("sheet", "Norwell", "NV40-210", "--out", "-")
    assert done.out.startswith("<!DOCTYPE html>")
    assert done.out.rstrip().endswith("</html>")
    assert not list(book.iterdir())


def test_two_documents_on_standard_output_are_refused(jackfield: Run, book: Path) -> None:
    for command in ("sheet", "tag"):
        assert jackfield(command, "Norwell", "NV40-210", "--out", "-", "--json").code == 2
    for command in ("show", "path"):
        assert jackfield(command, "Norwell", "NV40-210", "--svg", "-", "--json").code == 2


def test_a_set_without_a_path_gives_a_sheet_and_a_true_no(jackfield: Run, book: Path) -> None:
    visit = written(book, "v.json", visit_of({"form": "jack-3.5"}))
    done = jackfield("sheet", "--panel", visit, "--inputs", "optical", "--out", "no.html")
    assert done.code == 1
    assert (book / "no.html").exists()


def test_a_set_that_nobody_met_gives_a_true_no_and_no_file(jackfield: Run, book: Path) -> None:
    for command in ("sheet", "tag"):
        done = jackfield(command, "Norwell", "NV99", "--json")
        assert (done.code, done.json["file"]) == (1, None)
        assert "nobody met Norwell NV99" in done.json["why"]
    assert not list(book.iterdir())


def test_units_in_the_settings_choose_the_paper(jackfield: Run, book: Path, home: Path) -> None:
    home.mkdir(exist_ok=True)
    (home / "settings.toml").write_text('units = "feet"\n', encoding="utf-8")
    assert jackfield("sheet", "Norwell", "NV40-210", "--json").json["paper"] == "letter"
    assert jackfield("sheet", "Norwell", "NV40-210", "--json", "--paper", "a4").json["paper"] == "a4"


@pytest.mark.parametrize(
    ("words", "code", "message"),
    [
        (["--readings", "missing.json"], 2, "missing.json"),
        (["--loop", "bad.json"], 2, "bad.json, field"),
        (["--out", "."], 2, "not a folder"),
        (["--out", "no/such/folder/a.html"], 2, "a folder that exists"),
        (["--lang", "xx"], 2, "--lang"),
        (["--paper", "a3"], 2, "--paper"),
        (["--contact", "x\ny"], 2, "control characters"),
        (["--contact", "x" * 500], 2, "at most 120"),
    ],
)
def test_what_is_wrong_is_named_and_nothing_is_written(
    jackfield: Run, book: Path, words: list[str], code: int, message: str
) -> None:
    written(book, "bad.json", {"current_a": 1.0})
    done = jackfield("sheet", "Norwell", "NV40-210", *words)
    assert done.code == code
    assert message in done.err
    assert not (book / "sheet.html").exists()


@pytest.mark.parametrize(
    "wrong",
    [
        {"room": {"corners_m": [[0, 0], [1, 0]]}},
        {"room": {"corners_m": [[0, 0], ["x", 0], [1, 1]]}},
        {"turns": "1"},
        {"turns": 10**9},
        {"current_a": 1e400},
        {"current_a": None},
        {"cautions": "all"},
        {"fits": 1},
        {"wire": "x" * 1000},
    ],
    ids=str,
)
def test_a_loop_file_with_a_slip_is_refused(jackfield: Run, book: Path, wrong: dict[str, Any]) -> None:
    path = book / "loop.json"
    path.write_text(json.dumps(loop_json() | wrong).replace("Infinity", "1e999"), encoding="utf-8")
    done = jackfield("sheet", "Norwell", "NV40-210", "--loop", path)
    assert done.code == 2
    assert "loop.json" in done.err


def test_show_and_path_draw_pictures_beside_their_answer(jackfield: Run, book: Path) -> None:
    done = jackfield("show", "Norwell", "NV40-210", "--svg", "panel.svg")
    assert "DIGITAL AUDIO OUT" in done.out
    assert ET.parse(book / "panel.svg").getroot().tag.endswith("svg")
    done = jackfield("path", "Norwell", "NV40-210", "--svg", "path.svg", "--json")
    assert done.json["chosen"]["needs_dac"]
    drawn = (book / "path.svg").read_text(encoding="utf-8")
    assert "THIS ONE" in drawn
    assert "DAC" in drawn


def test_a_file_name_never_comes_from_the_data(jackfield: Run, book: Path) -> None:
    source = {"make": "../../evil", "model": "/etc/x.html"}
    visit = written(book, "v.json", visit_of(OPTICAL, source=source))
    assert jackfield("sheet", "--panel", visit).code == 0
    assert jackfield("tag", "--panel", visit).code == 0
    assert sorted(path.name for path in book.iterdir()) == ["sheet.html", "tag.svg", "v.json"]


def test_a_tag_is_a_picture_or_a_page_by_its_ending(jackfield: Run, book: Path) -> None:
    told = jackfield("tag", "Norwell", "NV40-210", "--json").json
    assert (told["file"], told["width_mm"], told["height_mm"]) == ("tag.svg", 62, 29)
    assert told["text"].startswith("Norwell NV40-210\n")
    assert (book / "tag.svg").read_text(encoding="utf-8").startswith("<svg")
    assert jackfield("tag", "Norwell", "NV40-210", "--out", "tag.html", "--lang", "es").code == 0
    assert "size: 62mm 29mm" in (book / "tag.html").read_text(encoding="utf-8")


def test_an_older_file_stays_whole_when_writing_fails(
    jackfield: Run, book: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (book / "a.html").write_text("old", encoding="utf-8")

    def full(_file: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync", full)
    done = jackfield("sheet", "Norwell", "NV40-210", "--out", "a.html")
    assert done.code == 3
    assert "No space left" in done.err
    assert (book / "a.html").read_text(encoding="utf-8") == "old"
    assert [path.name for path in book.iterdir()] == ["a.html"]
