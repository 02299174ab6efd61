"""What was acknowledged is never lost: not by kill -9, not by a full disk, not by many at once."""

from __future__ import annotations

import os
import random
import subprocess
import sys
import time
from pathlib import Path
from typing import IO

from kb.store import Store
from tests.conftest import LONG
from tests.present import Present
from tests.store.helpers import raw, visit

ROOT = Path(__file__).parents[2]


def start(*command: str, stdin: int | None = None) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-m", "tests.store.child", *command],
        cwd=ROOT,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        stdin=stdin,
        stdout=subprocess.PIPE,
        text=True,
    )


def acknowledged(out: IO[str]) -> list[str]:
    """Ids on all whole lines that were printed; a line that was cut off acknowledged nothing."""
    lines = [line.split() for line in out.read().splitlines(keepends=True) if line.endswith("\n")]
    return [one for line in lines if line and line[0].isdigit() for one in line[1:]]


def assert_whole(path: Path, ids: list[str]) -> None:
    """All these visits are there with both findings, and the file is sound (SQLite's own check)."""
    with Store.open(path) as store:
        there = {one.id: one for some in Present(store).visits() for one in some}
    assert not [one for one in ids if one not in there]
    assert {len(one.findings) for one in there.values()} <= {2}
    with raw(path) as connection:
        assert connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        assert connection.execute("PRAGMA foreign_key_check").fetchall() == []


def test_every_acknowledged_visit_survives_kill_9_during_200_recordings(book: Path) -> None:
    chance = random.Random(4)
    ids: list[str] = []
    rounds = 40 if LONG else 5
    for number in range(rounds):
        with start("record", str(book), f"K{number}", "200") as child:
            assert child.stdout is not None
            assert child.stdout.readline() == "open\n"
            if number:  # once while the very first is written, then wherever it is, on a slow machine too
                ids += child.stdout.readline().split()[1:]
            time.sleep(chance.uniform(0.02, 0.35))
            child.kill()
            ids += acknowledged(child.stdout)
    assert len(ids) >= rounds - 1
    assert_whole(book, ids)


def test_many_processes_recording_at_once_lose_nothing(book: Path) -> None:
    processes, visits = (16, 200) if LONG else (4, 12)
    children = [start("record", str(book), f"P{number}", str(visits)) for number in range(processes)]
    ids: list[str] = []
    for child in children:
        with child:
            assert child.stdout is not None
            ids += acknowledged(child.stdout)
        assert child.returncode == 0
    assert len(set(ids)) == len(ids) == 2 * processes * visits
    assert_whole(book, ids)
    with Store.open(book) as store:
        assert store.revision() == processes * visits


def test_many_processes_recording_in_a_team_book_lose_nothing(team: str) -> None:
    children = [start("record", team, f"T{number}", "10") for number in range(3)]
    ids: list[str] = []
    for child in children:
        with child:
            assert child.stdout is not None
            ids += acknowledged(child.stdout)
        assert child.returncode == 0
    with Store.open(team) as store:
        assert {one.id for some in Present(store).visits() for one in some} == set(ids)
        assert (store.revision(), len(ids)) == (30, 60)


def test_a_reader_sees_whole_writings_only_while_another_writes(book: Path) -> None:
    Store.open(book).close()
    with start("read", str(book), "20" if LONG else "2") as reader:
        assert reader.stdout is not None
        assert reader.stdout.readline() == "open\n"
        with Store.open(book) as store:
            number = 0
            while reader.poll() is None:
                store.record([visit(f"R{number}"), visit(f"R{number}-B")])
                number += 1
        word, looks = reader.stdout.read().split()
    assert (reader.returncode, word) == (0, "looks")
    assert int(looks) > 1
    assert number > 1


def test_a_full_disk_is_reported_and_nothing_is_half_written(book: Path) -> None:
    with start("fill", str(book), "400000") as child:
        assert child.stdout is not None
        lines = child.stdout.read().splitlines()
    assert child.returncode == 0
    [trouble] = [line for line in lines if line.startswith("trouble")]
    assert "disk" in trouble
    assert "nothing was changed" in trouble
    written = [line.split() for line in lines if not line.startswith("trouble")]
    ids = [one for line in written for one in line[1:]]
    assert_whole(book, ids)
    with Store.open(book) as store:
        assert Present(store).counts().visits == len(ids)
        assert store.revision() == len(written)


def test_a_new_book_is_for_this_user_alone(book: Path) -> None:
    before = os.umask(0)
    try:
        with Store.open(book) as store:
            store.record([visit()])
            beside = sorted(path.name for path in book.parent.iterdir())
            assert beside == ["book.sqlite", "book.sqlite-shm", "book.sqlite-wal"]
            assert {path.stat().st_mode & 0o777 for path in book.parent.iterdir()} == {0o600}
            assert book.parent.stat().st_mode & 0o777 == 0o700
    finally:
        os.umask(before)


def test_commits_are_on_the_disk_before_they_are_acknowledged(book: Path) -> None:
    """The settings that sqlite.org/pragma.html asks for: WAL with synchronous=FULL."""
    with Store.open(book) as store, store.snapshot() as now:
        ask = now._connection.exec_driver_sql
        assert ask("PRAGMA journal_mode").scalar() == "wal"
        assert ask("PRAGMA synchronous").scalar() == 2
        assert ask("PRAGMA foreign_keys").scalar() == 1
        assert ask("PRAGMA busy_timeout").scalar() == 10_000
