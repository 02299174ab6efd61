"""Compare the source's line level with what the driver's input needs.

>>> round(voltage("-10 dBV"), 4), round(voltage("+4 dBu"), 4), voltage("150 mV")
(0.3162, 1.2277, 0.15)
>>> show_level(voltage("-10 dBV"))
'0.316 V (-10.0 dBV, -7.8 dBu)'

Data sheets give these levels in three ways. 0 dBV is 1 V; 0 dBu is the voltage of 1 mW in 600 ohm, 0.775 V
(level conventions; usual levels are -10 dBV at home and +4 dBu in studios, which are 11.8 dB apart, not 14).
All voltages are r.m.s.
"""

from __future__ import annotations

import math
import re
from typing import Final

from kb.base.errors import BadInput
from kb.base.messages import Said, Wording
from kb.loop.decibels import decibels, ratio
from kb.loop.units import LONGEST_TEXT

DBV_V: Final = 1.0
DBU_V: Final = math.sqrt(1e-3 * 600)
#: Least voltage that overloads a line input, V (IEC 61938, as summarised in a hi-fi encyclopedia).
OVERLOAD_V: Final = 2.8
LEAST_V: Final = 1e-5
MOST_V: Final = 100.0

_LEVEL: Final = re.compile(r"([+-]?\s*(?:\d+(?:[.,]\d*)?|[.,]\d+))\s*(mv|v|dbv|dbu)?", re.ASCII)
_EXPECTED: Final = Said("expected/level-such-as")


def voltage(text: str, place: Wording = "level") -> float:
    """Read a line level; return V r.m.s. A bare number is volts. Raises BadInput naming ``place``."""
    found = _LEVEL.fullmatch(text.strip().lower().replace("−", "-")) if len(text) <= LONGEST_TEXT else None
    if not found:
        raise BadInput(place, text, _EXPECTED)
    number = float(found[1].replace(" ", "").replace(",", "."))
    unit = found[2] or "v"
    if unit in ("v", "mv"):
        volts = number * (1e-3 if unit == "mv" else 1.0)
    else:
        # a level this far out has no voltage that a float holds
        volts = (DBV_V if unit == "dbv" else DBU_V) * ratio(max(-999.0, min(999.0, number)))
    if not LEAST_V <= volts <= MOST_V:
        raise BadInput(
            place,
            text,
            Said("expected/level-from-to", levels=_EXPECTED, low=f"{1e6 * LEAST_V:g}", high=f"{MOST_V:g}"),
        )
    return volts


def dbv(volts: float) -> float:
    """Return dB re 1 V."""
    return decibels(volts / DBV_V)


def dbu(volts: float) -> float:
    """Return dB re 0.775 V."""
    return decibels(volts / DBU_V)


def show_level(volts: float) -> str:
    """Return a level in all three ways."""
    return f"{volts:.3g} V ({dbv(volts):+.1f} dBV, {dbu(volts):+.1f} dBu)"


def margin_db(source_v: float, sensitivity_v: float) -> float:
    """Return how far the source's level lies above what the driver's input wants for full output, dB."""
    return decibels(source_v / sensitivity_v)
