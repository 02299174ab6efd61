"""Read the sentences for people, one catalogue of messages per language.

``data/messages/en/path.json`` maps keys such as ``path/step/driver-down`` to sentences with
``{placeholders}``: a folder for each language, in it a file for each first part of keys, so that a command
reads only what it may say. A sentence that depends on a number is an object with ``one`` and ``other``, and
the value ``count`` chooses.

>>> text("path/caution/own-power", item="DAC")
'The DAC needs its own outlet, and somebody may unplug it by mistake.'
>>> text("path/noun/hdmi", "es")
'la toma HDMI'

Code that does not know the reader's language hands on a :class:`Said`: the key and the values of a sentence.

>>> print(Said("expected/at-most", most=40))
at most 40
>>> Said("expected/at-most", most=40).in_language("es")
'como máximo 40'
"""

from __future__ import annotations

import json
import os
from collections.abc import Iterable, Mapping
from functools import cache
from typing import Any, Final

from kb.base.datafolder import data_path

#: Languages with a catalogue; the first is the usual one.
LANGUAGES: Final = ("en", "es")
#: Forms of a sentence that depends on a number: for exactly one, and for all others.
FORMS: Final = ("one", "other")

Message = str | Mapping[str, str]


class DamagedCatalogue(Exception):
    """The catalogue of a language is missing or damaged, so that nothing can be said but this, in English."""

    def __init__(self, name: str, why: str) -> None:
        super().__init__(
            f"a file that came with Jackfield is damaged: data/{name}: {why}; install jackfield again"
        )


class Said:
    """A sentence, or a part of one, by its key and values: put into words only when somebody reads it.

    A value may be another sentence or an error; it is then said in the same language. ``str`` says it in
    English.
    """

    __slots__ = ("key", "values")

    def __init__(self, key: str, /, **values: object) -> None:
        self.key, self.values = key, values

    def in_language(self, code: str) -> str:
        """The sentence in the language of this code."""
        values = {name: worded(value, code) for name, value in self.values.items()}
        return template(self.key, code, self.values.get("count")).format_map(values)

    def __str__(self) -> str:
        return self.in_language(LANGUAGES[0])

    def __repr__(self) -> str:
        return f"Said({', '.join([repr(self.key), *(f'{k}={v!r}' for k, v in self.values.items())])})"

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Said) and (self.key, self.values) == (other.key, other.values)

    def __hash__(self) -> int:
        return hash(self.key)


#: Data as it is (what somebody typed, the name of a file or field), or words for people.
Wording = str | Said


def one_of(words: Iterable[str]) -> Said:
    """What is expected where one of these words must be.

    >>> print(one_of(["seen", "tested"]))
    one of seen, tested
    """
    return Said("expected/one-of", words=", ".join(words))


def either(words: Iterable[Wording]) -> Wording:
    """Words of which any one is meant.

    >>> print(either(["RCA", "SCART", "a plate"]))
    RCA or SCART or a plate
    """
    said: Wording = ""
    for word in words:
        said = Said("language/either", one=said, other=word) if said else word
    return said


def worded(value: object, language: str) -> str:
    """A value as text: sentences and errors in a language, anything else as it is."""
    speaks = getattr(value, "in_language", None)
    return str(value) if speaks is None else speaks(language)


def text(key: str, language: str = LANGUAGES[0], /, **values: object) -> str:
    """The sentence of this key in a language, with its values; values have no effect on one another.

    Raises KeyError if there is no such key or a value of the sentence is missing.
    """
    return template(key, language, values.get("count")).format_map(values)


def template(key: str, language: str = LANGUAGES[0], count: object = None) -> str:
    """The sentence with its placeholders; ``count`` chooses its form if it has two."""
    said = message(key, language)
    return said if isinstance(said, str) else said[FORMS[count != 1]]


def message(key: str, language: str = LANGUAGES[0]) -> Message:
    """The sentence of this key with its placeholders, in both forms if it has two."""
    return area(key.partition("/")[0], language)[key]


def is_key(key: str, language: str = LANGUAGES[0]) -> bool:
    """Has the catalogue a sentence of this key?"""
    return key in area(key.partition("/")[0], language)


def messages(language: str = LANGUAGES[0]) -> dict[str, Message]:
    """The whole catalogue of a language. Raises DamagedCatalogue if the installation is damaged."""
    folder = f"messages/{language}"
    try:
        files = sorted(os.listdir(data_path(folder) or ""))
    except OSError as damage:
        raise DamagedCatalogue(folder, str(damage)) from damage
    return {key: said for file in files for key, said in area(file.partition(".")[0], language).items()}


@cache
def area(name: str, language: str = LANGUAGES[0]) -> Mapping[str, Message]:
    """The sentences of a language whose keys begin with ``name``, read at their first use.

    Raises DamagedCatalogue if the installation is damaged.
    """
    place = f"messages/{language}/{name}.json"
    try:
        # Each command waits for this, so it is read without the strict reader of people's files.
        with open(data_path(place) or "", encoding="utf-8") as file:
            found: dict[str, Any] = json.load(file)
        for key, value in found.items():
            if not (isinstance(value, str) and value) and not _has_forms(value):
                raise DamagedCatalogue(place, f"{key} is no sentence")
    except FileNotFoundError:
        raise DamagedCatalogue(place, "it is missing") from None
    except (OSError, ValueError, AttributeError) as damage:  # cannot be read, no UTF-8, no JSON, no object
        raise DamagedCatalogue(place, str(damage)) from damage
    return found


def _has_forms(value: Any) -> bool:
    return isinstance(value, Mapping) and tuple(value) == FORMS and all(map(_is_sentence, value.values()))


def _is_sentence(value: object) -> bool:
    # Blanks at their ends are meant: some are parts of a sentence.
    return isinstance(value, str) and bool(value)
