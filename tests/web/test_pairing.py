"""Who may look into the book: phones whose owner has seen the terminal, and nobody else."""

from __future__ import annotations

import hashlib
import json
import stat
from pathlib import Path
from typing import Any

import pytest

from tests.web.conftest import Phone

pytest.importorskip("flask", reason="the extra jackfield[web] is not installed")

from kb.web.pairing import CODE_S, IDLE_S, WHOLE_S, WRONG, Phones

#: A key that is there twice, and a phone that was seen at no time: readers of JSON disagree on both.
KEY = hashlib.sha256(b"anything").hexdigest()
TWICE = f'{{"{KEY}": [0, 0], "{KEY}": [9e11, 9e11]}}'
ENDLESS = f'{{"{KEY}": [Infinity, Infinity]}}'


def test_a_stranger_sees_the_pairing_page_and_nothing_of_the_book(stranger: Phone) -> None:
    for path in ("/", "/?q=norwell", "/set?make=Norwell&model=NV40-210", "/today", "/record", "/waiting"):
        answer = stranger.get(path)
        assert answer.status_code == 303
        assert answer.location == "/pair"
    page = stranger.get("/pair").text
    assert "Norwell" not in page
    assert "kitchen" not in page


def test_a_stranger_can_neither_record_nor_ask_what_phones_ask(stranger: Phone, book: Any) -> None:
    assert stranger.post("/record", {"make": "Norwell", "model": "X1", "do": "save"}).status_code == 401
    assert stranger.script("/read", {"jack-0-form": "toslink"}).status_code == 401
    assert stranger.get("/token", headers={"Accept": "application/json"}).status_code == 401
    assert book.visits("Norwell", "X1") == []


def test_the_code_of_the_terminal_pairs_a_phone(stranger: Phone, codes: list[str]) -> None:
    stranger.get("/pair")
    answer = stranger.post("/pair", {"code": f"{codes[-1][:4]}-{codes[-1][4:]}".lower()})
    assert answer.location == "/"
    assert "Which set?" in stranger.get("/").text


def test_the_link_of_the_terminal_only_fills_the_code_in(stranger: Phone, codes: list[str]) -> None:
    stranger.get("/pair")
    page = stranger.get(f"/pair?code={codes[-1]}")
    assert f'value="{codes[-1]}"' in page.text
    assert stranger.get("/").status_code == 303  # a link that is fetched ahead pairs nobody


def test_a_code_pairs_one_phone_only(app: Any, stranger: Phone, codes: list[str]) -> None:
    stranger.get("/pair")
    code = codes[-1]
    stranger.post("/pair", {"code": code})
    second = Phone(app.test_client(), codes)
    assert second.post("/pair", {"code": code}).status_code == 403
    second.get("/pair")
    assert len(codes) == 2
    assert codes[1] != code


def test_wrong_codes_are_slowed_down(stranger: Phone) -> None:
    stranger.get("/pair")
    tries = [stranger.post("/pair", {"code": "AAAA-AAAA"}).status_code for _ in range(8)]
    assert tries[:5] == [403] * 5
    assert set(tries[5:]) == {429}


def test_the_cookie_is_out_of_reach_of_script_and_of_other_sites(stranger: Phone, codes: list[str]) -> None:
    stranger.get("/pair")
    cookie = stranger.post("/pair", {"code": codes[-1]}).headers["Set-Cookie"]
    assert "HttpOnly" in cookie
    assert "SameSite=Strict" in cookie
    assert "Path=/" in cookie


def test_over_tls_the_cookie_is_held_to_this_host(home: Path) -> None:
    from kb.web.app import make_app

    codes: list[str] = []
    app = make_app(home, tell=codes.append, secure=True)
    client = app.test_client()
    client.get("/pair")
    cookie = client.post("/pair", data={"code": codes[-1]}).headers["Set-Cookie"]
    assert cookie.startswith("__Host-jackfield=")
    assert "Secure" in cookie
    assert "Domain" not in cookie
    app.extensions["jackfield"].books.close()


def test_a_forgotten_phone_is_a_stranger_again(phone: Phone) -> None:
    phone.get("/phone")
    assert "forgotten" in phone.post("/forget", {}).text
    assert phone.get("/").status_code == 303


class TestPhones:
    """The rules of pairing, with a clock of our own."""

    @pytest.fixture
    def now(self) -> list[float]:
        return [1_000_000.0]

    @pytest.fixture
    def told(self) -> list[str]:
        return []

    @pytest.fixture
    def phones(self, tmp_path: Path, now: list[float], told: list[str]) -> Phones:
        return Phones(tmp_path / "phones.json", told.append, lambda: now[0])

    def test_a_code_is_worth_ten_minutes_then_the_terminal_shows_another(
        self, phones: Phones, now: list[float], told: list[str]
    ) -> None:
        first = phones.offered()
        now[0] += CODE_S + 1
        assert phones.pair(first) is None
        assert phones.offered() != first
        assert len(told) == 2

    def test_many_wrong_codes_replace_the_code(self, phones: Phones, told: list[str]) -> None:
        first = phones.offered()
        for _ in range(WRONG):
            assert phones.pair("22222222") is None
        assert phones.pair(first) is None
        assert len(told) == 2

    def test_without_an_offered_code_nothing_pairs(self, phones: Phones) -> None:
        assert phones.pair("") is None

    def test_a_paired_phone_stays_paired_when_the_server_begins_anew(
        self, phones: Phones, tmp_path: Path, now: list[float]
    ) -> None:
        token = phones.pair(phones.offered()) or ""
        again = Phones(tmp_path / "phones.json", lambda code: None, lambda: now[0])
        assert again.known(token)

    def test_what_is_kept_is_no_key_and_for_its_owner_alone(self, phones: Phones, tmp_path: Path) -> None:
        token = phones.pair(phones.offered()) or ""
        file = tmp_path / "phones.json"
        assert token not in file.read_text()
        assert stat.S_IMODE(file.stat().st_mode) == 0o600

    @pytest.mark.parametrize("kept", ["", "[]", '{"a": 1}', "{" * 5000, "\x00\xff", TWICE, ENDLESS])
    def test_a_damaged_file_pairs_nobody(self, kept: str, tmp_path: Path) -> None:
        (tmp_path / "phones.json").write_text(kept)
        phones = Phones(tmp_path / "phones.json", lambda code: None)
        assert not phones.known("anything")
        assert phones.pair(phones.offered())

    def test_a_phone_that_is_away_for_a_month_is_forgotten(self, phones: Phones, now: list[float]) -> None:
        token = phones.pair(phones.offered()) or ""
        now[0] += IDLE_S / 2
        assert phones.known(token)
        now[0] += IDLE_S + 1
        assert not phones.known(token)

    def test_after_half_a_year_every_phone_pairs_anew(self, phones: Phones, now: list[float]) -> None:
        token = phones.pair(phones.offered()) or ""
        for _ in range(round(WHOLE_S / IDLE_S * 2)):
            now[0] += IDLE_S / 2
            known = phones.known(token)
        assert not known

    def test_the_file_holds_hashes(self, phones: Phones, tmp_path: Path) -> None:
        phones.pair(phones.offered())
        (name,) = json.loads((tmp_path / "phones.json").read_text())
        assert len(name) == 64
