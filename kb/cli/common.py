"""Share what all commands need: where the book is, how the answer goes out."""

from __future__ import annotations

import sys
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any, Final

import click

from kb.base.errors import BadInput, why_of
from kb.base.messages import Said
from kb.base.text import folded, visible
from kb.cli.session import Session as Session
from kb.cli.session import mute
from kb.cli.session import terminal_columns as terminal_columns

if TYPE_CHECKING:
    from click.shell_completion import CompletionItem
    from rich.text import Text

    from kb.domain.language import Language
    from kb.domain.words import Word


class Output(click.types.StringParamType):
    """The type of every option and argument that names a file to be written (``-`` for stdout).

    Its value is looked at before the command begins. ``holds``: what the file will hold, as ``SVG``, or
    several with commas if the ending chooses. ``or_json``: ``-`` goes with ``--json``, or the command itself
    says that it does not.
    """

    def __init__(self, holds: str, *, or_json: bool = False) -> None:
        self.holds, self.or_json = holds, or_json

    def shell_complete(
        self, ctx: click.Context, param: click.Parameter, incomplete: str
    ) -> list[CompletionItem[str]]:
        return click.Path().shell_complete(ctx, param, incomplete)


class Quantity(click.types.FloatParamType):
    """A number as people write it: comma or point, and one of ``units`` after it.

    ``share``: a chance from 0 to 1, which may be typed in percent (``95%``).
    """

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
            return float(super().convert(value, param, ctx))  # refuses it, in words of the language
        return number / 100 if percent else number


INCHES: Final = Quantity("inches", "inch", "in", '"', "″", "''")  #: a picture's diagonal


class Year(click.types.IntParamType):
    """A year as people write it: ``about 2014``, ``2014?``."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> int:
        typed: Any = bare_year(str(value))
        year = int(super().convert(typed, param, ctx))
        if ctx is not None and typed != str(value).strip():
            tell_year(ctx.ensure_object(Session), str(value), year)
        return year


def tell_year(session: Session, typed: str, year: int) -> None:
    """Say that the book keeps a year that is not known for certain as it keeps any other."""
    session.say(Said("cli/year-taken", typed=typed, year=year))


def bare_year(typed: str) -> str:
    """Return the year without the words that say that it is not known for certain."""
    from kb.base.datafiles import data_tables

    about = data_tables("days.toml")["about"]
    bare = typed.strip(" ?~")
    words = [word for word in bare.split() if folded(word).lower() not in about]
    return words[0] if len(words) == 1 else typed


def look_at_files(command: click.Command, given: Mapping[str, Any], session: Session) -> None:
    """Refuse names of files that Jackfield keeps or whose ending means another format, and two answers on
    stdout."""
    for param in command.params:
        name = given.get(param.name or "")
        if isinstance(param.type, Output) and name is not None:
            option = param.opts[-1] if isinstance(param, click.Option) else command.name or "file"
            if name == "-":
                if session.as_json and not param.type.or_json:
                    raise BadInput(option, Said("seen/dash-with-json"), Said("expected/file-since-json"))
                continue
            from kb.cli.outputfile import refuse_kept, refuse_misnamed

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
        said = session.language
        session.say(said("cli/unanswered", done=said(f"cli/done/{done}", **values), why=why_of(trouble)))
        mute()


class _Vocabulary(click.Choice[str]):
    """The values of a vocabulary, which may be typed as people say them: ``probado``, ``TV``."""

    def __init__(self, words: type[Word]) -> None:
        super().__init__([word.value for word in words])
        self._words = words

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> str:
        meant = self._words.meant(str(value))
        return super().convert(value if meant is None else meant.value, param, ctx)


def choice(words: type[Word]) -> click.Choice[str]:
    """The values of a vocabulary as the choices of an option; click alone would take the names."""
    return _Vocabulary(words)


def text(said: object, style: str = "") -> Text:
    """Text from a person, for rich: shown as text, whatever it contains."""
    from rich.text import Text

    return Text(visible(str(said), frozenset("\n")), style=style)


def agreed(question: str, default: bool, said: Language) -> bool:
    """Ask a question of yes or no; the words of the language count, and the English ones."""
    yes, no = said("cli/yes").split(), said("cli/no").split()
    words = dict.fromkeys(("yes", "y", *yes), True) | dict.fromkeys(("no", "n", *no), False)
    keys = [key.upper() if words[key] is default else key for key in (yes[-1], no[-1])]
    while True:
        typed = click.prompt(f"{question} [{'/'.join(keys)}]", default="", show_default=False, err=True)
        if not typed.strip():
            return default
        if (answer := words.get(typed.strip().casefold())) is not None:
            return answer
        click.echo(said("cli/yes-or-no"), err=True)
