"""Make the catalogue of the data files, in which every number has a source beside it.

The files are our own: ``tests/test_data_files.py`` holds them against their rules.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping
from functools import lru_cache
from typing import Any, Final

from kb.base.datafiles import located, tables_of
from kb.catalogue.items import Catalogue, Far, Input, Item, Near, Number, Prior, Reach
from kb.catalogue.vocabulary import Carried, CautionCode, Part, Power, Role, StepCode
from kb.domain.words import DriverInput, Form, Signal

#: Numbers of an item; each of them that its entry gives has a source.
NUMBERS: Final = (
    "cost cost_per_m length_m counts_as_m delay_ms loss_db works weight_g weight_g_per_m price price_per_m"
    " sockets"
).split()
#: Outlets that an item needs if its entry does not say: its own, or that of a charger for it.
_SOCKETS: Final = {Power.SOCKET: 1, Power.USB: 1}


@lru_cache(maxsize=1)
def catalogue() -> Catalogue:
    """The catalogue that comes with Jackfield, read once."""
    return read_catalogue(located("items.toml"), located("limits.toml"), known=standard_chances())


@lru_cache(maxsize=1)
def standard_chances() -> Catalogue:
    """The counts of ``works.toml`` alone: evidence needs no items."""
    return read_catalogue(located("works.toml"))


def read_catalogue(*files: str | os.PathLike[str], known: Catalogue | None = None) -> Catalogue:
    """The catalogue that these TOML files make together, with the numbers and priors that are ``known``.

    Raises BadInput naming a file that cannot be read.
    """
    tables = [tables_of(file, f"data/{os.path.basename(file)}") for file in files]

    def rows(kind: str) -> Iterator[dict[str, Any]]:
        return (row for table in tables for row in table.get(kind, ()))

    reaches = (
        Reach(Signal(row["signal"]), float(row["usual_m"]), float(row["longest_m"]), row["source"])
        for row in rows("reach")
    )
    return Catalogue(
        items=tuple(item for row in rows("item") for item in _items(row)),
        inputs={
            one: Input(one, one.socket, Part.SOCKET, frozenset(one.takes), one.mono) for one in DriverInput
        },
        reaches={one.signal: one for one in reaches},
        numbers={
            **(known.numbers if known else {}),
            **{row["name"]: Number(**{**row, "value": float(row["value"])}) for row in rows("number")},
        },
        priors={
            **(known.priors if known else {}),
            **{
                Signal(row["signal"]): Prior(float(row["works"]), float(row["fails"]), row["source"])
                for row in rows("prior")
            },
        },
    )


def _items(row: Mapping[str, Any]) -> Iterator[Item]:
    """One item, or one for each of its lengths."""
    told = {key: float(row[key]) for key in NUMBERS if key in row}
    amount = {**dict.fromkeys(NUMBERS, 0.0), "works": 1.0, **told}
    power = Power(row.get("power", Power.NONE))
    source = row["source"] if isinstance(row["source"], dict) else {"rest": row["source"]}
    same: dict[str, Any] = {
        "what": row["what"],
        "role": Role(row["role"]),
        "near": tuple(
            Near(Form(end["form"]), Part(end["part"]), frozenset(map(Carried, end["takes"])))
            for end in row["near"]
        ),
        "far": tuple(
            Far(Form(end["form"]), Part(end["part"]), Carried(end["gives"]) if "gives" in end else None)
            for end in row["far"]
        ),
        "power": power,
        "sockets": int(told.get("sockets", _SOCKETS.get(power, 0))),
        "clicks": row.get("clicks", False),
        "cautions": tuple(map(CautionCode, row.get("cautions", ()))),
        "steps": tuple(map(StepCode, row.get("steps", ()))),
        "family": row["name"],
        "source": {key: source.get(key) or source["rest"] for key in told},
        "names": row.get("names", {}),
        **{key: amount[key] for key in ("counts_as_m", "delay_ms", "loss_db", "works")},
    }
    lengths = row.get("lengths_m")
    for length in map(float, lengths or [amount["length_m"]]):
        # A length other than the usual one is more bother the further off it is.
        further = abs(length - row.get("usual_m", 0)) if lengths else 0
        yield Item(
            name=row["name"].replace("{n}", f"{length:g}"),
            same_as=row.get("same_as", "").replace("{n}", f"{length:g}"),
            cost=round(amount["cost"] + amount["cost_per_m"] * further),
            length_m=length,
            weight_g=amount["weight_g"] + amount["weight_g_per_m"] * length,
            price=amount["price"] + amount["price_per_m"] * length,
            **same,
        )
