"""Find the loss to metal from the readings of a trial loop.

A trial loop is laid on the floor or ceiling before the wire is fixed, fed with a current that is known. The
field at 1 kHz is then weaker than computed by the loss to metal, and the response at each place tells how the
loss grows up to 5 kHz. The copy of the standard has no model of it (Annex F: measure and equalize). A
straight line over the octaves is common practice, and ``kb.loop.plan`` counts with it, too.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Collection
from dataclasses import dataclass

from kb.loop.diagnose import Compared
from kb.loop.readings_file import Readings
from kb.loop.sentences import Digits, Sentence
from kb.loop.standard import RESPONSE_HZ, RESPONSE_REFERENCE_HZ


@dataclass(frozen=True)
class MetalLoss:
    """Hold the loss to metal in dB at 1 kHz, and at 5 kHz (None: no response was measured up to there)."""

    at_1_khz_db: float
    at_5_khz_db: float | None

    @property
    def sentences(self) -> tuple[Sentence, ...]:
        """Return what to plan with; a field that is stronger than computed is not a loss."""
        if self.at_1_khz_db < -1.0:
            return (Sentence("loop/advice/metal-none", {"more": Digits(-self.at_1_khz_db)}),)
        low = max(0.0, self.at_1_khz_db)
        if self.at_5_khz_db is None:
            return (Sentence("loop/advice/metal-1-khz", {"low": Digits(low)}),)
        values = {"low": Digits(low), "high": Digits(max(low, self.at_5_khz_db))}
        return (Sentence("loop/advice/metal", values),)


def metal_loss(readings: Readings, pairs: Collection[Compared]) -> MetalLoss | None:
    """Return the loss that a trial loop shows; None if it is none, or its current or places are not known.

    At 1 kHz it is the median over the places. Up to 5 kHz it grows by a straight line over the octaves
    through what all places show (least squares).
    """
    if not readings.trial or readings.current is None or not pairs:
        return None
    last = RESPONSE_HZ[1]
    loss = readings.metal_db - statistics.median(each.difference for each in pairs)
    over = over_squared = 0.0
    whole = False
    for place in readings.positions:
        for hertz, level in place.response_re_1_khz().items():
            if RESPONSE_REFERENCE_HZ < hertz <= RESPONSE_HZ[1]:
                share = math.log(hertz / RESPONSE_REFERENCE_HZ) / math.log(
                    RESPONSE_HZ[1] / RESPONSE_REFERENCE_HZ
                )
                over, over_squared = over - share * level, over_squared + share * share
                whole = whole or hertz == last
    return MetalLoss(loss, loss + over / over_squared if whole else None)
