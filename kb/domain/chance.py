"""Hold how likely a jack carries sound, with bounds and the findings behind it.

>>> Chance(0.9, 0.8, 0.97, 4).findings
4
"""

from __future__ import annotations

from typing import NamedTuple


class Chance(NamedTuple):
    """Hold a chance from 0 to 1 with the bounds of its 90 % interval and the number of findings behind it.

    ``dead`` is the chance that no remedy makes the jack carry sound, if it never did (``Catalogue.dead``).
    """

    p: float
    low: float
    high: float
    findings: int
    dead: float = 0.0
