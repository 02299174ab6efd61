"""Define what the index holds of a set and what it answers: plain values, cheap to import."""

from __future__ import annotations

from typing import Literal, NamedTuple

from kb.base.errors import BookTrouble

How = Literal["exact", "near", "family", "text"]
TEXT_FIELDS = ("marking", "setting", "note", "fact")
"""Fields of text that words are searched in, the heaviest first."""


FACT_FIELDS = ("speakers", "level", "format", "form", "direction", "display", "basis")
"""Recorded facts that a query can filter by, besides kind, signal and outcome."""


class IndexBroken(BookTrouble):
    """The index on disk cannot be read or has another shape: rebuild it from the store."""


class SetEntry(NamedTuple):
    """One set (make and model, after aliases) as the index holds it.

    ``key`` names the set for the book and is opaque here, as are ``best`` and ``payload`` (JSON that
    comes back unchanged, "" for none). ``years`` are the first and last known year. ``aliases`` are other
    (make, model) spellings of the same set. ``text`` holds (field, text) pairs, field one of
    ``TEXT_FIELDS``; a set without text gets no document among the words. ``sizes`` are the picture diagonals
    on record, in inches. ``facts`` are recorded words by their field, such as ``speakers:mute``, of the
    fields in ``FACT_FIELDS``.
    """

    key: str
    make: str
    model: str
    kind: str = "television"
    findings: int = 0
    visits: int = 0
    years: tuple[int | None, int | None] = (None, None)
    signals: tuple[str, ...] = ()
    outcomes: tuple[str, ...] = ()
    best: str = ""
    payload: str = ""
    aliases: tuple[tuple[str, str], ...] = ()
    text: tuple[tuple[str, str], ...] = ()
    sizes: tuple[float, ...] = ()
    facts: tuple[str, ...] = ()


class Filters(NamedTuple):
    """What a set must be, besides matching: all conditions given must hold.

    ``years`` is an inclusive range that the known years of the set must touch; a set with no known year
    does not pass it. ``make`` is compared after normalising.
    """

    make: str = ""
    kind: str = ""
    years: tuple[int, int] | None = None
    signals: tuple[str, ...] = ()
    outcomes: tuple[str, ...] = ()
    facts: tuple[str, ...] = ()

    def __bool__(self) -> bool:
        return any(self)


class Match(NamedTuple):
    """One set that may be meant.

    ``score`` (0..1) is for ``exact``, ``near`` and ``family`` the probability that this set is the one
    meant, calibrated on simulated damage (``kb.index.scoring``); for ``text`` it is the share of the words,
    weighed by rarity, that the set's text holds. ``snippet`` is plain text, "" without a text match.
    """

    key: str
    make: str
    model: str
    kind: str
    findings: int
    best: str
    payload: str
    score: float
    how: How
    snippet: str = ""


class Answer(NamedTuple):
    """Matches, best first; ``did_you_mean`` gives (make, model) pairs when nothing is close enough."""

    query: str
    matches: tuple[Match, ...] = ()
    did_you_mean: tuple[tuple[str, str], ...] = ()
