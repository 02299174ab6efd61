"""Add the states of private things that change: jobs, and the stock of a van.

Written out, not taken from ``kb.store.schema``: a migration stays as it was when the schema goes on.
"""

from __future__ import annotations

import sqlalchemy as sa

from kb.store.migrations.steps import create, identity, keep_rows, plain, revision_of, text, whole

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None


def upgrade() -> None:
    private_state = create(
        "private_state",
        identity("id"),
        revision_of(),
        plain("kind", "kind IN ('job', 'van')"),
        plain("about", "length(about) <= 60"),
        whole("turn", 1, 2147483647),
        text("body", 2, 65536),
        text("at", 20, 20),
        sa.PrimaryKeyConstraint("id"),
        sa.Index(None, "kind", "about", "turn", "id"),
        sa.Index(None, "revision"),
    )
    keep_rows(private_state)
