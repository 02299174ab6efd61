"""Put rows together to visits, without SQLAlchemy.

So a cold look-up of one set (``one_set.py``) makes exactly the same values as the store. The columns follow
from the declarations (``field_columns.py``).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from typing import Any, Final

from kb.base import text
from kb.base.errors import BookTooNew, BookTrouble, shown
from kb.base.messages import Said
from kb.domain.jack import Jack
from kb.domain.kinds import fields_of, part_of
from kb.domain.visit import INFERRED, Finding, Visit
from kb.store.field_columns import (
    ATTACHED,
    FINDING,
    FINDING_PRIVATE,
    LISTS,
    VISIT,
    VISIT_PRIVATE,
    Column,
)

#: Fetches these columns of a table's rows, for the wanted visits in the third argument's column, in the order
#: of the last-named columns.
Fetch = Callable[[str, Sequence[str], str, Sequence[str]], Iterable[Sequence[Any]]]
#: Values of fields by name, by the part of a visit or finding that has them.
_Parts = dict[str, dict[str, Any]]
_Notes = dict[tuple[str, "int | None"], str]

_FLAGS: Final = tuple(f"inferred_{name}" for name in INFERRED)


def assembled(fetch: Fetch, *, private: bool = True, released: Iterable[Any] = ()) -> dict[str, Visit]:
    """Return the visits with the rows from ``fetch``, by id, with all that belongs to them.

    Without ``private`` the private tables are not read. ``released`` are notes released for other books
    (visit, jack, note), used if there is no own note. Raises BookTrouble if a row holds values that no visit
    can hold. Raises BookTooNew if it holds a connector or an input that only a newer Jackfield knows.
    """
    rows = _Rows(fetch, private, released)
    visits = {}
    for id_, *cells in fetch("visit", ("id", *_names(VISIT)), "id", ("id",)):
        try:
            visits[id_] = rows.visit(id_, cells)
        except BookTooNew as newer:
            raise BookTooNew(Said("error/visit-why", id=shown(id_), why=newer)) from None
        except (ValueError, TypeError) as problem:  # written by another program
            raise BookTrouble(Said("error/invalid-visit", id=shown(id_), why=shown(problem))) from problem
    return visits


class _Rows:
    """Hold the rows that belong to some visits, by the visit or by its jack (the visit and the place)."""

    def __init__(self, fetch: Fetch, private: bool, released: Iterable[Any]) -> None:
        def grouped(name: str, keys: Sequence[str], columns: Sequence[str]) -> dict[Any, list[Sequence[Any]]]:
            """Group rows by all keys but the last, which only orders them; by the visit if it is alone."""
            groups: dict[Any, list[Sequence[Any]]] = defaultdict(list)
            depth = max(1, len(keys) - 1)
            for row in fetch(name, (*keys[:depth], *columns), "visit", keys):
                groups[row[0] if depth == 1 else tuple(row[:depth])].append(row[depth:])
            return groups

        self._findings = grouped("finding", ("visit", "seq"), ("seq", *_names(FINDING), *_FLAGS))
        self._lists = [
            (one, grouped(one.table, one.keys, (one.column,)))
            for one in LISTS
            if private or not one.field.private
        ]
        self._words: dict[Any, list[Sequence[Any]]] = {}
        self._jack_words: dict[Any, list[Sequence[Any]]] = {}
        self._attached: dict[Any, list[Sequence[Any]]] = {}
        if private:
            self._words = grouped("visit_private", ("visit",), _names(VISIT_PRIVATE))
            columns = ("seq", *_names(FINDING_PRIVATE))
            for id_, some in grouped("finding_private", ("visit", "seq"), columns).items():
                self._jack_words |= {(id_, seq): [words] for seq, *words in some}
            self._attached = grouped("attached_private", ("visit", "kind"), ("kind", "body"))
        self._released = _released(released)

    def visit(self, id_: str, cells: Sequence[Any]) -> Visit:
        """Return the visit with this id; ``cells`` are its columns ``VISIT``."""
        parts = self._parts(id_, VISIT, cells, VISIT_PRIVATE, self._words, (id_, None))
        own = parts[""]
        own |= {kind: body for kind, body in self._attached.get(id_, ()) if kind in ATTACHED}
        for one in fields_of(Visit):
            # An optional part exists if one of its fields has a value. The flag of the row does not decide: a
            # bundle leaves out a driver with only a (private) name, and own notes may bring it.
            if (of := part_of(one)) is not None:
                made = of(**parts[one.name])
                own[one.name] = None if not one.required and made == of() else made
        found = tuple(self._finding((id_, seq), jack) for seq, *jack in self._findings.get(id_, ()))
        return Visit(id=id_, findings=found, **own)

    def _finding(self, at: tuple[str, int], cells: Sequence[Any]) -> Finding:
        parts = self._parts(at, FINDING, cells, FINDING_PRIVATE, self._jack_words, at)
        flags = zip(INFERRED, cells[-len(INFERRED) :], strict=True)
        inferred = tuple(name for name, yes in flags if yes)
        return Finding(jack=Jack(**parts["jack"]), inferred=inferred, **parts[""])

    def _parts(
        self,
        key: Any,
        columns: Sequence[Column],
        cells: Sequence[Any],
        private: Sequence[Column],
        words: dict[Any, list[Sequence[Any]]],
        place: tuple[str, int | None],
    ) -> _Parts:
        """Return the field values of one visit or finding; ``place`` is that of a released note."""
        parts: _Parts = defaultdict(dict)
        _add(parts, columns, cells)
        for some in words.get(key, ()):
            _add(parts, private, some)
        for one, rows in self._lists:
            if (len(one.keys) == 3) is isinstance(key, tuple):
                parts[one.part][one.field.name] = tuple(one.read(cell) for (cell,) in rows.get(key, ()))
        parts[""]["note"] = parts[""].get("note") or self._released.get(place, "")
        return parts


def _names(columns: Sequence[Column]) -> tuple[str, ...]:
    return tuple(one.name for one in columns)


def _add(parts: _Parts, columns: Sequence[Column], cells: Sequence[Any]) -> None:
    for column, cell in zip(columns, cells, strict=False):
        parts[column.part][column.field.name] = column.read(cell)


def _released(rows: Iterable[Any]) -> _Notes:
    """Return released notes by visit and place on the panel; several of one place form one text."""
    found: _Notes = {}
    for visit, jack, note in rows:
        both = f"{found[visit, jack]}\n{note}" if (visit, jack) in found else note
        found[visit, jack] = both[: text.NOTE].rstrip()
    return found
