"""Define the items that can be carried, and what each end takes and gives.

>>> from kb.catalogue import catalogue
>>> dac = catalogue().item("DAC")
>>> [end.form.value for end in dac.near], [end.gives.value for end in dac.far]
(['toslink', 'rca-single'], ['line'])
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from typing import Final, NamedTuple

from kb.base.errors import BadInput, shown
from kb.base.messages import Said, Wording
from kb.base.text import squeezed
from kb.catalogue.vocabulary import Carried, CautionCode, Part, Power, Role, StepCode
from kb.domain.words import DriverInput, Form, Signal


class End(NamedTuple):
    """A typed end: connector, plug or socket, and what it carries."""

    form: Form
    part: Part
    carries: Carried

    @property
    def fits(self) -> Part:
        """The half that mates with this end."""
        return Part.PLUG if self.part is Part.SOCKET else Part.SOCKET


class Near(NamedTuple):
    """The end of an item that faces the source, with all that it takes."""

    form: Form
    part: Part
    takes: frozenset[Carried]


class Far(NamedTuple):
    """The end of an item that faces the driver. ``gives`` is None where what came in goes out."""

    form: Form
    part: Part
    gives: Carried | None


@dataclass(frozen=True, slots=True, eq=False)
class Item:
    """One thing of the catalogue, in one length.

    ``length_m`` metres of the run it makes; ``counts_as_m`` metres of cable that its loss is worth;
    ``delay_ms`` milliseconds it holds the sound back; ``loss_db`` decibels it takes away; ``works`` the
    chance that it does its part; ``cost`` the bother of using it, ``weight_g`` grams and ``price`` a
    relative number: all three rough, for ranking and packing only. ``source`` names the source of each.
    """

    name: str
    what: str
    role: Role
    near: tuple[Near, ...]
    far: tuple[Far, ...]
    cost: int
    length_m: float = 0.0
    counts_as_m: float = 0.0
    delay_ms: float = 0.0
    loss_db: float = 0.0
    works: float = 1.0
    weight_g: float = 0.0
    price: float = 0.0
    power: Power = Power.NONE
    sockets: int = 0
    """Outlets that it needs where it is used; a USB charger takes one, too."""
    clicks: bool = False
    """Its plugs are pushed in until they click."""
    cautions: tuple[CautionCode, ...] = ()
    steps: tuple[StepCode, ...] = ()
    family: str = ""
    """The entry that this length comes from: ``optical cable {n} m``."""
    same_as: str = ""
    """The name of the same thing held the other way round."""
    source: Mapping[str, str] = field(default_factory=dict)
    names: Mapping[str, str] = field(default_factory=dict)
    """The family's names in other languages, by code."""

    @property
    def powered(self) -> bool:
        """Does it send the signal afresh, with power of its own?"""
        return self.power is not Power.NONE


class Input(NamedTuple):
    """One input of a driver: its socket and what it takes."""

    input: DriverInput
    form: Form
    part: Part
    takes: frozenset[Carried]
    mono: bool
    """It has one channel: a stereo pair must be summed before it, not in the driver."""


class Reach(NamedTuple):
    """How far one stretch of cable carries a signal: up to ``usual_m`` without a second thought,
    never beyond ``longest_m``."""

    signal: Signal
    usual_m: float
    longest_m: float
    source: str


class Number(NamedTuple):
    """A number that a rule uses, with unit and source."""

    name: str
    value: float
    unit: str
    source: str


GIVEN_UP: Final = 0.5  #: chance that an output is dead from which on it counts as not working


class Prior(NamedTuple):
    """How often an output of a kind works before anything is known of the set, as counts."""

    works: float
    fails: float
    source: str


def _form_of(word: str) -> Form | None:
    """The form that a word names, by its short name as well; a word of an item's own name may, too."""
    short = (form for form in Form if any(one.name == word.casefold() for one in form.short))
    return Form.meant(word) or next(short, None)


@dataclass(frozen=True, slots=True, eq=False)
class Catalogue:
    """Items, driver inputs, reaches, numbers and prior counts. Compared and hashed by identity."""

    items: tuple[Item, ...]
    inputs: Mapping[DriverInput, Input]
    reaches: Mapping[Signal, Reach]
    numbers: Mapping[str, Number]
    priors: Mapping[Signal, Prior]
    by_name: Mapping[str, Item] = field(init=False)
    by_end: Mapping[tuple[Form, Part, Carried], tuple[Item, ...]] = field(init=False)
    """Items by what their near end mates with."""
    one_names: Mapping[str, str] = field(init=False)
    """One name of each item: of the same thing held both ways round, the name that comes first."""

    def __post_init__(self) -> None:
        ends: dict[tuple[Form, Part, Carried], list[Item]] = {}
        for item in self.items:
            for near in item.near:
                for carried in near.takes:
                    fits = End(near.form, near.part, carried).fits
                    ends.setdefault((near.form, fits, carried), []).append(item)
        names = {
            item.name: item for item in self.items
        }  # as they stand, too: mostly they are asked like that
        names |= {squeezed(item.name): item for item in self.items}
        one_names: dict[str, str] = {}
        for item in self.items:
            one_names[item.name] = one_names.get(item.same_as, item.name)
        object.__setattr__(self, "by_name", names)
        object.__setattr__(self, "one_names", one_names)
        object.__setattr__(self, "by_end", {end: tuple(items) for end, items in ends.items()})

    def item(self, name: str, place: Wording = "item") -> Item:
        """The item of this name, capitals and blanks aside. Raises BadInput with the nearest name."""
        found = self.by_name.get(str(name)) or self.by_name.get(squeezed(str(name)))
        if found is None:
            raise BadInput(place, name, self._nearest(name))
        return found

    def one_name(self, name: str, place: Wording = "item") -> str:
        """The one name under which an item is counted, however it was typed. Raises BadInput as ``item``."""
        return self.one_names[self.item(name, place).name]

    def _nearest(self, name: object) -> Said:
        from difflib import get_close_matches  # a mistake is rare; its cost is paid only then

        asked = squeezed(str(name)[:80])
        lengths = [
            f"{item.length_m:g} m"
            for item in self.items
            if item.length_m and squeezed(item.name) == squeezed(f"{asked} {item.length_m:g} m")
        ]
        if len(lengths) > 1:
            return Said("expected/length-of-item", lengths=", ".join(lengths[:-1]), last=lengths[-1])

        forms = {meant for word in str(name)[:80].split() if (meant := _form_of(word))}
        fit = [known for known, item in self.by_name.items() if forms & {end.form for end in item.near}]
        near = get_close_matches(asked, fit or self.by_name, n=1, cutoff=0.4 if fit else 0.6)
        if near:
            return Said("expected/item-perhaps", name=shown(self.by_name[near[0]].name))
        return Said("expected/item-of-catalogue")

    def named(self, names: Collection[str], place: Wording = "have") -> frozenset[str]:
        """The catalogue's own spelling of these names, with each thing held either way round."""
        if isinstance(names, str):
            raise BadInput(place, names, Said("expected/list-of-items"))
        found = [self.item(name, place) for name in names]
        return frozenset(item.name for item in found) | {item.same_as for item in found if item.same_as}

    def dead(self, signal: Signal | None, failed: float) -> float:
        """Return the chance that no remedy makes an output carry sound that never did in ``failed`` trials.

        Most silence at a good jack comes from settings: Bayes' rule over the trials, without a trial 0. A
        trial after a remedy counts REMEDY times. From GIVEN_UP on nobody offers or counts the output.
        """
        if failed <= 0:
            return 0.0
        dead = self.number("dead-outputs")
        prior = self.priors.get(signal) if signal is not None else None
        works = prior.works / (prior.works + prior.fails) if prior else 0.5
        silent: float = max(0.01, 1 - works - dead) ** failed
        return dead / (dead + (1 - dead) * silent)

    def number(self, name: str) -> float:
        """The value of a number by name."""
        return self.numbers[name].value
