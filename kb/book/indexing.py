"""Fill the index from the book."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from kb.base.text import squeezed
from kb.domain.panel import Panel, PanelJack, reconcile, source_of
from kb.domain.visit import Source, Visit
from kb.domain.words import Basis, Direction, Display, Kind, Level, Outcome, Signal, Speakers
from kb.index import Index, SetEntry
from kb.index.entry import SIZE
from kb.path import best_to_json, connect
from kb.store.revision import Standing

if TYPE_CHECKING:
    from kb.base.progress import Progress
    from kb.domain.words import DriverInput
    from kb.store import Snapshot


#: The level of an output in words.
_LEVELS = {
    Level.FIXED: "fixed level",
    Level.VARIABLE: "level follows the volume control",
    Level.SELECTABLE: "level fixed or variable",
}

_TELLING = (Outcome.WEAK, Outcome.SILENT, Outcome.HUM, Outcome.DISTORTED, Outcome.DELAYED)
"""Outcomes that were trouble."""


def catch_up(
    index: Index,
    before: Standing | None,
    now: Snapshot,
    inputs: Sequence[DriverInput],
    tell: Progress | None,
) -> None:
    """Give the index what it has missed since the book's state ``before``; rebuild it if it cannot
    tell what that is. To be called under the index's writing lock."""
    stands = now.standing
    if before == stands:
        return
    if before is None or not now.follows(before):
        rebuild(index, now, inputs, tell)
        return
    entries, gone = [], []
    for key, visits in now.visits_of_sets(now.sets_changed_since(before.revision)):
        if visits:
            entries.append(entry(key, visits, inputs))
        else:
            gone.append(key)
    index.update(entries, gone, stands.revision, _mark(stands))


def rebuild(index: Index, now: Snapshot, inputs: Sequence[DriverInput], tell: Progress | None) -> None:
    """Rebuild the index from the store."""
    total = now.counts().sets if tell else 0
    index.rebuild(
        (entry(key, visits, inputs) for key, visits in now.visits_of_sets()),
        now.revision,
        _mark(now.standing),
        progress=(lambda done: tell(done, total)) if tell else None,
    )


def entry(key: str, visits: list[Visit], inputs: Sequence[DriverInput]) -> SetEntry:
    """What the index holds of a set."""
    source, panel = kept_name(source_of(visits), key, visits), reconcile(visits)
    years = sorted(visit.source.year for visit in visits if visit.source.year)
    names = dict.fromkeys((visit.source.make, visit.source.model) for visit in visits)
    signals = (one.jack.signal.value for one in panel.jacks if one.jack.usable and one.jack.signal)
    outcomes = (outcome.value for one in panel.jacks for outcome, _ in one.outcomes)
    return SetEntry(
        key=key,
        make=source.make,
        model=source.model,
        kind=source.kind.value,
        findings=sum(one.findings for one in panel.jacks),
        visits=len(visits),
        years=(years[0], years[-1]) if years else (None, None),
        signals=tuple(dict.fromkeys(signals)),
        outcomes=tuple(dict.fromkeys(outcomes)),
        best=json.dumps(best_of(panel, source, inputs)),
        aliases=tuple(name for name in names if name != (source.make, source.model)),
        text=tuple(_texts(panel, visits)),
        sizes=tuple(sorted({visit.source.size_in for visit in visits if visit.source.size_in})),
        facts=tuple(dict.fromkeys(_facts(panel, visits))),
    )


def _facts(panel: Panel, visits: Sequence[Visit]) -> Iterator[str]:
    """The words on record by their field, as the fields of ``FACT_FIELDS`` have them."""
    for one in panel.jacks:
        yield f"form:{one.jack.form.value}"
        for field, word in (
            ("speakers", one.speakers),
            ("level", one.jack.level),
            ("format", one.jack.format),
            ("direction", one.jack.direction),
        ):
            if word and word.value != "unknown":
                yield f"{field}:{word.value}"
    for visit in visits:
        yield f"basis:{visit.basis.value}"
        if visit.source.display:
            yield f"display:{visit.source.display.value}"
    known = {visit.source.size_in for visit in visits if visit.source.size_in}
    inches = known or set(filter(None, [size_in_model(visits[0].source.model)]))
    yield from (f"{SIZE}:{one:.0f}" for one in sorted(inches))


def size_in_model(model: str) -> int:
    """The picture size in inches that a model number begins with (common practice); 0 if there is none.

    >>> size_in_model("NV40-210"), size_in_model("T7"), size_in_model("HX-9021")
    (40, 0, 90)
    """
    digits = re.search(r"\d{2}", squeezed(model))
    return int(digits[0]) if digits and 13 <= int(digits[0]) <= 98 else 0


def best_of(panel: Panel, source: Source, inputs: Sequence[DriverInput]) -> dict[str, Any]:
    """The way to a driver with these inputs, by the set's own findings, and the inputs it holds for."""
    way = connect(panel, inputs, kind=source.kind, display=source.display, year=source.year)
    return {"inputs": list(inputs), "best": best_to_json(way)}


def kept_name(source: Source, key: str, visits: Sequence[Visit]) -> Source:
    """Of a set with merged spellings: the source under the name that is kept, as most visits spell it."""
    if source.key == key or not any(visit.source.key == key for visit in visits):
        return source
    kept = source_of(visit for visit in visits if visit.source.key == key)
    return replace(source, make=kept.make, model=kept.model)


def _mark(stands: Standing) -> str:
    return f"{stands.book}/{stands.mark}"


def _texts(panel: Panel, visits: Sequence[Visit]) -> Iterator[tuple[str, str]]:
    """The texts of a set by field, each once."""
    for one in panel.jacks:
        if one.jack.marking:
            yield "marking", one.jack.marking
        yield from (("setting", setting) for setting in one.settings)
    rare = _rare(visits)
    # Notes and facts of one jack are one line: "headphone too quiet" asks for both of the same jack.
    for one in panel.jacks:
        yield (
            "note" if one.notes else "fact",
            "; ".join([*(note.text for note in one.notes), _told(one, rare)]),
        )
    yield from (("note", note) for note in dict.fromkeys(visit.note for visit in visits) if note)
    yield from (("fact", fact) for fact in dict.fromkeys(_known(visits, rare)))


def _rare(visits: Sequence[Visit]) -> list[str]:
    """The kind and the display of a source in words, where they are not the usual ones."""
    kinds = [one.source.kind.label for one in visits if one.source.kind not in (Kind.TELEVISION, Kind.OTHER)]
    shown = [one.source.display for one in visits if one.source.display]
    return list(dict.fromkeys([*kinds, *(one.label for one in shown if one is not Display.FLAT)]))


def _told(one: PanelJack, rare: Sequence[str]) -> str:
    """What is on record of a jack, in words."""
    jack = one.jack
    heard = jack.signal and jack.signal is not Signal.NOT_AUDIO  # "no usable sound" is not "no sound"
    parts = [jack.signal.label if jack.signal and heard else "", jack.form.label, jack.direction.label]
    if one.speakers is not Speakers.UNKNOWN:
        parts.append(f"speakers {one.speakers.value.replace('-', ' ')}")
    if jack.direction is Direction.OUTPUT and jack.level in _LEVELS:
        parts.append(_LEVELS[jack.level])
    parts += [outcome.label for outcome, _ in one.outcomes]
    parts += ["in use"] * bool(one.taken_seen) + list(one.items)
    parts += rare if heard and jack.direction is Direction.OUTPUT else []
    return ", ".join(dict.fromkeys(filter(None, parts)))


def _known(visits: Sequence[Visit], rare: Sequence[str]) -> Iterator[str]:
    """What is on record besides the panel: what was tried without success, bases other than our own eyes."""
    for finding in (
        one for visit in visits for one in visit.findings if one.outcome in _TELLING and one.items
    ):
        jack = finding.jack
        yield ", ".join(
            [jack.signal.label if jack.signal else jack.form.label, finding.outcome.label, *finding.items]
        )
    for basis in dict.fromkeys(visit.basis for visit in visits):
        if basis in (Basis.MANUAL, Basis.TOLD):
            yield f"known as {basis.label}"
    yield from rare
