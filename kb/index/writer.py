"""Build the index from nothing, update it, and check it.

A whole index is built in bounded memory. Rows are written as they come. Keys go to files by their upper bits,
and each file is then sorted and written in order. The B-tree grows at its right edge only, and at most one
file is in memory. A change of single sets is one transaction.
"""

from __future__ import annotations

import os
import sqlite3
from array import array
from collections.abc import Callable, Iterable
from pathlib import Path

from kb.base.errors import first_line, why_of
from kb.base.messages import Said, Wording
from kb.index import index_files as t
from kb.index import keys as k
from kb.index.entry import IndexBroken, SetEntry
from kb.index.normalize import normalise

_PARTS = 64
_BATCH = 2_000
_SPILL = 1 << 20  # keys in memory before they are written to files


class _Keys:
    """Collect keys for the table."""

    def __init__(self, folder: Path) -> None:
        self._paths = [folder / f"part-{n:02d}" for n in range(_PARTS)]
        self._parts = [array("Q") for _ in range(_PARTS)]
        self._held = 0
        self.count = 0
        self.prefixes: Path = folder / "prefixes"

    def add(self, packed: Iterable[int]) -> None:
        parts = self._parts
        for key in packed:
            parts[key >> 50].append(key)
            self._held += 1
        if self._held > _SPILL:
            self._spill()

    def _spill(self) -> None:
        for path, part in zip(self._paths, self._parts, strict=True):
            if part:
                with open(path, "ab", opener=k.private_opener) as file:
                    part.tofile(file)
                self.count += len(part)
                del part[:]
        self._held = 0

    def write(self, db: sqlite3.Connection, bits: k.Bits) -> None:
        """Write the keys to the table and the bit map, in order."""
        for path in self._paths:
            if not path.exists():
                continue
            part = array("Q")
            with open(path, "rb") as file:
                part.fromfile(file, os.path.getsize(path) // 8)
            path.unlink()
            ordered = sorted(set(part))
            bits.add(key >> k.ID_BITS for key in ordered)
            db.executemany("INSERT INTO keys VALUES (?)", zip(ordered, strict=True))

    def done(self) -> None:
        self._spill()


def build(
    folder: Path,
    entries: Iterable[SetEntry],
    revision: int,
    mark: str = "",
    progress: Callable[[int], None] | None = None,
) -> None:
    """Write a generation into the empty ``folder``. ``progress`` gets the number of sets done so far."""
    db = t.connect(folder / t.KEYS, create=True)
    try:
        db.execute("PRAGMA journal_mode=OFF")  # a crash leaves a folder that was never used
        db.execute("PRAGMA synchronous=OFF")
        db.executescript(t.SCHEMA)
        db.execute("BEGIN")
        keys = _Keys(folder)
        words = _Words(folder / t.WORDS)
        prefixes = array("L" if array("L").itemsize == 4 else "I")
        count = _rows(db, entries, keys, words, prefixes, progress)
        keys.done()
        name = 1
        k.Bits.create(folder / f"bits-{name}", max(keys.count + len(prefixes), 0))
        bits = k.Bits(folder / f"bits-{name}", write=True)
        try:
            keys.write(db, bits)
            bits.add(prefixes)
            bits.flush()
        finally:
            bits.close()
        for statement in t.INDEXES.split(";"):  # executescript would commit
            db.execute(statement)
        generation = words.finish(revision)
        t.set_words_files(db, t.crcs(folder / t.WORDS))
        t.set_meta(
            db, format=t.FORMAT, revision=revision, sets=count, bits=name, words=generation,
            held=keys.count + len(prefixes), mark=mark,
        )  # fmt: skip
        db.execute("COMMIT")
        # SQLite syncs the whole file with this last change of its first page.
        db.execute("PRAGMA synchronous=FULL")
        db.execute("PRAGMA journal_mode=WAL")
    finally:
        db.close()


def _rows(
    db: sqlite3.Connection,
    entries: Iterable[SetEntry],
    keys: _Keys,
    words: _Words,
    prefixes: array[int],
    progress: Callable[[int], None] | None,
) -> int:
    makes: dict[str, list[str | int]] = {}
    count = spelling = 0
    for batch in t.chunks(entries, _BATCH):
        sets, rows = [], []
        for entry in batch:
            count += 1
            sets.append(t.set_row(count, entry))
            for make, model, short in t.entry_spellings(entry):
                spelling += 1
                row = t.spelling_row(spelling, count, make, model, short)
                rows.append(row)
                keys.add(k.packed(t.key_hashes(model), spelling))
                prefixes.extend(k.prefix_hashes(row[4]))
                if make:
                    makes.setdefault(make, [0, entry.make if normalise(entry.make) == make else make])
            own = makes.get(normalise(entry.make))
            if own is not None:
                own[0] = int(own[0]) + 1
            words.add(entry)
        db.executemany(t.PUT_SET, sets)
        db.executemany("INSERT INTO spelling VALUES (?,?,?,?,?,?,?)", rows)
        if progress is not None:
            progress(count)
    for ident, (make, (number, shown)) in enumerate(makes.items(), 1):
        db.execute("INSERT INTO makes VALUES (?,?,?,?)", (ident, make, number, shown))
        db.executemany(
            "INSERT OR IGNORE INTO make_word VALUES (?, ?)", [(w, make) for w in t.words_of(str(shown))]
        )
        keys.add(k.packed(t.make_hashes(make), ident))
    return count


class _Words:
    """Write the words of a new generation; import Whoosh with the first set that has text."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._writer: object | None = None

    def add(self, entry: SetEntry) -> None:
        document = t.dump_text(entry)
        if not document:
            return
        from kb.index.text_search import BulkWriter

        if not isinstance(self._writer, BulkWriter):
            self._writer = BulkWriter(self._folder)
        self._writer.add(entry.key, document)

    def finish(self, revision: int) -> int:
        """Return the generation of the words, 0 if there are none."""
        if self._writer is None:
            return 0
        from kb.index.text_search import BulkWriter

        assert isinstance(self._writer, BulkWriter)
        return self._writer.finish(revision)


def apply(generation: Path, changed: list[SetEntry], gone: list[str], revision: int, mark: str) -> int:
    """Bring the SQLite file to ``revision`` in one transaction; return the number of pending texts."""
    db = t.connect(generation / t.KEYS)
    try:
        db.execute("PRAGMA synchronous=NORMAL")  # derived data: after a power failure it is updated again
        db.execute("BEGIN IMMEDIATE")
        meta = t.meta(db)
        if meta.get("format") != t.FORMAT:
            raise t.other_format(meta)
        if revision > meta["revision"]:
            bits = k.Bits(generation / f"bits-{meta['bits']}", write=True)
            try:
                change = _Change(db, bits)
                for key in gone:
                    change.drop(key)
                for entry in changed:
                    change.put(entry)
                bits.flush()
                held, room = meta["held"] + change.added, bits.room
            finally:
                bits.close()
            t.set_meta(db, revision=revision, sets=meta["sets"] + change.sets, held=held, mark=mark)
            if held > 4 * room:
                _widen(db, generation, meta["bits"])
        waiting: int = db.execute("SELECT count(*) FROM pending").fetchone()[0]
        db.execute("COMMIT")
        return waiting
    finally:
        db.close()


class _Change:
    """Add and drop rows and keys of single sets inside a transaction."""

    def __init__(self, db: sqlite3.Connection, bits: k.Bits) -> None:
        self._db = db
        self._bits = bits
        self.added = 0
        self.sets = 0

    def drop(self, key: str) -> None:
        """Remove a set; a missing one is no error, since updates may come twice."""
        found = self._db.execute("SELECT id, make FROM sets WHERE key = ?", (key,)).fetchone()
        if found is None:
            return
        self._spell(found[0], [])
        self._db.execute("DELETE FROM sets WHERE id = ?", (found[0],))
        self._count_make(found[1], found[1], -1)
        self._db.execute("INSERT OR REPLACE INTO pending VALUES (?, '')", (key,))
        self.sets -= 1

    def put(self, entry: SetEntry) -> None:
        """Add or replace a set."""
        found = self._db.execute("SELECT id, make FROM sets WHERE key = ?", (entry.key,)).fetchone()
        if found is None:
            set_id = 1 + (self._db.execute("SELECT max(id) FROM sets").fetchone()[0] or 0)
            self.sets += 1
        else:
            set_id = found[0]
            self._count_make(found[1], found[1], -1)
        row = t.set_row(set_id, entry)
        self._db.execute(t.PUT_SET, row)
        spellings = t.entry_spellings(entry)
        self._spell(set_id, spellings)
        self._count_make(entry.make, entry.make, 1)
        for make, _, _ in spellings:
            self._count_make(make, entry.make if normalise(entry.make) == make else make, 0)
        self._db.execute("INSERT OR REPLACE INTO pending VALUES (?, ?)", (entry.key, t.dump_text(entry)))

    def _spell(self, set_id: int, wanted: list[tuple[str, str, int]]) -> None:
        rows = self._db.execute(
            "SELECT id, make, model, short FROM spelling WHERE set_id = ?", (set_id,)
        ).fetchall()
        for ident, make, model, short in rows:
            if (make, model, short) not in wanted:
                old = [(key,) for key in k.packed(t.key_hashes(model), ident)]
                self._db.executemany("DELETE FROM keys WHERE key = ?", old)
                self._db.execute("DELETE FROM spelling WHERE id = ?", (ident,))
        have = {row[1:] for row in rows}
        for make, model, short in wanted:
            if (make, model, short) not in have:
                ident = 1 + (self._db.execute("SELECT max(id) FROM spelling").fetchone()[0] or 0)
                row = t.spelling_row(ident, set_id, make, model, short)
                self._db.execute("INSERT INTO spelling VALUES (?,?,?,?,?,?,?)", row)
                self._keys(t.key_hashes(model), ident)
                beginnings = k.prefix_hashes(row[4])
                self._bits.add(beginnings)
                self.added += len(beginnings)

    def _keys(self, hashes: set[int], ident: int) -> None:
        if ident > k.MAX_ID:
            raise IndexBroken(Said("error/index-numbers", most=k.MAX_ID))
        self._bits.add(hashes)
        self._db.executemany(
            "INSERT OR IGNORE INTO keys VALUES (?)", [(key,) for key in k.packed(hashes, ident)]
        )
        self.added += len(hashes)

    def _count_make(self, make: str, shown: str, step: int) -> None:
        name = normalise(make)
        if not name:
            return
        found = self._db.execute("SELECT id FROM makes WHERE make = ?", (name,)).fetchone()
        if found is None:
            if step < 0:
                return
            ident = 1 + (self._db.execute("SELECT max(id) FROM makes").fetchone()[0] or 0)
            self._db.execute("INSERT INTO makes VALUES (?, ?, ?, ?)", (ident, name, step, shown))
            words = [(word, name) for word in t.words_of(shown)]
            self._db.executemany("INSERT OR IGNORE INTO make_word VALUES (?, ?)", words)
            self._keys(t.make_hashes(name), ident)
        elif step:
            self._db.execute("UPDATE makes SET sets = max(0, sets + ?) WHERE id = ?", (step, found[0]))


def _widen(db: sqlite3.Connection, generation: Path, name: int) -> None:
    """Write a larger bit map under a new name, when the book has outgrown the old one."""
    held: int = db.execute("SELECT count(*) FROM keys").fetchone()[0] * 2
    path = generation / f"bits-{name + 1}"
    path.unlink(missing_ok=True)  # left by a crash before the commit
    k.Bits.create(path, held)
    bits = k.Bits(path, write=True)
    try:
        bits.add(key >> k.ID_BITS for (key,) in db.execute("SELECT key FROM keys"))
        for (folded,) in db.execute("SELECT folded FROM spelling"):
            bits.add(k.prefix_hashes(folded))
        bits.flush()
    finally:
        bits.close()
    t.set_meta(db, bits=name + 1, held=held)


def fold_pending(generation: Path) -> None:
    """Move pending texts into the words. After a crash between the two commits, the next call repeats it."""
    from kb.index.text_search import fold_in

    db = t.connect(generation / t.KEYS)
    try:
        pending = db.execute("SELECT key, text FROM pending").fetchall()
        if not pending:
            return
        known = t.words_files(db)
        if name := t.damaged(generation / t.WORDS, known):
            raise IndexBroken(Said("error/index-changed", name=name))
        words = fold_in(generation / t.WORDS, pending)
        written = t.crcs(generation / t.WORDS, known)
        db.execute("BEGIN IMMEDIATE")
        t.set_words_files(db, written)
        db.executemany("DELETE FROM pending WHERE key = ? AND text = ?", pending)
        t.set_meta(db, words=words)
        db.execute("COMMIT")
    finally:
        db.close()


def problems(generation: Path) -> list[Wording]:
    """Run a full check: damage of the file, rows without keys, unreadable words."""
    out: list[Wording] = []
    try:
        db, _ = t.connect_to_read(generation / t.KEYS)
        try:
            db.execute("BEGIN")
            meta = t.meta(db)
            if meta.get("format") != t.FORMAT:
                return [t.other_format(meta).said]
            out += [
                Said("error/says", program="SQLite", words=first_line(row[0]))
                for row in db.execute("PRAGMA integrity_check(5)")
                if row[0] != "ok"
            ]
            bits = k.Bits(generation / f"bits-{meta['bits']}")
            try:
                out += _unreachable(db, bits)
            finally:
                bits.close()
            known = t.words_files(db)
            sets = db.execute("SELECT count(*) FROM sets").fetchone()[0]
            if sets != meta["sets"]:
                out.append(Said("error/index-sets", seen=sets, expected=meta["sets"]))
        finally:
            db.close()
    except (sqlite3.DatabaseError, OSError, ValueError, KeyError, IndexBroken) as error:
        return [*out, Said("error/index-unreadable", why=why_of(error))]
    if meta["words"]:
        from kb.index.text_search import WordSearcher

        if name := t.damaged(generation / t.WORDS, known):
            return [*out, Said("error/index-changed", name=name)]
        try:
            searcher = WordSearcher(generation / t.WORDS, meta["words"], {})
            searcher.read_all()
            searcher.close()
        except IndexBroken as error:
            out.append(error.said)
    return out


def _unreachable(db: sqlite3.Connection, bits: k.Bits) -> list[Wording]:
    """Return the first few sets that no query could find."""
    out: list[Wording] = []
    for ident, make, model in db.execute("SELECT id, make, model FROM spelling"):
        hashes = t.key_hashes(model)
        keys = k.packed(hashes, ident)
        held = db.execute(
            "SELECT count(*) FROM keys WHERE key IN (SELECT value FROM json_each(?))", (str(keys),)
        ).fetchone()[0]
        if held != len(keys) or len(bits.keep(hashes)) != len(hashes):
            out.append(Said("error/index-lost", set=f"{make} {model}"))
            if len(out) == 5:
                break
    return out
