"""Texts for people keep to plain English: no word that readers stumbled over, no sentence over thirty words.

A help, not a limit: a text that is right although a rule here says otherwise goes into ``EXCEPTIONS``.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from pathlib import Path

import pytest

from kb.base import messages as catalogue

ROOT = Path(__file__).resolve().parent.parent
PAGES = (ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted((ROOT / "data" / "guide").glob("*.md")))
LONGEST = 30  #: words of a sentence

#: Words that readers stumbled over, with better ones.
WORST: Mapping[str, str] = {
    r"\banew\b": "again",
    r"\bdearer\b": "more expensive",
    r"(?<!there )\b(is|are) none\b": "is invalid, or: there is no",
    r"\bbeside\b": "next to",
    r"(?<!people )\bstands?\b(?! (behind|for|and listen)\b)": "is, exists, is shown or is valid",
    r"\b(is|was|are|were|being|be) (told|said)\b": "who says it",
    r"\b(file|folder|book|name|visit) that is there\b": "an existing file",
    r"\bno such (file|folder)\b": "file not found",
    r"\bwhoever\b": "name the person",
    r"\bhence\b": "so, or because",
    r"\bis not to be had\b": "is not available",
    r"\b(look|looks|looked) after the server\b": "the administrator",
    r"\bmended in vain\b": "repaired without effect",
    r"(?<!even )\bthough\b": "although, even if",
}
#: Parts of texts that are right as they are, with the reason.
EXCEPTIONS: Mapping[str, str] = {
    "`seen` `manual` `told`": "a value of the vocabulary",
}


def prose(markdown: str) -> Iterator[str]:
    """The sentences of a page, without code, tables, headings and pictures."""
    text = re.sub(r"^```.*?^```$", "\n", markdown, flags=re.MULTILINE | re.DOTALL)
    lines = [line for line in text.splitlines() if not line.startswith(("|", "#", "!", "<", " src", "    "))]
    for paragraph in re.split(r"\n\s*\n|\n(?=- |\d+\. )", "\n".join(lines)):
        plain = re.sub(r"\]\([^)]*\)", "]", paragraph)
        yield from sentences(re.sub(r"`[^`]*`", "CODE", plain))


def sentences(text: str) -> list[str]:
    """The sentences of a text; a colon or a semicolon ends one, too."""
    return [one for one in re.split(r"(?<=[.!?:;])\**\s+", " ".join(text.split())) if one]


def messages() -> Iterator[tuple[str, str]]:
    """The sentences of the English catalogue."""
    for key, said in catalogue.messages().items():
        yield from ((key, form) for form in ([said] if isinstance(said, str) else said.values()))


def faults_of(text: str) -> list[str]:
    """What is wrong with one sentence or message; lines that stay as they are, behind a ``\\b``, are none."""
    text = text.partition("\b")[0]
    if any(exception in text for exception in EXCEPTIONS):
        return []
    bad = [
        f"{found[0]!r}: {better}" for word, better in WORST.items() if (found := re.search(word, text, re.I))
    ]
    words = max((len(one.split()) for one in sentences(text)), default=0)
    return [*bad, f"{words} words: say it in two sentences"] if words > LONGEST else bad


def found(texts: Iterator[tuple[str, str]]) -> list[str]:
    return [f"{place}: {fault}: {text}" for place, text in texts for fault in faults_of(text)]


@pytest.mark.parametrize("path", PAGES, ids=lambda path: path.stem)
def test_readme_and_guide_are_plain(path: Path) -> None:
    assert found((path.name, one) for one in prose(path.read_text("utf-8"))) == []


def test_sentences_for_people_are_plain() -> None:
    assert found(messages()) == []


def test_the_checks_of_this_file_can_fail() -> None:
    assert faults_of("The index is made anew.") == ["'anew': again"]
    assert faults_of("what is told") == ["'is told': who says it"]
    assert faults_of("word " * 31) == ["31 words: say it in two sentences"]
    page = "# Title\n\nShort. " + "word " * 31 + "\n\n```\nanew\n```\n| anew |\n"
    assert found(("page", one) for one in prose(page)) != []
    assert all("anew" not in one for one in prose(page))


def test_every_exception_is_used() -> None:
    everything = [text for _, text in messages()]
    everything += [path.read_text("utf-8") for path in PAGES]
    assert [one for one in EXCEPTIONS if not any(one in text for text in everything)] == []


def test_every_file_that_the_developers_page_names_is_there() -> None:
    text = (ROOT / "DEVELOPERS.md").read_text("utf-8")
    named = set(re.findall(r"`((?:kb|tests|scripts|data)/[\w/.]+)`", text)) - {
        "data/guide/TOPIC.md",
        "kb/cli/NAME.py",
    }
    assert len(named) > 40
    assert [name for name in sorted(named) if not (ROOT / name).exists()] == []
