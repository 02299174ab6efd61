"""Make commands of functions, find them by name, and show their help in the language of the settings.

The help of a command is in the catalogue of messages, and is read only when it is shown: ``help/NAME``, one
line as ``help/NAME/short``, and each option as ``help/NAME/OPTION``, or ``help/option/OPTION`` if commands
share it. The docstring of a command's function holds examples, which are the same in every language.
"""

from __future__ import annotations

import functools
import importlib
import inspect
import re
from collections.abc import Callable, Iterable, Mapping
from string import Formatter
from typing import TYPE_CHECKING, Any, Final, cast

import click

from kb.base.errors import ascii_controls
from kb.base.messages import area, template
from kb.cli.session import Session, running

if TYPE_CHECKING:
    from click.shell_completion import CompletionItem

    from kb.domain.language import Language


class Command(click.Command):
    """A command whose help is in the catalogue; ``page`` of the guide says more about it."""

    page = ""

    def format_help_text(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        said = _language(ctx)
        examples = inspect.cleandoc(self.help or "")
        formatter.write_paragraph()
        with formatter.indentation():
            formatter.write_text(_sentence(said, _key(ctx)) + (examples and f"\n\n\b\n{examples}"))

    def collect_usage_pieces(self, ctx: click.Context) -> list[str]:
        return [stand_ins(_language(ctx), piece) for piece in super().collect_usage_pieces(ctx)]

    def format_options(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        self._say_options(ctx)
        said = _language(ctx)
        options = (one for one in self.get_params(ctx) if isinstance(one, click.Option))
        rows = filter(None, (one.get_help_record(ctx) for one in options))
        with formatter.section(said("click/options")):
            formatter.write_dl([(stand_ins(said, names), about) for names, about in rows])

    def format_epilog(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        said, end = _language(ctx), f"{_key(ctx)}/end"
        for about in (_sentence(said, end), self.page and said("cli/help/more", page=self.page)):
            if about:
                formatter.write_paragraph()
                formatter.write_text(about)

    def shell_complete(self, ctx: click.Context, incomplete: str) -> list[CompletionItem[str]]:
        self._say_options(ctx)
        return super().shell_complete(ctx, incomplete)

    def _say_options(self, ctx: click.Context) -> None:
        said, parts = _language(ctx), _key(ctx).split("/")
        above = ["/".join(parts[:number]) for number in range(len(parts), 1, -1)]
        for param in self.get_params(ctx):
            if isinstance(param, click.Option):
                name = max(param.opts, key=len).lstrip("-")
                every = (_sentence(said, f"{key}/{name}") for key in (*above, "help/option"))
                param.help = next(filter(None, every), param.help)


class Group(Command, click.Group):
    """A group of commands by name: the module of each, and the page of the guide that says more.

    A command ``x`` is the function ``x_command`` of its module, which is imported only when it is called.
    The order of ``table`` is that of the help.
    """

    def __init__(self, *args: Any, table: Mapping[str, tuple[str, str]], **attrs: Any) -> None:
        super().__init__(*args, **attrs)
        self.table = table

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(self.table)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in self.table:
            return None
        module, page = self.table[cmd_name]
        command = cast(Command, getattr(module_of(module), f"{cmd_name}_command"))
        command.page = page
        if ctx.resilient_parsing:  # the shell's completion parses so, and nothing else
            from kb.cli.completion import prepare

            prepare(command)
        return command

    def shell_complete(self, ctx: click.Context, incomplete: str) -> list[CompletionItem[str]]:
        """The commands that begin so, with their line of help: click's own would import them all."""
        from click.shell_completion import CompletionItem

        lines = self._lines(ctx)
        found = [CompletionItem(name, help=line) for name, line in lines if name.startswith(incomplete)]
        self._say_options(ctx)
        return [*found, *click.Command.shell_complete(self, ctx, incomplete)]

    def format_options(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        super().format_options(ctx, formatter)
        self.format_commands(ctx, formatter)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section(_language(ctx)("click/commands")):
            formatter.write_dl(self._lines(ctx))

    def _lines(self, ctx: click.Context) -> list[tuple[str, str]]:
        said, key = _language(ctx), _key(ctx)
        return [(name, said(f"{key}/{name}/short")) for name in self.table]

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        try:
            return super().resolve_command(ctx, args)
        except click.UsageError:
            from difflib import get_close_matches

            said = _language(ctx)
            near = get_close_matches(args[0], self.table, n=1)
            hint = said("cli/help/near", name=near[0]) if near else ""
            ctx.fail(said("cli/help/no-command", name=repr(ascii_controls(args[0][:40]))) + hint)


def module_of(name: str) -> Any:
    """The module of a command, imported now; without a dot in its name it lies in ``kb.cli``."""
    return importlib.import_module(name if "." in name else f"kb.cli.{name}")


#: Options of every command.
SHARED = (
    click.Option(["--json", "as_json"], is_flag=True),
    click.Option(["--home"], metavar="DIR"),
    click.Option(["--store"], metavar="URL"),
    click.Option(["--debug"], is_flag=True),
)


def command(name: str) -> Callable[[Callable[..., int]], Command]:
    """Make a function a command with the options of every command; it gets one Session first.

    The files that it is to write are looked at before it begins.
    """

    def made(function: Callable[..., int]) -> Command:
        @click.pass_context
        @functools.wraps(function)
        def called(ctx: click.Context, /, **given: Any) -> int:
            session = session_of(ctx, given)
            with running(session):
                from kb.cli.common import look_at_files

                look_at_files(ctx.command, given, session)
                return function(session, **given)

        command = click.command(name, cls=Command)(called)
        command.params += SHARED
        return command

    return made


def session_of(ctx: click.Context, given: dict[str, Any]) -> Session:
    """The session of this call, with what SHARED options say; they are taken out of ``given``."""
    session = ctx.ensure_object(Session)
    for param in SHARED:
        if value := given.pop(str(param.name)):
            setattr(session, str(param.name), value)
    return session


# -- words -----------------------------------------------------------------------------------------


def _language(ctx: click.Context) -> Language:
    return ctx.ensure_object(Session).language


def _key(ctx: click.Context) -> str:
    """``help/share/out`` for the command ``jackfield share out``."""
    return f"{_key(ctx.parent)}/{ctx.command.name}" if ctx.parent else "help"


def _sentence(said: Language, key: str) -> str:
    if not said.has(key):
        return ""
    named = {name for _, name, _, _ in Formatter().parse(template(key, said.code)) if name}
    return stand_ins(said, said(key, **{name: _value(name) for name in named}))


def say_argument(wrong: click.ClickException) -> None:
    """Let a mistake name its argument as the help does: click names it in English, or by all its choices."""
    if isinstance(wrong, click.BadParameter) and isinstance(wrong.param, click.Argument) and wrong.ctx:
        name = stand_ins(_language(wrong.ctx), wrong.param.metavar or (wrong.param.name or "").upper())
        wrong.param_hint = wrong.param_hint or f"'{name}'"


def stand_ins(said: Language, shown: str) -> str:
    """Put words in capitals that stand for what is typed, such as MAKE, into the language."""
    words = dict(re.findall(r"([A-Z]+)=(\w+)", said("cli/help/metavars")))
    return re.sub("[A-Z]{3,}", lambda found: words.get(found[0], found[0]), shown)


@functools.cache
def _value(name: str) -> object:
    """A value that a help text names: a list of words, or the number that counts if nothing is typed."""
    module, what = _VALUES[name]
    value = getattr(importlib.import_module(module), what)
    return ", ".join(cast(Iterable[str], value)) if isinstance(value, type) else value


#: Where these values are; imported only for a text that names them.
_VALUES: Final = {
    "ceiling": ("kb.loop.plan", "CEILING_M"),
    "displays": ("kb.domain.words", "Display"),
    "inputs": ("kb.domain.words", "DriverInput"),
    "kinds": ("kb.domain.words", "Kind"),
    "listening": ("kb.domain.job", "Listening"),
    "outcomes": ("kb.domain.words", "Outcome"),
    "run": ("kb.path.connect", "USUAL_RUN"),
    "spill": ("kb.loop.spill", "USUAL_DB"),
    "statuses": ("kb.domain.job", "JobStatus"),
}


def teach_click(session: Session) -> None:
    """Let click say its own words in the language of the session.

    It asks gettext for them, whose files are not ours. A word that the catalogue lacks stays English.
    """

    def word(english: str) -> str:
        key = _click_keys().get(english)
        return template(key, session.language.code) if key else english

    def counted(one: str, other: str, count: int) -> str:
        key = _click_keys().get(other)
        return template(key, session.language.code, count) if key else one if count == 1 else other

    for kind, key in _TYPES.items():
        kind.name = template(f"click/type/{key}", session.language.code)
    for module in ("core", "decorators", "exceptions", "formatting", "parser", "termui", "types"):
        vars(importlib.import_module(f"click.{module}")).update(_=word, ngettext=counted)


#: Types whose names click shows as they are, and the keys of these names.
_TYPES: Final[dict[type[click.ParamType[Any]], str]] = {
    click.types.IntParamType: "integer",
    click.IntRange: "integer-range",
    click.types.FloatParamType: "number",
    click.types.StringParamType: "text",
}


@functools.cache
def _click_keys() -> Mapping[str, str]:
    """By click's English words their keys."""
    return {said if isinstance(said, str) else said["other"]: key for key, said in area("click").items()}
