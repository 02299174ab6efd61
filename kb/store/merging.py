"""Merge the facts of another book, so that all books that have exchanged everything are equal.

A book holds facts by id, and an id is made from the content (``kb.store.content_id``). Merging is the union
of the facts: order, repetition and route do not matter, and no fact can replace another.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import asdict, dataclass, replace
from typing import Any

import sqlalchemy as sa

from kb.base import clock
from kb.base.errors import BadInput
from kb.base.messages import Said
from kb.domain.visit import SUPERSEDES
from kb.store import schema
from kb.store.content_id import (
    is_sealed,
    reentry_nonce,
    sealed,
    sealed_id,
    visit_id,
    without_private,
)
from kb.store.facts import (
    PRIVATE_ROWS,
    ROWS,
    AliasFact,
    Fact,
    NoteFact,
    StateFact,
    VisitFact,
    WithdrawalFact,
    unsealed,
    visits,
)
from kb.store.rows import ORDER, Rows, add_private_rows, add_rows, chunks, fingerprint, insert, load
from kb.store.same_row import Numbers, is_number
from kb.store.snapshot import Snapshot
from kb.store.withdrawn import withdrawn


@dataclass(slots=True)
class Merged:
    """Count new facts by kind, and facts already there.

    ``completed``: visits already there without their private words, which came now. ``replaced`` and
    ``withdrawn``: ids of visits of this book that new facts replace or withdraw.
    """

    visits: int = 0
    findings: int = 0
    aliases: int = 0
    withdrawals: int = 0
    notes: int = 0
    states: int = 0
    already: int = 0
    completed: int = 0
    replaced: tuple[str, ...] = ()
    withdrawn: tuple[str, ...] = ()
    brought_back: bool = False  #: this very bundle had been taken back, and counts again

    @property
    def new(self) -> int:
        """Return the number of facts that were added or completed."""
        return self.visits + self.aliases + self.withdrawals + self.notes + self.states + self.completed


def certified(fact: Fact) -> bool:
    """Return whether the id of the fact is made from its content."""
    match fact:
        case VisitFact(visit, nonce):
            return bool(nonce) and visit.id == visit_id(visit, nonce)
        case AliasFact(id_, set_key, same_as):
            return id_ == sealed_id("alias", [set_key, same_as])
        case WithdrawalFact(id_, about, turn, stands):
            return id_ == sealed_id("withdrawal", [about, turn, stands])
        case NoteFact(id_, visit_, jack, note):
            return id_ == sealed_id("note", [visit_, jack, note])
        case StateFact():
            return fact == state(fact.kind, fact.about, fact.turn, fact.body, fact.at)


def state(kind: str, about: str, turn: int, body: str, at: str) -> StateFact:
    """Return a state of a private thing under the id that is made from its content."""
    return StateFact(sealed_id("state", [kind, about, turn, body, at]), kind, about, turn, body, at)


def to_reenter(book: Snapshot) -> Iterator[VisitFact]:
    """Yield the visits in force with a supplied id, now under an id made from their content."""
    for fact in visits(book, 0, private=True, ids=unsealed(book)):
        nonce = reentry_nonce(fact.id)
        earlier = tuple(dict.fromkeys((fact.id, *fact.visit.supersedes)))[:SUPERSEDES]
        new, _ = sealed(replace(fact.visit, supersedes=earlier), nonce)
        yield VisitFact(new, nonce, fact.recorded)


def add_facts(
    connection: sa.Connection,
    facts: Iterable[Fact],
    *,
    revision: int,
    outside: bool,
    again: list[str] | None = None,
) -> Merged:
    """Add facts inside a writing transaction, ``CHUNK`` in memory at a time; see ``Store.merge``.

    The ids of known facts are added to ``again``.
    """
    merged = Merged()
    at = clock.moment()
    replaced: list[str] = []
    withdrawn_: list[str] = []
    for some in chunks(facts):
        for fact in some:
            examine(fact, outside=outside)
            if isinstance(fact, VisitFact):
                replaced += fact.visit.supersedes
            elif isinstance(fact, WithdrawalFact) and not fact.stands:
                withdrawn_.append(fact.fact)
        if again is not None:
            again += _there(connection, [one.id for one in some], revision)
        _add_visits(connection, [one for one in some if isinstance(one, VisitFact)], revision, at, merged)
        for kind, table in (*ROWS, *PRIVATE_ROWS):
            _add_rows(connection, table, [one for one in some if isinstance(one, kind)], revision, merged)
    merged.replaced = _before(connection, replaced, revision, _newly_superseded(revision))
    merged.withdrawn = _before(connection, withdrawn_, revision, _newly_withdrawn(revision))
    return merged


def _before(
    connection: sa.Connection, ids: list[str], revision: int, what: sa.ColumnElement[bool]
) -> tuple[str, ...]:
    """Return the visits that were in the book before this writing and meet the condition ``what``."""
    found: list[str] = []
    for some in chunks(dict.fromkeys(ids)):
        earlier = schema.visit.c.id.in_(some), schema.visit.c.revision < revision
        asked = sa.select(schema.visit.c.id).where(*earlier, what)
        found += connection.execute(asked.order_by(schema.visit.c.id)).scalars()
    return tuple(found)


def _newly_withdrawn(revision: int) -> sa.ColumnElement[bool]:
    said = sa.select(1).where(
        schema.withdrawal.c.fact == schema.visit.c.id, schema.withdrawal.c.revision == revision
    )
    return sa.and_(withdrawn(schema.visit.c.id), said.exists())


def _newly_superseded(revision: int) -> sa.ColumnElement[bool]:
    later, new = schema.supersession, schema.visit.alias()
    said = sa.select(1).where(
        later.c.earlier == schema.visit.c.id, later.c.visit == new.c.id, new.c.revision == revision
    )
    return said.exists()


def examine(fact: Fact, *, outside: bool) -> None:
    """Raise BadInput if a fact's id is not made from its content."""
    if outside and isinstance(fact, StateFact):
        raise BadInput("state", fact.kind, Said("expected/nothing-private"))
    nonce = isinstance(fact, VisitFact) and fact.nonce
    if (outside or nonce or (is_sealed(fact.id) and not isinstance(fact, VisitFact))) and not certified(fact):
        raise BadInput(_kind(fact), fact.id, Said("expected/matching-id"))
    if isinstance(fact, VisitFact) and is_sealed(fact.id) and not nonce:
        raise BadInput("visit", fact.id, Said("expected/seal"))


def _kind(fact: Fact) -> str:
    return type(fact).__name__.removesuffix("Fact").lower()


def _add_visits(
    connection: sa.Connection, facts: list[VisitFact], revision: int, at: str, merged: Merged
) -> None:
    ids = [fact.id for fact in facts]
    there = load(connection, _present(connection, schema.visit.c.id, ids), reviewed=False) if ids else {}
    own = set(_present(connection, schema.visit_private.c.visit, list(there))) if there else set()
    rows: Rows = {table: [] for table in ORDER}
    moved: list[VisitFact] = []
    said = _said_elsewhere(connection, facts)
    for fact in facts:
        visit = fact.visit
        words = without_private(visit) != visit or fact.recorded
        seen = fingerprint(visit) if words else ""
        if seen in said and said[seen] != visit.id:  # these words have another number here
            visit, words, seen = without_private(visit), "", ""
        if visit.id not in there:
            when = (fact.recorded or at) if seen else ""
            add_rows(rows, visit, revision=revision, seen=seen, at=when, nonce=fact.nonce)
            there[visit.id] = visit
            own |= {visit.id} if words else set()
            merged.visits += 1
            merged.findings += len(visit.findings)
            continue
        known = there[visit.id]
        differs = without_private(visit) != visit and visit.id in own and fingerprint(known) != seen
        if fingerprint(without_private(visit)) != fingerprint(without_private(known)) or (
            differs and not is_number(fact.nonce)
        ):
            raise BadInput("visit", visit.id, Said("expected/new-id"))
        if differs:  # the same rows of notes, numbered in another order: see below
            moved.append(fact)
            continue
        merged.already += 1
        if words and visit.id not in own:  # so far only its shareable part was here
            add_private_rows(rows, visit, seen=seen, at=fact.recorded or at)
            own.add(visit.id)
            merged.completed += 1
    insert(connection, rows)
    for fact in moved:
        _renumber(connection, fact, revision, at, merged)


def _said_elsewhere(connection: sa.Connection, facts: list[VisitFact]) -> dict[str, str]:
    """Return, by fingerprint, visits of this book with the words of numbered visits among the facts."""
    private, seal = schema.visit_private, schema.seal
    prints = [fingerprint(one.visit) for one in facts if is_number(one.nonce)]
    asked = (
        sa.select(private.c.fingerprint, private.c.visit, seal.c.nonce)
        .join(seal, seal.c.visit == private.c.visit)
        .where(private.c.fingerprint.in_(prints))
    )
    found = connection.execute(asked) if prints else ()
    return {print_: visit for print_, visit, nonce in found if is_number(nonce)}


def _renumber(connection: sa.Connection, fact: VisitFact, revision: int, at: str, merged: Merged) -> None:
    """Give a row of old notes the next number if another row with other private words has its number.

    Two books that loaded one sheet in different orders number its rows differently; the shareable content is
    the same under each number.
    """
    numbers = Numbers(connection, lambda _: True)
    [first] = numbers.look_up([replace(fact.visit, id="")])
    if first is None:  # never: all are alike
        return
    visit, nonce, bare = numbers.numbered(first)
    rows: Rows = {table: [] for table in ORDER}
    seen, when = fingerprint(visit), fact.recorded or at
    if bare:
        add_private_rows(rows, visit, seen=seen, at=when)
        merged.already += 1
        merged.completed += 1
    else:
        add_rows(rows, visit, revision=revision, seen=seen, at=when, nonce=nonce)
        merged.visits += 1
        merged.findings += len(visit.findings)
    insert(connection, rows)


def _add_rows(
    connection: sa.Connection, table: sa.Table, facts: list[Any], revision: int, merged: Merged
) -> None:
    if not facts:
        return
    names = list(type(facts[0]).__slots__)
    asked = sa.select(*(table.c[name] for name in names)).where(table.c.id.in_([one.id for one in facts]))
    there = {row.id: tuple(row) for row in connection.execute(asked)}
    rows = []
    for fact in facts:
        values = asdict(fact)
        if fact.id in there:
            if there[fact.id] != tuple(values[name] for name in names):
                raise BadInput(_kind(fact), fact.id, Said("expected/new-id"))
            merged.already += 1
            continue
        there[fact.id] = tuple(values[name] for name in names)
        rows.append({**values, "revision": revision})
    if not rows:
        return
    connection.execute(table.insert(), rows)
    if table is schema.alias:
        merged.aliases += len(rows)
    elif table is schema.reviewed_note:
        merged.notes += len(rows)
    elif table is schema.private_state:
        merged.states += len(rows)
    else:
        merged.withdrawals += len(rows)


def _there(connection: sa.Connection, ids: list[str], revision: int) -> list[str]:
    """Return those of the facts that were in the book before this writing."""
    tables = (schema.visit, *(table for _, table in (*ROWS, *PRIVATE_ROWS)))
    asked = (
        sa.select(table.c.id).where(table.c.id.in_(ids), table.c.revision < revision) for table in tables
    )
    return [one for some in asked for one in connection.execute(some).scalars()]


def _present(connection: sa.Connection, column: sa.Column[str], ids: list[str]) -> list[str]:
    """Return those of the ids that are in the column."""
    found: list[str] = []
    for some in chunks(ids):
        found += connection.execute(sa.select(column).where(column.in_(some)).distinct()).scalars()
    return found
