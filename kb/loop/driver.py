"""Judge whether a driver is strong enough for a loop.

A driver is known by what stands on its plate: the current it can push through the loop and the voltage
it can put across it, both r.m.s., and the least resistance it accepts.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from kb.base.errors import BadInput
from kb.domain.driver import DriverLimits
from kb.loop.geometry import Loop
from kb.loop.wire import FREQUENCIES_HZ, Load, Wire, load, too_dense

#: Density of annealed copper, kg/m3 (IEC 60028).
COPPER_KG_PER_M3: Final = 8890.0


def driver_named(name: str, drivers: Sequence[DriverLimits]) -> DriverLimits:
    """Return the driver of that name, whatever its case and spacing; raises BadInput listing the known."""
    for driver in drivers:
        if same_name(driver.name, name):
            return driver
    raise BadInput("driver", name, f"one of {', '.join(driver.name for driver in drivers)}")


def same_name(one: str, other: str) -> bool:
    """Whether two names are the same but for case and spacing."""
    return _plain(one) == _plain(other)


@dataclass(frozen=True)
class Fit:
    """Whether a driver drives a load at a current: margins in dB, and the reasons when it does not.

    ``voltage_margin_db`` is by frequency in Hz. A margin below zero does not fit.
    """

    current_margin_db: float
    voltage_margin_db: Mapping[float, float]
    reasons: tuple[tuple[str, str], ...]

    @property
    def fits(self) -> bool:
        """True when nothing speaks against it."""
        return not self.reasons


def fit(driver: DriverLimits, ask: Load, current_a: float) -> Fit:
    """Judge a driver against a load at ``current_a`` (A r.m.s. in the wire), at 100 Hz, 1 kHz and 5 kHz.

    The full current is asked for at each, so that the response holds to 5 kHz at the loudest. That is
    strict: speech has less there, and cl. 8.3 of the standard allows 3 dB. The reason says which it is.
    Reasons are (code, sentence); codes ``current``, ``voltage``, ``resistance``.
    """
    reasons = []
    current_margin = 20 * math.log10(driver.rated_current_a_rms / current_a)
    if current_margin < 0:
        reasons.append((
            "current",
            f"the loop asks for {current_a:.2f} A, the driver is rated for "
            f"{driver.rated_current_a_rms:.2f} A",
        ))  # fmt: skip
    margins = {}
    for frequency in FREQUENCIES_HZ:
        needed = ask.voltage(current_a, frequency)
        margins[frequency] = 20 * math.log10(driver.max_voltage_v_rms / needed)
        if margins[frequency] < 0:
            mild = frequency > 1000 and margins[frequency] >= -3
            reasons.append((
                "voltage",
                f"at {frequency:g} Hz the loop asks for {needed:.2f} V, the driver gives "
                f"{driver.max_voltage_v_rms:.2f} V"
                + ("; short by less than the 3 dB that cl. 8.3 allows there" if mild else ""),
            ))  # fmt: skip
    if ask.resistance < driver.min_resistance_ohm:
        reasons.append((
            "resistance",
            f"the loop has {ask.resistance:.2f} ohm, the driver wants at least "
            f"{driver.min_resistance_ohm:.2f} ohm",
        ))  # fmt: skip
    return Fit(current_margin, margins, tuple(reasons))


@dataclass(frozen=True)
class Choice:
    """One gauge and number of turns: current in A r.m.s., what the driver sees, copper in kg, and its fit."""

    wire: Wire
    turns: int
    current_a: float
    ask: Load
    copper_kg: float
    fit: Fit


def choices(
    loop: Loop,
    ampere_turns: float,
    driver: DriverLimits,
    wires: Sequence[Wire],
    *,
    turns: Sequence[int] = (1, 2, 3, 4),
    celsius: float = 20.0,
    feed: float = 0.0,
    extra: float = 0.0,
) -> tuple[Choice, ...]:
    """Return every gauge and number of turns that the driver manages, least copper first.

    ``ampere_turns`` is the current for one turn, A r.m.s.; N turns need its Nth part. Copper (8.89 g/cm3,
    IEC 60028) stands for cost: one-turn thin wire is the cheapest there is. Wire that would carry more
    than 10 A/mm2 is left out. Empty when nothing fits.
    """
    found = []
    for count in turns:
        wound = Loop(loop.corners, count)
        current = ampere_turns / count
        for wire in wires:
            if too_dense(wire, current):
                continue
            ask = load(wound, wire, celsius=celsius, feed=feed, extra=extra)
            judged = fit(driver, ask, current)
            if judged.fits:
                metres = count * (loop.perimeter + extra) + 2 * feed
                found.append(Choice(wire, count, current, ask, metres * wire.area * COPPER_KG_PER_M3, judged))
    return tuple(sorted(found, key=lambda choice: (choice.copper_kg, choice.turns)))


def _plain(name: str) -> str:
    return re.sub(r"[\s_-]+", " ", name).strip().casefold()
