"""Say everything in the client's language.

>>> english = language("en")
>>> english("silent/selector", input="optical input")
'Does the selector of the driver stand at optical input?'
>>> from kb.domain.words import Form
>>> language("es").word(Form.TOSLINK)
'óptica (TOSLINK)'
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from functools import cache
from typing import Any, Final

from kb.base.datafiles import data_tables
from kb.base.errors import BadInput
from kb.base.text import squeezed, visible
from kb.catalogue import catalogue
from kb.domain.words import Word
from kb.path.answer import RuledOut, Value
from kb.path.sentences import ENGLISH, Said, sentence

#: Languages with every sentence; the first is the usual one.
LANGUAGES: Final = ("en", "es")


@dataclass(frozen=True, slots=True)
class Language:
    """All sentences and names of one language, by key.

    Values that stand in a sentence are text of people or numbers: they have no effect on it.
    """

    code: str
    table: Mapping[str, str]
    feet: bool = False
    """Lengths in feet and inches, and beside the metres in a cable's name."""

    def __call__(self, key: str, /, **values: object) -> str:
        """The sentence of this key with its values."""
        shown = {name: self.shown(value) for name, value in values.items()}
        return self.table[key].format_map(shown)

    def has(self, key: str) -> bool:
        """Is there a sentence of this key?"""
        return key in self.table

    def shown(self, value: object) -> str:
        """A value as it stands in a sentence: names translated, numbers with the language's own point."""
        if isinstance(value, Word):
            return self.word(value)
        if isinstance(value, float):
            return self.number(f"{value:g}")
        return visible(str(value))

    def number(self, written: str) -> str:
        """A number written with a point, as this language writes it."""
        return written.replace(".", self.table["language/decimal"])

    def word(self, word: Word) -> str:
        """What people call a word of the vocabulary."""
        return self.table.get(f"word/{word_kind(type(word))}/{word.value}", word.label)

    def item(self, name: str) -> str:
        """What people call a thing of the catalogue; what is in no catalogue stays as it is."""
        known = catalogue().by_name.get(squeezed(name))
        if known is None:
            return visible(name)
        said = self.table.get(f"item/{known.family or known.name}", "")
        named = said.format(n=f"{known.length_m:g}") if said else known.name
        return f"{named} ({self.length(known.length_m)})" if self.feet and "{n}" in known.family else named

    def length(self, metres: float) -> str:
        """A length in metres to 1 cm, or in feet and whole inches (an inch is 0.0254 m exactly)."""
        if not self.feet:
            return f"{self.number(f'{metres:.2f}'.rstrip('0').rstrip('.'))} m"
        feet, inches = divmod(round(metres / 0.0254), 12)
        return self.table["language/feet"].format(feet=feet, inches=inches)

    def said(self, said: Said) -> str:
        """A step, caution, reason or question of the rules as one or two sentences."""
        values = tuple((name, self._value(name, value)) for name, value in said.values)
        table: Mapping[str, str] = self.table
        if isinstance(said, RuledOut):
            table = self._with_failures(said)
        return sentence(said._replace(values=values), table, self.word)

    def _with_failures(self, said: RuledOut) -> Mapping[str, str]:
        """The table with what a jack failed with already in its sentence, in this language."""
        key = f"ruled-out/{said.code}" + (f"/{said.variant}" if said.variant else "")
        counts = [(name, count) for name, count in said.values if name in ("silent", "distorted") and count]
        times = (
            self.table["part/times"].format(
                what=self.table.get(f"word/outcome/{name}", name), count=self.shown(count)
            )
            for name, count in counts
        )
        failures = ", ".join(times).replace("{", "{{").replace("}", "}}")
        return {**self.table, key: self.table[key].replace("{failures}", failures)}

    def _value(self, name: str, value: Value) -> Value:
        if isinstance(value, Word):
            return value  # the sentence names it; some words choose a phrase of the table
        if isinstance(value, float):
            return self.shown(value)
        if name == "field":
            return self.table.get(f"field-name/{value}", str(value))
        if name in ("item", "to", "with"):
            return self.item(str(value))
        return value

    def day(self, on: date, style: str) -> str:
        """A date in words; ``style`` is ``a4`` or ``letter``."""
        month = self.table["language/months"].split()[on.month - 1]
        return self.table[f"language/date-{style}"].format(day=on.day, month=month, year=on.year)


def word_kind(kind: type[Word]) -> str:
    """``DriverInput`` is ``driver-input`` in the tables."""
    return re.sub(r"(?<!^)(?=[A-Z])", "-", kind.__name__).lower()


@cache
def language(code: str = LANGUAGES[0], *, feet: bool = False) -> Language:
    """The language of this code. Raises BadInput where it is none of ``LANGUAGES``."""
    if code not in LANGUAGES:
        raise BadInput("language", code, f"one of {', '.join(LANGUAGES)}")
    table = {**ENGLISH, **_file(code)} if code == LANGUAGES[0] else _file(code)
    return Language(code, table, feet)


def _file(code: str) -> dict[str, str]:
    return dict(_flat(data_tables(f"sentences/{code}.toml")))


def _flat(table: Mapping[str, Any], above: str = "") -> list[tuple[str, str]]:
    found: list[tuple[str, str]] = []
    for name, value in table.items():
        key = f"{above}{name}"
        found += _flat(value, f"{key}/") if isinstance(value, Mapping) else [(key, value)]
    return found
