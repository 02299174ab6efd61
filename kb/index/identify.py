"""Which set is meant? Candidates by keys, then by cost of the damage.

Stages, each only when the one before found nothing close: one slip; a lost or added end; two slips and an end
with a slip; make and model written in one. Look-alikes are folded away before all of them.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterable
from zlib import crc32

from kb.index import keys as k
from kb.index.fold import fold, shape
from kb.index.query import year_of
from kb.index.reading import Reading, ends, pieces, readings
from kb.index.score import FAR, Candidate, Damage
from kb.index.slips import Near, plain_distance, substitutions, weighted_distance

_ROWS = 3_000  # rows of one look-up; more are a code too short to tell
_RESCORED, _RUNNERS_UP = 24, 6  # candidates of one look-up that are weighed in full; of the second best
_GOOD = 0.65  # cost up to which later stages cannot find a better one
_ONE = 1.05  # cost of one slip
_TWO = 1.8  # cost from which two slips may be the better explanation
_BOTH = 2.1  # cost of two slips, or of a slip and a lost end
_THREE = 2.9
_RANGE = 300
_TIE = 0.45  # costs closer than this are decided by plain slips
_FEW = 150  # sets of a make up to which all are weighed when nothing is close
_NO_LIKENESS = 9.0
_TURNED = 0.6  # added cost of pieces of the code in another order
_BEGINNING = 1.02  # cost of a beginning of four characters or more, however much is missing
_SHORT = 0.25  # added cost of a damaged code that also lacks the make printed in front of it

Row = tuple[int, str, str, int]  # set, make, model (normalised), whether the make was cut off the model

_BY_KEY = (
    "SELECT s.set_id, s.make, s.model, s.short FROM json_each(?) j"
    " CROSS JOIN keys k ON k.key BETWEEN j.value << 24 AND (j.value << 24) + 16777215"
    " CROSS JOIN spelling s ON s.id = k.key & 16777215"
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


class Identifier:
    """Finds sets by damaged make and model, in one open index file. Not for several threads at once."""

    def __init__(self, db: sqlite3.Connection, bits: k.Bits) -> None:
        self._db = db
        self._bits = bits

    def candidates(self, tokens: tuple[str, ...]) -> tuple[list[Candidate], tuple[str, ...], str]:
        """Candidates by cost, one a set; the pieces of the query; the make that stands in it, or ""."""
        parts = pieces(tokens)
        if not parts:
            return [], (), ""
        known = self.known_makes(ends(parts))
        ways = readings(parts, known)
        best: dict[int, Candidate] = {}
        first = [way for way in ways if not way.turned and (way.make or not way.leaves_digits)]
        for way in first:
            self._weigh(way, self._close(way), best, known)
            if _lowest(best) < 0.35:
                break
        if _lowest(best) > _GOOD:
            for way in first:
                self._weigh(way, self._ends(way, far=_lowest(best) > _ONE), best, known)
        if _lowest(best) > (_GOOD if any("?" in way.code for way in first) else _TWO):
            far = [way for way in first if way.plausible] or first[:2]
            for way in far[:3]:
                self._weigh(way, self._far(way), best, known)
                if _lowest(best) > _BOTH:
                    self._weigh(way, self._far_ends(way), best, known)
                if _lowest(best) < (_THREE if way.make else _BOTH):
                    break
        if _lowest(best) > _TWO:
            for way in ways:
                if way not in first:
                    self._weigh(way, self._close(way) + self._ends(way), best, known)
        if _lowest(best) > _BOTH:
            for way in first:
                if way.make:
                    self._weigh(way, self._all_of(way.make), best, known)
        if _lowest(best) > (_THREE if any(way.make for way in first) else _ONE):
            joined = "".join(parts)
            for at, way in enumerate(self._in_one(joined)):
                made = {way.make}
                self._weigh(way, self._close(way) + self._ends(way), best, made)
                if _lowest(best) > _TWO and at < 2:
                    self._weigh(way, self._far(way), best, made)
            if _lowest(best) > _ONE:
                for way, rows in self._cut_anywhere(joined):
                    self._weigh(way, rows, best, known)
        found = [c for c in best.values() if c.cost < FAR]
        _mark_sisters(found)
        _part_ties(found, fold("".join(parts)))
        found.sort(key=lambda c: (c.cost, c.model, c.make))
        make = max((way.make for way in ways), key=len, default="") or next(
            (p for p in parts if p in known), ""
        )
        return found, parts, make

    def known_makes(self, names: Iterable[str]) -> set[str]:
        """Those of the normalised names that are makes of the book."""
        asked = json.dumps(list(names))
        rows = self._db.execute(
            "SELECT make FROM makes WHERE make IN (SELECT value FROM json_each(?))", (asked,)
        )
        return {row[0] for row in rows}

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

    # look-ups, by stage

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

    def _close(self, way: Reading) -> list[Row]:
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

    def _ends(self, way: Reading, *, far: bool = True) -> list[Row]:
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

    def _far(self, way: Reading) -> list[Row]:
        code, unknown = _code(way)
        if len(code) + unknown < 4 or unknown > 2:
            return []
        hashes = set(k.within_two(code, unknown))
        return self._rows(hashes, way.make)

    def _far_ends(self, way: Reading) -> list[Row]:
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

    def _in_one(self, joined: str) -> list[Reading]:
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

    def _cut_anywhere(self, joined: str) -> list[tuple[Reading, list[Row]]]:
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

    def _all_of(self, make: str) -> list[Row]:
        """All sets of a make with few of them."""
        found = self._db.execute("SELECT sets FROM makes WHERE make = ?", (make,)).fetchone()
        if found is None or found[0] > _FEW:
            return []
        return self._db.execute(
            "SELECT set_id, make, model, short FROM spelling WHERE make = ? LIMIT ?", (make, 2 * _FEW)
        ).fetchall()

    # weighing

    def _weigh(self, way: Reading, rows: list[Row], best: dict[int, Candidate], known: set[str]) -> None:
        if not rows:
            return
        folded = fold(way.code)
        near, size = Near(folded), len(folded)
        ranked = []
        for row in set(rows):
            there = fold(row[2])
            slips = near.distance(there)
            if len(there) > size and slips > 1:
                slips = min(slips, near.distance(there[:size]) + 1)
            elif len(there) < size and slips > 1:
                slips = min(slips, plain_distance(folded[: len(there)], there) + 1)
            ranked.append((slips, row[1] != way.make, abs(len(there) - size), row))
        ranked.sort()
        if ranked[0][0] > max(3, size // 2):
            return
        least = ranked[0][0]
        for at, (slips, _, _, row) in enumerate(ranked[:_RESCORED]):
            if slips > least + 1 or (slips > least and at >= _RUNNERS_UP):
                break
            found = _candidate(way, row, known)
            old = best.get(row[0])
            if found is not None and (old is None or found.cost < old.cost):
                best[row[0]] = found

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


def _lowest(best: dict[int, Candidate]) -> float:
    return min((c.cost for c in best.values()), default=9.0)


def _mark_sisters(found: list[Candidate]) -> None:
    """Where sets of one make differ from what was read in the same letter, it tells them apart."""
    places: dict[tuple[str, int, int], list[Candidate]] = {}
    for c in found:
        if c.letter >= 0 and c.damage == "slip":
            places.setdefault((c.make, c.letter, len(c.model)), []).append(c)
    for group in places.values():
        if len({c.model for c in group}) > 1:
            for c in group:
                c.damage = "sister"


def _part_ties(found: list[Candidate], joined: str) -> None:
    """Between candidates of about the same cost, plain slips over the whole query decide."""
    if len(found) < 2 or not (least := min(c.cost for c in found)):
        return
    tied = [c for c in found if c.cost < least + _TIE]
    if len(tied) < 2:
        return
    near = Near(joined)
    for c in tied[:30]:
        make, model = fold(c.make), fold(c.model)
        slips = min(near.distance(make + model), near.distance(model + make), near.distance(model))
        if slips > 1 and (model.startswith(joined) or (make + model).startswith(joined)):
            slips = 1
        c.cost += 0.1 * min(slips, 6)
    for c in found:
        if c not in tied:
            c.cost += 0.6


def _code(way: Reading) -> tuple[bytes, int]:
    """The folded code without unreadable characters, and how many there were."""
    unknown = way.code.count("?")
    return k.encode(fold(way.code.replace("?", "") if unknown else way.code)), unknown


def _candidate(way: Reading, row: Row, known: set[str]) -> Candidate | None:
    set_id, make, model, short = row
    if way.bound and (make != way.make if way.make else _make_cost(way.rest[0], make) == _NO_LIKENESS):
        return None
    cost = weighted_distance(way.code, model)
    if cost > FAR:
        return None
    if cost > _BEGINNING and len(way.code) >= 4 and model.startswith(way.code):
        cost = _BEGINNING
    damage = _damage(way.code, model, cost)
    if short:
        cost += _SHORT if cost else 0.02  # between two equal ones, the one printed so
    more, words = _rest(way, make, known)
    if way.turned:
        more += _TURNED
    if more and damage == "exact":
        damage = "look" if more < 0.5 else ("slip" if more < 1.2 else "two")
    elif more >= 0.9 and damage in ("look", "slip", "end"):
        damage = "two" if more < 1.5 else "far"
    return Candidate(set_id, make, model, cost + more, damage, words, _changed_letter(way.code, model))


def _damage(read: str, printed: str, cost: float) -> Damage:
    if cost == 0:
        return "exact"
    changed = substitutions(read, printed)
    if changed is not None:
        if not changed:
            return "look"
        if all(fold(one).isdigit() and other.isdigit() for _, one, other in changed):
            swap = cost < 0.96 and len(changed) == 2
            if not swap:
                return "sister" if len(changed) == 1 else "sisters"
    if cost < 0.65 and fold(read.replace("?", "")) != fold(printed) and "?" in read:
        return "look"
    if changed is None and (printed.startswith(read) or read.startswith(printed)):
        return "end"
    if cost <= 1.06:
        return "slip"
    return "two" if cost <= 2.15 else ("far" if cost <= 2.7 else "faint")


def _changed_letter(read: str, printed: str) -> int:
    """Place of the one letter that stands for another letter, -1 where that is not the difference."""
    changed = substitutions(read, printed)
    if changed is None or len(changed) != 1:
        return -1
    at, one, other = changed[0]
    return at if one.isalpha() and other.isalpha() else -1


def _rest(way: Reading, make: str, known: set[str]) -> tuple[float, tuple[str, ...]]:
    """Cost of what the query holds besides the code, given the make; and what of it are other words."""
    if not way.rest:
        return 0.0, ()
    joined = "".join(way.rest)
    if joined == make:
        return 0.0, ()
    best, used = _NO_LIKENESS, (0, 0)
    for start in range(len(way.rest)):
        for end in range(start + 1, min(start + 3, len(way.rest)) + 1):
            cost = _make_cost("".join(way.rest[start:end]), make)
            if cost < best:
                best, used = cost, (start, end)
    left = way.rest[: used[0]] + way.rest[used[1] :] if best < _NO_LIKENESS else way.rest
    cost = best if best < _NO_LIKENESS else 0.0
    words = []
    for piece in left:
        if piece in known:
            cost += 2.6  # another make was named
        elif year_of(piece) is not None:
            continue
        elif any(char.isdigit() or char == "?" for char in piece):
            cost += 1.5 + 0.5 * len(piece)
        elif len(piece) <= 3:
            cost += 0.5 + 0.3 * len(piece)  # a bit of a code rather than a word
        else:
            words.append(piece)
            cost += 0.05 if best < _NO_LIKENESS or len(words) > 1 else (1.8 if len(way.rest) < 3 else 1.0)
    return cost, tuple(words)


def _make_cost(read: str, make: str) -> float:
    """Cost of a make as read; ``_NO_LIKENESS`` where it resembles the make in nothing."""
    if not make:
        return _NO_LIKENESS
    if read == make:
        return 0.0
    if len(read) >= 3 and (make.startswith(read) or (read.startswith(make) and len(make) >= 3)):
        return 0.4 + 0.12 * abs(len(read) - len(make))
    slips = Near(fold(read)).distance(fold(make))
    if slips <= max(1, round(0.4 * max(len(make), len(read)))) and slips < len(make) - 1:
        return 0.6 * slips or 0.2
    if len(read) >= 3 and read[0] == make[0] and _within(read, make):
        return 1.0
    return _NO_LIKENESS


def _within(short: str, long: str) -> bool:
    """Whether the characters of ``short`` stand in ``long`` in order."""
    rest = iter(long)
    return all(char in rest for char in short)
