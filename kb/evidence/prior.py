"""Read the prior file, ``data/prior.toml``: expectations before the book holds anything.

>>> prior = standard_prior()
>>> prior.worth, round(sum(prior.shapes("era-display", "television|2010|flat").values()), 6)
(4.0, 1.0)
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from math import exp, log, log1p
from typing import Any, Final, NamedTuple, TypeVar

from kb.base.datafiles import data_tables
from kb.catalogue import standard_chances
from kb.domain.words import Basis, Form, Kind, Signal, Speakers
from kb.evidence.groups import ANY, LEVELS
from kb.evidence.signature import EFFECTS, NO_OUTPUT, Output, outputs_of, shape_of

T = TypeVar("T")

#: The chance of an output in an unseen shape, if no place of the prior file has it.
RARE: Final = 0.0005


class PlacePrior(NamedTuple):
    """Hold the shapes expected of sets of one kind, era and display; ``*`` means any."""

    kind: Kind
    era: str
    display: str
    share: float
    shapes: Mapping[str, float]

    def covers(self, kind: str, era: str, display: str) -> bool:
        """Return whether the group covers the place."""
        return (
            self.kind.value == kind
            and (ANY in (era, self.era) or self.era == era)
            and (ANY in (display, self.display) or self.display == display)
        )


@dataclass(frozen=True)
class Prior:
    """Hold first guesses, and their weight against visits. ``worth`` is in sets, the half-life in years."""

    worth: float
    other: float
    """The share of panels that no place lists."""
    places: tuple[PlacePrior, ...]
    speakers: Mapping[Signal, Mapping[Speakers, float]]
    works: Mapping[Signal, float]
    taken: Mapping[Signal, float]
    weights: Mapping[Basis, float]
    half_life_years: float
    forgotten: Mapping[Basis, float]
    """How often people do not record an existing jack."""
    _mixes: dict[tuple[str, str], dict[str, float]] = field(default_factory=dict, compare=False, repr=False)
    _rates: dict[str, float] = field(default_factory=dict, compare=False, repr=False)
    _bases: dict[str, float] = field(default_factory=dict, compare=False, repr=False)

    def shapes(self, level: str, key: str) -> Mapping[str, float]:
        """Return shapes and chances of a group no narrower than era and display; empty if there are none."""
        if (level, key) not in self._mixes:
            self._mixes[level, key] = self._mixed(level, key)
        return self._mixes[level, key]

    def _mixed(self, level: str, key: str) -> dict[str, float]:
        if level not in LEVELS[:3]:
            return {}
        if level == "all":
            places = self.places
        elif level == "kind":
            places = tuple(p for p in self.places if p.kind.value == key)
        else:
            kind, era, display = key.split("|")
            places = tuple(p for p in self.places if p.covers(kind, era, display))
        total = sum(place.share for place in places)
        mix: dict[str, float] = {}
        for place in places:
            for shape, p in place.shapes.items():
                mix[shape] = mix.get(shape, 0.0) + p * place.share / total
        return mix

    def any_shape(self, _: str, shape: str) -> float:
        """Return the chance of an unlisted shape: outputs occur independently, at their rates here.

        It is above zero for every combination of outputs, and sums to one over all of them. This leaves a
        share for panels never seen.
        """
        if shape not in self._bases:
            if not self._rates:
                self._rates.update(self._output_rates())
                self._bases[NO_OUTPUT] = exp(sum(log1p(-p) for p in self._rates.values()))
            odds = (self._rates[output.symbol] for output in outputs_of(shape))
            self._bases[shape] = self._bases[NO_OUTPUT] * exp(sum(log(p) - log1p(-p) for p in odds))
        return self._bases[shape]

    def _output_rates(self) -> dict[str, float]:
        rates = {Output(form, signal).symbol: RARE for form in Form for signal in Signal}
        for shape, p in self.shapes("all", "").items():
            for output in outputs_of(shape):
                rates[output.symbol] += p * (1 - 2 * RARE)
        return rates


def prior_from(data: Mapping[str, Any], works: Mapping[Signal, float] | None = None) -> Prior:
    """Return the prior that a parsed prior file describes.

    ``works``: how often an output of each kind carries sound; None: from ``data/works.toml``. The file is our
    own: ``tests/test_data_files.py`` holds it against its rules.
    """
    if works is None:
        works = {
            signal: prior.works / (prior.works + prior.fails)
            for signal, prior in standard_chances().priors.items()
        }
    return Prior(
        worth=float(data["worth"]["sets"]),
        other=data["worth"]["other"],
        places=tuple(map(_place, data["place"])),
        speakers={
            Signal(signal): _shares({effect: shares[effect] for effect in EFFECTS})
            for signal, shares in data["speakers"].items()
        },
        works=works,
        taken={Signal(signal): chance for signal, chance in data["taken"].items()},
        weights={basis: float(data["weights"][basis]) for basis in Basis},
        half_life_years=float(data["weights"]["half_life_years"]),
        forgotten={basis: data["forgotten"][basis] for basis in Basis},
    )


@lru_cache(maxsize=1)
def standard_prior() -> Prior:
    """Return the prior file that comes with Jackfield. Raises BookTrouble if it is missing or damaged."""
    return prior_from(data_tables("prior.toml"))


def _place(row: Mapping[str, Any]) -> PlacePrior:
    shapes: dict[str, float] = {}
    for written, share in row["shapes"].items():
        shape = _shape(written)
        shapes[shape] = shapes.get(shape, 0.0) + share
    kind, era, display = Kind(row["kind"]), row.get("era", ANY), row.get("display", ANY)
    return PlacePrior(kind, era, display, float(row["share"]), _shares(shapes))


def _shape(written: str) -> str:
    pairs = [] if written == NO_OUTPUT else [one.split(":") for one in written.split()]
    return shape_of([Output(Form(form), Signal(signal)) for form, signal in pairs])


def _shares(parts: Mapping[T, float]) -> dict[T, float]:
    """Return the parts as shares of their sum."""
    total = sum(parts.values())
    return {name: part / total for name, part in parts.items()}
