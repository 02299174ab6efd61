"""Share what all commands need: where the book is, how the answer goes out."""

from __future__ import annotations

import functools
import os
import sys
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any, Final

import click

from kb.base.text import visible
from kb.cli.session import Session as Session
from kb.cli.session import running
from kb.cli.session import terminal_columns as terminal_columns

if TYPE_CHECKING:
    from click.shell_completion import CompletionItem
    from rich.text import Text

    from kb.domain.words import Word


class Output(click.types.StringParamType):
    """The type of every option and argument that names a file to be written (``-`` for stdout).

    Its value is looked at before the command begins. ``holds``: what the file will hold, as ``SVG``, or
    several with commas if the ending chooses.
    """

    def __init__(self, holds: str) -> None:
        self.holds = holds

    def shell_complete(
        self, ctx: click.Context, param: click.Parameter, incomplete: str
    ) -> list[CompletionItem[str]]:
        from kb.cli.completion import files

        return files(incomplete)


class Quantity(click.types.FloatParamType):
    """A number as people write it: comma or point, and one of ``units`` after it.

    ``share``: a chance from 0 to 1, which may be typed in percent (``95%``).
    """

    name = "number"

    def __init__(self, *units: str, share: bool = False) -> None:
        self.units, self.share = units, share

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        if isinstance(value, (int, float)):
            return float(value)
        typed = " ".join(str(value).split())
        bare, percent = typed, False
        for unit in ("%", *self.units) if self.share else self.units:
            if bare.casefold().endswith(unit.casefold()):
                bare, percent = bare[: -len(unit)].rstrip(" -"), unit == "%"
                break
        try:
            number = float(bare.replace(",", ".", 1) if "." not in bare else bare)
        except ValueError:
            self.fail(f"{typed!r} is no number.", param, ctx)
        return number / 100 if percent else number


INCHES: Final = Quantity("inches", "inch", "in", '"', "″", "''")  #: a picture's diagonal


def _look_at_files(command: click.Command, given: Mapping[str, Any], session: Session) -> None:
    for param in command.params:
        name = given.get(param.name or "")
        if isinstance(param.type, Output) and name not in (None, "-"):
            from kb.cli.outputfile import refuse_kept, refuse_misnamed

            option = param.opts[-1] if isinstance(param, click.Option) else command.name or "file"
            refuse_kept(name, option, session.folder)
            refuse_misnamed(name, option, param.type.holds)


@contextmanager
def answering(session: Session, done: str, **values: object) -> Iterator[None]:
    """Print an answer about work that is already in the book: a full disk under stdout does not undo it.

    ``done`` and ``values`` make the sentence ``cli/done/DONE``.
    """
    try:
        yield
        sys.stdout.flush()
    except BrokenPipeError:
        raise
    except OSError as trouble:
        from kb.cli.main import mute

        said = session.language
        session.say(said("cli/unanswered", done=said(f"cli/done/{done}", **values), why=trouble.strerror))
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
        with running(session):
            _look_at_files(ctx.command, given, session)
            return command(session, **given)

    return wrapped


def text(said: object, style: str = "") -> Text:
    """Text from a person, for rich: shown as text, whatever it contains."""
    from rich.text import Text

    return Text(visible(str(said), frozenset("\n")), style=style)
