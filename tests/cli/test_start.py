"""`jackfield` typed alone: first steps for somebody new, today's jobs and the last visits for all others."""

from __future__ import annotations

import json
import shlex
import uuid
from collections.abc import Callable
from pathlib import Path

import pytest

from kb.base.messages import LANGUAGES
from tests.cli.conftest import Run
from tests.store.helpers import raw
from tests.store.test_upgrade import migrated

VisitFile = Callable[..., Path]
NEXT = ["jackfield find NV40-210", "jackfield pack --day tomorrow", "jackfield record"]


def typed_in(out: str) -> list[str]:
    """The commands that the screen shows, without what is said of them."""
    return [
        line.strip().split("  ")[0] for line in out.splitlines() if line.lstrip().startswith("jackfield ")
    ]


def everything(folder: Path) -> dict[str, bytes | None]:
    """All that is in a folder, its files with their content."""
    return {
        str(path.relative_to(folder)): path.read_bytes() if path.is_file() else None
        for path in folder.rglob("*")
    }


def test_a_newcomer_is_led_from_the_driver_to_the_first_panel_to_its_path(
    jackfield: Run, visit_file: VisitFile, home: Path
) -> None:
    begun = jackfield()
    assert (begun.code, begun.err) == (0, "")
    driver, asks, line, path, *more = typed_in(begun.out)
    assert (asks, more) == ("jackfield record", ["jackfield guide", "jackfield --help"])
    for command in (driver, line, path, *more):
        done = jackfield(*shlex.split(command)[1:])
        told = f"A new book was begun in {home}.\n" if command == line else ""
        assert (command, done.code, done.err) == (command, 0, told)
    assert "my driver" in jackfield("settings").out


def test_somebody_who_named_the_driver_sees_its_name(jackfield: Run) -> None:
    jackfield("settings", "--driver", "van driver")
    begun = jackfield()
    assert "van driver" in begun.out
    assert typed_in(begun.out)[0] == "jackfield settings"


def test_without_a_book_none_is_made(jackfield: Run, home: Path) -> None:
    jackfield()
    jackfield("--json")
    assert not home.exists()


def test_the_open_jobs_of_today_and_the_three_visits_recorded_last_are_shown(
    jackfield: Run, visit_file: VisitFile
) -> None:
    sets = [("Hallmere", "32FN14"), ("Tarnow", "T32-6"), ("Kestering", "K1"), ("Norwell", "NV40-210")]
    for number, (make, model) in enumerate(sets):  # the day of the visit is not the day of recording
        day = f"2026-03-{9 - number:02}"
        jackfield("record", "--file", visit_file(date=day, source={"make": make, "model": model}))
    for place, status, day in (
        ("7 Mill Lane", "open", "today"),
        ("The old hall", "done", "today"),
        ("Ferry Road", "open", "tomorrow"),
    ):
        jackfield("job", "add", "Norwell", "--place", place, "--status", status, "--day", day)
    out = jackfield().out
    assert [line.split() for line in out.splitlines()[:2]] == [
        ["Today"],
        ["J-105", "7", "Mill", "Lane", "Norwell"],  # visits name J-104
    ]
    assert "The old hall" not in out
    assert "Ferry Road" not in out
    assert [out.index(model) for _, model in sets[:0:-1]] == sorted(out.index(m) for _, m in sets[1:])
    assert "32FN14" not in out
    assert "2026-03-06  Norwell NV40-210  RT" in out
    assert "jackfield pack --day today" in out
    told = jackfield("--json").json
    assert set(told) == {"day", "jobs", "visits", "next"}
    assert [job["place"] for job in told["jobs"]] == ["7 Mill Lane"]
    assert [visit["source"]["model"] for visit in told["visits"]] == ["NV40-210", "K1", "T32-6"]


def test_a_withdrawn_visit_is_not_shown(jackfield: Run, visit_file: VisitFile) -> None:
    visit = jackfield("record", "--file", visit_file(), "--json").json["recorded"][0]["visit"]
    assert typed_in(jackfield().out)[:3] == NEXT
    assert jackfield("withdraw", visit).code == 0
    assert jackfield("--json").json["visits"] == []


@pytest.mark.parametrize("model", ["-x $(ls) `ls`", 'NV\'40; "210"', "year:2014 *?", "M" * 60, "電機-42"])
def test_a_model_of_any_signs_makes_a_command_that_can_be_typed(
    jackfield: Run, visit_file: VisitFile, model: str
) -> None:
    jackfield("record", "--file", visit_file(source={"make": "Norwell", "model": model}))
    command = typed_in(jackfield().out)[0]
    words = shlex.split(command)[1:]
    assert command == f"jackfield {' '.join(words)}"  # nothing in it that a shell would read otherwise
    assert jackfield(*words).code == 0, command


def test_looking_writes_nothing_not_even_what_an_older_release_left(
    jackfield: Run, visit_file: VisitFile, home: Path
) -> None:
    jackfield("record", "--file", visit_file())
    (home / "today.json").write_text(json.dumps({"jobs": [{"make": "Tarnow", "place": "Ferry Road"}]}))
    before = everything(home)
    assert "Ferry Road" in jackfield().out
    assert everything(home) == before


def test_a_book_of_an_older_format_is_left_as_it_is_and_the_way_on_is_told(
    jackfield: Run, home: Path
) -> None:
    home.mkdir()
    migrated(home / "book.sqlite")
    with raw(home / "book.sqlite") as connection:
        id_, mark = str(uuid.uuid4()), str(uuid.uuid4())
        connection.execute("INSERT INTO book VALUES (1, ?, 0, ?, '1')", (id_, mark))
    before = everything(home)
    done = jackfield()
    assert (done.code, done.out) == (3, "")
    assert "older format; `jackfield visits` copies and upgrades it" in done.err
    assert everything(home) == before
    assert jackfield("visits").code == 1
    assert jackfield().code == 0


@pytest.mark.parametrize(
    ("file", "content", "code"),
    [
        ("settings.toml", "units = 'miles'", 2),
        ("settings.toml", "][", 2),
        ("book.sqlite", "this is no book", 3),
        ("today.json", "{", 2),
    ],
)
def test_a_damaged_file_is_named_and_stays(
    jackfield: Run, home: Path, file: str, content: str, code: int
) -> None:
    home.mkdir()
    (home / file).write_text(content)
    done = jackfield()
    assert (done.code, done.out) == (code, "")
    assert done.err.startswith("jackfield: ")
    assert file in done.err
    assert everything(home) == {file: content.encode()}


def test_a_home_that_is_a_file_is_told(jackfield: Run, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    done = jackfield("--home", tmp_path / "file")
    assert (done.code, done.out) == (3, "")
    assert "not a folder" in done.err


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("columns", [60, 80])
def test_the_screen_is_plain_and_fits_the_terminal(
    jackfield: Run, visit_file: VisitFile, monkeypatch: pytest.MonkeyPatch, language: str, columns: int
) -> None:
    monkeypatch.setenv("COLUMNS", str(columns))
    jackfield("settings", "--language", language)
    new = jackfield().out
    jackfield("record", "--file", visit_file(by="RT"))
    jackfield("job", "add", "Norwell", "NV40-210", "--place", "7 Mill Lane " * 9, "--day", "today")
    used = jackfield().out
    for out in (new, used):
        assert "\x1b" not in out
        assert max(map(len, out.splitlines())) <= columns
    assert len(typed_in(new)) == 6
    assert typed_in(used)[:3] == [NEXT[0], "jackfield pack --day today", NEXT[2]]


def test_help_is_still_asked_for_by_its_name(jackfield: Run) -> None:
    out = jackfield("--help").out
    assert out.startswith("Usage: jackfield [OPTIONS] COMMAND [ARGS]...\n")
    assert jackfield("help").out == out != jackfield().out


def test_the_first_record_says_in_which_folder_a_new_book_was_begun(jackfield: Run, home: Path) -> None:
    """A home on a stick that was pulled out is an empty folder: nobody may take it for the book of before."""
    first = jackfield("record", "Tarnow", "T32", "opt:ok", "--json")
    assert (first.code, f"A new book was begun in {home}." in first.err) == (0, True)
    again = jackfield("record", "Tarnow", "T33", "opt:ok")
    assert (again.code, again.err) == (0, "")
    assert jackfield("find", "t32").err == ""
