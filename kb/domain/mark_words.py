"""Hold the words and ring colours that are printed at jacks, from ``data/mark_words.json``.

The panel reader (``kb.domain.marking``) knows no others. A meaning is written as its English word.

>>> [row.meaning for row in ROWS["USCITA"]]
['OUT']
"""

from __future__ import annotations

from typing import Final, NamedTuple

from kb.base.datafiles import data_object
from kb.base.text import plain_capitals
from kb.domain.words import Colour, Direction, Form, Signal

_DATA: Final = data_object("mark_words.json")


class MarkWords(NamedTuple):
    """Words of one language with one meaning; without a language, makers print them everywhere."""

    meaning: str
    language: str
    words: str
    """With blanks between, as :func:`kb.base.text.plain_capitals` writes them."""
    source: str
    needs: bool
    """They are believed only next to another word of their language: short, or of another sense elsewhere."""


WORDS: Final = tuple(
    MarkWords(
        meaning,
        language=language.rstrip("?"),
        words=words,
        source=_DATA["sources"].get(meaning, "common practice"),
        needs="?" in language,
    )
    for meaning, by_language in _DATA["words"].items()
    for language, words in by_language.items()
)
DENIALS: Final = frozenset(_DATA["denials"]["words"].split())
SPANISH_DENIAL: Final = "SIN"  #: in Italian the left channel
DECODERS: Final = frozenset(_DATA["decoders"]["words"].split())

#: Parts of the set itself, whose sound its own outputs give. A television is none: where FROM TV is printed,
#: the cable comes from one.
OWN_PARTS: Final = frozenset({"TUNER"})


class Ring(NamedTuple):
    """The meaning of a ring's colour at one form. Where it tells no direction, the mark does."""

    form: Form
    colour: Colour
    direction: Direction
    signal: Signal | None


#: The ring of each form and colour.
RING_OF: Final = {
    (Form(form), Colour(colour)): Ring(
        Form(form), Colour(colour), Direction(direction), Signal(signal) if signal else None
    )
    for source, rows in _DATA["rings"].items()
    if source != "about"
    for form, colour, direction, signal in rows
}
#: Words that say what plugs in, in order: the first form of which a word is printed.
PLUGS: Final = tuple((Form(form), frozenset(words.split())) for form, words in _DATA["plugs"]["rows"])
#: The rows of each word.
ROWS: Final[dict[str, list[MarkWords]]] = {}
for _row in WORDS:
    for _word in _row.words.split():
        ROWS.setdefault(plain_capitals(_word), []).append(_row)
