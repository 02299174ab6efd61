"""Define the values of a packing plan."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from typing import Final

from kb.domain.visit import Source
from kb.domain.words import Signal
from kb.evidence import Likely, Output
from kb.pack.jobs import Job
from kb.pack.scenarios import Bundle

HINDERED: Final = 3  #: jobs that are named because they keep the target from being reached, at most


@dataclass(frozen=True, slots=True)
class Line:
    """``count`` of an item, ``in_stock`` of them to hand; ``uses``: job numbers, each with its outputs."""

    item: str
    count: int
    in_stock: int
    uses: tuple[tuple[int, tuple[Output, ...]], ...]


class Useless(Enum):
    """Why an output that is there is of no use."""

    MUTES = "mutes-speakers"
    TAKEN = "taken"
    FAILS = "known-not-to-work"
    NO_WAY = "no-way-to-input"


@dataclass(frozen=True, slots=True)
class Risk:
    """What may be found that the list cannot connect. ``live``: outputs that would do with other items.

    Without live outputs ``panel`` is what is there and of no use, ``why`` says why; None: a panel that
    nobody has recorded.
    """

    p: float
    live: tuple[Output, ...]
    panel: tuple[Output, ...] | None
    taken: tuple[Signal, ...] = ()
    why: tuple[Useless, ...] = ()


@dataclass(frozen=True, slots=True)
class Use:
    """An output that the list connects: the chance to find it of use here, that sound comes, and by which
    items. ``works`` counts an output tried as it should be, and the items on the way."""

    output: Output
    there: float
    works: float
    items: Bundle


@dataclass(frozen=True, slots=True)
class JobPlan:
    """One job: its certainty by itself with the whole list, what is expected there, what may go wrong.

    ``works``: the chance that what is connected carries sound at once, at the likeliest of the outputs that
    the list connects; ``uses`` has these outputs, the likeliest to work first. ``prior_share``: how much of
    what is expected rests on common practice instead of findings. ``if_free``: what could be reached if
    nobody needed the speakers; None: that would change little, or nobody does.
    """

    job: Job
    source: Source
    certainty: float
    reachable: float
    works: float
    expected: tuple[Likely, ...]
    uses: tuple[Use, ...]
    risks: tuple[Risk, ...]
    prior_share: float = 0.0
    if_free: float | None = None

    @property
    def hindrance(self) -> Risk | None:
        """What most of all no item helps against; None: nothing worth a word."""
        return next((risk for risk in self.risks if not risk.live), None)


@dataclass(frozen=True, slots=True)
class Next:
    """The items that would add most to the certainty for what they cost, and the gain."""

    items: Bundle
    gain: float


@dataclass(frozen=True, slots=True)
class Answer:
    """What an answer on the phone would do: its chance, then the items for this job and their certainty.

    ``fewer`` and ``more``: what the job needs less and more than without asking.
    """

    p: float
    items: Bundle
    certainty: float
    cost: float
    fewer: Bundle = ()
    more: Bundle = ()


@dataclass(frozen=True, slots=True)
class Ask:
    """A question that saves most. ``about`` the output asked for; None: a photo of the back.

    ``jobs``: the numbers of the jobs at which to ask it. ``saves`` is the expected cost saved at these jobs,
    each by itself, in the measure of prices; ``share`` of their cost; ``items`` how many items fewer that is
    at the first job on average. The answers are those of the first job.

    The code ``speakers`` asks whether anybody needs the set's own speakers: it saves nothing, but if nobody
    does, ``lifts`` more of the first job can be reached.
    """

    jobs: tuple[int, ...]
    code: str
    about: Output | None
    saves: float
    share: float
    yes: Answer | None = None
    no: Answer | None = None
    items: float = 0.0
    lifts: float = 0.0

    @property
    def job(self) -> int:
        """The job at which it saves most."""
        return self.jobs[0]


@dataclass(frozen=True, slots=True)
class Plan:
    """What to carry. ``certainty`` that all jobs connect; ``reachable`` with everything there is.

    ``bound``: no list that is as sure costs less; equal to ``cost`` where ``optimal``. ``exact``: the
    certainty is the chance itself and no lower bound of it.
    """

    items: tuple[Line, ...]
    certainty: float
    target: float
    reachable: float
    cost: float
    bound: float
    optimal: bool
    exact: bool
    jobs: tuple[JobPlan, ...]
    next: Next | None
    ask: tuple[Ask, ...] = ()

    @property
    def reached(self) -> bool:
        """Does the list reach the target?"""
        return self.certainty >= self.target - 1e-9

    @property
    def hindered(self) -> tuple[int, ...]:
        """Where the target is out of reach: the numbers of the jobs that keep it from being reached most."""
        if self.reached:
            return ()
        worst = sorted(enumerate(self.jobs, 1), key=lambda one: (one[1].reachable, one[0]))
        fair = self.target ** (1 / len(self.jobs))
        return tuple(n for n, job in worst if job.reachable < fair and job.hindrance)[:HINDERED]
