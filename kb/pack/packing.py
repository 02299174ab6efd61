"""Choose the items for a day of jobs, with the use of each, the remaining risks and helpful additions."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from itertools import combinations
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

LEAVE: Final = 0.002  #: rarely used items are dropped if together they add no more than this share
SELDOM: Final = 0.03  #: an item is rarely used if this share of a job's worlds, on average, can use it
WORK: Final = 160_000  #: steps of search for a day: about a second
WORK_LONG: Final = 60_000  #: the same on long days, without a proof
DRIVER_SOCKETS: Final = 1  #: outlets that the driver itself takes
AT_HAND: Final = 0.25  #: an item in stock counts a quarter of its price: it is carried, not bought
MERGED: Final = 0.004  #: on long days, rarer worlds count as harder ones: a lower bound
LOOKED_THROUGH: Final = 7  #: at most so many jobs of a day are searched for the cheapest list
PLAIN: Final = 80  #: a longer day is searched, too, if it has no more worlds than this
SPARED: Final = 0.1  #: share of the target's risk that a list may miss if the target is out of reach
LITTLE: Final = 1e-4  #: an addition that adds no more than this chance is not named
MUTED: Final = 0.1  #: a question asks about silenced speakers if they cost a job this chance
LISTED: Final = 6  #: expected panels, outputs and risks listed per job, at most


@dataclass(frozen=True)
class Bare:
    """Hold a job's worlds in items for the search, with the cases that they come from."""

    job: Job
    expected: Expectation
    cases: tuple[Case, ...]
    bundles: Mapping[frozenset[object], frozenset[Bundle]]


class Packing:
    def __init__(self, day: Day, expect: Callable[[Source], Expectation], target: float, ways: Ways) -> None:
        self.day, self.target, self.ways = day, target, ways
        self.finder = Finder(ways)
        self.have = self._stock(day.have)
        self.prices = {ways.catalogue.one_name(k, "prices"): v for k, v in day.prices.items()}
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
        """Consider only these items from now on."""
        self.items = items
        self._known = frozenset(items)
        self._counted: dict[Bundle, Stock] = {}
        self._least: dict[frozenset[Bundle], tuple[Stock, ...]] = {}

    def reach_of(self, bare: Bare) -> float:
        """Return the chance that a job connects with all of ``items``."""
        sure = sum(case.p for case in bare.cases if self.fitting(bare.bundles[case.live]))
        return min(1.0, sure)  # sums of chances are rounded

    def fitting(self, ways: Iterable[Bundle]) -> list[Bundle]:
        """Return the ways that need only ``items``."""
        return sorted(way for way in ways if self._known.issuperset(way))

    def worth_carrying(self) -> tuple[str, ...]:
        """Return the items without those that, all together, add hardly anything."""
        every = self.items
        least = max(self.reach * (1 - LEAVE), goal_for(self.target, self.reach))
        tasks = [self.task(bare, self.merge) for bare in self.bare]
        chances = Chances(tasks, len(every))
        least = min(least, chances.at_most(chances.caps[0]))
        stock = list(chances.caps[0])

        def without(k: int) -> float:
            return chances.at_most([*stock[:k], 0, *stock[k + 1 :]])

        # Rarely used, not merely replaceable: of two equivalent items the cheaper has to stay.
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
        found: Counter[str] = Counter()
        for name, count in have.items():
            found[self.ways.catalogue.one_name(name, "have")] += count
        return found

    def cost(self, item: str) -> Cost:
        """Return the job file's price, else the catalogue's, never zero: every item has to be carried."""
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
        """Return the bundle as counts of ``items``."""
        if bundle not in self._counted:
            self._counted[bundle] = tuple(bundle.count(item) for item in self.items)
        return self._counted[bundle]

    def task(self, bare: Bare, merge: float = 0.0) -> Task:
        """Return the job in items; worlds rarer than ``merge`` become harder ones, never easier."""
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
        """Return whether the stock holds one of the ways."""
        return any(
            all(a <= b for a, b in zip(self.counted(way), stock, strict=True)) for way in self.fitting(ways)
        )

    # -- the list ------------------------------------------------------------------------------

    def plan(self) -> Plan:
        tasks = [self.task(bare, self.merge) for bare in self.bare]
        chances = Chances(tasks, len(self.items), weigh=[cost.each for cost in self.costs])
        # Merging worlds into harder ones lowers the reachable chance a little; the list cannot do better.
        goal = min(goal_for(self.target, self.reach), chances.at_most(chances.caps[0]))
        # The merged worlds give no bound for the real day.
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
        """Return the jobs that may need the item, and their outputs, if the stock has all of a way."""
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
        uses = _ranked(there, best)
        sockets = (sum(self.ways.catalogue.item(one).sockets for one in use.items) for use in uses)
        return JobPlan(
            job=bare.job,
            source=bare.expected.source,
            certainty=min(1.0, certain),
            reachable=min(1.0, reachable),
            works=sound / certain if certain else 0.0,
            expected=bare.expected.shapes[:LISTED],
            uses=uses,
            risks=tuple(risk for risk in worst[:LISTED] if risk.p >= 0.0005),
            prior_share=bare.expected.prior_share,
            if_free=self.if_free(bare) if mutes >= MUTED else None,
            sockets=DRIVER_SOCKETS + max(sockets, default=0),
        )

    def if_free(self, bare: Bare) -> float:
        """Return the reachable chance of a job if nobody needs the speakers."""
        job = replace(bare.job, speakers_needed=False)
        cases = self.finder.cases(job, bare.expected)
        return sum(case.p for case in cases if self.finder.does(job, case.live))

    def useless(self, bare: Bare, case: Case, output: Output) -> Useless:
        """Return why an existing output is not live."""
        used = output.signal in case.used
        if self.finder.bundles(bare.job, output, Speakers.STAY_ON, used):
            silenced = 1 - self.finder.heard(bare.job, output, used, bare.expected)
            return Useless.FAILS if dead_here(output, bare.expected) > silenced else Useless.MUTES
        free = self.finder.bundles(bare.job, output, Speakers.STAY_ON, False)
        return Useless.TAKEN if used and free else Useless.NO_WAY

    def best_use(self, bare: Bare, one: Live, stock: Stock) -> tuple[float, Bundle] | None:
        """Return the way in stock by which an outlet is likeliest to carry sound; None if there is none."""
        chance = bare.expected.works[one.output].p
        fits = [way for way in self.finder.does(bare.job, (one,)) if self.covered((way,), stock)]
        return max(((chance * self.ways.works(way), way) for way in sorted(fits)), default=None)

    def next_item(self, chances: Chances, stock: Stock) -> Next | None:
        """Return the item, or the part of a way, that adds most to the chance of all jobs for each item.

        A part of a way is several items that help only together, as when another job uses those in the bag.
        """
        now = chances.of(stock)
        ways = {way for bare in self.bare for some in bare.bundles.values() for way in self.fitting(some)}
        options: set[Bundle] = {(item,) for item in self.items}
        for way in ways:
            options.update(part for n in range(2, len(way) + 1) for part in combinations(way, n))
        most = {one: (chances.at_most(self.with_more(stock, one)) - now) / len(one) for one in options}
        best: Next | None = None
        for one in sorted(options, key=lambda one: (-most[one], len(one), one)):
            if best is not None and most[one] <= best.gain / len(best.items):
                break  # nor can any later one be better
            gain = chances.of(self.with_more(stock, one)) - now
            if gain > LITTLE and (best is None or gain / len(one) > best.gain / len(best.items)):
                best = Next(one, gain)
        return best

    def with_more(self, stock: Stock, bundle: Bundle) -> Stock:
        return tuple(a + b for a, b in zip(stock, self.counted(bundle), strict=True))


def _ranked(there: Mapping[Live, float], best: Mapping[Live, tuple[float, Bundle] | None]) -> tuple[Use, ...]:
    """Return the outlets that can be connected, likeliest to work first."""
    uses = [Use(one.output, p, *found) for one, p in there.items() if (found := best[one]) is not None]
    return tuple(sorted(uses, key=lambda use: (-use.works, -use.there, use.output))[:LISTED])


def goal_for(target: float, reach: float) -> float:
    """Return the goal of the list: the target, or nearly all that is reachable if the target is not.

    No items help against an output that is missing or does not work; the list only covers the rest. A higher
    target never lowers the goal: the list may miss SPARED of the allowed risk.

    >>> goal_for(0.95, 1.0), round(goal_for(0.95, 0.8), 3), goal_for(0.947, 0.94) <= goal_for(0.95, 0.94)
    (0.95, 0.796, True)
    """
    return min(target, reach * (1 - SPARED * (1 - target)))
