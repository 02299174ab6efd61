"""What people see: plain where it is piped, inside the terminal, and help that says how it is typed."""

from __future__ import annotations

import os
import re
from pathlib import Path

import pytest

from kb.cli.commands import COMMANDS
from kb.cli.share import PARTS
from tests.cli.conftest import Run
from tests.cli.test_commands import VisitFile


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_tells_how_it_is_used(jackfield: Run, name: str) -> None:
    done = jackfield(name, "--help")
    assert (done.code, done.err) == (0, "")
    assert "--json" in done.out
    assert max(map(len, done.out.splitlines())) <= 80


def test_help_may_be_asked_for_as_a_command(jackfield: Run) -> None:
    assert jackfield("help").out == jackfield("--help").out
    assert jackfield("help", "path").out == jackfield("path", "--help").out
    unknown = jackfield("pth")
    assert unknown.code == 2
    assert unknown.err == "jackfield: no command 'pth'; did you mean 'path'?\nTry 'jackfield --help'.\n"
    part = jackfield("share", "pul", "x")
    assert part.err == "jackfield: no command 'pul'; did you mean 'pull'?\nTry 'jackfield share --help'.\n"


@pytest.mark.parametrize("name", [name for name in COMMANDS if name != "share"])
def test_every_help_shows_how_the_command_is_typed(jackfield: Run, name: str) -> None:
    out = jackfield(name, "--help").out
    assert re.search(rf"^  jackfield {name}\b", out, re.MULTILINE), out


@pytest.mark.parametrize("part", PARTS)
def test_every_part_of_sharing_shows_how_it_is_typed(jackfield: Run, part: str) -> None:
    assert f"\n  jackfield share {part} " in jackfield("share", part, "--help").out.replace("\n", " \n")


def test_the_list_of_commands_is_in_the_help(jackfield: Run) -> None:
    out = jackfield("--help").out
    assert all(name in out for name in COMMANDS)
    assert jackfield("fnid").err.count("find") == 1


# -- what bad input gets -----------------------------------------------------------------------------


def test_text_that_people_entered_has_no_effect(jackfield: Run, visit_file: VisitFile) -> None:
    note = "[bold red]=SUM(A1)[/] \x1b[31m :smile: <b>x</b> \x07 [/nonsense]"
    jackfield("record", "--file", visit_file(note=note))
    for words in (["show", "Norwell", "NV40-210"], ["find", "smile"], ["find", "nv40-210"]):
        done = jackfield(*words)
        assert done.code == 0, done.err
        assert not any(sign in done.out for sign in "\x1b\x07")
    assert "[bold red]=SUM(A1)[/]" in jackfield("show", "Norwell", "NV40-210").out.replace("\n", " ")


def test_piped_output_is_plain_and_fits_eighty_columns(jackfield: Run, visit_file: VisitFile) -> None:
    jackfield("record", "--file", visit_file(note="long " * 200))
    for words in (["show", "Norwell", "NV40-210"], ["path", "Norwell", "NV40-210"], ["find", "nv40"]):
        out = jackfield(*words).out
        assert "\x1b" not in out
        assert max(map(len, out.splitlines())) <= 80


WIDE = {"make": "Mirokawa 霧川架空電機製作所", "model": "液晶-四十二型-２１０"}
LONG = {"make": "M" * 60, "model": "X-" + "1" * 60}


@pytest.mark.parametrize("source", [WIDE, LONG])
@pytest.mark.parametrize("columns", [80, 40])
def test_long_and_wide_names_keep_to_the_terminal(
    jackfield: Run,
    visit_file: VisitFile,
    monkeypatch: pytest.MonkeyPatch,
    columns: int,
    source: dict[str, str],
) -> None:
    from rich.cells import cell_len  # counts cells by tables of its own

    monkeypatch.setenv("COLUMNS", str(columns))
    jackfield("record", "--file", visit_file(source=source))
    name = (source["make"], source["model"])
    for words in (
        ("find", *name),
        ("find", "zz" + "9" * 90),
        ("path", *name),
        ("show", *name),
        ("pack", *name),
    ):
        out = jackfield(*words).out
        assert out
        assert max(cell_len(line) for line in out.splitlines()) <= columns, out


def test_names_of_items_are_not_broken_at_a_hyphen() -> None:
    from kb.base.text import wrapped

    assert wrapped("optical cable 2 m, mini-TOSLINK adapter", 30) == [
        "optical cable 2 m,",
        "mini-TOSLINK adapter",
    ]


@pytest.mark.skipif(os.name == "nt", reason="no pseudo terminal here")
def test_a_plain_terminal_keeps_its_width(home: Path, jackfield: Run, visit_file: VisitFile) -> None:
    """Serial consoles and editors call themselves dumb, and are not all of 80 columns."""
    import fcntl
    import pty
    import struct
    import subprocess
    import sys
    import termios

    jackfield("record", "--file", visit_file())
    ours, theirs = pty.openpty()
    fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", 40, 50, 0, 0))
    env = {**os.environ, "TERM": "dumb", "JACKFIELD_HOME": str(home)}
    env.pop("COLUMNS", None)
    words = [sys.executable, "-m", "kb.cli.main", "path", "Norwell", "NV40-210"]
    with subprocess.Popen(words, env=env, stdin=theirs, stdout=theirs, stderr=theirs):
        os.close(theirs)
        said = b""
        try:
            while more := os.read(ours, 65536):
                said += more
        except OSError:  # the other end is closed
            pass
    os.close(ours)
    lines = said.decode().replace("\r", "").split("\n")
    assert "Do this" in lines
    assert "\x1b" not in said.decode()
    assert max(len(line) for line in lines) <= 50
