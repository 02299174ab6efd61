"""Keep findings: write them to the book, read them, and upgrade old books.

    with Store.open(home / "book.sqlite") as store:
        done = store.record(visits)

Importing this package loads nothing: ``kb.store.revision`` must stay free of SQLAlchemy. The rest is loaded
on first use.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from kb.store.snapshot import Counts, Entry, Snapshot
    from kb.store.store import Recorded, RecordedVisit, Store

__all__ = ["Counts", "Entry", "Recorded", "RecordedVisit", "Snapshot", "Store"]


def __getattr__(name: str) -> Any:
    if name not in __all__:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from kb.store import snapshot, store

    return getattr(store if hasattr(store, name) else snapshot, name)
