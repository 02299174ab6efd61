"""The page in a real browser, as large as a phone: the main job by thumb, by keyboard, without script.

Chromium comes from the system (Debian's package). Where it or a package is missing these tests are skipped,
and say why.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from tests.web.conftest import Laptop, ready
from tests.web.test_photos import with_place

pytestmark = pytest.mark.usefixtures("chromium")
NORWELL = "/set?make=Norwell&model=NV40-210"
Open = Callable[..., Any]


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
    "/record?make=Norwell&model=NV40-210",
    "/today",
    "/bring",
    "/isolate",
    "/isolate?complaint=no-sound&signal=optical",
    "/isolate?complaint=no-sound&make=Norwell&model=NV40-210&fixed=output-off",
    "/waiting",
    "/phone",
    "/guide",
    "/guide/files",
    "/guide/measurements",
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


def test_a_known_panel_is_recorded_in_nine_taps(
    open_page: Open, laptop: Laptop, book: Any, tmp_path: Path
) -> None:
    """From the first page: search field, set, record, all jacks of the book, outcome, speakers, photo, save;
    the jacks that are inputs ask nothing."""
    photo = tmp_path / "panel.jpg"
    photo.write_bytes(with_place())
    page = open_page()
    taps = []

    def tap(selector: str) -> None:
        taps.append(selector)
        page.tap(selector)

    tap("#q")
    page.keyboard.type("nv40")
    tap("#found a.card")
    tap("nav a:has-text('Record')")  # at the lower edge, without scrolling: about the set that is shown
    ready(page)
    tap(".tile.all")
    page.wait_for_selector(".read-as:has-text('input')")
    assert page.locator(".jack").count() == 3
    assert page.locator(".jack:has([value=AUDIO]) .tried").is_hidden()
    tap("[data-jack='0'] .chip:has-text('carried sound')")
    tap("[data-jack='0'] .chip:has-text('stay on')")
    with page.expect_file_chooser() as chosen:
        tap(".shoot")
    chosen.value.set_files(photo)
    page.wait_for_selector("#photo-kept img")
    tap("#save")
    page.wait_for_url("**/recorded?*")
    new = next(visit for visit in book.visits("Norwell", "NV40-210") if visit.job == "")
    assert [f.jack.marking for f in new.findings] == ["DIGITAL AUDIO OUT", "AUDIO", "HEADPHONE"]
    assert new.findings[0].outcome.value == "carried"
    assert len(taps) <= 9


def test_an_input_that_was_tried_can_be_told(open_page: Open, laptop: Laptop, book: Any) -> None:
    page = open_page()
    page.goto(laptop.url("/record?make=Norwell&model=NV40-210"))
    ready(page)
    page.tap(".tile[value='add:rca-pair:AUDIO']")
    page.wait_for_selector(".jack.in-only")
    page.tap(".jack .try")
    page.tap(".jack .chip:has-text('silent') >> nth=0")
    page.wait_for_timeout(500)  # the mark is read again meanwhile
    assert page.locator(".jack .tried").is_visible()
    page.tap("#save")
    page.wait_for_url("**/recorded?*")
    new = next(visit for visit in book.visits("Norwell", "NV40-210") if visit.job == "")
    assert [f.outcome.value for f in new.findings] == ["silent"]
