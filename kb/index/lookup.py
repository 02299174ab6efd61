"""Look up the rows that a damaged code can have come from: by key, by beginning and by make.

Each look-up is bounded, whatever the query holds.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterable
from zlib import crc32

from kb.index import keys as k
from kb.index.edit_distance import Near, plain_distance
from kb.index.entry import IndexBroken
from kb.index.normalize import fold, shape
from kb.index.splits import Reading

_ROWS = 3_000  # rows of one look-up; more are a code too short to tell
_RANGE = 300
_SCANNED = 20_000  # spellings, at most, that are read through for the middle of a code
_INSIDE_FROM = 4
_FEW = 800  # sets of a make up to which all are weighed when nothing is close

Row = tuple[int, str, str, int]
"""Set, make, model (normalised), whether the make was cut off the model."""

_BY_KEY = (
    "SELECT s.set_id, s.make, s.model, s.short FROM json_each(?) j"
    " CROSS JOIN keys k ON k.key BETWEEN j.value << 24 AND (j.value << 24) + 16777215"
    " CROSS JOIN spelling s ON s.id = k.key & 16777215"
)

_INSIDE = "SELECT set_id, make, model, short FROM spelling WHERE instr(folded, ?) LIMIT ?"
_INSIDE_MAKE = "SELECT set_id, make, model, short FROM spelling WHERE make = ? AND instr(folded, ?) LIMIT ?"

# The plus keeps SQLite from taking the index of makes: the range of codes is far narrower.
_RANGES = {
    ("folded", False): "SELECT set_id, make, model, short FROM spelling"
    " WHERE folded >= ? AND folded < ? LIMIT ?",
    ("folded", True): "SELECT set_id, make, model, short FROM spelling"
    " WHERE folded >= ? AND folded < ? AND +make = ? LIMIT ?",
    ("backward", False): "SELECT set_id, make, model, short FROM spelling"
    " WHERE backward >= ? AND backward < ? LIMIT ?",
    ("backward", True): "SELECT set_id, make, model, short FROM spelling"
    " WHERE backward >= ? AND backward < ? AND +make = ? LIMIT ?",
}


class Lookup:
    """Rows of one open index file. Not for several threads at once."""

    def __init__(self, db: sqlite3.Connection, bits: k.Bits) -> None:
        self._db = db
        self._bits = bits

    def known_makes(self, names: Iterable[str]) -> set[str]:
        """Those of the normalised names that are makes of the book."""
        asked = json.dumps(list(names))
        rows = self._db.execute(
            "SELECT make FROM makes WHERE make IN (SELECT value FROM json_each(?))", (asked,)
        )
        return {row[0] for row in rows}

    def patterned(self, code: str, make: str) -> bool:
        """Whether the make has sets of the same skeleton as the code."""
        skeleton = shape(code)
        if not skeleton:
            return False
        value = crc32(k.encode(skeleton), k.SHAPE)
        if not self._bits.may_hold(value):
            return False
        first = self._db.execute(f"{_BY_KEY} WHERE s.make = ? LIMIT 1", (f"[{value}]", make)).fetchone()
        return first is not None

    def goes_on(self, code: str) -> bool:
        """Whether a set of the book has a longer code that begins with this one."""
        start = fold(code)
        longer = (start + "\1", start + "\U0010ffff", 1)
        return self._db.execute(_RANGES["folded", False], longer).fetchone() is not None

    def near_makes(self, name: str) -> list[str]:
        """Makes at most one slip from a normalised name, as the book shows them, most sets first."""
        code = fold(name)
        if len(code) < 4:
            return []
        hashes = set(k.one_less(k.encode(code), k.MAKE))
        rows = self._db.execute(
            "SELECT m.make, m.shown FROM json_each(?) j CROSS JOIN keys k ON k.key BETWEEN j.value << 24"
            " AND (j.value << 24) + 16777215 CROSS JOIN makes m ON m.id = k.key & 16777215"
            " ORDER BY m.sets DESC LIMIT 50",
            (str(self._bits.keep(hashes)),),
        )
        near = Near(code)
        return list(dict.fromkeys(shown for make, shown in rows if near.distance(fold(make)) <= 1))

    def _rows(self, hashes: Iterable[int], make: str = "") -> list[Row]:
        kept = self._bits.keep(set(hashes))
        if not kept:
            return []
        rows: list[Row] = self._db.execute(f"{_BY_KEY} LIMIT {_ROWS}", (str(kept),)).fetchall()
        if len(rows) == _ROWS and make:
            rows += self._db.execute(
                f"{_BY_KEY} WHERE s.make = ? LIMIT {_ROWS}", (str(kept), make)
            ).fetchall()
        return rows

    def close(self, way: Reading) -> list[Row]:
        code, unknown = _code(way)
        if len(code) < 2:
            return []
        if unknown:
            hashes = set(k.one_less(code))
            if unknown == 2:
                hashes.update(k.inserted_hashes(code, k.CODE))
            return self._rows(hashes, way.make)
        self._refuse_lost(way.code, code)
        hashes = k.within_one(code)
        for cut in range(1, min(4, len(code) - 3) + 1):
            hashes.add(crc32(code[:-cut], k.CODE))
        return self._rows(hashes, way.make)

    def _refuse_lost(self, asked: str, code: bytes) -> None:
        """Raise IndexBroken where the bit map says that a code which stands in the table is not stored."""
        if not self._bits.may_hold(crc32(code, k.CODE)):
            there = self._db.execute("SELECT 1 FROM spelling WHERE folded = ?", (fold(asked),)).fetchone()
            if there:
                raise IndexBroken("index: the bit map lacks a key that is in the table")

    def ends(self, way: Reading, *, far: bool = True) -> list[Row]:
        """Sets whose model begins, or ends, with what was read."""
        if "?" in way.code:
            return self._pattern(way)
        code = fold(way.code)
        if len(code) < 3:
            return []
        encoded = k.encode(code)
        rows: list[Row] = []
        if len(encoded) < k.MIN_PREFIX or self._bits.may_hold(crc32(encoded, k.PREFIX)):
            rows += self._range("folded", code, way.make)
        if far and len(code) >= 4 and not rows:
            rows += self._range("backward", code[::-1], way.make)
        return rows

    def _range(self, column: str, start: str, make: str, most: int = _RANGE) -> list[Row]:
        rows = _RANGES[column, bool(make)]
        values = (start, start + "\U0010ffff", make, most) if make else (start, start + "\U0010ffff", most)
        return self._db.execute(rows, values).fetchall()

    def _pattern(self, way: Reading) -> list[Row]:
        """Sets that share the readable beginning (or end) of a code with unreadable characters."""
        code = fold(way.code)
        head, tail = code.split("?", 1)[0], code.rsplit("?", 1)[1]
        column, start = ("folded", head) if len(head) >= len(tail) else ("backward", tail[::-1])
        return self._range(column, start, way.make, _ROWS) if len(start) >= 2 else []

    def far(self, way: Reading) -> list[Row]:
        code, unknown = _code(way)
        if len(code) + unknown < 4 or unknown > 2:
            return []
        hashes = set(k.within_two(code, unknown))
        return self._rows(hashes, way.make)

    def far_ends(self, way: Reading) -> list[Row]:
        """Sets that are a slip and a lost or added end away."""
        code, unknown = _code(way)
        if unknown or len(code) < 5:
            return []
        longer = set()
        for cut in range(1, min(4, len(code) - 4) + 1):  # an added end and a slip
            longer.update(k.within_one(code[:-cut]))
            longer.update(k.substituted_hashes(code[:-cut], k.CODE))
        rows = self._rows(longer, way.make)
        seen = 0
        for value, text in k.prefix_within_one(code):  # a lost end and a slip
            if self._bits.may_hold(value):
                seen += 1
                rows += self._range("folded", text.decode("utf-8", "ignore"), way.make, 20)
                if seen > 80:
                    break
        return rows

    def in_one(self, joined: str) -> list[Reading]:
        """Readings of make and model written without a gap, the make at most one slip off."""
        if len(joined) < 6:
            return []
        code = fold(joined)
        cuts: dict[int, tuple[str, bool]] = {}
        for size in range(2, min(24, len(joined) - 2)):
            for part, front in ((code[:size], True), (code[-size:], False)):
                own = k.encode(part)
                hashes = k.one_less(own, k.MAKE) if size >= 4 else [crc32(own, k.MAKE)]
                for value in self._bits.keep(set(hashes)):
                    cuts.setdefault(value, (part, front))
        rows = self._db.execute(
            "SELECT j.value, m.make FROM json_each(?) j CROSS JOIN keys k ON k.key BETWEEN j.value << 24"
            " AND (j.value << 24) + 16777215 CROSS JOIN makes m ON m.id = k.key & 16777215 LIMIT 200",
            (str(list(cuts)),),
        ).fetchall()
        out: dict[tuple[str, str], tuple[int, Reading]] = {}
        for make in {row[1] for row in rows}:
            target = fold(make)
            for size in range(max(2, len(make) - 1), min(len(make) + 2, len(joined) - 2)):
                for part, start, end in (
                    (code[:size], size, len(joined)),
                    (code[-size:], 0, len(joined) - size),
                ):
                    slips = plain_distance(part, target)
                    if slips <= (1 if len(make) >= 4 else 0):
                        spelt = joined[:size] if start else joined[-size:]
                        way = Reading(joined[start:end], (spelt,), make, bound=True)
                        out.setdefault((way.code, make), (slips - 2 * len(make), way))
        ranked = sorted(out.values(), key=lambda pair: pair[0])
        return [way for _, way in ranked[:6]]

    def cut_anywhere(self, joined: str) -> list[tuple[Reading, list[Row]]]:
        """Readings of make and model written in one, the make spelt anyhow and the code well enough."""
        out = []
        for size in range(2, min(24, len(joined) - 3)):
            for code, rest in ((joined[size:], joined[:size]), (joined[:-size], joined[-size:])):
                way = Reading(code, (rest,), bound=True)
                if rest.isalpha() and "?" not in code:
                    rows = self._rows(k.one_less(k.encode(fold(code))))
                    if rows:
                        out.append((way, rows))
        return out

    def inside(self, way: Reading) -> list[Row]:
        """Sets whose model holds what was read somewhere in it: those of the make, or all of a small book."""
        code = fold(way.code)
        if len(code) < _INSIDE_FROM or "?" in code:
            return []
        found = self._db.execute("SELECT sets FROM makes WHERE make = ?", (way.make,)).fetchone()
        if found is None:
            found = self._db.execute("SELECT max(id) FROM spelling").fetchone()
        if (found[0] or 0) > _SCANNED:
            return []
        if way.make:
            return self._db.execute(_INSIDE_MAKE, (way.make, code, _RANGE)).fetchall()
        return self._db.execute(_INSIDE, (code, _RANGE)).fetchall()

    def all_of(self, make: str) -> list[Row]:
        """All sets of a make with few of them."""
        found = self._db.execute("SELECT sets FROM makes WHERE make = ?", (make,)).fetchone()
        if found is None or found[0] > _FEW:
            return []
        return self._db.execute(
            "SELECT set_id, make, model, short FROM spelling WHERE make = ? LIMIT ?", (make, 2 * _FEW)
        ).fetchall()

    def mates(self, code: str, make: str, most: int = 200) -> list[Row]:
        """Sets of the same skeleton (``fold.shape``), of the make where one is given."""
        skeleton = shape(code)
        if skeleton.count("#") < 2:
            return []
        rows = self._rows([crc32(k.encode(skeleton), k.SHAPE)], make)
        rows = [row for row in rows if shape(row[2]) == skeleton and (not make or row[1] == make)]
        if rows or len(code) < 5:
            return rows[:most]
        head = code[: max(3, (2 * len(code) + 2) // 3)]
        return [row for row in self._range("folded", fold(head), make) if not make or row[1] == make][:most]


def _code(way: Reading) -> tuple[bytes, int]:
    """The folded code without unreadable characters, and how many there were."""
    unknown = way.code.count("?")
    return k.encode(fold(way.code.replace("?", "") if unknown else way.code)), unknown
