"""load: read files of old notes: CSV with a column mapping, JSON Lines, or a dump."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import asdict
from typing import TYPE_CHECKING, Any, Final

import click

from kb.base.errors import BadInput, BookTrouble, inside
from kb.base.inputfiles import read_text
from kb.base.messages import Said, worded
from kb.cli.command import command
from kb.cli.common import Session, answering, text
from kb.cli.progress import bar

if TYPE_CHECKING:
    from kb.exchange.csv_columns import TableMap
    from kb.exchange.loading import BadRow, Loaded

_SHOWN: Final = 20  #: rows of the report on the screen; --json lists up to 1000


@command("load")
@click.argument("files", nargs=-1, required=True, metavar="FILE...")
@click.option("--map", "columns", multiple=True, metavar="COLUMN=FIELD")
@click.option("--mapping", metavar="F")
@click.option("--every", multiple=True, metavar="FIELD=VALUE")
@click.option("--date-format", metavar="FORM")
@click.option("--encoding", default="utf-8-sig", metavar="NAME")
@click.option("--as", "form", type=click.Choice(["csv", "jsonl"]))
@click.option("--keep-good", is_flag=True)
@click.option("--dry-run", is_flag=True)
def load_command(
    session: Session,
    files: tuple[str, ...],
    columns: tuple[str, ...],
    mapping: str | None,
    every: tuple[str, ...],
    date_format: str | None,
    encoding: str,
    form: str | None,
    keep_good: bool,
    dry_run: bool,
) -> int:
    """
    jackfield load notes.csv --dry-run
    jackfield load notes.csv --map "Set maker=make" --map "Remarks=-"
    jackfield load old-book.jsonl
    """
    from kb.exchange.lines import opened
    from kb.exchange.loading import Source, load

    for file in files:
        if file != "-":
            with opened(file):  # a name that is wrong makes no book
                pass
    source = Source(_mapping(columns, mapping, every, date_format), _encoding(encoding), form or "")
    with bar(session.language("cli/progress/loading")) as tell:
        done = load(
            session.book.store_to_write(), files, source, keep_good=keep_good, dry_run=dry_run, progress=tell
        )
    if done.written:
        with (
            bar(session.language("cli/progress/index")) as tell,
            suppress(BookTrouble),
        ):  # what it misses it catches up at the next question
            book = session.open_book(tell)
            if done.completed:  # words of visits that the index has seen already
                book.reindex()
            else:
                book.catch_up()
    with answering(session, "loaded" if done.written else "not-loaded"):
        if session.as_json:
            session.json(
                {**asdict(done), "dry_run": dry_run, "bad": [_as_json(session, one) for one in done.bad]}
            )
        else:
            _tell(session, done, dry_run, keep_good)
    return 2 if done.bad_count and not keep_good else 0


def _encoding(name: str) -> str:
    """An encoding of text in which a line ends as in ASCII: files are read line by line."""
    try:
        by_line = b"a,1\n".decode(name) == "a,1\n"
    except (LookupError, ValueError):
        by_line = False
    if not by_line:
        raise BadInput("--encoding", name, Said("expected/encoding"))
    return "utf-8-sig" if name.lower().replace("_", "-") in ("utf-8", "utf8") else name


def _mapping(
    columns: tuple[str, ...], file: str | None, every: tuple[str, ...], date_format: str | None
) -> TableMap:
    from kb.exchange.csv_columns import TableMap, date_form, fixed, pairs, read_mapping

    said = read_mapping(*read_text(file, expected="TOML")) if file else TableMap()
    return TableMap(
        {**said.columns, **pairs(columns)},
        said.values,
        {**said.every, **fixed(every)},
        said.date if date_format is None else date_form(date_format, "--date-format"),
    )


def _tell(session: Session, done: Loaded, dry_run: bool, keep_good: bool) -> None:
    out, said = session.console, session.language
    for place, fields in done.columns.items():
        if dry_run:
            width = max(map(len, fields), default=0)
            for column, field in fields.items():
                out.print(text(f"  {column:{min(width, 30)}}  {field}"))
        if done.unused[place]:
            session.say(said("cli/load/unused", place=place, columns=", ".join(done.unused[place])))
    for bad in done.bad[:_SHOWN]:
        session.say(_mistake(bad))
    if done.bad_count > _SHOWN:
        session.say(said("cli/load/more-mistakes", count=done.bad_count - _SHOWN))
    if done.bad_count and not keep_good:
        session.say(said("cli/load/refused"))
        if not dry_run:
            return
    visits, findings = said.counted("visit", done.visits), said.counted("finding", done.findings)
    content = said("cli/load/content", visits=visits, findings=findings)
    if done.other_facts:
        content += said("language/join") + said.counted("other-entry", done.other_facts)
    out.print(text(said("cli/load/would" if dry_run else "cli/load/done", content=content)))
    if done.already:
        out.print(text(said("cli/load/already", count=done.already)))
    if done.withdrawn and not dry_run:
        first = ", ".join(one[:8] for one in done.withdrawn[:5])
        session.say(said("cli/load/withdrawn", count=len(done.withdrawn), first=first))
    if done.completed and not dry_run:
        out.print(text(said("cli/load/completed", count=done.completed)))


def _mistake(bad: BadRow) -> BadInput:
    place = inside(bad.file, Said("place/line", number=bad.line))
    return BadInput(bad.field, bad.seen or None, bad.expected).within(place)


def _as_json(session: Session, bad: BadRow) -> dict[str, Any]:
    code = session.language.code
    seen = "" if bad.seen is None else worded(bad.seen, code)
    said = {"field": worded(bad.field, code), "seen": seen, "expected": worded(bad.expected, code)}
    return {"file": bad.file, "line": bad.line, **said}
