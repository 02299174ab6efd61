"""The README's lines on faults, loops, readings and the usual driver do what they say."""

from __future__ import annotations

import json
import shlex
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.cli.conftest import Run

README = Path(__file__).parents[2] / "README.md"
NAMES = ("isolate", "loop", "readings", "settings")


def lines() -> list[list[str]]:
    """The words after ``jackfield`` of each such line."""
    return [
        shlex.split(line, comments=True)[1:]
        for line in README.read_text(encoding="utf-8").splitlines()
        if line.startswith(tuple(f"jackfield {name} " for name in NAMES))
    ]


def test_every_line_of_the_readme_on_these_commands_runs(
    jackfield: Run, visit_file: Callable[..., Path], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    jackfield("record", "--file", visit_file())
    Path("readings.toml").write_text(
        'positions = [{ name = "sofa", field_ma_per_m = 400 }]\n'
        "response = { db_100_hz = -1, db_1000_hz = 0, db_5000_hz = -2 }\n"
        "noise = { driver_off_dba = -52, driver_on_dba = -48 }\n"
    )
    ran = 0
    for words in lines():
        if "--svg" in words:
            pytest.importorskip("matplotlib")
        into = words.index(">") if ">" in words else len(words)
        done = jackfield(*words[:into])
        assert done.code == 0, (words, done.err)
        if into < len(words):
            Path(words[into + 1]).write_text(done.out)
            json.loads(done.out)
        ran += 1
    assert ran >= 10
    assert jackfield("pack", "Norwell", "NV40-210", "--loop", "loop.json").code == 0
