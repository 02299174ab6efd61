"""Turn costs of damage into calibrated probabilities.

Each candidate has a cost (``kb.index.damage``) and a kind of damage. Its score is::

    share * trust,   share = exp(-STEEP * cost) / sum over all candidates

``share`` says how much likelier it is than the other sets of the book; ``trust`` (``kb.index.calibration``)
how likely it is that a set of the book is meant at all, by the signs of what went wrong.

The case that must not go wrong: a model that differs from a known one in digits only is more likely an
unknown sister (another size, another number) than a slip. It is ``family``, not ``near``.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp
from typing import Literal, Protocol

from kb.index.calibration import Signs, signs_of, trust
from kb.index.splits import Reading

Damage = Literal["exact", "look", "slip", "digit", "end", "cut", "sister", "sisters", "two", "far", "faint"]
"""Kinds: equal; look-alikes and ``?`` only; one slip among letters, or two swapped; one slip with a digit or
in the last letter; an end of letters lost or added; another end, or the middle of a code alone; one digit (or
a letter that varies within the family) replaced; several of them; two slips; more; much more."""

STEEP = 3.6

_WEIGHED = 3  # candidates whose signs are looked at; the others are trusted as much as the last of them

NEAR_FROM = 0.002
"""The sets listed as ``near`` must together be this likely; else nothing is called near."""
SHOWN_FROM = 0.001
"""A set less likely than this is not listed."""
FAMILY_MATE = 0.02
"""Score of a set that only shares the skeleton."""
FAR = 3.4
"""Cost from which a candidate is none."""
SHORT_WORD = 3
"""Letters up to which a word may as well be a bit of a code."""


_NO_WAY = Reading("", ())


@dataclass(slots=True)
class Candidate:
    """A spelling that may be meant, under one reading of the query.

    ``label`` is the cost of the damage as labels take it; ``cost`` is the mean of it and the plain number
    of damages, and decides. ``words`` are pieces of the query that neither make nor model explains;
    ``letter`` is the place of the only letter that stands for another, or -1. ``more`` is the part of the
    cost that make and words have; ``short``: the spelling is the model without the make in front of it.
    """

    set_id: int
    make: str
    model: str
    label: float
    cost: float
    damage: Damage
    words: tuple[str, ...] = ()
    letter: int = -1
    way: Reading = _NO_WAY
    more: float = 0.0
    short: bool = False
    score: float = 0.0

    @property
    def gate(self) -> float:
        """What later stages must beat: look-alikes add up to slips, a suffix stays one damage."""
        return self.label if self.damage in ("end", "cut") else max(self.label, self.cost)


class Book(Protocol):
    """What a score asks of the book."""

    def patterned(self, code: str, make: str) -> bool:
        """Whether the make has sets of the same skeleton as the code."""

    def goes_on(self, code: str) -> bool:
        """Whether a set of the book has a longer code that begins with this one."""


def scored(candidates: list[Candidate], book: Book) -> list[Candidate]:
    """The candidates in order of cost with their scores; never a higher score after a lower one."""
    candidates.sort(key=lambda c: (c.cost, c.model, c.make, c.set_id))
    weights = [exp(-STEEP * c.cost) for c in candidates]
    if candidates and candidates[0].damage == "exact":  # what was typed in full is no damaged other
        weights = [float(c.damage == "exact") for c in candidates]
    total = sum(weights)
    highest = sure = 1.0
    known: dict[tuple[str, str], bool] = {}
    for at, (c, weight) in enumerate(zip(candidates, weights, strict=True)):
        share = weight / total
        if at < _WEIGHED:
            sure = trust(signs(c, book, known))
        c.score = highest = min(highest, share * sure)
    return candidates


def signs(c: Candidate, book: Book, known: dict[tuple[str, str], bool]) -> Signs:
    """What speaks for the candidate, and against; ``known`` keeps what the book has answered."""
    way = c.way
    equal = way.code == c.model
    hidden = "?" in way.code  # then the skeleton says nothing
    asked = (way.code, "" if equal else c.make)
    if asked not in known:
        known[asked] = book.goes_on(way.code) if equal else not hidden and book.patterned(*asked)
    talk = len(c.words) > 1 and (hidden or any(map(str.isdigit, way.code)))  # words of a note, not a make
    words = 0 if talk else sum(len(word) > SHORT_WORD for word in c.words)
    return signs_of(
        way.code, c.model,
        make_cost=0.0 if talk else c.more, make_said=bool(way.rest) and not talk,
        make_spelt="".join(way.rest) == c.make, words=words,
        short=c.short, patterned=known[asked], goes_on=known[asked],
    )  # fmt: skip
