"""Run the command that was meant, and turn errors into messages and exit codes.

Each command lives in a module of its own that is imported only when it is called, so that a lookup from a
cold start loads nothing that it does not use.
"""

from __future__ import annotations

import gc
import os
import sys
from collections.abc import Sequence
from typing import Any, Final

import click

from kb.base.errors import JackfieldError, ascii_controls
from kb.base.version import VERSION
from kb.cli.group import LazyGroup

#: Name of the command -> (its module, one line of help); ``serve`` joins command line and page, above both.
#: The order is the order of a visit.
COMMANDS: Final[dict[str, tuple[str, str]]] = {
    "find": ("find", "Find a set that somebody met before."),
    "show": ("show", "Show one set: its panel and all visits."),
    "path": ("path", "Choose how to connect a set to the loop driver."),
    "evidence": ("evidence", "Show what to expect of a set, known or not."),
    "pack": ("pack", "Choose what to carry to a day's jobs."),
    "sheet": ("sheet", "Write a sheet for the client and one for your file."),
    "tag": ("tag", "Make a label for the back of the driver."),
    "record": ("record", "Record a visit: the jacks of a set and what worked."),
    "isolate": ("isolate", "Find a fault, test by test, the cheapest useful one first."),
    "loop": ("loop", "Compute a hearing loop: wire, current, field."),
    "tone": ("tone", "Write test signals for the loop as WAV files."),
    "readings": ("readings", "Judge readings of a loop against IEC 60118-4."),
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
    "pack": "packing",
    "sheet": "paper",
    "tag": "paper",
    "record": "recording",
    "isolate": "faults",
    "loop": "loop",
    "readings": "loop",
    "tone": "loop",
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


#: Objects made between two searches for cycles of them: importing makes many, and no such cycles.
_RARELY: Final = 50_000


@click.group(
    cls=LazyGroup, table=COMMANDS, pages=PAGES, context_settings={"help_option_names": ["-h", "--help"]}
)
@click.version_option(VERSION, prog_name="jackfield")
@click.option("--home", metavar="DIR", help="Folder of the book (or JACKFIELD_HOME).")
@click.option("--store", metavar="URL", help="URL of a shared book (or JACKFIELD_STORE).")
@click.option("--json", "as_json", is_flag=True, help="Print the answer as one JSON document.")
@click.option("--debug", is_flag=True, help="Show the traceback of an error.")
@click.pass_context
def jackfield(ctx: click.Context, home: str | None, store: str | None, as_json: bool, debug: bool) -> None:
    """Connect televisions to hearing loops: find a set, see how it was connected, record what you found.

    Longer pages: jackfield guide
    """
    ctx.obj = {"home": home, "store": store, "as_json": as_json, "debug": debug}


def main(argv: Sequence[str] | None = None) -> None:
    """Run one command and leave with its exit code: 0 done, 1 a true "no", 2 wrong input, 3 book trouble."""
    words = list(sys.argv[1:] if argv is None else argv)
    gc.set_threshold(_RARELY)
    # Where the locale knows no UTF-8, Python hands bytes on as surrogates; people type UTF-8 all the same.
    code = run([os.fsencode(word).decode("utf-8", "surrogateescape") for word in words])
    gc.freeze()  # the modules are not searched for cycles once more while Python leaves
    sys.exit(code)


def run(args: list[str]) -> int:
    """Run one command; returns its exit code. No traceback reaches a user unless ``--debug`` is given."""
    debug = "--debug" in args
    _usable_streams()
    if args[:1] == ["help"]:
        args = [*args[1:], "--help"]
    try:
        code: Any = jackfield.main(args, prog_name="jackfield", standalone_mode=False)
        sys.stdout.flush()
    except click.exceptions.Exit as leaving:
        return leaving.exit_code
    except click.exceptions.NoArgsIsHelpError as bare:
        print(bare.format_message())
        return 0
    except click.ClickException as wrong:
        _say(_usage(wrong))
        return 2
    except (click.Abort, KeyboardInterrupt):
        _say("stopped; nothing more was saved")
        return 130
    except (BrokenPipeError, SystemExit):
        # The reader of our output (head, less) has gone, and click and rich exit: that is no error.
        mute()
        return 0
    except JackfieldError as trouble:
        _trace(debug)
        _say(str(trouble))
        return trouble.exit_code
    except OSError as trouble:
        _trace(debug)
        mute()
        _say(f"could not be read or written: {trouble.strerror or trouble}")
        return 3
    except Exception as mistake:  # the last resort: our own mistake is reported as one
        _trace(debug)
        _say(f"a mistake in Jackfield itself ({type(mistake).__name__}: {mistake}); --debug shows where")
        return 3
    return code if isinstance(code, int) else 0


def _usable_streams() -> None:
    """Let every answer be written: what the terminal's alphabet lacks becomes a question mark."""
    for name, mode in (("stdin", "r"), ("stdout", "w"), ("stderr", "w")):
        stream = getattr(sys, name)
        if stream is None:  # closed by the program that called us
            setattr(sys, name, open(os.devnull, mode, encoding="utf-8"))  # noqa: SIM115  # for the whole run
        elif mode == "w" and hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")


def mute() -> None:
    """Write nothing more to stdout, not even when Python leaves."""
    try:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    except (OSError, ValueError):
        sys.stdout = open(os.devnull, "w", encoding="utf-8")  # noqa: SIM115  # for the rest of the run


def _trace(debug: bool) -> None:
    if debug:
        import traceback

        traceback.print_exc()


def _usage(wrong: click.ClickException) -> str:
    where = wrong.ctx.command_path if isinstance(wrong, click.UsageError) and wrong.ctx else ""
    hint = f"\nTry '{where} --help'." if where else ""
    return f"{wrong.format_message()}{hint}"


def _say(message: str) -> None:
    """One message on stderr, with nothing in it that could steer the terminal."""
    lines = (ascii_controls(line) for line in message.splitlines())
    print("jackfield: " + "\n".join(lines), file=sys.stderr)


if __name__ == "__main__":
    main()
