"""A backup is a whole copy that was checked; a restore never loses the book that was there."""

from __future__ import annotations

import base64
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

from kb.base import clock
from kb.base.errors import BadInput, BookTrouble
from kb.exchange import backup as backups
from kb.exchange.backup import back_up, examined, restore
from kb.store import Store
from kb.store.places import copy_book
from tests.cli.conftest import Run
from tests.exchange.helpers import assert_whole, facts_of, fill
from tests.exchange.test_safety import start
from tests.present import Present

KEY = base64.b64encode(bytes([9] * 32)).decode()


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
            copy = back_up(book, tmp_path / "copies").copy
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
        with Store.open(book) as store:
            fill(store, 1, f"D{number}-")
        done = back_up(book, folder, keep=2)
        made.append(done.copy.path)
    assert done.removed == (made[1],)
    assert [one.path for one in backups.backups(folder)] == [made[3], made[2]]
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


def test_a_new_laptop_gets_the_newest_book_from_the_folder_of_copies(
    jackfield: Run, book: Path, tmp_path: Path
) -> None:
    stick, laptop = tmp_path / "stick", tmp_path / "laptop"
    with Store.open(book) as store:
        for label in ("first", "second"):
            fill(store, 1, label)
            jackfield("backup", stick)
        now = facts_of(store)
    assert jackfield("restore", stick, "--home", laptop).code == 0
    with Store.open(laptop / "book.sqlite") as store:
        assert facts_of(store) == now


def test_a_restore_says_how_many_visits_only_the_old_book_has(jackfield: Run, book: Path) -> None:
    jackfield("backup")
    with Store.open(book) as store:
        fill(store, 3, "later")
    before = jackfield("restore")
    assert (before.code, "with 3 visits that the backup lacks: 2026-" in before.err) == (2, True)
    assert "later" in before.err
    said = jackfield("restore", "--replace").out
    [kept] = book.parent.glob("*.before-restore-*.bak")
    assert str(kept) in said
    assert "3 visits are only in the old book" in said
    assert jackfield("doctor").code == 0
    again = jackfield("restore", "--replace")
    assert "only in the old book" not in again.out
    assert jackfield("restore", "--replace", "--json").json["only_in_kept"] == 0


def test_whoever_has_the_book_open_sees_the_restored_one(book: Path, tmp_path: Path) -> None:
    copy = back_up(book, tmp_path / "copies").copy
    with Store.open(book) as store:
        fill(store, 1, "later")
        restore(copy.path, book, replace=True)
        assert Present(store).counts().visits == 5
        fill(store, 1, "after")
        assert Present(store).counts().visits == 6
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
    copy = back_up(book, tmp_path / "copies").copy
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
        old = Present(store).counts().visits
    copy = back_up(book, tmp_path / "copies").copy
    with Store.open(book) as store:
        fill(store, 1, "later")
    code = (
        "import sys; from pathlib import Path; from kb.exchange.backup import restore;"
        "print('open', flush=True); restore(Path(sys.argv[1]), Path(sys.argv[2]), replace=True)"
    )
    root = Path(__file__).parents[2]
    for wait in (0.0, 0.1, 0.3, 0.5):
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
    assert all(examined(kept).visits in (old, old + 1) for kept in book.parent.glob("*.bak"))


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


# -- whose copy it is, and which is the newest ----------------------------------------------------------


def test_a_clock_that_runs_behind_removes_no_copy_that_is_newer(
    book: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What a copy holds orders it, never the clock that named it."""
    folder, day = tmp_path / "copies", datetime(2026, 3, 9, tzinfo=UTC)
    made = []
    for number in range(5):
        monkeypatch.setattr(clock, "now", lambda number=number: day - timedelta(days=number))
        with Store.open(book) as store:
            fill(store, 1, f"D{number}-")
        done = back_up(book, folder, keep=2)
        made.append(done.copy.path)
        assert done.copy.path.exists()
    assert [one.path for one in backups.backups(folder)] == [made[4], made[3]]
    assert backups.newest(folder, book) == (made[4], ())


def test_the_copy_just_made_stays_though_the_book_did_not_change(book: Path, tmp_path: Path) -> None:
    folder = tmp_path / "copies"
    for _ in range(4):
        done = back_up(book, folder, keep=1)
        assert [one.path for one in backups.backups(folder)] == [done.copy.path]


def test_two_books_that_back_up_to_one_stick_leave_each_others_copies(book: Path, tmp_path: Path) -> None:
    other, stick = tmp_path / "other.sqlite", tmp_path / "stick"
    with Store.open(other) as store:
        fill(store, 2, "O")
    for _ in range(3):
        ours, theirs = back_up(book, stick, keep=1).copy, back_up(other, stick, keep=1).copy
    assert {one.path for one in backups.backups(stick)} == {ours.path, theirs.path}
    assert backups.newest(stick, book)[0] == ours.path
    assert backups.newest(stick, other)[0] == theirs.path
    with pytest.raises(BadInput, match="the name of one"):
        backups.newest(stick, tmp_path / "nowhere.sqlite")


def test_a_copy_of_a_book_that_went_on_elsewhere_is_not_removed(book: Path, tmp_path: Path) -> None:
    """A home that was carried to a second machine: one id, and visits that the other has not."""
    second, stick = tmp_path / "second.sqlite", tmp_path / "stick"
    copy_book(book, second)
    for path in (book, second):
        with Store.open(path) as store:
            fill(store, 1, path.stem)
    theirs = back_up(second, stick, keep=1).copy
    for number in range(3):
        with Store.open(book) as store:
            fill(store, 1, f"on-{number}-")
        ours = back_up(book, stick, keep=1).copy
    assert {one.path for one in backups.backups(stick)} == {ours.path, theirs.path}
    assert backups.newest(stick, second)[0] == theirs.path


def test_a_file_in_which_no_book_can_be_read_is_neither_removed_nor_restored_unasked(
    jackfield: Run, book: Path, home: Path
) -> None:
    good = jackfield("backup", "--json").json["backup"]
    bad = home / "backups" / "book-20990101T000000Z.sqlite"
    bad.write_bytes(b"carried away half " * 100)
    jackfield("backup", "--keep", "1")
    assert bad.exists()
    assert "no book can be read" in jackfield("backup", "--list").out
    for part in home.glob("book.sqlite*"):
        part.unlink()
    done = jackfield("restore")
    assert (done.code, f"{bad.name}: no book can be read in it" in done.err) == (0, True)
    assert not Path(good).exists()  # the second copy took its place


# -- a book that is lost, damaged or in use -------------------------------------------------------------


def test_a_log_that_was_left_of_a_lost_book_is_set_aside(jackfield: Run, book: Path, home: Path) -> None:
    """A crash leaves the write-ahead log; applied to another file, it would be the end of that one
    (sqlite.org/howtocorrupt.html, section 1.4)."""
    with Store.open(book) as store:
        fill(store, 300, "BIG")
    jackfield("backup")
    with Store.open(book) as store:
        fill(store, 100, "LATER")
        # By another process: this one has the book open, and would drop its own locks (tests/watch).
        for ending in ("-wal", "-shm"):
            copy = "import shutil, sys; shutil.copy(*sys.argv[1:])"
            subprocess.run(
                [sys.executable, "-c", copy, f"{book}{ending}", home / f"saved{ending}"], check=True
            )
    book.unlink()
    for ending in ("-wal", "-shm"):
        (home / f"saved{ending}").replace(f"{book}{ending}")
    Path(f"{book}-journal").write_bytes(b"left too")
    done = jackfield("restore", "--json")
    assert (done.code, done.json["visits"], len(done.json["logs"])) == (0, 305, 3)
    assert "was set aside" in done.err
    assert_whole(book)
    with Store.open(book) as store:
        assert Present(store).counts().visits == 305
    assert all(Path(one).exists() for one in done.json["logs"])


def test_a_backup_comes_back_on_a_machine_that_has_no_home_yet(
    jackfield: Run, book: Path, tmp_path: Path
) -> None:
    copy = jackfield("backup", "--json").json["backup"]
    new = tmp_path / "new" / "machine"
    assert jackfield("restore", copy, "--home", new).code == 0
    assert jackfield("find", "M1", "--home", new).code == 0
    assert new.stat().st_mode & 0o077 == 0


@pytest.mark.parametrize("limit", [20_000, 200_000, 280_000])
def test_a_disk_without_room_leaves_the_old_book_where_it_was(
    book: Path, home: Path, limit: int, jackfield: Run
) -> None:
    copy = jackfield("backup", "--json").json["backup"]
    with Store.open(book) as store:
        fill(store, 200, "later")
        now = facts_of(store)
    for harm in ("none", "damage"):
        if harm == "damage":
            for part in home.glob("book.sqlite-*"):
                part.unlink()
            book.write_bytes(b"no book " * 1000)
        before = book.read_bytes()
        with start(home, "restore", copy, "--replace", FILE_LIMIT=str(limit)) as child:
            _, said = child.communicate()
        assert "Traceback" not in said
        if child.returncode == 0:
            assert examined(book).visits == 5
            return
        assert child.returncode == 3, said
        assert [one.name for one in home.glob("*.part*")] == []
        if harm == "damage":
            assert book.read_bytes() == before
        else:
            with Store.open(book) as store:
                assert facts_of(store) == now
        assert list(home.glob("*.bak*")) == []


def test_a_damaged_book_that_another_program_has_open_is_not_moved_away_from_it(
    book: Path, tmp_path: Path
) -> None:
    copy = back_up(book, tmp_path / "copies").copy
    with closing(sqlite3.connect(book)) as other:
        other.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        assert other.execute("SELECT count(*) FROM visit").fetchone() == (5,)
        with closing(sqlite3.connect(book)) as hurt:
            hurt.execute("PRAGMA writable_schema = ON")
            hurt.execute("UPDATE sqlite_master SET rootpage = 9999 WHERE name = 'ix_visit_revision'")
            hurt.commit()
        with pytest.raises(BookTrouble, match="stop that first; nothing was changed"):
            restore(copy.path, book, replace=True)
        assert list(book.parent.glob("*.bak")) == []
    assert restore(copy.path, book, replace=True).kept
    assert_whole(book)


def test_what_a_server_acknowledges_while_a_backup_is_restored_is_in_the_book_or_in_the_old_one(
    book: Path, tmp_path: Path
) -> None:
    """Between the copy of the old book and the new one nobody can write."""
    copy = back_up(book, tmp_path / "copies").copy
    root = Path(__file__).parents[2]
    writer = subprocess.Popen(
        [sys.executable, "-m", "tests.store.child", "record", str(book), "W", "100000"],
        cwd=root,
        env={**os.environ, "PYTHONPATH": str(root)},
        stdout=subprocess.PIPE,
        text=True,
    )
    assert writer.stdout is not None
    acknowledged: set[str] = set()
    kept = []
    try:
        assert writer.stdout.readline() == "open\n"
        for _ in range(4):
            for _ in range(5):
                acknowledged.update(writer.stdout.readline().split()[1:])
            kept.append(restore(copy.path, book, replace=True).kept)
        for _ in range(3):
            acknowledged.update(writer.stdout.readline().split()[1:])
    finally:
        writer.kill()
        for line in writer.communicate()[0].splitlines(keepends=True):
            if line.endswith("\n"):
                acknowledged.update(line.split()[1:])
    there: set[str] = set()
    for path in (book, *kept):
        assert path is not None
        assert examined(path).visits
        with closing(sqlite3.connect(path)) as one:
            there |= {id_ for (id_,) in one.execute("SELECT id FROM visit")}
    assert len(acknowledged) > 40
    assert acknowledged <= there


def test_an_older_backup_comes_back_in_the_format_that_is_written_now(
    book: Path, tmp_path: Path, jackfield: Run
) -> None:
    """Whoever has the book open goes on writing: it never meets tables of an older format."""
    from kb.store.sqlite_codes import FORMATS
    from tests.store.test_upgrade import migrated

    old = tmp_path / "old.sqlite"
    migrated(old)
    with closing(sqlite3.connect(old)) as made:
        one, two = "0192a6c0-0000-7000-8000-000000000001", "0192a6c0-0000-7000-8000-000000000002"
        made.execute("INSERT INTO book VALUES (1, ?, 0, ?, '1')", (one, two))
        made.commit()
    with Store.open(book) as store:
        restore(old, book, replace=True)
        fill(store, 1, "after")
        assert Present(store).counts().visits == 1
    assert examined(book).stamp == FORMATS[-1]
    assert [one.name for one in book.parent.glob("*.before-0*")] == []


# -- what does not belong into a book -------------------------------------------------------------------

_EATS = "CREATE TRIGGER tidy BEFORE INSERT ON visit BEGIN SELECT RAISE(IGNORE); END"


def change(path: Path, *statements: str) -> None:
    with closing(sqlite3.connect(path)) as book:
        for one in statements:
            book.execute(one)
        book.commit()


def test_a_trigger_that_would_eat_visits_does_not_come_back_with_a_backup(jackfield: Run, book: Path) -> None:
    copy = Path(jackfield("backup", "--json").json["backup"])
    change(
        copy, _EATS, "DROP TRIGGER visit_kept_delete", "CREATE TABLE mine (a)", "CREATE VIEW seen AS SELECT 1"
    )
    done = jackfield("restore", copy, "--replace", "--json")
    assert done.code == 0
    assert done.json["left_out"] == [
        "the table 'mine' belongs to no book",
        "the trigger 'tidy' belongs to no book: it can drop or change what is recorded",
        "the view 'seen' belongs to no book",
        "the trigger 'visit_kept_delete' is missing: recorded facts could be changed",
    ]
    assert "'tidy' belongs to no book" in done.err
    assert jackfield("record", "Norwell", "NV77", "opt:ok").code == 0
    assert jackfield("show", "Norwell", "NV77").code == 0
    assert jackfield("doctor").code == 0


@pytest.mark.parametrize(
    "harm",
    [
        ("DROP TABLE finding_private",),
        ("ALTER TABLE visit ADD COLUMN mine TEXT",),
        (
            "PRAGMA writable_schema = ON",
            "UPDATE sqlite_master SET sql = replace(sql, 'BETWEEN 1', 'BETWEEN 0')",
        ),
    ],
)
def test_a_backup_with_other_tables_is_refused(book: Path, tmp_path: Path, harm: tuple[str, ...]) -> None:
    copy = back_up(book, tmp_path / "copies").copy
    change(copy.path, *harm)
    with Store.open(book) as store:
        now = facts_of(store)
    with pytest.raises(BookTrouble, match="is not a book"):
        restore(copy.path, book, replace=True)
    with Store.open(book) as store:
        assert facts_of(store) == now


def test_a_backup_of_a_book_with_a_foreign_trigger_says_so_and_removes_no_older_one(
    jackfield: Run, book: Path
) -> None:
    first = Path(jackfield("backup", "--json").json["backup"])
    change(book, _EATS)
    done = jackfield("backup", "--keep", "1")
    assert (done.code, "'tidy' belongs to no book" in done.err) == (3, True)
    assert first.exists()


# -- what lies next to the book -------------------------------------------------------------------------


def test_settings_trusted_keys_and_photos_come_back_on_a_new_machine(
    jackfield: Run, book: Path, home: Path, tmp_path: Path
) -> None:
    from kb.exchange import share_state as peers

    jackfield("settings", "--initials", "RT")
    with peers.changing(home) as mine:
        mine.trusted["south"] = KEY
    with Store.open(book) as store:
        visit = Present(store).visits()[0][0].id
    photo = home / "photos" / visit / f"{'a' * 64}.jpg"
    photo.parent.mkdir(parents=True)
    photo.write_bytes(b"a picture")
    photo.with_suffix(".json").write_text('[{"x": 0.5, "y": 0.5, "jack": "OPTICAL OUT"}]')
    (home / "share.key").write_text("secret")
    (home / "phones.json").write_text("{}")
    stick = tmp_path / "stick"
    copy = jackfield("backup", stick, "--json").json
    assert (copy["photos"], copy["problems"]) == (1, [])
    assert "secret" not in "".join(one.read_text("latin-1") for one in stick.rglob("*") if one.is_file())
    new = tmp_path / "new"
    done = jackfield("restore", copy["backup"], "--home", new, "--json")
    assert done.json["files"] == ["settings.toml", "share.json"]
    assert (done.json["trusted"], done.json["photos"]) == (["south"], 1)
    assert "trusted again, as on the day of the backup: south" in done.err
    assert peers.load(new).trusted == {"south": KEY}
    kept = new / "photos" / visit / photo.name
    assert kept.read_bytes() == b"a picture"
    assert "OPTICAL OUT" in kept.with_suffix(".json").read_text()  # where its jacks are
    assert not (new / "share.key").exists()
    assert not (new / "phones.json").exists()
    assert all(one.stat().st_mode & 0o077 == 0 for one in (*new.iterdir(), *stick.iterdir()))


def test_trust_that_was_dropped_since_does_not_come_back(jackfield: Run, book: Path, home: Path) -> None:
    from kb.exchange import share_state as peers

    with peers.changing(home) as mine:
        mine.trusted["south"] = KEY
    jackfield("backup")
    jackfield("share", "trust", "--drop", "south")
    done = jackfield("restore", "--replace", "--json")
    assert (done.json["trusted"], done.json["not_trusted"]) == ([], ["south"])
    assert "not on this machine; still not trusted: south" in done.err
    assert peers.load(home).trusted == {}


def test_a_damaged_file_next_to_a_backup_is_told_and_the_book_is_back(
    jackfield: Run, book: Path, tmp_path: Path
) -> None:
    copy = Path(jackfield("backup", "--json").json["backup"])
    copy.with_name(f"{copy.name}.home.json").write_text('{"files": {"share.json": 3}}')
    done = jackfield("restore", copy, "--home", tmp_path / "new")
    assert (done.code, "Traceback" in done.err, "home.json" in done.err) == (3, False, True)
    assert jackfield("find", "M1", "--home", tmp_path / "new").code == 0
