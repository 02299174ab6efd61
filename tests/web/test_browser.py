"""The page in a real browser, as large as a phone: the main job by thumb, by keyboard, without script.

Chromium comes from the system (Debian's package). Where it or a package is missing these tests are skipped,
and say why.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from thumb import MARKS, known_panel, unknown_panel

from kb.domain.job import JobStatus, job_from
from kb.domain.visit import visit_from
from tests.conftest import LONG
from tests.web.conftest import SCREEN, Held, Laptop, draft_kept, ready, sees, until
from tests.web.test_photos import HEIC

pytestmark = pytest.mark.usefixtures("chromium")
NORWELL = "/set?make=Norwell&model=NV40-210"
Open = Callable[..., Any]


def test_the_main_job_from_search_to_a_recorded_visit(
    open_page: Open, book: Any, home: Path, photo: Path
) -> None:
    page = open_page()
    page.fill("#q", "nv40 21?")
    page.tap("#found a.card")
    assert page.inner_text(".run li >> nth=0") == "DIGITAL AUDIO OUT"
    page.get_by_role("link", name="It differs").tap()
    ready(page)
    page.tap(".known .tile[value] >> nth=0")
    page.wait_for_selector(".read-as:has-text('output, optical digital')")
    page.tap("[data-jack='0'] .chip:has-text('carried sound')")
    page.tap("[data-jack='0'] .chip:has-text('stay on')")
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
    tab_to(page, ".reach a.second")
    page.keyboard.press("Enter")
    page.wait_for_url("**/record?*")
    ready(page)
    tab_to(page, ".tap:not(.known) .tile")
    page.keyboard.press("Enter")
    until(page, "document.activeElement.name === 'jack-0-marking'")
    page.keyboard.type("OPTICAL OUT")
    page.keyboard.press("Enter")  # on to the next field, not half a panel saved
    until(page, "document.activeElement.name === 'jack-0-outcome'")
    page.keyboard.press("Space")
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
    "/hand-over?make=Norwell&model=NV40-210",
    "/record?make=Norwell&model=NV40-210",
    "/today",
    "/today?done=b2",
    "/bring",
    "/isolate",
    "/isolate?complaint=no-sound&signal=optical",
    "/isolate?complaint=no-sound&make=Norwell&model=NV40-210&fixed=output-off",
    "/waiting",
    "/phone",
    "/tones",
    "/guide",
    "/guide/files",
    "/guide/measurements",
    "/set?make=Nobody&model=X1",
)


LONG_PAGE = "/guide/measurements"
NARROW = ((360, "112.5%"), (320, "112.5%"), (360, "200%"))
SMALL = """() => [...document.querySelectorAll("button, select, input, summary, nav a, .button")]
    .filter((e) => e.offsetParent && e.getClientRects().length && e.tabIndex >= 0)
    .map((e) => [e.outerHTML.slice(0, 80), e.getBoundingClientRect()])
    .filter(([, r]) => r.height < 24 || r.width < 24).map(([html]) => html)"""


def test_axe_finds_nothing_serious_on_any_page_and_each_fits_a_narrow_phone_with_large_type(
    open_page: Open, laptop: Laptop, book: Any
) -> None:
    """axe-core's rules for WCAG 2.2 A and AA, and its best practices; by day and in the dark.

    Then WCAG 2.2, 1.4.10 (reflow at 320 px), 1.4.4 (type twice as large) and 2.5.8 (targets of 24 px).
    """
    axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason="axe is not installed").Axe()
    job = {"make": "Norwell", "model": "NV40-210", "inputs": ["line-3.5"], "day": "2026-03-06"}
    book.jobs.add([job_from({**job, "id": one}) for one in ("a1", "b2")])
    book.jobs.change("b2", lambda one: replace(one, status=JobStatus.DONE))
    page = open_page(reduced_motion="reduce")
    for path in PAGES:
        page.set_viewport_size(SCREEN)
        page.goto(laptop.url(path))
        if path.startswith("/record"):
            ready(page)
            page.tap(".tap:not(.known) .tile >> nth=0")
            page.locator(".jack details > summary").tap()
        if path.startswith("/isolate?"):
            page.locator("summary").tap()
        for scheme in ("light", "dark"):
            page.emulate_media(color_scheme=scheme)
            if path == LONG_PAGE and not LONG:
                found = []  # axe looks at its tables for nine seconds; /guide/files is built alike
            elif scheme == "light":
                found = axe.run(page).response["violations"]
            else:  # only colours differ in the dark
                found = page.evaluate("axe.run({runOnly: ['color-contrast']})")["violations"]
            serious = [one for one in found if one["impact"] in ("serious", "critical")]
            assert not [(one["id"], one["nodes"][0]["html"]) for one in serious], (path, scheme)
        for width, size in NARROW:
            page.set_viewport_size({"width": width, "height": 740})
            page.evaluate("size => { document.documentElement.style.fontSize = size; }", size)
            wide = page.evaluate("document.documentElement.scrollWidth")
            assert wide <= width, (path, width, size, wide)
            small = page.evaluate(SMALL)
            assert not small, (path, small)


def test_a_known_panel_with_photo_is_recorded_in_six_taps(open_page: Open, book: Any, photo: Path) -> None:
    thumb = known_panel(open_page(), photo)
    new = next(visit for visit in book.visits("Norwell", "NV40-210") if visit.job == "")
    assert [f.jack.marking for f in new.findings] == ["DIGITAL AUDIO OUT", "AUDIO", "HEADPHONE"]
    assert (new.findings[0].outcome.value, new.findings[0].speakers.value) == ("carried", "stay-on")
    assert new.findings[2].outcome.value == "not-tried"
    assert (thumb.taps, thumb.typed) == (6, 4)


def test_an_unknown_panel_is_recorded_in_eight_taps_and_25_characters(open_page: Open, book: Any) -> None:
    thumb = unknown_panel(open_page())
    (visit,) = book.visits("Hallmere", "HM32-5")
    assert [f.jack.marking for f in visit.findings] == [*MARKS]
    assert visit.findings[0].outcome.value == "carried"
    assert thumb.taps <= 8
    assert thumb.typed <= 25


def test_a_set_is_never_recorded_under_half_of_what_was_typed(open_page: Open) -> None:
    """The answer to the first letters stays on the page until the next one comes over a slow link."""
    page = open_page(service_workers="block")
    held = Held(page, "**/?part=1&q=*HM32*")
    page.fill("#q", "Hallmere HM3")
    page.wait_for_selector("#found .as-typed")
    page.fill("#q", "Hallmere HM32-5")
    page.wait_for_selector("#found .as-typed[inert]")
    held.asked()
    held.answered()
    page.tap("#found .as-typed:not([inert])")
    ready(page)
    assert (page.input_value("#make"), page.input_value("#model")) == ("Hallmere", "HM32-5")


def test_a_phone_remembers_initials_contact_and_ticks(open_page: Open, laptop: Laptop) -> None:
    (laptop.home / "today.json").write_text(
        json.dumps([{"make": "Norwell", "model": "NV40-210", "inputs": ["line-3.5"]}])
    )
    page = open_page()
    page.goto(laptop.url("/record?make=Hallmere&model=HM1"))
    ready(page)
    page.locator("details:has(#by) > summary").tap()
    page.fill("#by", "CQ")
    page.tap("#save")
    page.wait_for_url("**/recorded?*")
    page.goto(laptop.url("/record?make=Hallmere&model=HM2"))
    ready(page)
    assert page.input_value("#by") == "CQ"
    page.goto(laptop.url("/bring"))
    page.check(".bring input >> nth=0")
    page.goto(laptop.url("/hand-over?make=Norwell&model=NV40-210"))
    page.fill("#contact", "Oxmarle Loops, 555 0100")
    page.goto(laptop.url("/bring"))
    assert page.is_checked(".bring input >> nth=0")
    page.goto(laptop.url("/hand-over?make=Norwell&model=NV40-210"))
    assert page.input_value("#contact") == "Oxmarle Loops, 555 0100"
    page.get_by_role("button", name="Show it").tap()
    page.wait_for_url("**/sheet?*")
    sees(page, "main", "Oxmarle Loops, 555 0100")
    page.get_by_role("link", name="Back", exact=True).tap()
    page.wait_for_url("**/hand-over?*")


def test_the_sheet_is_printed_and_shared_from_the_phone(open_page: Open, laptop: Laptop) -> None:
    """The browser's own print and share are stood in for; what they are given is the sheet."""
    page = open_page()
    page.add_init_script(
        """navigator.canShare = () => true;
        navigator.share = async ({ files }) => { window.shared = [files[0].name, await files[0].text()]; };
        window.print = () => { window.top.printed = document.querySelector("h1").textContent; };"""
    )
    page.goto(laptop.url("/hand-over?make=Norwell&model=NV40-210"))
    page.tap("#share")
    until(page, "window.shared")
    name, sheet = page.evaluate("window.shared")
    assert name == "Norwell-NV40-210.html"
    assert "DIGITAL AUDIO OUT" in sheet
    assert "way-back" not in sheet
    page.tap("#print")
    until(page, "window.printed")


def test_an_input_that_was_tried_can_be_told(open_page: Open, laptop: Laptop, book: Any) -> None:
    page = open_page()
    page.goto(laptop.url("/record?make=Norwell&model=NV40-210"))
    ready(page)
    page.tap(".tile[value='add:rca-pair:AUDIO']")
    page.wait_for_selector(".jack.in-only")
    page.tap(".jack .try")
    with page.expect_response("**/read"):  # the mark is read again
        page.tap(".jack .chip:has-text('silent') >> nth=0")
    assert page.locator(".jack .tried").is_visible()
    page.tap("#save")
    page.wait_for_url("**/recorded?*")
    new = next(visit for visit in book.visits("Norwell", "NV40-210") if visit.job == "")
    assert [f.outcome.value for f in new.findings] == ["silent"]


def test_save_and_camera_are_in_reach_of_the_thumb_wherever_the_form_is_scrolled(
    open_page: Open, laptop: Laptop
) -> None:
    page = open_page()
    page.goto(laptop.url("/record?make=Norwell&model=NV40-210"))
    ready(page)
    page.tap(".tile.all")
    for where in ("0", "document.body.scrollHeight / 2"):
        page.evaluate(f"scrollTo({{top: {where}, behavior: 'instant'}})")
        for name in ("#save", ".reach .shot"):
            box = page.locator(name).bounding_box()
            assert box["y"] > 370, (where, name, box)
            hit = page.evaluate(
                "([x, y]) => document.elementFromPoint(x, y).closest('.reach') !== null",
                [box["x"] + box["width"] / 2, box["y"] + box["height"] / 2],
            )
            assert hit, (where, name)


def test_a_heic_photo_that_the_browser_cannot_show_is_sent_as_it_is(
    open_page: Open, laptop: Laptop, home: Path, book: Any, tmp_path: Path
) -> None:
    pytest.importorskip("pi_heif", reason="the extra jackfield[heic] is not installed")
    photo = tmp_path / "panel.heic"
    photo.write_bytes(HEIC)
    page = open_page()
    page.goto(laptop.url("/record?make=Hallmere&model=HM32-5"))
    ready(page)
    page.set_input_files("#picture", photo)
    page.wait_for_selector("#photo-kept li")
    page.tap("#save")
    page.wait_for_url("**/recorded?*")
    (visit,) = book.visits("Hallmere", "HM32-5")
    (file,) = (home / "photos" / visit.id).iterdir()
    assert file.read_bytes()[:2] == b"\xff\xd8"


WORDS_IN_PIECES = """() => {
    const broken = [];
    for (const node of document.querySelectorAll(".panel .mark, .tap .tile span:last-child")) {
        const text = node.firstChild;
        for (const word of (text?.data || "").matchAll(/\\S+/g)) {
            const range = document.createRange();
            range.setStart(text, word.index);
            range.setEnd(text, word.index + word[0].length);
            const lines = new Set([...range.getClientRects()].map((r) => Math.round(r.top)));
            if (lines.size > 1) broken.push(word[0]);
        }
    }
    return broken;
}"""


def test_a_mark_is_never_broken_within_a_word(open_page: Open, laptop: Laptop, book: Any) -> None:
    marks = ("HEADPHONE/SUBWOOFER", "DIGITAL AUDIO OUT(OPTICAL)", "KOPFHOERERAUSGANG", "AUDIO")
    jacks = [{"form": "jack-3.5", "marking": mark} for mark in marks]
    book.record(
        [visit_from({"source": {"make": "Hallmere", "model": "HM9"}, "date": "2026-03-01", "jacks": jacks})]
    )
    page = open_page()
    for path in ("/set?make=Hallmere&model=HM9", "/record?make=Hallmere&model=HM9"):
        for width, size in ((360, "112.5%"), (320, "112.5%"), (360, "160%")):
            page.set_viewport_size({"width": width, "height": 740})
            page.goto(laptop.url(path))
            page.evaluate("size => { document.documentElement.style.fontSize = size; }", size)
            assert page.evaluate(WORDS_IN_PIECES) == [], (path, width, size)
            assert page.evaluate("document.documentElement.scrollWidth") <= width


def test_type_of_twice_the_size_leaves_room_for_what_is_read(open_page: Open, laptop: Laptop) -> None:
    """Rows that are held at the lower edge take a quarter of the screen at most, however large the type."""
    page = open_page()
    held = """() => [...document.querySelectorAll(".bottom, .reach")]
        .filter((e) => ["fixed", "sticky"].includes(getComputedStyle(e).position))
        .reduce((sum, e) => sum + e.getBoundingClientRect().height, 0)"""
    for size in ("112.5%", "200%"):
        for path in ("/", "/record"):
            page.goto(laptop.url(path))
            page.evaluate("size => { document.documentElement.style.fontSize = size; }", size)
            until(page, f"({held})() <= {740 / 4}")


def test_the_words_under_a_mark_are_those_of_the_jack_that_was_read(open_page: Open, laptop: Laptop) -> None:
    page = open_page(service_workers="block")
    page.goto(laptop.url("/record?make=Hallmere&model=HM32-5"))
    ready(page)
    held = Held(page, "**/read")
    page.tap(".tap .tile[value='add:toslink']")
    page.fill("[name=jack-0-marking]", "OPTICAL OUT")
    page.tap(".tap .tile[value='add:jack-3.5']")
    page.fill("[name=jack-1-marking]", "LINE IN")
    held.asked_last("LINE IN")
    page.get_by_role("button", name="Take away: optical").tap()
    held.answered()  # for two jacks; one of them is gone
    until(page, "document.querySelector('.read-as').textContent !== '…'")
    assert page.inner_text(".jack .read-as").startswith("input")


def test_a_jack_that_is_tapped_on_the_photo_is_shown_there_on_the_page_of_the_set(
    open_page: Open, laptop: Laptop, photo: Path
) -> None:
    page = open_page()
    page.goto(laptop.url("/record?make=Hallmere&model=HM32-5"))
    ready(page)
    page.tap(".often .tile:has(span:text-is('OPTICAL OUT'))")
    assert page.get_attribute("#picture", "capture") is None  # one that is on the phone already can be chosen
    page.set_input_files("#picture", photo)
    frame = page.locator("#photo-kept .on-form")
    until(page, "document.querySelector('#photo-kept img')?.naturalWidth > 0")
    frame.scroll_into_view_if_needed()
    box = frame.bounding_box()
    frame.tap(position={"x": box["width"] * 0.25, "y": box["height"] * 0.5})
    page.get_by_role("button", name="OPTICAL OUT", exact=True).tap()
    frame.tap(position={"x": box["width"] * 0.75, "y": box["height"] * 0.2})
    page.tap(".tap .tile[value='add:jack-3.5']")  # a jack that is not on the panel yet
    page.fill("[name=jack-1-marking]", "HEADPHONE")
    draft_kept(page, "HEADPHONE")
    page.reload()  # the draft has the spots, too
    ready(page)
    until(page, "document.querySelectorAll('#photo-kept .dots circle').length === 2")
    page.tap("#save")
    page.wait_for_url("**/recorded?*")
    page.goto(laptop.url("/set?make=Hallmere&model=HM32-5"))
    assert page.locator(".on-photo > li").all_inner_texts() == ["OPTICAL OUT", "HEADPHONE"]
    x = page.locator(".dots circle >> nth=0").get_attribute("cx")
    assert abs(float(x.removesuffix("%")) - 25) < 2


def test_the_phone_plays_a_signal_after_the_driver_was_turned_down(open_page: Open, laptop: Laptop) -> None:
    page = open_page()
    page.goto(laptop.url("/tones"))
    button = page.get_by_role("button", name="Play 1 kHz sine")
    assert button.is_disabled()
    page.get_by_label("The driver is turned down").check()
    for name in ("1 kHz sine", "left and right", "pink noise", "sweep"):
        page.get_by_role("button", name=f"Play {name}").tap()
        page.get_by_role("button", name=f"Stop {name}").wait_for()
    page.get_by_role("button", name="Stop sweep").tap()
    page.get_by_role("button", name="Play sweep").wait_for()
