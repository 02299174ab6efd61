"""Read the data files of the catalogue and check that they are sound.

Every number in ``data/*.toml`` has a source beside it; the reader refuses one without.
"""

from __future__ import annotations

import os
import tomllib
from collections.abc import Callable, Mapping, Sequence
from functools import lru_cache
from typing import Any, Final, TypeVar

from kb.base.datafiles import located
from kb.base.errors import BadInput, kind_of
from kb.base.text import squeezed
from kb.catalogue.items import Catalogue, Far, Input, Item, Near, Number, Prior, Reach
from kb.catalogue.vocabulary import Carried, CautionCode, Part, Role, StepCode
from kb.domain.words import DriverInput, Form, Signal, Word

T = TypeVar("T")
W = TypeVar("W", bound=Word)

LARGEST: Final = 1_000_000  #: characters of a data file
_NUMBERS: Final = (
    "cost cost_per_m length_m counts_as_m delay_ms loss_db works weight_g weight_g_per_m price price_per_m"
).split()
_ITEM: Final = (
    *"name what role near far lengths_m usual_m powered clicks cautions steps same_as source".split(),
    *_NUMBERS,
)


@lru_cache(maxsize=1)
def catalogue() -> Catalogue:
    """The catalogue that comes with Jackfield, read once. Raises BadInput naming file and entry."""
    return read_catalogue(*(located(name) for name in ("items.toml", "limits.toml", "works.toml")))


def read_catalogue(*files: str | os.PathLike[str]) -> Catalogue:
    """The catalogue that these TOML files make together. Raises BadInput naming file and entry."""
    items: list[Item] = []
    inputs: list[Input] = []
    reaches: list[Reach] = []
    numbers: list[Number] = []
    priors: list[tuple[Signal, Prior]] = []
    for file in files:
        place = f"data/{os.path.basename(file)}"
        data = _toml(file, place)
        _only(data, ("item", "input", "reach", "number", "prior"), place)
        for entry, where in _entries(data, "item", place):
            items += _items(entry, where)
        inputs += [_input(entry, where) for entry, where in _entries(data, "input", place)]
        reaches += [_reach(entry, where) for entry, where in _entries(data, "reach", place)]
        numbers += [_number(entry, where) for entry, where in _entries(data, "number", place)]
        priors += [_prior(entry, where) for entry, where in _entries(data, "prior", place)]
    names = _unique(((squeezed(item.name), item) for item in items), "item")
    for item in items:
        if item.same_as and squeezed(item.same_as) not in names:
            raise BadInput(f"item {item.name!r}, same_as", item.same_as, "the name of another item")
    return Catalogue(
        items=tuple(items),
        inputs=_unique(((one.input, one) for one in inputs), "input"),
        reaches=_unique(((one.signal, one) for one in reaches), "reach"),
        numbers=_unique(((one.name, one) for one in numbers), "number"),
        priors=_unique(priors, "prior"),
    )


def _toml(file: str | os.PathLike[str], place: str) -> Mapping[str, Any]:
    try:
        with open(file, encoding="utf-8") as opened:
            text = opened.read(LARGEST + 1)
        if len(text) > LARGEST:
            raise BadInput(place, f"more than {LARGEST} characters", f"at most {LARGEST}")
        return tomllib.loads(text)
    except (OSError, ValueError, RecursionError) as wrong:  # ValueError: no UTF-8, no TOML; nested too deep
        raise BadInput(place, str(wrong), "a readable TOML file") from wrong


def _entries(data: Mapping[str, Any], kind: str, place: str) -> list[tuple[Mapping[str, Any], str]]:
    found = data.get(kind, [])
    if not isinstance(found, list) or not all(isinstance(one, dict) for one in found):
        raise BadInput(f"{place}, {kind}", kind_of(found), f"entries [[{kind}]]")
    return [(one, f"{place}, {kind} {number}") for number, one in enumerate(found, 1)]


def _unique(pairs: Any, kind: str) -> dict[Any, Any]:
    found: dict[Any, Any] = {}
    for key, value in pairs:
        if key in found:
            raise BadInput(f"{kind} {key}", "two entries", "one entry a name")
        found[key] = value
    return found


# -- one entry -------------------------------------------------------------------------------------


def _items(entry: Mapping[str, Any], place: str) -> list[Item]:
    """One item, or one for each of its lengths."""
    place = f"{place} {str(entry.get('name', ''))[:80]!r}"
    _only(entry, _ITEM, place)
    source = _sources(entry, place)
    name = _text(entry, "name", place)
    lengths = _list(entry, "lengths_m", _metres, place)
    if bool(lengths) is not ("{n}" in name):
        raise BadInput(
            f"{place}, lengths_m", entry.get("lengths_m"), "lengths exactly where the name has {n}"
        )
    usual = _amount(entry, "usual_m", place, 0.0)
    same_as = _text(entry, "same_as", place, "")
    per_m = {key: _amount(entry, f"{key}_per_m", place, 0.0) for key in ("cost", "weight_g", "price")}
    made = []
    for length in lengths or [_amount(entry, "length_m", place, 0.0)]:
        # A length other than the usual one is more bother the further off it is.
        cost = round(_amount(entry, "cost", place) + per_m["cost"] * (abs(length - usual) if lengths else 0))
        if cost < 1:
            raise BadInput(f"{place}, cost", cost, "1 or more")
        made.append(
            Item(
                name=name.replace("{n}", f"{length:g}"),
                what=_text(entry, "what", place),
                role=Role.read(entry.get("role"), f"{place}, role"),
                near=tuple(_near(end, f"{place}, near") for end in _need(entry, "near", place)),
                far=tuple(_far(end, f"{place}, far") for end in _need(entry, "far", place)),
                cost=cost,
                length_m=length,
                counts_as_m=_amount(entry, "counts_as_m", place, 0.0),
                delay_ms=_amount(entry, "delay_ms", place, 0.0),
                loss_db=_amount(entry, "loss_db", place, 0.0),
                works=_share(entry, "works", place),
                weight_g=_amount(entry, "weight_g", place, 0.0) + per_m["weight_g"] * length,
                price=_amount(entry, "price", place, 0.0) + per_m["price"] * length,
                powered=_flag(entry, "powered", place),
                clicks=_flag(entry, "clicks", place),
                cautions=tuple(_list(entry, "cautions", CautionCode.read, place)),
                steps=tuple(_list(entry, "steps", StepCode.read, place)),
                family=name,
                same_as=same_as.replace("{n}", f"{length:g}"),
                source=source,
            )
        )
    return made


def _near(entry: Any, place: str) -> Near:
    _only(entry, ("form", "part", "takes"), place)
    return Near(
        Form.read(entry.get("form"), f"{place}, form"),
        Part.read(entry.get("part"), f"{place}, part"),
        frozenset(Carried.read(one, f"{place}, takes") for one in _need(entry, "takes", place)),
    )


def _far(entry: Any, place: str) -> Far:
    _only(entry, ("form", "part", "gives"), place)
    return Far(
        Form.read(entry.get("form"), f"{place}, form"),
        Part.read(entry.get("part"), f"{place}, part"),
        Carried.read(entry["gives"], f"{place}, gives") if "gives" in entry else None,
    )


def _input(entry: Mapping[str, Any], place: str) -> Input:
    _only(entry, ("input", "form", "part", "takes", "mono", "source"), place)
    _text(entry, "source", place)
    near = _near({key: entry.get(key, []) for key in ("form", "part", "takes")}, place)
    return Input(
        DriverInput.read(entry.get("input"), f"{place}, input"), *near, mono=_flag(entry, "mono", place)
    )


def _reach(entry: Mapping[str, Any], place: str) -> Reach:
    _only(entry, ("signal", "usual_m", "longest_m", "source"), place)
    reach = Reach(
        Signal.read(entry.get("signal"), f"{place}, signal"),
        _amount(entry, "usual_m", place),
        _amount(entry, "longest_m", place),
        _text(entry, "source", place),
    )
    if reach.usual_m > reach.longest_m:
        raise BadInput(f"{place}, usual_m", reach.usual_m, "no more than longest_m")
    return reach


def _number(entry: Mapping[str, Any], place: str) -> Number:
    _only(entry, ("name", "value", "unit", "source"), place)
    return Number(
        _text(entry, "name", place),
        _amount(entry, "value", place),
        _text(entry, "unit", place),
        _text(entry, "source", place),
    )


def _prior(entry: Mapping[str, Any], place: str) -> tuple[Signal, Prior]:
    _only(entry, ("signal", "works", "fails", "source"), place)
    prior = Prior(
        _amount(entry, "works", place), _amount(entry, "fails", place), _text(entry, "source", place)
    )
    if prior.works <= 0 or prior.fails <= 0:
        raise BadInput(place, f"works {prior.works:g}, fails {prior.fails:g}", "counts above 0")
    return Signal.read(entry.get("signal"), f"{place}, signal"), prior


# -- one field -------------------------------------------------------------------------------------


def _sources(entry: Mapping[str, Any], place: str) -> dict[str, str]:
    """The source of each number of an item: one text for all, or a text a number with ``rest``."""
    said = entry.get("source")
    if isinstance(said, str) and said:
        said = {"rest": said}
    if not isinstance(said, dict) or not all(isinstance(one, str) and one for one in said.values()):
        raise BadInput(f"{place}, source", said, "a source, or a table of sources with rest")
    _only(said, (*_NUMBERS, "rest"), f"{place}, source")
    sources = {}
    for key in _NUMBERS:
        if key in entry:
            if key not in said and "rest" not in said:
                raise BadInput(f"{place}, {key}", entry[key], "a source beside this number")
            sources[key] = said.get(key) or said["rest"]
    return sources


def _only(entry: Any, known: Sequence[str], place: str) -> None:
    if not isinstance(entry, Mapping):
        raise BadInput(place, entry, "a table")
    for key in entry:
        if key not in known:
            raise BadInput(f"{place}, unknown field", key, f"one of {', '.join(known)}")


def _text(entry: Mapping[str, Any], key: str, place: str, default: str | None = None) -> str:
    value = entry.get(key, default)
    if not isinstance(value, str) or not (value or default == ""):
        raise BadInput(f"{place}, {key}", value, "some text")
    return value


def _need(entry: Mapping[str, Any], key: str, place: str) -> list[Any]:
    value = entry.get(key)
    if not isinstance(value, list) or not value:
        raise BadInput(f"{place}, {key}", value, "a list with one entry or more")
    return value


def _list(entry: Mapping[str, Any], key: str, read: Callable[[object, str], T], place: str) -> list[T]:
    value = entry.get(key, [])
    if not isinstance(value, list):
        raise BadInput(f"{place}, {key}", value, "a list")
    return [read(one, f"{place}, {key}") for one in value]


def _metres(value: object, place: str) -> float:
    return _amount({"metres": value}, "metres", place)


def _amount(entry: Mapping[str, Any], key: str, place: str, default: float | None = None) -> float:
    value = entry.get(key, default)
    # Not-a-number fails the comparison too.
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not 0 <= value < 1e9:
        raise BadInput(f"{place}, {key}", value, "a number, 0 or more")
    return float(value)


def _share(entry: Mapping[str, Any], key: str, place: str) -> float:
    value = _amount(entry, key, place, 1.0)
    if value > 1:
        raise BadInput(f"{place}, {key}", value, "a chance, 0 to 1")
    return value


def _flag(entry: Mapping[str, Any], key: str, place: str) -> bool:
    value = entry.get(key, False)
    if not isinstance(value, bool):
        raise BadInput(f"{place}, {key}", value, "true or false")
    return value
