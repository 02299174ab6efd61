"""Let many phones read one book at the same time.

A ``Book`` is not for several threads at once, so every thread of the server has one of its own, as if it were
a process of its own. Those that write go one by one: SQLite has one writer anyway, and who waits here in line
is served in order instead of trying again and again. What the book has learned from all findings is large: it
is read once for all threads, and only one of them learns again. Nobody waits for that if something was
learned before: a set that changed since is shown with its own findings, as always.

Another program may put another file in the place of the book (``restore``, where the old one cannot be read):
each request looks whether it is the file that was opened, and what was saved into one that is no longer the
book is not acknowledged.
"""

from __future__ import annotations

import os
import threading
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from kb.base.errors import BookTrouble, JackfieldError
from kb.base.messages import Said
from kb.book import Book, derived
from kb.book.learned_evidence import Learned
from kb.settings import BOOK, FILE

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from kb.domain.visit import Visit
    from kb.store import Recorded, Store

T = TypeVar("T")


class Books:
    """The book in ``home`` (or at the URL ``store``) for any number of threads."""

    def __init__(self, home: Path, store: str | None = None) -> None:
        self.home = home
        self._url = store
        self._here = threading.local()
        self._writing = threading.Lock()
        self._beside = threading.Lock()
        self.learned = Learned(derived(home, store), beside=self._learn_beside)

    def here(self) -> Book:
        """This thread's book, opened at its first use; again when settings, book or index are other files."""
        stamp = self._stamp()
        book: Book | None = getattr(self._here, "book", None)
        if book is not None and self._here.stamp != stamp:
            book.close()
            book = None
        if book is None:
            book = Book.open(self.home, store=self._url, learned=self.learned)
            self._here.book, self._here.stamp = book, stamp
        return book

    def record(self, visits: Sequence[Visit]) -> Recorded:
        """As ``Book.record``; one at a time."""
        with self._writing:
            book = self.here()
            before = self._file()
            done = book.record(visits)
            # A book that was not there is made by recording.
            if before is not None and self._file() != before:
                self.close()
                raise BookTrouble(Said("web/trouble/replaced"))
            return done

    def change(self, work: Callable[[Store], T]) -> T:
        """As ``Book.change``; one at a time."""
        with self._writing:
            return self.here().change(work)

    def _learn_beside(self, learned: Learned) -> None:
        """Learn in a thread and with a book of its own, unless another thread is learning."""
        if not self._beside.acquire(blocking=False):
            return

        def learn() -> None:
            try:
                with Book.open(self.home, store=self._url) as book, suppress(JackfieldError):
                    learned.learn(book.store)
            finally:
                self._beside.release()

        threading.Thread(target=learn, daemon=True).start()

    def close(self) -> None:
        """Close this thread's book."""
        book: Book | None = self._here.__dict__.pop("book", None)
        if book is not None:
            book.close()

    def _stamp(self) -> tuple[object, ...]:
        settings = _stat(self.home / FILE)
        index = _stat(derived(self.home, self._url))
        return (settings and settings.st_mtime_ns, self._file(), index and index.st_ino)

    def _file(self) -> tuple[int, int] | None:
        """The file of the user's own book; None if there is none."""
        found = _stat(self.home / BOOK) if self._url is None else None
        return (found.st_dev, found.st_ino) if found else None


def _stat(path: Path) -> os.stat_result | None:
    try:
        return path.stat()
    except OSError:
        return None
