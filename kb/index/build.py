"""Build a whole index from nothing in bounded memory.

Rows are written as they come. Keys are spread over files by their upper bits, and each file is then sorted
and written in order: the B-tree grows at its right edge only, and no more than one file is in memory.
"""

from __future__ import annotations

import os
import sqlite3
from array import array
from collections.abc import Callable, Iterable
from pathlib import Path

from kb.index import keys as k
from kb.index import tables as t
from kb.index.entry import SetEntry
from kb.index.layout import KEYS, WORDS, crcs, private_opener
from kb.index.normalize import normalise

_PARTS = 64
_BATCH = 2_000
_SPILL = 1 << 20  # keys in memory before they go to their files


class _Keys:
    """Keys on their way into the table."""

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
                with open(path, "ab", opener=private_opener) as file:
                    part.tofile(file)
                self.count += len(part)
                del part[:]
        self._held = 0

    def write(self, db: sqlite3.Connection, bits: k.Bits) -> None:
        """Into the table and the bit map, in order."""
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
    db = t.connect(folder / KEYS, create=True)
    try:
        db.execute("PRAGMA journal_mode=OFF")  # a crash leaves a folder that was never in force
        db.execute("PRAGMA synchronous=OFF")
        db.executescript(t.SCHEMA)
        db.execute("BEGIN")
        keys = _Keys(folder)
        words = _Words(folder / WORDS)
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
        t.set_words_files(db, crcs(folder / WORDS))
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
        db.executemany("INSERT INTO sets VALUES (?,?,?,?,?,?,?,?,?,?,?,?,?)", sets)
        db.executemany("INSERT INTO spelling VALUES (?,?,?,?,?,?,?)", rows)
        if progress is not None:
            progress(count)
    for ident, (make, (number, shown)) in enumerate(makes.items(), 1):
        db.execute("INSERT INTO makes VALUES (?,?,?,?)", (ident, make, number, shown))
        keys.add(k.packed(t.make_hashes(make), ident))
    return count


class _Words:
    """The words of a new generation; Whoosh is imported with the first set that has text."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._writer: object | None = None

    def add(self, entry: SetEntry) -> None:
        document = t.dump_text(entry)
        if not document:
            return
        from kb.index.words import BulkWriter

        if not isinstance(self._writer, BulkWriter):
            self._writer = BulkWriter(self._folder)
        self._writer.add(entry.key, document)

    def finish(self, revision: int) -> int:
        """The generation of the words, 0 where there are none."""
        if self._writer is None:
            return 0
        from kb.index.words import BulkWriter

        assert isinstance(self._writer, BulkWriter)
        return self._writer.finish(revision)
