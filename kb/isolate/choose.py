"""Which of these tests tells most for its minutes?

Expected information of a test is the entropy of its answers less what of it is mere noise: the mutual
information between answer and fault, in bits (Shannon 1948; from memory).

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
    noise = sum(p * test.noise[complaint, fault] for fault, p in odds.items())
    return max(entropy(answer_chances(complaint, odds, test)) - noise, 0.0)


def answer_chances(complaint: str, odds: Odds, test: Test) -> list[float]:
    """P(answer) for each answer of ``test``, in its order; sums to 1."""
    chances = [0.0] * len(test.answers)
    for fault, p in odds.items():
        for place, chance in enumerate(test.rows[complaint, fault]):
            chances[place] += p * chance
    return chances


def after(complaint: str, odds: Odds, test: Test, place: int) -> dict[str, float]:
    """The odds once ``test`` gave the answer at ``place`` (Bayes); they sum to 1."""
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
    worth = [test for test in tests if bits(complaint, odds, test) >= LEAST_BITS]
    now = entropy(odds.values())

    def per_minute(test: Test) -> float:
        chances = answer_chances(complaint, odds, test)
        left = sum(p * _undecided(after(complaint, odds, test, place)) for place, p in enumerate(chances))
        return share[test.id] * (now - left) / test.minutes

    return max(worth, key=per_minute, default=None)  # of equals the first in the file


def _undecided(odds: Odds) -> float:
    """Bits that are still to be found: none once one fault stands at 0.9, as the work stops there."""
    return 0.0 if max(odds.values()) >= SURE else entropy(odds.values())
