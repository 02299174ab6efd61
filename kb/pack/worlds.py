"""What may an installer find at one job, and which items would connect it in each case?

A *world* is what is found: which outputs are there, free or in use, that leave the speakers on where these
are needed, and that carry sound. What remains after that is a set of live outlets; ``Ways`` asks
``kb.path`` which bundles of items connect each.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from typing import Final, NamedTuple

from kb.catalogue import Catalogue, catalogue
from kb.evidence import Expectation, Outlet, Output, panel_from
from kb.evidence.signature import EFFECTS
from kb.pack.jobs import Job
from kb.path import Tier, connect
from kb.words import Signal, Speakers

Bundle = tuple[str, ...]  #: names of items, sorted, one entry a piece

LEAST: Final = 1e-5  #: worlds rarer than this are left out; they count as not connected


class Live(NamedTuple):
    """An outlet that would carry sound here: its kind, and whether something else uses it already."""

    output: Output
    taken: bool


class Case(NamedTuple):
    """A world with its chance. ``panel`` is what is there, live or not; None: a panel nobody has recorded.

    ``used``: the signals that something else uses.
    """

    p: float
    live: frozenset[Live]
    panel: tuple[Output, ...] | None
    used: frozenset[Signal] = frozenset()


@dataclass(frozen=True)
class Ways:
    """Which bundles connect an outlet to the driver of a job, as ``kb.path`` says; remembers its answers.

    ``longest``: metres of the day's longest job, whose longer cables serve at the others too. ``pools``:
    sets of items to prefer, such as the stock; each may bring another way.
    """

    catalogue: Catalogue
    longest: float = 0.0
    pools: tuple[frozenset[str], ...] = (frozenset(),)

    @classmethod
    def of_day(cls, jobs: Iterable[Job], have: Collection[str], known: Catalogue | None = None) -> Ways:
        """The ways for a day's jobs with these items in stock."""
        book = known or catalogue()
        pools = (frozenset(), book.named(have)) if have else (frozenset(),)
        return cls(book, max((job.length_m for job in jobs), default=0.0), pools)

    def of(self, job: Job, outlet: Outlet) -> frozenset[Bundle]:
        """The bundles that connect this outlet; none where the rules of the trade rule it out.

        A microphone at the loudspeaker and a way so late that it echoes are no connection to count on.
        """
        panel = panel_from((outlet,))
        found = set()
        for length in {job.length_m, max(job.length_m, self.longest)}:
            for pool in self.pools:
                answer = connect(
                    panel,
                    job.inputs,
                    kind=job.source.kind,
                    display=job.source.display,
                    speakers_needed=job.speakers_needed,
                    have=pool,
                    length_m=length,
                    catalogue=self.catalogue,
                )
                for path in (answer.chosen, *answer.others):
                    if path is not None and path.jack is not None and path.tier is not Tier.LATE:
                        found.add(tuple(sorted(self.one_name(item) for item in path.items)))
        return frozenset(found)

    def one_name(self, item: str) -> str:
        """One name for a thing that may be held either way round."""
        other = self.catalogue.item(item).same_as
        return min(item, other) if other else item


class Finder:
    """The worlds of jobs, for what is expected of each, with the bundles that do in them."""

    def __init__(self, ways: Ways) -> None:
        self._ways = ways
        self._bundles: dict[tuple[object, ...], frozenset[Bundle]] = {}
        self._does: dict[tuple[object, ...], frozenset[Bundle]] = {}

    def bundles(self, job: Job, output: Output, speakers: Speakers, taken: bool) -> frozenset[Bundle]:
        """The bundles for one outlet, each question asked of the rules once."""
        key = (*_about(job), output, speakers, taken)
        if key not in self._bundles:
            self._bundles[key] = self._ways.of(job, Outlet(output, speakers, taken))
        return self._bundles[key]

    def does(self, job: Job, live: Iterable[Live]) -> frozenset[Bundle]:
        """Every bundle that connects some live outlet."""
        outlets = frozenset(live)
        key = (*_about(job), outlets)
        if key not in self._does:
            found = (self.bundles(job, one.output, Speakers.STAY_ON, one.taken) for one in outlets)
            self._does[key] = frozenset().union(*found)
        return self._does[key]

    def cases(self, job: Job, expected: Expectation) -> list[Case]:
        """The worlds of a job with their chances, which sum to one but for what is rarer than LEAST."""
        cases: list[Case] = []
        odds: dict[Live, float] = {}
        for outputs, p in expected.shapes:
            for used, p_used in _uses(job.taken, outputs, expected).items():
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
                        split += [(live, chance * (1 - q)) for live, chance in found]
                        found = [pair for pair in split if pair[1] >= LEAST]
                cases += [Case(chance, live, outputs, used) for live, chance in found]
        if expected.other > LEAST:
            cases.append(Case(expected.other, frozenset(), None))
        return cases

    def _alive(self, job: Job, output: Output, taken: bool, expected: Expectation) -> float:
        """The chance that an outlet which is there is of use and carries sound."""
        effects = expected.speakers[output]
        fine = sum(effects[e] for e in EFFECTS if self.bundles(job, output, e, taken))
        return fine * expected.works[output].p


def _about(job: Job) -> tuple[object, ...]:
    """What the ways to the driver depend on."""
    return job.source.kind, job.source.display, job.inputs, job.speakers_needed, job.length_m


def _uses(
    taken: frozenset[Signal] | None, outputs: tuple[Output, ...], expected: Expectation
) -> Mapping[frozenset[Signal], float]:
    if taken is None:
        return expected.taken[outputs]
    return {taken & {output.signal for output in outputs}: 1.0}
