"""Measure how well the marks of a panel are read from a photo.

``python scripts/measure.py read`` runs this, too. Photos are drawn by ``panel_photos.py``, an easy and a hard
half. Of three photos one is set aside: it is counted apart, and never shown with ``--wrong``.

Where marks are lost is counted in steps: a text is seen if a text was read at its place, and read if it has
the same letters and digits. A mark is found if a jack of the draft near it has them, in any order of words
and without L and R. A jack of the draft near a real one with another mark is misread; any other is invented.

``--keep FILE`` adds what was read to a file and counts all of it, so that a long run can be done in pieces
with other seeds. ``--each 0`` then only groups it again.
"""

from __future__ import annotations

import argparse
import json
import random
import re
import resource
import time
import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from label_photos import HIGH, WIDE
from panel_photos import Jack, panel

from kb.base.errors import JackfieldError
from kb.read.panel import SeenJack, jacks_in, joined, looks
from kb.read.picture import PictureReader, Piece, Reading, cleaned
from kb.read.printed_lines import plain

AIMS = {"found": 0.95, "invented": 0.02}  #: on the hard half
NEAR = 0.13  # of the photo's width: a jack and what is said to be it


@dataclass(slots=True)
class Seen:
    """One photo, and what was read on it."""

    jacks: tuple[Jack, ...]
    hard: bool
    aside: bool
    how: str
    readings: tuple[Reading, ...]  #: the whole photo, and looked at more closely
    printed: Reading  #: as if every text had been read as it is printed


def read_all(each: int, seed: int) -> list[Seen]:
    """Draw and read the photos, first those of the easy half."""
    out, draw = [], random.Random(seed)
    with PictureReader() as reader:
        for number in range(2 * each):
            made = panel(draw, hard=number >= each)
            jpeg = cleaned(made.jpeg)
            readings = tuple(looks(reader, jpeg))
            pieces = tuple(Piece(text, corners, 1.0) for text, corners in made.texts)
            printed = Reading(WIDE, HIGH, pieces)
            out.append(Seen(made.jacks, made.hard, number % 3 == 2, made.how, readings, printed))
    return out


def kept(file: Path) -> list[Seen]:
    """What an earlier run read."""
    return [
        Seen(
            tuple(Jack(**one) for one in row["jacks"]),
            row["hard"],
            row["aside"],
            row["how"],
            tuple(map(reading_of, row["readings"])),
            reading_of(row["printed"]),
        )
        for row in json.loads(file.read_text("utf-8"))
    ]


def reading_of(row: list[Any]) -> Reading:
    """A reading as an earlier run kept it."""
    wide, high, pieces = row
    return Reading(wide, high, tuple(Piece(text, tuple(map(tuple, at)), *more) for text, at, *more in pieces))


def keep(seen: Sequence[Seen], file: Path) -> None:
    """Write what was read."""
    rows = [
        {
            "jacks": [asdict(one) for one in s.jacks],
            "hard": s.hard,
            "aside": s.aside,
            "how": s.how,
            "readings": [[r.width, r.height, r.pieces] for r in s.readings],
            "printed": [s.printed.width, s.printed.height, s.printed.pieces],
        }
        for s in seen
    ]
    file.write_text(json.dumps(rows, ensure_ascii=False), "utf-8")


def letters(mark: str) -> str:
    """The letters and digits of a mark in a fixed order, without those for left and right."""
    plain = unicodedata.normalize("NFKD", mark).upper()
    words = re.findall(r"[^\W_]+", "".join(sign for sign in plain if not unicodedata.combining(sign)))
    return "".join(sorted("".join(word for word in words if word not in ("L", "R"))))


def far(one: SeenJack, jack: Jack) -> float:
    """How far they are apart, as a share of the photo's width."""
    return float(((one.x - jack.x) ** 2 + (0.75 * (one.y - jack.y)) ** 2) ** 0.5)


def steps(seen: Seen, reading: Reading) -> tuple[int, int, int]:
    """Count the texts that are printed, those that were seen, and those that were read."""
    at_place = read = 0
    for one in seen.printed.pieces:
        (x0, y0), (x1, _), _, (_, y3) = one.corners
        wide = max(x1 - x0, 1.0)
        here = []
        for piece in reading.pieces:
            xs, ys = zip(*piece.corners, strict=True)
            off = abs(sum(xs) / 4 - sum(x for x, _ in one.corners) / 4) / wide
            up = abs(sum(ys) / 4 - sum(y for _, y in one.corners) / 4) / max(y3 - y0, 1.0)
            if off < 0.5 and up < 1:
                here.append(letters(plain(piece.text)))
        at_place += bool(here)
        read += letters(one.text) in here
    return len(seen.printed.pieces), at_place, read


@dataclass(slots=True)
class Count:
    """What came of some photos."""

    jacks: int = 0
    drafted: int = 0
    found: int = 0
    sure: int = 0  #: found, and without a doubt
    misread: int = 0
    misread_sure: int = 0
    invented: int = 0
    form: int = 0  #: of the found
    reversed: int = 0  #: of the found: an input said to be an output, or the other way round
    off: float = 0.0  #: sum of distances of the found

    def add(self, seen: Seen, reading: Reading) -> list[str]:
        """Count what was made of one photo as it was read; returns what went wrong."""
        drafted = list(jacks_in(reading))
        left, wrong = list(seen.jacks), []
        self.jacks += len(left)
        self.drafted += len(drafted)
        rest = []
        for one in drafted:
            same = [j for j in left if letters(j.marks) == letters(one.marking) and far(one, j) < NEAR]
            if not same:
                rest.append(one)
                continue
            jack = min(same, key=lambda j: far(one, j))
            left.remove(jack)
            self.found += 1
            self.sure += not one.doubts
            self.off += far(one, jack)
            self.form += one.form.value == jack.form
            ways = {"out": "output", "in": "input"}
            if jack.way and one.direction.value not in (ways[jack.way], "unclear"):
                self.reversed += 1
                wrong.append(f"reversed: {one.marking!r} {one.form} {one.direction}")
            if one.form.value != jack.form:
                wrong.append(f"form: {one.marking!r} {one.form}, is {jack.form}")
        for one in rest:
            near = [j for j in left if far(one, j) < NEAR]
            if near:
                jack = min(near, key=lambda j: far(one, j))
                left.remove(jack)
                self.misread += 1
                self.misread_sure += not one.doubts
                wrong.append(f"misread: {one.marking!r}, is {jack.marks!r} {[*one.doubts]}")
            else:
                self.invented += 1
                wrong.append(
                    f"invented: {one.marking!r} {one.form} at {one.x:.2f} {one.y:.2f} {[*one.doubts]}"
                )
        return wrong + [f"missed: {j.marks!r} {j.form} at {j.x:.2f} {j.y:.2f}" for j in left]


def report(seen: Iterable[Seen], *, show_wrong: bool = False) -> None:
    """Print the shares of both halves, of the photos set aside and of the others."""
    for hard in (False, True):
        for aside in (False, True):
            count, grouped, photos = Count(), Count(), 0
            texts = [0, 0, 0]
            for one in seen:
                if (one.hard, one.aside) != (hard, aside):
                    continue
                photos += 1
                reading = joined(*one.readings)
                wrong = count.add(one, reading)
                texts = [sum(pair) for pair in zip(texts, steps(one, reading), strict=True)]
                grouped.add(one, one.printed)
                if show_wrong and wrong and not aside:
                    print(f"  - {one.how}")
                    for line in wrong:
                        print(f"      {line}")
                    print(f"      {' | '.join(p.text for p in reading.pieces)}")
            if photos:
                _print(count, grouped, photos, hard=hard, aside=aside)
                print(f"  of {texts[0]} texts printed: {texts[1]} seen, {texts[2]} read as printed")


def _print(count: Count, grouped: Count, photos: int, *, hard: bool, aside: bool) -> None:
    def share(some: int, of: int) -> str:
        return f"{some}/{of} ({some / of:.1%})" if of else "none"

    aim = f" (aim {AIMS['found']:.0%})" if hard else ""
    most = f" (aim under {AIMS['invented']:.0%})" if hard else ""
    print(f"\npanels, {'hard' if hard else 'easy'} half, {photos} photos{' set aside' if aside else ''}")
    print(f"  marks found {share(count.found, count.jacks)}{aim}")
    alone = f"{share(grouped.found, grouped.jacks)}, invented {grouped.invented}"
    print(f"    if all text were read as it is printed: found {alone}")
    print(f"  jacks invented {share(count.invented, count.drafted)}{most}")
    misread = share(count.misread, count.drafted)
    print(f"  jacks with a misread mark {misread}, {count.misread_sure} without a doubt")
    form, off = share(count.form, count.found), count.off / max(1, count.found)
    print(f"  of the found: form right {form}, direction reversed {count.reversed},")
    print(f"    without a doubt {share(count.sure, count.found)}, place off by {off:.1%} of the width")


def main() -> None:
    """Print how well panels are read."""
    args = argparse.ArgumentParser(description=__doc__)
    args.add_argument("--each", type=int, default=30, help="photos of each half")
    args.add_argument("--seed", type=int, default=5)
    args.add_argument("--keep", type=Path, metavar="FILE")
    args.add_argument("--wrong", action="store_true", help="print what went wrong on photos not set aside")
    given = args.parse_args()
    run(given.each, given.seed, given.keep, show_wrong=given.wrong)


def run(each: int, seed: int, file: Path | None = None, *, show_wrong: bool = False) -> None:
    """Draw, read and count."""
    seen = kept(file) if file and file.exists() else []
    if each:
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        began = time.monotonic()
        new = read_all(each, seed)
        used = resource.getrusage(resource.RUSAGE_CHILDREN)
        spent = used.ru_utime + used.ru_stime - before.ru_utime - before.ru_stime
        clock = (time.monotonic() - began) / len(new)
        print(
            f"panels: processor {spent / len(new):.1f} s a photo, looked at twice;"
            f" {clock:.1f} s by the clock with drawing; memory {used.ru_maxrss / 1024:.0f} MB at most"
        )
        seen += new
        if file:
            keep(seen, file)
    report(seen, show_wrong=show_wrong)


if __name__ == "__main__":
    try:
        main()
    except JackfieldError as problem:
        raise SystemExit(str(problem)) from problem
