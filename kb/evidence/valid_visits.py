"""Select the visits that are valid, and sum up those to one set or family."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

from kb.domain.visit import Source, Visit
from kb.domain.words import Kind
from kb.evidence.groups import ANY, Place, set_of


@dataclass(frozen=True, slots=True)
class Circle:
    """What the book knows of a set, or of a family, beyond its findings."""

    kind: Kind
    era: str
    display: str
    year: int | None = None
    family: str = ""


def standing(visits: Iterable[Visit]) -> list[Visit]:
    """Each visit once, without those that another supersedes, in an order of its own."""
    known = list({visit.id or id(visit): visit for visit in visits}.values())
    gone = {old for visit in known for old in visit.supersedes}
    named = (v for v in known if v.id not in gone and set_of(v.source))
    return sorted(named, key=lambda v: (set_of(v.source), v.date, v.id or repr(v)))


def merged(visits: Sequence[Visit]) -> Source:
    """The source as most visits describe it."""
    first = visits[-1].source
    return replace(
        first,
        kind=most(v.source.kind for v in visits) or first.kind,
        display=most(v.source.display for v in visits),
        year=most(v.source.year for v in visits),
        size_in=most(v.source.size_in for v in visits),
    )


def usual(places: Sequence[Place]) -> Place:
    """The kind, era and display that most of a family's sets have, as far as known."""
    return Place(
        most(p.kind for p in places),
        most(p.era for p in places if p.era != ANY) or ANY,
        most(p.display for p in places if p.display != ANY) or ANY,
    )


def most(values: Iterable[Any]) -> Any:
    counts = Counter(value for value in values if value is not None)
    return min(counts, key=lambda value: (-counts[value], str(value))) if counts else None
