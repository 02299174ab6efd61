"""Which of these tests tells most for its minutes?

Expected information of a test is how much less undecided the faults are after its answer than before, on
average: the mutual information of answer and fault, in bits (Shannon 1948; from memory).

The choice counts bits per minute, with one thing more: an answer that brings a fault to 0.9 ends the work, so
nothing is left to find after it. (Plain bits per minute like cheap tests that shift the odds but settle
nothing.) Where few tests are worth a minute, all ways through them are tried instead; there an answer with
which the complaint is gone ends the work as well. (Counted in the choice by bits it made the written homes of
``tests/isolate`` slower: trying one remedy after the other is no search.)
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from typing import Final

from kb.isolate.model import Test

SURE: Final = 0.9  #: one fault stands here: stop
FEW: Final = 5  #: so few tests are planned to the end
UNSETTLED: Final = 5.0  #: minutes that an end without a fault at 0.9 counts as: somebody has to think on
LEAST_BITS: Final = 0.02  #: a test that tells less than this is not worth a minute

Odds = Mapping[str, float]


def bits(complaint: str, odds: Odds, test: Test) -> float:
    """Expected information in bits of ``test`` where the faults stand at ``odds`` (which sum to 1)."""
    return entropy(odds.values()) - sum(p * left for p, left, _ in _results(complaint, odds, test))


def answer_chances(complaint: str, odds: Odds, test: Test) -> list[float]:
    """P(answer) for each answer of ``test``, in its order; sums to 1."""
    return [p for p, _, _ in _results(complaint, odds, test)]


def after(complaint: str, odds: Odds, test: Test, answer: str) -> dict[str, float]:
    """The odds once ``test`` gave ``answer`` (Bayes); they sum to 1."""
    place = test.place(answer)
    joint = {fault: p * test.rows[complaint, fault][place] for fault, p in odds.items()}
    total = sum(joint.values())  # above 0: no chance is below the floor
    return {fault: one / total for fault, one in joint.items()}


def entropy(chances: Iterable[float]) -> float:
    """How undecided it is, in bits."""
    return -sum(p * math.log2(p) for p in chances if p > 0)


def choose(complaint: str, odds: Odds, tests: Sequence[Test], share: Mapping[str, float]) -> Test | None:
    """The test to do next, or None where none tells anything.

    ``share``: by test id, how sure it is that the test can be done on this path (above 0, at most 1).
    """
    now = entropy(odds.values())
    rates: list[tuple[float, Test]] = []
    for test in tests:
        results = _results(complaint, odds, test)
        if now - sum(p * left for p, left, _ in results) >= LEAST_BITS:
            # An answer that settles it leaves nothing to be found: the work stops there.
            to_find = sum(p * left for p, left, top in results if top < SURE)
            rates.append((share[test.id] * (now - to_find) / test.minutes, test))
    if not rates:
        return None
    if len(rates) <= FEW and all(share[test.id] == 1 for _, test in rates):
        return _soonest(complaint, odds, [test for _, test in rates], {}, frozenset())[1]
    return max(rates, key=lambda one: one[0])[1]  # of equals the first in the file


_Said = frozenset[tuple[str, int]]


def _soonest(
    complaint: str,
    odds: Odds,
    tests: Sequence[Test],
    known: dict[_Said, tuple[float, Test | None]],
    said: _Said,
) -> tuple[float, Test | None]:
    """(expected minutes to the end, first test) of the best way through these few tests, by trying all."""
    if max(odds.values()) >= SURE:
        return 0.0, None
    if said in known:
        return known[said]
    ways: list[tuple[float, Test | None]] = []
    for test in tests:
        if bits(complaint, odds, test) < LEAST_BITS:
            continue
        left = [one for one in tests if one is not test]
        minutes = test.minutes
        for place, (answer, p) in enumerate(
            zip(test.answers, answer_chances(complaint, odds, test), strict=True)
        ):
            if answer in test.ends:
                continue
            then = after(complaint, odds, test, answer)
            minutes += p * _soonest(complaint, then, left, known, said | {(test.id, place)})[0]
        ways.append((minutes, test))
    # rounded, so that of equals the first in the file is taken on every machine
    known[said] = min(ways, key=lambda one: round(one[0], 9), default=(UNSETTLED, None))
    return known[said]


def _results(complaint: str, odds: Odds, test: Test) -> list[tuple[float, float, float]]:
    """For each answer: its chance, the bits then left undecided, and the chance of the likeliest fault."""
    rows = [test.rows[complaint, fault] for fault in odds]
    results = []
    for place in range(len(test.answers)):
        joint = [p * row[place] for p, row in zip(odds.values(), rows, strict=True)]
        p = sum(joint)
        # entropy of joint / p, in one pass
        left = math.log2(p) - sum(one * math.log2(one) for one in joint if one > 0) / p
        results.append((p, left, max(joint) / p))
    return results
