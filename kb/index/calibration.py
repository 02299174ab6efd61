"""Weigh what speaks for and against a candidate by a fitted table.

A query and the set it may mean differ by a few *signs*: a digit replaced, a letter lost, an end added, a
make misspelt. Some are typical of damage (two neighbours swapped, a look-alike), some are typical of another
set that the book does not have (another digit, another ending). ``WEIGHT`` says by how much each moves the
log odds that the set, if it is the likeliest of the book, is the one meant at all.

The weights were fitted by ``scripts/calibrate_lookup.py`` (maximum likelihood, November 2026) on an open list
of 19,000 codes, split by a hash of the code: fitted on queries about one half, judged on queries about the
other, with other damage. Books hold 75, 40 and 10 of a hundred codes of the list, so that both a book that
knows most sisters and one that knows few are in it. Assumed of the questions (common practice): two in three
are about a set that the book does not have, as an installer meets more models than he has met before; one in
three is as printed. The two are chosen so that a wrong answer is rarely stated with confidence; where more of
the questions are about known sets, a score says less than comes true.
"""

from __future__ import annotations

from collections.abc import Iterator
from math import exp

from kb.index.edit_distance import Slip, slips
from kb.index.normalize import alike

Signs = dict[str, float]

WEIGHT: Signs = {
    "always": 3.48,
    "digit added": -2.38,
    "digit for letter": -2.68,
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
    "other letter": -3.53,
    "skeleton of the make": -1.03,
    "swapped": -0.76,
    "unread one added": -2.12,
    "words": -0.67,
}
"""Log odds. "each" counts characters."""

_LONG = 10
_USUAL = 7


def trust(signs: Signs) -> float:
    """How likely (0..1) the likeliest set of the book is meant, and not one that the book does not have."""
    return 1 / (1 + exp(-sum(WEIGHT.get(name, 0.0) * value for name, value in signs.items())))


def signs_of(
    read: str, printed: str, *, make_cost: float, make_said: bool, make_spelt: bool, words: int, short: bool,
    patterned: bool, goes_on: bool,
) -> Signs:  # fmt: skip
    """The signs of a code as read (normalised, ``?`` kept) beside the code as printed.

    ``make_cost`` is what the make and the rest of the query cost, ``make_said`` whether there is a rest,
    ``make_spelt`` whether it is the make. ``words`` are left over. ``short``: the make printed in front of
    the code was not read. ``patterned``: the make has sets of the same skeleton as what was read.
    ``goes_on``: other sets begin with what was read.
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
    others = -1  # besides the first; what a worn label explains is no slip
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
    elif _kind(was) == _kind(now):
        yield f"other {_kind(was)}", 1.0
    else:
        yield "digit for letter", 1.0


def _kind(char: str) -> str:
    return "digit" if char.isdigit() else "letter"
