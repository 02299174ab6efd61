"""find --photo: the label is read for the person, and told as find tells what was typed."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from kb.base.errors import MissingExtra
from kb.read import label as labels
from kb.read.picture import Reading, can_import
from kb.read.quality import Measures
from tests.cli.conftest import Run
from tests.read.pictures import photo, pretend, read_as

AROUND = ("AC 220-240V~ 50/60Hz 85W", "S/N 408123344551", "MFG 03/2014")


@pytest.fixture
def camera(monkeypatch: pytest.MonkeyPatch, jackfield: Run, tmp_path: Path) -> Path:
    """A photo and a book with one set; what is read is said by each test."""
    monkeypatch.chdir(tmp_path)
    assert jackfield("record", "Norwell", "NV40-210", "opt=OPTICAL OUT:ok").code == 0
    file = tmp_path / "label.jpg"
    file.write_bytes(b"\xff\xd8")
    return file


def reads(monkeypatch: pytest.MonkeyPatch, reading: Reading) -> None:
    pretend(monkeypatch, reading)
    monkeypatch.setattr(labels, "cleaned", lambda sent, place: sent)


def test_the_set_is_shown_with_the_piece_that_was_read(
    monkeypatch: pytest.MonkeyPatch, jackfield: Run, camera: Path
) -> None:
    reads(monkeypatch, read_as("NORWELL", "MODEL NO.: NV40-210", *AROUND))
    done = jackfield("find", "--photo", camera)
    assert done.code == 0
    said, shown, *_ = done.out.splitlines()
    assert said == 'read on the photo: Norwell NV40-210 ("MODEL NO.: NV40-210")'
    assert shown.startswith("Norwell NV40-210  exact")


def test_a_set_that_nobody_met_is_told_with_the_command_that_records_it(
    monkeypatch: pytest.MonkeyPatch, jackfield: Run, camera: Path
) -> None:
    reads(monkeypatch, read_as("Zentrix", "Modell: ZX 55", *AROUND))
    done = jackfield("find", "--photo", camera)
    assert done.code == 1
    assert "no set like 'ZX 55' in the book" in done.out
    assert done.out.splitlines()[-1] == "  jackfield record Zentrix 'ZX 55' 2014"
    assert jackfield("find", "zentrix").code == 1  # nothing was recorded


def test_json_has_what_was_read_where_and_how_surely(
    monkeypatch: pytest.MonkeyPatch, jackfield: Run, camera: Path
) -> None:
    reads(monkeypatch, read_as("NORWELL", "MODEL NO.: NV40-210", *AROUND))
    told = jackfield("find", "--photo", camera, "--json").json
    assert told["photo"] == {"width": 1600, "height": 1200}
    assert told["read"][1]["text"] == "MODEL NO.: NV40-210"
    assert told["read"][1]["confidence"] == 0.98
    assert len(told["read"][1]["corners"]) == 4
    assert told["year"] == 2014
    (one,) = told["candidates"]
    assert (one["make"], one["model"], one["named"]) == ("Norwell", "NV40-210", True)
    assert one["piece"] == told["read"][1]
    assert (one["matches"][0]["model"], one["matches"][0]["how"]) == ("NV40-210", "exact")


def test_a_photo_without_text_or_without_a_model_says_so(
    monkeypatch: pytest.MonkeyPatch, jackfield: Run, camera: Path
) -> None:
    reads(monkeypatch, read_as())
    done = jackfield("find", "--photo", camera)
    assert (done.code, done.out.split(".")[0]) == (1, "no text was read on the photo")
    reads(monkeypatch, read_as("CAUTION", "DO NOT OPEN"))
    done = jackfield("find", "--photo", camera)
    assert done.code == 1
    assert "CAUTION | DO NOT OPEN" in done.out


def test_what_is_wrong_with_the_photo_is_told_with_its_remedy(
    monkeypatch: pytest.MonkeyPatch, jackfield: Run, camera: Path
) -> None:
    blurred = Measures(light=90, bright=200, burnt=0, grain=2, blur=4)
    reads(monkeypatch, replace(read_as("CAUTION"), measures=blurred))
    said = " ".join(jackfield("find", "--photo", camera).out.split())
    assert "The photo is blurred: rest your hands on something firm, or step back a little" in said
    (hint,) = jackfield("find", "--photo", camera, "--json").json["hints"]
    assert hint["code"] == "blurred"
    assert hint["text"] in said
    reads(monkeypatch, read_as("NORWELL", "MODEL NO.: NV40-210", *AROUND))
    assert jackfield("find", "--photo", camera, "--json").json["hints"] == []


def test_what_is_printed_on_a_label_has_no_effect_on_the_terminal(
    monkeypatch: pytest.MonkeyPatch, jackfield: Run, camera: Path
) -> None:
    reads(monkeypatch, read_as("\x1b[31mNORWELL", "MODEL: \x1b[2JX1-[bold]5; rm -rf", *AROUND))
    done = jackfield("find", "--photo", camera)
    assert "\x1b" not in done.out
    assert "rm -rf'" in done.out or "rm" not in done.out.splitlines()[-1]


def test_in_spanish_too(monkeypatch: pytest.MonkeyPatch, jackfield: Run, camera: Path) -> None:
    reads(monkeypatch, read_as("NORWELL", "MODEL NO.: NV40-210", *AROUND))
    assert jackfield("settings", "--language", "es").code == 0
    assert jackfield("find", "--photo", camera).out.startswith("leído en la foto: Norwell NV40-210")


def test_without_the_extra_it_is_said_what_to_install(
    monkeypatch: pytest.MonkeyPatch, jackfield: Run, camera: Path
) -> None:
    def missing(place: str) -> None:
        raise MissingExtra("find --photo", "rapidocr", "read")

    monkeypatch.setattr(labels, "PictureReader", missing)
    done = jackfield("find", "--photo", camera)
    assert (done.code, done.out) == (2, "")
    assert "pip install '.[read]'" in done.err


@pytest.mark.parametrize("words", [("norwell",), ("--batch", "queries.txt")])
def test_words_beside_a_photo_are_a_mistake(jackfield: Run, camera: Path, words: tuple[str, ...]) -> None:
    done = jackfield("find", "--photo", camera, *words)
    assert done.code == 2
    assert "--photo" in done.err


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "saw something else"),
        (b"%PDF-1.7\n<html>", "saw something else"),
        (b"\xff\xd8\xff\xe0" + b"x" * 500, "saw a damaged picture"),
        (bytes(26 * 1024 * 1024), "more than 25 MiB"),
    ],
    ids=["empty", "two kinds at once", "false start", "26 MB"],
)
def test_a_file_that_is_no_photo_is_named_with_what_is_wrong(
    jackfield: Run, camera: Path, content: bytes, said: str
) -> None:
    for name in ("rapidocr", "PIL"):
        if not can_import(name):
            pytest.skip(f"{name} is not installed; the extra jackfield[read] brings it")
    camera.write_bytes(content)
    done = jackfield("find", "--photo", camera)
    assert (done.code, done.out) == (2, "")
    assert said in done.err
    assert "label.jpg" in done.err


def test_a_file_that_is_missing_is_named(jackfield: Run, camera: Path) -> None:
    done = jackfield("find", "--photo", "nowhere.jpg")
    assert done.code == 2
    assert "nowhere.jpg" in done.err


def test_a_photo_is_read_from_end_to_end(jackfield: Run, camera: Path) -> None:
    for name in ("rapidocr", "onnxruntime", "PIL"):
        if not can_import(name):
            pytest.skip(f"{name} is not installed; the extra jackfield[read] brings it")
    camera.write_bytes(photo(turn=-9))
    done = jackfield("find", "--photo", camera)
    assert done.code == 0, done.err
    assert "Norwell NV40-210  exact" in done.out
