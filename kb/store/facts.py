"""Define the facts of a book, each with an id: the content that books exchange.

``visits`` without ``private`` reads only tables without private content; ``everything`` is for a copy of
one's own book.
"""

from __future__ import annotations

from collections.abc import Generator, Iterable, Iterator
from dataclasses import dataclass, replace
from itertools import takewhile
from typing import Any, Final, TypeAlias

import sqlalchemy as sa

from kb.domain.visit import Visit
from kb.store import counted, schema
from kb.store.failures import translated
from kb.store.rows import chunks, load
from kb.store.snapshot import Snapshot, reentered
from kb.store.withdrawn import IN_FORCE, counts, taken_back, withdrawn


@dataclass(frozen=True, slots=True)
class VisitFact:
    """Hold a visit with an id; ``nonce`` went into the id, "" if the id was supplied.

    ``recorded`` is the time in UTC, "" if unknown.
    """

    visit: Visit
    nonce: str = ""
    recorded: str = ""

    @property
    def id(self) -> str:
        """Return the id of the visit."""
        return self.visit.id


@dataclass(frozen=True, slots=True)
class AliasFact:
    """Say that two spellings are one set, known as ``same_as``."""

    id: str
    set_key: str
    same_as: str


@dataclass(frozen=True, slots=True)
class WithdrawalFact:
    """Say that ``fact`` is withdrawn, or in force again, after this many turns."""

    id: str
    fact: str
    turn: int
    stands: bool


@dataclass(frozen=True, slots=True)
class NoteFact:
    """Hold a note released for other books; ``jack`` is the place on the panel, None for the whole visit."""

    id: str
    visit: str
    jack: int | None
    note: str


@dataclass(frozen=True, slots=True)
class StateFact:
    """Hold a state of a private thing: the ``turn``-th of the job or van ``about``, as JSON, with its time.

    No bundle holds one: only a dump of one's own book does.
    """

    id: str
    kind: str
    about: str
    turn: int
    body: str
    at: str


Fact: TypeAlias = VisitFact | AliasFact | WithdrawalFact | NoteFact | StateFact

#: The kinds that are one row each, with their tables.
ROWS: Final = (
    (AliasFact, schema.alias),
    (WithdrawalFact, schema.withdrawal),
    (NoteFact, schema.reviewed_note),
)


#: The same for what never leaves the book but in a copy of it.
PRIVATE_ROWS: Final = ((StateFact, schema.private_state),)


def everything(book: Snapshot) -> Generator[Fact, None, None]:
    """Yield all facts, private words included, in the order they were recorded."""
    yield from visits(book, 0, private=True)
    yield from rows(book)
    yield from rows(book, of=PRIVATE_ROWS)


def visits(
    book: Snapshot, since: int, *, private: bool, ids: Iterable[str] | None = None
) -> Iterator[VisitFact]:
    """Yield visits recorded after a revision, or the known ones of ``ids``, a few in memory at a time."""
    if ids is None:
        asked = sa.select(schema.visit.c.id).where(_since(schema.visit, since))
        ids = book._stream(asked.order_by(schema.visit.c.revision, schema.visit.c.id))
    for some in chunks(ids):
        with translated(book._place):
            found = load(book._connection, some, private=private, reviewed=False)
            nonces = _column(book, schema.seal, "nonce", some)
            times = _column(book, schema.visit_private, "recorded_at", some) if private else {}
        for one in some:
            if one in found:
                yield VisitFact(found[one], nonces.get(one, ""), times.get(one, ""))


def _since(table: sa.Table, since: int) -> sa.ColumnElement[bool]:
    """Select facts that came, or were restored, after a revision; without those taken back."""
    here = sa.not_(taken_back(table))
    if not since:
        return here
    changed = sa.text(f"{table.name}.id IN ({counted.changed(table.name)})").bindparams(since=since)
    return sa.and_(here, changed)


def number_of(book: Snapshot, table: sa.Table) -> int:
    """Return how many facts of a kind there are, without those taken back."""
    asked = sa.select(sa.func.count()).select_from(table).where(_since(table, 0))
    with translated(book._place):
        number: int = book._connection.execute(asked).scalar_one()
    return number


def _column(book: Snapshot, table: sa.Table, name: str, ids: list[str]) -> dict[str, str]:
    asked = sa.select(table.c.visit, table.c[name]).where(table.c.visit.in_(ids))
    return {row[0]: row[1] for row in book._connection.execute(asked)}


def rows(book: Snapshot, since: int = 0, of: Iterable[tuple[type[Any], sa.Table]] = ROWS) -> Iterator[Fact]:
    """Yield aliases, withdrawals and released notes that came after a revision, or facts ``of`` others."""
    for kind, table in of:
        columns = [table.c[name] for name in kind.__slots__]
        asked = sa.select(*columns).where(_since(table, since)).order_by(table.c.revision, table.c.id)
        for row in book._rows(asked):
            values = row._asdict()
            if "stands" in values:
                values["stands"] = bool(values["stands"])
            yield kind(**values)


def starting_with(book: Snapshot, start: str, most: int = 10) -> list[tuple[type[Fact], str]]:
    """Return kind and id of visits, aliases and released notes whose id begins so, the first few."""
    found: list[tuple[type[Fact], str]] = []
    kinds: tuple[tuple[type[Fact], sa.Table], ...] = (
        (VisitFact, schema.visit),
        (AliasFact, schema.alias),
        (NoteFact, schema.reviewed_note),
    )
    for kind, table in kinds:
        begins = sa.and_(table.c.id >= start, table.c.id < start + "g")
        asked = sa.select(table.c.id).where(begins).order_by(table.c.id)
        with translated(book._place):
            found += [(kind, one) for one in book._connection.execute(asked.limit(most)).scalars()]
    return found


def latest_entry(book: Snapshot, visit: str) -> str:
    """Return the id of a visit since it was entered again for sharing; its own if it was not."""
    with translated(book._place):
        return reentered(book._connection, [visit]).get(visit, visit)


def briefly(book: Snapshot, ids: Iterable[str]) -> dict[str, str]:
    """Shorten each id so that it differs from all others of the book, to eight characters at least."""
    columns = (schema.visit.c.id, schema.alias.c.id, schema.reviewed_note.c.id)
    found = {}
    with translated(book._place):
        for one in ids:
            beside = [
                book._connection.execute(asked).scalar()
                for id_ in columns
                for asked in (
                    sa.select(sa.func.max(id_)).where(id_ < one),
                    sa.select(sa.func.min(id_)).where(id_ > one),
                )
            ]
            alike = max((_alike(one, other) for other in beside if other), default=0)
            found[one] = one[: max(_BRIEF, alike + 1)]
    return found


_BRIEF: Final = 8


def _alike(one: str, other: str) -> int:
    """Return the length of the common beginning of two ids."""
    return sum(1 for _ in takewhile(lambda pair: pair[0] == pair[1], zip(one, other, strict=False)))


@dataclass(frozen=True, slots=True)
class Change:
    """Describe a correction, withdrawal or merge in force: its subject, and the time of its recording."""

    kind: str
    """``correction``, ``withdrawal``, ``merge`` or ``release`` (of a note)."""
    id: str
    revision: int
    own: bool = True
    """Whether it was made in this book, not in a bundle, a shared book or a dump."""


def changes(book: Snapshot) -> list[Change]:
    """Return corrections, withdrawals and merges in force, the latest first; undoing one is not a change."""
    later, note = schema.supersession, schema.reviewed_note
    with translated(book._place):
        ask = book._connection.execute
        superseding = ask(
            sa.select(schema.visit.c.id, schema.visit.c.revision)
            .join(later, later.c.visit == schema.visit.c.id)
            # A visit entered again for sharing has the same words as before, and corrects nothing.
            .where(
                later.c.seq == 0,
                counts(schema.visit),
                schema.visit.c.id.not_in(sa.select(schema.reentered.c.visit)),
            )
        ).all()
        last = f"(SELECT final.revision FROM ({counted.last_word('visit.id')}) final)"  # noqa: S608
        withdrawals = ask(
            sa.select(schema.visit.c.id, sa.literal_column(last, sa.BigInteger)).where(
                withdrawn(schema.visit.c.id),
                sa.not_(taken_back(schema.visit)),
                schema.visit.c.id.not_in(sa.select(later.c.visit)),
            )
        ).all()
        merges = ask(sa.select(schema.alias.c.id, schema.alias.c.revision).where(counts(schema.alias))).all()
        releases = ask(sa.select(note.c.id, note.c.revision).where(counts(note))).all()
        foreign = set(ask(sa.select(schema.bundle.c.revision)).scalars())
    found = [
        *(Change("correction", *row) for row in superseding),
        *(Change("withdrawal", *row) for row in withdrawals),
        *(Change("merge", *row) for row in merges),
        *(Change("release", *row) for row in releases),
    ]
    told_own = [replace(one, own=one.revision not in foreign) for one in found]
    return sorted(told_own, key=lambda one: (one.revision, one.id), reverse=True)


def standing_of(book: Snapshot, ids: list[str]) -> set[str]:
    """Return those of the visits that are in force."""
    with translated(book._place):
        asked = sa.select(schema.visit.c.id).where(schema.visit.c.id.in_(ids), IN_FORCE)
        return set(book._connection.execute(asked).scalars()) if ids else set()


def unsealed(book: Snapshot) -> list[str]:
    """Return visits in force whose id was supplied, not made from their content."""
    with translated(book._place):
        asked = sa.select(schema.visit.c.id).where(
            schema.visit.c.id.not_in(sa.select(schema.seal.c.visit)), IN_FORCE
        )
        return list(book._connection.execute(asked.order_by(schema.visit.c.id)).scalars())
