"""Is a fact withdrawn? The one rule, as a condition of a query."""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa

from kb.store import schema

_gone = schema.withdrawal


def withdrawn(fact: sa.ColumnElement[Any]) -> sa.ColumnElement[bool]:
    """Is the last that was said of the fact, by (turn, id), that it does not stand?"""
    said, after = _gone.alias(), _gone.alias()
    later = sa.or_(after.c.turn > said.c.turn, sa.and_(after.c.turn == said.c.turn, after.c.id > said.c.id))
    outdone = sa.select(1).where(after.c.fact == said.c.fact, later).exists()
    return sa.select(1).where(said.c.fact == fact, sa.not_(said.c.stands), sa.not_(outdone)).exists()
