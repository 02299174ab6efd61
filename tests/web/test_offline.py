"""In a basement there is no link: what stays readable, what waits on the phone, and which test is next.

In a real browser; where Chromium or a package is missing these tests are skipped, and say why.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from kb.domain.job import job_from
from tests.web.conftest import Laptop, draft_kept, kept, ready, sees, until

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
    sees(page, "#state", "2 visits wait")
    assert book.visits("Hallmere", "HM32-5") == []

    # A page that was kept longer than a pairing lasts is not shown any more.
    page.evaluate(
        """async (address) => {
            const pages = await caches.open("jackfield-pages");
            const old = await pages.match(address);
            const headers = new Headers(old.headers);
            headers.set("Date", new Date(Date.now() - 31 * 86400000).toUTCString());
            await pages.put(address, new Response(await old.blob(), { headers }));
        }""",
        laptop.url(NORWELL),
    )
    page.goto(laptop.url(NORWELL))
    assert "No link to the book" in page.inner_text("h1")

    page.goto(laptop.url("/waiting"))
    laptop.mend()
    page.tap("#send-now")
    page.wait_for_selector("text=Nothing waits; everything is in the book", timeout=180_000)
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
    from kb.book.faults import learned_model, path_in_book
    from kb.isolate import start
    from kb.isolate import wording as says

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
    page.wait_for_selector("text=What is likely so far")


# -- a link that hangs, a new version, a phone that is forgotten ---------------------------------------


def test_a_link_that_hangs_is_no_link_and_the_visit_is_safe_on_the_phone(
    open_page: Open, laptop: Laptop, book: Any
) -> None:
    """The laptop takes the request and never answers, as a bad radio link does; nobody waits for a minute."""
    page = open_page()
    page.goto(laptop.url("/record"))
    ready(page)
    kept(page)
    page.clock.install()
    page.route("**/token", lambda route: None)
    page.route("**/record", lambda route: None if route.request.method == "POST" else route.continue_())
    page.fill("#make", "Hallmere")
    page.fill("#model", "HM32-5")
    page.tap("#save")
    page.wait_for_selector("#said:has-text('safe on this phone')")
    page.clock.fast_forward(13_000)
    page.wait_for_url("**/waiting")
    page.wait_for_selector("#waiting-list >> text=Hallmere HM32-5")
    assert book.visits("Hallmere", "HM32-5") == []
    page.unroute("**/token")
    page.unroute("**/record")
    page.reload()
    page.wait_for_selector("text=Nothing waits")
    assert len(book.visits("Hallmere", "HM32-5")) == 1


def test_a_job_is_done_over_a_link_that_hangs_and_its_items_leave_the_van_once(
    open_page: Open, laptop: Laptop, book: Any
) -> None:
    book.jobs.change_stock(lambda _: {"DAC": 3})
    job = {"make": "Norwell", "model": "NV40-210", "inputs": ["line-3.5"], "day": "2026-03-06"}
    book.jobs.add([job_from(job)])
    page = open_page()
    page.goto(laptop.url("/today"))
    page.clock.install()
    held: list[Any] = []
    page.context.route(
        "**/today", lambda route: held.append(route) if route.request.method == "POST" else route.continue_()
    )
    done = page.get_by_role("button", name="Done with Norwell NV40-210")
    with page.context.expect_event("request", lambda asked: asked.method == "POST"):
        done.evaluate("(button) => { button.click(); button.click(); }")  # a double tap asks once
    page.clock.fast_forward(9_000)
    page.wait_for_selector("[role=alert]:has-text('did not answer')")
    assert len(held) == 1
    assert book.jobs.every()[0].status.value == "open"
    page.context.unroute("**/today")
    done.tap()
    page.wait_for_url("**/today?done=*")
    page.fill("#used-DAC", "1")
    take_out = page.get_by_role("button", name="Take it out of the van")
    take_out.tap()
    sees(page, "[role=status]", "Used there: 1 × DAC")
    take_out.tap()
    page.wait_for_load_state()
    assert book.jobs.stock() == {"DAC": 2}


def test_a_link_that_breaks_after_it_was_asked_for_leaves_what_was_typed_on_the_page(
    open_page: Open, laptop: Laptop, book: Any
) -> None:
    page = open_page()
    page.goto(laptop.url("/today"))
    kept(page)
    page.fill("#make", "Hallmere")
    page.fill("#client", "Mrs Alder")
    page.context.route(
        "**/today", lambda route: route.abort() if route.request.method == "POST" else route.continue_()
    )
    page.get_by_role("button", name="Add").tap()
    sees(page, "[role=alert]", "did not answer")
    assert page.input_value("#client") == "Mrs Alder"
    page.context.unroute("**/today")
    page.get_by_role("button", name="Add").tap()
    page.wait_for_url("**/today*")
    until(page, "!one('#client').value")
    assert [job.client for job in book.jobs.every()] == ["Mrs Alder"]


def test_a_photo_of_a_label_and_a_phone_to_forget_wait_no_longer_than_a_limit(
    open_page: Open, laptop: Laptop, tmp_path: Path
) -> None:
    """Both forms lead to a page of their own: the browser stops waiting for it, and says so."""
    label = tmp_path / "label.jpg"
    label.write_bytes(b"held back before anybody looks at it")
    page = open_page()
    # Twenty times as fast: while a page is on its way, the browser takes no order to move the clock.
    page.add_init_script("const real = setTimeout; setTimeout = (work, ms) => real(work, ms / 20);")
    held: list[Any] = []
    for address, path in (("/", "**/label"), ("/phone", "**/forget")):
        page.goto(laptop.url(address))
        held.clear()
        page.context.route(path, lambda route: held.append(route))  # it sets a name on it
        if address == "/":
            page.set_input_files("#label-photo", label)
        else:
            page.get_by_role("button", name="Forget this phone").tap()
        sees(page, "[role=alert]", "did not answer")
        assert [route.request.method for route in held] == ["POST"], address
        page.context.unroute(path)


def test_no_script_of_ours_asks_without_a_limit() -> None:
    """Every request goes through ``timely``; the worker's own lose a race against ``late``."""
    import kb.web

    folder = Path(kb.web.__file__).parent
    for file in (*(folder / "static").glob("*.js"), folder / "templates" / "sw.js"):
        for line in file.read_text(encoding="utf-8").splitlines():
            if re.search(r"\bfetch\(", line) and not line.lstrip().startswith("//"):
                assert "stop.signal" in line or "late(" in line, (file.name, line)


def test_after_an_update_of_the_server_pages_get_the_script_that_they_were_made_with(
    open_page: Open, laptop: Laptop, monkeypatch: pytest.MonkeyPatch
) -> None:
    import kb.web.app as app

    page = open_page()
    page.goto(laptop.url(NORWELL))
    kept(page)
    old = page.evaluate("VERSION")
    laptop.cut()
    monkeypatch.setattr(app, "version", lambda: "new0")
    asked: list[str] = []
    laptop.mend()
    page.on("request", lambda one: asked.append(one.url))
    page.goto(laptop.url("/today"))
    until(page, "VERSION === 'new0'")
    kept(page)
    shells = "caches.keys().then((all) => all.filter((one) => one.startsWith('jackfield-shell')).sort())"
    until(page, f"{shells}.then((all) => all.includes('jackfield-shell-new0'))")
    laptop.cut()
    page.goto(laptop.url("/today"))
    assert page.evaluate("VERSION") == "new0"
    page.goto(laptop.url(NORWELL))  # kept before the update, with the script of then
    assert page.evaluate("VERSION") == old
    page.wait_for_selector("text=No link to the book: this is how it stood on")


def test_a_phone_that_was_forgotten_by_the_laptop_drops_its_kept_pages_at_the_first_answer(
    open_page: Open, laptop: Laptop, home: Path
) -> None:
    from kb.web.pairing import forget_all

    page = open_page()
    page.goto(laptop.url(NORWELL))
    kept(page)
    assert page.evaluate("caches.has('jackfield-pages')")
    assert forget_all(home) == 1
    page.evaluate("linked()")  # what every page does when it is opened, and every 20 seconds
    assert not page.evaluate("caches.has('jackfield-pages')")
    assert re.search(r"/pair$", page.goto(laptop.url(NORWELL)).url)


# -- what was begun and not saved ----------------------------------------------------------------------


def test_a_half_recorded_set_is_listed_after_the_browser_was_ended(open_page: Open, laptop: Laptop) -> None:
    page = open_page()
    page.goto(laptop.url("/record?make=Hallmere&model=HM32-5"))
    ready(page)
    page.tap(".tile[value='add:jack-3.5']")
    page.fill("[name=jack-0-marking]", "HEADPHONE")
    draft_kept(page, "HEADPHONE")
    page.goto(laptop.url("/"))  # where somebody begins
    page.wait_for_selector("#drafts >> text=Hallmere HM32-5")
    assert "1 jack, 0 photos" in page.inner_text("#draft-list")
    page.tap("#draft-list a")
    ready(page)
    assert page.input_value("[name=jack-0-marking]") == "HEADPHONE"
    page.goto(laptop.url("/record?make=Hallmere&model=HM32-6"))  # opened, nothing typed: no draft
    ready(page)
    page.wait_for_timeout(400)
    page.goto(laptop.url("/waiting"))
    page.wait_for_selector("#draft-list li")
    assert page.locator("#draft-list li").count() == 1
    page.get_by_role("button", name="Throw it away").tap()
    page.get_by_role("button", name="Really?").tap()
    page.wait_for_selector("#drafts", state="hidden")


def test_a_restored_draft_does_not_double_the_panel(open_page: Open, laptop: Laptop) -> None:
    page = open_page()
    for _ in range(2):
        page.goto(laptop.url("/record?make=Norwell&model=NV40-210"))
        ready(page)
        if page.locator(".jack").count() == 0:
            page.tap(".tile.all")
        draft_kept(page, "AUDIO")
        until(page, "document.querySelectorAll('.jack').length === 3")
        assert page.locator(".known").is_hidden()
    page.tap(".jack >> nth=1 >> .drop")  # what was taken away is offered again
    page.wait_for_selector(".known .tile[value]:visible")
    assert page.locator(".known .tile[value]:visible").count() == 1


def test_beginning_again_puts_a_draft_aside_and_loses_nothing(open_page: Open, laptop: Laptop) -> None:
    page = open_page()
    page.goto(laptop.url("/record"))
    ready(page)
    page.fill("#make", "Hallmere")
    page.tap(".tile[value='add:jack-3.5']")
    page.fill("[name=jack-0-marking]", "HEADPHONE")
    draft_kept(page, "HEADPHONE")
    page.goto(laptop.url("/today"))  # a browser that drops the page loses nothing
    page.goto(laptop.url("/record"))
    page.wait_for_selector("text=Your entries from before are here again")
    assert page.input_value("[name=jack-0-marking]") == "HEADPHONE"
    page.get_by_role("button", name="begin again").tap()
    page.wait_for_selector("form[data-ready] #make")
    until(page, "document.querySelectorAll('.jack').length === 0")
    assert page.input_value("#make") == ""
    page.goto(laptop.url("/"))
    page.tap("#draft-list a >> text=Hallmere")
    ready(page)
    assert page.input_value("#make") == "Hallmere"
    assert page.locator(".jack").count() == 1


def test_what_a_busy_laptop_could_not_give_at_once_is_kept_a_little_later(open_page: Open) -> None:
    from kb.web import isolating

    with isolating._making:  # as if the tests of another phone were being made
        page = open_page()
        page.wait_for_event("response", lambda answer: answer.status == 503 and "/turns" in answer.url)
        assert page.locator("body[data-kept=yes]").count() == 0
    kept(page)
    assert page.evaluate("caches.match('/isolate/turns').then((answer) => answer.ok)")
