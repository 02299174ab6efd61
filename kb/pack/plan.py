"""What to carry to a day's jobs, how sure is it that all connect, what is left, and what to ask first?

What certainty means: the chance that at each job some output can be connected with what is still in the bag,
over everything that is not known - which outputs there are, which are in use, what they do to the speakers,
whether they carry sound. Jobs are independent given the evidence. At each job that bundle is used which
leaves the best chance for the jobs after it; what is used stays there. Items are taken as tested: that one
of them is dead is not counted. A microphone at the loudspeaker does not count as connected.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

from kb.catalogue import Catalogue
from kb.errors import BadInput
from kb.evidence import Expectation, Likely, Output
from kb.pack.jobs import EXACT_JOBS, Day, Job
from kb.pack.solve import Chances, Cost, Found, Stock, Task, World, cheapest, cost_of, least_ways
from kb.pack.worlds import Bundle, Case, Finder, Ways
from kb.visit import Source
from kb.words import Signal

TARGET: Final = 0.95
NEAR: Final = 0.005  #: where the target is out of reach, the list comes this near to the best there is
WORK: Final = 30_000  #: steps of search for a day: under two seconds on a slow machine
WORK_ONE: Final = 2_000  #: steps for one job by itself, where questions are weighed
AT_HAND: Final = 0.25  #: what is in stock counts a quarter of its price: it need not be bought, but carried
ASKED: Final = 3  #: questions proposed, at most
LISTED: Final = 6  #: expected panels and risks shown for a job, at most


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the list: ``count`` of an item, ``in_stock`` of them to hand; ``uses``: job number, outputs."""

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

    ``expect`` is ``Evidence.expect``. Exact up to EXACT_JOBS jobs as far as the steps allow; ``optimal``
    says so. A longer day is packed in bags of EXACT_JOBS jobs each, whose certainties multiply.
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
        self.items = tuple(sorted(used))
        self.costs = tuple(self.cost(item) for item in self.items)

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

    def counted(self, bundle: Iterable[str]) -> Stock:
        names = list(bundle)
        return tuple(names.count(item) for item in self.items)

    def task(self, bare: Bare) -> Task:
        worlds: dict[frozenset[Bundle], float] = {}
        for case in bare.cases:
            ways = bare.bundles[case.live]
            worlds[ways] = worlds.get(ways, 0.0) + case.p
        made: list[World] = [(p, tuple(self.counted(way) for way in sorted(ways))) for ways, p in worlds.items()]
        return Task(tuple(made))

    # -- the list ------------------------------------------------------------------------------

    def plan(self, questions: bool) -> Plan:
        tasks = [self.task(bare) for bare in self.bare]
        bags = [tasks[at : at + EXACT_JOBS] for at in range(0, len(tasks), EXACT_JOBS)]
        reach, chance, stocks, bounds, optimal = 1.0, 1.0, [], [], True
        known = []
        for bag in bags:
            chances = Chances(bag, len(self.items))
            whole = chances.of(chances.caps[0])
            goal = min(self.target ** (len(bag) / len(tasks)), max(whole - NEAR, whole * 0.99))
            found = cheapest(bag, self.costs, goal, work=WORK // len(bags), chances=chances)
            reach *= whole
            chance *= found.chance
            stocks.append(found.stock)
            bounds.append(found.bound)
            optimal = optimal and found.optimal
            known.append(chances)
        stock = tuple(sum(counts) for counts in zip(*stocks, strict=True)) if self.items else ()
        cost = cost_of(stock, self.costs)
        one = len(bags) == 1
        return Plan(
            items=self.lines(stock),
            certainty=chance,
            target=self.target,
            reachable=reach,
            cost=cost,
            bound=bounds[0] if one else max(bounds),
            optimal=optimal and one,
            jobs=tuple(self.job_plan(bare, stock) for bare in self.bare),
            next=self.next_item(known, stocks, chance),
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
                for case in bare.cases
                for one in case.live
                for way in self.finder.does(bare.job, (one,))
                if item in way and all(a <= b for a, b in zip(self.counted(way), stock, strict=True))
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
            if any(all(a <= b for a, b in zip(self.counted(way), stock, strict=True)) for way in ways):
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

    def next_item(self, known: Sequence[Chances], stocks: Sequence[Stock], chance: float) -> Next | None:
        """The item, or where one alone adds nothing the bundle, that adds most to the chance of all."""
        best: tuple[float, float, Bundle] | None = None
        for chances, stock in zip(known, stocks, strict=True):
            now = chances.of(stock)
            if not now:
                continue
            options = {(item,) for item in self.items}
            options |= {way for bare in self.bare for some in bare.bundles.values() for way in some}
            for option in sorted(options):
                missing = self.missing(option, stock) if len(option) > 1 else option
                if not missing:
                    continue
                more = tuple(a + b for a, b in zip(stock, self.counted(missing), strict=True))
                if chances.at_most(more) <= now:
                    continue
                gain = chance * (chances.of(more) / now - 1)
                # One item that adds is named before a bundle that adds hardly more.
                rank = gain / len(missing)
                if gain > 1e-4 and (best is None or rank > best[0] + 1e-12):
                    best = (rank, gain, missing)
        return Next(best[2], best[1]) if best else None

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
        """The questions that save most, each weighed at its job alone with its share of the target."""
        goal = self.target ** (1 / len(self.bare))
        found: list[Ask] = []
        for number, bare in enumerate(self.bare, 1):
            now = self.alone(self.task(bare), goal)
            if now.cost <= 0:
                continue
            found += self.about_outputs(number, bare, goal, now)
            found += self.about_photo(number, bare, goal, now)
        worth = [ask for ask in found if ask.saves > 0.01 * max(1.0, min(c.each for c in self.costs))]
        # A photo tells more and asks more: it stands behind a question that saves nearly as much.
        return sorted(worth, key=lambda ask: -ask.saves * (0.8 if ask.about is None else 1.0))[:ASKED]

    def alone(self, task: Task, goal: float) -> Found:
        """The cheapest items for one job that reach the goal, or nearly the best that can be reached."""
        chances = Chances([task], len(self.items))
        whole = chances.of(chances.caps[0])
        return cheapest(
            [task], self.costs, min(goal, max(whole - NEAR, whole * 0.99)), work=WORK_ONE, chances=chances
        )

    def about_outputs(self, number: int, bare: Bare, goal: float, now: Found) -> Iterable[Ask]:
        expected = bare.expected
        outputs = sorted({output for one in expected.shapes for output in one.outputs})
        for output in outputs:
            yes = _given(expected, lambda one, o=output: o in one.outputs)
            no = _given(expected, lambda one, o=output: o not in one.outputs)
            if yes[0] < 0.02 or no[0] < 0.02:
                continue
            yield self.weighed(number, bare, goal, now, "has", output, yes, no)
        if bare.job.taken is None:
            for output in outputs:
                yield from self.about_taken(number, bare, goal, now, output)

    def about_taken(self, number: int, bare: Bare, goal: float, now: Found, output: Output) -> Iterable[Ask]:
        """Is the output in use? Asked where it is all but sure to be there."""
        expected, signal = bare.expected, output.signal
        there = sum(one.p for one in expected.shapes if output in one.outputs)
        used = sum(
            one.p * p
            for one in expected.shapes
            if output in one.outputs
            for taken, p in expected.taken[one.outputs].items()
            if signal in taken
        )
        if there < 0.8 or not 0.02 <= used <= 0.98 * there:
            return
        yes = (used, _taken_given(expected, signal, True))
        no = (1 - used, _taken_given(expected, signal, False))
        yield self.weighed(number, bare, goal, now, "taken", output, yes, no)

    def weighed(
        self,
        number: int,
        bare: Bare,
        goal: float,
        now: Found,
        code: str,
        output: Output,
        yes: tuple[float, Expectation],
        no: tuple[float, Expectation],
    ) -> Ask:
        answers = []
        for p, expected in (yes, no):
            found = self.alone(self.task(self.bared_again(bare, expected)), goal)
            items = tuple(i for i, n in zip(self.items, found.stock, strict=True) for _ in range(n))
            answers.append(Answer(p, items, found.chance, found.cost))
        saves = now.cost - sum(answer.p * answer.cost for answer in answers)
        return Ask(number, code, output, saves, saves / now.cost, answers[0], answers[1])

    def about_photo(self, number: int, bare: Bare, goal: float, now: Found) -> Iterable[Ask]:
        """A photo of the back shows the shape: what would each panel need?"""
        cost = rest = 0.0
        for one in bare.expected.shapes[:40]:
            _, only = _given(bare.expected, lambda other, o=one: other.outputs == o.outputs)
            cost += one.p * self.alone(self.task(self.bared_again(bare, replace(only, other=0.0))), goal).cost
            rest += one.p
        saves = now.cost - cost - (1 - rest) * now.cost
        if saves > 0:
            yield Ask(number, "photo", None, saves, saves / now.cost)

    def bared_again(self, bare: Bare, expected: Expectation) -> Bare:
        return self.bared(bare.job, expected)


def _given(
    expected: Expectation, fits: Callable[[Likely], bool]
) -> tuple[float, Expectation]:
    """The chance of an answer about the shape, and what is expected then; unlisted panels keep their share."""
    kept = [one for one in expected.shapes if fits(one)]
    p = sum(one.p for one in kept) / max(1e-12, 1 - expected.other)
    shapes = tuple(Likely(one.outputs, one.p / p) for one in kept) if p else ()
    return p, replace(expected, shapes=shapes)


def _taken_given(expected: Expectation, signal: Signal, is_so: bool) -> Expectation:
    """What is expected when it is known whether ``signal`` is in use."""
    taken, shapes = {}, []
    for one in expected.shapes:
        kept = {used: p for used, p in expected.taken[one.outputs].items() if (signal in used) is is_so}
        total = sum(kept.values())
        if total:
            taken[one.outputs] = {used: p / total for used, p in kept.items()}
            shapes.append(Likely(one.outputs, one.p * total))
    whole = sum(one.p for one in shapes) / max(1e-12, 1 - expected.other)
    scaled = tuple(Likely(one.outputs, one.p / whole) for one in shapes) if whole else ()
    return replace(expected, shapes=scaled, taken=taken)


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
