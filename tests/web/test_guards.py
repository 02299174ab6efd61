"""What keeps strangers, other sites and floods away. ASVS numbers stand in kb/web/guards.py."""

from __future__ import annotations

import io
import re
from pathlib import Path
from typing import Any

import pytest

from kb.domain.visit import visit_from
from tests.web.conftest import FORM, ID, NORWELL, NewPhone, Phone

pytest.importorskip("flask", reason="the extra jackfield[web] is not installed")

PAGES = (
    "/",
    "/?q=norwell",
    "/?q=nothing+like+it",
    "/set?make=Norwell&model=NV40-210",
    "/set?make=Norwell&model=NV40-210&inputs=optical&speakers=free&length=4",
    "/set?make=Nobody&model=X1",
    "/path?make=Norwell&model=NV40-210",
    "/hand-over?make=Norwell&model=NV40-210",
    "/record",
    "/record?make=Norwell&model=NV40-210",
    "/today",
    "/isolate",
    "/isolate?make=Norwell&model=NV40-210",
    "/isolate?complaint=no-sound&signal=optical",
    "/isolate?complaint=no-sound&make=Norwell&model=NV40-210&fixed=output-off",
    "/isolate/without-link",
    "/waiting",
    "/phone",
    "/tones",
    "/guide",
    "/guide/files",
    "/guide/measurements",
    "/offline",
    "/pair",
    "/nothing-here",
)


@pytest.mark.parametrize("path", PAGES)
def test_no_page_has_script_or_style_inside_or_fetches_from_elsewhere(path: str, phone: Phone) -> None:
    answer = phone.get(path)
    policy = answer.headers["Content-Security-Policy"]
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    # Data, which no browser runs.
    page = re.sub(r"<script type=\"application/json\" data-texts>[^<>]*</script>", "", answer.text)
    assert not re.search(r"<style|<script(?![^>]*\bsrc=\"/static/)|\son[a-z]+=|\sstyle=|javascript:", page)
    assert not re.search(r"(?:src|href|action)=\"(?:https?:)?//", answer.text)
    assert answer.headers["X-Content-Type-Options"] == "nosniff"
    assert answer.headers["Referrer-Policy"] == "no-referrer"
    assert answer.headers["Cache-Control"] == "no-store"


def test_the_sheet_may_use_the_style_that_was_written_into_it_and_no_other(phone: Phone) -> None:
    answer = phone.get("/sheet?make=Norwell&model=NV40-210")
    assert answer.status_code == 200
    policy = answer.headers["Content-Security-Policy"]
    assert "unsafe" not in policy
    assert "style-src 'sha256-" in policy
    assert not re.search(r"<script|\sstyle=|\son[a-z]+=", answer.text)


def test_a_foreign_name_that_was_made_to_point_here_gets_nothing(phone: Phone) -> None:
    for host in ("evil.example", "127.0.0.1.evil.example:8437", "[::2]:80", "localhost.evil.example"):
        assert phone.get("/", headers={"Host": host}).status_code == 421
    for host in ("127.0.0.1:8437", "localhost", "[::1]:8437"):
        assert phone.get("/", headers={"Host": host}).status_code in (200, 303)  # the cookie is localhost's


def test_a_form_without_its_token_changes_nothing_and_comes_back_whole(phone: Phone, book: Any) -> None:
    answer = phone.client.post("/record", data={**FORM, "id": ID, "do": "save"})
    assert answer.status_code == 409
    assert "earlier pairing" in answer.text
    assert 'value="OPTICAL OUT"' in answer.text
    assert "too loud in the hall" in answer.text
    assert book.visits("Hallmere", "HM32-5") == []
    token = re.search(r'name="form_token" value="([0-9a-f]{64})"', answer.text)
    assert token is not None
    again = phone.client.post("/record", data={**FORM, "id": ID, "do": "save", "form_token": token[1]})
    assert again.status_code == 303


def test_the_token_of_another_phone_does_not_fit(phone: Phone, new_phone: NewPhone) -> None:
    other = new_phone()
    assert phone.script("/record", {**FORM, "form_token": other.token}).status_code == 409


def test_a_form_that_another_site_sends_is_refused(phone: Phone, book: Any) -> None:
    data = {**FORM, "do": "save"}
    for site in ("cross-site", "same-site"):
        assert phone.post("/record", data, headers={"Sec-Fetch-Site": site}).status_code == 403
    assert book.visits("Hallmere", "HM32-5") == []


def test_nothing_is_changed_by_looking(phone: Phone, book: Any) -> None:
    before = book.store.revision()
    for path in (*PAGES, "/forget", "/read", "/photo"):
        phone.get(path)
    assert book.store.revision() == before
    assert phone.get("/").status_code == 200


def test_a_field_of_a_megabyte_gets_a_clear_answer(phone: Phone, book: Any) -> None:
    answer = phone.post("/record", {**FORM, "note": "x" * 1_000_000, "do": "save"})
    assert answer.status_code == 413
    assert "256 KB" in answer.text
    assert book.visits("Hallmere", "HM32-5") == []
    assert phone.post("/today", {"make": "x" * 1_000_000}).status_code == 413


def parts(fields: dict[str, str], photo: bytes = b"") -> bytes:
    """A form in parts, as a browser sends it."""
    lines = [
        f'--part\r\nContent-Disposition: form-data; name="{name}"\r\n\r\n{value}\r\n'.encode()
        for name, value in fields.items()
    ]
    head = b'--part\r\nContent-Disposition: form-data; name="photo"; filename="panel.jpg"\r\n'
    lines += [head, b"Content-Type: image/jpeg\r\n\r\n", photo, b"\r\n"] if photo else []
    return b"".join([*lines, b"--part--\r\n"])


def test_a_field_of_a_megabyte_among_parts_gets_a_clear_answer(phone: Phone, book: Any) -> None:
    body = parts({**FORM, "note": "x" * 1_000_000, "form_token": phone.token})
    answer = phone.client.post("/record", data=body, content_type="multipart/form-data; boundary=part")
    assert answer.status_code == 413
    assert book.visits("Hallmere", "HM32-5") == []


def test_seventy_megabytes_get_a_clear_answer(phone: Phone, book: Any) -> None:
    body = parts({**FORM, "do": "save", "form_token": phone.token}, b"\xff\xd8" + bytes(70_000_000))
    answer = phone.client.post("/record", data=body, content_type="multipart/form-data; boundary=part")
    assert answer.status_code == 413
    assert "25 MB" in answer.text
    assert book.visits("Hallmere", "HM32-5") == []


def test_a_body_that_does_not_say_how_long_it_is_is_not_read(phone: Phone) -> None:
    answer = phone.client.post(
        "/record", input_stream=io.BytesIO(b"make=Norwell"), headers={"Transfer-Encoding": "chunked"}
    )
    assert answer.status_code == 413


def test_a_form_of_ten_thousand_fields_is_refused(phone: Phone) -> None:
    data = {f"jack-{n % 10_000}-form": "x" for n in range(10_000)}
    assert phone.post("/record", data).status_code == 422
    body = parts({**data, "form_token": phone.token})
    answer = phone.client.post("/record", data=body, content_type="multipart/form-data; boundary=part")
    assert answer.status_code == 413


def test_a_flood_is_slowed_down_for_its_sender_only(app: Any, new_phone: NewPhone) -> None:
    from kb.web.rate_limit import Limit

    flood, calm = new_phone(), new_phone()
    app.extensions["jackfield"].guards.asking = Limit(per_s=0.5, burst=10)
    codes = [flood.get("/?q=norwell&part=1").status_code for _ in range(30)]
    assert codes[0] == 200
    assert 429 in codes
    assert flood.client.get("/").headers["Retry-After"]
    assert calm.get("/").status_code == 200


def test_text_of_people_stands_on_the_page_without_effect(phone: Phone, book: Any) -> None:
    nasty = '<img src=x onerror=alert(1)>"><script>alert(2)</script>{{7*7}}'
    visit = {**NORWELL, "note": nasty, "by": "<b>x</b>", "job": "'><svg onload=a>"}
    visit["jacks"] = [
        {"form": "toslink", "marking": '"><script>OUT', "note": nasty, "setting": nasty, "outcome": "carried"}
    ]
    visit["source"] = {"make": "<i>Nor", "model": "'\"><script>X1"}
    book.record([visit_from(visit)])
    for path in (
        "/set?make=<i>Nor&model='\"><script>X1",
        "/?q=<script>alert(1)</script>",
        "/record?make=<i>Nor&model='\"><script>X1",
        "/set?make=<script>&model=<script>1",
        '/pair?code="><script>',
    ):
        text = phone.get(path).text
        assert "<script>" not in text
        assert "<img src=x" not in text
        assert "<svg onload" not in text
        assert "<i>Nor" not in text
        assert "<b>x" not in text


def test_a_mistake_of_ours_is_told_as_a_number_and_no_more(
    phone: Phone, app: Any, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    def broken(*_: object, **__: object) -> None:
        raise RuntimeError("secret detail in /home/somebody")

    monkeypatch.setattr("kb.book.Book.find", broken)
    answer = phone.get("/?q=norwell")
    assert answer.status_code == 500
    assert "secret" not in answer.text
    number = re.search(r"as ([0-9a-f]{8})", answer.text)
    assert number is not None
    assert number[1] in caplog.text
    assert "secret detail" in caplog.text


def test_no_address_leads_out_of_the_photos(phone: Phone, home: Path) -> None:
    for visit, name in (
        ("../..", "book.sqlite"),
        (ID, "../../book"),
        ("loose", "a" * 64),
        ("", ""),
        (ID, "a" * 64),
    ):
        assert phone.get("/photo", query_string={"visit": visit, "name": name}).status_code == 404
    assert phone.get("/static/../app.py").status_code == 404
