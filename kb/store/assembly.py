"""Put rows together to visits, without SQLAlchemy.

Free of SQLAlchemy, so that a cold look-up of one set (``one_set.py``) makes the very same values as the
store. Which columns there are follows from the declarations (``field_columns.py``).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from typing import Any, Final

from kb.base import text
from kb.base.errors import BookTooNew, BookTrouble, shown
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

#: Tells these columns of the rows of a table whose column (the third) names the visits wanted, in the order
#: of the columns named last.
Fetch = Callable[[str, Sequence[str], str, Sequence[str]], Iterable[Sequence[Any]]]
#: Values of fields by name, by the part of a visit or finding that has them.
_Parts = dict[str, dict[str, Any]]
_Notes = dict[tuple[str, "int | None"], str]

_FLAGS: Final = tuple(f"inferred_{name}" for name in INFERRED)


def assembled(fetch: Fetch, *, private: bool = True, released: Iterable[Any] = ()) -> dict[str, Visit]:
    """The visits that ``fetch`` gives the rows of, by id, with all that belongs to them.

    Without ``private`` the private tables are not even asked. ``released`` are notes released for other books
    (visit, jack, note), put where there is no note of one's own. Raises BookTrouble if a row holds what no
    visit can, BookTooNew where it holds a connector or an input that only a newer Jackfield knows.
    """
    rows = _Rows(fetch, private, released)
    visits = {}
    for id_, *cells in fetch("visit", ("id", *_names(VISIT)), "id", ("id",)):
        try:
            visits[id_] = rows.visit(id_, cells)
        except BookTooNew as newer:
            raise BookTooNew(f"visit {shown(id_)}: {newer}") from None
        except (ValueError, TypeError) as problem:  # written by something else than Jackfield
            raise BookTrouble(
                f"visit {shown(id_)}: the book contains an invalid visit ({shown(problem)}); restore a backup"
            ) from problem
    return visits


class _Rows:
    """The rows that belong to some visits, by the visit or by its jack (the visit and the place)."""

    def __init__(self, fetch: Fetch, private: bool, released: Iterable[Any]) -> None:
        def grouped(name: str, keys: Sequence[str], columns: Sequence[str]) -> dict[Any, list[Sequence[Any]]]:
            """Rows by all their keys but the last, which only orders them; by the visit if it is alone."""
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
        """The visit with this id, of which ``cells`` are the columns ``VISIT``."""
        parts = self._parts(id_, VISIT, cells, VISIT_PRIVATE, self._words, (id_, None))
        own = parts[""]
        own |= {kind: body for kind, body in self._attached.get(id_, ()) if kind in ATTACHED}
        for one in fields_of(Visit):
            # A part that may be missing is there if it says anything. Not by the flag of the row: a bundle
            # leaves out a driver of which only the (private) name is known, and one's own notes may bring it.
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
        """The values of the fields of one visit or finding; ``place`` is where a note of it was released."""
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
    """Released notes by visit and place on the panel; several of one place are one text."""
    found: _Notes = {}
    for visit, jack, note in rows:
        both = f"{found[visit, jack]}\n{note}" if (visit, jack) in found else note
        found[visit, jack] = both[: text.NOTE].rstrip()
    return found
