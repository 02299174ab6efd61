"""In a basement there is no link: what stays readable, what waits on the phone, and that nothing is lost.

In a real browser; where Chromium or a package is missing these tests are skipped, and say why.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from tests.web.conftest import ARGS, SCREEN, Laptop, kept, pair, ready
from tests.web.test_photos import with_place

pytestmark = pytest.mark.usefixtures("chromium")
NORWELL = "/set?make=Norwell&model=NV40-210"
Open = Callable[..., Any]


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


# -- no sound, and no link -----------------------------------------------------------------------------


def test_the_guided_isolation_goes_on_without_a_link(open_page: Open, laptop: Laptop, book: Any) -> None:
    """For a set that was looked at, the turns of the kept tests are those that the book would take."""
    from kb.cli.isolate_book import learned_model, path_in_book
    from kb.isolate import says, start

    page = open_page()
    page.goto(laptop.url(NORWELL))
    kept(page)
    laptop.cut()
    page.get_by_role("link", name="No sound").first.tap()
    page.get_by_role("button", name="No sound in the loop").tap()
    known = path_in_book(book, book.view("Norwell", "NV40-210"))
    assert known is not None
    state = start(learned_model(book), "no-sound", known[0])
    while (found := state.next_test) is not None:
        page.wait_for_selector("#turn[data-ready] h1")
        assert page.inner_text("#turn h1") == found.test.asks
        likeliest = max(found.outlooks, key=lambda one: one.p)
        looks = found.test.answers[likeliest.answer]
        page.locator(".choice", has_text=re.compile(rf"^{re.escape(looks)}$", re.I)).tap()
        state = state.answer(found.test.id, likeliest.answer)
        page.wait_for_url(f"**a={found.test.id}*")
    page.wait_for_selector("#turn[data-ready] .how")
    assert page.inner_text("#turn h1") == says.verdict(state)
    assert "No link to the book" in page.inner_text("#turn .say")
    page.get_by_role("link", name="Take the last answer back").tap()
    page.wait_for_selector("#turn[data-ready] .choice")


def test_what_the_phone_does_not_have_of_the_isolation_is_said_kindly(
    open_page: Open, laptop: Laptop
) -> None:
    page = open_page()
    page.goto(laptop.url(NORWELL))
    kept(page)
    laptop.cut()
    page.goto(laptop.url("/isolate?complaint=hum&signal=coaxial"))  # a path that nobody looked at
    page.wait_for_selector("#turn[data-ready]")
    assert "for any path" in page.inner_text("#turn")
    assert page.locator(".choice").count() > 1
    page.goto(laptop.url("/isolate?complaint=hum&without=ohmmeter"))
    page.wait_for_selector("#turn[data-ready]")
    assert "needs the link" in page.inner_text("#turn")
    page.locator(".first-aid summary").tap()
    assert "phone into the driver's line input" in page.inner_text(".first-aid")
    laptop.mend()
    page.goto(laptop.url("/isolate?complaint=hum&signal=analog-line"))
    page.wait_for_selector("text=How things stand")


# -- nothing is lost -----------------------------------------------------------------------------------


def fill(page: Any, model: str = "HM32-5") -> None:
    """A small visit, typed and tapped into the open form."""
    ready(page)
    page.fill("#make", "Hallmere")
    page.fill("#model", model)
    page.tap(".tile:has-text('optical (TOSLINK)')")
    page.fill("[name=jack-0-marking]", "OPTICAL OUT")


def waiting_visit(page: Any, laptop: Laptop, model: str = "HM32-5") -> None:
    """A visit that waits on this phone; the link is down."""
    page.goto(laptop.url("/record"))
    fill(page, model)
    page.tap("#save")
    page.wait_for_url("**/waiting")
    page.wait_for_selector(f"#waiting-list >> text=Hallmere {model}")


def wait_until_sent(page: Any) -> None:
    """Until nothing waits on this phone any more."""
    for _ in range(150):
        if not page.evaluate("Waiting.all()"):
            return
        page.wait_for_timeout(100)
    raise AssertionError("visits still wait")


def test_a_link_that_breaks_while_it_is_sent_loses_nothing(
    open_page: Open, laptop: Laptop, book: Any
) -> None:
    page = open_page()
    page.goto(laptop.url("/record"))
    kept(page)
    broken = []

    def break_off(route: Any) -> None:
        if route.request.method == "POST" and len(broken) < 2:
            broken.append(1)
            route.abort("connectionreset")
        else:
            route.continue_()

    page.route("**/record", break_off)
    fill(page)
    page.tap("#save")
    page.wait_for_url("**/waiting")
    page.wait_for_selector("text=Nothing waits; everything is in the book", timeout=60_000)
    assert len(broken) == 2
    assert len(book.visits("Hallmere", "HM32-5")) == 1


def test_visits_and_photos_outlive_a_browser_that_is_closed(
    playing: Any, chromium_path: str, laptop: Laptop, book: Any, home: Path, tmp_path: Path
) -> None:
    photo = tmp_path / "panel.jpg"
    photo.write_bytes(with_place())
    wrong: list[str] = []

    def browser() -> Any:
        return playing.chromium.launch_persistent_context(
            tmp_path / "profile",
            executable_path=chromium_path,
            args=ARGS,
            viewport=SCREEN,
            is_mobile=True,
            has_touch=True,
        )

    phone = browser()
    page = pair(phone, laptop, wrong)
    page.goto(laptop.url("/record"))
    kept(page)
    laptop.cut()
    fill(page)
    page.set_input_files("#photo", photo)
    page.wait_for_selector("#photo-kept img")
    page.tap("#save")
    page.wait_for_url("**/waiting")
    page.wait_for_selector("#waiting-list >> text=1 photo")
    phone.close()

    phone = browser()
    page = phone.new_page()
    page.goto(laptop.url("/waiting"))  # still no link
    page.wait_for_selector("#waiting-list >> text=1 photo")
    laptop.mend()
    page.tap("#send-now")
    page.wait_for_selector("text=One visit is in the book now")
    phone.close()
    (visit,) = book.visits("Hallmere", "HM32-5")
    assert len(list((home / "photos" / visit.id).iterdir())) == 1
    assert not wrong


@pytest.mark.parametrize("locks", [True, False])
def test_two_tabs_that_send_at_once_make_one_visit(
    locks: bool, open_page: Open, laptop: Laptop, book: Any
) -> None:
    page = open_page()
    if not locks:  # a browser without the Web Locks API: the ids alone must do
        page.context.add_init_script("Object.defineProperty(navigator, 'locks', { value: undefined })")
    kept(page)
    laptop.cut()
    for model in ("HM32-5", "HM32-6"):
        waiting_visit(page, laptop, model)
    other = page.context.new_page()
    other.goto(laptop.url("/waiting"))
    other.wait_for_selector("#waiting-list > li")
    laptop.mend()
    for tab in (page, other):
        tab.evaluate("document.querySelector('#send-now').click()")
    for tab in (page, other):
        wait_until_sent(tab)
    for model in ("HM32-5", "HM32-6"):
        assert len(book.visits("Hallmere", model)) == 1


def test_a_phone_that_lost_its_pairing_keeps_its_visits_and_says_how_many(
    open_page: Open, laptop: Laptop, book: Any
) -> None:
    page = open_page()
    kept(page)
    laptop.cut()
    waiting_visit(page, laptop)
    laptop.mend()
    laptop.running.app.extensions["jackfield"].guards.phones.forget_all()
    page.goto(laptop.url("/"))
    page.wait_for_url("**/pair")
    page.wait_for_selector("text=1 visit waits on this phone, and will be sent once it is paired")
    assert "Hallmere" not in page.inner_text("body")  # nothing of what it says, before pairing
    page.fill("#code", laptop.code)
    page.get_by_role("button", name="Pair").click()
    page.wait_for_url(laptop.url("/"))
    wait_until_sent(page)
    assert len(book.visits("Hallmere", "HM32-5")) == 1


SHUT = "Object.defineProperty(window, 'indexedDB', { value: { open() { throw new Error('shut off'); } } })"
FULL = """(() => { const put = IDBObjectStore.prototype.put;
IDBObjectStore.prototype.put = function (...given) {
  if (this.name === "visits") throw new DOMException("full", "QuotaExceededError");
  return put.apply(this, given);
}; })()"""


@pytest.mark.parametrize("storage", [SHUT, FULL], ids=["shut off", "full"])
def test_a_phone_whose_storage_is_full_or_shut_off_sends_the_plain_way_with_its_photos(
    storage: str, open_page: Open, laptop: Laptop, book: Any, home: Path, tmp_path: Path
) -> None:
    photo = tmp_path / "panel.jpg"
    photo.write_bytes(with_place())
    page = open_page()
    page.context.add_init_script(storage)
    page.goto(laptop.url("/record"))
    fill(page)
    page.set_input_files("#photo", photo)
    page.wait_for_selector("#photo-kept img")
    laptop.cut()
    page.tap("#save")
    page.wait_for_selector("#said:has-text('leave this page open')")
    assert page.input_value("#make") == "Hallmere"
    laptop.mend()
    page.tap("#save")
    page.wait_for_url("**/recorded?*")
    (visit,) = book.visits("Hallmere", "HM32-5")
    assert len(list((home / "photos" / visit.id).iterdir())) == 1


def test_a_phone_that_keeps_no_page_still_keeps_the_visit(open_page: Open, laptop: Laptop, book: Any) -> None:
    """Without TLS off the laptop there is no service worker: the form stays, and says what happened."""
    page = open_page(service_workers="block")
    page.goto(laptop.url("/record"))
    fill(page)
    laptop.cut()
    page.tap("#save")
    page.wait_for_selector("#said:has-text('kept on this phone')")
    assert page.inner_text("#state") == "1 visit waits"
    assert page.locator(".jack").count() == 0
    laptop.mend()
    page.goto(laptop.url("/waiting"))
    page.wait_for_selector("text=Nothing waits")
    assert len(book.visits("Hallmere", "HM32-5")) == 1


@pytest.mark.parametrize("years", [-30, 30])
def test_a_phone_with_a_wrong_clock_loses_nothing(
    years: int, open_page: Open, laptop: Laptop, book: Any
) -> None:
    """A clock that is behind changes nothing; one that is ahead makes a date that has to be mended."""
    page = open_page()
    page.clock.install(time=f"{2026 + years}-03-06T10:00:00")
    page.goto(laptop.url("/record"))
    fill(page)
    page.clock.run_for(1000)
    page.tap("#save")
    page.clock.run_for(1000)
    if years > 0:
        page.wait_for_selector("#said:has-text('date')")
        page.locator("details:has(#date) > summary").tap()
        page.fill("#date", "2026-03-06")
        page.clock.run_for(1000)
        page.tap("#save")
    page.wait_for_url("**/recorded?*")
    (visit,) = book.visits("Hallmere", "HM32-5")
    assert visit.date.isoformat() == "2026-03-06"


def test_one_visit_that_the_server_fails_at_does_not_hold_up_the_others(
    open_page: Open, laptop: Laptop, book: Any
) -> None:
    page = open_page()
    kept(page)
    laptop.cut()
    for model in ("HM32-5", "HM32-6"):
        waiting_visit(page, laptop, model)
    laptop.mend()

    def fail(route: Any) -> None:
        if route.request.method == "POST" and "HM32-5" in (route.request.post_data or ""):
            route.fulfill(status=500, json={"error": "A mistake"})
        else:
            route.continue_()

    page.route("**/record", fail)
    page.tap("#send-now")
    page.wait_for_selector("text=One visit is in the book now")
    assert page.inner_text("#waiting-list strong") == "Hallmere HM32-5"
    assert len(book.visits("Hallmere", "HM32-6")) == 1
    page.unroute("**/record")
    page.reload()
    page.wait_for_selector("text=Nothing waits")
    assert len(book.visits("Hallmere", "HM32-5")) == 1


def test_a_waiting_visit_is_thrown_away_only_when_asked_twice(open_page: Open, laptop: Laptop) -> None:
    page = open_page()
    kept(page)
    laptop.cut()
    waiting_visit(page, laptop)
    page.get_by_role("button", name="Throw it away").tap()
    assert page.locator("#waiting-list > li").count() == 1
    page.get_by_role("button", name="Really?").tap()
    page.wait_for_selector("text=Nothing waits")
    assert page.locator("#waiting-list > li").count() == 0
