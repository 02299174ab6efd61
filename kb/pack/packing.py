"""Choose the items for a day of jobs, and say what each is for, what risk is left and what would help."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from math import prod
from typing import Final

from kb.domain.visit import Source
from kb.domain.words import Speakers
from kb.evidence import Expectation, Output
from kb.pack.bounds import least_cost
from kb.pack.chances import Chances
from kb.pack.jobs import Day, Job
from kb.pack.plan_values import JobPlan, Line, Next, Plan, Risk, Use, Useless
from kb.pack.scenarios import Bundle, Case, Finder, Live, Ways, dead_here
from kb.pack.solve import Found, cheapest
from kb.pack.tasks import Cost, Stock, Task, hardened, least_ways

LEAVE: Final = 0.002  #: items seldom of use are not considered that together add no more than this share
SELDOM: Final = 0.03  #: in so few worlds of a job, on average, is an item of use that is seldom so
WORK: Final = 160_000  #: steps of search for a day: about a second
WORK_LONG: Final = 6_000  #: the same on long days, where nothing is proved
AT_HAND: Final = 0.25  #: what is in stock counts a quarter of its price: it need not be bought, but carried
MERGED: Final = 0.004  #: worlds as rare count as harder ones on long days: a lower bound
LOOKED_THROUGH: Final = 7  #: jobs of a day, at most, that is looked through for its cheapest list
PLAIN: Final = 80  #: a longer day is looked through, too, where it has no more worlds than this
SPARED: Final = 0.1  #: of the risk that a target allows; for it nothing is carried where it is out of reach
TRIED: Final = 6  #: items or bundles of which the exact gain is computed, to name the next
MUTED: Final = 0.1  #: outputs that silence needed speakers so often keep a job from its target: it is asked
LISTED: Final = 6  #: expected panels, outputs and risks listed of a job, at most


@dataclass(frozen=True)
class Bare:
    """A job's worlds in items: what the search needs, with the cases they come from."""

    job: Job
    expected: Expectation
    cases: tuple[Case, ...]
    bundles: Mapping[frozenset[object], frozenset[Bundle]]


class Packing:
    def __init__(self, day: Day, expect: Callable[[Source], Expectation], target: float, ways: Ways) -> None:
        self.day, self.target, self.ways = day, target, ways
        self.finder = Finder(ways)
        self.have = self._stock(day.have)
        self.prices = {ways.one_name(ways.catalogue.item(k, "prices").name): v for k, v in day.prices.items()}
        self.bare = [self.bared(job, expect(job.source)) for job in day.jobs]
        used = {item for bare in self.bare for some in bare.bundles.values() for way in some for item in way}
        several = sum(len(set(bare.bundles.values())) for bare in self.bare)
        self.merge = MERGED if len(day.jobs) > LOOKED_THROUGH and several > PLAIN else 0.0
        self.only(tuple(sorted(used)))
        self.reach = prod(self.reach_of(bare) for bare in self.bare)
        self.only(self.worth_carrying())
        self.costs = tuple(self.cost(item) for item in self.items)
        self.found: Found | None = None

    def only(self, items: tuple[str, ...]) -> None:
        """Look at these items and no others from now on."""
        self.items = items
        self._known = frozenset(items)
        self._counted: dict[Bundle, Stock] = {}
        self._least: dict[frozenset[Bundle], tuple[Stock, ...]] = {}

    def reach_of(self, bare: Bare) -> float:
        """The chance that a job connects when everything in ``items`` is there."""
        sure = sum(case.p for case in bare.cases if self.fitting(bare.bundles[case.live]))
        return min(1.0, sure)  # sums of chances are rounded

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

        # Rarely of use, not merely replaceable: of two items that do the same the cheaper has to stay.
        used = [0.0] * len(every)
        for task in tasks:
            for p, ways in task.worlds:
                for k in {k for way in ways for k, count in enumerate(way) if count}:
                    used[k] += p / len(tasks)
        for k in sorted(range(len(every)), key=lambda k: (used[k], every[k])):
            if used[k] <= SELDOM and without(k) >= least:
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
            if some not in self._least:
                self._least[some] = least_ways([self.counted(way) for way in self.fitting(some)])
            least = self._least[some]
            if least:
                made[least] = made.get(least, 0.0) + p
        return Task(tuple((p, ways) for ways, p in hardened(made, merge).items()))

    def covered(self, ways: Iterable[Bundle], stock: Stock) -> bool:
        """Does the stock hold one of the ways?"""
        return any(
            all(a <= b for a, b in zip(self.counted(way), stock, strict=True)) for way in self.fitting(ways)
        )

    # -- the list ------------------------------------------------------------------------------

    def plan(self) -> Plan:
        tasks = [self.task(bare, self.merge) for bare in self.bare]
        chances = Chances(tasks, len(self.items), weigh=[cost.each for cost in self.costs])
        # Worlds merged into harder ones lower what can be reached a little; the list cannot do better.
        goal = min(goal_for(self.target, self.reach), chances.at_most(chances.caps[0]))
        # The worlds as merged make no bound of the day as it is.
        known_bound = (
            least_cost([self.task(bare) for bare in self.bare], self.costs, goal) if self.merge else None
        )
        found = self.found = cheapest(
            tasks,
            self.costs,
            goal,
            work=WORK_LONG if self.merge else WORK,
            chances=chances,
            known_bound=known_bound,
        )
        bound = found.bound if known_bound is None else min(found.cost, known_bound)
        return Plan(
            items=self.lines(found.stock),
            certainty=min(1.0, found.chance),
            target=self.target,
            reachable=self.reach,
            cost=found.cost,
            bound=bound,
            exact=chances.exact and not self.merge,
            optimal=found.cost <= bound + 1e-9,
            jobs=tuple(self.job_plan(bare, found.stock) for bare in self.bare),
            next=self.next_item(chances, found.stock),
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
        certain, reachable, sound = 0.0, 0.0, 0.0
        risks: dict[tuple[object, ...], Risk] = {}
        there: dict[Live, float] = {}
        best: dict[Live, tuple[float, Bundle] | None] = {}
        for case in bare.cases:
            reachable += case.p if bare.bundles[case.live] else 0.0
            works = 0.0
            for one in case.live:
                if one not in best:
                    best[one] = self.best_use(bare, one, stock)
                found = best[one]
                if found is not None:
                    there[one] = there.get(one, 0.0) + case.p
                    works = max(works, found[0])
            if works:
                certain += case.p
                sound += case.p * works
                continue
            live = tuple(sorted(one.output for one in case.live))
            taken = tuple(sorted({one.output.signal for one in case.live if one.taken}))
            panel = None if live else case.panel
            why = tuple(dict.fromkeys(self.useless(bare, case, output) for output in panel or ()))
            before = risks.get((live, panel, taken, why))
            p = case.p + (before.p if before else 0.0)
            risks[live, panel, taken, why] = Risk(p, live, panel, taken, why)
        worst = sorted(risks.values(), key=lambda risk: -risk.p)
        mutes = sum(risk.p for risk in worst if Useless.MUTES in risk.why)
        return JobPlan(
            job=bare.job,
            source=bare.expected.source,
            certainty=min(1.0, certain),
            reachable=min(1.0, reachable),
            works=sound / certain if certain else 0.0,
            expected=bare.expected.shapes[:LISTED],
            uses=_ranked(there, best),
            risks=tuple(risk for risk in worst[:LISTED] if risk.p >= 0.0005),
            prior_share=bare.expected.prior_share,
            if_free=self.if_free(bare, reachable) if mutes >= MUTED else None,
        )

    def if_free(self, bare: Bare, reachable: float) -> float | None:
        """What could be reached at a job if nobody needed the speakers, where that is a good deal more."""
        job = replace(bare.job, speakers_needed=False)
        cases = self.finder.cases(job, bare.expected)
        free = sum(case.p for case in cases if self.finder.does(job, case.live))
        return free if free >= reachable + MUTED / 2 else None

    def useless(self, bare: Bare, case: Case, output: Output) -> Useless:
        """Why an output that is there is not live."""
        used = output.signal in case.used
        if self.finder.bundles(bare.job, output, Speakers.STAY_ON, used):
            silenced = 1 - self.finder.heard(bare.job, output, used, bare.expected)
            return Useless.FAILS if dead_here(output, bare.expected) > silenced else Useless.MUTES
        free = self.finder.bundles(bare.job, output, Speakers.STAY_ON, False)
        return Useless.TAKEN if used and free else Useless.NO_WAY

    def best_use(self, bare: Bare, one: Live, stock: Stock) -> tuple[float, Bundle] | None:
        """With which of the ways in stock an outlet is likeliest to carry sound; None: it has none."""
        chance = bare.expected.works[one.output].p
        fits = [way for way in self.finder.does(bare.job, (one,)) if self.covered((way,), stock)]
        return max(((chance * self.ways.works(way), way) for way in sorted(fits)), default=None)

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


def _ranked(there: Mapping[Live, float], best: Mapping[Live, tuple[float, Bundle] | None]) -> tuple[Use, ...]:
    """The outlets that can be connected, likeliest to work first."""
    uses = [Use(one.output, p, *found) for one, p in there.items() if (found := best[one]) is not None]
    return tuple(sorted(uses, key=lambda use: (-use.works, -use.there, use.output))[:LISTED])


def goal_for(target: float, reach: float) -> float:
    """What the list must reach: the target, or where that is out of reach nearly all that can be reached.

    No items help against an output that is not there or does not work; the list answers for the rest. A
    higher target never asks for less: of what is in reach a list may miss SPARED of the risk allowed.

    >>> goal_for(0.95, 1.0), round(goal_for(0.95, 0.8), 3), goal_for(0.947, 0.94) <= goal_for(0.95, 0.94)
    (0.95, 0.796, True)
    """
    return min(target, reach * (1 - SPARED * (1 - target)))
