"""What was wrong gets a new entry in its place; everything can be undone, and the history shows it."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from tests.cli.conftest import Run

VisitFile = Callable[..., Path]


@pytest.fixture
def visit(jackfield: Run, visit_file: VisitFile) -> str:
    """The id of a visit to the Norwell NV40-210."""
    [one] = jackfield("record", "--file", visit_file(), "--json").json["recorded"]
    return str(one["visit"])


def states(jackfield: Run, *name: str) -> list[str]:
    visits = jackfield("history", *(name or ("Norwell", "NV40-210")), "--json").json["visits"]
    return [one["state"] for one in sorted(visits, key=lambda one: one["revision"])]


def test_a_wrong_finding_is_corrected_and_the_old_one_stays_in_the_history(
    jackfield: Run, visit: str
) -> None:
    done = jackfield("correct", visit[:8], "1.outcome=silent", "1.items=", "year=2015", "--json").json
    assert done["corrected"] == visit
    shown = jackfield("show", "Norwell", "NV40-210", "--json").json
    [now] = shown["visits"]
    assert (now["id"], now["supersedes"]) == (done["visit"], [visit])
    assert (now["source"]["year"], now["jacks"][0]["outcome"], "items" in now["jacks"][0]) == (
        2015,
        "silent",
        False,
    )
    assert (now["by"], now["job"], now["note"]) == ("RT", "J-104", "Cable behind the cabinet in the kitchen.")
    assert states(jackfield) == ["superseded", "stands"]
    out = jackfield("history", "Norwell", "NV40-210").out
    assert f"corrected by {done['visit'][:8]}" in " ".join(out.split())
    assert max(map(len, out.splitlines())) <= 80


def test_jacks_are_dropped_and_added(jackfield: Run, visit: str) -> None:
    jackfield("correct", visit, "--drop", "2", "--drop", "3", "--add", "bt:ok")
    panel = jackfield("show", "Norwell", "NV40-210", "--json").json["panel"]
    assert [jack["form"] for jack in panel] == ["toslink", "bluetooth"]


def test_a_visit_is_said_anew_from_a_file(jackfield: Run, visit: str, visit_file: VisitFile) -> None:
    assert jackfield("correct", visit, "--file", visit_file(jacks=[{"form": "scart"}])).code == 0
    assert jackfield("show", "Norwell", "NV40-210", "--json").json["panel"][0]["form"] == "scart"


def test_a_wrong_model_moves_to_the_right_set(jackfield: Run, visit: str) -> None:
    jackfield("correct", visit, "model=NV40-211")
    assert jackfield("show", "Norwell", "NV40-210").code == 1
    assert jackfield("show", "Norwell", "NV40-211").code == 0
    assert jackfield("find", "nv40-211", "--json").json["matches"][0]["how"] == "exact"
    jackfield("undo")
    assert jackfield("show", "Norwell", "NV40-210").code == 0
    assert jackfield("show", "Norwell", "NV40-211").code == 1


def test_undo_takes_back_one_thing_after_the_other_and_an_id_brings_it_again(
    jackfield: Run, visit: str
) -> None:
    first = jackfield("correct", visit, "year=2015", "--json").json["visit"]
    second = jackfield("correct", first, "year=2016", "--json").json["visit"]
    assert states(jackfield) == ["superseded", "superseded", "stands"]
    assert jackfield("undo", "--json").json == {"undone": "correction", "id": second}
    assert jackfield("undo", "--json").json == {"undone": "correction", "id": first}
    assert states(jackfield) == ["stands", "withdrawn", "withdrawn"]
    assert jackfield("undo").code == 1
    assert jackfield("undo", first[:10]).code == 0
    assert states(jackfield) == ["superseded", "stands", "withdrawn"]


def test_a_visit_is_withdrawn_and_stands_again(jackfield: Run, visit: str) -> None:
    assert jackfield("withdraw", visit[:6], "--json").json == {
        "withdrawn": [visit],
        "already": [],
        "still_counting": [],
    }
    assert jackfield("find", "nv40").code == 1
    assert states(jackfield) == ["withdrawn"]
    assert jackfield("withdraw", visit, "--json").json["already"] == [visit]
    assert jackfield("undo", "--json").json == {"undone": "withdrawal", "id": visit}
    assert jackfield("find", "nv40").code == 0


def test_two_spellings_become_one_set_and_two_again(
    jackfield: Run, visit: str, visit_file: VisitFile
) -> None:
    for _ in range(2):  # more visits under the wrong name than under the right one
        source = {"make": "Norwel", "model": "NV4O-21O"}
        jackfield("record", "--file", visit_file(source=source, note=f"again {_}"))
    right = jackfield("merge", "Norwel", "NV4O-21O", "--into", "Norwell", "NV40-210")
    assert (right.code, right.err) == (0, "")
    shown = jackfield("show", "Norwell", "NV40-210", "--json").json
    assert (len(shown["visits"]), shown["source"]["make"]) == (3, "Norwell")
    assert len(jackfield("show", "Norwel", "NV4O-21O", "--json").json["visits"]) == 3
    [match] = jackfield("find", "nv40-210", "--json").json["matches"]
    assert (match["make"], match["model"]) == ("Norwell", "NV40-210")
    [merge] = jackfield("history", "Norwell", "NV40-210", "--json").json["merges"]
    assert (merge["spelling"], merge["stands"]) == ("NORWEL/NV4O21O", True)
    assert jackfield("merge", "Norwel", "NV4O-21O", "--into", "Norwell", "NV40-210").code == 2
    jackfield("undo")
    assert len(jackfield("show", "Norwell", "NV40-210", "--json").json["visits"]) == 1
    assert jackfield("merge", "Norwel", "NV4O-21O", "--into", "Norwell", "NV40-210").code == 0
    assert len(jackfield("show", "Norwell", "NV40-210", "--json").json["visits"]) == 3
    jackfield("undo")
    slip = jackfield("merge", "Norwel", "NV4O-21O", "--into", "Norwell", "NV40-2100")
    assert "No visit is to Norwell NV40-2100: it is a new name" in slip.err


@pytest.mark.parametrize(
    ("words", "code", "named"),
    [
        (["correct", "VISIT"], 2, "no change"),
        (["correct", "VISIT", "year=2014"], 2, "no change"),
        (["correct", "VISIT", "colour=red"], 2, "colour"),
        (["correct", "VISIT", "4.outcome=weak"], 2, "1 to 3"),
        (["correct", "VISIT", "1.outcome=purple"], 2, "outcome"),
        (["correct", "VISIT", "year=12"], 2, "year"),
        (["correct", "VISIT", "make="], 2, "make"),
        (["correct", "VISIT", "year"], 2, "FIELD=VALUE"),
        (["correct", "VISIT", "--drop", "0"], 2, "--drop"),
        (["correct", "VISIT", "--add", "optic"], 2, "optic"),
        (["correct", "ffffffff", "year=2015"], 1, "no visit"),
        (["correct", "zz", "year=2015"], 2, "id"),
        (["withdraw", "ffffffff"], 1, "no visit"),
        (["withdraw"], 2, "VISIT"),
        (["undo", "VISIT"], 2, "withdraw"),
        (["undo", "../../x"], 2, "id"),
        (["undo"], 1, "no correction"),
        (["merge", "No", "such", "--into", "Norwell", "NV40-210"], 1, "nobody met"),
        (["merge", "Norwell", "NV40-210", "--into", "norwell", "nv40 210"], 2, "not yet merged"),
        (["merge", "Norwell", "NV40-210", "--into", "-", "?"], 2, "letters"),
        (["history", "No", "such"], 1, "nobody met"),
    ],
)
def test_a_wrong_correction_is_told_and_changes_nothing(
    jackfield: Run, visit: str, words: list[str], code: int, named: str
) -> None:
    before = jackfield("dump").out
    done = jackfield(*(visit if word == "VISIT" else word for word in words))
    assert (done.code, done.out) == (code, "")
    assert named in done.err
    assert "Traceback" not in done.err
    assert jackfield("dump").out == before


def test_what_does_not_stand_is_not_corrected(jackfield: Run, visit: str) -> None:
    new = jackfield("correct", visit, "year=2015", "--json").json["visit"]
    assert new[:8] in jackfield("correct", visit, "year=2016").err
    jackfield("withdraw", new)
    jackfield("withdraw", visit)
    assert "withdrawn" in jackfield("correct", visit, "year=2016").err


def test_who_corrects_an_old_version_is_shown_the_one_that_counts(jackfield: Run, visit: str) -> None:
    last = visit
    for year in ("year=2015", "year=2016", "year=2017"):
        last = jackfield("correct", last, year, "--json").json["visit"]
    said = jackfield("correct", visit, "year=2018").err
    named = re.search(r"newest version of this visit, ([0-9a-f-]+)", said)
    assert named is not None, said
    assert last.startswith(named[1])
    assert jackfield("correct", named[1], "year=2018").code == 0


def test_who_withdraws_an_old_version_is_told_that_its_correction_counts(jackfield: Run, visit: str) -> None:
    new = jackfield("correct", visit, "year=2015", "--json").json["visit"]
    done = jackfield("withdraw", visit)
    named = re.search(r"jackfield withdraw ([0-9a-f-]+)", done.err)
    assert named is not None, done
    assert new.startswith(named[1])
    assert jackfield("withdraw", named[1]).err == ""
    assert jackfield("show", "Norwell", "NV40-210").code == 1


def test_an_empty_book_has_no_history(jackfield: Run, home: Any) -> None:
    for words in (
        ["history", "a", "b"],
        ["undo"],
        ["merge", "a", "b", "--into", "c", "d"],
        ["dump"],
        ["doctor"],
    ):
        assert jackfield(*words).code == 1
    assert not home.exists() or not any(home.glob("book*"))


@pytest.mark.parametrize("words", [("correct", "3fa2b1c0", "year=2015"), ("withdraw", "3fa2b1c0"), ("undo",)])
def test_without_a_book_there_is_nothing_to_correct(
    words: tuple[str, ...], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A true "no", not trouble with a book; and no book is made by asking."""
    from kb.cli.main import run

    assert run([*words, "--home", str(tmp_path / "none")]) == 1
    assert "there is no book" in capsys.readouterr().err
    assert not (tmp_path / "none").exists()


#: Ids that a program handed in within one millisecond (UUID version 7): they begin alike.
def test_a_program_that_withdraws_is_told_which_correction_still_counts(jackfield: Run, visit: str) -> None:
    correction = jackfield("correct", visit, "year=2015", "--json").json["visit"]
    done = jackfield("withdraw", visit, "--json").json
    assert (done["withdrawn"], done["still_counting"]) == ([visit], [correction])
    assert jackfield("withdraw", correction, "--json").json["still_counting"] == []


ALIKE = ("01a21335-6993-7576-b983-4bfd00000001", "01a21335-6993-7576-b983-4bff00000002")


@pytest.fixture
def two(jackfield: Run, visit_file: VisitFile) -> tuple[str, str]:
    """The ids of two visits to the Norwell NV40-210 that begin alike."""
    for id_, day in zip(ALIKE, ("2026-03-04", "2026-03-05"), strict=True):
        assert jackfield("record", "--file", visit_file(id=id_, date=day)).code == 0
    return ALIKE


def test_the_ids_that_the_history_shows_can_be_used(jackfield: Run, two: tuple[str, str]) -> None:
    shown = [line.split()[0] for line in jackfield("history", "Norwell", "NV40-210").out.splitlines()]
    first, second = [one for one in shown if one.startswith("01a2")]
    assert (two[0].startswith(first), two[1].startswith(second), first != second) == (True, True, True)
    said = jackfield("correct", "01a21335", "year=2015").err
    assert (first in said, second in said) == (True, True), said
    assert jackfield("withdraw", first, "--json").json["withdrawn"] == [two[0]]


def test_sharing_is_no_correction_that_could_be_undone(
    jackfield: Run, two: tuple[str, str], tmp_path: Path
) -> None:
    def history() -> list[str]:
        """What stands beside the ids."""
        lines = jackfield("history", "Norwell", "NV40-210").out.splitlines()
        words = " ".join(re.sub(r"^[0-9a-f-]{8,} ", "", line) for line in lines).split()
        return sorted(words)  # longer ids move where a narrow table breaks its lines

    before = history()
    assert jackfield("share", "out", tmp_path / "one.jsonl").code == 0
    assert history() == before
    assert jackfield("undo").code == 1
    assert jackfield("correct", two[0], "year=2015").code == 0  # by the id of before
    assert jackfield("undo").code == 0
    assert jackfield("undo").code == 1
