"""Define what the index holds of a set and what it answers: plain values, cheap to import."""

from __future__ import annotations

from typing import Literal, NamedTuple

from kb.base.errors import BookTrouble

How = Literal["exact", "near", "family", "text"]
TEXT_FIELDS = ("marking", "setting", "note", "fact")
"""Fields of text that a search of words reads, the heaviest first."""


FACT_FIELDS = ("speakers", "level", "format", "form", "direction", "display", "basis")
SIZE = "size"
"""The field of a picture size in inches, kept among the facts as ``size:40``."""
"""Recorded facts that a query can filter by, in addition to kind, signal and outcome."""


class IndexBroken(BookTrouble):
    """The index on disk is unreadable or has another format: rebuild it from the store."""


class SetEntry(NamedTuple):
    """Hold one set (make and model, after aliases) as the index keeps it.

    ``key`` names the set for the book; the index does not interpret it. The same holds for ``best`` and
    ``payload`` (JSON that comes back unchanged, "" for none). ``years`` are the first and last known year.
    ``aliases`` are other (make, model) spellings of the same set. ``text`` holds (field, text) pairs, field
    one of ``TEXT_FIELDS``; a set without text gets no Whoosh document. ``sizes`` are the recorded picture
    diagonals in inches. ``facts`` are recorded words by their field, such as ``speakers:mute``, of the fields
    in ``FACT_FIELDS``.
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
    """Hold the conditions that a set must meet in addition to matching; all of them apply.

    ``years`` is an inclusive range that the known years of the set must touch; a set with no known year does
    not pass it. ``make`` is compared after normalising.
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
    """Describe one set that the query may mean.

    ``score`` (0..1) is for ``exact``, ``near`` and ``family`` the probability that the query means this set,
    calibrated on simulated damage (``kb.index.scoring``). For ``text`` it is the share of the words, weighed
    by rarity, that the set's text holds. ``snippet`` is plain text, "" without a text match.
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
