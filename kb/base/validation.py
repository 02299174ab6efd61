"""Read the fields of a parsed file strictly, and name what is wrong with its place.

A reader takes a value and its place and returns the checked value, or raises BadInput naming the place.

>>> fields = Fields({"basis": "seen", "bassis": "seen"}, "visit", "an object")
>>> fields.take("basis", lambda value, place: str(value), "")
'seen'
>>> fields.end()
Traceback (most recent call last):
...
kb.base.errors.BadInput: visit, unknown field: saw 'bassis', expected one of basis
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from typing import Any, Final, TypeVar

from kb.base.errors import NOTHING, BadInput, inside, kind_of
from kb.base.messages import Said, Wording, one_of

T = TypeVar("T")
D = TypeVar("D")
K = TypeVar("K")

_LIST: Final = Said("expected/list")
_NUMBER: Final = re.compile(r"[-+]?[0-9]+(?:\.[0-9]+)?\Z")


class Fields:
    """The fields of one object: each is taken once, and what is left over is a mistake.

    Messages name a field by ``place`` and its name; ``bare``: by its name alone, where that says enough.
    """

    def __init__(self, data: object, place: Wording, expected: Wording, *, bare: bool = False) -> None:
        if not isinstance(data, Mapping):
            raise BadInput(place, kind_of(data), expected)
        self._data: Mapping[Any, Any] = data
        self._place = "" if bare else place
        self._known: list[str] = []

    def take(self, key: str, read: Callable[[object, Wording], T], default: D) -> T | D:
        """The field if it is there, else ``default``."""
        self._known.append(key)
        value = self._data.get(key)
        return default if value is None else read(value, self._at(key))

    def need(self, key: str, read: Callable[[object, Wording], T], expected: Wording = "") -> T:
        """The field; raises BadInput if it is missing; without ``expected``, in the words of ``read``."""
        self._known.append(key)
        value = self._data.get(key)
        if value is None and expected:
            raise BadInput(self._at(key), NOTHING, expected)
        return read(value, self._at(key))

    def end(self) -> None:
        """Raises BadInput on a field that nobody asked for: most likely a slip of the pen."""
        for key in self._data:
            if key not in self._known:
                known = one_of(self._known)
                raise BadInput(self._at(Said("place/unknown-field")), key, known)

    def _at(self, field: Wording) -> Wording:
        return inside(self._place, field)


def listed(
    read: Callable[[object, Wording], T],
    most: int,
    least: int = 0,
    *,
    expected: Wording = _LIST,
    each: str = "place/nth",
) -> Callable[[object, Wording], tuple[T, ...]]:
    """A reader of lists of ``least`` to ``most`` entries.

    ``each`` is the key of the words that name one entry by the ``place`` of the list and its ``number`` from
    1, or "" for the place alone; ``expected`` is the list.
    """

    def read_all(value: object, place: Wording) -> tuple[T, ...]:
        if not isinstance(value, Sequence) or isinstance(value, (str, bytes)) or len(value) < least:
            raise BadInput(place, _seen(value), expected)
        if len(value) > most:
            raise BadInput(place, Said("seen/entries", count=len(value)), Said("expected/at-most", most=most))
        return tuple(
            read(one, Said(each, place=place, number=number) if each else place)
            for number, one in enumerate(value, 1)
        )

    return read_all


def keyed(
    read_key: Callable[[object, Wording], K], read: Callable[[object, Wording], T], most: int
) -> Callable[[object, Wording], dict[K, T]]:
    """A reader of tables of at most ``most`` entries whose keys are data too; the order is kept."""

    def read_all(value: object, place: Wording) -> dict[K, T]:
        if not isinstance(value, Mapping):
            raise BadInput(place, kind_of(value), Said("expected/object"))
        if len(value) > most:
            raise BadInput(place, Said("seen/entries", count=len(value)), Said("expected/at-most", most=most))
        return {read_key(key, place): read(one, inside(place, str(key)[:60])) for key, one in value.items()}

    return read_all


def truth(value: object, place: Wording) -> bool:
    """True or false."""
    if not isinstance(value, bool):
        raise BadInput(place, _seen(value), Said("expected/true-or-false"))
    return value


def bounded(
    value: object,
    place: Wording,
    *,
    low: float,
    high: float,
    unit: str = "",
    expected: Wording = "",
    above: bool = False,
    seen: str | None = None,
) -> float:
    """The number as a float if it lies from ``low`` to ``high``; ``above``: the low end itself is refused.

    ``expected`` says for people what it must be; ``seen`` is what they typed instead of the number.
    """
    # Compared before the conversion, since a huge integer has no float. Not-a-number fails both comparisons.
    if (
        isinstance(value, bool)
        or not isinstance(value, (int, float))
        or not (low < value <= high if above else low <= value <= high)
    ):
        wanted = expected or from_to(low, high, unit)
        if isinstance(value, str) and (plain := value.strip().replace(",", ".")) and _NUMBER.match(plain):
            wanted = Said("expected/unquoted", number=plain, expected=wanted)
        raise BadInput(place, _seen(value) if seen is None else seen, wanted)
    return float(value)


def from_to(low: float, high: float, unit: str = "") -> Said:
    """Say what a number must be: from low to high, in a unit if it has one."""
    key = "expected/number-from-to-unit" if unit else "expected/number-from-to"
    return Said(key, low=f"{low:g}", high=f"{high:g}", unit=unit)


def number(
    low: float, high: float, expected: Wording = "", *, above: bool = False
) -> Callable[[object, Wording], float]:
    """A reader of numbers: see :func:`bounded`."""
    return lambda value, place: bounded(value, place, low=low, high=high, expected=expected, above=above)


def whole(low: int, high: int, expected: Wording = "") -> Callable[[object, Wording], int]:
    """A reader of whole numbers from ``low`` to ``high``."""

    def read(value: object, place: Wording) -> int:
        if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
            usual = Said("expected/whole-from-to", low=low, high=high)
            raise BadInput(place, _seen(value), expected or usual)
        return value

    return read


def _seen(value: object) -> object:
    return NOTHING if value is None else value
