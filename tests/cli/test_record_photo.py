"""record --photo: marks are read for the person, who confirms, corrects, drops and adds; then it is saved."""

from __future__ import annotations

import io
import json
import shlex
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import click
import pytest

from kb import Book
from kb.base.errors import MissingExtra
from kb.book.photos import Photos
from kb.domain.visit import JACKS
from kb.read import panel as panels
from kb.read import picture
from kb.read.picture import Reading, can_import
from kb.read.quality import Measures
from tests.cli.conftest import Run
from tests.read.pictures import panel_as, photo, pretend

SET = ("Norwell", "NV40-210")
ROW = ((400.0, 600.0, "OPTICAL OUT"), (800.0, 600.0, "HDMI 1 (ARC)"), (1200.0, 600.0, "AUDIO OUT"))

pytest.importorskip("PIL.Image", reason="Pillow is not installed")
See = Callable[[Reading], None]


@pytest.fixture
def see(monkeypatch: pytest.MonkeyPatch) -> See:
    """Let the reader of panels see this, whatever the photo shows."""

    def see_this(reading: Reading) -> None:
        pretend(monkeypatch, reading, panels)

    see_this(panel_as(*ROW))
    return see_this


@pytest.fixture
def panel(tmp_path: Path, see: See) -> Path:
    file = tmp_path / "panel.jpg"
    file.write_bytes(photo())
    return file


def visits(home: Path) -> list[Any]:
    if not home.exists():
        return []
    with Book.open(home) as book:
        return book.visits(*SET)


def spots(home: Path) -> list[dict[str, Any]]:
    (file,) = (home / "photos").glob("*/*.json")
    found: list[dict[str, Any]] = json.loads(file.read_text())
    return found


@pytest.fixture
def person(monkeypatch: pytest.MonkeyPatch) -> Callable[..., None]:
    """A person who types these answers, and says yes or no to each question."""

    def answers(*typed: str, yes: bool | list[bool] = True) -> None:
        lines, said = iter(typed), iter(yes) if isinstance(yes, list) else None
        monkeypatch.setattr("kb.cli.record.at_terminal", lambda: True)
        monkeypatch.setattr(click, "prompt", lambda *_args, **_more: next(lines))
        for module in ("record", "record_photo"):
            monkeypatch.setattr(f"kb.cli.{module}.agreed", lambda *_args: next(said) if said else yes)

    return answers


def test_what_was_read_is_shown_and_nothing_is_recorded_without_an_answer(
    jackfield: Run, panel: Path, home: Path
) -> None:
    done = jackfield("record", "--photo", panel, *SET)
    assert done.code == 0, done.err
    assert "HDMI 1 (ARC)" in done.out
    assert "what plugs in is a guess" in " ".join(done.out.split())
    assert "Nothing was recorded" in done.err
    assert "jackfield record Norwell NV40-210 'opt=OPTICAL OUT'" in done.err
    assert visits(home) == []
    assert not (home / "photos").exists()


def test_the_line_that_is_offered_records_the_same_jacks(jackfield: Run, panel: Path, home: Path) -> None:
    import shlex

    line = jackfield("record", "--photo", panel, *SET).err.strip().splitlines()[-1]
    assert jackfield(*shlex.split(line)[1:]).code == 0
    (visit,) = visits(home)
    assert [(f.jack.form.value, f.jack.marking) for f in visit.findings] == [
        ("toslink", "OPTICAL OUT"),
        ("hdmi", "HDMI 1 (ARC)"),
        ("rca-pair", "AUDIO OUT"),
    ]


def test_json_is_the_draft_with_places_and_doubts(jackfield: Run, panel: Path, home: Path) -> None:
    told = jackfield("record", "--photo", panel, *SET, "--json").json
    assert told["photo"] == {"width": 1600, "height": 1200}
    assert told["recorded"] == told["differences"] == []
    first, _, last = told["jacks"]
    assert first == {
        "form": "toslink",
        "marking": "OPTICAL OUT",
        "direction": "output",
        "signal": "optical",
        "x": 0.25,
        "y": 0.5,
        "confidence": 0.97,
        "doubts": [],
    }
    assert last["doubts"] == ["form"]
    assert visits(home) == []


def test_all_that_is_confirmed_is_recorded_with_the_photo_and_the_places(
    jackfield: Run, panel: Path, home: Path, person: Callable[..., None]
) -> None:
    person("all")
    done = jackfield("record", "--photo", panel, *SET, "2014", "--by", "RT")
    assert done.code == 0, done.err
    (visit,) = visits(home)
    assert (visit.basis.value, visit.by, visit.source.year) == ("seen", "RT", 2014)
    assert len(visit.findings) == 3
    assert len(list((home / "photos" / visit.id).glob("*.jpg"))) == 1
    assert spots(home) == [
        {"x": 0.25, "y": 0.5, "jack": "OPTICAL OUT"},
        {"x": 0.5, "y": 0.5, "jack": "HDMI 1 (ARC)"},
        {"x": 0.75, "y": 0.5, "jack": "AUDIO OUT"},
    ]


def test_a_person_corrects_drops_and_adds(
    jackfield: Run, panel: Path, home: Path, person: Callable[..., None]
) -> None:
    person("3 line=LINE OUT:ok", "-2", "+ hp:mute", "99", "what", "3 opt:nonsense", "1-3")
    done = jackfield("record", "--photo", panel, *SET)
    assert "numbers from 1 to 3" in done.err
    assert "nonsense" in done.err
    (visit,) = visits(home)
    assert [(f.jack.form.value, f.jack.marking, f.outcome.value) for f in visit.findings] == [
        ("toslink", "OPTICAL OUT", "not-tried"),
        ("jack-3.5", "LINE OUT", "carried"),
        ("jack-3.5", "", "not-tried"),
    ]
    assert [one["jack"] for one in spots(home)] == ["OPTICAL OUT", "LINE OUT"]


@pytest.mark.parametrize(
    ("typed", "yes"), [(("none",), True), (("quit",), True), (("each",), False), (("all",), False)]
)
def test_nothing_is_recorded_that_is_not_confirmed(
    jackfield: Run, panel: Path, home: Path, person: Callable[..., None], typed: tuple[str], yes: bool
) -> None:
    person(*typed, yes=yes)
    done = jackfield("record", "--photo", panel, *SET)
    assert done.code == 1
    assert "nothing was saved" in done.err
    assert visits(home) == []
    assert not (home / "photos").exists()


def test_who_stops_after_correcting_the_marks_gets_the_line_that_records_them(
    jackfield: Run, panel: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    typed = iter(["2 arc=HDMI 1 (ARC):silent", "-3", "+ hp:mute"])

    def prompt(*_args: Any, **_more: Any) -> str:
        for one in typed:
            return one
        raise click.Abort

    monkeypatch.setattr("kb.cli.record.at_terminal", lambda: True)
    monkeypatch.setattr(click, "prompt", prompt)
    done = jackfield("record", "--photo", panel, *SET)
    assert done.code == 130
    line = next(line for line in done.err.splitlines() if line.startswith("  jackfield record"))
    assert jackfield(*shlex.split(line)[1:]).code == 0
    seen = jackfield("show", *SET, "--json").json["panel"]
    assert [(one["form"], one["marking"], one["direction"]) for one in seen] == [
        ("toslink", "OPTICAL OUT", "output"),
        ("hdmi", "HDMI 1 (ARC)", "output"),
        ("jack-3.5", "", "output"),
    ]


def test_each_jack_is_asked_alone(
    jackfield: Run, panel: Path, home: Path, person: Callable[..., None]
) -> None:
    person("each", yes=[True, False, True, True])
    assert jackfield("record", "--photo", panel, *SET).code == 0
    (visit,) = visits(home)
    assert [f.jack.marking for f in visit.findings] == ["OPTICAL OUT", "AUDIO OUT"]


def test_all_asks_for_the_doubtful_marks_one_by_one(
    jackfield: Run, panel: Path, home: Path, person: Callable[..., None]
) -> None:
    person("all", yes=[False, True])  # AUDIO OUT is no pair; save
    assert jackfield("record", "--photo", panel, *SET).code == 0
    (visit,) = visits(home)
    assert [f.jack.marking for f in visit.findings] == ["OPTICAL OUT", "HDMI 1 (ARC)"]


def test_all_typed_where_yes_or_no_is_asked_is_told_in_our_own_words(
    jackfield: Run, panel: Path, home: Path, see: See, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert jackfield("record", *SET, "opt=OPTICAL OUT:ok", "coax=COAXIAL OUT").code == 0
    typed = iter(["all", "yes", "none"])
    monkeypatch.setattr("kb.cli.record.at_terminal", lambda: True)
    monkeypatch.setattr(click, "prompt", lambda *_args, **_more: next(typed))
    done = jackfield("record", "--photo", panel, *SET)
    assert "Type yes or no." in done.err
    assert "invalid input" not in done.err


def test_where_photo_and_book_differ_the_person_is_asked(
    jackfield: Run, panel: Path, home: Path, see: See, person: Callable[..., None]
) -> None:
    assert jackfield("record", *SET, "opt=OPTICAL OUT:ok", "coax=COAXIAL OUT", "usb=USB").code == 0
    see(panel_as(*ROW[1:], (300, 900, "COAXIAL OUT")))
    told = jackfield("record", "--photo", panel, *SET)
    assert "The book knows optical (TOSLINK) OPTICAL OUT, output here; this photo shows" in " ".join(
        told.out.split()
    )
    assert "The book does not know AUDIO OUT" in " ".join(told.out.split())
    assert "USB" not in told.out
    differs = jackfield("record", "--photo", panel, *SET, "--json").json["differences"]
    assert differs[0] == {"known": {"form": "toslink", "marking": "OPTICAL OUT"}, "seen": None}
    person("1-4", yes=[True, True])
    done = jackfield("record", "--photo", panel, *SET)  # it is there after all, as number 4; save
    assert done.code == 0
    assert sum(line.startswith("4  ") for line in done.out.splitlines()) == 2  # in the list, and in the panel
    new = next(one for one in visits(home) if len(one.findings) == 4)
    assert new.findings[-1].jack.marking == "OPTICAL OUT"
    assert [one["jack"] for one in spots(home)] == ["HDMI 1 (ARC)", "AUDIO OUT", "COAXIAL OUT"]


def test_a_direction_that_the_photo_contradicts_is_told(jackfield: Run, panel: Path, see: See) -> None:
    assert jackfield("record", *SET, "rca=AUDIO:out").code == 0
    see(panel_as((400, 600, "L AUDIO R")))
    told = " ".join(jackfield("record", "--photo", panel, *SET).out.split())
    assert "AUDIO: the book says output, its mark on this photo says input" in told


def test_a_photo_in_the_dark_is_told_so_next_to_what_was_read(jackfield: Run, panel: Path, see: See) -> None:
    dark = Measures(light=12, bright=40, burnt=0, grain=6, blur=1)
    see(replace(panel_as(*ROW), measures=dark))
    said = " ".join(jackfield("record", "--photo", panel, *SET).out.split())
    assert "HDMI 1 (ARC)" in said
    assert "The photo is too dark: let a torch or a lamp shine from one side" in said
    told = jackfield("record", "--photo", panel, *SET, "--json").json
    assert [one["code"] for one in told["hints"]] == ["dark"]


def test_a_photo_without_marks_says_so(jackfield: Run, panel: Path, see: See) -> None:
    see(panel_as((400, 600, "CAUTION"), (400, 700, "Made in Poland")))
    done = jackfield("record", "--photo", panel, *SET)
    assert (done.code, done.err) == (1, "")
    assert "No mark of a jack was read" in done.out


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ((), "MAKE MODEL"),
        (("Norwell",), "MAKE MODEL"),
        ((*SET, "opt:ok"), "MAKE MODEL"),
        ((*SET, "--file", "visit.json"), "one of them"),
        ((*SET, "--ask"), "--photo"),
        ((*SET, "--date", "soon"), "date"),
    ],
)
def test_a_mistake_is_told_before_the_photo_is_read(
    jackfield: Run, panel: Path, words: tuple[str, ...], said: str
) -> None:
    done = jackfield("record", "--photo", panel, *words)
    assert (done.code, done.out) == (2, "")
    assert said in done.err


def test_what_is_printed_on_a_panel_has_no_effect_on_the_terminal(
    jackfield: Run, panel: Path, see: See
) -> None:
    see(panel_as((400, 600, "HDMI 1 (\x1b[31m;rm)"), (800, 600, "OPTICAL [bold]OUT")))
    done = jackfield("record", "--photo", panel, *SET)
    assert "\x1b" not in done.out + done.err


def test_in_spanish_too(jackfield: Run, panel: Path) -> None:
    assert jackfield("settings", "--language", "es").code == 0
    done = jackfield("record", "--photo", panel, *SET)
    assert "leída como" in done.out
    assert "No se guardó nada" in done.err


def test_without_the_extra_it_is_said_what_to_install(
    monkeypatch: pytest.MonkeyPatch, jackfield: Run, panel: Path
) -> None:
    def missing(place: str) -> None:
        raise MissingExtra(place, "rapidocr", "read")

    monkeypatch.setattr(panels, "PictureReader", missing)
    done = jackfield("record", "--photo", panel, *SET)
    assert (done.code, done.out) == (2, "")
    assert "pip install '.[read]'" in done.err


@pytest.mark.parametrize(
    "content",
    [b"", b"%PDF-1.7\n<html>", b"\xff\xd8\xff\xe0" + b"x" * 500, bytes(26 * 1024 * 1024)],
    ids=["empty", "two kinds at once", "false start", "26 MB"],
)
def test_a_file_that_is_no_photo_records_nothing(
    jackfield: Run, panel: Path, home: Path, content: bytes
) -> None:
    panel.write_bytes(content)
    done = jackfield("record", "--photo", panel, *SET)
    assert (done.code, done.out) == (2, "")
    assert "panel.jpg" in done.err
    assert visits(home) == []


def test_a_panel_is_read_from_end_to_end(jackfield: Run, tmp_path: Path) -> None:
    for name in ("rapidocr", "onnxruntime"):
        if not can_import(name):
            pytest.skip(f"{name} is not installed; the extra jackfield[read] brings it")
    from PIL import Image, ImageDraw, ImageFont

    made = Image.new("RGB", (1200, 400), "#202020")
    pen = ImageDraw.Draw(made)
    for x, mark in ((100, "OPTICAL OUT"), (520, "HDMI 1"), (800, "HEADPHONE")):
        pen.text((x, 120), mark, font=ImageFont.load_default(size=36), fill="#e8e8e8")
    out = io.BytesIO()
    made.save(out, "JPEG")
    (tmp_path / "panel.jpg").write_bytes(out.getvalue())
    told = jackfield("record", "--photo", tmp_path / "panel.jpg", *SET, "--json").json
    assert [one["marking"] for one in told["jacks"]] == ["OPTICAL OUT", "HDMI 1", "HEADPHONE"]


@pytest.mark.parametrize("wrong", ["+ rca=" + "A" * 400, "3 rca=" + "A" * 400, "+ rca=AUDIO\x07OUT"])
def test_a_mark_that_is_none_changes_nothing_and_is_told_at_once(
    jackfield: Run, panel: Path, home: Path, person: Callable[..., None], wrong: str
) -> None:
    person(wrong, "all")
    done = jackfield("record", "--photo", panel, *SET)
    assert done.code == 0, done.err
    assert "marking: saw" in done.err
    (visit,) = visits(home)
    assert [f.jack.marking for f in visit.findings] == ["OPTICAL OUT", "HDMI 1 (ARC)", "AUDIO OUT"]


def test_one_jack_more_than_a_panel_has_is_refused_where_it_is_typed(
    jackfield: Run, panel: Path, home: Path, person: Callable[..., None]
) -> None:
    person(*(f"+ rca=AUDIO {n}" for n in range(JACKS)), "all")
    done = jackfield("record", "--photo", panel, *SET)
    assert done.code == 0, done.err
    (visit,) = visits(home)
    assert len(visit.findings) == JACKS


def test_a_visit_whose_photo_cannot_be_kept_is_recorded_and_acknowledged(
    jackfield: Run, panel: Path, home: Path, person: Callable[..., None]
) -> None:
    assert jackfield("record", "Hallmere", "HM32-5", "opt").code == 0
    (home / "photos").write_text("no folder")
    person("all")
    done = jackfield("record", "--photo", panel, *SET)
    assert done.code == 3
    assert "recorded  Norwell NV40-210" in done.out
    assert "without its photo" in done.err
    assert "nothing was changed" not in done.err
    assert len(visits(home)) == 1


def test_a_photo_that_vanishes_before_its_visit_takes_it_is_told(
    jackfield: Run, panel: Path, home: Path, person: Callable[..., None], monkeypatch: pytest.MonkeyPatch
) -> None:
    attach = Photos.attach

    def swept(photos: Photos, visit: str, names: list[str]) -> list[str]:
        for file in (home / "photos" / "loose").iterdir():
            file.unlink()
        return attach(photos, visit, names)

    monkeypatch.setattr(Photos, "attach", swept)
    person("all")
    done = jackfield("record", "--photo", panel, *SET)
    assert done.code == 3
    assert "recorded  Norwell NV40-210" in done.out
    assert "without its photo" in done.err
    assert len(visits(home)) == 1


def test_the_photo_is_decoded_once(
    jackfield: Run, panel: Path, home: Path, person: Callable[..., None], monkeypatch: pytest.MonkeyPatch
) -> None:
    seen: list[str] = []

    def cleaned(sent: bytes, place: Any = "photo") -> bytes:
        seen.append(str(place))
        return picture.cleaned(sent, place)

    monkeypatch.setattr(panels, "cleaned", cleaned)
    monkeypatch.setattr("kb.book.photos.cleaned", cleaned)
    person("all")
    assert jackfield("record", "--photo", panel, *SET).code == 0
    assert seen == [str(panel)]
    (kept,) = (home / "photos").glob("*/*.jpg")
    assert kept.read_bytes() == picture.cleaned(panel.read_bytes())
