"""Turn costs of damage into calibrated probabilities.

Each candidate has a cost (``kb.index.cost``) and a kind of damage. Its score is::

    share * trust,   share = exp(-STEEP * cost) / sum over all candidates

``share`` says how much likelier the set is than the other sets of the book. ``trust`` says how likely the
query means any set of the book, by the signs of damage. A query and the set it may mean differ by a few
*signs*: a digit replaced, a letter lost, an end added, a make misspelt. Some are typical of damage (two
neighbours swapped, a look-alike). Some are typical of another set that the book does not have (another digit,
another ending). ``WEIGHT`` says by how much each moves the log odds.

The weights were fitted by ``scripts/calibrate_lookup.py`` (maximum likelihood, November 2026) on an open list
of 19,000 codes, split by a hash of the code: fitted on queries about one half, judged on queries about the
other, with other damage. Books hold 75, 40 and 10 of a hundred codes of the list. So the fit covers a book
that knows most sisters and one that knows few. Assumed of the questions (common practice): two in three are
about a set that the book does not have, as installers often meet models new to them; one in three is as
printed. Both shares are chosen to make confident wrong answers rare. If more questions are about known sets,
scores are too low. The weights of characters that people confuse were added later and are 0.6 of what the
fit gives, so that unknown sets are not stated more often.

One error must not happen: a model that differs from a known one only in digits is more likely an unknown
sister (another size, another number) than a slip. It is ``family``, not ``near``.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import exp
from typing import Literal, Protocol

from kb.index.edit_distance import Slip, slips
from kb.index.normalize import alike, confused
from kb.index.query import SMALL, Segmentation

Signs = dict[str, float]

WEIGHT: Signs = {
    "always": 3.48,
    "digit added": -2.38,
    "digit for letter": -2.68,
    "digit for letter, confused": 0.6,
    "digit lost": -1.94,
    "digit unread": -1.35,
    "end of digits added": -1.84,
    "end of digits added, each": -0.96,
    "end of digits lost": -1.01,
    "end of digits lost, each": -0.77,
    "end of letters added": -1.56,
    "end of letters added, each": -0.07,
    "end of letters lost": -0.48,
    "end of letters lost, each": -0.99,
    "equal": 0.97,
    "equal, no make": -0.56,
    "equal, others begin so": -2.06,
    "length": 0.23,
    "letter added": -1.58,
    "letter lost": -1.25,
    "letter unread": -0.89,
    "look-alike": -0.62,
    "make in front lost": -1.3,
    "make not spelt": 1.8,
    "make, cost": -3.16,
    "more than one": 0.71,
    "no make": -0.52,
    "other digit": -5.22,
    "other digit, confused": 0.9,
    "other letter": -3.53,
    "other letter, confused": 0.7,
    "skeleton of the make": -1.03,
    "swapped": -0.76,
    "unread one added": -2.12,
    "words": -0.67,
}
"""Log odds. "each" counts characters; "confused" adds to another character if the two sound alike or are
next to each other on a keyboard."""

_LONG = 10
_USUAL = 7


def trust(signs: Signs) -> float:
    """Return how likely (0..1) the query means the likeliest set of the book, and not an unknown set."""
    return 1 / (1 + exp(-sum(WEIGHT.get(name, 0.0) * value for name, value in signs.items())))


def signs_of(
    read: str, printed: str, *, make_cost: float, make_said: bool, make_spelt: bool, words: int, short: bool,
    patterned: bool, goes_on: bool,
) -> Signs:  # fmt: skip
    """Compare a code as read (normalised, ``?`` kept) with the code as printed, and return the signs.

    ``make_cost`` is the cost of the make and the rest of the query, ``make_said`` whether there is a rest,
    ``make_spelt`` whether it is the make. ``words`` are left over. ``short``: the query lacks the make
    printed before the code. ``patterned``: the make has sets of the same skeleton as the code read.
    ``goes_on``: other sets begin with the code read.
    """
    out: Signs = {"always": 1.0, "length": float(min(len(printed), _LONG) - _USUAL)}

    def add(name: str, value: float = 1.0) -> None:
        out[name] = out.get(name, 0.0) + value

    if not make_said:
        add("no make")
    elif not make_spelt:
        add("make not spelt")
    if make_cost:
        add("make, cost", make_cost)
    if words:
        add("words", float(words))
    if short:
        add("make in front lost")
    if read == printed:
        add("equal")
        if goes_on:
            add("equal, others begin so")
        if not make_said:
            add("equal, no make")
        return out
    if patterned:
        add("skeleton of the make")
    others = -1  # after the first; a difference that a worn label explains is no slip
    for slip in slips(read, printed):
        worn = len(slip.read) == len(slip.printed) == 1 and alike(slip.read, slip.printed)
        others += not worn and slip.read != "?"
        for name, value in _named(slip):
            add(name, value)
    if others > 0:
        add("more than one", float(others))
    return out


def _named(slip: Slip) -> Iterator[tuple[str, float]]:
    was, now = slip.printed, slip.read
    if slip.end:
        letters = "letters" if (was or now).isalpha() else "digits"
        what = "lost" if was else "added"
        yield f"end of {letters} {what}", 1.0
        yield f"end of {letters} {what}, each", float(len(was or now))
    elif now == "?":
        yield f"{_kind(was)} unread" if was else "unread one added", 1.0
    elif len(was) == len(now) == 2:
        yield "swapped", 1.0
    elif not now:
        yield f"{_kind(was)} lost", 1.0
    elif not was:
        yield f"{_kind(now)} added", 1.0
    elif alike(was, now):
        yield "look-alike", 1.0
    else:
        name = f"other {_kind(was)}" if _kind(was) == _kind(now) else "digit for letter"
        yield name, 1.0
        if confused(was, now):
            yield f"{name}, confused", 1.0


def _kind(char: str) -> str:
    return "digit" if char.isdigit() else "letter"


Damage = Literal["exact", "look", "slip", "digit", "end", "cut", "sister", "sisters", "two", "far", "faint"]
"""Kinds: equal; look-alikes and ``?`` only; one slip among letters, or two swapped; one slip with a digit or
in the last letter; an end of letters lost or added; another end, or the middle of a code alone; one digit (or
a letter that varies within the family) replaced; several of them; two slips; more; much more."""

STEEP = 3.6

_WEIGHED = 3  # candidates whose signs are computed; the others have the trust of the last of them

NEAR_FROM = 0.002
"""The sets listed as ``near`` must together be this likely; else nothing is called near."""
SHOWN_FROM = 0.001
"""A set less likely than this is not listed."""
FAMILY_MATE = 0.02
"""Score of a set that only shares the skeleton."""
FAR = 3.4
"""A candidate with this cost or more is dropped."""
SHORT_WORD = 3
"""A word with up to so many letters may as well be part of a code."""


_PART_OF_MAKE = 0.5  # up to this cost, the query names some words of a make, and well


_NO_WAY = Segmentation("", ())


@dataclass(slots=True)
class Candidate:
    """Hold a spelling that the query may mean, under one segmentation of the query.

    ``label`` is the cost of the damage as labels suffer it; ``cost`` is the mean of it and the plain number
    of damages, and decides. ``words`` are pieces of the query that neither make nor model explains.
    ``letter`` is the position of the only letter that replaces another, or -1. ``more`` is the cost of make
    and words. ``short``: the spelling is the model without the make before it. ``talk``: ``words`` are words
    of notes and do not count against the set.
    """

    set_id: int
    make: str
    model: str
    label: float
    cost: float
    damage: Damage
    words: tuple[str, ...] = ()
    letter: int = -1
    way: Segmentation = _NO_WAY
    more: float = 0.0
    short: bool = False
    talk: bool = False
    score: float = 0.0

    def beside_notes(self) -> None:
        """Take the words for words of notes if the query names the code, and the make if any, in full."""
        way = self.way
        rest = [piece for piece in way.rest if piece not in self.words]
        if self.words and way.code == self.model and "".join(rest) in ("", self.make):
            self.cost, self.label, self.more = self.cost - self.more, self.label - self.more, 0.0
            self.damage, self.talk = "exact", True

    @property
    def gate(self) -> float:
        """Return the cost that later stages must beat: look-alikes count as slips, a suffix as one."""
        return self.label if self.damage in ("end", "cut") else max(self.label, self.cost)


class Book(Protocol):
    """List the questions about the book that a score needs."""

    def patterned(self, code: str, make: str) -> bool:
        """Return whether the make has sets with the same skeleton as the code."""

    def goes_on(self, code: str) -> bool:
        """Return whether a longer code in the book begins with this one."""


def scored(candidates: list[Candidate], book: Book) -> list[Candidate]:
    """Return the candidates in order of cost with their scores; a later score is never higher."""
    candidates.sort(key=lambda c: (c.cost, c.model, c.make, c.set_id))
    weights = [exp(-STEEP * c.cost) for c in candidates]
    if candidates and candidates[0].damage == "exact":  # a code typed in full is no damaged other code
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
    """Return the signs for and against the candidate; ``known`` caches the book's answers."""
    way = c.way
    equal = way.code == c.model
    hidden = "?" in way.code  # then the skeleton says nothing
    asked = (way.code, "" if equal else c.make)
    if asked not in known:
        known[asked] = book.goes_on(way.code) if equal else not hidden and book.patterned(*asked)
    talk = c.talk or (
        len(c.words) > 1 and (hidden or any(map(str.isdigit, way.code)))
    )  # words of a note, not a make
    named = c.talk and any(piece not in c.words for piece in way.rest)
    bits = [] if equal and not way.rest else _bits(c)
    words = 0 if talk else sum(len(word) > SHORT_WORD for word in c.words)
    out = signs_of(
        way.code, c.model,
        make_cost=0.0 if talk else c.more, make_said=(bool(way.rest) and not talk) or named,
        make_spelt=named or "".join(way.rest) == c.make, words=words,
        short=c.short, patterned=known[asked], goes_on=known[asked],
    )  # fmt: skip
    if bits:  # a suffix written apart: "NV40-210 B" may be another set
        out["end of letters added"] = out.get("end of letters added", 0.0) + 1
        out["end of letters added, each"] = out.get("end of letters added, each", 0.0) + len("".join(bits))
        out.pop("equal", None)
    if bits or c.more < _PART_OF_MAKE:  # fitted on slips, which cost more than words left out
        out.pop("make not spelt", None)
    return out


def _bits(c: Candidate) -> list[str]:
    """Return letters next to the code that are neither words nor make: perhaps another code's end."""
    rest = c.way.rest
    longest = SHORT_WORD if c.way.torn else SHORT_WORD - 1
    if c.talk or len(c.words) > 1:
        return []
    return [
        piece
        for at, piece in enumerate(rest)
        if piece.isalpha()
        and len(piece) <= longest
        and (piece not in c.make or "".join(rest[:at] + rest[at + 1 :]) == c.make)
        and (c.way.torn or piece.lower() not in SMALL)
    ]
