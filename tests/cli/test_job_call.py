"""From the call: what a client says is read clause by clause, and the list changes with each answer."""

from __future__ import annotations

from typing import Any

import pytest

from kb.book.call import heard
from kb.domain.words import Form, Signal
from kb.evidence import Output
from kb.pack import Ask
from tests.cli.conftest import Run

MAKES = {"norwell": "Norwell"}
TAKEN = Ask((1,), "taken", Output(Form.TOSLINK, Signal.OPTICAL), 1.0, 0.1)
HAS = Ask((1,), "has", Output(Form.JACK_35, Signal.HEADPHONE), 1.0, 0.1)
SPEAKERS = Ask((1,), "speakers", None, 0.0, 0.0)


def make_of(word: str) -> tuple[str, bool]:
    return MAKES.get(word, ""), word in MAKES


@pytest.mark.parametrize(
    ("told", "said"),
    [
        ("a 40-inch", {"size_in": 40.0}),
        ('40"', {"size_in": 40.0}),
        ("about 102 cm across", {"size_in": 40}),
        ("from about 2014", {"year": 2014}),
        ("something is in the square jack", {"taken": ["optical"], "answers": {"optical": True}}),
        ("a soundbar is plugged into the optical", {"taken": ["optical"], "answers": {"optical": True}}),
        ("nothing is in the square jack", {"answers": {"optical": True}}),
        ("the square one? no red glow", {"answers": {"optical": False}}),
        ("there is a headphone sign", {"answers": {"headphone": True}}),
        ("I cannot find any headphone hole", {"answers": {"headphone": False}}),
        ("no hay auriculares", {"answers": {"headphone": False}}),
        ("red and white sockets", {"answers": {"analog-line": True}}),
        ("opt:taken", {"taken": ["optical"], "answers": {"optical": True}}),
        ("nothing is plugged in anywhere", {"taken": []}),
        ("an old box with a tube", {"display": "tube"}),
        ("it's a Norwell NV40-210", {"make": "Norwell", "model": "NV40-210"}),
        ("nobody needs the speakers", {"speakers": "free"}),
        ("the speakers are needed, others listen", {"speakers": "needed"}),
        ("1080p at 100hz", {}),
    ],
)
def test_what_a_client_says_becomes_facts_of_the_job(told: str, said: dict[str, Any]) -> None:
    assert heard(told, {}, (), make_of).said == said


def test_one_sentence_may_say_several_things_and_the_rest_is_named() -> None:
    found = heard("a 40-inch, from about 2014, something is in the square jack, the cat sleeps", {})
    assert found.said.keys() == {"size_in", "year", "taken", "answers"}
    assert found.unread == ("the cat sleeps",)


@pytest.mark.parametrize(
    ("told", "asked", "said"),
    [
        ("yes", (TAKEN,), {"taken": ["optical"]}),
        ("no", (HAS, TAKEN), {"answers": {"headphone": False}}),
        ("2 yes", (HAS, TAKEN), {"taken": ["optical"]}),
        ("sí", (SPEAKERS,), {"speakers": "needed"}),
        ("1. no, 2014", (SPEAKERS,), {"speakers": "free", "year": 2014}),
    ],
)
def test_yes_and_no_answer_the_questions_on_the_screen(
    told: str, asked: tuple[Ask, ...], said: dict[str, Any]
) -> None:
    assert heard(told, {}, asked).said == said


def test_earlier_answers_stay() -> None:
    known = {"taken": ["optical"], "answers": {"optical": True}}
    found = heard("no headphones", known)
    assert found.said == {"answers": {"optical": True, "headphone": False}}


def test_the_list_changes_with_each_answer_and_the_job_keeps_it(jackfield: Run) -> None:
    assert jackfield("job", "add", "--job", "J-1", "--inputs", "line-3.5").code == 0
    before = jackfield("job", "call", "J-1", "--json").json
    after = jackfield(
        "job", "call", "J-1", "a 40-inch from 2014, something is in the square jack", "--json"
    ).json
    assert after["items"] != before["items"]
    assert len(after["items"]) < len(before["items"])
    assert after["job"] == jackfield("job", "show", "J-1", "--json").json
    assert (after["job"]["year"], after["job"]["taken"]) == (2014, ["optical"])
    done = jackfield("job", "call", "J-1", "--ask", stdin="no headphones\nthe cat sleeps\n\n")
    assert done.code == 0
    assert "not understood: the cat sleeps" in done.err
    assert jackfield("job", "show", "J-1", "--json").json["answers"] == {"optical": True, "headphone": False}


def test_what_was_not_understood_changes_nothing(jackfield: Run) -> None:
    jackfield("job", "add", "--job", "J-1", "--inputs", "line-3.5")
    before = jackfield("job", "show", "J-1", "--states", "--json").json
    assert jackfield("job", "call", "J-1", "hm").code == 1
    assert jackfield("job", "show", "J-1", "--states", "--json").json == before
