"""A book with one set in it, its phone page, and phones that are paired or strangers."""

from __future__ import annotations

import re
import shutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from kb.book import Book
from kb.visit import visit_from

if TYPE_CHECKING:
    from werkzeug.test import TestResponse

NORWELL = {
    "date": "2026-03-04",
    "by": "RT",
    "basis": "tested",
    "job": "J-104",
    "source": {"make": "Norwell", "model": "NV40-210", "year": 2014, "display": "flat"},
    "jacks": [
        {
            "form": "toslink",
            "marking": "DIGITAL AUDIO OUT",
            "speakers": "stay-on",
            "outcome": "carried",
            "items": ["optical cable 2 m"],
            "setting": "sound menu, digital output: PCM",
        },
        {"form": "rca-pair", "marking": "AUDIO"},
        {"form": "jack-3.5", "marking": "HEADPHONE", "speakers": "mute"},
    ],
    "note": "Cable behind the cabinet in the kitchen.",
}
#: A visit as the form sends it.
FORM = {
    "make": "Hallmere",
    "model": "HM32-5",
    "date": "2026-03-05",
    "by": "CQ",
    "job": "J-9",
    "note": "Client: too loud in the hall.",
    "jack-0-form": "toslink",
    "jack-0-marking": "OPTICAL OUT",
    "jack-0-outcome": "carried",
    "jack-0-speakers": "stay-on",
    "jack-1-form": "rca-pair",
    "jack-1-marking": "AUDIO",
}
ID = "0199a000-0000-7000-8000-000000000001"


@dataclass
class Phone:
    """A phone with its cookies, and the form token of the page it has open."""

    client: Any
    codes: list[str]
    token: str = ""
    sent: dict[str, str] = field(default_factory=dict)

    def get(self, path: str, **more: Any) -> TestResponse:
        answer = self.client.get(path, **more)
        found = re.search(r'name="form_token" value="([0-9a-f]{64})"', answer.text)
        self.token = found[1] if found else self.token
        return answer

    def post(self, path: str, data: dict[str, Any], **more: Any) -> TestResponse:
        return self.client.post(path, data={"form_token": self.token, **data}, **more)

    def script(self, path: str, data: dict[str, Any]) -> TestResponse:
        """As the page's own script sends it."""
        return self.post(path, data, headers={"Accept": "application/json"})

    def pair(self) -> Phone:
        self.get("/pair")
        answer = self.post("/pair", {"code": self.codes[-1]})
        assert answer.status_code == 303, answer.text
        self.get("/record")
        return self


NewPhone = Callable[[], Phone]


@pytest.fixture(scope="session")
def written(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The book that each test gets a copy of."""
    folder = tmp_path_factory.mktemp("written") / "book"
    with Book.open(folder) as book:
        book.record([visit_from(NORWELL)])
        book.find("norwell")
    return folder


@pytest.fixture
def home(tmp_path: Path, written: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("JACKFIELD_TODAY", "2026-03-06")
    return Path(shutil.copytree(written, tmp_path / "book"))


@pytest.fixture
def codes() -> list[str]:
    """Every pairing code that the terminal showed."""
    return []


@pytest.fixture
def app(home: Path, codes: list[str]) -> Iterator[Any]:
    pytest.importorskip("flask", reason="the extra jackfield[web] is not installed")
    from kb.web.app import make_app

    made = make_app(home, tell=codes.append)
    yield made
    made.extensions["jackfield"].books.close()


@pytest.fixture
def stranger(app: Any, codes: list[str]) -> Phone:
    return Phone(app.test_client(), codes)


@pytest.fixture
def new_phone(app: Any, codes: list[str]) -> NewPhone:
    def make() -> Phone:
        # The pairing limit is a matter of test_pairing; here phones come one after another.
        from kb.web.limits import Limit

        app.extensions["jackfield"].guards.pairing = Limit(per_s=1000, burst=1000)
        return Phone(app.test_client(), codes).pair()

    return make


@pytest.fixture
def phone(new_phone: NewPhone) -> Phone:
    return new_phone()


@pytest.fixture
def book(home: Path) -> Iterator[Book]:
    """The book as the laptop sees it."""
    with Book.open(home) as opened:
        yield opened
