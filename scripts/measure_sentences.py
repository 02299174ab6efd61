"""Measure which single sentences of manuals mislead the reader: traps and honest ones, each in a manual.

    python3 scripts/measure_sentences.py [--looked]     ``--looked``: the mistakes of the half looked at, too

A jack is false if the set of the manual does not have it, or has it the other way round. It is a false sure
one if the reader does not doubt that it is there (it may doubt what plugs in). Of an honest sentence the jack
counts as read only if it is sure. "Told twice" repeats each sentence on another page: a second witness.
"""

from __future__ import annotations

import random
import sys
import tomllib
from collections import Counter
from pathlib import Path
from typing import Any

from environment import ready

if __name__ == "__main__":
    ready("test")

from manuals import drawn

FILE = Path(__file__).with_name("manual_sentences.toml")
MODEL = "NV40-210"
#: A title and a line that names no jack, so that the language of the page is plain.
PAGE = {
    "en": ("Connections", "Switch the TV off before you connect anything to it, and read the safety notes."),
    "de": (
        "Anschlüsse",
        "Schalten Sie den Fernseher aus, bevor Sie ein Gerät anschließen, und lesen Sie die Hinweise.",
    ),
    "fr": (
        "Raccordements",
        "Éteignez le téléviseur avant de brancher un appareil et lisez les consignes de sécurité.",
    ),
    "es": ("Conexiones", "Apague el televisor antes de conectar un aparato y lea los avisos de seguridad."),
    "it": (
        "Collegamenti",
        "Spegnere il televisore prima di collegare un apparecchio e leggere le avvertenze.",
    ),
    "nl": (
        "Aansluitingen",
        "Zet de tv uit voordat u een apparaat aansluit en lees de veiligheidsaanwijzingen.",
    ),
}
AGAIN = {"en": "Note", "de": "Hinweis", "fr": "Remarque", "es": "Nota", "it": "Nota bene", "nl": "Let op"}


def pages_of(language: str, lines: list[str]) -> list[list[Any]]:
    """A cover that names two models, and a page with the lines; cells of a table are parted by ``|``."""
    title, first = PAGE[language]
    page: list[Any] = [("head", title), ("line", first)]
    rows = [line.split("|") for line in lines if "|" in line]
    if rows:
        page.append(("table", rows, (180, *(100 for _ in rows[0][1:]))))
    page += [("line", line) for line in lines if "|" not in line]
    return [[("big", "Norwell"), ("line", MODEL), ("line", "NV50-300")], page]


def jacks_read(language: str, lines: list[str], seed: int, *, twice: bool) -> list[tuple[str, str, bool]]:
    """The mark and direction of each jack that is drafted, and whether it is sure that the set has it."""
    from kb.base.text import squeezed
    from kb.domain.visit import visit_from
    from kb.read.manual import ManualText, jacks_of
    from kb.read.pdf import document

    pages = pages_of(language, lines)
    if twice:
        pages.append(
            [("head", "2"), *(("line", f"{AGAIN[language]}: {line}") for line in lines if "|" not in line)]
        )
    pdf, _ = drawn(pages, random.Random(seed))
    found = []
    items = ManualText(document(pdf, "manual").pages).draft(MODEL)
    for sure in (True, False):
        jacks = jacks_of(item for item in items if item.is_jack and (item.doubt in ("", "form")) is sure)
        if not jacks:
            continue
        source = {"make": "Norwell", "model": MODEL}
        visit = visit_from({"date": "2026-03-04", "source": source, "jacks": jacks})
        found += [(squeezed(one.jack.marking), one.jack.direction.value, sure) for one in visit.findings]
    return found


def measured(*, twice: bool) -> tuple[dict[str, Counter[str]], list[str]]:
    """Counts for each half, and a line for each mistake of the half that may be looked at."""
    from kb.base.text import squeezed

    every = tomllib.loads(FILE.read_text(encoding="utf-8"))
    counts = {half: Counter[str]() for half in ("looked at", "set aside")}
    mistakes = []
    for kind in ("trap", "honest"):
        for number, one in enumerate(every[kind]):
            half = "set aside" if number % 2 else "looked at"
            count = counts[half]
            inputs = {squeezed(mark) for mark in one.get("inputs", ())}
            outputs = {squeezed(mark) for mark in one.get("outputs", ())}
            found = jacks_read(one["language"], one["lines"], number, twice=twice)
            false = [
                (mark, way, sure)
                for mark, way, sure in found
                if not ((mark in inputs and way != "output") or (mark in outputs and way != "input"))
            ]
            sure = {mark for mark, way, sure in found if sure and way == "output"}
            count[kind] += 1
            count[f"{kind}: false"] += bool(false)
            count[f"{kind}: false and sure"] += any(sure for *_, sure in false)
            count["read"] += bool(outputs) and outputs <= sure
            count["read with a doubt"] += (
                bool(outputs) and not outputs <= sure and any(mark in outputs for mark, *_ in found)
            )
            if half == "looked at" and (false or not outputs <= sure):
                mistakes.append(f"{kind} {one['language']} {' / '.join(one['lines'])} -> {found}")
    return counts, mistakes


def main() -> int:
    """Print the counts of both halves."""
    for twice in (False, True):
        print("told twice:" if twice else "told once:")
        report(twice=twice)
    return 0


def report(*, twice: bool) -> None:
    """Print the counts of both halves, and if asked the mistakes of the half that is looked at."""
    counts, mistakes = measured(twice=twice)
    for half, count in counts.items():
        false, sure = count["trap: false"], count["trap: false and sure"]
        print(f"{half}: {count['trap']} traps, {false} false, {sure} of them sure;")
        read, doubted, wrong = count["read"], count["read with a doubt"], count["honest: false"]
        print(f"  {count['honest']} honest: {read} read, {doubted} with a doubt, {wrong} with a false jack")
    if "--looked" in sys.argv:
        print(*mistakes, sep="\n")


if __name__ == "__main__":
    sys.exit(main())
