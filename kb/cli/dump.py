"""dump: write the whole book to a file that loads to an equal book."""

from __future__ import annotations

import sys
from collections.abc import Iterable
from contextlib import closing
from pathlib import Path

import click

from kb.base.errors import BadInput
from kb.base.messages import Said
from kb.cli.command import command
from kb.cli.common import Output, Session, text


@command("dump")
@click.argument("file", required=False, metavar="[FILE]", type=Output("JSON Lines, CSV", or_json=True))
@click.option("--as", "form", type=click.Choice(["jsonl", "csv"]))
@click.option("--replace", is_flag=True)
def dump_command(session: Session, file: str | None, form: str | None, replace: bool) -> int:
    """
    jackfield dump book.jsonl
    jackfield dump book.csv.gz
    """
    from kb.exchange.dumping import counts, csv_rows, json_lines

    if file in (None, "-") and session.as_json:
        raise BadInput("dump", Said("seen/json-and-no-file"), Said("expected/file-to-write"))
    name = (file or "").lower().removesuffix(".gz")
    as_csv = form == "csv" or (form is None and name.endswith(".csv"))
    with session.found_book.store.snapshot() as now:
        said = counts(now)
        with closing(csv_rows(now) if as_csv else json_lines(now)) as lines:
            if file in (None, "-"):
                for line in lines:
                    sys.stdout.buffer.write(line.encode("utf-8"))
                sys.stdout.buffer.flush()
                return 0
            write_whole(Path(file), lines, replace=replace)
    if session.as_json:
        session.json({"file": file, "form": "csv" if as_csv else "jsonl", **said})
    else:
        session.console.print(text(session.language("cli/dump/done", file=file, count=said["visit"])))
    return 0


def write_whole(path: Path, lines: Iterable[str], *, replace: bool) -> None:
    """Write a file for this user alone, whole or not at all; gzip by its name.

    Raises BadInput if it is there already and ``replace`` is not set, BookTrouble where it cannot be
    written.
    """
    from kb.exchange.bundle import new_file

    with new_file(path, replace=replace) as out:
        for line in lines:
            out.write(line.encode("utf-8"))
