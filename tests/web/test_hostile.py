"""Whatever is sent: never a mistake of ours, never a traceback, and the book stays as it was.

There is no schema to try against (four small JSON answers for the page's own script), so every route gets any
method, body, header and address from hypothesis, as a stranger and as a paired phone whose form token is
missing (OWASP ASVS 5.0, 2.2 and 16.5, from memory). Then a real server gets bytes that are no HTTP at all.
"""

from __future__ import annotations

import socket
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.conftest import LONG
from tests.web.conftest import FORM, Laptop, Phone

pytest.importorskip("flask", reason="the extra jackfield[web] is not installed")

ADDRESSES = (
    "/", "/set", "/path", "/sheet", "/hand-over", "/tag", "/withdraw", "/record", "/read",
    "/recorded", "/photo", "/today", "/bring", "/isolate",
    "/isolate/turns", "/isolate/without-link", "/pair", "/forget", "/phone", "/waiting", "/offline", "/token",
    "/health", "/manifest.webmanifest", "/sw.js", "/static/page.js", "/static/../app.py",
    "/static/%2e%2e/%2e%2e/settings.py",
    "/%00", "/%0d%0aSet-Cookie:x", "//", "/\u2603", "/set/../../etc/passwd",
)  # fmt: skip
NAMES = (
    "q", "part", "make", "model", "inputs", "speakers", "taken", "length", "lang", "visit", "name", "correct",
    "waiting", "code", "complaint", "a", "without", "mended", "fixed", "signal", "items", "input", "left",
    "do",    "id", "supersedes", "date", "year", "size_in", "photo_kept", "jack-0-form", "jack-0-marking",
    "jack-0-items",    "jack-9999-form", "done", "length_m", "form_token", "job",
)  # fmt: skip
SAID = st.one_of(
    st.text(max_size=60),
    st.sampled_from(
        ["Norwell", "NV40-210", "line-3.5", "optical", "no-sound", "red-glow:dark",
         "nan", "inf", "-1", "1e308",
         "9" * 400, "../../../etc/passwd", "\r\nSet-Cookie: jackfield=x", "'; DROP TABLE visit; --",
         "{{7*7}}", "<script>", "\x00", "\ud800", "\u202e", "add:toslink:X", "drop:0", "2026-13-45"]
    ),
)  # fmt: skip
FIELDS = st.lists(st.tuples(st.sampled_from(NAMES), SAID), max_size=8)
HEADERS = st.dictionaries(
    st.sampled_from(
        ["Accept", "Content-Type", "Origin", "Referer", "Sec-Fetch-Site", "X-Form-Token", "X-Forwarded-Host",
         "X-Forwarded-For", "X-HTTP-Method-Override", "Cookie", "Range", "If-None-Match", "Accept-Encoding",
         "Accept-Language", "Transfer-Encoding"]
    ),
    st.one_of(
        st.sampled_from(
            ["application/json", "multipart/form-data; boundary=x", "multipart/form-data", "text/xml",
             "https://evil.example", "null", "cross-site", "jackfield=x", "bytes=0-", "gzip;q=nan", "chunked"]
        ),
        st.text(st.characters(min_codepoint=32, max_codepoint=126), max_size=40),
    ),
    max_size=4,
)  # fmt: skip
METHODS = st.sampled_from(
    ["GET", "POST", "HEAD", "PUT", "DELETE", "PATCH", "OPTIONS", "TRACE", "PROPFIND", "X"]
)
BODIES = st.one_of(
    FIELDS.map(dict), st.binary(max_size=300), st.just(b'--x\r\nContent-Disposition: form-data; name="a"')
)
_SETTINGS = settings(
    max_examples=2000 if LONG else 50,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)


def unharmed(answer: Any) -> None:
    assert answer.status_code < 500, (answer.status_code, answer.get_data()[:400])
    assert b"Traceback" not in answer.get_data()
    assert "frame-ancestors 'none'" in answer.headers["Content-Security-Policy"]
    assert "unsafe" not in answer.headers["Content-Security-Policy"]
    assert "\n" not in answer.headers.get("Location", "")


def state(book: Any, home: Any) -> tuple[Any, ...]:
    return len(book.visits("Norwell", "NV40-210")), book.jobs.every(), (home / "photos").exists()


@pytest.mark.parametrize("who", ["stranger", "paired"])
@_SETTINGS
@given(method=METHODS, address=st.sampled_from(ADDRESSES), asked=FIELDS, headers=HEADERS, body=BODIES)
def test_nothing_that_is_sent_is_a_mistake_of_ours_or_changes_the_book(
    who: str,
    request: pytest.FixtureRequest,
    book: Any,
    home: Any,
    app: Any,
    method: str,
    address: str,
    asked: list[tuple[str, str]],
    headers: dict[str, str],
    body: Any,
) -> None:
    from kb.web.rate_limit import Limit

    app.extensions["jackfield"].guards.asking = Limit(per_s=1e6, burst=1e6)
    phone: Phone = request.getfixturevalue("stranger" if who == "stranger" else "phone")
    before = state(book, home)
    safe = [(name, value.encode("utf-8", "replace").decode()) for name, value in asked]
    if isinstance(body, dict):
        body = {name: value.encode("utf-8", "replace").decode() for name, value in body.items()}
        body.pop("form_token", None)
    if address == "/forget":
        headers.pop("X-Form-Token", None)
    answer = phone.client.open(address, method=method, query_string=safe, headers=headers, data=body)
    answer.get_data()
    answer.close()
    unharmed(answer)
    if who == "stranger":
        assert b"Norwell NV40" not in answer.get_data()
        assert b"J-104" not in answer.get_data()
    assert state(book, home) == before


@pytest.mark.parametrize(
    "address",
    ["/record", "/today", "/photo", "/label", "/panel", "/read", "/isolate", "/forget", "/withdraw"],
)
@pytest.mark.parametrize(
    "wrong",
    [{}, {"form_token": ""}, {"form_token": "0" * 64}, {"form_token": "\u2603"}],
    ids=["none", "empty", "made up", "no ASCII"],
)
def test_no_form_is_taken_without_the_token_of_this_phone(
    address: str, wrong: dict[str, str], phone: Phone, book: Any
) -> None:
    """CSRF (ASVS 5.0, 3.5.1): on every address that takes a form."""
    answer = phone.client.post(address, data={**FORM, **wrong}, headers={"Accept": "application/json"})
    assert answer.status_code == 409
    assert book.visits("Hallmere", "HM32-5") == []
    crossing = phone.post(address, FORM, headers={"Sec-Fetch-Site": "cross-site"})
    assert crossing.status_code == 403
    assert book.visits("Hallmere", "HM32-5") == []


def test_every_address_that_takes_a_form_is_in_the_test_above(app: Any) -> None:
    takes = {rule.rule for rule in app.url_map.iter_rules() if "POST" in (rule.methods or ())}
    known = {
        "/record",
        "/today",
        "/photo",
        "/label",
        "/panel",
        "/read",
        "/isolate",
        "/forget",
        "/withdraw",
        "/pair",
    }
    assert takes == known


def test_a_token_from_before_pairing_is_never_taken_over(stranger: Phone) -> None:
    """Session fixation (ASVS 5.0, 7.2.4): pairing makes a new token, whatever cookie was brought along."""
    stranger.client.set_cookie("jackfield", "planted-by-somebody", domain="localhost")
    stranger.pair()
    cookie = stranger.client.get_cookie("jackfield")
    assert cookie is not None
    assert cookie.value != "planted-by-somebody"
    assert len(cookie.value) >= 43
    assert (cookie.http_only, cookie.same_site) == (True, "Strict")


NO_HTTP = (
    b"\r\n\r\n",
    b"GET\r\n\r\n",
    b"GET / HTTP/9.9\r\n\r\n",
    b"GET / HTTP/1.1\r\n\r\n",
    b"GET / HTTP/1.1\r\nHost: evil.example\r\n\r\n",
    b"GET http://evil.example/ HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n",
    b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\nHost: evil.example\r\n\r\n",
    b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\nX: " + b"a" * 70_000 + b"\r\n\r\n",
    b"GET /" + b"a" * 70_000 + b" HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n",
    b"POST /pair HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length: -5\r\n\r\n",
    b"POST /pair HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length: x\r\n\r\n",
    b"POST /pair HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length: 5\r\nContent-Length: 6\r\n\r\nabcdef",
    b"POST /pair HTTP/1.1\r\nHost: 127.0.0.1\r\nTransfer-Encoding: chunked\r\n\r\nzz\r\n",
    b"POST /pair HTTP/1.1\r\nHost: 127.0.0.1\r\nTransfer-Encoding: chunked\r\n\r\n5\r\ncode=\r\n0\r\n\r\n",
    b"GET /%zz%00 HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n",
    b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\nBad Header: x\r\n : y\r\n\r\n",
    b"GET /?q=%0d%0aSet-Cookie:%20x=y HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n",
    b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03" + b"\x00" * 60,
    b"\x00" * 1000,
)


def test_bytes_that_are_no_proper_request_get_an_answer_or_none_and_harm_nothing(laptop: Laptop) -> None:
    for sent in NO_HTTP:
        with socket.create_connection(("127.0.0.1", laptop.port), timeout=10) as line:
            line.settimeout(3)
            got = b""
            try:  # the server may hang up before all is sent
                line.sendall(sent)
                line.shutdown(socket.SHUT_WR)
                while more := line.recv(65_536):
                    got += more
            except OSError:
                pass
        head = got.split(b"\r\n\r\n")[0]
        assert b" 500 " not in head.split(b"\r\n")[0], (sent[:80], got[:300])
        assert b"Traceback" not in got, sent[:80]
        assert b"Set-Cookie: x" not in head
        if b"evil.example" in sent:
            assert b" 200 " not in head.split(b"\r\n")[0], sent[:80]
    with socket.create_connection(("127.0.0.1", laptop.port), timeout=10) as line:
        line.sendall(b"GET /health HTTP/1.1\r\nHost: 127.0.0.1\r\nConnection: close\r\n\r\n")
        assert line.recv(100).startswith(b"HTTP/1.1 204")
