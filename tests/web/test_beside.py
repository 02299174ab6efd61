"""Other programs use the home of a server while phones record: what was acknowledged is in the book."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from kb.book import Book
from tests.conftest import LONG
from tests.present import Present
from tests.store.helpers import raw
from tests.store.test_old_books import GONE, OLD, OTHER, TWO, old_book
from tests.web.conftest import FORM
from tests.web.test_serve import Line, Served

pytest.importorskip("flask", reason="the extra jackfield[web] is not installed")
pytest.importorskip("h11", reason="the extra jackfield[web] is not installed")

ROOT = Path(__file__).parents[2]
ENOUGH = 40  #: visits that a phone sends at most in one test


def command(home: Path, *words: str | Path) -> subprocess.CompletedProcess[str]:
    """A command as somebody at the laptop types it, to its end."""
    line = [sys.executable, "-m", "kb.cli.main", "--home", str(home), *map(str, words)]
    return subprocess.run(line, capture_output=True, text=True, cwd=ROOT, timeout=120)


class Recording(threading.Thread):
    """A phone that records one visit after another, at some servers in turn, until it is told to stop."""

    def __init__(self, servers: Sequence[Served], model: str = "HM32-5") -> None:
        super().__init__(daemon=True)
        self.lines = [Line(server.port) for server in servers]
        for line, server in zip(self.lines, servers, strict=True):
            if "cookie" not in server.said:  # a code is for one phone: the next one is that phone's other tab
                line.pair(server.said["code"])
                server.said |= {"cookie": line.cookie, "token": line.token}
            line.cookie, line.token = server.said["cookie"], server.said["token"]
        self.model = model
        self.acknowledged: list[str] = []
        self.refused: list[str] = []
        self.failed: BaseException | None = None
        self.enough = threading.Event()

    def run(self) -> None:
        from kb.web.visit_form import new_id

        try:
            while not self.enough.is_set() and len(self.acknowledged) < ENOUGH:
                visit = new_id()
                form = {**FORM, "model": self.model, "id": visit, "note": visit, "do": "save"}
                status, said = self.lines[len(self.acknowledged) % len(self.lines)].ask("/record", form)
                if status == 200:
                    assert json.loads(said)["visit"] == visit
                    self.acknowledged.append(visit)
                elif status != 429:
                    self.refused.append(f"{status} {said[:200]}")
                time.sleep(0.02)
        except BaseException as failed:
            self.failed = failed

    def at_work(self) -> None:
        """Wait until it has recorded something more."""
        so_far = len(self.acknowledged)
        for _ in range(300):
            if len(self.acknowledged) > so_far or not self.is_alive():
                return
            time.sleep(0.05)


@contextmanager
def recording(*servers: Served, model: str = "HM32-5") -> Iterator[Recording]:
    """A phone that records meanwhile; nothing that it sent was refused."""
    phone = Recording(servers, model)
    phone.start()
    phone.at_work()
    try:
        yield phone
        phone.at_work()
    finally:
        phone.enough.set()
        phone.join(60)
        for line in phone.lines:
            line.close()
    assert phone.failed is None
    assert phone.refused == []
    assert phone.acknowledged


@pytest.fixture
def serve(home: Path) -> Iterator[Any]:
    """Starts a server on ``home``; all are stopped at the end."""
    running: list[Served] = []

    def begin() -> Served:
        running.append(Served(home))
        return running[-1]

    yield begin
    for served in running:
        if served.process.poll() is None:
            served.end()


def ids(home: Path, model: str = "HM32-5") -> set[str]:
    """The visits to that set as a program that begins now finds them; the book is sound."""
    with raw(home / "book.sqlite") as book:
        assert book.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
    with Book.open(home) as book_now:
        assert book_now.find(f"hallmere {model}").matches[0].how == "exact"
        return {visit.id for visit in book_now.visits("Hallmere", model)}


@pytest.mark.parametrize(
    "words",
    [("history", "Hallmere", "HM32-5"), ("find", "kitchen"), ("doctor", "--mend")],
    ids=lambda words: words[0],
)
def test_a_phone_records_while_somebody_types_commands(
    words: tuple[str, ...], serve: Any, home: Path
) -> None:
    served = serve()
    with recording(served) as phone:
        for _ in range(3):
            before = list(phone.acknowledged)
            typed = command(home, *words, "--json")
            assert typed.returncode == 0, typed.stdout + typed.stderr
            if words[0] == "history":
                assert {one["id"] for one in json.loads(typed.stdout)["visits"]} >= set(before)
            phone.at_work()
    assert served.end() == (0, "")
    assert ids(home) == set(phone.acknowledged)


def test_two_servers_on_one_home_lose_nothing_and_tell_the_same(serve: Any, home: Path) -> None:
    one, other = serve(), serve()
    with recording(one, other, model="HM1") as first, recording(other, one, model="HM2") as second:
        second.at_work()
    with Line(one.port) as line, Line(other.port) as elsewhere:
        line.cookie, elsewhere.cookie = one.said["cookie"], other.said["cookie"]
        for here in (line, elsewhere):
            for model in ("HM1", "HM2"):
                assert f"Hallmere {model}" in here.ask(f"/?q=hallmere+{model}")[1]
    assert one.end()[0] == 0
    assert ids(home, "HM1") == set(first.acknowledged)  # while the other one goes on
    assert other.end()[0] == 0
    assert ids(home, "HM1") == set(first.acknowledged)
    assert ids(home, "HM2") == set(second.acknowledged)


def test_a_long_file_is_loaded_while_a_phone_records(serve: Any, home: Path, tmp_path: Path) -> None:
    served = serve()
    notes = tmp_path / "notes.csv"
    rows = (f"Aldvik,A{n},2024-03-04,toslink,OPTICAL OUT,carried\n" for n in range(1500))
    notes.write_text("make,model,date,form,marking,outcome\n" + "".join(rows))
    with recording(served) as phone:
        typed = command(home, "load", notes, "--json")
        assert typed.returncode == 0, typed.stderr
        assert json.loads(typed.stdout)["visits"] == 1500
    assert served.end()[0] == 0
    assert ids(home) == set(phone.acknowledged)
    with Book.open(home) as book:
        assert all(book.visits("Aldvik", f"A{n}") for n in (0, 749, 1499))


def test_a_backup_is_restored_while_a_phone_records(serve: Any, home: Path) -> None:
    """What was recorded before is in the book that is kept, what comes after in the new one."""
    served = serve()
    with recording(served) as phone:
        backed_up = command(home, "backup", "--json")
        assert backed_up.returncode == 0, backed_up.stderr
        phone.at_work()
        restored = command(home, "restore", "--replace", "--json")
        assert restored.returncode == 0, restored.stderr
        phone.at_work()  # what was on its way has arrived
        after = len(phone.acknowledged)
        phone.at_work()
    assert served.end()[0] == 0
    kept = Path(json.loads(restored.stdout)["kept"])
    with raw(kept) as old:
        assert old.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        before = {name for (name,) in old.execute("SELECT id FROM visit")}
    now = ids(home)
    assert set(phone.acknowledged) <= before | now
    assert set(phone.acknowledged[after:]) <= now


@pytest.mark.parametrize("stamp", [OLD[0], OLD[-1]] if LONG else [OLD[0]])
def test_an_old_book_is_first_opened_by_two_servers_and_a_command_at_once(stamp: str, tmp_path: Path) -> None:
    home = tmp_path / "old"
    home.mkdir()
    old_book(home / "book.sqlite", stamp)
    begun: list[Any] = []
    openers = [threading.Thread(target=lambda: begun.append(Served(home))) for _ in range(2)]
    for opener in openers:
        opener.start()
    typed = command(home, "record", "Hallmere", "HM32-5", "opt=OPTICAL OUT:ok", "--json")
    for opener in openers:
        opener.join()
    assert typed.returncode == 0, typed.stderr
    assert len(begun) == 2
    recorded = json.loads(typed.stdout)["recorded"][0]["visit"]
    try:
        with recording(*begun) as phone:
            seen = command(home, "history", "Hallmere", "HM32-5", "--json")
            assert recorded in seen.stdout
    finally:
        ended = [served.end()[0] for served in begun]
    assert ended == [0, 0]
    assert ids(home) == {*phone.acknowledged, recorded}
    with Book.open(home) as book:
        assert [visit.id for visit in book.visits("Norwell", "NV40-210")] == [TWO]
        assert [visit.id for visit in book.visits("Norwell", "NV3")] == [OTHER]
        assert GONE in {entry.visit.id for entry in Present(book.store).history_of("NORWELL/NV2")}
    assert os.listdir(home).count("book.sqlite") == 1
