"""Read and show lengths on the page, in the units of the settings or any unit written."""

from __future__ import annotations

from kb.base.messages import Wording
from kb.loop.units import length
from kb.settings import Units
from kb.web.site import language, site

LONGEST_M = 100.0  #: metres; the packages below have limits of their own


def in_feet() -> bool:
    """Are bare numbers feet?"""
    return site().book.settings.units is Units.FEET


def read_length(typed: str, place: Wording) -> float:
    """Metres of what was typed (``2.5``, ``2,5 m``, ``8 ft``, ``4 ft 11 in``); raises BadInput."""
    return length(typed, place, low=0.0, high=LONGEST_M, feet=in_feet())


def shown_length(metres: float) -> str:
    """``1.5 m`` or ``4 ft 11 in``."""
    return language().length(metres)
