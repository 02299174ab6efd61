"""Change the CHECK of a column, which SQLite cannot alter.

def upgrade() -> None:
    allow_words("finding", "form", "rca-pair rca-single ... new-form")
"""

from __future__ import annotations

import re

import sqlalchemy as sa
from alembic import op


def allow_words(table: str, column: str, values: str) -> None:
    """Let ``column`` hold these words (separated by blanks) and no others; every row is checked."""
    listed = ", ".join(f"'{value}'" for value in values.split())
    change_rule(table, column, f"{column} IN ({listed})")


def change_rule(table: str, column: str, rule: str) -> None:
    """Let ``column`` hold what this rule allows and nothing else; every row is checked."""
    name = f"ck_{table}_{column}"
    if op.get_bind().dialect.name == "sqlite":
        _rebuild(table, name, rule)
    else:
        op.drop_constraint(op.f(name), table, type_="check")
        op.create_check_constraint(op.f(name), table, rule)


def _rebuild(table: str, name: str, rule: str) -> None:
    """SQLite's own way (sqlite.org/lang_altertable.html, section 7): a new table, filled, takes the place.

    The guards and indexes of the table go with the old one and are made again as they were.
    """
    bind = op.get_bind()
    asked = sa.text("SELECT type, sql FROM sqlite_master WHERE tbl_name = :table AND sql IS NOT NULL")
    parts = bind.execute(asked, {"table": table}).all()
    [made] = [part.sql for part in parts if part.type == "table"]
    new, found = re.subn(rf"(CONSTRAINT {name} CHECK )\([^()]*\([^()]*\)\)", rf"\1({rule})", made)
    new, named = re.subn(rf'^CREATE TABLE "?{table}"?', f"CREATE TABLE {table}_new", new)
    if (found, named) != (1, 1):
        raise ValueError(f"{table} has no rule {name} to change")
    # A renamed table must leave no view that finds it missing.
    views = bind.exec_driver_sql("SELECT name, sql FROM sqlite_master WHERE type = 'view'").all()
    for view in reversed(views):
        _run(f"DROP VIEW {view.name}")
    _run(new)
    _run(f"INSERT INTO {table}_new SELECT * FROM {table}")  # noqa: S608 (our own names)
    _run(f"DROP TABLE {table}")
    _run(f"ALTER TABLE {table}_new RENAME TO {table}")
    for part in parts:
        if part.type != "table":
            _run(part.sql)
    for view in views:
        _run(view.sql)


def _run(statement: str) -> None:
    op.get_bind().exec_driver_sql(statement)
