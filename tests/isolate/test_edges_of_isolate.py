"""Find the edges of a fault search: when answers contradict, what is sure, what a file may hold."""

from __future__ import annotations

import math
from typing import Any

import pytest

from kb.base.errors import BadInput
from kb.domain.words import DriverInput, Signal
from kb.isolate import Confirmed, Model, State, learned, model_from, start, wording
from kb.isolate.learning import confirmed_from
from kb.isolate.model import FLOOR, SOMETHING_ELSE
from kb.isolate.next_test import choose, entropy
from kb.isolate.path_used import TRAITS, PathUsed
from kb.isolate.state import NextTest, Outlook

#: Fault -> (odds, the chance of "good" at each test); the last column is of a fault outside the list.
PLUG_AND_LEAD = {"plug": (3, (0.9, 0.2, 0.5)), "lead": (1, (0.2, 0.9, 0.5))}


def file_of(faults: dict[str, tuple[float, tuple[float, ...]]], **needs: list[str]) -> dict[str, Any]:
    """A file of faults with one complaint and a test of the answers good and bad for each column."""
    columns = len(next(iter(faults.values()))[1])
    return {
        "complaint": [{"id": "silent", "says": "no sound", "elsewhere": 0.1, "source": "invented"}],
        "fault": [
            {"id": name, "side": "source", "says": f"the {name}", "mend": "Mend it.", "source": "invented"}
            | {"prior": {"silent": odds}, "needs": needs.get(name, [])}
            for name, (odds, _) in faults.items()
        ],
        "test": [
            {"id": f"t{n}", "asks": "?", "how": "Do it.", "minutes": 1, "source": "invented"}
            | {"answers": {"good": "g", "bad": "b"}}
            | {
                "given": [
                    {
                        "complaints": ["silent"],
                        "otherwise": [0.5, 0.5],
                        "faults": {name: [row[n], 1 - row[n]] for name, (_, row) in faults.items()},
                    }
                ]
            }
            for n in range(columns)
        ],
    }


def model(**faults: tuple[float, tuple[float, ...]]) -> Model:
    return model_from(file_of(faults or PLUG_AND_LEAD))


# -- answers ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(("chance", "fits"), [(0.05, False), (0.08, True)])
def test_answers_contradict_each_other_where_each_fault_makes_one_of_them_unlikely(
    chance: float, fits: bool
) -> None:
    state = start(model(plug=(1, (0.9, chance)), lead=(1, (chance, 0.9))), "silent")
    state = state.answer("t0", "good").answer("t1", "good")
    assert (state.contradiction is None) is fits


def test_the_answer_that_is_done_again_is_the_one_without_which_a_fault_explains_the_rest() -> None:
    state = start(model(plug=(1, (0.9, 0.9, 0.03)), lead=(1, (0.02, 0.02, 0.5))), "silent")
    for test in ("t0", "t2", "t1"):
        state = state.answer(test, "good")
    assert state.contradiction is not None
    assert state.contradiction.odd == ("t2", "good")


def test_taking_back_takes_back_the_last_answer_alone_and_a_repair_before_it() -> None:
    state = start(model(), "silent").answer("t0", "good").answer("t1", "bad").answer("t2", "good")
    assert state.undo().answers == (("t0", "good"), ("t1", "bad"))
    assert state.fixed_by("plug").undo() == state


def test_an_answer_multiplies_the_odds_of_each_fault_by_its_chance() -> None:
    odds = start(model(), "silent").answer("t0", "good").odds
    keep = 1 - 2 * FLOOR
    joint = {
        "plug": 0.9 * 3 / 4 * (FLOOR + keep * 0.9),
        "lead": 0.9 * 1 / 4 * (FLOOR + keep * 0.2),
        SOMETHING_ELSE: 0.1 * 0.5,
    }
    assert odds == pytest.approx({name: one / sum(joint.values()) for name, one in joint.items()})


def test_what_is_certain_has_no_uncertainty_and_a_coin_has_one_bit() -> None:
    assert entropy([1.0, 0.0]) == 0
    assert entropy([0.5, 0.5]) == 1


def test_of_all_pairs_that_explain_the_answers_the_pair_of_the_commonest_faults_is_named() -> None:
    # By hand: the plug and either other fault allow both answers alike; the odds are 1 x 3 and 1 x 2.
    state = start(model(plug=(1, (0.03, 0.97)), lead=(3, (0.97, 0.03)), fuse=(2, (0.97, 0.03))), "silent")
    state = state.answer("t0", "bad").answer("t1", "bad")
    assert state.contradiction is not None
    assert set(state.contradiction.pair or ()) == {"plug", "lead"}
    said = wording.contradiction(state)
    assert said.startswith("No single fault explains all answers.")
    assert said.endswith(("two faults at once: plug and lead.", "two faults at once: lead and plug."))


def test_answers_that_one_fault_explains_are_no_contradiction_to_speak_of() -> None:
    assert wording.contradiction(start(model(), "silent").answer("t0", "good")) == ""


@pytest.mark.parametrize(("listed", "worth_a_test"), [(0.005, False), (0.3, True)])
def test_listed_faults_are_not_told_apart_once_the_fault_is_surely_another(
    listed: float, worth_a_test: bool
) -> None:
    file = model(plug=(1, (0.98, 0.5)), lead=(1, (0.02, 0.5)))
    odds = {"plug": listed, "lead": listed, SOMETHING_ELSE: 1 - 2 * listed}
    # By hand: t0 tells the plug from the lead with 0.86 bits, which are of use in one case of a hundred.
    assert (
        choose("silent", odds, list(file.tests.values()), {"t0": 1.0, "t1": 1.0}) is not None
    ) is worth_a_test


# -- the file --------------------------------------------------------------------------------------


def file_with(kind: str, **values: object) -> dict[str, Any]:
    data = file_of(PLUG_AND_LEAD)
    data[kind][0] |= values
    return data


def test_a_fault_is_of_the_set_only_if_the_file_says_so() -> None:
    assert not model().faults["plug"].of_the_set
    assert model_from(file_with("fault", of_the_set=True)).faults["plug"].of_the_set


def test_a_hundred_thousand_cases_are_read_at_once_and_no_more() -> None:
    case = {"complaint": "silent", "fault": "plug"}
    assert len(confirmed_from(model(), [case] * 100)) == 100
    with pytest.raises(BadInput, match=r"100[,.]?000"):
        confirmed_from(model(), [case] * 100_001)
    with pytest.raises(BadInput, match="confirmed 1: "):  # so many are not too many: the first one is read
        confirmed_from(model(), [None] * 100_000)


# -- learning --------------------------------------------------------------------------------------


def test_learned_odds_solve_the_equation_that_they_are_defined_by() -> None:
    faults = {"plug": (3.0, (0.5,)), "lead": (1.0, (0.5,)), "cap": (2.0, (0.5,))}
    file = model_from(file_of(faults, cap=["optical"]))
    light, wire = PathUsed(Signal.OPTICAL), PathUsed(Signal.ANALOG_LINE)
    cases = [("cap", light)] * 5 + [("lead", light)] * 2 + [("lead", wire)] * 20 + [("plug", wire)] * 3
    strength = 10.0
    got = learned(file, [Confirmed("silent", *case) for case in cases], strength).weights("silent")
    before = file.weights("silent")
    whole = {path: sum(got[f] * file.share(f, path) for f in got) for path in (light, wire)}
    for fault in got:
        seen = sum(one == fault for one, _ in cases)
        asked = sum(file.share(fault, path) / whole[path] for _, path in cases)
        assert got[fault] == pytest.approx((strength * before[fault] + seen) / (strength + asked), abs=1e-8)


# -- the file of faults ----------------------------------------------------------------------------


# -- the path --------------------------------------------------------------------------------------

S, I = Signal, DriverInput  # noqa: E741
TRAITS_OF = [
    (PathUsed(), {}),
    (
        PathUsed(S.OPTICAL, ("optical cable 2 m",), I.OPTICAL),
        {"optical": True, "digital": True, "cable": True, "galvanic": False, "converter": False},
    ),
    (PathUsed(S.OPTICAL, (), I.LINE_35), {"converter": True, "extractor": False, "analog-end": True}),
    (
        PathUsed(S.ANALOG_LINE, ("RCA cable 2 m",), I.LINE_RCA),
        {"analog": True, "dac": False, "extractor": False, "galvanic": True, "line-input": True},
    ),
    (PathUsed(S.HEADPHONE, (), I.MIC), {"mic-input": True, "line-input": False, "splitter": None}),
    (PathUsed(S.WIRELESS), {"bluetooth": True, "cable": False, "galvanic": False, "analog-end": True}),
    (PathUsed(S.ACOUSTIC), {"cable": False, "analog-end": True, "analog": False, "bluetooth": None}),
    (PathUsed(S.ARC), {"extractor": None, "dac": None, "isolator": None, "arc": True, "earc": False}),
    (PathUsed(items=("nameless thing",)), {"splitter": None, "converter": None, "optical": None}),
    (PathUsed(items=("optical splitter",)), {"splitter": True, "dac": False}),
]


@pytest.mark.parametrize(("path", "said"), TRAITS_OF)
def test_the_path_rules_out_what_it_says_and_leaves_open_what_it_does_not(
    path: PathUsed, said: dict[str, bool | None]
) -> None:
    assert {trait: TRAITS[trait](path) for trait in said} == said
    if path == PathUsed():
        assert {trait(path) for trait in TRAITS.values()} == {None}


def test_of_alternatives_one_is_enough_and_of_a_sum_each_is_needed() -> None:
    optical = PathUsed(S.OPTICAL, ("optical cable 2 m",), I.OPTICAL)
    assert optical.share(("coaxial", "optical")) == 1
    assert optical.share(("optical+splitter",)) == 0
    assert optical.share(("coaxial", "galvanic")) == 0
    assert PathUsed(S.OPTICAL).share(("optical+splitter",)) == 0.25
    assert PathUsed(S.OPTICAL).share(()) == 1


# -- sentences -------------------------------------------------------------------------------------


def why(*outlooks: tuple[str, float, float]) -> str:
    state = start(model(), "silent")
    test = state.model.tests["t0"]
    found = NextTest(test, 0.5, tuple(Outlook(answer, p, "plug", q) for answer, p, q in outlooks))
    return wording.why(state.model, found)


def test_why_a_test_comes_next_says_what_its_answers_settle_and_what_they_leave_open() -> None:
    assert why(("good", 0.4, 0.5), ("bad", 0.6, 0.49)) == (
        "For 1 minute of work, this test tells the most. "
        "If the answer is good (40%), the likely fault is: the plug (50%). "
        "If it is bad (60%), the list gets shorter."
    )
    assert "shorter" not in why(("good", 0.4, 0.9), ("bad", 0.6, 0.8))


def test_an_answer_that_hardly_anybody_gives_is_left_out_of_why() -> None:
    assert "bad" in why(("good", 0.99, 0.9), ("bad", 0.01, 0.2))
    assert "bad" not in why(("good", 0.995, 0.9), ("bad", 0.009, 0.2))


def test_what_the_book_knows_of_a_set_is_said_and_nothing_if_it_knows_nothing() -> None:
    said = wording.known_of_set(model(), {"menu-noted", "level-fixed"}, ["plug", "lead"])
    assert said == (
        "The book says of this set, and it counts: its level is fixed, a menu setting was needed, "
        "mended here before: the plug; the lead."
    )
    assert wording.known_of_set(model(), (), ()) == ""


def test_the_other_faults_are_named_only_once_nothing_is_left_to_test() -> None:
    begun: State = start(model(plug=(6, (0.5,)), lead=(4, (0.5,))), "silent")
    assert begun.done, "a coin is no test"
    assert wording.verdict(begun) == (
        "No test is left that tells more. Most likely (54%): the plug. "
        "Next most likely: the lead; something else: a fault that is not in this list."
    )
    assert math.isclose(sum(p for _, p in begun.likely), 1)
    on_the_way = start(model(plug=(6, (0.7,)), lead=(4, (0.3,))), "silent")
    assert not on_the_way.done
    assert wording.verdict(on_the_way) == "Most likely so far (54%): the plug."
