"""Say everything in one language: sentences, words of the vocabulary, numbers, lengths and dates.

>>> ENGLISH("sheet/silent/selector", input="optical input")
'Is the selector of the driver at optical input?'
>>> from kb.domain.words import Form
>>> language("es").word(Form.TOSLINK)
'óptica (TOSLINK)'
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from functools import cache
from typing import Final

from kb.base.errors import BadInput, JackfieldError
from kb.base.messages import LANGUAGES, Said, is_key, one_of, template
from kb.base.text import visible
from kb.domain.words import Word, word_kind


@dataclass(frozen=True, slots=True)
class Language:
    """A language of ``LANGUAGES`` by its code, with the units of lengths.

    Values in a sentence are text of people, words or numbers: they have no effect on the sentence.
    """

    code: str = LANGUAGES[0]
    feet: bool = False
    """Lengths in feet and inches, also next to the metres in a cable's name."""

    def __call__(self, key: str, /, **values: object) -> str:
        """The sentence of this key with its values."""
        shown = {name: self.shown(value) for name, value in values.items()}
        count = values.get("count")
        if isinstance(count, int):
            shown["count"] = self.whole(count)
        return template(key, self.code, count).format_map(shown)

    def has(self, key: str) -> bool:
        """Is there a sentence of this key?"""
        return is_key(key, self.code)

    def shown(self, value: object) -> str:
        """A value as it is written in a sentence: words translated, numbers with the language's own point."""
        if isinstance(value, Word):
            return self.word(value)
        if isinstance(value, float):
            return self.number(f"{value:g}")
        if isinstance(value, Said | JackfieldError):
            value = value.in_language(self.code)
        return visible(str(value))

    def number(self, written: str) -> str:
        """A number written with a point, as this language writes it."""
        return written.replace(".", self("language/decimal"))

    def whole(self, number: int) -> str:
        """A whole number with its thousands apart.

        >>> ENGLISH.whole(1234), language("es").whole(1234)
        ('1,234', '1.234')
        """
        return f"{number:,}".replace(",", self("language/thousands"))

    def counted(self, what: str, count: int) -> str:
        """So many of a thing with a sentence under ``count/``.

        >>> ENGLISH.counted("visit", 1), ENGLISH.counted("visit", 1200)
        ('1 visit', '1,200 visits')
        """
        return self(f"count/{what}", count=count)

    def percent(self, p: float) -> str:
        """A chance for people: no false certainty at either end.

        >>> ENGLISH.percent(0.9994), ENGLISH.percent(0.042), ENGLISH.percent(0.0004)
        ('over 99%', '4%', 'under 1%')
        """
        if p >= 0.995:
            return self("language/percent/over")
        return self("language/percent/under") if p <= 0.005 else f"{100 * p:.0f}%"

    def word(self, word: Word) -> str:
        """What people call a word of the vocabulary."""
        if self.code == LANGUAGES[0]:
            return word.label
        key = f"word/{word_kind(type(word))}/{word.value}"
        return self(key) if self.has(key) else word.names.get(self.code, word.label)

    def length(self, metres: float) -> str:
        """A length in metres to 1 cm, or in feet and whole inches (an inch is 0.0254 m exactly)."""
        if not self.feet:
            return f"{self.number(f'{metres:.2f}'.rstrip('0').rstrip('.'))} m"
        feet, inches = divmod(round(metres / 0.0254), 12)
        return self("language/feet", feet=feet, inches=inches)

    def day(self, on: date, style: str) -> str:
        """A date in words; ``style`` is ``a4`` or ``letter``."""
        month = self("language/months").split()[on.month - 1]
        return self(f"language/date-{style}", day=on.day, month=month, year=on.year)


#: The usual language, lengths in metres.
ENGLISH: Final = Language()


@cache
def language(code: str = LANGUAGES[0], *, feet: bool = False) -> Language:
    """The language of this code. Raises BadInput if it is not one of ``LANGUAGES``."""
    if code not in LANGUAGES:
        raise BadInput("language", code, one_of(LANGUAGES))
    return Language(code, feet)
