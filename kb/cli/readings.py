"""readings: judge measured values against IEC 60118-4."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import click

from kb.base.errors import BadInput
from kb.base.inputfiles import read_data
from kb.cli.common import Session, command_options, text
from kb.loop.field import field_a_per_m
from kb.loop.readings_file import readings_from
from kb.loop.standard import STANDARD, Meter, Signal
from kb.loop.units import show_frequency
from kb.loop.verdict import Check, Judgement, judge

if TYPE_CHECKING:
    from rich.console import Console
    from rich.padding import Padding
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

    The field at each place, the response at 100 Hz, 1 kHz and 5 kHz, the background noise with the driver off
    and on. If the file names the loop, Jackfield compares measured with computed. Exit 1: falls short.

    \b
    jackfield readings readings.toml

    \b
    [[positions]]               # one for each place
    name = "sofa"
    field_ma_per_m = 410        # or field_db; x_m, y_m, height_m
    response_db = { 100 = -1.0, 1000 = 0.0, 5000 = -2.0 }
    noise_off_dba = -52         # dB(A) re 400 mA/m, driver off
    noise_on_dba = -51          # driver on, inputs muted

    \b
    signal = "pink"             # if it was not a 1 kHz sine; above [[positions]]
    meter = "rms"               # or peak-programme
    use = "counter"             # or refuge, chair; a room if left out
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
        word, style = "MEETS the standard" + _scope(judgement), "bold green"
    title = " ".join(part for part in (judgement.readings.place, judgement.readings.date) if part)
    if title:
        console.print(text(title, "bold"))
    console.print(Text.assemble((word, style), f"  {STANDARD}"))
    if said := _measured_with(judgement):
        console.print(Text(f"  {said}"))
    unmeasured = [name for name in judgement.incomplete if name not in judgement.doubted]
    lists = {"out of limits": judgement.failed, "doubted": judgement.doubted, "not measured": unmeasured}
    lines = Table.grid(padding=(0, 1))
    for head, names in lists.items():
        if names:
            lines.add_row(f"  {head}:", text("; ".join(names)))
    if any(lists.values()):
        console.print(lines)
    if judgement.incomplete and not judgement.failed and not judgement.doubted:
        console.print(Text("  What was measured lies within its limits; the rest is not proved."))
    _user(judgement, console)
    _checks(judgement, console)
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


def _scope(judgement: Judgement) -> str:
    """For how much of the room the verdict holds."""
    count = judgement.places
    return " at the one place measured" if count == 1 else f" at the {count} places measured"


def _measured_with(judgement: Judgement) -> str:
    """Signal, meter and the reading that is right with them, unless they are the usual ones."""
    readings = judgement.readings
    if (readings.signal, readings.meter, readings.target_db) == (Signal.SINE, Meter.RMS, 0):
        return ""
    return (
        f"{readings.signal.label} on an {readings.meter.label}: a system set to 400 mA/m reads "
        f"{readings.target_db:+z.1f} dB"
    ).replace("an peak", "a peak")


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


#: What is shown together under one heading, by the codes of the checks.
_GROUPS: Final = (
    ("Field re 400 mA/m", ("field", "field-reached", "points", "standing")),
    ("Response re 1 kHz", ("response",)),
    ("Noise re 400 mA/m", ("noise-off", "noise-on")),
    ("Exposure, for information", ("exposure",)),
)
#: Columns that value, limit and mark need at the most, with what parts them.
_BESIDE: Final = 44


def _checks(judgement: Judgement, console: Console) -> None:
    """Show the checks in groups, each under a heading with its clauses."""
    from rich.table import Table
    from rich.text import Text

    most = max(12, console.width - _BESIDE)
    width = min(most, max(len(_label(each)) for each in judgement.checks))
    for head, codes in _GROUPS:
        found = [each for each in judgement.checks if each.code in codes]
        sources = dict.fromkeys(_source(each) for each in found)
        console.print()
        console.print(Text.assemble((head, "bold"), f"  {', '.join(sources)}"))
        table = Table.grid(padding=(0, 2))
        table.add_column(width=width)
        for _ in range(3):
            table.add_column(no_wrap=True)
        for each in found:
            table.add_row(_indented(_label(each)), _value(each), _limit(each), _mark(each))
        console.print(table)
        for each in found:
            if each.note and each.value is not None and (each.doubted or each.code == "noise-off"):
                console.print(_indented(f"{_label(each)}: {each.note}", 3))
    console.print()
    console.print(Text("The clauses are second-hand, from a public transcription of the standard."))


def _indented(said: str, by: int = 1) -> Padding:
    from rich.padding import Padding

    return Padding(text(said), (0, 0, 0, by))


def _label(check: Check) -> str:
    """The name of a check under the heading of its group."""
    place = f", {check.place}" if check.place else ""
    match check.code:
        case "field":
            return check.place or "field"
        case "field-reached":
            return "strongest place"
        case "standing":
            return f"where people stand{place}"
        case "points":
            return f"points at {check.height:g} m"
        case "response" if check.hertz is None:
            return check.place
        case "response":
            return f"{show_frequency(check.hertz or 0)}{place}"
        case "noise-off":
            return f"driver off{place}"
        case "noise-on":
            return f"driver on{place}"
        case _:
            return "strongest place"


def _value(check: Check) -> str:
    if check.value is None:
        return "not measured"
    if check.code in ("field", "field-reached", "standing"):
        return f"{_milliamps(check.value)} {check.value:+z.1f} dB"
    if check.code == "points":
        return f"{check.value:g}"
    number = f"{check.value:+z.1f}" if "dB" in check.unit else f"{check.value:.3g}"
    return f"{number} {check.unit}"


def _milliamps(level: float) -> str:
    field = 1000 * field_a_per_m(level)
    return f"{field:.0f} mA/m" if field >= 10 else f"{field:.2g} mA/m"


def _limit(check: Check) -> str:
    if check.low is not None and check.high is not None:
        limit = f"{check.low:+g} to {check.high:+g}"
    elif check.low is not None:
        limit = f"≥ {check.low:g}"
    elif check.high is not None:
        limit = f"≤ {check.high:.3g}"
    else:
        return ""
    return limit if check.code == "points" else f"{limit} {check.unit}"


def _source(check: Check) -> str:
    """The clause; other sources by their first words."""
    return f"cl. {check.clause}" if check.clause else check.other.split(",")[0]


def _mark(check: Check) -> Text:
    from rich.text import Text

    if check.doubted and check.ok is None:
        return Text("doubted", style="yellow")
    if check.ok is False and not check.required:
        return Text("tell", style="yellow")
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
