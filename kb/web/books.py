"""How do many phones read one book at once?

A ``Book`` is not for several threads at once, so every thread of the server has one of its own, as if it were
a process of its own. Those that write go one by one: SQLite has one writer anyway, and who waits here in line
is served in order instead of trying again and again. What the book has learned from all findings is large: it
is read once for all threads, and only one of them learns anew.
"""

from __future__ import annotations

import threading
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, TypeAlias

from kb.book import Book
from kb.errors import JackfieldError
from kb.settings import FILE

if TYPE_CHECKING:
    from collections.abc import Sequence

    from kb.evidence import Evidence
    from kb.store import Recorded
    from kb.store.peek import Standing
    from kb.visit import Visit

_Kept: TypeAlias = "tuple[Standing | None, Evidence | None]"


class _Learned:
    """The evidence that was learned last, and the state of the file that it was read from."""

    def __init__(self) -> None:
        self.lock = threading.RLock()
        self.beside = threading.Lock()
        self.kept: tuple[tuple[int, int] | None, _Kept] = None, (None, None)


class _ThreadsBook(Book):
    """A book that shares with those of other threads what was learned."""

    learned: _Learned

    def _kept_evidence(self) -> _Kept:
        try:
            found = self._evidence_file.stat()
        except OSError:
            return None, None
        stamp = found.st_mtime_ns, found.st_size
        if self.learned.kept[0] != stamp:
            with self.learned.lock:
                if self.learned.kept[0] != stamp:
                    self.learned.kept = stamp, super()._kept_evidence()
        return self.learned.kept[1]

    def _evidence_nearly(self, key: str) -> tuple[Evidence, bool]:
        """As in ``Book``; but nobody waits for learning where something was learned before: that goes on
        beside, and what is told of a set that changed since is its own findings, as always."""
        from kb.book import _FEW_SETS, _FEW_SHARE

        stands, kept = self._kept_evidence()
        now = self._standing()
        if kept is None or stands is None or now is None or stands == now:
            return super()._evidence_nearly(key)
        with self.store.snapshot() as book:
            if not book.follows(stands):
                return super()._evidence_nearly(key)
            changed = set(book.sets_changed_since(stands.revision))
        if len(changed) > max(_FEW_SETS, kept.visits * _FEW_SHARE):
            self._learn_beside()
        return kept, key in changed

    def _learn(self) -> Evidence:
        before = self.learned.kept[1]
        with self.learned.lock:
            now = self._kept_evidence()
            if now[1] is not None and now[0] != before[0]:
                return now[1]  # another thread has learned while this one waited
            return super()._learn()

    def _learn_beside(self) -> None:
        """Learn in a thread and with a book of its own, unless somebody is at it."""
        if not self.learned.beside.acquire(blocking=False):
            return

        def learn() -> None:
            try:
                with _ThreadsBook.open(self.home, store=self._url) as book, suppress(JackfieldError):
                    book.learned = self.learned
                    Book._learn(book)
            finally:
                self.learned.beside.release()

        threading.Thread(target=learn, daemon=True).start()


class Books:
    """The book in ``home`` (or at the URL ``store``) for any number of threads."""

    def __init__(self, home: Path, store: str | None = None) -> None:
        self.home = home
        self._url = store
        self._here = threading.local()
        self._writing = threading.Lock()
        self._learned = _Learned()

    def here(self) -> Book:
        """This thread's book, opened at its first use; made anew when the settings have changed."""
        stamp = self._stamp()
        book: _ThreadsBook | None = getattr(self._here, "book", None)
        if book is not None and self._here.stamp != stamp:
            book.close()
            book = None
        if book is None:
            book = _ThreadsBook.open(self.home, store=self._url)
            book.learned = self._learned
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
