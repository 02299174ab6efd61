"""By which steps did the format of the book change? Run by ``kb.store.upgrade`` through Alembic."""
