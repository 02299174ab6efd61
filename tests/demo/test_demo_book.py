"""The demo book is what it claims: big enough, in words that a visit file may hold, made by its script."""

from __future__ import annotations

import datetime as dt
import importlib.util
import json
import re
import sys
import tomllib
from collections import Counter, defaultdict
from pathlib import Path
from types import ModuleType

import pytest

ROOT = Path(__file__).resolve().parents[2]
DEMO = ROOT / "data" / "demo"
MADE_ON = dt.date(2026, 11, 25)

KINDS = {"television", "set-top-box", "receiver", "soundbar", "player", "computer", "other"}
DISPLAYS = {"flat", "tube", "projector"}
BASES = {"tested", "seen", "manual", "told"}
INPUTS = {"line-3.5", "line-rca", "optical", "coaxial", "mic"}
ITEMS = {
    "optical cable 2 m",
    "optical cable 5 m",
    "coaxial digital cable 2 m",
    "RCA pair cable 2 m",
    "RCA pair to 3.5 mm cable 2 m",
    "3.5 mm cable 2 m",
    "3.5 mm to RCA pair cable 2 m",
    "DAC",
    "optical to coaxial converter",
    "ARC extractor",
    "HDMI cable 2 m",
    "optical splitter",
    "ground-loop isolator",
    "speaker-to-line converter",
    "SCART to RCA pair adapter",
    "mini-TOSLINK adapter",
    "6.35 mm to 3.5 mm adapter",
}
JACK_WORDS = {
    "form": {
        "rca-pair",
        "rca-single",
        "toslink",
        "mini-toslink",
        "jack-3.5",
        "jack-6.35",
        "hdmi",
        "scart",
        "din-5",
        "speaker-terminals",
        "bluetooth",
    },
    "direction": {"output", "input", "unclear"},
    "signal": {
        "analog-line",
        "headphone",
        "optical",
        "coaxial",
        "arc",
        "earc",
        "speaker-level",
        "wireless",
    },
    "level": {"fixed", "variable", "selectable", "unknown"},
    "format": {"pcm", "bitstream", "selectable", "unknown"},
    "speakers": {"stay-on", "mute", "mute-unless-set", "unknown"},
    "outcome": {"carried", "weak", "silent", "hum", "distorted", "delayed", "not-tried"},
}
VISIT_KEYS = {"date", "by", "basis", "job", "source", "driver", "jacks", "note"}
SOURCE_KEYS = {"make", "model", "kind", "display", "year", "size_in"}
JACK_KEYS = {*JACK_WORDS, "marking", "taken", "items", "setting", "note"}
SHOWCASES = {
    "analog-fixed",
    "converter",
    "muting",
    "mute-unless-set",
    "taken",
    "worn",
    "arc-only",
    "set-top-box",
    "conflict",
}


def plain(text: str) -> str:
    """Spell a make or model without case, hyphens, spaces and other signs."""
    return "".join(letter for letter in text.casefold() if letter.isalnum())


def set_of(visit: dict) -> tuple[str, str]:
    return plain(visit["source"]["make"]), plain(visit["source"]["model"])


@pytest.fixture(scope="module")
def visits() -> list[dict]:
    return [json.loads(line) for line in (DEMO / "visits.jsonl").read_text(encoding="utf-8").splitlines()]


@pytest.fixture(scope="module")
def region() -> dict:
    return tomllib.loads((DEMO / "region.toml").read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def script() -> ModuleType:
    name = "make_demo_book"
    spec = importlib.util.spec_from_file_location(name, ROOT / "scripts" / f"{name}.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    spec.loader.exec_module(module)
    return module


def declared(region: dict) -> dict[tuple[str, str], dict]:
    """Return every set of the region with its series."""
    return {
        (plain(make["name"]), plain(one["model"])): one | {"series": series}
        for make in region["makes"]
        for series in make["series"]
        for one in series["sets"]
    }


def said(visits: list[dict], field: str) -> dict[tuple, set]:
    """Return what the visits say in one field of each marked jack of each set, doubts left aside."""
    values = defaultdict(set)
    for visit in visits:
        for jack in visit["jacks"]:
            value = jack.get(field)
            if jack["marking"] and value and value not in ("unknown", "unclear"):
                values[*set_of(visit), jack["form"], plain(jack["marking"])].add(value)
    return values


def test_the_script_makes_the_file_byte_for_byte(script: ModuleType) -> None:
    assert script.make_book().encode() == (DEMO / "visits.jsonl").read_bytes()


def test_another_number_makes_another_book_of_the_same_sets(script: ModuleType, visits: list[dict]) -> None:
    other = [json.loads(line) for line in script.make_book(5).splitlines()]
    assert other != visits
    assert {set_of(visit) for visit in other} == {set_of(visit) for visit in visits}


def test_the_check_of_the_script_tells_a_changed_file(script: ModuleType, tmp_path: Path) -> None:
    made = tmp_path / "visits.jsonl"
    assert script.main(["--out", str(made)]) == 0
    assert script.main(["--out", str(made), "--check"]) == 0
    made.write_bytes(made.read_bytes() + b"\n")
    assert script.main(["--out", str(made), "--check"]) == 1


def test_the_book_is_as_large_as_promised(visits: list[dict]) -> None:
    assert 330 <= len(visits) <= 450
    assert 110 <= len({set_of(visit) for visit in visits}) <= 150
    televisions = {v["source"]["make"].casefold() for v in visits if v["source"].get("kind") == "television"}
    assert 10 <= len(televisions) <= 12
    assert 7 <= len({visit["by"] for visit in visits}) <= 8


def test_every_visit_uses_the_keys_and_words_of_the_visit_file(visits: list[dict]) -> None:
    for visit in visits:
        assert set(visit) <= VISIT_KEYS
        assert {"date", "by", "basis", "source", "jacks"} <= set(visit)
        assert visit["basis"] in BASES
        source = visit["source"]
        assert {"make", "model"} <= set(source) <= SOURCE_KEYS
        assert source.get("kind", "television") in KINDS
        assert source.get("display", "flat") in DISPLAYS
        assert re.fullmatch(r"J-\d{4}", visit.get("job", "J-1000"))
        for jack in visit["jacks"]:
            assert {"form", "marking"} <= set(jack) <= JACK_KEYS
            for key, words in JACK_WORDS.items():
                assert jack.get(key) is None or jack[key] in words, (key, jack)
            assert isinstance(jack.get("taken", False), bool)
            assert set(jack.get("items", [])) <= ITEMS


def test_every_word_of_the_vocabulary_occurs(visits: list[dict]) -> None:
    jacks = [jack for visit in visits for jack in visit["jacks"]]
    for key, words in JACK_WORDS.items():
        assert {jack[key] for jack in jacks if key in jack} >= words - {"unknown"}
    assert {item for jack in jacks for item in jack.get("items", [])} == ITEMS
    assert {visit["source"].get("display") for visit in visits} >= DISPLAYS
    assert {visit["source"].get("kind") for visit in visits} >= KINDS - {"other"}
    assert {jack.get("taken") for jack in jacks} >= {True, False}


def test_drivers_come_with_tested_visits_only(visits: list[dict], region: dict) -> None:
    known = {driver["name"]: driver["inputs"] for driver in region["drivers"]}
    for visit in visits:
        assert ("driver" in visit) == (visit["basis"] == "tested")
        if "driver" in visit:
            assert visit["driver"]["inputs"] == known[visit["driver"]["name"]]
            assert set(visit["driver"]["inputs"]) <= INPUTS
        else:
            assert not any(jack.get("outcome") or jack.get("items") for jack in visit["jacks"])


def test_items_fit_the_driver_of_the_visit(visits: list[dict]) -> None:
    ends = {"line-3.5": "3.5 mm", "line-rca": "RCA pair", "optical": "optical", "coaxial": "coaxial"}
    for visit in visits:
        for jack in visit["jacks"]:
            items = [item for item in jack.get("items", []) if item != "ground-loop isolator"]
            if items:
                assert any(ends.get(way, "none") in items[-1] for way in visit["driver"]["inputs"]), visit


def test_every_digital_way_into_a_line_input_has_a_converter(visits: list[dict]) -> None:
    for visit in visits:
        for jack in visit["jacks"]:
            items = jack.get("items", [])
            if jack["form"] in ("toslink", "mini-toslink") and items and items[-1].startswith(("RCA", "3.5")):
                assert "DAC" in items, jack


def test_no_visit_lies_in_the_future_or_before_its_set(visits: list[dict], region: dict) -> None:
    sets = declared(region)
    for visit in visits:
        day = dt.date.fromisoformat(visit["date"])
        assert dt.date(2009, 1, 1) <= day < MADE_ON
        assert day.year >= sets[set_of(visit)]["year"]
    assert visits[-1]["date"].startswith("2026-11")
    assert [visit["date"] for visit in visits] == sorted(visit["date"] for visit in visits)


def test_makes_models_and_people_are_exactly_those_of_the_region(visits: list[dict], region: dict) -> None:
    assert {set_of(visit) for visit in visits} == set(declared(region))
    makes = {make["name"] for make in region["makes"]}
    assert {visit["source"]["make"] for visit in visits} <= makes | {make.upper() for make in makes}
    assert {visit["by"] for visit in visits} == set(region["people"])
    for visit in visits:
        person = region["people"][visit["by"]]
        assert person["since"] <= int(visit["date"][:4]) <= person["until"]


def test_what_is_written_of_a_set_agrees_with_the_region(visits: list[dict], region: dict) -> None:
    sets = declared(region)
    for visit in visits:
        one, source = sets[set_of(visit)], visit["source"]
        assert source.get("kind", "television") == one["series"].get("kind", "television")
        assert source.get("year", one["year"]) == one["year"]
        assert source.get("size_in", one.get("size")) == one.get("size")


def test_no_two_sets_of_the_region_are_spelled_alike(region: dict) -> None:
    count = sum(len(series["sets"]) for make in region["makes"] for series in make["series"])
    assert len(declared(region)) == count


def test_every_era_is_well_filled(visits: list[dict], region: dict) -> None:
    sets = declared(region)
    eras = Counter(sets[set_of(visit)]["series"]["era"] for visit in visits)
    assert set(eras) == {
        "tube", "early-flat", "optical-only", "recent", "arc-only", "headphone-only", "odd", "box",
    }  # fmt: skip
    assert min(eras.values()) >= 15


def test_bases_stand_in_sensible_proportion(visits: list[dict]) -> None:
    share = {basis: count / len(visits) for basis, count in Counter(v["basis"] for v in visits).items()}
    assert 0.35 <= share["tested"] <= 0.55
    assert all(0.10 <= share[basis] <= 0.30 for basis in ("seen", "manual", "told"))


def test_most_jacks_are_left_for_the_panel_reader(visits: list[dict]) -> None:
    jacks = [jack for visit in visits for jack in visit["jacks"]]
    assert sum("direction" not in jack for jack in jacks) > len(jacks) / 3
    assert sum("signal" not in jack for jack in jacks) > len(jacks) / 2
    assert sum(not jack["marking"] for jack in jacks) >= 20


@pytest.mark.parametrize(
    ("field", "at_least"), [("direction", 4), ("speakers", 10), ("level", 8), ("setting", 5)]
)
def test_people_disagree(visits: list[dict], field: str, at_least: int) -> None:
    assert sum(len(values) > 1 for values in said(visits, field).values()) >= at_least


def test_models_are_spelled_in_several_ways(visits: list[dict]) -> None:
    spellings = defaultdict(set)
    for visit in visits:
        spellings[set_of(visit)].add(visit["source"]["model"])
    assert sum(len(ways) > 1 for ways in spellings.values()) >= 40
    assert sum(visit["source"]["make"].isupper() for visit in visits) >= 20


def test_failures_and_remedies_occur(visits: list[dict]) -> None:
    tried = Counter(jack["outcome"] for visit in visits for jack in visit["jacks"] if "outcome" in jack)
    assert tried["carried"] > sum(tried[word] for word in ("weak", "silent", "hum", "distorted", "delayed"))
    assert tried["silent"] >= 20
    for jack in (jack for visit in visits for jack in visit["jacks"]):
        if jack["form"] == "bluetooth" and jack.get("outcome"):
            assert jack["outcome"] in ("delayed", "weak", "not-tried")
        if jack.get("speakers") == "mute-unless-set" and jack.get("outcome") == "carried":
            assert jack.get("setting"), jack


def test_series_share_their_outputs(visits: list[dict], region: dict) -> None:
    """Two sets of one series agree on whether they have an optical jack more often than two strangers."""
    sets = declared(region)
    optical = {
        one: any(jack["form"] == "toslink" for visit in visits if set_of(visit) == one
                 for jack in visit["jacks"] if jack["marking"])
        for one in sets
    }  # fmt: skip
    kin: list[bool] = []
    strangers: list[bool] = []
    for one in sets:
        for other in sets:
            if one < other:
                same = sets[one]["series"]["id"] == sets[other]["series"]["id"]
                (kin if same else strangers).append(optical[one] == optical[other])
    assert sum(kin) / len(kin) > 0.75 > 0.6 > sum(strangers) / len(strangers)


def test_showcase_sets_have_enough_visits(visits: list[dict], region: dict) -> None:
    assert set(region["showcase"]) == SHOWCASES
    count = Counter(set_of(visit) for visit in visits)
    for one in region["showcase"].values():
        assert count[plain(one["make"]), plain(one["model"])] >= 4, one


def test_notes_try_the_escaping(visits: list[dict]) -> None:
    notes = [visit.get("note", "") for visit in visits]
    notes += [jack.get("note", "") for visit in visits for jack in visit["jacks"]]
    assert any(note.startswith("=") for note in notes)
    for sign in ("[", '"', "<", "&", "'"):
        assert any(sign in note for note in notes)
    assert not any(ord(letter) < 32 for note in notes for letter in note)
    assert not any("{" in note for note in notes)


def test_jobs_are_numbered_by_date_and_kept_to_visits_on_site(visits: list[dict]) -> None:
    jobs = [(visit["job"], visit["date"]) for visit in visits if "job" in visit]
    assert len(jobs) >= 100
    assert [job for job, _ in jobs] == sorted(job for job, _ in jobs)
    assert all(visit["basis"] in ("tested", "seen") for visit in visits if "job" in visit)
