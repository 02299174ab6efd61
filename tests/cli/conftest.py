"""A book of one's own for each test, and a way to run commands as a user does."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from kb.cli.main import run as run_command


@dataclass(frozen=True)
class Done:
    """What a command left: its exit code, what it said and where."""

    code: int
    out: str
    err: str

    @property
    def json(self) -> Any:
        return json.loads(self.out)


Run = Callable[..., Done]


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    folder = tmp_path / "book"
    monkeypatch.setenv("JACKFIELD_HOME", str(folder))
    monkeypatch.delenv("JACKFIELD_STORE", raising=False)
    monkeypatch.setenv("COLUMNS", "80")
    return folder


@pytest.fixture
def jackfield(home: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Run:
    """Run one command in this process; standard input is no terminal."""
    import io
    import sys

    def run(*words: str | Path, stdin: str = "") -> Done:
        given = io.TextIOWrapper(io.BytesIO(stdin.encode("utf-8", "surrogateescape")), "utf-8")
        monkeypatch.setattr(sys, "stdin", given)
        capsys.readouterr()
        code = run_command([str(word) for word in words])
        said = capsys.readouterr()
        return Done(code, said.out, said.err)

    return run


@pytest.fixture
def visit_file(tmp_path: Path) -> Callable[..., Path]:
    """A visit file as an installer would hand it in."""

    def write(name: str = "visit.json", **changed: Any) -> Path:
        visit = {
            "date": "2026-03-04",
            "by": "RT",
            "basis": "tested",
            "job": "J-104",
            "source": {"make": "Norwell", "model": "NV40-210", "year": 2014, "display": "flat"},
            "driver": {"name": "bench driver", "inputs": ["line-3.5", "optical"]},
            "jacks": [
                {
                    "form": "toslink",
                    "marking": "DIGITAL AUDIO OUT",
                    "speakers": "stay-on",
                    "outcome": "carried",
                    "items": ["optical cable 2 m"],
                    "setting": "sound menu, digital output: PCM",
                },
                {"form": "rca-pair", "marking": "AUDIO"},
                {"form": "jack-3.5", "marking": "HEADPHONE", "speakers": "mute"},
            ],
            "note": "Cable behind the cabinet in the kitchen.",
        }
        path = tmp_path / name
        path.write_text(json.dumps(visit | changed), encoding="utf-8")
        return path

    return write
