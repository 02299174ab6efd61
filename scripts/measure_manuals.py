"""Measure how well invented manuals are read: precision and recall of the draft, processor time, memory.

    python3 scripts/measure_manuals.py [COUNT]     a part of scripts/measure.py read

A fact is that a jack is there (form, mark, direction), or one thing that is said of it. Facts that the reader
itself calls doubtful count as not read.
"""

from __future__ import annotations

import resource
import sys
from collections import Counter
from collections.abc import Iterator
from typing import NamedTuple

from environment import ready

if __name__ == "__main__":
    ready("test")

import manuals

COUNT = 120


class Score(NamedTuple):
    """Facts that were read rightly, that were read, and that are in the manual."""

    right: int
    read: int
    true: int

    def __str__(self) -> str:
        precision = self.right / self.read if self.read else 1.0
        recall = self.right / self.true if self.true else 1.0
        counts = f"{self.right} right of {self.read} read; {self.true} are in the manuals"
        return f"precision {precision:6.1%}  recall {recall:6.1%}  ({counts})"


def measured(seeds: range, part: str) -> tuple[dict[str, Score], list[str]]:
    """Scores by the kind of fact, and a line for each mistake."""
    from kb.read.manual import ManualText
    from kb.read.pdf import document

    right: Counter[str] = Counter()
    read: Counter[str] = Counter()
    true: Counter[str] = Counter()
    wrong = []
    for seed in seeds:
        one = manuals.made(seed, part)
        pages = document(one.pdf, "manual").pages
        found = set(_facts(ManualText(pages).draft(one.model)))
        wanted = {fact: forms for told in one.told for fact, forms in _truths(told, one.languages)}
        hit = set()
        for fact in found:
            form, *rest = fact
            name = rest[1]
            read[name] += 1
            match = (rest[0], name, rest[2])
            fits = [key for key, forms in wanted.items() if _equal(key, match) and form in forms]
            if fits:
                right[name] += 1
                hit.update(fits)
            else:
                wrong.append(f"{seed} {one.languages[0]} invented {fact}")
        for key in wanted:
            true[key[1]] += 1
            if key not in hit:
                wrong.append(f"{seed} {one.languages[0]} missed {key}")
    names = sorted(true | read)
    scores = {name: Score(right[name], read[name], true[name]) for name in names}
    scores["all"] = Score(right.total(), read.total(), true.total())
    return scores, wrong


Fact = tuple[str, str, str, str]


def _facts(items: list) -> Iterator[Fact]:  # type: ignore[type-arg]
    from kb.base.text import squeezed
    from kb.domain.visit import visit_from
    from kb.read.manual import jacks_of

    jacks = jacks_of(item for item in items if not item.doubt)
    source = {"make": "Norwell", "model": "NV1"}
    for one in visit_from({"date": "2026-03-04", "source": source, "jacks": jacks}).findings:
        form, mark = one.jack.form.value, squeezed(one.jack.marking)
        yield form, mark, "jack", one.jack.direction.value
        values = {
            "speakers": one.speakers.value,
            "level": one.jack.level.value,
            "format": one.jack.format.value,
        }
        for name, value in values.items():
            if value != "unknown":
                yield form, mark, name, value
        if one.setting:
            yield form, mark, "setting", squeezed(one.setting)


def _truths(
    told: manuals.Told, languages: tuple[str, ...]
) -> Iterator[tuple[tuple[str, str, str], frozenset[str]]]:
    from kb.base.text import squeezed

    mark = squeezed(told.mark)
    yield (mark, "jack", told.direction), told.forms
    for name, value in told.says.items():
        if name == "setting":
            value = "|".join(squeezed(manuals.setting_named(value, code)) for code in languages)
        yield (mark, name, value), told.forms


def _equal(true: tuple[str, str, str], read: tuple[str, str, str]) -> bool:
    if true[:2] != read[:2]:
        return False
    if true[1] == "setting":
        return any(part in read[2] for part in true[2].split("|"))
    return true[2] == read[2]


def report(count: int, *, wrong_ones: bool = False) -> None:
    """Print the scores of each part of the wordings."""
    for part in manuals.PARTS:
        before = _spent()
        scores, wrong = measured(range(count), part)
        print(f"\n{count} manuals, {part} wordings (aims: precision 98%, recall 85%)")
        for name, score in scores.items():
            print(f"  {name:9} {score}")
        most = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024
        print(
            f"  processor {(_spent() - before) / count:.2f} s a manual, with making it; {most:.0f} MB at most"
        )
        if wrong_ones and part == "seen":
            print(*wrong, sep="\n")


def _spent() -> float:
    both = (resource.getrusage(resource.RUSAGE_CHILDREN), resource.getrusage(resource.RUSAGE_SELF))
    return sum(one.ru_utime + one.ru_stime for one in both)


def main() -> int:
    """Measure so many manuals of each part."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 and sys.argv[1].isdecimal() else COUNT
    report(count, wrong_ones="--wrong" in sys.argv)
    return 0


if __name__ == "__main__":
    sys.exit(main())
