"""Whatever a running program does, other programs leave it its log, and find the book whole."""

from __future__ import annotations

import os
import subprocess
import sys
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from kb.base.errors import BookTrouble
from kb.base.files import Way, moved, readable
from kb.book import Book
from kb.book.book import derived
from kb.cli.commands import jackfield
from kb.exchange.backup import back_up
from kb.exchange.doctor import checks
from kb.index import index_files as files
from kb.store import Store
from kb.store.one_set import visits_of
from kb.store.places import copy_book
from kb.store.revision import standing
from tests.present import Present
from tests.store.helpers import KEY, raw, visit

ROOT = Path(__file__).parents[2]

#: Another program looks at the databases, then leaves: had it been the last with a connection, it would have
#: put away the log (sqlite.org/wal.html, section 2.1).
LOOK = """
import sqlite3, sys
for path in sys.argv[1:]:
    look = sqlite3.connect(path)
    look.execute("SELECT count(*) FROM sqlite_master").fetchone()
    look.close()
"""


def look_in(*paths: Path) -> None:
    subprocess.run([sys.executable, "-c", LOOK, *map(str, paths)], check=True)


def logs_of(home: Path) -> list[Path]:
    generation = files.current(derived(home, None))
    assert generation is not None
    return [home / "book.sqlite-wal", generation / "keys.sqlite-wal"]


def command(*words: str) -> Callable[[Path], object]:
    """A command of the command line, run in this very process."""

    def run(home: Path) -> None:
        filled = [word.replace("HOME", str(home)) for word in words]
        jackfield.main(filled, standalone_mode=False, obj=None)

    return run


def another_book(home: Path) -> None:
    with Book.open(home) as book:
        book.record([visit("NV55-1")])


def in_a_thread(home: Path) -> None:
    thread = threading.Thread(target=another_book, args=(home,))
    thread.start()
    thread.join()


def checking(home: Path) -> None:
    with Store.open(home / "book.sqlite") as store:
        checks(store, home / "book.sqlite")


def making_the_index_anew(home: Path) -> None:
    with Book.open(home) as book:
        book.reindex()


ACTIONS: dict[str, Callable[[Path], Any]] = {
    "opening the store": lambda home: Store.open(home / "book.sqlite").close(),
    "another thread's recording": in_a_thread,
    "asking how it stands": lambda home: standing(home / "book.sqlite"),
    "reading one set": lambda home: visits_of(home / "book.sqlite", KEY),
    "copying": lambda home: copy_book(home / "book.sqlite", home / "a copy"),
    "backing up": lambda home: back_up(home / "book.sqlite", home / "backups"),
    "checking": checking,
    "making the index anew": making_the_index_anew,
    "history": command("--home", "HOME", "history", "Norwell", "NV40-210"),
    "find": command("--home", "HOME", "find", "norwell"),
    "show": command("--home", "HOME", "show", "Norwell", "NV40-210"),
    "path": command("--home", "HOME", "path", "Norwell", "NV40-210"),
    "doctor": command("--home", "HOME", "doctor", "--mend"),
    "dump": command("--home", "HOME", "dump", "HOME/all.jsonl"),
    "reading the book as if it were notes": command("--home", "HOME", "load", "HOME/book.sqlite"),
    "reading its log as if it were visits": command(
        "--home", "HOME", "record", "--file", "HOME/book.sqlite-wal"
    ),
    "taking the book for a bundle": command("--home", "HOME", "share", "in", "HOME/book.sqlite"),
    "writing a dump over the book": command("--home", "HOME", "dump", "HOME/book.sqlite", "--replace"),
}


@pytest.mark.filterwarnings("ignore::ResourceWarning", "ignore::pytest.PytestUnraisableExceptionWarning")
@pytest.mark.parametrize("action", ACTIONS)
def test_the_log_stays_while_a_program_has_the_book_open_whatever_else_it_does(
    tmp_path: Path, action: str
) -> None:
    home = tmp_path / "home"
    with Book.open(home) as held:
        held.record([visit()])
        held.find("norwell")
        held.store.standing()
        before = {log: log.stat().st_ino for log in logs_of(home)[:1]}
        try:
            ACTIONS[action](home)
        except Exception as refused:
            assert type(refused).__name__ in ("BadInput", "Exit"), refused  # noqa: PT017
        look_in(home / "book.sqlite")
        assert {log: log.stat().st_ino for log in before} == before
        held.record([visit("NV41-1")])
    with Store.open(home / "book.sqlite") as store:
        models = {one.source.model for some in Present(store).visits() for one in some}
    assert {"NV40-210", "NV41-1"} <= models


SERVER = """
import sys, threading
from kb.web.book_pool import Books
from pathlib import Path
from tests.store.helpers import visit
books, here = Books(Path(sys.argv[1])), sys.argv[2]
def phone(number):
    for turn in range(int(sys.argv[3])):
        done = books.record([visit(f"{here}{number}-{turn}")])
        print("".join(f"{one.id}\\n" for one in done.recorded), end="", flush=True)
    books.close()
for turn in range(2):
    phones = [threading.Thread(target=phone, args=(f"{turn}{number}",)) for number in range(3)]
    for one in phones: one.start()
    for one in phones: one.join()
"""
ONE = '{"date": "2026-03-04", "by": "RT", "basis": "seen", "source": {"make": "Senda", "model": "S%d"}}'


def test_what_phones_record_is_there_though_the_command_line_and_a_second_server_work_beside(
    tmp_path: Path,
) -> None:
    home = tmp_path / "home"
    with Book.open(home) as book:
        ids = [one.id for one in book.record([visit()]).recorded]
    env = {**os.environ, "JACKFIELD_HOME": str(home), "PYTHONPATH": str(ROOT)}
    servers = [
        subprocess.Popen(
            [sys.executable, "-c", SERVER, str(home), name, "4"],
            cwd=ROOT,
            env=env,
            stdout=subprocess.PIPE,
            text=True,
        )
        for name in ("A", "B")
    ]
    commands: list[tuple[list[str], str]] = [
        (["history", "Norwell", "NV40-210"], ""),
        (["show", "Norwell", "NV40-210"], ""),
    ]
    for turn in range(4):
        commands.insert(turn * 2, (["record", "--json", "--file", "-"], ONE % turn))
    for words, stdin in commands:
        done = subprocess.run(
            [sys.executable, "-m", "kb.cli.main", *words],
            cwd=ROOT,
            env=env,
            input=stdin,
            capture_output=True,
            text=True,
        )
        assert done.returncode == 0, done.stderr
    for server in servers:
        out, _ = server.communicate(timeout=300)
        assert server.returncode == 0
        ids += out.split()
    with Store.open(home / "book.sqlite") as store:
        there = [one for some in Present(store).visits() for one in some]
    assert {one.id for one in there} >= set(ids)
    assert len(ids) == 1 + 2 * 2 * 3 * 4
    assert {f"S{turn}" for turn in range(4)} <= {one.source.model for one in there}
    with raw(home / "book.sqlite") as connection:
        assert connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
    with Book.open(home) as book:
        assert book.find("norwell nv40-210").matches[0].how == "exact"
        assert book.index.check() == []


def test_a_new_home_that_several_programs_open_at_once_holds_what_each_recorded(tmp_path: Path) -> None:
    home = tmp_path / "new" / "home"
    env = {**os.environ, "PYTHONPATH": str(ROOT)}
    command = [sys.executable, "-c", SERVER, str(home)]
    programs = [
        subprocess.Popen([*command, name, "1"], cwd=ROOT, env=env, stdout=subprocess.PIPE, text=True)
        for name in "ABCD"
    ]
    ids: list[str] = []
    for program in programs:
        out, _ = program.communicate(timeout=300)
        assert program.returncode == 0
        ids += out.split()
    with Store.open(home / "book.sqlite") as store:
        assert {one.id for some in Present(store).visits() for one in some} == set(ids)
    assert len(ids) == 4 * 2 * 3
    assert [one.name for one in home.iterdir() if ".part" in one.name] == []


def test_where_a_disk_knows_no_links_a_new_book_is_for_its_owner_alone_all_the_same(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refused(*_: object) -> None:
        raise PermissionError(1, "Operation not permitted")

    monkeypatch.setattr(os, "link", refused)
    book = tmp_path / "home" / "book.sqlite"
    with Store.open(book) as store:
        store.record([visit()])
    assert book.stat().st_mode & 0o777 == 0o600
    copy_book(book, tmp_path / "copy.sqlite")
    with Store.open(tmp_path / "copy.sqlite") as store:
        assert len(store.visits_of(KEY)) == 1
    with pytest.raises(BookTrouble, match="exists already"):
        copy_book(book, tmp_path / "copy.sqlite")


def test_a_file_of_one_byte_is_no_empty_book_and_stays_as_it_is(tmp_path: Path) -> None:
    """SQLite takes its size for 0 (os_unix.c, unixFileSize) and would write over it."""
    path = tmp_path / "book.sqlite"
    path.write_bytes(b"x")
    with pytest.raises(BookTrouble, match="is no book"):
        Store.open(path)
    assert path.read_bytes() == b"x"


def test_a_book_read_without_locks_is_read_again_where_somebody_wrote_to_it_meanwhile(
    tmp_path: Path,
) -> None:
    book = tmp_path / "book.sqlite"
    with Store.open(book) as store:
        store.record([visit()])
    ways = readable(book)
    assert next(ways).stood is None
    way = next(ways)
    assert "immutable" in way.uri
    assert not moved(book, way)
    with Store.open(book) as store:
        store.record([visit("NV41-1")])
        assert moved(book, way)
    assert moved(book, way)
    assert next(ways).stood is None  # the safe way again


def test_a_book_that_may_only_be_read_tells_where_it_was_written_to_meanwhile(
    tmp_path: Path,
) -> None:
    book = tmp_path / "book.sqlite"
    with Store.open(book) as writer:
        writer.record([visit()])
    whole_way = Way(f"{book.as_uri()}?mode=ro&immutable=1", None)
    with Store.open(book) as reader:
        reader._place._way = whole_way._replace(stood=(0,))  # type: ignore[attr-defined]
        reader._engine.dispose()
        with pytest.raises(BookTrouble, match="changed while it was being read"):
            reader.visits_of(KEY)
