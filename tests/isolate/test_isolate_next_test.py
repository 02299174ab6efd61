"""The next test of a fault search is the one that ends it soonest, tried out by hand to the end."""

from __future__ import annotations

import math
import random
from dataclasses import replace

import pytest

from kb.base.errors import BadInput
from kb.book.faults import load_model
from kb.isolate import Confirmed, Model, State, learned, model_from, start, wording

Odds = dict[str, float]


def invented(seed: int, tests: int, *, ends: bool = False) -> Model:
    """Four faults and some yes-or-no tests, each telling something of most of the faults."""
    chance = random.Random(seed)
    faults = ("plug", "cap", "lead", "fuse")
    rows = [{f: round(chance.uniform(0.05, 0.95), 2) for f in faults} for _ in range(tests)]
    costs = [chance.choice((1, 2, 3, 5)) for _ in range(tests)]
    return model_from(
        {
            "complaint": [{"id": "silent", "says": "no sound", "elsewhere": 0.02, "source": "invented"}],
            "fault": [
                {
                    "id": fault,
                    "side": "source",
                    "says": fault,
                    "mend": "Mend it.",
                    "prior": {"silent": n},
                    "source": "invented",
                }
                for n, fault in enumerate(faults, 1)
            ],
            "test": [
                {
                    "id": f"t{n}",
                    "asks": "?",
                    "how": "Do it.",
                    "minutes": cost,
                    "answers": {"yes": "y", "no": "n"},
                    **({"ends": ["yes"]} if ends and n % 2 else {}),
                    "source": "invented",
                    "given": [
                        {
                            "complaints": ["silent"],
                            "otherwise": [0.5, 0.5],
                            "faults": {fault: [p, round(1 - p, 2)] for fault, p in row.items()},
                        }
                    ],
                }
                for n, (cost, row) in enumerate(zip(costs, rows, strict=True))
            ],
        }
    )


def bits(odds: Odds) -> float:
    return -sum(p * math.log2(p) for p in odds.values() if p > 0)


def answers(model: Model, test: str, odds: Odds) -> list[tuple[str, float, Odds]]:
    """(answer, its chance, the odds after it), from the chances in the model."""
    one = model.tests[test]
    found = []
    for place, answer in enumerate(one.answers):
        joint = {fault: p * one.rows["silent", fault][place] for fault, p in odds.items()}
        p = sum(joint.values())
        found.append((answer, p, {fault: q / p for fault, q in joint.items()}))
    return found


def by_hand(
    model: Model, odds: Odds, left: frozenset[str], known: dict[object, tuple[float, str | None]]
) -> tuple[float, str | None]:
    """(minutes to the end on average, first test) of the best way, with every way tried."""
    if max(odds.values()) >= 0.9:
        return 0.0, None  # the fault is found
    key = left, tuple(round(p, 12) for p in odds.values())
    if key not in known:
        ways = []
        for test in sorted(left):
            each = answers(model, test, odds)
            if bits(odds) - sum(p * bits(after) for _, p, after in each) < 0.02:
                continue
            minutes = model.tests[test].minutes
            for answer, p, after in each:
                if answer not in model.tests[test].ends:
                    minutes += p * by_hand(model, after, left - {test}, known)[0]
            ways.append((round(minutes, 9), test))  # of equals the first
        # Nothing more to test and no fault found: somebody thinks for five minutes.
        known[key] = min(ways) if ways else (5.0, None)
    return known[key]


def per_minute(state: State) -> str:
    """The test with most bits a minute; an answer that brings a fault to 0.9 leaves nothing to find."""

    def rate(test: str) -> float:
        each = answers(state.model, test, state.odds)
        left = sum(p * bits(after) for _, p, after in each if max(after.values()) < 0.9)
        return (bits(state.odds) - left) / state.model.tests[test].minutes

    return max(state.model.tests, key=rate)


def proposed(state: State) -> str | None:
    return state.next_test.test.id if state.next_test else None


@pytest.mark.parametrize("ends", [False, True])
@pytest.mark.parametrize("seed", range(8))
def test_up_to_five_tests_are_done_in_the_order_that_ends_the_search_soonest(seed: int, ends: bool) -> None:
    state = start(invented(seed, 5 if seed % 2 else 4, ends=ends), "silent")
    assert proposed(state) == by_hand(state.model, state.odds, frozenset(state.model.tests), {})[1]


def useful(state: State) -> int:
    """How many tests tell the listed faults apart, and not only one of them from something else."""
    listed = {fault: p / 0.98 for fault, p in state.odds.items() if fault != "something-else"}
    told = [
        bits(listed) - sum(p * bits(after) for _, p, after in answers(state.model, test, listed))
        for test in state.model.tests
    ]
    return sum(one >= 0.02 for one in told)


def test_from_six_useful_tests_on_the_one_with_most_bits_a_minute_is_next() -> None:
    states = [one for seed in range(40) if useful(one := start(invented(seed, 6), "silent")) == 6]
    assert len(states) > 9
    assert [proposed(one) for one in states] == [per_minute(one) for one in states]


def test_for_five_the_end_of_the_search_counts_and_not_only_the_next_step() -> None:
    states = [one for seed in range(40) if useful(one := start(invented(seed, 5), "silent")) == 5]
    assert any(proposed(one) != per_minute(one) for one in states)


def test_cases_are_worth_nothing_against_odds_that_are_worth_nothing() -> None:
    with pytest.raises(BadInput, match="strength: saw 0"):
        learned(invented(1, 1), [Confirmed("silent", "cap")], strength=0)


def test_a_repair_that_can_hurt_comes_with_its_caution_and_something_else_with_none() -> None:
    model = load_model()
    assert "Never lift a protective earth" in wording.fault_caution(model, "ground-loop")
    assert wording.fault_caution(model, "cap-on-plug") == ""
    assert wording.fault_caution(model, "something-else") == ""


def test_a_test_that_names_another_as_first_waits_for_it() -> None:
    """Look whether the set is muted before a plug is pulled."""
    model = invented(3, 3)
    state = start(model, "silent")
    last = proposed(state)
    other = next(test for test in model.tests if test != last)
    tests = {**model.tests, last: replace(model.tests[last], first=(other,))}
    waiting = start(replace(model, tests=tests), "silent")
    assert proposed(waiting) == other
    assert proposed(waiting.answer(other, "yes")) in {test for test in model.tests if test != other}
