"""Find the set that is meant: candidates by key, then by cost of the damage.

Stages, each only when the one before found nothing close: one slip; a lost or added end; two slips and an end
with a slip; make and model written in one. Look-alikes are folded away before all of them.
"""

from __future__ import annotations

from collections.abc import Iterable

from kb.index.damage import Weigher, mark_sisters
from kb.index.lookup import Lookup, Row
from kb.index.normalize import normalise
from kb.index.score import FAR, Candidate
from kb.index.splits import Reading, around, ends, middles, pieces, readings, without_size

_GLUED_FROM = 3  # letters of a make that may be written in one with the code
_SURE = 0.35  # cost from which other readings of the query are tried
_GOOD = 0.7  # cost up to which later stages cannot find a better one
_ONE = 1.05  # cost of one slip
_TWO = 1.8  # cost from which two slips may be the better explanation
_BOTH = 2.1  # cost of two slips, or of a slip and a lost end
_THREE = 2.9
_LETTERS = 14  # of a model name without a digit for which it is worth looking far; more are words


class Identifier:
    """Finds sets by damaged make and model. Not for several threads at once."""

    def __init__(self, lookup: Lookup) -> None:
        self.lookup = lookup

    def candidates(self, tokens: tuple[str, ...]) -> tuple[list[Candidate], tuple[str, ...], str]:
        """Candidates by cost, one a set; the pieces of the query; the make that stands in it, or ""."""
        parts, joined = pieces(tokens)
        if not parts:
            return [], (), ""
        coded, joined = without_size(parts, joined)
        within = middles(coded)
        makes = self.lookup.known_makes(ends(coded).union(within))
        known = makes & ends(coded)
        ways = readings(coded, known, joined)
        named = any(way.make for way in ways)
        if not named:
            ways = self._glued("".join(coded)) + ways
        ways += [around(coded, *place, name) for name, place in within.items() if name in makes]
        search = _Search(self.lookup, known, {} if named else self._misspelt(coded))
        search.run(ways, "".join(coded))
        found = [c for c in search.best.values() if c.label < FAR]
        mark_sisters(found)
        found.sort(key=lambda c: (c.cost, c.model, c.make))
        make = max((way.make for way in ways if not way.bound), key=len, default="") or next(
            (p for p in parts if p in known), ""
        )
        return found, parts, make

    def _misspelt(self, parts: tuple[str, ...]) -> dict[str, frozenset[str]]:
        """Pieces that are a slip away from makes of the book, and these makes (normalised)."""
        near = {piece: self.lookup.near_makes(piece) for piece in parts if piece.isalpha()}
        return {piece: frozenset(map(normalise, makes)) for piece, makes in near.items() if makes}

    def _glued(self, joined: str) -> list[Reading]:
        """Readings of a make of the book and a code written in one."""
        sizes = range(_GLUED_FROM, len(joined) - 2)
        cuts = [(joined[:n], joined[n:]) for n in sizes] + [(joined[-n:], joined[:-n]) for n in sizes]
        known = self.lookup.known_makes({name for name, _ in cuts})
        ways = [Reading(code, (name,), name, bound=True) for name, code in cuts if name in known]
        return sorted(ways, key=lambda way: -len(way.make))[:3]


class _Search:
    """One query's candidates as they gather."""

    def __init__(self, lookup: Lookup, known: set[str], misspelt: dict[str, frozenset[str]]) -> None:
        self._lookup = lookup
        self._known = known
        self._misspelt = misspelt
        self._weighers: dict[Reading, Weigher] = {}
        self.best: dict[int, Candidate] = {}

    def _weigh(self, way: Reading, rows: Iterable[Row], known: set[str] | None = None) -> None:
        weigher = self._weighers.get(way)
        if weigher is None:
            weigher = Weigher(way, self._known if known is None else known, self._misspelt)
            self._weighers[way] = weigher
        weigher.weigh(rows, self.best)

    @property
    def _lowest(self) -> float:
        return min((c.gate for c in self.best.values()), default=9.0)

    def run(self, ways: list[Reading], joined: str) -> None:
        """All stages that are needed."""
        look = self._lookup
        first = [way for way in ways if not way.turned and (way.make or not way.leaves_digits)]
        named = any(way.make and not way.bound for way in first)
        for way in first:
            self._weigh(way, look.close(way))
            if self._lowest < _SURE:
                break
        if self._lowest > _GOOD:
            for way in first:
                self._weigh(way, look.ends(way, far=self._lowest > _ONE))
        if self._lowest > (_GOOD if any("?" in way.code for way in first) else _TWO):
            self._far(first)
        if self._lowest > _TWO:
            for way in first[:3]:
                self._weigh(way, look.inside(way))
            for way in ways:
                if way not in first:
                    self._weigh(way, look.close(way) + look.ends(way))
        if self._lowest > _BOTH:
            for way in first:
                if way.make:
                    self._weigh(way, look.all_of(way.make))
        if self._lowest > (_THREE if named else _ONE):
            self._in_one(joined)

    def _far(self, first: list[Reading]) -> None:
        first = sorted(first, key=lambda way: self._misspelt.keys().isdisjoint(way.rest))
        far = [way for way in first if way.plausible] or [w for w in first[:2] if len(w.code) <= _LETTERS]
        for way in far[:3]:
            self._weigh(way, self._lookup.far(way))
            if self._lowest > _BOTH:
                self._weigh(way, self._lookup.far_ends(way))
            if self._lowest < (_THREE if way.make else _BOTH):
                break

    def _in_one(self, joined: str) -> None:
        look = self._lookup
        for at, way in enumerate(look.in_one(joined)):
            made = {way.make}
            self._weigh(way, look.close(way) + look.ends(way), made)
            if self._lowest > _TWO and at < 2:
                self._weigh(way, look.far(way), made)
                if self._lowest > _BOTH:
                    self._weigh(way, look.far_ends(way), made)
                if self._lowest > _BOTH:
                    self._weigh(way, look.all_of(way.make), made)
        if self._lowest > _ONE:
            for way, rows in look.cut_anywhere(joined):
                self._weigh(way, rows)
