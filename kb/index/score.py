"""How sure is it that this set is meant? Costs of damage turned into calibrated probabilities.

Each candidate has a cost (``kb.index.weigh``) and a kind of damage. Its score is::

    trust[damage] * share,   share = exp(-STEEP * cost) / sum over all candidates

``share`` says how much likelier it is than the others; ``trust`` is how often a query of that kind of
damage meant any set of the book at all. Both were fitted on simulated damage with
``scripts/measure_lookup.py --calibrate``: 19,000 codes of an open list, a quarter of them taken out of the
book (and so unknown), queried with and without make, with every kind of damage of ``scripts/damage.py``.
It prints predicted against observed in ten steps; of 1,971 answers called near, November 2026, on seeds that
the fit had seen too::

    said      0.06 0.15 0.25 0.35 0.45 0.53 0.66 0.75 0.85 0.94
    came true 0.04 0.15 0.24 0.33 0.51 0.57 0.70 0.81 0.88 0.97

46 of 600 queries for unknown sets were answered as near with 0.8 or more: nothing in the query or the book
tells them from a slip.

That one query in four is about an unknown set is an assumption (common practice).

The case that must not go wrong: a model that differs from a known one in digits only is more likely an
unknown sister (another size, another number) than a slip. It is ``family``, not ``near``.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp
from typing import Literal

Damage = Literal["exact", "look", "slip", "digit", "end", "cut", "sister", "sisters", "two", "far", "faint"]
"""Kinds: equal; look-alikes and ``?`` only; one slip among letters, or two swapped; one slip with a digit or
in the last letter; an end of letters lost or added; another end, or the middle of a code alone; one digit (or
a letter that varies within the family) replaced; several of them; two slips; more; much more."""

STEEP = 3.6
TRUST: dict[Damage, float] = {
    "exact": 0.98, "look": 0.95, "slip": 0.95, "digit": 0.84, "end": 0.89, "cut": 0.84, "sister": 0.35,
    "sisters": 0.15, "two": 0.76, "far": 0.5, "faint": 0.03,
}  # fmt: skip
_LONG = 7
_SHORTER = 0.015  # trust lost for each character that a code is shorter than ``_LONG``

NEAR_FROM = 0.20
"""The sets listed as ``near`` must together be this likely; else nothing is called near."""
SHOWN_FROM = 0.02
"""A set less likely than this is not listed."""
FAMILY_MATE = 0.02
"""Score of a set that only shares the skeleton."""
FAR = 3.4
"""Cost from which a candidate is none."""


@dataclass(slots=True)
class Candidate:
    """A spelling that may be meant, under one reading of the query.

    ``label`` is the cost of the damage as labels take it; ``cost`` is the mean of it and the plain number
    of damages, and decides. ``words`` are pieces of the query that neither make nor model explains;
    ``letter`` is the place of the only letter that stands for another, or -1.
    """

    set_id: int
    make: str
    model: str
    label: float
    cost: float
    damage: Damage
    words: tuple[str, ...] = ()
    letter: int = -1
    score: float = 0.0

    @property
    def gate(self) -> float:
        """What later stages must beat: look-alikes add up to slips, a suffix stays one damage."""
        return self.label if self.damage in ("end", "cut") else max(self.label, self.cost)


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
        c.score = highest = min(highest, _trust(c) * exp(-STEEP * c.cost) / total)
    return candidates


def _trust(c: Candidate) -> float:
    """Less for a short code: a slip away from it there are more others."""
    return max(0.0, TRUST[c.damage] - _SHORTER * max(0, _LONG - len(c.model)))
