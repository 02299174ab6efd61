"""What to carry to a day's jobs, how sure is it that all connect, what is left, and what to ask first?

What certainty means: the chance that at each job some output can be connected with what is still in the bag,
over everything that is not known - which outputs there are, which are in use, what they do to the speakers,
whether they carry sound. Jobs are independent given the evidence. At each job that bundle is used which
leaves the best chance for the jobs after it; what is used stays there. On long days the certainty stated is
a lower bound of it. Items are taken as tested: that one of them is dead is not counted. A microphone at the
loudspeaker does not count as connected.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from math import prod
from typing import Final

from kb.catalogue import Catalogue
from kb.errors import BadInput
from kb.evidence import Expectation, Likely, Output
from kb.pack.chances import Chances, Cost, Stock, Task, least_ways
from kb.pack.jobs import Day, Job
from kb.pack.solve import Found, cheapest
from kb.pack.worlds import Bundle, Case, Finder, Ways
from kb.visit import Source
from kb.words import Signal

TARGET: Final = 0.95
LEAVE: Final = 0.002  #: items are not considered that all together could add no more than this share of it
WORK: Final = 12_000  #: steps of search for a day: under two seconds on a slow machine
WORK_ONE: Final = 2_000  #: steps for one job by itself, where questions are weighed
AT_HAND: Final = 0.25  #: what is in stock counts a quarter of its price: it need not be bought, but carried
ASKED: Final = 3  #: questions proposed, at most; asked about as many jobs, those that need most
WEIGHED: Final = 5  #: outputs of a job that are asked after
PHOTOS: Final = 12  #: panels that a photo may show; rarer ones save nothing
MERGED: Final = 0.004  #: worlds this rare are merged into harder ones, on days of three jobs and more
TRIED: Final = 6  #: items or bundles of which the exact gain is computed, to name the next
RARELY: Final = 0.02  #: an answer as rare as this is not waited for
LISTED: Final = 6  #: expected panels and risks shown for a job, at most


@dataclass(frozen=True, slots=True)
class Line:
    """``count`` of an item, ``in_stock`` of them to hand; ``uses``: job numbers, each with its outputs."""

    item: str
    count: int
    in_stock: int
    uses: tuple[tuple[int, tuple[Output, ...]], ...]


@dataclass(frozen=True, slots=True)
class Risk:
    """What may be found that the list cannot connect. ``live``: outputs that would do with other items.

    Without live outputs ``panel`` is what is there and of no use; None: a panel that nobody has recorded.
    """

    p: float
    live: tuple[Output, ...]
    panel: tuple[Output, ...] | None
    taken: tuple[Signal, ...] = ()


@dataclass(frozen=True, slots=True)
class JobPlan:
    """One job: its certainty by itself with the whole list, what is expected there, what may go wrong."""

    job: Job
    source: Source
    certainty: float
    reachable: float
    expected: tuple[Likely, ...]
    risks: tuple[Risk, ...]


@dataclass(frozen=True, slots=True)
class Next:
    """The items that would add most to the certainty for what they cost, and the gain."""

    items: Bundle
    gain: float


@dataclass(frozen=True, slots=True)
class Answer:
    """What an answer on the phone would do: its chance, then the items for this job and their certainty."""

    p: float
    items: Bundle
    certainty: float
    cost: float


@dataclass(frozen=True, slots=True)
class Ask:
    """A question that saves most. ``about`` the output asked for; None: a photo of the back.

    ``saves`` is the expected cost saved at this job alone, in the measure of prices; ``share`` of its cost.
    """

    job: int
    code: str
    about: Output | None
    saves: float
    share: float
    yes: Answer | None = None
    no: Answer | None = None


@dataclass(frozen=True, slots=True)
class Plan:
    """What to carry. ``certainty`` that all jobs connect; ``reachable`` with everything there is.

    ``bound``: no list that is as sure costs less; equal to ``cost`` where ``optimal``.
    """

    items: tuple[Line, ...]
    certainty: float
    target: float
    reachable: float
    cost: float
    bound: float
    optimal: bool
    jobs: tuple[JobPlan, ...]
    next: Next | None
    ask: tuple[Ask, ...]

    @property
    def reached(self) -> bool:
        """Does the list reach the target?"""
        return self.certainty >= self.target - 1e-9


def pack(
    day: Day,
    expect: Callable[[Source], Expectation],
    *,
    target: float = TARGET,
    catalogue: Catalogue | None = None,
    questions: bool = True,
) -> Plan:
    """The cheapest list of items with which all jobs of ``day`` connect with chance ``target``.

    ``expect`` is ``Evidence.expect``. Exact as far as WORK steps allow (``optimal`` says so): a single job
    always as far as seen, a few jobs mostly; beyond that ``certainty`` is no more than the chance, and
    ``bound`` a cost that no list can undercut. Where the target is out of reach the list reaches that share
    of what can be reached (``goal_for``). Items that hardly add (LEAVE) are not considered.

    Raises BadInput for a target out of range, and for stock or prices that the catalogue does not know.
    """
    if not 0 < target < 1:
        raise BadInput("target", target, "a chance between 0 and 1, such as 0.95")
    ways = Ways.of_day(day.jobs, day.have, catalogue)
    return _Packing(day, expect, target, ways).plan(questions)


@dataclass(frozen=True)
class Bare:
    """A job's worlds in items: what the search needs, with the cases they come from."""

    job: Job
    expected: Expectation
    cases: tuple[Case, ...]
    bundles: Mapping[frozenset[object], frozenset[Bundle]]


class _Packing:
    def __init__(self, day: Day, expect: Callable[[Source], Expectation], target: float, ways: Ways) -> None:
        self.day, self.target, self.ways = day, target, ways
        self.finder = Finder(ways)
        self.have = self._stock(day.have)
        self.prices = {ways.one_name(ways.catalogue.item(k, "prices").name): v for k, v in day.prices.items()}
        self.bare = [self.bared(job, expect(job.source)) for job in day.jobs]
        used = {item for bare in self.bare for some in bare.bundles.values() for way in some for item in way}
        self.merge = MERGED if len(day.jobs) > 2 else 0.0
        self.only(tuple(sorted(used)))
        self.reach = prod(self.reach_of(bare) for bare in self.bare)
        self.only(self.worth_carrying())
        self.costs = tuple(self.cost(item) for item in self.items)

    def only(self, items: tuple[str, ...]) -> None:
        """Look at these items and no others from now on."""
        self.items = items
        self._known = frozenset(items)
        self._counted: dict[Bundle, Stock] = {}

    def reach_of(self, bare: Bare) -> float:
        """The chance that a job connects when everything in ``items`` is there."""
        return sum(case.p for case in bare.cases if self.fitting(bare.bundles[case.live]))

    def fitting(self, ways: Iterable[Bundle]) -> list[Bundle]:
        """The ways that need nothing but ``items``."""
        return sorted(way for way in ways if self._known.issuperset(way))

    def worth_carrying(self) -> tuple[str, ...]:
        """The items without those that hardly add, all together: nobody carries them for rare panels."""
        every = self.items
        least = max(self.reach * (1 - LEAVE), goal_for(self.target, self.reach))
        tasks = [self.task(bare, self.merge) for bare in self.bare]
        chances = Chances(tasks, len(every))
        least = min(least, chances.at_most(chances.caps[0]))
        stock = list(chances.caps[0])

        def without(k: int) -> float:
            return chances.at_most([*stock[:k], 0, *stock[k + 1 :]])

        for k in sorted(range(len(every)), key=lambda k: (-without(k), every[k])):
            if without(k) >= least:
                stock[k] = 0
        return tuple(item for item, count in zip(every, stock, strict=True) if count)

    def _stock(self, have: Mapping[str, int]) -> dict[str, int]:
        found: dict[str, int] = {}
        for name, count in have.items():
            item = self.ways.one_name(self.ways.catalogue.item(name, "have").name)
            found[item] = found.get(item, 0) + count
        return found

    def cost(self, item: str) -> Cost:
        """The price given, else the catalogue's, never nothing: every item has to be carried."""
        each = self.prices.get(item) or self.ways.catalogue.item(item).price or 1.0
        return Cost(each, self.have.get(item, 0), AT_HAND * each)

    def bared(self, job: Job, expected: Expectation) -> Bare:
        cases = tuple(self.finder.cases(job, expected))
        bundles: dict[frozenset[object], frozenset[Bundle]] = {}
        for case in cases:
            if case.live not in bundles:
                bundles[case.live] = self.finder.does(job, case.live)
        return Bare(job, expected, cases, bundles)

    def counted(self, bundle: Bundle) -> Stock:
        """The bundle as counts of ``items``."""
        if bundle not in self._counted:
            self._counted[bundle] = tuple(bundle.count(item) for item in self.items)
        return self._counted[bundle]

    def task(self, bare: Bare, merge: float = 0.0) -> Task:
        """The job in items; worlds rarer than ``merge`` are taken for harder ones, never for easier."""
        worlds: dict[frozenset[Bundle], float] = {}
        for case in bare.cases:
            ways = bare.bundles[case.live]
            worlds[ways] = worlds.get(ways, 0.0) + case.p
        made: dict[tuple[Stock, ...], float] = {}
        for some, p in worlds.items():
            least = least_ways([self.counted(way) for way in self.fitting(some)])
            if least:
                made[least] = made.get(least, 0.0) + p
        return Task(tuple((p, ways) for ways, p in _gathered(made, merge).items()))

    def covered(self, ways: Iterable[Bundle], stock: Stock) -> bool:
        """Does the stock hold one of the ways?"""
        return any(
            all(a <= b for a, b in zip(self.counted(way), stock, strict=True)) for way in self.fitting(ways)
        )

    # -- the list ------------------------------------------------------------------------------

    def plan(self, questions: bool) -> Plan:
        tasks = [self.task(bare, self.merge) for bare in self.bare]
        chances = Chances(tasks, len(self.items), weigh=[cost.each for cost in self.costs])
        # Worlds merged into harder ones lower what can be reached a little; the list cannot do better.
        goal = min(goal_for(self.target, self.reach), chances.at_most(chances.caps[0]))
        found = cheapest(tasks, self.costs, goal, work=WORK, chances=chances)
        return Plan(
            items=self.lines(found.stock),
            certainty=found.chance,
            target=self.target,
            reachable=self.reach,
            cost=found.cost,
            bound=found.bound,
            optimal=found.optimal,
            jobs=tuple(self.job_plan(bare, found.stock) for bare in self.bare),
            next=self.next_item(chances, found.stock),
            ask=tuple(self.asked()) if questions else (),
        )

    def lines(self, stock: Stock) -> tuple[Line, ...]:
        return tuple(
            Line(item, count, min(count, self.have.get(item, 0)), self.uses(item, stock))
            for item, count in zip(self.items, stock, strict=True)
            if count
        )

    def uses(self, item: str, stock: Stock) -> tuple[tuple[int, tuple[Output, ...]], ...]:
        """For which jobs the item may be wanted, and at which outputs, where the whole of a way is there."""
        found = []
        for number, bare in enumerate(self.bare, 1):
            outputs = {
                one.output
                for one in frozenset().union(*(case.live for case in bare.cases))
                for way in self.finder.does(bare.job, (one,))
                if item in way and self.covered((way,), stock)
            }
            if outputs:
                found.append((number, tuple(sorted(outputs))))
        return tuple(found)

    def job_plan(self, bare: Bare, stock: Stock) -> JobPlan:
        certain, reachable = 0.0, 0.0
        risks: dict[tuple[object, ...], Risk] = {}
        for case in bare.cases:
            ways = bare.bundles[case.live]
            reachable += case.p if ways else 0.0
            if self.covered(ways, stock):
                certain += case.p
                continue
            live = tuple(sorted(one.output for one in case.live))
            taken = tuple(sorted({one.output.signal for one in case.live if one.taken}))
            panel = None if live else case.panel
            before = risks.get((live, panel, taken))
            risks[live, panel, taken] = Risk(case.p + (before.p if before else 0.0), live, panel, taken)
        worst = sorted(risks.values(), key=lambda risk: -risk.p)
        return JobPlan(
            job=bare.job,
            source=bare.expected.source,
            certainty=certain,
            reachable=reachable,
            expected=bare.expected.shapes[:LISTED],
            risks=tuple(risk for risk in worst[:LISTED] if risk.p >= 0.0005),
        )

    def next_item(self, chances: Chances, stock: Stock) -> Next | None:
        """The item, or where one alone adds nothing the bundle, that adds most to the chance of all."""
        now, quick = chances.of(stock), chances.at_most(stock)
        ways = {way for bare in self.bare for some in bare.bundles.values() for way in self.fitting(some)}
        options: dict[Bundle, float] = {}
        for option in sorted({(item,) for item in self.items} | ways):
            missing = option if len(option) == 1 else self.missing(option, stock)
            if missing:
                options[missing] = (chances.at_most(self.with_more(stock, missing)) - quick) / len(missing)
        best: Next | None = None
        for missing in sorted(options, key=lambda one: (-options[one], len(one), one))[:TRIED]:
            gain = chances.of(self.with_more(stock, missing)) - now
            if gain > 1e-4 and (best is None or gain / len(missing) > best.gain / len(best.items)):
                best = Next(missing, gain)
        return best

    def with_more(self, stock: Stock, bundle: Bundle) -> Stock:
        return tuple(a + b for a, b in zip(stock, self.counted(bundle), strict=True))

    def missing(self, bundle: Bundle, stock: Stock) -> Bundle:
        counts = dict(zip(self.items, stock, strict=True))
        lacking = []
        for item in bundle:
            if counts.get(item, 0):
                counts[item] -= 1
            else:
                lacking.append(item)
        return tuple(lacking)

    # -- questions -----------------------------------------------------------------------------

    def asked(self) -> list[Ask]:
        """The questions that save most, each weighed at its job alone with its share of the risk."""
        share = (
            (goal_for(self.target, self.reach) / self.reach) ** (1 / len(self.bare)) if self.reach else 1.0
        )
        alone = [
            (self.alone(bare.cases, bare, share), number, bare) for number, bare in enumerate(self.bare, 1)
        ]
        found: list[Ask] = []
        for now, number, bare in sorted(alone, key=lambda one: (-one[0].cost, one[1]))[:ASKED]:
            if now.cost > 0:
                found += self.about_job(_Weighing(self, number, bare, share, now))
        worth = [ask for ask in found if ask.saves > 0.05 * min(cost.each for cost in self.costs)]
        # A photo tells more and asks more: it stands behind a question that saves nearly as much.
        return sorted(worth, key=lambda ask: -ask.saves * (0.8 if ask.about is None else 1.0))[:ASKED]

    def alone(self, cases: Sequence[Case], bare: Bare, share: float) -> Found:
        """Cheap items for one job in these cases that reach their share of what can be reached."""
        task = self.task(replace(bare, cases=tuple(cases)), MERGED)
        chances = Chances([task], len(self.items))
        goal = share * chances.at_most(chances.caps[0])
        return cheapest([task], self.costs, goal, work=WORK_ONE, chances=chances, prove=False)

    def about_job(self, weighing: _Weighing) -> Iterable[Ask]:
        cases = weighing.bare.cases
        there: dict[Output, float] = {}
        for case in cases:
            for output in case.panel or ():
                there[output] = there.get(output, 0.0) + case.p
        # The nearer to evens, the more an answer tells.
        doubtful = sorted(there, key=lambda output: (abs(there[output] - 0.5), output))[:WEIGHED]
        for output in doubtful:
            yield from weighing.of("has", output, partial(_has, output))
        if weighing.bare.job.taken is None:
            for output in sorted(output for output in there if there[output] > 0.8):
                yield from weighing.of("taken", output, partial(_uses, output))
        yield from weighing.photo()


@dataclass(frozen=True)
class _Weighing:
    """What answers about one job would save."""

    packing: _Packing
    number: int
    bare: Bare
    share: float
    now: Found

    def of(self, code: str, output: Output, fits: Callable[[Case], bool]) -> Iterable[Ask]:
        """A question answered by yes or no. Panels that nobody has recorded may answer either way."""
        known = [case for case in self.bare.cases if case.panel is not None]
        p = sum(case.p for case in known if fits(case)) / max(1e-12, sum(case.p for case in known))
        if not RARELY <= p <= 1 - RARELY:
            return
        answers = []
        for chance, is_so in ((p, True), (1 - p, False)):
            cases = [
                case if case.panel is None else case._replace(p=case.p / chance)
                for case in self.bare.cases
                if case.panel is None or fits(case) is is_so
            ]
            answers.append(self.answer(chance, cases))
        saves = self.now.cost - sum(answer.p * answer.cost for answer in answers)
        yield Ask(self.number, code, output, saves, saves / self.now.cost, answers[0], answers[1])

    def photo(self) -> Iterable[Ask]:
        """A photo of the back shows which outputs there are: what would each of the likeliest panels need?"""
        panels: dict[tuple[Output, ...], list[Case]] = {}
        for case in self.bare.cases:
            if case.panel is not None:
                panels.setdefault(case.panel, []).append(case)
        chances = {panel: sum(case.p for case in cases) for panel, cases in panels.items()}
        saves = 0.0
        for panel in sorted(panels, key=lambda panel: (-chances[panel], panel))[:PHOTOS]:
            found = self.answer(
                chances[panel], [case._replace(p=case.p / chances[panel]) for case in panels[panel]]
            )
            saves += found.p * max(0.0, self.now.cost - found.cost)
        yield Ask(self.number, "photo", None, saves, saves / self.now.cost)

    def answer(self, p: float, cases: Sequence[Case]) -> Answer:
        """The items that are needed in these cases."""
        found = self.packing.alone(cases, self.bare, self.share)
        items = tuple(i for i, n in zip(self.packing.items, found.stock, strict=True) for _ in range(n))
        return Answer(p, items, found.chance, found.cost)


def _has(output: Output, case: Case) -> bool:
    return output in (case.panel or ())


def _uses(output: Output, case: Case) -> bool:
    return output.signal in case.used


def _gathered(worlds: Mapping[tuple[Stock, ...], float], rare: float) -> dict[tuple[Stock, ...], float]:
    """The worlds with each rare one merged into the likeliest that is harder: has some of its ways only."""
    kept = dict(worlds)
    for ways, p in sorted(worlds.items(), key=lambda one: (one[1], one[0])):
        if p >= rare:
            break
        have = set(ways)
        harder = [other for other in kept if other != ways and have.issuperset(other)]
        if harder:
            kept[max(harder, key=lambda other: (kept[other], other))] += kept.pop(ways)
    return kept


def goal_for(target: float, reach: float) -> float:
    """What the list must reach: the target, or where it is out of reach that share of what can be reached.

    No items help against an output that is not there or does not work; the list answers for the rest.
    """
    return target if reach >= target else target * reach


__all__ = [
    "Answer",
    "Ask",
    "JobPlan",
    "Line",
    "Next",
    "Plan",
    "Risk",
    "least_ways",
    "pack",
]
