"""Search words, phrases and filters in the text of findings, with Whoosh.

Distribution: **whoosh3** (3.54). Compared in November 2026 on Python 3.11, 3.12 and 3.13, 5,000 documents:

================  ==================  =====================  ==================
                  whoosh 2.7.4        whoosh-reloaded 2.7.5  whoosh3 3.54.0
================  ==================  =====================  ==================
last file         2016-04             2024-02                2026-09
declares          Python 2.5 to 3     up to 3.12             3.10 to 3.14
when compiled     warns in 5 or more  warns in one module    no warning
under -W error    modules
needs             nothing             cached-property        nothing
typed             no                  no                     in part (py.typed)
import            106 / 83 ms         112 / 125 ms           67 / 64 ms
indexing          2.8 / 2.6 s         2.9 / 2.7 s            2.4 / 2.8 s
a search          2.6 / 4.0 ms        3.2 / 3.5 ms           4.9 / 2.8 ms
================  ==================  =====================  ==================

(times on 3.11 / 3.13, one run each on a busy machine: alike but for the import; licence BSD-2-Clause, 0.55 MB
per wheel, all three). The other two can replace it: only this module knows Whoosh.

Recording a visit does not wait for a Whoosh commit. Its text goes to ``pending`` in the SQLite file, in the
transaction that moves the revision. A search indexes the pending texts in memory, and hides the older
documents of the same sets in the files. From time to time ``fold_in`` moves them into the files. A crash
anywhere in between changes no answer.
"""

from __future__ import annotations

import math
import os
import re
import sys
from collections.abc import Callable, Iterable, Iterator, Mapping, Set
from contextlib import contextmanager
from functools import cached_property, lru_cache, partial
from importlib import import_module
from pathlib import Path
from types import ModuleType
from typing import Any, NamedTuple

from kb.base.datafiles import data_object
from kb.base.errors import BadInput, why_of
from kb.base.messages import Said
from kb.base.parsing import json_of
from kb.base.text import without_accents
from kb.index.edit_distance import Near
from kb.index.entry import TEXT_FIELDS, Filters, IndexBroken
from kb.index.index_files import make_private
from kb.index.normalize import normalise


def _whoosh(name: str) -> Any:
    """Import a module of Whoosh, untyped: its types are incomplete, which fails a strict check."""
    return import_module(f"whoosh.{name}")


@contextmanager
def _stand_in(module: ModuleType) -> Iterator[None]:
    """Let imports meet a small module instead of Whoosh's own, unless that is loaded already."""
    known = sys.modules.setdefault(module.__name__, module)
    try:
        yield
    finally:
        if known is module:
            del sys.modules[module.__name__]


def _queries() -> Any:
    """Import Whoosh's queries without the large tables of English word forms.

    Only one kind of query needs these tables, and it is not used here. Loading them takes longer than a
    search.
    """
    forms: Any = ModuleType("whoosh.lang.morph_en")
    forms.variations = lambda word: {word}
    with _stand_in(forms):
        return _whoosh("query")


query = _queries()
analysis = _whoosh("analysis")
fields = _whoosh("fields")
reading = _whoosh("reading")
searching = _whoosh("searching")
_english = _whoosh("lang.porter2").stem  # the default leaves "humm" of "humming"
FileStorage = _whoosh("filedb.filestore").FileStorage
RamStorage = _whoosh("filedb.filestore").RamStorage
LockError = _whoosh("index").LockError

_BOOST = {"marking": 1.5, "setting": 1.2, "note": 1.0, "fact": 0.9}
_TRIES = 10  # attempts to open files that another process may remove, as many as Whoosh makes
_SNIPPET, _BEFORE = 160, 40  # characters shown, and how many of them come before the first word
_MISTYPED_FROM = 5  # a word with so many letters may have one slip
_SWAP_FROM = 7
_WRITER_MB = 48
_MARK = " \N{MIDDLE DOT} "  # between the texts of a field
_READ = 6_000  # characters of a field
_TOGETHER = 0.4  # of a share, the part that the best line decides (common practice)
_READ_TEXTS, _READ_LINES = 60, 30  # sets whose texts are read; whose texts are read line by line
_FRONT = 3  # letters that a word has in common with its stem
_PART = 4  # letters of each part of a compound
_JOINTS = ("", "n", "s", "en", "es")  # letters that German puts between two words
_BETWEEN = 2  # words that ask for nothing between two words of a phrase
_SYNONYM = 0.85  # weight of a synonym compared with the word itself (common practice)
_PLAIN = 0.7  # weight of a word that is none of the trade: "we had to fit an isolator" asks for isolators


class _Bare(dict[int, str]):
    """Map characters to their form without accents, computed on first use."""

    def __missing__(self, code: int) -> str:
        char = chr(code)
        self[code] = bare = without_accents(_NO_PARTS.get(char, char))
        return bare


_NO_PARTS = {"ß": "ss", "ø": "o", "ł": "l", "đ": "d", "æ": "ae", "œ": "oe", "ı": "i"}


_BARE = _Bare()
_WORD = re.compile(
    r"(?P<number>\d+(?:[.,]\d+)?)\s?(?P<unit>mm|m|met(?:er|re)s?|metros?)\b|[^\W_]+(?:\.[^\W_]+)*",
    re.IGNORECASE,
)
"""A word, or a number with its unit: "5 m" and "5m" are one word."""
_STOP = analysis.STOP_WORDS - {"not"}  # "not done" is not "done"


@lru_cache(maxsize=20_000)
def _stem(word: str) -> str:
    """Return the stem of a word in lower case without accents."""
    measure = _WORD.fullmatch(word)
    if measure and measure["unit"]:
        return measure["number"].replace(",", ".") + ("mm" if measure["unit"] == "mm" else "m")
    return str(_english(word))


def _analyzer() -> Any:
    """Return an analyzer: lower case, no accents or English stop words, words reduced to their stems."""
    words = analysis.RegexTokenizer(_WORD) | analysis.LowercaseFilter()
    words = words | analysis.CharsetFilter(_BARE)
    return words | analysis.StopFilter(stoplist=_STOP) | analysis.StemFilter(_stem)


_ANALYZER = _analyzer()


def schema() -> Any:
    """Return the schema: one document per set."""
    text = {
        name: fields.TEXT(analyzer=_ANALYZER, phrase=True, stored=True, field_boost=_BOOST[name])
        for name in TEXT_FIELDS
    }
    return fields.Schema(
        key=fields.ID(stored=True, unique=True),
        layer=fields.ID(),
        make=fields.ID(),
        kind=fields.ID(),
        first=fields.NUMERIC(int, shift_step=0),  # years are few: a range is the terms in it
        last=fields.NUMERIC(int, shift_step=0),
        signals=fields.KEYWORD(),
        outcomes=fields.KEYWORD(),
        facts=fields.KEYWORD(),
        **text,
    )


def _document(key: str, stored: str, layer: str) -> dict[str, Any]:
    """Make the Whoosh document of a text from ``tables.dump_text``."""
    try:
        data = json_of(stored, "text")
    except BadInput as wrong:
        raise IndexBroken(Said("error/index-text", why=wrong)) from wrong
    first, last = data["years"]
    text: dict[str, str] = {}
    for name, value in data["text"]:
        if name in TEXT_FIELDS:
            text[name] = f"{text[name]}{_MARK}{value}" if name in text else value
    out: dict[str, Any] = {"key": key, "layer": layer, "make": data["make"], "kind": data["kind"], **text}
    for name in ("signals", "outcomes", "facts"):
        out[name] = " ".join(data[name])
    if first is not None or last is not None:
        out["first"] = last if first is None else first
        out["last"] = first if last is None else last
    return out


class BulkWriter:
    """Write the documents of a new generation in one go."""

    def __init__(self, folder: Path) -> None:
        from kb.index.external_sort import Runs  # only building a whole index needs it

        make_private(folder)
        self._folder = folder
        self._index = FileStorage(str(folder)).create_index(schema())
        self._writer = self._index.writer(limitmb=_WRITER_MB)
        whole = self._writer.pool
        self._writer.pool = Runs(whole.tempstore, whole.segment, limitmb=_WRITER_MB)

    def add(self, key: str, stored: str) -> None:
        """Add one set's text."""
        self._writer.add_document(**_document(key, stored, "file"))

    def finish(self, revision: int) -> int:
        """Commit; return the generation of the words."""
        self._writer.commit()
        generation = int(self._index.latest_generation())
        self._index.close()
        _private(self._folder)
        return generation


def fold_in(folder: Path, pending: Iterable[tuple[str, str]]) -> int:
    """Put pending texts ("" to remove) into the files; return the new generation of the words."""
    if not folder.exists():
        make_private(folder)
        found = FileStorage(str(folder)).create_index(schema())
    else:
        found = _open(folder)
    try:
        writer = found.writer(limitmb=_WRITER_MB, timeout=5.0)
        for key, stored in pending:
            writer.delete_by_term("key", key)
            if stored:
                writer.add_document(**_document(key, stored, "file"))
        writer.commit()
        generation = int(found.latest_generation())
    except (OSError, LockError) as error:
        raise IndexBroken(Said("error/index-words-unwritable", why=why_of(error))) from error
    finally:
        found.close()
    _private(folder)
    return generation


def _private(folder: Path) -> None:
    for path in folder.iterdir():
        os.chmod(path, 0o600)


def _open(folder: Path) -> Any:
    tries = _TRIES
    while True:
        try:
            return FileStorage(str(folder), readonly=False).open_index(schema=schema())  # not the pickled one
        except Exception as error:  # Whoosh raises any error of its decoding
            # Another process that folds in removes the old table of contents, perhaps just after we saw it.
            # Whoosh itself tries again for the files that the table names, not for the table.
            tries -= 1
            if not tries or not isinstance(error, FileNotFoundError):
                raise _unreadable(error) from error


def _unreadable(error: Exception) -> IndexBroken:
    return IndexBroken(Said("error/index-words", why=why_of(error)))


class Hit(NamedTuple):
    """Describe a set whose text contains some of the words. Call it for a snippet.

    ``share`` (0..1) is weighed by rarity; ``lines`` is the number of lines of its text with any of the words.
    """

    key: str
    share: float
    lines: int
    snippet: Callable[[], str]


class Asked(NamedTuple):
    """Hold one thing that a query asks for: the stems of its words, those of its synonyms, and its weight."""

    stems: tuple[str, ...]
    others: frozenset[tuple[str, ...]]
    weight: float


class Concept(NamedTuple):
    """Hold the same in one book: its worth by rarity, and each way to say it, the word itself first.

    A way has its stems, its worth, and the documents that contain it.
    """

    worth: float
    ways: tuple[tuple[tuple[str, ...], float, frozenset[int]], ...]

    def worth_of(self, document: int) -> float:
        """Return what a document is worth: only the best way to say it counts, once."""
        return max((value for _, value, there in self.ways if document in there), default=0.0)

    def worth_of_line(self, stems: Set[str]) -> float:
        """Return what a line with these stems is worth."""
        return max((value for row, value, _ in self.ways if all(one in stems for one in row)), default=0.0)


class _Trade(NamedTuple):
    """Hold the trade's vocabulary: (group, entry), the words of each group, words that ask for nothing.

    The first word of a group is its name.
    """

    entries: tuple[tuple[int, str], ...]
    groups: tuple[tuple[str, ...], ...]
    unsaid: frozenset[str]


@lru_cache(maxsize=1)
def _trade() -> _Trade:
    data = data_object("synonyms.json")
    entries = [
        (number, entry)
        for number, (name, said) in enumerate(data["groups"].items())
        for entry in (*said, *data["asked"].get(name, ()))
    ]
    lists = _whoosh("lang.stopwords").stoplists
    unsaid = {word.translate(_BARE) for language in ("de", "es") for word in lists[language]}
    unsaid.update(word for words in data["unsaid"].values() for word in words)
    return _Trade(tuple(entries), tuple(tuple(said) for said in data["groups"].values()), frozenset(unsaid))


@lru_cache(maxsize=1_000)
def _begun(front: str) -> tuple[tuple[int, tuple[str, ...]], ...]:
    """Return (group, words) of the entries with these first letters; taking all apart would be slow."""
    out = []
    for number, entry in _trade().entries:
        if front in entry:
            words = (entry,) if entry.endswith("*") else tuple(_words_in(entry))
            if words[0][:_FRONT] == front:
                out.append((number, words))
    return tuple(out)


def _means(word: str, entry: str) -> bool:
    """Return whether a word of a question is a form of a word of the trade; one with a * is a beginning."""
    if entry.endswith("*"):
        return word.startswith(entry[:-1])
    return word == entry or (word[:_FRONT] == entry[:_FRONT] and not _forms(word).isdisjoint(_forms(entry)))


@lru_cache(maxsize=20_000)
def _forms(word: str) -> frozenset[tuple[str, str]]:
    """Return the stems of a plain word in each language."""
    return frozenset((language, stemmer(word)) for language, stemmer in _stemmers().items())


@lru_cache(maxsize=1)
def _stemmers() -> Mapping[str, Callable[[str], str]]:
    package = ModuleType("whoosh.lang.snowball")  # the real one loads fourteen languages
    package.__path__ = [f"{folder}/snowball" for folder in _whoosh("lang").__path__]
    with _stand_in(package):
        german, spanish = _whoosh("lang.snowball.german"), _whoosh("lang.snowball.spanish")
    return {"en": _stem, "de": german.GermanStemmer().stem, "es": spanish.SpanishStemmer().stem}


def _entries(words: list[str], at: int) -> dict[tuple[int, ...], set[int]]:
    """Return the groups of the entries that begin at ``at``, by the positions of their words.

    Words that ask for nothing may be in between: "sin ninguna salida" is "sin salida".
    """
    unsaid = _trade().unsaid
    out: dict[tuple[int, ...], set[int]] = {}
    for group, (first, *more) in _begun(words[at][:_FRONT]):
        places = [at]
        if not _means(words[at], first):
            continue
        for wanted in more:
            nxt = places[-1] + 1
            while nxt < len(words) and not _means(words[nxt], wanted):
                nxt = nxt + 1 if words[nxt] in unsaid and nxt <= places[-1] + _BETWEEN else len(words)
            if nxt == len(words):
                break
            places.append(nxt)
        else:
            out.setdefault(tuple(places), set()).add(group)
    return out


def _meant(words: list[str]) -> list[Asked]:
    """Return the things that plain words ask for, each once; a phrase with a synonym is one thing."""
    trade = _trade()
    unsaid = trade.unsaid if any(word not in trade.unsaid for word in words) else frozenset[str]()
    out: dict[tuple[str, ...], Asked] = {}
    used: set[int] = set()
    for at in range(len(words)):
        if at in used:
            continue
        found = {row: groups for row, groups in _entries(words, at).items() if used.isdisjoint(row)}
        row = max(found, key=lambda places: (len(places), -places[-1]), default=(at,))
        if len(row) == 1 and words[at] in unsaid:
            continue
        used.update(row)
        own = tuple(_stem(words[place]) for place in row)
        groups = [trade.groups[number] for number in found.get(row, ())]
        named = [group for group in groups if _stems(group[0]) == own]  # "no light" asks for that alone
        others = {_stems(said) for group in named or groups for said in group}
        out[own] = Asked(own, frozenset(others - {own, ()}), 1.0 if row in found else _PLAIN)
    return list(out.values())


class WordSearcher:
    """Search over the files and the pending texts of one revision."""

    def __init__(self, folder: Path, generation: int, pending: Mapping[str, str]) -> None:
        readers: list[Any] = []
        self.generation = 0
        if generation:
            files = _open(folder)
            try:
                readers.append(files.reader())
                self.generation = int(files.latest_generation())
            except Exception as error:
                raise _unreadable(error) from error
        self._hidden = [query.Term("key", key) for key in pending] if readers else []
        texts = [(key, stored) for key, stored in pending.items() if stored]
        if texts:
            memory = RamStorage().create_index(schema())
            writer = memory.writer()
            for key, stored in texts:
                writer.add_document(**_document(key, stored, "pending"))
            writer.commit()
            readers.append(memory.reader())
        self._readers = readers
        self._searcher: Any = None
        if readers:
            # The files may be several segments: Whoosh names the words of a match only for leaves.
            parts = [part for reader in readers for part, _ in reader.leaf_readers()]
            self._searcher = searching.Searcher(parts[0] if len(parts) == 1 else reading.MultiReader(parts))

    def close(self) -> None:
        """Close the files."""
        for reader in self._readers:
            reader.close()

    def read_all(self) -> None:
        """Read every stored document and posting; raises ``IndexBroken`` if one is unreadable."""
        try:
            for reader in self._readers:
                for _ in reader.all_stored_fields():
                    pass
                for name, term in reader.all_terms():
                    for _ in reader.postings(name, term).all_ids():
                        pass
        except Exception as error:  # Whoosh raises any error of its decoding
            raise _unreadable(error) from error

    def knows(self, word: str) -> bool:
        """Return whether the word is in a text of the book, or in the trade's vocabulary."""
        words = _words_in(word)
        return not words or any(map(self._known, words))

    def _known(self, word: str) -> bool:
        return word in _trade().unsaid or (0,) in _entries([word], 0) or self._occurs(_stem(word))

    def _apart(self, word: str) -> list[str]:
        """Return the two known words of an unknown compound: "kopfhorerbuchse" is "kopfhorer buchse"."""
        if len(word) < 2 * _PART or self._known(word):
            return [word]
        for at in range(len(word) - _PART, _PART - 1, -1):
            if self._known(word[at:]):
                for joint in _JOINTS:
                    first = word[:at].removesuffix(joint)
                    if len(first) >= _PART and self._known(first):
                        return [first, word[at:]]
        return [word]

    def search(
        self,
        words: tuple[str, ...],
        phrases: tuple[str, ...],
        filters: Filters,
        limit: int,
        make: str = "",
        keys: Iterable[str] = (),
    ) -> list[Hit]:
        """Return sets with some of the words, all of the phrases, and all of the filters; best first.

        With ``keys``, search only these sets. Words of ``_MISTYPED_FROM`` letters or more that no text holds
        may have one slip.
        """
        if self._searcher is None:
            return []
        rows = [stems for phrase in phrases if (stems := _stems(phrase))]
        try:
            concepts = [
                self._concept(said)
                for said in _meant(
                    [part for word in _words_in(" ".join(words)) for part in self._apart(word)]
                )
            ]
            exact = [self._phrase(row) for row in rows]
            if not concepts and not exact:
                return []
            found = frozenset[int]().union(*(there for one in concepts for _, _, there in one.ways))
            for at, there in enumerate(exact):
                found = found & there if concepts or at else there
            conditions = _conditions(filters, make, keys)
            if conditions is not None and found:
                found &= self._documents(conditions)
            if found:
                found -= self._old
            said = [
                *concepts,
                *(Concept(0.0, ((row, 0.5, there),)) for row, there in zip(rows, exact, strict=True)),
            ]
            return self._hits(found, concepts, said, limit)
        except Exception as error:  # Whoosh raises any error of its decoding
            raise _unreadable(error) from error

    @cached_property
    def _old(self) -> frozenset[int]:
        """The documents in the files whose sets have a newer text among the pending ones, or none."""
        if not self._hidden:
            return frozenset()
        return self._documents(query.And([query.Term("layer", "file"), query.Or(self._hidden)]))

    def _occurs(self, stem: str) -> bool:
        """Return whether a text of today has the stem: Whoosh also counts texts that were replaced."""
        return self._searcher is not None and bool(self._holding(stem) - self._old)

    def _documents(self, wanted: Any) -> frozenset[int]:
        return frozenset(self._searcher.docs_for_query(wanted))

    def _concept(self, said: Asked) -> Concept:
        """Return the thing to search for in this book, in place of words of the query."""
        own = self._ways(said.stems)
        others = [way for stems in sorted(said.others) if self._holders(stems) for way in self._ways(stems)]
        # A thing is as rare as all of its names together: "salida" is rare, outputs are not.
        holders = frozenset[int]().union(*(there for _, there in own + others))
        worth = said.weight * self._rarity(len(holders))
        ways = [(stems, worth, there) for stems, there in own]
        ways += [(stems, worth * _SYNONYM, there) for stems, there in others]
        return Concept(worth, tuple(ways))

    def _ways(self, stems: tuple[str, ...]) -> list[tuple[tuple[str, ...], frozenset[int]]]:
        """Return the stems, or those of the book a slip away, with the documents that hold them."""
        if len(stems) > 1:
            return [(stems, self._phrase(stems))]
        return [((stem,), self._holding(stem)) for stem in self._spelt(stems[0])]

    def _holding(self, stem: str) -> frozenset[int]:
        """Return the documents with the stem in one of their texts: its postings, without a query."""
        found: set[int] = set()
        for name in TEXT_FIELDS:
            if self._searcher.doc_frequency(name, stem):
                found.update(self._searcher.postings(name, stem).all_ids())
        return frozenset(found)

    def _spelt(self, stem: str) -> list[str]:
        """Return the stem if a text holds it, else those that are a slip away."""
        if len(stem) < _MISTYPED_FROM or self._occurs(stem):
            return [stem]
        slips = 1 if len(stem) < _SWAP_FROM else 2  # Whoosh counts a swap as two
        near = {
            found
            for leaf, _ in self._searcher.reader().leaf_readers()
            for name in TEXT_FIELDS
            for found in leaf.terms_within(name, stem, slips, prefix=1)
        }
        asked = Near(stem)
        return sorted(found for found in near if asked.distance(found) <= 1)

    def _phrase(self, stems: tuple[str, ...]) -> frozenset[int]:
        """Return the documents that hold the stems in a row in one of their texts."""
        if len(stems) == 1:
            return self._holding(stems[0])
        count = self._searcher.doc_frequency
        there = [name for name in TEXT_FIELDS if all(count(name, stem) for stem in stems)]
        return self._documents(query.Or([query.Phrase(name, list(stems)) for name in there]))

    def _rarity(self, holders: int) -> float:
        """Return the inverse document frequency, as BM25 has it."""
        sets = max(int(self._searcher.doc_count()), holders)
        return math.log(1 + (sets - holders + 0.5) / (holders + 0.5))

    def _holders(self, stems: tuple[str, ...]) -> int:
        """Return how many sets may hold all of the stems in one field."""
        return max(
            (min(self._searcher.doc_frequency(name, stem) for stem in stems) for name in TEXT_FIELDS),
            default=0,
        )

    def _hits(self, found: Set[int], concepts: list[Concept], said: list[Concept], limit: int) -> list[Hit]:
        """Return the best of the documents: ``concepts`` rank them, ``said`` is shown."""
        total = sum(one.worth for one in concepts) or 1.0
        shares = {
            document: round(sum(one.worth_of(document) for one in concepts) / total, 2) if concepts else 1.0
            for document in found
        }
        ranked = sorted(found, key=lambda document: (-shares[document], document))
        # Read the texts of sets with equal shares to tell them apart, up to a limit.
        texts = {n: self._searcher.stored_fields(n) for n in ranked[: max(2 * limit, _READ_TEXTS)]}
        order = sorted(texts, key=lambda document: (-shares[document], texts[document]["key"]))
        least = shares[order[limit - 1]] if len(order) >= limit else 0.0
        hits = []
        for document in order[: max(limit, _READ_LINES)]:
            share, text = shares[document], texts[document]
            if share < least - _TOGETHER:
                break  # not even one line with all of it would move this one forward
            best, lines = _lines(text, said)
            # Words in one line are more likely to answer the question.
            if len(concepts) > 1:
                share = share * (1 - _TOGETHER) + _TOGETHER * min(best / total, 1.0)
            hits.append(Hit(text["key"], min(share, 1.0), lines, partial(_snippet, text, said)))
        hits.sort(key=lambda hit: (-round(hit.share, 2), -hit.lines, hit.key))
        return hits[:limit]


def _lines(fields: Mapping[str, str], said: list[Concept]) -> tuple[float, int]:
    """Return the greatest worth of a line of a set's texts, and the number of lines with any worth."""
    best, count = 0.0, 0
    fronts = {stem[:1] for one in said for row, _, _ in one.ways for stem in row}
    for name in TEXT_FIELDS:
        for line in fields.get(name, "")[:_READ].lower().translate(_BARE).split(_MARK):
            there = frozenset(_stem(word[0]) for word in _WORD.finditer(line) if word[0][:1] in fronts)
            if there:
                worth = sum(one.worth_of_line(there) for one in said)
                best = max(best, worth)
                count += worth > 0
    return best, count


def _snippet(fields: Mapping[str, str], said: list[Concept]) -> str:
    """Return the part of the most useful field: the one with most of the words asked for.

    It is one line without control characters.
    """
    worths: dict[str, float] = {}
    for one in said:
        for row, value, _ in one.ways:
            for stem in row:
                worths[stem] = max(worths.get(stem, 0.0), value / len(row))
    best = (0.0, "")
    for name in TEXT_FIELDS:
        text = fields.get(name, "")
        piece, found = _around(text[:_READ], worths.keys()) if text else ("", frozenset())
        worth = sum(worths[stem] for stem in found) * _BOOST[name]
        if piece and worth > best[0]:
            best = (worth, piece)
    shown = "".join(char if char.isprintable() else " " for char in best[1])
    return " ".join(shown.split())[: _SNIPPET + 40]


def _around(text: str, terms: Set[str]) -> tuple[str, frozenset[str]]:
    """Return the part of the text with most of the words, and these words; "" with none.

    The part has whole words only, with "..." at a cut.
    """
    places = []
    found: set[str] = set()
    fronts = {term[:1] for term in terms}
    for word in _WORD.finditer(text):
        bare = word[0].lower().translate(_BARE)
        if bare[:1] in fronts and (stem := _stem(bare)) in terms:
            places.append((word.start(), word.end()))
            found.add(stem)
    if not places:
        return "", frozenset()
    best = max(places, key=lambda place: sum(place[0] <= end <= place[0] + _SNIPPET for _, end in places))
    start = max(0, best[0] - _BEFORE)
    if start:
        start = text.find(" ", start, best[0]) + 1 or best[0]
    end = start + _SNIPPET
    if end < len(text):
        end = max(text.rfind(" ", best[1], end), best[1])
    return f"{'... ' if start else ''}{text[start:end]}{' ...' if end < len(text) else ''}", frozenset(found)


def _words_in(text: str) -> list[str]:
    """Return the words of a text as the index has them, not yet reduced to their stems."""
    found = (word[0] for word in _WORD.finditer(text.lower().translate(_BARE)))
    return [word for word in found if len(word) > 1 and word not in _STOP]


@lru_cache(maxsize=4_096)
def _stems(text: str) -> tuple[str, ...]:
    return tuple(map(_stem, _words_in(text)))


def _conditions(filters: Filters, make: str = "", keys: Iterable[str] = ()) -> Any:
    """Return the filters as a query, None if there are none."""
    parts: list[Any] = []
    only = [query.Term("key", key) for key in keys]
    if only:
        parts.append(query.Or(only))
    if filters.make or make:
        parts.append(query.Term("make", normalise(filters.make or make)))
    if filters.kind:
        parts.append(query.Term("kind", filters.kind))
    if filters.years is not None:
        low, high = filters.years
        parts.append(query.NumericRange("first", None, high))
        parts.append(query.NumericRange("last", low, None))
    parts.extend(query.Term("signals", signal) for signal in filters.signals)
    parts.extend(query.Term("outcomes", outcome) for outcome in filters.outcomes)
    parts.extend(query.Term("facts", fact) for fact in filters.facts)
    return query.And(parts) if parts else None
