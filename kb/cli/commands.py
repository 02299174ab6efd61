"""Name all commands, and parse what calls them.

Each command lives in a module of its own that is imported only when it is called.
"""

from __future__ import annotations

from typing import Any, Final

import click

from kb.base.version import VERSION
from kb.cli.command import SHARED, Group, module_of, session_of

#: Name of the command -> (its module, the page of the guide that says more); ``serve`` joins command line and
#: page, above both. The order is the order of a visit.
COMMANDS: Final[dict[str, tuple[str, str]]] = {
    "find": ("find", "finding"),
    "show": ("show", "finding"),
    "path": ("path", "connecting"),
    "evidence": ("evidence", "packing"),
    "job": ("job", "jobs"),
    "day": ("day", "jobs"),
    "pack": ("pack", "packing"),
    "stock": ("stock", "jobs"),
    "sheet": ("sheet", "paper"),
    "tag": ("tag", "paper"),
    "record": ("record", "recording"),
    "manual": ("manual", "manuals"),
    "isolate": ("isolate", "faults"),
    "loop": ("loop", "loop"),
    "tone": ("tone", "loop"),
    "listen": ("listen", "loop"),
    "readings": ("readings", "loop"),
    "visits": ("visits", "jobs"),
    "history": ("history", "recording"),
    "correct": ("corrections", "recording"),
    "withdraw": ("corrections", "recording"),
    "merge": ("corrections", "recording"),
    "undo": ("corrections", "recording"),
    "load": ("load", "files"),
    "dump": ("dump", "files"),
    "share": ("share", "sharing"),
    "backup": ("backup", "book"),
    "restore": ("backup", "book"),
    "doctor": ("doctor", "book"),
    "serve": ("kb.serve", "phone"),
    "settings": ("settings", "book"),
    "guide": ("guide", ""),
}


@click.group(
    cls=Group,
    table=COMMANDS,
    params=[*SHARED],
    invoke_without_command=True,
    subcommand_metavar="COMMAND [ARGS]...",
    context_settings={"help_option_names": ["-h", "--help"]},
)
@click.version_option(VERSION, prog_name="jackfield")
@click.pass_context
def jackfield(ctx: click.Context, /, **given: Any) -> int:
    session = session_of(ctx, given)
    if ctx.invoked_subcommand is not None:
        return 0
    return int(module_of("start").start(session))
