"""Do packing lists keep their word? Jobs in an invented region: certainty stated and what came of it.

    python scripts/simulate_region.py [--regions 4] [--jobs 150] [--visits 600] [--target 0.95] [--seed 1]

Each region is drawn at random: makes with series of some years, each series with a panel and jacks that only
some of its sets have; homes where something else may use an output. A book is filled with visits to some
homes. Then come other homes: of each the installer knows the make and, by chance, the model and the year.
The list is packed for the target, the truth is looked up, and the job connects or not. Certainty stated and
share that came are compared over all jobs, where the target was reached, and where it binds: whole items
overshoot, so only lists stated within two points of the target were held down by it. Beside it, for the same
jobs: one kit with one of everything, and the best fixed kit (the cheapest that reaches the same share
of the homes in the book, found exactly or with a stated bound by the same search).
"""

from __future__ import annotations

import argparse
import random
from collections import Counter
from dataclasses import dataclass, field
from datetime import date
from itertools import pairwise
from math import sqrt

from kb.domain.jack import Jack
from kb.domain.visit import Finding, Source, Visit
from kb.domain.words import Basis, Direction, Form, Outcome, Signal, Speakers
from kb.evidence import Evidence, Output
from kb.pack import Day, Job, day_from, pack
from kb.pack.chances import Cost, Task
from kb.pack.scenarios import Finder, Live, Ways
from kb.pack.solve import cheapest

TODAY = date(2026, 3, 4)
DRIVERS = (("line-3.5",), ("line-3.5", "optical"), ("line-rca",))
OPTICAL, LINE = Output(Form.TOSLINK, Signal.OPTICAL), Output(Form.RCA_PAIR, Signal.ANALOG_LINE)
HEADPHONE, ARC = Output(Form.JACK_35, Signal.HEADPHONE), Output(Form.HDMI, Signal.ARC)
COAXIAL = Output(Form.RCA_SINGLE, Signal.COAXIAL)
#: By first year: the outputs of a series, with the chance that the series has them at all.
TIMES = (
    (1996, ((LINE, 0.95), (HEADPHONE, 0.6))),
    (2005, ((LINE, 0.8), (OPTICAL, 0.7), (HEADPHONE, 0.4), (COAXIAL, 0.15))),
    (2010, ((OPTICAL, 0.95), (LINE, 0.25), (HEADPHONE, 0.35), (COAXIAL, 0.1))),
    (2016, ((OPTICAL, 0.9), (ARC, 0.9), (HEADPHONE, 0.25))),
)
BINDS = 0.02  #: a list stated no higher than this above the target was held down by it
WORKS = 0.997  #: an output that is there, free, and tried as it should be, carries sound


@dataclass(frozen=True)
class Series:
    """Sets of a kind: outputs with how many of the sets have them, and what each does to the speakers."""

    make: str
    name: str
    year: int
    outputs: tuple[tuple[Output, float, Speakers], ...]


@dataclass(frozen=True)
class Home:
    """One set at one place: the truth."""

    source: Source
    outputs: tuple[tuple[Output, Speakers], ...]
    taken: frozenset[Signal]
    works: frozenset[Output]


def region(draw: random.Random) -> list[Series]:
    """Twelve makes with a few series in each time."""
    found = []
    for number in range(12):
        make = "".join(draw.choice("BDFGKLMNPRSTV") + draw.choice("aeiou") for _ in range(3))
        for turn, (year, outputs) in enumerate(TIMES):
            for series in range(draw.choice((1, 2, 2))):
                there = [
                    (o, 1.0 if draw.random() < 0.7 else draw.uniform(0.3, 0.9))
                    for o, p in outputs
                    if draw.random() < p
                ]
                there = there or [(LINE if year < 2010 else OPTICAL, 1.0)]
                effects = [(o, p, effect(draw, o)) for o, p in there]
                name = f"{chr(65 + number)}{chr(75 + turn)}{{size}}-{1 + series}"
                found.append(Series(make.capitalize(), name, year + draw.randint(0, 4), tuple(effects)))
    return found


def effect(draw: random.Random, output: Output) -> Speakers:
    """What an output does to the speakers, one answer for a whole series."""
    if output is HEADPHONE:
        return draw.choices((Speakers.MUTE, Speakers.MUTE_UNLESS_SET, Speakers.STAY_ON), (6, 2, 2))[0]
    return Speakers.STAY_ON


def home(draw: random.Random, series: Series) -> Home:
    """A home with a set of the series. The same model has the same jacks everywhere."""
    size, last = draw.choice((24, 32, 40, 43, 50, 55)), draw.randint(0, 9)
    model = f"{series.name.format(size=size)}{last}"
    own = random.Random(f"{series.make}{model}")
    outputs = tuple((o, e) for o, p, e in series.outputs if own.random() < p)
    used = draw.random() < 0.15
    signals = [o.signal for o, _ in outputs if o.signal in (Signal.OPTICAL, Signal.ARC)]
    taken = frozenset([draw.choice(signals)]) if used and signals else frozenset()
    works = frozenset(o for o, _ in outputs if draw.random() < WORKS)
    return Home(Source(series.make, model, year=series.year), outputs, taken, works)


def visit(draw: random.Random, at: Home) -> Visit:
    """What an installer writes down there: all jacks, one of them tried."""
    tried = draw.choice([o for o, _ in at.outputs]) if at.outputs else None
    findings = tuple(
        Finding(
            Jack(output.form, "", Direction.OUTPUT, output.signal),
            speakers,
            output.signal in at.taken,
            Outcome.NOT_TRIED
            if output != tried
            else Outcome.CARRIED
            if output in at.works
            else Outcome.SILENT,
        )
        for output, speakers in at.outputs
    )
    return Visit(at.source, TODAY, Basis.TESTED, (*findings, Finding(Jack(Form.ANTENNA))))


def job_at(draw: random.Random, at: Home) -> Job:
    """What is known on the telephone."""
    known = {
        "make": at.source.make,
        "model": at.source.model if draw.random() < 0.5 else None,
        "year": at.source.year if draw.random() < 0.5 else None,
        "inputs": list(draw.choice(DRIVERS)),
    }
    return day_from([known]).jobs[0]


def ways_at(finder: Finder, job: Job, at: Home) -> set[tuple[str, ...]]:
    """The bundles that connect this home, the truth known: that sound then comes is no part of it."""
    found: set[tuple[str, ...]] = set()
    for output, speakers in at.outputs:
        taken = output.signal in at.taken
        if finder.bundles(job, output, speakers, taken):
            found |= finder.does(job, (Live(output, taken),))
    return found


def connects(items: Counter[str], ways: set[tuple[str, ...]]) -> bool:
    """Is one of the bundles in the bag?"""
    return any(not Counter(way) - items for way in ways)


@dataclass
class Came:
    """What was stated and what came, at all jobs of all regions."""

    said: list[tuple[float, int]] = field(default_factory=list)
    reached: list[bool] = field(default_factory=list)
    kits: dict[str, list[tuple[float, float, float]]] = field(default_factory=dict)
    """By kit, for each job or region: share connected, items, cost."""
    proved: bool = True


def main() -> None:
    """Draw regions, fill their books, go to the jobs, print the tables."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--regions", type=int, default=4)
    parser.add_argument("--jobs", type=int, default=150, help="in each region")
    parser.add_argument("--visits", type=int, default=600, help="in the book of each region")
    parser.add_argument("--target", type=float, default=0.95)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    came = Came()
    for seed in range(options.seed, options.seed + options.regions):
        _visit_region(random.Random(seed), options, came)
    print(f"{options.regions} regions, each with {options.visits} visits in the book and {options.jobs} jobs")
    print(f"target {options.target:g}\n\n{'jobs':<34}{'count':>6}{'stated':>8}{'came':>7}{'error':>7}")
    _row("all", came.said)
    inside = [pair for pair, reached in zip(came.said, came.reached, strict=True) if reached]
    _row("the target can be reached", inside)
    edge = options.target + BINDS
    _row(f"  and it binds: stated below {edge:.2f}", [pair for pair in inside if pair[0] < edge])
    _row("out of reach", [pair for pair, ok in zip(came.said, came.reached, strict=True) if not ok])
    for low, high in pairwise((0.0, 0.8, 0.9, 0.95, 0.97, 0.99, 1.01)):
        _row(
            f"  stated {low:.2f} to {min(high, 1.0):.2f}",
            [pair for pair in came.said if low <= pair[0] < high],
        )
    print(f"\n{'kit':<28}{'connected':>10}{'items':>8}{'cost':>8}")
    for name, rows in came.kits.items():
        won, items, cost = (sum(row[n] for row in rows) / len(rows) for n in range(3))
        print(f"{name:<28}{won:>10.3f}{items:>8.1f}{cost:>8.1f}")
    print("the best fixed kits are " + ("proved" if came.proved else "not all proved"))


def _visit_region(draw: random.Random, options: argparse.Namespace, came: Came) -> None:
    series = region(draw)
    seen = [home(draw, draw.choice(series)) for _ in range(options.visits)]
    evidence = Evidence.learn([visit(draw, at) for at in seen], today=TODAY)
    finder = Finder(Ways.of_day((), ()))
    truths: list[set[tuple[str, ...]]] = []
    mine = came.kits.setdefault("packed for the job", [])
    for _ in range(options.jobs):
        at = home(draw, draw.choice(series))
        job = job_at(draw, at)
        plan = pack(Day((job,)), evidence.expect, target=options.target, questions=False)
        ways = ways_at(finder, job, at)
        bag = Counter({line.item: line.count for line in plan.items})
        won = connects(bag, ways)
        came.said.append((plan.certainty, int(won)))
        came.reached.append(plan.reached)
        mine.append((float(won), bag.total(), plan.cost))
        truths.append(ways)
    training = [ways_at(finder, job_at(draw, at), at) for at in seen]
    share = sum(won for won, _, _ in mine[-options.jobs :]) / options.jobs
    fixed_kits(training, truths, share, finder, came)


def _row(name: str, pairs: list[tuple[float, int]]) -> None:
    if not pairs:
        print(f"{name:<34}{0:>6}")
        return
    n = len(pairs)
    stated, came = sum(p for p, _ in pairs) / n, sum(won for _, won in pairs) / n
    # Of the share that comes if what is stated is right: then the difference is within two of these.
    error = sqrt(sum(p * (1 - p) for p, _ in pairs)) / n
    print(f"{name:<34}{n:>6}{stated:>8.3f}{came:>7.3f}{error:>7.3f}")


def fixed_kits(
    training: list[set[tuple[str, ...]]],
    truths: list[set[tuple[str, ...]]],
    share: float,
    finder: Finder,
    came: Came,
) -> None:
    """The fixed kits, chosen by the homes in the book, at the same jobs."""
    worlds = Counter(frozenset(ways) for ways in training)
    items = sorted({item for ways in worlds for way in ways for item in way})
    price = [Cost(finder._ways.catalogue.item(item).price or 1.0) for item in items]

    def counted(way: tuple[str, ...]) -> tuple[int, ...]:
        return tuple(way.count(item) for item in items)

    made = tuple(
        (count / len(training), tuple(counted(way) for way in sorted(ways))) for ways, count in worlds.items()
    )
    every = Counter(items)
    best = cheapest([Task(made)], price, min(share, sum(p for p, ways in made if ways)), work=200_000)
    fixed = Counter({item: count for item, count in zip(items, best.stock, strict=True) if count})
    for name, kit in (("one of everything", every), ("the best fixed kit", fixed)):
        won = sum(connects(kit, ways) for ways in truths) / len(truths)
        cost = sum(c.each * kit[item] for item, c in zip(items, price, strict=True))
        came.kits.setdefault(name, []).append((won, kit.total(), cost))
    came.proved = came.proved and best.optimal


if __name__ == "__main__":
    main()
