"""How sure is it that this set is meant? Costs of damage turned into calibrated probabilities.

Each candidate has a cost (``kb.index.slips``) and a kind of damage. Its score is::

    trust[damage] * share,   share = exp(-STEEP * cost) / sum over all candidates

``share`` says how much likelier it is than the others; ``trust`` is how often a query of that kind of damage
meant any set of the book at all. Both were fitted on simulated damage with ``scripts/measure_lookup.py
--calibrate``: codes of an open list, a quarter of them taken out of the book (and so unknown), queried with and
without make, damaged as the issue lists it. The script prints the reliability: predicted against observed, in ten
steps. That one query in four is about an unknown set is an assumption (common practice).

The case that must not go wrong: a model that differs from a known one in digits only is more likely an unknown
sister (another size, another number) than a slip. It is ``family``, not ``near``.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp
from typing import Literal

Damage = Literal["exact", "look", "slip", "end", "sister", "sisters", "two", "far"]
"""Kinds: equal; look-alikes and ``?`` only; one slip; an end lost or added; one digit (or a letter that varies
within the family) replaced; several of them; two slips; more."""

STEEP = 3.2
TRUST: dict[Damage, float] = {
    "exact": 0.995, "look": 0.97, "slip": 0.90, "end": 0.80, "sister": 0.45, "sisters": 0.10, "two": 0.75, "far": 0.30,
}  # fmt: skip

NEAR_FROM = 0.25
"""The sets listed as ``near`` must together be this likely; else nothing is called near."""
SHOWN_FROM = 0.02
"""A set less likely than this is not listed."""
FAMILY_MATE = 0.02
"""Score of a set that only shares the skeleton."""
FAR = 3.4
"""Cost from which a candidate is none."""


@dataclass(slots=True)
class Candidate:
    """A spelling that may be meant, under one reading of the query."""

    set_id: int
    make: str
    model: str
    cost: float
    damage: Damage
    words: tuple[str, ...] = ()
    score: float = 0.0


def scored(candidates: list[Candidate]) -> list[Candidate]:
    """The candidates in order of cost with their scores; never a higher score after a lower one."""
    candidates.sort(key=lambda c: (c.cost, c.model, c.make, c.set_id))
    if candidates and candidates[0].damage == "exact":  # what was typed in full is no damaged other
        equal = [c for c in candidates if c.damage == "exact"]
        for c in candidates:
            c.score = TRUST["exact"] / len(equal) if c.damage == "exact" else 0.0
        return candidates
    total = sum(exp(-STEEP * c.cost) for c in candidates)
    highest = 1.0
    for c in candidates:
        c.score = highest = min(highest, TRUST[c.damage] * exp(-STEEP * c.cost) / total)
    return candidates
