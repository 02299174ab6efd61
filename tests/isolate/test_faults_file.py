"""The file of faults keeps its own rules, so that the program need not check them each time."""

from __future__ import annotations

import math
from typing import Any

import pytest

from kb.base.datafiles import data_tables
from kb.base.messages import LANGUAGES
from kb.domain.words import Outcome, Speakers
from kb.isolate.model import FACTS, SOMETHING_ELSE, Side
from kb.isolate.path_used import TRAITS

FILE: dict[str, list[dict[str, Any]]] = data_tables("faults.toml")
TEXTS = {"says", "mend", "caution", "asks", "how"}
FIELDS = {
    "complaint": ("id says elsewhere source", "outcome speakers names"),
    "tool": ("id says", ""),
    "fault": ("id side says mend prior source", "needs caution of_the_set told"),
    "test": (
        "id asks how minutes answers given source",
        "tools needs healthy caution loud ends plain first shows proves",
    ),
}
IDS = {kind: [one["id"] for one in entries] for kind, entries in FILE.items()}
ENTRIES = [pytest.param(kind, one, id=f"{kind} {one['id']}") for kind in FIELDS for one in FILE[kind]]


def known(found: Any, words: Any) -> bool:
    return set(found) <= set(words)


def test_every_id_is_one_of_its_own_and_no_test_is_named_like_a_tool() -> None:
    assert set(FILE) == set(FIELDS)
    for ids in IDS.values():
        assert len(ids) == len({*ids, SOMETHING_ELSE}) - 1
        assert known("".join(ids), "abcdefghijklmnopqrstuvwxyz0123456789-.")
    assert not {*IDS["test"]} & {*IDS["tool"]}, "--without takes both"


@pytest.mark.parametrize(("kind", "entry"), ENTRIES)
def test_an_entry_has_its_fields_a_source_and_its_texts_in_every_language(
    kind: str, entry: dict[str, Any]
) -> None:
    needed, more = (set(words.split()) for words in FIELDS[kind])
    assert needed <= set(entry) <= needed | more | {*LANGUAGES}
    assert entry.get("source", "-")
    texts = {*entry} & TEXTS | {*entry} & {"answers"}
    for own in (entry, *(entry[code] for code in LANGUAGES[1:])):
        assert own is entry or set(own) == texts
        assert all(own[text] for text in texts)
        assert "answers" not in texts or list(own["answers"]) == list(entry["answers"])


@pytest.mark.parametrize("complaint", FILE["complaint"], ids=IDS["complaint"])
def test_a_complaint_has_faults_and_tests(complaint: dict[str, Any]) -> None:
    name = complaint["id"]
    assert 0 < complaint["elsewhere"] <= 0.5
    assert complaint.get("outcome", "hum") in set(Outcome)
    assert complaint.get("speakers", "mute") in set(Speakers)
    assert any(name in fault["prior"] for fault in FILE["fault"])
    assert any(name in given["complaints"] for test in FILE["test"] for given in test["given"])


@pytest.mark.parametrize("fault", FILE["fault"], ids=IDS["fault"])
def test_a_fault_has_odds_and_needs_what_a_path_can_have(fault: dict[str, Any]) -> None:
    assert fault["side"] in set(Side)
    assert fault["prior"]
    assert known(fault["prior"], IDS["complaint"])
    assert all(0 < odds <= 1000 for odds in fault["prior"].values())
    assert known((trait for one in fault.get("needs", ()) for trait in one.split("+")), TRAITS)
    assert known(fault.get("told", ()), FACTS)
    assert all(0 < factor <= 100 for factor in fault.get("told", {}).values())


@pytest.mark.parametrize("test", FILE["test"], ids=IDS["test"])
def test_a_test_gives_a_chance_to_every_answer_for_every_fault(test: dict[str, Any]) -> None:
    answers, priors = test["answers"], {fault["id"]: fault["prior"] for fault in FILE["fault"]}
    assert 0 < test["minutes"] <= 240
    assert 2 <= len(answers) <= 8
    assert known(test.get("tools", ()), IDS["tool"])
    assert known((trait for one in test.get("needs", ()) for trait in one.split("+")), TRAITS)
    assert known([*test.get("ends", ()), *test.get("shows", ()), *test.get("proves", ())], answers)
    assert test.get("healthy", "") in {"", *answers}
    assert known(test.get("first", ()), IDS["test"])
    assert known(test.get("shows", {}).values(), IDS["fault"])
    assert known((side for sides in test.get("proves", {}).values() for side in sides), set(Side))
    told = [complaint for given in test["given"] for complaint in given["complaints"]]
    assert len(told) == len(set(told)), "each complaint once"
    assert known(told, IDS["complaint"])
    for given in test["given"]:
        sides, faults = given.get("sides", {}), given.get("faults", {})
        assert known(given, "complaints otherwise sides faults".split())
        assert known(sides, set(Side) - {Side.ELSEWHERE})
        for row in (
            *sides.values(),
            *faults.values(),
            given.get("otherwise", [1] + [0] * (len(answers) - 1)),
        ):
            assert len(row) == len(answers)
            assert math.isclose(sum(row), 1, abs_tol=1e-6)
            assert min(row) >= 0
        for fault in {*faults} - {SOMETHING_ELSE}:
            assert {*given["complaints"]} & {*priors[fault]}, "the fault explains one of the complaints"
        for fault in FILE["fault"]:
            if {*given["complaints"]} & {*fault["prior"]}:
                assert "otherwise" in given or fault["id"] in faults or fault["side"] in sides, fault["id"]
