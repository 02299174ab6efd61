"""Let a book hold connector forms and driver inputs that are declared later.

Written out, not taken from ``kb.store.schema``: a migration stays as it was when the schema goes on.
"""

from __future__ import annotations

from kb.store.migrations.steps import change_rule

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None


def upgrade() -> None:
    for table, column in (("finding", "form"), ("finding", "input"), ("driver_input", "input")):
        change_rule(table, column, f"{column} <> '' AND {column} = substr({column}, 1, 40)")
    change_rule("driver_input", "seq", "seq BETWEEN 0 AND 99 AND seq = CAST(seq AS INTEGER)")
