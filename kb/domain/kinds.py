"""Define the kinds of value that a field can hold: each reads one strictly and knows its bounds.

A field of a visit is declared once, where its dataclass names it, with :func:`declared`. Files, CSV, the
tables of a book, the form of the page and the tests derive from that declaration.

>>> from dataclasses import dataclass, field
>>> @dataclass(frozen=True)
... class Cable:
...     name: str = field(metadata=declared(Name(), "what it is called"))
...     length_m: float = field(default=1.5, metadata=declared(Number(0.1, 50, "metres"), "how long"))
>>> read_object(Cable, {"name": "thin one"}, "cable", "an object with a name")
Cable(name='thin one', length_m=1.5)
>>> write_object(Cable("thin one", 2.0))
{'name': 'thin one', 'length_m': 2.0}
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import MISSING, Field, fields, is_dataclass, replace
from datetime import date as Day
from datetime import datetime
from typing import Any, Final, TypeVar
from uuid import UUID

from kb.base import text
from kb.base.errors import BadInput
from kb.base.messages import Said, Wording, one_of
from kb.base.parsing import stored_json
from kb.base.validation import Fields, bounded, from_to, keyed, listed, truth, whole
from kb.domain.words import DriverInput, Word

T = TypeVar("T")

FIRST_DATE: Final = Day(1970, 1, 1)
_ISO_DATE: Final = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}\Z")


# Plain classes: each is loaded by every cold look-up, and a generated dataclass costs a millisecond to make.


class ValueKind:
    """A kind of value. ``expected`` says for people what it must be."""

    expected: Wording = ""

    def read(self, value: object, place: Wording) -> Any:
        """The value as the domain holds it; raises BadInput naming ``place``."""
        raise NotImplementedError


class OneOf(ValueKind):
    """One word of a vocabulary."""

    def __init__(self, words: type[Word]) -> None:
        self.words = words
        self.expected = one_of(words)

    def read(self, value: object, place: Wording) -> Word:
        return self.words.read(value, place)


class Line(ValueKind):
    """One line of text of at most ``most`` characters; it may be empty."""

    expected = Said("expected/line-of-text")

    def __init__(self, most: int = text.LINE) -> None:
        self.most = most

    def read(self, value: object, place: Wording) -> str:
        return text.line(value, place, self.most)


class Name(ValueKind):
    """One line of text with at least one letter or digit."""

    def __init__(self, expected: Wording = "a name", most: int = text.LINE) -> None:
        self.expected, self.most = expected, most

    def read(self, value: object, place: Wording) -> str:
        name = text.line(value, place, self.most, empty=False)
        if not text.squeezed(name):
            raise BadInput(place, name, Said("expected/letters-or-digits"))
        return name


class Note(ValueKind):
    """Free text of several lines."""

    expected = Said("expected/text")

    def __init__(self, most: int = text.NOTE) -> None:
        self.most = most

    def read(self, value: object, place: Wording) -> str:
        return text.note(value, place, self.most)


class Flag(ValueKind):
    """True or false."""

    expected = Said("expected/true-or-false")

    def read(self, value: object, place: Wording) -> bool:
        return truth(value, place)


class Number(ValueKind):
    """A number from ``low`` to ``high``; ``above``: the low end itself is refused."""

    def __init__(
        self, low: float, high: float, expected: Wording = "", *, unit: str = "", above: bool = False
    ) -> None:
        self.low, self.high, self.above = low, high, above
        self.expected = expected or from_to(low, high, unit)

    def read(self, value: object, place: Wording) -> float:
        return bounded(value, place, low=self.low, high=self.high, expected=self.expected, above=self.above)


class Whole(ValueKind):
    """A whole number from ``low`` to ``high``."""

    def __init__(self, low: int, high: int, expected: Wording = "") -> None:
        self.low, self.high = low, high
        self.expected = expected or Said("expected/whole-from-to", low=low, high=high)

    def read(self, value: object, place: Wording) -> int:
        return whole(self.low, self.high, self.expected)(value, place)


class CalendarDay(ValueKind):
    """A calendar date, ISO 8601, from 1970 on."""

    expected = Said("expected/date")

    def read(self, value: object, place: Wording) -> Day:
        found = value
        if isinstance(found, datetime):
            found = found.date()
        elif isinstance(found, str) and _ISO_DATE.match(found):
            try:
                found = Day.fromisoformat(found)
            except ValueError:
                found = None
        if not isinstance(found, Day):
            raise BadInput(place, value, self.expected)
        if found < FIRST_DATE:
            raise BadInput(place, value, Said("expected/date-from", first=FIRST_DATE))
        return found


class Identifier(ValueKind):
    """A UUID in its usual lower-case form."""

    expected = Said("expected/uuid")

    def read(self, value: object, place: Wording) -> str:
        if isinstance(value, str) and len(value) <= 45:
            try:
                return str(UUID(value))
            except ValueError:
                pass
        raise BadInput(place, value, self.expected)


class ListOf(ValueKind):
    """A list of at most ``most`` values of one kind; ``distinct``: each counts once."""

    expected = Said("expected/list")

    def __init__(self, kind: ValueKind, most: int, *, distinct: bool = False) -> None:
        self.kind, self.most, self.distinct = kind, most, distinct

    def read(self, value: object, place: Wording) -> tuple[Any, ...]:
        found = listed(self.kind.read, self.most)(value, place)
        return tuple(dict.fromkeys(found)) if self.distinct else found


class Keyed(ValueKind):
    """An object of at most ``most`` entries whose keys are data too, held as pairs in their order."""

    expected = Said("expected/object")

    def __init__(self, key: ValueKind, kind: ValueKind, most: int) -> None:
        self.key, self.kind, self.most = key, kind, most

    def read(self, value: object, place: Wording) -> tuple[tuple[Any, Any], ...]:
        return tuple(keyed(self.key.read, self.kind.read, self.most)(value, place).items())


class Inputs(ListOf):
    """The inputs of a driver, each once."""

    def __init__(self) -> None:
        super().__init__(OneOf(DriverInput), 100, distinct=True)  # more than today: the words may grow
        self.expected = Said("expected/list-of", words=", ".join(DriverInput))

    def read(self, value: object, place: Wording) -> tuple[DriverInput, ...]:
        return DriverInput.read_all(value, place)


class Attachment(ValueKind):
    """An object that goes with a visit, held as canonical JSON of at most ``most`` characters, "" for none.

    What it means is known to the package that reads it.
    """

    expected = Said("expected/object")

    def __init__(self, most: int) -> None:
        self.most = most

    def read(self, value: object, place: Wording) -> str:
        if not isinstance(value, Mapping):
            raise BadInput(place, value, self.expected)
        try:
            # A later release writes texts out as they are: what steers a terminal must not be in them. After
            # that two keys may be equal or in another order, so it is read again before it is written.
            written = _canonical(json.loads(text.visible(_canonical(value))))
        except (ValueError, RecursionError, TypeError):
            raise BadInput(place, Said("seen/not-for-json"), Said("expected/json-values")) from None
        if len(written) > self.most:
            raise BadInput(
                place, Said("seen/characters", count=len(written)), Said("expected/at-most", most=self.most)
            )
        return written if value else ""


def _canonical(value: object) -> str:
    return json.dumps(value, sort_keys=True, ensure_ascii=False, allow_nan=False, default=str)


class Part(ValueKind):
    """An object with fields of its own, held as a dataclass."""

    def __init__(self, of: type[Any], expected: Wording) -> None:
        self.of, self.expected = of, expected

    def read(self, value: object, place: Wording) -> Any:
        return read_object(self.of, value, place, self.expected)


class Declared:
    """What is declared of one field besides its name, type and default.

    ``about``: what it says, for the documentation of the file format; ``private``: it is kept from other
    books; ``key``: its key in files, ``column``: its column in CSV, "" where these are no others.
    """

    def __init__(self, kind: ValueKind, about: str, private: bool, key: str, column: str) -> None:
        self.kind, self.about, self.private, self.key, self.column = kind, about, private, key, column


def declared(
    kind: ValueKind, about: str, *, private: bool = False, key: str = "", column: str = ""
) -> dict[str, Declared]:
    """The metadata of a declared field, for ``dataclasses.field(metadata=...)``."""
    return {"declared": Declared(kind, about, private, key, column)}


class DeclaredField:
    """A declared field of a dataclass: ``name`` in code, ``key`` in files, ``column`` in CSV."""

    def __init__(self, one: Field[Any]) -> None:
        what: Declared = one.metadata["declared"]
        self.name, self.key = one.name, what.key or one.name
        self.column = what.column or self.key
        self.kind, self.about, self.private = what.kind, what.about, what.private
        self.required = one.default is MISSING and one.default_factory is MISSING
        self.default: Any = None if self.required else one.default


def fields_of(of: type[Any]) -> tuple[DeclaredField, ...]:
    """The declared fields of a dataclass in their order; fields without a declaration are left out."""
    found = _KNOWN.get(of)
    if found is None:
        found = _KNOWN[of] = tuple(DeclaredField(one) for one in fields(of) if "declared" in one.metadata)
    return found


_KNOWN: Final[dict[type[Any], tuple[DeclaredField, ...]]] = {}


def part_of(one: DeclaredField) -> type[Any] | None:
    """The dataclass of a field that has fields of its own, as a source and a driver; else None."""
    of = getattr(one.kind, "of", None)
    return of if is_dataclass(of) and isinstance(of, type) else None


def without_private(value: T) -> T:
    """The same value with every private field at its default, and parts that say nothing then left out.

    A list of values with private fields of their own is the caller's.
    """
    changed: dict[str, Any] = {}
    for one in fields_of(type(value)):
        held = getattr(value, one.name)
        if one.private:
            changed[one.name] = one.default
        elif (part := part_of(one)) is not None and held is not None:
            bare = without_private(held)
            changed[one.name] = None if not one.required and bare == part() else bare
    return replace(value, **changed)  # type: ignore[type-var]  # every declared class is a dataclass


def take_fields(of: type[Any], given: Fields) -> dict[str, Any]:
    """The declared fields of ``of`` that an object gives, by name; raises BadInput if one is missing."""
    found: dict[str, Any] = {}
    missing: Any = MISSING
    for one in fields_of(of):
        if one.required:
            found[one.name] = given.need(one.key, one.kind.read, one.kind.expected)
        elif (value := given.take(one.key, one.kind.read, missing)) is not missing:
            found[one.name] = value
    return found


def read_object(of: type[T], data: object, place: Wording, expected: Wording) -> T:
    """The dataclass ``of`` whose fields all are declared, read from parsed JSON or TOML; raises BadInput."""
    given = Fields(data, place, expected, bare=True)
    made = of(**take_fields(of, given))
    given.end()
    return made


#: Words that say that nothing is known; they are left out of files.
_UNKNOWN: Final = frozenset({"unknown", "not-tried"})


def write_object(value: Any) -> dict[str, Any]:
    """The declared fields of a dataclass as plain values by key; what is unknown or empty is left out."""
    return dict(_written(value))


def _written(value: Any) -> Iterator[tuple[str, Any]]:
    for one in fields_of(type(value)):
        held = getattr(value, one.name)
        plain = _plain(one.kind, held)
        # A list that is empty though it need not be there says something: nobody uses any of these.
        if plain is not None and (plain not in ("", [], {}) or (plain == [] and one.default is None)):
            yield one.key, plain


def is_unknown(value: Any) -> bool:
    """Is it a word that says that nothing is known?"""
    return isinstance(value, Word) and value.value in _UNKNOWN


def _plain(kind: ValueKind, value: Any) -> Any:
    if value is None or isinstance(value, bool):
        return value
    if isinstance(value, Word):
        return None if is_unknown(value) else value.value
    if is_dataclass(value):
        return write_object(value)
    if isinstance(kind, Attachment):
        return stored_json(value, Said("place/attached")) if value else None
    if isinstance(value, Day):
        return value.isoformat()
    if isinstance(kind, Keyed):
        return {_plain(kind.key, key): _plain(kind.kind, one) for key, one in value}
    if isinstance(value, Sequence) and not isinstance(value, str):
        inner = kind.kind if isinstance(kind, ListOf) else kind
        return [_plain(inner, one) for one in value]
    return value
