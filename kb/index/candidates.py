"""Retrieve the sets whose make and model may have been damaged into the query.

The stages run in this order, each only when the one before found nothing close: one slip; a lost or added
end; two slips, or an end with a slip; make and model without a gap. All of them fold look-alikes first. Each
look-up is bounded, for any query.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterable, Iterator
from itertools import islice
from zlib import crc32

from kb.base.messages import Said
from kb.index import keys as k
from kb.index.edit_distance import Near, plain_distance
from kb.index.entry import IndexBroken
from kb.index.index_files import Row, words_of
from kb.index.normalize import fold, normalise, shape
from kb.index.query import Segmentation, around, ends, middles, pieces, segmentations, without_size
from kb.index.scoring import FAR, Candidate, Weigher, mark_sisters

_ROWS = 3_000  # rows of one look-up; a code with more is too short to tell sets apart
_RANGE = 300
_SCANNED = 20_000  # spellings, at most, that a search for the middle of a code reads
_INSIDE_FROM = 4
_BEGINNINGS = 81  # beginnings a slip away that are looked up
_WITH_DIGIT = 4  # a longer piece with one digit may be a make: "HALLM6RE"
_FEW = 800  # all sets of a make with up to this many are weighed when nothing is close

_BY_KEY = (
    "SELECT s.set_id, s.make, s.model, s.short FROM json_each(?) j"
    " CROSS JOIN keys k ON k.key BETWEEN j.value << 24 AND (j.value << 24) + 16777215"
    " CROSS JOIN spelling s ON s.id = k.key & 16777215"
)

_CODES = (
    "SELECT s.set_id, s.make, s.model, s.short FROM json_each(?) j"
    " CROSS JOIN spelling s ON s.folded = j.value"
)

# A few sets of each beginning: one statement for all of them takes a third of the time.
_BEGUN = (
    "SELECT s.set_id, s.make, s.model, s.short FROM json_each(?1) j CROSS JOIN spelling s ON s.id IN"
    " (SELECT id FROM spelling WHERE folded >= j.value AND folded < j.value || char(1114111)"
    " AND (?2 = '' OR +make = ?2) LIMIT 20)"
)

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
        self._words: dict[str, tuple[str, ...]] = {}
        self._codes: str | None = None  # all codes of a small book, one on each line

    def words_of(self, make: str) -> tuple[str, ...]:
        """Return the normalised words of a make of several words, () for a make of one word."""
        there = self._words.get(make)
        if there is None:
            row = self._db.execute("SELECT shown FROM makes WHERE make = ?", (make,)).fetchone()
            there = self._words[make] = words_of(row[0]) if row else ()
        return there

    def makes_with(self, word: str) -> list[str]:
        """Return the makes of several words (normalised) that contain this word."""
        rows = self._db.execute("SELECT make FROM make_word WHERE word = ? LIMIT 20", (word,))
        return [row[0] for row in rows]

    def make_in(self, words: tuple[str, ...]) -> tuple[str, tuple[str, ...]]:
        """Return the make (normalised) that normalised words name, and these words; "" if there is none.

        A make named in full comes first, then one with a slip, then a word that no other make has.
        """
        count = len(words)
        spans = [words[at:end] for at in range(count) for end in range(at + 1, min(at + 4, count) + 1)]
        names = {"".join(span): span for span in spans}
        known = self.known_makes(names)
        if known:
            name = max(known, key=len)
            return name, names[name]
        for span in sorted(spans, key=len, reverse=True):
            near = self.near_makes("".join(span)) if all(map(str.isalpha, span)) else []
            if len(near) == 1:
                return normalise(near[0]), span
        makes: dict[str, list[str]] = {}
        for word in words:
            for make in self.makes_with(word) if len(word) > 1 else ():
                makes.setdefault(make, []).append(word)
        most = max(map(len, makes.values()), default=0)
        likeliest = [make for make, said in makes.items() if len(said) == most]
        if len(likeliest) == 1:
            return likeliest[0], tuple(makes[likeliest[0]])
        return "", ()

    def shown(self, make: str) -> str:
        """Return a make as the book writes it, by its normalised name."""
        row = self._db.execute("SELECT shown FROM makes WHERE make = ?", (make,)).fetchone()
        return row[0] if row else make

    def has(self, code: str, make: str) -> bool:
        """Return whether the make has a set of exactly this code, apart from look-alikes."""
        rows = self._db.execute(
            "SELECT 1 FROM spelling WHERE folded = ? AND make = ? LIMIT 1", (fold(code), make)
        )
        return rows.fetchone() is not None

    def known_makes(self, names: Iterable[str]) -> set[str]:
        """Return the normalised names that are makes of the book."""
        asked = json.dumps(list(names))
        rows = self._db.execute(
            "SELECT make FROM makes WHERE make IN (SELECT value FROM json_each(?))", (asked,)
        )
        return {row[0] for row in rows}

    def patterned(self, code: str, make: str) -> bool:
        """Return whether the make has sets with the same skeleton as the code."""
        skeleton = shape(code)
        if not skeleton:
            return False
        value = crc32(k.encode(skeleton), k.SHAPE)
        if not self._bits.may_hold(value):
            return False
        first = self._db.execute(f"{_BY_KEY} WHERE s.make = ? LIMIT 1", (f"[{value}]", make)).fetchone()
        return first is not None

    def goes_on(self, code: str) -> bool:
        """Return whether a longer code in the book begins with this one."""
        start = fold(code)
        longer = (start + "\1", start + "\U0010ffff", 1)
        return self._db.execute(_RANGES["folded", False], longer).fetchone() is not None

    def near_makes(self, name: str) -> list[str]:
        """Return makes at most one slip from a normalised name, as the book shows them, most sets first."""
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
        kept = sorted(set(self._bits.keep(hashes)))
        if not kept:
            return []
        rows: list[Row] = self._db.execute(f"{_BY_KEY} LIMIT {_ROWS}", (str(kept),)).fetchall()
        if len(rows) == _ROWS and make:
            rows += self._db.execute(
                f"{_BY_KEY} WHERE s.make = ? LIMIT {_ROWS}", (str(kept), make)
            ).fetchall()
        return rows

    def same(self, way: Segmentation) -> list[Row]:
        """Return sets with exactly the code as read."""
        code = fold(way.code)
        rows: list[Row] = self._db.execute(f"{_CODES} LIMIT {_ROWS}", (json.dumps([code]),)).fetchall()
        if rows and not self._bits.may_hold(crc32(k.encode(code), k.CODE)):
            raise IndexBroken(Said("error/index-keys"))
        return [row for row in rows if row[2] == way.code]

    def close(self, way: Segmentation) -> list[Row]:
        code, unknown = _code(way)
        if len(code) < 2:
            return []
        if unknown:
            hashes = set(k.one_less(code))
            if unknown == 2:
                hashes.update(k.inserted_hashes(code, k.CODE))
            return self._rows(hashes, way.make)
        hashes = k.within_one(code)
        for cut in range(1, min(4, len(code) - 3) + 1):
            hashes.add(crc32(code[:-cut], k.CODE))
        return self._rows(hashes, way.make)

    def ends(self, way: Segmentation, *, far: bool = True) -> list[Row]:
        """Return sets whose model begins or ends with the code as read."""
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

    def _pattern(self, way: Segmentation) -> list[Row]:
        """Return sets that share the readable beginning (or end) of a code with unreadable characters."""
        code = fold(way.code)
        head, tail = code.split("?", 1)[0], code.rsplit("?", 1)[1]
        column, start = ("folded", head) if len(head) >= len(tail) else ("backward", tail[::-1])
        return self._range(column, start, way.make, _ROWS) if len(start) >= 2 else []

    def far(self, way: Segmentation) -> list[Row]:
        code, unknown = _code(way)
        if len(code) + unknown < 4 or unknown > 2:
            return []
        return self._rows(k.within_two(code, unknown), way.make)

    def far_ends(self, way: Segmentation) -> list[Row]:
        """Return sets that are a slip and a lost or added end away."""
        code, unknown = _code(way)
        if unknown or len(code) < 5:
            return []
        longer: list[int] = []
        for cut in range(1, min(4, len(code) - 4) + 1):  # an added end and a slip
            longer += k.within_one(code[:-cut])
            longer += k.substituted_hashes(code[:-cut], k.CODE)
        rows = self._rows(longer, way.make)
        begun = islice(k.prefix_within_one(code, self._bits.keep), _BEGINNINGS)  # a lost end and a slip
        starts = json.dumps([start.decode("utf-8", "ignore") for start in begun])
        return rows + self._db.execute(_BEGUN, (starts, way.make)).fetchall()

    def in_one(self, joined: str) -> list[Segmentation]:
        """Return segmentations of make and model written without a gap, with at most one slip in the make."""
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
        out: dict[tuple[str, str], tuple[int, Segmentation]] = {}
        for make in sorted({row[1] for row in rows}):
            target = fold(make)
            for size in range(max(2, len(make) - 1), min(len(make) + 2, len(joined) - 2)):
                for part, start, end in (
                    (code[:size], size, len(joined)),
                    (code[-size:], 0, len(joined) - size),
                ):
                    slips = plain_distance(part, target)
                    if slips <= (1 if len(make) >= 4 else 0):
                        spelt = joined[:size] if start else joined[-size:]
                        way = Segmentation(joined[start:end], (spelt,), make, bound=True)
                        out.setdefault((way.code, make), (slips - 2 * len(make), way))
        ranked = sorted(out.values(), key=lambda pair: pair[0])
        return [way for _, way in ranked[:6]]

    def inside(self, ways: list[Segmentation]) -> Iterator[tuple[Segmentation, list[Row]]]:
        """Yield sets of a small book whose model contains the code as read, with the segmentation."""
        for way in ways:
            code = fold(way.code)
            if len(code) >= _INSIDE_FROM and "?" not in code:
                within = list(islice(self._codes_with(code), _RANGE))
                rows = self._db.execute(_CODES, (json.dumps(within),)).fetchall() if within else []
                yield way, [row for row in rows if not way.make or row[1] == way.make]

    def _codes_with(self, part: str) -> Iterator[str]:
        """Yield the codes of the book that contain the part; none if the book is too large to read."""
        if self._codes is None:
            most = self._db.execute("SELECT max(id) FROM spelling").fetchone()[0] or 0
            sql = "SELECT group_concat(folded, char(10)) FROM spelling"
            self._codes = f"\n{self._db.execute(sql).fetchone()[0]}\n" if 0 < most <= _SCANNED else ""
        at = self._codes.find(part)
        while at >= 0:
            end = self._codes.index("\n", at)
            yield self._codes[self._codes.rindex("\n", 0, at) + 1 : end]
            at = self._codes.find(part, end)

    def all_of(self, make: str) -> list[Row]:
        """Return all sets of a make that has few of them."""
        found = self._db.execute("SELECT sets FROM makes WHERE make = ?", (make,)).fetchone()
        if found is None or found[0] > _FEW:
            return []
        return self._db.execute(
            "SELECT set_id, make, model, short FROM spelling WHERE make = ? LIMIT ?", (make, 2 * _FEW)
        ).fetchall()

    def mates(self, code: str, make: str, most: int = 200) -> list[Row]:
        """Return sets with the same skeleton (``fold.shape``), only those of ``make`` unless it is empty."""
        skeleton = shape(code)
        if skeleton.count("#") < 2:
            return []
        rows = self._rows([crc32(k.encode(skeleton), k.SHAPE)], make)
        rows = [row for row in rows if shape(row[2]) == skeleton and (not make or row[1] == make)]
        if rows or len(code) < 5:
            return rows[:most]
        head = code[: max(3, (2 * len(code) + 2) // 3)]
        return [row for row in self._range("folded", fold(head), make) if not make or row[1] == make][:most]


def _code(way: Segmentation) -> tuple[bytes, int]:
    """Return the folded code without unreadable characters, and their number."""
    unknown = way.code.count("?")
    return k.encode(fold(way.code.replace("?", "") if unknown else way.code)), unknown


_GLUED_FROM = 3  # letters of a make that may be joined to the code
_SURE = 0.35  # from this cost on, other segmentations of the query are tried
_GOOD = 0.7  # up to this cost, later stages cannot find a better candidate
_ONE = 1.05  # cost of one slip
_TWO = 1.8  # from this cost on, two slips may be the better explanation
_BOTH = 2.1  # cost of two slips, or of a slip and a lost end
_THREE = 2.9
_LETTERS = 14  # up to this length, all stages search for a model name without a digit; longer ones are words


class Identifier:
    """Find sets by damaged make and model. Use one instance per thread."""

    def __init__(self, lookup: Lookup) -> None:
        self.lookup = lookup

    def candidates(
        self, tokens: tuple[str, ...], *, deep: bool = True
    ) -> tuple[list[Candidate], tuple[str, ...], str]:
        """Return candidates by cost (one per set), the query's pieces, and the make in it ("" if none).

        Without ``deep``, only a slip or a lost end is tried.
        """
        parts, joined = pieces(tokens)
        if not parts:
            return [], (), ""
        coded, joined = without_size(parts, joined)
        within = middles(coded)
        makes = self.lookup.known_makes(ends(coded).union(within))
        known = makes & ends(coded)
        ways = segmentations(coded, known, joined)
        named = any(way.make for way in ways)
        if not named:
            ways = self._glued("".join(coded)) + ways
        ways += [around(coded, *place, name) for name, place in within.items() if name in makes]
        search = _Search(self.lookup, known, {} if named else self._misspelt(coded))
        search.run(ways, "".join(coded), deep)
        found = [c for c in search.best.values() if c.label < FAR]
        mark_sisters(found)
        found.sort(key=lambda c: (c.cost, c.model, c.make))
        make = max((way.make for way in ways if not way.bound), key=len, default="") or next(
            (p for p in parts if p in known), ""
        )
        return found, parts, make

    def _misspelt(self, parts: tuple[str, ...]) -> dict[str, frozenset[str]]:
        """Return pieces that are a slip away from makes of the book, with these makes (normalised)."""
        near = {piece: self.lookup.near_makes(piece) for piece in parts if _may_be_make(piece)}
        return {piece: frozenset(map(normalise, makes)) for piece, makes in near.items() if makes}

    def _glued(self, joined: str) -> list[Segmentation]:
        """Return segmentations of a make of the book and a code without a gap between them."""
        sizes = range(_GLUED_FROM, len(joined) - 2)
        cuts = [(joined[:n], joined[n:]) for n in sizes] + [(joined[-n:], joined[:-n]) for n in sizes]
        known = self.lookup.known_makes({name for name, _ in cuts})
        ways = [Segmentation(code, (name,), name, bound=True) for name, code in cuts if name in known]
        return sorted(ways, key=lambda way: -len(way.make))[:3]


def _may_be_make(piece: str) -> bool:
    """Return whether a piece may be a make with a slip: letters, and perhaps one digit."""
    return piece.isalpha() or (len(piece) > _WITH_DIGIT and sum(map(str.isalpha, piece)) == len(piece) - 1)


class _Search:
    """Collect the candidates of one query."""

    def __init__(self, lookup: Lookup, known: set[str], misspelt: dict[str, frozenset[str]]) -> None:
        self._lookup = lookup
        self._known = known
        self._misspelt = misspelt
        self._weighers: dict[Segmentation, Weigher] = {}
        self.best: dict[int, Candidate] = {}

    def _weigh(self, way: Segmentation, rows: Iterable[Row], known: set[str] | None = None) -> None:
        weigher = self._weighers.get(way)
        if weigher is None:
            weigher = Weigher(
                way, self._known if known is None else known, self._misspelt, self._lookup.words_of
            )
            self._weighers[way] = weigher
        weigher.weigh(rows, self.best)

    @property
    def _lowest(self) -> float:
        return min((c.gate for c in self.best.values()), default=9.0)

    def run(self, ways: list[Segmentation], joined: str, deep: bool) -> None:
        """Run all stages that are needed."""
        look = self._lookup
        spelt = self._misspelt
        first = [way for way in ways if not way.turned and (way.make or not way.leaves_digits(spelt))]
        named = any(way.make and not way.bound for way in first)
        for way in first:
            if self._exact(way):
                return
            self._weigh(way, look.close(way))
            if self._lowest < _SURE:
                break
        if self._lowest > _GOOD:
            for way in first:
                self._weigh(way, look.ends(way, far=self._lowest > _ONE))
        if not deep:
            return
        if self._lowest > (_GOOD if any("?" in way.code for way in first) else _TWO):
            self._far(first)
        if self._lowest > _TWO:
            for way, rows in look.inside(first[:3]):
                self._weigh(way, rows)
            for way in ways:
                if way not in first:
                    self._weigh(way, look.close(way) + look.ends(way))
        if self._lowest > (_THREE if named else _TWO):
            self._in_one(joined)

    def _exact(self, way: Segmentation) -> bool:
        """Keep the sets whose code and make the query names in full; return if there are any.

        No other set can be meant then, so that no other is weighed.
        """
        found: dict[int, Candidate] = {}
        if rows := self._lookup.same(way):
            Weigher(way, self._known, self._misspelt, self._lookup.words_of).weigh(rows, found)
        exact = {at: c for at, c in found.items() if c.damage == "exact" and not c.words}
        self.best.update(exact)
        return bool(exact)

    def _far(self, first: list[Segmentation]) -> None:
        first = sorted(first, key=lambda way: self._misspelt.keys().isdisjoint(way.rest))
        far = [way for way in first if way.plausible(self._misspelt)]
        far = far or [way for way in first[:2] if len(way.code) <= _LETTERS]
        if self._all_of_makes(first) and self._lowest < _THREE:
            return
        for way in far[:3]:
            self._weigh(way, self._lookup.far(way))
            if self._lowest > _BOTH:
                self._weigh(way, self._lookup.far_ends(way))
            if self._lowest < (_THREE if way.make else _BOTH):
                break

    def _all_of_makes(self, ways: list[Segmentation]) -> bool:
        """Weigh all sets of small makes named in the query, perhaps with a slip; return if there are any."""
        there = False
        for way in ways:
            named = [make for piece in way.rest for make in sorted(self._misspelt.get(piece, ()))]
            for make in [way.make] if way.make else named[:2]:
                rows = self._lookup.all_of(make)
                self._weigh(way, rows)
                there = there or bool(rows)
        return there

    def _in_one(self, joined: str) -> None:
        look = self._lookup
        for at, way in enumerate(look.in_one(joined)):
            made = {way.make}
            self._weigh(way, look.close(way) + look.ends(way), made)
            if self._lowest > _TWO and at < 2:
                rows = look.all_of(way.make)
                self._weigh(way, rows or look.far(way), made)
                if self._lowest > _BOTH and not rows:
                    self._weigh(way, look.far_ends(way), made)
