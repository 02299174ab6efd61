"""Decide whether a fact is withdrawn: the one rule, as a condition of a query."""

from __future__ import annotations

from typing import Final

import sqlalchemy as sa

from kb.store import counted, schema


def condition(rule: str) -> sa.ColumnElement[bool]:
    """Return a rule as a condition; the query uses the tables' own names."""
    return sa.literal_column(rule, sa.Boolean)


def withdrawn(fact: sa.Column[str]) -> sa.ColumnElement[bool]:
    """Return a condition: the fact is withdrawn."""
    return condition(counted.withdrawn(f"{fact.table}.{fact.name}"))


def taken_back(table: sa.Table) -> sa.ColumnElement[bool]:
    """Return a condition: the fact came only with bundles that were taken back."""
    return condition(counted.taken_back(table.name))


def counts(table: sa.Table) -> sa.ColumnElement[bool]:
    """Return a condition: the fact is neither withdrawn nor taken back."""
    return condition(counted.counts(table.name))


#: Does a visit count in what is known of its set?
IN_FORCE: Final = condition(counted.in_force(schema.visit.name))
#: Does another visit take its place, or count instead of it?
SUPERSEDED: Final = condition(
    f"({counted.superseded('visit.id')} OR ({counted.counts('visit')} AND {counted.outdone('visit.id')}))"
)
