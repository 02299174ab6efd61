"""Write the fields of a visit as CSV cells, and read them: columns and forms follow from the declarations.

>>> from kb.domain.jack import Jack
>>> from kb.domain.visit import Finding
>>> columns(Jack)[:2], columns(Finding)[-1]
(('form', 'marking'), 'jack_note')
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import date as Day
from typing import Any, Final

from kb.base import text
from kb.base.errors import BadInput
from kb.base.messages import Said
from kb.base.parsing import json_of
from kb.domain.kinds import (
    Attachment,
    DeclaredField,
    Flag,
    Note,
    Number,
    Whole,
    fields_of,
    is_unknown,
    part_of,
)

_YES: Final = frozenset({"yes", "y", "true", "1", "x", "taken"})
_NO: Final = frozenset({"no", "n", "false", "0", "free"})


def columns(of: type[Any]) -> tuple[str, ...]:
    """Return the columns of a dataclass: a part contributes its own columns, a list of parts has none."""
    found: list[str] = []
    for one in fields_of(of):
        part = part_of(one)
        if part is not None:
            found += columns(part)
        elif one.key != "jacks":
            found.append(one.column)
    return tuple(found)


def cells_of(value: Any, leave_out: tuple[str, ...] = ()) -> dict[str, str]:
    """Return the cells of a value's declared fields by column; unknown or empty ones have none.

    ``leave_out``: names of fields that are not written, such as inferred ones.
    """
    return dict(_cells(value, leave_out))


def _cells(value: Any, leave_out: tuple[str, ...]) -> Iterator[tuple[str, str]]:
    for one in fields_of(type(value)):
        held = getattr(value, one.name)
        if one.name in leave_out or one.key == "jacks" or held is None or is_unknown(held):
            continue
        if part_of(one) is not None:
            yield from _cells(held, leave_out)
        elif cell := _cell(held):
            yield one.column, cell


def _cell(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, tuple):
        return text.joined((str(one) for one in value), ";")
    return value.isoformat() if isinstance(value, Day) else str(value)


def data_of(of: type[Any], cells: Mapping[str, str]) -> dict[str, Any]:
    """Return the keys of a visit file from cells, for the reader of visit files.

    Raises BadInput on a number, flag or JSON text that is invalid.
    """
    data: dict[str, Any] = {}
    for one in fields_of(of):
        part = part_of(one)
        if part is not None:
            if inner := data_of(part, cells):
                data[one.key] = inner
        elif one.column in cells:
            data[one.key] = _value(one, cells[one.column])
    return data


def _value(one: DeclaredField, cell: str) -> Any:
    match one.kind:
        case Whole():
            return whole(cell, one.column)
        case Number():
            return _number(cell, one.column)
        case Flag():
            return _flag(cell, one.column)
        case Attachment():
            return json_of(cell, one.column)
        case Note():
            return cell
    return text.parted(cell, ";") if isinstance(one.default, tuple) else cell.strip()


def whole(cell: str, column: str) -> int:
    """Read a whole number in a cell; raises BadInput."""
    if cell.strip().isdecimal() and len(cell) < 10:
        return int(cell)
    raise BadInput(column, cell, Said("expected/whole-number"))


def _number(cell: str, column: str) -> float:
    try:
        return float(cell.strip().rstrip('"″').replace(",", "."))
    except ValueError:
        raise BadInput(column, cell, Said("expected/number")) from None


def _flag(cell: str, column: str) -> bool:
    word = cell.strip().lower()
    if word in _YES or word in _NO:
        return word in _YES
    raise BadInput(column, cell, Said("expected/yes-or-no"))
