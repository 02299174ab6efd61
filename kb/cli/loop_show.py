"""Show the loop's answer: current, wire, field, margins, what to carry."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from kb.catalogue import item_name
from kb.cli.tables import RIGHT, fitted, grid, headed
from kb.domain.language import Language
from kb.loop.driver import Fit
from kb.loop.field import Plane
from kb.loop.input_level import show_level
from kb.loop.plan import Answer, Compared, items
from kb.loop.routes import METRE
from kb.loop.sentences import Amount, Digits, Hertz, Metres, Sentence
from kb.loop.spill import Spill
from kb.loop.standard import STANDING_DB, Programme, Use, overload_current_a
from kb.loop.units import FOOT_M, MOST_CORNERS

if TYPE_CHECKING:
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text


def _said(said: Language, key: str, /, **values: object) -> str:
    """A line of this screen in the language; numbers and lengths as it writes them."""
    return Sentence(f"cli/loop/{key}", values).shown(said)


def render_loop(answer: Answer, console: Console, said: Language) -> None:
    """Show the answer to a person; every answer ends with its cautions."""
    from rich.text import Text

    x0, x1, y0, y1 = answer.loop.box
    count = len(answer.loop.corners)
    size = {"length": Metres(x1 - x0), "width": Metres(y1 - y0)}
    console.print(
        Text(
            _said(said, "title" if count == 4 or count > MOST_CORNERS else "corners", count=count, **size),
            style="bold",
        )
    )
    console.print(_verdict(answer, said))
    if answer.reasons:
        console.print(_marked("-", [reason.shown(said) for reason in answer.reasons]))
    console.print()
    console.print(_facts(answer, said))
    console.print()
    console.print(fitted(_field_table(answer, said), console))
    for plane in answer.uncounted:
        console.print(Text(_not_counted(answer, plane, said)))
    if answer.best:
        best = {"offset": Metres(answer.best.offset), "spread": Digits(answer.best.spread_db)}
        console.print(Text(_said(said, "most-even", **best)))
    console.print()
    console.print(fitted(_voltage_table(answer, said), console))
    if answer.fit:
        console.print(_marked("-", _overload(answer.fit, said)))
    console.print(Text(_said(said, "set-by"), style="bold"))
    console.print(_marked("-", [each.shown(said) for each in answer.notes]))
    if answer.better:
        console.print()
        console.print(fitted(_choices(answer, said), console))
        if answer.one_turn:
            why = "; ".join(each.shown(said) for each in answer.one_turn)
            console.print(Text(_said(said, "one-turn", why=why)))
    elif answer.ask.driver:
        console.print(Text(_said(said, "none-fits")))
    if answer.spill:
        console.print()
        console.print(fitted(_spill_table(answer.spill, said), console))
        reach = {"level": answer.spill.asked_db, "reach": Metres(answer.spill.reach_m)}
        console.print(Text(_said(said, "spill-reach", **reach)))
    if answer.layouts:
        console.print()
        console.print(fitted(_layout_table(answer, said), console))
        console.print(Text(_said(said, "layouts-for")))
        every = dict.fromkeys(one.shown(said) for each in answer.layouts for one in each.laid.cautions)
        console.print(_marked("-", list(every)))
    elif answer.spill and not answer.ask.use.small:
        console.print(Text(_said(said, "layouts-none")))
    route = answer.ask.route
    if route:
        console.print()
        console.print(Text(_said(said, "route", name=route.says("name")), style="bold"))
        mind = _said(said, "mind", mind=route.says("mind"))
        console.print(_marked("-", [route.says("how").shown(said), mind]))
        console.print(Text(_said(said, "carry"), style="bold"))
        console.print(_carry(answer, said))
    console.print()
    console.print(Text(said("sheet/standing/heading"), style="bold"))
    console.print(_marked("!", [each.sentence.shown(said) for each in answer.cautions]))


def _not_counted(answer: Answer, plane: Plane, said: Language) -> str:
    """What a height that does not count would get from the current."""
    current = answer.level.current_a if answer.level else answer.current_a
    low, high = answer.range_db(plane, current)
    good = low >= -plane.tolerance_db and high <= plane.tolerance_db
    values = {"height": Metres(plane.height), "tolerance": plane.tolerance_db}
    return _said(said, "does-not-count/within" if good else "does-not-count", **values)


def _overload(judged: Fit, said: Language) -> list[str]:
    """What the driver was judged by, and how that is tested in the room."""
    test, programme = judged.needs[1], judged.programme
    others = [f"--programme {one}" for one in Programme if one is not programme]
    hertz = Hertz(test.hertz)
    calm = overload_current_a(judged.needs[0].current_a)
    amounts = {"current": Amount(calm), "voltage": Amount(test.voltage_v)}
    return [
        _said(said, "judged-for", programme=programme, hertz=hertz, others=_said(said, "or").join(others)),
        _said(said, "on-site", hertz=hertz, **amounts),
    ]


def render_sketch(answer: Answer, console: Console, said: Language) -> None:
    """Show the field of the first listening height as a terminal plot."""
    from rich.text import Text

    from kb.loop.text_map import field_sketch

    current = answer.shown_a
    plane = answer.planes[0]
    console.print()
    title = _said(said, "field-at", place=_place(answer, said), current=Amount(current))
    console.print(Text(title, style="bold"))
    width = min(72, console.width - 1)
    sketch = field_sketch(
        answer.loop,
        plane.height,
        current * answer.metal_gain,
        width=width,
        layout=answer.drawn,
        tolerance_db=plane.tolerance_db,
        points=plane.spots if answer.ask.in_front else (),
        spill_db=answer.ask.spill_db,
        said=said,
    )
    console.print(Text(sketch))


def _marked(mark: str, lines: Sequence[str]) -> Table:
    """Lines with a mark in front, the rest of each indented."""
    return grid(((f" {mark}", line) for line in lines), {}, gap=1)


def _carry(answer: Answer, said: Language) -> Table:
    rows = []
    for each in items(answer):
        count = str(each.count)
        if each.unit == METRE:
            both = f"{each.count} m", f"{each.count / FOOT_M:.0f} ft"
            count = " = ".join(reversed(both) if said.feet else both)
        rows.append((count, item_name(each.item, said)))
    return grid(rows, RIGHT | {"min_width": 4}, {}, gap=1)


def _verdict(answer: Answer, said: Language) -> Text:
    from rich.text import Text

    wire = {"count": answer.loop.turns, "wire": said.number(answer.wire.label)}
    wound = "  " + _said(said, "wound", **wire)
    if answer.fits and not answer.ask.driver:
        word = (_said(said, "not-judged"), "bold yellow")
        return Text.assemble(word, f"{wound}\n{_said(said, 'no-driver')}")
    if answer.ask.driver:
        wound = "  " + _said(said, "wound-for", driver=answer.ask.driver.name, **wire)
    word = (_said(said, "fits"), "bold green") if answer.fits else (_said(said, "not"), "bold red")
    return Text.assemble(word, wound)


def _facts(answer: Answer, said: Language) -> Table:
    rows = ((_said(said, name) if name else "", words) for name, words in _fact_lines(answer, said))
    return grid(rows, {"style": "bold", "no_wrap": True}, {})


def _fact_lines(answer: Answer, said: Language) -> list[tuple[str, str]]:
    """The facts of the loop: key of the name, and what it is."""
    current, metal, level = Amount(answer.current_a), answer.ask.metal_db, answer.level
    at = {"where": _where(answer, said), "place": _place(answer, said), "metal": metal}
    key = "current-for-metal" if metal else "current-for"
    rows = [("use", _use(answer, said))] if answer.ask.use.small else []
    rows.append(("current", _said(said, key, current=current, **at)))
    if level and level.shift_db:
        values = {
            "current": Amount(level.current_a),
            "shift": Digits(level.shift_db, signed=True),
            "low": Digits(level.min_db, signed=True),
            "high": Digits(level.max_db, signed=True),
            "tolerance": answer.counted.tolerance_db,
        }
        rows.append(("", _said(said, "level/least" if level.least else "level", **values)))
    if (standing := answer.standing_db) is not None:
        rows.append(("", _said(said, "standing", level=Digits(standing, signed=True), most=STANDING_DB)))
    rows.append(("", _said(said, "rms")))
    if not answer.fit:
        volts = Amount(answer.voltage_v)
        rows.append(("voltage", _said(said, "voltage-for", voltage=volts, current=current)))
    ohms = {"ohm": Amount(answer.load.resistance), "celsius": answer.ask.celsius}
    if answer.resistance_max:
        rows.append(("ohmmeter", _said(said, "ohms-most", most=Amount(answer.resistance_max), **ohms)))
    else:
        rows.append(("ohmmeter", _said(said, "ohms", **ohms)))
    rows.append(("inductance", f"{Digits(answer.load.inductance * 1e6).shown(said)} uH"))
    key = "to-carry" if answer.ask.route else "in-place"
    rows.append(("wire", _said(said, key, laid=Metres(answer.laid_m), buy=Metres(answer.buy_m))))
    if (margin := answer.ask.line_margin_db) is not None:
        levels = (answer.ask.source_v, answer.ask.sensitivity_v)
        source, wanted = (said.number(show_level(volts or 0)) for volts in levels)
        over = Digits(margin, signed=True)
        rows.append(("line-input", _said(said, "line", source=source, wanted=wanted, margin=over)))
    return rows


def _use(answer: Answer, said: Language) -> str:
    """What a small volume is judged by."""
    ask, plane = answer.ask, answer.counted
    key = "use/agreed" if ask.points_agreed else f"use/{ask.use}"
    heights = _said(said, "and").join(Metres(height).shown(said) for height in ask.heights)
    return _said(said, key, use=ask.use, tolerance=plane.tolerance_db, heights=heights)


def _field_table(answer: Answer, said: Language) -> Table:
    level = answer.level.current_a if answer.level else answer.current_a
    names = ("weakest", "strongest", "spread", "within")
    heads = [_said(said, name, tolerance=answer.counted.tolerance_db) for name in names]
    rows = []
    for plane in answer.planes:
        low, high = (Digits(edge, signed=True) for edge in answer.range_db(plane, level))
        shown = (Metres(plane.height), low, high, Digits(plane.spread_db))
        rows.append((*(one.shown(said) for one in shown), f"{100 * answer.share_within(plane, level):.0f}%"))
    ear = _said(said, "ear-from-loop" if answer.distance_only else "ear-above-floor")
    return headed([ear, *heads], rows, _said(said, "area", current=Amount(level)))


def _voltage_table(answer: Answer, said: Language) -> Table:
    def amount(value: float, unit: str) -> str:
        return f"{Amount(value).shown(said)} {unit}"

    def decibels(margin: float) -> str:
        return f"{Digits(margin, signed=True).shown(said)} dB"

    most = max(answer.current_a, answer.level.current_a if answer.level else 0.0)
    if answer.fit:
        most = answer.fit.needs[0].current_a
    title = _said(said, "voltage-title", current=Amount(most))
    rows: list[tuple[str, ...]] = []
    if not answer.fit:
        for hertz in answer.voltages_v:
            ohm, volts = answer.load.impedance(hertz), answer.load.voltage(most, hertz)
            rows.append((Hertz(hertz).shown(said), amount(ohm, "ohm"), amount(volts, "V")))
        return headed([_said(said, name) for name in ("at", "impedance", "column-voltage")], rows, title)
    for need in answer.fit.needs:
        at = Hertz(need.hertz).shown(said)
        needed = amount(need.current_a, "A"), amount(need.voltage_v, "V")
        rows.append((at, *needed, decibels(need.margin_db)))
    rows.append((_said(said, "rated"), amount(most, "A"), "", decibels(answer.fit.current_margin_db)))
    names = ("at", "column-current", "column-voltage", "margin")
    return headed([_said(said, name) for name in names], rows, title)


def _choices(answer: Answer, said: Language) -> Table:
    """What fits, the least bother first, with what each costs."""
    from rich import box
    from rich.table import Table

    table = Table(title=_said(said, "what-fits"), box=box.SIMPLE_HEAD, title_justify="left")
    table.add_column(_said(said, "column-wire"), no_wrap=True)
    for name in ("turns", "column-current", "column-in-place", "copper"):
        table.add_column(_said(said, name), justify="right")
    table.add_column("")
    first = answer.better[0].turns
    # what is cheapest with each number of turns is a real alternative; more wires of one kind are not
    shown = [each for each in answer.better if each.turns == first][:3]
    for turns in sorted({each.turns for each in answer.better} - {first})[:2]:
        shown.append(next(each for each in answer.better if each.turns == turns))
    for each in shown:
        table.add_row(
            said.number(each.wire.label),
            str(each.turns),
            f"{Amount(each.current_a).shown(said)} A",
            f"{each.metres:.0f} m",
            f"{Amount(each.copper_kg).shown(said)} kg",
            _said(said, "least-current") if each.least else "",
        )
    return table


def _spill_table(spilt: Spill, said: Language) -> Table:
    """The field outside the loop, dB re 400 mA/m."""
    places = [
        *(
            (_said(said, "spill-beside", distance=Metres(each.distance_m)), each)
            for each in spilt.by_distance
        ),
        *((_said(said, name), each) for name, each in zip(_STOREYS, spilt.storeys, strict=False)),
    ]
    rows = ((place, f"{Digits(each.level_db, signed=True).shown(said)} dB") for place, each in places)
    heads = [_said(said, name) for name in ("spill-where", "strongest")]
    return headed(heads, rows, _said(said, "spill-title"))


_STOREYS = "spill-above", "spill-below"


def _layout_table(answer: Answer, said: Language) -> Table:
    """The layouts side by side: what is heard inside, and what goes outside."""
    from rich import box
    from rich.table import Table

    table = Table(title=_said(said, "layouts"), box=box.SIMPLE_HEAD, title_justify="left")
    table.add_column("")
    for each in answer.layouts:
        table.add_column(said.word(each.laid.kind), justify="right", no_wrap=True)

    def add(name: str, shown: Callable[[Compared], str], **values: object) -> None:
        table.add_row(_said(said, name, **values), *(shown(each) for each in answer.layouts))

    def decibels(level: float) -> str:
        return f"{Digits(level, signed=True).shown(said)} dB"

    first = answer.layouts[0].spill
    within = Use.ROOM.tolerance_db
    add("within", lambda each: f"{100 * each.laid.share:.0f}%", tolerance=within)
    add("weakest", lambda each: decibels(each.laid.weakest_db))
    add("column-current", lambda each: f"{Amount(each.laid.current_a).shown(said)} A")
    add("turns", lambda each: str(each.laid.turns))
    add("column-wire", lambda each: f"{each.laid.metres:.0f} m")
    if answer.ask.driver:
        add("layouts-driver", lambda each: _said(said, "fits" if each.fits else "layouts-no"))
    add("layouts-reach", lambda each: f"{Digits(each.spill.reach_m).shown(said)} m", level=first.asked_db)
    for beside in zip(*(each.spill.by_distance for each in answer.layouts), strict=True):
        if beside[0].distance_m in _SHOWN_OUTSIDE_M:
            where = _said(said, "spill-beside", distance=Metres(beside[0].distance_m))
            table.add_row(where, *(decibels(each.level_db) for each in beside))
    if first.storeys:
        add("spill-above", lambda each: decibels(each.spill.storeys[0].level_db))
    return table


#: The table of layouts shows the spill at these of the distances, metres.
_SHOWN_OUTSIDE_M = 2.0, 8.0


def _place(answer: Answer, said: Language) -> str:
    key = "from-loop" if answer.distance_only else "above-floor"
    return _said(said, key, height=Metres(answer.planes[0].height))


def _where(answer: Answer, said: Language) -> str:
    """The commissioning point in words: the centre of a plain room, else from the zero of its corners."""
    if answer.ask.in_front:
        return _said(said, "the-strongest")
    if len(answer.loop.corners) == 4:
        return _said(said, "the-centre")
    x, y = answer.loop.commissioning_point
    return f"x {Metres(x).shown(said)}, y {Metres(y).shown(said)}"
