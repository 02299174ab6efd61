"""A pipe, a device or a folder given as a file is refused at once; it is neither waited for nor replaced."""

from __future__ import annotations

import os
import signal
import stat
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.cli.conftest import Run

pytestmark = pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no named pipes")


@pytest.fixture(autouse=True)
def _none_waits() -> Iterator[None]:
    """Whoever waits for the other end of a pipe fails."""

    def late(*_: Any) -> None:
        raise AssertionError("waits for a pipe")

    before = signal.signal(signal.SIGALRM, late)
    signal.alarm(20)
    yield
    signal.alarm(0)
    signal.signal(signal.SIGALRM, before)


@pytest.fixture
def pipe(tmp_path: Path) -> Path:
    """A pipe that nobody writes to."""
    path = tmp_path / "pipe"
    os.mkfifo(path)
    return path


READ = (
    ["load", "{}"],
    ["load", "--mapping", "{}", "{}"],
    ["record", "--file", "{}"],
    ["share", "in", "{}"],
    ["share", "trust", "{}"],
    ["restore", "{}"],
    ["path", "--panel", "{}"],
    ["find", "--batch", "{}"],
    ["isolate", "--answers", "{}"],
    ["readings", "{}"],
)


@pytest.mark.parametrize("words", READ, ids=lambda words: " ".join(words[:2]))
def test_a_pipe_given_as_a_file_is_refused(jackfield: Run, pipe: Path, words: list[str]) -> None:
    jackfield("record", "Norwell", "NV40-210", "opt:carried")
    done = jackfield(*(word.format(pipe) for word in words))
    assert done.code in (2, 3)
    assert "a pipe or a device, expected a file" in done.err


@pytest.mark.parametrize("words", [["dump", "--replace"], ["share", "out", "--no-notes", "--replace"]])
def test_a_pipe_is_not_replaced_by_a_file(jackfield: Run, pipe: Path, words: list[str]) -> None:
    jackfield("record", "Norwell", "NV40-210", "opt:carried")
    assert jackfield(*words, str(pipe)).code == 2
    assert stat.S_ISFIFO(pipe.stat().st_mode)


@pytest.mark.parametrize("name", ["book.sqlite", "settings.toml", "share.json", "share.key"])
def test_a_pipe_in_the_place_of_a_file_of_the_book_is_told(jackfield: Run, home: Path, name: str) -> None:
    if name != "book.sqlite":
        jackfield("record", "Norwell", "NV40-210", "opt:carried")
    home.mkdir(exist_ok=True)
    os.mkfifo(home / name)
    asked = {"share.json": ["share", "out", "-", "--no-notes"], "share.key": ["share", "key"]}.get(
        name, ["find", "nv40"]
    )
    if name == "settings.toml":
        asked = ["record", "Norwell", "NV41"]
    done = jackfield(*asked)
    assert done.code in (2, 3), done
    assert "a pipe or a device, expected a file" in done.err
    if name == "book.sqlite":
        for words in (["record", "Norwell", "NV1"], ["backup"], ["dump"], ["history", "Norwell", "NV1"]):
            done = jackfield(*words)
            assert (done.code, "a pipe or a device" in done.err) == (3, True), (words, done)
