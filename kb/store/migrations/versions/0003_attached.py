"""Add what goes with a visit as JSON: loop readings, and the fault that mending confirmed.

Written out, not taken from ``kb.store.schema``: a migration stays as it was when the schema goes on.
"""

from __future__ import annotations

import sqlalchemy as sa

from kb.store.migrations.steps import create, keep_rows, of_visit, plain, text

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    attached_private = create(
        "attached_private",
        of_visit(),
        plain("kind", "kind IN ('readings', 'case')"),
        text("body", 2, 65536),
        sa.PrimaryKeyConstraint("visit", "kind"),
    )
    keep_rows(attached_private)
