"""Write the sheet of a day: what is known of each job, what to carry, and one list for the van.

The text and the HTML page come from the same values, so they say the same.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

from kb.base.text import visible, wrapped
from kb.domain.language import Language
from kb.sheet.page import document
from kb.sheet.paper import Paper


@dataclass(frozen=True, slots=True)
class DaySet:
    """Hold what is said of one set of a job: expected outputs, ways in their order, questions."""

    title: str
    expected: tuple[str, ...]
    ways: tuple[str, ...]
    ask: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class DayJob:
    """Hold what is said of one job: ``facts`` are label and value."""

    title: str
    facts: tuple[tuple[str, str], ...]
    sets: tuple[DaySet, ...]
    carry: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class DaySheet:
    """Hold a day: its jobs, the list for the van, what to buy, how sure it is, and jobs still open."""

    day: date
    jobs: tuple[DayJob, ...]
    van: tuple[str, ...]
    buy: tuple[str, ...]
    verdict: tuple[str, ...]
    earlier: tuple[str, ...] = ()


def day_page(sheet: DaySheet, said: Language, paper: Paper) -> str:
    """Return the day as an HTML document to print; it needs no network."""
    return document("day.html", said, paper=paper, sheet=sheet, made=_title(sheet, said))


def day_text(sheet: DaySheet, said: Language, width: int) -> Iterator[str]:
    """Yield the lines of the day as text, none longer than ``width``."""
    yield said("sheet/day/title", day=_title(sheet, said))
    for number, job in enumerate(sheet.jobs, 1):
        yield ""
        yield from _lines(f"{number}. {job.title}", width, 0)
        for label, value in job.facts:
            yield from _lines(f"{label}: {value}", width, 3)
        for one in job.sets:
            yield from _lines(one.title, width, 3)
            yield from _some(said("sheet/day/expected"), one.expected, width)
            yield from _some(said("sheet/day/ways"), one.ways, width)
            yield from _some(said("sheet/day/ask"), one.ask, width)
        yield from _some(said("sheet/day/carry"), job.carry, width)
    yield ""
    yield said("sheet/day/van")
    for line in sheet.van:
        yield from wrapped(visible(line), width, "[ ] ", "    ")
    if sheet.buy:
        yield ""
        yield said("sheet/day/buy")
        for line in sheet.buy:
            yield from wrapped(visible(line), width, "[ ] ", "    ")
    yield ""
    for line in sheet.verdict:
        yield from _lines(line, width, 0)
    if sheet.earlier:
        yield ""
        yield said("sheet/day/earlier")
        for line in sheet.earlier:
            yield from _lines(line, width, 2)


def _title(sheet: DaySheet, said: Language) -> str:
    return said.day(sheet.day, Paper.A4.value)


def _some(title: str, lines: tuple[str, ...], width: int) -> Iterator[str]:
    if lines:
        yield from _lines(title, width, 5)
        for line in lines:
            yield from _lines(f"- {line}", width, 7)


def _lines(said: str, width: int, indent: int) -> Iterator[str]:
    yield from wrapped(visible(said), width, " " * indent, " " * (indent + 2))
