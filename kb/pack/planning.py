"""Plan a day from its jobs and the evidence.

*Certainty* is the chance that some acceptable output can be connected at each job with the remaining items in
the bag. It covers all unknown facts: which outputs exist, which are in use, how they affect the speakers. An
output is acceptable if ``kb.path`` offers it: it does not silence speakers that others need, is not in use
unless by a splitter, and leads into the driver. An output of a set that does not work according to the book
does not count. Jobs are independent given the evidence. Each job uses the bundle that leaves the best chance
for the jobs after it; used items stay there. On long days the stated certainty is a lower bound.

Certainty does not mean sound at once. A connected output may be silent until somebody sets a menu item
(bitstream, fixed level). That needs nothing from the bag; its chance is given separately as ``works``, which
ranks the outputs of a job. Items are taken as tested: dead items are not counted. A microphone at the
loudspeaker does not count as connected.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Final

from kb.base.errors import BadInput
from kb.base.messages import Said
from kb.catalogue import Catalogue
from kb.domain.visit import Source
from kb.evidence import Expectation
from kb.pack.jobs import Day
from kb.pack.packing import Packing
from kb.pack.plan_values import Plan
from kb.pack.questions import ASKED, about_speakers, questions_for
from kb.pack.scenarios import Ways

TARGET: Final = 0.95


def pack(
    day: Day,
    expect: Callable[[Source], Expectation],
    *,
    target: float = TARGET,
    catalogue: Catalogue | None = None,
    questions: bool = True,
) -> Plan:
    """Return the cheapest list of items with which all jobs of ``day`` connect with chance ``target``.

    ``expect`` is ``Evidence.expect``. The result is exact as far as WORK steps allow (``optimal`` says so):
    for a single job in all cases seen, for a few jobs mostly. Beyond that ``certainty`` is at most the
    chance, and ``bound`` a cost that no list can undercut. If the target is out of reach, the list reaches
    nearly all that is reachable (``goal_for``). Items that add hardly anything (LEAVE) are not considered.

    Raises BadInput for a target out of range, and for stock or prices that the catalogue does not know.
    """
    if not 0 < target < 1:
        raise BadInput("target", target, Said("expected/target"))
    packing = Packing(day, expect, target, Ways.of_day(day.jobs, day.have, catalogue))
    plan = packing.plan()
    if not questions:
        return plan
    return replace(plan, ask=(*about_speakers(plan), *questions_for(packing))[:ASKED])
