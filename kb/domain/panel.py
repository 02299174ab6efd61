"""Reconcile visits to one panel: the jacks of a source as known now.

A panel is reconciled from visits: who is believed is settled by basis and date, and every disagreement
is counted and kept in view. The order in which visits come in does not matter.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any, Final, NamedTuple

from kb.base.text import plain_capitals
from kb.domain import marking
from kb.domain.jack import Jack
from kb.domain.visit import Finding, Source, Visit
from kb.domain.words import REMEDY, WORKED, Basis, Direction, Form, Format, Outcome, Signal, Speakers


class Dispute(NamedTuple):
    """Visits disagree on one field of one jack. ``said``: (value, how many findings), strongest first."""

    field: str
    said: tuple[tuple[str, int], ...]

    @property
    def conflicts(self) -> int:
        """Findings that do not say what the strongest says."""
        return sum(count for _, count in self.said[1:])


class Note(NamedTuple):
    """Words of a visit about one jack, with whose and when. Another book's notes have no name."""

    text: str
    by: str
    date: date

    @property
    def signed(self) -> str:
        """The words with name and date, on one line: ``no light, shutter stuck (RT, 2026-03-04)``."""
        who = ", ".join(one for one in (self.by, self.date.isoformat()) if one)
        return f"{' '.join(self.text.split())} ({who})"


@dataclass(frozen=True, slots=True)
class PanelJack:
    """One jack of a panel with what all visits together say of it."""

    jack: Jack
    speakers: Speakers = Speakers.UNKNOWN
    taken: bool = False
    """In use by something else at this place. Taken elsewhere counts in ``taken_seen`` only."""
    findings: int = 0
    taken_seen: int = 0
    outcomes: tuple[tuple[Outcome, int], ...] = ()
    disputes: tuple[Dispute, ...] = ()
    settings: tuple[str, ...] = ()
    notes: tuple[Note, ...] = ()
    """The newest first; words that several visits have are those of the newest."""
    items: tuple[str, ...] = ()
    """What connected it when it last carried sound."""
    inferred: tuple[str, ...] = ()
    """Which of direction, signal and level nobody said: the panel reader inferred what is believed."""

    @property
    def conflicts(self) -> int:
        """How many findings disagree with what is believed here."""
        return sum(dispute.conflicts for dispute in self.disputes)

    def tried(self, *outcomes: Outcome) -> int:
        """How many findings tell one of ``outcomes``."""
        return sum(count for outcome, count in self.outcomes if outcome in outcomes)

    @property
    def in_vain(self) -> float:
        """How many trials failed if none gave sound, else 0; one despite a remedy counts REMEDY times."""
        worked = {outcome: count for outcome, count in self.outcomes if outcome in WORKED}
        if any(WORKED[outcome] for outcome in worked):
            return 0.0
        failed = sum(worked.values())
        remedied = failed if self.jack.format is Format.PCM else min(failed, len(self.settings))
        return failed + (REMEDY - 1) * remedied


@dataclass(frozen=True, slots=True)
class Panel:
    """All jacks of a source as known now, in the order of the visit that saw it best."""

    jacks: tuple[PanelJack, ...] = ()
    visits: int = 0

    @property
    def conflicts(self) -> int:
        """Disagreements of all jacks."""
        return sum(jack.conflicts for jack in self.jacks)

    def has(self, signal: Signal) -> bool:
        """Is there an output of this signal? ARC and eARC are the same socket."""
        return any(one.jack.usable and one.jack.signal in _one_socket([signal]) for one in self.jacks)

    def taken(self, signals: Iterable[Signal]) -> Panel:
        """The panel with the outputs of these signals in use by something else."""
        used = _one_socket(signals)
        return replace(
            self,
            jacks=tuple(
                replace(one, taken=one.taken or (one.jack.usable and one.jack.signal in used))
                for one in self.jacks
            ),
        )


_ARC: Final = frozenset({Signal.ARC, Signal.EARC})


def _one_socket(signals: Iterable[Signal]) -> frozenset[Signal]:
    """These signals, and with ARC also eARC: both come out of one socket."""
    named = frozenset(signals)
    return named | _ARC if named & _ARC else named


def source_of(visits: Iterable[Visit]) -> Source:
    """The source as most visits call it; among equals the strongest visit is believed, then the newest.

    A name in small letters alone is what people type in haste, so it counts only if nobody wrote another.
    Of two names from equal visits of the same day, the last by code point is shown: "Norwell", not "NORWELL".

    Raises ValueError if there is no visit at all.
    """
    known = sorted(visits, key=_rank, reverse=True)
    if not known:
        raise ValueError("a source is known from its visits; there are none")
    sources = [visit.source for visit in known]
    kinds = Counter(source.kind for source in sources)
    names: dict[tuple[str, str], list[tuple[int, date]]] = {}
    for visit in known:
        names.setdefault((visit.source.make, visit.source.model), []).append(visit.rank[:2])
    make, model = max(names, key=lambda name: (_written(name), len(names[name]), max(names[name]), name))

    def most(values: list[Any]) -> Any:
        counts = Counter(value for value in values if value is not None)
        return max(counts, key=lambda value: counts[value]) if counts else None

    return replace(
        sources[0],
        make=make,
        model=model,
        kind=max(kinds, key=lambda kind: kinds[kind]),
        display=most([source.display for source in sources]),
        year=most([source.year for source in sources]),
        size_in=most([source.size_in for source in sources]),
    )


def _written(name: tuple[str, str]) -> int:
    """How many of make and model are written with capitals, or have no letters."""
    return sum(part != part.lower() or part == part.upper() for part in name)


def panel_of(visit: Visit) -> Panel:
    """The panel as this one visit saw it, jacks in its order, taken where it says taken."""
    panel = reconcile([visit])
    taken = [bool(finding.taken) for finding in visit.findings]
    jacks = tuple(replace(one, taken=used) for one, used in zip(panel.jacks, taken, strict=True))
    return replace(panel, jacks=jacks)


def reconcile(visits: Iterable[Visit]) -> Panel:
    """One panel from all visits to a set.

    A visit that another one supersedes is left out. Within a form, findings of different visits speak of
    the same jack when their marks read alike, unless one visit saw two such jacks; a worn mark joins the
    only jack of its form. A jack that people only tell of, and that somebody who looked at the whole panel
    did not list, is unclear until somebody sees it. Each field is believed from the visit of the strongest
    basis, the latest of these; other values are counted as conflicts (common practice).
    """
    known = list({visit.id or id(visit): visit for visit in visits}.values())
    gone = {old for visit in known for old in visit.supersedes}
    standing = sorted((v for v in known if v.id not in gone), key=_rank, reverse=True)
    groups = _same_jacks(standing)
    return Panel(tuple(_reconciled(group, standing) for group in groups), visits=len(standing))


def _rank(visit: Visit) -> tuple[object, ...]:
    return (*visit.rank, "" if visit.id else repr(visit))  # no id yet: any order that is always the same


_Said = tuple[Visit, Finding]
_Class = tuple[Form, Direction, Signal | None]


def _same_jacks(visits: Sequence[Visit]) -> list[list[_Said]]:
    """The findings of one jack each, strongest visit first, in the order of the panel.

    ``visits`` come strongest first; the result is a function of the set of visits only.
    """
    crowded = _crowded(visits)
    lone = _lone_classes(visits)
    groups: dict[tuple[object, ...], list[_Said]] = defaultdict(list)
    for visit in visits:
        seen: Counter[tuple[object, ...]] = Counter()
        for finding in visit.findings:
            jack = finding.jack
            kind = _class(jack)
            name: tuple[object, ...]
            if not jack.marking and jack.form in lone:
                kind = lone[jack.form]
            # Where one visit saw two of a kind, their marks tell them apart; else every spelling is one jack.
            name = (*kind, plain_capitals(jack.marking)) if kind in crowded else kind
            seen[name] += 1
            groups[(*name, seen[name])].append((visit, finding))
    return list(groups.values())


def _class(jack: Jack) -> _Class:
    """What the mark alone says a jack is; an unmarked jack is of the class that nothing is known of."""
    reading = marking.read(jack.form, jack.marking, jack.colour)
    if reading.also is not None:  # a combined jack is one jack, whichever plug somebody thought of
        return Form.JACK_35, reading.direction, Signal.OPTICAL
    return jack.form, reading.direction, reading.signal


def _crowded(visits: Sequence[Visit]) -> set[_Class]:
    """Classes of which some visit saw two or more marked jacks."""
    crowded = set()
    for visit in visits:
        counts = Counter(_class(f.jack) for f in visit.findings if f.jack.marking)
        crowded |= {kind for kind, count in counts.items() if count > 1}
    return crowded


def _lone_classes(visits: Sequence[Visit]) -> dict[Form, _Class]:
    """For a form of which no visit saw two jacks, and all marks read alike: that reading."""
    kinds: dict[Form, set[_Class]] = defaultdict(set)
    most: Counter[Form] = Counter()
    for visit in visits:
        counts = Counter(f.jack.form for f in visit.findings)
        for form, count in counts.items():
            most[form] = max(most[form], count)
        for finding in visit.findings:
            if finding.jack.marking:
                kinds[finding.jack.form].add(_class(finding.jack))
    return {form: next(iter(found)) for form, found in kinds.items() if len(found) == 1 and most[form] == 1}


_DISPUTABLE: Final = ("direction", "signal", "level", "format", "colour", "speakers")


#: A visit that lists so many jacks looked at the whole panel, not at one jack only (common practice).
_WHOLE: Final = 3


def _not_listed(group: list[_Said], visits: Sequence[Visit]) -> int:
    """Of a jack that people only tell of: how many that saw the whole panel did not list it."""
    told = all(visit.basis is Basis.TOLD for visit, _ in group)
    return sum(told and v.basis in (Basis.TESTED, Basis.SEEN) and len(v.findings) >= _WHOLE for v in visits)


def _reconciled(group: list[_Said], visits: Sequence[Visit]) -> PanelJack:
    """One jack from what visits say of it, the strongest visit first."""
    believed: dict[str, object] = {}
    disputes = []
    if not_listed := _not_listed(group, visits):
        disputes.append(Dispute("present", (("not listed", not_listed), ("told of", len(group)))))
    inferred = []
    for name in _DISPUTABLE:
        said, read = _said(group, name)
        if read:
            inferred.append(name)
        if said:
            believed[name] = next(iter(said))
        if len(said) > 1:
            disputes.append(Dispute(name, tuple((str(value), count) for value, count in said.items())))
    if not_listed:
        believed["direction"] = Direction.UNCLEAR
        inferred = [name for name in inferred if name != "direction"]
    speakers = believed.pop("speakers", Speakers.UNKNOWN)
    first = group[0][1].jack
    marked = next((f.jack.marking for _, f in group if f.jack.marking), "")
    outcomes: Counter[Outcome] = Counter(f.outcome for _, f in group)
    worked = [f.items for _, f in sorted(group, key=_when) if f.items and f.outcome is Outcome.CARRIED]
    return PanelJack(
        jack=replace(Jack(form=first.form, marking=marked), **believed),  # type: ignore[arg-type]
        speakers=Speakers(str(speakers)),
        findings=len(group),
        taken_seen=sum(bool(f.taken) for _, f in group),
        outcomes=tuple(
            (outcome, outcomes[outcome])
            for outcome in Outcome
            if outcomes[outcome] and outcome is not Outcome.NOT_TRIED
        ),
        disputes=tuple(disputes),
        settings=_distinct(f.setting for _, f in sorted(group, key=_when, reverse=True)),
        notes=_notes(sorted(group, key=_when, reverse=True)),
        items=worked[-1] if worked else (),
        inferred=tuple(inferred),
    )


def _said(group: list[_Said], name: str) -> tuple[dict[object, int], bool]:
    """The known values of one field, the believed first, with how many findings say each; and whether what is
    believed, or that nothing is known, was only inferred."""
    counts: Counter[object] = Counter()
    if len(group) > 1:
        # Within a basis, what somebody said outranks what the panel reader inferred from the mark.
        group = sorted(group, key=lambda s: (s[0].basis.weight, name not in s[1].inferred), reverse=True)
    inferred = name in group[0][1].inferred
    for _, finding in group:
        value = finding.speakers if name == "speakers" else getattr(finding.jack, name)
        if value is not None and value not in ("unknown", "unclear"):
            if not counts:
                inferred = name in finding.inferred
            counts[value] += 1
    return dict(counts), inferred  # insertion order: the group comes strongest first


def _when(said: _Said) -> tuple[date, str]:
    return said[0].date, said[0].id


def _notes(newest_first: list[_Said]) -> tuple[Note, ...]:
    found: dict[str, Note] = {}
    for visit, finding in newest_first:
        if finding.note:
            found.setdefault(finding.note, Note(finding.note, visit.by, visit.date))
    return tuple(found.values())


def _distinct(texts: Iterable[str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(text for text in texts if text))
