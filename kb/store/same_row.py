"""Recognise a row of old notes from which another book has made the same visit.

Two books that load one spreadsheet should not count its visits twice after sharing. So a visit from a file of
notes gets no random nonce. It gets its number, from 0, among the visits of the book with the same shareable
content. Equal rows then have equal ids in every book, and nothing private goes into them.
"""

from __future__ import annotations

from collections.abc import Callable
from enum import Enum

import sqlalchemy as sa

from kb.domain.visit import Visit
from kb.store import schema
from kb.store.content_id import NONCE, sealed
from kb.store.rows import CHUNK


class _Is(Enum):
    """Say how the book knows an id."""

    FREE = "nothing"
    BARE = "what another book shared of the visit"
    OWN = "a visit with its private words"


class Numbers:
    """Assign ids to the visits of one writing transaction; ``alike`` selects those with numbered ids."""

    def __init__(self, connection: sa.Connection, alike: Callable[[Visit], bool]) -> None:
        self._connection = connection
        self._alike = alike
        self._there: dict[str, _Is] = {}
        self._next: dict[str, int] = {}  # of those only that were met more than once: memory is bounded

    def look_up(self, visits: list[Visit]) -> list[Visit | None]:
        """Return each visit under its id as the first of its kind, None if its id is not numbered."""
        firsts = [sealed(one, _nonce(0))[0] if not one.id and self._alike(one) else None for one in visits]
        self._there = self._ask([one.id for one in firsts if one])
        return firsts

    def numbered(self, first: Visit) -> tuple[Visit, str, bool]:
        """The visit under the first id that none of the book's own has, the nonce, and whether it is there
        already as another book shared it."""
        number, one = self._next.get(first.id, 0), first
        found = self._there.get(first.id) if not number else None
        if found is None or found is _Is.OWN:
            number, one, found = self._after(first, max(number, 1))
        self._there[one.id] = _Is.OWN
        if number:
            self._next[first.id] = number + 1
        return one, _nonce(number), found is _Is.BARE

    def _after(self, first: Visit, number: int) -> tuple[int, Visit, _Is]:
        """Return the first of its kind, from ``number`` on, that is not one of the book's own.

        Each time it looks up twice as many ids, so a thousand equal rows cost ten queries.
        """
        many = 1
        while True:
            some = [sealed(first, _nonce(one))[0] for one in range(number, number + many)]
            there = self._ask([one.id for one in some])
            for at, one in enumerate(some):
                if (found := self._there.get(one.id) or there[one.id]) is not _Is.OWN:
                    return number + at, one, found
            number, many = number + many, min(many * 2, CHUNK)

    def _ask(self, ids: list[str]) -> dict[str, _Is]:
        visit, private = schema.visit, schema.visit_private
        both = visit.outerjoin(private, private.c.visit == visit.c.id)
        asked = sa.select(visit.c.id, private.c.visit).select_from(both).where(visit.c.id.in_(ids))
        there = {row[0]: _Is.BARE if row[1] is None else _Is.OWN for row in self._connection.execute(asked)}
        return {one: there.get(one, _Is.FREE) for one in ids}


def is_number(nonce: str) -> bool:
    """Return whether it is the nonce of a row of old notes, and not a random one."""
    return nonce.startswith("0" * NONCE)


def _nonce(number: int) -> str:
    return f"{number:0{2 * NONCE}x}"
