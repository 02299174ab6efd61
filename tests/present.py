"""Ask a book how it stands now, as one question after another."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from kb.store import Store


class Present:
    """Each call of a ``Snapshot`` of the store, in a snapshot of its own; what it yields is read at once."""

    def __init__(self, store: Store) -> None:
        self._store = store

    def __getattr__(self, name: str) -> Any:
        def ask(*given: Any, **named: Any) -> Any:
            with self._store.snapshot() as now:
                found = getattr(now, name)(*given, **named)
                return list(found) if isinstance(found, Iterator) else found

        return ask
