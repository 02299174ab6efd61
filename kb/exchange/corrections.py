"""Correct, withdraw and merge: each correction is a new entry, and nothing is changed in place.

>>> from kb.domain.visit import visit_from
>>> old = visit_from({"id": "0192a6c0-0000-7000-8000-000000000001", "date": "2026-03-04",
...                   "source": {"make": "Norwell", "model": "NV40-21O"},
...                   "jacks": [{"form": "toslink", "marking": "OPTICAL OUT"}]})
>>> new = corrected(old, ["model=NV40-210", "1.outcome=silent"])
>>> new.source.model, new.findings[0].outcome.value, new.supersedes == (old.id,)
('NV40-210', 'silent', True)
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from typing import Any, Final

from kb.base.errors import BadInput, NotFound, shown
from kb.base.messages import Said, one_of
from kb.base.text import words_of_list
from kb.domain.jack import Jack
from kb.domain.kinds import DeclaredField, Flag, ListOf, Name, Number, Whole, fields_of
from kb.domain.language import Language
from kb.domain.shortform import jack as short_jack
from kb.domain.visit import (
    SUPERSEDES,
    Driver,
    Finding,
    Source,
    Visit,
    finding_to,
    plain_fields,
    set_key,
    visit_from,
    visit_to,
)
from kb.store import Snapshot, Store
from kb.store.facts import (
    AliasFact,
    Change,
    Fact,
    VisitFact,
    briefly,
    changes,
    latest_entry,
    rows,
    starting_with,
)

LEAST: Final = 4  #: characters of an id that name a visit
#: The fields that can be corrected, by the names that are typed.
_SOURCE: Final = {one.key: one for one in fields_of(Source)}
_DRIVER: Final = {one.column: one for one in fields_of(Driver)}
_VISIT: Final = {one.key: one for one in plain_fields()}
_JACK: Final = {one.key: one for of in (Jack, Finding) for one in fields_of(of)}
_PLACE: Final = re.compile(r"(\d{1,3})\.([a-z_]+)\Z")


def named(book: Snapshot, given: str) -> tuple[type[Fact], str]:
    """Return kind and full id of the visit, merge or released note whose id begins so.

    Raises BadInput if it is no id or fits several, NotFound if it fits none.
    """
    start = given.strip().lower()
    if not LEAST <= len(start) <= 36 or not re.fullmatch(r"[0-9a-f-]+", start):
        raise BadInput("id", given, Said("expected/more-of-short-id", least=LEAST))
    found = starting_with(book, start)
    if not found:
        raise NotFound(Said("error/no-fact-see-history", id=shown(start)))
    if len(found) > 1:
        begin = briefly(book, [one for _, one in found[:5]]).values()
        raise BadInput("id", given, Said("expected/more-of-id", ids=", ".join(begin)))
    return found[0]


def visit_named(book: Snapshot, given: str) -> Visit:
    """Return the visit whose id begins so; raises as ``named``."""
    kind, fact = named(book, given)
    if kind is not VisitFact:
        raise BadInput("id", given, Said("expected/visit-not-merge"))
    return book.visit(latest_entry(book, fact))


def corrected(
    visit: Visit, edits: Sequence[str], dropped: Sequence[int] = (), added: Sequence[str] = ()
) -> Visit:
    """Return the visit with fields changed (``year=2015``, ``2.outcome=silent``; nothing after ``=`` clears).

    Jacks are dropped by number (from 1) and added in short form. Raises BadInput if one is wrong or nothing
    changes.
    """
    data = visit_to(visit)
    before = visit_to(visit)
    for edit in edits:
        name, sign, value = edit.partition("=")
        if not sign:
            raise BadInput("correct", edit, Said("expected/edits"))
        _put(data, name.strip(), value)
    for number in sorted(set(dropped), reverse=True):
        if not 1 <= number <= len(data["jacks"]):
            raise BadInput("--drop", number, _jacks(data))
        del data["jacks"][number - 1]
    data["jacks"] += [
        finding_to(short_jack(one, Said("place/jack", number=n)))
        for n, one in enumerate(added, len(data["jacks"]) + 1)
    ]
    if visit_to(visit_from(data)) == before:
        raise BadInput("correct", Said("seen/no-change"), Said("expected/changes"))
    return succeeding(visit_from({**data, "id": None, "supersedes": None}), visit)


def succeeding(new: Visit, old: Visit) -> Visit:
    """Return ``new`` as the replacement of ``old``."""
    return visit_from({**visit_to(new), "id": None, "supersedes": [old.id]})


def _jacks(data: dict[str, Any]) -> Said:
    count = len(data["jacks"])
    return Said("expected/jack-of-visit", last=count) if count else Said("expected/no-jack")


def _put(data: dict[str, Any], name: str, value: str) -> None:
    said: Any = value.strip() or None
    if place := _PLACE.match(name):
        number, field = int(place[1]), place[2]
        if field not in _JACK:
            raise BadInput(Said("place/jack", number=number), field, one_of(_JACK))
        if not 1 <= number <= len(data["jacks"]):
            raise BadInput(Said("place/jack", number=number), field, _jacks(data))
        data["jacks"][number - 1][field] = _value(_JACK[field], said)
    elif name in _SOURCE:
        data["source"][name] = _value(_SOURCE[name], said)
    elif name in _DRIVER:
        data.setdefault("driver", {})[_DRIVER[name].key] = _value(_DRIVER[name], said)
    elif name in _VISIT:
        data[name] = _value(_VISIT[name], said)
    else:
        known = ", ".join((*_SOURCE, *_VISIT, *_DRIVER))
        raise BadInput("correct", name, Said("expected/field-or-jack-field", fields=known))


def _value(one: DeclaredField, said: str | None) -> Any:
    """What was typed as a visit file has it; what is wrong in it the reader of these files names."""
    match one.kind:
        case ListOf() if said:
            return words_of_list(said, names=isinstance(one.kind.kind, Name))
        case Flag() if said:
            return {"yes": True, "no": False}.get(said.lower(), said)
        case Whole() if said and said.isdecimal() and len(said) < 10:
            return int(said)
        case Number() if said:
            with suppress(ValueError):
                return float(said)
    return said


def correct(store: Store, old: Visit, new: Visit) -> str:
    """Record ``new`` as the replacement of ``old``; return its id. Raises BadInput if that is not in force.

    If another book also corrected ``old``, ``new`` replaces both.
    """
    with store.snapshot() as book:
        _must_stand(book, old)
        every = book.to_supersede(old.id)
    new = replace(new, supersedes=tuple(dict.fromkeys((*new.supersedes, *every)))[:SUPERSEDES])
    [recorded] = store.record([new]).recorded or [None]
    if recorded is None:
        raise BadInput("correct", Said("seen/same-correction"), Said("expected/new-correction"))
    return recorded.id


def _must_stand(book: Snapshot, visit: Visit) -> None:
    entry = book.entry(visit.id)
    if entry.withdrawn:
        raise BadInput("visit", visit.id, Said("expected/visit-in-force"))
    if entry.taken_back:
        raise BadInput("visit", visit.id, Said("expected/visit-of-valid-bundle"))
    if entry.superseded_by:
        newest = book.in_force(entry).visit.id
        raise BadInput("visit", visit.id, Said("expected/newest-version", id=briefly(book, [newest])[newest]))


@dataclass(frozen=True, slots=True)
class Merge:
    """Hold two spellings of one set; ``stands`` is False if the merge was undone."""

    id: str
    spelling: str
    same_as: str
    stands: bool


def merges_of(book: Snapshot, key: str) -> list[Merge]:
    """Return every merge ever recorded of a set, or of the spellings merged with it."""
    every = [fact for fact in rows(book) if isinstance(fact, AliasFact)]
    keys = set(book.spellings.all_of(key))
    standing = {one.id for one in changes(book) if one.kind == "merge"}
    return [
        Merge(one.id, one.set_key, one.same_as, one.id in standing)
        for one in every
        if one.set_key in keys or one.same_as in keys
    ]


def merge(store: Store, spelling: tuple[str, str], same_as: tuple[str, str]) -> str:
    """Record that two spellings are one set; return the id of the merge.

    Raises NotFound if no visit has the first, BadInput if they are one set already.
    """
    keys = [set_key(*spelling), set_key(*same_as)]
    for key, name in zip(keys, (spelling, same_as), strict=True):
        if key.startswith("/") or key.endswith("/"):
            raise BadInput("merge", " ".join(name), Said("expected/make-and-model"))
    with store.snapshot() as book:
        if not book.history_of(keys[0]):
            raise NotFound(Said("error/nothing-to-merge", set=" ".join(spelling)))
    fact = store.alias(*keys)
    if not fact:
        raise BadInput("merge", " ".join(spelling), Said("expected/unmerged-spelling"))
    return fact


def latest(book: Snapshot) -> Change:
    """Return the latest correction, withdrawal or merge that was made in this book and is in force.

    Raises NotFound if there is none, naming the latest that came from elsewhere.
    """
    every = [one for one in changes(book) if one.kind != "release"]
    for one in every:
        if one.own:
            return one
    if not every:
        raise NotFound(Said("error/nothing-to-undo"))
    brief = briefly(book, [every[0].id])[every[0].id]
    raise NotFound(Said("error/nothing-own-to-undo", id=brief))


def about(book: Snapshot, change: Change, language: Language) -> str:
    """Describe a change in a few words."""
    key, brief = f"cli/undo/what/{change.kind}", briefly(book, [change.id])[change.id]
    if change.kind == "merge":
        both = next(one for one in rows(book) if isinstance(one, AliasFact) and one.id == change.id)
        return language(key, id=brief, spelling=both.set_key, same_as=both.same_as)
    if change.kind == "release":
        return language(key, id=brief)
    visit = book.visit(change.id)
    return language(key, id=brief, set=title(visit.source), date=visit.date.isoformat())


def undo(store: Store, given: str | None) -> tuple[str, str]:
    """Undo one correction, withdrawal or merge: the latest of this book, or ``given``. Return (kind, id).

    Undoing the same id once more restores it. Raises NotFound, BadInput.
    """
    with store.snapshot() as book:
        change = latest(book) if given is None else _change(book, given)
    if change.kind == "withdrawal":
        store.reinstate([change.id])
    else:
        store.withdraw([change.id])
    return change.kind, change.id


def _change(book: Snapshot, given: str) -> Change:
    kind, fact = named(book, given)
    for one in changes(book):
        if one.id == fact:
            return one
    if kind is not VisitFact or book.visit(fact).supersedes:
        return Change("withdrawal", fact, 0)  # it was undone before: put it in force again
    raise BadInput("undo", given, Said("expected/to-undo"))


def title(source: Source) -> str:
    """Return make and model in one line."""
    return f"{source.make} {source.model}"
