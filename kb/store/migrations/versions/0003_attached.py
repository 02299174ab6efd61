"""Add what goes with a visit as JSON: loop readings, and the fault that mending confirmed.

Written out, not taken from ``kb.store.schema``: a migration stays as it was when the schema goes on.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from kb.store.triggers import kept

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None

PLAIN = sa.Text().with_variant(sa.Text(collation="C"), "postgresql")
NAME = "attached_private"


def upgrade() -> None:
    op.create_table(
        NAME,
        sa.Column("visit", PLAIN, nullable=False),
        sa.Column("kind", PLAIN, nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["visit"], ["visit.id"], name=op.f(f"fk_{NAME}_visit")),
        sa.CheckConstraint("kind IN ('readings', 'case')", name=op.f(f"ck_{NAME}_kind")),
        sa.PrimaryKeyConstraint("visit", "kind", name=op.f(f"pk_{NAME}")),
        sa.CheckConstraint("length(body) BETWEEN 2 AND 65536", name=op.f(f"ck_{NAME}_body")),
        sa.CheckConstraint("typeof(body) = 'text'", name=op.f(f"ck_{NAME}_body_text")).ddl_if(
            dialect="sqlite"
        ),
    )
    for guard in kept(op.get_bind().dialect.name, {NAME: ("visit", "kind")}):
        op.get_bind().exec_driver_sql(guard)
