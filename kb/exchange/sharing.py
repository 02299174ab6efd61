"""What of a book may be handed to others, and what stays until a person has looked at it?

Only what stands is shared: facts about sets, read from tables without a private column. Marks, settings,
items and names are free text all the same, so a visit in which one looks personal is held back until it is
approved. A note leaves the book only as a fact of its own that somebody released, word for word.
"""

from __future__ import annotations

from collections.abc import Callable, Generator, Iterable, Iterator
from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import Final

from kb.exchange.private_words import signs
from kb.store import Snapshot, Store
from kb.store.facts import (
    Fact,
    NoteFact,
    VisitFact,
    WithdrawalFact,
    rows,
    shareable,
    standing_of,
    unsealed,
    visits,
)
from kb.store.seal import nonce_of_entering_anew, sealed, sealed_id
from kb.visit import SUPERSEDES, Visit

_NAMES: Final = ("person", "mail address", "street address", "web address")
"""Signs that count in a make or model, which may be long numbers."""


@dataclass(frozen=True, slots=True)
class Held:
    """A visit that stays here until somebody has looked at it: (what, text, signs) for each thing."""

    visit: Visit
    why: tuple[tuple[str, str, tuple[str, ...]], ...]


@dataclass(slots=True)
class Given:
    """What a run of ``outgoing`` gave and held back."""

    visits: int = 0
    aliases: int = 0
    withdrawals: int = 0
    notes: int = 0
    held: list[Held] = field(default_factory=list)
    waiting: list[str] = field(default_factory=list)
    """Ids of visits that were not given, because they are held or do not stand: to be looked at next time."""

    def counts(self) -> dict[str, int]:
        """By kind, as in a bundle's header."""
        return {
            "visit": self.visits,
            "alias": self.aliases,
            "withdrawal": self.withdrawals,
            "note": self.notes,
        }


def prepare(store: Store) -> int:
    """Enter anew what was handed in under an id of its own, so that its id is made from what it says.

    The new entry takes the place of the old one and is the same in every book that has the old one. Returns
    how many there were.
    """

    def anew() -> Iterator[VisitFact]:
        for fact in old:
            nonce = nonce_of_entering_anew(fact.id)
            earlier = tuple(dict.fromkeys((fact.id, *fact.visit.supersedes)))[:SUPERSEDES]
            new, _ = sealed(replace(fact.visit, supersedes=earlier), nonce)
            yield VisitFact(new, nonce, fact.recorded)

    with store.snapshot() as book:
        if not unsealed(book):
            return 0
        old = visits(book, 0, private=True, ids=unsealed(book))
        return store.merge(anew(), outside=False).visits


def outgoing(
    book: Snapshot, since: int, given: Given, *, waiting: Iterable[str] = (), approved: Iterable[str] = ()
) -> Generator[Fact, None, None]:
    """What is to be shared of all that came after revision ``since``, and of visits ``waiting`` from before.

    ``given`` counts what was given and lists what was held back; it is complete when the stream has ended.
    """
    fine = frozenset(approved)
    seen: set[str] = set()

    def every() -> Iterator[Fact]:
        yield from visits(book, 0, private=False, ids=list(waiting))
        yield from shareable(book, since)

    for some in _chunks(every()):
        stand = standing_of(book, [one.id for one in some if isinstance(one, VisitFact)])
        for fact in some:
            if isinstance(fact, VisitFact):
                if fact.id in seen or not fact.nonce:
                    continue
                seen.add(fact.id)
                why = () if fact.id in fine else personal(fact.visit)
                if why and fact.id in stand:
                    given.held.append(Held(fact.visit, why))
                if why or fact.id not in stand:
                    given.waiting.append(fact.id)
                    continue
                given.visits += 1
            elif isinstance(fact, NoteFact):
                given.notes += 1
            elif isinstance(fact, WithdrawalFact):
                given.withdrawals += 1
            else:
                given.aliases += 1
            yield fact


def _chunks(facts: Iterator[Fact]) -> Iterator[list[Fact]]:
    some: list[Fact] = []
    for fact in facts:
        some.append(fact)
        if len(some) == 500:
            yield some
            some = []
    if some:
        yield some


#: Of marks, settings and items, which are lines, and the same again and again.
_signs_of_line = lru_cache(maxsize=4096)(signs)


def personal(visit: Visit) -> tuple[tuple[str, str, tuple[str, ...]], ...]:
    """Texts about the set that look as if they spoke of a home: (what, text, signs)."""
    found = []
    for what, said in (("make", visit.source.make), ("model", visit.source.model)):
        if some := tuple(one for one in _signs_of_line(said) if one in _NAMES):
            found.append((what, said, some))
    for number, finding in enumerate(visit.findings, 1):
        texts = [("marking", finding.jack.marking), ("setting", finding.setting)]
        texts += [("item", item) for item in finding.items]
        for what, said in texts:
            if some := _signs_of_line(said):
                found.append((f"jack {number}, {what}", said, some))
    return tuple(found)


@dataclass(frozen=True, slots=True)
class Unreviewed:
    """A note that nobody has released or declined; ``jack`` from 0, None for the visit itself."""

    visit: Visit
    jack: int | None
    note: str
    signs: tuple[str, ...]

    @property
    def name(self) -> str:
        """VISIT or VISIT.JACK, by which it is declined or released."""
        return self.visit.id if self.jack is None else f"{self.visit.id}.{self.jack + 1}"


def unreviewed(book: Snapshot, declined: Iterable[str] = ()) -> Iterator[Unreviewed]:
    """Notes of this book's own visits that stand, and that nobody has looked at yet."""
    done = {(one.visit, one.jack) for one in rows(book) if isinstance(one, NoteFact)}
    left = frozenset(declined)
    for some in _chunks(iter(visits(book, 0, private=True))):
        stand = standing_of(book, [one.id for one in some])
        for fact in some:
            if not isinstance(fact, VisitFact) or fact.id not in stand or not fact.nonce:
                continue
            visit = fact.visit
            notes = [(None, visit.note), *((n, one.note) for n, one in enumerate(visit.findings))]
            for jack, note in notes:
                pending = Unreviewed(visit, jack, note, signs(note))
                if note and (visit.id, jack) not in done and pending.name not in left:
                    yield pending


def release(store: Store, notes: Iterable[tuple[Unreviewed, str]]) -> int:
    """Let notes, in the words given, go to other books; returns how many are new."""
    facts = [
        NoteFact(sealed_id("note", [one.visit.id, one.jack, said]), one.visit.id, one.jack, said)
        for one, said in notes
    ]
    return store.merge(facts, outside=True).notes


#: Called with each visit that is held back.
Told = Callable[[Held], None]
