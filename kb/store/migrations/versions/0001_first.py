"""Make the first format of the book.

Written out, not taken from ``kb.store.schema``: a migration stays as it was when the schema goes on.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from kb.store.migrations.steps import (
    PLAIN,
    Items,
    create,
    flag,
    identity,
    of_visit,
    plain,
    revision_of,
    text,
    whole,
    words,
)
from kb.store.triggers import guards

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

INPUTS = "line-3.5 line-rca optical coaxial mic"
KEY = "length({}) BETWEEN 3 AND 500"
REVISION = "revision BETWEEN {} AND 9007199254740992"


def upgrade() -> None:
    keys = {table.name: [column.name for column in table.primary_key] for table in tables()}
    for guard in guards(op.get_bind().dialect.name, keys):
        op.execute(sa.text(guard.replace(":", "\\:")))


def tables() -> list[sa.Table]:
    """Make all tables; return those whose rows are facts."""
    create(
        "book",
        whole("one", 1, 1),
        identity("id"),
        sa.Column("revision", sa.BigInteger(), nullable=False),
        identity("mark"),
        text("made_with", 1, 40),
        sa.CheckConstraint(REVISION.format(0), name="revision"),
        sa.PrimaryKeyConstraint("one"),
    )
    writing = create(
        "writing",
        sa.Column("revision", sa.BigInteger(), primary_key=True, autoincrement=False),
        identity("mark"),
        sa.CheckConstraint(REVISION.format(1), name="revision"),
    )
    alias = create(
        "alias",
        identity("id"),
        revision_of(),
        plain("set_key", KEY.format("set_key")),
        plain("same_as", KEY.format("same_as")),
        sa.CheckConstraint("same_as <> set_key", name="other"),
        sa.PrimaryKeyConstraint("id"),
        sa.Index(None, "revision"),
    )
    visit = create(
        "visit",
        identity("id"),
        revision_of(),
        sa.Column("date", sa.Date(), nullable=False),
        words("basis", "tested seen manual told"),
        text("make", 1, 80),
        text("model", 1, 80),
        plain("set_key", KEY.format("set_key")),
        words("kind", "television set-top-box receiver soundbar player computer other"),
        words("display", "flat tube projector", nullable=True),
        whole("year", 1930, 2200, nullable=True),
        sa.Column("size_in", sa.Double(), nullable=True),
        flag("driver"),
        sa.CheckConstraint("date >= '1970-01-01'", name="date"),
        sa.CheckConstraint("date IS date(date, '+0 days')", name="calendar").ddl_if(dialect="sqlite"),
        sa.CheckConstraint("size_in BETWEEN 1.0 AND 200.0", name="size_in"),
        sa.PrimaryKeyConstraint("id"),
        sa.Index(None, "revision"),
        sa.Index(None, "set_key", "revision"),
    )
    withdrawal = create(
        "withdrawal",
        identity("id"),
        revision_of(),
        identity("fact"),
        whole("turn", 1, 1_000_000),
        flag("stands"),
        sa.PrimaryKeyConstraint("id"),
        sa.Index(None, "fact"),
        sa.Index(None, "revision"),
    )
    driver_input = create(
        "driver_input",
        of_visit(),
        whole("seq", 0, 4),
        words("input", INPUTS),
        sa.PrimaryKeyConstraint("visit", "seq"),
        sa.UniqueConstraint("visit", "input"),
    )
    finding = create(
        "finding",
        of_visit(),
        whole("seq", 0, 63),
        words(
            "form",
            "rca-pair rca-single toslink mini-toslink jack-3.5 jack-6.35 hdmi scart din-5 speaker-terminals "
            "bluetooth d-sub usb antenna other",
        ),
        text("marking", 0, 80),
        words("colour", "red white black yellow orange purple green blue grey brown tan", nullable=True),
        words("direction", "output input unclear"),
        words(
            "signal",
            "analog-line headphone optical coaxial arc earc speaker-level wireless acoustic not-audio",
            nullable=True,
        ),
        words("level", "fixed variable selectable unknown"),
        words("format", "pcm bitstream selectable unknown"),
        words("speakers", "stay-on mute mute-unless-set unknown"),
        flag("taken", nullable=True),
        words("outcome", "carried weak silent hum distorted delayed not-tried"),
        words("input", INPUTS, nullable=True),
        text("setting", 0, 300),
        flag("inferred_direction"),
        flag("inferred_signal"),
        flag("inferred_level"),
        sa.PrimaryKeyConstraint("visit", "seq"),
    )
    supersession = create(
        "supersession",
        of_visit(),
        whole("seq", 0, 63),
        identity("earlier"),
        sa.CheckConstraint("earlier <> visit", name="other"),
        sa.PrimaryKeyConstraint("visit", "seq"),
        sa.UniqueConstraint("visit", "earlier"),
        sa.Index(None, "earlier"),
    )
    visit_private = create(
        "visit_private",
        of_visit(),
        text("person", 0, 40),
        text("job", 0, 80),
        text("note", 0, 4000),
        text("driver_name", 0, 80),
        text("fingerprint", 64, 64),
        text("recorded_at", 20, 20),
        sa.PrimaryKeyConstraint("visit"),
        sa.Index(None, "fingerprint"),
    )
    finding_item = create(
        "finding_item",
        of_finding(),
        whole("place", 0, 15),
        text("item", 1, 80),
        sa.PrimaryKeyConstraint("visit", "seq", "place"),
    )
    finding_private = create(
        "finding_private",
        of_finding(),
        text("note", 1, 4000),
        sa.PrimaryKeyConstraint("visit", "seq"),
    )
    of_visits = [driver_input, finding, supersession, visit_private, finding_item, finding_private]
    return [writing, alias, visit, withdrawal, *of_visits]


def of_finding() -> Items:
    """Return the columns that point at one finding."""
    return [
        sa.Column("visit", PLAIN, nullable=False),
        sa.Column("seq", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["visit", "seq"], ["finding.visit", "finding.seq"]),
    ]
