"""Name all commands, and parse what calls them.

Each command lives in a module of its own that is imported only when it is called.
"""

from __future__ import annotations

from typing import Final

import click

from kb.base.version import VERSION
from kb.cli.group import LazyGroup, module_of

#: Name of the command -> (its module, one line of help); ``serve`` joins command line and page, above both.
#: The order is the order of a visit.
COMMANDS: Final[dict[str, tuple[str, str]]] = {
    "find": ("find", "Find a set that somebody met before."),
    "show": ("show", "Show one set: its panel and all visits."),
    "path": ("path", "Choose how to connect a set to the loop driver."),
    "evidence": ("evidence", "Show what to expect of a set, known or not."),
    "job": ("job", "Keep jobs: add, change, find and finish them."),
    "day": ("day", "Show or print the jobs of a day."),
    "pack": ("pack", "Choose what to carry to a day's jobs."),
    "stock": ("stock", "Show or change what is in the van, and what to buy."),
    "sheet": ("sheet", "Write a sheet for the client and one for your file."),
    "tag": ("tag", "Make a label for the back of the driver."),
    "record": ("record", "Record a visit: the jacks of a set and what worked."),
    "manual": ("manual", "Draft a visit from a manual as PDF, to confirm."),
    "isolate": ("isolate", "Find a fault, test by test, the cheapest useful one first."),
    "loop": ("loop", "Compute a hearing loop: wire, current, field."),
    "tone": ("tone", "Write test signals for the loop as WAV files."),
    "listen": ("listen", "Turn recordings taken through a coil into readings."),
    "readings": ("readings", "Judge readings of a loop against IEC 60118-4."),
    "visits": ("visits", "Find visits: what was done, when and for whom."),
    "history": ("history", "Show all visits to a set with their ids, corrected ones too."),
    "correct": ("correct", "Correct a visit: a new entry takes its place."),
    "withdraw": ("withdraw", "Withdraw visits that should not have been recorded."),
    "merge": ("merge", "Merge two spellings of one set."),
    "undo": ("undo", "Undo a correction, a withdrawal or a merge."),
    "load": ("load", "Load old notes: CSV, JSON Lines, or a dump."),
    "dump": ("dump", "Write the whole book as JSON Lines or CSV."),
    "share": ("share", "Exchange findings with colleagues; private data stays here."),
    "backup": ("backup", "Copy the book to a backup, and check the copy."),
    "restore": ("restore", "Bring a backup back."),
    "doctor": ("doctor", "Check the book, and repair its index."),
    "serve": ("kb.serve", "Give the book to a phone, as a small web page."),
    "settings": ("settings", "Show or change the usual driver, units and initials."),
    "guide": ("guide", "Read the longer pages: files, sharing, phones, measurements and more."),
}

#: The page of the guide that says more about each command; its help names it.
PAGES: Final[dict[str, str]] = {
    "find": "finding",
    "show": "finding",
    "path": "connecting",
    "evidence": "packing",
    "job": "jobs",
    "day": "jobs",
    "stock": "jobs",
    "pack": "packing",
    "sheet": "paper",
    "tag": "paper",
    "record": "recording",
    "manual": "manuals",
    "isolate": "faults",
    "loop": "loop",
    "listen": "loop",
    "readings": "loop",
    "tone": "loop",
    "visits": "jobs",
    "history": "recording",
    "correct": "recording",
    "withdraw": "recording",
    "merge": "recording",
    "undo": "recording",
    "load": "files",
    "dump": "files",
    "share": "sharing",
    "backup": "book",
    "restore": "book",
    "doctor": "book",
    "serve": "phone",
    "settings": "book",
}


@click.group(
    cls=LazyGroup,
    table=COMMANDS,
    pages=PAGES,
    invoke_without_command=True,
    subcommand_metavar="COMMAND [ARGS]...",
    context_settings={"help_option_names": ["-h", "--help"]},
)
@click.version_option(VERSION, prog_name="jackfield")
@click.option("--home", metavar="DIR", help="Folder of the book (or JACKFIELD_HOME).")
@click.option("--store", metavar="URL", help="URL of a shared book (or JACKFIELD_STORE).")
@click.option("--json", "as_json", is_flag=True, help="Print the answer as one JSON document.")
@click.option("--debug", is_flag=True, help="Show the traceback of an error.")
@click.pass_context
def jackfield(ctx: click.Context, home: str | None, store: str | None, as_json: bool, debug: bool) -> int:
    """Connect televisions to hearing loops: find a set, see how it was connected, record what you found.

    Longer pages: jackfield guide
    """
    ctx.obj = {"home": home, "store": store, "as_json": as_json, "debug": debug}
    if ctx.invoked_subcommand is not None:
        return 0
    return int(module_of("start").start(ctx.obj))
