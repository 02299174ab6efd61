"""The command that serves the page: where it answers, what it shows, how it ends, many phones at once."""

from __future__ import annotations

import http.client
import json
import os
import re
import signal
import socket
import subprocess
import sys
import threading
import urllib.parse
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pytest

from tests.web.conftest import FORM

pytest.importorskip("flask", reason="the extra jackfield[web] is not installed")
pytest.importorskip("h11", reason="the extra jackfield[web] is not installed")


class Line:
    """One phone's line to a server that runs: plain HTTP, a cookie, a form token."""

    def __init__(self, port: int) -> None:
        self._http = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
        self.cookie = self.token = ""

    def ask(self, path: str, form: dict[str, str] | None = None) -> tuple[int, str]:
        headers = {"Cookie": self.cookie, "Accept": "application/json" if form else "text/html"}
        body = None
        if form is not None:
            body = urllib.parse.urlencode({**form, "form_token": self.token})
            headers["Content-Type"] = "application/x-www-form-urlencoded"
        self._http.request("POST" if form is not None else "GET", path, body, headers)
        answer = self._http.getresponse()
        text = answer.read().decode()
        if given := answer.getheader("Set-Cookie"):
            self.cookie = given.split(";")[0]
        return answer.status, text

    def pair(self, code: str) -> None:
        assert self.ask("/pair", {"code": code})[0] == 303
        self.token = json.loads(self.ask("/token")[1])["form_token"]

    def close(self) -> None:
        self._http.close()

    def __enter__(self) -> Line:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


class Served:
    """``jackfield serve`` as a process of its own."""

    def __init__(self, home: Path, *options: str) -> None:
        command = [sys.executable, "-m", "kb.cli.main", "serve", "--json", "--port", "0", *options]
        env = {**os.environ, "JACKFIELD_HOME": str(home), "JACKFIELD_TODAY": "2026-03-06"}
        self.process = subprocess.Popen(
            command,
            env=env,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            cwd=Path(__file__).parents[2],
        )
        assert self.process.stdout is not None
        line = self.process.stdout.readline()
        if not line:
            raise AssertionError(self.process.communicate()[1])
        self.said = json.loads(line)
        self.port = urllib.parse.urlsplit(self.said["url"]).port or 0

    def end(self) -> tuple[int, str]:
        self.process.send_signal(signal.SIGTERM)
        _, said = self.process.communicate(timeout=30)
        return self.process.returncode, said


@pytest.fixture
def served(home: Path) -> Iterator[Served]:
    running = Served(home)
    yield running
    if running.process.poll() is None:
        running.end()


def test_it_answers_on_this_machine_only_and_ends_when_asked(served: Served) -> None:
    assert served.said["url"] == f"http://127.0.0.1:{served.port}/"
    assert served.said["pair"].endswith(f"/pair?code={served.said['code']}")
    line = Line(served.port)
    assert line.ask("/")[0] == 303
    line.pair(served.said["code"])
    assert "Norwell" in line.ask("/?q=nv40")[1]
    line.close()
    others = [name for name in _addresses() if not name.startswith("127.")]
    for name in others:
        with pytest.raises(OSError), socket.create_connection((name, served.port), timeout=2):
            pass
    assert served.end() == (0, "")


def _addresses() -> set[str]:
    from kb.web.server import lan_names

    return {name for name in lan_names() if re.fullmatch(r"[\d.]+", name)}


def test_the_next_code_is_shown_in_the_terminal(served: Served) -> None:
    with Line(served.port) as line, Line(served.port) as stranger:
        line.pair(served.said["code"])
        stranger.ask("/pair")
    code, said = served.end()
    assert code == 0
    assert re.search(r"code [0-9A-Z]{4}-[0-9A-Z]{4}", said)
    assert served.said["code"] not in said.replace("-", "")


def test_many_phones_at_once_lose_nothing(served: Served, book: Any) -> None:
    """Twelve phones, three visits each, two sets between them; every visit is sent twice."""
    from kb.web.visit_form import new_id

    codes = [served.said["code"]]
    first = Line(served.port)
    first.pair(codes[0])
    ids = [[new_id() for _ in range(3)] for _ in range(12)]
    together = threading.Barrier(12)

    def work(mine: list[str]) -> list[int]:
        line = Line(served.port)
        line.cookie, line.token = first.cookie, first.token
        together.wait()
        got = []
        for number, visit in enumerate(mine):
            form = {**FORM, "id": visit, "model": f"HM32-{number % 2}", "note": visit, "do": "save"}
            got += [line.ask("/record", form)[0], line.ask("/record", form)[0]]
            got.append(line.ask("/set?make=Norwell&model=NV40-210")[0])
        line.close()
        return got

    with ThreadPoolExecutor(12) as pool:
        results = [code for got in pool.map(work, ids) for code in got]
    first.close()
    assert {code for code in results if code != 429} == {200}
    there = {visit.id for key in ("HM32-0", "HM32-1") for visit in book.visits("Hallmere", key)}
    assert there == {visit for mine in ids for visit in mine}


def test_a_port_that_is_taken_is_named(served: Served, home: Path) -> None:
    command = [sys.executable, "-m", "kb.cli.main", "--home", str(home), "serve", "--port", str(served.port)]
    second = subprocess.run(command, capture_output=True, text=True, cwd=Path(__file__).parents[2])
    assert second.returncode == 3
    assert f"port {served.port}" in second.stderr
    assert "--port" in second.stderr


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--key", "k.pem"], "--cert"),
        (["--behind", "jack.example.org", "--lan"], "--behind"),
        (["--cert", "missing.pem", "--port", "0"], "--cert"),
    ],
)
def test_options_that_do_not_go_together_are_named(
    options: list[str], said: str, home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    from kb.cli.main import run

    assert run(["--home", str(home), "serve", *options]) == 2
    assert said in capsys.readouterr().err


def test_behind_a_proxy_it_answers_under_that_name_over_tls_only(home: Path) -> None:
    served = Served(home, "--behind", "jack.example.org")
    assert served.said["url"] == "https://jack.example.org/"
    port = served.port or _port_of(served.process.pid)
    line = http.client.HTTPConnection("127.0.0.1", port, timeout=30)
    headers = {
        "X-Forwarded-Host": "jack.example.org",
        "X-Forwarded-Proto": "https",
        "X-Forwarded-For": "192.0.2.7",
    }
    line.request(
        "POST",
        "/pair",
        f"code={served.said['code']}",
        {**headers, "Content-Type": "application/x-www-form-urlencoded"},
    )
    answer = line.getresponse()
    assert answer.status == 303
    assert (answer.getheader("Set-Cookie") or "").startswith("__Host-jackfield=")
    assert answer.getheader("Strict-Transport-Security")
    line.close()
    assert served.end()[0] == 0


def _port_of(pid: int) -> int:
    """The port that a process listens on (Linux)."""
    sockets = {os.readlink(f) for f in Path(f"/proc/{pid}/fd").iterdir() if f.is_symlink() or f.exists()}
    for line in Path("/proc/net/tcp").read_text().splitlines()[1:]:
        words = line.split()
        if words[3] == "0A" and f"socket:[{words[9]}]" in sockets:
            return int(words[1].split(":")[1], 16)
    pytest.skip("the port of a process cannot be told on this system")


def test_over_tls_a_certificate_is_enough(home: Path, tmp_path: Path) -> None:
    import ssl

    made = ["openssl", "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-subj", "/CN=van", "-days", "2"]
    pem = tmp_path / "van.pem"
    try:
        subprocess.run(
            [*made, "-keyout", str(tmp_path / "key"), "-out", str(pem)], check=True, capture_output=True
        )
    except FileNotFoundError:
        pytest.skip("no openssl to make a certificate with")
    served = Served(home, "--cert", str(pem), "--key", str(tmp_path / "key"))
    trust = ssl.create_default_context(cafile=str(pem))
    trust.check_hostname = False
    line = http.client.HTTPSConnection("127.0.0.1", served.port, timeout=30, context=trust)
    line.request("GET", "/pair")
    answer = line.getresponse()
    assert answer.status == 200
    answer.read()
    line.close()
    assert served.said["url"].startswith("https://")
    assert served.end()[0] == 0


def test_the_address_as_a_qr_code_reads_back(tmp_path: Path) -> None:
    """Read by a decoder that is not ours (ZXing), where it is installed."""
    from kb.web.server import qr

    reader = pytest.importorskip("zxingcpp", reason="no QR decoder is installed")
    image = pytest.importorskip("PIL.Image", reason="Pillow is not installed")
    url = "http://127.0.0.1:8437/pair?code=ABCD2345"
    rows = [re.sub(r"\x1b\[[\d;]*m", "", line) for line in qr(url).splitlines() if line.strip("\n")]
    width = max(map(len, rows))
    halves = {" ": (0, 0), "█": (1, 1), "▀": (1, 0), "▄": (0, 1)}
    picture = image.new("L", (width, 2 * len(rows)), 0)
    for y, row in enumerate(rows):
        for x, sign in enumerate(row):
            for half, light in enumerate(halves[sign]):
                picture.putpixel((x, 2 * y + half), 255 * light)
    big = picture.resize((picture.width * 6, picture.height * 6), 0)
    assert [found.text for found in reader.read_barcodes(big)] == [url]


def test_while_the_book_is_learned_anew_nobody_waits(home: Path) -> None:
    """Many new findings: set pages go on with what was learned before, a set that changed with its own."""
    from kb.domain.visit import visit_from
    from kb.evidence import Evidence
    from kb.web.book_pool import Books
    from tests.web.conftest import NORWELL

    books = Books(home)
    book = books.here()
    view = book.view("Norwell", "NV40-210")
    book.connect(view.panel, view.source)
    before = books.learned.kept()
    assert before is not None
    many = [{**NORWELL, "source": {"make": "Norwell", "model": f"NW{n}"}} for n in range(40)]
    books.record([visit_from(one) for one in many])

    def nearly(key: str) -> Evidence:
        now = book.standing()
        assert now is not None
        return books.learned.nearly(lambda: book.store, now, key)

    with books._beside:  # somebody learns already
        assert nearly("NORWELL/NW3").visits == before.evidence.visits + 1  # that set's own visit is known
        assert nearly(view.source.key) is before.evidence
        assert books.learned.kept() is before
    nearly(view.source.key)
    for _ in range(100):
        if books._beside.acquire(timeout=0.1):
            books._beside.release()
            if books.learned.kept() is not before:
                break
    after = books.learned.kept()
    assert after is not None
    assert after.standing == book.standing()
    books.close()
