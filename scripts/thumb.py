"""Record a panel on the phone page as a person does, and count the taps and the characters.

The tests hold these counts to a limit, and ``measure.py web`` prints them. A page is one of Playwright.
"""

from __future__ import annotations

import os
import shutil
from pathlib import Path
from typing import Any, Final

SCREEN: Final = {"width": 360, "height": 740}
ARGS: Final = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)
#: The first of these that is there is the browser; one without windows starts sooner and works less.
BROWSERS: Final = ("chromium-headless-shell", "chromium", "chromium-browser", "google-chrome")
MARKS: Final = ("OPTICAL OUT", "HEADPHONE", "HDMI 1")  #: of the unknown panel


def chromium() -> str | None:
    """The browser of this machine that pages are tried in; JACKFIELD_CHROMIUM names another."""
    named = os.environ.get("JACKFIELD_CHROMIUM")
    return named or next((found for name in BROWSERS if (found := shutil.which(name))), None)


class Thumb:
    """Counts what somebody does on the page: taps, and characters typed."""

    def __init__(self, page: Any) -> None:
        self.page, self.taps, self.typed = page, 0, 0

    def tap(self, selector: str) -> None:
        self.page.tap(selector)
        self.taps += 1

    def type(self, text: str) -> None:
        self.page.keyboard.type(text)
        self.typed += len(text)


def known_panel(page: Any, photo: Path) -> Thumb:
    """From the first page: search field, set, "record as here", "it carried sound", photo, save.

    The book knows the Norwell NV40-210 with three jacks; those that are inputs ask nothing.
    """
    thumb = Thumb(page)
    thumb.tap("#q")
    thumb.type("nv40")
    thumb.tap("#found a.card")
    thumb.tap(".reach a:has-text('Record as here')")  # at the lower edge, without scrolling
    page.wait_for_selector("form[data-ready]", state="attached")
    page.wait_for_selector(".read-as:has-text('input')")
    page.wait_for_selector(".jack >> nth=2")
    thumb.tap("[data-jack='0'] .as-known")
    with page.expect_file_chooser() as chosen:
        thumb.tap(".reach .shoot")
    chosen.value.set_files(photo)
    page.wait_for_selector("#photo-kept img")
    thumb.tap("#save")
    page.wait_for_url("**/recorded?*")
    return thumb


def unknown_panel(page: Any) -> Thumb:
    """Three jacks with usual marks, one of which was tried; make and model are typed once."""
    thumb = Thumb(page)
    thumb.tap("#q")
    thumb.type("Hallmere HM32-5")
    thumb.tap("#found a:not([inert]):has-text('Record this set')")
    page.wait_for_selector("form[data-ready]", state="attached")
    for mark in MARKS:
        thumb.tap(f".often .tile:has(span:text-is('{mark}'))")
    thumb.tap("[data-jack='0'] .chip:has-text('carried sound')")
    thumb.tap("[data-jack='0'] .chip:has-text('stay on')")
    thumb.tap("#save")
    page.wait_for_url("**/recorded?*")
    return thumb
