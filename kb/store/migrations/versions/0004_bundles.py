"""Record what came in with which bundle, and allow more turns of a withdrawal.

What was entered again to be shared is told from a correction, too.

Written out, not taken from ``kb.store.schema``: a migration stays as it was when the schema goes on.
"""

from __future__ import annotations

import hashlib

import sqlalchemy as sa
from alembic import op

from kb.store.migrations.steps import change_rule, create, identity, keep_rows, of_visit, revision_of, text

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None

VIEWS = {
    "taken": "SELECT bundle FROM bundle_turn GROUP BY bundle HAVING (count(*) & 1) = 1",
    "heard": "SELECT id, revision, fact, turn, stands FROM withdrawal"
    " WHERE revision NOT IN (SELECT bundle FROM taken) OR EXISTS (SELECT 1 FROM came_again"
    " WHERE came_again.fact = withdrawal.id AND came_again.revision NOT IN (SELECT bundle FROM taken))",
}


def upgrade() -> None:
    change_rule("withdrawal", "turn", "turn BETWEEN 1 AND 2147483647 AND turn = CAST(turn AS INTEGER)")
    op.drop_index(op.f("ix_withdrawal_fact"), "withdrawal")
    op.create_index(op.f("ix_withdrawal_fact_turn_id"), "withdrawal", ["fact", "turn", "id"])
    op.create_index(op.f("ix_alias_set_key"), "alias", ["set_key"])
    bundle = create(
        "bundle",
        sa.Column(
            "revision",
            sa.BigInteger(),
            sa.ForeignKey("writing.revision"),
            primary_key=True,
            autoincrement=False,
        ),
        identity("id"),
        sa.Column("origin", sa.Text(), nullable=False),
        sa.CheckConstraint("origin IN ('bundle', 'book', 'dump')", name="origin"),
        text("book", 0, 36),
        text("name", 0, 80),
        text("signed_by", 0, 80),
        text("came_at", 20, 20),
        sa.Index(None, "id"),
    )
    bundle_turn = create(
        "bundle_turn",
        revision_of("bundle", "bundle"),
        revision_of(),
        sa.PrimaryKeyConstraint("bundle", "revision"),
        sa.Index(None, "revision"),
    )
    came_again = create(
        "came_again",
        identity("fact"),
        revision_of(),
        sa.PrimaryKeyConstraint("fact", "revision"),
        sa.Index(None, "revision"),
    )
    entered_anew = create(
        "entered_anew",
        of_visit(),
        identity("earlier"),
        sa.CheckConstraint("earlier <> visit", name="other"),
        sa.PrimaryKeyConstraint("visit"),
        sa.Index(None, "earlier"),
    )
    enter()
    for name, view in VIEWS.items():
        op.get_bind().exec_driver_sql(f"CREATE VIEW {name} AS {view}")
    keep_rows(bundle, bundle_turn, came_again, entered_anew)


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
