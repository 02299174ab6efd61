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
        ("nothing is in the square jack", {"free": ["optical"], "answers": {"optical": True}}),
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
        ("2 no", (HAS, TAKEN), {"free": ["optical"]}),
        ("2 yes", (HAS, TAKEN), {"taken": ["optical"]}),
        ("sí", (SPEAKERS,), {"speakers": "needed"}),
        ("1. no, 2014", (SPEAKERS,), {"speakers": "free", "year": 2014}),
    ],
)
def test_yes_and_no_answer_the_questions_on_the_screen(
    told: str, asked: tuple[Ask, ...], said: dict[str, Any]
) -> None:
    assert heard(told, {}, asked).said == said


@pytest.mark.parametrize(
    ("told", "said"),
    [
        ("not only headphones, there is a square one too", {"answers": {"headphone": True, "optical": True}}),
        ("no headphone or optical", {"answers": {"headphone": False, "optical": False}}),
        ("no square one, only the red and white ones", {"answers": {"optical": False, "analog-line": True}}),
        ("I don\u2019t see a square one", {"answers": {"optical": False}}),
        ("the headphone hole? none", {"answers": {"headphone": False}}),
        ("the soundbar is in the square one", {"taken": ["optical"], "answers": {"optical": True}}),
        ("the square one isn't being used", {"free": ["optical"], "answers": {"optical": True}}),
        ("not from 2014, more like 2017", {"year": 2017}),
        ("nobody else watches, just me", {"speakers": "free"}),
        ("she hears fine, so the speakers must stay on", {"speakers": "needed"}),
        ("no hay nada en el cuadrado", {"free": ["optical"], "answers": {"optical": True}}),
        ("no veo ningún agujero de auriculares", {"answers": {"headphone": False}}),
        ("los auriculares no los usamos", {"free": ["headphone"], "answers": {"headphone": True}}),
        ("no hay óptico, solo blanco y rojo", {"answers": {"optical": False, "analog-line": True}}),
        ("mi marido también la ve", {"speakers": "needed"}),
    ],
)
def test_everyday_answers_with_a_no_in_them_are_read_as_meant(told: str, said: dict[str, Any]) -> None:
    assert heard(told, {}, (), make_of).said == said


@pytest.mark.parametrize(
    "told",
    [
        "not the headphone one",
        "the soundbar is not in the square one",
        "there used to be something in the square jack",
        "we unplugged the soundbar from the optical",
        "nothing is plugged into that one",
        "the headphone jack doesn't work",
        "no problem with the optical",
        "don't need the headphone jack",
        "the optical is not free",
        "not a 40-inch",
        "not from 2014",
        "it isn't a Norwell",
        "no el de los auriculares",
        "no funciona la de auriculares",
        "la óptica no está libre",
        "no es Norwell",
    ],
)
def test_a_no_that_is_not_clear_is_named_and_says_nothing_of_the_set(told: str) -> None:
    found = heard(told, {}, (), make_of)
    assert (found.said, found.unread) == ({}, (told,))


@pytest.mark.parametrize("told", ["no idea about the square one", "no sé si tiene salida óptica", "not sure"])
def test_who_does_not_know_leaves_the_question_open(told: str) -> None:
    found = heard(told, {}, (HAS,))
    assert (found.said, found.unread, found.unsure) == ({}, (), (told,))


def test_what_is_no_longer_used_is_free_again() -> None:
    known = {"taken": ["optical", "headphone"]}
    assert heard("we don't use the optical any more", known).said["taken"] == ["headphone"]
    assert heard("no", {"taken": ["optical"]}, (TAKEN,)).said == {"taken": []}
    assert heard("the optical is in use", {"free": ["optical"]}).said["taken"] == ["optical"]


def test_a_question_that_was_answered_with_no_is_not_asked_again(jackfield: Run) -> None:
    jackfield("job", "add", "--job", "J-1", "--inputs", "line-3.5", "--year", "2014")
    before = jackfield("job", "call", "J-1", "no sé", "--json").json
    question = "Is something plugged into the square jack with the door?"
    number = [one["question"] for one in before["ask"]].index(question) + 1
    after = jackfield("job", "call", "J-1", f"{number} no", "--json").json
    assert after["job"]["free"] == ["optical"]
    assert question not in [one["question"] for one in after["ask"]]
    assert "optical splitter" not in [one["item"] for one in after["items"]]


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
