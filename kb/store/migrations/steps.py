"""Make tables, and change them in ways that SQLite's ALTER TABLE cannot: new columns, other rules for one.

The columns made here are no longer changed, whatever becomes of ``kb.store.schema``: old books have them.

def upgrade() -> None:
    allow_words("finding", "form", "rca-pair rca-single ... new-form")
    add_column("finding", "height_cm", "INTEGER", {"height_cm": "height_cm BETWEEN 1 AND 300"})
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from typing import Final

import sqlalchemy as sa
from alembic import op

from kb.store.triggers import kept

Items = list[sa.schema.SchemaItem]

#: Ids and keys, which compare by code point on every engine.
PLAIN: Final = sa.Text().with_variant(sa.Text(collation="C"), "postgresql")


def create(name: str, *items: sa.schema.SchemaItem | Sequence[sa.schema.SchemaItem]) -> sa.Table:
    """Make a table of columns, rules, keys and indexes; they get their names as in ``kb.store.schema``."""
    flat: Items = []
    for item in items:
        flat.extend([item] if isinstance(item, sa.schema.SchemaItem) else item)
    return op.create_table(name, *flat)


def keep_rows(*tables: sa.Table) -> None:
    """Have the database refuse to change or delete the rows of these tables."""
    keys = {table.name: [column.name for column in table.primary_key] for table in tables}
    for guard in kept(op.get_bind().dialect.name, keys):
        _run(guard)


def identity(name: str) -> Items:
    """Return a column for a UUID in its usual lower-case form, with its rule."""
    dashes = " AND ".join(f"substr({name}, {at}, 1) = '-'" for at in (9, 14, 19, 24))
    rule = f"length({name}) = 36 AND lower({name}) = {name} AND {dashes}"
    return [sa.Column(name, PLAIN, nullable=False), sa.CheckConstraint(rule, name=name)]


def plain(name: str, rule: str) -> Items:
    """Return a column for a key or a name of ours, with its rule."""
    return [sa.Column(name, PLAIN, nullable=False), sa.CheckConstraint(rule, name=name)]


def text(name: str, least: int, most: int) -> Items:
    """Return a column for a text of so many characters, with its rules."""
    return [
        sa.Column(name, sa.Text(), nullable=False),
        sa.CheckConstraint(f"length({name}) BETWEEN {least} AND {most}", name=name),
        sa.CheckConstraint(f"typeof({name}) = 'text'", name=f"{name}_text").ddl_if(dialect="sqlite"),
    ]


def words(name: str, values: str, *, nullable: bool = False) -> Items:
    """Return a column for one of these words (separated by blanks), with its rule."""
    listed = ", ".join(f"'{value}'" for value in values.split())
    column = sa.Column(name, sa.Text(), nullable=nullable)
    return [column, sa.CheckConstraint(f"{name} IN ({listed})", name=name)]


def flag(name: str, *, nullable: bool = False) -> Items:
    """Return a column for yes or no, with its rule."""
    return [
        sa.Column(name, sa.Boolean(), nullable=nullable),
        sa.CheckConstraint(f"{name} IN (0, 1)", name=name).ddl_if(dialect="sqlite"),
    ]


def whole(name: str, low: int, high: int, *, nullable: bool = False) -> Items:
    """Return a column for a whole number, with its rule."""
    rule = f"{name} BETWEEN {low} AND {high} AND {name} = CAST({name} AS INTEGER)"
    return [sa.Column(name, sa.Integer(), nullable=nullable), sa.CheckConstraint(rule, name=name)]


def revision_of(table: str = "writing", name: str = "revision") -> sa.Column[int]:
    """Return a column for the revision of a writing, or of another ``table`` that has one."""
    return sa.Column(name, sa.BigInteger(), sa.ForeignKey(f"{table}.revision"), nullable=False)


def of_visit() -> sa.Column[str]:
    """Return a column for the visit that a row belongs to."""
    return sa.Column("visit", PLAIN, sa.ForeignKey("visit.id"), nullable=False)


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
