"""Find the question on the telephone that would shorten the list most.

Each question is weighed at its job alone, with that job's share of the risk. The saving is the cost of the
items without an answer, less the average cost with an answer.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Final

from kb.evidence import Expectation, Output
from kb.pack.chances import Chances
from kb.pack.packing import MERGED, Bare, Packing, goal_for
from kb.pack.plan_values import Answer, Ask, Plan
from kb.pack.scenarios import Bundle, Case
from kb.pack.solve import Found, cheapest

WORK_ONE: Final = 2_000  #: steps for one job by itself
ASKED: Final = 3  #: questions proposed, at most
ABOUT: Final = 3  #: different jobs that are weighed, at most: those with the least known panels
WEIGHED: Final = 5  #: outputs weighed per job on a day of several; a single job weighs all
PHOTOS: Final = 12  #: panels that a photo may show, at most; rarer ones save nothing
RARELY: Final = 0.04  #: rarer answers are ignored
WORTH: Final = 0.02  #: a question that saves a smaller share of its job's cost is not asked
PHOTO: Final = 1.5  #: a photo is more trouble for a client: it has to save so much more than a plain question


def questions_for(packing: Packing) -> tuple[Ask, ...]:
    """Return the questions that save most; the same question about several jobs is one."""
    share = (
        (goal_for(packing.target, packing.reach) / packing.reach) ** (1 / len(packing.bare))
        if packing.reach
        else 1.0
    )
    found: list[Ask] = []
    for numbers, bare in _most_doubtful(packing):
        now = packing.found if len(packing.bare) == 1 else None
        now = now or _alone(packing, bare, bare.cases, share)
        if now.cost > 0:
            found += _of_job(_Weighing(packing, numbers, bare, share, now))
    worth = [ask for ask in found if ask.saves > 0 and ask.share >= WORTH]
    return tuple(sorted(_drawn_together(worth), key=lambda ask: (-ask.saves, ask.jobs))[:ASKED])


def about_speakers(plan: Plan) -> tuple[Ask, ...]:
    """Ask whether anybody needs the speakers, if silenced speakers keep the target out of reach."""
    lifts = {
        number: job.if_free - job.reachable
        for number in plan.hindered
        if (job := plan.jobs[number - 1]).if_free is not None and not job.job.speakers_asked
    }
    if not lifts:
        return ()
    jobs = tuple(sorted(lifts, key=lambda number: (-lifts[number], number)))
    return (Ask(jobs, "speakers", None, 0.0, 0.0, lifts=lifts[jobs[0]]),)


def _most_doubtful(packing: Packing) -> list[tuple[tuple[int, ...], Bare]]:
    """Return the jobs with the least known panels; equal jobs are grouped."""
    alike: dict[object, list[int]] = {}
    for number, bare in enumerate(packing.bare, 1):
        alike.setdefault(replace(bare.job, name=""), []).append(number)
    groups = [(tuple(numbers), packing.bare[numbers[0] - 1]) for numbers in alike.values()]
    return sorted(groups, key=lambda one: (-_doubt(one[1].expected), one[0]))[:ABOUT]


def _doubt(expected: Expectation) -> float:
    """Return how uncertain the panel is: the chance that two draws differ; all unlisted panels are one."""
    return 1 - sum(one.p**2 for one in expected.shapes) - expected.other**2


def _drawn_together(asks: Iterable[Ask]) -> list[Ask]:
    """Merge equal questions of several jobs; the answers are those of the job with the greatest saving."""
    same: dict[tuple[str, Output | None], list[Ask]] = {}
    for ask in asks:
        same.setdefault((ask.code, ask.about), []).append(ask)
    drawn = []
    for some in same.values():
        first, *rest = sorted(some, key=lambda ask: (-ask.saves, ask.jobs))
        saves, cost = sum(ask.saves for ask in some), sum(ask.saves / ask.share for ask in some)
        jobs = (*first.jobs, *sorted(number for ask in rest for number in ask.jobs))
        drawn.append(replace(first, jobs=jobs, saves=saves, share=saves / cost))
    return drawn


def _alone(packing: Packing, bare: Bare, cases: Sequence[Case], share: float) -> Found:
    """Return cheap items for one job in these cases that reach their share of the reachable chance."""
    single = len(packing.bare) == 1
    task = packing.task(replace(bare, cases=tuple(cases)), 0.0 if single else MERGED)
    chances = Chances([task], len(packing.items))
    goal = share * chances.at_most(chances.caps[0])
    return cheapest([task], packing.costs, goal, work=WORK_ONE, chances=chances, prove=single)


def _of_job(weighing: _Weighing) -> list[Ask]:
    """Return the plain questions about a job, or a photo if none of them is nearly as good."""
    there: dict[Output, float] = {}
    for case in weighing.bare.cases:
        for output in case.panel or ():
            there[output] = there.get(output, 0.0) + case.p
    # An answer tells more if its chance is near one half.
    doubtful = sorted(there, key=lambda output: (abs(there[output] - 0.5), output))
    if len(weighing.packing.bare) > 1:
        doubtful = doubtful[:WEIGHED]
    plain = [ask for output in doubtful for ask in weighing.of("has", output, partial(_has, output))]
    if weighing.bare.job.taken is None:
        for output in sorted(output for output in there if there[output] > 0.8):
            plain += weighing.of("taken", output, partial(_uses, output))
    photo = weighing.photo()
    best = max((ask.saves for ask in plain), default=0.0)
    return [photo] if photo.saves > PHOTO * max(best, 1e-9) else plain


def _has(output: Output, case: Case) -> bool:
    return output in (case.panel or ())


def _uses(output: Output, case: Case) -> bool:
    return output.signal in case.used


@dataclass(frozen=True)
class _Weighing:
    """Weigh the savings of answers about one job, or several equal ones."""

    packing: Packing
    numbers: tuple[int, ...]
    bare: Bare
    share: float
    now: Found

    def of(self, code: str, output: Output, fits: Callable[[Case], bool]) -> Iterable[Ask]:
        """Yield a yes-or-no question. Panels that nobody has recorded may answer either way."""
        known = [case for case in self.bare.cases if case.panel is not None]
        p = sum(case.p for case in known if fits(case)) / max(1e-12, sum(case.p for case in known))
        if not RARELY <= p <= 1 - RARELY:
            return
        yes, no = (
            self.answer(
                chance,
                [
                    case if case.panel is None else case._replace(p=case.p / chance)
                    for case in self.bare.cases
                    if case.panel is None or fits(case) is is_so
                ],
            )
            for chance, is_so in ((p, True), (1 - p, False))
        )
        yield self._ask(code, output, self.now.cost - p * yes.cost - (1 - p) * no.cost, yes, no)

    def photo(self) -> Ask:
        """Return the question for a photo of the back, with the items that each likely panel needs."""
        panels: dict[tuple[Output, ...], list[Case]] = {}
        for case in self.bare.cases:
            if case.panel is not None:
                panels.setdefault(case.panel, []).append(case)
        chances = {panel: sum(case.p for case in cases) for panel, cases in panels.items()}
        saves = fewer = 0.0
        carried = self.counted(self.now).total()
        for panel in sorted(panels, key=lambda panel: (-chances[panel], panel))[:PHOTOS]:
            found = self.answer(
                chances[panel], [case._replace(p=case.p / chances[panel]) for case in panels[panel]]
            )
            if found.cost < self.now.cost:
                saves += found.p * (self.now.cost - found.cost)
                fewer += found.p * (carried - len(found.items))
        return replace(self._ask("photo", None, saves), items=fewer)

    def _ask(self, code: str, about: Output | None, saves: float, *answers: Answer) -> Ask:
        yes, no = answers or (None, None)
        fewer = self.counted(self.now).total() - sum(one.p * len(one.items) for one in answers)
        every, share = saves * len(self.numbers), saves / self.now.cost
        return Ask(self.numbers, code, about, every, share, yes, no, fewer)

    def answer(self, p: float, cases: Sequence[Case]) -> Answer:
        """Return the items that are needed in these cases."""
        found = _alone(self.packing, self.bare, cases, self.share)
        now, then = self.counted(self.now), self.counted(found)
        return Answer(
            p,
            _listed(then),
            min(1.0, found.chance),
            found.cost,
            fewer=_listed(now - then),
            more=_listed(then - now),
        )

    def counted(self, found: Found) -> Counter[str]:
        return Counter(dict(zip(self.packing.items, found.stock, strict=True)))


def _listed(counts: Counter[str]) -> Bundle:
    return tuple(sorted(counts.elements()))
