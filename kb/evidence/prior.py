"""Read and check the prior file, ``data/prior.toml``: expectations before the book holds anything.

>>> prior = standard_prior()
>>> prior.worth, round(sum(prior.shapes("era-display", "television|2010|flat").values()), 6)
(4.0, 1.0)
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from math import exp, log, log1p
from typing import Final, NamedTuple

from kb.base.datafiles import data_tables
from kb.base.errors import BadInput, BookTrouble, inside
from kb.base.messages import Said, Wording
from kb.base.validation import Fields, keyed, listed, number, sentence
from kb.catalogue import standard_chances
from kb.domain.words import Basis, Display, Form, Kind, Signal, Speakers
from kb.evidence.groups import ANY, ERAS, LEVELS
from kb.evidence.signature import EFFECTS, NO_OUTPUT, Output, outputs_of, shape_of

MOST: Final = 2000  #: entries of one table of the file
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


def prior_from(
    data: object, place: Wording = "prior", *, works: Mapping[Signal, float] | None = None
) -> Prior:
    """Return the prior that a parsed prior file describes. Raises BadInput naming the field.

    ``works``: how often an output of each kind carries sound; None: from ``data/works.toml``.
    """
    if works is None:
        works = {
            signal: prior.works / (prior.works + prior.fails)
            for signal, prior in standard_chances().priors.items()
        }
    fields = Fields(data, place, _TABLES)
    worth, weights, forgotten = (
        fields.need(key, _with_source, _TABLES) for key in ("worth", "weights", "forgotten")
    )
    prior = Prior(
        worth=worth.need("sets", _positive),
        other=worth.need("other", _chance),
        places=fields.need("place", listed(_place, MOST), Said("expected/tables-of", kind="place")),
        speakers=fields.need("speakers", keyed(Signal.read, _effects, MOST), _TABLES),
        works=works,
        taken=fields.need("taken", keyed(Signal.read, _chance, MOST), _TABLES),
        weights={basis: weights.need(basis.value, _positive) for basis in Basis},
        half_life_years=weights.need("half_life_years", _positive),
        forgotten={basis: forgotten.need(basis.value, _chance) for basis in Basis},
    )
    for each in (worth, weights, forgotten, fields):
        each.end()
    return prior


_TABLES: Final = Said("expected/prior-tables")
_positive: Final = number(0, 1e6, Said("expected/number-above", low=0), above=True)
_chance: Final = number(1e-9, 1 - 1e-9, Said("expected/chance-between"))


def _with_source(value: object, place: Wording) -> Fields:
    fields = Fields(value, place, _TABLES)
    fields.take("source", sentence, "")
    return fields


@lru_cache(maxsize=1)
def standard_prior() -> Prior:
    """Return the prior file that comes with Jackfield. Raises BookTrouble if it is missing or damaged."""
    try:
        return prior_from(data_tables("prior.toml"), "prior.toml")
    except BadInput as mistake:
        raise BookTrouble(Said("error/prior-damaged", damage=mistake)) from mistake


def _place(data: object, place: Wording) -> PlacePrior:
    fields = Fields(data, place, Said("expected/table-with", fields="kind, share", last="shapes"))
    shapes: dict[str, float] = {}
    for written, share in fields.need("shapes", keyed(sentence, _positive, MOST), _TABLES).items():
        shape = _shape(written, inside(place, "shapes"))
        shapes[shape] = shapes.get(shape, 0.0) + share
    total = sum(shapes.values())
    prior = PlacePrior(
        fields.need("kind", Kind.read),
        fields.take("era", _era, ANY),
        fields.take("display", _display, ANY),
        fields.need("share", _positive),
        {shape: share / total for shape, share in shapes.items()},
    )
    fields.end()
    return prior


def _era(value: object, place: Wording) -> str:
    if value not in (ANY, "early", *map(str, ERAS)):
        raise BadInput(place, value, Said("expected/era", years=", ".join(map(str, ERAS))))
    return str(value)


def _display(value: object, place: Wording) -> str:
    return ANY if value == ANY else Display.read(value, place).value


def _shape(written: str, place: Wording) -> str:
    outputs = []
    for symbol in [] if written == NO_OUTPUT else written.split():
        form, _, signal = symbol.partition(":")
        outputs.append(Output(Form.read(form, place), Signal.read(signal, place)))
    return shape_of(outputs)


def _effects(data: object, place: Wording) -> dict[Speakers, float]:
    fields = Fields(data, place, Said("expected/table-of-effects"))
    shares = {effect: fields.need(effect.value, _positive) for effect in EFFECTS}
    fields.end()
    total = sum(shares.values())
    return {effect: share / total for effect, share in shares.items()}
