"""Advise the next step, from the readings and the faults that they show."""

from __future__ import annotations

import statistics
from collections.abc import Collection
from typing import Final

from kb.loop.decibels import ratio
from kb.loop.diagnose import METER_DB, Compared
from kb.loop.readings_file import Readings
from kb.loop.sentences import Amount, Digits, Key, Sentence
from kb.loop.standard import at_most

#: So many places describe an area, the seats and its corners; one describes one chair (common practice).
FEW_PLACES: Final = 3
#: Faults that explain by themselves why places differ.
_OF_PLACES: Final = frozenset({"no-field", "low-at-place", "high-at-place", "tilt", "uneven"})


def advise(
    readings: Readings, faults: Collection[Sentence], pairs: Collection[Compared], failed: Collection[str]
) -> tuple[Sentence, ...]:
    """Return the next steps in order; nothing if all is measured, right and liked.

    ``failed`` are the names of the checks that are out of limits.
    """
    codes = {each.code for each in faults}
    return (
        *_level(readings, pairs, codes),
        *_places(readings),
        *_user(readings, failed, codes),
    )


def _level(readings: Readings, pairs: Collection[Compared], codes: set[str]) -> list[Sentence]:
    """Return one change of the drive that brings every place within the tolerance and one to 0 dB, if any."""
    levels, tolerance, current = readings.levels, readings.use.tolerance_db, readings.current
    if "no-field" in codes or not levels:
        return []
    low, high = min(levels.values()), max(levels.values())
    if at_most(-tolerance, low) and at_most(0, high) and at_most(high, tolerance):
        return []
    if current and pairs and abs(statistics.median(each.difference for each in pairs)) > METER_DB:
        return []  # not before the current and the loop are as stated
    if at_most(high - low, 2 * tolerance):
        # the middle of the window, but with the strongest place at 0 dB at least
        shift = max(-(low + high) / 2, -high)
        to: Sentence | str = ""
        if current:
            to = Sentence("loop/to", {"current": Amount(current * ratio(shift))})
        values: dict[str, object] = {
            "shift": Digits(abs(shift)),
            "to": to,
            "tolerance": tolerance,
            "low": Digits(low + shift, signed=True),
            "high": Digits(high + shift, signed=True),
        }
        return [Sentence(f"loop/advice/level/{'more' if shift > 0 else 'less'}", values)]
    if codes & _OF_PLACES:
        return []
    as_computed = bool(pairs) and all(abs(each.difference) <= METER_DB for each in pairs)
    values = {
        "spread": Digits(high - low),
        "computed": Key("loop/as-computed") if as_computed else "",
        "tolerance": tolerance,
    }
    where = tuple(name for name, level in levels.items() if not at_most(abs(level), tolerance))
    return [Sentence("loop/advice/uneven-area", values, where)]


def _places(readings: Readings) -> list[Sentence]:
    count = len(readings.measured)
    if not 0 < count < FEW_PLACES or readings.use.small:
        return []
    return [Sentence("loop/advice/few-places", {"count": count})]


def _user(readings: Readings, failed: Collection[str], codes: set[str]) -> list[Sentence]:
    """Explain the standard's and the user's verdicts if they differ."""
    satisfied = readings.user.satisfied if readings.user else None
    if satisfied is False and not failed and not codes:
        return [Sentence("loop/advice/user-not-satisfied")]
    if satisfied and failed:
        return [Sentence("loop/advice/user-satisfied")]
    return []
