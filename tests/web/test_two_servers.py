"""Two servers on one home, and other programs that change what they stand on."""

from __future__ import annotations

import os
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import pytest

from kb.domain.visit import visit_from
from tests.web.conftest import FORM, ID, NORWELL, Phone

pytest.importorskip("flask", reason="the extra jackfield[web] is not installed")

from kb.base.errors import BookTrouble
from kb.book import Book
from kb.store import places
from kb.web.book_pool import Books
from kb.web.pairing import Phones
from tests.web.test_serve import Line, Served

ROOT = Path(__file__).parents[2]


def command(home: Path, *words: str) -> subprocess.CompletedProcess[str]:
    """A command in a process of its own."""
    run = [sys.executable, "-m", "kb.cli.main", "--home", str(home), *words]
    return subprocess.run(run, capture_output=True, text=True, cwd=ROOT, timeout=120)


@pytest.fixture
def another(home: Path) -> Iterator[Callable[[], tuple[Any, Phone, list[str]]]]:
    """Another server on the same home, and a phone that it does not know."""
    from kb.web.app import make_app

    with ExitStack() as stack:

        def make() -> tuple[Any, Phone, list[str]]:
            codes: list[str] = []
            app = make_app(home, tell=codes.append)
            stack.callback(app.extensions["jackfield"].books.close)
            return app, Phone(app.test_client(), codes), codes

        yield make


def test_a_phone_that_one_server_paired_is_let_in_by_the_other(phone: Phone, another: Any) -> None:
    _, beside, _ = another()
    cookie = phone.client.get_cookie("jackfield")
    assert beside.get("/").status_code == 303
    beside.client.set_cookie("jackfield", cookie.value)
    assert beside.get("/").status_code == 200


def test_the_code_of_one_server_pairs_nobody_with_the_other(stranger: Phone, another: Any) -> None:
    stranger.get("/pair")
    _, beside, _ = another()
    beside.get("/pair")
    assert beside.post("/pair", {"code": stranger.codes[-1]}).status_code == 403


def test_a_phone_that_is_forgotten_anywhere_is_forgotten_everywhere(phone: Phone, another: Any) -> None:
    _, beside, _ = another()
    beside.client.set_cookie("jackfield", phone.client.get_cookie("jackfield").value)
    assert beside.get("/").status_code == 200
    phone.post("/forget", {})
    assert beside.get("/").status_code == 303
    _, later, _ = another()
    later.client.set_cookie("jackfield", phone.client.get_cookie("jackfield") or "x")
    assert later.get("/").status_code == 303


def test_what_two_servers_pair_and_forget_at_once_is_neither_lost_nor_back(tmp_path: Path) -> None:
    file = tmp_path / "phones.json"
    servers = [Phones(file, lambda code: None) for _ in range(4)]
    gone = [servers[0].pair(servers[0].offered()) or "" for _ in range(10)]
    together = threading.Barrier(4)

    def work(number: int) -> list[str]:
        mine, paired = servers[number], []
        together.wait()
        for round_ in range(10):
            if number % 2:
                mine.forget(gone[round_])
            else:
                paired.append(mine.pair(mine.offered()) or "")
        return paired

    with ThreadPoolExecutor(4) as pool:
        kept = [token for tokens in pool.map(work, range(4)) for token in tokens]
    for server in (*servers, Phones(file, lambda code: None)):
        assert all(server.known(token) for token in kept)
        assert not any(server.known(token) or server.has(token) for token in gone)


def test_looking_in_never_brings_a_forgotten_phone_back(tmp_path: Path) -> None:
    """The last use is written now and then: not over what another server has forgotten meanwhile."""
    now = [1_000_000.0]
    file = tmp_path / "phones.json"
    one, other = (Phones(file, lambda code: None, lambda: now[0]) for _ in range(2))
    lost, kept = (one.pair(one.offered()) or "" for _ in range(2))
    assert other.known(lost)
    assert other.known(kept)
    one.forget(lost)
    now[0] += 7_200
    assert other.known(kept)  # writes its last use
    assert not other.known(lost)
    assert not Phones(file, lambda code: None, lambda: now[0]).known(lost)


def test_a_file_that_cannot_be_read_just_now_is_not_written_over(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    phones = Phones(tmp_path / "phones.json", lambda code: None)
    token = phones.pair(phones.offered()) or ""

    def refused(*_: object) -> bytes:
        raise OSError(24, "Too many open files")

    begun = Phones(tmp_path / "phones.json", lambda code: None)
    with monkeypatch.context() as broken:
        broken.setattr(Path, "read_bytes", refused)
        with pytest.raises(BookTrouble, match="Too many open files"):
            begun.pair(begun.offered())
        assert not begun.has(token)
    assert begun.known(token)


def test_a_code_whose_phone_could_not_be_kept_is_still_good(tmp_path: Path) -> None:
    folder = tmp_path / "book"
    phones = Phones(folder / "phones.json", lambda code: None)
    code = phones.offered()
    folder.write_text("a file where the folder belongs")
    with pytest.raises(BookTrouble):
        phones.pair(code)
    folder.unlink()
    assert phones.pair(code)


def test_forgetting_phones_holds_for_a_server_that_runs_already(home: Path) -> None:
    """On its own port the second server cannot start; the phones are forgotten all the same."""
    served = Served(home)
    try:
        with Line(served.port) as phone:
            phone.pair(served.said["code"])
            assert phone.ask("/")[0] == 200
            beside = command(home, "serve", "--port", str(served.port), "--forget-phones")
            assert beside.returncode == 3
            assert "1 phone forgotten" in beside.stderr
            assert phone.ask("/")[0] == 303
    finally:
        served.end()
    again = Served(home)
    try:
        with Line(again.port) as phone_again:
            phone_again.cookie = phone.cookie
            assert phone_again.ask("/")[0] == 303
    finally:
        again.end()


def leave(phone: Phone) -> None:
    """As a thread of a server does at its end: close its book."""
    phone.client.application.extensions["jackfield"].books.close()


def test_two_servers_lose_no_job_of_today(phone: Phone, another: Any, home: Path) -> None:
    _, beside, _ = another()
    beside.client.set_cookie("jackfield", phone.client.get_cookie("jackfield").value)
    phone.get("/today")
    beside.get("/today")
    together = threading.Barrier(2)

    def add(one: Phone, name: str) -> list[int]:
        together.wait()
        try:
            return [
                one.post("/today", {"make": "Norwell", "model": f"{name}{n}"}).status_code for n in range(8)
            ]
        finally:
            leave(one)

    with ThreadPoolExecutor(2) as pool:
        done = [pool.submit(add, phone, "A"), pool.submit(add, beside, "B")]
        assert {code for one in done for code in one.result()} == {303}
    with Book.open(home) as book:
        jobs = book.jobs.every()
    assert len({job.reference for job in jobs}) == 16
    assert sorted(job.sets[0].model for job in jobs) == sorted(
        f"{name}{n}" for name in "AB" for n in range(8)
    )


def test_a_visit_that_is_sent_to_both_servers_has_its_photo_once(
    phone: Phone, another: Any, home: Path
) -> None:
    import io

    from tests.web.test_photos import picture

    _, beside, _ = another()
    beside.client.set_cookie("jackfield", phone.client.get_cookie("jackfield").value)
    beside.get("/record")
    together = threading.Barrier(2)

    def send(one: Phone) -> Any:
        together.wait()
        data = {**FORM, "id": ID, "do": "save", "photo": (io.BytesIO(picture()), "panel.jpg")}
        try:
            return one.post("/record", data, headers={"Accept": "application/json"}).json
        finally:
            leave(one)

    with ThreadPoolExecutor(2) as pool:
        told = list(pool.map(send, (phone, beside)))
    assert [one["visit"] for one in told] == [ID, ID]
    assert [one["left_out"] for one in told] == [[], []]
    assert len(list((home / "photos" / ID).iterdir())) == 1


# -- the book is another file ----------------------------------------------------------------------------


def replaced(home: Path, by: Path) -> None:
    """As ``restore`` puts a backup in the place of a book that cannot be read."""
    for ending in ("-wal", "-shm", ""):
        part = home / f"book.sqlite{ending}"
        if part.exists():
            part.rename(home / f"old.sqlite{ending}")
    os.link(by, home / "book.sqlite")


@pytest.fixture
def copy(home: Path) -> Path:
    """A backup of the book as it is, made by the command."""
    done = command(home, "backup")
    assert done.returncode == 0, done.stderr
    (made,) = (home / "backups").glob("*.sqlite")
    return made


def test_a_server_notices_that_the_book_is_another_file(phone: Phone, home: Path, copy: Path) -> None:
    assert phone.script("/record", {**FORM, "model": "LOST-1", "do": "save"}).status_code == 200
    replaced(home, copy)
    assert phone.script("/record", {**FORM, "id": ID, "do": "save"}).status_code == 200
    shown = command(home, "show", "Hallmere", "HM32-5")
    assert shown.returncode == 0, shown.stderr
    assert command(home, "show", "Hallmere", "LOST-1").returncode == 1
    assert "Hallmere" in phone.get("/?q=HM32-5").text


def test_what_is_saved_into_a_book_that_is_replaced_meanwhile_is_not_acknowledged(
    home: Path, copy: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from kb.book import Book

    books = Books(home)
    visit = visit_from({**NORWELL, "source": {"make": "Hallmere", "model": "HM32-5"}, "id": ID})
    record = Book.record

    def late(self: Book, visits: Any) -> Any:
        done = record(self, visits)
        replaced(home, copy)
        return done

    with monkeypatch.context() as meanwhile:
        meanwhile.setattr(Book, "record", late)
        with pytest.raises(BookTrouble, match="replaced"):
            books.record([visit])
    assert books.record([visit]).recorded  # sent again, it is kept
    assert [one.id for one in books.here().visits("Hallmere", "HM32-5")] == [ID]
    books.close()


def test_after_a_restore_the_running_server_has_the_restored_book(home: Path, copy: Path) -> None:
    served = Served(home)
    try:
        with Line(served.port) as phone:
            phone.pair(served.said["code"])
            for number in range(4):
                form = {**FORM, "model": f"LATE-{number}", "do": "save"}
                assert phone.ask("/record", form)[0] == 200
            assert "LATE-2" in phone.ask("/?q=late-2")[1]
            done = command(home, "restore", str(copy), "--replace")
            assert done.returncode == 0, done.stderr
            assert phone.ask("/record", {**FORM, "id": ID, "do": "save"})[0] == 200
            assert "HM32-5" in phone.ask("/?q=hm32-5")[1]
            assert phone.ask("/set?make=Hallmere&model=LATE-2")[0] == 404
            assert phone.ask("/set?make=Norwell&model=NV40-210")[0] == 200
    finally:
        code, said = served.end()
    assert code == 0
    assert "mistake" not in said
    shown = command(home, "show", "Hallmere", "HM32-5")
    assert shown.returncode == 0, shown.stderr
    assert command(home, "doctor").returncode == 0


def test_while_another_program_holds_the_book_a_save_is_refused_plainly_and_kept(
    phone: Phone, home: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As a migration or a restore does; the other program is one of its own."""
    monkeypatch.setattr(places, "PATIENCE", 0.5)
    holding = (
        "import sqlite3, sys\n"
        "book = sqlite3.connect(sys.argv[1], isolation_level=None)\n"
        "book.execute('BEGIN IMMEDIATE')\n"
        "print('held', flush=True)\n"
        "sys.stdin.read()\n"
    )
    phone.get("/record")
    other = subprocess.Popen(
        [sys.executable, "-c", holding, str(home / "book.sqlite")],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    assert other.stdout is not None
    assert other.stdout.readline() == "held\n"
    try:
        answer = phone.script("/record", {**FORM, "id": ID, "do": "save"})
        assert answer.status_code == 503
        assert "Traceback" not in answer.text
        assert phone.get("/set?make=Norwell&model=NV40-210").status_code == 200
        typed = phone.post("/record", {**FORM, "id": ID, "do": "save"})
        assert typed.status_code == 503
        assert 'value="OPTICAL OUT"' in typed.text
    finally:
        other.communicate()
    assert phone.script("/record", {**FORM, "id": ID, "do": "save"}).json["already"] is False
