"""In a real browser, what scripts write is in the language of the book, with a link and without one."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from tests.web.conftest import NORWELL, Laptop, draft_kept, kept, ready, sees, until
from tests.web.spoken import data_in, unmarked

pytestmark = pytest.mark.usefixtures("chromium", "pretended")
SET = "make=Norwell&model=NV40-210"
MONTHS = "ene feb mar abr may jun jul ago sept oct nov dic".split()
DATA = data_in(NORWELL, MONTHS, "Hallmere HM32-5", "Norwell NV40-210", "plan.txt", "HM32-5")
Open = Callable[..., Any]

#: All texts that are shown now, or read aloud.
SHOWN = """() => {
  const said = [document.title];
  const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walk.nextNode()) {
    const of = walk.currentNode.parentElement;
    if (of.checkVisibility() && !of.closest("script, style, textarea")) said.push(walk.currentNode.nodeValue);
  }
  for (const node of document.body.querySelectorAll("*")) {
    if (!node.checkVisibility()) continue;
    said.push(...["title", "placeholder", "aria-label", "alt"].map((name) => node.getAttribute(name) || ""));
  }
  return said.map((one) => one.trim()).filter(Boolean);
}"""


def foreign(page: Any) -> list[str]:
    """What the page shows now that is neither in the catalogue nor data."""
    return [f"{said}: {words}" for said in page.evaluate(SHOWN) if (words := unmarked(said, DATA))]


def test_the_form_fills_in_words_of_the_catalogue(
    open_page: Open, laptop: Laptop, tmp_path: Path, photo: Path
) -> None:
    text = tmp_path / "plan.txt"
    text.write_text("no picture")
    page = open_page()
    page.goto(laptop.url(f"/record?{SET}"))
    ready(page)
    page.tap(".known .all")
    page.tap(".others summary")
    page.tap(".others .tile >> nth=1")
    until(page, "every('.read-as').every((one) => one.textContent !== '…')")
    page.tap("[data-jack='3'] summary")
    assert "NUMBER" not in page.inner_html("[data-jack='3']")
    page.wait_for_selector("[data-jack='0'] .as-known:visible")
    assert foreign(page) == []
    page.set_input_files("#picture", [photo, text])
    sees(page, "#photo-said", "plan.txt")
    page.tap(".on-form img")
    page.wait_for_selector("#point-choose:visible")
    assert foreign(page) == []
    draft_kept(page, "DIGITAL AUDIO OUT")
    page.reload()
    page.wait_for_selector(".from-phone button")
    assert foreign(page) == []
    page.goto(laptop.url("/"))
    page.wait_for_selector("#draft-list button")
    page.tap("#draft-list button")
    page.wait_for_selector("#draft-list [data-sure]")
    assert foreign(page) == []


def test_what_waits_and_the_search_for_a_fault_without_a_link_are_in_words_of_the_catalogue(
    open_page: Open, laptop: Laptop
) -> None:
    page = open_page()
    page.goto(laptop.url(f"/set?{SET}"))
    kept(page)
    page.goto(laptop.url("/phone"))
    until(page, "one('#keeps').textContent.includes('1') || document.body.dataset.kept")
    assert foreign(page) == []
    laptop.cut()
    page.goto(laptop.url("/"))
    page.fill("#q", "nv40")
    page.wait_for_selector("#found .say")
    page.wait_for_selector("#kept-list a")
    assert foreign(page) == []
    page.goto(laptop.url("/today"))
    page.wait_for_selector(".from-phone:visible")
    page.fill("#make", "Norwell")
    page.click("form[data-once] [type=submit]:visible >> nth=-1")
    page.wait_for_selector("[role=alert]:visible")
    assert foreign(page) == []
    page.goto(laptop.url("/record"))
    ready(page)
    page.fill("#make", "Hallmere")
    page.fill("#model", "HM32-5")
    page.tap("#save")
    page.wait_for_url("**/waiting")
    page.tap("#waiting-list button")
    page.wait_for_selector("#waiting-list [data-sure]")
    page.wait_for_selector("#state:visible")
    assert foreign(page) == []
    page.goto(laptop.url(f"/isolate?{SET}&complaint=hum"))
    for _ in range(30):
        page.wait_for_selector("#turn[data-ready]")
        assert foreign(page) == []
        if not page.locator(".choice").count():
            break
        page.tap(".choice >> nth=-1")
    page.goto(laptop.url(f"/isolate?{SET}&complaint=hum&fixed=ground-loop"))
    page.wait_for_selector("#turn[data-ready]")
    assert foreign(page) == []


def test_signals_and_the_sheet_are_offered_in_words_of_the_catalogue(open_page: Open, laptop: Laptop) -> None:
    page = open_page()
    page.goto(laptop.url("/tones"))
    page.check("#down")
    page.tap(".play >> nth=0")
    page.wait_for_selector("[aria-pressed=true]")
    assert foreign(page) == []
    page.tap(".play >> nth=0")
    page.wait_for_selector("[aria-pressed=false]")
    assert foreign(page) == []
    page.add_init_script("navigator.canShare = () => true; navigator.share = () => Promise.reject(Error());")
    page.goto(laptop.url(f"/hand-over?{SET}"))
    page.tap("#share")
    page.wait_for_selector("#hand-over-said:visible")
    assert foreign(page) == []
