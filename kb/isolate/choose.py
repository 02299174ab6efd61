"""Which of these tests tells most for its minutes?

Expected information of a test is how much less undecided the faults are after its answer than before, on
average: the mutual information of answer and fault, in bits (Shannon 1948; from memory).

The choice counts bits per minute, with one thing more: an answer that brings a fault to 0.9 ends the work,
so nothing is left to find after it. Plain bits per minute like cheap tests that shift the odds and settle
nothing.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from typing import Final

from kb.isolate.model import Test

SURE: Final = 0.9  #: one fault stands here: stop
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
    best, best_rate = None, -math.inf
    for test in tests:
        results = _results(complaint, odds, test)
        if now - sum(p * left for p, left, _ in results) < LEAST_BITS:
            continue
        # An answer that settles it leaves nothing to be found: the work stops there.
        to_find = sum(p * left for p, left, top in results if top < SURE)
        rate = share[test.id] * (now - to_find) / test.minutes
        if rate > best_rate:  # of equals the first in the file
            best, best_rate = test, rate
    return best


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
