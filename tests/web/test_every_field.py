"""A visit that is opened on the phone to be corrected, and saved as it is, says what it said before."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings

from kb.book import Book
from kb.domain.visit import Visit, visit_from
from tests.conftest import LONG
from tests.store.random_visits import any_visit
from tests.web.conftest import NORWELL, Phone

html5lib = pytest.importorskip("html5lib", reason="html5lib is not installed")
_XHTML = "{http://www.w3.org/1999/xhtml}"


def sent_by_a_browser(page: str) -> dict[str, str]:
    """What a browser sends of the form as it is shown (HTML, "constructing the form data set")."""
    [form] = html5lib.parse(page).findall(f".//{_XHTML}form[@id='record']")
    said: dict[str, str] = {}
    for field in form.iter():
        name, tag = field.get("name"), str(field.tag).removeprefix(_XHTML)
        if not name or tag == "button" or field.get("type") == "file":
            continue
        if tag == "select":
            options = field.findall(f"{_XHTML}option")
            value = next((one for one in options if one.get("selected") is not None), options[0]).get("value")
        elif tag == "textarea":
            value = (field.text or "").replace("\n", "\r\n")
        elif field.get("type") == "radio":
            if field.get("checked") is None:
                continue
            value = field.get("value")
        else:
            value = field.get("value", "")
            if field.get("type") == "text":  # a field of one line drops line ends
                value = value.replace("\r", "").replace("\n", "")
        said[name] = value
    return said


def saved_again(phone: Phone, book: Book, visit: Visit) -> Visit:
    """The correction that comes of the form of this visit, saved as it is."""
    done = book.record([visit])
    [before] = [*done.already, *(one.id for one in done.recorded)]
    form = sent_by_a_browser(phone.get(f"/record?correct={before}").text)
    answer = phone.post("/record", {**form, "do": "save"})
    assert answer.status_code == 303, answer.text
    found = book.store.visit(form["id"])
    assert found.supersedes == (before,)
    return replace(found, id="", supersedes=visit.supersedes)


@settings(
    max_examples=100 if LONG else 8,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(visit=any_visit)
def test_a_correction_from_the_phone_keeps_every_field(phone: Phone, book: Book, visit: Visit) -> None:
    assert saved_again(phone, book, visit) == visit


def test_what_the_form_does_not_show_stays_with_the_visit(phone: Phone, book: Book) -> None:
    data: dict[str, Any] = {
        **NORWELL,
        "readings": {"positions": [{"at": "chair", "level_db": -12.5}]},
        "case": {"complaint": "hum", "fault": "ground-loop"},
        "driver": {"name": "bench driver", "inputs": ["optical"]},
    }
    data["jacks"] = [{**NORWELL["jacks"][0], "items": ["cable, 2 m", "a\\b"], "note": "left\n\tof the post"}]  # type: ignore[index]
    visit = visit_from(data)
    assert saved_again(phone, book, visit) == visit
