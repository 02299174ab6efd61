"""Read and check the prior file, ``data/prior.toml``: what is expected before the book holds anything.

>>> prior = standard_prior()
>>> prior.worth, round(sum(prior.shapes("era-display", "television|2010|flat").values()), 6)
(4.0, 1.0)
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from math import exp, log, log1p
from typing import Any, Final, TypeVar

from kb.base.datafiles import data_tables
from kb.base.errors import BadInput, BookTrouble, kind_of
from kb.domain.words import Basis, Display, Form, Kind, Signal, Speakers
from kb.evidence.groups import ANY, ERAS, LEVELS
from kb.evidence.signature import EFFECTS, NO_OUTPUT, Output, outputs_of, shape_of

T = TypeVar("T")

#: An output that no place of the prior file has is this rare in the chance of a shape never seen.
RARE: Final = 0.0005


@dataclass(frozen=True)
class PlacePrior:
    """The shapes expected of sets of one kind, era and display; ``*`` stands for any."""

    kind: Kind
    era: str
    display: str
    share: float
    shapes: Mapping[str, float]

    def covers(self, kind: str, era: str, display: str) -> bool:
        """Does the place lie in the circle?"""
        return (
            self.kind.value == kind
            and (ANY in (era, self.era) or self.era == era)
            and (ANY in (display, self.display) or self.display == display)
        )


@dataclass(frozen=True)
class Prior:
    """First guesses, and how much they and a visit weigh. ``worth`` is in sets, the half-life in years."""

    worth: float
    places: tuple[PlacePrior, ...]
    speakers: Mapping[Signal, Mapping[Speakers, float]]
    works: Mapping[Signal, float]
    taken: Mapping[Signal, float]
    weights: Mapping[Basis, float]
    half_life_years: float
    _mixes: dict[tuple[str, str], dict[str, float]] = field(default_factory=dict, compare=False, repr=False)
    _rates: dict[str, float] = field(default_factory=dict, compare=False, repr=False)
    _bases: dict[str, float] = field(default_factory=dict, compare=False, repr=False)

    def shapes(self, level: str, key: str) -> Mapping[str, float]:
        """Shapes and chances for a circle no narrower than era and display; empty where nothing is said."""
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
        """The chance of a shape that nobody has listed: outputs fall independently, each as often as here.

        Above zero for every set of outputs, and summing to one over all of them: what makes room for panels
        never seen.
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


def prior_from(data: Mapping[str, Any], place: str = "prior") -> Prior:
    """The prior that a parsed prior file describes. Raises BadInput naming the field."""
    try:
        weights = data["weights"]
        places = [_place(one, f"{place}, place {number}") for number, one in enumerate(data["place"], 1)]
        return Prior(
            worth=_positive(data["worth"]["sets"], f"{place}, worth, sets"),
            places=tuple(places),
            speakers=_by_signal(data["speakers"], _effects, f"{place}, speakers"),
            works=_by_signal(data["works"], _chance, f"{place}, works"),
            taken=_by_signal(data["taken"], _chance, f"{place}, taken"),
            weights={b: _positive(weights[b.value], f"{place}, weights, {b.value}") for b in Basis},
            half_life_years=_positive(weights["half_life_years"], f"{place}, weights, half_life_years"),
        )
    except KeyError as missing:
        raise BadInput(place, "nothing", f"a table or value {missing}") from None
    except (TypeError, AttributeError):
        raise BadInput(place, kind_of(data), "tables as in data/prior.toml") from None


@lru_cache(maxsize=1)
def standard_prior() -> Prior:
    """The prior file that comes with Jackfield. Raises BookTrouble where it is missing or spoilt."""
    try:
        return prior_from(data_tables("prior.toml"), "prior.toml")
    except BadInput as mistake:
        raise BookTrouble(f"prior.toml, which came with Jackfield, is spoilt: {mistake}") from mistake


def _place(data: Mapping[str, Any], place: str) -> PlacePrior:
    kind = Kind.read(data.get("kind"), f"{place}, kind")
    era = data.get("era", ANY)
    if era not in (ANY, "early", *map(str, ERAS)):
        raise BadInput(
            f"{place}, era", era, f"early or the first year of an era: {', '.join(map(str, ERAS))}"
        )
    display = data.get("display", ANY)
    if display != ANY:
        display = Display.read(display, f"{place}, display").value
    shapes: dict[str, float] = {}
    for text, share in data["shapes"].items():
        shape = _shape(text, f"{place}, shapes")
        shapes[shape] = shapes.get(shape, 0.0) + _positive(share, f"{place}, shapes, {text}")
    total = sum(shapes.values())
    return PlacePrior(
        kind,
        era,
        display,
        _positive(data.get("share"), f"{place}, share"),
        {shape: share / total for shape, share in shapes.items()},
    )


def _shape(text: str, place: str) -> str:
    outputs = []
    for symbol in [] if text == NO_OUTPUT else text.split():
        form, _, signal = symbol.partition(":")
        outputs.append(Output(Form.read(form, place), Signal.read(signal, place)))
    return shape_of(outputs)


def _by_signal(data: Mapping[str, Any], read: Callable[[Any, str], T], place: str) -> dict[Signal, T]:
    return {Signal.read(key, place): read(value, f"{place}, {key}") for key, value in data.items()}


def _effects(data: Mapping[str, Any], place: str) -> dict[Speakers, float]:
    shares = {effect: _positive(data.get(effect.value), f"{place}, {effect.value}") for effect in EFFECTS}
    total = sum(shares.values())
    return {effect: share / total for effect, share in shares.items()}


def _positive(value: object, place: str) -> float:
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not 0 < value < 1e6:
        raise BadInput(place, value, "a number above 0")
    return float(value)


def _chance(value: object, place: str) -> float:
    number = _positive(value, place)
    if number >= 1:
        raise BadInput(place, value, "a chance between 0 and 1")
    return number
