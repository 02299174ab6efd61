"""Hold the migrations of the book's format; ``kb.store.upgrade`` runs them through Alembic."""
