"""readings: judge measured values against IEC 60118-4."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import click

from kb.base.errors import BadInput
from kb.base.inputfiles import read_data
from kb.cli.common import Session, command_options, text
from kb.loop.readings_file import readings_from
from kb.loop.verdict import Check, Judgement, judge

if TYPE_CHECKING:
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

#: A larger file is not a set of readings.
LARGEST_BYTES: Final = 1024 * 1024
_WEAK_MA_PER_M: Final = 5.0  #: 38 dB below what the standard asks for


def _record(session: Session, data: object, which: tuple[str, str]) -> str:
    """Keep the readings with a visit to the set; they stay in this book. Returns the id of the visit."""
    from kb.base import clock
    from kb.domain.visit import visit_from

    day = data.get("date") if isinstance(data, dict) else None
    visit = visit_from(
        {
            "date": day or clock.today().isoformat(),
            "by": session.settings.initials,
            "basis": "tested",
            "source": {"make": which[0], "model": which[1]},
            "readings": data,
        },
        "readings",
    )
    done = session.book.record([visit])
    session.say(f"recorded  {which[0]} {which[1]}")
    return [*(one.id for one in done.recorded), *done.already][0]


@click.command("readings")
@click.argument("file", metavar="FILE")
@click.option("--record", nargs=2, metavar="MAKE MODEL", help="Keep the readings in the book with a visit.")
@command_options
def readings_command(session: Session, file: str, record: tuple[str, str] | None) -> int:
    """Judge the readings in FILE (JSON or TOML; - for stdin) against IEC 60118-4.

    Field at positions at 1 kHz, response at 100 Hz, 1 kHz and 5 kHz, background noise with the driver off
    and on. With the loop told, measured is compared with computed. Exit 1: falls short.

    \b
    jackfield readings readings.toml

    \b
    [[positions]]
    name = "sofa"
    field_ma_per_m = 380        # or field_db; x_m, y_m, height_m
    [response]
    at = "sofa"
    db_100_hz = -1.0
    db_1000_hz = 0.0
    db_5000_hz = -2.0
    [noise]
    driver_off_dba = -52        # dB(A) re 400 mA/m
    driver_on_dba = -45
    [loop]                      # optional
    length_m = 5.0
    width_m = 4.0
    current_a = 2.7
    [user]                      # optional; has the last word at home
    satisfied = true
    words = "clear"
    """
    data, place = read_data(file, LARGEST_BYTES)
    try:
        judgement = judge(readings_from(data))
    except BadInput as wrong:
        raise wrong.within(place) from None
    for said in _slips(data):
        session.say(said)
    kept = _record(session, data, record) if record else None
    if session.as_json:
        session.json(judgement.as_json() | ({"recorded": kept} if kept else {}))
    else:
        render_readings(judgement, session.console)
    return 0 if judgement.verdict == "meets" else 1


def _slips(data: object) -> list[str]:
    """Fields so weak in mA/m that they may have been read as A/m; the data are known to be readings."""
    rows = data.get("positions") or [] if isinstance(data, dict) else []
    weak = [
        f"{row.get('name') or f'position {number}'}: {row['field_ma_per_m']:g} mA/m"
        for number, row in enumerate(rows, 1)
        if 0 < (row.get("field_ma_per_m") or 0) < _WEAK_MA_PER_M
    ]
    return [f"{one}; were these A/m? field_ma_per_m is in mA/m" for one in weak[:3]]


def render_readings(judgement: Judgement, console: Console) -> None:
    """Show the verdict to a person. Names and words from the file are shown as text, never as markup."""
    from rich.table import Table
    from rich.text import Text

    from kb.cli.tables import fitted

    if judgement.failed:
        word, style = "FALLS SHORT of the standard", "bold red"
    elif judgement.incomplete:
        word, style = "NOT PROVED to meet the standard", "bold yellow"
    else:
        word, style = "MEETS the standard", "bold green"
    title = " ".join(part for part in (judgement.readings.place, judgement.readings.date) if part)
    if title:
        console.print(text(title, "bold"))
    console.print(Text.assemble((word, style), "  IEC 60118-4:2014+A1:2017"))
    if judgement.failed:
        console.print(text("  out of limits: " + "; ".join(judgement.failed)))
    if judgement.incomplete:
        console.print(text("  not measured: " + "; ".join(judgement.incomplete)))
        if not judgement.failed:
            console.print(Text("  What was measured lies within its limits; the rest is not proved."))
    _user(judgement, console)
    console.print(fitted(_checks(judgement), console))
    if judgement.compared:
        console.print(fitted(_compared(judgement), console))
    for head, found in (("What it points at", judgement.diagnosis), ("Next", judgement.advice)):
        lines = Table.grid(padding=(0, 1))
        for each in found:
            where = f" ({', '.join(each.where)})" if any(each.where) else ""
            lines.add_row(" -", text(f"{each.text}{where}"))
        if found:
            console.print(text(head, "bold"))
            console.print(lines)


def _user(judgement: Judgement, console: Console) -> None:
    """Show the user's own verdict beside the standard's."""
    from rich.text import Text

    user = judgement.readings.user
    if user:
        asked = {True: "satisfied", False: "not satisfied", None: "not asked"}[user.satisfied]
        console.print(Text.assemble(("The user, who has the last word at home: ", "bold"), asked))
        if user.words:
            for line in user.words.splitlines():
                console.print(text(f"  {line}"))
    else:
        console.print(Text("The user has the last word at home: ask, and write it down beside this."))


def _checks(judgement: Judgement) -> Table:
    from rich import box
    from rich.table import Table

    table = Table(box=box.SIMPLE_HEAD)
    table.add_column("check")
    table.add_column("value", justify="right", no_wrap=True)
    table.add_column("limit", no_wrap=True)
    table.add_column("", no_wrap=True)
    table.add_column("source", no_wrap=True)
    for each in judgement.checks:
        name = each.name
        if each.note and each.value is not None and each.code != "field":
            name += f" ({each.note})"
        # the standard is named once, above
        source = each.source.removeprefix("IEC 60118-4:2014+A1:2017 ").split(",")[0]
        table.add_row(text(name), _value(each), _limit(each), _mark(each), source)
    return table


def _value(check: Check) -> str:
    if check.value is None:
        return "not measured"
    if check.code == "field":
        return f"{check.note} {check.value:+z.1f} dB"
    number = f"{check.value:+z.1f}" if "dB" in check.unit else f"{check.value:.3g}"
    return f"{number} {_unit(check)}"


def _unit(check: Check) -> str:
    return check.unit.replace(" re 400 mA/m", "").replace(" re 1 kHz", "")


def _limit(check: Check) -> str:
    unit = _unit(check)
    if check.limit.endswith(" or less"):
        return f"≤ {check.limit.removesuffix(' or less')} {unit}"
    return f"{check.limit} {unit}"


def _mark(check: Check) -> Text:
    from rich.text import Text

    return {
        True: Text("ok", style="green"),
        False: Text("OUT", style="bold red"),
        None: Text("?", style="yellow"),
    }[check.ok]


def _compared(judgement: Judgement) -> Table:
    from rich import box
    from rich.table import Table

    title = "Measured and computed, dB re 400 mA/m"
    if not judgement.current_known:
        title += " (computed for 1 A: compare the pattern only)"
    table = Table(title=title, box=box.SIMPLE_HEAD, title_justify="left")
    table.add_column("position")
    for name in ("measured", "computed", "difference"):
        table.add_column(name, justify="right")
    for each in judgement.compared:
        table.add_row(
            text(each.name),
            f"{each.measured_db:+z.1f}",
            f"{each.computed_db:+z.1f}",
            f"{each.difference:+z.1f}",
        )
    return table
