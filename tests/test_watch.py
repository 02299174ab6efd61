"""The watch sees whoever opens a file that SQLite has open, in the tests and in what they start."""

from __future__ import annotations

import os
import sqlite3
import subprocess
import sys
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest

Complained = Callable[[], str]

OPENED: dict[str, Callable[[Path], object]] = {
    "to read": Path.read_bytes,
    "to write": lambda path: path.open("ab").close(),
    "by its descriptor": lambda path: os.close(os.open(path, os.O_RDONLY)),
    "its shared memory": lambda path: path.with_name(path.name + "-shm").read_bytes(),
    "its log": lambda path: path.with_name(path.name + "-wal").read_bytes(),
}


@pytest.fixture
def database(tmp_path: Path) -> Path:
    path = tmp_path / "a database?.sqlite"
    with closing(sqlite3.connect(path, isolation_level=None)) as made:
        made.execute("PRAGMA journal_mode = WAL").fetchone()
        made.execute("CREATE TABLE one (a)")
    return path


@pytest.mark.parametrize("how", OPENED)
def test_a_database_that_is_opened_beside_sqlite_is_seen(
    database: Path, complained: Complained, how: str
) -> None:
    with closing(sqlite3.connect(f"{database.as_uri()}?mode=rw", uri=True)) as held:
        held.execute("SELECT * FROM one").fetchall()
        OPENED[how](database)
    assert "was opened while SQLite had it open" in complained()
    assert "test_watch.py" in complained()


def test_a_database_that_nobody_has_open_may_be_copied_and_damaged(
    database: Path, complained: Complained
) -> None:
    with closing(sqlite3.connect(database)) as held:
        held.execute("SELECT * FROM one").fetchall()
        (database.parent / "other").write_bytes(b"no database")
    database.write_bytes(database.read_bytes()[:1000])
    assert not complained()


def test_another_file_that_has_the_number_of_a_deleted_database_is_let_be(
    database: Path, complained: Complained
) -> None:
    with closing(sqlite3.connect(database)) as held:
        held.execute("SELECT * FROM one").fetchall()
    database.write_bytes(b"no database any more, but the same inode")
    with database.open("rb"):
        database.read_bytes()
    assert not complained()


@pytest.mark.parametrize("environment", ["as it is", "its own"])
def test_the_watch_is_on_in_every_program_that_a_test_starts(
    database: Path, complained: Complained, environment: str
) -> None:
    code = "import sqlite3, sys; held = sqlite3.connect(sys.argv[1]); open(sys.argv[1]).close(); held.close()"
    subprocess.run(
        [sys.executable, "-c", code, str(database)],
        check=True,
        env=None if environment == "as it is" else {"PATH": ""},
    )
    assert "was opened while SQLite had it open" in complained()
