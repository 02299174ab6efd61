"""Add what sharing needs: the nonce of each visit's id, and released notes.

Written out, not taken from ``kb.store.schema``: a migration stays as it was when the schema goes on.
"""

from __future__ import annotations

import sqlalchemy as sa

from kb.store.migrations.steps import create, identity, keep_rows, of_visit, revision_of, text, whole

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    seal = create("seal", of_visit(), text("nonce", 32, 32), sa.PrimaryKeyConstraint("visit"))
    reviewed_note = create(
        "reviewed_note",
        identity("id"),
        revision_of(),
        identity("visit"),
        whole("jack", 0, 63, nullable=True),
        text("note", 1, 4000),
        sa.PrimaryKeyConstraint("id"),
        sa.Index(None, "visit"),
        sa.Index(None, "revision"),
    )
    keep_rows(seal, reviewed_note)
