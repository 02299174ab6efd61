"""The open book: what is known of a set, which set is meant, how is it connected?

One object ties store, index and evidence together:

    with Book.open(home) as book:
        book.record(visits)
        found = book.find("nv40-210")

The store is opened only when something has to be read from or written to it: ``find`` answers from the index
alone, the check that the index has missed nothing included.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, Self, TypeVar

from kb.errors import BookTrouble, JackfieldError, NotFound
from kb.settings import BOOK, Settings, load
from kb.words import DriverInput, Kind

# A cold ``find`` comes through here: what it does not need is imported where it is used.
if TYPE_CHECKING:
    from kb.evidence import Evidence
    from kb.index import Answer, Index, Reader, SetEntry
    from kb.panel import Panel, PanelJack
    from kb.path import Chance, Connection
    from kb.store import Recorded, Snapshot, Store
    from kb.store.peek import Standing
    from kb.visit import Source, Visit

#: So many sets, or so many for each visit, may have changed before evidence of others is learned anew.
_FEW_SETS: Final = 20
_FEW_SHARE: Final = 0.01

T = TypeVar("T")

#: Called with how many of how many sets are done.
Progress = Callable[[int, int], None]


@dataclass(frozen=True, slots=True)
class FoundSet:
    """One set that may be meant. ``best`` is the way to connect it to the usual driver, None where there
    is none; ``score`` (0..1) and ``how`` are those of ``kb.index``."""

    make: str
    model: str
    kind: str
    score: float
    how: str
    findings: int
    best: dict[str, Any] | None
    snippet: str


@dataclass(frozen=True, slots=True)
class Found:
    """The answer to one query, best match first."""

    query: str
    matches: tuple[FoundSet, ...]
    did_you_mean: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class SetView:
    """All that is known of one set."""

    source: Source
    panel: Panel
    visits: tuple[Visit, ...]


class Book:
    """The store with what is derived from it. Made by ``Book.open``."""

    def __init__(self, home: Path, store_url: str | None, progress: Progress | None) -> None:
        self.home = home
        self._url = store_url
        self._progress = progress
        self.behind = ""
        """Why the index could not be brought up to date, where it lags; answers then are older ones."""

    @classmethod
    def open(cls, home: Path, store: str | None = None, progress: Progress | None = None) -> Self:
        """The book in ``home``, or the shared one at the URL ``store``; made when it is first written to.

        ``progress`` is told when the index has to be made anew. Raises BookTrouble where the book cannot be
        read, BadInput where the settings are wrong.
        """
        return cls(home, store, progress)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Close what was opened."""
        for part in ("store", "index"):
            if part in self.__dict__:
                self.__dict__.pop(part).close()

    @property
    def path(self) -> Path:
        """The file of the user's own book."""
        return self.home / BOOK

    @cached_property
    def settings(self) -> Settings:
        """What the user usually carries."""
        return load(self.home)

    @cached_property
    def store(self) -> Store:
        """The store, opened when first used. Raises BookTrouble where there is no book yet."""
        return self._opened(create=False)

    def store_to_write(self) -> Store:
        """The store; a book is made where there is none yet."""
        if "store" not in self.__dict__:
            self.__dict__["store"] = self._opened(create=True)
        return self.store

    def _opened(self, *, create: bool) -> Store:
        from kb.store import Store

        return Store.open(self._url or self.path, create=create)

    @cached_property
    def index(self) -> Index:
        """The index of this store on this machine, as it is on disk."""
        from kb.index import Index

        return Index.open(self._derived)

    @property
    def _derived(self) -> Path:
        """Where this machine keeps what follows from this store."""
        # A folder of its own for each store: what belongs to one book never answers for another.
        if self._url is None:
            return self.home / "index" / "own"
        import hashlib

        return self.home / "index" / hashlib.sha256(self._url.encode()).hexdigest()[:16]

    # -- writing ---------------------------------------------------------------------------------------

    def record(self, visits: Sequence[Visit]) -> Recorded:
        """Add visits, all or none; they are on the disk when this returns.

        Raises BadInput where an id is there with other content, BookTrouble where the book cannot be written.
        """
        recorded = self.store_to_write().record(visits)
        self._tell_index()
        return recorded

    def change(self, work: Callable[[Store], T]) -> T:
        """Do something else to the store, and give the index what is new, as ``record`` does."""
        done = work(self.store_to_write())
        self._tell_index()
        return done

    def _tell_index(self) -> None:
        # What was acknowledged stays so, whatever goes wrong with what is derived from it: what the index
        # misses now it catches up at the next question.
        with suppress(Exception):
            self.catch_up()

    # -- one set ---------------------------------------------------------------------------------------

    def visits(self, make: str, model: str) -> list[Visit]:
        """The visits to a set that stand; empty where nobody met it."""
        if self._standing() is None:
            return []
        from kb.visit import set_key

        return self.store.visits_of(set_key(make, model))

    def panel(self, visits: Sequence[Visit]) -> Panel:
        """What these visits together say of the panel."""
        from kb.panel import reconcile

        return reconcile(visits)

    def view(self, make: str, model: str | None = None) -> SetView:
        """All that is known of a set; raises NotFound, naming the nearest sets, where nobody met it.

        ``make`` alone may be the model, where it means one set only.
        """
        from kb.panel import reconcile, source_of
        from kb.visit import set_key

        asked = f"{make} {model}" if model else make
        if model is None:
            exact = [one for one in self.find(make, limit=2).matches if one.how == "exact"]
            if len(exact) > 1:
                names = " or ".join(f"{one.make} {one.model}" for one in exact)
                raise NotFound(f"{make} may be {names}: say the make too")
            make, model = (exact[0].make, exact[0].model) if exact else ("", make)
        visits = self.visits(make, model)
        if not visits:
            raise NotFound(f"nobody met {asked} yet{self._instead(asked)}")
        source = source_of(visits)
        if len({visit.source.key for visit in visits}) > 1:
            with self.store.snapshot() as now:
                source = _kept_name(source, now.spellings.kept(set_key(make, model)), visits)
        return SetView(source, reconcile(visits), tuple(visits))

    def connect(
        self,
        panel: Panel,
        source: Source | None = None,
        *,
        inputs: Sequence[DriverInput] = (),
        speakers_needed: bool = True,
        have: Sequence[str] = (),
        length_m: float = 1.5,
    ) -> Connection:
        """How to connect a panel to the usual driver, or to one with ``inputs``.

        Raises BadInput where an item is unknown or the length is none.
        """
        from kb.path import connect

        return connect(
            panel,
            inputs or self.settings.inputs,
            kind=source.kind if source else Kind.TELEVISION,
            display=source.display if source else None,
            year=source.year if source else None,
            speakers_needed=speakers_needed,
            have=have,
            length_m=length_m,
            chance=self.chance(source) if source else None,
        )

    # -- evidence --------------------------------------------------------------------------------------

    def evidence(self) -> Evidence:
        """What all findings say, the last one included; learned anew where the book has changed since.

        Raises BookTrouble where the book cannot be read.
        """
        from kb.evidence import Evidence

        if self._standing() is None:
            return Evidence.learn(())
        stands, kept = self._kept_evidence()
        return kept if kept and stands == self._standing() else self._learn()

    def chance(self, source: Source) -> Callable[[PanelJack], Chance]:
        """How likely a jack of this source carries sound: its own findings, backed off to its family, make
        and era, and to all.

        What is told of other sets may be some visits behind, so that recording does not make every look-up
        learn anew; what is told of this set never is.
        """
        from kb.path import Chance, own_chance

        evidence, changed = self._evidence_nearly(source.key)
        # A set with findings that the evidence has not seen is a stranger to it, and brings its own trials.
        known = replace(source, model="") if changed else source

        def of_jack(jack: PanelJack) -> Chance:
            found = evidence.chance(known, jack) if jack.jack.usable else own_chance(jack)
            return Chance(found.p, found.low, found.high, jack.findings)

        return of_jack

    def cases(self) -> list[Any]:
        """Faults that mending confirmed, as ``kb.isolate.confirmed_from`` takes them."""
        if self._standing() is None:
            return []
        with self.store.snapshot() as now:
            return [json.loads(body) for body in now.cases()]

    def _evidence_nearly(self, key: str) -> tuple[Evidence, bool]:
        """Evidence that has seen nearly all of the book, and whether the set ``key`` changed since."""
        from kb.evidence import Evidence

        now = self._standing()
        if now is None:
            return Evidence.learn(()), True
        stands, kept = self._kept_evidence()
        if kept is None or stands is None:
            return self._learn(), False
        if stands == now:
            return kept, False
        with self.store.snapshot() as book:
            if not book.follows(stands):
                return self._learn(), False
            changed = set(book.sets_changed_since(stands.revision))
        if len(changed) > max(_FEW_SETS, kept.visits * _FEW_SHARE):
            return self._learn(), False
        return kept, key in changed

    def _kept_evidence(self) -> tuple[Standing | None, Evidence | None]:
        """What was learned last on this machine, and how the book stood then."""
        from kb.evidence import Evidence
        from kb.store.peek import Standing

        try:
            data = json.loads(self._evidence_file.read_text(encoding="utf-8"))
            return Standing(*data["standing"]), Evidence.from_dict(data["evidence"])
        except (OSError, ValueError, KeyError, TypeError, BookTrouble):
            return None, None  # derived data: learned anew

    def _learn(self) -> Evidence:
        from kb.evidence import Evidence
        from kb.whole import write_mine

        with self.store.snapshot() as book:
            evidence = Evidence.learn(visit for _, visits in book.visits_of_sets() for visit in visits)
            data = {"standing": book.standing, "evidence": evidence.to_dict()}
        with suppress(OSError):  # a folder that cannot be written to: learned anew next time
            write_mine(self._evidence_file, json.dumps(data).encode())
        return evidence

    @property
    def _evidence_file(self) -> Path:
        return self._derived / "evidence.json"

    def _instead(self, asked: str) -> str:
        try:
            found = self.find(asked, limit=3)
        except JackfieldError:
            return ""
        names = [f"{one.make} {one.model}" for one in found.matches] or [
            " ".join(n) for n in found.did_you_mean
        ]
        return f"; near it: {', '.join(names)}" if names else ""

    # -- finding ---------------------------------------------------------------------------------------

    def find(self, query: str, limit: int = 10) -> Found:
        """Which sets may be meant, best first. Raises BadInput where the query is none."""
        from kb.index import IndexBroken

        if not self._fresh():
            return Found(query, ())
        try:
            return self._found(self.index.find(query, limit=limit))
        except IndexBroken:  # damage that shows only now: made anew, once
            self.reindex()
            return self._found(self.index.find(query, limit=limit))

    @contextmanager
    def searcher(self) -> Iterator[Searcher]:
        """Many queries at one revision, with everything kept open."""
        searcher = Searcher(self, self.index.reader() if self._fresh() else None)
        try:
            yield searcher
        finally:
            searcher.close()

    def _found(self, answer: Answer) -> Found:
        return Found(
            answer.query,
            tuple(
                FoundSet(
                    make=one.make,
                    model=one.model,
                    kind=one.kind,
                    score=one.score,
                    how=one.how,
                    findings=one.findings,
                    best=self._best(one.key, one.best),
                    snippet=one.snippet,
                )
                for one in answer.matches
            ),
            answer.did_you_mean,
        )

    def _best(self, key: str, kept: str) -> dict[str, Any] | None:
        """The way to the usual driver: from the index where it was made for the same inputs."""
        known: dict[str, Any] = json.loads(kept) if kept else {}
        if known.get("inputs") != list(self.settings.inputs):
            from kb.panel import reconcile, source_of

            visits = self.store.visits_of(key)
            known = self._best_of(reconcile(visits), source_of(visits))
        best: dict[str, Any] | None = known["best"]
        return best

    def _best_of(self, panel: Panel, source: Source) -> dict[str, Any]:
        from kb.path import best_to_json, connect

        found = connect(
            panel, self.settings.inputs, kind=source.kind, display=source.display, year=source.year
        )
        best = best_to_json(found)
        return {"inputs": list(self.settings.inputs), "best": best}

    # -- keeping the index up to date --------------------------------------------------------------------

    def _standing(self) -> Standing | None:
        """How the book stands, without SQLAlchemy where it is a file; None where nothing was recorded yet."""
        if self._url is not None:
            return self.store.standing()
        from kb.store.peek import standing

        try:
            for place, kind in ((self.home, "a folder"), (self.path, "a file")):
                if place.is_symlink() and not place.exists():
                    raise BookTrouble(f"{place}: a link to nothing, expected {kind}")
            if self.home.exists() and not self.home.is_dir():
                raise BookTrouble(f"{self.home}: no folder, expected the folder of a book")
            there = self.path.exists()
        except OSError as problem:
            raise BookTrouble(f"{self.home}: cannot be looked into ({problem.strerror})") from problem
        return standing(self.path) or (self.store.standing() if there else None)

    def _seen(self) -> Standing | None:
        """How the book stood when the index last took something in; None where the index is of no use."""
        from kb.store.peek import Standing

        revision = self.index.revision
        if revision is None:
            return None
        book, _, mark = self.index.mark.partition("/")
        return Standing(book, revision, mark)

    def _fresh(self) -> bool:
        """Bring the index up to date where it is not; False where there is no book yet."""
        stands = self._standing()
        if stands is None:
            return False
        if self._seen() != stands:
            try:
                self.catch_up()
            except BookTrouble as trouble:
                if self._seen() is None:
                    raise
                self.behind = str(trouble)  # an index that lags is better than none
        return True

    def catch_up(self) -> None:
        """Give the index what it has missed; make it anew where it cannot tell what that is."""
        index = self.index
        # Under the writer's lock: what is computed from what the index has seen holds when it is written.
        with index.writing(), self.store.snapshot() as now:
            seen, stands = self._seen(), now.standing
            if seen == stands:
                return
            if seen is None or not now.follows(seen):
                self._rebuild(now)
                return
            entries, gone = [], []
            for key, visits in now.visits_of_sets(now.sets_changed_since(seen.revision)):
                if visits:
                    entries.append(self._entry(key, visits))
                else:
                    gone.append(key)
            index.update(entries, gone, stands.revision, _mark(stands))

    def reindex(self) -> None:
        """Make the index anew from the store."""
        with self.index.writing(), self.store.snapshot() as now:
            self._rebuild(now)

    def _rebuild(self, now: Snapshot) -> None:
        tell = self._progress
        total = now.counts().sets if tell else 0
        self.index.rebuild(
            (self._entry(key, visits) for key, visits in now.visits_of_sets()),
            now.revision,
            _mark(now.standing),
            progress=(lambda done: tell(done, total)) if tell else None,
        )

    def _entry(self, key: str, visits: list[Visit]) -> SetEntry:
        """What the index holds of a set."""
        from kb.index import SetEntry
        from kb.panel import reconcile, source_of

        source, panel = _kept_name(source_of(visits), key, visits), reconcile(visits)
        years = sorted(visit.source.year for visit in visits if visit.source.year)
        names = dict.fromkeys((visit.source.make, visit.source.model) for visit in visits)
        signals = (one.jack.signal.value for one in panel.jacks if one.jack.usable and one.jack.signal)
        outcomes = (outcome.value for one in panel.jacks for outcome, _ in one.outcomes)
        return SetEntry(
            key=key,
            make=source.make,
            model=source.model,
            kind=source.kind.value,
            findings=sum(one.findings for one in panel.jacks),
            visits=len(visits),
            years=(years[0], years[-1]) if years else (None, None),
            signals=tuple(dict.fromkeys(signals)),
            outcomes=tuple(dict.fromkeys(outcomes)),
            best=json.dumps(self._best_of(panel, source)),
            aliases=tuple(name for name in names if name != (source.make, source.model)),
            text=tuple(_texts(panel, visits)),
        )


class Searcher:
    """Many queries with one reader; made by ``Book.searcher``."""

    def __init__(self, book: Book, reader: Reader | None) -> None:
        self._book = book
        self._reader = reader

    def find(self, query: str, limit: int = 10) -> Found:
        """As ``Book.find``."""
        from kb.index import IndexBroken

        if self._reader is None:
            return Found(query, ())
        try:
            return self._book._found(self._reader.find(query, limit=limit))
        except IndexBroken:  # damaged, or another process made it anew meanwhile
            self.close()
            self._book._fresh()
            self._reader = self._book.index.reader()
            return self._book._found(self._reader.find(query, limit=limit))

    def close(self) -> None:
        """Give the reader back."""
        if self._reader is not None:
            self._reader.close()
            self._reader = None


def _kept_name(source: Source, key: str, visits: Sequence[Visit]) -> Source:
    """Of a set with merged spellings: the source under the name that is kept, as most visits spell it."""
    if source.key == key or not any(visit.source.key == key for visit in visits):
        return source
    from kb.panel import source_of

    kept = source_of(visit for visit in visits if visit.source.key == key)
    return replace(source, make=kept.make, model=kept.model)


def _mark(stands: Standing) -> str:
    return f"{stands.book}/{stands.mark}"


def _texts(panel: Panel, visits: Sequence[Visit]) -> Iterator[tuple[str, str]]:
    """The texts of a set by field, each once."""
    for one in panel.jacks:
        if one.jack.marking:
            yield "marking", one.jack.marking
        yield from (("setting", setting) for setting in one.settings)
        yield from (("note", note) for note in one.notes)
    yield from (("note", note) for note in dict.fromkeys(visit.note for visit in visits) if note)
