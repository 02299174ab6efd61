"""Add what sharing needs: the nonce of each visit's id, and released notes.

Written out, not taken from ``kb.store.schema``: a migration stays as it was when the schema goes on.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from kb.store.triggers import kept

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None

PLAIN = sa.Text().with_variant(sa.Text(collation="C"), "postgresql")
FACTS = {"seal": ("visit",), "reviewed_note": ("id",)}


def identity(table: str, column: str) -> sa.CheckConstraint:
    dashes = " AND ".join(f"substr({column}, {at}, 1) = '-'" for at in (9, 14, 19, 24))
    return sa.CheckConstraint(
        f"length({column}) = 36 AND lower({column}) = {column} AND {dashes}",
        name=op.f(f"ck_{table}_{column}"),
    )


def upgrade() -> None:
    op.create_table(
        "seal",
        sa.Column("visit", PLAIN, nullable=False),
        sa.Column("nonce", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["visit"], ["visit.id"], name=op.f("fk_seal_visit")),
        sa.PrimaryKeyConstraint("visit", name=op.f("pk_seal")),
        sa.CheckConstraint("length(nonce) BETWEEN 32 AND 32", name=op.f("ck_seal_nonce")),
        sa.CheckConstraint("typeof(nonce) = 'text'", name=op.f("ck_seal_nonce_text")).ddl_if(
            dialect="sqlite"
        ),
    )
    op.create_table(
        "reviewed_note",
        sa.Column("id", PLAIN, nullable=False),
        sa.Column("revision", sa.BigInteger(), nullable=False),
        sa.Column("visit", PLAIN, nullable=False),
        sa.Column("jack", sa.Integer(), nullable=True),
        sa.Column("note", sa.Text(), nullable=False),
        identity("reviewed_note", "id"),
        identity("reviewed_note", "visit"),
        sa.CheckConstraint(
            "jack BETWEEN 0 AND 63 AND jack = CAST(jack AS INTEGER)", name=op.f("ck_reviewed_note_jack")
        ),
        sa.CheckConstraint("length(note) BETWEEN 1 AND 4000", name=op.f("ck_reviewed_note_note")),
        sa.CheckConstraint("typeof(note) = 'text'", name=op.f("ck_reviewed_note_note_text")).ddl_if(
            dialect="sqlite"
        ),
        sa.ForeignKeyConstraint(["revision"], ["writing.revision"], name=op.f("fk_reviewed_note_revision")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_reviewed_note")),
    )
    op.create_index(op.f("ix_reviewed_note_visit"), "reviewed_note", ["visit"])
    op.create_index(op.f("ix_reviewed_note_revision"), "reviewed_note", ["revision"])
    for guard in kept(op.get_bind().dialect.name, FACTS):
        op.get_bind().exec_driver_sql(guard)
