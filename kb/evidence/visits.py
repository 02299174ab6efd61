"""Select the valid visits and the trials that count, and summarise the visits to one set.

Suppose a jack was silent (or spoilt, weak, humming, late) and later carried sound *after a setting*. Then it
works with that setting: the next visitor sees it and sets it. The failed trial was not made as it should be,
and counts neither way. (Common practice: most silence at a good jack comes from the format, or from an item
"speakers and optical".) PCM after silence is such a setting, and so is any repair that ended the trouble. The
later trial has to be of a later day, of the same job, or further down in the same visit. It must
have the same mark as far as both record one, and a remedy that the first trial did not have. A failure
*after* the remedy was known counts: an update may have taken it away.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Any, NamedTuple

from kb.base.text import squeezed
from kb.domain.visit import Finding, Source, Visit
from kb.domain.words import WORKED, Format, Outcome
from kb.evidence.groups import ANY, Place, set_of
from kb.evidence.signature import Output, output_of


def valid_visits(visits: Iterable[Visit]) -> list[Visit]:
    """Return each visit once, without superseded ones, in a fixed order."""
    known = list({visit.id or id(visit): visit for visit in visits}.values())
    gone = {old for visit in known for old in visit.supersedes}
    named = (v for v in known if v.id not in gone and set_of(v.source))
    return sorted(named, key=lambda v: (set_of(v.source), v.date, v.id or repr(v)))


def merged(visits: Sequence[Visit]) -> Source:
    """Return the source as most visits describe it."""
    first = visits[-1].source
    return replace(
        first,
        kind=most(v.source.kind for v in visits) or first.kind,
        display=most(v.source.display for v in visits),
        year=most(v.source.year for v in visits),
        size_in=most(v.source.size_in for v in visits),
    )


def usual(places: Sequence[Place]) -> Place:
    """Return the kind, era and display that most of a family's sets have, as far as known."""
    return Place(
        most(p.kind for p in places),
        most(p.era for p in places if p.era != ANY) or ANY,
        most(p.display for p in places if p.display != ANY) or ANY,
    )


def most(values: Iterable[Any]) -> Any:
    counts = Counter(value for value in values if value is not None)
    return min(counts, key=lambda value: (-counts[value], str(value))) if counts else None


class _Cure(NamedTuple):
    output: Output
    finding: Finding
    visit: Visit


class Remedies:
    """Hold the trials of one set's jacks that carried sound. ``visits``: all its valid ones."""

    def __init__(self, visits: Sequence[Visit]) -> None:
        self._cures = [
            _Cure(output, one, visit)
            for visit in visits
            for one in visit.findings
            if one.outcome is Outcome.CARRIED and (output := output_of(one.jack)) is not None
        ]

    def put_right(self, visit: Visit, finding: Finding) -> bool:
        """Return whether this finding of ``visit`` failed and a remedy made its jack work later."""
        if finding.outcome in (Outcome.CARRIED, Outcome.NOT_TRIED):
            return False
        output = output_of(finding.jack)
        return any(
            cure.output == output
            and _same_mark(cure.finding, finding)
            and _has_remedy(cure, finding)
            and _later(cure, visit, finding)
            for cure in self._cures
        )


def _same_mark(one: Finding, other: Finding) -> bool:
    return len({squeezed(one.jack.marking), squeezed(other.jack.marking)} - {""}) < 2


def _has_remedy(cure: _Cure, failed: Finding) -> bool:
    """Return whether the later trial had a setting, PCM or a repair that the failed one did not have."""
    setting = squeezed(cure.finding.setting)
    silent = WORKED[failed.outcome] == 0 and failed.jack.format is not Format.PCM
    pcm = silent and cure.finding.jack.format is Format.PCM
    return bool(setting and setting != squeezed(failed.setting)) or pcm or bool(cure.visit.case)


def _later(cure: _Cure, visit: Visit, failed: Finding) -> bool:
    if cure.visit is visit:
        return visit.findings.index(cure.finding) > visit.findings.index(failed)
    # Of one day only the job, or the repair, tells that one trial followed the other.
    same_job = bool(visit.job) and visit.job == cure.visit.job
    same_day = cure.visit.date == visit.date and bool(same_job or cure.visit.case)
    return same_day or cure.visit.date > visit.date
