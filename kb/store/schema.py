"""Define the tables of a book and their rules.

The tables hold only facts, each with the revision at which it was recorded; nothing is ever changed in place
(``triggers.py``). Shareable and private data are in different tables, so a reader of the first can leak
nothing of the second.

The columns of a visit's fields follow from their declarations (``field_columns.py``). A new field or word
changes a table here and needs a migration; a test compares both. New connectors and driver inputs need no
migration: making a visit checks them.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import sqlalchemy as sa

from kb.base import text
from kb.domain.kinds import (
    FIRST_DATE,
    CalendarDay,
    Flag,
    Identifier,
    Line,
    Name,
    Note,
    Number,
    OneOf,
    ValueKind,
    Whole,
)
from kb.domain.visit import ATTACHED as MOST_ATTACHED
from kb.domain.visit import INFERRED, JACKS
from kb.domain.words import GROWING, Word
from kb.store.field_columns import (
    ATTACHED,
    FINDING,
    FINDING_PRIVATE,
    LISTS,
    VISIT,
    VISIT_PRIVATE,
    Column,
    ListTable,
)

KEY: Final = 500  #: characters of a set_key; four bytes each still fit PostgreSQL's index pages
SHORT: Final = 40  #: characters of the name of the recording program, and of a word
MOST: Final = 2**53  #: revisions; whole numbers that JSON readers keep exact
TURNS: Final = 2**31 - 1  #: of a withdrawal, at most; ``kb.store.counted`` says which of them count
#: How facts come in: a file of colleagues, a shared book, a copy of one's own book.
ORIGINS: Final = ("bundle", "book", "dump")
#: Kinds of private things that change.
STATES: Final = ("job", "van")

metadata = sa.MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "ck": "ck_%(table_name)s_%(constraint_name)s",
        "fk": "fk_%(table_name)s_%(column_0_N_name)s",
        "pk": "pk_%(table_name)s",
    }
)

# Ids and keys compare by code point on every engine.
_PLAIN = sa.Text().with_variant(sa.Text(collation="C"), "postgresql")


def _id(name: str, *, primary_key: bool = False) -> list[sa.schema.SchemaItem]:
    """Return a column for a UUID in its usual lower-case form, with a rule that checks it."""
    dashes = " AND ".join(f"substr({name}, {at}, 1) = '-'" for at in (9, 14, 19, 24))
    return [
        sa.Column(name, _PLAIN, primary_key=primary_key, nullable=False),
        sa.CheckConstraint(f"length({name}) = 36 AND lower({name}) = {name} AND {dashes}", name=name),
    ]


def _revision() -> list[sa.schema.SchemaItem]:
    """Return the column for the writing that a fact came with."""
    return [sa.Column("revision", sa.BigInteger, sa.ForeignKey("writing.revision"), nullable=False)]


def _words(name: str, words: type[Word], *, nullable: bool = False) -> list[sa.schema.SchemaItem]:
    """Return a column that holds one word of the vocabulary."""
    listed = ", ".join(f"'{word.value}'" for word in words)
    rule = f"{name} IN ({listed})"
    if words in GROWING:
        rule = f"{name} <> '' AND {name} = substr({name}, 1, {SHORT})"
    return [sa.Column(name, sa.Text, nullable=nullable), sa.CheckConstraint(rule, name=name)]


def _text(name: str, most: int, least: int = 0) -> list[sa.schema.SchemaItem]:
    """Return a column of entered text, ``least`` to ``most`` characters."""
    return [
        sa.Column(name, sa.Text, nullable=False),
        sa.CheckConstraint(f"length({name}) BETWEEN {least} AND {most}", name=name),
        # SQLite would accept bytes that are not text.
        sa.CheckConstraint(f"typeof({name}) = 'text'", name=f"{name}_text").ddl_if(dialect="sqlite"),
    ]


def _flag(name: str, *, nullable: bool = False) -> list[sa.schema.SchemaItem]:
    # SQLite has no type of its own for a flag; PostgreSQL has.
    return [
        sa.Column(name, sa.Boolean, nullable=nullable),
        sa.CheckConstraint(f"{name} IN (0, 1)", name=name).ddl_if(dialect="sqlite"),
    ]


def _whole(name: str, low: int, high: int, *, nullable: bool = False) -> list[sa.schema.SchemaItem]:
    return [
        sa.Column(name, sa.Integer, nullable=nullable),
        sa.CheckConstraint(
            f"{name} BETWEEN {low} AND {high} AND {name} = CAST({name} AS INTEGER)", name=name
        ),
    ]


def _number(name: str, low: float, high: float, *, nullable: bool = False) -> list[sa.schema.SchemaItem]:
    return [
        sa.Column(name, sa.Double, nullable=nullable),
        sa.CheckConstraint(f"{name} BETWEEN {low} AND {high}", name=name),
    ]


def _day(name: str, *, nullable: bool = False) -> list[sa.schema.SchemaItem]:
    return [
        sa.Column(name, sa.Date, nullable=nullable),
        sa.CheckConstraint(f"{name} >= '{FIRST_DATE}'", name=name),
        sa.CheckConstraint(f"{name} IS date({name}, '+0 days')", name=_calendar(name)).ddl_if(
            dialect="sqlite"
        ),
    ]


def _calendar(name: str) -> str:
    return "calendar" if name == "date" else f"{name}_calendar"


def _field(name: str, kind: ValueKind, *, nullable: bool, least: int = 0) -> list[sa.schema.SchemaItem]:
    """Return the column for values of a declared kind; ``least``: characters of a text, at least."""
    match kind:
        case OneOf():
            return _words(name, kind.words, nullable=nullable)
        case Name():
            return _text(name, kind.most, 1)
        case Line() | Note():
            return _text(name, kind.most, least)
        case Flag():
            return _flag(name, nullable=nullable)
        case Whole():
            return _whole(name, kind.low, kind.high, nullable=nullable)
        case Number():
            return _number(name, kind.low, kind.high, nullable=nullable)
        case CalendarDay():
            return _day(name, nullable=nullable)
        case Identifier():
            return _id(name)
    raise TypeError(f"{name}: no column holds {kind}")


def _fields(columns: Sequence[Column], *, least: int = 0) -> list[sa.schema.SchemaItem]:
    """Return the columns of declared fields; optional values may be NULL."""
    found: list[sa.schema.SchemaItem] = []
    for one in columns:
        nullable = not one.field.required and one.field.default is None
        found += _field(one.name, one.field.kind, nullable=nullable, least=least)
    return found


def _list(one: ListTable) -> sa.Table:
    return _table(
        one.table,
        _visit() if len(one.keys) == 2 else _place_on_panel(),
        _whole(one.keys[-1], 0, one.kind.most - 1),
        sa.PrimaryKeyConstraint(*one.keys),
        _field(one.column, one.kind.kind, nullable=False, least=1),
        [sa.UniqueConstraint(*one.keys[:-1], one.column)] if one.kind.distinct else [],
        _SUPERSESSION if one.table == "supersession" else [],
    )


def _visit() -> sa.Column[str]:
    return sa.Column("visit", _PLAIN, sa.ForeignKey("visit.id"), nullable=False)


def _place_on_panel() -> list[sa.schema.SchemaItem]:
    """Return the columns that point at one finding: its visit and its place there, from 0."""
    return [
        sa.Column("visit", _PLAIN, nullable=False),
        sa.Column("seq", sa.Integer, nullable=False),
        sa.ForeignKeyConstraint(["visit", "seq"], ["finding.visit", "finding.seq"]),
    ]


def _table(name: str, *items: sa.schema.SchemaItem | Sequence[sa.schema.SchemaItem]) -> sa.Table:
    flat: list[sa.schema.SchemaItem] = []
    for item in items:
        flat.extend([item] if isinstance(item, sa.schema.SchemaItem) else item)
    return sa.Table(name, metadata, *flat)


# -- the book itself -----------------------------------------------------------------------------

#: One row. ``mark`` is new with every writing. Two copies of a book that were continued separately may reach
#: the same revision, never the same mark.
book: Final = _table(
    "book",
    _whole("one", 1, 1),
    sa.PrimaryKeyConstraint("one"),
    _id("id"),
    sa.Column("revision", sa.BigInteger, nullable=False),
    sa.CheckConstraint(f"revision BETWEEN 0 AND {MOST}", name="revision"),
    _id("mark"),
    _text("made_with", SHORT, 1),
)

#: One row per writing: the mark of the book at that revision.
writing: Final = _table(
    "writing",
    sa.Column("revision", sa.BigInteger, primary_key=True, autoincrement=False),
    sa.CheckConstraint(f"revision BETWEEN 1 AND {MOST}", name="revision"),
    _id("mark"),
)

# -- what may be shared ---------------------------------------------------------------------------

visit: Final = _table(
    "visit",
    _id("id", primary_key=True),
    _revision(),
    _fields(VISIT),
    sa.Column("set_key", _PLAIN, nullable=False),
    sa.CheckConstraint(f"length(set_key) BETWEEN 3 AND {KEY}", name="set_key"),
    _flag("driver"),
    sa.Index(None, "set_key", "revision"),
    sa.Index(None, "revision"),
)

finding: Final = _table(
    "finding",
    _visit(),
    _whole("seq", 0, JACKS - 1),
    sa.PrimaryKeyConstraint("visit", "seq"),
    _fields(FINDING),
    *(_flag(f"inferred_{name}") for name in INFERRED),
)

#: ``visit`` replaces ``earlier``, which may not be here yet: books merge in any order.
_SUPERSESSION: Final = (
    sa.CheckConstraint("earlier <> visit", name="other"),
    sa.Index(None, "earlier"),
)
#: Tables of fields that are lists, by name.
lists: Final = {one.table: _list(one) for one in LISTS}
supersession: Final = lists["supersession"]

#: Two spellings are one set; ``same_as`` is the one that is kept.
alias: Final = _table(
    "alias",
    _id("id", primary_key=True),
    _revision(),
    sa.Column("set_key", _PLAIN, nullable=False),
    sa.CheckConstraint(f"length(set_key) BETWEEN 3 AND {KEY}", name="set_key"),
    sa.Column("same_as", _PLAIN, nullable=False),
    sa.CheckConstraint(f"length(same_as) BETWEEN 3 AND {KEY}", name="same_as"),
    sa.CheckConstraint("same_as <> set_key", name="other"),
    sa.Index(None, "set_key"),
    sa.Index(None, "revision"),
)

#: A visit, alias or note is withdrawn, or reinstated if ``stands``. The greatest (turn, id) of a fact
#: decides (``kb.store.counted``), so that books that merged in any order agree. ``fact`` may not be here yet.
withdrawal: Final = _table(
    "withdrawal",
    _id("id", primary_key=True),
    _revision(),
    _id("fact"),
    _whole("turn", 1, TURNS),
    _flag("stands"),
    sa.Index(None, "fact", "turn", "id"),  # the last word comes first
    sa.Index(None, "revision"),
)

#: The nonce in the id of a visit (``kb.store.content_id``); a visit that was supplied with an id has no row.
seal: Final = _table(
    "seal",
    _visit(),
    sa.PrimaryKeyConstraint("visit"),
    _text("nonce", 32, 32),
)

#: ``visit`` is ``earlier``, which was supplied with an id, entered again for sharing. It has the same words
#: and corrects nothing. Follows from the nonce (``kb.store.content_id``), which SQL cannot compute.
reentered: Final = _table(
    "entered_anew",
    _visit(),
    sa.PrimaryKeyConstraint("visit"),
    _id("earlier"),
    sa.CheckConstraint("earlier <> visit", name="other"),
    sa.Index(None, "earlier"),
)

#: A note that a person has read and released for other books. ``jack`` is the place on the panel, from 0,
#: or NULL for the note of the visit itself. ``visit`` may not be here yet.
reviewed_note: Final = _table(
    "reviewed_note",
    _id("id", primary_key=True),
    _revision(),
    _id("visit"),
    _whole("jack", 0, JACKS - 1, nullable=True),
    _text("note", text.NOTE, 1),
    sa.Index(None, "visit"),
    sa.Index(None, "revision"),
)

# -- how facts came in ------------------------------------------------------------------------------

#: A writing that brought facts of another book; new facts have its revision. ``id`` is made from the bundle's
#: own data. So one file is always one bundle, with a row for each time that it brought something. ``name`` is
#: only shown.
bundle: Final = _table(
    "bundle",
    sa.Column(
        "revision", sa.BigInteger, sa.ForeignKey("writing.revision"), primary_key=True, autoincrement=False
    ),
    _id("id"),
    sa.Column("origin", sa.Text, nullable=False),
    sa.CheckConstraint(f"origin IN ({', '.join(repr(one) for one in ORIGINS)})", name="origin"),
    _text("book", 36),
    _text("name", text.LINE),
    _text("signed_by", text.LINE),
    _text("came_at", 20, 20),
    sa.Index(None, "id"),
)

#: A bundle was taken back; every second row restores it.
bundle_turn: Final = _table(
    "bundle_turn",
    sa.Column("bundle", sa.BigInteger, sa.ForeignKey("bundle.revision"), nullable=False),
    sa.Column("revision", sa.BigInteger, sa.ForeignKey("writing.revision"), nullable=False),
    sa.PrimaryKeyConstraint("bundle", "revision"),
    sa.Index(None, "revision"),
)

#: A known fact came once more with this writing, or was recorded here, too. Only for facts that had come with
#: a bundle: facts recorded here first stay anyway.
came_again: Final = _table(
    "came_again",
    _id("fact"),
    *_revision(),
    sa.PrimaryKeyConstraint("fact", "revision"),
    sa.Index(None, "revision"),
)

# -- what is private ------------------------------------------------------------------------------

#: The person, the job and the private words. ``fingerprint`` covers private text, so it is private too.
visit_private: Final = _table(
    "visit_private",
    _visit(),
    sa.PrimaryKeyConstraint("visit"),
    _fields(VISIT_PRIVATE),
    _text("fingerprint", 64, 64),
    _text("recorded_at", 20, 20),
    sa.Index(None, "fingerprint"),
)

#: Data stored as JSON with a visit: readings of the loop, and the fault that a repair confirmed. It may hold
#: the user's own words, such as names of places.
attached_private: Final = _table(
    "attached_private",
    _visit(),
    sa.Column("kind", _PLAIN, nullable=False),
    sa.CheckConstraint(f"kind IN ({', '.join(repr(one) for one in ATTACHED)})", name="kind"),
    sa.PrimaryKeyConstraint("visit", "kind"),
    _text("body", MOST_ATTACHED, 2),
)

finding_private: Final = _table(
    "finding_private",
    _place_on_panel(),
    sa.PrimaryKeyConstraint("visit", "seq"),
    # A row exists only if there is a value; with one field that is the field.
    _fields(FINDING_PRIVATE, least=1 if len(FINDING_PRIVATE) == 1 else 0),
)

#: A state of something private that changes: a job, or the stock of a van, by its ``kind`` and ``about``.
#: The greatest (turn, id) in force is the present state, so copies of a book that were continued separately
#: agree. ``body`` is JSON, as ``kb.domain.job`` declares it: a new field of a job needs no migration.
private_state: Final = _table(
    "private_state",
    _id("id", primary_key=True),
    _revision(),
    sa.Column("kind", _PLAIN, nullable=False),
    sa.CheckConstraint(f"kind IN ({', '.join(repr(one) for one in STATES)})", name="kind"),
    sa.Column("about", _PLAIN, nullable=False),
    sa.CheckConstraint(f"length(about) <= {SHORT + 20}", name="about"),
    _whole("turn", 1, TURNS),
    _text("body", MOST_ATTACHED, 2),
    _text("at", 20, 20),
    sa.Index(None, "kind", "about", "turn", "id"),
    sa.Index(None, "revision"),
)

#: The format of the book; Alembic writes it and names it so.
stamp: Final = sa.Table(
    "alembic_version",
    metadata,
    sa.Column("version_num", sa.String(32), nullable=False),
    sa.PrimaryKeyConstraint("version_num", name="alembic_version_pkc"),
)

#: Facts: rows that are written once. ``book`` has a rule of its own.
FACTS: Final = tuple(table.name for table in metadata.sorted_tables if table not in (book, stamp))
