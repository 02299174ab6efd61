"""In a basement there is no link: whatever goes wrong then, no visit that waits on the phone is lost.

In a real browser; where Chromium or a package is missing these tests are skipped, and say why.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from tests.web.conftest import ARGS, SCREEN, Laptop, kept, pair, ready, sees, until

pytestmark = pytest.mark.usefixtures("chromium")
Open = Callable[..., Any]


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
    page.wait_for_selector("text=Nothing waits; everything is in the book", timeout=180_000)
    assert len(broken) == 2
    assert len(book.visits("Hallmere", "HM32-5")) == 1


def test_visits_and_photos_outlive_a_browser_that_is_closed(
    playing: Any, chromium_path: str, laptop: Laptop, book: Any, home: Path, tmp_path: Path, photo: Path
) -> None:
    wrong: list[str] = []

    def browser() -> Any:
        return playing.chromium.launch_persistent_context(
            tmp_path / "profile",
            executable_path=chromium_path,
            args=[*ARGS],
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


def test_two_tabs_that_send_at_once_make_one_visit(open_page: Open, laptop: Laptop, book: Any) -> None:
    """In a browser without the Web Locks API: the ids that were made on the phone alone must do."""
    page = open_page()
    page.context.add_init_script("Object.defineProperty(navigator, 'locks', { value: undefined })")
    kept(page)
    laptop.cut()
    for model in ("HM32-5", "HM32-6"):
        waiting_visit(page, laptop, model)
    ids = page.evaluate("Waiting.all().then((all) => all.map((visit) => visit.id))")
    other = page.context.new_page()
    other.goto(laptop.url("/waiting"))
    other.wait_for_selector("#waiting-list > li")
    laptop.mend()
    for tab in (page, other):
        tab.evaluate("document.querySelector('#send-now').click()")
    for tab in (page, other):
        wait_until_sent(tab)
    # Equal content would be recognised without them: so it is the ids that are looked at.
    made = [visit.id for model in ("HM32-5", "HM32-6") for visit in book.visits("Hallmere", model)]
    assert sorted(made) == sorted(ids)


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
    storage: str, open_page: Open, laptop: Laptop, book: Any, home: Path, photo: Path
) -> None:
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
    sees(page, "#state", "1 visit waits")
    until(page, "document.querySelectorAll('.jack').length === 0")
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


def test_a_photo_whose_file_is_gone_is_refused_and_holds_up_no_visit(
    open_page: Open, laptop: Laptop, book: Any, photo: Path
) -> None:
    page = open_page()
    page.goto(laptop.url("/record"))
    fill(page)
    page.evaluate(
        """() => {
          const gone = () => Promise.reject(new DOMException("gone", "NotReadableError"));
          window.createImageBitmap = gone;
          Blob.prototype.text = gone;
        }"""
    )
    page.set_input_files("#photo", photo)
    page.tap("#save")
    page.wait_for_url("**/recorded?*")
    assert len(book.visits("Hallmere", "HM32-5")) == 1


def test_a_photo_that_is_still_made_smaller_is_saved_with_its_visit(
    open_page: Open, laptop: Laptop, book: Any, home: Path, photo: Path
) -> None:
    page = open_page()
    page.goto(laptop.url("/record"))
    fill(page)
    page.evaluate(
        """() => {
          const draw = createImageBitmap;
          const held = (file) => new Promise((done) => { window.goOn = () => done(draw(file)); });
          window.createImageBitmap = held;
        }"""
    )
    page.set_input_files("#photo", photo)
    until(page, "typeof goOn === 'function'")
    page.tap("#save")
    assert page.evaluate("Waiting.all()") == []  # not without its photo
    page.evaluate("goOn()")
    page.wait_for_url("**/recorded?*")
    (visit,) = book.visits("Hallmere", "HM32-5")
    assert len(list((home / "photos" / visit.id).iterdir())) == 1


def test_who_sends_what_waited_is_told_on_any_page_which_photos_the_book_left_out(
    open_page: Open, laptop: Laptop, book: Any
) -> None:
    page = open_page()
    kept(page)
    laptop.cut()
    waiting_visit(page, laptop)
    page.evaluate(
        "Waiting.all().then(([visit]) => Waiting.put({ ...visit, photos: [new Blob(['no picture'])] }))"
    )
    laptop.mend()
    page.goto(laptop.url("/guide"))
    page.wait_for_selector("#state:has-text('Photos were left out')")
    assert len(book.visits("Hallmere", "HM32-5")) == 1
    page.tap("#state")
    page.wait_for_selector("#left-out:has-text('Hallmere HM32-5: ')")
    page.goto(laptop.url("/guide"))
    page.wait_for_selector("#state", state="hidden")
