"""Is anything lost that the book acknowledged, whatever else runs at the same moment, and whatever is killed?

    python3 scripts/torture.py                        a minute
    python3 scripts/torture.py --minutes 10 --seed 7

On one home, beside each other and at random: a server (now and then two) with several phones that pair,
search, look at sets and record; and programs that record, find, show, path, history, correct, withdraw,
undo, merge, load, dump, share, back up and mend. Any of them is killed with SIGKILL at any moment;
servers are started again. A phone sends a visit until it is acknowledged, as the page's script does; some
people type a command again that was killed, some do not. Programs that read are held against what was
acknowledged before they began.

At the end all are stopped, and the book is read: every acknowledged visit, correction, withdrawal and
merge is there once, as it was sent, and found by its words and its set; the index as it grew answers as
one built anew. The script prints counts, and leaves with 1 if a promise was broken: each breach with its
story, and the seed. The seed decides what is done and when it is killed; the machine decides what meets
what. So a seed shows the same kind of fault again, seldom the same fault.
"""

from __future__ import annotations

import argparse
import csv
import io
import json
import os
import random
import statistics
import subprocess
import sys
import threading
import time
import traceback
import urllib.parse
from collections import defaultdict
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import ClassVar

from torture_ledger import ABSENT, IN_FORCE, REPLACED, WITHDRAWN, Check, Fact, Ledger, Merge, Set, states
from torture_programs import Answer, Broken, Ground, Line, Page, Programs, Server, scratch

from environment import ready

MAKES = ("Norwell", "Kestering", "Pellworth", "Hallmere")
PHONES, TERMINALS = 3, 3  #: at once, beside the server or servers
SHOWN = 3  #: breaches of each kind that are told
KILLED = 0.3  #: share of commands that are killed
COLD = 0.1  #: share of commands that begin as a person's do, not from the nursery
AGAIN = 0.6  #: share of people who type a command again that was killed
BUSY = ("is busy", "is at work", "in use")  #: refusals that say when to try again


@dataclass
class Run:
    """One run: the book, the programs, the ledger, and until when."""

    ground: Ground
    folder: Path
    programs: Programs
    ledger: Ledger
    seed: int
    until: float
    servers: list[Server] = field(default_factory=list)
    started: int = 0  #: servers, so far
    kills: int = 0
    took_s: dict[str, list[float]] = field(default_factory=lambda: defaultdict(list))
    #: may a command fail with exit code 3 (a server that is killed, say)? Its act is then unknown.
    trouble_is_fine: bool = False

    @property
    def over(self) -> bool:
        """Is time up, or can the run not go on?"""
        return time.monotonic() >= self.until or bool(self.ledger.broken)

    def killed(self) -> None:
        """One more program was killed."""
        with self.ledger.lock:
            self.kills += 1


class Actor(threading.Thread):
    """Somebody who does one thing after another until time is up. Draws from a random of their own."""

    def __init__(self, run: Run, name: str) -> None:
        super().__init__(name=name, daemon=True)
        self.on = run
        self.ledger = run.ledger
        self.chance = random.Random(f"{run.seed} {name}")

    def run(self) -> None:
        """Act until time is up; a fault of this script stops the whole run."""
        try:
            while not self.on.over:
                self.act()
            self.end()
        except Exception:
            with self.ledger.lock:
                self.ledger.broken = self.ledger.broken or f"{self.name}: {traceback.format_exc()}"

    def act(self) -> None:
        """One thing."""
        raise NotImplementedError

    def end(self) -> None:
        """When time is up."""

    def some_set(self) -> Set:
        """A set; few are met often, so that programs meet at the same one."""
        return self.ledger.sets[min(int(self.chance.expovariate(0.12)), len(self.ledger.sets) - 1)]


# -- at a terminal -------------------------------------------------------------------------------------


class Terminal(Actor):
    """Somebody who types commands; ``KINDS`` says which and how often."""

    KINDS: ClassVar[dict[str, int]] = {
        "record": 14,
        "record_twice": 2,
        "correct": 5,
        "withdraw": 4,
        "undo": 4,
        "merge": 3,
        "load": 3,
        "share_in": 3,
        "share_out": 1,
        "history": 8,
        "show": 5,
        "find": 7,
        "path": 3,
        "dump": 1,
        "backup": 2,
        "doctor": 2,
    }

    def act(self) -> None:
        kind = self.chance.choices(list(self.KINDS), list(self.KINDS.values()))[0]
        getattr(self, kind)()

    def command(self, *words: str | Path, typed: str = "", sure: bool = False) -> Answer:
        """One command, perhaps killed (never where ``sure``); counted by its first word."""
        kind = str(words[0]) if words[0] != "share" else f"share {words[1]}"
        taken = self.on.took_s[kind]
        kill = None
        if not sure and self.chance.random() < KILLED:
            usual = statistics.median(taken[-25:]) if taken else 0.4
            kill = self.chance.uniform(0, 1.1 * usual)
        cold = self.chance.random() < COLD
        answer = self.on.programs.run(self.on.ground, words, typed=typed, cold=cold, kill_after_s=kill)
        if answer.code is None:
            self.on.killed()
            self.ledger.count(kind, "killed")
        elif answer.code == 0:
            if not cold:
                taken.append(answer.took_s)
            self.ledger.count(kind, "done")
        else:
            self.ledger.count(kind, "refused" if answer.code in (1, 2) else "trouble")
            if answer.code not in (1, 2):
                self.trouble(answer)
        return answer

    def trouble(self, answer: Answer) -> None:
        """A command said that the book could not be read or written, or fell."""
        with self.ledger.lock:
            self.ledger.troubles[" ".join(answer.wrong.split())[-200:]] += 1
        if not self.on.trouble_is_fine and not any(word in answer.wrong for word in BUSY):
            self.ledger.violated("trouble", str(answer))

    def again(self, *words: str | Path, typed: str = "") -> Answer:
        """A command that does no harm twice: somebody may type it again after it was killed."""
        answer = self.command(*words, typed=typed)
        while answer.code is None and self.chance.random() < AGAIN:
            answer = self.command(*words, typed=typed)
        return answer

    # -- what changes the book -------------------------------------------------------------------------

    def record(self) -> None:
        """A visit: from a file with an id of its own or without, from stdin, or in short form."""
        fact = self.ledger.new("record", self.some_set(), self.chance)
        how = self.chance.choice(("short", "file", "stdin", "own id"))
        if how == "own id":
            fact.said["id"] = fact.id = new_id(self.chance)
        self.ledger.may(fact, {ABSENT, IN_FORCE}, f"record, {how}")
        if how == "short":
            answer = self.again("record", *fact.short)
        elif how == "stdin":
            answer = self.again("record", "--file", "-", typed=json.dumps(fact.said))
        else:
            answer = self.again("record", "--file", self.file(f"{fact.marker}.json", json.dumps(fact.said)))
        self.recorded([fact], answer, "record")

    def record_twice(self) -> None:
        """The same visit by two programs at once, as by somebody impatient."""
        fact = self.ledger.new("record twice", self.some_set(), self.chance)
        self.ledger.may(fact, {ABSENT, IN_FORCE}, "record, twice at once")
        answers: list[Answer] = []
        text = json.dumps(fact.said)

        def record() -> None:
            answers.append(self.on.programs.run(self.on.ground, ["record", "--file", "-"], typed=text))

        other = threading.Thread(target=record)
        other.start()
        answers.append(self.command("record", "--file", "-", typed=text, sure=True))
        other.join()
        done = next((answer for answer in answers if answer.code == 0), answers[0])
        self.recorded([fact], done, "record")

    def recorded(self, facts: Sequence[Fact], answer: Answer, what: str) -> None:
        """Put what became of visits that were sent into the ledger."""
        ids = [one["visit"] for one in answer.data.get("recorded", [])]
        ids += answer.data["already"] if ids == [] and "recorded" in answer.data else []
        for number, fact in enumerate(facts):
            if answer.code == 0:
                fact.id = ids[number] if len(ids) == len(facts) else fact.id
                self.ledger.may(fact, {IN_FORCE}, f"{what}: acknowledged")
            elif answer.code in (1, 2):
                self.ledger.may(fact, {ABSENT}, f"{what}: refused")
                self.ledger.violated("refused", f"a right visit was refused: {answer}")
            else:
                self.ledger.may(fact, {ABSENT, IN_FORCE}, f"{what}: unknown")

    def correct(self) -> None:
        """Correct a visit: its note or its year."""
        with self.ledger.taken(self.chance, IN_FORCE) as old:
            if old is None:
                return
            new = self.ledger.new("correct", old.set, self.chance)
            new.correction = True
            note, year = new.said["note"], new.said["source"]["year"]
            new.said = {**old.said, "note": note, "source": {**old.said["source"], "year": year}}
            new.said.pop("id", None)
            self.ledger.may(new, {ABSENT, IN_FORCE}, f"correct {old.marker}")
            self.ledger.may(old, {IN_FORCE, REPLACED}, f"correct, by {new.marker}")
            words = [f"note={note}", f"year={year}"]
            if any("setting" in jack for jack in new.said["jacks"]):  # its old marker must not come along
                new.said["jacks"] = [
                    {k: v for k, v in jack.items() if k != "setting"} for jack in new.said["jacks"]
                ]
                words.append("1.setting=")
            answer = self.command("correct", old.id, *words)
            self.replaced(old, new, answer.code, answer.data.get("visit", ""), str(answer))

    def replaced(self, old: Fact, new: Fact, code: int | None, visit: str, said: str) -> None:
        """Put what became of a correction into the ledger; ``code`` as of a command."""
        if code == 0:
            new.id = visit
            self.ledger.may(new, {IN_FORCE}, "acknowledged")
            self.ledger.may(old, {REPLACED}, "acknowledged")
        elif code in (1, 2):
            self.ledger.may(new, {ABSENT}, f"refused: {said}")
            self.ledger.may(old, {IN_FORCE}, f"refused: {said}")
            self.ledger.violated("refused", f"a right correction was refused: {said}, {old}")
        else:
            self.ledger.may(new, {ABSENT, IN_FORCE}, "unknown")
            self.ledger.may(old, {IN_FORCE, REPLACED}, "unknown")

    def withdraw(self) -> None:
        """Withdraw a visit, but no correction: what it corrected would stand again, as it should."""
        with self.ledger.taken(self.chance, IN_FORCE, corrections=False) as fact:
            if fact:
                self.ledger.may(fact, {IN_FORCE, WITHDRAWN}, "withdraw")
                answer = self.again("withdraw", fact.id)
                self.settled(fact, answer, IN_FORCE, WITHDRAWN)

    def undo(self) -> None:
        """Let a withdrawn visit stand again, or part two spellings."""
        if self.chance.random() < 0.3:
            self.part()
            return
        with self.ledger.taken(self.chance, WITHDRAWN) as fact:
            if fact:
                self.ledger.may(fact, {IN_FORCE, WITHDRAWN}, "undo")
                answer = self.command("undo", fact.id)  # never twice: it would take itself back
                self.settled(fact, answer, WITHDRAWN, IN_FORCE)

    def settled(self, fact: Fact, answer: Answer, before: str, after: str) -> None:
        """Put what became of a change of state into the ledger."""
        if answer.code == 0:
            self.ledger.may(fact, {after}, "acknowledged")
        elif answer.code in (1, 2):
            self.ledger.may(fact, {before}, f"refused: {answer}")
            self.ledger.violated("refused", f"a right change was refused: {answer}, {fact}")
        else:
            self.ledger.may(fact, {before, after}, "unknown")

    def merge(self) -> None:
        """Say that two spellings are one set; both must have been met."""
        with self.ledger.lock:
            met = {f.set for f in self.ledger.facts.values() if f.may == {IN_FORCE}}
            fit = [
                m
                for m in self.ledger.merges
                if m.may == {False} and not m.busy and {m.spelling, m.into} <= met
            ]
            one = self.chance.choice(fit) if fit else None
            if one is None:
                return
            one.busy, one.may = True, frozenset({False, True})
        answer = self.command("merge", *one.spelling, "--into", *one.into)
        if answer.code == 0:
            one.id = answer.data["merge"]
        self.merged(one, answer, True)

    def part(self) -> None:
        """Undo a merge."""
        with self.ledger.lock:
            fit = [m for m in self.ledger.merges if m.may == {True} and not m.busy]
            one = self.chance.choice(fit) if fit else None
            if one is None:
                return
            one.busy, one.may = True, frozenset({False, True})
        self.merged(one, self.command("undo", one.id), False)

    def merged(self, one: Merge, answer: Answer, stands: bool) -> None:
        """Put what became of a merge into the ledger."""
        with self.ledger.lock:
            one.busy = False
            if answer.code == 0:
                one.may = frozenset({stands})
            elif answer.code in (1, 2):
                one.may = frozenset({not stands})
        # The visits that spelled it so may all be withdrawn by now: then there is nothing to merge.
        if answer.code == 2:
            self.ledger.violated("refused", f"a right merge was refused: {answer}")

    def load(self, *, first: bool = False) -> None:
        """Old notes, as JSON Lines or CSV: all or nothing. The ``first`` is not killed."""
        name = self.ledger.batch()
        facts = [
            self.ledger.new("load", self.some_set(), self.chance) for _ in range(self.chance.randint(5, 60))
        ]
        for fact in facts:
            fact.batch = name
            self.ledger.may(fact, {ABSENT, IN_FORCE}, name)
        if self.chance.random() < 0.5:
            file = self.file(f"{name}.jsonl", "".join(json.dumps(fact.said) + "\n" for fact in facts))
        else:
            file = self.file(f"{name}.csv", as_csv(facts))
        answer = self.again("load", file) if not first else self.command("load", file, sure=True)
        self.recorded(facts, answer, name)

    def share_in(self) -> None:
        """A bundle from a colleague, made on their own book."""
        name = self.ledger.batch()
        facts = [
            self.ledger.new("share in", self.some_set(), self.chance, shared=True)
            for _ in range(self.chance.randint(1, 8))
        ]
        theirs = Ground(self.on.folder / name)
        visits = json.dumps([fact.said for fact in facts])
        told = self.on.programs.run(theirs, ["record", "--file", "-"], typed=visits)
        bundle = self.on.folder / f"{name}.jsonl.gz"
        given = self.on.programs.run(theirs, ["share", "out", bundle])
        if given.code != 0 or given.data.get("visits") != len(facts):
            raise Broken(f"a colleague's bundle: {told}, {given}")
        for fact, one in zip(facts, told.data["recorded"], strict=True):
            fact.batch, fact.id = name, one["visit"]
            self.ledger.may(fact, {ABSENT, IN_FORCE}, name)
        self.recorded(facts, self.again("share", "in", bundle), name)

    # -- what only reads -------------------------------------------------------------------------------

    def share_out(self) -> None:
        """A bundle for a colleague; visits that were handed in with an id of their own are entered anew."""
        self.command("share", "out", self.on.folder / f"out-{self.chance.getrandbits(40)}.jsonl.gz")

    def history(self) -> None:
        """Every visit whose state was certain before it began is told in that state."""
        where = self.some_set()
        before = self.ledger.certain(where)
        answer = self.command("history", *where)
        if answer.code in (0, 1):
            visits = answer.data.get("visits", [])
            self.ledger.compare(before, states(visits), f"history of {where}")
            self.ledger.learn(visits)

    def show(self) -> None:
        """Every visit that certainly stands is shown, and none that certainly does not."""
        where = self.some_set()
        before = self.ledger.certain(where)
        answer = self.command("show", *where)
        if answer.code in (0, 1):
            seen = states(answer.data.get("visits", []))
            before = {m: known for m, known in before.items() if known[1] == IN_FORCE or m in seen}
            self.ledger.compare(before, seen, f"show of {where}")

    def find(self) -> None:
        """A visit that certainly stands is found by its words, and its set by its name."""
        with self.ledger.lock:
            fit = [f for f in self.ledger.facts.values() if f.may == {IN_FORCE} and not f.busy]
            fact = self.chance.choice(fit) if fit else None
        if fact is None:
            return
        before = {fact.marker: (fact.version, IN_FORCE)}
        by_words = self.chance.random() < 0.5
        answer = self.command("find", *([fact.marker] if by_words else fact.set))
        if answer.code in (0, 1):
            wanted = "text" if by_words else "exact"
            found = any(match["how"] == wanted for match in answer.data["matches"])
            self.ledger.compare(before, {fact.marker: IN_FORCE if found else ABSENT}, str(answer))

    def path(self) -> None:
        """A way to the driver."""
        self.command("path", *self.some_set(), "--inputs", "line-3.5,optical")

    def dump(self) -> None:
        """Every visit that was certainly there is in it."""
        file = self.on.folder / f"dump-{self.chance.getrandbits(40)}.jsonl"
        before = self.ledger.certain()
        if self.command("dump", file).code == 0:
            self.has_all(before, file, "dump")

    def has_all(self, before: dict[str, tuple[int, str]], file: Path, what: str) -> None:
        """The dump ``file`` has every visit that was there ``before``."""
        text = file.read_text("utf-8")
        missing = [m for m, (_, state) in before.items() if state != ABSENT and m not in text]
        if missing:
            told = self.ledger.facts[missing[0]]
            self.ledger.violated("read meanwhile", f"{what} lacks {len(missing)} visits, such as {told}")

    def backup(self) -> None:
        """A copy; it is restored elsewhere, and has every visit that was there before."""
        before = self.ledger.certain()
        answer = self.command("backup")
        if answer.code != 0:
            return
        elsewhere = Ground(self.on.folder / f"restored-{self.chance.getrandbits(40)}")
        elsewhere.home.mkdir()
        file = elsewhere.home / "all.jsonl"
        for words in (("restore", answer.data["backup"]), ("dump", str(file))):
            told = self.on.programs.run(elsewhere, words)
            if told.code != 0:
                self.ledger.violated("backup", f"of the backup {answer.data['backup']}: {told}")
                return
        self.has_all(before, file, "a backup")

    def doctor(self) -> None:
        """Mend whatever is found; the book itself must be well whatever others do."""
        answer = self.command("doctor", "--mend")
        wrong = [one for one in answer.data.get("checks", []) if not one["ok"] and one["name"] not in DERIVED]
        if answer.code is not None and wrong:
            self.ledger.violated("doctor", f"the doctor finds the book unwell: {wrong}")

    def file(self, name: str, text: str) -> Path:
        """A file to hand in."""
        file = self.on.folder / name
        file.write_text(text, encoding="utf-8")
        return file


#: What the doctor mends: others may be changing it at this moment, or have been killed over it.
DERIVED = ("index", "leftovers")


def as_csv(facts: Sequence[Fact]) -> str:
    """Visits as a table, one row a jack."""
    text = io.StringIO()
    names = ("make", "model", "year", "date", "by", "note", "form", "marking", "speakers", "outcome")
    table = csv.DictWriter(text, names, restval="")
    table.writeheader()
    for fact in facts:
        source, own = fact.said["source"], {k: fact.said[k] for k in ("date", "by", "note")}
        for jack in fact.said["jacks"]:
            table.writerow({**source, **own, **jack})
    return text.getvalue()


def new_id(chance: random.Random) -> str:
    """An id as a phone makes it: a UUID, version 7 (RFC 9562, section 5.7)."""
    bits = (int(time.time() * 1000) << 80) | chance.getrandbits(76)
    bits = bits & ~(0xF << 76) | 7 << 76
    text = f"{bits & ~(3 << 62) | 2 << 62:032x}"
    return "-".join((text[:8], text[8:12], text[12:16], text[16:20], text[20:]))


# -- behind the set ------------------------------------------------------------------------------------


class Phone(Actor):
    """A phone: what waits on it is sent until the book has acknowledged it."""

    def __init__(self, run: Run, name: str) -> None:
        super().__init__(run, name)
        self.line = Line()
        self.waiting: list[tuple[Fact, Fact | None, dict[str, str]]] = []  #: new visit, the one it corrects

    def act(self) -> None:
        server = self.server()
        if server is None:
            time.sleep(0.1)
            return
        draw = self.chance.random()
        if self.waiting and draw < 0.8:
            self.send(server)
        elif draw < 0.55 and len(self.waiting) < 5:
            self.write()
        elif draw < 0.6:
            self.write_correction()
        elif draw < 0.7:
            self.look(server, "search", "/?q=" + urllib.parse.quote(self.some_set()[1]))
        elif draw < 0.85:
            self.set_page(server)
        else:
            make, model = self.some_set()
            asked = {"make": make, "model": model, "inputs": "line-3.5"}
            self.look(server, "path", "/path?" + urllib.parse.urlencode(asked))

    def server(self) -> Server | None:
        """One that answers now."""
        up = [server for server in list(self.on.servers) if server.up]
        return self.chance.choice(up) if up else None

    def write(self) -> None:
        """A visit, kept on the phone; nothing is sent yet."""
        fact = self.ledger.new(self.name, self.some_set(), self.chance)
        fact.id = new_id(self.chance)
        self.waiting.append((fact, None, form_of(fact)))

    def write_correction(self) -> None:
        """A correction, kept on the phone. Until it is sent nobody else changes that visit."""
        with self.ledger.taken(self.chance, IN_FORCE) as old:
            if old is None or any("setting" in jack for jack in old.said["jacks"]):
                return
            new = self.ledger.new(self.name, old.set, self.chance)
            new.correction, new.id = True, new_id(self.chance)
            self.ledger.may(new, {ABSENT, IN_FORCE}, f"corrects {old.marker}")
            self.ledger.may(old, {IN_FORCE, REPLACED}, f"corrected by {new.marker}")
            self.waiting.append((new, old, {**form_of(new), "supersedes": old.id}))

    def send(self, server: Server) -> None:
        """Send what has waited longest."""
        fact, old, form = self.waiting[0]
        if not self.line.renew(server) and not self.line.pair(server):
            self.ledger.count("phone pairs", "refused")
            time.sleep(0.2)
            return
        if not old:
            self.ledger.may(fact, {ABSENT, IN_FORCE}, f"sent to server {server.number}")
        page = self.line.ask(server, "/record", {**form, "do": "save"}, script=True)
        if page.status == 200 and page.data.get("visit") == fact.id:
            self.ledger.count("phone records", "done")
            self.ledger.may(fact, {IN_FORCE}, f"acknowledged by server {server.number}")
            if old:
                self.ledger.may(old, {REPLACED}, f"acknowledged by server {server.number}")
            self.waiting.pop(0)
        elif page.status in (409, 413, 422, 500):
            self.ledger.violated("refused", f"a phone was told {page.status} {page.text[:300]}: {fact}")
            self.waiting.pop(0)
        else:
            self.unanswered("phone records", server, page)

    def unanswered(self, kind: str, server: Server, page: Page) -> None:
        """No answer, or "later": the phone tries again."""
        if page.status == 0:
            self.ledger.count(kind, "killed")
            return
        self.ledger.count(kind, "refused" if page.status in (401, 429) else "trouble")
        if page.status not in (401, 429):
            with self.ledger.lock:
                self.ledger.troubles[f"phone: {page.status} {page.text[:120]}"] += 1
            if page.status != 503 or not self.on.trouble_is_fine:
                self.ledger.violated(
                    "trouble", f"a phone that {kind[6:]} was told {page.status}: {page.text[:200]}"
                )
        time.sleep(self.chance.uniform(0.05, 0.3))

    def look(self, server: Server, kind: str, path: str) -> Page:
        """A page, looked at."""
        page = self.line.ask(server, path, script=False)
        if page.status == 303:  # this server does not know the phone
            if not self.line.pair(server):
                self.ledger.count("phone pairs", "refused")
                time.sleep(0.2)
        elif page.status in (200, 404):
            self.ledger.count(f"phone {kind}", "done")
        else:
            self.unanswered(f"phone {kind}", server, page)
        return page

    def set_page(self, server: Server) -> None:
        """The page of a set: how many visits it tells is not looked at, only that it comes."""
        make, model = self.some_set()
        before = self.ledger.certain((make, model))
        page = self.look(server, "set", "/set?" + urllib.parse.urlencode({"make": make, "model": model}))
        if page.status == 404 and any(state == IN_FORCE for _, state in before.values()):
            with self.ledger.lock:
                still = [m for m, (version, s) in before.items() if s == IN_FORCE and self.same(m, version)]
            if still:
                self.ledger.violated(
                    "read meanwhile", f"a phone is told that nobody met {make} {model}: {still[0]}"
                )

    def same(self, marker: str, version: int) -> bool:
        """Has nothing been done to this visit since?"""
        fact = self.ledger.facts[marker]
        return fact.version == version and not fact.busy


def form_of(fact: Fact) -> dict[str, str]:
    """A visit as the phone page's form sends it."""
    said = fact.said
    form = {"id": fact.id, "date": said["date"], "by": said["by"], "note": said["note"]}
    form |= {name: str(value) for name, value in said["source"].items()}
    for number, jack in enumerate(said["jacks"]):
        form |= {f"jack-{number}-{name}": value for name, value in jack.items()}
    return form


class Fleet(Actor):
    """Whoever starts and ends the servers: one, now and then two, each for some seconds."""

    def act(self) -> None:
        wanted = 2 if self.chance.random() < 0.35 else 1
        while len(self.on.servers) < wanted:
            self.begin()
        rest = self.on.until - time.monotonic()
        time.sleep(max(0.0, min(self.chance.uniform(1.0, 7.0), rest)))
        one = self.on.servers.pop(self.chance.randrange(len(self.on.servers)))
        if self.chance.random() < 0.75:
            one.kill()
            self.on.killed()
            self.ledger.count("serve", "killed")
        else:
            self.stop(one)

    def begin(self) -> None:
        """Start one more server."""
        with self.ledger.lock:
            self.on.started += 1
        server = Server(self.on.ground, self.on.folder, self.on.started)
        if server.port:
            self.on.servers.append(server)
        else:
            self.ledger.count("serve", "trouble")
            self.ledger.violated("server", f"a server did not begin: {server.errors[-300:]}")
            time.sleep(1)

    def stop(self, server: Server) -> None:
        """Ask a server to end; it does, and has said nothing of a mistake."""
        code = server.stop()
        self.ledger.count("serve", "done")
        if code != 0:
            self.ledger.violated("server", f"a server ended with {code}: {server.errors[-300:]}")

    def end(self) -> None:
        for server in self.on.servers:
            self.stop(server)
        self.on.servers.clear()


# -- the run -------------------------------------------------------------------------------------------


def sets_and_merges() -> tuple[list[Set], list[Merge]]:
    """Invented sets, and spellings that somebody takes for one of them."""
    sets = [(make, f"{make[:1]}{20 + 7 * n}-{100 + 13 * n}") for n in range(5) for make in MAKES]
    slips = [Merge((make, model + "W"), (make, model)) for make, model in sets[:12:2]]
    often = [one for slip in slips for one in (slip.spelling, slip.into)]
    return [*often, *(one for one in sets if one not in often)], slips


def torture(
    ground: Ground,
    folder: Path,
    minutes: float,
    seed: int,
    *,
    terminal: type[Terminal] = Terminal,
    more: Callable[[Run], list[Actor]] = lambda run: [],
    trouble_is_fine: bool = False,
) -> int:
    """Torture the book on ``ground`` and print what came of it; returns the exit code.

    ``terminal``: who types commands. ``more``: other actors, somebody who kills the database server, say.
    """
    sets, merges = sets_and_merges()
    ledger, programs = Ledger(sets, merges), Programs(folder)
    run = Run(ground, folder, programs, ledger, seed, until=0.0, trouble_is_fine=trouble_is_fine)
    fleet, phones = Fleet(run, "fleet"), [Phone(run, f"phone {n}") for n in range(PHONES)]
    terminal(run, "first").load(first=True)  # there is a book
    fleet.begin()
    run.until = time.monotonic() + 60 * minutes
    actors = [fleet, *phones, *(terminal(run, f"terminal {n}") for n in range(TERMINALS)), *more(run)]
    for actor in actors:
        actor.start()
    for actor in actors:
        actor.join()
    if not ledger.broken:
        the_link_is_back(run, fleet, phones)
    if ledger.broken:
        print(f"The torture run itself could not go on (seed {seed}): {ledger.broken}", file=sys.stderr)
        return 2
    check = Check(ground, programs, ledger, folder, seed)
    check.all()
    programs.close()
    return told(run, check)


def the_link_is_back(run: Run, fleet: Fleet, phones: Sequence[Phone]) -> None:
    """What still waits on the phones is sent, to a server that nobody kills."""
    fleet.begin()
    until = time.monotonic() + 90
    for phone in phones:
        while phone.waiting and time.monotonic() < until and run.servers and run.servers[0].up:
            phone.send(run.servers[0])
        if phone.waiting:
            run.ledger.violated(
                "trouble", f"{phone.name} cannot send {len(phone.waiting)} visits to a quiet server"
            )
        phone.line.close()
    fleet.end()


def told(run: Run, check: Check) -> int:
    """Print the counts, and what was broken; returns the exit code."""
    ledger, verdict = run.ledger, check.verdict
    how = ("done", "killed", "refused", "trouble")
    print(f"{'act':<16}" + "".join(f"{name:>9}" for name in how))
    for kind in sorted(ledger.acts):
        print(f"{kind:<16}" + "".join(f"{ledger.acts[kind][name] or '':>9}" for name in how))
    print(
        f"\n{sum(sum(one.values()) for one in ledger.acts.values())} acts, {run.kills} kills, "
        f"{run.started} servers, seed {run.seed}\n"
        f"{verdict.acknowledged} visits acknowledged, {verdict.unknown} unknown when killed "
        f"({verdict.unknown_there} there), lost {verdict.lost}, doubled {verdict.doubled}; "
        f"{verdict.queries} queries of the index against a new one"
    )
    for said, count in ledger.troubles.most_common(5):
        print(f"trouble, {count} times: {said}")
    if not ledger.violations:
        return 0
    count = sum(map(len, ledger.violations.values()))
    print(f"\n{count} breaches, seed {run.seed}:", file=sys.stderr)
    for kind, breaches in ledger.violations.items():
        print(f"{kind}, {len(breaches)} times:", file=sys.stderr)
        for breach in breaches[:SHOWN]:
            print(f"  {breach[:3000]}", file=sys.stderr)
    return 1


def main() -> int:
    if os.name == "nt" or not hasattr(os, "pidfd_open"):
        print("the torture run needs Linux: it forks, and kills with SIGKILL", file=sys.stderr)
        return 2
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--minutes", type=float, default=1.0)
    asked.add_argument("--seed", type=int, default=1)
    asked.add_argument("--keep", type=Path, help="A folder that is kept: home, and what went in and out.")
    given = asked.parse_args()
    python = ready("test")
    if Path(sys.prefix).resolve() != python.parent.parent.resolve():
        return subprocess.run([str(python), __file__, *sys.argv[1:]]).returncode
    with scratch() as made:
        folder = given.keep or Path(made)
        folder.mkdir(parents=True, exist_ok=True)
        return torture(Ground(folder / "home"), folder, given.minutes, given.seed)


if __name__ == "__main__":
    sys.exit(main())
