"""No command writes what it makes over a file that Jackfield keeps."""

from __future__ import annotations

import importlib
import os
from collections.abc import Iterator
from pathlib import Path

import click
import pytest

from kb.cli.commands import jackfield as group
from kb.cli.common import Output
from tests.cli.conftest import Run

SET = ("Norwell", "NV40-210")
#: Every command that writes a file, up to the name of the file.
WRITING: dict[str, tuple[str, ...]] = {
    "dump": ("dump", "--replace"),
    "share out": ("share", "out", "--replace", "--no-notes"),
    "share key": ("share", "key", "--name", "RT", "--replace"),
    "sheet": ("sheet", *SET, "--out"),
    "tag": ("tag", *SET, "--out"),
    "show": ("show", *SET, "--svg"),
    "path": ("path", *SET, "--svg"),
    "loop, svg": ("loop", "--room", "5x4", "--svg"),
    "loop, png": ("loop", "--room", "5x4", "--png"),
    "tone": ("tone", "sine", "--seconds", "1", "--out"),
    "isolate": ("isolate", "no-sound", "--answer", "power=on", "--answers"),
    "day": ("day", "--html"),
    "listen, out": ("listen", "--out"),
    "listen, add": ("listen", "--add"),
}
KEPT = (
    "book.sqlite",
    "book.sqlite-wal",
    "book.sqlite-shm",
    "book.sqlite-journal",
    "book.sqlite.before-restore-20260304T170000Z.bak",
    "settings.toml",
    "share.json",
    "share.key",
    "phones.json",
    "today.json",
    "index/own/current",
    "index/own/lock.sqlite",
    "backups/book-20260304T170000Z.sqlite",
    "photos/ab/one.jpg",
)


@pytest.fixture
def book(home: Path, jackfield: Run, visit_file: object) -> Path:
    assert jackfield("record", "--file", visit_file()).code == 0  # type: ignore[operator]
    assert jackfield("find", "norwell").code == 0
    for name in KEPT[4:]:
        (home / name).parent.mkdir(parents=True, exist_ok=True)
        if not (home / name).exists() and not name.startswith("settings"):
            (home / name).write_bytes(b"{}")
    return home


def files(home: Path) -> dict[str, bytes]:
    return {
        str(path.relative_to(home)): path.read_bytes()
        for path in sorted(home.rglob("*"))
        if path.is_file() and not path.name.endswith(("-wal", "-shm"))
    }


@pytest.mark.parametrize("command", WRITING)
def test_what_a_command_writes_never_takes_the_place_of_the_book(
    jackfield: Run, book: Path, command: str
) -> None:
    before = files(book)
    done = jackfield(*WRITING[command], book / "book.sqlite")
    assert done.code == 2, done
    assert "book.sqlite" in done.err
    assert "a file that Jackfield keeps" in done.err
    assert files(book) == before


@pytest.mark.parametrize("name", KEPT)
def test_nor_of_anything_else_in_a_home(jackfield: Run, book: Path, name: str) -> None:
    before = files(book)
    assert jackfield("sheet", *SET, "--out", book / name).code == 2
    assert files(book) == before


def test_nor_under_another_name_nor_in_another_home(
    jackfield: Run, book: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    link, second = tmp_path / "link.html", tmp_path / "second.html"
    link.symlink_to(book / "book.sqlite")
    os.link(book / "book.sqlite", second)
    monkeypatch.chdir(book / "index")
    before = files(book)
    for name in (link, second, "../share.json", "../photos/../book.sqlite"):
        assert jackfield("sheet", *SET, "--out", name).code == 2, name
    monkeypatch.setenv("JACKFIELD_HOME", str(tmp_path / "other"))
    for name in ("book.sqlite", "share.json", "index/new"):
        assert jackfield("loop", "--room", "5x4", "--svg", book / name).code == 2, name
    assert files(book) == before


def test_a_file_of_ones_own_may_stand_in_the_home(jackfield: Run, book: Path) -> None:
    for _ in range(2):
        assert jackfield("sheet", *SET, "--out", book / "sheet.html").code == 0
    assert (book / "sheet.html").read_text().startswith("<!")


def commands(
    one: click.Command, context: click.Context, name: str = ""
) -> Iterator[tuple[str, click.Command]]:
    if isinstance(one, click.Group):
        for each in one.list_commands(context):
            found = one.get_command(context, each)
            assert found is not None
            yield from commands(found, context, f"{name} {each}".strip())
    else:
        yield name, one


def test_every_option_that_names_a_file_to_be_written_is_known_as_one() -> None:
    """What writes files does so through two functions; each command that uses them has such an option."""
    writers = (
        "write_out(",
        "write_whole(",
        "new_file(",
        "write_picture(",
        "keeper(",
        "bundle import held_in, write",
    )
    for name, command in commands(group, click.Context(group)):
        assert command.callback is not None
        module = importlib.import_module(command.callback.__module__)
        text = Path(str(module.__file__)).read_text(encoding="utf-8")
        uses = any(writer in text for writer in writers)
        known = [param.name for param in command.params if isinstance(param.type, Output)]
        assert not known or uses, name
        if name in {one.partition(",")[0] for one in WRITING}:
            assert known, name
        else:
            assert not uses or name in ("share trust", "share in"), name
