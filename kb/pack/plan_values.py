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

HINDERED: Final = 3  #: jobs named as keeping the target from being reached, at most


@dataclass(frozen=True, slots=True)
class Line:
    """Hold ``count`` of an item, ``in_stock`` of them at hand; ``uses``: job numbers with their outputs."""

    item: str
    count: int
    in_stock: int
    uses: tuple[tuple[int, tuple[Output, ...]], ...]


class Useless(Enum):
    """Why an existing output is of no use."""

    MUTES = "mutes-speakers"
    TAKEN = "taken"
    FAILS = "known-not-to-work"
    NO_WAY = "no-way-to-input"


@dataclass(frozen=True, slots=True)
class Risk:
    """Describe a possible find that the list cannot connect. ``live``: outputs that other items would
    connect.

    Without live outputs, ``panel`` holds the useless outputs and ``why`` the reason; None: an unrecorded
    panel.
    """

    p: float
    live: tuple[Output, ...]
    panel: tuple[Output, ...] | None
    taken: tuple[Signal, ...] = ()
    why: tuple[Useless, ...] = ()


@dataclass(frozen=True, slots=True)
class Use:
    """Describe an output that the list connects: its chances and its items.

    ``there`` is the chance to find it usable here. ``works`` covers an output tried as it should be, and the
    items on the way.
    """

    output: Output
    there: float
    works: float
    items: Bundle


@dataclass(frozen=True, slots=True)
class JobPlan:
    """Describe one job: its certainty by itself with the whole list, its expected panels, and its risks.

    ``works``: the chance that the connection carries sound at once, at the likeliest of the outputs that the
    list connects. ``uses`` has these outputs, the likeliest to work first. ``prior_share``: the share of the
    expectation that rests on common practice instead of findings. ``if_free``: the reachable chance if nobody
    needed the speakers; None if that changes little, or nobody needs them. ``sockets``: outlets that the
    driver and the boxes of one way take, at most.
    """

    job: Job
    source: Source
    certainty: float
    reachable: float
    works: float
    expected: tuple[Likely, ...]
    uses: tuple[Use, ...]
    risks: tuple[Risk, ...]
    prior_share: float
    if_free: float | None
    sockets: int

    @property
    def hindrance(self) -> Risk | None:
        """Return the greatest risk that no item removes; None if there is none worth mentioning."""
        return next((risk for risk in self.risks if not risk.live), None)


@dataclass(frozen=True, slots=True)
class Next:
    """Hold the items that would add most to the certainty for their cost, and the gain."""

    items: Bundle
    gain: float


@dataclass(frozen=True, slots=True)
class Answer:
    """Hold the effect of an answer on the phone: its chance, the items for this job, and their certainty.

    ``fewer`` and ``more``: items that the job then needs less or more of than without asking.
    """

    p: float
    items: Bundle
    certainty: float
    cost: float
    fewer: Bundle = ()
    more: Bundle = ()


@dataclass(frozen=True, slots=True)
class Ask:
    """Hold a question that saves cost. ``about`` is the output in question; None: a photo of the back.

    ``jobs``: the numbers of the jobs at which to ask it. ``saves`` is the expected cost saved at these jobs,
    each by itself, in the unit of prices; ``share`` of their cost. ``items`` is how many items fewer the
    first job needs on average. The answers are those of the first job.

    The code ``speakers`` asks whether anybody needs the set's own speakers. It saves nothing. If nobody does,
    ``lifts`` is the gain in the reachable chance of the first job.
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
        """Return the job at which it saves most."""
        return self.jobs[0]


@dataclass(frozen=True, slots=True)
class Plan:
    """Hold the items to carry. ``certainty`` that all jobs connect; ``reachable`` with the whole catalogue.

    ``bound``: no list of the same certainty costs less; equal to ``cost`` if ``optimal``. ``exact``: the
    certainty is the chance itself, not a lower bound of it.
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
        """Return whether the list reaches the target."""
        return self.certainty >= self.target - 1e-9

    @property
    def hindered(self) -> tuple[int, ...]:
        """Return the numbers of the jobs that most keep the list from the target, () if it is reached."""
        if self.reached:
            return ()
        worst = sorted(enumerate(self.jobs, 1), key=lambda one: (one[1].reachable, one[0]))
        fair = self.target ** (1 / len(self.jobs))
        return tuple(n for n, job in worst if job.reachable < fair and job.hindrance)[:HINDERED]
