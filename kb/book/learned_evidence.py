"""Keep what was learned from all findings, know how far it is behind, and learn it again.

Evidence is derived from the whole book, so it is learned seldom and kept in one file of this machine, next to
the index. Any number of processes may write that file, each whole or not at all; it says how the book stood
when it was learned, and is read again only when it has changed. One ``Learned`` may serve the books of many
threads.

``nearly`` is for questions about one set: it may be some visits behind for *other* sets, so that
recording does not make every look-up learn again; for the set itself it never is.
"""

from __future__ import annotations

import json
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Final, NamedTuple
from zlib import crc32

from kb.base.atomic import write_mine
from kb.base.errors import BadInput, BookTrouble
from kb.base.messages import Said
from kb.base.parsing import json_of
from kb.evidence import Evidence
from kb.store.revision import Standing

if TYPE_CHECKING:
    from kb.domain.visit import Visit
    from kb.store import Snapshot, Store

#: So many sets, or so many for each visit, may have changed before evidence of others is learned again. A
#: small book is learned again sooner: that takes little time there, and a few sets decide much.
FEW_SETS: Final = 20
FEW_SHARE: Final = 0.01
FEW_SHARE_OF_A_SMALL_BOOK: Final = 0.1

FILE: Final = "evidence.jsonl"

#: The store, opened where it has to be asked: a cold look-up that finds all learned never does.
Opened = Callable[[], "Store"]

#: Called with how much of how much of the learning is done.
Progress = Callable[[int, int], None]

#: A function that gets the work of learning again and does it later, in a thread of its own.
Beside = Callable[["Learned"], None]


class Kept(NamedTuple):
    """What was learned, and the book's state then."""

    standing: Standing
    evidence: Evidence


def named(key: str, visits: Sequence[Visit]) -> list[Visit]:
    """The visits to a set under the spelling that is kept of it, whatever was written down at each."""
    if all(visit.source.key == key for visit in visits):
        return list(visits)
    kept = next((visit.source for visit in reversed(visits) if visit.source.key == key), None)
    make, model = (kept.make, kept.model) if kept else key.split("/", 1)
    return [
        visit
        if visit.source.key == key
        else replace(visit, source=replace(visit.source, make=make, model=model))
        for visit in visits
    ]


class Learned:
    """What was learned last of one book on this machine.

    With ``beside`` nobody waits for learning where something was learned before: it is called when ``nearly``
    finds too much changed, and the answer is what was learned before.
    """

    def __init__(self, folder: Path, beside: Beside | None = None, progress: Progress | None = None) -> None:
        self._file = folder / FILE
        self._beside = beside
        self._progress = progress
        self._learning = threading.Lock()
        self._reading = threading.Lock()
        #: How the file was when it was read or written, and what it held.
        self._known: tuple[tuple[int, ...] | None, Kept | None] = None, None

    def kept(self) -> Kept | None:
        """What was learned last, by whichever process; None if that is lost or of another version."""
        stamp = self._stamp()
        known = self._known  # read once: another thread may put in a new pair
        if known[0] != stamp:
            with self._reading:
                known = self._known
                if known[0] != stamp:
                    known = self._known = stamp, self._read()
        return known[1]

    def exactly(self, store: Opened, now: Standing) -> Evidence:
        """What all findings say, the last one included. Raises BookTrouble if the book cannot be read."""
        kept = self.kept()
        if kept is None:
            return self.learn(store())
        if kept.standing == now:
            return kept.evidence
        with store().snapshot() as book:
            changed = _changed(book, kept)
            if changed is not None and not _many(changed, kept):
                return _renewed(book, kept, changed)
        return self.learn(store())

    def nearly(self, store: Opened, now: Standing, set_key: str) -> Evidence:
        """What all findings of this set say, and all or nearly all of others. Raises as ``exactly``."""
        kept = self.kept()
        if kept is None:
            return self.learn(store())
        if kept.standing == now:
            return kept.evidence
        with store().snapshot() as book:
            changed = _changed(book, kept)
            evidence = kept.evidence
            if changed is not None and set_key in changed:
                evidence = _renewed(book, kept, {set_key})
        if changed is None or (_many(changed, kept) and self._beside is None):
            return self.learn(store())
        if _many(changed, kept) and self._beside:
            self._beside(self)
        return evidence

    def learn(self, store: Store) -> Evidence:
        """Learn again; of several threads that want it at once, one does it. Raises as ``exactly``."""
        with self._learning, store.snapshot() as book:
            kept = self.kept()
            if kept is None or kept.standing != book.standing:  # else another learned while this one waited
                kept = Kept(book.standing, self._learned(book))
                self._keep(kept)
        return kept.evidence

    def _learned(self, book: Snapshot) -> Evidence:
        """Reading all sets is about half of the work, and is reported as such."""
        tell = self._progress or (lambda _done, _total: None)
        sets = max(1, book.counts().sets) if self._progress else 1

        def read() -> Iterator[Visit]:
            for number, (key, visits) in enumerate(book.visits_of_sets(), 1):
                yield from named(key, visits)
                tell(number, 2 * sets)

        return Evidence.learn(read(), progress=lambda done, of: tell(sets * (of + done), 2 * sets * of))

    def _keep(self, kept: Kept) -> None:
        # A folder that cannot be written to: it is known as long as this process lives.
        with suppress(OSError):
            write_mine(self._file, _lines_of(kept))
        with self._reading:
            # Should another process have put its own there by now, only what it learned is missed: how the
            # book stood goes with what was learned, and is looked at by everybody who asks.
            self._known = self._stamp(), kept

    def _read(self) -> Kept | None:
        try:
            return _kept_in(self._file.read_bytes())
        except (OSError, ValueError, KeyError, TypeError, AttributeError, BadInput, BookTrouble):
            return None  # derived data: learned again

    def _stamp(self) -> tuple[int, ...] | None:
        """Each writing is a new file: number, time and size together tell two of them apart."""
        try:
            found = self._file.stat()
        except OSError:
            return None
        return found.st_ino, found.st_mtime_ns, found.st_size


def _lines_of(kept: Kept) -> bytes:
    """A line of JSON for all but the trees, then one for each tree, with checksums of these in the first."""
    data = kept.evidence.to_dict()
    trees = {name: json.dumps(data.pop(name)).encode() for name in kept.evidence.trees()}
    sums = {name: crc32(line) for name, line in trees.items()}
    first = {"standing": kept.standing, "trees": sums, "evidence": data}
    return b"\n".join((json.dumps(first).encode(), *trees.values()))


def _kept_in(content: bytes) -> Kept:
    """What ``_lines_of`` wrote. Checksums are compared now, since a tree is read when it is first asked."""
    first, *lines = content.split(b"\n")
    data = json_of(first.decode(), FILE)
    trees = {}
    for (name, known), line in zip(data["trees"].items(), lines, strict=True):
        if crc32(line) != known:
            raise BookTrouble(Said("error/damaged", place=FILE))
        trees[name] = partial(json_of, line.decode(), FILE)
    return Kept(Standing(*data["standing"]), Evidence.from_dict({**data["evidence"], **trees}))


def _changed(book: Snapshot, kept: Kept) -> set[str] | None:
    """Keys of the sets that changed since; None if the book is not the same that went on."""
    return set(book.sets_changed_since(kept.standing.revision)) if book.follows(kept.standing) else None


def _renewed(book: Snapshot, kept: Kept, changed: set[str]) -> Evidence:
    return kept.evidence.renewed({key: named(key, visits) for key, visits in book.visits_of_sets(changed)})


def _many(changed: set[str], kept: Kept) -> bool:
    visits = kept.evidence.visits
    return len(changed) > max(min(FEW_SETS, visits * FEW_SHARE_OF_A_SMALL_BOOK), visits * FEW_SHARE)
