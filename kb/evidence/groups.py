"""Define the groups that a set borrows from: family, make and era, era and display, kind.

Every set is in a chain of groups, each inside the next: set, family, make-era, era-display, kind, all. Facts
that are not known of a set (its year, say) widen a group: the make's sets of all years.

If only the make of a set is known, it may belong to a known family, in proportion to the sets visited of it,
or to a new one. This is the Chinese restaurant process (Antoniak 1974). Its concentration is learned from the
number of families and visited sets of the book's makes. Without it, a make of two families would look as
mixed as a new family of the make, and expectations would be too vague.

>>> from kb.domain.visit import Source
>>> chain(Place(Kind.TELEVISION, "2011", "flat"), make="Norwell")
(('all', ''), ('kind', 'television'), ('era-display', 'television|2011|flat'),
 ('make-era', 'television|2011|flat|NORWELL'))
>>> family_of(Source("Norwell", "NV40-210")) == family_of(Source("Norwell", "NV 46-212"))
True
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from functools import lru_cache
from math import exp, lgamma, log
from typing import Final, NamedTuple

from kb.base.text import squeezed
from kb.domain.visit import Source, set_key
from kb.domain.words import Display, Kind
from kb.evidence.numerics import best

LEVELS: Final = ("all", "kind", "era-display", "make-era", "family", "set")
ANY: Final = "*"  #: a year or display that is not known

#: First years of eras (common practice): stereo sockets, SCART and composite; flat sets with analog outputs;
#: optical as the only one; ARC next to it; eARC and the end of the rest.
ERAS: Final = (1988, 1998, 2005, 2010, 2015, 2020)


class GroupFacts(NamedTuple):
    """Hold facts that the book knows of a set, or of a family, apart from findings."""

    kind: Kind
    era: str
    display: str
    year: int | None = None
    family: str = ""


class Place(NamedTuple):
    """Hold the facts that decide a set's group: kind, era (its first year or ``*``), display (or ``*``)."""

    kind: Kind
    era: str = ANY
    display: str = ANY


def era_of(year: int | None) -> str:
    """Return the first year of the era, ``early`` before the first, ``*`` if the year is not known.

    >>> era_of(2013), era_of(1970), era_of(None)
    ('2010', 'early', '*')
    """
    if year is None:
        return ANY
    started = [first for first in ERAS if first <= year]
    return str(started[-1]) if started else "early"


def display_of(source: Source) -> str:
    """Return the display, if known; before 1998 a television is a tube set, from 2010 a flat one."""
    if source.kind is not Kind.TELEVISION:
        return ANY
    if source.display is not None:
        return source.display.value
    if source.year is not None and source.year < 1998:
        return Display.TUBE.value
    if source.year is not None and source.year >= 2010:
        return Display.FLAT.value
    return ANY


def place_of(source: Source) -> Place:
    """Return the kind, era and display of ``source`` as far as known."""
    return Place(source.kind, era_of(source.year), display_of(source))


def chain(place: Place, *, make: str = "", family: str = "", key: str = "") -> tuple[tuple[str, str], ...]:
    """Return the groups from the widest to the narrowest that is known, each as (level, key)."""
    wide = f"{place.kind.value}|{place.era}|{place.display}"
    groups = [("all", ""), ("kind", place.kind.value), ("era-display", wide)]
    if squeezed(make):
        groups.append(("make-era", f"{wide}|{squeezed(make)}"))
        if family:
            groups.append(("family", family))
        if key:
            groups.append(("set", key))
    return tuple(groups)


def widened(level: str, key: str) -> tuple[str, ...]:
    """Return the groups of the same level that also count this one's sets: any era, any display, or both.

    >>> widened("era-display", "television|2011|flat")
    ('television|*|flat', 'television|2011|*', 'television|*|*')
    """
    if level not in ("era-display", "make-era"):
        return ()
    kind, era, display, *rest = key.split("|")
    every = ((ANY, display), (era, ANY), (ANY, ANY))
    keys = ("|".join((kind, e, d, *rest)) for e, d in every)
    return tuple(dict.fromkeys(one for one in keys if one != key))


def outer(level: str, key: str) -> str:
    """Return the key of the next wider group, for groups whose keys show it (make-era and wider).

    >>> outer("make-era", "television|2011|flat|NORWELL"), outer("era-display", "television|2011|flat")
    ('television|2011|flat', 'television')
    """
    if level == "make-era":
        return key.rsplit("|", 1)[0]
    return key.split("|", 1)[0] if level == "era-display" else ""


def set_of(source: Source) -> str:
    """Return the key of the set, empty if make or model is not known."""
    return _set_of(source.make, source.model)


@lru_cache(maxsize=1 << 16)  # a book names each set many times
def _set_of(make: str, model: str) -> str:
    return set_key(make, model) if squeezed(make) and squeezed(model) else ""


def family_of(source: Source) -> str:
    """Return the make with the letters and the series of the model number, without size and last digits.

    A first run of two digits is a picture size (13 to 98 inches) and becomes ``#``. Of every other run only
    the first digit, the series, stays. The index learns a better rule from the book; this one needs no book.

    >>> family_of(Source("Norwell", "NV40-210")), family_of(Source("Hallmere", "32FN14"))
    ('NORWELL/NV#2', 'HALLMERE/#FN1')
    """
    make = squeezed(source.make)
    pieces = re.findall(r"\d+|\D+", squeezed(source.model))
    folded = []
    sized = False
    for piece in pieces:
        if not piece.isdecimal():
            folded.append(piece)
        elif not sized and len(piece) >= 2 and 13 <= int(piece[:2]) <= 98:
            sized = True
            folded.append("#" + (piece[2] if len(piece) > 2 else ""))
        else:
            folded.append(piece[0])
    return f"{make}/{''.join(folded)}" if make and folded else ""


Path = tuple[tuple[str, str], ...]
FEW: Final = 6.0  #: the concentration before there are findings: makes have many series (common practice)
SPREAD: Final = 1.5  #: how far it may be from that, in logarithms


class FamilyMix:
    """Hold the families by make, with the number of sets visited of each."""

    def __init__(self, sets: Mapping[str, GroupFacts], families: Mapping[str, GroupFacts]) -> None:
        met: dict[str, int] = {}
        usual_places: dict[str, GroupFacts] = {}
        for key, group in sets.items():
            family = group.family or key
            met[family] = met.get(family, 0) + 1
            usual_places[family] = families[group.family] if group.family else group
        self._of_make: dict[str, list[tuple[str, Place, int]]] = {}
        for family, usual_place in usual_places.items():
            place = Place(usual_place.kind, usual_place.era, usual_place.display)
            self._of_make.setdefault(family.split("/", 1)[0], []).append((family, place, met[family]))
        self.fresh = _concentration(self._of_make.values())

    def of(self, make: str, place: Place) -> list[tuple[float, Path]]:
        """Return the possible families of a set of this make and place, with their chances, and a new one."""
        fits = [
            (family, usual_place, n)
            for family, usual_place, n in self._of_make.get(make, ())
            if usual_place.kind is place.kind
            and place.era in (ANY, usual_place.era)
            and place.display in (ANY, usual_place.display)
        ]
        whole = sum(n for _, _, n in fits) + self.fresh
        return [(n / whole, chain(usual_place, make=make, family=family)) for family, usual_place, n in fits]


def _concentration(makes: Iterable[list[tuple[str, Place, int]]]) -> float:
    groups: list[tuple[int, int]] = []  # families, sets
    for families in makes:
        places: dict[Place, list[int]] = {}
        for _, usual_place, n in families:
            places.setdefault(usual_place, []).append(n)
        groups += [(len(some), sum(some)) for some in places.values()]

    def score(ln: float) -> float:
        a = exp(ln)
        return (
            sum(k * log(a) + lgamma(a) - lgamma(a + n) for k, n in groups)
            - ((ln - log(FEW)) / SPREAD) ** 2 / 2
        )

    return exp(best(score, log(0.05), log(50)))
