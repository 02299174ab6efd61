"""Bring the index up to date with what has changed, and check it."""

from __future__ import annotations

import sqlite3
from pathlib import Path

from kb.index import keys as k
from kb.index import layout as files
from kb.index import tables as t
from kb.index.entry import IndexBroken, SetEntry
from kb.index.normalize import normalise


def apply(generation: Path, changed: list[SetEntry], gone: list[str], revision: int, mark: str) -> int:
    """Bring the SQLite file to ``revision`` in one transaction; returns how many texts are pending."""
    db = t.connect(generation / files.KEYS)
    try:
        db.execute("PRAGMA synchronous=NORMAL")  # derived data: an older revision after a power cut heals
        db.execute("BEGIN IMMEDIATE")
        meta = t.meta(db)
        if meta.get("format") != t.FORMAT:
            raise IndexBroken(f"index format: saw {meta.get('format')}, expected {t.FORMAT}")
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
    """Rows and keys of single sets, put and dropped inside a transaction."""

    def __init__(self, db: sqlite3.Connection, bits: k.Bits) -> None:
        self._db = db
        self._bits = bits
        self.added = 0
        self.sets = 0

    def drop(self, key: str) -> None:
        """Forget a set; one that is not there is no mistake, since updates may come twice."""
        found = self._db.execute("SELECT id, make FROM sets WHERE key = ?", (key,)).fetchone()
        if found is None:
            return
        self._spell(found[0], [])
        self._db.execute("DELETE FROM sets WHERE id = ?", (found[0],))
        self._count_make(found[1], found[1], -1)
        self._db.execute("INSERT OR REPLACE INTO pending VALUES (?, '')", (key,))
        self.sets -= 1

    def put(self, entry: SetEntry) -> None:
        """Add a set, or bring it up to date."""
        found = self._db.execute("SELECT id, make FROM sets WHERE key = ?", (entry.key,)).fetchone()
        if found is None:
            set_id = 1 + (self._db.execute("SELECT max(id) FROM sets").fetchone()[0] or 0)
            self.sets += 1
        else:
            set_id = found[0]
            self._count_make(found[1], found[1], -1)
        row = t.set_row(set_id, entry)
        self._db.execute("INSERT OR REPLACE INTO sets VALUES (?,?,?,?,?,?,?,?,?,?,?,?,?)", row)
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
            raise IndexBroken(
                f"index: more than {k.MAX_ID} spellings were given out, a rebuild numbers them anew"
            )
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
            self._keys(t.make_hashes(name), ident)
        elif step:
            self._db.execute("UPDATE makes SET sets = max(0, sets + ?) WHERE id = ?", (step, found[0]))


def _widen(db: sqlite3.Connection, generation: Path, name: int) -> None:
    """A larger bit map under a new name: the book has outgrown the old one."""
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
    """Move pending texts into the words. A crash between the two commits is healed by doing it again."""
    from kb.index.words import fold_in

    db = t.connect(generation / files.KEYS)
    try:
        pending = db.execute("SELECT key, text FROM pending").fetchall()
        if not pending:
            return
        known = t.words_files(db)
        if name := files.damaged(generation / files.WORDS, known):
            raise IndexBroken(f"index file {name}: is not as it was written")
        words = fold_in(generation / files.WORDS, pending)
        written = files.crcs(generation / files.WORDS, known)
        db.execute("BEGIN IMMEDIATE")
        t.set_words_files(db, written)
        db.executemany("DELETE FROM pending WHERE key = ? AND text = ?", pending)
        t.set_meta(db, words=words)
        db.execute("COMMIT")
    finally:
        db.close()


def problems(generation: Path) -> list[str]:
    """What a full check finds: damage of the file, rows without keys, words that cannot be read."""
    out: list[str] = []
    try:
        db = t.connect(generation / files.KEYS)
        try:
            db.execute("BEGIN")
            meta = t.meta(db)
            if meta.get("format") != t.FORMAT:
                return [f"index format: saw {meta.get('format')}, expected {t.FORMAT}"]
            out += [
                f"index file: {row[0]}" for row in db.execute("PRAGMA integrity_check(5)") if row[0] != "ok"
            ]
            bits = k.Bits(generation / f"bits-{meta['bits']}")
            try:
                out += _unreachable(db, bits)
            finally:
                bits.close()
            known = t.words_files(db)
            sets = db.execute("SELECT count(*) FROM sets").fetchone()[0]
            if sets != meta["sets"]:
                out.append(f"index: saw {sets} sets, expected {meta['sets']}")
        finally:
            db.close()
    except (sqlite3.DatabaseError, OSError, ValueError, KeyError, IndexBroken) as error:
        return [*out, f"index: cannot be read ({error})"]
    if meta["words"]:
        from kb.index.words import WordSearcher

        if name := files.damaged(generation / files.WORDS, known):
            return [*out, f"index file {name}: is not as it was written"]
        try:
            searcher = WordSearcher(generation / files.WORDS, meta["words"], {})
            searcher.read_all()
            searcher.close()
        except IndexBroken as error:
            out.append(str(error))
    return out


def _unreachable(db: sqlite3.Connection, bits: k.Bits) -> list[str]:
    """Sets that no query could find, the first few."""
    out = []
    for ident, make, model in db.execute("SELECT id, make, model FROM spelling"):
        hashes = t.key_hashes(model)
        keys = k.packed(hashes, ident)
        held = db.execute(
            "SELECT count(*) FROM keys WHERE key IN (SELECT value FROM json_each(?))", (str(keys),)
        ).fetchone()[0]
        if held != len(keys) or len(bits.keep(hashes)) != len(hashes):
            out.append(f"index: {make} {model} cannot be found by its keys")
            if len(out) == 5:
                break
    return out
