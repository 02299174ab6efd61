"""Import the module of a command only when the command is called."""

from __future__ import annotations

import importlib
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, cast

import click

from kb.base.errors import ascii_controls

if TYPE_CHECKING:
    from click.shell_completion import CompletionItem


def module_of(name: str) -> Any:
    """The module of a command, imported now; without a dot in its name it lies in ``kb.cli``."""
    return importlib.import_module(name if "." in name else f"kb.cli.{name}")


class LazyGroup(click.Group):
    """A group of commands by name: the module of each, and one line of help.

    A command ``x`` is the function ``x_command`` of its module. The order of ``table`` is that of the help.
    ``pages`` names the page of the guide that the help of a command points to.
    """

    def __init__(
        self,
        *args: Any,
        table: Mapping[str, tuple[str, str]],
        pages: Mapping[str, str] | None = None,
        **attrs: Any,
    ) -> None:
        super().__init__(*args, **attrs)
        self.table = table
        self.pages = pages or {}

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(self.table)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in self.table:
            return None
        module = module_of(self.table[cmd_name][0])
        command = cast(click.Command, getattr(module, f"{cmd_name}_command"))
        if ctx.resilient_parsing:  # the shell's completion parses so, and nothing else
            from kb.cli.completion import prepare

            prepare(command)
        if cmd_name in self.pages:
            said = f"More: jackfield guide {self.pages[cmd_name]}"
            if not (command.epilog or "").endswith(said):
                command.epilog = f"{command.epilog}\n\n{said}" if command.epilog else said
        return command

    def shell_complete(self, ctx: click.Context, incomplete: str) -> list[CompletionItem[str]]:
        """The commands that begin so, with their line of help: click's own would import them all."""
        from click.shell_completion import CompletionItem

        found = [
            CompletionItem(name, help=about)
            for name, (_, about) in self.table.items()
            if name.startswith(incomplete)
        ]
        return [*found, *click.Command.shell_complete(self, ctx, incomplete)]

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl([(name, about) for name, (_, about) in self.table.items()])

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        try:
            return super().resolve_command(ctx, args)
        except click.UsageError:
            from difflib import get_close_matches

            near = get_close_matches(args[0], self.table, n=1)
            hint = f"; did you mean '{near[0]}'?" if near else ""
            ctx.fail(f"no command {ascii_controls(args[0][:40])!r}{hint}")
