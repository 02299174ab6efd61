"""How often does a score of ``find`` come true, and for sets that the book does not have?

``python scripts/calibrate_lookup.py`` asks for codes of an open list, damaged in every way of
``scripts/damage.py``, in books that hold 75, 40 and 10 of a hundred of them. A hash of the code splits the
list in halves: the reliability printed is of queries about the half that the weights of
``kb.index.scoring`` were not fitted on. ``--fit`` fits the weights on the other half, with other damage,
and prints them.
"""

from __future__ import annotations

import argparse
import random
import shutil
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from zlib import crc32

import damage as d
import numpy as np
from measure_lookup import entries, groups, key_of
from model_codes import Code, codes, normal
from people_queries import misheard, mishit
from scipy.optimize import minimize

from kb.base.errors import BadInput
from kb.index import Index
from kb.index.query import parse
from kb.index.scoring import STEEP, WEIGHT, Signs, scored, signs

SIZE = 19_000
BOOKS = (750, 400, 100)  # of a thousand codes
ASKED_UNKNOWN = 0.4  # of the queries made, weighed afterwards
PRINTED = "as printed"
MORE = {
    "two look-alikes": d.of_model(d.look_alike, d.look_alike),
    "one key beside": d.of_model(mishit),
    "misheard": d.of_model(misheard),
}
FITTED, JUDGED = 0, 1  # halves
SEEDS = {FITTED: 51, JUDGED: 52}


@dataclass(frozen=True, slots=True)
class Asked:
    """One query and its first answer; ``good``: it is the set meant; ``signs`` of the likeliest."""

    book: int
    kind: str
    unknown: bool
    text: str
    score: float = 0.0
    how: str = ""
    good: bool = False  # of the answer
    first: bool = False  # of the likeliest candidate
    share: float = 0.0
    signs: Signs | None = None
    meant: Code = ("", "")
    said: Code = ("", "")


def part_of(row: Code, salt: str, parts: int) -> int:
    """The part that a hash puts a code in: the same in every run."""
    return crc32(f"{salt}|{normal(row[0])}|{normal(row[1])}".encode()) % parts


def asked(half: int, each: int, seed: int = 0) -> Iterator[Asked]:
    """Queries about the codes of one half, and what is answered."""
    rows, source = codes(SIZE)
    print(f"{len(rows)} codes: {source}")
    draw = random.Random(seed or SEEDS[half])
    for book in BOOKS:
        known = {at for at, row in enumerate(rows) if part_of(row, "known", 1000) < book}
        mine = [at for at, row in enumerate(rows) if part_of(row, "half", 2) == half]
        inside, outside = [at for at in mine if at in known], [at for at in mine if at not in known]
        home = Path(tempfile.mkdtemp(prefix="jackfield-calibrate-"))
        index = Index.open(home / "index")
        index.rebuild((entry for at, entry in enumerate(entries(rows)) if at in known), 1)
        reader = index.reader()
        for _, with_make, kinds in groups():
            for kind, damage in {**kinds, **MORE}.items():
                for _ in range(each * (4 if kind == PRINTED else 1)):
                    unknown = draw.random() < ASKED_UNKNOWN
                    row = draw.choice(outside if unknown else inside)
                    make, model = normal(rows[row][0]), normal(rows[row][1])
                    bad_make, bad_model = damage(make, model, draw)
                    if (
                        not bad_make
                        or not bad_model
                        or (kind != PRINTED and (bad_make, bad_model) == (make, model))
                    ):
                        continue
                    text = d.written(bad_make if with_make else "", bad_model, draw)
                    yield _answer(reader, Asked(book, kind, unknown, text, meant=rows[row]), key_of(row))
        reader.close()
        index.close()
        shutil.rmtree(home, ignore_errors=True)


def _answer(reader: object, one: Asked, key: str) -> Asked:
    from dataclasses import replace

    from kb.index import Reader

    assert isinstance(reader, Reader)
    try:
        tokens = parse(one.text).tokens
        matches = reader.find(one.text).matches
    except BadInput:
        return one
    found, _, _ = reader._identifier.candidates(tokens)
    if matches:
        top = matches[0]
        one = replace(one, score=top.score, how=top.how, good=top.key == key, said=(top.make, top.model))
    if not found:
        return one
    scored(found, reader._lookup)
    first = found[0]
    weights = [np.exp(-STEEP * (c.cost - first.cost)) for c in found]
    equal = sum(c.damage == "exact" for c in found)
    row = reader._db.execute("SELECT key FROM sets WHERE id = ?", (first.set_id,)).fetchone()
    return replace(
        one,
        first=row[0] == key,
        share=1 / equal if first.damage == "exact" else float(1 / sum(weights)),
        signs=signs(first, reader._lookup, {}),
    )


def weighed(all_of: list[Asked], unknown: float, printed: float) -> np.ndarray:
    """Weights that make ``unknown`` of the queries about unknown sets, ``printed`` of them without damage."""
    count: dict[tuple[bool, bool], int] = {}
    for one in all_of:
        kind = (one.unknown, one.kind == PRINTED)
        count[kind] = count.get(kind, 0) + 1
    share = {
        (u, p): (unknown if u else 1 - unknown) * (printed if p else 1 - printed)
        for u in (True, False)
        for p in (True, False)
    }
    kinds = [(one.unknown, one.kind == PRINTED) for one in all_of]
    return np.array([share[kind] * len(all_of) / count[kind] for kind in kinds])


def fit(all_of: list[Asked]) -> Signs:
    """The weights that make what came true the likeliest: score = share * trust (``kb.index.scoring``)."""
    weights = weighed(all_of, 2 / 3, 1 / 3)
    kept = [(one, w) for one, w in zip(all_of, weights, strict=True) if one.signs]
    names = sorted({name for one, _ in kept for name in one.signs or {}})
    x = np.array([[(one.signs or {}).get(name, 0.0) for name in names] for one, _ in kept])
    y = np.array([float(one.first) for one, _ in kept])
    share = np.minimum([one.share for one, _ in kept], 1 - 1e-6)
    w = np.array([w for _, w in kept])

    def loss(b: np.ndarray) -> tuple[float, np.ndarray]:
        sure = 1 / (1 + np.exp(-(x @ b)))
        p = np.clip(share * sure, 1e-9, 1 - 1e-9)
        value = -(w * (y * np.log(p) + (1 - y) * np.log(1 - p))).sum() + (b**2).sum() / 2
        slope = -w * (y / p - (1 - y) / (1 - p)) * share * sure * (1 - sure)
        return float(value), x.T @ slope + b

    found = minimize(loss, np.zeros(len(names)), jac=True, method="L-BFGS-B", options={"maxiter": 3000})
    return {name: round(float(value), 2) for name, value in zip(names, found.x, strict=True)}


def reliability(title: str, all_of: list[Asked], weights: np.ndarray) -> None:
    """What was said, and how often it came true, in ten steps of the score."""
    print(f"\n{title}")
    for how in ("exact", "near", "family"):
        said, true, count = [], [], []
        for step in range(10):
            here = [
                (one, w)
                for one, w in zip(all_of, weights, strict=True)
                if one.how == how and step / 10 <= min(one.score, 0.999) < (step + 1) / 10
            ]
            count.append(len(here))
            total = sum(w for _, w in here)
            said.append(sum(w * one.score for one, w in here) / total if len(here) >= 20 else np.nan)
            true.append(sum(w * one.good for one, w in here) / total if len(here) >= 20 else np.nan)
        for name, values in (("said", said), ("came true", true)):
            print(f"  {how:7} {name:10}" + "".join("     -" if np.isnan(v) else f"{v:6.2f}" for v in values))
        print(f"  {how:7} {'answers':10}" + "".join(f"{n:6}" for n in count))


def boasts(all_of: list[Asked], from_: float = 0.8) -> None:
    """How often an answer is stated with confidence, right and wrong."""
    print(f"\nstated with {from_} or more     unknown sets   unknown, printed    known: right     wrong")
    for book in (*BOOKS, 0):
        mine = [one for one in all_of if book in (0, one.book)]
        sure = [one for one in mine if one.score >= from_ and one.how in ("exact", "near", "family")]
        cells = []
        for unknown, printed, good in (
            (True, False, False),
            (True, True, False),
            (False, False, True),
            (False, False, False),
        ):
            of = [o for o in mine if o.unknown == unknown and (not printed or o.kind == PRINTED)]
            got = [
                o
                for o in sure
                if o.unknown == unknown and o.good == good and (not printed or o.kind == PRINTED)
            ]
            cells.append(f"{len(got):5} of {len(of):5} {len(got) / max(len(of), 1):6.1%}")
        print(f"  {f'book of {book / 10:.0f}%' if book else 'all':14}", "  ".join(cells))


def main() -> None:
    """Parse and run."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--each", type=int, default=60, help="queries of each kind of damage and book")
    parser.add_argument("--fit", action="store_true", help="fit the weights on the other half and print them")
    parser.add_argument("--wrong", action="store_true", help="show what was wrong and stated with confidence")
    parser.add_argument("--seed", type=int, default=0, help="other damage")
    told = parser.parse_args()
    if told.fit:
        fitted = fit(list(asked(FITTED, told.each, told.seed)))
        for name, value in sorted(fitted.items()):
            print(f'    "{name}": {value},')
        WEIGHT.clear()
        WEIGHT.update(fitted)
    judged = list(asked(JUDGED, told.each, told.seed))
    print(f"{len(judged)} queries about the half of the codes that was held out")
    reliability(
        "as assumed: 2 in 3 unknown to the book, 1 in 3 as printed", judged, weighed(judged, 2 / 3, 1 / 3)
    )
    reliability("kinder: 1 in 4 unknown, 1 in 13 as printed", judged, weighed(judged, 1 / 4, 1 / 13))
    boasts(judged)
    if told.wrong:
        for one in judged:
            if one.score >= 0.8 and not one.good:
                print(f"{one.score:.2f} {one.how} {one.kind} | {one.text} | {one.meant} | {one.said}")


if __name__ == "__main__":
    main()
