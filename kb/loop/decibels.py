"""Turn decibels of a field, current or voltage into a ratio, and back.

>>> round(ratio(6.0), 3), round(decibels(2.0), 3)
(1.995, 6.021)
"""

from __future__ import annotations

import math


def ratio(level_db: float) -> float:
    """Return the ratio of two fields, currents or voltages that lie so many dB apart (ISO 80000-3)."""
    return float(10 ** (level_db / 20))


def decibels(times: float) -> float:
    """Return the dB of two fields, currents or voltages of which one is so many times the other."""
    return 20 * math.log10(times)
