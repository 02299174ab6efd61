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

from collections.abc import Callable, Mapping, Sequence
from typing import Any, Final, TypeVar

from kb.base import text
from kb.base.errors import BadInput, described, kind_of

T = TypeVar("T")
D = TypeVar("D")
K = TypeVar("K")

SENTENCE: Final = 1200  #: characters of a sentence in a data file


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

    def take(self, key: str, read: Callable[[object, str], T], default: D) -> T | D:
        """The field if it is there, else ``default``."""
        self._known.append(key)
        value = self._data.get(key)
        return default if value is None else read(value, self._before + key)

    def need(self, key: str, read: Callable[[object, str], T], expected: str = "") -> T:
        """The field; raises BadInput if it is missing; without ``expected``, in the words of ``read``."""
        self._known.append(key)
        value = self._data.get(key)
        if value is None and expected:
            raise BadInput(self._before + key, described("nothing"), expected)
        return read(value, self._before + key)

    def end(self) -> None:
        """Raises BadInput on a field that nobody asked for: most likely a slip of the pen."""
        for key in self._data:
            if key not in self._known:
                raise BadInput(f"{self._before}unknown field", key, f"one of {', '.join(self._known)}")


def listed(
    read: Callable[[object, str], T],
    most: int,
    least: int = 0,
    *,
    expected: str = "a list",
    each: str = "{place} {number}",
) -> Callable[[object, str], tuple[T, ...]]:
    """A reader of lists of ``least`` to ``most`` entries.

    ``each`` names one entry by the place of the list and its number from 1; ``expected`` is the list.
    """

    def read_all(value: object, place: str) -> tuple[T, ...]:
        if not isinstance(value, Sequence) or isinstance(value, (str, bytes)) or len(value) < least:
            raise BadInput(place, _seen(value), expected)
        if len(value) > most:
            raise BadInput(place, described(f"{len(value)} entries"), f"at most {most}")
        return tuple(
            read(one, each.format(place=place, number=number)) for number, one in enumerate(value, 1)
        )

    return read_all


def keyed(
    read_key: Callable[[object, str], K], read: Callable[[object, str], T], most: int
) -> Callable[[object, str], dict[K, T]]:
    """A reader of tables of at most ``most`` entries whose keys are data too; the order is kept."""

    def read_all(value: object, place: str) -> dict[K, T]:
        if not isinstance(value, Mapping):
            raise BadInput(place, kind_of(value), "an object")
        if len(value) > most:
            raise BadInput(place, described(f"{len(value)} entries"), f"at most {most}")
        return {read_key(key, place): read(one, f"{place}, {str(key)[:60]}") for key, one in value.items()}

    return read_all


def truth(value: object, place: str) -> bool:
    """True or false."""
    if not isinstance(value, bool):
        raise BadInput(place, _seen(value), "true or false")
    return value


def sentence(value: object, place: str) -> str:
    """Words for people: one paragraph, not empty."""
    if value is None:
        raise BadInput(place, described("nothing"), "some text")
    return text.line(value, place, SENTENCE, empty=False)


def bounded(
    value: object,
    place: str,
    *,
    low: float,
    high: float,
    unit: str = "",
    expected: str = "",
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
        usual = f"a number from {low:g} to {high:g}" + (f" {unit}" if unit else "")
        raise BadInput(place, _seen(value) if seen is None else seen, expected or usual)
    return float(value)


def number(
    low: float, high: float, expected: str = "", *, above: bool = False
) -> Callable[[object, str], float]:
    """A reader of numbers: see :func:`bounded`."""
    return lambda value, place: bounded(value, place, low=low, high=high, expected=expected, above=above)


chance: Final = number(0, 1, "a chance from 0 to 1")


def whole(low: int, high: int, expected: str) -> Callable[[object, str], int]:
    """A reader of whole numbers from ``low`` to ``high``."""

    def read(value: object, place: str) -> int:
        if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
            raise BadInput(place, _seen(value), expected)
        return value

    return read


def _seen(value: object) -> object:
    return described("nothing") if value is None else value
