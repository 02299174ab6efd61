"""A backup is a whole copy that was checked; a restore never loses the book that was there."""

from __future__ import annotations

import os
import shutil
import sqlite3
import subprocess
import sys
import threading
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from kb import clock
from kb.errors import BadInput, BookTrouble
from kb.exchange import backup as backups
from kb.exchange.backup import back_up, examined, restore
from kb.store import Store
from kb.store.places import copy_book
from tests.cli.conftest import Run
from tests.exchange.helpers import assert_whole, facts_of, fill


@pytest.fixture
def book(home: Path) -> Path:
    path = home / "book.sqlite"
    with Store.open(path) as store:
        fill(store, 5)
    return path


def test_a_backup_is_a_whole_book_of_its_own(jackfield: Run, book: Path, home: Path) -> None:
    """SQLite's promise (sqlite.org/backup.html): a consistent snapshot; checked by integrity_check."""
    done = jackfield("backup", "--json").json
    copy = Path(done["backup"])
    assert (done["visits"], done["findings"], done["revision"], done["removed"]) == (5, 10, 1, [])
    assert copy.parent == home / "backups"
    assert copy.stat().st_mode & 0o777 == 0o600
    assert copy.parent.stat().st_mode & 0o777 == 0o700
    assert_whole(copy)
    with Store.open(book) as store, Store.open(copy) as other:
        assert facts_of(store) == facts_of(other)
    assert jackfield("backup", "--list", "--json").json["backups"][0]["file"] == str(copy)


def test_a_backup_while_somebody_records_is_one_revision(book: Path, tmp_path: Path) -> None:
    stop = threading.Event()

    def recording() -> None:
        with Store.open(book) as store:
            number = 0
            while not stop.is_set() and number < 200:
                fill(store, 2, f"W{number}-")
                number += 1

    thread = threading.Thread(target=recording)
    thread.start()
    try:
        for _ in range(3):
            copy, _gone = back_up(book, tmp_path / "copies")
            assert_whole(copy.path)
            assert copy.visits == 5 + 2 * (copy.revision - 1)
    finally:
        stop.set()
        thread.join()


def test_the_oldest_backups_are_removed_and_nothing_else(
    book: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder, day = tmp_path / "copies", datetime(2026, 3, 1, tzinfo=UTC)
    folder.mkdir()
    (folder / "book-of-jobs.sqlite").write_text("mine")
    made = []
    for number in range(4):
        monkeypatch.setattr(clock, "now", lambda number=number: day + timedelta(days=number))
        copy, gone = back_up(book, folder, keep=2)
        made.append(copy.path)
    assert gone == (made[1],)
    assert backups.backups(folder) == [made[3], made[2]]
    assert (folder / "book-of-jobs.sqlite").exists()


def test_a_backup_that_does_not_agree_is_not_kept(
    book: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def half(path: Path, target: Path) -> None:
        with Store.open(target) as store:
            fill(store, 2)

    monkeypatch.setattr(backups, "copy_book", half)
    with pytest.raises(BookTrouble, match="was removed"):
        back_up(book, tmp_path / "copies")
    assert list((tmp_path / "copies").glob("*.sqlite")) == []


def test_a_restore_refuses_to_overwrite_silently(jackfield: Run, book: Path, home: Path) -> None:
    jackfield("backup")
    with Store.open(book) as store:
        fill(store, 1, "later")
        now = facts_of(store)
    done = jackfield("restore")
    assert (done.code, "--replace" in done.err) == (2, True)
    with Store.open(book) as store:
        assert facts_of(store) == now


def test_a_restored_book_is_the_one_that_was_backed_up_and_the_old_one_is_kept(
    jackfield: Run, book: Path
) -> None:
    jackfield("backup")
    assert jackfield("find", "M1").code == 0
    with Store.open(book) as store:
        before = facts_of(store)
        fill(store, 1, "LATER")
        later = facts_of(store)
    assert jackfield("find", "later0").code == 0
    done = jackfield("restore", "--replace", "--json").json
    with Store.open(book) as store, Store.open(done["kept"]) as old:
        assert facts_of(store) == before
        assert facts_of(old) == later
    assert_whole(book)
    assert jackfield("find", "later0").code == 1  # the index is that of the restored book
    assert jackfield("find", "M1").code == 0
    assert jackfield("doctor").code == 0


def test_whoever_has_the_book_open_sees_the_restored_one(book: Path, tmp_path: Path) -> None:
    copy, _ = back_up(book, tmp_path / "copies")
    with Store.open(book) as store:
        fill(store, 1, "later")
        restore(copy.path, book, replace=True)
        assert store.counts().visits == 5
        fill(store, 1, "after")
        assert store.counts().visits == 6
    assert_whole(book)


def test_a_lost_book_comes_back(jackfield: Run, book: Path, home: Path) -> None:
    jackfield("backup")
    for part in home.glob("book.sqlite*"):
        part.unlink()
    assert jackfield("restore").code == 0
    assert book.stat().st_mode & 0o777 == 0o600
    assert jackfield("find", "M1").code == 0


def test_a_damaged_book_is_set_aside_and_the_backup_takes_its_place(jackfield: Run, book: Path) -> None:
    jackfield("backup")
    book.write_bytes(b"no book at all " * 1000)
    assert jackfield("restore", "--replace").code == 0
    assert jackfield("find", "M1").code == 0
    [kept] = book.parent.glob("*.before-restore-*.bak")
    assert kept.read_bytes().startswith(b"no book")


@pytest.mark.parametrize("harm", ["cut", "text", "other", "newer", "missing", "itself"])
def test_what_is_no_whole_backup_is_refused_and_nothing_changes(
    book: Path, tmp_path: Path, harm: str
) -> None:
    copy, _ = back_up(book, tmp_path / "copies")
    bad = tmp_path / "bad.sqlite"
    shutil.copy(copy.path, bad)
    if harm == "cut":
        bad.write_bytes(bad.read_bytes()[: bad.stat().st_size // 2])
    elif harm == "text":
        bad.write_text("my notes" * 1000)
    elif harm == "other":
        bad.unlink()
        with closing(sqlite3.connect(bad)) as other:
            other.execute("CREATE TABLE visit (id)")
    elif harm == "newer":
        with closing(sqlite3.connect(bad)) as other:
            other.execute("UPDATE alembic_version SET version_num = '9999'")
            other.commit()
    elif harm == "missing":
        bad.unlink()
    elif harm == "itself":
        bad = book
    before = book.read_bytes()
    with pytest.raises((BookTrouble, BadInput)):
        restore(bad, book, replace=True)
    assert book.read_bytes() == before
    assert list(book.parent.glob("*.bak")) == []


def test_a_shared_book_is_backed_up_by_its_keeper(jackfield: Run, tmp_path: Path) -> None:
    for words in (["backup"], ["restore"]):
        done = jackfield(*words, "--store", f"sqlite:///{tmp_path}/x.sqlite")
        assert (done.code, "server" in done.err) == (2, True)
    assert jackfield("backup").code == 1
    assert jackfield("restore").code == 1


def test_kill_9_in_the_middle_of_a_restore_leaves_a_whole_book(book: Path, tmp_path: Path) -> None:
    with Store.open(book) as store:
        fill(store, 1500, "BIG")
        old = store.counts().visits
    copy, _ = back_up(book, tmp_path / "copies")
    with Store.open(book) as store:
        fill(store, 1, "later")
    code = (
        "import sys; from pathlib import Path; from kb.exchange.backup import _write_over;"
        "print('open', flush=True); _write_over(Path(sys.argv[1]), Path(sys.argv[2]))"
    )
    root = Path(__file__).parents[2]
    for wait in (0.0, 0.004, 0.012, 0.03):
        child = subprocess.Popen(
            [sys.executable, "-c", code, str(copy.path), str(book)],
            env={**os.environ, "PYTHONPATH": str(root)},
            stdout=subprocess.PIPE,
        )
        assert child.stdout is not None
        child.stdout.readline()
        threading.Event().wait(wait)
        child.kill()
        child.communicate()
        assert_whole(book)
        assert examined(book).visits in (old, old + 1)


def test_a_copy_that_a_killed_program_left_unfinished_is_in_nobodys_way(book: Path, tmp_path: Path) -> None:
    """Numbers of processes come again, in a container at every start."""
    target = tmp_path / "copy.sqlite"
    left = tmp_path / f"copy.sqlite.{os.getpid()}.part"
    left.write_text("half")
    copy_book(book, target)
    assert_whole(target)
    assert left.read_text() == "half"  # it may be somebody's who is still at it


@pytest.mark.skipif(not shutil.which("strace"), reason="no strace on this machine")
def test_the_disk_has_all_of_a_copy_before_it_takes_its_place(book: Path, tmp_path: Path) -> None:
    """SQLite syncs it: nothing else may open it (tests/watch)."""
    code = (
        "import sys; from pathlib import Path; from kb.store.places import copy_book;"
        "copy_book(*map(Path, sys.argv[1:]))"
    )
    watched = [
        "strace",
        "-f",
        "-y",
        "-o",
        str(tmp_path / "calls"),
        "-e",
        "pwrite64,fdatasync,fsync,link,linkat",
    ]
    target = tmp_path / "copy.sqlite"
    done = subprocess.run(
        [*watched, sys.executable, "-c", code, str(book), str(target)],
        cwd=Path(__file__).parents[2],
        capture_output=True,
        text=True,
    )
    if "ptrace" in done.stderr:
        pytest.skip("no program may be watched here")
    assert done.returncode == 0, done.stderr
    calls = [
        line.split(maxsplit=1)[1].split("(")[0]
        for line in (tmp_path / "calls").read_text().splitlines()
        if ".part>," in line or ".part>)" in line or f'"{target}"' in line
    ]
    assert calls.count("pwrite64") > 10
    assert [call.removesuffix("at") for call in calls[-3:]] in (
        ["pwrite64", sync, "link"] for sync in ("fdatasync", "fsync")
    )
