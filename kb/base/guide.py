"""Read the pages of the guide: Markdown files in ``data/guide`` that are installed with Jackfield.

>>> page("sharing").title
'Sharing with colleagues'
"""

from __future__ import annotations

import os
import re
from collections.abc import Callable
from dataclasses import dataclass
from difflib import get_close_matches
from typing import Final

from kb.base.datafiles import located
from kb.base.errors import NotFound, shown
from kb.base.messages import Said

#: A link from one page to another, such as ``[files](files.md)`` or ``[CSV](files.md#csv)``.
_LINK: Final = re.compile(r"\[([^\]]+)\]\((\w+)\.md(#[\w-]+)?\)")
_NAME: Final = re.compile(r"[a-z]+\Z")


@dataclass(frozen=True)
class Page:
    """One page: ``name`` is the topic, ``title`` its heading, ``about`` its first paragraph on one line."""

    name: str
    title: str
    about: str
    text: str

    def linked(self, link: Callable[[str, str, str], str]) -> str:
        """The text; ``link`` makes each link to another page from words, topic and ``#anchor``."""
        return _LINK.sub(lambda found: link(found[1], found[2], found[3] or ""), self.text)


def topics() -> list[str]:
    """The names of all pages, in alphabetical order. Raises BookTrouble if the folder is missing."""
    return sorted(name.removesuffix(".md") for name in os.listdir(located("guide")) if name.endswith(".md"))


def pages() -> list[Page]:
    """All pages, in the order of ``topics``."""
    return [page(name) for name in topics()]


def page(name: str) -> Page:
    """The page on a topic, in any case. Raises NotFound for a topic that has no page."""
    wanted = name.lower().strip()
    known = topics()
    if not _NAME.match(wanted) or wanted not in known:
        near = get_close_matches(wanted, known, n=1)
        asked = shown(name[:40])
        if near:
            raise NotFound(Said("error/no-guide-page-near", name=asked, near=shown(near[0])))
        raise NotFound(Said("error/no-guide-page", name=asked, topics=", ".join(known)))
    with open(located(f"guide/{wanted}.md"), encoding="utf-8") as file:
        text = file.read()
    title, _, rest = text.partition("\n")
    about = rest.strip().partition("\n\n")[0].replace("\n", " ")
    return Page(wanted, title.removeprefix("# ").strip(), about, text)
