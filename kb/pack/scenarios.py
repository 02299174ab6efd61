"""List the possible finds at one job, and the items that would connect each.

A *world* is one possible find: which outputs are there, free or in use, and leave the speakers on if somebody
needs them. The rest is a group of live outlets; ``Ways`` asks ``kb.path`` which bundles of items connect
each. Whether a connected outlet then carries sound is not part of a world (``kb.pack.planning`` gives the
reason). The exception is an output that was tried there and never worked: it may be dead.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Final, NamedTuple

from kb.catalogue import GIVEN_UP, Catalogue, Role, catalogue
from kb.domain.words import Signal, Speakers
from kb.evidence import Expectation, Outlet, Output, panel_from
from kb.evidence.signature import EFFECTS
from kb.pack.jobs import Job
from kb.path import Tier, connect

Bundle = tuple[str, ...]  #: names of items, sorted, one entry per piece

LEAST: Final = 1e-5  #: worlds rarer than this are left out; they count as not connected
NEARLY: Final = 1.0  #: metres: of cable sizes this close, only the longer one is carried
SHORT: Final = 3.0  #: metres: a longer cable is not used between the set and a converter next to it
SELDOM: Final = 0.01  #: panels rarer than this are the model of unrecorded panels
UNLISTED: Final = 12  #: worlds of such panels, at most; the others count as not connected
DOUBTED: Final = 0.5  #: a tried output with a lower chance may not work at all


class Live(NamedTuple):
    """Describe an outlet that can be connected here: its kind, and whether something else uses it already."""

    output: Output
    taken: bool


class Case(NamedTuple):
    """Hold a world with its chance. ``panel`` has its outputs, live or not; None: an unrecorded panel.

    ``used``: the signals that something else uses.
    """

    p: float
    live: frozenset[Live]
    panel: tuple[Output, ...] | None
    used: frozenset[Signal] = frozenset()


@dataclass(frozen=True)
class Ways:
    """Answer which bundles connect an outlet to the driver of a job, from ``kb.path``; cache the answers.

    ``runs``: the lengths of the day's jobs in metres. ``have``: the names of items in stock.
    """

    catalogue: Catalogue
    runs: tuple[float, ...] = ()
    have: frozenset[str] = frozenset()

    @classmethod
    def of_day(cls, jobs: Iterable[Job], have: Collection[str], known: Catalogue | None = None) -> Ways:
        """Return the ways for a day's jobs with these items in stock."""
        book = known or catalogue()
        return cls(book, tuple(sorted({job.length_m for job in jobs})), book.named(have))

    def of(self, job: Job, outlet: Outlet) -> frozenset[Bundle]:
        """Return the bundles that connect this outlet; none if the rules of the trade exclude it.

        A microphone at the loudspeaker does not count as a connection, nor does a path so late that it
        echoes.
        """
        panel = panel_from((outlet,))
        found = set()
        for length, pool in self._lengths(job):
            answer = connect(
                panel,
                job.inputs,
                kind=job.source.kind,
                speakers_needed=job.speakers_needed,
                have=pool,
                length_m=length,
                catalogue=self.catalogue,
            )
            for path in (answer.chosen, *answer.others):
                if path is not None and path.jack is not None and path.tier is not Tier.LATE:
                    found.add(tuple(sorted(self.catalogue.one_name(item) for item in path.items)))
        return frozenset(found)

    def allows(self, job: Job, outlet: Outlet) -> bool:
        """Return whether the rules of the trade allow this outlet at all, next to the set."""
        answer = connect(
            panel_from((outlet,)),
            job.inputs,
            kind=job.source.kind,
            speakers_needed=job.speakers_needed,
            catalogue=self.catalogue,
        )
        every = (answer.chosen, *answer.others)
        return any(
            path is not None and path.jack is not None and path.tier is not Tier.LATE for path in every
        )

    def _lengths(self, job: Job) -> list[tuple[float, frozenset[str]]]:
        """Return lengths to ask for, each with preferred items: one size of plain analog cable, then the
        stock.

        With one size in all ways of a job, the same cable serves behind a converter, without it, and at other
        jobs. So the bag holds fewer kinds. The longer sizes of other jobs serve here too. The digital cable
        before a converter has the day's shortest size.
        """
        own = self.size(job.length_m)
        sizes = sorted({own, *(size for run in self.runs if (size := self.size(run)) > own)})
        least = min(map(self.size, self.runs), default=own)
        short = self._digital.get(least, frozenset()) if least <= SHORT else frozenset()
        asked = [(size, short | self._analog.get(size, frozenset())) for size in sizes]
        if self.have:
            asked += [(job.length_m, self.have), (sizes[-1], self.have)]
        return asked

    def size(self, run_m: float) -> float:
        """Return the cable size for a run: the next size up, or a slightly longer one that the day needs."""
        return self._sizes.get(run_m) or self._next_size(run_m)

    def _next_size(self, run_m: float) -> float:
        return min((size for size in self._analog if size >= run_m), default=run_m)

    @cached_property
    def _sizes(self) -> dict[float, float]:
        every = sorted({self._next_size(run) for run in self.runs})
        longer: dict[float, float] = {}
        for size in reversed(every):  # each is found among those above it
            longer[size] = max((longer[other] for other in longer if other <= size + NEARLY), default=size)
        return {run: longer[self._next_size(run)] for run in self.runs}

    @cached_property
    def _analog(self) -> dict[float, frozenset[str]]:
        return self._cables(analog=True)

    @cached_property
    def _digital(self) -> dict[float, frozenset[str]]:
        return self._cables(analog=False)

    def _cables(self, *, analog: bool) -> dict[float, frozenset[str]]:
        """Return plain cables by length."""
        found: dict[float, set[str]] = {}
        for item in self.catalogue.items:
            takes = any(one.analog for near in item.near for one in near.takes)
            if item.role is Role.CABLE and takes is analog:
                found.setdefault(item.length_m, set()).add(item.name)
        return {length: frozenset(names) for length, names in found.items()}

    def works(self, bundle: Bundle) -> float:
        """Return the chance that every item of a bundle works."""
        p = 1.0
        for item in bundle:
            p *= self.catalogue.item(item).works
        return p


class Finder:
    """Build the worlds of jobs from expectations, with the bundles that connect in them."""

    def __init__(self, ways: Ways) -> None:
        self._ways = ways
        self._bundles: dict[tuple[object, ...], frozenset[Bundle]] = {}
        self._allowed: dict[tuple[object, ...], bool] = {}
        self._does: dict[tuple[object, ...], frozenset[Bundle]] = {}

    def bundles(self, job: Job, output: Output, speakers: Speakers, taken: bool) -> frozenset[Bundle]:
        """Return the bundles for one outlet; each question goes to the rules once.

        The effect on the speakers decides only if the outlet is allowed. It does not change the input, the
        items or the length.
        """
        key = (*_about(job), output, taken)
        if key not in self._bundles:
            self._bundles[key] = self._ways.of(job, Outlet(output, Speakers.STAY_ON, taken))
        if speakers is Speakers.STAY_ON or not self._bundles[key]:
            return self._bundles[key]
        asked = job.source.kind, job.speakers_needed, output, speakers
        if asked not in self._allowed:
            self._allowed[asked] = self._ways.allows(job, Outlet(output, speakers))
        return self._bundles[key] if self._allowed[asked] else frozenset()

    def does(self, job: Job, live: Iterable[Live]) -> frozenset[Bundle]:
        """Return every bundle that connects some live outlet."""
        outlets = frozenset(live)
        key = (*_about(job), outlets)
        if key not in self._does:
            found = (self.bundles(job, one.output, Speakers.STAY_ON, one.taken) for one in outlets)
            self._does[key] = frozenset().union(*found)
        return self._does[key]

    def cases(self, job: Job, expected: Expectation) -> list[Case]:
        """Return the worlds of a job with their chances; they sum to one but for those below LEAST."""
        odds: dict[Live, float] = {}
        cases: list[Case] = []
        for outputs, p in expected.shapes:
            cases += self._of_panel(job, outputs, p, expected, odds)
        cases += self._of_unlisted(job, expected, odds)
        return _answered(cases, job.answers) if job.answers else cases

    def _of_panel(
        self,
        job: Job,
        outputs: tuple[Output, ...],
        p: float,
        expected: Expectation,
        odds: dict[Live, float],
    ) -> Iterable[Case]:
        """Return the worlds in which the set has this panel, which has the chance ``p``."""
        for used, p_used in _uses(job, outputs, expected).items():
            if p * p_used < LEAST:
                continue
            found: list[tuple[frozenset[Live], float]] = [(frozenset(), p * p_used)]
            for output in outputs:
                one = Live(output, output.signal in used)
                if one not in odds:
                    odds[one] = self._alive(job, output, one.taken, expected)
                q = odds[one]
                if q > 0:
                    split = [(live | {one}, chance * q) for live, chance in found]
                    split += [(live, chance * (1 - q)) for live, chance in found if q < 1]
                    found = [pair for pair in split if pair[1] >= LEAST]
            yield from (Case(chance, live, outputs, used) for live, chance in found)

    def _of_unlisted(self, job: Job, expected: Expectation, odds: dict[Live, float]) -> list[Case]:
        """Return the worlds of unrecorded panels, modelled on rarely recorded ones."""
        if expected.other <= LEAST:
            return []
        seldom = [(outputs, p) for outputs, p in expected.shapes if p < SELDOM]
        whole = sum(p for _, p in seldom)
        like: dict[frozenset[Live], float] = {}
        for outputs, p in seldom:
            for case in self._of_panel(job, outputs, p / whole, expected, odds):
                like[case.live] = like.get(case.live, 0.0) + case.p * expected.other
        connectable = [(p, live) for live, p in like.items() if live and p >= LEAST]
        likeliest = sorted(connectable, key=lambda one: (-one[0], sorted(one[1])))[:UNLISTED]
        cases = [Case(p, live, None) for p, live in likeliest]
        return [*cases, Case(max(0.0, expected.other - sum(case.p for case in cases)), frozenset(), None)]

    def _alive(self, job: Job, output: Output, taken: bool, expected: Expectation) -> float:
        """Return the chance that an existing outlet can be connected."""
        return (1 - dead_here(output, expected)) * self.heard(job, output, taken, expected)

    def heard(self, job: Job, output: Output, taken: bool, expected: Expectation) -> float:
        """Return the chance that the set's speakers allow an outlet."""
        effects = expected.speakers[output]
        does = [effects[effect] for effect in EFFECTS if self.bundles(job, output, effect, taken)]
        return sum(does) if len(does) < len(EFFECTS) else 1.0


def _answered(cases: Sequence[Case], answers: Collection[tuple[Signal, bool]]) -> list[Case]:
    """Return the cases that fit the answers, with their relative chances unchanged."""
    fits = [
        case
        for case in cases
        if all(
            (signal in {one.signal for one in case.panel}) is yes
            if case.panel is not None
            else yes or signal not in {one.output.signal for one in case.live}
            for signal, yes in answers
        )
    ]
    before, after = sum(case.p for case in cases), sum(case.p for case in fits)
    return [case._replace(p=case.p * before / after) for case in fits] if after else []


def dead_here(output: Output, expected: Expectation) -> float:
    """Return the chance, by its trials, that no remedy makes this output of this set carry sound."""
    chance = expected.works[output]
    if dead := expected.dead.get(output):
        return dead if dead < GIVEN_UP else 1.0  # as for ``kb.path``
    return 1 - chance.p if chance.findings and chance.p < DOUBTED else 0.0


def _about(job: Job) -> tuple[object, ...]:
    """Return the facts on which the ways to the driver depend."""
    return job.source.kind, job.inputs, job.speakers_needed, job.length_m


def _uses(job: Job, outputs: tuple[Output, ...], expected: Expectation) -> Mapping[frozenset[Signal], float]:
    """Return the chance of each choice of outputs in use, as far as the job leaves it open."""
    if job.taken is not None:
        return {job.taken & {output.signal for output in outputs}: 1.0}
    every = expected.taken[outputs]
    if not job.free:
        return every
    left = {used: p for used, p in every.items() if not used & job.free}
    whole = sum(left.values())
    return {used: p / whole for used, p in left.items()} if whole else {frozenset(): 1.0}
