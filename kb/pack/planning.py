"""Plan a day from its jobs and the evidence.

What *certainty* means: the chance that at each job some acceptable output can be connected with what is
still in the bag, over everything that is not known - which outputs there are, which are in use, what they do
to the speakers. Acceptable is what ``kb.path`` offers: not silencing speakers that others need, not in use
unless by a splitter, leading into the driver. An output of a set that the book knows not to work does not
count. Jobs are independent given the evidence. At each job that bundle is used which leaves the best chance
for the jobs after it; what is used stays there. On long days the certainty stated is a lower bound of it.

What it does not mean: that sound comes at once. A connected output may be silent until a menu item is set
(bitstream, fixed level); that is put right on the spot, needs nothing from the bag, and is given beside it as
``works``, by which the outputs of a job are ranked. Items are taken as tested: that one of them is dead is
not counted. A microphone at the loudspeaker does not count as connected.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Final

from kb.base.errors import BadInput
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
    """The cheapest list of items with which all jobs of ``day`` connect with chance ``target``.

    ``expect`` is ``Evidence.expect``. Exact as far as WORK steps allow (``optimal`` says so): a single job
    always as far as seen, a few jobs mostly; beyond that ``certainty`` is no more than the chance, and
    ``bound`` a cost that no list can undercut. Where the target is out of reach the list reaches nearly all
    that can be reached (``goal_for``). Items that hardly add (LEAVE) are not considered.

    Raises BadInput for a target out of range, and for stock or prices that the catalogue does not know.
    """
    if not 0 < target < 1:
        raise BadInput("target", target, "a chance between 0 and 1, such as 0.95")
    packing = Packing(day, expect, target, Ways.of_day(day.jobs, day.have, catalogue))
    plan = packing.plan()
    if not questions:
        return plan
    return replace(plan, ask=(*about_speakers(plan), *questions_for(packing))[:ASKED])
