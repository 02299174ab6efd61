"""Read the sentences for people, one catalogue of messages per language.

``data/messages/en.json`` maps keys such as ``path/step/driver-down`` to sentences with ``{placeholders}``;
each other language has a file with the same keys. A sentence that depends on a number is an object with
``one`` and ``other``, and the value ``count`` chooses.

>>> text("path/caution/own-power", item="DAC")
'The DAC needs its own outlet, and somebody may unplug it by mistake.'
>>> text("path/noun/hdmi", "es")
'la toma HDMI'
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from typing import Any, Final

from kb.base.datafiles import data_object
from kb.base.errors import BadInput, BookTrouble, kind_of
from kb.base.validation import sentence

#: Languages with a catalogue; the first is the usual one.
LANGUAGES: Final = ("en", "es")
#: Forms of a sentence that depends on a number: for exactly one, and for all others.
FORMS: Final = ("one", "other")

Message = str | Mapping[str, str]


def text(key: str, language: str = LANGUAGES[0], /, **values: object) -> str:
    """The sentence of this key in a language, with its values; values have no effect on one another.

    Raises KeyError if there is no such key or a value of the sentence is missing.
    """
    return template(key, language, values.get("count")).format_map(values)


def template(key: str, language: str = LANGUAGES[0], count: object = None) -> str:
    """The sentence with its placeholders; ``count`` chooses its form if it has two."""
    message = messages(language)[key]
    return message if isinstance(message, str) else message[FORMS[count != 1]]


@cache
def messages(language: str = LANGUAGES[0]) -> Mapping[str, Message]:
    """The catalogue of a language, read at its first use.

    Raises BadInput if the language is not one of ``LANGUAGES``, BookTrouble if the installation is damaged.
    """
    if language not in LANGUAGES:
        raise BadInput("language", language, f"one of {', '.join(LANGUAGES)}")
    place = f"messages/{language}.json"
    try:
        # Nearly all are plain sentences; each command waits for this, so only others are looked at closer.
        # Blanks at their ends are meant: some are parts of a sentence.
        return {
            key: value if isinstance(value, str) and value else _message(value, f"data/{place}, {key}")
            for key, value in data_object(place).items()
        }
    except BadInput as damage:
        raise BookTrouble(f"a file that came with Jackfield is damaged: {damage}") from damage


def _message(value: Any, place: str) -> Message:
    if not isinstance(value, Mapping):
        raise BadInput(place, kind_of(value), "a sentence")
    if tuple(value) != FORMS:
        raise BadInput(place, kind_of(value), f"an object with {' and '.join(FORMS)}")
    return {form: sentence(one, f"{place}, {form}") for form, one in value.items()}
