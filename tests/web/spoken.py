"""Tell sentences of the catalogue from words that are written anywhere else, by marking each sentence."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from functools import cache
from html.parser import HTMLParser
from typing import Any, Final

from kb.base.datafiles import data_tables
from kb.catalogue import catalogue, item_name
from kb.domain.language import language
from kb.domain.words import Form, Word

LEFT, RIGHT = "⟦", "⟧"
#: Parts of numbers and dates, which are put together or taken apart.
PARTS: Final = ("language/decimal", "language/thousands", "language/months", "language/date-")
#: What is read aloud or shown of an element besides its text.
SPOKEN: Final = ("title", "placeholder", "aria-label", "alt", "data-said")
#: Names, examples to type, a unit and a name of a command: the same in every language.
NAMES: Final = (
    "Jackfield",
    "nv40 21?",
    "ABCD-EFGH",
    "English",
    "Español",
    "pip install '.[read]'",
    "JPEG",
    "PNG",
    "WebP",
    "HEIC",
    "panel.jpg",
    "MB",
)


def marked(messages: dict[str, Any]) -> dict[str, Any]:
    """The catalogue of a pretended language: every sentence between two brackets."""

    def mark(said: str) -> str:
        return f"{LEFT}{said}{RIGHT}"

    return {
        key: said
        if key.startswith(PARTS)
        else mark(said)
        if isinstance(said, str)
        else {form: mark(one) for form, one in said.items()}
        for key, said in messages.items()
    }


def unmarked(text: str, data: tuple[str, ...] = ()) -> list[str]:
    """The words of ``text`` that are in no marked sentence and no data.

    >>> unmarked("Save: ⟦Save ⟦2⟧ visits⟧ of Norwell", ("Norwell",))
    ['Save', 'of']
    """
    left = "".join(_outside(text))
    if re.search(_LETTERS, left):
        left = _known(data).sub(" ", left)
    return re.findall(_LETTERS, left)


_LETTERS: Final = r"[^\W\d_]{2,}"


@cache
def _known(data: tuple[str, ...]) -> re.Pattern[str]:
    """Any of these texts and of those in the files of data, the longest first."""
    known = sorted({*data, *_of_files()} - {""}, key=len, reverse=True)
    return re.compile(rf"(?<!\w)(?:{'|'.join(map(re.escape, known))})(?!\w)", re.IGNORECASE)


def _outside(text: str) -> Iterator[str]:
    depth = 0
    for letter in text:
        depth += (letter == LEFT) - (letter == RIGHT)
        if not depth:
            yield " " if letter == RIGHT else letter


def _of_files() -> set[str]:
    """Spanish texts that are declared with their word, item or fault, and marks that are printed on sets."""
    es = language("es")
    words = [word for kind in Word.__subclasses__() for word in kind]
    return {
        *(word.names["es"] for word in words if "es" in word.names),
        *(item_name(item.name, es) for item in catalogue().items),
        *_texts([*data_tables("faults.toml").values()], inside=False),
        *(mark for form in Form for mark in form.marks),
        *NAMES,
    }


def _texts(value: Any, *, inside: bool = True) -> Iterator[str]:
    """All texts of a value; with ``inside`` false only those below a key ``es``."""
    if isinstance(value, str) and inside:
        yield value
    elif isinstance(value, dict):
        for key, one in value.items():
            yield from _texts(one, inside=inside or key == "es")
    elif isinstance(value, (list, tuple)):
        for one in value:
            yield from _texts(one, inside=inside)


def data_in(*values: Any) -> tuple[str, ...]:
    """The texts of a visit, a form or a job: what people typed is shown as it is."""
    return tuple(_texts(list(values)))


class Page(HTMLParser):
    """What a person sees or hears of a page, and the texts that its scripts get."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.said: list[str] = []
        self.scripts: dict[str, Any] = {}
        self._within: list[tuple[str, dict[str, str | None]]] = []
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        about = dict(attrs)
        self.said += [value for name in SPOKEN if (value := about.get(name))]
        if tag not in ("input", "meta", "link", "img", "br", "circle", "path", "rect", "use", "ellipse"):
            self._within.append((tag, about))

    def handle_endtag(self, tag: str) -> None:
        while self._within and self._within.pop()[0] != tag:
            pass

    def handle_data(self, data: str) -> None:
        if not data.strip():
            return
        tag, about = self._within[-1] if self._within else ("", {})
        if tag == "script" and "data-texts" in about:
            self.scripts |= json.loads(data)
        elif tag not in ("script", "style", "textarea") and not any(
            one.get("lang") == "en" for name, one in self._within if name != "html"
        ):
            self.said.append(data.strip())
