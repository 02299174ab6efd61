"""Measure how well labels, panels and manuals are read; this module reads labels.

``python scripts/measure.py read --each 60`` draws photos of labels (``label_photos.py``), an easy and a hard
half, and asks a book of 6,000 invented sets. It prints how often the label's set comes first and among the
first three. One in six labels is of a set that the book does not have: for these it prints how often another
set is named as an exact match. It prints processor seconds and memory, too.

``--keep FILE`` adds what was read to a file and counts all of it, so that a long run can be done in pieces
with other seeds. ``--each 0`` then only interprets it again. ``measure_panels.py`` and ``measure_manuals.py``
measure the others; ``--panels 0`` and ``--manuals 0`` leave them out.
"""

from __future__ import annotations

import argparse
import json
import random
import resource
import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import measure_manuals
import measure_panels
from label_photos import fonts, photo
from measure_panels import reading_of
from model_codes import normal
from people_queries import Set, invented

from kb.base.errors import JackfieldError
from kb.index import Answer, Index, Reader, SetEntry
from kb.read.label import Candidate, Label, look_at
from kb.read.picture import PictureReader, Reading, cleaned

AIMS = {"first": 0.95, "in three": 0.99}  # on the hard half
KNOWN = 6000
BOOK = 2026  # seed of the book's sets
UNKNOWN_EACH = 6


@dataclass(slots=True)
class Seen:
    """One photo, and what was read on it."""

    one: Set
    known: bool
    hard: bool
    how: str
    readings: tuple[Reading, Reading]  # the whole photo, and looked at more closely


def sets(draw: random.Random) -> tuple[list[Set], list[Set]]:
    """Sets that the book has, and others."""
    made = invented(KNOWN * 7 // 6, draw)
    return made[:KNOWN], made[KNOWN:]


def read_all(known: list[Set], unknown: list[Set], each: int, draw: random.Random) -> list[Seen]:
    """Draw and read the photos, first those of the easy half."""
    out = []
    with PictureReader() as reader:
        for number in range(2 * each):
            there = number % UNKNOWN_EACH != UNKNOWN_EACH - 1
            one = draw.choice(known if there else unknown)
            made = photo(one.make, one.model, one.year, draw, hard=number >= each)
            jpeg = cleaned(made.jpeg)
            twice = reader.read(jpeg, label=True), reader.read(jpeg, closer=True, label=True)
            out.append(Seen(one, there, made.hard, made.how, twice))
    return out


def kept(file: Path) -> list[Seen]:
    """What an earlier run read."""
    return [
        Seen(
            Set(**row["one"]),
            row["known"],
            row["hard"],
            row["how"],
            (reading_of(row["readings"][0]), reading_of(row["readings"][1])),
        )
        for row in json.loads(file.read_text("utf-8"))
    ]


def keep(seen: Sequence[Seen], file: Path) -> None:
    """Write what was read."""
    rows = [
        {
            "one": {"make": s.one.make, "model": s.one.model, "year": s.one.year, "size": s.one.size},
            "known": s.known,
            "hard": s.hard,
            "how": s.how,
            "readings": [[r.width, r.height, r.pieces] for r in s.readings],
        }
        for s in seen
    ]
    file.write_text(json.dumps(rows, ensure_ascii=False), "utf-8")


def same(one: Set, make: str, model: str) -> bool:
    """Whether make and model are those of the set."""
    return (normal(one.make), normal(one.model)) == (normal(make), normal(model))


def share(rows: Sequence[Any], test: Callable[[Any], bool]) -> str:
    """How many of the rows pass, and their share."""
    count = sum(map(test, rows))
    return f"{count}/{len(rows)} ({count / len(rows):.1%})" if rows else "none"


def judged(seen: Seen, reader: Reader) -> tuple[Candidate[Answer] | None, list[tuple[str, str, str]]]:
    """The likeliest candidate, and the sets that are shown for all of them, in order."""
    shown: list[tuple[str, str, str]] = []
    whole, near = seen.readings
    label: Label[Answer] = look_at(
        lambda closer: near if closer else whole,
        reader.find,
        reader.make_of,
        today=2026,
    )
    for one in label.candidates:
        for match in one.found.matches:
            if (match.make, match.model, match.how) not in shown:
                shown.append((match.make, match.model, match.how))
    return (label.candidates[0] if label.candidates else None), shown


def main() -> None:
    """Print how well labels are read."""
    args = argparse.ArgumentParser(description=__doc__)
    args.add_argument("--manuals", type=int, default=40, help="manuals of each part; 0 for none")
    args.add_argument("--panels", type=int, default=20, help="photos of panels of each half; 0 for none")
    args.add_argument("--each", type=int, default=60, help="photos of each half")
    args.add_argument("--seed", type=int, default=5)
    args.add_argument("--keep", type=Path, metavar="FILE")
    args.add_argument("--wrong", action="store_true", help="print the photos whose set does not come first")
    given = args.parse_args()
    known, unknown = sets(random.Random(BOOK))
    seen = kept(given.keep) if given.keep and given.keep.exists() else []
    if given.each:
        new = read_all(known, unknown, given.each, random.Random(given.seed))
        seen += new
        used = resource.getrusage(resource.RUSAGE_CHILDREN)
        print(
            f"processor {(used.ru_utime + used.ru_stime) / len(new):.1f} s a photo, looked at twice"
            f" (one start for {len(new)}); memory {used.ru_maxrss / 1024:.0f} MB at most;"
            f" {len(fonts())} fonts"
        )
        if given.keep:
            keep(seen, given.keep)
    with tempfile.TemporaryDirectory() as folder, Index.open(Path(folder)) as index:
        index.rebuild(
            [SetEntry(f"s{n}", one.make, one.model, findings=1) for n, one in enumerate(known)], revision=1
        )
        with index.reader() as reader:
            for hard in (False, True):
                half = [one for one in seen if one.hard == hard]
                told = [(one, *judged(one, reader)) for one in half]
                print(f"\n{'hard' if hard else 'easy'} half, {len(half)} photos")
                mine = [row for row in told if row[0].known]
                other = [row for row in told if not row[0].known]
                first = share(mine, lambda r: any(same(r[0].one, *m[:2]) for m in r[2][:1]))
                three = share(mine, lambda r: any(same(r[0].one, *m[:2]) for m in r[2][:3]))
                aim = f" (aims {AIMS['first']:.0%} and {AIMS['in three']:.0%})" if hard else ""
                print(f"  the label's set first {first}, in the first three {three}{aim}")
                print(f"  the model read right {share(told, lambda r: _right(r[0].one, r[1]))}")
                slips = [row for row in mine if not _right(row[0].one, row[1])]
                found = share(slips, lambda r: any(same(r[0].one, *m[:2]) for m in r[2][:1]))
                print(f"  misread, and the set comes first all the same {found}")
                print(
                    "  of sets not in the book: another one called exact"
                    f" {share(other, lambda r: any(m[2] == 'exact' for m in r[2]))}"
                )
                if given.wrong:
                    for one, best, shown in told:
                        ok = (
                            any(same(one.one, *m[:2]) for m in shown[:1])
                            if one.known
                            else _right(one.one, best)
                        )
                        if not ok:
                            _explain(one, best, shown)
    if given.panels:
        measure_panels.run(given.panels, given.seed)
    if given.manuals:
        measure_manuals.report(given.manuals)


def _right(one: Set, best: Candidate[Answer] | None) -> bool:
    return best is not None and normal(one.model) == normal(best.model)


def _explain(one: Seen, best: Candidate[Answer] | None, shown: list[tuple[str, str, str]]) -> None:
    print(f"  - {one.one.make} {one.one.model} ({'known' if one.known else 'unknown'}): {one.how}")
    print(f"      read {best and (best.make, best.model, best.query)}; shown {shown[:3]}")
    for reading in one.readings:
        print(f"      {' | '.join(f'{p.text} {p.sure:.2f}' for p in reading.pieces)}")


if __name__ == "__main__":
    try:
        main()
    except JackfieldError as problem:
        raise SystemExit(str(problem)) from problem
