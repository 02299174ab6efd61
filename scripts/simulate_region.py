"""Simulate jobs in invented regions, and compare the certainty stated with what came of it.

    python scripts/simulate_region.py [--world WORLD] [--regions 4] [--jobs 150] [--days 40] [--visits 600]
    python scripts/simulate_region.py --regions 12 --seed 1 --keep FILE     in pieces: adds regions to FILE
    python scripts/simulate_region.py --sum FILE                            the tables of all of them

A world says what sets a region has and how well people write their visits down. Each region is drawn at
random: makes with series of some years, each series with a panel and jacks that only some of its sets have;
homes where something else may use an output. A book is filled with visits to some homes. Then come other
homes: of each the installer knows the make and, by chance, the model and the year. The list is packed for
the target. Then homes are drawn of which the same is known, and their truth says whether the list connects
them; then the same for days of several jobs.

For jobs and for days a table says how many there were, the certainty stated, the share that connected, the
difference, its standard error (of whole regions, since the homes of one share its book), the mean log score
of what was stated in bits, and that of somebody who knows the share that connects and states it each time.
`reached` is the share of lists that reached the target; `could` that of a packer who knows the frequencies
from which the region was drawn; `price` is what our lists cost for one unit of that packer's, where both
reached the target. `proved` is the share of lists proved the cheapest; a second table has it by the number of
jobs, with the mean share of the cost that a cheaper list could save at most.

With --reach only the chance that a job, or a day of jobs, can connect at all is compared: the stated one with
the exact one over all homes of which the same is known, not with one draw. `error` then counts whole regions.
This is quick and shows small differences.

Beside it, in the first world, for the same jobs: one kit with one of everything, and the best fixed kit
(the cheapest that reaches the same share of the homes in the book, found exactly or with a stated bound).
"""

from __future__ import annotations

import argparse
import json
import random
import sys
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from functools import partial
from itertools import pairwise
from math import log2, nan, prod, sqrt
from pathlib import Path
from statistics import mean, stdev
from typing import ClassVar, NamedTuple

from kb.domain.jack import Jack
from kb.domain.visit import Finding, Source, Visit
from kb.domain.words import Basis, Direction, Form, Outcome, Signal, Speakers
from kb.evidence import Evidence, Outlet, Output
from kb.pack import Day, Job, day_from
from kb.pack.packing import Packing
from kb.pack.scenarios import Finder, Live, Ways
from kb.pack.solve import cheapest
from kb.pack.tasks import Cost, Task

TODAY = date(2026, 3, 4)
DRIVERS = (("line-3.5",), ("line-3.5", "optical"), ("line-rca",))
OPTICAL, LINE = Output(Form.TOSLINK, Signal.OPTICAL), Output(Form.RCA_PAIR, Signal.ANALOG_LINE)
HEADPHONE, ARC = Output(Form.JACK_35, Signal.HEADPHONE), Output(Form.HDMI, Signal.ARC)
COAXIAL = Output(Form.RCA_SINGLE, Signal.COAXIAL)
SCART = Output(Form.SCART, Signal.ANALOG_LINE)

Chanced = tuple[tuple[Output, float], ...]  #: outputs with the chance that a series has them at all
#: By first year.
TIMES: dict[int, Chanced] = {
    1996: ((LINE, 0.95), (HEADPHONE, 0.6)),
    2005: ((LINE, 0.8), (OPTICAL, 0.7), (HEADPHONE, 0.4), (COAXIAL, 0.15)),
    2010: ((OPTICAL, 0.95), (LINE, 0.25), (HEADPHONE, 0.35), (COAXIAL, 0.1)),
    2016: ((OPTICAL, 0.9), (ARC, 0.9), (HEADPHONE, 0.25)),
}
#: Sets of the cheapest kind: where there is anything, it is the headphone jack.
CHEAP: dict[int, Chanced] = {
    1998: ((HEADPHONE, 0.9),),
    2007: ((HEADPHONE, 0.85), (LINE, 0.1)),
    2012: ((HEADPHONE, 0.8), (OPTICAL, 0.2)),
    2018: ((HEADPHONE, 0.6), (OPTICAL, 0.35), (ARC, 0.4)),
}
OLD: dict[int, Chanced] = {
    1982: ((HEADPHONE, 0.4),),
    1988: ((SCART, 0.5), (HEADPHONE, 0.5), (LINE, 0.15)),
    1994: ((SCART, 0.6), (LINE, 0.4), (HEADPHONE, 0.5)),
    2000: ((SCART, 0.5), (LINE, 0.5), (HEADPHONE, 0.5), (COAXIAL, 0.05)),
}
#: What a headphone jack does to the speakers, by weight: mute, mute unless set, stay on.
HEADPHONES = (6, 2, 2)
EFFECTS = (Speakers.MUTE, Speakers.MUTE_UNLESS_SET, Speakers.STAY_ON)
BINDS = 0.02  #: a list stated no higher than this above the target was held down by it


@dataclass(frozen=True)
class Notes:
    """How people write visits down: shares of jacks forgotten, turned round, mistaken for another kind.

    As many input pairs as are turned round are noted as outputs. ``fault``: the share of trials that are
    silent for a reason that is none of the jack's. Of three people one is twice as careless, one less than
    half.
    """

    forgotten: float = 0.0
    turned: float = 0.0
    mistaken: float = 0.0
    fault: float = 0.0

    def of(self, person: str, basis: Basis) -> Notes:
        """The same for one person, and for what was only told."""
        factor = {"AM": 0.4, "JO": 1.0, "LS": 2.0}[person] * (1.6 if basis is Basis.TOLD else 1.0)
        return replace(self, forgotten=min(0.9, self.forgotten * factor), turned=self.turned * factor)


PERFECT = Notes()
HUMAN = Notes(forgotten=0.09, turned=0.03, mistaken=0.02, fault=0.02)  # some 10% forgotten with what was told


@dataclass(frozen=True)
class World:
    """What sets a region has. ``alternates``: each series has a second panel that half of its homes have.

    ``nothing``: the share of series without any output. ``works``: an output that is there and free works.
    """

    times: dict[int, Chanced]
    notes: Notes
    effects: tuple[int, int, int] = HEADPHONES
    line_mutes: float = 0.0
    alternates: bool = False
    nothing: float = 0.0
    whole: float = 0.7
    """The share of outputs that all sets of a series have."""
    works: float = 0.997
    used: float = 0.15


WORLDS: dict[str, World] = {
    "plain": World(TIMES, PERFECT),
    "careless": World(TIMES, HUMAN),
    "headphones": World(CHEAP, HUMAN, effects=(8, 1, 1), nothing=0.15),
    "alternating": World(TIMES, HUMAN, alternates=True),
    "old": World(OLD, HUMAN, effects=(5, 0, 5), line_mutes=0.1, nothing=0.2, works=0.97, used=0.3),
    "uneven": World(TIMES, HUMAN, whole=0.1),
    "patchwork": World(
        TIMES,
        Notes(forgotten=0.15, turned=0.02, mistaken=0.03, fault=0.03),
        line_mutes=0.05,
        nothing=0.05,
        whole=0.4,
        works=0.99,
        used=0.25,
    ),
    "slapdash": World(TIMES, Notes(forgotten=0.25, turned=0.06, mistaken=0.05, fault=0.05)),
}


Chances = tuple[tuple[Output, float, Speakers], ...]


@dataclass(frozen=True)
class Series:
    """Sets of a kind: outputs with how many of the sets have them, and what each does to the speakers.

    ``panels``: one or, where panels alternate, two.
    """

    make: str
    name: str
    year: int
    panels: tuple[Chances, ...]


@dataclass(frozen=True)
class Home:
    """One set at one place: the truth."""

    source: Source
    outputs: tuple[tuple[Output, Speakers], ...]
    taken: frozenset[Signal]
    works: frozenset[Output]
    pair: bool = False
    """It has an input pair besides."""


def region(draw: random.Random, world: World) -> list[Series]:
    """Twelve makes with a few series in each time."""
    found = []
    for number in range(12):
        make = "".join(draw.choice("BDFGKLMNPRSTV") + draw.choice("aeiou") for _ in range(3))
        for turn, (year, outputs) in enumerate(world.times.items()):
            for series in range(draw.choice((1, 2, 2))):
                panels = tuple(_panel(draw, world, year, outputs) for _ in range(1 + world.alternates))
                name = f"{chr(65 + number)}{chr(75 + turn)}{{size}}-{1 + series}"
                found.append(Series(make.capitalize(), name, year + draw.randint(0, 4), panels))
    return found


def _panel(draw: random.Random, world: World, year: int, outputs: Chanced) -> Chances:
    there = [
        (o, 1.0 if draw.random() < world.whole else draw.uniform(0.3, 0.9))
        for o, p in outputs
        if draw.random() < p
    ]
    if not there and world.nothing == 0:
        there = [(LINE if year < 2010 else OPTICAL, 1.0)]
    if draw.random() < world.nothing:
        there = []
    return tuple((o, p, effect(draw, world, o)) for o, p in there)


def effect(draw: random.Random, world: World, output: Output) -> Speakers:
    """What an output does to the speakers, one answer for a whole series."""
    if output is HEADPHONE:
        return draw.choices(EFFECTS, world.effects)[0]
    if output in (LINE, SCART) and draw.random() < world.line_mutes:
        return Speakers.MUTE
    return Speakers.STAY_ON


def home(draw: random.Random, world: World, series: Series, model: str = "") -> Home:
    """A home with a set of the series. A model has the same jacks everywhere, unless panels alternate."""
    size, last = draw.choice((24, 32, 40, 43, 50, 55)), draw.randint(0, 9)
    model = model or f"{series.name.format(size=size)}{last}"
    own = random.Random(f"{series.make}{model}")
    outputs = tuple((o, e) for o, p, e in draw.choice(series.panels) if own.random() < p)
    return _at(draw, world, Source(series.make, model, year=series.year), outputs)


def likely_home(draw: random.Random, world: World, series: Series) -> Home:
    """A home of the series for somebody who knows how often, but not which of its sets have what."""
    outputs = tuple((o, e) for o, p, e in draw.choice(series.panels) if draw.random() < p)
    return _at(draw, world, Source(series.make, "", year=series.year), outputs)


def _at(
    draw: random.Random, world: World, source: Source, outputs: tuple[tuple[Output, Speakers], ...]
) -> Home:
    used = draw.random() < world.used
    signals = [o.signal for o, _ in outputs if o.signal in (Signal.OPTICAL, Signal.ARC)]
    taken = frozenset([draw.choice(signals)]) if used and signals else frozenset()
    works = frozenset(o for o, _ in outputs if draw.random() < world.works)
    return Home(source, outputs, taken, works, draw.random() < 0.5)


def visit(draw: random.Random, world: World, at: Home) -> Visit:
    """What an installer writes down there: the jacks, one of them tried, with the slips that people make."""
    person = draw.choice(("AM", "JO", "JO", "LS"))
    basis = draw.choices((Basis.TESTED, Basis.SEEN, Basis.TOLD), (7, 2, 1))[0]
    notes = world.notes.of(person, basis)
    tried = draw.choice([o for o, _ in at.outputs]) if at.outputs and basis is Basis.TESTED else None
    findings = []
    for output, speakers in at.outputs:
        if output == tried:
            silent = output not in at.works or draw.random() < notes.fault
            outcome = Outcome.SILENT if silent else Outcome.CARRIED
            jack = Jack(output.form, "", Direction.OUTPUT, output.signal)
        elif draw.random() < notes.forgotten:
            continue
        else:
            outcome, jack = Outcome.NOT_TRIED, _as_noted(draw, notes, output)
        findings.append(Finding(jack, speakers, output.signal in at.taken, outcome))
    if at.pair:
        turned = draw.random() < notes.turned
        jack = Jack(
            Form.RCA_PAIR,
            "AUDIO",
            Direction.OUTPUT if turned else Direction.INPUT,
            Signal.ANALOG_LINE if turned else None,
        )
        findings.append(Finding(jack))
    return Visit(at.source, TODAY, basis, (*findings, Finding(Jack(Form.ANTENNA))), by=person)


_MISTAKEN = {
    OPTICAL: None,
    LINE: Signal.NOT_AUDIO,
    HEADPHONE: Signal.ANALOG_LINE,
    ARC: None,
    COAXIAL: Signal.NOT_AUDIO,
    SCART: None,
}


def _as_noted(draw: random.Random, notes: Notes, output: Output) -> Jack:
    if draw.random() < notes.turned:
        return Jack(output.form, "", Direction.INPUT, None)
    if draw.random() < notes.mistaken:
        signal = _MISTAKEN[output]
        return Jack(output.form, "", Direction.OUTPUT if signal else Direction.UNCLEAR, signal)
    return Jack(output.form, "", Direction.OUTPUT, output.signal)


def job_at(draw: random.Random, at: Home) -> Job:
    """What is known on the telephone."""
    known = {
        "make": at.source.make,
        "model": at.source.model if draw.random() < 0.5 else None,
        "year": at.source.year if draw.random() < 0.5 else None,
        "inputs": list(draw.choice(DRIVERS)),
    }
    return day_from([known]).jobs[0]


class Judge:
    """Says which bundles connect a home, the truth known: that sound then comes is no part of it."""

    def __init__(self) -> None:
        self.finder = Finder(Ways.of_day((), ()))
        self.known: dict[object, frozenset[tuple[str, ...]]] = {}

    def ways(self, job: Job, at: Home) -> frozenset[tuple[str, ...]]:
        """The bundles that connect it."""
        key = (job.inputs, at.outputs, at.taken)
        if key not in self.known:
            found: set[tuple[str, ...]] = set()
            for output, speakers in at.outputs:
                taken = output.signal in at.taken
                if self.finder.bundles(job, output, speakers, taken):
                    found |= self.finder.does(job, (Live(output, taken),))
            self.known[key] = frozenset(found)
        return self.known[key]

    def price(self, item: str) -> float:
        """What one costs."""
        return self.finder._ways.catalogue.item(item).price or 1.0


def connects(items: Counter[str], ways: Sequence[frozenset[tuple[str, ...]]]) -> bool:
    """Is there for each home a bundle in the bag that no other home needs?"""
    if not ways:
        return True
    return any(connects(items - Counter(way), ways[1:]) for way in ways[0] if not Counter(way) - items)


class Remembered(Ways):
    """Ways that are the same for all days: each question goes to ``kb.path`` once in a run."""

    known: ClassVar[dict[tuple[object, ...], frozenset[tuple[str, ...]]]] = {}
    allowed: ClassVar[dict[tuple[object, ...], bool]] = {}

    def of(self, job: Job, outlet: Outlet) -> frozenset[tuple[str, ...]]:
        """As in ``Ways``; all jobs here have one length, and nothing is in stock."""
        key = (job.source.kind, job.inputs, job.speakers_needed, outlet)
        if key not in self.known:
            self.known[key] = super().of(job, outlet)
        return self.known[key]

    def allows(self, job: Job, outlet: Outlet) -> bool:
        """As in ``Ways``."""
        key = (job.source.kind, job.inputs, job.speakers_needed, outlet)
        if key not in self.allowed:
            self.allowed[key] = super().allows(job, outlet)
        return self.allowed[key]


class Knowing:
    """Packs by the frequencies from which the region was drawn, not by a book."""

    def __init__(self, draw: random.Random, world: World, series: list[Series], judge: Judge) -> None:
        self.draw, self.world, self.series, self.judge = draw, world, series, judge
        self.homes = {one: [likely_home(draw, world, one) for _ in range(80)] for one in series}

    def worlds(self, job: Job) -> Counter[frozenset[tuple[str, ...]]]:
        """What may be found at the job, with its chance."""
        fits = [one for one in self.series if _may_be(job.source, one)]
        found: Counter[frozenset[tuple[str, ...]]] = Counter()
        for one in fits:
            for at in self.homes[one]:
                found[self.judge.ways(job, at)] += 1
        return found

    def cost(self, jobs: Sequence[Job], target: float) -> float | None:
        """What a list that reaches the target costs; None where nothing reaches it."""
        worlds = [self.worlds(job) for job in jobs]
        reach = prod(1 - one[frozenset()] / one.total() for one in worlds)
        if reach < target:
            return None
        items = sorted({item for one in worlds for ways in one for way in ways for item in way})
        price = [Cost(self.judge.price(item)) for item in items]
        best = cheapest([_task(one, items) for one in worlds], price, target)
        return sum(c.each * n for c, n in zip(price, best.stock, strict=True))


def _may_be(known: Source, one: Series) -> bool:
    if known.make != one.make or (known.year and known.year != one.year):
        return False
    before, after = one.name.split("{size}")
    return not known.model or (known.model.startswith(before) and after == known.model[len(before) + 2 : -1])


def _task(worlds: Counter[frozenset[tuple[str, ...]]], items: list[str]) -> Task:
    total = worlds.total()
    return Task(
        tuple(
            (count / total, tuple(tuple(way.count(item) for item in items) for way in sorted(ways)))
            for ways, count in worlds.items()
        )
    )


class Trip(NamedTuple):
    """What was stated for a job or a day of jobs, and what came of it."""

    known: str
    """Of a single job: make, year, new model or visited model, the most that was known."""
    stated: float
    came: float
    """The share of the homes of which the same is known that the list connects."""
    jobs: int
    reached: bool
    proved: bool
    cost: float
    bound: float
    knowing: float | None
    """What the list of the packer who knows costs; None if that packer does not reach the target."""


Trips = list[Trip]
Region = tuple[Trips, Trips]  #: jobs and days


@dataclass
class Kits:
    """By kit, for each job or region: share connected, items, cost."""

    rows: dict[str, list[tuple[float, float, float]]] = field(default_factory=dict)
    proved: bool = True


def main() -> None:
    """Draw regions, fill their books, go to the jobs, print the tables."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--world", choices=[*WORLDS, "all"], default="all")
    parser.add_argument("--regions", type=int, default=4)
    parser.add_argument("--jobs", type=int, default=150, help="in each region")
    parser.add_argument("--days", type=int, default=0, help="of several jobs, in each region")
    parser.add_argument("--day-jobs", type=int, nargs="+", default=[2, 3, 4], help="jobs of a day, in turn")
    parser.add_argument("--visits", type=int, default=600, help="in the book of each region")
    parser.add_argument("--target", type=float, default=0.95)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--keep", type=Path, help="file to which each region is added, a line of JSON")
    parser.add_argument("--sum", type=Path, nargs="+", help="only the tables of such files")
    parser.add_argument("--reach", action="store_true", help="only the chance that jobs and days can connect")
    parser.add_argument("--detail", action="store_true", help="the jobs by certainty, and the fixed kits")
    options = parser.parse_args()
    if options.sum:
        _sum(options)
        return
    print(
        f"{options.regions} regions, each with {options.visits} visits in the book, target {options.target:g}"
    )
    worlds = list(WORLDS) if options.world == "all" else [options.world]
    if options.reach:
        print(f"\n{'world':<26}{'stated':>8}{'exact':>8}{'differ':>8}{'error':>7}")
        for name in worlds:
            reach(name, options)
        return
    print(_HEAD)
    for name in worlds:
        regions, kits = [], Kits()
        for seed in range(options.seed, options.seed + options.regions):
            regions.append(_visit_region(random.Random(seed), WORLDS[name], options, kits))
            if options.keep:
                with options.keep.open("a") as file:
                    print(json.dumps([name, seed, *regions[-1]]), file=file)
        _table(name, regions, options)
        if options.detail:
            _kits(kits)
        sys.stdout.flush()


def _sum(options: argparse.Namespace) -> None:
    """Print the tables of all regions in files that were kept."""
    found: dict[str, dict[int, Region]] = {}
    for path in options.sum:
        for line in path.read_text().splitlines():
            name, seed, jobs, days = json.loads(line)
            found.setdefault(name, {})[seed] = ([Trip(*one) for one in jobs], [Trip(*one) for one in days])
    print(_HEAD)
    for name, regions in found.items():
        _table(name, list(regions.values()), options)
    print(f"\n{'proved the cheapest':<26}{'jobs':>6}{'lists':>7}{'proved':>8}{'saves':>8}")
    for name, regions in [("all", dict(enumerate(_all(found)))), *found.items()]:
        trips = [trip for region in regions.values() for part in region for trip in part if trip.cost]
        for count in sorted({trip.jobs for trip in trips}):
            some = [trip for trip in trips if trip.jobs == count]
            saves = mean(1 - trip.bound / trip.cost for trip in some)
            print(f"{name:<26}{count:>6}{len(some):>7}{_share([t.proved for t in some]):>8.3f}{saves:>8.3f}")


def _all(found: dict[str, dict[int, Region]]) -> list[Region]:
    return [region for regions in found.values() for region in regions.values()]


ALIKE = 24  #: homes of which the same is known, drawn for an exact chance
KNOWN = 4  #: days of more jobs are not packed by the packer who knows
DAYS = 600  #: drawn from the jobs of a region


def reach(name: str, options: argparse.Namespace) -> None:
    """Print how well the chance that jobs and days can connect is stated."""
    rows: dict[str, list[tuple[float, float]]] = {"jobs": [], "days": []}  #: by region
    for seed in range(options.seed, options.seed + options.regions):
        draw = random.Random(seed)
        jobs = _reach_region(draw, WORLDS[name], options)
        days = []
        for number in range(DAYS):
            some = draw.sample(jobs, options.day_jobs[number % len(options.day_jobs)])
            days.append((prod(p for p, _ in some), prod(q for _, q in some)))
        for title, pairs in (("jobs", jobs), ("days", days)):
            stated, exact = (sum(pair[n] for pair in pairs) / len(pairs) for n in range(2))
            rows[title].append((stated, exact))
    for title, means in rows.items():
        stated, exact = (mean(pair[n] for pair in means) for n in range(2))
        differ = [p - q for p, q in means]
        error = stdev(differ) / sqrt(len(differ)) if len(differ) > 1 else 0.0
        print(f"{f'{name}: {title}':<26}{stated:>8.3f}{exact:>8.3f}{mean(differ):>+8.3f}{error:>7.3f}")
    sys.stdout.flush()


def _reach_region(
    draw: random.Random, world: World, options: argparse.Namespace
) -> list[tuple[float, float]]:
    """For each job, the chance that it can connect: as stated, and exact."""
    series, _, evidence = _book(draw, world, options.visits)
    judge, found = Judge(), []
    for _ in range(options.jobs):
        job = job_at(draw, home(draw, world, draw.choice(series)))
        cases = judge.finder.cases(job, evidence.expect(job.source))
        stated = sum(case.p for case in cases if judge.finder.does(job, case.live))
        fits = [one for one in series if _may_be(job.source, one)]
        alike = [home(draw, world, draw.choice(fits), job.source.model) for _ in range(ALIKE)]
        found.append((min(1.0, stated), sum(bool(judge.ways(job, at)) for at in alike) / ALIKE))
    return found


def _book(draw: random.Random, world: World, visits: int) -> tuple[list[Series], list[Home], Evidence]:
    """Draw a region and homes that were visited, and learn from what was written down there."""
    series = region(draw, world)
    seen = [home(draw, world, draw.choice(series)) for _ in range(visits)]
    return series, seen, Evidence.learn([visit(draw, world, at) for at in seen], today=TODAY)


def _visit_region(draw: random.Random, world: World, options: argparse.Namespace, kits: Kits) -> Region:
    series, seen, evidence = _book(draw, world, options.visits)
    judge = Judge()
    knowing = Knowing(random.Random(draw.random()), world, series, judge)
    homes = [home(draw, world, draw.choice(series)) for _ in range(options.jobs)]
    truths, mine, jobs, days = [], [], [], []

    models = {at.source.model for at in seen}

    def known(job: Job) -> str:
        if job.source.model:
            return "visited model" if job.source.model in models else "new model"
        return "year" if job.source.year else "make"

    def alike(job: Job) -> list[frozenset[tuple[str, ...]]]:
        fits = [one for one in series if _may_be(job.source, one)]
        there = (home(draw, world, draw.choice(fits), job.source.model) for _ in range(ALIKE))
        return [judge.ways(job, at) for at in there]

    def go(asked: tuple[Job, ...]) -> tuple[Trip, Counter[str]]:
        ways = Remembered.of_day(asked, ())
        plan = Packing(Day(asked), evidence.expect, options.target, ways).plan()
        bag = Counter({line.item: line.count for line in plan.items})
        turns = list(zip(*map(alike, asked), strict=True))
        came = sum(connects(bag, ways) for ways in turns) / len(turns)
        cost = knowing.cost(asked, options.target) if len(asked) <= KNOWN else None
        facts = known(asked[0]) if len(asked) == 1 else ""
        ours = (plan.reached, plan.optimal, plan.cost, plan.bound)
        trip = Trip(facts, plan.certainty, came, len(asked), *ours, cost)
        return trip, bag

    for at in homes:
        job = job_at(draw, at)
        trip, bag = go((job,))
        jobs.append(trip)
        truths.append(judge.ways(job, at))
        mine.append((float(connects(bag, truths[-1:])), float(bag.total()), trip.cost))
    for number in range(options.days):
        count = options.day_jobs[number % len(options.day_jobs)]
        there = [home(draw, world, draw.choice(series)) for _ in range(count)]
        days.append(go(tuple(job_at(draw, at) for at in there))[0])
    if options.detail:
        kits.rows.setdefault("packed for the job", []).extend(mine)
        training = [judge.ways(job_at(draw, at), at) for at in seen]
        share = sum(won for won, _, _ in mine) / len(mine)
        fixed_kits(training, truths, share, judge, kits)
    return jobs, days


_HEAD = (
    f"\n{'world':<26}{'count':>6}{'stated':>8}{'came':>7}{'differ':>8}{'error':>7}{'score':>8}{'base':>8}"
    f"{'reached':>9}{'could':>7}{'price':>7}{'proved':>8}"
)


def _table(name: str, regions: list[Region], options: argparse.Namespace) -> None:
    for n, title in enumerate(("jobs", "days")):
        parts = [region[n] for region in regions if region[n]]
        trips = [trip for part in parts for trip in part]
        if not trips:
            continue
        known = [trip for trip in trips if trip.jobs <= KNOWN]
        paid = [(trip.cost, trip.knowing) for trip in trips if trip.reached and trip.knowing is not None]
        theirs = sum(knowing for _, knowing in paid)
        print(
            _row(f"{name}: {title}", parts)
            + f"{_share([trip.reached for trip in known]):>9.3f}"
            + f"{_share([trip.knowing is not None for trip in known]):>7.3f}"
            + (f"{sum(ours for ours, _ in paid) / theirs:>7.2f}" if theirs else f"{'-':>7}")
            + f"{_share([trip.proved for trip in trips]):>8.3f}"
        )
    if not options.detail:
        return
    jobs = [region[0] for region in regions]

    def some(title: str, fits: Callable[[Trip], bool]) -> None:
        print(_row(title, [[trip for trip in part if fits(trip)] for part in jobs]))

    edge = options.target + BINDS
    some("  target reached", lambda trip: trip.reached)
    some(f"    stated below {edge:.2f}", lambda trip: trip.reached and trip.stated < edge)
    some("  out of reach", lambda trip: not trip.reached)
    for what in ("make", "year", "new model", "visited model"):
        some(f"  known: {what}", partial(_known, what))
    for low, high in pairwise((0.0, 0.2, 0.4, 0.6, 0.8, 0.9, 0.95, 0.97, 0.99, 1.01)):
        some(f"  stated {low:.2f} to {min(high, 1.0):.2f}", partial(_stated, low, high))


def _known(what: str, trip: Trip) -> bool:
    return trip.known == what


def _stated(low: float, high: float, trip: Trip) -> bool:
    return low <= trip.stated < high


def _share(flags: Sequence[bool]) -> float:
    return sum(flags) / len(flags) if flags else 0.0


def _row(name: str, parts: Sequence[Trips]) -> str:
    trips = [trip for part in parts for trip in part]
    if not trips:
        return f"{name:<26}{0:>6}"
    stated, came = (mean(pair) for pair in zip(*((t.stated, t.came) for t in trips), strict=True))
    by_region = [mean(t.stated - t.came for t in part) for part in parts if part]
    error = stdev(by_region) / sqrt(len(by_region)) if len(by_region) > 1 else nan
    return (
        f"{name:<26}{len(trips):>6}{stated:>8.3f}{came:>7.3f}{stated - came:>+8.3f}{error:>7.3f}"
        f"{score((t.stated, t.came) for t in trips):>8.3f}{score((came, t.came) for t in trips):>8.3f}"
    )


def score(pairs: Iterable[tuple[float, float]]) -> float:
    """The mean log score in bits: the logarithm of what was stated for that which came (0 is perfect)."""
    found = [share * log2(max(p, 1e-4)) + (1 - share) * log2(max(1 - p, 1e-4)) for p, share in pairs]
    return sum(found) / len(found)


def fixed_kits(
    training: list[frozenset[tuple[str, ...]]],
    truths: list[frozenset[tuple[str, ...]]],
    share: float,
    judge: Judge,
    kits: Kits,
) -> None:
    """The fixed kits, chosen by the homes in the book, at the same jobs."""
    worlds = Counter(training)
    items = sorted({item for ways in worlds for way in ways for item in way})
    price = [Cost(judge.price(item)) for item in items]
    task = _task(worlds, items)
    every = Counter(items)
    goal = min(share, sum(p for p, ways in task.worlds if ways))
    best = cheapest([task], price, goal, work=200_000)
    fixed = Counter({item: count for item, count in zip(items, best.stock, strict=True) if count})
    for name, kit in (("one of everything", every), ("the best fixed kit", fixed)):
        won = sum(connects(kit, [ways]) for ways in truths) / len(truths)
        cost = sum(c.each * kit[item] for item, c in zip(items, price, strict=True))
        kits.rows.setdefault(name, []).append((won, kit.total(), cost))
    kits.proved = kits.proved and best.optimal


def _kits(kits: Kits) -> None:
    print(f"  {'kit':<26}{'connected':>10}{'items':>8}{'cost':>8}")
    for name, rows in kits.rows.items():
        won, items, cost = (sum(row[n] for row in rows) / len(rows) for n in range(3))
        print(f"  {name:<26}{won:>10.3f}{items:>8.1f}{cost:>8.1f}")
    print("  the best fixed kits are " + ("proved" if kits.proved else "not all proved"))


if __name__ == "__main__":
    main()
