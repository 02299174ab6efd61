"""Show the loop's answer: current, wire, field, margins, what to carry."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from typing import TYPE_CHECKING

from kb.cli.tables import fitted
from kb.loop.driver import Fit
from kb.loop.field import Plane
from kb.loop.input_level import show_level
from kb.loop.plan import Answer, items
from kb.loop.routes import METRE
from kb.loop.standard import TOLERANCE_DB, Programme
from kb.loop.units import FOOT_M, show_frequency, show_length

if TYPE_CHECKING:
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

Say = Callable[[float], str]


def render_loop(answer: Answer, console: Console, *, feet: bool = False) -> None:
    """Show the answer to a person, metres or ``feet`` first; every answer ends with its cautions."""
    from rich.text import Text

    say = partial(show_length, feet=feet)
    x0, x1, y0, y1 = answer.loop.box
    shape = "" if len(answer.loop.corners) == 4 else f", {len(answer.loop.corners)} corners"
    console.print(Text(f"Loop {say(x1 - x0)} x {say(y1 - y0)}{shape}", style="bold"))
    console.print(_verdict(answer))
    if answer.reasons:
        console.print(_marked("-", [reason for _, reason in answer.reasons]))
    console.print()
    console.print(_facts(answer, say))
    console.print()
    console.print(fitted(_field_table(answer, say), console))
    for plane in answer.uncounted:
        console.print(Text(_not_counted(answer, plane, say)))
    console.print(
        Text(
            f"Most even at {say(answer.best.offset)} between loop and ear: "
            f"{answer.best.spread_db:.1f} dB from weakest to strongest."
        )
    )
    console.print()
    console.print(fitted(_voltage_table(answer), console))
    if answer.fit:
        console.print(_marked("-", _overload(answer.fit)))
    if answer.better:
        console.print()
        console.print(fitted(_choices(answer), console))
        if answer.one_turn:
            console.print(Text("One turn does not do: " + "; ".join(why for _, why in answer.one_turn) + "."))
    elif answer.ask.driver:
        console.print(Text("No gauge and no number of turns to 4 fits this driver."))
    route = answer.ask.route
    if route:
        console.print()
        console.print(Text(f"Route: {route.name}", style="bold"))
        console.print(_marked("-", [route.how, f"Mind: {route.mind}"]))
        console.print(Text("Carry", style="bold"))
        console.print(_carry(answer, feet=feet))
    console.print()
    console.print(Text("Cautions", style="bold"))
    console.print(_marked("!", [each.text for each in answer.cautions]))


def _not_counted(answer: Answer, plane: Plane, say: Say) -> str:
    """What a height that does not count would get from the current."""
    current = answer.level.current_a if answer.level else answer.current_a
    low, high = answer.range_db(plane, current)
    good = low >= -TOLERANCE_DB and high <= TOLERANCE_DB
    within = "would be within +-3 dB, too" if good else "would not be within +-3 dB"
    return f"{say(plane.height)} does not count and {within}. If people stand and listen, add --standing."


def _overload(judged: Fit) -> list[str]:
    """What the driver was judged by, and how that is tested in the room."""
    test, programme = judged.needs[1], judged.programme
    others = " or ".join(f"--programme {one}" for one in Programme if one is not programme)
    return [
        f"Judged for {programme.label}: the full current at 1 kHz, and no clipping 7 dB below it at"
        f" {show_frequency(test.hertz)} (cl. 10.3, second-hand). Other: {others}. Voltages are for"
        " the wire's greatest resistance.",
        f"On site: set a 1 kHz sine 7 dB below the field you need ({test.current_a:.2f} A). Raise the "
        f"frequency to {show_frequency(test.hertz)} at the same input. The driver must not clip (at most "
        f"{test.voltage_v:.2f} V at the loop).",
    ]


def render_sketch(answer: Answer, console: Console, *, feet: bool = False) -> None:
    """Show the field of the first listening height as a terminal plot."""
    from rich.text import Text

    from kb.loop.text_map import field_sketch

    current = answer.level.current_a if answer.level else answer.current_a
    plane = answer.planes[0]
    console.print()
    place = _place(answer, partial(show_length, feet=feet))
    console.print(Text(f"Field {place} at {current:.2f} A", style="bold"))
    width = min(72, console.width - 1)
    console.print(Text(field_sketch(answer.loop, plane.height, current * answer.metal_gain, width=width)))


def _marked(mark: str, lines: Sequence[str]) -> Table:
    """Lines with a mark in front, the rest of each indented."""
    from rich.table import Table
    from rich.text import Text

    table = Table.grid(padding=(0, 1))
    for line in lines:
        table.add_row(f" {mark}", Text(line))
    return table


def _carry(answer: Answer, *, feet: bool) -> Table:
    from rich.table import Table
    from rich.text import Text

    table = Table.grid(padding=(0, 1))
    table.add_column(justify="right", min_width=4)
    for each in items(answer):
        count, item = str(each.count), each.item
        if each.unit == METRE:
            both = f"{each.count} m", f"{each.count / FOOT_M:.0f} ft"
            count = " = ".join(reversed(both) if feet else both)
        table.add_row(count, Text(item))
    return table


def _verdict(answer: Answer) -> Text:
    from rich.text import Text

    turns = f"{answer.loop.turns} turn" + ("s" if answer.loop.turns > 1 else "")
    wound = f"  {turns} of {answer.wire.label}"
    if answer.fits and not answer.ask.driver:
        return Text.assemble(
            ("NOT JUDGED", "bold yellow"),
            f"{wound}\nThere is no driver to judge by; name one: --driver NAME, or --driver-current A and "
            "--driver-voltage V.",
        )
    driver = f" for the {answer.ask.driver.name}" if answer.ask.driver else ""
    word, style = ("FITS", "bold green") if answer.fits else ("DOES NOT FIT", "bold red")
    return Text.assemble((word, style), f"{wound}{driver}")


def _facts(answer: Answer, say: Say) -> Table:
    from rich.table import Table
    from rich.text import Text

    table = Table.grid(padding=(0, 2))
    table.add_column(style="bold", no_wrap=True)
    table.add_column()
    metal = answer.ask.metal_db
    worst = f"; {answer.resistance_max:.2f} at most (IEC 60228)" if answer.resistance_max else ""
    allowance = f", with the {metal:g} dB for metal that you stated" if metal else ""
    at = f"{_where(answer, say)}, {_place(answer, say)}"
    rows = [
        (
            "Current",
            f"{answer.current_a:.2f} A for 400 mA/m at {at}{allowance}",
        )
    ]
    level = answer.level
    if level and level.shift_db:
        brings = "brings the whole listening area within +-3 dB"
        if level.least:
            brings = "is the least that meets the standard, and the driver manages no more"
        rows.append((
            "",
            f"{level.current_a:.2f} A ({level.shift_db:+z.1f} dB) {brings} "
            f"({level.min_db:+z.1f} to {level.max_db:+z.1f})",
        ))  # fmt: skip
    rows += [
        ("", "r.m.s. at the loudest, 125 ms average; speech averages 12 dB less"),
        *_test_voltage(answer),
        ("Ohmmeter", f"{answer.load.resistance:.2f} ohm at {answer.ask.celsius:g} C, end to end{worst}"),
        ("Inductance", f"{answer.load.inductance * 1e6:.1f} uH"),
        ("Wire", f"{say(answer.laid_m)} in place"),
    ]
    if answer.ask.route:
        rows[-1] = ("Wire", f"{say(answer.laid_m)} in place, {say(answer.buy_m)} to carry")
    if (margin := answer.ask.line_margin_db) is not None:
        levels = (show_level(answer.ask.source_v or 0), show_level(answer.ask.sensitivity_v or 0))
        rows.append(("Line input", f"{levels[0]}, {margin:+.1f} dB to what the driver wants: {levels[1]}"))
    for name, words in rows:
        table.add_row(name, Text(words))
    return table


def _test_voltage(answer: Answer) -> list[tuple[str, str]]:
    """The voltage at 5 kHz, where no driver is judged."""
    if answer.fit:
        return []
    return [("Voltage", f"{answer.voltage_v:.2f} V for {answer.current_a:.2f} A, up to 5 kHz")]


def _field_table(answer: Answer, say: Say) -> Table:
    from rich import box
    from rich.table import Table

    level = answer.level.current_a if answer.level else answer.current_a
    table = Table(
        title=f"Listening area at {level:.2f} A, dB re 400 mA/m", box=box.SIMPLE_HEAD, title_justify="left"
    )
    table.add_column("ear from the loop" if answer.distance_only else "ear above the floor")
    for name in ("weakest", "strongest", "spread", "within +-3 dB"):
        table.add_column(name, justify="right")
    for plane in answer.planes:
        low, high = answer.range_db(plane, level)
        share = answer.share_within(plane, level)
        table.add_row(
            say(plane.height),
            f"{low:+z.1f}",
            f"{high:+z.1f}",
            f"{plane.spread_db:.1f}",
            f"{100 * share:.0f} %",
        )
    return table


def _voltage_table(answer: Answer) -> Table:
    from rich import box
    from rich.table import Table

    most = max(answer.current_a, answer.level.current_a if answer.level else 0.0)
    if answer.fit:
        most = answer.fit.needs[0].current_a
    table = Table(title=f"Voltage for {most:.2f} A", box=box.SIMPLE_HEAD, title_justify="left")
    table.add_column("at")
    if not answer.fit:
        table.add_column("impedance", justify="right")
        table.add_column("voltage", justify="right")
        for hertz in answer.voltages_v:
            ohm, volts = answer.load.impedance(hertz), answer.load.voltage(most, hertz)
            table.add_row(show_frequency(hertz), f"{ohm:.2f} ohm", f"{volts:.2f} V")
        return table
    for name in ("current", "voltage", "driver's margin"):
        table.add_column(name, justify="right")
    for need in answer.fit.needs:
        table.add_row(
            show_frequency(need.hertz),
            f"{need.current_a:.2f} A",
            f"{need.voltage_v:.2f} V",
            f"{need.margin_db:+z.1f} dB",
        )
    table.add_row("rated current", f"{most:.2f} A", "", f"{answer.fit.current_margin_db:+z.1f} dB")
    return table


def _choices(answer: Answer) -> Table:
    """What fits, the least bother first, with what each costs."""
    from rich import box
    from rich.table import Table

    table = Table(title="What fits, least bother first", box=box.SIMPLE_HEAD, title_justify="left")
    table.add_column("wire", no_wrap=True)
    for name in ("turns", "current", "wire in place", "copper"):
        table.add_column(name, justify="right")
    table.add_column("")
    first = answer.better[0].turns
    # what is cheapest with each number of turns is a real alternative; more wires of one kind are not
    shown = [each for each in answer.better if each.turns == first][:3]
    for turns in sorted({each.turns for each in answer.better} - {first})[:2]:
        shown.append(next(each for each in answer.better if each.turns == turns))
    for each in shown:
        table.add_row(
            each.wire.label,
            str(each.turns),
            f"{each.current_a:.2f} A",
            f"{each.metres:.0f} m",
            f"{each.copper_kg:.2f} kg",
            "least current" if each.least else "",
        )
    return table


def _place(answer: Answer, say: Say) -> str:
    height = say(answer.planes[0].height)
    return f"{height} from the loop" if answer.distance_only else f"{height} above the floor"


def _where(answer: Answer, say: Say) -> str:
    """The commissioning point in words: the centre of a plain room, else from the zero of its corners."""
    if len(answer.loop.corners) == 4:
        return "the centre"
    x, y = answer.loop.commissioning_point
    return f"x {say(x)}, y {say(y)}"
