"""Is a row of old notes the visit that another book made of the same row?

Two books that load one spreadsheet should not count its visits twice once they share. So a visit from a file
of notes gets no random nonce: it gets its number among the visits of the book that say the same in what may
be shared, beginning with 0. Equal rows then have equal ids in every book, and nothing private goes into them.
"""

from __future__ import annotations

from collections.abc import Callable
from enum import Enum

import sqlalchemy as sa

from kb.store import schema
from kb.store.seal import NONCE, sealed
from kb.visit import Visit


class _Is(Enum):
    """What the book has under an id."""

    FREE = "nothing"
    BARE = "what another book shared of the visit"
    OWN = "a visit with its private words"


class Numbers:
    """Ids for the visits of one writing transaction; ``alike`` says of which the numbered kind is wanted."""

    def __init__(self, connection: sa.Connection, alike: Callable[[Visit], bool]) -> None:
        self._connection = connection
        self._alike = alike
        self._there: dict[str, _Is] = {}
        self._next: dict[str, int] = {}  # of those only that were met more than once: memory is bounded

    def look_up(self, visits: list[Visit]) -> list[Visit | None]:
        """Each visit under its id as the first of its kind, None where none is wanted."""
        firsts = [sealed(one, _nonce(0))[0] if not one.id and self._alike(one) else None for one in visits]
        self._there = self._ask([one.id for one in firsts if one])
        return firsts

    def numbered(self, first: Visit) -> tuple[Visit, str, bool]:
        """The visit under the first id that none of the book's own has, the nonce, and whether it is there
        already as another book shared it."""
        number, one = self._next.get(first.id, 0), first
        while True:
            if number:
                one = sealed(first, _nonce(number))[0]
            found = self._there.get(one.id) or self._ask([one.id])[one.id]
            self._there[one.id] = _Is.OWN
            number += 1
            if found is not _Is.OWN:
                if number > 1:
                    self._next[first.id] = number
                return one, _nonce(number - 1), found is _Is.BARE

    def _ask(self, ids: list[str]) -> dict[str, _Is]:
        visit, private = schema.visit, schema.visit_private
        both = visit.outerjoin(private, private.c.visit == visit.c.id)
        asked = sa.select(visit.c.id, private.c.visit).select_from(both).where(visit.c.id.in_(ids))
        there = {row[0]: _Is.BARE if row[1] is None else _Is.OWN for row in self._connection.execute(asked)}
        return {one: there.get(one, _Is.FREE) for one in ids}


def is_number(nonce: str) -> bool:
    """Is it the nonce of a row of old notes, and not a random one?"""
    return nonce.startswith("0" * NONCE)


def _nonce(number: int) -> str:
    return f"{number:0{2 * NONCE}x}"
