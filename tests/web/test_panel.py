"""The record page reads the marks on a photo of the panel: numbered spots are moved, dropped and added."""

from __future__ import annotations

import io
import threading
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from kb.base.errors import MissingExtra
from kb.read.quality import Measures
from tests.read.pictures import panel_as, photo, pretend
from tests.web.conftest import Held, Laptop, Phone, draft_kept, ready, until

pytest.importorskip("flask", reason="the extra jackfield[web] is not installed")
pytest.importorskip("PIL.Image", reason="Pillow is not installed")

from kb.read import panel as panels
from kb.web import pages, recording

PANEL = panel_as((400, 600, "OPTICAL OUT"), (800, 600, "HDMI 1 (ARC)"), (1200, 600, "AUDIO OUT"))


@pytest.fixture(autouse=True)
def installed(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(recording, "missing_library", lambda: "")
    pretend(monkeypatch, PANEL, panels)


def send(phone: Phone, content: bytes | None = None, **more: str) -> Any:
    data = {**more, "photo": (io.BytesIO(photo() if content is None else content), "panel.jpg")}
    return phone.post("/panel", data, headers={"Accept": "application/json"})


def test_the_jacks_of_the_photo_come_with_their_places_and_doubts(phone: Phone, home: Path) -> None:
    told = send(phone).json
    assert told["jacks"][0] == {
        "form": "toslink",
        "marking": "OPTICAL OUT",
        "x": 0.25,
        "y": 0.5,
        "why": "",
    }
    assert told["jacks"][2]["why"] == "what plugs in is a guess"
    assert told["differs"] == []
    assert not (home / "photos").exists()  # reading alone keeps nothing


def test_what_is_wrong_with_the_photo_comes_with_its_remedy(
    phone: Phone, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert send(phone).json["hints"] == []
    burnt = Measures(light=120, bright=255, burnt=0.05, grain=2, blur=1)
    pretend(monkeypatch, replace(PANEL, measures=burnt), panels)
    (hint,) = send(phone).json["hints"]
    assert hint.startswith("A light burnt out a part of the photo: move the torch")


def test_where_the_photo_differs_from_the_book_it_is_asked(phone: Phone, book: Any) -> None:
    told = send(phone, make="norwell", model="NV40 210").json["differs"]
    missing = [one for one in told if "form" in one]
    assert {(one["form"], one["marking"]) for one in missing} == {
        ("rca-pair", "AUDIO"),
        ("jack-3.5", "HEADPHONE"),
    }
    assert "this photo shows no mark of it" in missing[0]["text"]
    assert len(book.visits("Norwell", "NV40-210")) == 1


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "something else"),
        (b"%PDF-1.7\n<script>", "something else"),
        (b"\xff\xd8\xff\xe0" + b"x" * 500, "a damaged picture"),
    ],
    ids=["empty", "two kinds at once", "false start"],
)
def test_what_is_no_photo_is_refused_with_its_reason(phone: Phone, content: bytes, said: str) -> None:
    answer = send(phone, content)
    assert answer.status_code == 422
    assert said in answer.json["error"]


def test_no_photo_at_all_is_refused(phone: Phone) -> None:
    assert phone.script("/panel", {}).status_code == 422


def test_a_stranger_has_no_panel_read(stranger: Phone) -> None:
    assert send(stranger).status_code == 401


def test_labels_and_panels_wait_for_each_other(monkeypatch: pytest.MonkeyPatch, phone: Phone) -> None:
    monkeypatch.setattr(pages, "_READING", threading.Semaphore(0))
    monkeypatch.setattr(pages, "_TURN_S", 0.01)
    answer = send(phone)
    assert answer.status_code == 503
    assert "being read just now" in answer.json["error"]


def test_without_the_extra_the_page_says_what_to_install(
    monkeypatch: pytest.MonkeyPatch, phone: Phone
) -> None:
    assert "data-reads" in phone.get("/record").text
    monkeypatch.setattr(recording, "missing_library", lambda: "rapidocr")
    page = phone.get("/record").text
    assert "data-reads" not in page
    assert "install the reader" in page

    def missing(place: str) -> None:
        raise MissingExtra(place, "rapidocr", "read")

    monkeypatch.setattr(panels, "PictureReader", missing)
    answer = send(phone)
    assert answer.status_code == 422
    assert "rapidocr" in answer.json["error"]


def test_spots_are_read_moved_thrown_away_and_added_and_only_then_saved(
    open_page: Any, laptop: Laptop, book: Any, home: Path, tmp_path: Path
) -> None:
    file = tmp_path / "panel.jpg"
    file.write_bytes(photo())
    page = open_page()
    page.goto(laptop.url("/record?make=Hallmere&model=HM32-5"))
    ready(page)
    page.set_input_files("#picture", file)
    until(page, "document.querySelector('#photo-kept img')?.naturalWidth > 0")
    page.get_by_role("button", name="Read the photo").tap()
    until(page, "document.querySelectorAll('#photo-kept .dots circle').length === 3")
    assert page.input_value("[name=jack-0-marking]") == "OPTICAL OUT"
    assert "what plugs in is a guess" in page.inner_text("[data-jack='2'] .doubt")
    assert page.get_by_role("button", name="Read the photo").count() == 0  # this photo was read
    assert book.visits("Hallmere", "HM32-5") == []

    frame = page.locator("#photo-kept .on-form")
    frame.scroll_into_view_if_needed()
    box = frame.bounding_box()
    x, y = box["x"] + 0.25 * box["width"], box["y"] + 0.5 * box["height"]
    page.mouse.move(x, y)  # the first spot is dragged down to its jack
    page.mouse.down()
    page.mouse.move(x, y + 0.1 * box["height"], steps=4)
    page.mouse.move(x, y + 0.2 * box["height"])
    page.mouse.up()
    until(
        page,
        "JSON.parse(document.querySelector('[name=spots]').value).some((s) => Math.abs(s.y - 0.7) < 0.02)",
    )

    page.get_by_role("button", name="Take away: HDMI 1 (ARC)").first.tap()  # a spot goes with its jack
    until(page, "document.querySelectorAll('#photo-kept .dots circle').length === 2")
    frame.scroll_into_view_if_needed()
    frame.tap(position={"x": box["width"] * 0.5, "y": box["height"] * 0.2})  # nobody saw a mark there
    page.tap(".tap .tile[value='add:jack-3.5']")
    until(page, "document.querySelectorAll('#photo-kept .dots circle').length === 3")
    page.fill("[name=jack-2-marking]", "LINE OUT")  # what plugs in there is changed, too
    draft_kept(page, "LINE OUT")
    page.tap("#save")
    page.wait_for_url("**/recorded?*")
    (visit,) = book.visits("Hallmere", "HM32-5")
    assert [f.jack.marking for f in visit.findings] == ["OPTICAL OUT", "LINE OUT", ""]
    assert page.locator(".on-photo > li").all_inner_texts() == ["OPTICAL OUT", "LINE OUT", "3.5 mm jack"]


@pytest.fixture
def taken(open_page: Any, laptop: Laptop, tmp_path: Path) -> Any:
    """A page where photos of a panel were taken."""

    def take(count: int, record: str = "/record?make=Hallmere&model=HM32-5") -> Any:
        page = open_page(service_workers="block")
        page.goto(laptop.url(record))
        ready(page)
        shoot(page, tmp_path, count)
        return page

    return take


def shoot(page: Any, folder: Path, count: int) -> None:
    files = [folder / f"panel-{n}.jpg" for n in range(count)]
    for file in files:
        file.write_bytes(photo())
    there = page.locator("#photo-kept > li").count()
    page.set_input_files("#picture", files)
    until(page, f"document.querySelectorAll('#photo-kept > li').length === {there + count}")


SPOTS = "[...document.querySelectorAll('#photo-kept > li')].map((li) => li.querySelectorAll('circle').length)"


def reading(page: Any) -> Any:
    return page.get_by_role("button", name="Read the photo")


def test_a_reading_lands_on_its_photo_whatever_became_of_the_others(taken: Any) -> None:
    page = taken(2)
    held = Held(page, "**/panel")
    reading(page).nth(1).tap()
    held.asked()
    page.get_by_role("button", name="Drop photo 1").tap()
    held.answered()
    until(page, f"({SPOTS}).join() === '3'")
    assert page.locator("[data-jack]").count() == 3


def test_nobody_asks_twice_for_the_photo_that_is_being_read(taken: Any, tmp_path: Path) -> None:
    page = taken(1)
    held = Held(page, "**/panel")
    reading(page).tap()
    held.asked()
    shoot(page, tmp_path, 1)  # which draws all photos again
    assert reading(page).count() == 1  # the new photo's own
    held.answered()
    until(page, f"({SPOTS}).join() === '3,0'")
    assert page.locator("[data-jack]").count() == 3


def test_a_photo_that_was_withdrawn_while_it_was_read_brings_no_jacks(taken: Any) -> None:
    page = taken(2)
    held = Held(page, "**/panel")
    reading(page).nth(0).tap()
    held.asked()
    page.get_by_role("button", name="Drop photo 1").tap()
    held.answered()
    until(page, "document.querySelector('#panel-said').hidden")
    assert page.locator("[data-jack]").count() == 0
    assert page.evaluate(SPOTS) == [0]


def test_a_photo_that_could_not_be_read_may_be_read_again(taken: Any, tmp_path: Path) -> None:
    page = taken(1)
    held = Held(page, "**/panel")
    reading(page).tap()
    held.asked()
    shoot(page, tmp_path, 1)
    held.broken()
    until(page, "document.querySelector('#panel-said').textContent.includes('no answer')")
    assert reading(page).count() == 2
    reading(page).nth(0).tap()
    held.asked()
    held.answered()
    until(page, f"({SPOTS}).join() === '3,0'")


def test_differences_are_those_of_the_set_that_is_named(taken: Any) -> None:
    """The label was read again while the photo was: the panel of another set is no difference."""
    page = taken(1, "/record?make=Norwell&model=NV40-210")
    held = Held(page, "**/panel")
    reading(page).tap()
    held.asked()
    page.fill("#model", "NV40-219")
    held.answered()
    until(page, f"({SPOTS}).join() === '3'")
    assert page.locator("#panel-differs li").count() == 0
    page.fill("#model", "NV40-210")
    until(page, "document.querySelectorAll('#panel-differs li').length > 0")


def test_each_photo_says_what_became_of_its_reading(taken: Any) -> None:
    page = taken(2)
    held = Held(page, "**/panel")
    reading(page).nth(0).tap()
    held.asked()
    reading(page).nth(0).tap()  # the other one: the first is being read
    held.asked(2)
    said = page.locator("#panel-said")
    assert said.inner_text().count("This takes some seconds") == 2
    held.broken()
    until(page, "document.querySelector('#panel-said').textContent.includes('no answer')")
    assert said.inner_text().startswith("Photo 1: The photo was not read")
    assert "Photo 2: Reading the marks" in said.inner_text()
    held.answered()
    until(page, f"({SPOTS}).join() === '0,3'")
    assert "Photo 1: The photo was not read" in said.inner_text()
    assert "Photo 2: Compare each numbered spot" in said.inner_text()


def test_nobody_is_asked_for_the_jack_of_a_photo_that_was_dropped(taken: Any) -> None:
    page = taken(1)
    page.tap(".often .tile >> nth=0")
    page.locator("#photo-kept .on-form").tap()
    until(page, "!document.querySelector('#point-choose').hidden")
    page.get_by_role("button", name="Drop photo 1").tap()
    until(page, "document.querySelectorAll('#photo-kept > li').length === 0")
    assert page.locator("#point-choose").is_hidden()
    assert page.locator("#point-said").is_hidden()
