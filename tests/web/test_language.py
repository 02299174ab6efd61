"""A phone reads every word in the language of its book: all sentences are in the catalogue."""

from __future__ import annotations

import io
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from tests.web.conftest import FORM, ID, NORWELL, Phone
from tests.web.spoken import Page, data_in, unmarked

pytest.importorskip("flask", reason="the extra jackfield[web] is not installed")
pytestmark = pytest.mark.usefixtures("pretended")

JOB = {
    "make": "Norwell",
    "model": "NV40-210",
    "client": "Aldous Finch",
    "place": "Rowan Lane 4",
    "job": "J-7",
}
DATA = data_in(
    NORWELL,
    FORM,
    JOB,
    "Norwell NV40-210",
    "Norwell NV40-211",
    "HM32-5",
    "zzz999",
    "NV40-21",
    "nv40",
    "norwel",
    "year:soon",
)
SET = "make=Norwell&model=NV40-210"

PAGES = (
    "/",
    "/?q=nv40",
    "/?q=zzz999",
    "/?q=norwel nv40-21",
    f"/set?{SET}",
    "/set?make=Norwell&model=NV40-211",
    f"/set?{SET}&inputs=optical&speakers=free",
    f"/set?{SET}&inputs=line-rca&taken=optical",
    f"/path?{SET}",
    f"/hand-over?{SET}",
    "/record",
    f"/record?{SET}",
    f"/record?{SET}&all=yes",
    "/today",
    "/bring",
    "/isolate",
    f"/isolate?{SET}",
    f"/isolate?{SET}&complaint=no-sound",
    "/isolate?complaint=hum&signal=optical",
    "/isolate/without-link",
    "/tones",
    "/waiting",
    "/phone",
    "/offline",
    "/guide",
)


def foreign(answer: Any) -> list[str]:
    """The words of a page, or of the texts for its scripts, that the catalogue does not know."""
    page = Page(answer.text)
    texts = [
        one for said in page.scripts.values() for one in ([said] if isinstance(said, str) else said.values())
    ]
    return [f"{one}: {words}" for one in [*page.said, *texts] if (words := unmarked(one, DATA))]


@pytest.mark.parametrize("path", PAGES)
def test_a_page_has_its_words_from_the_catalogue(path: str, phone: Phone) -> None:
    answer = phone.get(path, follow_redirects=True)
    assert '<html lang="es">' in answer.text
    assert foreign(answer) == []


def test_a_page_has_its_words_from_the_catalogue_when_there_is_much_to_show(phone: Phone) -> None:
    phone.get("/today")
    phone.post("/today", {**JOB, "id": "one", "year": "2014", "length_m": "2.5 m", "speakers": "free"})
    phone.post("/today", {"make": "Hallmere", "id": "two", "client": "Aldous Finch"})
    phone.get("/record")
    saved = phone.post("/record", {**FORM, "do": "save", "id": ID})
    recorded = saved.headers["Location"]
    pages = [
        "/today",
        "/bring",
        f"/set?{SET}&job=one",
        f"/record?{SET}&job=one",
        f"{recorded}&left=2&again=1",
        f"/record?correct={ID}",
        "/set?make=Hallmere&model=HM32-5",
        f"/recorded?visit={ID}&job=one",
    ]
    assert {path: wrong for path in pages if (wrong := foreign(phone.get(path)))} == {}
    phone.post("/today", {"done": "one"})
    assert foreign(phone.get("/today?done=one")) == []
    phone.post("/withdraw", {"visit": ID})
    assert foreign(phone.get(f"/recorded?visit={ID}")) == []


def test_a_search_for_a_fault_has_its_words_from_the_catalogue_to_its_end(phone: Phone) -> None:
    begun = [f"/isolate?complaint={one}" for one in ("no-sound", "weak", "hum", "echo", "distorted")]
    for at in [*begun, f"/isolate?{SET}&complaint=no-sound"]:
        for _ in range(30):
            answer = phone.get(at)
            assert foreign(answer) == []
            choices = re.findall(r'<a class="choice" href="([^"]+)"', answer.text)
            if not choices:
                break
            at = choices[-1].replace("&amp;", "&")
        [mended] = re.findall(r'<a class="button" href="([^"]+)"', answer.text)
        assert foreign(phone.get(mended.replace("&amp;", "&"))) == []


def test_the_tests_that_a_phone_keeps_are_in_its_language(phone: Phone) -> None:
    kept = phone.get("/isolate/turns").get_json()
    said = [
        *(one["says"] for one in kept["complaints"].values()),
        *(
            node["verdict"]
            for one in kept["complaints"].values()
            for node in one["nodes"]
            if "verdict" in node
        ),
        *(text for one in kept["tests"].values() for text in _said_of_test(one)),
        *(text for one in kept["tests"].values() for text in one["answers"].values()),
        *(text for one in kept["faults"].values() for text in one.values()),
        kept["path"],
    ]
    assert [words for one in said if (words := unmarked(one, DATA))] == []


def _said_of_test(one: dict[str, str]) -> tuple[str, ...]:
    return one["asks"], one["how"], one["caution"], one["minutes"]


def test_what_the_reader_makes_of_a_mark_is_in_the_language_of_the_page(phone: Phone) -> None:
    told = phone.script("/read", {**FORM, "jack-2-form": "hdmi", "jack-2-marking": "HDMI 1"}).get_json()
    assert [words for one in told["read"] if (words := unmarked(one, DATA))] == []


# -- after a mistake ------------------------------------------------------------------------------------


@pytest.mark.parametrize("code", [400, 403, 404, 405, 409, 413, 429, 503])
def test_a_refusal_has_its_words_from_the_catalogue(code: int, phone: Phone, app: Any) -> None:
    from werkzeug.exceptions import default_exceptions

    from kb.web.guards import StalePage

    wrong = StalePage if code == 409 else default_exceptions[code]

    def refuse() -> None:
        raise wrong

    app.view_functions["phone"] = refuse
    answer = phone.get("/phone")
    assert answer.status_code == code
    assert foreign(answer) == []
    told = phone.get("/phone", headers={"Accept": "application/json"}).get_json()
    assert unmarked(told["error"]) == []


def test_a_mistake_of_ours_has_its_words_from_the_catalogue(phone: Phone, app: Any) -> None:
    def fail() -> None:
        raise RuntimeError

    app.view_functions["phone"] = fail
    answer = phone.get("/phone")
    assert answer.status_code == 500
    assert [one for one in foreign(answer) if not re.search(r"[0-9a-f]{8}", one)] == []


MISTAKES: dict[str, Callable[[Phone], Any]] = {
    "a record without a name": lambda phone: phone.post("/record", {**FORM, "make": "", "do": "save"}),
    "a record with an impossible date": lambda phone: phone.post(
        "/record", {**FORM, "date": "soon", "do": "save"}
    ),
    "a record with a year that is a word": lambda phone: phone.post("/record", {**FORM, "year": "old"}),
    "a record with a photo that is none": lambda phone: phone.post(
        "/record", {**FORM, "do": "read", "photo": (io.BytesIO(b"no picture"), "panel.jpg")}
    ),
    "an old page": lambda phone: phone.client.post("/record", data={**FORM, "form_token": "0" * 64}),
    "an id that is taken": lambda phone: [
        phone.post("/record", {**FORM, "do": "save", "id": ID}),
        phone.post("/record", {**FORM, "note": "other", "do": "save", "id": ID}),
    ][-1],
    "a job without a set": lambda phone: phone.post("/today", {"id": "x"}),
    "a job with a year that is a word": lambda phone: phone.post("/today", {**JOB, "id": "x", "year": "old"}),
    "a set without a model": lambda phone: phone.get("/set?make=Norwell"),
    "a visit that is not there": lambda phone: phone.get(f"/recorded?visit={ID}"),
    "a length that is a word": lambda phone: phone.get(f"/set?{SET}&length=far"),
    "a page that is not there": lambda phone: phone.get("/nothing"),
}


@pytest.mark.parametrize("mistake", MISTAKES)
def test_a_mistake_is_named_in_words_of_the_catalogue(mistake: str, phone: Phone) -> None:
    phone.get("/record")
    answer = MISTAKES[mistake](phone)
    assert foreign(answer) == []


def test_a_stranger_reads_words_of_the_catalogue(stranger: Phone) -> None:
    assert foreign(stranger.get("/pair")) == []
    assert foreign(stranger.post("/pair", {"code": "wrong"})) == []
    assert unmarked(stranger.get("/token", headers={"Accept": "application/json"}).text) == []
    assert unmarked(stranger.get("/", headers={"Host": "elsewhere.example"}).text) == []


def test_a_phone_that_is_forgotten_reads_words_of_the_catalogue(phone: Phone) -> None:
    phone.get("/phone")
    assert foreign(phone.post("/forget", {})) == []


def test_a_word_that_is_not_in_the_catalogue_is_found(phone: Phone, home: Path) -> None:
    assert unmarked("⟦Hecho⟧ Done", DATA) == ["Done"]
    texts = '<script data-texts>{"a": "Send"}</script>'
    page = Page(f'<p title="Open it">⟦Ábralo⟧</p>{texts}<span lang="en">an error</span>')
    assert page.said == ["Open it", "⟦Ábralo⟧"]
    assert page.scripts == {"a": "Send"}
