"""What did the book acknowledge, and is it all there?

The ledger keeps, for each visit that anybody sent, in which states the book may have it. An act makes several
states possible while it runs; its acknowledgement leaves one; an act that was killed leaves all of them, and
nobody acts on that visit any more. At the end the book is read with its own commands, and each visit must be
in a state that it may have, once.

Each visit is known by a *marker*, a word that stands nowhere else, in its note or in the setting of a jack.
"""

from __future__ import annotations

import json
import random
import re
import threading
import time
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

from torture_programs import Answer, Ground, Programs

#: The states of a visit. The first three are the words of ``history``.
IN_FORCE, REPLACED, WITHDRAWN, ABSENT = "stands", "superseded", "withdrawn", "absent"
OUTDONE = "outdone"  #: by another correction; here nobody corrects a visit twice, so no visit may be it
TAKEN_BACK: Final = "taken-back"  #: with its bundle; here nobody takes one back, so no visit may be it
PART: Final = 200  #: queries that one command is asked at the end
MARKER: Final = re.compile(r"\bzq[bdfgkmptvz]{12}\b")  # no word of any language, and no ending to be cut off
TAG: Final = re.compile(r"(?s)<head>.*</head>|<[^>]*>")
PLACES: Final = ("kitchen", "lounge", "chapel", "bedroom", "hall")
Set = tuple[str, str]  #: make and model as they were typed

JACKS: Final[tuple[tuple[str, dict[str, str]], ...]] = (
    ("opt=OPTICAL OUT:ok", {"form": "toslink", "marking": "OPTICAL OUT", "outcome": "carried"}),
    ("opt=DIGITAL OUT:silent", {"form": "toslink", "marking": "DIGITAL OUT", "outcome": "silent"}),
    ("hp=HEADPHONE:mute", {"form": "jack-3.5", "marking": "HEADPHONE", "speakers": "mute"}),
    ("rca=AUDIO OUT:hum", {"form": "rca-pair", "marking": "AUDIO OUT", "outcome": "hum"}),
    ("rca=AUDIO", {"form": "rca-pair", "marking": "AUDIO"}),
    ("coax=COAXIAL OUT:ok", {"form": "rca-single", "marking": "COAXIAL OUT", "outcome": "carried"}),
)  #: in short form, and as a visit file says it


@dataclass(eq=False)
class Fact:
    """One visit that was sent to the book. ``said``: as a visit file says it."""

    marker: str
    set: Set
    said: dict[str, Any]
    short: list[str]  #: the words that record it in short form
    via: str
    id: str = ""
    may: frozenset[str] = frozenset({ABSENT})
    busy: bool = False
    correction: bool = False
    version: int = 0  #: counts every change of ``may``
    batch: str = ""  #: visits of one batch come in together, or none does
    story: list[str] = field(default_factory=list)  #: what happened to it, for whoever looks for a fault

    def __str__(self) -> str:
        place = " ".join(self.set)
        return f"{self.marker} ({place}, id {self.id or '?'}): {'; '.join(self.story)}"


@dataclass(eq=False)
class Merge:
    """Two spellings that somebody merges and parts again; ``may``: whether the merge may stand."""

    spelling: Set
    into: Set
    id: str = ""
    may: frozenset[bool] = frozenset({False})
    busy: bool = False


class Ledger:
    """What all actors did, for several threads at once."""

    def __init__(self, sets: list[Set], merges: list[Merge]) -> None:
        self.sets, self.merges = sets, merges
        self.lock = threading.RLock()
        self.facts: dict[str, Fact] = {}
        self.acts: dict[str, Counter[str]] = defaultdict(Counter)
        self.troubles: Counter[str] = Counter()
        self.violations: dict[str, list[str]] = defaultdict(list)  #: by kind
        self.broken = ""  #: why the run itself could not go on
        self._begun = time.monotonic()
        self._batches = 0

    # -- acts ------------------------------------------------------------------------------------------

    def count(self, kind: str, how: str) -> None:
        """One act of this kind ended so: done, killed, refused, trouble."""
        with self.lock:
            self.acts[kind][how] += 1

    def violated(self, kind: str, what: str) -> None:
        """A promise of this kind was broken."""
        with self.lock:
            self.violations[kind].append(f"{self.at()} {' '.join(TAG.sub(' ', what).split())}")

    def at(self) -> str:
        """When this is, in seconds of the run."""
        return f"[{time.monotonic() - self._begun:.2f} s]"

    def new(self, via: str, where: Set, chance: random.Random, *, shared: bool = False) -> Fact:
        """A visit that nobody sent yet. ``shared``: its marker is in what colleagues get."""
        marker = "zq" + "".join(chance.choice("bdfgkmptvz") for _ in range(12))
        jacks = chance.sample(JACKS, chance.randint(1, 3))
        date, by = f"2026-0{chance.randint(1, 9)}-{chance.randint(10, 28)}", chance.choice(["RT", "CQ", "LM"])
        year = chance.randint(2004, 2024)
        said: dict[str, Any] = {
            "date": date,
            "by": by,
            "source": {"make": where[0], "model": where[1], "year": year},
            "jacks": [dict(jack) for _, jack in jacks],
        }
        if shared:  # who looked is private
            del said["by"]
            said["jacks"][0]["setting"] = f"sound menu, {marker}"
        else:
            said["note"] = f"{chance.choice(PLACES)} {marker}"
        short = [*where, str(year), *(words for words, _ in jacks), "--date", date, "--by", by]
        short += ["--note", said["note"]] if not shared else []
        fact = Fact(marker, where, said, short, via)
        with self.lock:
            self.facts[marker] = fact
        return fact

    def batch(self) -> str:
        """A name for visits that come in together."""
        with self.lock:
            self._batches += 1
            return f"batch {self._batches}"

    def may(self, fact: Fact, states: Iterable[str], why: str) -> None:
        """From now on the book may have ``fact`` in these states only."""
        with self.lock:
            fact.may = frozenset(states)
            fact.version += 1
            fact.story.append(f"{self.at()} {why}: {'/'.join(sorted(fact.may))}")

    @contextmanager
    def taken(self, chance: random.Random, state: str, *, corrections: bool = True) -> Iterator[Fact | None]:
        """A visit that is certainly in ``state``, on which nobody else acts meanwhile; ``corrections``: it
        may be a correction."""
        with self.lock:
            fit = [
                f
                for f in self.facts.values()
                if f.may == {state} and f.id and not f.busy and (corrections or not f.correction)
            ]
            fact = chance.choice(fit) if fit else None
            if fact:
                fact.busy = True
        try:
            yield fact
        finally:
            if fact:
                with self.lock:
                    fact.busy = False

    # -- while it runs ---------------------------------------------------------------------------------

    def certain(self, where: Set | None = None) -> dict[str, tuple[int, str]]:
        """Marker -> version and state of each visit (to ``where``) whose state is certain now."""
        with self.lock:
            return {
                fact.marker: (fact.version, next(iter(fact.may)))
                for fact in self.facts.values()
                if len(fact.may) == 1 and not fact.busy and where in (None, fact.set)
            }

    def compare(self, before: dict[str, tuple[int, str]], seen: dict[str, str], what: str) -> None:
        """``seen``: marker -> state, as a program that began after ``before`` was taken tells it."""
        with self.lock:
            for marker, (version, state) in before.items():
                fact = self.facts[marker]
                if fact.version == version and not fact.busy and seen.get(marker, ABSENT) != state:
                    self.violated(
                        "read meanwhile", f"{what} has {seen.get(marker, ABSENT)}, expected {state}: {fact}"
                    )

    def learn(self, visits: Iterable[dict[str, Any]]) -> None:
        """The ids of visits whose acknowledgement did not tell them, as ``history`` tells them."""
        with self.lock:
            for visit in visits:
                for marker in markers(visit):
                    fact = self.facts.get(marker)
                    if fact and not fact.id:
                        fact.id = visit["id"]


def states(visits: Iterable[dict[str, Any]]) -> dict[str, str]:
    """Marker -> state from visits as ``history`` tells them.

    A visit that was entered anew (by sharing) is told by its latest entry: one that stands, else one that
    was withdrawn.
    """
    order = (TAKEN_BACK, OUTDONE, REPLACED, WITHDRAWN, IN_FORCE)  # a word that is new comes before all
    rank = {state: at for at, state in enumerate(order, 1)}
    found: dict[str, str] = {}
    for visit in visits:
        for marker in markers(visit):
            state = visit.get("state", IN_FORCE)
            if marker not in found or rank.get(state, 0) > rank.get(found[marker], 0):
                found[marker] = state
    return found


def markers(visit: dict[str, Any]) -> list[str]:
    """The markers in a visit: one, unless something is very wrong."""
    return sorted(set(MARKER.findall(json.dumps(visit))))


# -- at the end ----------------------------------------------------------------------------------------


@dataclass
class Verdict:
    """What the book has: how many visits were acknowledged, unknown, lost and doubled."""

    acknowledged: int = 0
    unknown: int = 0
    unknown_there: int = 0
    lost: int = 0
    doubled: int = 0
    queries: int = 0


class Check:
    """Reads the book after the last program has ended, and holds it against the ledger."""

    def __init__(self, ground: Ground, programs: Programs, ledger: Ledger, folder: Path, seed: int) -> None:
        self.ground, self.programs, self.ledger, self.folder = ground, programs, ledger, folder
        self._chance = random.Random(f"check {seed}")
        self.verdict = Verdict()

    def all(self) -> Verdict:
        """Every check; what is wrong goes into the ledger."""
        for wrong in self.ground.integrity():
            self.ledger.violated("damaged", f"the engine finds the book damaged: {wrong}")
        dumped = self.dump()
        self.presence(dumped)
        self.content(dumped)
        at_end = self.histories(dumped)
        self.merges()
        self.index(at_end)
        self.doctor()
        return self.verdict

    def ask(self, *words: str | Path, typed: str = "", ground: Ground | None = None) -> Answer:
        """A command on the quiet book: it must succeed."""
        answer = self.programs.run(ground or self.ground, words, typed=typed)
        if answer.code != 0:
            self.ledger.violated("trouble", f"on the quiet book: {answer}")
        return answer

    def dump(self) -> list[dict[str, Any]]:
        """All facts, as ``dump`` writes them."""
        file = self.folder / "at-the-end.jsonl"
        self.ask("dump", file)
        if not file.exists():
            return []
        facts: list[dict[str, Any]] = [json.loads(line) for line in file.read_text("utf-8").splitlines()[1:]]
        return facts

    def presence(self, dumped: list[dict[str, Any]]) -> None:
        """Every acknowledged visit is there, none twice, none that nobody sent; batches are whole."""
        entries: dict[str, list[dict[str, Any]]] = defaultdict(list)
        for line in dumped:
            if visit := line.get("visit"):
                found = markers(visit)
                if len(found) != 1 or found[0] not in self.ledger.facts:
                    self.ledger.violated("foreign", f"nobody sent this visit: {visit}")
                else:
                    entries[found[0]].append(visit)
        batches: dict[str, set[bool]] = defaultdict(set)
        for marker, fact in self.ledger.facts.items():
            there = entries.get(marker, [])
            if fact.batch:
                batches[fact.batch].add(bool(there))
            if ABSENT not in fact.may:
                self.verdict.acknowledged += 1
                if not there:
                    self.verdict.lost += 1
                    self.ledger.violated("lost", str(fact))
            elif len(fact.may) > 1:
                self.verdict.unknown += 1
                self.verdict.unknown_there += bool(there)
            elif there:
                self.ledger.violated("refused, yet there", str(fact))
            replaced = {old for visit in there for old in visit.get("supersedes", [])}
            if sum(visit["id"] not in replaced for visit in there) > 1:
                self.verdict.doubled += 1
                self.ledger.violated("doubled", f"there {len(there)} times: {fact}")
        for name, present in batches.items():
            if len(present) > 1:
                self.ledger.violated("by half", f"{name} came in by half")

    def content(self, dumped: list[dict[str, Any]]) -> None:
        """Each visit says what was sent."""
        for fact in dumped:
            visit = fact.get("visit")
            found = markers(visit) if visit else []
            if len(found) == 1 and found[0] in self.ledger.facts:
                sent = self.ledger.facts[found[0]]
                said = {name: value for name, value in sent.said.items() if name != "id"}
                if wrong := _missing(said, visit):
                    self.ledger.violated("changed", f"{wrong}: {sent}")

    def histories(self, dumped: list[dict[str, Any]]) -> dict[str, str]:
        """The state of each visit as ``history`` tells it is one that it may have; ``show`` has those that
        stand."""
        seen: dict[str, str] = {}
        for where in self.ledger.sets:
            known = [f for f in self.ledger.facts.values() if f.set == where and ABSENT not in f.may]
            answer = self.programs.run(self.ground, ["history", *where])
            if answer.code != 0:
                if known or answer.code != 1:
                    self.ledger.violated("trouble", f"on the quiet book: {answer}")
                continue
            told = states(answer.data["visits"])
            seen |= told
            standing = {m for m, s in told.items() if s == IN_FORCE}
            if standing or any(f.may == {IN_FORCE} for f in known):
                shown = states(self.ask("show", *where).data.get("visits", []))
                if set(shown) != standing:
                    wrong = sorted(set(shown) ^ standing)
                    self.ledger.violated("state", f"show and history of {where} differ in {wrong}")
        for fact in self.ledger.facts.values():
            state = seen.get(fact.marker, ABSENT)
            if state not in fact.may and not (state == ABSENT and ABSENT not in fact.may):
                self.ledger.violated("state", f"{state} at the end: {fact}")
            elif state == ABSENT and ABSENT not in fact.may:
                self.ledger.violated("state", f"not in the history at the end: {fact}")
        lines = {m for fact in dumped if "visit" in fact for m in markers(fact["visit"])}
        if lines != set(seen):
            self.ledger.violated("state", f"dump and history differ in {sorted(lines ^ set(seen))[:10]}")
        return seen

    def merges(self) -> None:
        """Each merge stands or not, as it was acknowledged."""
        for merge in self.ledger.merges:
            answer = self.programs.run(self.ground, ["history", *merge.into])
            told = {one["id"]: one["stands"] for one in answer.data.get("merges", [])}
            stands = told.get(merge.id, False) if merge.id else any(told.values())
            if stands not in merge.may:
                self.ledger.violated("state", f"merge {merge.id} of {merge.spelling} stands: {stands}")

    def _found(self, queries: list[str], ground: Ground | None = None) -> list[str]:
        """The answers of ``find``, a line each; asked in parts, as a command may take only so long."""
        file = self.folder / "queries.txt"
        lines: list[str] = []
        for start in range(0, len(queries), PART):
            file.write_text("\n".join(queries[start : start + PART]) + "\n", encoding="utf-8")
            lines += self.ask("find", "--batch", file, "--limit", "100", ground=ground).said.splitlines()
        return lines

    def index(self, at_end: dict[str, str]) -> None:
        """The index as it grew answers as one built anew, and finds the words of what stands only."""
        words = [*PLACES, *(m for m in self.ledger.facts)]
        codes = [" ".join(where) for where in self.ledger.sets] + [model for _, model in self.ledger.sets]
        damaged = [self._damaged(" ".join(where)) for where in self.ledger.sets for _ in range(4)]
        makes = {make for make, _ in self.ledger.sets}
        narrowed = [f"signal:{s} make:{m}" for s in ("optical", "headphone") for m in sorted(makes)]
        narrowed += [f"{place} year:2010-2015" for place in PLACES]
        queries = words + codes + damaged + narrowed
        self.verdict.queries = len(queries)
        grown = self._found(queries)
        built = self._found(queries, self.ground.anew(self.folder / "anew"))
        if len(grown) != len(queries) or len(built) != len(queries):
            self.ledger.violated(
                "index", f"{len(queries)} queries, {len(grown)} answers, {len(built)} by a new index"
            )
        for query, one, other in zip(queries, grown, built, strict=False):
            if _settled(one) != _settled(other):
                self.ledger.violated(
                    "index", f"find {query!r}: the index says {one[:900]}, a new one {other[:900]}"
                )
        told = {query: json.loads(line) for query, line in zip(queries, grown, strict=False)}
        for marker in self.ledger.facts:
            fact = self.ledger.facts[marker]
            by_text = [m for m in told.get(marker, {}).get("matches", []) if m["how"] == "text"]
            stands = at_end.get(marker) == IN_FORCE
            if stands != bool(by_text):
                said = "is not found by its words" if stands else "is found by its words"
                self.ledger.violated("not found", f"{at_end.get(marker, ABSENT)}, and {said}: {fact}")
        standing = {self.ledger.facts[m].set for m, s in at_end.items() if s == IN_FORCE}
        for where in standing:
            matches = told.get(" ".join(where), {}).get("matches", [])
            if not matches or matches[0]["how"] != "exact":
                self.ledger.violated(
                    "not found", f"find {' '.join(where)}: not found, though visits to it stand"
                )

    def _damaged(self, text: str) -> str:
        at = self._chance.randrange(len(text))
        return self._chance.choice(
            (text[:at] + "?" + text[at + 1 :], text[:at] + text[at + 1 :], text[: max(5, at)])
        )

    def doctor(self) -> None:
        """What cut-off work left is cleared away; then nothing is wrong."""
        self.programs.run(self.ground, ["doctor", "--mend"])
        answer = self.programs.run(self.ground, ["doctor"])
        if answer.code != 0:
            wrong = [one for one in answer.data.get("checks", []) if not one["ok"]]
            self.ledger.violated("doctor", f"the doctor finds, after mending: {wrong or answer}")


def _settled(line: str) -> Any:
    """An answer of ``find``, its matches by words in the order of their names.

    How rare a word is, by which they are ordered, is counted with what was deleted and not yet swept up.
    """
    answer = json.loads(line)
    words = [match for match in answer["matches"] if match["how"] == "text"]
    words.sort(key=lambda match: (match["make"], match["model"]))
    return answer | {"matches": [m for m in answer["matches"] if m["how"] != "text"], "words": words}


def _missing(said: Any, there: Any, place: str = "visit") -> str:
    """Where ``there`` does not say what ``said`` does; "" where it does."""
    if isinstance(said, dict):
        if not isinstance(there, dict):
            return f"{place} is {there!r}"
        return next(filter(None, (_missing(v, there.get(k), f"{place}, {k}") for k, v in said.items())), "")
    if isinstance(said, list):
        if not isinstance(there, list) or len(there) != len(said):
            return f"{place} is {there!r}"
        pairs = enumerate(zip(said, there, strict=True), 1)
        return next(filter(None, (_missing(a, b, f"{place} {n}") for n, (a, b) in pairs)), "")
    return "" if said == there else f"{place} is {there!r}, sent was {said!r}"
