"""Record what came in with which bundle, and allow more turns of a withdrawal.

What was entered again to be shared is told from a correction, too.

Written out, not taken from ``kb.store.schema``: a migration stays as it was when the schema goes on.
"""

from __future__ import annotations

import hashlib

import sqlalchemy as sa
from alembic import op

from kb.store.migrations.steps import change_rule
from kb.store.triggers import kept

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None

PLAIN = sa.Text().with_variant(sa.Text(collation="C"), "postgresql")
FACTS = {
    "bundle": ("revision",),
    "bundle_turn": ("bundle", "revision"),
    "came_again": ("fact", "revision"),
    "entered_anew": ("visit",),
}
VIEWS = {
    "taken": "SELECT bundle FROM bundle_turn GROUP BY bundle HAVING (count(*) & 1) = 1",
    "heard": "SELECT id, revision, fact, turn, stands FROM withdrawal"
    " WHERE revision NOT IN (SELECT bundle FROM taken) OR EXISTS (SELECT 1 FROM came_again"
    " WHERE came_again.fact = withdrawal.id AND came_again.revision NOT IN (SELECT bundle FROM taken))",
}


def identity(table: str, column: str) -> sa.CheckConstraint:
    dashes = " AND ".join(f"substr({column}, {at}, 1) = '-'" for at in (9, 14, 19, 24))
    return sa.CheckConstraint(
        f"length({column}) = 36 AND lower({column}) = {column} AND {dashes}",
        name=op.f(f"ck_{table}_{column}"),
    )


def text(table: str, column: str, least: int, most: int) -> list[sa.CheckConstraint]:
    return [
        sa.CheckConstraint(f"length({column}) BETWEEN {least} AND {most}", name=op.f(f"ck_{table}_{column}")),
        sa.CheckConstraint(f"typeof({column}) = 'text'", name=op.f(f"ck_{table}_{column}_text")).ddl_if(
            dialect="sqlite"
        ),
    ]


def upgrade() -> None:
    change_rule("withdrawal", "turn", "turn BETWEEN 1 AND 2147483647 AND turn = CAST(turn AS INTEGER)")
    op.drop_index(op.f("ix_withdrawal_fact"), "withdrawal")
    op.create_index(op.f("ix_withdrawal_fact_turn_id"), "withdrawal", ["fact", "turn", "id"])
    op.create_index(op.f("ix_alias_set_key"), "alias", ["set_key"])
    op.create_table(
        "bundle",
        sa.Column("revision", sa.BigInteger(), nullable=False, autoincrement=False),
        sa.Column("id", PLAIN, nullable=False),
        sa.Column("origin", sa.Text(), nullable=False),
        sa.Column("book", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("signed_by", sa.Text(), nullable=False),
        sa.Column("came_at", sa.Text(), nullable=False),
        identity("bundle", "id"),
        sa.CheckConstraint("origin IN ('bundle', 'book', 'dump')", name=op.f("ck_bundle_origin")),
        *text("bundle", "book", 0, 36),
        *text("bundle", "name", 0, 80),
        *text("bundle", "signed_by", 0, 80),
        *text("bundle", "came_at", 20, 20),
        sa.ForeignKeyConstraint(["revision"], ["writing.revision"], name=op.f("fk_bundle_revision")),
        sa.PrimaryKeyConstraint("revision", name=op.f("pk_bundle")),
    )
    op.create_index(op.f("ix_bundle_id"), "bundle", ["id"])
    op.create_table(
        "bundle_turn",
        sa.Column("bundle", sa.BigInteger(), nullable=False),
        sa.Column("revision", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(["bundle"], ["bundle.revision"], name=op.f("fk_bundle_turn_bundle")),
        sa.ForeignKeyConstraint(["revision"], ["writing.revision"], name=op.f("fk_bundle_turn_revision")),
        sa.PrimaryKeyConstraint("bundle", "revision", name=op.f("pk_bundle_turn")),
    )
    op.create_index(op.f("ix_bundle_turn_revision"), "bundle_turn", ["revision"])
    op.create_table(
        "came_again",
        sa.Column("fact", PLAIN, nullable=False),
        sa.Column("revision", sa.BigInteger(), nullable=False),
        identity("came_again", "fact"),
        sa.ForeignKeyConstraint(["revision"], ["writing.revision"], name=op.f("fk_came_again_revision")),
        sa.PrimaryKeyConstraint("fact", "revision", name=op.f("pk_came_again")),
    )
    op.create_index(op.f("ix_came_again_revision"), "came_again", ["revision"])
    op.create_table(
        "entered_anew",
        sa.Column("visit", PLAIN, nullable=False),
        sa.Column("earlier", PLAIN, nullable=False),
        identity("entered_anew", "earlier"),
        sa.CheckConstraint("earlier <> visit", name=op.f("ck_entered_anew_other")),
        sa.ForeignKeyConstraint(["visit"], ["visit.id"], name=op.f("fk_entered_anew_visit")),
        sa.PrimaryKeyConstraint("visit", name=op.f("pk_entered_anew")),
    )
    op.create_index(op.f("ix_entered_anew_earlier"), "entered_anew", ["earlier"])
    enter()
    for name, view in VIEWS.items():
        op.get_bind().exec_driver_sql(f"CREATE VIEW {name} AS {view}")
    for guard in kept(op.get_bind().dialect.name, FACTS):
        op.get_bind().exec_driver_sql(guard)


def enter() -> None:
    """Note which visits were entered again so far: their nonces tell."""
    bind = op.get_bind()
    asked = "SELECT later.visit, later.earlier, seal.nonce FROM supersession later JOIN seal USING (visit)"
    found = [
        {"visit": visit, "earlier": earlier}
        for visit, earlier, nonce in bind.exec_driver_sql(asked)
        if nonce == hashlib.sha256(f"jackfield {earlier}".encode()).hexdigest()[:32]
    ]
    if found:
        bind.execute(sa.text("INSERT INTO entered_anew (visit, earlier) VALUES (:visit, :earlier)"), found)
