"""The two commands of the README install the same versions in a year, and say why if they cannot."""

from __future__ import annotations

import re
import runpy
import subprocess
import sys
from pathlib import Path

import pytest

from kb.domain.jack import Jack
from kb.domain.kinds import fields_of
from kb.domain.visit import Driver, Finding, Source, Visit

ROOT = Path(__file__).parents[1]
sys.path.insert(0, str(ROOT / "scripts"))

import lock  # noqa: E402

import environment  # noqa: E402

workers = runpy.run_path(str(ROOT / "scripts" / "test.py"))["workers"]

LOCKED = [line for line in environment.LOCK.read_text().splitlines() if not line.startswith("#")]


def test_every_library_of_the_project_is_in_the_lock() -> None:
    assert lock.unlocked(environment.LOCK.read_text()) == []
    assert lock.unlocked("click==8.5.1\n")[:2] == ["alembic", "axe-playwright-python"]


def test_the_lock_holds_one_exact_version_for_each_python_and_no_place_to_get_it_from() -> None:
    for line in LOCKED:
        assert re.fullmatch(r"[a-z0-9.-]+==[a-z0-9.+!]+( ; [a-z_]+ .+)?", line), line
        assert "/" not in line
    plain = [line.split("==")[0] for line in LOCKED if " ; " not in line]
    assert len(plain) == len(set(plain))


@pytest.mark.parametrize(
    ("said", "advised"),
    [
        (
            "ERROR: No matching distribution found for scipy==1.18.1",
            "A version of scipy that scripts/lock.txt",
        ),
        ("ERROR: ResolutionImpossible: conflicting dependencies", "python3 scripts/lock.py"),
        ("Failed to establish a new connection\nERROR: No matching distribution found for scipy", "network"),
        ("ERROR: something else", "network"),
    ],
)
def test_a_version_that_is_not_to_be_had_is_told_from_a_missing_network(said: str, advised: str) -> None:
    assert advised in environment.advice(said)


def test_an_environment_of_another_lock_is_installed_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    done: list[str] = []
    (tmp_path / "lock.txt").write_text("click==8.5.1\n")
    monkeypatch.setattr(environment, "VENV", tmp_path)
    monkeypatch.setattr(environment, "LOCK", tmp_path / "lock.txt")
    monkeypatch.setattr(environment, "make", lambda: None)
    monkeypatch.setattr(environment, "install", lambda python, target: done.append(target))
    for _ in range(2):
        environment.ready("test")
    assert len(done) == 1
    (tmp_path / "lock.txt").write_text("click==8.5.2\n")
    environment.ready("test")
    assert len(done) == 2


def test_arguments_that_want_one_process_get_it() -> None:
    assert workers(["-k", "panel"])[0] == "-n"
    assert workers(["-n0"]) == workers(["-p", "no:xdist"]) == workers(["--pdb", "-x"]) == []


def test_the_table_of_the_file_format_names_every_key_that_a_visit_file_may_have() -> None:
    told = subprocess.run(
        [sys.executable, "scripts/field_table.py"], cwd=ROOT, capture_output=True, text=True, check=True
    ).stdout
    for of in (Visit, Source, Driver, Jack, Finding):
        for one in fields_of(of):
            assert f"| `{one.key}` | {one.about}" in told
