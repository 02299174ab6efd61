"""Measure how many minutes a way of choosing tests takes until the fault is found.

Faults are drawn from the priors and answers from the model's own chances, seeded: it compares ways of
choosing, and says nothing of how true the model is.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from kb.isolate.next_test import LEAST_BITS
from kb.isolate.path_used import PathUsed, path_used_from
from kb.isolate.state import State

Choice = Callable[[State], str | None]
"""The test to do next, or None to stop."""


@dataclass(frozen=True, slots=True)
class Trial:
    """The result of one way of choosing: means over the cases drawn, ``minutes`` with its standard error."""

    minutes: float
    error: float
    tests: float
    right: float
    """Share of cases in which the fault drawn was on top at the end."""
    settled: float
    """Share of cases in which something stood at 0.9 at the end, or the complaint was gone."""
    each: tuple[float, ...]
    """Minutes of each case, in the order drawn, to compare two ways case by case."""


def path_used(signal: str = "", items: tuple[str, ...] = (), input: str = "") -> PathUsed:
    """The path from words as typed; raises BadInput on a signal or input that there is not."""
    said = {"signal": signal or None, "items": list(items), "input": input or None}
    return path_used_from({key: value for key, value in said.items() if value})


def greedy(state: State) -> str | None:
    """The way of ``kb.isolate``: most expected information per minute."""
    found = state.next_test
    return found.test.id if found else None


def in_order(order: Sequence[str]) -> Choice:
    """A fixed list worked from the top, as printed lists are; stops at 0.9, skips what tells nothing now."""

    def choose(state: State) -> str | None:
        if state.settled or state.gone:
            return None
        left = {test.id: test for test in state.open_tests}
        return next((test for test in order if test in left and state.bits(left[test]) >= LEAST_BITS), None)

    return choose


def shuffled(state: State, seed: int) -> Choice:
    """A fixed list in random order."""
    order = [test.id for test in state.open_tests]
    random.Random(seed).shuffle(order)
    return in_order(order)


def cases(state: State, count: int, seed: int) -> list[tuple[str, int]]:
    """(fault, seed of its answers) for ``count`` cases drawn from the odds of ``state``."""
    lots = random.Random(seed)
    faults, odds = zip(*state.odds.items(), strict=True)
    return [(fault, lots.getrandbits(48)) for fault in lots.choices(faults, odds, k=count)]


def run(begun: State, choose: Choice, drawn: Iterable[tuple[str, int]]) -> Trial:
    """Works every case with this way of choosing; the same case gives the same answer to the same test."""
    known: dict[frozenset[tuple[str, str]], str | None] = {}  # one choice for one set of answers
    minutes, tests, right, settled = [], 0, 0, 0
    for fault, seed in drawn:
        state, spent = begun, 0.0
        while True:
            seen = frozenset(state.answers)
            if seen not in known:
                known[seen] = choose(state)
            name = known[seen]
            if name is None:
                break
            test = state.model.tests[name]
            lot = random.Random(f"{seed} {name}")
            row = test.rows[state.complaint, fault]
            state = state.answer(name, lot.choices(list(test.answers), row)[0])
            spent += test.minutes
            tests += 1
        minutes.append(spent)
        right += state.likely[0][0] == fault
        settled += state.settled or state.gone
    count = len(minutes)
    mean = sum(minutes) / count
    spread = sum((one - mean) ** 2 for one in minutes) / max(count - 1, 1)
    return Trial(mean, (spread / count) ** 0.5, tests / count, right / count, settled / count, tuple(minutes))
