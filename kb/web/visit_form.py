"""Read the form at the set, and make a visit of it.

An ``Entry`` is the form as text, field by field; nothing that was typed is lost on the way to the server and
back. ``data`` gives the keys of a visit file, which ``kb.domain.visit`` then reads as it reads any other.

>>> entry = Entry.read({"make": "Norwell", "model": "NV40-210", "date": "2026-03-04",
...                     "jack-7-form": "toslink", "jack-7-marking": "OPTICAL OUT"})
>>> entry.data()["jacks"]
[{'form': 'toslink', 'marking': 'OPTICAL OUT'}]
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

import uuid_utils

from kb.base import clock, text
from kb.base.errors import BadInput, inside
from kb.base.messages import Said, Wording, is_key
from kb.domain.jack import Jack
from kb.domain.kinds import (
    DeclaredField,
    Flag,
    Line,
    ListOf,
    Name,
    Note,
    Number,
    OneOf,
    Whole,
    fields_of,
)
from kb.domain.language import ENGLISH, Language
from kb.domain.visit import JACKS, Driver, Finding, Source, Visit, finding_from, plain_fields, visit_to
from kb.domain.words import Direction, Outcome, Signal, Speakers

#: Fields of the source, as they are named in the form.
_SOURCE: Final = {one.key: one for one in fields_of(Source)}
#: Fields of the driver. They are kept when a visit is corrected; the form does not ask for them.
_DRIVER: Final = {"driver" if one.key == "name" else f"driver_{one.key}": one for one in fields_of(Driver)}
CARRIED: Final = tuple(_DRIVER)
_OWN: Final = (*_SOURCE, *CARRIED)
#: Fields of the whole visit.
_WHOLE: Final = {one.key: one for one in plain_fields()}
VISIT: Final = (*_OWN, *_WHOLE)
_JACK: Final = {one.key: one for of in (Jack, Finding) for one in fields_of(of)}
#: Fields of one jack.
JACK: Final = tuple(_JACK)
_NAME: Final = re.compile(r"jack-([0-9]{1,4})-([a-z0-9_]+)\Z")
NOT_TRIED: Final = Outcome.NOT_TRIED.value
UNKNOWN: Final = Speakers.UNKNOWN.value
_FLAGS: Final = {"yes": True, "no": False}

#: Fields that have a place of their own on the page, with a label in its words.
_PLACED: Final = frozenset(
    {
        *("make", "model", "kind", "display", "year", "size_in", "date", "basis", "by", "job", "note"),
        *("form", "marking", "colour", "direction", "signal", "level", "format"),
        *("speakers", "outcome", "taken", "items", "input", "setting"),
    }
)


@dataclass(frozen=True, slots=True)
class Other:
    """A field without a place of its own: the page asks for it at the end, by its declared kind.

    ``choices``: the words of a vocabulary, or the values that can be chosen; none where it is typed.
    ``private``: it stays in this book. ``long``: it has several lines.
    """

    key: str
    about: str
    choices: tuple[str, ...]
    private: bool
    most: int
    long: bool


def _others(some: Mapping[str, DeclaredField]) -> tuple[Other, ...]:
    return tuple(_other(one) for key, one in some.items() if key not in _PLACED)


def _other(one: DeclaredField) -> Other:
    kind = one.kind
    choices: tuple[str, ...] = ()
    if isinstance(kind, OneOf):
        choices = tuple(kind.words)
    elif isinstance(kind, Flag):
        choices = tuple(_FLAGS)
    most = kind.most if isinstance(kind, Line | Name | Note) else text.NOTE
    about = one.about[0].upper() + one.about[1:]
    return Other(one.key, about, choices, one.private, most, isinstance(kind, Note))


OTHERS: Final = _others({**_SOURCE, **_WHOLE})
JACK_OTHERS: Final = _others(_JACK)


@dataclass
class Entry:
    """The form: what it says of the visit, of each jack in its order, and which photos it has."""

    visit: dict[str, str] = field(default_factory=dict)
    jacks: list[dict[str, str]] = field(default_factory=list)
    id: str = ""
    supersedes: str = ""  #: ids of the visits that it corrects, with commas between them
    photos: list[str] = field(default_factory=list)
    sent: list[str] = field(default_factory=list)  #: names of the photos that came along, "" if left out

    @classmethod
    def new(cls, make: str = "", model: str = "", by: str = "") -> Entry:
        """An empty form with an id of its own; where script runs, the phone makes the id."""
        visit = {"make": make, "model": model, "date": clock.today().isoformat(), "by": by}
        return cls(visit, id=new_id())

    @classmethod
    def read(cls, sent: Mapping[str, str], photos: list[str] | None = None) -> Entry:
        """The form as it was sent. Raises BadInput if it has more jacks than a panel."""
        visit = {name: sent[name] for name in VISIT if sent.get(name)}
        found: dict[int, dict[str, str]] = {}
        for key, value in sent.items():
            if (named := _NAME.match(key)) and named[2] in JACK:
                found.setdefault(int(named[1]), {})[named[2]] = value
        if len(found) > JACKS:
            raise BadInput(
                Said("web/record/jacks"),
                Said("count/jack", count=len(found)),
                Said("expected/at-most", most=JACKS),
            )
        jacks = [jack for _, jack in sorted(found.items()) if jack.get("form")]
        return cls(visit, jacks, sent.get("id", ""), sent.get("supersedes", ""), photos or [])

    @classmethod
    def of(cls, visit: Visit, supersedes: Sequence[str] = ()) -> Entry:
        """A form that corrects ``visit``: the same words, a new id.

        ``supersedes``: ids of all that the correction takes the place of, if not of the visit alone.
        """
        data = visit_to(visit)
        driver = data.pop("driver", {})
        carried = {name: driver[one.key] for name, one in _DRIVER.items() if one.key in driver}
        said_of = {**data, **data["source"], **carried}
        entry = cls({name: _typed(said_of[name]) for name in VISIT if name in said_of}, id=new_id())
        for jack in data["jacks"]:
            entry.jacks.append({key: _typed(jack[key]) for key in JACK if key in jack})
        entry.supersedes = ",".join(supersedes or [visit.id])
        return entry

    # -- changing ----------------------------------------------------------------------------------------

    def add(self, form: str, marking: str = "") -> None:
        """One more jack at the end; on a full panel nothing is added."""
        if len(self.jacks) < JACKS:
            self.jacks.append({"form": form, "marking": marking})

    def drop(self, number: int) -> None:
        """Without jack ``number``, counted from 0."""
        if 0 <= number < len(self.jacks):
            del self.jacks[number]

    # -- as a visit --------------------------------------------------------------------------------------

    def data(self) -> dict[str, Any]:
        """The keys of a visit file. Raises BadInput for an invalid number."""
        data: dict[str, Any] = _said(self.visit, _WHOLE)
        data |= {"source": _said(self.visit, _SOURCE), "jacks": [self._jack(jack) for jack in self.jacks]}
        if driver := _said(self.visit, _DRIVER):
            data["driver"] = driver
        if self.id:
            data["id"] = self.id
        if self.supersedes:
            data["supersedes"] = self.supersedes.split(",")
        return data

    def read_so_far(self, language: Language = ENGLISH) -> list[str]:
        """For each jack what the panel reader makes of it, in words, or what is wrong with it."""
        return [self._read(jack, language) for jack in self.jacks]

    def in_only(self) -> list[bool]:
        """For each jack: is it read as one that gives no sound out, so that nobody tries it?"""
        return [self._in_only(jack) for jack in self.jacks]

    def _in_only(self, jack: dict[str, str]) -> bool:
        try:
            seen = finding_from(self._jack(jack), "").jack
        except BadInput:
            return False
        untried = jack.get("outcome", NOT_TRIED) == NOT_TRIED and jack.get("speakers", UNKNOWN) == UNKNOWN
        return untried and (seen.direction is Direction.INPUT or seen.signal is Signal.NOT_AUDIO)

    def _read(self, jack: dict[str, str], language: Language) -> str:
        try:
            finding = finding_from(self._jack(jack), "")
        except BadInput as wrong:
            return wrong.in_language(language.code)
        seen = finding.jack
        words = [language.word(seen.direction), *([language.word(seen.signal)] if seen.signal else [])]
        return f"{language('language/join').join(words)} ({finding.why(language)})"

    @staticmethod
    def _jack(jack: Mapping[str, str]) -> dict[str, Any]:
        return _said(jack, _JACK)


def _typed(value: Any) -> str:
    """The value of a visit file as text in the form."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return text.joined(value, ",") if isinstance(value, list) else str(value)


def _said(typed: Mapping[str, str], some: Mapping[str, DeclaredField]) -> dict[str, Any]:
    """The keys of a visit file for these fields of the form, those left empty apart."""
    return {one.key: _meant(one, typed[name]) for name, one in some.items() if typed.get(name)}


def _meant(one: DeclaredField, typed: str) -> Any:
    match one.kind:
        case Whole():
            return _number(typed, one.key, int)
        case Number():
            return _number(typed, one.key, float)
        case Flag():
            return _FLAGS.get(typed, typed)
        case ListOf():
            return text.parted(typed, ",")
    return typed


def new_id() -> str:
    """An id of a visit: a UUID, version 7."""
    return str(uuid_utils.uuid7())


def field_of(place: Wording, entry: Entry) -> str:
    """The id of the form's field that a place such as ``visit, jack 2, marking`` is about; "" for none.

    >>> field_of(inside("visit", Said("place/jack", number=2), "marking"), Entry(jacks=[{}, {}]))
    'jack-1-marking'
    """
    parts = list(_parts(place))
    jack = next((part for part in parts if isinstance(part, Said)), None)
    names = [part for part in parts if isinstance(part, str) and part in (*VISIT, *JACK)]
    name = names[-1] if names else ""
    if jack is not None:
        number = int(str(jack.values["number"])) - 1
        return f"jack-{number}-{name or 'form'}" if 0 <= number < len(entry.jacks) else ""
    return name if name in VISIT else ""


def _parts(place: object) -> Iterator[Wording]:
    """The names of fields in a place, outermost first, and the jack as it is."""
    if isinstance(place, str):
        yield from place.split(", ")
    elif isinstance(place, Said) and place.key == "place/jack":
        yield place
    elif isinstance(place, Said):
        for value in place.values.values():
            yield from _parts(value)


#: Labels of fields of a jack that are not the key of the field.
_LABELS: Final = {"marking": "printed"}


def place_of(field: str) -> Wording:
    """The place of a mistake as the form calls it: the label of the field with this id; "" for none.

    >>> print(place_of("jack-1-marking"))
    jack 2, mark
    """
    named = _NAME.match(field)
    name = named[2] if named else field
    key = f"web/record/{_LABELS.get(name, name)}"
    if not is_key(key):
        return ""
    label = Said(key)
    return inside(Said("place/jack", number=int(named[1]) + 1), label) if named else label


def _number(typed: str, place: str, kind: type[int] | type[float]) -> float:
    try:
        return kind(typed.strip().replace(",", "."))
    except ValueError:
        raise BadInput(place, typed, Said("expected/number")) from None
