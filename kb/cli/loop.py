"""loop: plan wire, turns and current, and judge the driver."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Final, Literal

import click

from kb.base.datafiles import data_tables
from kb.base.errors import NOTHING, BadInput, ascii_controls, not_together
from kb.base.messages import Said
from kb.base.messages import text as text_of
from kb.catalogue.drivers import drivers
from kb.cli.command import command
from kb.cli.common import Output, Quantity, Session, choice
from kb.cli.job_option import job_option, loop_of
from kb.cli.loop_show import render_loop, render_sketch
from kb.domain.driver import DriverLimits
from kb.domain.language import language
from kb.domain.plate import Plate
from kb.loop.document import as_json
from kb.loop.driver import driver_named, same_name
from kb.loop.geometry import MOST_TURNS, Loop
from kb.loop.input_level import voltage
from kb.loop.plan import Answer, Ask, is_pad, plan
from kb.loop.routes import cautions_from, route_named, routes_from
from kb.loop.spill import USUAL_DB
from kb.loop.standard import Programme, Use
from kb.loop.units import has_unit, length, outline, room
from kb.loop.wire import stock_from, wire_from
from kb.loop.wire_layouts import Layout
from kb.settings import Units

if TYPE_CHECKING:
    from kb.domain.job import Job
    from kb.settings import Settings


@command("loop")
@click.option("--room", "room_text", metavar="AxB")
@click.option("--length", "length_text", metavar="A")
@click.option("--width", "width_text", metavar="B")
@click.option("--polygon", metavar="CORNERS")
@click.option("--ring", "ring_text", metavar="D")
@click.option("--height", metavar="H")
@click.option("--wire-height", metavar="H")
@click.option("--listen-height", multiple=True, metavar="H")
@click.option("--ceiling", metavar="H")
@click.option("--turns", type=int, metavar="N")
@click.option("--spacing", metavar="S")
@click.option("--wire", "wire_text", metavar="GAUGE")
@click.option("--temp", type=float, default=20.0, show_default=True, metavar="C")
@click.option("--driver", "driver_name", metavar="NAME")
@click.option("--driver-current", type=Quantity("A"), metavar="A")
@click.option("--driver-voltage", type=Quantity("V"), metavar="V")
@click.option("--driver-plate", type=choice(Plate))
@click.option("--driver-least-load", type=Quantity("ohm", "Ω"), metavar="OHM")
@click.option("--programme", type=choice(Programme))
@click.option("--use", type=choice(Use))
@click.option("--points-agreed", is_flag=True)
@click.option("--standing", is_flag=True)
@click.option("--source-level", metavar="L")
@click.option("--sensitivity", metavar="L")
@click.option("--route", "route_code", metavar="NAME")
@click.option("--doorways", type=int, default=0, metavar="N")
@click.option("--feed", metavar="L")
@click.option("--margin", metavar="M")
@click.option("--metal-db", type=float, default=0.0, metavar="X")
@click.option("--metal-5k-db", type=float, metavar="X")
@click.option("--spill", type=float, metavar="DB")
@click.option("--layout", type=choice(Layout))
@click.option("--units", type=choice(Units))
@job_option
@click.option("--keep", is_flag=True)
@click.option("--plot", is_flag=True)
@click.option("--svg", metavar="FILE", type=Output("SVG"))
@click.option("--png", metavar="FILE", type=Output("PNG"))
def loop_command(
    session: Session,
    plot: bool,
    svg: str | None,
    png: str | None,
    units: str | None,
    job_ref: str | None,
    keep: bool,
    **given: Any,
) -> int:
    """
    jackfield loop --room 5.2x4.1 --route joists --driver "bench driver"
    jackfield loop --room "17x13 ft" --route tack-strip --doorways 1
    jackfield loop --job J-12 --keep
    jackfield loop --length 5m --width 4m --height 1.2m --wire awg18 --json
    """
    job = None if job_ref is None else session.book.jobs.named(job_ref)
    if keep and job is None:
        raise BadInput("--keep", NOTHING, "--job REF")
    if job is not None:
        of_job = loop_of(session, job)
        if _outlined(given):
            of_job.pop("room_text", None)
        if given["driver_current"] is not None or given["driver_voltage"] is not None:
            of_job.pop("driver_name", None)
        given |= {name: value for name, value in of_job.items() if given[name] is None}
    feet = (Units(units) if units else session.settings.units) is Units.FEET
    typed_feet = feet and (units is not None or not session.as_json)
    if typed_feet and (bare := _bare(given)):
        session.say(session.language("cli/loop/read-as-feet", typed=", ".join(bare)))
    driver, lacks = driver_for(given, session.settings)
    if lacks:
        session.say(lacks.in_language(session.language.code))
    answer = answer_for(given, driver, feet=typed_feet, by_awg=feet)
    kinds: tuple[tuple[Literal["svg", "png"], str | None], ...] = (("svg", svg), ("png", png))
    for kind, file in kinds:
        if file is not None:
            from kb.cli.outputfile import write_out
            from kb.loop.field_picture import draw

            write_out(file, draw(answer, kind, feet=feet, language=session.language), f"--{kind}")
    if keep and job is not None:
        from kb.domain.job import changed

        kept: dict[str, Any] = {"materials": as_json(answer)["items"]}
        if given["room_text"] is not None:
            sides = room(given["room_text"], "--room", feet=typed_feet)
            kept["room"] = "x".join(f"{side:g}" for side in sides)
        if given["route_code"] is not None:
            kept["route"] = given["route_code"]
        session.book.jobs.change(job.id, lambda before: changed(before, kept))
        session.say(session.language("cli/loop/kept", job=job.reference))
    if session.as_json:
        session.json(as_json(answer))
    else:
        said = language(session.settings.language, feet=feet)
        render_loop(answer, session.console, said)
        if plot:
            render_sketch(answer, session.console, said)
    return 0 if answer.fits else 1


def _outlined(given: Mapping[str, Any]) -> bool:
    """Was the shape of the loop typed?"""
    return any(given[name] is not None for name in ("length_text", "width_text", "polygon", "ring_text"))


def loop_for(session: Session, job: Job) -> dict[str, Any]:
    """The loop that a job's room, route and driver give, as ``loop --json`` prints it."""
    given = loop_command.make_context("loop", []).params | loop_of(session, job)
    driver, _ = driver_for(given, session.settings)
    return as_json(answer_for(given, driver))


def answer_for(
    given: Mapping[str, Any], driver: DriverLimits | None, *, feet: bool = False, by_awg: bool = False
) -> Answer:
    """Return the answer for the options as typed; bare numbers are metres or ``feet``.

    ``by_awg``: only such wire is looked for, as it is sold where feet are usual. Raises BadInput naming the
    option.
    """
    if given["height"] is not None and (
        given["wire_height"] is not None or given["listen_height"] or given["standing"]
    ):
        raise BadInput(
            "--height",
            Said("seen/given-with-heights"),
            Said("expected/one-or-the-others"),
        )
    table = data_tables("routes.toml")
    routes = routes_from(table)
    usual = Ask(room=_room(given, feet=feet))
    route = given["route_code"]
    source_v, sensitivity_v = _line(given)

    def metres(name: str, low: float, high: float, usual: float | None) -> float | None:
        typed = given[name]
        option = f"--{name.replace('_', '-')}"
        return usual if typed is None else length(typed, option, low=low, high=high, feet=feet)

    listen = _listen(given["listen_height"], feet=feet)
    if given["standing"] and listen:
        raise not_together(
            "--standing", Said("seen/two-options", option="--standing", other="--listen-height")
        )
    use = Use(given["use"] or (Use.CHAIR if is_pad(usual.room) else Use.ROOM))
    if (given["standing"] and use.small) or (listen and use.figure):
        option = "--standing" if given["standing"] else "--listen-height"
        raise BadInput(option, Said("seen/given-for-use", use=use), Said("expected/fixed-heights", use=use))
    ask = replace(
        usual,
        height=metres("height", 0, 10, usual.height),
        wire_height=metres("wire_height", -5, 10, usual.wire_height),
        listen=listen or None,
        every_height=given["standing"] or len(listen) > 1,
        use=use,
        points_agreed=given["points_agreed"],
        turns=_turns(given["turns"]),
        wire=None if given["wire_text"] is None else wire_from(given["wire_text"], "--wire"),
        celsius=given["temp"],
        driver=driver,
        route=None if route is None else route_named(route, routes),
        ceiling=metres("ceiling", 1.5, 10, usual.ceiling) or usual.ceiling,
        doorways=given["doorways"],
        feed=metres("feed", 0, 100, usual.feed) or 0.0,
        metal_db=given["metal_db"],
        metal_5k_db=given["metal_5k_db"],
        margin=metres("margin", 0, 20, usual.margin) or 0.0,
        source_v=source_v,
        sensitivity_v=sensitivity_v,
        programme=Programme(given["programme"] or use.programme),
        spill_db=USUAL_DB if given["spill"] is None and given["layout"] else given["spill"],
        layout=Layout(given["layout"]) if given["layout"] else None,
        spacing=metres("spacing", 1e-4, 0.5, None),
    )
    stock = stock_from(data_tables("wire.toml"))
    sold = tuple(each for each in stock if each.wire.label.startswith("AWG")) if by_awg else stock
    return plan(ask, sold, [each for each in cautions_from(table) if each.always])


def driver_for(given: Mapping[str, Any], settings: Settings) -> tuple[DriverLimits | None, Said | None]:
    """Return the driver to judge by, and what to say where the usual one cannot be judged.

    As typed by its plate, else by its name, else the usual one of the settings. What the settings hold of
    the usual one counts before a driver of that name in the catalogue. Raises BadInput.
    """
    current, voltage = given["driver_current"], given["driver_voltage"]
    least, plate = given["driver_least_load"], given["driver_plate"]
    name = given["driver_name"]
    if any(one is not None for one in (current, voltage, least, plate)):
        if name is not None:
            raise BadInput(
                "--driver",
                Said("seen/given-with-plate"),
                Said("expected/name-or-numbers"),
            )
        if current is None or voltage is None:
            raise BadInput(
                "driver",
                Said("seen/one-number"),
                Said("expected/both-from-plate"),
            )
        typed = DriverLimits(
            text_of("cli/loop/typed-driver", settings.language),
            current,
            voltage,
            least or 0.0,
            source=text_of("cli/loop/typed-source", settings.language),
        )
        return _of_plate(typed, Plate(plate or Plate.RMS)), None
    known = drivers()
    usual = _usual(settings, known)
    if name is None:
        if usual is None and settings.driver:
            return None, Said("cli/loop/no-plate", driver=settings.driver, why=_PLATE)
        return usual, None
    if settings.driver and same_name(name, settings.driver):
        if usual is None:
            raise BadInput("--driver", name, _PLATE)
        return usual, None
    return driver_named(name, known), None


_PLATE: Final = Said("expected/plate-of-driver")


def _usual(settings: Settings, known: tuple[DriverLimits, ...]) -> DriverLimits | None:
    """The usual driver with its limits, by its plate or from the catalogue; None if they are not known."""
    if settings.driver_current_a and settings.driver_voltage_v:
        typed = DriverLimits(
            settings.driver or text_of("cli/loop/usual-driver", settings.language),
            settings.driver_current_a,
            settings.driver_voltage_v,
            settings.driver_least_load_ohm,
            source=text_of("cli/loop/settings-source", settings.language),
        )
        return _of_plate(typed, settings.driver_plate)
    return next((one for one in known if same_name(one.name, settings.driver)), None)


def _of_plate(typed: DriverLimits, plate: Plate) -> DriverLimits:
    """The limits of a plate in r.m.s."""
    return replace(
        typed,
        rated_current_a_rms=plate.rms(typed.rated_current_a_rms),
        max_voltage_v_rms=plate.rms(typed.max_voltage_v_rms),
    )


def _bare(given: Mapping[str, Any]) -> list[str]:
    """What was typed as a length without a unit."""
    names = ("room_text", "length_text", "width_text", "polygon", "ring_text", "height", "wire_height",
             "ceiling", "feed", "margin")  # fmt: skip
    typed = [given[name] for name in names if given[name] is not None] + list(given["listen_height"])
    return [ascii_controls(str(one)[:60]) for one in typed if not has_unit(one)]


def _room(given: Mapping[str, Any], *, feet: bool) -> Loop:
    ways = [
        given["room_text"] is not None,
        given["polygon"] is not None,
        given["length_text"] is not None or given["width_text"] is not None,
        given["ring_text"] is not None,
    ]
    if sum(ways) != 1:
        seen = NOTHING if not any(ways) else Said("seen/more-than-one")
        raise BadInput("room", seen, Said("expected/room-options"))
    if given["polygon"] is not None:
        return Loop.polygon(outline(given["polygon"], "--polygon", feet=feet))
    if given["ring_text"] is not None:
        return Loop.ring(length(given["ring_text"], "--ring", low=0.1, feet=feet))
    if given["room_text"] is not None:
        return Loop.rectangle(*room(given["room_text"], "--room", feet=feet))
    for name in ("length", "width"):
        if given[f"{name}_text"] is None:
            raise BadInput(f"--{name}", NOTHING, Said("expected/length-short"))
    sides = (length(given[f"{name}_text"], f"--{name}", feet=feet) for name in ("length", "width"))
    return Loop.rectangle(*sides)


def _line(given: Mapping[str, Any]) -> tuple[float | None, float | None]:
    """Source's level and driver's sensitivity as typed, V r.m.s.: both or neither."""
    source, wanted = given["source_level"], given["sensitivity"]
    if (source is None) != (wanted is None):
        raise BadInput(Said("place/line-level"), Said("seen/one-level"), Said("expected/both-from-sheets"))
    if source is None:
        return None, None
    return voltage(source, "--source-level"), voltage(wanted, "--sensitivity")


def _turns(value: int | None) -> int | None:
    if value is not None and not 1 <= value <= MOST_TURNS:
        raise BadInput("--turns", value, Said("expected/whole-from-to", low=1, high=MOST_TURNS))
    return value


def _listen(texts: tuple[str, ...], *, feet: bool) -> tuple[float, ...]:
    if len(texts) > 10:
        raise BadInput(
            "--listen-height", Said("seen/heights", count=len(texts)), Said("expected/at-most", most=10)
        )
    return tuple(length(text, "--listen-height", low=0, high=3, feet=feet) for text in texts)
