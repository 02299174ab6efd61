"""The guided isolation on the phone: with and without a link the same turns, and its record."""

from __future__ import annotations

import re
from typing import Any

import pytest

from kb.book.faults import load_model
from kb.domain.words import DriverInput, Signal
from kb.isolate import PathUsed, start
from kb.isolate import wording as says
from tests.web.conftest import Phone

pytest.importorskip("flask", reason="the extra jackfield[web] is not installed")

OPTICAL = PathUsed(Signal.OPTICAL, ("optical cable 2 m", "DAC"), DriverInput.LINE_35)


@pytest.fixture(scope="module")
def kept() -> dict[str, Any]:
    from kb.web.turns import turns

    return turns(load_model(), OPTICAL)


@pytest.mark.parametrize("complaint", list(load_model().complaints))
def test_every_kept_turn_is_the_one_that_the_rules_take(kept: dict[str, Any], complaint: str) -> None:
    nodes = kept["complaints"][complaint]["nodes"]
    open_ = [(0, start(load_model(), complaint, OPTICAL))]
    met = set()
    while open_:
        at, state = open_.pop()
        if at in met:
            continue
        met.add(at)
        node, found = nodes[at], state.next_test
        if "test" in node:
            assert found is not None
            assert found.test.id == node["test"]
            assert set(node["to"]) == set(found.test.answers) == set(kept["tests"][found.test.id]["answers"])
            open_ += [(to, state.answer(found.test.id, answer)) for answer, to in node["to"].items()]
        else:
            assert (node["verdict"], node["fault"]) == (says.verdict(state), state.head)
            assert bool(node.get("more")) == (found is not None)
            assert kept["faults"][state.head]["mend"]
    assert met == set(range(len(nodes)))


def test_nine_in_ten_silent_loops_are_searched_to_the_end_without_a_link(kept: dict[str, Any]) -> None:
    """Weighed by how likely each turn is; what is cut off is the rare rest."""
    nodes = kept["complaints"]["no-sound"]["nodes"]
    ended, open_ = 0.0, [(0, 1.0, start(load_model(), "no-sound", OPTICAL))]
    while open_:
        at, p, state = open_.pop()
        if "test" in nodes[at]:
            assert state.next_test is not None
            open_ += [
                (nodes[at]["to"][one.answer], p * one.p, state.answer(nodes[at]["test"], one.answer))
                for one in state.next_test.outlooks
                if p * one.p > 1e-6
            ]
        elif "more" not in nodes[at]:
            ended += p
    assert ended > 0.9


def test_the_turns_of_a_path_are_sent_once_made_and_small(phone: Phone) -> None:
    address = "/isolate/turns?signal=optical&items=optical+cable+2+m&items=DAC&input=line-3.5"
    plain = phone.get(address)
    zipped = phone.client.get(address, headers={"Accept-Encoding": "gzip"})
    assert plain.json["path"] == "optical digital, optical cable 2 m, DAC, into 3.5 mm line input"
    assert zipped.headers["Content-Encoding"] == "gzip"
    assert len(zipped.data) < 100_000
    assert phone.get("/isolate/turns?signal=steam").status_code == 422


def test_a_set_page_says_where_its_tests_are(phone: Phone) -> None:
    page = phone.get("/set?make=Norwell&model=NV40-210").text
    link = re.search(r'data-turns="([^"]*)"', page)
    assert link is not None
    assert phone.get(link[1].replace("&amp;", "&")).json["path"].startswith("optical digital")


def test_what_mending_ended_is_kept_as_a_visit_once_however_often_it_is_tapped(
    phone: Phone, book: Any
) -> None:
    where = "complaint=no-sound&make=Norwell&model=NV40-210&signal=optical&a=red-glow:dark&fixed=output-off"
    page = phone.get(f"/isolate?{where}")
    if page.status_code == 422:
        pytest.fail(page.text)
    assert "Good now" in page.text
    form = re.search(r'action="([^"]*)"[^>]*>.*?name="id" value="([^"]*)"', page.text, re.S)
    assert form is not None
    for _ in range(2):
        answer = phone.post(form[1].replace("&amp;", "&"), {"id": form[2]})
        assert answer.status_code == 303, answer.text
    (visit,) = (one for one in book.visits("Norwell", "NV40-210") if one.job == "")
    assert "no sound in the loop" in visit.note.lower()
    assert len(book.cases()) == 1
    assert phone.get(answer.headers["Location"]).status_code == 200


def test_without_a_set_there_is_nothing_to_keep_it_with(phone: Phone) -> None:
    assert "Keep it in the book" not in phone.get("/isolate?complaint=echo").text
    assert phone.post("/isolate?complaint=echo", {}).status_code == 422


def test_the_page_for_no_link_tells_what_to_try_without_any_test(phone: Phone) -> None:
    page = phone.get("/isolate/without-link").text
    assert "phone into the driver" in page
    assert "<script>" not in page


def test_a_phone_does_not_wait_long_for_another_whose_turns_are_made(
    phone: Phone, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Turns take a second of work: many paths asked for at once do not hold up the pages."""
    from kb.web import isolating

    monkeypatch.setattr(isolating, "_PATIENCE_S", 0.01)
    with isolating._making:
        busy = phone.get("/isolate/turns?signal=coaxial")
    assert (busy.status_code, busy.headers["Retry-After"]) == (503, "5")
    assert phone.get("/isolate/turns?signal=coaxial").status_code == 200
