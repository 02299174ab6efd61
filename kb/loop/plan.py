"""Plan the loop for a room: wire, turns, current, and whether the driver manages it.

>>> answer = plan(Ask(room=Loop.rectangle(5, 4), height=1.2, wire=wire_from("awg18")))
>>> round(answer.current_a, 2), round(answer.voltage_v, 2), answer.fits
(2.74, 2.84, True)

How the current is chosen. ``current_a`` gives 400 mA/m at the commissioning point (the centre of the floor
area) at the first listening height. Where the weakest or strongest part of the listening area then lies
outside +-3 dB (+-6 dB in a small volume), ``level`` holds the least change that brings all of it inside, if
any does. The driver is judged at the larger of the two currents, since the installer will turn it up that
far. If it does not manage that, it is judged at the least current that meets the standard (weakest spot at -3
dB, strongest at 0 dB or more), and ``level`` holds that. All currents are the r.m.s. maximum of the programme
with 125 ms averaging (IEC 60118-4:2014+A1:2017 cl. 3.1 and 6.1.3, second-hand).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from kb.base.errors import NOTHING, BadInput
from kb.base.messages import Said
from kb.base.validation import bounded
from kb.domain.driver import DriverLimits
from kb.loop.decibels import ratio
from kb.loop.driver import Choice, Fit, choices, fit
from kb.loop.field import (
    MARGIN_M,
    SEATED_M,
    STANDING_M,
    BestOffset,
    Plane,
    best_offset,
    front_plane,
    listening_plane,
)
from kb.loop.geometry import Loop
from kb.loop.input_level import OVERLOAD_V, margin_db
from kb.loop.routes import METRE, Caution, Needed, Route
from kb.loop.sentences import Amount, Digits, Hertz, Metres, Sentence
from kb.loop.spill import FLOOR_M, Spill, spill
from kb.loop.standard import RESPONSE_DB, RESPONSE_HZ, STANDING_DB, Programme, Use, at_most
from kb.loop.wire import FREQUENCIES_HZ, Load, Stock, Wire, load, too_dense, wire_from
from kb.loop.wire_layouts import Laid, Layout, is_rectangle, laid, spilt

#: Height of a usual ceiling, metres (common practice: 8 ft).
CEILING_M: Final = 2.4
#: A resistor for measuring the current: small against the loop, large enough for a millivoltmeter, ohm
#: (common practice).
SHUNT_OHM: Final = 0.1
USUAL_WIRE: Final = "awg18"
#: A loop that is no larger is worn or lies under a chair, metres (own choice).
NECK_M: Final = 0.5
#: Most that a stated allowance for metal may be, dB; beyond it a loop of this kind is the wrong tool.
MOST_METAL_DB: Final = 30.0


@dataclass(frozen=True)
class Ask:
    """Hold the known facts of a room.

    ``room`` is the loop's outline at any height; its height comes from the rest. ``height`` is the vertical
    distance between loop and ear; instead of it, ``wire_height`` (or the route) and ``listen`` say where both
    lie above the floor (no ``listen``: the heights of the ``use``). Lengths in metres, ``celsius`` the wire's
    temperature, ``metal_db`` the loss to metal that the installer states, ``metal_5k_db`` that at 5 kHz
    (None: the same), ``feed`` the one-way run from driver to the foot of the loop. ``source_v`` is the level
    at the source's output and ``sensitivity_v`` the level that the driver's input wants for full output, V
    r.m.s. ``every_height``: people listen at all of ``listen``, so that all of them count in the answer; else
    only the first does. In a small volume all count. ``points_agreed``: the points of a counter or refuge are
    those inside the wire (cl. 9.4), not those of its figure. ``spacing`` is between the centres of turns
    (None: they touch). ``spill_db``: the level down to which the answer gives the spill, dB re 400 mA/m;
    None: no spill. ``programme`` decides the frequency at which the driver is judged. ``layout`` is the
    layout to be drawn.
    """

    room: Loop
    height: float | None = None
    wire_height: float | None = None
    listen: tuple[float, ...] | None = None
    every_height: bool = False
    use: Use = Use.ROOM
    points_agreed: bool = False
    turns: int | None = None
    wire: Wire | None = None
    celsius: float = 20.0
    driver: DriverLimits | None = None
    route: Route | None = None
    ceiling: float = CEILING_M
    doorways: int = 0
    feed: float = 0.0
    metal_db: float = 0.0
    metal_5k_db: float | None = None
    spacing: float | None = None
    margin: float = MARGIN_M
    source_v: float | None = None
    sensitivity_v: float | None = None
    programme: Programme = Programme.SPEECH
    spill_db: float | None = None
    layout: Layout | None = None

    def metal_at(self, hertz: float) -> float:
        """Return the loss to metal at a frequency, dB: by octaves between the losses at 1 and 5 kHz.

        No model is given in the public copy of the standard (Annex F: measure and equalize). A straight line
        over the octaves is common practice.
        """
        if self.metal_5k_db is None:
            return self.metal_db
        share = math.log(max(hertz, 1000) / 1000) / math.log(5)
        return self.metal_db + (self.metal_5k_db - self.metal_db) * share

    @property
    def heights(self) -> tuple[float, ...]:
        """Return the heights of the ear above the floor, metres."""
        if self.listen is not None:
            return self.listen
        return tuple(height for height, _ in self.use.points) or (SEATED_M, STANDING_M)

    @property
    def all_count(self) -> bool:
        """Return whether every height counts in the answer, not the first alone."""
        return self.every_height or self.use.small

    @property
    def in_front(self) -> bool:
        """Return whether people are in front of the loop, at the points of the standard's figure."""
        return bool(self.use.figure) and not self.points_agreed

    @property
    def boost_db(self) -> float:
        """Return the driver's extra level at the overload test's frequency, to make up for metal, dB."""
        return self.metal_at(self.programme.test_hz) - self.metal_db

    @property
    def line_margin_db(self) -> float | None:
        """Return the source's level above the driver's full-output input level, dB; None: unknown."""
        if self.source_v is None or self.sensitivity_v is None:
            return None
        return margin_db(self.source_v, self.sensitivity_v)


@dataclass(frozen=True)
class Level:
    """Hold the current that brings the whole listening area within the tolerance, and its effects.

    ``least``: it is the least that meets the standard, as the driver gives no more.
    """

    shift_db: float
    current_a: float
    voltage_v: float
    min_db: float
    max_db: float
    least: bool = False


@dataclass(frozen=True)
class Compared:
    """Hold a layout with its spill, and whether the driver feeds each of its groups (None: no driver)."""

    laid: Laid
    spill: Spill
    loads: tuple[Load, ...]
    fits: bool | None


@dataclass(frozen=True)
class Answer:
    """Hold the needs of the room. Currents are A r.m.s. in the wire, voltages V r.m.s., lengths metres.

    ``loop`` has the turns and height chosen; ``planes`` the field at each listening height, the first being
    the one the current is set for. ``best`` is None where people are in front of the loop. ``distance_only``
    tells that heights count from the loop, not the floor. ``reasons`` speak against it, by their codes:
    ``uneven``, ``standing``, ``current``, ``voltage``, ``resistance``, ``thin``, ``sensitivity``,
    ``overload``; it fits when there are none. ``better`` are gauges and turns that fit, least bother first
    (empty without a driver). ``one_turn`` says why no wire does with one turn, where all that fit have more.
    ``layouts`` compares others with the loop, if somebody asks for the spill. ``resistance_max`` is the
    resistance in ohm of wire as bad as it may be sold, where a standard says so.
    """

    ask: Ask
    loop: Loop
    wire: Wire
    distance_only: bool
    planes: tuple[Plane, ...]
    best: BestOffset | None
    current_a: float
    load: Load
    level: Level | None
    fit: Fit | None
    reasons: tuple[Sentence, ...]
    cautions: tuple[Caution, ...]
    resistance_max: float | None
    laid_m: float
    buy_m: float
    needed: tuple[Needed, ...]
    better: tuple[Choice, ...]
    one_turn: tuple[Sentence, ...] = ()
    spill: Spill | None = None
    layouts: tuple[Compared, ...] = ()

    @property
    def fits(self) -> bool:
        """Return whether the field can be within the tolerance and the driver, if named, drives it."""
        return not self.reasons

    @property
    def notes(self) -> tuple[Sentence, ...]:
        """Return how to set the loop without a field meter, and how to deal with metal."""
        amperes = self.level.current_a if self.level else self.current_a
        turns = self.loop.turns
        bundle = {"current": Amount(amperes * turns), "turns": turns}
        found = [
            Sentence("loop/set/current", {"current": Amount(amperes)}),
            *([Sentence("loop/set/bundle", bundle)] if turns > 1 else []),
            Sentence(
                "loop/set/resistor",
                {"ohm": SHUNT_OHM, "millivolts": Amount(1000 * amperes * SHUNT_OHM, 0)},
            ),
        ]
        more = self.ask.metal_at(RESPONSE_HZ[1]) - self.ask.metal_db
        if not at_most(more, RESPONSE_DB):
            values = {"more": Digits(more), "most": RESPONSE_DB, "boost": Digits(self.ask.boost_db)}
            found.append(
                Sentence("loop/set/equalize", {**values, "hertz": Hertz(self.ask.programme.test_hz)})
            )
        if is_pad(self.loop):
            volts, least = self.load.voltage(amperes, 1000), self.load.impedance(RESPONSE_HZ[0])
            found.append(Sentence("loop/set/neck", {"volts": Amount(volts), "ohm": Digits(least)}))
        return tuple(found)

    @property
    def drawn(self) -> Laid | None:
        """Return the layout that a map shows instead of the loop round the room."""
        kind = self.ask.layout
        return next((each.laid for each in self.layouts if each.laid.kind is kind), None)

    @property
    def shown_a(self) -> float:
        """Return the current that a map is drawn for, A r.m.s."""
        if self.drawn:
            return self.drawn.current_a
        return self.level.current_a if self.level else self.current_a

    @property
    def shown_spill(self) -> Spill | None:
        """Return the spill that a map shows."""
        return next((each.spill for each in self.layouts if each.laid is self.drawn), self.spill)

    @property
    def counted(self) -> Plane:
        """Return the listening area that counts in the answer: of the first height, or of all of them."""
        return self.planes[0].with_others(self.planes[1:] if self.ask.all_count else ())

    @property
    def uncounted(self) -> tuple[Plane, ...]:
        """Return the planes that are shown and do not count."""
        return () if self.ask.all_count else self.planes[1:]

    @property
    def standing_db(self) -> float | None:
        """Return the strongest level where people stand near a small volume; None: nothing is asked of it."""
        return self.counted.standing_db(self.shown_a * self.metal_gain)

    @property
    def voltages_v(self) -> dict[float, float]:
        """V r.m.s. at 100 Hz, 1 kHz and 5 kHz for ``current_a``."""
        return {each: self.load.voltage(self.current_a, each) for each in FREQUENCIES_HZ}

    @property
    def voltage_v(self) -> float:
        """Return the voltage for the full current at 5 kHz; no clause requires it of the driver."""
        return max(self.voltages_v.values())

    @property
    def metal_gain(self) -> float:
        """Share of the field that the stated metal leaves, 0 to 1."""
        return ratio(-self.ask.metal_db)

    def range_db(self, plane: Plane, current_a: float | None = None) -> tuple[float, float]:
        """Return weakest and strongest level of a plane in dB re 400 mA/m, the stated metal taken off."""
        current = self.current_a if current_a is None else current_a
        return plane.range_db(current * self.metal_gain)

    def share_within(self, plane: Plane, current_a: float | None = None) -> float:
        """Return the share of a plane's area within the tolerance, the stated metal taken off."""
        current = self.current_a if current_a is None else current_a
        return plane.share_within(current * self.metal_gain)


def is_pad(loop: Loop) -> bool:
    """Return whether a loop is so small that it is worn or lies under a chair."""
    x0, x1, y0, y1 = loop.box
    return max(x1 - x0, y1 - y0) <= NECK_M


def plan(ask: Ask, stock: Sequence[Stock] = (), always: Sequence[Caution] = ()) -> Answer:
    """Answer for one room.

    ``stock`` are the wires that may be chosen where the installer named none, and ``always`` the cautions
    of every answer. With a driver and no wire or turns given, the least bother that fits is taken: fewest
    turns, then usual wire, then least copper. If none fits, AWG 18 and one turn are shown, with the reasons.
    Without a driver they are, too.

    Raises BadInput for anything out of range, naming it.
    """
    _check(ask)
    loop, heights = _placed(ask)
    single = Loop(loop.corners, 1)
    # the field is linear in the turns: compute for one
    planes = [
        front_plane(single, height, ask.use)
        if ask.in_front
        else listening_plane(single, height, margin=ask.margin, use=ask.use)
        for height in heights
    ]
    counted = planes[0].with_others(planes[1:] if ask.all_count else ())
    metal = ratio(ask.metal_db)
    ampere_turns = counted.current_for_centre_a * metal
    most = ampere_turns * ratio(max(0.0, counted.shift_db or 0.0))
    least = (
        most if counted.least_shift_db is None else min(most, ampere_turns * ratio(counted.least_shift_db))
    )

    rise = ask.route.rise(ask.ceiling) if ask.route else 0.0
    feed = ask.feed + rise
    detour = ask.doorways * ask.route.doorway if ask.route else 0.0
    named = ask.wire or wire_from(USUAL_WIRE)
    sold = list(stock)
    if named not in (each.wire for each in sold):
        sold.append(Stock(named, 0.0, "named by the user"))
    found: tuple[Choice, ...] = ()
    if ask.driver:
        found = choices(
            single, most, ask.driver, sold, least_ampere_turns=least, programme=ask.programme,
            boost_db=ask.boost_db, celsius=ask.celsius, feed=feed, extra=detour, spacing=ask.spacing,
            turns=(1, 2, 3, 4) if ask.turns is None or ask.turns <= 4 else (ask.turns,),
        )  # fmt: skip
    wire, turns, least_only = _chosen(ask, found)

    loop = Loop(loop.corners, turns)
    current, upmost = ampere_turns / turns, (least if least_only else most) / turns
    seen = load(loop, wire, celsius=ask.celsius, feed=feed, extra=detour, spacing=ask.spacing)
    bought = next(each for each in sold if each.wire == wire)
    judged = _judged(ask, ask.driver, bought, seen, upmost) if ask.driver else None
    best = None if ask.in_front else best_offset(single, margin=ask.margin)
    laid = turns * (loop.perimeter + detour) + 2 * feed
    wound = tuple(plane.wound(turns) for plane in planes)
    level = None
    shift = counted.least_shift_db if least_only else counted.shift_db
    if shift is not None:
        shifted = current * ratio(shift)
        low, high = counted.wound(turns).range_db(shifted / metal)
        level = Level(shift, shifted, seen.voltage(shifted, FREQUENCIES_HZ[-1]), low, high, least=least_only)
    seated = level.current_a if level else current
    spilling = _spilt(ask, loop, seated, planes[0].height)
    return Answer(
        ask=ask,
        loop=loop,
        wire=wire,
        distance_only=ask.height is not None,
        planes=wound,
        best=best,
        current_a=current,
        load=seen,
        level=level,
        fit=judged,
        reasons=(
            *_field_reasons(counted, best, several=ask.all_count and len(planes) > 1),
            *(judged.reasons if judged else ()),
            *_wire_reasons(wire, upmost),
            *_line_reasons(ask),
        ),
        cautions=(*always, *(ask.route.cautions_for(ask.ceiling) if ask.route else ())),
        resistance_max=bought.worst(seen).resistance if bought.max_ohm_per_km else None,
        laid_m=laid,
        buy_m=ask.route.length_to_buy(laid) if ask.route else laid,
        needed=ask.route.needed(
            run=loop.perimeter + detour + feed, corners=len(loop.corners), doorways=ask.doorways, feed=feed
        )
        if ask.route
        else (),
        better=found,
        spill=spilling,
        layouts=_layouts(ask, single, bought, turns * seated, turns, planes[0].height, spilling),
        one_turn=_one_turn(ask, single, least, sold, found, feed=feed, detour=detour),
    )


def _judged(ask: Ask, driver: DriverLimits, bought: Stock, seen: Load, current: float) -> Fit:
    """Judge the driver by the programme and the metal of the question, and by wire as bad as it is sold."""
    return fit(
        driver, seen, current, programme=ask.programme, worst=bought.worst(seen), boost_db=ask.boost_db
    )


def _spilt(ask: Ask, loop: Loop, current: float, ear: float) -> Spill | None:
    if ask.spill_db is None:
        return None
    return spill(loop, current, ear=ear, level_db=ask.spill_db, storey=_storey(ask))


def _storey(ask: Ask) -> float | None:
    return None if ask.height is not None else ask.ceiling + FLOOR_M


def _layouts(
    ask: Ask, room: Loop, bought: Stock, current: float, turns: int, ear: float, known: Spill | None
) -> tuple[Compared, ...]:
    """Layouts of the same wire, with the fewest turns that the driver feeds, or with those asked for.

    ``current`` is for one turn. The loop round the room has its own current and ``turns``.
    """
    if ask.layout is not None and ask.use.small:
        raise BadInput("--layout", Said("seen/use", use=ask.use), Said("expected/room"))
    if known is None or ask.use.small or (ask.layout is None and not is_rectangle(room)):
        return ()
    found = []
    for kind in Layout:
        one = laid(
            kind,
            room,
            ear=ear,
            margin=ask.margin,
            metal_db=ask.metal_db,
            current_a=current if kind is Layout.PERIMETER else None,
        )
        around = spilt(one, room, ear=ear, asked_db=known.asked_db, storey=_storey(ask))
        tried = (turns,) if kind is Layout.PERIMETER or ask.turns is not None else _LAYOUT_TURNS
        wound = [_fed(ask, bought, one.wound(count), around) for count in tried]
        found.append(next((each for each in wound if each.fits), wound[0]))
    return tuple(found)


#: Turns of a layout that are tried.
_LAYOUT_TURNS: Final = (1, 2, 3, 4)


def _fed(ask: Ask, bought: Stock, one: Laid, around: Spill) -> Compared:
    """The layout with what a driver sees of it, and whether the driver of the question feeds each group."""
    loads = tuple(group.load(bought.wire) for group in one.groups)
    fits = None
    if driver := ask.driver:
        fits = not too_dense(bought.wire, one.current_a) and all(
            _judged(ask, driver, bought, each, one.current_a).fits for each in loads
        )
    return Compared(one, around, loads, fits)


def _one_turn(
    ask: Ask,
    single: Loop,
    current: float,
    sold: Sequence[Stock],
    found: Sequence[Choice],
    *,
    feed: float,
    detour: float,
) -> tuple[Sentence, ...]:
    """Say why one turn is not enough, if more turns are: for the usual wire that comes nearest to it."""
    if ask.driver is None or not found or found[0].turns == 1:
        return ()
    tried = []
    for each in sold:
        if each.usual or len(sold) == 1:
            seen = load(single, each.wire, celsius=ask.celsius, feed=feed, extra=detour)
            tried.append(_judged(ask, ask.driver, each, seen, current).reasons)
    return min(tried, key=len, default=())


def _check(ask: Ask) -> None:
    if ask.height is not None:
        bounded(ask.height, "height", low=0, high=10, unit="m")
    if ask.wire_height is not None:
        bounded(ask.wire_height, Said("place/wire-height"), low=-5, high=10, unit="m")
    if ask.use.figure and ask.height is not None:
        raise BadInput(
            "--height", Said("seen/given-for-use", use=ask.use), Said("expected/wire-height-or-route")
        )
    if ask.points_agreed and not ask.use.figure:
        raise BadInput(
            "--points-agreed", Said("seen/given-for-use", use=ask.use), Said("expected/use-counter-or-refuge")
        )
    if not ask.heights:
        raise BadInput(Said("place/listening-height"), NOTHING, Said("expected/at-least-one-height"))
    for height in ask.heights:
        bounded(height, Said("place/listening-height"), low=0, high=3, unit="m")
    bounded(ask.ceiling, "ceiling", low=1.5, high=10, unit="m")
    bounded(ask.feed, "feed", low=0, high=100, unit="m")
    bounded(ask.metal_db, Said("place/metal-allowance"), low=0, high=MOST_METAL_DB, unit="dB")
    if ask.metal_5k_db is not None:
        bounded(
            ask.metal_5k_db, Said("place/metal-allowance-5k"), low=ask.metal_db, high=MOST_METAL_DB, unit="dB"
        )
    bounded(ask.margin, "margin", low=0, high=20, unit="m")
    if ask.spill_db is not None:
        bounded(ask.spill_db, "spill", low=-60, high=0, unit="dB")
    bounded(ask.doorways, "doorways", low=0, high=20)


def _placed(ask: Ask) -> tuple[Loop, tuple[float, ...]]:
    """Return the loop at its height, and the listening heights in the same frame."""
    if ask.height is not None:
        return _at(ask.room, 0.0), (ask.height,)
    z = ask.wire_height
    if z is None:
        z = ask.route.wire_height(ask.ceiling) if ask.route else 0.0
    return _at(ask.room, z), ask.heights


def _at(loop: Loop, z: float) -> Loop:
    return Loop(tuple((x, y, z) for x, y in loop.spots))


def _chosen(ask: Ask, found: Sequence[Choice]) -> tuple[Wire, int, bool]:
    """The wire, its turns, and whether only the least current fits."""
    for choice in found:
        if ask.wire in (None, choice.wire) and ask.turns in (None, choice.turns):
            return choice.wire, choice.turns, choice.least
    return ask.wire or wire_from(USUAL_WIRE), 1 if ask.turns is None else ask.turns, False


def _field_reasons(plane: Plane, best: BestOffset | None, *, several: bool) -> tuple[Sentence, ...]:
    if plane.shift_db is not None:
        return ()
    if plane.even:
        return (Sentence("loop/reason/standing", {"most": STANDING_DB}),)
    if best is None:
        advice = Sentence("loop/uneven/front")
    elif best.spread_db > 2 * plane.tolerance_db:
        advice = Sentence("loop/uneven/no-height")
    elif several:
        advice = Sentence("loop/uneven/several")
    else:
        between = {"offset": Metres(best.offset), "spread": Digits(best.spread_db)}
        advice = Sentence("loop/uneven/height", between)
    values = {
        "spread": Digits(min(plane.spread_db, 99)),
        "most": 2 * plane.tolerance_db,
        "tolerance": plane.tolerance_db,
        "advice": advice,
    }
    return (Sentence("loop/reason/uneven", values),)


def _wire_reasons(wire: Wire, current_a: float) -> tuple[Sentence, ...]:
    if not too_dense(wire, current_a):
        return ()
    return (Sentence("loop/reason/thin", {"wire": wire.label, "current": Amount(current_a)}),)


def _line_reasons(ask: Ask) -> tuple[Sentence, ...]:
    margin = ask.line_margin_db
    found = []
    if margin is not None and margin < 0:
        found.append(Sentence("loop/reason/sensitivity", {"short": Digits(-margin)}))
    if ask.source_v is not None and ask.source_v > OVERLOAD_V:
        values = {"source": float(f"{ask.source_v:.3g}"), "most": OVERLOAD_V}
        found.append(Sentence("loop/reason/overload", values))
    return tuple(found)


def items(answer: Answer) -> tuple[Needed, ...]:
    """Return what to carry, for ``pack``: the wire in whole metres, then the route's list."""
    kind = answer.ask.route.wire_kind if answer.ask.route else "insulated"
    metres = math.ceil(answer.buy_m)
    return (Needed(f"{kind} wire {answer.wire.label}", metres, unit=METRE), *answer.needed)
