"""``jackfield loop``: which wire, how many turns, what current, and does the driver manage it?"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import click

from kb.catalogue.files import data_file
from kb.cli.common import Session, command_options
from kb.errors import BadInput, described
from kb.loop.driver import DriverLimits, driver_named, drivers_from
from kb.loop.geometry import Loop
from kb.loop.plan import CEILING_M, Answer, Ask, as_json, items, plan
from kb.loop.routes import cautions_from, route_named, routes_from
from kb.loop.units import length, outline, room, show_length
from kb.loop.wire import stock_from, wire_from

if TYPE_CHECKING:
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text


@click.command("loop")
@click.option("--room", "room_text", metavar="AxB", help="Room, such as 5.2x4.1 or 17ftx13ft 6in.")
@click.option("--length", "length_text", metavar="A", help="One side of the loop (with --width).")
@click.option("--width", "width_text", metavar="B", help="The other side.")
@click.option("--polygon", metavar="CORNERS", help='Corners x,y in order: "0,0 5,0 5,3 3,3 3,4 0,4".')
@click.option(
    "--height",
    metavar="H",
    help="Vertical distance between the loop's plane and the listener's ear, above or below alike. "
    "Instead of it: --wire-height or --route, and --listen-height.",
)
@click.option(
    "--wire-height", metavar="H", help="Height of the wire above the floor; below it: --wire-height=-0.3."
)
@click.option(
    "--listen-height",
    multiple=True,
    metavar="H",
    help="Height of the ear above the floor; may be repeated, the first sets the current. "
    "Default 1.2 m (seated), then 1.7 m (standing).",
)
@click.option(
    "--ceiling", metavar="H", help=f"Height of the ceiling, for routes above it. Default {CEILING_M:g} m."
)
@click.option("--turns", type=int, metavar="N", help="Turns. Default: what fits the driver, else 1.")
@click.option(
    "--wire", "wire_text", metavar="GAUGE", help="awg18, 1.5mm2, ... Default: what fits, else awg18."
)
@click.option(
    "--temp", type=float, default=20.0, show_default=True, metavar="C", help="Temperature of the wire, C."
)
@click.option("--driver", "driver_name", metavar="NAME", help="A driver of the catalogue.")
@click.option("--driver-current", type=float, metavar="A", help="Your driver's rated current, A r.m.s.")
@click.option("--driver-voltage", type=float, metavar="V", help="Your driver's highest voltage, V r.m.s.")
@click.option(
    "--route", "route_code", metavar="NAME", help="How the wire is laid: joists, tack-strip, trim, ..."
)
@click.option("--doorways", type=int, default=0, metavar="N", help="Doorways the wire passes.")
@click.option("--feed", metavar="L", help="One-way length of the twisted pair from driver to loop.")
@click.option(
    "--margin", metavar="M", help="Nobody listens nearer to the wire than this, from above. Default 0.5 m."
)
@click.option(
    "--metal-db", type=float, default=0.0, metavar="X", help="Loss to metal that you allow for, dB."
)
@click.option("--plot", is_flag=True, help="Show the field in the terminal.")
@click.option("--svg", type=click.Path(path_type=Path), metavar="FILE", help="Write the field as SVG.")
@click.option("--png", type=click.Path(path_type=Path), metavar="FILE", help="Write the field as PNG.")
@command_options
def loop_command(session: Session, plot: bool, svg: Path | None, png: Path | None, **given: Any) -> int:
    """Compute a hearing loop: field, current, wire, voltage; does it fit the driver?

    Lengths are metres (5.2, 520 cm) or feet and inches (17' 6"). Exit 1: it does not fit.

    \b
    jackfield loop --room 5.2x4.1 --route joists --driver "bench driver"
    jackfield loop --length 5 --width 4 --height 1.2 --wire awg18 --turns 1 --json
    """
    answer = answer_for(given)
    if svg is not None:
        _write_picture(answer, "svg", svg)
    if png is not None:
        _write_picture(answer, "png", png)
    if session.as_json:
        session.json(as_json(answer))
    else:
        render_loop(answer, session.console)
        if plot:
            render_sketch(answer, session.console)
    return 0 if answer.fits else 1


def answer_for(given: Mapping[str, Any]) -> Answer:
    """Return the answer for the options as typed. Raises BadInput naming the option."""
    if given["height"] is not None and (given["wire_height"] is not None or given["listen_height"]):
        raise BadInput(
            "--height", described("given with --wire-height or --listen-height"), "either one or the others"
        )
    table = load_table("routes")
    routes = routes_from(table)
    usual = Ask(room=_room(given))
    route = given["route_code"]
    ask = replace(
        usual,
        height=_length(given, "height", 0, 10, usual.height),
        wire_height=_length(given, "wire_height", -5, 10, usual.wire_height),
        listen=_listen(given["listen_height"]) or usual.listen,
        turns=_turns(given["turns"]),
        wire=None if given["wire_text"] is None else wire_from(given["wire_text"], "--wire"),
        celsius=given["temp"],
        driver=_driver(given),
        route=None if route is None else route_named(route, routes),
        ceiling=_length(given, "ceiling", 1.5, 10, usual.ceiling) or usual.ceiling,
        doorways=given["doorways"],
        feed=_length(given, "feed", 0, 100, usual.feed) or 0.0,
        metal_db=given["metal_db"],
        margin=_length(given, "margin", 0, 20, usual.margin) or 0.0,
    )
    return plan(ask, stock_from(load_table("wire")), [each for each in cautions_from(table) if each.always])


def load_table(name: Literal["routes", "wire", "drivers"]) -> dict[str, Any]:
    """Return a parsed table of the catalogue's data."""
    return tomllib.loads(data_file(f"{name}.toml").read_text(encoding="utf-8"))


def render_loop(answer: Answer, console: Console) -> None:
    """Show the answer to a person; every answer ends with its cautions."""
    from rich.text import Text

    x0, x1, y0, y1 = answer.loop.box
    shape = "" if len(answer.loop.corners) == 4 else f", {len(answer.loop.corners)} corners"
    console.print(Text(f"Loop {show_length(x1 - x0)} x {show_length(y1 - y0)}{shape}", style="bold"))
    console.print(_verdict(answer))
    if answer.reasons:
        console.print(_marked("-", [reason for _, reason in answer.reasons]))
    console.print()
    console.print(_facts(answer))
    console.print()
    console.print(_field_table(answer))
    console.print(
        Text(
            f"Most even at {show_length(answer.best.offset)} between loop and ear: "
            f"{answer.best.spread_db:.1f} dB from weakest to strongest."
        )
    )
    console.print()
    console.print(_voltage_table(answer))
    if answer.better:
        console.print(Text("Fits, least copper first: " + "; ".join(_choices(answer)) + "."))
    elif answer.ask.driver:
        console.print(Text("No gauge and no number of turns to 4 fits this driver."))
    route = answer.ask.route
    if route:
        console.print()
        console.print(Text(f"Route: {route.name}", style="bold"))
        console.print(_marked("-", [route.how, f"Mind: {route.mind}"]))
        console.print(Text("Carry", style="bold"))
        console.print(_carry(answer))
    console.print()
    console.print(Text("Cautions", style="bold"))
    console.print(_marked("!", [each.text for each in answer.cautions]))


def render_sketch(answer: Answer, console: Console) -> None:
    """Show the field of the first listening height as a terminal plot."""
    from rich.text import Text

    from kb.loop.sketch import field_sketch

    current = answer.level.current_a if answer.level else answer.current_a
    plane = answer.planes[0]
    console.print()
    console.print(Text(f"Field {_place(answer)} at {current:.2f} A", style="bold"))
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


def _carry(answer: Answer) -> Table:
    from rich.table import Table
    from rich.text import Text

    table = Table.grid(padding=(0, 1))
    table.add_column(justify="right", min_width=4)
    for each in items(answer):
        table.add_row(str(each.count), Text(each.item))
    return table


def _verdict(answer: Answer) -> Text:
    from rich.text import Text

    turns = f"{answer.loop.turns} turn" + ("s" if answer.loop.turns > 1 else "")
    driver = (
        f" for the {answer.ask.driver.name}"
        if answer.ask.driver
        else " (no driver named: field and wire only)"
    )
    word, style = ("FITS", "bold green") if answer.fits else ("DOES NOT FIT", "bold red")
    return Text.assemble((word, style), f"  {turns} of {answer.wire.label}{driver}")


def _facts(answer: Answer) -> Table:
    from rich.table import Table
    from rich.text import Text

    table = Table.grid(padding=(0, 2))
    table.add_column(style="bold", no_wrap=True)
    table.add_column()
    metal = answer.ask.metal_db
    worst = f"; {answer.resistance_max:.2f} at most (IEC 60228)" if answer.resistance_max else ""
    allowance = f", with the {metal:g} dB for metal that you stated" if metal else ""
    rows = [
        ("Current", f"{answer.current_a:.2f} A for 400 mA/m at {_where(answer)}, {_place(answer)}{allowance}")
    ]
    level = answer.level
    if level and level.shift_db:
        rows.append((
            "",
            f"{level.current_a:.2f} A ({level.shift_db:+.1f} dB) brings the whole listening area "
            f"within +-3 dB ({level.min_db:+.1f} to {level.max_db:+.1f})",
        ))  # fmt: skip
    rows += [
        ("", "r.m.s. at the loudest, 125 ms average; speech averages 12 dB less"),
        ("Voltage", f"{answer.voltage_v:.2f} V for the first current, up to 5 kHz"),
        ("Ohmmeter", f"{answer.load.resistance:.2f} ohm at {answer.ask.celsius:g} C, end to end{worst}"),
        ("Inductance", f"{answer.load.inductance * 1e6:.1f} uH"),
        ("Wire", f"{show_length(answer.laid_m)} in place"),
    ]
    if answer.ask.route:
        rows[-1] = ("Wire", f"{show_length(answer.laid_m)} in place, {show_length(answer.buy_m)} to carry")
    for name, words in rows:
        table.add_row(name, Text(words))
    return table


def _field_table(answer: Answer) -> Table:
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
            show_length(plane.height),
            f"{low:+.1f}",
            f"{high:+.1f}",
            f"{plane.spread_db:.1f}",
            f"{100 * share:.0f} %",
        )
    return table


def _voltage_table(answer: Answer) -> Table:
    from rich import box
    from rich.table import Table

    table = Table(box=box.SIMPLE_HEAD)
    table.add_column("at")
    table.add_column("impedance", justify="right")
    table.add_column("voltage", justify="right")
    if answer.fit:
        table.add_column("driver's margin", justify="right")
    most = max(answer.current_a, answer.level.current_a if answer.level else 0.0)
    for hertz in answer.voltages_v:
        name = f"{hertz:g} Hz" if hertz < 1000 else f"{hertz / 1000:g} kHz"
        row = [name, f"{answer.load.impedance(hertz):.2f} ohm", f"{answer.load.voltage(most, hertz):.2f} V"]
        if answer.fit:
            row.append(f"{answer.fit.voltage_margin_db[hertz]:+.1f} dB")
        table.add_row(*row)
    if answer.fit:
        table.add_row("current", "", f"{most:.2f} A", f"{answer.fit.current_margin_db:+.1f} dB")
    return table


def _choices(answer: Answer) -> list[str]:
    return [f"{each.wire.label} x {each.turns}" for each in answer.better[:6]]


def _place(answer: Answer) -> str:
    height = show_length(answer.planes[0].height)
    return f"{height} from the loop" if answer.distance_only else f"{height} above the floor"


def _where(answer: Answer) -> str:
    """The commissioning point in words: the centre of a plain room, else from the zero of its corners."""
    if len(answer.loop.corners) == 4:
        return "the centre"
    x, y = answer.loop.commissioning_point
    return f"x {x:.2f} m, y {y:.2f} m"


def _room(given: Mapping[str, Any]) -> Loop:
    ways = [
        given["room_text"] is not None,
        given["polygon"] is not None,
        given["length_text"] is not None or given["width_text"] is not None,
    ]
    if sum(ways) != 1:
        seen = "none of them" if not any(ways) else "more than one"
        raise BadInput("room", seen, "--room AxB, --length A --width B, or --polygon CORNERS")
    if given["polygon"] is not None:
        return Loop.polygon(outline(given["polygon"], "--polygon"))
    if given["room_text"] is not None:
        return Loop.rectangle(*room(given["room_text"], "--room"))
    for name in ("length", "width"):
        if given[f"{name}_text"] is None:
            raise BadInput(f"--{name}", described("nothing"), "a length such as 5.2 or 17ft")
    return Loop.rectangle(length(given["length_text"], "--length"), length(given["width_text"], "--width"))


def _driver(given: Mapping[str, Any]) -> DriverLimits | None:
    current, voltage = given["driver_current"], given["driver_voltage"]
    if given["driver_name"] is not None:
        if current is not None or voltage is not None:
            raise BadInput(
                "--driver",
                described("given with --driver-current or --driver-voltage"),
                "a name or the numbers",
            )
        return driver_named(given["driver_name"], drivers_from(load_table("drivers")))
    if current is None and voltage is None:
        return None
    if current is None or voltage is None:
        raise BadInput(
            "driver", described("one number"), "both --driver-current and --driver-voltage, from its plate"
        )
    return DriverLimits("driver as typed", current, voltage, source="typed by the user")


def _turns(value: int | None) -> int | None:
    if value is not None and not 1 <= value <= 20:
        raise BadInput("--turns", value, "a whole number from 1 to 20")
    return value


def _length(
    given: Mapping[str, Any], name: str, low: float, high: float, usual: float | None
) -> float | None:
    text = given[name]
    return usual if text is None else length(text, "--" + name.replace("_", "-"), low=low, high=high)


def _listen(texts: tuple[str, ...]) -> tuple[float, ...]:
    if len(texts) > 10:
        raise BadInput("--listen-height", described(f"{len(texts)} heights"), "at most 10")
    return tuple(length(text, "--listen-height", low=0, high=3) for text in texts)


def _write_picture(answer: Answer, kind: Literal["svg", "png"], path: Path) -> None:
    from kb.loop.picture import draw

    drawn = draw(answer, kind)
    try:
        path.write_bytes(drawn)
    except OSError as trouble:
        raise BadInput(
            f"--{kind}", str(path), f"a file that can be written ({trouble.strerror})"
        ) from trouble
