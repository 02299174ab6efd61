"""A book with one set in it, its phone page, and phones that are paired or strangers."""

from __future__ import annotations

import json
import re
import shutil
import socket
import subprocess
import sys
import threading
from collections import OrderedDict
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

sys.path.insert(0, str(Path(__file__).parents[2] / "scripts"))
import thumb
from thumb import ARGS, SCREEN

from kb.base.messages import messages
from kb.book import Book
from kb.domain.visit import visit_from
from tests.pretended import sentences

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
def pretended(home: Path) -> Iterator[None]:
    """The book is in a language of which every sentence of the catalogue is marked (``spoken.marked``)."""
    from kb.web import isolating
    from tests.web.spoken import marked

    (home / "settings.toml").write_text('language = "es"\n')
    folder = home / "pretended"
    folder.mkdir()
    with sentences("es", marked(messages("es")), folder) as patch:
        patch.setattr(isolating, "_made", OrderedDict())
        yield


@pytest.fixture
def stranger(app: Any, codes: list[str]) -> Phone:
    return Phone(app.test_client(), codes)


@pytest.fixture
def new_phone(app: Any, codes: list[str]) -> NewPhone:
    def make() -> Phone:
        # The pairing limit is a matter of test_pairing; here phones come one after another.
        from kb.web.rate_limit import Limit

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


# -- a real browser ------------------------------------------------------------------------------------


class Laptop:
    """The phone page on one port of this machine; its link can be cut and mended."""

    def __init__(self, home: Path) -> None:
        self.home = home
        self.codes: list[str] = []
        with socket.socket() as free:  # a port by number: it must be the same one when the link is mended
            free.bind(("127.0.0.1", 0))
            self.port = free.getsockname()[1]
        self.up = False
        self.mend()

    def mend(self) -> None:
        from kb.web.server import Running, Serving

        how = Serving(port=self.port)
        self.running = Running(self.home, None, how, lambda _, code: self.codes.append(code))
        answering = threading.Event()
        self.thread = threading.Thread(target=self.running.run, args=(answering.set,))
        self.thread.start()
        assert answering.wait(30)
        self.up = True

    @property
    def code(self) -> str:
        return self.running.offer()

    def cut(self) -> None:
        if self.up:
            self.running.stop()
            self.thread.join(30)
            self.up = False

    def url(self, path: str) -> str:
        return f"http://127.0.0.1:{self.port}{path}"


@pytest.fixture(scope="session")
def chromium_path() -> str:
    """The system's Chromium; tests that need it are skipped where it is missing, and say why."""
    found = thumb.chromium()
    if not found:
        pytest.skip("no chromium on this machine: apt-get install chromium")
    return found


@pytest.fixture(scope="session")
def playing(chromium_path: str) -> Iterator[Any]:
    sync_api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    if trouble := driver_trouble([sys.executable, "-m", "playwright", "--version"]):
        pytest.skip(f"the browser's driver does not start: {trouble}")
    with sync_api.sync_playwright() as play:
        yield play


def driver_trouble(asked: list[str]) -> str:
    """Why the driver, a program of its own, does not start (it may lack a library of the system), or ""."""
    try:
        done = subprocess.run(asked, capture_output=True, text=True, timeout=60)
    except (OSError, subprocess.TimeoutExpired) as trouble:
        return str(trouble)
    said = (done.stderr or done.stdout).strip().splitlines()
    return (said[-1] if said else f"exit code {done.returncode}") if done.returncode else ""


@pytest.fixture(scope="session")
def chromium(playing: Any, chromium_path: str) -> Iterator[Any]:
    browser = playing.chromium.launch(executable_path=chromium_path, args=[*ARGS])
    yield browser
    browser.close()


@pytest.fixture
def laptop(home: Path) -> Iterator[Laptop]:
    pytest.importorskip("flask", reason="the extra jackfield[web] is not installed")
    running = Laptop(home)
    yield running
    running.cut()


@pytest.fixture
def photo(tmp_path: Path) -> Path:
    """A photo of a panel, as a phone takes it."""
    from tests.web.test_photos import with_place

    file = tmp_path / "panel.jpg"
    file.write_bytes(with_place())
    return file


@pytest.fixture
def open_page(chromium: Any, laptop: Laptop) -> Iterator[Callable[..., Any]]:
    """A page on a phone that is paired; whatever goes wrong in its script fails the test."""
    contexts, wrong = [], []

    def make(**more: Any) -> Any:
        context = chromium.new_context(viewport=SCREEN, is_mobile=True, has_touch=True, **more)
        contexts.append(context)
        return pair(context, laptop, wrong)

    yield make
    for context in contexts:
        context.close()
    assert not wrong


def pair(context: Any, laptop: Laptop, wrong: list[str]) -> Any:
    """A page of this browser, paired; what goes wrong in its script is put into ``wrong``."""
    page = context.new_page()
    page.set_default_timeout(60_000)
    page.on("pageerror", lambda error: wrong.append(str(error)))
    page.on("console", lambda m: wrong.append(m.text) if "Content Security Policy" in m.text else None)
    page.goto(laptop.url(f"/pair?code={laptop.code}"))
    page.click("form button[type=submit]")
    page.wait_for_url(laptop.url("/"))
    return page


def kept(page: Any) -> None:
    """Wait until the phone keeps what it has to for when the link is down."""
    page.wait_for_selector(
        "body[data-kept=yes]", state="attached", timeout=180_000
    )  # the tests of a path take seconds


def ready(page: Any) -> None:
    """Wait until the form's script has filled in what it has to."""
    page.wait_for_selector("form[data-ready]", state="attached")


def until(page: Any, true: str) -> None:
    """Wait until an expression is true in the page, whose policy forbids the browser's own way of waiting."""
    from playwright.sync_api import Error

    for _ in range(1200):
        try:
            if page.evaluate(true):
                return
        except Error as trouble:
            if "context was destroyed" not in str(trouble):  # another page is on its way
                raise
        page.wait_for_timeout(50)
    raise AssertionError(f"never came true: {true}")


def sees(page: Any, selector: str, text: str) -> None:
    """Wait until the first element that fits says a text; a page that is on its way is waited for."""
    page.locator(selector).filter(has_text=text).first.wait_for()


def draft_kept(page: Any, says: str) -> None:
    """Wait until the phone has put a draft with these words away."""
    until(page, f"Waiting.drafts().then((all) => JSON.stringify(all).includes({json.dumps(says)}))")


class Held:
    """The requests of a page to one address, each of which stays away until it is let through.

    Open the page with ``service_workers="block"``: a worker that takes the page over may take a request, too.
    """

    def __init__(self, page: Any, where: str) -> None:
        self._page, self._where, self._held = page, where, []
        page.route(where, lambda route: self._held.append(route))  # it sets a name on it

    def asked(self, count: int = 1) -> None:
        """Wait until the page has asked so often."""
        self._wait(lambda: len(self._held) == count)

    def asked_last(self, says: str) -> None:
        """Wait until the page has sent these words; what it asked before stays without an answer."""
        self._wait(lambda: bool(self._held) and says in self._held[-1].request.post_data)
        del self._held[:-1]

    def answered(self) -> None:
        with self._page.expect_response(self._where):
            self._held.pop(0).continue_()

    def broken(self) -> None:
        with self._page.expect_event("requestfailed"):
            self._held.pop(0).abort()

    def _wait(self, true: Callable[[], bool]) -> None:
        for _ in range(600):
            if true():
                return
            self._page.wait_for_timeout(50)
        raise AssertionError(f"the page asked {len(self._held)} times: {self._page.inner_text('body')}")
