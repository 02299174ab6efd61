"""Measure how well the questions of a technician are answered from the words and facts of the demo book.

``python scripts/measure_words.py`` asks the files of questions in ``tests/index/data``. It prints precision
at five and recall at ten of each question, and the means of each file. If fewer sets are right than five (or
ten), these many count.
"""

from __future__ import annotations

import argparse
import json
import re
import sys
import tempfile
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT))

from kb.base.parsing import toml_of  # noqa: E402
from kb.book import Book  # noqa: E402
from kb.domain.visit import visit_from  # noqa: E402

DATA = ROOT / "tests" / "index" / "data"
QUESTIONS = (
    "questions.toml",
    "questions_installer.toml",
    "questions_technician.toml",
    "questions_trade.toml",
    "questions_aside.toml",
    "questions_languages.toml",
    "questions_languages_aside.toml",
)
TEXTS = ("note", "setting", "marking", "item")
VISITS = ("basis", "kind", "display", "make")


@dataclass(frozen=True, slots=True)
class Judged:
    """One question: the share of the first five that are right, and of the right ones among the first ten."""

    ask: str
    right: int
    precision: float
    recall: float
    first: tuple[str, ...]


def questions(file: str = QUESTIONS[0]) -> list[dict[str, Any]]:
    """Return the questions of one file."""
    asked: list[dict[str, Any]] = toml_of((DATA / file).read_text("utf-8"), file)["question"]
    return asked


def meets(jacks: list[Mapping[str, Any]], conditions: Mapping[str, str]) -> bool:
    """Whether one of the jacks, each with what its visit says, is as the conditions say."""
    return any(
        all(
            re.search(wanted, jack[name], re.IGNORECASE | re.MULTILINE)
            if name in TEXTS
            else jack.get(name) == wanted
            for name, wanted in conditions.items()
        )
        for jack in jacks
    )


@cache
def demo() -> dict[tuple[str, str], list[Mapping[str, Any]]]:
    """Return the jacks of each set of the demo book, with signal and direction as their marks settle them."""
    of_set: dict[tuple[str, str], list[Mapping[str, Any]]] = {}
    for line in (ROOT / "data" / "demo" / "visits.jsonl").read_text("utf-8").splitlines():
        visit = json.loads(line)
        source = visit["source"]
        jacks = of_set.setdefault((_plain(source["make"]), _plain(source["model"])), [])
        for jack, whole in zip(visit["jacks"] or [{}], _whole(visit) or [{}], strict=True):
            about = {name: value for name, value in {**visit, **source}.items() if name in VISITS}
            texts = {name: str(jack.get(name, "")) for name in TEXTS}
            texts["note"] += f"\n{visit.get('note', '')}"
            texts["item"] = "\n".join(jack.get("items", []))
            jacks.append(
                {**{name: value for name, value in whole.items() if value}, **jack, **about, **texts}
            )
    return of_set


def judged(book: Book, file: str = QUESTIONS[0]) -> Iterator[Judged]:
    """Ask the book every question of a file."""
    of_set = demo()
    for question in questions(file):
        right = {
            name
            for name, jacks in of_set.items()
            if any(meets(jacks, conditions) for conditions in question["any"])
        }
        found = book.find(question["ask"], limit=10).matches
        names = [(_plain(one.make), _plain(one.model)) for one in found]
        five = sum(name in right for name in names[:5])
        ten = sum(name in right for name in names[:10])
        yield Judged(
            question["ask"], len(right), five / max(1, min(5, len(right))), ten / max(1, min(10, len(right))),
            tuple(f"{'+' if name in right else '-'} {one.make} {one.model}: {one.snippet}"
                  for name, one in zip(names, found, strict=True)),
        )  # fmt: skip


def _whole(visit: dict[str, Any]) -> list[dict[str, Any]]:
    """What each jack of a visit is once form and mark have settled direction and signal."""
    return [
        {"signal": str(one.jack.signal or ""), "direction": str(one.jack.direction)}
        for one in visit_from(visit, "demo").findings
    ]


def _plain(text: str) -> str:
    return re.sub("[^A-Z0-9]", "", text.upper())


def main() -> None:
    """Parse and run."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--show", action="store_true", help="show what was found")
    told = parser.parse_args()
    with tempfile.TemporaryDirectory() as home, Book.open(Path(home)) as book:
        lines = (ROOT / "data" / "demo" / "visits.jsonl").read_text("utf-8").splitlines()
        book.record([visit_from(json.loads(line), "demo") for line in lines])
        for file in QUESTIONS:
            print(file)
            show(list(judged(book, file)), told.show)


def show(rows: list[Judged], found: bool) -> None:
    """Print one line for each question, if asked also the sets found, and the means."""
    for row in rows:
        print(f"{row.ask:52}{row.precision:6.2f}{row.recall:6.2f}{row.right:5}")
        if found:
            print(*(f"      {line[:150]}" for line in row.first), sep="\n")
    print(f"{'precision at five, recall at ten':52}", end="")
    print(f"{sum(r.precision for r in rows) / len(rows):6.2f}{sum(r.recall for r in rows) / len(rows):6.2f}")


if __name__ == "__main__":
    main()
