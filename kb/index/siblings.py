"""Offer siblings when no known set is meant.

All of them are ``family`` with a low score: they are offered, not claimed.
"""

from __future__ import annotations

import re
import sqlite3
from typing import NamedTuple

from kb.index import tables as t
from kb.index.edit_distance import Near
from kb.index.entry import Filters
from kb.index.lookup import Lookup
from kb.index.normalize import fold, normalise
from kb.index.query import year_of
from kb.index.splits import UNITS

_OF_MAKE = " WHERE id IN (SELECT set_id FROM spelling WHERE make = ? LIMIT 5000)"
_SIZE = re.compile(r"(\d{2,3})(?:IN|INCH|INCHES)?\Z")
_SIZES = range(10, 121)
_BIT = 2  # letters from which a piece may be a bit of a model number
_NEAREST = 200  # sets of a make among which the nearest are named


class Memory(NamedTuple):
    """A make, and what else was said: each piece must fit a set in some way."""

    make: str
    pieces: tuple[str, ...]

    def fits(self, row: t.SetRow) -> bool:
        """Whether year, size digits, kind, signal, outcome or a bit of the model number is as it was said."""
        model = fold(normalise(row[3]))
        facts = f" {row[4]}{row[9]}{row[10]}".lower()
        return all(_fits(piece, row, model, facts) for piece in self.pieces)


def _fits(piece: str, row: t.SetRow, model: str, facts: str) -> bool:
    year = year_of(piece)
    if year is not None and t.in_years(row, (year, year)):
        return True
    size = _SIZE.match(piece)
    if size and int(size.group(1)) in _SIZES:
        return re.search(rf"(?<!\d){size.group(1)}", normalise(row[3])) is not None
    if piece.isalpha() and len(piece) > _BIT and f" {piece.lower().removesuffix('s')}" in facts:
        return True
    return len(piece) >= _BIT and fold(piece) in model


def remembered(parts: tuple[str, ...], make: str, lookup: Lookup) -> Memory | None:
    """The make among the pieces, perhaps a slip off, and the pieces beside it; None without a make."""
    said = [part for part in parts if make and part in make]
    if not said:
        for part in parts:
            near = lookup.near_makes(part) if part.isalpha() else []
            if len(near) == 1:
                make, said = normalise(near[0]), [part]
                break
        else:
            return None
    return Memory(make, tuple(part for part in parts if part not in said and part not in UNITS))


def of_make(db: sqlite3.Connection, memory: Memory, conditions: Filters, limit: int) -> list[t.SetRow]:
    """Sets of the make that fit what was said, those with the most findings first."""
    out: list[t.SetRow] = []
    for row in db.execute(t.SETS + _OF_MAKE + t.MOST_FOUND, (memory.make,)):
        if t.passes(row, conditions) and memory.fits(row):
            out.append(row)
            if len(out) == limit:
                break
    return out


def nearest_of_make(db: sqlite3.Connection, memory: Memory, conditions: Filters, most: int) -> list[t.SetRow]:
    """Sets of the make that are the least unlike what was said."""
    rows = db.execute(f"{t.SETS}{_OF_MAKE}{t.MOST_FOUND} LIMIT {_NEAREST}", (memory.make,)).fetchall()
    near = Near(fold("".join(memory.pieces)))
    kept = [row for row in rows if t.passes(row, conditions)]
    return sorted(kept, key=lambda row: near.distance(fold(normalise(row[3]))))[:most]


def family(
    db: sqlite3.Connection,
    lookup: Lookup,
    parts: tuple[str, ...],
    make: str,
    conditions: Filters,
    limit: int,
) -> list[t.SetRow]:
    """Sets of the skeleton of an unknown model: same series first, then those with the most findings."""
    from kb.index.family import learn

    code = "".join(part for part in parts if not (make and part in make))
    if not code and not make:
        return []
    mates = lookup.mates(code, make)
    if not mates:
        return []
    by_make: dict[str, list[str]] = {}
    for _, maker, model, _ in mates:
        by_make.setdefault(maker, []).append(model)
    families = {name: learn(models) for name, models in by_make.items()}
    apart = {row[0]: families[row[1]].apart(code, row[2]) for row in mates}
    kept = [row for row in t.rows_of(db, list(apart)).values() if t.passes(row, conditions)]
    kept.sort(key=lambda row: (apart[row[0]], -row[5], row[3]))
    return kept[:limit]
