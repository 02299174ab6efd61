"""How do many phones read one book at once?

A ``Book`` is not for several threads at once, so every thread of the server has one of its own, as if it were
a process of its own. Those that write go one by one: SQLite has one writer anyway, and who waits here in line
is served in order instead of trying again and again.
"""

from __future__ import annotations

import threading
from pathlib import Path
from typing import TYPE_CHECKING

from kb.book import Book
from kb.settings import FILE

if TYPE_CHECKING:
    from collections.abc import Sequence

    from kb.store import Recorded
    from kb.visit import Visit


class Books:
    """The book in ``home`` (or at the URL ``store``) for any number of threads."""

    def __init__(self, home: Path, store: str | None = None) -> None:
        self.home = home
        self._url = store
        self._here = threading.local()
        self._writing = threading.Lock()

    def here(self) -> Book:
        """This thread's book, opened at its first use; made anew when the settings have changed."""
        stamp = self._stamp()
        book: Book | None = getattr(self._here, "book", None)
        if book is not None and self._here.stamp != stamp:
            book.close()
            book = None
        if book is None:
            book = Book.open(self.home, store=self._url)
            self._here.book, self._here.stamp = book, stamp
        return book

    def record(self, visits: Sequence[Visit]) -> Recorded:
        """As ``Book.record``; one at a time."""
        with self._writing:
            return self.here().record(visits)

    def close(self) -> None:
        """Close this thread's book."""
        book: Book | None = self._here.__dict__.pop("book", None)
        if book is not None:
            book.close()

    def _stamp(self) -> int:
        try:
            return (self.home / FILE).stat().st_mtime_ns
        except OSError:
            return 0
