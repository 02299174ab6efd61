"""Share what all commands need: where the book is, how the answer goes out."""

from __future__ import annotations

import functools
import json
import os
import sys
from collections.abc import Callable, Iterator, Mapping
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, TextIO

import click

from kb.base.errors import BadInput, BookUnavailable, NotFound
from kb.base.text import visible

if TYPE_CHECKING:
    from rich.console import Console
    from rich.text import Text

    from kb.base.progress import Progress
    from kb.book import Book
    from kb.domain.language import Language
    from kb.domain.words import Word
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


@dataclass
class Session:
    """One call of one command: its book, its settings, and the way its answer goes out."""

    home: str | None = None
    store: str | None = None
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
            raise BadInput("--home", self.home, "a folder that exists") from None

    @cached_property
    def settings(self) -> Settings:
        """The user's settings; raises BadInput where the file is wrong."""
        from kb.settings import load

        return load(self.folder)

    @property
    def language(self) -> Language:
        """The language of the settings, in which answers are written."""
        return self.settings.reader

    @cached_property
    def book(self) -> Book:
        """The open book; closed when the command ends. A bar shows progress while its index is rebuilt."""
        return self.open_book(self._bar("making the index anew"), self._bar("learning from all findings"))

    @property
    def found_book(self) -> Book:
        """The open book; raises NotFound if there is none yet, since a question makes no book."""
        if self.store is None and not self.book.path.exists():
            raise NotFound(f"{self.book.path}: there is no book here yet")
        return self.book

    def _bar(self, what: str) -> Progress | None:
        """Progress of long work on a terminal: a bar comes with the first call and goes with the last."""
        if not sys.stderr.isatty():
            return None
        shown: list[Progress] = []

        def tell(done: int, total: int) -> None:
            from kb.cli.progress import bar

            if not shown:
                begun = bar(what)
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
            self.json({"error": str(why)})

    def say(self, message: str, file: TextIO | None = None) -> None:
        """A message about the work, on stderr, so that stdout holds the answer alone."""
        print(visible(message, frozenset("\n")), file=file or sys.stderr)

    def has_written_where(self, trouble: BookUnavailable) -> bool:
        """Has this command committed anything to the very book that the trouble is about?"""
        return any(book.has_written and str(trouble).startswith(book.store.place) for book in self._open)

    def close(self) -> None:
        """Close what was opened."""
        while self._closing:
            self._closing.pop().__exit__(None, None, None)
        for book in self._open:
            book.close()


#: The type of every option and argument that names a file to be written (``-`` for stdout): its value is
#: looked at before the command begins.
OUTPUT: Final = click.types.StringParamType()


def _refuse_kept(command: click.Command, given: Mapping[str, Any], session: Session) -> None:
    for param in command.params:
        name = given.get(param.name or "")
        if param.type is OUTPUT and name not in (None, "-"):
            from kb.cli.outputfile import refuse_kept

            option = param.opts[-1] if isinstance(param, click.Option) else command.name or "file"
            refuse_kept(name, option, session.folder)


@contextmanager
def answering(session: Session, done: str) -> Iterator[None]:
    """Print an answer about work that is already in the book: a full disk under stdout does not undo it."""
    try:
        yield
        sys.stdout.flush()
    except BrokenPipeError:
        raise
    except OSError as trouble:
        from kb.cli.main import mute

        session.say(f"{done}; only this answer could not be written ({trouble.strerror})")
        mute()


def choice(words: type[Word]) -> click.Choice[str]:
    """The values of a vocabulary as the choices of an option; click alone would take the names."""
    return click.Choice([word.value for word in words])


def command_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """The options that every command has; the command gets one Session as its first argument."""

    @click.option("--json", "as_json", is_flag=True, help="Print the answer as one JSON document.")
    @click.option("--home", "home", metavar="DIR", help="Folder of the book (or JACKFIELD_HOME).")
    @click.option("--store", "store", metavar="URL", help="URL of a shared book (or JACKFIELD_STORE).")
    @click.option("--debug", "debug", is_flag=True, help="Show the traceback of an error.")
    @click.pass_context
    @functools.wraps(command)
    def wrapped(ctx: click.Context, /, **given: Any) -> Any:
        outer = ctx.obj or {}
        session = Session(
            home=given.pop("home") or outer.get("home"),
            store=given.pop("store") or outer.get("store") or os.environ.get("JACKFIELD_STORE") or None,
            as_json=given.pop("as_json") or outer.get("as_json", False),
            debug=given.pop("debug") or outer.get("debug", False),
        )
        try:
            _refuse_kept(ctx.command, given, session)
            return command(session, **given)
        except NotFound as nobody:
            session.no(nobody)
            raise
        except BookUnavailable as trouble:
            if session.has_written_where(trouble):
                why = str(trouble).partition("; nothing was changed")[0]
                raise type(trouble)(f"{why}; what this command wrote before that is saved") from trouble
            raise
        finally:
            session.close()

    return wrapped


def text(said: object, style: str = "") -> Text:
    """Text from a person, for rich: shown as text, whatever it contains."""
    from rich.text import Text

    return Text(visible(str(said), frozenset("\n")), style=style)


def counted(number: int, what: str) -> str:
    """``1 visit``, ``2 visits``."""
    return f"{number:,} {what}{'' if number == 1 else 's'}"
