"""Make the first format of the book.

Written out, not taken from ``kb.store.schema``: a migration stays as it was when the schema goes on.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from kb.store.triggers import guards

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

PLAIN = sa.Text().with_variant(sa.Text(collation="C"), "postgresql")
FACTS = {
    "writing": ("revision",),
    "alias": ("id",),
    "visit": ("id",),
    "withdrawal": ("id",),
    "driver_input": ("visit", "seq"),
    "finding": ("visit", "seq"),
    "supersession": ("visit", "seq"),
    "visit_private": ("visit",),
    "finding_item": ("visit", "seq", "place"),
    "finding_private": ("visit", "seq"),
}


def identity(table: str, column: str) -> sa.CheckConstraint:
    dashes = " AND ".join(f"substr({column}, {at}, 1) = '-'" for at in (9, 14, 19, 24))
    return sa.CheckConstraint(
        f"length({column}) = 36 AND lower({column}) = {column} AND {dashes}",
        name=op.f(f"ck_{table}_{column}"),
    )


def words(table: str, column: str, values: str) -> sa.CheckConstraint:
    listed = ", ".join(f"'{value}'" for value in values.split())
    return sa.CheckConstraint(f"{column} IN ({listed})", name=op.f(f"ck_{table}_{column}"))


def upgrade() -> None:
    tables()
    for guard in guards(op.get_bind().dialect.name, FACTS):
        op.execute(sa.text(guard.replace(":", "\\:")))


def tables() -> None:
    op.create_table(
        "book",
        sa.Column("one", sa.Integer(), nullable=False),
        sa.Column("id", PLAIN, nullable=False),
        sa.Column("revision", sa.BigInteger(), nullable=False),
        sa.Column("mark", PLAIN, nullable=False),
        sa.Column("made_with", sa.Text(), nullable=False),
        identity("book", "id"),
        identity("book", "mark"),
        sa.CheckConstraint("typeof(made_with) = 'text'", name=op.f("ck_book_made_with_text")).ddl_if(
            dialect="sqlite"
        ),
        sa.CheckConstraint("length(made_with) BETWEEN 1 AND 40", name=op.f("ck_book_made_with")),
        sa.CheckConstraint("one BETWEEN 1 AND 1 AND one = CAST(one AS INTEGER)", name=op.f("ck_book_one")),
        sa.CheckConstraint("revision BETWEEN 0 AND 9007199254740992", name=op.f("ck_book_revision")),
        sa.PrimaryKeyConstraint("one", name=op.f("pk_book")),
    )
    op.create_table(
        "writing",
        sa.Column("revision", sa.BigInteger(), autoincrement=False, nullable=False),
        sa.Column("mark", PLAIN, nullable=False),
        identity("writing", "mark"),
        sa.CheckConstraint("revision BETWEEN 1 AND 9007199254740992", name=op.f("ck_writing_revision")),
        sa.PrimaryKeyConstraint("revision", name=op.f("pk_writing")),
    )
    op.create_table(
        "alias",
        sa.Column("id", PLAIN, nullable=False),
        sa.Column("revision", sa.BigInteger(), nullable=False),
        sa.Column("set_key", PLAIN, nullable=False),
        sa.Column("same_as", PLAIN, nullable=False),
        identity("alias", "id"),
        sa.CheckConstraint("length(same_as) BETWEEN 3 AND 500", name=op.f("ck_alias_same_as")),
        sa.CheckConstraint("length(set_key) BETWEEN 3 AND 500", name=op.f("ck_alias_set_key")),
        sa.CheckConstraint("same_as <> set_key", name=op.f("ck_alias_other")),
        sa.ForeignKeyConstraint(["revision"], ["writing.revision"], name=op.f("fk_alias_revision")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_alias")),
    )
    op.create_index(op.f("ix_alias_revision"), "alias", ["revision"], unique=False)
    op.create_table(
        "visit",
        sa.Column("id", PLAIN, nullable=False),
        sa.Column("revision", sa.BigInteger(), nullable=False),
        sa.Column("date", sa.Date(), nullable=False),
        sa.Column("basis", sa.Text(), nullable=False),
        sa.Column("make", sa.Text(), nullable=False),
        sa.Column("model", sa.Text(), nullable=False),
        sa.Column("set_key", PLAIN, nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("display", sa.Text(), nullable=True),
        sa.Column("year", sa.Integer(), nullable=True),
        sa.Column("size_in", sa.Double(), nullable=True),
        sa.Column("driver", sa.Boolean(), nullable=False),
        words("visit", "basis", "tested seen manual told"),
        sa.CheckConstraint("date >= '1970-01-01'", name=op.f("ck_visit_date")),
        sa.CheckConstraint("date IS date(date, '+0 days')", name=op.f("ck_visit_calendar")).ddl_if(
            dialect="sqlite"
        ),
        words("visit", "display", "flat tube projector"),
        words("visit", "kind", "television set-top-box receiver soundbar player computer other"),
        identity("visit", "id"),
        sa.CheckConstraint("typeof(make) = 'text'", name=op.f("ck_visit_make_text")).ddl_if(dialect="sqlite"),
        sa.CheckConstraint("typeof(model) = 'text'", name=op.f("ck_visit_model_text")).ddl_if(
            dialect="sqlite"
        ),
        sa.CheckConstraint("driver IN (0, 1)", name=op.f("ck_visit_driver")).ddl_if(dialect="sqlite"),
        sa.CheckConstraint("length(make) BETWEEN 1 AND 80", name=op.f("ck_visit_make")),
        sa.CheckConstraint("length(model) BETWEEN 1 AND 80", name=op.f("ck_visit_model")),
        sa.CheckConstraint("length(set_key) BETWEEN 3 AND 500", name=op.f("ck_visit_set_key")),
        sa.CheckConstraint("size_in BETWEEN 1.0 AND 200.0", name=op.f("ck_visit_size_in")),
        sa.CheckConstraint(
            "year BETWEEN 1930 AND 2200 AND year = CAST(year AS INTEGER)", name=op.f("ck_visit_year")
        ),
        sa.ForeignKeyConstraint(["revision"], ["writing.revision"], name=op.f("fk_visit_revision")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_visit")),
    )
    op.create_index(op.f("ix_visit_revision"), "visit", ["revision"], unique=False)
    op.create_index(op.f("ix_visit_set_key_revision"), "visit", ["set_key", "revision"], unique=False)
    op.create_table(
        "withdrawal",
        sa.Column("id", PLAIN, nullable=False),
        sa.Column("revision", sa.BigInteger(), nullable=False),
        sa.Column("fact", PLAIN, nullable=False),
        sa.Column("turn", sa.Integer(), nullable=False),
        sa.Column("stands", sa.Boolean(), nullable=False),
        identity("withdrawal", "fact"),
        identity("withdrawal", "id"),
        sa.CheckConstraint("stands IN (0, 1)", name=op.f("ck_withdrawal_stands")).ddl_if(dialect="sqlite"),
        sa.CheckConstraint(
            "turn BETWEEN 1 AND 1000000 AND turn = CAST(turn AS INTEGER)", name=op.f("ck_withdrawal_turn")
        ),
        sa.ForeignKeyConstraint(["revision"], ["writing.revision"], name=op.f("fk_withdrawal_revision")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_withdrawal")),
    )
    op.create_index(op.f("ix_withdrawal_fact"), "withdrawal", ["fact"], unique=False)
    op.create_index(op.f("ix_withdrawal_revision"), "withdrawal", ["revision"], unique=False)
    op.create_table(
        "driver_input",
        sa.Column("visit", PLAIN, nullable=False),
        sa.Column("seq", sa.Integer(), nullable=False),
        sa.Column("input", sa.Text(), nullable=False),
        words("driver_input", "input", "line-3.5 line-rca optical coaxial mic"),
        sa.CheckConstraint(
            "seq BETWEEN 0 AND 4 AND seq = CAST(seq AS INTEGER)", name=op.f("ck_driver_input_seq")
        ),
        sa.ForeignKeyConstraint(["visit"], ["visit.id"], name=op.f("fk_driver_input_visit")),
        sa.PrimaryKeyConstraint("visit", "seq", name=op.f("pk_driver_input")),
        sa.UniqueConstraint("visit", "input", name=op.f("uq_driver_input_visit_input")),
    )
    op.create_table(
        "finding",
        sa.Column("visit", PLAIN, nullable=False),
        sa.Column("seq", sa.Integer(), nullable=False),
        sa.Column("form", sa.Text(), nullable=False),
        sa.Column("marking", sa.Text(), nullable=False),
        sa.Column("colour", sa.Text(), nullable=True),
        sa.Column("direction", sa.Text(), nullable=False),
        sa.Column("signal", sa.Text(), nullable=True),
        sa.Column("level", sa.Text(), nullable=False),
        sa.Column("format", sa.Text(), nullable=False),
        sa.Column("speakers", sa.Text(), nullable=False),
        sa.Column("taken", sa.Boolean(), nullable=True),
        sa.Column("outcome", sa.Text(), nullable=False),
        sa.Column("input", sa.Text(), nullable=True),
        sa.Column("setting", sa.Text(), nullable=False),
        sa.Column("inferred_direction", sa.Boolean(), nullable=False),
        sa.Column("inferred_signal", sa.Boolean(), nullable=False),
        sa.Column("inferred_level", sa.Boolean(), nullable=False),
        words("finding", "colour", "red white black yellow orange purple green blue grey brown tan"),
        words("finding", "direction", "output input unclear"),
        words(
            "finding",
            "form",
            "rca-pair rca-single toslink mini-toslink jack-3.5 jack-6.35 hdmi scart din-5 speaker-terminals "
            "bluetooth d-sub usb antenna other",
        ),
        words("finding", "format", "pcm bitstream selectable unknown"),
        words("finding", "input", "line-3.5 line-rca optical coaxial mic"),
        words("finding", "level", "fixed variable selectable unknown"),
        words("finding", "outcome", "carried weak silent hum distorted delayed not-tried"),
        words(
            "finding",
            "signal",
            "analog-line headphone optical coaxial arc earc speaker-level wireless acoustic not-audio",
        ),
        words("finding", "speakers", "stay-on mute mute-unless-set unknown"),
        sa.CheckConstraint("typeof(marking) = 'text'", name=op.f("ck_finding_marking_text")).ddl_if(
            dialect="sqlite"
        ),
        sa.CheckConstraint("typeof(setting) = 'text'", name=op.f("ck_finding_setting_text")).ddl_if(
            dialect="sqlite"
        ),
        sa.CheckConstraint("inferred_direction IN (0, 1)", name=op.f("ck_finding_inferred_direction")).ddl_if(
            dialect="sqlite"
        ),
        sa.CheckConstraint("inferred_level IN (0, 1)", name=op.f("ck_finding_inferred_level")).ddl_if(
            dialect="sqlite"
        ),
        sa.CheckConstraint("inferred_signal IN (0, 1)", name=op.f("ck_finding_inferred_signal")).ddl_if(
            dialect="sqlite"
        ),
        sa.CheckConstraint("length(marking) BETWEEN 0 AND 80", name=op.f("ck_finding_marking")),
        sa.CheckConstraint("length(setting) BETWEEN 0 AND 300", name=op.f("ck_finding_setting")),
        sa.CheckConstraint(
            "seq BETWEEN 0 AND 63 AND seq = CAST(seq AS INTEGER)", name=op.f("ck_finding_seq")
        ),
        sa.CheckConstraint("taken IN (0, 1)", name=op.f("ck_finding_taken")).ddl_if(dialect="sqlite"),
        sa.ForeignKeyConstraint(["visit"], ["visit.id"], name=op.f("fk_finding_visit")),
        sa.PrimaryKeyConstraint("visit", "seq", name=op.f("pk_finding")),
    )
    op.create_table(
        "supersession",
        sa.Column("visit", PLAIN, nullable=False),
        sa.Column("seq", sa.Integer(), nullable=False),
        sa.Column("earlier", PLAIN, nullable=False),
        identity("supersession", "earlier"),
        sa.CheckConstraint("earlier <> visit", name=op.f("ck_supersession_other")),
        sa.CheckConstraint(
            "seq BETWEEN 0 AND 63 AND seq = CAST(seq AS INTEGER)", name=op.f("ck_supersession_seq")
        ),
        sa.ForeignKeyConstraint(["visit"], ["visit.id"], name=op.f("fk_supersession_visit")),
        sa.PrimaryKeyConstraint("visit", "seq", name=op.f("pk_supersession")),
        sa.UniqueConstraint("visit", "earlier", name=op.f("uq_supersession_visit_earlier")),
    )
    op.create_index(op.f("ix_supersession_earlier"), "supersession", ["earlier"], unique=False)
    op.create_table(
        "visit_private",
        sa.Column("visit", PLAIN, nullable=False),
        sa.Column("person", sa.Text(), nullable=False),
        sa.Column("job", sa.Text(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("driver_name", sa.Text(), nullable=False),
        sa.Column("fingerprint", sa.Text(), nullable=False),
        sa.Column("recorded_at", sa.Text(), nullable=False),
        sa.CheckConstraint(
            "typeof(driver_name) = 'text'", name=op.f("ck_visit_private_driver_name_text")
        ).ddl_if(dialect="sqlite"),
        sa.CheckConstraint(
            "typeof(fingerprint) = 'text'", name=op.f("ck_visit_private_fingerprint_text")
        ).ddl_if(dialect="sqlite"),
        sa.CheckConstraint("typeof(job) = 'text'", name=op.f("ck_visit_private_job_text")).ddl_if(
            dialect="sqlite"
        ),
        sa.CheckConstraint("typeof(note) = 'text'", name=op.f("ck_visit_private_note_text")).ddl_if(
            dialect="sqlite"
        ),
        sa.CheckConstraint("typeof(person) = 'text'", name=op.f("ck_visit_private_person_text")).ddl_if(
            dialect="sqlite"
        ),
        sa.CheckConstraint(
            "typeof(recorded_at) = 'text'", name=op.f("ck_visit_private_recorded_at_text")
        ).ddl_if(dialect="sqlite"),
        sa.CheckConstraint("length(driver_name) BETWEEN 0 AND 80", name=op.f("ck_visit_private_driver_name")),
        sa.CheckConstraint(
            "length(fingerprint) BETWEEN 64 AND 64", name=op.f("ck_visit_private_fingerprint")
        ),
        sa.CheckConstraint("length(job) BETWEEN 0 AND 80", name=op.f("ck_visit_private_job")),
        sa.CheckConstraint("length(note) BETWEEN 0 AND 4000", name=op.f("ck_visit_private_note")),
        sa.CheckConstraint("length(person) BETWEEN 0 AND 40", name=op.f("ck_visit_private_person")),
        sa.CheckConstraint(
            "length(recorded_at) BETWEEN 20 AND 20", name=op.f("ck_visit_private_recorded_at")
        ),
        sa.ForeignKeyConstraint(["visit"], ["visit.id"], name=op.f("fk_visit_private_visit")),
        sa.PrimaryKeyConstraint("visit", name=op.f("pk_visit_private")),
    )
    op.create_index(op.f("ix_visit_private_fingerprint"), "visit_private", ["fingerprint"], unique=False)
    op.create_table(
        "finding_item",
        sa.Column("visit", PLAIN, nullable=False),
        sa.Column("seq", sa.Integer(), nullable=False),
        sa.Column("place", sa.Integer(), nullable=False),
        sa.Column("item", sa.Text(), nullable=False),
        sa.CheckConstraint("typeof(item) = 'text'", name=op.f("ck_finding_item_item_text")).ddl_if(
            dialect="sqlite"
        ),
        sa.CheckConstraint("length(item) BETWEEN 1 AND 80", name=op.f("ck_finding_item_item")),
        sa.CheckConstraint(
            "place BETWEEN 0 AND 15 AND place = CAST(place AS INTEGER)", name=op.f("ck_finding_item_place")
        ),
        sa.ForeignKeyConstraint(
            ["visit", "seq"], ["finding.visit", "finding.seq"], name=op.f("fk_finding_item_visit_seq")
        ),
        sa.PrimaryKeyConstraint("visit", "seq", "place", name=op.f("pk_finding_item")),
    )
    op.create_table(
        "finding_private",
        sa.Column("visit", PLAIN, nullable=False),
        sa.Column("seq", sa.Integer(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.CheckConstraint("typeof(note) = 'text'", name=op.f("ck_finding_private_note_text")).ddl_if(
            dialect="sqlite"
        ),
        sa.CheckConstraint("length(note) BETWEEN 1 AND 4000", name=op.f("ck_finding_private_note")),
        sa.ForeignKeyConstraint(
            ["visit", "seq"], ["finding.visit", "finding.seq"], name=op.f("fk_finding_private_visit_seq")
        ),
        sa.PrimaryKeyConstraint("visit", "seq", name=op.f("pk_finding_private")),
    )
