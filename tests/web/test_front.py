"""Strangers who say nothing, or say it slowly, hold up nobody; what each may use is bounded.

Slow senders as in OWASP ASVS 5.0, 13.2.6 and 15.2.2 (from memory). Real servers on 127.0.0.1, where all
connections come from one address: the worst place for a phone to be in.
"""

from __future__ import annotations

import datetime
import gc
import http.client
import socket
import ssl
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any

import pytest

pytest.importorskip("flask", reason="the extra jackfield[web] is not installed")
pytest.importorskip("h11", reason="the extra jackfield[web] is not installed")

from kb.web.connections import Front
from kb.web.guards import Bounds
from kb.web.server import Running, Serving
from tests.web.test_serve import Line, Served

MANY = 100
HEAD = b"GET /pair HTTP/1.1\r\nHost: 127.0.0.1\r\n"


@pytest.fixture(scope="session")
def certificate(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A certificate for 127.0.0.1 with its key, in one file."""
    pytest.importorskip("cryptography", reason="the extra jackfield[sign] is not installed")
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes, serialization
    from cryptography.hazmat.primitives.asymmetric import ec
    from cryptography.x509.oid import NameOID

    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "van")])
    now = datetime.datetime.now(datetime.UTC)
    made = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(1)
        .not_valid_before(now - datetime.timedelta(days=1))
        .not_valid_after(now + datetime.timedelta(days=2))
        .sign(key, hashes.SHA256())
    )
    file = tmp_path_factory.mktemp("tls") / "van.pem"
    pem = serialization.Encoding.PEM
    form, bare = serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    file.write_bytes(made.public_bytes(pem) + key.private_bytes(pem, form, bare))
    return file


def trusting() -> ssl.SSLContext:
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    context.check_hostname, context.verify_mode = False, ssl.CERT_NONE
    return context


class Tls(Line):
    """A phone's line over TLS."""

    def __init__(self, port: int) -> None:
        super().__init__(port)
        self._http = http.client.HTTPSConnection("127.0.0.1", port, timeout=60, context=trusting())


def dial(port: int, *, tls: bool = False) -> socket.socket:
    line = socket.create_connection(("127.0.0.1", port), timeout=10)
    return trusting().wrap_socket(line) if tls else line


# What a stranger does who means no good, each on a connection of his own.


def says_nothing(port: int, tls: bool) -> socket.socket:
    return dial(port)


def says_half_of_hello(port: int, tls: bool) -> socket.socket:
    line = dial(port)
    line.sendall(b"\x16\x03\x01" if tls else b"GET ")
    return line


def begins_a_request(port: int, tls: bool) -> socket.socket:
    line = dial(port, tls=tls)
    line.sendall(HEAD + b"X-Slow: ")
    return line


def begins_a_form(port: int, tls: bool) -> socket.socket:
    line = dial(port, tls=tls)
    line.sendall(b"POST /pair HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length: 200000\r\n\r\ncode=")
    return line


def reads_no_answer(port: int, tls: bool) -> socket.socket:
    line = dial(port, tls=tls)
    line.sendall(b"GET /static/page.js HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n" * 40)
    return line


STRANGERS = (says_nothing, says_half_of_hello, begins_a_request, begins_a_form, reads_no_answer)


@contextmanager
def trickling(lines: list[socket.socket]) -> Iterator[None]:
    """A byte on each line every half second, as long as the other end takes it."""
    ended = threading.Event()

    def trickle() -> None:
        while not ended.wait(0.5):
            for line in list(lines):
                try:
                    line.send(b"a")
                except OSError:
                    lines.remove(line)
                    line.close()

    thread = threading.Thread(target=trickle)
    thread.start()
    try:
        yield
    finally:
        ended.set()
        thread.join()
        for line in lines:
            line.close()


@pytest.mark.parametrize("tls", [False, True], ids=["plain", "TLS"])
def test_a_hundred_slow_or_silent_strangers_hold_up_no_phone(
    tls: bool, home: Path, request: pytest.FixtureRequest
) -> None:
    """Each answer within 3 s, where one stranger may take 10; scripts/measure.py strangers has figures."""
    options = ["--cert", str(request.getfixturevalue("certificate"))] if tls else []
    served = Served(home, *options)
    try:
        with (Tls if tls else Line)(served.port) as phone:
            phone.pair(served.said["code"])
            lines: list[socket.socket] = []
            for number in range(MANY):
                with suppress(OSError):  # it did not even get in
                    lines.append(STRANGERS[number % len(STRANGERS)](served.port, tls))
            with trickling(lines):
                for number in range(10):
                    if number % 2:  # now on the line that it had, now on a new one
                        phone.close()
                    begun = time.monotonic()
                    assert phone.ask("/?q=nv40")[0] == 200
                    assert time.monotonic() - begun < 3
    finally:
        assert served.end()[0] == 0


# -- what each may use ---------------------------------------------------------------------------------

SHORT = Bounds(hello_s=1, head_s=1, idle_s=1, body_s=1, slowest=1_000_000, end_s=5)


@pytest.fixture
def serving(home: Path) -> Iterator[Callable[..., tuple[Running, list[str]]]]:
    """Make a server with these bounds."""
    with ExitStack() as stack:

        def make(bounds: Bounds = SHORT, **how: Any) -> tuple[Running, list[str]]:
            codes: list[str] = []
            running = Running(home, None, Serving(port=0, **how), lambda _, code: codes.append(code), bounds)
            thread = threading.Thread(target=running.run)
            thread.start()
            stack.callback(thread.join, 30)
            stack.callback(running.stop)
            running.offer()
            return running, codes

        yield make


def closed_after(line: socket.socket, most_s: float = 5) -> tuple[float, bytes]:
    """Seconds until the other end hangs up, and what it said before."""
    begun = time.monotonic()
    line.settimeout(most_s)
    said = b""
    try:
        while more := line.recv(65_536):
            said += more
    except TimeoutError:
        raise AssertionError(f"still open after {most_s} s") from None
    except OSError:
        pass
    finally:
        line.close()
    return time.monotonic() - begun, said


@pytest.mark.parametrize("stranger", STRANGERS[:4], ids=lambda one: one.__name__)
@pytest.mark.parametrize("tls", [False, True], ids=["plain", "TLS"])
def test_who_does_not_go_on_is_hung_up_on(
    stranger: Callable[[int, bool], socket.socket], tls: bool, serving: Any, request: pytest.FixtureRequest
) -> None:
    how = {"certificate": request.getfixturevalue("certificate")} if tls else {}
    running, _ = serving(**how)
    took, said = closed_after(stranger(running.port, tls))
    assert 0.5 < took < 4
    assert not said or said.startswith(b"HTTP/1.1 408 ")


def test_a_byte_now_and_then_wins_no_time(serving: Any) -> None:
    running, _ = serving()
    line = begins_a_request(running.port, False)
    begun = time.monotonic()
    with pytest.raises(OSError):  # noqa: PT012  # whichever byte it is
        while time.monotonic() - begun < 8:
            line.sendall(b"a")
            time.sleep(0.1)
    line.close()
    assert time.monotonic() - begun < 5


def test_headers_without_end_are_refused(serving: Any) -> None:
    running, _ = serving(Bounds())
    line = dial(running.port)
    line.sendall(HEAD + b"X-Long: " + b"a" * 40_000)
    _, said = closed_after(line)
    assert said.startswith(b"HTTP/1.1 431 ")


def test_strangers_of_one_address_make_room_for_one_another(serving: Any) -> None:
    running, _ = serving(replace(Bounds(), lines_per_address=5))
    lines = [says_nothing(running.port, False) for _ in range(9)]
    for gone in lines[:4]:  # who waited longest goes first
        assert closed_after(gone)[0] < 5
    for here in lines[4:]:
        here.sendall(HEAD + b"Connection: close\r\n\r\n")
        assert closed_after(here)[1].startswith(b"HTTP/1.1 200 ")


def test_many_from_one_address_turn_nobody_of_another_away(serving: Any) -> None:
    """Addresses of 127.0.0.0/8 are all this machine's own; not on every system."""

    def dial_from(address: str) -> socket.socket:
        try:
            return socket.create_connection(("127.0.0.1", running.port), 10, source_address=(address, 0))
        except OSError:
            pytest.skip("this system has no 127.0.0.2")

    running, _ = serving(replace(Bounds(), lines_per_address=8, lines_of_strangers=10))
    calm = dial_from("127.0.0.3")
    time.sleep(0.1)
    crowd = [dial_from("127.0.0.2") for _ in range(30)]
    other = dial_from("127.0.0.4")
    for line in (calm, other):
        line.sendall(HEAD + b"Connection: close\r\n\r\n")
        assert closed_after(line)[1].startswith(b"HTTP/1.1 200 ")
    for line in crowd:
        line.close()


def test_strangers_turn_no_phone_away_nor_a_phone_with_many_lines_another(serving: Any) -> None:
    running, codes = serving(replace(Bounds(), lines_per_address=4, lines_per_phone=3, lines_of_phones=4))
    with ExitStack() as stack:

        def line(like: Line | None = None) -> Line:
            made = stack.enter_context(Line(running.port))
            if like:
                made.cookie, made.token = like.cookie, like.token
            return made

        greedy, calm = line(), line()
        greedy.pair(codes[-1])
        calm.pair(running.offer())
        more = [line(greedy) for _ in range(6)]
        for one in more:
            assert one.ask("/token")[0] == 200
        crowd = [says_nothing(running.port, False) for _ in range(20)]
        assert calm._http.sock is not None
        assert calm.ask("/token")[0] == 200  # on the line that it had
        time.sleep(0.2)
        front = running._front
        assert sorted(map(len, front._phones.values())) == [1, 3]
        assert len(front._strangers) == 4
        for silent in crowd:
            silent.close()


def test_what_a_phone_asks_at_once_is_answered_a_few_at_a_time(serving: Any) -> None:
    running, codes = serving(replace(Bounds(), answers_per_phone=2))
    together, most = [0], [0]
    lock = threading.Lock()

    def slow() -> str:
        with lock:
            together[0] += 1
            most[0] = max(most[0], together[0])
        time.sleep(0.1)
        with lock:
            together[0] -= 1
        return "done"

    running.app.view_functions["waiting"] = slow
    with Line(running.port) as phone:
        phone.pair(codes[-1])

        def ask() -> None:
            with Line(running.port) as line:
                line.cookie = phone.cookie
                assert line.ask("/waiting")[0] == 200

        threads = [threading.Thread(target=ask) for _ in range(8)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join(30)
    assert most[0] == 2


@pytest.mark.parametrize("length", [300_000, 40_000_000, 10**12])
def test_a_body_that_is_too_long_is_answered_and_kept_nowhere(length: int, serving: Any) -> None:
    running, _ = serving(Bounds())
    line = dial(running.port)
    head = f"POST /pair HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length: {length}\r\n\r\n"
    line.sendall(head.encode())
    if length < 1_000_000:
        line.sendall(b"a" * length)
    line.settimeout(10)
    assert line.recv(65_536).startswith(b"HTTP/1.1 413 ")
    line.close()


def test_a_large_form_of_a_paired_phone_arrives_whole(serving: Any, home: Path) -> None:
    from tests.web.conftest import FORM, ID
    from tests.web.test_photos import picture

    running, codes = serving(Bounds())
    with Line(running.port) as phone:
        phone.pair(codes[-1])
        fields = {**FORM, "id": ID, "do": "save", "form_token": phone.token}
        from tests.web.test_guards import parts

        body = parts(fields, picture((2000, 1500)) + b"\0" * 5_000_000)
        headers = {"Cookie": phone.cookie, "Content-Type": "multipart/form-data; boundary=part"}
        phone._http.request("POST", "/record", body, {**headers, "Expect": "100-continue"})
        answer = phone._http.getresponse()
        answer.read()
        assert answer.status == 303
    assert len(list((home / "photos" / ID).iterdir())) == 1


def test_a_visit_that_is_being_saved_when_the_server_is_stopped_is_answered(serving: Any) -> None:
    running, codes = serving(Bounds())
    begun = threading.Event()

    def slow() -> str:
        begun.set()
        time.sleep(0.5)
        return "saved"

    running.app.view_functions["waiting"] = slow
    with Line(running.port) as phone:
        phone.pair(codes[-1])
        threading.Thread(target=lambda: (begun.wait(10), running.stop())).start()
        assert phone.ask("/waiting") == (200, "saved")
        # The phone keeps its line open: the server does not wait for another request on it.
        ended = time.monotonic()
        while running._front._listener.fileno() >= 0:
            assert time.monotonic() - ended < 8
            time.sleep(0.05)


class Ending(socket.socket):
    """A listener whose server is told to stop in the very moment in which somebody is let in."""

    front: Front

    def accept(self) -> Any:
        come = super().accept()
        self.front.stop()
        self.front._ended.set()  # before the loop hears of the one who came
        return come


@pytest.mark.filterwarnings("error::pytest.PytestUnraisableExceptionWarning")
def test_who_comes_in_while_the_server_stops_is_hung_up_on() -> None:
    with Ending() as listener:
        listener.bind(("127.0.0.1", 0))
        listener.listen()
        listener.front = Front(listener, lambda *_: [], lambda _: "", Bounds())
        serving = threading.Thread(target=listener.front.serve)
        serving.start()
        with dial(listener.getsockname()[1]) as line:
            serving.join(30)
            gc.collect()  # a socket that nobody closed would say so here
            assert line.recv(1) == b""


def test_plain_http_at_the_tls_port_is_told_so(serving: Any, certificate: Path) -> None:
    running, _ = serving(Bounds(), certificate=certificate)
    line = dial(running.port)
    line.sendall(HEAD + b"\r\n")
    assert b"https only" in closed_after(line)[1]


def test_the_promises_are_these() -> None:
    """Who changes one of them changes what people can rely on: on purpose, and here as well."""
    from kb.read.limits import DECODER, DECODER_WAIT_S, PHOTO_BYTES
    from kb.web.guards import MOST_BODY, MOST_FORM, MOST_PARTS, Guards
    from kb.web.pairing import CODE_S, IDLE_S, MOST, WHOLE_S, WRONG, Phones

    assert Bounds() == Bounds(
        hello_s=5,
        head_s=10,
        idle_s=30,
        body_s=20,
        slowest=16_384,
        end_s=20,
        head=32_768,
        body_of_stranger=262_144,
        body_of_phone=67_108_864,
        lines_per_address=24,
        lines_of_strangers=128,
        lines_per_phone=12,
        lines_of_phones=512,
        answers_per_phone=4,
        threads=16,
        stranger_threads=2,
    )
    assert asdict(DECODER) == {
        "edge": 2048,
        "quality": 82,
        "pixels": 60_000_000,
        "pixels_whole": 25_000_000,
        "scans": 64,
        "memory": 629_145_600,
        "seconds": 10,
    }
    assert (PHOTO_BYTES, DECODER_WAIT_S) == (26_214_400, 30)
    assert (MOST_BODY, MOST_FORM, MOST_PARTS) == (67_108_864, 262_144, 1200)
    assert (CODE_S, IDLE_S, WHOLE_S, WRONG, MOST) == (600, 2_592_000, 15_552_000, 20, 500)
    guards = Guards(Phones(Path("nowhere"), lambda code: None), frozenset())
    guards.asking._now = guards.pairing._now = lambda: 0.0
    for limit, burst, per_s in ((guards.asking, 80, 20), (guards.pairing, 5, 1 / 12)):
        assert [limit.take("one") for _ in range(burst)] == [0.0] * burst
        assert limit.take("one") == pytest.approx(1 / per_s)
        assert limit.take("another") == 0
