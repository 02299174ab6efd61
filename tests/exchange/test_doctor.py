"""The doctor finds what is wrong with book and index, and mends what is derived."""

from __future__ import annotations

import json
import os
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from kb.domain.visit import visit_from
from kb.store import Store
from tests.cli.conftest import Run
from tests.exchange.helpers import fill, visit_data

ONE, TWO = "0192a6c0-0000-7000-8000-000000000001", "0192a6c0-0000-7000-8000-000000000002"


@pytest.fixture
def book(home: Path, jackfield: Run) -> Path:
    path = home / "book.sqlite"
    with Store.open(path) as store:
        fill(store, 3)
    assert jackfield("find", "M1").code == 0
    return path


def wrong(jackfield: Run, *words: str) -> dict[str, list[str]]:
    done = jackfield("doctor", *words, "--json")
    assert done.code == (0 if done.json["well"] else 1)
    return {one["name"]: one["wrong"] for one in done.json["checks"] if not one["ok"]}


def hurt(path: Path, *statements: str) -> None:
    with closing(sqlite3.connect(path)) as book:
        for one in statements:
            book.execute(one)
        book.commit()


def test_a_whole_book_is_well(jackfield: Run, book: Path) -> None:
    assert wrong(jackfield) == {}
    done = jackfield("doctor")
    assert (done.code, "WRONG" in done.out) == (0, False)


def test_an_index_that_is_damaged_or_of_another_book_is_mended(
    jackfield: Run, book: Path, home: Path
) -> None:
    keys = next((home / "index" / "own").glob("gen-*/keys.sqlite"))
    keys.write_bytes(b"x" * 5000)
    assert list(wrong(jackfield)) == ["index"]
    assert jackfield("doctor", "--mend", "--json").json["mended"] == ["the index was rebuilt"]
    assert wrong(jackfield) == {}
    assert jackfield("find", "M1").code == 0


def test_words_that_were_changed_behind_the_book_are_found(jackfield: Run, book: Path) -> None:
    hurt(book, "DROP TRIGGER finding_kept_update", "UPDATE finding SET outcome = 'silent' WHERE seq = 0")
    found = wrong(jackfield)
    assert set(found) == {"guards", "seals"}
    assert "finding_kept_update" in found["guards"][0]
    assert "not those that its id was made from" in found["seals"][0]


def test_a_finding_of_no_visit_is_found(jackfield: Run, book: Path) -> None:
    with closing(sqlite3.connect(book)) as other:
        other.execute("PRAGMA ignore_check_constraints = ON")
        other.execute(f"INSERT INTO supersession VALUES ('{TWO}', 0, '{ONE}')")
        other.commit()
    assert "belongs to no visit" in wrong(jackfield)["references"][0]


def test_visits_that_take_each_others_place_are_found(
    jackfield: Run, book: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Recording refuses it; two books that merge may still bring the two halves.
    monkeypatch.setattr("kb.store.store._refuse_circles", lambda *_: None)
    with Store.open(book) as store:
        store.record([visit_from({**visit_data("C"), "id": ONE, "supersedes": [TWO]})])
        store.record([visit_from({**visit_data("D"), "id": TWO, "supersedes": [ONE]})])
    assert "each take the other's place" in wrong(jackfield)["lineage"][0]
    assert set(wrong(jackfield)) == {"lineage"}


def test_a_book_that_others_may_read_is_told(jackfield: Run, book: Path) -> None:
    book.chmod(0o644)
    assert "others may look in" in wrong(jackfield)["rights"][0]
    assert "--mend" not in jackfield("doctor").out  # it mends no rights


def test_a_mode_that_says_nothing_of_who_may_look_in_is_not_held_against_the_book(
    jackfield: Run, book: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Windows tells mode 666 of every file (Python, os.stat)."""
    book.chmod(0o666)
    monkeypatch.setattr("kb.exchange.doctor._MODES", False)
    assert wrong(jackfield) == {}


def test_what_cut_off_work_left_is_removed_and_what_is_at_work_is_let_be(
    jackfield: Run, book: Path, home: Path
) -> None:
    (home / "backups").mkdir()
    for name in (
        "backups/book-20260304T170000Z.sqlite.0123abcd.part",
        "backups/book-20260304T170000Z.sqlite.0123abcd.part-journal",
        "book.sqlite.before-0003-20260304T170000Z.bak.0123abcd.part",
        ".book.sqlite.0123abcd.part",
        ".share.json.0123abcd.part",
    ):
        (home / name).write_text("half")
    kept = {
        "notes about a .part file",
        "a film.mkv.part",
        "book.part",
        "book of songs.sqlite.0123abcd.part",
        ".letter.0123abcd.part",
        "book-1.sqlite.77.part",
    }
    for name in kept:
        (home / name).write_text("somebody's own")
    with closing(sqlite3.connect(home / "book-2.sqlite.0123abcd.part", isolation_level=None)) as copy:
        copy.execute("BEGIN EXCLUSIVE")  # a long copy, or the clock was set meanwhile
        for left in home.rglob("*.part*"):
            os.utime(left, (0, 0))
        (home / "book-3.sqlite.0123abcd.part").write_text("a copy that has just begun")
        kept |= {"book-2.sqlite.0123abcd.part", "book-3.sqlite.0123abcd.part"}
        assert set(wrong(jackfield)) == {"leftovers"}
        assert wrong(jackfield, "--mend") == {}
    assert {one.name for one in home.rglob("*") if ".part" in one.name} == kept


def test_a_damaged_book_is_told_without_a_traceback(jackfield: Run, book: Path) -> None:
    for part in book.parent.glob("book.sqlite-*"):
        part.unlink()
    raw = bytearray(book.read_bytes())
    raw[4096 * 3 : 4096 * 12] = b"\xff" * (4096 * 9)
    book.write_bytes(raw)
    done = jackfield("doctor")
    assert done.code in (1, 3)
    assert "Traceback" not in done.err + done.out
    assert "integrity   WRONG" in done.out or "damaged" in done.out + done.err


def test_a_trigger_that_eats_visits_is_found_and_removed_and_a_missing_guard_put_back(
    jackfield: Run, book: Path
) -> None:
    hurt(
        book,
        "CREATE TRIGGER tidy BEFORE INSERT ON visit BEGIN SELECT RAISE(IGNORE); END",
        "DROP TRIGGER finding_kept_delete",
        "DROP TRIGGER visit_kept_update",
        "CREATE TRIGGER visit_kept_update BEFORE UPDATE ON visit BEGIN SELECT 1; END",
        "DROP INDEX ix_visit_revision",
        "CREATE VIEW mine AS SELECT * FROM visit",
    )
    found = wrong(jackfield)
    assert found == {
        "guards": [
            "the trigger 'tidy' belongs to no book: it can drop or change what is recorded",
            "the trigger 'finding_kept_delete' is missing: recorded facts could be changed",
            "the trigger 'visit_kept_update' is not as in a book of this format",
        ],
        "indexes": ["the view 'mine' belongs to no book", "the index 'ix_visit_revision' is missing"],
    }
    assert "doctor --mend mends guards" in jackfield("doctor").out
    assert wrong(jackfield, "--mend") == {}
    assert wrong(jackfield) == {}
    assert jackfield("record", "Norwell", "NV77", "opt:ok").code == 0
    assert jackfield("show", "Norwell", "NV77").code == 0


def test_a_table_that_is_not_as_it_must_be_is_told_and_not_touched(jackfield: Run, book: Path) -> None:
    hurt(book, "CREATE TABLE mine (a)", "ALTER TABLE seal ADD COLUMN b")
    told = ["the table 'mine' belongs to no book", "the table 'seal' is not as in a book of this format"]
    assert wrong(jackfield, "--mend") == {"tables": told}


def test_files_of_somebody_else_that_end_in_part_are_let_be(jackfield: Run, book: Path, home: Path) -> None:
    mine = ["song.mp3.part", "film.part", "notes.sqlite.part", "book.part", ".part", "my.book.sqlite.77.part"]
    ours = [
        "book.sqlite.1a2b3c4d.part",
        ".settings.toml.1a2b3c4d.part",
        "book.sqlite.before-0001-x.bak.0a1b2c3d.part",
    ]
    for name in (*mine, *ours):
        (home / name).write_text("x")
        os.utime(home / name, (0, 0))
    assert wrong(jackfield, "--mend") == {}
    assert {one.name for one in home.iterdir() if one.name.endswith(".part")} == set(mine)


@pytest.mark.parametrize("body", ["{]", "[" * 5000])
def test_what_is_attached_to_a_visit_and_is_no_json_is_named(
    jackfield: Run, book: Path, tmp_path: Path, body: str
) -> None:
    attached = {"case": {"complaint": "no-sound", "fault": "cap-on-plug"}, "readings": {"date": "2026-03-04"}}
    file = tmp_path / "visit.json"
    file.write_text(json.dumps(visit_data("M7", **attached)))
    assert jackfield("record", "--file", file).code == 0
    hurt(book, "DROP TRIGGER attached_private_kept_update", f"UPDATE attached_private SET body = '{body}'")
    assert (
        jackfield("isolate", "--complaint", "no-sound", "--json").code == 0
    )  # it learns from what it can read
    for command in (["dump", tmp_path / "dump.jsonl"], ["show", "Norwell", "M7", "--json"]):
        done = jackfield(*command)
        assert (done.code, "is no valid JSON" in done.err) == (3, True), (command, done.err)


def test_a_visit_of_a_day_that_has_not_come_is_told_and_its_date_can_be_corrected(
    jackfield: Run, book: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("JACKFIELD_TODAY", "2027-03-04")
    jackfield("record", "Tarnow", "T32-6", "opt:ok")
    monkeypatch.setenv("JACKFIELD_TODAY", "2026-03-04")
    assert "dated 2027-03-04, but today is 2026-03-04" in wrong(jackfield)["dates"][0]
    shown = jackfield("show", "Tarnow", "T32-6")
    assert (shown.code, "dated 2027-03-04" in shown.err) == (0, True)
    said = jackfield("doctor").out
    assert (said.count("WRONG"), "--mend" in said, "restore" in said) == (1, False, False)
    visit = shown.err.split()[1].rstrip(",")
    assert jackfield("correct", visit, "date=2026-03-03").code == 0
    assert wrong(jackfield) == {}
    assert "dated" not in jackfield("show", "Tarnow", "T32-6").err
