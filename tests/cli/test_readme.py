"""Every command that the README shows is typed as it stands there, on the demo book, and is understood."""

from __future__ import annotations

import json
import re
import shlex
from collections.abc import Iterator
from pathlib import Path

import pytest

from kb.cli.main import COMMANDS
from tests.cli.conftest import Run

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")

READINGS = """
[[positions]]
name = "sofa"
field_ma_per_m = 380
[response]
at = "sofa"
db_100_hz = -1.0
db_1000_hz = 0.0
db_5000_hz = -2.0
[noise]
driver_off_dba = -52
driver_on_dba = -45
"""
NOTES = "Set maker,Model,Date,Form,Marking\nNorwell,NV50-100,03/02/2020,toslink,OPTICAL OUT\n"

#: Exit codes beside 0 that are right where a command stands: a true "no", or a question back.
OTHERWISE = {
    "record": {2},  # bare, it asks at a terminal, which is not here
    "load notes.csv --dry-run": {2},  # tells which column is not known yet
    "restore": {2},  # a book is there: it says what to add
    "pack jobs.json": {1},
    "pack Norwell --year 2014 --have DAC=2": {1},
}
#: What needs another machine, or stays until it is stopped.
ELSEWHERE = ("serve", "share push")


def blocks(language: str = "") -> list[str]:
    """What stands between fences of this language, in order."""
    fenced = re.findall(r"^```(\w*)\n(.*?)^```$", README, re.MULTILINE | re.DOTALL)
    return [inside for said, inside in fenced if said == language]


def commands() -> Iterator[str]:
    """The lines of the README that are typed, without the words behind them."""
    for line in "".join(blocks()).splitlines():
        for typed in line.split("  # ")[0].split(";"):
            if typed.strip().startswith("jackfield "):
                yield typed.strip().removeprefix("jackfield ")


@pytest.fixture
def at_work(jackfield: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Run:
    """The demo book, in a folder with the files that the README speaks of."""
    monkeypatch.chdir(tmp_path)
    visit, jobs = blocks("json")
    Path("visit.json").write_text(visit)
    Path("jobs.json").write_text(jobs)
    Path("queries.txt").write_text("nv40-210\n")
    Path("readings.toml").write_text(READINGS)
    Path("notes.csv").write_text(NOTES)
    south = ("--home", str(tmp_path / "south"))
    assert jackfield("record", "Tarnow", "T32", "opt=OPTICAL OUT:ok", *south).code == 0
    assert jackfield("share", "key", "south.key", "--name", "south", *south).code == 0
    assert jackfield("share", "out", "south.jsonl.gz", "--sign", *south).code == 0
    assert jackfield("record", "--file", ROOT / "data" / "demo" / "visits.jsonl").code == 0
    assert jackfield("record", "Norwel", "NV4O-210", "opt=OPTICAL OUT").code == 0
    return jackfield


def test_every_command_is_shown() -> None:
    assert {line.split()[0] for line in commands()} == set(COMMANDS)


def test_what_is_shown_works_as_typed(at_work: Run) -> None:
    (first, *_) = at_work("show", "Norwell", "NV40-210", "--json").json["visits"]
    for typed in commands():
        if typed.startswith(ELSEWHERE):
            continue
        line, _, target = typed.replace("3fa2b1c0", first["id"]).partition(" > ")
        done = at_work(*shlex.split(line))
        assert done.code in {0, *OTHERWISE.get(typed, ())}, f"{typed}: {done.code}\n{done.out}{done.err}"
        if target:
            Path(target.strip()).write_text(done.out)


def test_the_files_that_are_shown_are_right(at_work: Run) -> None:
    assert at_work("record", "--file", "visit.json", "--json").json["recorded"]
    packed = at_work("pack", "jobs.json", "--json")
    assert len(packed.json["jobs"]) == len(json.loads(Path("jobs.json").read_text())["jobs"])
