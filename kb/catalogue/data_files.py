"""Read the data files of the catalogue and check that they are sound.

Every number in ``data/*.toml`` has a source beside it; the reader refuses one without.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping, Sequence
from functools import lru_cache, partial
from typing import Any, Final, TypeVar

from kb.base.datafiles import located, tables_of
from kb.base.errors import BadInput, inside, shown
from kb.base.messages import Said, Wording, one_of
from kb.base.text import squeezed
from kb.base.validation import Fields, chance, keyed, listed, number, sentence, truth
from kb.catalogue.items import Catalogue, Far, Input, Item, Near, Number, Prior, Reach
from kb.catalogue.vocabulary import Carried, CautionCode, Part, Power, Role, StepCode
from kb.domain.words import DriverInput, Form, Signal

T = TypeVar("T")

MOST: Final = 1000  #: entries of one kind in a file
_NUMBERS: Final = (
    "cost cost_per_m length_m counts_as_m delay_ms loss_db works weight_g weight_g_per_m price price_per_m"
    " sockets"
).split()
#: Outlets that an item needs if its entry does not say: its own, or that of a charger for it.
_SOCKETS: Final = {Power.SOCKET: 1, Power.USB: 1}

_amount: Final = number(0, 1e9, Said("expected/number-or-more", low=0))
_count: Final = number(0, 1e9, Said("expected/count-above", low=0), above=True)


@lru_cache(maxsize=1)
def catalogue() -> Catalogue:
    """The catalogue that comes with Jackfield, read once. Raises BadInput naming file and entry."""
    return read_catalogue(located("items.toml"), located("limits.toml"), known=standard_chances())


@lru_cache(maxsize=1)
def standard_chances() -> Catalogue:
    """The counts of ``works.toml`` alone: evidence needs no items. Raises BadInput naming the entry."""
    return read_catalogue(located("works.toml"))


def read_catalogue(*files: str | os.PathLike[str], known: Catalogue | None = None) -> Catalogue:
    """The catalogue that these TOML files make together, with the numbers and priors that are ``known``.

    Raises BadInput naming file and entry.
    """
    items: list[Item] = []
    reaches: list[Reach] = []
    numbers = list(known.numbers.values()) if known else []
    priors = list(known.priors.items()) if known else []
    for file in files:
        place = f"data/{os.path.basename(file)}"
        fields = Fields(tables_of(file, place), place, Said("expected/tables"))
        for made in _entries(fields, "item", _items):
            items += made
        reaches += _entries(fields, "reach", _reach)
        numbers += _entries(fields, "number", _number)
        priors += _entries(fields, "prior", _prior)
        fields.end()
    names = _unique(((squeezed(item.name), item) for item in items), "item")
    for item in items:
        if item.same_as and squeezed(item.same_as) not in names:
            raise BadInput(
                inside(Said("place/item-named", item=shown(item.name)), "same_as"),
                item.same_as,
                Said("expected/another-item"),
            )
    return Catalogue(
        items=tuple(items),
        inputs={
            one: Input(one, one.socket, Part.SOCKET, frozenset(one.takes), one.mono) for one in DriverInput
        },
        reaches=_unique(((one.signal, one) for one in reaches), "reach"),
        numbers=_unique(((one.name, one) for one in numbers), "number"),
        priors=_unique(priors, "prior"),
    )


def _entries(fields: Fields, kind: str, read: Callable[[Fields, Wording], T]) -> Sequence[T]:
    def read_one(entry: object, place: Wording) -> T:
        named = entry.get("name") if isinstance(entry, dict) else None
        if isinstance(named, str):
            place = Said("place/kind-named", kind=place, name=shown(named[:80]))
        inner = Fields(entry, place, Said("expected/entry", kind=kind))
        made = read(inner, place)
        inner.end()
        return made

    return fields.take(kind, listed(read_one, MOST, expected=Said("expected/entries", kind=kind)), ())


def _unique(pairs: Any, kind: str) -> dict[Any, Any]:
    found: dict[Any, Any] = {}
    for key, value in pairs:
        if key in found:
            raise BadInput(
                Said("place/kind-named", kind=kind, name=key),
                Said("seen/two-entries"),
                Said("expected/one-entry-a-name"),
            )
        found[key] = value
    return found


# -- one entry -------------------------------------------------------------------------------------


def _items(fields: Fields, place: Wording) -> list[Item]:
    """One item, or one for each of its lengths."""
    name = fields.need("name", sentence)
    lengths = fields.take("lengths_m", listed(_amount, MOST), ())
    if bool(lengths) is not ("{n}" in name):
        raise BadInput(inside(place, "lengths_m"), lengths, Said("expected/lengths-with-n", n="{n}"))
    usual = fields.take("usual_m", _amount, 0.0)
    same_as = fields.take("same_as", sentence, "")
    told = {"cost": fields.need("cost", _amount)}
    for key in _NUMBERS[1:]:
        found = fields.take(key, chance if key == "works" else _amount, None)
        if found is not None:
            told[key] = found
    amount = {**dict.fromkeys(_NUMBERS, 0.0), "works": 1.0, **told}
    power = fields.take("power", Power.read, Power.NONE)
    of_length = partial(
        Item,
        what=fields.need("what", sentence),
        role=fields.need("role", Role.read),
        near=fields.need("near", listed(_near, MOST, 1, expected=_SOME, each="")),
        far=fields.need("far", listed(_far, MOST, 1, expected=_SOME, each="")),
        power=power,
        sockets=int(told.get("sockets", _SOCKETS.get(power, 0))),
        clicks=fields.take("clicks", truth, False),
        cautions=fields.take("cautions", listed(CautionCode.read, MOST, each=""), ()),
        steps=fields.take("steps", listed(StepCode.read, MOST, each=""), ()),
        family=name,
        source=_sources(fields, told, place),
        names=fields.take("names", keyed(sentence, sentence, MOST), {}),
        counts_as_m=amount["counts_as_m"],
        delay_ms=amount["delay_ms"],
        loss_db=amount["loss_db"],
        works=amount["works"],
    )
    made = []
    for length in lengths or [amount["length_m"]]:
        # A length other than the usual one is more bother the further off it is.
        cost = round(amount["cost"] + amount["cost_per_m"] * (abs(length - usual) if lengths else 0))
        if cost < 1:
            raise BadInput(inside(place, "cost"), cost, Said("expected/or-more", least=1))
        made.append(
            of_length(
                name=name.replace("{n}", f"{length:g}"),
                same_as=same_as.replace("{n}", f"{length:g}"),
                cost=cost,
                length_m=length,
                weight_g=amount["weight_g"] + amount["weight_g_per_m"] * length,
                price=amount["price"] + amount["price_per_m"] * length,
            )
        )
    return made


_SOME: Final = Said("expected/list-of-one-or-more")


def _near(entry: object, place: Wording) -> Near:
    fields = Fields(entry, place, Said("expected/table"))
    near = _socket(fields)
    fields.end()
    return near


def _socket(fields: Fields) -> Near:
    return Near(
        fields.need("form", Form.read),
        fields.need("part", Part.read),
        frozenset(fields.need("takes", listed(Carried.read, MOST, 1, expected=_SOME, each=""))),
    )


def _far(entry: object, place: Wording) -> Far:
    fields = Fields(entry, place, Said("expected/table"))
    far = Far(
        fields.need("form", Form.read),
        fields.need("part", Part.read),
        fields.take("gives", Carried.read, None),
    )
    fields.end()
    return far


def _reach(fields: Fields, place: Wording) -> Reach:
    reach = Reach(
        fields.need("signal", Signal.read),
        fields.need("usual_m", _amount),
        fields.need("longest_m", _amount),
        fields.need("source", sentence),
    )
    if reach.usual_m > reach.longest_m:
        raise BadInput(
            inside(place, "usual_m"), reach.usual_m, Said("expected/no-more-than", field="longest_m")
        )
    return reach


def _number(fields: Fields, _: Wording) -> Number:
    return Number(
        fields.need("name", sentence),
        fields.need("value", _amount),
        fields.need("unit", sentence),
        fields.need("source", sentence),
    )


def _prior(fields: Fields, _: Wording) -> tuple[Signal, Prior]:
    signal = fields.need("signal", Signal.read)
    return signal, Prior(
        fields.need("works", _count), fields.need("fails", _count), fields.need("source", sentence)
    )


def _sources(fields: Fields, told: Mapping[str, float], place: Wording) -> dict[str, str]:
    """The source of each number of an item: one text for all, or a text a number with ``rest``."""
    said = fields.need("source", _source, Said("expected/source-or-table"))
    for key in told:
        if key not in said and "rest" not in said:
            raise BadInput(
                inside(place, key), Said("seen/data", data=f"{told[key]:g}"), Said("expected/source")
            )
    return {key: said.get(key) or said["rest"] for key in told}


def _source(value: object, place: Wording) -> dict[str, str]:
    if isinstance(value, str):
        return {"rest": sentence(value, place)}
    return keyed(_number_name, sentence, MOST)(value, place)


def _number_name(key: object, place: Wording) -> str:
    if key not in (*_NUMBERS, "rest"):
        raise BadInput(
            inside(place, Said("place/unknown-field")),
            key,
            one_of((*_NUMBERS, "rest")),
        )
    return str(key)
