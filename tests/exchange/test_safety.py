"""kill -9 anywhere, a full disk, many at once: the book is whole, and what was acknowledged is there."""

from __future__ import annotations

import json
import os
import random
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from kb.store import Store
from tests.cli.conftest import Run
from tests.conftest import LONG
from tests.exchange.helpers import assert_whole, facts_of, fill, visit_data

ROOT = Path(__file__).parents[2]


def start(home: Path, *words: str | Path, **env: str) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-m", "tests.exchange.child", *map(str, words)],
        cwd=ROOT,
        env={**os.environ, "PYTHONPATH": str(ROOT), "JACKFIELD_HOME": str(home), **env},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


@pytest.fixture(scope="module")
def material(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Old notes, a dump and a bundle of 200 visits."""
    folder = tmp_path_factory.mktemp("material")
    with (folder / "notes.jsonl").open("w") as file:
        file.writelines(json.dumps(visit_data(f"N{n}")) + "\n" for n in range(200))
    for words in (
        ["load", folder / "notes.jsonl"],
        ["dump", folder / "dump.jsonl"],
        ["share", "out", folder / "bundle.jsonl.gz", "--no-notes"],
    ):
        with start(folder / "home", *words) as child:
            _, said = child.communicate()
        assert child.returncode == 0, said
    return folder


@pytest.mark.parametrize(
    "words",
    [("load", "notes.jsonl"), ("load", "dump.jsonl"), ("share", "in", "bundle.jsonl.gz")],
    ids=" ".join,
)
def test_kill_9_while_much_comes_in_leaves_all_of_it_or_nothing(
    tmp_path: Path, material: Path, words: tuple[str, ...]
) -> None:
    chance, book = random.Random(3), tmp_path / "book.sqlite"
    with Store.open(book) as store:
        fill(store, 3)
        before = facts_of(store)
    for _ in range(20 if LONG else 1):
        with start(tmp_path, *words[:-1], material / words[-1]) as child:
            assert child.stdout is not None
            child.stdout.readline()
            time.sleep(chance.uniform(0.2, 1.2))
            child.send_signal(signal.SIGKILL)
            child.communicate()
        assert_whole(book)
        with Store.open(book) as store:
            found = facts_of(store)
        assert found == before or len(found) == len(before) + 200
    with start(tmp_path, *words[:-1], material / words[-1]) as child:
        _, said = child.communicate()
    assert child.returncode == 0, said
    with Store.open(book) as store:
        assert len(facts_of(store)) == len(before) + 200


def test_a_full_disk_is_reported_and_nothing_is_half_loaded(tmp_path: Path, material: Path) -> None:
    book = tmp_path / "book.sqlite"
    with Store.open(book) as store:
        fill(store, 3)
        before = facts_of(store)
    cases: list[tuple[str | Path, ...]] = [
        ("load", material / "notes.jsonl"),
        ("share", "in", material / "bundle.jsonl.gz"),
    ]
    for words in cases:
        with start(tmp_path, *words, FILE_LIMIT="300000") as child:
            _, said = child.communicate()
        assert child.returncode == 3, said
        assert "disk" in said or "room" in said
        assert "Traceback" not in said
        assert_whole(book)
        with Store.open(book) as store:
            assert facts_of(store) == before


def test_a_disk_without_room_for_a_copy_is_reported_and_leaves_no_half_file(
    tmp_path: Path, material: Path
) -> None:
    home = tmp_path / "home"
    shutil.copytree(material / "home", home)
    for words in (["dump", tmp_path / "d.jsonl"], ["share", "out", tmp_path / "b.jsonl"], ["backup"]):
        with start(home, *words, FILE_LIMIT="100000") as child:
            _, said = child.communicate()
        assert child.returncode == 3, said
        assert "Traceback" not in said
    left = [path for path in tmp_path.rglob("*") if path.suffix in (".part", ".jsonl")]
    left += list((home / "backups").glob("*"))
    assert left == []
    assert_whole(home / "book.sqlite")


def test_a_new_book_and_all_beside_it_are_for_this_user_alone(
    jackfield: Run, home: Path, material: Path
) -> None:
    before = os.umask(0)
    try:
        jackfield("load", material / "notes.jsonl")
        jackfield("backup")
        jackfield("share", "out", material / "x.jsonl", "--for", "north", "--replace")
        jackfield("find", "n5")
    finally:
        os.umask(before)
    open_to_others = [path for path in home.rglob("*") if path.is_file() and path.stat().st_mode & 0o077]
    assert open_to_others == []
    assert home.stat().st_mode & 0o077 == 0
