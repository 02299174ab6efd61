"""Add the states of private things that change: jobs, and the stock of a van.

Written out, not taken from ``kb.store.schema``: a migration stays as it was when the schema goes on.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from kb.store.triggers import kept

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None

PLAIN = sa.Text().with_variant(sa.Text(collation="C"), "postgresql")
NAME = "private_state"


def rule(name: str, said: str) -> sa.CheckConstraint:
    return sa.CheckConstraint(said, name=op.f(f"ck_{NAME}_{name}"))


def text(column: str, least: int, most: int) -> list[sa.CheckConstraint]:
    return [
        rule(column, f"length({column}) BETWEEN {least} AND {most}"),
        rule(f"{column}_text", f"typeof({column}) = 'text'").ddl_if(dialect="sqlite"),
    ]


def upgrade() -> None:
    dashes = " AND ".join(f"substr(id, {at}, 1) = '-'" for at in (9, 14, 19, 24))
    op.create_table(
        NAME,
        sa.Column("id", PLAIN, nullable=False),
        sa.Column("revision", sa.BigInteger(), nullable=False),
        sa.Column("kind", PLAIN, nullable=False),
        sa.Column("about", PLAIN, nullable=False),
        sa.Column("turn", sa.Integer(), nullable=False),
        sa.Column("body", sa.Text(), nullable=False),
        sa.Column("at", sa.Text(), nullable=False),
        rule("id", f"length(id) = 36 AND lower(id) = id AND {dashes}"),
        rule("kind", "kind IN ('job', 'van')"),
        rule("about", "length(about) <= 60"),
        rule("turn", "turn BETWEEN 1 AND 2147483647 AND turn = CAST(turn AS INTEGER)"),
        *text("body", 2, 65536),
        *text("at", 20, 20),
        sa.ForeignKeyConstraint(["revision"], ["writing.revision"], name=op.f(f"fk_{NAME}_revision")),
        sa.PrimaryKeyConstraint("id", name=op.f(f"pk_{NAME}")),
    )
    op.create_index(op.f(f"ix_{NAME}_kind_about_turn_id"), NAME, ["kind", "about", "turn", "id"])
    op.create_index(op.f(f"ix_{NAME}_revision"), NAME, ["revision"])
    for guard in kept(op.get_bind().dialect.name, {NAME: ("id",)}):
        op.get_bind().exec_driver_sql(guard)
