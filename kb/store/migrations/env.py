"""Run the migrations in the transaction that ``kb.store.upgrade`` has opened."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import context

from kb.store.schema import metadata

if __name__ == "env_py":  # the name by which Alembic runs this file; anybody else only looks at it
    context.configure(
        connection=context.config.attributes["connection"],
        render_as_batch=True,
        target_metadata=sa.MetaData(naming_convention=metadata.naming_convention),
    )
    with context.begin_transaction():
        context.run_migrations()
