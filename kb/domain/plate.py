"""Name the ways in which the numbers on a driver's plate count."""

from __future__ import annotations

import math

from kb.domain.words import Word


class Plate(Word):
    """How the numbers on a driver's plate count."""

    RMS = "rms", "r.m.s."
    PEAK = "peak"

    def rms(self, value: float) -> float:
        """Return a number of the plate as r.m.s. of a sine.

        That is also how the compliance voltage is defined: the mean of the highest positive and negative
        peak, over root 2 (IEC 62489-1 cl. 5.4.8.2, second-hand).
        """
        return value / math.sqrt(2) if self is Plate.PEAK else value
