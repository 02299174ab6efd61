"""Say which table and column of a book hold each declared field of a visit.

The tables (``schema.py``), the written rows (``rows.py``) and the read rows (``assembly.py``) follow from
this, and this from the declarations (``kb.domain.kinds``). A field with one value is a column of ``visit`` or
``finding``. A list has a table of its own. Private fields are in tables of their own.

>>> [column.name for column in VISIT][:5], [column.name for column in VISIT_PRIVATE]
(['make', 'model', 'kind', 'display', 'year'], ['driver_name', 'person', 'job', 'note'])
>>> [(one.table, one.column) for one in LISTS]
[('driver_input', 'input'), ('supersession', 'earlier'), ('finding_item', 'item')]
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import date as Day
from typing import Any, Final

from kb.base.errors import BookTooNew, shown
from kb.base.messages import Said
from kb.domain.jack import Jack
from kb.domain.kinds import (
    Attachment,
    CalendarDay,
    DeclaredField,
    Flag,
    ListOf,
    OneOf,
    ValueKind,
    fields_of,
    part_of,
)
from kb.domain.visit import Driver, Finding, Visit
from kb.domain.words import DriverInput, Form, Word

#: Columns and tables whose name differs from their field; a migration renames none of these.
_COLUMNS: Final = {(Visit, "by"): "person", (Driver, "name"): "driver_name"}
_TABLES: Final = {
    (Driver, "inputs"): ("driver_input", "input"),
    (Visit, "supersedes"): ("supersession", "earlier"),
    (Finding, "items"): ("finding_item", "item"),
}
#: Fields that are the key of their table, or are the findings, which have a table of their own.
_NO_COLUMN: Final = frozenset({(Visit, "id"), (Visit, "findings")})


class Column:
    """Describe a field with one value: ``part`` is the attribute before it, "" for the value itself."""

    def __init__(self, name: str, field: DeclaredField, part: str) -> None:
        self.name, self.field, self.part = name, field, part

    def written(self, value: Any) -> Any:
        """Return the cell for this field of a visit or finding."""
        holder = getattr(value, self.part) if self.part else value
        held = self.field.default if holder is None else getattr(holder, self.field.name)
        return held.value if isinstance(held, Word) else held

    def read(self, cell: Any) -> Any:
        """Return the value of a cell; raises ValueError or TypeError if the cell cannot be such a value."""
        return value_in(self.field.kind, cell)


class ListTable:
    """Describe a field with a list: the table with one value per row, and the column of the value.

    ``keys`` distinguish the rows of the table, the last by its position in the list, from 0.
    """

    def __init__(self, table: str, column: str, field: DeclaredField, part: str, keys: Sequence[str]) -> None:
        assert isinstance(field.kind, ListOf)
        self.table, self.column, self.field, self.part, self.keys = table, column, field, part, tuple(keys)
        self.kind = field.kind

    def written(self, value: Any) -> list[Any]:
        """Return the cells for this field of a visit or finding, one per row."""
        holder = getattr(value, self.part) if self.part else value
        held = self.field.default if holder is None else getattr(holder, self.field.name)
        return [one.value if isinstance(one, Word) else one for one in held]

    def read(self, cell: Any) -> Any:
        """Return one entry of the list; raises ValueError or TypeError if the cell cannot be one."""
        return value_in(self.kind.kind, cell)


def value_in(kind: ValueKind, cell: Any) -> Any:
    """Return the value of this kind in a cell; SQLite itself has neither dates nor flags.

    Raises ValueError or TypeError if the cell cannot be one, BookTooNew for a newer word.
    """
    if cell is None:
        return None
    if isinstance(kind, OneOf):
        return _word(kind.words, cell)
    if isinstance(kind, Flag):
        return bool(cell)
    if isinstance(kind, CalendarDay) and not isinstance(cell, Day):
        return Day.fromisoformat(cell)
    return cell


#: Vocabularies that grow without a new format of the book, with the name for one of their words.
_CALLED: Final[Mapping[type[Word], Said]] = {
    Form: Said("kind/connector"),
    DriverInput: Said("kind/driver-input"),
}


def _word(words: type[Word], cell: Any) -> Word:
    try:
        return words(cell)
    except ValueError:
        if words not in _CALLED:
            raise
    raise BookTooNew(Said("error/newer-word", kind=_CALLED[words], word=shown(cell)))


def _fields(of: type[Any], part: str = "") -> Iterator[tuple[type[Any], DeclaredField, str]]:
    """Yield the fields of a visit or finding and of its parts, each with the class that declares it."""
    for one in fields_of(of):
        inner = part_of(one)
        if inner is not None:
            yield from _fields(inner, one.name)
        elif (of, one.name) not in _NO_COLUMN:
            yield of, one, part


def _is_list(one: DeclaredField) -> bool:
    return isinstance(one.kind, ListOf)


def _columns(*of: tuple[type[Any], str], private: bool) -> tuple[Column, ...]:
    return tuple(
        Column(_COLUMNS.get((owner, one.name), one.name), one, part)
        for whole, begin in of
        for owner, one, part in _fields(whole, begin)
        if one.private is private and not _is_list(one) and not isinstance(one.kind, Attachment)
    )


def _lists() -> Iterator[ListTable]:
    for table, keys, parts in (
        ("visit", ("visit", "seq"), ((Visit, ""),)),
        ("finding", ("visit", "seq", "place"), ((Jack, "jack"), (Finding, ""))),
    ):
        for whole, begin in parts:
            for owner, one, part in _fields(whole, begin):
                if _is_list(one):
                    usual = f"{table}_{one.name}" + "_private" * one.private, one.name
                    name, column = _TABLES.get((owner, one.name), usual)
                    yield ListTable(name, column, one, part, keys)


_PANEL: Final = (Jack, "jack"), (Finding, "")
VISIT: Final = _columns((Visit, ""), private=False)
VISIT_PRIVATE: Final = _columns((Visit, ""), private=True)
FINDING: Final = _columns(*_PANEL, private=False)
FINDING_PRIVATE: Final = _columns(*_PANEL, private=True)
LISTS: Final = tuple(sorted(_lists(), key=lambda one: len(one.keys)))
#: Data stored as JSON with a visit: rows of one table, distinguished by the field's name.
ATTACHED: Final = tuple(one.name for one in fields_of(Visit) if isinstance(one.kind, Attachment))
