"""Answer queries at one revision of the index, and stay open.

A reader holds a snapshot of the SQLite file. Each answer comes from one revision, even if another process
writes meanwhile. ``refresh`` moves to the newest.
"""

from __future__ import annotations

import json
import re
import sqlite3
from collections.abc import Container, Iterable, Iterator
from contextlib import closing, contextmanager
from operator import attrgetter
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from kb.base.errors import JackfieldError, why_of
from kb.base.files import moved
from kb.base.messages import Said
from kb.index import index_files as t
from kb.index import keys as k
from kb.index import suggest as s
from kb.index.candidates import Identifier, Lookup
from kb.index.entry import Answer, Filters, How, IndexBroken, Match
from kb.index.normalize import normalise
from kb.index.query import SMALL, Query, measures, parse, parts_of, pieces, recollected, year_of
from kb.index.scoring import FAMILY_MATE, FAR, NEAR_FROM, SHORT_WORD, SHOWN_FROM, Candidate, scored

if TYPE_CHECKING:
    from kb.index.rewriting import Label
    from kb.index.text_search import Hit, WordSearcher

_TOLD = 4  # a set whose notes contain the words comes before one that is up to so many times as likely
_MEANT = 3  # how many sets "did you mean" offers
_SURE = 0.35  # up to this cost, no other reading of the query is tried
_READ_OUT = 3  # so many words fewer: the query was read out, and no search for damage as typed pays
_PLAIN = frozenset(":rvc")  # a token without these signs can only be a code
_MORE_THAN_ONE = 2  # so many tokens may be a label's, or contain a misspelt make
_CLOSE = 1.05  # up to this cost, the other words of a label are left out
_SISTERS: tuple[str, ...] = ("sister", "sisters")


def notes_first(matches: Iterable[Match], noted: Container[str]) -> list[Match]:
    """Sort likeliest first; a set whose key is in ``noted`` counts four times: its notes have the words."""
    return sorted(matches, key=lambda match: -match.score * (_TOLD if match.key in noted else 1))


class _Meant(NamedTuple):
    """Hold one way to read a query: its tokens, and the result of ``Identifier.candidates`` for them."""

    tokens: tuple[str, ...]
    found: list[Candidate]
    parts: tuple[str, ...]
    make: str
    copied: bool

    @property
    def closest(self) -> float:
        """Return the lowest cost of a candidate."""
        return min((c.gate for c in self.found), default=FAR)


class Reader:
    """Search one open snapshot. Use one instance per thread; close it, or use a ``with`` block.

    When another process rebuilds the index, sets are still found as before; a first search of words then
    raises ``IndexBroken``: open a new reader.
    """

    def __init__(self, generation: Path) -> None:
        self.generation = generation
        self._words: WordSearcher | None = None
        self._bits: k.Bits | None = None
        self._bits_name = -1
        self._db, self._way = t.connect_to_read(generation / t.KEYS)
        try:
            self.refresh()
        except BaseException:
            self._db.close()
            raise

    @property
    def frozen(self) -> bool:
        """Return whether later writing stays invisible."""
        return self._way is not None

    @property
    def moved(self) -> bool:
        """Return whether another process wrote the file while we read it without locks."""
        return self._way is not None and moved(self.generation / t.KEYS, self._way)

    def refresh(self) -> int:
        """Move to the newest revision and return it."""
        with broken():
            if self._db.in_transaction:
                self._db.execute("COMMIT")
            self._db.execute("BEGIN")
            self.meta = t.meta(self._db)
            self.mark = t.mark(self._db)
            self._version: int = self._db.execute("PRAGMA data_version").fetchone()[0]
            if self.meta.get("format") != t.FORMAT or "revision" not in self.meta:
                raise t.other_format(self.meta)
            bits = self._bits
            if bits is None or self._bits_name != self.meta["bits"]:
                if bits is not None:
                    bits.close()
                bits = self._bits = k.Bits(self.generation / f"bits-{self.meta['bits']}")
                self._bits_name = self.meta["bits"]
                if not _held(self._db, bits):
                    raise IndexBroken(Said("error/index-keys"))
            self._lookup = Lookup(self._db, bits)
            self._identifier = Identifier(self._lookup)
        if self._words is not None:
            self._words.close()
            self._words = None
        return self.revision

    def refresh_if_moved(self) -> None:
        """Call ``refresh``, but keep an open searcher of words if nothing was written since."""
        with broken():
            if self._db.in_transaction:
                self._db.execute("COMMIT")
            version: int = self._db.execute("PRAGMA data_version").fetchone()[0]
            if version == self._version:
                self._db.execute("BEGIN")
                moved = t.meta(self._db) != self.meta
                if not moved:
                    return
        self.refresh()

    @property
    def words_open(self) -> bool:
        """Return whether a search of words has run."""
        return self._words is not None

    @property
    def pending(self) -> int:
        """Return the number of sets with text that the files of the words do not have yet."""
        count: int = self._db.execute("SELECT count(*) FROM pending").fetchone()[0]
        return count

    @property
    def revision(self) -> int:
        """Return the store's revision that this reader sees."""
        return self.meta["revision"]

    def close(self) -> None:
        """Close the t."""
        if self._words is not None:
            self._words.close()
        if self._bits is not None:
            self._bits.close()
        self._db.close()

    def __enter__(self) -> Reader:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def find(self, query: str, *, limit: int = 10, filters: Filters | None = None) -> Answer:
        """Return sets that the query may mean, best first.

        ``filters`` add to those in the query. Raises ``BadInput`` for a query that cannot be meant and
        ``IndexBroken`` if the files are damaged.
        """
        asked = parse(query)
        conditions = _both(asked.filters, filters)
        with broken():
            return self._find(asked, self._respelt(conditions), max(1, min(limit, 1000)))

    def make_of(self, name: str) -> tuple[str, bool]:
        """Return the make that a word means, as the book writes it or "", and if the name was complete."""
        with broken():
            make, _ = self._lookup.make_in(t.words_of(name) or (normalise(name),))
            return (self._lookup.shown(make), make == normalise(name)) if make else ("", False)

    def _respelt(self, conditions: Filters) -> Filters:
        """Return the conditions with a make of the book, if theirs is a slip away from only one."""
        name = normalise(conditions.make)
        if not name or self._lookup.known_makes([name]):
            return conditions
        near = self._lookup.near_makes(name)
        return conditions._replace(make=near[0]) if len(near) == 1 else conditions

    def _find(self, asked: Query, conditions: Filters, limit: int) -> Answer:
        if not asked.tokens and not asked.phrases:
            return Answer(asked.text, tuple(self._filtered(conditions, limit)))
        said = recollected(pieces(asked.tokens)[0]) if not asked.phrases else None
        if said is not None:
            recalled = s.recalled(self._db, self._lookup, said, conditions, limit)
            if recalled:
                return Answer(asked.text, tuple(_offered(recalled)))
        tokens, found, parts, make, copied = self._meant(asked.tokens)
        asked = asked._replace(tokens=tokens)
        words = () if copied else self._wanted_words(found, parts, make)
        if words:
            make, words = self._noted(found, make, words)
        scored(found, self._lookup)
        rows = t.rows_of(self._db, [c.set_id for c in found])
        found = [c for c in found if c.set_id in rows and t.passes(rows[c.set_id], conditions)]
        matches = self._identified(found, rows)
        if not matches and not asked.phrases and (make or not words):
            coded = tuple(part for part in parts if not (part.isalpha() and part in words))
            matches = _offered(s.family(self._db, self._lookup, coded, make, conditions, limit))
        if words or asked.phrases:
            matches = self._with_words(asked, matches, words, conditions, parts, make, limit)
        if matches or asked.phrases:
            return Answer(asked.text, tuple(matches[:limit]))
        meant = [rows[c.set_id] for c in found[:_MEANT]]
        memory = s.remembered(parts, make, self._lookup)
        if memory is not None:
            matches = _offered(s.of_make(self._db, memory, conditions, limit))
            if not matches and not meant:
                meant = s.nearest_of_make(self._db, memory, conditions, _MEANT)
        named = () if matches else tuple((row[2], row[3]) for row in meant)
        return Answer(asked.text, tuple(matches), named)

    def _meant(self, tokens: tuple[str, ...]) -> _Meant:
        """Read the tokens as a label, as spoken and as typed; return the reading with the closest set."""
        if not tokens or (len(tokens) < _MORE_THAN_ONE and _PLAIN.isdisjoint(tokens[0].lower())):
            return self._taken(tokens)
        from kb.index.rewriting import (  # a query of only a model does not need it
            label,
            may_be_label,
            run_together,
            spoken,
        )

        best: _Meant | None = None
        copied = label(tokens) if may_be_label(tokens) else None
        if copied is not None:
            best = self._taken((*self._make_beside(copied), *copied.code), copied=True)
            if copied.named or best.closest < _CLOSE:
                return best
        said = spoken(tokens) if best is None else None
        if said is not None:
            best = self._taken(said)
            if best.closest < _SURE:
                return best
            by_tens = spoken(tokens, tens=True)
            if by_tens and by_tens != said:
                best = min(best, self._taken(by_tens), key=attrgetter("closest"))
        read_out = said is not None and len(tokens) - len(said) >= _READ_OUT
        plain = self._taken(tokens, deep=not read_out)
        tied = best is not None and plain.closest == best.closest and not read_out
        if best is None or plain.closest < best.closest or (tied and not self._recalls(best)):
            best = plain
        apart = run_together(tokens) if best.closest > _CLOSE and not read_out else None
        return best if apart is None else min(best, self._taken(apart), key=attrgetter("closest"))

    def _recalls(self, meant: _Meant) -> bool:
        """Return whether nothing is found, but a model of the make named contains the numbers read out."""
        if meant.found or not meant.make:
            return False
        memory = s.remembered(meant.parts, meant.make, self._lookup)
        return memory is not None and bool(s.of_make(self._db, memory, Filters(), 1))

    def _noted(
        self, found: list[Candidate], make: str, words: tuple[str, ...]
    ) -> tuple[str, tuple[str, ...]]:
        """Return the make and the words, without a misspelt make among them; a word of notes is not one.

        If all words are words of notes, sets whose name was complete become exact.
        """
        known = {word for word in words if self._searcher().knows(word)}
        if len(known) == len(words):
            for c in found:
                c.beside_notes()
        if make or found or len(words) < _MORE_THAN_ONE:
            return make, words
        for word in words:
            near = [] if word in known else self._lookup.near_makes(word)
            if len(near) == 1:
                return normalise(near[0]), tuple(one for one in words if one != word)
        return make, words

    def _taken(self, tokens: tuple[str, ...], *, copied: bool = False, deep: bool = True) -> _Meant:
        return _Meant(tokens, *self._identifier.candidates(tokens, deep=deep), copied)

    def _make_beside(self, copied: Label) -> tuple[str, ...]:
        """Return words of a label that name a make of the book."""
        return self._lookup.make_in(tuple(filter(None, map(normalise, copied.beside))))[1]

    # sets by make and model

    def _identified(self, found: list[Candidate], rows: dict[int, t.SetRow]) -> list[Match]:
        """Return exact sets alone; else near ones if likely enough together, sisters of an unknown set."""
        exact = [c for c in found if c.damage == "exact" and (c.talk or not c.words)]
        if exact:
            return [_match(rows[c.set_id], c.score, "exact") for c in exact]
        near = [c for c in found if c.damage not in _SISTERS]
        sisters = [c for c in found if c.damage in _SISTERS]
        ahead = bool(found) and found[0].damage in _SISTERS
        if not ahead and (sum(c.score for c in near) < NEAR_FROM or found[0].damage == "faint"):
            return []
        least = min(SHOWN_FROM, found[0].score / 2) if found else 0.0
        if ahead:
            kept = [c for c in found if c.damage in _SISTERS or c.score >= least]
        else:
            kept = [c for c in (*near, *sisters) if c.score >= least]
        return [_match(rows[c.set_id], c.score, "family" if c.damage in _SISTERS else "near") for c in kept]

    def _filtered(self, conditions: Filters, limit: int) -> Iterator[Match]:
        """Yield sets that pass the filters of a query without words: those with most findings first."""
        tests, values = ["1"], []
        if conditions.make:
            tests.append("id IN (SELECT set_id FROM spelling WHERE make = ?)")
            values.append(normalise(conditions.make))
        for column in ("signals", "outcomes", "facts"):
            wanted: tuple[str, ...] = getattr(conditions, column)
            for value in wanted:
                tests.append(f"instr({column}, ?)")
                values.append(f" {value} ")
        rows = self._db.execute(
            t.SETS + " WHERE " + " AND ".join(tests) + t.MOST_FOUND,
            values,
        )
        for row in rows:
            if t.passes(row, conditions):
                yield _match(row, 1.0, "text")
                limit -= 1
                if not limit:
                    return

    # sets by words

    def _wanted_words(self, found: list[Candidate], parts: tuple[str, ...], make: str) -> tuple[str, ...]:
        """Return pieces that neither make nor model explains."""
        if found and found[0].label < 1.3:
            return found[0].words
        if found and found[0].words:
            return found[0].words
        rest = [part for part in parts if not (make and part in make)]
        lengths = measures(parts)
        if any(
            any(char.isdigit() or char == "?" for char in part) and year_of(part) is None for part in rest
        ):
            spoken = [
                part for part in rest if part in lengths or (part.isalpha() and len(part) >= SHORT_WORD)
            ]
            return tuple(part for part in rest if "?" not in part) if spoken and not found else ()
        if len(rest) == 1 and self._lookup.near_makes(rest[0]):
            return ()
        return tuple(part for part in rest if part.isalpha())

    def _with_words(
        self,
        asked: Query,
        matches: list[Match],
        words: tuple[str, ...],
        conditions: Filters,
        parts: tuple[str, ...],
        make: str,
        limit: int,
    ) -> list[Match]:
        searcher = self._searcher()
        years = [year for year in map(year_of, parts) if year is not None]
        spoken = tuple(_as_typed(asked.tokens, words))
        hits = searcher.search(spoken, asked.phrases, conditions, limit * 2, make if not matches else "")
        if matches:
            by_key = {hit.key: hit for hit in hits}
            unseen = [match.key for match in matches if match.key not in by_key]
            if unseen:  # others may contain the words as well and exceed the limit
                told_too = searcher.search(spoken, asked.phrases, conditions, len(unseen), keys=unseen)
                by_key.update((hit.key, hit) for hit in told_too)
            ahead = [
                match._replace(snippet=by_key[match.key].snippet()) if match.key in by_key else match
                for match in matches
                if match.key in by_key or not asked.phrases
            ]
            ahead = notes_first(ahead, by_key)
            named = {match.key for match in ahead}
            return ahead + self._hits([hit for hit in hits if hit.key not in named], conditions, years, limit)
        return self._hits(hits, conditions, years, limit)

    def _hits(self, hits: list[Hit], conditions: Filters, years: list[int], limit: int) -> list[Match]:
        keys = [hit.key for hit in hits]
        rows = {row[1]: row for row in self._db.execute(t.BY_KEY, (json.dumps(keys),))}
        kept = [hit for hit in hits if hit.key in rows and t.passes(rows[hit.key], conditions)]
        if years:  # a year among the words changes the order, it does not exclude
            kept.sort(key=lambda hit: not any(t.in_years(rows[hit.key], (year, year)) for year in years))
        return [_match(rows[hit.key], hit.share, "text", hit.snippet()) for hit in kept[:limit]]

    def _searcher(self) -> WordSearcher:
        from kb.index.text_search import WordSearcher

        for _ in range(5):
            if self._words is not None:
                return self._words
            pending = dict(self._db.execute("SELECT key, text FROM pending"))
            if name := t.damaged(self.generation / t.WORDS, t.words_files(self._db)):
                raise IndexBroken(Said("error/index-changed", name=name))
            words = WordSearcher(self.generation / t.WORDS, self.meta["words"], pending)
            if words.generation <= self.meta["words"] or not self._moved():
                self._words = words
                return words
            words.close()  # folded in since the snapshot was taken: take a new one
            self.refresh()
        raise IndexBroken(Said("error/index-changing"))

    def _moved(self) -> bool:
        """Return whether the file has a newer revision, or newer words, than this snapshot."""
        if self.frozen:
            return False
        with closing(t.connect(self.generation / t.KEYS)) as db:
            return t.meta(db) != self.meta


@contextmanager
def broken() -> Iterator[None]:
    """Turn the errors of damaged files into ``IndexBroken``."""
    try:
        yield
    except JackfieldError:
        raise
    except Exception as error:  # Whoosh raises many kinds of error on damaged files
        raise IndexBroken(Said("error/index-unreadable", why=why_of(error))) from error


_SAMPLES = 32


def _held(db: sqlite3.Connection, bits: k.Bits) -> bool:
    """Check that the bit map has a few keys from all over the table.

    A zeroed map would answer "no" to everything, and would seem to work.
    """
    for at in range(_SAMPLES):
        start = (at << 32) // _SAMPLES << k.ID_BITS  # a hash has 32 bits
        row = db.execute("SELECT key FROM keys WHERE key >= ? LIMIT 1", (start,)).fetchone()
        if row and not bits.may_hold(row[0] >> k.ID_BITS):
            return False
    return True


def _match(row: t.SetRow, score: float, how: How, snippet: str = "") -> Match:
    _, key, make, model, kind, findings, _, _, _, _, _, best, payload, _, _ = row
    return Match(key, make, model, kind, findings, best, payload, round(score, 4), how, snippet)


def _offered(rows: list[t.SetRow]) -> list[Match]:
    """Return sets that are only an offer, with a low score."""
    return [_match(row, FAMILY_MATE, "family") for row in rows]


def _both(one: Filters, other: Filters | None) -> Filters:
    if other is None:
        return one
    return Filters(
        other.make or one.make,
        other.kind or one.kind,
        other.years or one.years,
        one.signals + other.signals,
        one.outcomes + other.outcomes,
        one.facts + other.facts,
    )


def _as_typed(tokens: tuple[str, ...], words: tuple[str, ...]) -> Iterator[str]:
    """Yield the words as typed: normalising removed accents and hyphens, and "no sound" needs its "no"."""
    wanted = set(words)
    for token in tokens:
        parts = parts_of(token)
        if _DECIMAL.fullmatch(token) and all(normalise(part) in wanted for part in parts):
            yield token.replace(",", ".")  # "3,5 mm"
        else:
            yield from (part for part in parts if normalise(part) in wanted or part.lower() in SMALL)


_DECIMAL = re.compile(r"\d+,\d+(?:mm|m)?", re.IGNORECASE)
