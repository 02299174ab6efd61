"""Decide which facts of a book others may get, and which wait for a person's review.

Only facts in force are shared: facts about sets, read from tables without a private column. Marks, settings,
items and names are free text all the same. So a visit is held back if one of them looks personal, until a
person approves it. A note leaves the book only as a fact of its own that a person released, word for word,
and only while its visit may go too. A merge goes out unless one of its spellings is known only from visits
that may not. Withdrawn facts do not go out; their withdrawal does, so that other books follow.
"""

from __future__ import annotations

from collections.abc import Generator, Iterable, Iterator
from dataclasses import dataclass, field
from enum import StrEnum
from functools import lru_cache
from typing import Final, NamedTuple, TypeAlias

from kb.domain.visit import Visit
from kb.exchange.private_words import signs
from kb.store import Snapshot, Store
from kb.store.content_id import sealed_id
from kb.store.facts import (
    AliasFact,
    Fact,
    NoteFact,
    StateFact,
    VisitFact,
    WithdrawalFact,
    rows,
    standing_of,
    unsealed,
    visits,
)
from kb.store.rows import chunks
from kb.store.shareable import Became, became_of, rows_of, spelt, standing_rows

_NAMES: Final = ("person", "mail address", "street address", "web address")
"""Signs that count in a make or model, which may be long numbers."""


class Personal(NamedTuple):
    """A text that seems to be about a home: its field, at the jack numbered from 1 or at the set (0)."""

    jack: int
    field: str
    text: str
    signs: tuple[str, ...]


#: Reasons for a visit to look personal.
Why: TypeAlias = tuple[Personal, ...]


@dataclass(frozen=True, slots=True)
class Held:
    """Describe a visit that stays here until a person has reviewed it."""

    visit: Visit
    why: Why


@dataclass(slots=True)
class Given:
    """Hold the given and held-back facts of a run of ``outgoing``."""

    visits: int = 0
    aliases: int = 0
    withdrawals: int = 0
    notes: int = 0
    held: list[Held] = field(default_factory=list)
    merges: list[AliasFact] = field(default_factory=list)
    """Merges in force that stayed here, as they name a spelling of visits that may not go."""
    waiting: list[str] = field(default_factory=list)
    """Ids of visits, merges and notes that were not given: check them again next time."""

    def counts(self) -> dict[str, int]:
        """Return the counts by kind, as in a bundle's header."""
        return {
            "visit": self.visits,
            "alias": self.aliases,
            "withdrawal": self.withdrawals,
            "note": self.notes,
        }


def prepare(store: Store) -> int:
    """Enter visits with a supplied id again, with an id made from their content.

    The new entry replaces the old one and is the same in every book that has the old one. Returns their
    number.
    """
    with store.snapshot() as book:  # no waiting if there is nothing to do
        if not unsealed(book):
            return 0
    return store.reenter()


def outgoing(
    book: Snapshot,
    since: int,
    given: Given,
    *,
    waiting: Iterable[str] = (),
    approved: Iterable[str] = (),
    hold: bool = True,
) -> Generator[Fact, None, None]:
    """Yield the shareable facts that came after revision ``since``, and of the earlier facts ``waiting``.

    ``given`` counts the given facts and lists the held-back ones; it is complete when the stream has ended.
    Without ``hold``, visits that look personal go too: for a person who may read this book anyway.
    """
    gate = _Gate(book, frozenset(approved), hold)
    seen: set[str] = set()
    again = list(waiting)

    def every() -> Iterator[Fact]:
        yield from visits(book, 0, private=False, ids=again)
        yield from visits(book, since, private=False)
        yield from rows_of(book, again)
        yield from rows(book, since)

    for some in chunks(every()):
        gate.look_at(some)
        for fact in some:
            if fact.id in seen or (isinstance(fact, VisitFact) and not fact.nonce):
                continue
            seen.add(fact.id)
            if not gate.lets(fact):
                given.waiting.append(fact.id)
                if isinstance(fact, VisitFact) and fact.id in gate.held:
                    given.held.append(Held(fact.visit, gate.held[fact.id]))
                elif isinstance(fact, AliasFact) and fact.id in gate.alive:
                    given.merges.append(fact)
                continue
            if isinstance(fact, VisitFact):
                given.visits += 1
            elif isinstance(fact, NoteFact):
                given.notes += 1
            elif isinstance(fact, WithdrawalFact):
                given.withdrawals += 1
            else:
                given.aliases += 1
            yield fact


class _Gate:
    """Decide which facts may leave the book in its present state, a few at a time."""

    def __init__(self, book: Snapshot, approved: frozenset[str], hold: bool) -> None:
        self._book, self._approved, self._hold = book, approved, hold
        self._free: dict[str, bool] = {}
        self._spellings: dict[str, bool] = {}
        self.held: dict[str, Why] = {}
        """Visits in force that look personal."""
        self.alive: set[str] = set()
        """Merges and notes of the last batch that were not taken back."""

    def look_at(self, facts: Iterable[Fact]) -> None:
        """Read from the book all that ``lets`` must know about these facts."""
        self._free = {}
        found = [one for one in facts if isinstance(one, VisitFact)]
        self._look_at_visits(found)
        notes = [one for one in facts if isinstance(one, NoteFact)]
        merges = [one for one in facts if isinstance(one, AliasFact)]
        self.alive = standing_rows(self._book, [*(one.id for one in notes), *(one.id for one in merges)])
        self._ask_visits(one.visit for one in notes)
        keys = {key for one in merges for key in (one.set_key, one.same_as)}
        for key, ids in spelt(self._book, keys - self._spellings.keys()).items():
            self._ask_visits(ids)
            self._spellings[key] = any(self._free[one] for one in ids)

    def lets(self, fact: Fact) -> bool:
        """Return whether the fact may leave the book."""
        match fact:
            case VisitFact():
                return self._free[fact.id]
            case NoteFact():
                return fact.id in self.alive and self._free[fact.visit]
            case AliasFact():
                # A spelling without visits is a name that a person chose for a set.
                ends = (self._spellings.get(key, True) for key in (fact.set_key, fact.same_as))
                return fact.id in self.alive and all(ends)
            case WithdrawalFact():
                return True  # it holds only ids
            case StateFact():
                return False

    def _ask_visits(self, ids: Iterable[str]) -> None:
        asked = [one for one in dict.fromkeys(ids) if one not in self._free]
        for some in chunks(visits(self._book, 0, private=False, ids=asked)):
            self._look_at_visits(some)
        for one in asked:
            self._free.setdefault(one, False)  # a visit that is not here

    def _look_at_visits(self, facts: list[VisitFact]) -> None:
        stand = standing_of(self._book, [one.id for one in facts])
        for fact in facts:
            why = personal(fact.visit) if self._hold and fact.id not in self._approved else ()
            self._free[fact.id] = fact.id in stand and bool(fact.nonce) and not why
            if why and fact.id in stand:
                self.held[fact.id] = why


#: Of marks, settings and items, which are lines, and the same again and again.
_signs_of_line = lru_cache(maxsize=4096)(signs)


def personal(visit: Visit) -> Why:
    """Return texts about the set that seem to be about a home."""
    found = []
    for what, said in (("make", visit.source.make), ("model", visit.source.model)):
        if some := tuple(one for one in _signs_of_line(said) if one in _NAMES):
            found.append(Personal(0, what, said, some))
    for number, finding in enumerate(visit.findings, 1):
        texts = [("marking", finding.jack.marking), ("setting", finding.setting)]
        texts += [("item", item) for item in finding.items]
        for what, said in texts:
            if some := _signs_of_line(said):
                found.append(Personal(number, what, said, some))
    return tuple(found)


@dataclass(frozen=True, slots=True)
class Unreviewed:
    """Describe a note that nobody has released or declined; ``jack`` from 0, None for the visit itself."""

    visit: Visit
    jack: int | None
    note: str
    signs: tuple[str, ...]

    @property
    def name(self) -> str:
        """Return VISIT or VISIT.JACK, the name for declining or releasing it."""
        return note_name(self.visit.id, self.jack)


def note_name(visit: str, jack: int | None) -> str:
    """Return VISIT or VISIT.JACK with the jack from 1; ``jack`` from 0, None for the visit itself."""
    return visit if jack is None else f"{visit}.{jack + 1}"


def unreviewed(book: Snapshot, declined: Iterable[str] = ()) -> Iterator[Unreviewed]:
    """Yield notes of this book's own visits in force that nobody has reviewed yet."""
    done = {(one.visit, one.jack) for one in rows(book) if isinstance(one, NoteFact)}
    left = frozenset(declined)
    for some in chunks(visits(book, 0, private=True)):
        stand = standing_of(book, [one.id for one in some])
        for fact in some:
            if fact.id not in stand or not fact.nonce:
                continue
            visit = fact.visit
            notes = [(None, visit.note), *((n, one.note) for n, one in enumerate(visit.findings))]
            for jack, note in notes:
                pending = Unreviewed(visit, jack, note, signs(note))
                if note and (visit.id, jack) not in done and pending.name not in left:
                    yield pending


class State(StrEnum):
    """Name what happens to a released note or an approved visit at the next sharing."""

    GOES = "goes-out"
    TAKEN_BACK = "taken-back"
    WITHDRAWN = "visit-withdrawn"
    CORRECTED = "visit-corrected"
    HELD = "visit-held-back"
    NOT_HERE = "visit-not-here"


@dataclass(frozen=True, slots=True)
class Released:
    """Describe a note that a person released, here or in another book, and its state now."""

    note: NoteFact
    visit: Visit | None
    own: bool
    """Whether this book has a note of its own at that place."""
    state: State

    @property
    def name(self) -> str:
        """Return VISIT or VISIT.JACK, as for the note before its release."""
        return note_name(self.note.visit, self.note.jack)


@dataclass(frozen=True, slots=True)
class Approved:
    """Describe a visit that looks personal and was approved, and its state now."""

    visit: Visit
    why: Why
    state: State


def released(
    book: Snapshot, approved: Iterable[str] = (), held_again: Iterable[str] = ()
) -> tuple[list[Released], list[Approved]]:
    """Return all notes ever released and all visits ever approved, with their state now.

    ``held_again``: visits that were approved once and are no more.
    """
    fine = frozenset(approved)
    looked_at = sorted({*fine, *held_again})
    notes = [one for one in rows(book) if isinstance(one, NoteFact)]
    alive = standing_rows(book, [one.id for one in notes])
    ids = list(dict.fromkeys([*(one.visit for one in notes), *looked_at]))
    facts = {one.id: one for one in visits(book, 0, private=True, ids=ids)}
    became = became_of(book, list(facts))

    def state(visit: str) -> State:
        if visit not in facts:
            return State.NOT_HERE
        if became[visit] is not Became.IN_FORCE:
            return State.WITHDRAWN if became[visit] is Became.WITHDRAWN else State.CORRECTED
        held = visit not in fine and personal(facts[visit].visit)
        return State.HELD if held or not facts[visit].nonce else State.GOES

    def noted(one: NoteFact) -> Released:
        visit = facts[one.visit].visit if one.visit in facts else None
        at = visit and (visit if one.jack is None else next(iter(visit.findings[one.jack :]), None))
        now = state(one.visit) if one.id in alive else State.TAKEN_BACK
        return Released(one, visit, bool(at and at.note), now)

    def approved_(visit: Visit) -> Approved:
        return Approved(visit, personal(visit), state(visit.id) if visit.id in fine else State.TAKEN_BACK)

    return (
        [noted(one) for one in notes],
        [approved_(facts[one].visit) for one in looked_at if one in facts],
    )


def release(store: Store, notes: Iterable[tuple[Unreviewed, str]]) -> int:
    """Release notes, in the given words, to other books, even after they were taken back.

    Returns how many were not released until now.
    """
    facts = [
        NoteFact(sealed_id("note", [one.visit.id, one.jack, said]), one.visit.id, one.jack, said)
        for one, said in notes
    ]
    if not facts:
        return 0
    return store.merge(facts, outside=True).notes + len(store.reinstate([one.id for one in facts]))
