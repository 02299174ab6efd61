"""Advise what to do next, from the readings and what they point at."""

from __future__ import annotations

import statistics
from collections.abc import Collection
from typing import Final

from kb.loop.diagnose import METER_DB, Compared, Diagnosis
from kb.loop.readings_file import Readings
from kb.loop.standard import SLACK

#: So many places tell of an area, the seats and its corners; one tells of one chair (common practice).
FEW_PLACES: Final = 3
#: Faults that explain by themselves why places differ.
_OF_PLACES: Final = frozenset({"no-field", "low-at-place", "high-at-place", "tilt", "uneven"})


def advise(
    readings: Readings, faults: Collection[Diagnosis], pairs: Collection[Compared], failed: Collection[str]
) -> tuple[Diagnosis, ...]:
    """Return what to do next, in the order of doing; nothing where all is measured, right and liked.

    ``failed`` are the names of the checks that are out of limits.
    """
    codes = {each.code for each in faults}
    return (
        *_level(readings, pairs, codes),
        *_places(readings),
        *_user(readings, failed, codes),
    )


def _level(readings: Readings, pairs: Collection[Compared], codes: set[str]) -> list[Diagnosis]:
    """Whether one change of the drive brings every place within the tolerance and one to 0 dB, and which."""
    levels, tolerance, current = readings.levels, readings.use.tolerance_db, readings.current
    if "no-field" in codes or not levels:
        return []
    low, high = min(levels.values()), max(levels.values())
    if low >= -tolerance - SLACK and -SLACK <= high <= tolerance + SLACK:
        return []
    if current and pairs and abs(statistics.median(each.difference for each in pairs)) > METER_DB:
        return []  # not before the current and the loop are what they were taken for
    if high - low <= 2 * tolerance:
        # the middle of the window, but with the strongest place at 0 dB at least
        shift = max(-(low + high) / 2, -high)
        to = f", to about {current * 10 ** (shift / 20):.2f} A," if current else ""
        way = "more" if shift > 0 else "less"
        room = " See with 'jackfield loop' whether the driver has it." if shift > 0 else ""
        return [
            Diagnosis(
                "level",
                f"{abs(shift):.1f} dB {way} drive{to} brings every place measured within "
                f"+-{tolerance:g} dB ({low + shift:+z.1f} to {high + shift:+z.1f}).{room}",
            )
        ]
    if codes & _OF_PLACES:
        return []
    as_computed = bool(pairs) and all(abs(each.difference) <= METER_DB for each in pairs)
    return [
        Diagnosis(
            "uneven-area",
            f"The places differ by {high - low:.1f} dB{', as computed' if as_computed else ''}: no "
            f"drive brings all of them within +-{tolerance:g} dB. Keep seats away from the wire, "
            "lay it at the height that 'jackfield loop' calls most even, or divide the area.",
            tuple(name for name, level in levels.items() if abs(level) > tolerance),
        )
    ]


def _places(readings: Readings) -> list[Diagnosis]:
    count = len(readings.measured)
    if not 0 < count < FEW_PLACES or readings.use.small:
        return []
    said = (
        "One place was measured, which tells of that seat alone."
        if count == 1
        else f"{count} places were measured, which tell of these seats alone."
    )
    return [
        Diagnosis(
            "few-places",
            f"{said} For a room measure at every seat and in the corners of the listening area, at the "
            "height of the ears.",
        )
    ]


def _user(readings: Readings, failed: Collection[str], codes: set[str]) -> list[Diagnosis]:
    """Where the standard and the user say different things, what each of them is good for."""
    satisfied = readings.user.satisfied if readings.user else None
    if satisfied is False and not failed and not codes:
        return [
            Diagnosis(
                "user-not-satisfied",
                "Nothing measured is amiss, and the user is not satisfied: look at the wearer's side "
                "(telecoil programme, its level, microphone mixed in) and at the source: 'jackfield "
                "isolate'.",
            )
        ]
    if satisfied and failed:
        return [
            Diagnosis(
                "user-satisfied",
                "The user is satisfied though the standard is not met. At home that has the last "
                "word; keep both on record. Where the public listens, the standard counts.",
            )
        ]
    return []
