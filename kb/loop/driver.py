"""Judge whether a driver is strong enough for a loop.

A driver is known by its plate: the current it can push through the loop and the voltage it can put across it,
both r.m.s., and the least resistance it accepts. It is judged as IEC 60118-4 tests it (cl. 10.3,
second-hand): it holds the full current at 1 kHz, and does not clip 7 dB below that at the frequency of Table
4. Nothing in the copy that we have asks for the full current at 5 kHz.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from kb.base.errors import BadInput
from kb.base.messages import one_of
from kb.domain.driver import DriverLimits
from kb.loop.decibels import decibels, ratio
from kb.loop.geometry import Loop
from kb.loop.sentences import Amount, Digits, Hertz, Sentence
from kb.loop.standard import Programme, overload_current_a, overload_voltage_v
from kb.loop.wire import Load, Stock, Wire, load, too_dense

#: Density of annealed copper, kg/m3 (IEC 60028).
COPPER_KG_PER_M3: Final = 8890.0


def driver_named(name: str, drivers: Sequence[DriverLimits]) -> DriverLimits:
    """Return the driver of that name, whatever its case and spacing; raises BadInput listing the known."""
    for driver in drivers:
        if same_name(driver.name, name):
            return driver
    raise BadInput("--driver", name, one_of(driver.name for driver in drivers))


def same_name(one: str, other: str) -> bool:
    """Return whether two names are the same apart from case and spacing."""
    return _plain(one) == _plain(other)


@dataclass(frozen=True)
class Need:
    """Hold the demand of a loop at one frequency: A and V r.m.s., and the driver's margin in dB."""

    hertz: float
    current_a: float
    voltage_v: float
    margin_db: float


@dataclass(frozen=True)
class Fit:
    """Whether a driver drives a load at a current: margins in dB, and the reasons when it does not.

    ``needs`` are the full current at 1 kHz, then the overload test at the frequency of ``programme``. A
    margin below zero does not fit.
    """

    current_margin_db: float
    needs: tuple[Need, Need]
    programme: Programme
    reasons: tuple[Sentence, ...]

    @property
    def fits(self) -> bool:
        """Return True if there is no reason against it."""
        return not self.reasons


def fit(
    driver: DriverLimits,
    ask: Load,
    current_a: float,
    *,
    programme: Programme = Programme.SPEECH,
    worst: Load | None = None,
    boost_db: float = 0.0,
) -> Fit:
    """Judge a driver against a load at ``current_a`` (A r.m.s. in the wire) for one kind of programme.

    ``worst`` is the load with the greatest resistance that the wire is sold with, which the voltage is judged
    by; the least load of the driver is judged by ``ask``. ``boost_db`` is what the driver adds at the test's
    frequency to make up for metal (cl. 10.3.1, second-hand). Reasons are only those that
    fail; codes ``current``, ``voltage``, ``resistance``.
    """
    hardest = ask if worst is None else worst
    has = driver.max_voltage_v_rms
    reasons: list[Sentence] = []
    current_margin = decibels(driver.rated_current_a_rms / current_a)
    if current_margin < 0:
        rated = Amount(driver.rated_current_a_rms)
        values: dict[str, object] = {
            "current": Amount(current_a),
            "rated": rated,
            "short": Digits(-current_margin),
        }
        reasons.append(Sentence("loop/reason/current", values))
    boost = ratio(boost_db)
    calm = overload_current_a(current_a) * boost
    full, test = (
        Need(hertz, current, volts, decibels(has / volts))
        for hertz, current, volts in (
            (1000.0, current_a, hardest.voltage(current_a, 1000)),
            (programme.test_hz, calm, overload_voltage_v(hardest, current_a, programme) * boost),
        )
    )
    for need, why in ((full, "full"), (test, "overload")):
        if need.margin_db < 0:
            part = Sentence(f"loop/why/{why}", {"current": Amount(need.current_a), "programme": programme})
            values = {
                "hertz": Hertz(need.hertz),
                "voltage": Amount(need.voltage_v),
                "why": part,
                "has": Amount(has),
                "short": Digits(-need.margin_db),
            }
            reasons.append(Sentence("loop/reason/voltage", values))
    if ask.resistance < driver.min_resistance_ohm:
        values = {"ohm": Amount(ask.resistance), "least": Amount(driver.min_resistance_ohm)}
        reasons.append(Sentence("loop/reason/resistance", values))
    return Fit(current_margin, (full, test), programme, tuple(reasons))


@dataclass(frozen=True)
class Choice:
    """One gauge and number of turns that the driver manages.

    ``current_a`` in A r.m.s., ``ask`` what the driver sees, ``metres`` of wire with the feed, ``copper_kg``
    its copper, and the fit. ``usual``: wire that a tradesman has. ``least``: only with the least current that
    meets the standard.
    """

    wire: Wire
    turns: int
    current_a: float
    ask: Load
    metres: float
    copper_kg: float
    fit: Fit
    usual: bool
    least: bool


def choices(
    loop: Loop,
    ampere_turns: float,
    driver: DriverLimits,
    stock: Sequence[Stock],
    *,
    least_ampere_turns: float | None = None,
    programme: Programme = Programme.SPEECH,
    boost_db: float = 0.0,
    turns: Sequence[int] = (1, 2, 3, 4),
    celsius: float = 20.0,
    feed: float = 0.0,
    extra: float = 0.0,
    spacing: float | None = None,
) -> tuple[Choice, ...]:
    """Return every gauge and number of turns that the driver manages, the least bother first.

    That is the fewest turns, then wire that a tradesman has, then the least copper (8.89 g/cm3, IEC 60028).
    ``ampere_turns`` is the current for one turn, A r.m.s.; N turns need its Nth part. Where the driver does
    not manage that, ``least_ampere_turns`` is tried, the least that meets the standard. Wire that would carry
    more than 10 A/mm2 is left out. Empty when nothing fits.
    """
    found = []
    for count in turns:
        wound = Loop(loop.corners, count)
        for each in stock:
            if spacing is not None and spacing < each.wire.diameter:
                continue
            ask = load(wound, each.wire, celsius=celsius, feed=feed, extra=extra, spacing=spacing)
            worst = each.worst(ask)
            for total in dict.fromkeys((ampere_turns, least_ampere_turns or ampere_turns)):
                current = total / count
                if too_dense(each.wire, current):
                    continue
                judged = fit(driver, ask, current, programme=programme, worst=worst, boost_db=boost_db)
                if judged.fits:
                    metres = count * (loop.perimeter + extra) + 2 * feed
                    found.append(
                        Choice(
                            wire=each.wire,
                            turns=count,
                            current_a=current,
                            ask=ask,
                            metres=metres,
                            copper_kg=metres * each.wire.area * COPPER_KG_PER_M3,
                            fit=judged,
                            usual=each.usual,
                            least=total != ampere_turns,
                        )
                    )
                    break
    return tuple(
        sorted(found, key=lambda choice: (choice.turns, not choice.usual, choice.least, choice.copper_kg))
    )


def _plain(name: str) -> str:
    return re.sub(r"[\s_-]+", " ", name).strip().casefold()
