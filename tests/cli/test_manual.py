"""manual: a draft from a PDF, what is confirmed of it, and where the manual is kept."""

from __future__ import annotations

import json
import os
import stat
from pathlib import Path
from typing import Any

import click
import pytest

from kb import Book
from tests.cli.conftest import Done, Run
from tests.read.papers import NV40, paper

SETS = ("--set", "Norwell", "NV40-210")


@pytest.fixture
def manual(tmp_path: Path) -> Path:
    file = tmp_path / "nv40.pdf"
    file.write_bytes(paper(*NV40))
    return file


def visits(home: Path, model: str = "NV40-210") -> list[Any]:
    with Book.open(home) as book:
        return book.visits("Norwell", model)


def at_terminal(monkeypatch: pytest.MonkeyPatch, *answers: str, right: bool = True) -> None:
    """A person who types these answers, and says of each line that it is right or not."""
    typed = iter(answers)
    monkeypatch.setattr("kb.cli.manual.at_terminal", lambda: True)
    monkeypatch.setattr(click, "prompt", lambda *_args, **_more: next(typed))
    monkeypatch.setattr("kb.cli.manual.agreed", lambda *_args: right)


def test_a_draft_alone_records_nothing_and_keeps_nothing(jackfield: Run, manual: Path, home: Path) -> None:
    done = jackfield("manual", manual, *SETS)
    assert done.code == 0
    assert "OPTICAL OUT" in done.out
    assert "mute" in done.out
    assert "Nothing was recorded" in done.err
    assert not home.exists() or not visits(home)
    assert not (home / "manuals").exists()


def test_json_is_the_draft_with_pages_and_lines(jackfield: Run, manual: Path, home: Path) -> None:
    said = jackfield("manual", manual, *SETS, "--set", "Norwell", "NV50-210", "--json").json
    assert said["pages"] == 3
    assert said["recorded"] == []
    menu = next(one for one in said["draft"] if one["says"].get("format"))
    assert menu["page"] == 3
    assert menu["line"] == "Sound > Digital output: choose PCM or Auto."
    assert menu["sets"] == ["NV40-210", "NV50-210"]
    assert [one["marking"] for one in said["draft"] if one["doubt"]] == ["LINE OUT"]
    assert not (home / "manuals").exists()


def test_yes_records_a_visit_of_basis_manual_for_each_set(jackfield: Run, manual: Path, home: Path) -> None:
    done = jackfield("manual", manual, *SETS, "--set", "Norwell", "NV50-210", "--yes", "--by", "RT")
    assert done.code == 0, done.err
    for model in ("NV40-210", "NV50-210"):
        (visit,) = visits(home, model)
        assert visit.basis == "manual"
        marks = {one.jack.marking: one for one in visit.findings}
        assert marks.keys() == {"OPTICAL OUT", "HEADPHONE", "AV IN", "HDMI 2 (ARC)"}
        assert marks["OPTICAL OUT"].setting == "Sound > Digital output"


def test_the_day_of_reading_is_typed_as_people_say_it(
    jackfield: Run, manual: Path, home: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("JACKFIELD_TODAY", "2026-03-04")
    done = jackfield("manual", manual, *SETS, "--yes", "--date", "last friday")
    assert "last friday is 2026-02-27" in done.err
    assert visits(home)[0].date.isoformat() == "2026-02-27"


def test_a_person_confirms_by_number(
    jackfield: Run, manual: Path, home: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    at_terminal(monkeypatch, "99", "what", "1 3-4")
    done = jackfield("manual", manual, *SETS)
    assert "numbers from 1 to" in done.err
    (visit,) = visits(home)
    assert [one.jack.marking for one in visit.findings] == ["OPTICAL OUT", "HEADPHONE"]
    assert visit.findings[1].speakers == "mute"
    assert visit.findings[0].jack.format == "unknown"


@pytest.mark.parametrize(
    ("typed", "right", "count"),
    [("none", True, 0), ("each", False, 0), ("each", True, 5), ("all", False, 4), ("all", True, 5)],
)
def test_a_person_confirms_none_or_one_by_one(
    jackfield: Run,
    manual: Path,
    home: Path,
    monkeypatch: pytest.MonkeyPatch,
    typed: str,
    right: bool,
    count: int,
) -> None:
    at_terminal(monkeypatch, typed, right=right)
    jackfield("manual", manual, *SETS)
    found = visits(home) if home.exists() else []
    assert sum(len(visit.findings) for visit in found) == count
    assert (home / "manuals").exists() == bool(count)


def test_a_line_about_a_jack_that_is_not_confirmed_is_left_out(
    jackfield: Run, manual: Path, home: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    at_terminal(monkeypatch, "1 4")
    done = jackfield("manual", manual, *SETS)
    assert "1 line is left out, because its jack was not confirmed" in done.err
    (visit,) = visits(home)
    assert [one.jack.marking for one in visit.findings] == ["OPTICAL OUT"]
    cited = jackfield("show", "Norwell", "NV40-210", "--json").json["cited"]
    assert [one["marking"] for one in cited] == ["OPTICAL OUT"]


def test_the_manual_is_kept_for_its_owner_alone(jackfield: Run, manual: Path, home: Path) -> None:
    jackfield("manual", manual, *SETS, "--yes")
    (kept,) = (home / "manuals").iterdir()
    assert (kept / "manual.pdf").read_bytes() == manual.read_bytes()
    if os.name != "nt":
        for one in (home / "manuals", kept):
            assert stat.S_IMODE(one.stat().st_mode) == 0o700
        assert {stat.S_IMODE(one.stat().st_mode) for one in kept.iterdir()} == {0o600}


def test_show_tells_a_line_of_a_manual_once_with_all_jacks_that_it_is_about(
    jackfield: Run, tmp_path: Path
) -> None:
    line = "Sound > Digital output: choose PCM or Auto."
    file = tmp_path / "two.pdf"
    file.write_bytes(paper(["1  OPTICAL OUT", "2  COAXIAL OUT"], ["Audio menu", line]))
    jackfield("manual", file, *SETS, "--yes")
    flat = " ".join(jackfield("show", "Norwell", "NV40-210").out.split())
    assert flat.count(line) == 1
    told = flat[: flat.index(line)].rsplit("two.pdf", 2)[-2]
    assert "OPTICAL OUT" in told
    assert "COAXIAL OUT" in told


def test_show_names_the_page(jackfield: Run, manual: Path) -> None:
    jackfield("manual", manual, *SETS, "--yes")
    said = jackfield("show", "Norwell", "NV40-210")
    flat = " ".join(said.out.split())
    assert "manual nv40.pdf, page 2: The speakers are muted while headphones are connected." in flat
    cited = jackfield("show", "Norwell", "NV40-210", "--json").json["cited"]
    assert {(one["marking"], one["page"]) for one in cited} >= {("OPTICAL OUT", 2), ("OPTICAL OUT", 3)}


def test_find_searches_the_words_of_manuals(jackfield: Run, manual: Path) -> None:
    jackfield("manual", manual, *SETS, "--yes")
    done = jackfield("find", "soundbar", "audio", "return", "channel")
    assert done.code == 0
    assert "manual nv40.pdf, page 2: Connect a soundbar that supports" in " ".join(done.out.split())
    (hit,) = jackfield("find", "soundbar", "--json").json["manuals"]
    assert hit["page"] == 2


def test_the_same_manual_again_adds_nothing(jackfield: Run, manual: Path, home: Path) -> None:
    jackfield("manual", manual, *SETS, "--yes")
    again = jackfield("manual", manual, *SETS, "--yes")
    assert "nothing new" in again.err
    assert len(visits(home)) == 1


def test_what_is_confirmed_later_takes_the_place_of_what_was(
    jackfield: Run, manual: Path, home: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    at_terminal(monkeypatch, "1", "all")
    jackfield("manual", manual, *SETS)
    jackfield("manual", manual, *SETS)
    (visit,) = visits(home)
    assert len(visit.findings) == 5
    assert visit.supersedes


def test_manuals_are_in_no_dump_and_in_no_bundle(jackfield: Run, manual: Path, tmp_path: Path) -> None:
    jackfield("manual", manual, *SETS, "--yes")
    dumped = jackfield("dump").out
    assert "OPTICAL OUT" in dumped
    assert jackfield("share", "out", tmp_path / "bundle.jsonl").code == 0
    for text in (dumped, (tmp_path / "bundle.jsonl").read_text("utf-8")):
        assert "speakers are muted" not in text
        assert "nv40.pdf" not in text


def test_a_backup_takes_manuals_along_and_brings_them_back(
    jackfield: Run, manual: Path, home: Path, tmp_path: Path
) -> None:
    jackfield("manual", manual, *SETS, "--yes")
    assert jackfield("backup", tmp_path / "stick", "--json").json["manuals"] == 1
    other = ("--home", str(tmp_path / "other"))
    (copy,) = (tmp_path / "stick").glob("book-*.sqlite")
    assert jackfield("restore", copy, *other, "--json").json["manuals"] == 1
    assert "page 2" in jackfield("show", "Norwell", "NV40-210", *other).out


def test_a_folder_gives_a_table_with_reasons(
    jackfield: Run, manual: Path, home: Path, tmp_path: Path
) -> None:
    folder = tmp_path / "manuals"
    folder.mkdir()
    (folder / "Norwell NV40-210, NV50-210.pdf").write_bytes(manual.read_bytes())
    (folder / "Tarnow T32.pdf").write_bytes(b"%PDF-1.7 broken")
    (folder / "nameless.pdf").write_bytes(manual.read_bytes())
    drafted = jackfield("manual", folder)
    assert drafted.code == 0
    for word in ("NV50-210.pdf", "depends on the model", "damaged", "no set in its name"):
        assert word in " ".join(drafted.out.split())
    assert not home.exists() or not visits(home)
    done = jackfield("manual", folder, "--yes", "--json").json["manuals"]
    assert [len(one.get("recorded", ())) for one in done] == [2, 0, 0]
    assert len(visits(home, "NV50-210")) == 1


def test_what_is_wrong_with_a_manual_is_said(jackfield: Run, manual: Path, tmp_path: Path) -> None:
    def wrong(*words: str | Path) -> Done:
        done = jackfield("manual", *words)
        assert done.code == 2
        return done

    assert "--set MAKE MODEL" in wrong(manual).err
    assert "file not found" in wrong(tmp_path / "none.pdf", *SETS).err
    (tmp_path / "notes.txt").write_text("AUDIO OUT")
    assert "something else than a PDF" in wrong(tmp_path / "notes.txt", *SETS).err
    assert "0 manuals" in wrong(_made(tmp_path / "empty")).err


def _made(folder: Path) -> Path:
    folder.mkdir()
    return folder


def test_words_of_a_manual_have_no_effect_on_the_terminal(jackfield: Run, tmp_path: Path) -> None:
    file = tmp_path / "bad.pdf"
    file.write_bytes(paper(["1  HEADPHONE", "HEADPHONE [bold red]for headphones[/] \x1b[31m, 3.5 mm."]))
    done = jackfield("manual", file, *SETS)
    assert "\x1b" not in done.out
    assert json.loads(jackfield("manual", file, *SETS, "--json").out)
