"""Estimate how likely a jack carries sound, from its own findings alone.

Counts of a beginning by kind of signal (``data/works.toml``) and the jack's outcomes make a Beta
distribution; its mean is the chance. The evidence of all sets, where there is some, takes this one's place
(argument ``chance`` of :func:`kb.path.connect`).

>>> from kb.domain.jack import Jack
>>> from kb.domain.panel import PanelJack
>>> from kb.domain.words import Form, Outcome, Signal
>>> optical = PanelJack(Jack(Form.TOSLINK, signal=Signal.OPTICAL), outcomes=((Outcome.CARRIED, 10),))
>>> round(own_chance(optical).p, 2)
0.95
"""

from __future__ import annotations

from math import sqrt
from typing import Final, Protocol

from kb.catalogue import Catalogue, catalogue
from kb.domain.chance import Chance
from kb.domain.panel import PanelJack
from kb.domain.words import WORKED, Signal

__all__ = ["Chance", "ChanceLike", "own_chance"]

_Z90: Final = 1.6449  # 90 % of a normal distribution lies within this many deviations


class ChanceLike(Protocol):
    """List the fields of a chance, all 0 to 1 but the findings behind it.

    ``p`` comes with its bounds. ``dead``: that no remedy makes a jack carry sound which never did.
    """

    @property
    def p(self) -> float: ...
    @property
    def low(self) -> float: ...
    @property
    def high(self) -> float: ...
    @property
    def findings(self) -> int: ...
    @property
    def dead(self) -> float: ...


def own_chance(jack: PanelJack, known: Catalogue | None = None) -> Chance:
    """Return the chance of this jack from prior counts and its own outcomes; bounds by Wilson's score."""
    works, tried = 0.0, 0
    for outcome, count in jack.outcomes:
        if outcome in WORKED:
            works += WORKED[outcome] * count
            tried += count
    book = known or catalogue()
    prior = book.priors.get(jack.jack.signal or Signal.NOT_AUDIO)
    before, against = (prior.works, prior.fails) if prior else (1.0, 1.0)
    n = before + against + tried
    p = (before + works) / n
    middle = (p + _Z90**2 / (2 * n)) / (1 + _Z90**2 / n)
    spread = _Z90 * sqrt(p * (1 - p) / n + (_Z90 / (2 * n)) ** 2) / (1 + _Z90**2 / n)
    dead = book.dead(jack.jack.signal, jack.in_vain)
    return Chance(p, max(0.0, middle - spread), min(1.0, middle + spread), jack.findings, dead)
