"""Find, set, path, isolation and sheet: the phone says what the terminal says."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest

from kb.book import Book
from kb.domain.visit import visit_from
from kb.store import Store
from tests.exchange.helpers import facts, fill
from tests.exchange.test_bundles_back import bundle
from tests.present import Present
from tests.web.conftest import Phone
from tests.web.test_guards import PAGES

pytest.importorskip("flask", reason="the extra jackfield[web] is not installed")
html5lib = pytest.importorskip("html5lib", reason="html5lib is not installed")


def shown(page: str) -> str:
    """The words of a page."""
    text = re.sub(
        r"<(?:head|template|datalist).*?</(?:head|template|datalist)>|<[^>]*>", " ", page, flags=re.S
    )
    return " ".join(text.replace("&#39;", "'").replace("&#34;", '"').replace("&amp;", "&").split())


def test_a_set_that_nobody_met_is_searched_for_once_and_only_where_the_nearest_are_shown(
    phone: Phone, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[str] = []
    find = Book.find

    def counted(self: Book, query: str, limit: int = 10) -> Any:
        asked.append(query)
        return find(self, query, limit)

    monkeypatch.setattr(Book, "find", counted)
    set_ = "make=Norwell&model=NV40-219"
    assert "NV40-210" in phone.get(f"/set?{set_}").text
    assert asked == ["Norwell NV40-219"]
    for page in ("/sheet", "/tag", "/hand-over", "/isolate"):
        phone.get(f"{page}?{set_}")
    assert len(asked) == 1


@pytest.mark.parametrize("path", PAGES)
def test_every_page_is_html_that_parses_without_error(path: str, phone: Phone) -> None:
    html5lib.HTMLParser(strict=True).parse(
        phone.get(path).text if path != "/pair" else phone.get(path, follow_redirects=True).text
    )


@pytest.mark.parametrize("path", [page for page in PAGES if page != "/pair"])
def test_every_page_has_one_heading_a_language_and_a_name_for_each_field(path: str, phone: Phone) -> None:
    page = re.sub(r"<template.*?</template>", "", phone.get(path).text, flags=re.S)
    assert page.count("<h1") == 1
    assert '<html lang="en">' in page
    ids = re.findall(r'\sid="([^"]+)"', page)
    assert len(ids) == len(set(ids))
    labelled = set(re.findall(r'<label for="([^"]+)"', page))
    for field in re.findall(r"<(?:input|select|textarea)\b[^>]*>", page):
        kind = re.search(r'type="(\w+)"', field)
        if kind and kind[1] in ("hidden", "checkbox", "radio"):
            continue
        name = re.search(r'\sid="([^"]+)"', field)
        assert name is not None, field
        assert name[1] in labelled, field


def test_search_ranks_as_find_does(phone: Phone, book: Any) -> None:
    from kb.domain.visit import visit_from

    models = ["NV40-210", "NV40-211", "NV42-210", "NX40-210", "NV32-208"]
    book.record(
        [visit_from({"date": "2026-03-01", "source": {"make": "Norwell", "model": m}}) for m in models]
    )
    for query in ("nv40 210", "norwell nv4?-21", "nv40", "kitchen", "norwel nv32"):
        found = [f"{one.make} {one.model}" for one in book.find(query, limit=12).matches]
        page = phone.get("/", query_string={"q": query, "part": "1"}).text
        assert re.findall(r"<strong>(.*?)</strong>", page) == found, query


def test_the_list_alone_comes_as_one_types(phone: Phone) -> None:
    part = phone.get("/?q=norwell&part=1").text
    assert "<html" not in part
    assert "NV40-210" in part


def test_a_search_for_nothing_known_says_so_and_offers_to_record(phone: Phone) -> None:
    page = phone.get("/?q=zzz999").text
    assert "No set like" in page
    assert 'href="/record"' in page


def test_a_query_that_is_none_is_named_in_place(phone: Phone) -> None:
    page = phone.get("/?q=year:soon")
    assert page.status_code == 200
    assert "year" in shown(page.text)


def test_the_set_page_says_the_path_first_then_the_panel_then_who_found_it(phone: Phone) -> None:
    page = shown(phone.get("/set?make=norwell&model=nv40210").text)
    order = [
        "Connect it like this",
        "DIGITAL AUDIO OUT",
        "Converter",
        "Its panel",
        "▶ out",
        "this one",
        "Do this",
        "Visits",
        "kitchen",
    ]
    at = [page.index(word) for word in order]
    assert at == sorted(at)
    assert "job J-104" in page


def test_the_note_of_a_jack_is_shown_in_its_words_with_whose_it_is(phone: Phone, book: Any) -> None:
    jack = {"form": "toslink", "marking": "OPTICAL OUT", "note": "shutter stuck"}
    source = {"make": "Hallmere", "model": "HM32-5"}
    book.record([visit_from({"date": "2026-03-04", "by": "RT", "source": source, "jacks": [jack]})])
    page = shown(phone.get("/set?make=Hallmere&model=HM32-5").text)
    assert "note: shutter stuck (RT, 2026-03-04)" in page
    assert "Note(" not in page


def test_the_path_is_the_one_that_the_command_gives(phone: Phone, book: Any) -> None:
    from kb.domain.words import DriverInput
    from kb.path import sentence

    view = book.view("Norwell", "NV40-210")
    connection = book.connect(view.panel, view.source, inputs=[DriverInput.OPTICAL], length_m=4.0)
    page = shown(phone.get("/set?make=Norwell&model=NV40-210&inputs=optical&length=4").text)
    assert connection.chosen is not None
    for said in (*connection.chosen.steps, *connection.chosen.cautions):
        assert sentence(said) in page
    for item in connection.chosen.items:
        assert item in page
    assert "Usual driver again" in page


def test_a_changed_usual_driver_counts_at_once(phone: Phone, home: Any) -> None:
    from kb.domain.words import DriverInput
    from kb.settings import Settings, save

    assert "Converter DAC" in shown(phone.get("/set?make=Norwell&model=NV40-210").text)
    save(home, Settings(inputs=(DriverInput.OPTICAL,)))
    assert "Converter none" in shown(phone.get("/set?make=Norwell&model=NV40-210").text)


def test_a_set_that_nobody_met_is_a_true_no_with_the_nearest(phone: Phone) -> None:
    answer = phone.get("/set?make=Norwell&model=NV40-219")
    assert answer.status_code == 404
    assert "NV40-210" in answer.text
    assert "Record it" in answer.text


@pytest.mark.parametrize(
    "path",
    [
        "/set",
        "/set?make=Norwell",
        "/set?make=Norwell&model=NV40-210&inputs=banana",
        "/set?make=Norwell&model=NV40-210&length=long",
        "/set?make=Norwell&model=NV40-210&length=1e9",
        "/set?make=Norwell&model=NV40-210&taken=banana",
        "/set?make=" + "x" * 100 + "&model=1",
        "/isolate?complaint=banana",
        "/isolate?complaint=no-sound&a=banana",
        "/isolate?complaint=no-sound&a=red-glow:banana",
        "/sheet?make=Norwell&model=NV40-210&lang=xx",
    ],
)
def test_an_address_that_makes_no_sense_is_told_so(path: str, phone: Phone) -> None:
    answer = phone.get(path)
    assert answer.status_code in (404, 422)
    assert "Traceback" not in answer.text


def test_isolation_on_the_phone_asks_the_same_tests_to_the_same_end(phone: Phone) -> None:
    """Every answer is the first of its test; the machine and the page must agree at each step."""
    from kb.book.faults import load_model
    from kb.isolate import path_used_from, start
    from kb.isolate import wording as says

    state = start(load_model(), "no-sound", path_used_from({"signal": "optical"}))
    path = "/isolate?complaint=no-sound&signal=optical"
    for _ in range(12):
        page = phone.get(path).text
        found = state.next_test
        if found is None:
            break
        assert found.test.asks in shown(page)
        answer = next(iter(found.test.answers))
        state = state.answer(found.test.id, answer)
        path = re.findall(r'<a class="choice" href="([^"]+)"', page)[0].replace("&amp;", "&")
    assert says.verdict(state) in shown(phone.get(path).text)
    assert says.fault_mend(state.model, state.likely[0][0]) in shown(phone.get(path).text)


def test_from_a_set_the_isolation_knows_its_path(phone: Phone) -> None:
    page = phone.get("/set?make=Norwell&model=NV40-210").text
    link = re.search(r'href="(/isolate\?[^"]*)"[^>]*>No sound', page)
    assert link is not None
    begun = phone.get(link[1].replace("&amp;", "&")).text
    assert '<option value="optical" selected>' in begun
    assert 'name="items" value="optical cable 2 m"' in begun  # as it was connected on the last visit


def test_the_sheet_is_the_one_that_the_command_writes(phone: Phone, home: Any, tmp_path: Any) -> None:
    from kb.cli.main import run

    out = tmp_path / "sheet.html"
    assert run(["--home", str(home), "sheet", "Norwell", "NV40-210", "--out", str(out)]) == 0
    assert phone.get("/sheet?make=Norwell&model=NV40-210").text == out.read_text(encoding="utf-8")


# -- sheet and tag from the phone ----------------------------------------------------------------------


def test_a_sheet_shown_on_the_phone_has_contact_and_a_way_back_that_is_not_printed(phone: Phone) -> None:
    asked = "make=Norwell&model=NV40-210&contact=Oxmarle+Loops%2C+555+0100"
    page = phone.get(f"/sheet?{asked}&back=yes").text
    assert "Oxmarle Loops, 555 0100" in page
    back = shown(re.findall(r'class="way-back"><a href="([^"]+)"', page)[0])
    assert phone.get(back).status_code == 200
    assert "back=" not in back
    assert "@media print { .way-back { display: none; } }" in page
    assert "way-back" not in phone.get(f"/sheet?{asked}").text
    assert phone.get("/sheet?make=Norwell&model=NV40-210&contact=" + "x" * 200).status_code == 422


def test_hostile_words_in_the_way_back_stay_words(phone: Phone) -> None:
    page = phone.get("/sheet?make=Norwell&model=NV40-210&back=yes&job=%22%3E%3Cscript%3E").text
    assert "<script" not in page


def test_the_tag_has_the_address_of_the_set_only_if_the_book_is_served_under_a_name(app: Any) -> None:
    from kb.domain.visit import Source
    from kb.sheet.tag import page_address
    from kb.web.pages import _has_name

    names = {"loops.example.org": True, "van.local:8437": True, "127.0.0.1:8437": False, "localhost": False}
    names |= {"[::1]:8437": False, "192.168.8.10": False}
    assert {name: _has_name(name) for name in names} == names
    address = page_address("https://loops.example/", Source("Norwell", "NV40-210"))
    assert address == "https://loops.example/set?make=Norwell&model=NV40-210"
    with app.test_request_context(address.removeprefix("https://loops.example")):
        assert app.url_map.bind("").match("/set")[0] == "show_set"


def test_the_phone_makes_the_tag_for_the_driver(phone: Phone) -> None:
    answer = phone.get("/tag?make=Norwell&model=NV40-210")
    assert answer.status_code == 200
    assert "<svg" in answer.text
    assert "127.0.0.1" not in answer.text
    assert "http" not in answer.text.partition("<desc>")[2].partition("</desc>")[0]


def test_home_screens_that_take_no_svg_get_an_icon_as_png(stranger: Phone) -> None:
    page = stranger.get("/pair").text
    address = shown(re.findall(r'rel="apple-touch-icon" href="([^"]+)"', page)[0])
    with stranger.client.get(address) as answer:
        png = answer.data
    assert png[:8] == b"\x89PNG\r\n\x1a\n"
    assert (int.from_bytes(png[16:20], "big"), int.from_bytes(png[20:24], "big")) == (180, 180)
    assert png[25] == 2 or png[25] == 6  # truecolour
    listed = stranger.client.get("/manifest.webmanifest").json["icons"]
    for one in listed:
        with stranger.client.get(one["src"]) as answer:
            assert answer.status_code == 200


# -- withdrawing ---------------------------------------------------------------------------------------


def test_a_visit_can_be_withdrawn_on_the_phone_and_count_again(phone: Phone, book: Any) -> None:
    visit = book.visits("Norwell", "NV40-210")[0].id
    page = phone.get(f"/recorded?visit={visit}").text
    assert "Withdraw this visit" in page
    for _ in range(2):  # a second tap changes nothing
        answer = phone.post("/withdraw", {"visit": visit})
    assert "Let it count again" in phone.get(answer.location).text
    assert book.visits("Norwell", "NV40-210") == []
    for _ in range(2):
        answer = phone.post("/withdraw", {"visit": visit, "undo": "yes"})
    assert "Withdraw this visit" in phone.get(answer.location).text
    assert [one.id for one in book.visits("Norwell", "NV40-210")] == [visit]
    assert phone.post("/withdraw", {"visit": "nonsense"}).status_code == 404


def test_a_visit_whose_bundle_was_taken_back_is_not_called_in_the_book(
    phone: Phone, book: Any, tmp_path: Path
) -> None:
    with Store.open(tmp_path / "theirs.sqlite") as theirs:
        fill(theirs, 1, "T")
        came = facts(theirs)
        visit = Present(theirs).visits()[0][0].id
    book.change(lambda store: store.merge(came, outside=True, origin=bundle(1)))
    assert "In the book" in phone.get(f"/recorded?visit={visit}").text
    book.change(lambda store: store.turn_bundle(bundle(1).id, taken_back=True))
    page = phone.get(f"/recorded?visit={visit}").text
    assert ("In the book" in page, "Withdraw this visit" in page, "Correct it" in page) == (False,) * 3
    assert "came with a bundle that was taken back" in page


def test_the_page_says_of_several_inputs_that_they_are_inputs(phone: Phone, book: Book) -> None:
    inputs = [{"form": "rca-pair", "marking": f"AUDIO IN {number}"} for number in (1, 2)]
    source = {"make": "Hallmere", "model": "HM40-7"}
    book.record([visit_from({"date": "2026-03-04", "source": source, "jacks": inputs})])
    page = phone.get("/set?make=Hallmere&model=HM40-7").text
    assert "<dt>AUDIO IN 1, AUDIO IN 2</dt><dd>These are inputs:" in page
    assert "This is an input" not in page
