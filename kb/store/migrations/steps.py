"""Change tables in ways that SQLite's ALTER TABLE cannot: other rules for a column, a column with rules.

def upgrade() -> None:
    allow_words("finding", "form", "rca-pair rca-single ... new-form")
    add_column("finding", "height_cm", "INTEGER", {"height_cm": "height_cm BETWEEN 1 AND 300"})
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping

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


def add_column(
    table: str,
    column: str,
    kind: str,
    rules: Mapping[str, str],
    *,
    sqlite_rules: Mapping[str, str] | None = None,
    default: str = "NULL",
) -> None:
    """Add a column of a ``kind`` as SQL names it (``TEXT NOT NULL``); rows that are there get ``default``.

    ``rules``: CHECKs by name (without ``ck_`` and the table); ``sqlite_rules``: those that only SQLite needs.
    """
    if op.get_bind().dialect.name == "sqlite":
        checks = [
            f"CONSTRAINT ck_{table}_{name} CHECK ({rule})"
            for name, rule in {**rules, **(sqlite_rules or {})}.items()
        ]

        def with_column(made: str) -> str:
            columns, first, constraints = made.partition("\n\tCONSTRAINT")
            if not first:
                raise ValueError(f"{table} has no place for another column")
            more = "".join(f", \n\t{one}" for one in checks)
            end = constraints.rstrip().removesuffix(")").rstrip()
            return f"{columns}\n\t{column} {kind}, {first}{end}{more}\n)"

        old = [row.name for row in op.get_bind().exec_driver_sql(f"PRAGMA table_info({table})")]
        _remake(table, with_column, (", ".join((*old, column)), ", ".join((*old, default))))
        return
    _run(f"ALTER TABLE {table} ADD COLUMN {column} {kind} DEFAULT {default}")
    _run(f"ALTER TABLE {table} ALTER COLUMN {column} DROP DEFAULT")
    for name, rule in rules.items():
        op.create_check_constraint(op.f(f"ck_{table}_{name}"), table, rule)


def _rebuild(table: str, name: str, rule: str) -> None:
    def with_rule(made: str) -> str:
        new, found = re.subn(rf"(CONSTRAINT {name} CHECK )\((?:[^()]|\([^()]*\))*\)", rf"\1({rule})", made)
        if found != 1:
            raise ValueError(f"{table} has no rule {name} to change")
        return new

    _remake(table, with_rule)


def _remake(table: str, change: Callable[[str], str], columns: tuple[str, str] | None = None) -> None:
    """SQLite's own way (sqlite.org/lang_altertable.html, section 7): a new table, filled, takes the place.

    ``change`` makes of the statement that made the table the one for the new; ``columns``: those of the new
    table, and what of the old one goes into each; all, as they are, if not given. The guards and indexes of
    the table go with the old one and are made again as they were.
    """
    bind = op.get_bind()
    asked = sa.text("SELECT type, sql FROM sqlite_master WHERE tbl_name = :table AND sql IS NOT NULL")
    parts = bind.execute(asked, {"table": table}).all()
    [made] = [part.sql for part in parts if part.type == "table"]
    new, named = re.subn(rf'^CREATE TABLE "?{table}"?', f"CREATE TABLE {table}_new", change(made))
    if named != 1:
        raise ValueError(f"{table} was made by another statement than ours")
    # A renamed table must leave no view that finds it missing.
    views = bind.exec_driver_sql("SELECT name, sql FROM sqlite_master WHERE type = 'view'").all()
    for view in reversed(views):
        _run(f"DROP VIEW {view.name}")
    _run(new)
    into, taken = columns or ("", "*")
    _run(f"INSERT INTO {table}_new {into and f'({into})'} SELECT {taken} FROM {table}")  # noqa: S608 (our own names)
    _run(f"DROP TABLE {table}")
    _run(f"ALTER TABLE {table}_new RENAME TO {table}")
    for part in parts:
        if part.type != "table":
            _run(part.sql)
    for view in views:
        _run(view.sql)


def _run(statement: str) -> None:
    op.get_bind().exec_driver_sql(statement)
