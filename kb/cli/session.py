"""Hold one call of a command: its book, its settings, and the way its answer goes out.

Nothing here needs the library that parses options: a plain ``find`` begins without it.
"""

from __future__ import annotations

import itertools
import json
import os
import sys
from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, TextIO

from kb.base.errors import BadInput, BookTrouble, BookUnavailable, JackfieldError, NotFound
from kb.base.messages import Said, Wording
from kb.base.text import visible

if TYPE_CHECKING:
    from rich.console import Console

    from kb.base.progress import Progress
    from kb.book import Book
    from kb.domain.language import Language
    from kb.settings import Settings


_LINES: Final = 24  #: of a terminal that does not say


def terminal_columns() -> int:
    """Columns of the terminal, as ``shutil.get_terminal_size`` finds them, which loads three compressors."""
    said = os.environ.get("COLUMNS", "")
    if said.isdecimal() and int(said) > 0:
        return int(said)
    try:
        return os.get_terminal_size(sys.__stdout__.fileno()).columns or _COLUMNS  # type: ignore[union-attr]
    except (AttributeError, ValueError, OSError):  # none, closed, or no terminal
        return _COLUMNS


_COLUMNS: Final = 80


class _Trimmed:
    """A text stream that leaves out blanks at the ends of lines."""

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream
        self._kept = ""

    def write(self, text: str) -> int:
        *lines, rest = (self._kept + text).split("\n")
        self._stream.writelines(f"{line.rstrip()}\n" for line in lines)
        self._kept = rest
        return len(text)

    def __getattr__(self, name: str) -> Any:
        return getattr(self._stream, name)


@dataclass(eq=False, repr=False)
class Session:
    """One call of one command: its book, its settings, and the way its answer goes out."""

    home: str | None = None
    store: str | None = field(default_factory=lambda: os.environ.get("JACKFIELD_STORE") or None)
    as_json: bool = False
    debug: bool = False
    _open: list[Book] = field(default_factory=list)
    _closing: list[AbstractContextManager[Any]] = field(default_factory=list)
    _answered: bool = False

    @cached_property
    def folder(self) -> Path:
        """The home folder of the book."""
        from kb.settings import default_home

        try:
            return Path(self.home).expanduser() if self.home else default_home()
        except RuntimeError:
            raise BadInput("--home", self.home, Said("expected/existing-folder")) from None

    @cached_property
    def settings(self) -> Settings:
        """The user's settings; raises BadInput if the file is wrong."""
        from kb.settings import load

        return load(self.folder)

    @property
    def language(self) -> Language:
        """The language of the settings, in which answers are written; English while they cannot be read.

        A damaged settings file hinders no command that needs nothing else of it, such as ``restore``.
        """
        from kb.domain.language import ENGLISH

        try:
            return self.settings.reader
        except (BadInput, BookTrouble):
            return ENGLISH

    @cached_property
    def book(self) -> Book:
        """The open book; closed when the command ends. A bar shows progress while its index is rebuilt."""
        return self.open_book(self._bar("rebuilding"), self._bar("learning"))

    @property
    def found_book(self) -> Book:
        """The open book; raises NotFound if there is none yet, since a question makes no book."""
        return self.book_or("error/no-book", place=self.book.path)

    def book_or(self, key: str, /, **values: object) -> Book:
        """The open book; raises NotFound with this sentence if there is none yet."""
        if self.store is None and not self.book.path.exists():
            raise NotFound(Said(key, **values))
        return self.book

    def _bar(self, what: str) -> Progress | None:
        """Progress of long work on a terminal: a bar comes with the first call and goes with the last."""
        if not sys.stderr.isatty():
            return None
        shown: list[Progress] = []

        def tell(done: int, total: int) -> None:
            from kb.cli.progress import bar

            if not shown:
                begun = bar(self.language(f"cli/progress/{what}"))
                shown.append(begun.__enter__() or (lambda _done, _total: None))
                self._closing.append(begun)
            shown[0](done, total)
            if done >= total:
                shown.clear()
                while self._closing:
                    self._closing.pop().__exit__(None, None, None)

        return tell

    def open_book(self, progress: Progress | None = None, learning: Progress | None = None) -> Book:
        """The open book; it reports progress of rebuilding its index and of learning."""
        from kb.book import Book

        book = Book.open(self.folder, store=self.store, progress=progress, learning=learning)
        self._open.append(book)
        return book

    @cached_property
    def console(self) -> Console:
        """Where people read: no markup, no emoji, no guessing of colours in what was typed."""
        from rich.console import Console

        # Columns are padded with blanks: a pipe or a file gets none at the ends of lines.
        out: Any = sys.stdout if sys.stdout.isatty() else _Trimmed(sys.stdout)
        # rich takes every plain terminal for one of 80 columns
        plain = os.environ.get("TERM", "") in ("dumb", "unknown")
        width = terminal_columns() if plain else None
        return Console(
            file=out,
            width=width,
            height=_LINES if plain else None,
            markup=False,
            highlight=False,
            emoji=False,
        )

    def json(self, answer: object, *, lines: bool = False) -> None:
        """One JSON document on stdout; ``lines`` for one object a line."""
        json.dump(answer, sys.stdout, indent=None if lines else 2, allow_nan=False)
        sys.stdout.write("\n")
        self._answered = True

    def no(self, why: NotFound) -> None:
        """A true answer of "no" is an answer: a program gets its document, unless the command gave it one."""
        if self.as_json and not self._answered:
            self.json({"error": why.in_language(self.language.code)})

    def say(self, message: Wording | JackfieldError, file: TextIO | None = None) -> None:
        """A message about the work, on stderr, so that stdout holds the answer alone."""
        said = message if isinstance(message, str) else message.in_language(self.language.code)
        print(visible(said, frozenset("\n")), file=file or sys.stderr)

    def has_written_where(self, trouble: BookUnavailable) -> bool:
        """Has this command committed anything to the very book that the trouble is about?"""
        return any(book.has_written and str(trouble).startswith(book.store.place) for book in self._open)

    def close(self) -> None:
        """Close what was opened."""
        while self._closing:
            self._closing.pop().__exit__(None, None, None)
        for book in self._open:
            if book.begun and book.has_written:  # perhaps in the wrong folder: a stick was pulled out
                self.say(self.language("cli/new-book", place=book.home))
            book.close()


#: The session of the command that runs, or ran last.
_last: list[Session] = []


def reader() -> Language:
    """The language of whoever reads the messages of this command, also before it has a session of its own."""
    return (_last or [Session()])[-1].language


def mute() -> None:
    """Write nothing more to stdout, not even when Python leaves."""
    try:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    except (OSError, ValueError):
        sys.stdout = open(os.devnull, "w", encoding="utf-8")  # noqa: SIM115  # for the rest of the run


def begun(args: list[str]) -> Session:
    """The session of a call: until all options are read it speaks the language of its ``--home``."""
    named = [after for word, after in itertools.pairwise(args) if word == "--home"]
    named += [word.partition("=")[2] for word in args if word.startswith("--home=")]
    _last[:] = [Session(home=named[-1] if named else None)]
    return _last[0]


@contextmanager
def running(session: Session) -> Iterator[None]:
    """Run a command in its session, and close that: a "no" is told to programs, too."""
    _last[:] = [session]
    try:
        yield
    except NotFound as nobody:
        session.no(nobody)
        raise
    except BookUnavailable as trouble:
        if session.has_written_where(trouble):
            saved = Said("error/saved-before", why=trouble.without_assurance())
            raise type(trouble)(saved) from trouble
        raise
    finally:
        session.close()
