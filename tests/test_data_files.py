"""The data files keep their own rules, so that the program need not check them each time."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Iterator
from typing import Any

import pytest

from kb.base.datafiles import data_tables
from kb.base.messages import LANGUAGES
from kb.base.text import squeezed
from kb.catalogue import catalogue, standard_chances
from kb.catalogue.data_files import NUMBERS
from kb.catalogue.drivers import drivers
from kb.domain.language import ENGLISH
from kb.domain.words import Display
from kb.evidence import standard_prior
from kb.evidence.groups import ERAS
from kb.evidence.signature import EFFECTS
from kb.loop.routes import UNITS, Route, cautions_from, routes_from
from kb.loop.wire import stock_from

#: The fields of each kind of entry: those that it must have, and those that it may have.
FIELDS = {
    "item": (
        "name what role near far cost source",
        f"names lengths_m usual_m cautions clicks steps same_as power {' '.join(NUMBERS)}",
    ),
    "reach": ("signal usual_m longest_m source", ""),
    "number": ("name value unit source", ""),
    "prior": ("signal works fails source", ""),
    "route": ("code height slack ends doorway cautions tools materials", "wire_kind highest"),
    "caution": ("code source", "always"),
    "wire": ("name source", "usual max_ohm_per_km"),
    "driver": (
        "name inputs rated_current_a_rms max_voltage_v_rms source",
        "min_resistance_ohm",
    ),
    "place": ("kind share shapes", "era display"),
    "part": ("name words powered", "unless"),
}
FILES = "items limits works routes wire drivers item_words".split()
TABLES = {file: data_tables(f"{file}.toml") for file in (*FILES, "prior")}
ITEMS = TABLES["items"]["item"]


def entries() -> Iterator[tuple[str, dict[str, Any]]]:
    for file in FILES:
        for kind, rows in TABLES[file].items():
            yield from ((kind, row) for row in rows)
    yield from (("place", row) for row in TABLES["prior"]["place"])


def each_once(found: Iterable[object]) -> bool:
    return max(Counter(found).values()) == 1


def test_an_entry_has_its_fields_and_no_others_and_says_who_says_so() -> None:
    for kind, row in entries():
        needed, more = (set(words.split()) for words in FIELDS[kind])
        assert needed <= set(row) <= needed | more, (kind, row)
        assert row.get("source", "-"), (kind, row)


@pytest.mark.parametrize("item", ITEMS, ids=lambda item: item["name"])
def test_an_item_has_ends_lengths_translations_and_a_source_for_each_number(item: dict[str, Any]) -> None:
    assert bool(item.get("lengths_m")) is ("{n}" in item["name"])
    assert item["near"]
    assert item["far"]
    assert all(set(end) == {"form", "part", "takes"} and end["takes"] for end in item["near"])
    assert all({"form", "part"} <= set(end) <= {"form", "part", "gives"} for end in item["far"])
    assert 0 <= item.get("works", 1) <= 1
    assert set(item["names"]) == {*LANGUAGES[1:]}
    told = {key for key in NUMBERS if key in item}
    assert all(item[key] >= 0 and math.isfinite(item[key]) for key in told)
    if isinstance(item["source"], dict):
        assert set(item["source"]) <= {*NUMBERS, "rest"}
        assert all(item["source"].values())
        assert "rest" in item["source"] or told <= set(item["source"])


def test_items_limits_and_chances_are_named_once_and_hang_together() -> None:
    names = [squeezed(item.name) for item in catalogue().items]
    assert each_once(names)
    for item in catalogue().items:
        assert item.cost >= 1
        assert not item.same_as or squeezed(item.same_as) in names
    numbers = [*TABLES["limits"]["number"], *TABLES["works"]["number"]]
    assert each_once(row["name"] for row in numbers)
    assert all(row["unit"] and row["value"] >= 0 for row in numbers)
    assert each_once(row["signal"] for row in TABLES["limits"]["reach"])
    assert all(0 <= one.usual_m <= one.longest_m for one in catalogue().reaches.values())
    assert each_once(row["signal"] for row in TABLES["works"]["prior"])
    assert all(one.works > 0 < one.fails for one in standard_chances().priors.values())
    assert each_once(one.name for one in drivers())


@pytest.mark.parametrize("route", routes_from(TABLES["routes"]), ids=lambda route: route.code)
def test_a_route_has_its_numbers_within_reason_and_sentences(route: Route) -> None:
    assert route.base in ("floor", "ceiling")
    assert -10 <= route.height <= 10
    assert 0 < (route.highest or 3) <= 20
    assert 0 <= route.slack <= 1
    assert 0 <= route.ends <= 20
    assert 0 <= route.doorway <= 10
    assert route.cautions
    for part in ("name", "how", "mind"):
        assert ENGLISH.has(f"loop/route/{route.code}/{part}") or part == "mind"
    for supply in (*route.tools, *route.materials):
        counts = (supply.each, supply.per_m, supply.per_corner, supply.per_doorway, supply.per_feed_m)
        assert any(counts)
        assert all(0 <= count <= 1000 for count in counts)
        assert supply.unit in UNITS
        assert supply.source


def test_routes_cautions_and_wires_are_named_once_and_have_sentences() -> None:
    cautions = cautions_from(TABLES["routes"])
    assert each_once(one.code for one in cautions)
    assert all(ENGLISH.has(f"sheet/standing/{one.code}") for one in cautions)
    assert each_once(row["code"] for row in TABLES["routes"]["route"])
    supplies = {
        key for row in TABLES["routes"]["route"] for one in row["tools"] + row["materials"] for key in one
    }
    assert supplies <= set("item source unit count each per_m per_corner per_doorway per_feed_m".split())
    assert each_once(row["name"] for row in TABLES["wire"]["wire"])
    assert all(0 <= one.max_ohm_per_km <= 1000 for one in stock_from(TABLES["wire"]))


def test_the_prior_gives_every_chance_between_never_and_always() -> None:
    table, prior = TABLES["prior"], standard_prior()
    assert set(table) == {"worth", "weights", "forgotten", "place", "speakers", "taken"}
    assert set(table["worth"]) == {"sets", "other", "source"}
    bases = {"tested", "seen", "manual", "told", "source"}
    assert set(table["weights"]) == bases | {"half_life_years"}
    assert set(table["forgotten"]) == bases
    assert all(
        set(shares) == {*EFFECTS} and min(shares.values()) > 0 for shares in table["speakers"].values()
    )
    assert prior.worth > 0 < prior.half_life_years
    assert all(0 < chance < 1 for chance in (prior.other, *prior.taken.values(), *prior.forgotten.values()))
    for place in prior.places:
        assert place.era in {"*", "early", *map(str, ERAS)}
        assert place.display in {"*", *Display}
        assert place.share > 0
        assert all(share > 0 for share in place.shapes.values())
