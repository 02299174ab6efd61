"""Record which facts came in with which bundle, and which bundles were taken back.

Taking a bundle back affects this book alone: facts that came only with the bundle no longer count here, and
no other book learns of it. Facts that were also recorded here, or came with another bundle, stay. Nothing is
deleted, so the bundle can be brought back.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa

from kb.base import clock
from kb.base.errors import BadInput
from kb.base.messages import Said
from kb.store import schema
from kb.store.failures import translated
from kb.store.rows import chunks
from kb.store.snapshot import Snapshot

#: The tables whose rows a bundle brings.
TABLES = (schema.visit, schema.alias, schema.withdrawal, schema.reviewed_note, schema.private_state)


@dataclass(frozen=True, slots=True)
class Origin:
    """Describe the source of facts: ``kind`` is one of ``schema.ORIGINS``; the same ``id`` is the same
    bundle.

    ``book``: the id of the book it was made from, "" if unknown; ``signed_by``: a public key or "".
    """

    id: str
    kind: str
    book: str = ""
    name: str = ""
    signed_by: str = ""


@dataclass(frozen=True, slots=True)
class Bundle:
    """Describe a received bundle. ``facts``: how many were new, ``visits`` of them; ``came_at``: first, in
    UTC.

    ``revisions``: the writings in which it brought something.
    """

    origin: Origin
    came_at: str
    visits: int
    facts: int
    taken_back: bool
    revisions: tuple[int, ...]


def bundles(book: Snapshot) -> list[Bundle]:
    """Return every received bundle, the latest first."""
    one = schema.bundle

    def new(*tables: sa.Table) -> Any:
        counted = [
            sa.select(sa.func.count()).where(table.c.revision == one.c.revision).scalar_subquery()
            for table in tables
        ]
        return sum(counted[1:], counted[0])

    taken = sa.literal_column("bundle.revision IN (SELECT bundle FROM taken)", sa.Boolean)
    asked = sa.select(
        one,
        new(schema.visit).label("visits"),
        new(*TABLES).label("facts"),
        taken.label("taken_back"),
    ).order_by(one.c.revision)
    found: dict[str, Bundle] = {}
    with translated(book._place):
        for row in book._connection.execute(asked):
            before = found.get(row.id)
            found[row.id] = Bundle(
                Origin(row.id, row.origin, row.book, row.name, row.signed_by),
                before.came_at if before else row.came_at,
                row.visits + (before.visits if before else 0),
                row.facts + (before.facts if before else 0),
                bool(row.taken_back),
                (*(before.revisions if before else ()), row.revision),
            )
    return sorted(found.values(), key=lambda each: each.revisions, reverse=True)


def named(book: Snapshot, given: str) -> Bundle:
    """Return the bundle whose id begins so; raises BadInput if no bundle or several have it."""
    start = given.strip().lower()
    found = [one for one in bundles(book) if start and one.origin.id.startswith(start)]
    if len(found) == 1:
        return found[0]
    if found:
        raise BadInput(
            "bundle",
            given,
            Said("expected/more-of-id", ids=", ".join(one.origin.id[:12] for one in found[:5])),
        )
    raise BadInput("BUNDLE", given, Said("expected/id-of-bundle"))


def came_in(connection: sa.Connection, revision: int, origin: Origin) -> bool:
    """Return whether the bundle is new to the book. Receiving one again that was taken back restores it."""
    one = schema.bundle
    there = connection.execute(sa.select(one.c.revision).where(one.c.id == origin.id)).scalars().all()
    taken = sa.text("SELECT 1 FROM taken WHERE bundle = :bundle")
    if there and connection.execute(taken, {"bundle": there[0]}).first():
        turn(connection, revision, there)
    return not there


def note(connection: sa.Connection, revision: int, origin: Origin) -> None:
    """Record that facts came in with this writing."""
    row = {"id": origin.id, "origin": origin.kind, "book": origin.book, "name": origin.name}
    at = clock.moment()
    connection.execute(
        schema.bundle.insert(), {**row, "revision": revision, "signed_by": origin.signed_by, "came_at": at}
    )


def turn(connection: sa.Connection, revision: int, revisions: Iterable[int]) -> None:
    """Take back the facts that a bundle brought in these writings, or restore them."""
    rows = [{"bundle": one, "revision": revision} for one in revisions]
    connection.execute(schema.bundle_turn.insert(), rows)


def keep(connection: sa.Connection, revision: int, facts: list[str]) -> None:
    """Record that known facts came once more, or were recorded here: only those that came with a bundle."""
    table = schema.came_again
    for some in chunks(facts):
        found: set[str] = set()
        for kind in TABLES:
            foreign = kind.c.revision.in_(sa.select(schema.bundle.c.revision))
            asked = sa.select(kind.c.id).where(kind.c.id.in_(some), foreign, kind.c.revision != revision)
            found.update(connection.execute(asked).scalars())
        noted = sa.select(table.c.fact).where(table.c.fact.in_(some), table.c.revision == revision)
        found -= set(connection.execute(noted).scalars()) if found else set()
        if found:
            rows = [{"fact": one, "revision": revision} for one in sorted(found)]
            connection.execute(table.insert(), rows)
