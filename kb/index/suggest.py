"""Suggest sister sets if the query means no known set.

All of them are ``family`` with a low score: an offer, not a claim. The book shows which sets are sisters, and
what each part of a model number means. Sets of one make that share a skeleton (``normalize.shape``: letters
kept, digits masked, the suffix cut) are a family. Comparing its members position by position shows the roles,
without any table of makes:

* *size*: the first two digits that vary together over values from 10 to 120;
* *year*: a single letter that varies while its neighbours are digits;
* *series*: every other digit or letter of the skeleton;
* *region*: the letters after the last digit, which the skeleton leaves out.

>>> learn(["NV40210", "NV46210", "NV55330"]).roles
('series', 'series', 'size', 'size', 'series', 'series', 'series')
"""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Iterable
from typing import Literal, NamedTuple

from kb.index import index_files as t
from kb.index.candidates import Lookup
from kb.index.edit_distance import Near
from kb.index.entry import Filters
from kb.index.normalize import fold, normalise, stem
from kb.index.query import UNITS, Recollection, year_of

Role = Literal["size", "series", "year"]
_APART: dict[Role, float] = {"size": 0.1, "year": 0.4, "series": 1.0}
_REGION_APART = 0.1
_SIZES = range(10, 121)


class Family(NamedTuple):
    """Hold the roles of the positions of a skeleton, and the positions that vary among the members."""

    roles: tuple[Role, ...]
    varies: tuple[bool, ...]

    def apart(self, one: str, other: str) -> float:
        """Return how unlike two members are: sisters that differ only in size or region are close to 0."""
        first, second = stem(one), stem(other)
        total = 0.0 if one[len(first) :] == other[len(second) :] else _REGION_APART
        for at, (a, b) in enumerate(zip(first, second, strict=False)):
            if a != b:
                total += _APART[self.roles[at] if at < len(self.roles) else "series"]
        return total + abs(len(first) - len(second))


def learn(models: Iterable[str]) -> Family:
    """Learn the family of models of one make and one skeleton (normalised codes, at least one)."""
    stems = [stem(model) for model in models]
    length = min(len(code) for code in stems)
    columns = [{code[at] for code in stems} for at in range(length)]
    varies = tuple(len(column) > 1 for column in columns)
    roles: list[Role] = ["series"] * length
    digits = [all(char.isdigit() for char in column) for column in columns]
    for at in range(length - 1):
        pair = digits[at] and digits[at + 1] and (at == 0 or not digits[at - 1])
        if pair and _is_size(stems, at, varies):
            roles[at] = roles[at + 1] = "size"
            break
    for at in range(1, length - 1):
        letters = all(char.isalpha() for char in columns[at])
        if letters and varies[at] and digits[at - 1] and digits[at + 1]:
            roles[at] = "year"
    return Family(tuple(roles), varies)


def _is_size(stems: list[str], at: int, varies: tuple[bool, ...]) -> bool:
    values = {int(code[at : at + 2]) for code in stems}
    return (varies[at] or varies[at + 1]) and all(value in _SIZES for value in values)


_OF_MAKE = " WHERE id IN (SELECT set_id FROM spelling WHERE make = ? LIMIT 5000)"
_SIZE = re.compile(r"(\d{2,3})(?:IN|INCH|INCHES)?\Z")
_BIT = 2  # a piece with so many letters may be part of a model number
_NEAREST = 200  # the nearest are chosen among so many sets of a make


class Memory(NamedTuple):
    """Hold a make and the other pieces of the query; each piece must fit a set in some way."""

    make: str
    pieces: tuple[str, ...]

    def fits(self, row: t.SetRow) -> bool:
        """Return whether each piece fits the year, size, kind, signal, outcome or part of the model."""
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


_YEARS_OFF = 2  # of a remembered year
_UNKNOWN_YEAR = 3  # years off that a set without a year counts for, if its size is right


def recalled(
    db: sqlite3.Connection, lookup: Lookup, said: Recollection, conditions: Filters, limit: int
) -> list[t.SetRow]:
    """Return sets of the make with that size and year: nearest year first, then most findings.

    Return nothing if the query has no make, a word fits no set, or the digits are a model of the book.
    """
    make, spelt = lookup.make_in(said.words)
    if not make or lookup.has(said.digits, make):
        return []
    rest = tuple(word for word in said.words if word not in spelt)
    kept: list[tuple[int, int, t.SetRow]] = []
    for row in db.execute(t.SETS + _OF_MAKE + t.MOST_FOUND, (make,)):
        off = _years_off(row, said.year) if said.year else 0
        if off == _UNKNOWN_YEAR and not said.size:
            continue
        if off > _UNKNOWN_YEAR or (said.size and not _has_size(row, said.size)):
            continue
        if t.passes(row, conditions) and Memory(make, rest).fits(row):
            kept.append((off, len(kept), row))
    return [row for _, _, row in sorted(kept)[:limit]]


def _years_off(row: t.SetRow, year: int) -> int:
    if row[7] is None and row[8] is None:
        return _UNKNOWN_YEAR
    return next((n for n in range(_YEARS_OFF + 1) if t.in_years(row, (year - n, year + n))), 9)


def _has_size(row: t.SetRow, size: int) -> bool:
    """Return whether the set's recorded size is this one; without one, its model must have the digits."""
    known = [float(one) for one in row[13].split()]
    if known:
        return any(abs(one - size) < 1 for one in known)
    return re.search(rf"(?<!\d){size}", normalise(row[3])) is not None


def remembered(parts: tuple[str, ...], make: str, lookup: Lookup) -> Memory | None:
    """Return the make among the pieces, perhaps with a slip or in part, and the rest; None without a make."""
    said = tuple(part for part in parts if make and part in make)
    if not said:
        make, said = lookup.make_in(parts)
        if not make:
            return None
    return Memory(make, tuple(part for part in parts if part not in said and part not in UNITS))


def of_make(db: sqlite3.Connection, memory: Memory, conditions: Filters, limit: int) -> list[t.SetRow]:
    """Return sets of the make that fit the query, those with the most findings first."""
    out: list[t.SetRow] = []
    for row in db.execute(t.SETS + _OF_MAKE + t.MOST_FOUND, (memory.make,)):
        if t.passes(row, conditions) and memory.fits(row):
            out.append(row)
            if len(out) == limit:
                break
    return out


def nearest_of_make(db: sqlite3.Connection, memory: Memory, conditions: Filters, most: int) -> list[t.SetRow]:
    """Return the sets of the make that are least unlike the query."""
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
    """Return sets with the skeleton of an unknown model: same series first, then most findings."""
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
