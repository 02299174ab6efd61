"""Open the index, repair it and keep it up to date.

>>> from tempfile import TemporaryDirectory
>>> from kb.index.entry import SetEntry
>>> with TemporaryDirectory() as home:
...     index = Index.open(Path(home) / "index")
...     before = index.revision
...     index.rebuild([SetEntry("n/1", "Norwell", "NV40-210")], revision=7)
...     answer = index.find("norwel nv4o 210")
...     index.close()
>>> before, answer.matches[0].model, answer.matches[0].how
(None, 'NV40-210', 'near')
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager, nullcontext
from pathlib import Path
from typing import TypeVar

from kb.base.errors import BookTrouble, why_of
from kb.base.messages import Said, Wording
from kb.index import index_files as files
from kb.index.entry import Answer, Filters, IndexBroken, SetEntry
from kb.index.reader import Reader, broken

Answered = TypeVar("Answered")

FOLD_FROM = 24
"""A search of words folds in so many pending texts or more first, if nobody else is writing."""
FOLD_AT_LATEST = 2_000
"""An update folds in so many pending texts or more."""


class Index:
    """Give access to the index of one store on this machine: derived data, rebuilt when in doubt.

    Opening costs a file look-up. ``revision`` is None until ``rebuild`` has run. Use one instance per thread;
    any number of processes may read and write.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._reader: Reader | None = None
        self._held = False

    @classmethod
    def open(cls, folder: Path) -> Index:
        """Open the index in ``folder``, which need not exist."""
        return cls(folder)

    @property
    def revision(self) -> int | None:
        """Return the store's revision in the index; None if it is missing, broken or of another format."""
        try:
            reader = self._unless_replaced(self._fresh)
            words = reader.generation / files.WORDS
            if reader.meta["words"] and not any(one.is_file() for one in words.glob("_MAIN_*.toc")):
                return None
            # A folder has the name of a file. Whoosh itself leaves a folder MAIN.tmp if it is killed.
            if any(one.is_dir() for one in words.glob("*") if one.name != "MAIN.tmp"):
                return None
            return reader.revision
        except IndexBroken:
            return None

    @property
    def mark(self) -> str:
        """Return the mark that the book gave with the revision, so that it recognises its own writing."""
        return self._unless_replaced(self._fresh).mark

    def find(self, query: str, *, limit: int = 10, filters: Filters | None = None) -> Answer:
        """Return sets that the query may mean, at the newest revision; see ``Reader.find``."""

        def ask() -> Answer:
            while True:
                reader = self._fresh()
                answer = reader.find(query, limit=limit, filters=filters)
                if not reader.moved:
                    return answer

        answer = self._unless_replaced(ask)
        reader = self._reader
        if reader is not None and reader.words_open and reader.pending >= FOLD_FROM:
            self._fold_in(wait=False)
        return answer

    def reader(self) -> Reader:
        """Return a new reader that stays at the present revision; the caller closes it."""
        return self._unless_replaced(lambda: Reader(self._generation()))

    @contextmanager
    def writing(self) -> Iterator[None]:
        """Hold the writer's lock: values computed inside from the present state stay true until written.

        Raises ``BookTrouble`` if another process holds it too long, or nothing can be written.
        """
        if self._held:
            yield
            return
        with files.writing(self.folder):
            self._held = True
            try:
                yield
            finally:
                self._held = False

    def rebuild(
        self,
        entries: Iterable[SetEntry],
        revision: int,
        mark: str = "",
        total: int | None = None,
        progress: Callable[[int], None] | None = None,
    ) -> None:
        """Build the index again from all sets of the store at ``revision``; others read the old one until
        then.

        ``progress`` gets the number of sets done so far. Raises ``BookTrouble`` if the index cannot be
        written; the old one then stays in use.
        """
        import shutil

        from kb.index.writer import build

        with self.writing():
            generation: Path | None = None
            try:
                generation = files.new_generation(self.folder)
                build(generation, entries, revision, mark, progress)
                self.close()
                files.put_in_force(self.folder, generation)
                generation = None
            except (OSError, sqlite3.Error) as error:
                raise BookTrouble(
                    Said("error/index-unwritable", folder=self.folder, why=why_of(error))
                ) from error
            finally:
                if generation is not None:
                    shutil.rmtree(generation, ignore_errors=True)

    def update(self, changed: Iterable[SetEntry], gone: Iterable[str], revision: int, mark: str = "") -> None:
        """Add or replace ``changed`` sets (whole entries), drop the keys ``gone``, then be at ``revision``.

        All is one transaction: a crash leaves the revision before, and the book calls again. A revision not
        above the present one changes nothing. Raises ``IndexBroken`` if there is no index to update.
        """
        from kb.index.writer import apply

        with self.writing():
            generation = self._generation()
            with broken():
                waiting = apply(generation, list(changed), list(gone), revision, mark)
        if waiting >= FOLD_AT_LATEST:
            self._fold_in(wait=True)

    def check(self) -> list[Wording]:
        """Read the whole index and return its faults; empty if there are none."""
        from kb.index.writer import problems

        try:
            return problems(self._generation())
        except IndexBroken as error:
            return [error.said]

    def close(self) -> None:
        """Close the files; the next use opens them again."""
        if self._reader is not None:
            self._reader.close()
            self._reader = None

    def __enter__(self) -> Index:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def _generation(self) -> Path:
        generation = files.current(self.folder)
        if generation is None:
            raise IndexBroken(Said("error/index-missing", folder=self.folder))
        return generation

    def _unless_replaced(self, step: Callable[[], Answered]) -> Answered:
        """Return the result of ``step``; run it again if another process has rebuilt the index meanwhile."""
        while True:
            before = files.current(self.folder)
            try:
                return step()
            except IndexBroken:
                self.close()
                if files.current(self.folder) == before:
                    raise

    def _fresh(self) -> Reader:
        """Return the reader kept open, moved to the newest revision."""
        generation = self._generation()
        if self._reader is not None and self._reader.generation == generation and not self._reader.frozen:
            self._reader.refresh_if_moved()
            return self._reader
        self.close()
        self._reader = Reader(generation)
        return self._reader

    def _fold_in(self, *, wait: bool) -> None:
        from kb.index.writer import fold_pending

        try:
            lock = (
                nullcontext() if self._held else files.writing(self.folder, files.LOCK_WAIT_S if wait else 0)
            )
            with lock, broken():
                fold_pending(self._generation())
        except BookTrouble:  # another process writes, or we may not: a search reads pending texts anyway
            return
