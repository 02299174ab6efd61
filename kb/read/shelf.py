"""Keep manuals next to the book, find words in them, and say which page a finding came from.

A manual is in ``manuals/HASH/`` next to the book: the file itself, its text, and for each visit that was
confirmed from it the pages of its findings. All of this is private to this machine: it is in no table, and
so in no dump and no bundle. No file here ever changes once it is written.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final
from uuid import UUID

from kb.base.atomic import write_mine
from kb.base.errors import BadInput, BookTrouble, why_of
from kb.base.messages import Said
from kb.base.parsing import json_of
from kb.base.text import plain_capitals
from kb.read.manual import Item, paragraphs
from kb.read.pdf import Document
from kb.settings import MANUALS

FILE: Final = "manual.pdf"
TEXT: Final = "text.json"
HITS: Final = 5  #: pages that a search shows
_MOST: Final = 64 * 1024 * 1024  #: bytes of a text that is read
_HASH: Final = re.compile(r"[0-9a-f]{64}\Z")


@dataclass(frozen=True, slots=True)
class Cited:
    """Where a finding of a visit came from: ``says`` is what the line says besides that the jack is there."""

    visit: str
    manual: str
    form: str
    marking: str
    says: Mapping[str, str]
    page: int
    line: str


@dataclass(frozen=True, slots=True)
class Hit:
    """A paragraph of a manual in which all words of a query are."""

    manual: str
    page: int
    line: str


class Shelf:
    """The manuals next to the book in ``home``."""

    def __init__(self, home: Path) -> None:
        self._folder = home / MANUALS

    def keep(self, sent: bytes, name: str, document: Document) -> str:
        """Keep a manual; returns its name here, the SHA-256 of the file. Raises BookTrouble."""
        key = hashlib.sha256(sent).hexdigest()
        pages = [[page.number, [block.text for block in paragraphs(page)]] for page in document.pages]
        said = json.dumps({"name": name, "pages": pages}, ensure_ascii=False).encode()
        self._write(self._folder / key / FILE, sent)
        self._write(self._folder / key / TEXT, said)
        return key

    def cite(self, key: str, visit: str, items: Iterable[Item]) -> None:
        """Keep the pages from which a visit's findings came. Raises BookTrouble."""
        found = []
        for one in items:
            jack = {"form": one.form.value, "marking": one.marking, "says": dict(one.says)}
            found.append({**jack, "page": one.page, "line": one.line})
        said = json.dumps(found, ensure_ascii=False).encode()
        self._write(self._folder / key / f"{UUID(visit)}.json", said)

    def cited(self, visits: Iterable[str]) -> list[Cited]:
        """The pages from which the findings of visits came, by page."""
        found: list[Cited] = []
        asked = list(visits)
        for folder in self._manuals():
            for visit in asked:
                file = folder / f"{visit}.json"
                if file.is_file():
                    name = self._name(folder)
                    found += [_cited(one, visit, name) for one in self._read(file, list)]
        return sorted(found, key=lambda one: (one.manual, one.page))

    def visits(self, key: str) -> list[str]:
        """The visits that were confirmed from a manual."""
        with suppress(OSError):
            return [one.stem for one in (self._folder / key).glob("*-*.json")]
        return []

    def search(self, query: str, most: int = HITS) -> list[Hit]:
        """Paragraphs that have all words of a query, or pages that have; the first ``most``."""
        words = plain_capitals(query).split()
        if not words:
            return []
        whole: list[Hit] = []
        parts: list[Hit] = []
        for folder in self._manuals():
            said = self._read(folder / TEXT, dict)
            name = str(said.get("name", ""))
            for number, texts in said.get("pages", ()):
                folded = [plain_capitals(one) for one in texts]
                if not _has(" ".join(folded), words):
                    continue
                best = max(range(len(folded)), key=lambda at: sum(_has(folded[at], [word]) for word in words))
                hit = Hit(name, int(number), str(texts[best]))
                (whole if _has(folded[best], words) else parts).append(hit)
                if len(whole) >= most:
                    return whole
        return [*whole, *parts][:most]

    def _manuals(self) -> Iterator[Path]:
        with suppress(OSError):
            yield from sorted(one for one in self._folder.iterdir() if _HASH.match(one.name))

    def _name(self, folder: Path) -> str:
        return str(self._read(folder / TEXT, dict).get("name", ""))

    def _read(self, file: Path, kind: type[Any]) -> Any:
        """What a file of the shelf holds; nothing if it is damaged or gone."""
        with suppress(OSError, ValueError, BadInput):
            with file.open("rb") as opened:
                said = json_of(opened.read(_MOST).decode("utf-8"), file.name)
            if isinstance(said, kind):
                return said
        return kind()

    def _write(self, file: Path, content: bytes) -> None:
        if file.exists():
            return
        try:
            write_mine(file, content)
        except OSError as problem:
            said = why_of(problem)
            raise BookTrouble(Said("error/manual-not-kept", place=file, why=said)) from problem


def _has(folded: str, words: Sequence[str]) -> bool:
    """Does a word of the text begin with each of the words?"""
    return all(f" {word}" in f" {folded}" for word in words)


def _cited(said: Any, visit: str, manual: str) -> Cited:
    one = said if isinstance(said, dict) else {}
    says = one.get("says")
    return Cited(
        visit,
        manual,
        str(one.get("form", "")),
        str(one.get("marking", "")),
        says if isinstance(says, dict) else {},
        one["page"] if isinstance(one.get("page"), int) else 0,
        str(one.get("line", "")),
    )
