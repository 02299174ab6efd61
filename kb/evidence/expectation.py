"""Define the answers of the evidence: what is expected of a source, and where that comes from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple

from kb.domain.visit import Source
from kb.domain.words import Signal, Speakers
from kb.evidence.signature import Output


class Chance(NamedTuple):
    """The chance that a jack, tried as it should be, carries sound here; (low, high) holds it 9 times in 10.

    ``findings`` counts the trials of this very jack of this very set.
    """

    p: float
    low: float
    high: float
    findings: int


class LevelCount(NamedTuple):
    """One circle of sets behind an expectation: what the book holds of it, its share in the answer."""

    level: str
    key: str
    visits: int
    sets: int
    share: float


class Likely(NamedTuple):
    """A shape that the panel may have, with its chance."""

    outputs: tuple[Output, ...]
    p: float


@dataclass(frozen=True)
class Expectation:
    """What the book expects of a source.

    ``shapes`` come likeliest first; ``other`` is the chance of a panel that nobody has listed, so all sum to
    one. ``speakers`` and ``works`` are for each output of any shape; ``taken`` gives for each shape the
    chance of each set of signals in use by something else. ``failed``: the outputs of this very set that
    were tried and never gave usable sound. ``source`` has what the book could fill in.
    """

    source: Source
    shapes: tuple[Likely, ...]
    other: float
    speakers: Mapping[Output, Mapping[Speakers, float]]
    works: Mapping[Output, Chance]
    taken: Mapping[tuple[Output, ...], Mapping[frozenset[Signal], float]]
    levels: tuple[LevelCount, ...]
    prior_share: float
    failed: frozenset[Output] = frozenset()

    def has(self, *signals: Signal) -> float:
        """The chance that the panel has an output of one of these signals."""
        return sum(one.p for one in self.shapes if any(o.signal in signals for o in one.outputs))
