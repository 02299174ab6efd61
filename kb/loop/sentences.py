"""Keep sentences for people as keys and values, so that every language can show them.

The sentences are in ``data/messages``; a value keeps its digits, and each language writes its own point.

>>> Sentence("loop/reason/thin", {"wire": "AWG 30", "current": Amount(2.736)}).text
'AWG 30 is too thin for 2.74 A: more than 10 A a square millimetre'
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

from kb.domain.language import ENGLISH, Language
from kb.loop.units import show_frequency, show_length


@dataclass(frozen=True)
class Digits:
    """A number with so many digits behind the point; ``signed``: with its sign, too."""

    value: float
    digits: int = 1
    signed: bool = False

    def shown(self, said: Language) -> str:
        """The number as the language writes it; -0.0 is 0.0."""
        return said.number(f"{self.value:{'+' if self.signed else ''}z.{self.digits}f}")


@dataclass(frozen=True)
class Amount:
    """A current, voltage or resistance: so many digits behind the point, and three digits if it is small.

    >>> [Amount(value).shown(ENGLISH) for value in (2.736, 0.22, 0.01026)]
    ['2.74', '0.22', '0.0103']
    """

    value: float
    digits: int = 2

    def shown(self, said: Language) -> str:
        """The number as the language writes it."""
        small = 0 < self.value < 10 ** (1 - self.digits)
        return Digits(self.value, 2 - math.floor(math.log10(self.value)) if small else self.digits).shown(
            said
        )


@dataclass(frozen=True)
class Metres:
    """A length in metres."""

    value: float

    def shown(self, said: Language) -> str:
        """The length in metres and feet."""
        return said.number(show_length(self.value, feet=said.feet))


@dataclass(frozen=True)
class Hertz:
    """A frequency in Hz."""

    value: float

    def shown(self, said: Language) -> str:
        """The frequency in Hz or kHz."""
        return said.number(show_frequency(self.value))


@dataclass(frozen=True)
class Key:
    """A part of a sentence that is a sentence itself, by its key."""

    key: str

    def shown(self, said: Language) -> str:
        """The part in this language."""
        return said(self.key)


@dataclass(frozen=True)
class Sentence:
    """A sentence by its key with its values, and the names of the places that it is about."""

    key: str
    values: Mapping[str, object] = field(default_factory=dict)
    where: tuple[str, ...] = ()

    @property
    def code(self) -> str:
        """The third part of the key, by which programs know it."""
        return self.key.split("/")[2]

    @property
    def text(self) -> str:
        """The sentence in English."""
        return self.shown(ENGLISH)

    def shown(self, said: Language) -> str:
        """The sentence in this language."""
        values = {
            name: value.shown(said)
            if isinstance(value, Digits | Amount | Metres | Hertz | Key | Sentence)
            else value
            for name, value in self.values.items()
        }
        return said(self.key, **values)
