"""Choose the test that gives most information for its minutes.

Expected information is the mean drop in uncertainty about the fault after the answer. It is the mutual
information of answer and fault, in bits (Shannon 1948; from memory).

The choice counts bits per minute, with one addition: an answer that brings a fault to 0.9 ends the work, so
nothing is left to find after it. (Plain bits per minute prefers cheap tests that shift the odds but settle
nothing.) If few tests are worth a minute, all sequences of them are tried instead. There, an answer that
shows the complaint gone ends the work as well. (Counting this in bits made the written homes of
``tests/isolate`` slower: trying one remedy after the other is no search.)
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from operator import mul
from typing import Final

from kb.isolate.model import SOMETHING_ELSE, Test

SURE: Final = 0.9  #: one fault reaches this: stop
FEW: Final = 5  #: up to so many tests are planned to the end; each more triples the work
UNSETTLED: Final = 5.0  #: minutes for an end without a fault at 0.9: somebody has to think further
LEAST_BITS: Final = 0.02  #: a test that gives less than this is not worth a minute

_NO_MATTER: Final = 1e-7  #: minutes

Odds = Mapping[str, float]


def bits(complaint: str, odds: Odds, test: Test) -> float:
    """Return the expected information of ``test`` in bits, for faults with ``odds`` (which sum to 1)."""
    return entropy(odds.values()) - sum(p * left for p, left, _ in _results(complaint, odds, test))


def answer_chances(complaint: str, odds: Odds, test: Test) -> list[float]:
    """Return P(answer) for each answer of ``test``, in its order; sums to 1."""
    return [p for p, _, _ in _results(complaint, odds, test)]


def after(complaint: str, odds: Odds, test: Test, answer: str) -> dict[str, float]:
    """Return the odds after ``test`` gave ``answer`` (Bayes); they sum to 1."""
    place = test.place(answer)
    joint = {fault: p * test.rows[complaint, fault][place] for fault, p in odds.items()}
    total = sum(joint.values())  # above 0: no chance is below the floor
    return {fault: one / total for fault, one in joint.items()}


def entropy(chances: Collection[float]) -> float:
    """Return the uncertainty in bits."""
    try:
        total: float = sum(map(mul, chances, map(math.log2, chances)))
    except ValueError:  # a chance of 0 has no logarithm, and adds nothing
        return entropy([p for p in chances if p > 0])
    return -total


def choose(complaint: str, odds: Odds, tests: Sequence[Test], share: Mapping[str, float]) -> Test | None:
    """Return the test to do next, or None if no test gives information.

    ``share``: by test id, how sure the test can be done on this path (above 0, at most 1). A test that names
    others as ``first`` gives way to them as long as they give information.
    """
    now = entropy(odds.values())
    listed = _without_something_else(odds)
    rates: list[tuple[float, Test]] = []
    for test in tests:
        results = _results(complaint, odds, test)
        if now - sum(p * left for p, left, _ in results) < LEAST_BITS:
            continue
        told = bits(complaint, listed, test)
        if told < LEAST_BITS:
            continue  # it would only separate a listed fault from an unlisted one
        # After an answer that settles the fault, the work stops.
        spared = sum(p * left for p, left, top in results if top >= SURE)
        rates.append((share[test.id] * (told + spared) / test.minutes, test))
    if not rates:
        return None
    if len(rates) <= FEW and all(share[test.id] == 1 for _, test in rates):
        chosen = Soonest(complaint, odds, [test for _, test in rates]).first()
    else:
        chosen = max(rates, key=lambda one: one[0])[1]  # of equals the first in the file
    open_ = {test.id: test for _, test in rates}
    while chosen and (first := next((open_[one] for one in chosen.first if one in open_), None)):
        chosen = first
    return chosen


def _without_something_else(odds: Odds) -> dict[str, float]:
    """Return the odds of the listed faults alone; they sum to 1."""
    listed = {fault: p for fault, p in odds.items() if fault != SOMETHING_ELSE}
    total = sum(listed.values())
    return {fault: p / total for fault, p in listed.items()} if total else dict(odds)


class Soonest:
    """Find the best way through a few tests by trying all: the fewest minutes to the end on average.

    A way that certainly takes longer than the best one found is not followed to its end.
    """

    def __init__(self, complaint: str, odds: Odds, tests: Sequence[Test]) -> None:
        self._odds = list(odds.values())
        self._tests = tests
        self._columns = [test.columns(complaint, tuple(odds)) for test in tests]
        self._ends = [[answer in test.ends for answer in test.answers] for test in tests]
        self._known: dict[tuple[tuple[int, int], ...], tuple[float, int]] = {}

    def first(self) -> Test | None:
        """Return the first test; None if no test gives information."""
        place = self._way(self._odds, tuple(range(len(self._tests))), ())[1]
        return self._tests[place] if place >= 0 else None

    def _way(
        self, odds: Sequence[float], left: tuple[int, ...], said: tuple[tuple[int, int], ...]
    ) -> tuple[float, int]:
        """Return (expected minutes to the end, index of the first test or -1); no odds are at SURE."""
        if said in self._known:
            return self._known[said]
        now = entropy(odds)
        least = min([UNSETTLED, *(self._tests[test].minutes for test in left)])
        ways = []
        for test in left:
            undecided, minutes, open_ = 0.0, self._tests[test].minutes, []
            for place, column in enumerate(self._columns[test]):
                joint = list(map(mul, odds, column))
                p = sum(joint)
                undecided += p * math.log2(p) + entropy(joint)
                if max(joint) < SURE * p and not self._ends[test][place]:
                    open_.append((place, p, joint))
                    minutes += p * least  # it cannot be less
            if now - undecided >= LEAST_BITS:
                ways.append((minutes, test, open_))
        best = (math.inf, -1, UNSETTLED)
        for minutes, test, open_ in sorted(ways):  # the most promising first, to leave the others early
            others = tuple(one for one in left if one != test)
            for place, p, joint in open_:
                if minutes > best[0] + _NO_MATTER:
                    break
                then = self._way([one / p for one in joint], others, tuple(sorted((*said, (test, place)))))
                minutes += p * (then[0] - least)
            # rounded, so that of equals the first in the file is taken on every machine
            best = min(best, (round(minutes, 9), test, minutes))
        self._known[said] = best[2], best[1]
        return self._known[said]


def _results(complaint: str, odds: Odds, test: Test) -> list[tuple[float, float, float]]:
    """Return, for each answer, its chance, the remaining bits, and the chance of the likeliest fault."""
    chances = list(odds.values())
    results = []
    for column in test.columns(complaint, tuple(odds)):
        joint = list(map(mul, chances, column))
        p = sum(joint)
        left = math.log2(p) + entropy(joint) / p  # the entropy of joint / p
        results.append((p, left, max(joint) / p))
    return results
