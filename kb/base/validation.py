"""Read the fields of a parsed file strictly, and name what is wrong with its place.

>>> fields = Fields({"basis": "seen", "bassis": "seen"}, "visit", "an object")
>>> fields.take("basis", lambda value, place: str(value), "")
'seen'
>>> fields.end()
Traceback (most recent call last):
...
kb.base.errors.BadInput: visit, unknown field: saw 'bassis', expected one of basis
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any, TypeVar

from kb.base.errors import BadInput, described, kind_of

T = TypeVar("T")


class Fields:
    """The fields of one object: each is taken once, and what is left over is a mistake.

    Messages name a field by ``place`` and its name; ``bare``: by its name alone, where that says enough.
    """

    def __init__(self, data: object, place: str, expected: str, *, bare: bool = False) -> None:
        if not isinstance(data, Mapping):
            raise BadInput(place, kind_of(data), expected)
        self._data: Mapping[Any, Any] = data
        self._before = "" if bare else f"{place}, "
        self._known: list[str] = []

    def take(self, key: str, read: Callable[[object, str], T], default: T) -> T:
        """The field if it is there, else ``default``."""
        self._known.append(key)
        value = self._data.get(key)
        return default if value is None else read(value, self._before + key)

    def need(self, key: str, read: Callable[[object, str], T], expected: str) -> T:
        """The field; raises BadInput where it is missing."""
        self._known.append(key)
        if self._data.get(key) is None:
            raise BadInput(self._before + key, described("nothing"), expected)
        return read(self._data[key], self._before + key)

    def end(self) -> None:
        """Raises BadInput on a field that nobody asked for: most likely a slip of the pen."""
        for key in self._data:
            if key not in self._known:
                raise BadInput(f"{self._before}unknown field", key, f"one of {', '.join(self._known)}")


def listed(read: Callable[[object, str], T], most: int) -> Callable[[object, str], tuple[T, ...]]:
    """A reader of lists of at most ``most`` entries, which are named by their numbers from 1."""

    def read_all(value: object, place: str) -> tuple[T, ...]:
        if not isinstance(value, Sequence) or isinstance(value, (str, bytes)):
            raise BadInput(place, value, "a list")
        if len(value) > most:
            raise BadInput(place, described(f"{len(value)} entries"), f"at most {most}")
        return tuple(read(one, f"{place} {number}") for number, one in enumerate(value, 1))

    return read_all


def truth(value: object, place: str) -> bool:
    """True or false."""
    if not isinstance(value, bool):
        raise BadInput(place, value, "true or false")
    return value
