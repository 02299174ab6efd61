"""Select the valid visits and the trials that count, and summarise the visits to one set.

Suppose a jack was silent (or spoilt, weak, humming, late) and later carried sound *after a setting*. Then it
works with that setting: the next visitor sees it and sets it. The failed trial was not made as it should be,
and counts neither way. (Common practice: most silence at a good jack comes from the format, or from an item
"speakers and optical".) The later trial has to be of a later day, or further down in the same visit. It must
have the same mark as far as both record one, and a setting that the first trial did not have. A failure
*after* the remedy was known counts: an update may have taken it away.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import date as Day
from typing import Any, NamedTuple

from kb.base.text import squeezed
from kb.domain.visit import Finding, Source, Visit
from kb.domain.words import Outcome
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
    marking: str
    setting: str
    date: Day
    visit: int
    place: int


class Remedies:
    """Hold the settings after which jacks of one set carried sound. ``visits``: all its valid ones."""

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
        """Return whether this finding of visit ``number`` failed and a setting made its jack work later."""
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
