"""Make the demo book: visits of invented people to invented sets, the same bytes for the same number.

Reads data/demo/{region,panels,notes,showcase}.toml and writes data/demo/visits.jsonl, one visit a
line, keys as in the visit file. Every set has a true panel, drawn once from the panel of its series;
each visit then shows as much of it as its basis allows, with the slips that people make. Sets that
have visits in showcase.toml get no others. Only the Python standard library is used.

    python3 scripts/make_demo_book.py            write the file
    python3 scripts/make_demo_book.py --check    exit 1 if the file differs from what would be written
"""

from __future__ import annotations

import argparse
import json
import random
import sys
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path
from typing import Any, TypeVar

HERE = Path(__file__).resolve().parent.parent / "data" / "demo"
SEED = 1107
FIRST_DAY = date(2009, 3, 2)
LAST_DAY = date(2026, 11, 20)
SET_IN_USE_YEARS = 12
VISITS_PER_SET = (1, 2, 2, 3, 3, 3, 3, 5)
DIGITAL = ("optical", "coaxial", "arc", "earc")
SIGNALS = ("analog-line", "headphone", *DIGITAL, "speaker-level", "wireless")
LEVELS = ("fixed", "variable", "selectable", "unknown")
FORMATS = ("pcm", "bitstream", "selectable", "unknown")
SPEAKERS = ("stay-on", "mute", "mute-unless-set", "unknown")

# What came of trying a jack, in parts of a hundred; the rest carried.
TROUBLE = {
    "analog-line": (("hum", 32), ("weak", 5), ("silent", 5)),
    "optical": (("silent", 26), ("distorted", 2)),
    "coaxial": (("silent", 20),),
    "headphone": (("weak", 22), ("distorted", 9), ("hum", 5)),
    "arc": (("silent", 34), ("delayed", 6)),
    "earc": (("silent", 22), ("delayed", 6)),
    "speaker-level": (("hum", 30), ("distorted", 10)),
    "wireless": (("delayed", 88), ("weak", 12)),
}
# How often trouble was cured on the spot, so that the jack carried after all.
CURED = {("hum", "analog-line"): 45, ("silent", "optical"): 50, ("silent", "coaxial"): 50,
         ("silent", "arc"): 55, ("silent", "earc"): 55, ("weak", "headphone"): 50}  # fmt: skip
# Pools of notes on a whole visit begin with a capital; those on one jack do not.
SENTENCES = ("tested", "tested_flat", "tested_tube", "tested_failed", "seen", "manual", "told",
             "known_by_name")  # fmt: skip
# What is said of a jack that is no use for sound, by a word of its marking.
NO_USE = (
    ("VID", "picture_only"),
    ("VÍD", "picture_only"),
    ("SUB", "bass_only"),
    ("HDMI", "picture_and_sound"),
)

JsonObject = dict[str, Any]
T = TypeVar("T")


class Dice:
    """Chance that gives the same throws on every Python: it rests on random() alone."""

    def __init__(self, *key: object) -> None:
        self._random = random.Random("/".join(map(str, key)))

    def chance(self, percent: float) -> bool:
        return self._random.random() * 100 < percent

    def below(self, count: int) -> int:
        return int(self._random.random() * count)

    def pick(self, choices: Sequence[T]) -> T:
        return choices[self.below(len(choices))]

    def weighted(self, choices: Sequence[tuple[T, float]]) -> T:
        throw = self._random.random() * sum(weight for _, weight in choices)
        for choice, weight in choices:
            throw -= weight
            if throw < 0:
                return choice
        return choices[-1][0]


@dataclass(frozen=True)
class TrueJack:
    """One jack as it is, whatever people say of it; sign is > output, < input, ! of no use."""

    sign: str
    form: str
    marking: str
    signal: str
    level: str
    format: str
    speakers: str
    worn: bool

    def to_driver(self, inputs: Sequence[str]) -> list[str] | None:
        """Return the items from this jack to a driver with these inputs, None where there is no way."""
        line = "line-3.5" if "line-3.5" in inputs else "line-rca"
        from_rca = "RCA pair to 3.5 mm cable 2 m" if line == "line-3.5" else "RCA pair cable 2 m"
        from_mini = "3.5 mm cable 2 m" if line == "line-3.5" else "3.5 mm to RCA pair cable 2 m"
        if self.signal in ("arc", "earc"):
            last = "optical cable 2 m" if "optical" in inputs else from_rca
            return ["HDMI cable 2 m", "ARC extractor", last]
        if self.form in ("toslink", "mini-toslink"):
            start = ["mini-TOSLINK adapter"] if self.form == "mini-toslink" else []
            start.append("optical cable 2 m")
            if "optical" in inputs:
                return start
            if "coaxial" in inputs:
                return [*start, "optical to coaxial converter", "coaxial digital cable 2 m"]
            return [*start, "DAC", from_rca]
        if self.signal == "coaxial":
            start = ["coaxial digital cable 2 m"]
            if "coaxial" in inputs:
                return start
            return [*start, "DAC", from_rca]
        plain = {
            "rca-pair": [from_rca],
            "jack-3.5": [from_mini],
            "jack-6.35": ["6.35 mm to 3.5 mm adapter", from_mini],
            "scart": ["SCART to RCA pair adapter", from_rca],
            "speaker-terminals": ["speaker-to-line converter", from_rca],
            "bluetooth": [],
        }
        return plain.get(self.form)


@dataclass(frozen=True)
class TrueSet:
    """A set as it is: what its label says, what its panel carries, where its menus are."""

    make: str
    market: str
    model: str
    kind: str
    display: str
    year: int
    size: int | None
    jacks: tuple[TrueJack, ...]
    menus: JsonObject

    def menu(self, name: str, day: date) -> str:
        """Return where a setting was on that day: updates move some of them."""
        moved = self.menus.get(f"{name}_moved")
        if moved and day.year >= moved["since"]:
            return str(moved["text"])
        return str(self.menus.get(name, ""))


@dataclass(frozen=True)
class Looker:
    """Who looks, on what basis, on which day, with which throws."""

    by: str
    basis: str
    day: date
    dice: Dice
    notes: JsonObject

    def say(self, pool: str) -> str:
        words = {
            "town": self.dice.pick(self.notes["towns"]),
            "home": self.dice.pick(self.notes["homes"]),
            "client": self.dice.pick(self.notes["clients"]),
            "room": self.dice.pick(self.notes["rooms"]),
        }
        text = str(self.dice.pick(self.notes[pool])).format_map(words)
        return text[:1].upper() + text[1:] if pool in SENTENCES else text


def read_jack(line: str, dice: Dice) -> TrueJack | None:
    """Read one line of panels.toml for one set; None where this set lacks that jack."""
    head, marking, values, odds, *_ = [part.strip() for part in line.split("|")] + ["", ""]
    sign, form = head.split()
    found = values.split()
    for word in odds.split():
        if word.startswith("p=") and not dice.chance(100 * float(word[2:])):
            return None
    signal = next((word for word in found if word in SIGNALS), "")
    rest = found[1:]
    # The first value after the signal is the level, so that "fixed selectable" reads level, format.
    level = next((word for word in rest[:1] if word in LEVELS), "")
    formats = [word for word in rest[1:] if word in FORMATS] if signal in DIGITAL else []
    return TrueJack(
        sign=sign,
        form=form,
        marking=dice.pick(marking.split(" ~ ")),
        signal=signal,
        level=level,
        format=formats[0] if formats else "",
        speakers=next((word for word in rest if word in SPEAKERS and word != "unknown"), ""),
        worn="worn" in odds.split() and dice.chance(80),
    )


def true_sets(region: JsonObject, panels: JsonObject, seed: int) -> list[TrueSet]:
    sets = []
    for make in region["makes"]:
        menus = panels["menus"]["default"] | panels["menus"].get(make["name"], {})
        for series in make["series"]:
            for one in series["sets"]:
                dice = Dice(seed, "set", make["name"], one["model"])
                jacks = [read_jack(line, dice) for line in panels["panels"][series["id"]]]
                kind = series.get("kind", "television")
                display = series.get("display", "tube" if series["era"] == "tube" else "flat")
                sets.append(
                    TrueSet(
                        make=make["name"],
                        market=make["market"],
                        model=one["model"],
                        kind=kind,
                        display=display if kind == "television" else "",
                        year=one["year"],
                        size=one.get("size"),
                        jacks=tuple(jack for jack in jacks if jack),
                        menus=menus,
                    )
                )
    return sets


def misspell(text: str, dice: Dice) -> str:
    """Write a model as people do: other case, other hyphens and spaces, the same letters and digits."""
    way = dice.below(5)
    if way == 0:
        return text.lower()
    if way == 1:
        return text.replace("-", " ") if "-" in text else text.replace(" ", "-")
    if way == 2:
        return text.replace(" ", "").replace("-", "")
    if way == 3:
        cut = next((i for i in range(2, len(text)) if text[i - 1].isalpha() and text[i].isdigit()), 0)
        return f"{text[:cut]} {text[cut:]}" if cut else text.lower()
    return text.replace("-", " - ").replace("/", " / ")


def label(one: TrueSet, dice: Dice) -> JsonObject:
    """Return the source as written down on one visit: not always everything, not always spelled alike."""
    source: JsonObject = {
        "make": one.make.upper() if dice.chance(12) else one.make,
        "model": misspell(one.model, dice) if dice.chance(22) else one.model,
    }
    if one.kind != "television" or dice.chance(80):
        source["kind"] = one.kind
    if one.display and dice.chance(80):
        source["display"] = one.display
    if dice.chance(75):
        source["year"] = one.year
    if one.size and dice.chance(70):
        source["size_in"] = one.size
    return source


def marking_seen(jack: TrueJack, look: Looker) -> str:
    if look.basis != "manual" and (jack.worn or look.dice.chance(1.5)):
        return ""
    if look.basis == "told" and look.dice.chance(15):
        return jack.marking.lower()
    return jack.marking


def bare(jack: TrueJack, look: Looker) -> JsonObject:
    """Return form and marking, and the direction where this look gives one."""
    marking = marking_seen(jack, look)
    seen: JsonObject = {"form": jack.form, "marking": marking}
    if jack.form == "mini-toslink" and look.basis in ("seen", "told") and look.dice.chance(50):
        seen["form"] = "jack-3.5"
    if not marking and jack.form in ("rca-pair", "rca-single", "jack-3.5") and look.basis != "told":
        if look.dice.chance(50):
            seen["direction"] = "unclear"
        if look.dice.chance(60):
            seen["note"] = look.say("worn")
        return seen
    if jack.sign == "!":
        if look.dice.chance(15):
            seen["note"] = look.say(
                next((pool for word, pool in NO_USE if word in jack.marking), "left_alone")
            )
        return seen
    percent = {
        ">": {"tested": 40, "seen": 20, "manual": 92, "told": 95},
        "<": {"tested": 30, "seen": 8, "manual": 62, "told": 60},
    }[jack.sign][look.basis]
    if look.dice.chance(percent):
        seen["direction"] = "output" if jack.sign == ">" else "input"
    return seen


def details(jack: TrueJack, look: Looker, seen: JsonObject) -> None:
    """Add what a look that knows the jack well says: signal, level, format, speakers."""
    dice = look.dice
    if dice.chance({"tested": 40, "seen": 12, "manual": 88, "told": 25}[look.basis]):
        seen["signal"] = jack.signal
    if look.basis == "seen":
        if dice.chance(10):
            seen["level"] = seen["speakers"] = "unknown"
        return
    level = jack.level
    if level == "selectable" and look.basis != "manual":
        level = dice.pick(("selectable", "fixed", "variable"))
    elif level in ("fixed", "variable") and dice.chance(18 if look.basis == "told" else 3):
        level = "variable" if level == "fixed" else "fixed"
    if level and dice.chance({"tested": 75, "manual": 70, "told": 25}[look.basis]):
        seen["level"] = level
    if jack.format and dice.chance({"tested": 55, "manual": 75, "told": 5}[look.basis]):
        seen["format"] = "pcm" if look.basis == "tested" and dice.chance(15) else jack.format
    if look.basis == "manual" and dice.chance(60):
        seen["speakers"] = jack.speakers or "unknown"


def speakers_heard(jack: TrueJack, one: TrueSet, look: Looker, seen: JsonObject) -> None:
    """Say what the speakers did: the menu item that keeps them on is not found by everyone."""
    dice = look.dice
    truth = jack.speakers
    switch = jack.signal == "speaker-level"
    if look.basis == "told" and truth and dice.chance(28):
        truth = "stay-on" if truth != "stay-on" else "mute"
    if not truth or not dice.chance(90 if look.basis == "tested" else 60):
        return
    if truth == "mute-unless-set" and look.basis == "tested":
        if dice.chance(28):
            seen["speakers"] = "mute"
            seen.setdefault("note", look.say("mutes" if switch else "missed_keep"))
            return
        seen["setting"] = one.menu("switch" if switch else "keep", look.day)
        seen.setdefault("note", look.say("switch_set" if switch else "keep_set"))
        truth = "stay-on" if dice.chance(10) else truth
    elif jack.signal == "headphone" and dice.chance(45):
        seen.setdefault("note", look.say("mutes" if truth == "mute" else "keeps"))
    seen["speakers"] = truth


def setting(seen: JsonObject, text: str) -> None:
    seen["setting"] = f"{seen['setting']}; {text}" if seen.get("setting") else text


def cure(outcome: str, jack: TrueJack, one: TrueSet, look: Looker, seen: JsonObject) -> None:
    """Write down how a jack that gave trouble carried after all."""
    seen["outcome"] = "carried"
    if outcome == "hum":
        seen["items"].append("ground-loop isolator")
        seen["note"] = look.say("hum_fixed")
    elif outcome == "weak":
        seen["note"] = look.say("weak_fixed")
        if one.display == "flat":
            setting(seen, "headphone volume: 60")
    elif jack.signal in ("arc", "earc"):
        seen["note"] = look.say("arc_fixed")
        setting(seen, one.menu("arc", look.day))
    else:
        seen["format"] = "selectable"
        seen["note"] = look.say("pcm")
        setting(seen, one.menu("pcm", look.day))


def fail(outcome: str, jack: TrueJack, look: Looker, seen: JsonObject) -> None:
    """Write down what was heard of a jack that did not serve."""
    seen["outcome"] = outcome
    if outcome != "silent":
        pools = {
            "weak": "weak" if jack.signal == "headphone" else "weak_line",
            "distorted": "crackles" if jack.signal in DIGITAL else "distorted",
        }
        seen["note"] = look.say(pools.get(outcome, outcome))
        return
    seen.pop("speakers", None)
    seen.pop("setting", None)
    if jack.signal in ("arc", "earc"):
        seen["note"] = look.say("arc_silent")
    elif jack.signal in ("optical", "coaxial"):
        pool = look.dice.weighted((("bitstream", 60), ("cap", 20), ("no_light", 20)))
        if jack.signal == "coaxial" or jack.format != "selectable":
            pool = "bitstream" if jack.format == "selectable" else "no_light"
        if pool == "bitstream":
            seen["format"] = "bitstream"
        seen["note"] = look.say(pool)
    else:
        seen["note"] = look.say("silent_analog")


def attempt(jack: TrueJack, one: TrueSet, look: Looker, seen: JsonObject, items: list[str]) -> None:
    """Plug in and listen: fills in the outcome, what it took and what it did to the speakers."""
    dice = look.dice
    if dice.chance(85):
        seen["direction"] = "output"
    seen["items"] = list(items)
    if dice.chance(9):
        seen["items"] = ["optical cable 5 m" if item == "optical cable 2 m" else item for item in items]
    details(jack, look, seen)
    speakers_heard(jack, one, look, seen)
    trouble = TROUBLE[jack.signal]
    outcome = dice.weighted((*trouble, ("carried", 100 - sum(parts for _, parts in trouble))))
    if outcome == "carried":
        seen["outcome"] = outcome
        if jack.signal in DIGITAL and dice.chance(55):
            setting(seen, one.menu("pcm", look.day))
        if jack.signal == "speaker-level":
            seen["note"] = look.say("speaker_level")
        if jack.level == "selectable" and seen.get("level") == "fixed":
            setting(seen, one.menu("level", look.day))
        if jack.form == "mini-toslink":
            seen["note"] = look.say("combined")
    elif dice.chance(CURED.get((outcome, jack.signal), 0)):
        cure(outcome, jack, one, look, seen)
    else:
        fail(outcome, jack, look, seen)


def rank(jack: TrueJack, inputs: Sequence[str]) -> int:
    """Order the outputs as an installer tries them: plain cables first, the headphone jack late."""
    if jack.signal == "analog-line":
        return 1 if jack.form == "rca-pair" else 4
    if jack.signal in ("optical", "coaxial"):
        return 0 if jack.signal in inputs else 2
    if jack.signal == "headphone":
        return 6 if jack.speakers == "mute" else 4
    return {"arc": 3, "earc": 3, "speaker-level": 5}.get(jack.signal, 7)


def tested(one: TrueSet, look: Looker, driver: JsonObject) -> list[JsonObject]:
    """Return the jacks as a tested visit shows them: most of the panel, one or two really tried."""
    dice = look.dice
    inputs = driver["inputs"]
    ways = {jack: items for jack in one.jacks if jack.sign == ">"
            if (items := jack.to_driver(inputs)) is not None}  # fmt: skip
    order = sorted(ways, key=lambda jack: rank(jack, inputs))
    taken = next((jack for jack in order if jack.form == "toslink"), None)
    if look.day.year < 2014 or not dice.chance(14):
        taken = None
    split = taken is not None and dice.chance(45)
    free = [jack for jack in order if jack is not taken or split]
    tries = free[:1] if dice.chance(78) else free[1:2] or free[:1]
    tries += [jack for jack in free if jack not in tries and dice.chance(28)][:1]
    wrong = next((jack for jack in one.jacks if jack.sign == "<" and jack.form == "rca-pair"), None)
    if not dice.chance(20):
        wrong = None
    jacks = []
    for jack in one.jacks:
        seen = bare(jack, look)
        if jack in tries:
            items = ways[jack]
            if jack is taken:
                items = ["optical splitter", "optical cable 2 m", *items]
            attempt(jack, one, look, seen, items)
            if jack is taken:
                seen |= {"taken": True, "note": look.say("splitter")}
            elif jack.form == "toslink" and dice.chance(40):
                seen["taken"] = False
        elif jack is taken:
            seen |= {"taken": True, "outcome": "not-tried", "note": look.say("taken")}
        elif jack is wrong:
            seen |= {"direction": "input", "outcome": "silent", "note": look.say("wrong_jack")}
            seen["items"] = TrueJack(">", jack.form, "", "analog-line", "", "", "", False).to_driver(inputs)
        elif jack.sign == ">":
            if jack.form == "din-5" and dice.chance(50):
                seen["note"] = look.say("no_adapter")
            if jack.signal == "headphone" and dice.chance(40):
                speakers_heard(jack, one, look, seen)
            if dice.chance(40):
                seen["outcome"] = "not-tried"
        elif not dice.chance(80):
            continue
        jacks.append(seen)
    return jacks


def looked(one: TrueSet, look: Looker) -> list[JsonObject]:
    """Return the jacks as seen on the panel or read from the manual."""
    jacks = []
    for jack in one.jacks:
        if not look.dice.chance(94 if jack.sign == ">" else 82):
            continue
        seen = bare(jack, look)
        if jack.sign == ">" and (seen["marking"] or look.basis == "manual"):
            details(jack, look, seen)
            if look.basis == "manual":
                name = "keep" if seen.get("speakers") == "mute-unless-set" else "pcm"
                if (name == "keep" or jack.signal == "optical") and look.dice.chance(60):
                    seen["setting"] = one.menu(name, look.day)
        if jack.form == "toslink" and look.basis == "seen" and look.day.year >= 2014 and look.dice.chance(15):
            seen |= {"taken": True, "note": look.say("taken")}
        jacks.append(seen)
    return jacks


def told(one: TrueSet, look: Looker) -> list[JsonObject]:
    """Return the one or two jacks that somebody spoke of, often with a slip."""
    dice = look.dice
    outputs = [jack for jack in one.jacks if jack.sign == ">"]
    inputs = [jack for jack in one.jacks if jack.sign == "<" and jack.form in ("rca-pair", "jack-3.5")]
    jacks = []
    for jack in outputs[:1] if dice.chance(55) else outputs[-2:]:
        seen = bare(jack, look)
        details(jack, look, seen)
        speakers_heard(jack, one, look, seen)
        jacks.append(seen)
    if inputs and dice.chance(60):
        jack = dice.pick(inputs)
        seen = bare(jack, look)
        if dice.chance(70):
            seen |= {"direction": "output", "note": look.say("told_wrong")}
        jacks.append(seen)
    return jacks


def who(one: TrueSet, day: date, dice: Dice, people: JsonObject) -> tuple[str, str]:
    """Return initials and basis of the person who had to do with this set on that day."""
    fit: list[tuple[tuple[str, str], float]] = [
        ((by, basis), weight * (4 if one.market != "en" and person["markets"][0] == one.market else 1))
        for by, person in people.items()
        if person["since"] <= day.year <= person["until"] and one.market in person["markets"]
        for basis, weight in person["bases"].items()
        if weight
    ]
    return dice.weighted(fit)


def workday(first: date, last: date, dice: Dice) -> date:
    day = first + timedelta(days=dice.below((last - first).days + 1))
    return day - timedelta(days=max(0, day.weekday() - 4)) if day - timedelta(days=2) >= first else day


def note_pool(one: TrueSet, look: Looker, jacks: list[JsonObject]) -> str:
    """Return which notes fit this visit: what was done, on what kind of set, and how it went."""
    outputs = [jack for jack in one.jacks if jack.sign == ">"]
    if look.basis == "told" and not jacks:
        return "known_by_name"
    if not outputs and one.kind == "television" and look.basis in ("tested", "seen"):
        return "nothing"
    if look.basis == "tested" and all(jack.get("outcome") != "carried" for jack in jacks):
        return "tested_failed"
    if look.basis == "tested" and one.display in ("flat", "tube") and look.dice.chance(30):
        return f"tested_{one.display}"
    if look.basis == "manual" and any(jack.signal == "optical" for jack in outputs) and look.dice.chance(30):
        return "manual_digital"
    return look.basis


def make_visit(one: TrueSet, turn: int, seed: int, region: JsonObject, notes: JsonObject) -> JsonObject:
    dice = Dice(seed, "visit", one.make, one.model, turn)
    first = max(FIRST_DAY, date(one.year, 3, 1))
    last = min(LAST_DAY, date(max(one.year + SET_IN_USE_YEARS, 2016), 12, 20))
    day = workday(first, last, dice)
    by, basis = who(one, day, dice, region["people"])
    look = Looker(by, basis, day, dice, notes)
    visit: JsonObject = {"date": day.isoformat(), "by": by, "basis": basis, "source": label(one, dice)}
    if basis == "tested":
        if dice.chance(68):
            visit["job"] = True
        driver = dice.weighted([(driver, driver["weight"]) for driver in region["drivers"]])
        visit["driver"] = {"name": driver["name"], "inputs": driver["inputs"]}
        visit["jacks"] = tested(one, look, driver)
    elif basis == "told":
        visit["jacks"] = told(one, look) if dice.chance(92) else []
    else:
        visit["jacks"] = looked(one, look)
    visit["note"] = look.say(note_pool(one, look, visit["jacks"])) if dice.chance(82) else ""
    return visit


def ordered(visit: JsonObject) -> JsonObject:
    """Put the keys of a visit into the order of the visit file, without those that say nothing."""
    keys = ("date", "by", "basis", "job", "source", "driver", "jacks", "note")
    jack_keys = ("form", "marking", "direction", "signal", "level", "format", "speakers", "taken",
                 "outcome", "items", "setting", "note")  # fmt: skip
    out = {key: visit[key] for key in keys if visit.get(key) not in (None, "")}
    out["jacks"] = [
        {key: jack[key] for key in jack_keys if key == "marking" or jack.get(key) not in (None, "")}
        for jack in visit["jacks"]
    ]
    return out


def number_jobs(visits: list[JsonObject], seed: int) -> None:
    """Replace the marks under "job" by numbers that grow with the date."""
    dice = Dice(seed, "jobs")
    number = 1000
    given: dict[str, str] = {}
    for visit in visits:
        mark = visit.get("job")
        if not mark:
            continue
        if mark is True or mark not in given:
            number += 1 + dice.below(3)
        visit["job"] = f"J-{number}" if mark is True else given.setdefault(mark, f"J-{number}")


def plain(text: str) -> str:
    return "".join(letter for letter in text.casefold() if letter.isalnum())


def make_book(seed: int = SEED) -> str:
    """Return the whole text of visits.jsonl."""
    parts = {name: tomllib.loads((HERE / f"{name}.toml").read_text(encoding="utf-8"))
             for name in ("region", "panels", "notes", "showcase")}  # fmt: skip
    region = parts["region"]
    notes = parts["notes"] | {"towns": list(region["towns"])}
    visits: list[JsonObject] = []
    by_hand = set()
    for visit in parts["showcase"]["visits"]:
        by_hand.add((plain(visit["source"]["make"]), plain(visit["source"]["model"])))
        visits.append(visit | {"date": visit["date"].isoformat()})
    for one in true_sets(region, parts["panels"], seed):
        if (plain(one.make), plain(one.model)) not in by_hand:
            count = Dice(seed, "count", one.make, one.model).pick(VISITS_PER_SET)
            visits += [make_visit(one, turn, seed, region, notes) for turn in range(count)]
    visits.sort(key=lambda visit: (visit["date"], plain(visit["source"]["make"]), visit["source"]["model"]))
    number_jobs(visits, seed)
    return "".join(json.dumps(ordered(visit), ensure_ascii=False) + "\n" for visit in visits)


def main(argv: Sequence[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description="Make data/demo/visits.jsonl.")
    parser.add_argument("--seed", type=int, default=SEED, help="behind all chance (default %(default)s)")
    parser.add_argument("--out", type=Path, default=HERE / "visits.jsonl", help="where to write")
    parser.add_argument("--check", action="store_true", help="write nothing, compare instead")
    options = parser.parse_args(argv)
    made = make_book(options.seed).encode()
    if options.check:
        same = options.out.exists() and options.out.read_bytes() == made
        print(f"{options.out.name}: {'as made' if same else 'differs'}", file=sys.stderr)
        return 0 if same else 1
    options.out.write_bytes(made)
    print(f"{options.out.name}: {len(made.splitlines())} visits", file=sys.stderr)
    return 0


if __name__ == "__main__":
    sys.exit(main())
