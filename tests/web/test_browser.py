"""The page in a real browser, as large as a phone: with and without a link, a mouse, or script.

Chromium comes from the system (Debian's package). Where it or a package is missing these tests are skipped,
and say why.
"""

from __future__ import annotations

import json
import os
import re
import shutil
import signal
import socket
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.web.test_photos import with_place

pytest.importorskip("flask", reason="the extra jackfield[web] is not installed")
sync_api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")

CHROMIUM = (
    os.environ.get("JACKFIELD_CHROMIUM") or shutil.which("chromium") or shutil.which("chromium-browser")
)
if not CHROMIUM:
    pytest.skip("no chromium on this machine: apt-get install chromium", allow_module_level=True)

ARGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
PHONE = {"width": 360, "height": 740}
NORWELL = "/set?make=Norwell&model=NV40-210"


class Laptop:
    """``jackfield serve`` on one port; its link can be cut and mended."""

    def __init__(self, home: Path) -> None:
        self.home = home
        with socket.socket() as free:  # a port by number: it must be the same one when the link is mended
            free.bind(("127.0.0.1", 0))
            self.port = free.getsockname()[1]
        self.mend()

    def mend(self) -> None:
        command = [sys.executable, "-m", "kb.cli.main", "serve", "--json", "--port", str(self.port)]
        env = {**os.environ, "JACKFIELD_HOME": str(self.home), "JACKFIELD_TODAY": "2026-03-06"}
        self.process = subprocess.Popen(
            command, env=env, stdout=subprocess.PIPE, text=True, cwd=Path(__file__).parents[2]
        )
        assert self.process.stdout is not None
        self.code = json.loads(self.process.stdout.readline())["code"]

    def cut(self) -> None:
        self.process.send_signal(signal.SIGTERM)
        self.process.communicate(timeout=30)

    def url(self, path: str) -> str:
        return f"http://127.0.0.1:{self.port}{path}"


@pytest.fixture(scope="module")
def chromium() -> Iterator[Any]:
    with sync_api.sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=ARGS)
        yield browser
        browser.close()


@pytest.fixture
def laptop(home: Path) -> Iterator[Laptop]:
    running = Laptop(home)
    yield running
    if running.process.poll() is None:
        running.cut()


Open = Callable[..., Any]


@pytest.fixture
def open_page(chromium: Any, laptop: Laptop) -> Iterator[Open]:
    """A page on a phone that is paired; whatever goes wrong in its script fails the test."""
    contexts, wrong = [], []

    def make(**more: Any) -> Any:
        context = chromium.new_context(viewport=PHONE, is_mobile=True, has_touch=True, **more)
        contexts.append(context)
        page = context.new_page()
        page.set_default_timeout(15_000)
        page.on("pageerror", lambda error: wrong.append(str(error)))
        page.on("console", lambda m: wrong.append(m.text) if "Content Security Policy" in m.text else None)
        page.goto(laptop.url(f"/pair?code={laptop.code}"))
        page.get_by_role("button", name="Pair").click()
        page.wait_for_url(laptop.url("/"))
        return page

    yield make
    for context in contexts:
        context.close()
    assert not wrong


def kept(page: Any) -> None:
    """Wait until the phone keeps what it has to for when the link is down."""
    page.wait_for_selector("body[data-kept=yes]", state="attached")


def ready(page: Any) -> None:
    page.wait_for_selector("form[data-ready]", state="attached")


def test_the_main_job_from_search_to_a_recorded_visit(
    open_page: Open, book: Any, home: Path, tmp_path: Path
) -> None:
    photo = tmp_path / "panel.jpg"
    photo.write_bytes(with_place())
    page = open_page()
    page.fill("#q", "nv40 21?")
    page.tap("#found a.card")
    assert page.inner_text(".run li >> nth=0") == "DIGITAL AUDIO OUT"
    page.get_by_role("link", name="Record a visit").tap()
    ready(page)
    page.tap(".known .tile >> nth=0")
    page.wait_for_selector(".read-as:has-text('output, optical digital')")
    page.select_option("[name=jack-0-outcome]", "carried")
    page.select_option("[name=jack-0-speakers]", "stay-on")
    page.tap(".tap:not(.known) .tile:has-text('HDMI')")
    page.fill("[name=jack-1-marking]", "HDMI 1")
    page.set_input_files("#photo", photo)
    page.wait_for_selector("#photo-kept img")
    page.tap("#save")
    page.wait_for_url("**/recorded?*")
    assert "In the book" in page.inner_text("h1")
    page.wait_for_selector("img[alt*='Panel of Norwell NV40-210']")
    visits = book.visits("Norwell", "NV40-210")
    assert len(visits) == 2
    new = next(visit for visit in visits if visit.job == "")
    assert [f.jack.marking for f in new.findings] == ["DIGITAL AUDIO OUT", "HDMI 1"]
    assert new.id[14] == "7"  # a UUID, version 7, made on the phone
    (file,) = (home / "photos" / new.id).iterdir()
    assert b"client at home" not in file.read_bytes()


def test_without_a_link_sets_stay_readable_and_visits_wait_until_it_is_back(
    open_page: Open, laptop: Laptop, book: Any
) -> None:
    page = open_page()
    page.goto(laptop.url(NORWELL))
    kept(page)
    laptop.cut()

    page.goto(laptop.url(NORWELL))  # looked at before: it is on the phone
    page.wait_for_selector("text=No link to the book: this is how it stood on")
    assert "DIGITAL AUDIO OUT" in page.inner_text(".run")
    page.goto(laptop.url("/set?make=Hallmere&model=HM1"))
    assert "No link to the book" in page.inner_text("h1")
    page.wait_for_selector("#kept-list >> text=Norwell NV40-210")
    page.goto(laptop.url("/"))
    page.fill("#q", "nv 40")
    page.wait_for_selector("#kept-list >> text=Norwell NV40-210")
    page.wait_for_selector("#found >> text=only what is on this phone")

    for model in ("HM32-5", "HM32-6"):
        page.goto(laptop.url("/record"))
        ready(page)
        page.fill("#make", "Hallmere")
        page.fill("#model", model)
        page.tap(".tile:has-text('optical (TOSLINK)')")
        page.fill("[name=jack-0-marking]", "OPTICAL OUT")
        page.tap("#save")
        page.wait_for_url("**/waiting")
    page.wait_for_selector("#waiting-list >> text=Hallmere HM32-6")
    page.reload()
    page.wait_for_selector("#waiting-list >> text=Hallmere HM32-6")  # drawn by script, after the page itself
    assert page.locator("#waiting-list > li").count() == 2
    assert page.inner_text("#state") == "2 visits wait"
    assert book.visits("Hallmere", "HM32-5") == []

    laptop.mend()
    page.tap("#send-now")
    page.wait_for_selector("text=2 visits are in the book now")
    assert page.locator("#waiting-list > li").count() == 0
    for model in ("HM32-5", "HM32-6"):
        (visit,) = book.visits("Hallmere", model)
        assert visit.findings[0].jack.direction.value == "output"


def test_a_visit_that_was_acknowledged_but_never_heard_of_is_sent_again_and_is_one(
    open_page: Open, laptop: Laptop, book: Any
) -> None:
    """The book has it, the answer was lost on the way: the phone keeps it and sends it again."""
    page = open_page()
    page.goto(laptop.url("/record"))
    ready(page)
    lost = []

    def lose(route: Any) -> None:
        if route.request.method == "POST" and not lost:
            lost.append(route.fetch().status)  # it arrives ...
            route.abort()  # ... but the answer does not
        else:
            route.continue_()

    page.route("**/record", lose)
    page.fill("#make", "Hallmere")
    page.fill("#model", "HM32-5")
    page.tap("#save")
    page.wait_for_url("**/waiting")
    page.wait_for_selector("text=Nothing waits; everything is in the book")
    assert lost == [200]
    assert len(book.visits("Hallmere", "HM32-5")) == 1


def test_a_visit_that_the_book_does_not_take_stays_on_the_phone_with_the_reason(
    open_page: Open, laptop: Laptop, book: Any
) -> None:
    page = open_page()
    page.goto(laptop.url("/record"))
    ready(page)
    kept(page)
    laptop.cut()
    page.fill("#make", "Hallmere")
    page.fill("#model", "HM32-5")
    page.locator("details:has(#date) > summary").tap()
    page.fill("#year", "1066")
    page.tap("#save")
    page.wait_for_url("**/waiting")
    laptop.mend()
    page.reload()
    page.wait_for_selector("#waiting-list >> text=1066")
    page.get_by_role("link", name="Open it").tap()
    ready(page)
    assert page.input_value("#model") == "HM32-5"
    assert "1066" in page.inner_text("#said")
    page.locator("details:has(#date) > summary").tap()
    page.fill("#year", "2006")
    page.tap("#save")
    page.wait_for_url("**/recorded?*")
    (visit,) = book.visits("Hallmere", "HM32-5")
    assert visit.source.year == 2006
    page.goto(laptop.url("/waiting"))
    page.wait_for_selector("text=Nothing waits")


def test_a_half_filled_form_outlives_a_browser_that_drops_the_page(open_page: Open, laptop: Laptop) -> None:
    page = open_page()
    page.goto(laptop.url("/record"))
    ready(page)
    page.fill("#make", "Hallmere")
    page.tap(".tile:has-text('3.5 mm jack')")
    page.fill("[name=jack-0-marking]", "HEADPHONE")
    page.wait_for_timeout(500)
    page.goto(laptop.url("/today"))
    page.goto(laptop.url("/record"))
    page.wait_for_selector("text=Your entries from before are here again")
    assert page.input_value("#make") == "Hallmere"
    assert page.input_value("[name=jack-0-marking]") == "HEADPHONE"


def test_everything_is_done_by_keyboard_alone(open_page: Open, laptop: Laptop, book: Any) -> None:
    page = open_page()
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.textContent") == "To the content"
    page.keyboard.press("Enter")
    tab_to(page, "#q")
    page.keyboard.type("nv40")
    page.wait_for_selector("#found a.card")
    tab_to(page, "#found a.card")
    page.keyboard.press("Enter")
    page.wait_for_selector("h1:has-text('Norwell NV40-210')")
    tab_to(page, "main a.button")
    page.keyboard.press("Enter")
    page.wait_for_url("**/record?*")
    ready(page)
    tab_to(page, ".tap:not(.known) .tile")
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.name") == "jack-0-marking"
    page.keyboard.type("OPTICAL OUT")
    page.keyboard.press("Enter")  # on to the next field, not half a panel saved
    assert page.evaluate("document.activeElement.name") == "jack-0-outcome"
    page.keyboard.type("carried")
    tab_to(page, "#save")
    page.keyboard.press("Enter")
    page.wait_for_url("**/recorded?*")
    new = [visit for visit in book.visits("Norwell", "NV40-210") if visit.job == ""]
    assert [f.outcome.value for f in new[0].findings] == ["carried"]


def tab_to(page: Any, selector: str) -> None:
    """Press Tab until the focus is there; what has it must be seen to have it."""
    for _ in range(120):
        page.keyboard.press("Tab")
        if page.evaluate("s => document.activeElement.matches(s)", selector):
            outline = page.evaluate("getComputedStyle(document.activeElement).outlineWidth")
            assert float(outline.removesuffix("px")) >= 2
            return
    raise AssertionError(f"no Tab leads to {selector}")


def test_the_main_job_works_without_script(open_page: Open, book: Any) -> None:
    page = open_page(java_script_enabled=False)
    page.fill("#q", "hm32")
    page.get_by_role("button", name="Find").tap()
    page.get_by_role("link", name="Record this set").tap()
    page.fill("#make", "Hallmere")
    page.fill("#model", "HM32-5")
    page.tap(".tile:has-text('optical (TOSLINK)')")
    page.fill("[name=jack-0-marking]", "OPTICAL OUT")
    page.get_by_role("button", name="Read the marks").tap()
    page.wait_for_selector(".read-as:has-text('output, optical digital')")
    page.tap("#save")
    page.wait_for_url("**/recorded?*")
    assert len(book.visits("Hallmere", "HM32-5")) == 1


PAGES = (
    "/",
    "/?q=nv40",
    NORWELL,
    "/path?make=Norwell&model=NV40-210",
    "/record?make=Norwell&model=NV40-210",
    "/today",
    "/bring",
    "/isolate",
    "/isolate?complaint=no-sound&signal=optical",
    "/waiting",
    "/phone",
    "/set?make=Nobody&model=X1",
)


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_serious_on_any_page(scheme: str, open_page: Open, laptop: Laptop) -> None:
    """axe-core's rules for WCAG 2.2 A and AA, and its best practices; by day and in the dark."""
    axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason="axe is not installed").Axe()
    (laptop.home / "today.json").write_text(
        json.dumps([{"make": "Norwell", "model": "NV40-210", "inputs": ["line-3.5"]}])
    )
    page = open_page(color_scheme=scheme, reduced_motion="reduce")
    for path in PAGES:
        page.goto(laptop.url(path))
        if path.startswith("/record"):
            ready(page)
            page.tap(".tap:not(.known) .tile >> nth=0")
            page.locator(".jack details > summary").tap()
        if path.startswith("/isolate?"):
            page.locator("summary").tap()
        found = axe.run(page).response["violations"]
        serious = [
            (one["id"], one["nodes"][0]["html"]) for one in found if one["impact"] in ("serious", "critical")
        ]
        assert not serious, (path, serious)


def test_every_page_fits_a_narrow_phone_with_large_type(open_page: Open, laptop: Laptop) -> None:
    """WCAG 2.2, 1.4.10 (reflow at 320 px), 1.4.4 (type twice as large) and 2.5.8 (targets of 24 px)."""
    page = open_page()
    for width, type_size in ((360, "112.5%"), (320, "112.5%"), (360, "200%")):
        page.set_viewport_size({"width": width, "height": 740})
        for path in PAGES:
            page.goto(laptop.url(path))
            page.evaluate("size => { document.documentElement.style.fontSize = size; }", type_size)
            wide = page.evaluate("document.documentElement.scrollWidth")
            assert wide <= width, (path, width, type_size, wide)
            small = page.evaluate(
                """() => [...document.querySelectorAll("button, select, input, summary, nav a, .button")]
                .filter((e) => e.offsetParent && e.getClientRects().length && e.tabIndex >= 0)
                .map((e) => [e.outerHTML.slice(0, 80), e.getBoundingClientRect()])
                .filter(([, r]) => r.height < 24 || r.width < 24).map(([html]) => html)"""
            )
            assert not small, (path, small)


def test_a_forgotten_phone_keeps_no_page_but_what_waits(open_page: Open, laptop: Laptop) -> None:
    page = open_page()
    page.goto(laptop.url(NORWELL))
    kept(page)
    page.goto(laptop.url("/phone"))
    page.get_by_role("button", name="Forget this phone").tap()
    page.wait_for_selector("text=This phone is forgotten")
    for _ in range(50):
        if not page.evaluate("caches.has('jackfield-pages')"):
            break
        page.wait_for_timeout(50)
    assert not page.evaluate("caches.has('jackfield-pages')")
    assert re.search(r"/pair$", page.goto(laptop.url("/")).url)
