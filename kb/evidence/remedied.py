"""Find failed trials that a later setting put right: they count neither for nor against the jack.

A jack that was silent (or spoilt, weak, humming, late) and later carried sound *after a setting* works, with
that setting: the next visitor is told of it and sets it. The trial that failed was not made as it should be,
and counts neither way (common practice: the format, or an item "speakers and optical", is what silence at a
good jack comes from mostly). The later one has to be of a later day, or further down in the same visit, of
the same mark as far as both note one, and with a setting that the first trial did not have already.
A failure *after* the remedy was known counts: an update may have taken it away.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date as Day
from typing import NamedTuple

from kb.base.text import squeezed
from kb.domain.visit import Finding, Visit
from kb.domain.words import Outcome
from kb.evidence.signature import Output, output_of


class _Cure(NamedTuple):
    output: Output
    marking: str
    setting: str
    date: Day
    visit: int
    place: int


class Remedies:
    """The settings after which jacks of one set carried sound. ``visits``: all that stand of it."""

    def __init__(self, visits: Sequence[Visit]) -> None:
        self._cures = [
            _Cure(output, squeezed(one.jack.marking), squeezed(one.setting), visit.date, number, place)
            for number, visit in enumerate(visits)
            for place, one in enumerate(visit.findings)
            if one.outcome is Outcome.CARRIED
            and squeezed(one.setting)
            and (output := output_of(one.jack)) is not None
        ]

    def put_right(self, visit: Visit, number: int, finding: Finding) -> bool:
        """Did this finding of visit ``number`` fail, and did its jack carry sound later by a setting?"""
        if finding.outcome in (Outcome.CARRIED, Outcome.NOT_TRIED):
            return False
        output, marking = output_of(finding.jack), squeezed(finding.jack.marking)
        place, had = visit.findings.index(finding), squeezed(finding.setting)
        return any(
            cure.output == output
            and (not marking or not cure.marking or cure.marking == marking)
            and cure.setting != had
            and (cure.date > visit.date or (cure.visit == number and cure.place > place))
            for cure in self._cures
        )
