"""Open the book with what is derived from it: the one object that command line and page use.

The store is opened only when something has to be read from or written to it: ``find`` answers from the index
alone, the check that the index has missed nothing included.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import replace
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any, Self, TypeVar

from kb.base.errors import BookTrouble, JackfieldError, NoBookYet, NotFound, why_of
from kb.base.messages import Said, Wording, either
from kb.base.parsing import stored_json
from kb.base.progress import Progress
from kb.book.answers import Found, Searcher, SetView, found
from kb.domain.words import DriverInput, Kind
from kb.settings import BOOK, INDEX, Settings, load

# A cold ``find`` comes through here: what it does not need is imported where it is used.
if TYPE_CHECKING:
    from kb.book.jobs import Jobs
    from kb.book.learned_evidence import Learned
    from kb.book.naming import Named
    from kb.domain.chance import Chance
    from kb.domain.panel import Panel, PanelJack
    from kb.domain.visit import Source, Visit
    from kb.evidence import Evidence, Expectation
    from kb.index import Answer, Index, Reader
    from kb.path import Connection
    from kb.store import Recorded, Store
    from kb.store.revision import Standing
    from kb.store.snapshot import Snapshot
    from kb.store.states import State

T = TypeVar("T")


def derived(home: Path, store: str | None = None) -> Path:
    """The folder where this machine keeps what follows from a book: index and evidence."""
    # A folder of its own for each store: what belongs to one book never answers for another.
    if store is None:
        return home / INDEX / "own"
    import hashlib

    return home / INDEX / hashlib.sha256(store.encode()).hexdigest()[:16]


class Book:
    """The store with what is derived from it. Made by ``Book.open``."""

    def __init__(
        self,
        home: Path,
        store_url: str | None,
        progress: Progress | None,
        learning: Progress | None,
        learned: Learned | None,
    ) -> None:
        self.home = home
        self._url = store_url
        self._progress = progress
        self._learning = learning
        if learned is not None:
            self.__dict__["learned"] = learned
        self.behind: Wording = ""
        """Why the index could not be brought up to date, where it lags; answers then are older ones."""
        self.begun = False
        """Did this object make the file of a new book?"""

    @classmethod
    def open(
        cls,
        home: Path,
        store: str | None = None,
        progress: Progress | None = None,
        learning: Progress | None = None,
        learned: Learned | None = None,
    ) -> Self:
        """The book in ``home``, or the shared one at the URL ``store``; made when it is first written to.

        ``progress`` is called while the index is rebuilt, ``learning`` while all findings are learned
        from; ``learned`` may be shared by several books of one process. Raises BookTrouble if the book
        cannot be read, BadInput where the settings are wrong.
        """
        return cls(home, store, progress, learning, learned)

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
        """The store, opened when first used. Raises BookTrouble if there is no book yet."""
        return self._opened(create=False)

    def store_to_write(self) -> Store:
        """The store; a book is made if there is none yet."""
        if "store" not in self.__dict__:
            self.begun = self._url is None and not self.path.exists()
            self.__dict__["store"] = self._opened(create=True)
        return self.store

    @property
    def has_written(self) -> bool:
        """Has this object committed anything to the store?"""
        return "store" in self.__dict__ and self.store.writings > 0

    def _opened(self, *, create: bool) -> Store:
        from kb.store import Store

        return Store.open(self._url or self.path, create=create)

    @cached_property
    def index(self) -> Index:
        """The index of this store on this machine, as it is on disk."""
        from kb.index import Index

        return Index.open(derived(self.home, self._url))

    @cached_property
    def learned(self) -> Learned:
        """What was learned from all findings, as it is kept on this machine."""
        from kb.book.learned_evidence import Learned

        return Learned(derived(self.home, self._url), progress=self._learning)

    # -- writing ---------------------------------------------------------------------------------------

    def record(self, visits: Sequence[Visit]) -> Recorded:
        """Add visits, all or none; they are on the disk when this returns.

        Raises BadInput if an id is there with other content, BookTrouble where the book cannot be written.
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
        """The valid visits to a set; empty if nobody met it."""
        from kb.domain.visit import set_key

        key = set_key(make, model)
        if self._url is None and "store" not in self.__dict__:
            from kb.store.one_set import visits_of

            quickly = visits_of(self.path, key)
            if quickly is not None:
                return quickly
        return [] if self.standing() is None else self.store.visits_of(key)

    def states(self, kind: str) -> dict[str, State]:
        """The present states of the private things of a kind, by their names."""
        if self._url is None and "store" not in self.__dict__:
            from kb.store.states import states

            quickly = states(self.path, kind)
            if quickly is not None:
                return quickly
        if self.standing() is None:
            return {}
        with self.store.snapshot() as now:
            return now.states(kind)

    def view(self, make: str, model: str | None = None) -> SetView:
        """All that is known of a set; raises NotFound, naming the nearest sets, where nobody met it.

        ``make`` alone may be the model, where it means one set only.
        """
        asked = f"{make} {model}" if model else make
        if model is None:
            exact = [one for one in self.find(make, limit=2).matches if one.how == "exact"]
            if len(exact) > 1:
                names = either(f"{one.make} {one.model}" for one in exact)
                raise NotFound(Said("error/say-the-make", model=make, sets=names))
            if not exact:
                raise self._nothing_but("error/no-model", "error/no-model-near", asked, model=asked)
            make, model = exact[0].make, exact[0].model
        if known := self.known(make, model):
            return known
        raise self._nothing_but("error/nobody-met", "error/nobody-met-near", asked, set=asked)

    def known(self, make: str, model: str) -> SetView | None:
        """All that is known of a set by its name; None if nobody met it. Nothing is searched for."""
        from kb.domain.panel import reconcile, source_of
        from kb.domain.visit import set_key

        visits = self.visits(make, model)
        if not visits:
            return None
        source = source_of(visits)
        if len({visit.source.key for visit in visits}) > 1:
            from kb.book.indexing import kept_name

            with self.store.snapshot() as now:
                source = kept_name(source, now.spellings.kept(set_key(make, model)), visits)
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
        shared: Sequence[DriverInput] = (),
    ) -> Connection:
        """How to connect a panel to the usual driver, or to one with ``inputs``.

        Another source uses the inputs in ``shared``.

        Raises BadInput for an unknown item or an invalid length.
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
            shared=shared,
            chance=self.chance(source) if source else None,
        )

    # -- evidence --------------------------------------------------------------------------------------

    def evidence(self) -> Evidence:
        """What all findings say, the last one included.

        If a few sets have changed since it was learned, these are counted again; else all is learned again.
        Raises BookTrouble if the book cannot be read.
        """
        from kb.evidence import Evidence

        now = self.standing()
        return Evidence.learn(()) if now is None else self.learned.exactly(lambda: self.store, now)

    def expect(self) -> Callable[[Source], Expectation]:
        """What is expected of a source, as ``Evidence.expect``; another spelling of a set is that set."""
        evidence = self.evidence()
        empty = self.standing() is None

        def of(source: Source) -> Expectation:
            from kb.book.learned_evidence import named

            # A set that evidence knows goes by its kept spelling: the store is opened for others only.
            if not (empty or evidence.knows(source)) and source.make and source.model:
                with self.store.snapshot() as book:
                    kept = book.spellings.kept(source.key)
                    if kept != source.key and (visits := named(kept, book.visits_of(kept))):
                        last = visits[-1].source
                        source = replace(source, make=last.make, model=last.model)
            return evidence.expect(source)

        return of

    def named(self, sources: Sequence[Source]) -> list[Named]:
        """The sets that a person means by make, model or both, resolved as ``find`` does."""
        from kb.book.naming import Named, named

        if self.standing() is None:
            return [Named(source) for source in sources]
        with self.searcher() as searcher:
            return [
                named(one, searcher.find, searcher.make_of, lambda it: bool(self.visits(it.make, it.model)))
                for one in sources
            ]

    def chance(self, source: Source) -> Callable[[PanelJack], Chance]:
        """How likely a jack of this source carries sound: its own findings, then family, make, era.

        The answer may be some visits behind for other sets, so that recording does not make every look-up
        learn again; for this set it never is.
        """
        from kb.evidence import Evidence

        now = self.standing()
        if now is None:
            evidence = Evidence.learn(())
        else:
            evidence = self.learned.nearly(lambda: self.store, now, source.key)

        def of_jack(jack: PanelJack) -> Chance:
            if jack.jack.usable:
                return evidence.chance(source, jack)._replace(findings=jack.findings)
            from kb.path import own_chance  # a cold ``show`` does without all that ranks paths

            return own_chance(jack)

        return of_jack

    def cases(self) -> list[str]:
        """Faults that mending confirmed, as JSON that ``kb.isolate.confirmed_from`` reads."""
        if self.standing() is None:
            return []
        with self.store.snapshot() as now:
            return list(now.cases())

    def _nothing_but(self, alone: str, with_near: str, asked: str, **values: str) -> NotFound:
        """The error of a key; of the second one with the names near to what was asked, if there are any."""
        try:
            found = self.find(asked, limit=3)
        except JackfieldError:
            return NotFound(Said(alone, **values))
        like = [(one.make, one.model) for one in found.matches if one.how != "text"]
        near = ", ".join(" ".join(name) for name in like or found.did_you_mean)
        return NotFound(Said(with_near, near=near, **values) if near else Said(alone, **values))

    # -- finding ---------------------------------------------------------------------------------------

    def find(self, query: str, limit: int = 10) -> Found:
        """The sets that may be meant, best first. Raises BadInput if the query is empty or invalid."""
        from kb.index import IndexBroken

        if not self._fresh():
            return Found(query, ())
        try:
            return self._found(self.index.find(query, limit=limit))
        except IndexBroken:  # damage that shows only now: rebuilt, once
            self.reindex()
            return self._found(self.index.find(query, limit=limit))

    @contextmanager
    def searcher(self) -> Iterator[Searcher]:
        """Many queries at one revision, with everything kept open."""

        def reopened() -> Reader:
            self._fresh()
            return self.index.reader()

        searcher = Searcher(self.index.reader() if self._fresh() else None, self._found, reopened)
        try:
            yield searcher
        finally:
            searcher.close()

    def _found(self, answer: Answer) -> Found:
        return found(answer, self._best)

    def _best(self, key: str, kept: str) -> dict[str, Any] | None:
        """The way to the usual driver: from the index where it was made for the same inputs."""
        known: dict[str, Any] = stored_json(kept, "index") if kept else {}
        if known.get("inputs") != list(self.settings.inputs):
            from kb.book.indexing import best_of
            from kb.domain.panel import reconcile, source_of

            visits = self.store.visits_of(key)
            known = best_of(reconcile(visits), source_of(visits), self.settings.inputs)
        best: dict[str, Any] | None = known["best"]
        return best

    # -- keeping the index up to date --------------------------------------------------------------------

    @property
    def is_shared(self) -> bool:
        """Is it a book at a URL, which others use too?"""
        return self._url is not None

    @cached_property
    def jobs(self) -> Jobs:
        """The jobs of this book."""
        from kb.book.jobs import Jobs

        return Jobs(self)

    def standing(self) -> Standing | None:
        """The book's state, without SQLAlchemy if it is a file; None if nothing was recorded yet."""
        if self._url is not None:
            try:
                return self.store.standing()
            except NoBookYet:
                return None
        from kb.store.revision import standing

        there = self._is_there()
        return standing(self.path) or (self.store.standing() if there else None)

    @contextmanager
    def as_it_is(self) -> Iterator[Snapshot | None]:
        """The book at one revision, without writing anything; None if nothing was recorded yet.

        Raises BookTrouble if the book cannot be read, or is of an older format and so has to be upgraded.
        """
        from kb.store import Store

        store = None
        if self._url is not None or self._is_there():
            with suppress(NoBookYet):
                store = Store.open(self._url or self.path, create=False, upgrade=False)
        if store is None:
            yield None
            return
        with store, store.snapshot() as now:
            yield now

    def _is_there(self) -> bool:
        """Is there a file of a book? Raises BookTrouble where none can be."""
        try:
            for place, kind in ((self.home, "a folder"), (self.path, "a file")):
                if place.is_symlink() and not place.exists():
                    raise BookTrouble(Said("error/broken-link", place=place, expected=kind))
            if self.home.exists() and not self.home.is_dir():
                raise BookTrouble(Said("error/not-a-home", place=self.home))
            return self.path.exists()
        except OSError as problem:
            raise BookTrouble(
                Said("error/cannot-be-opened", place=self.home, why=why_of(problem))
            ) from problem

    def indexed(self) -> Standing | None:
        """The book's state when the index last took something in; None if the index is unusable."""
        from kb.store.revision import Standing

        revision = self.index.revision
        if revision is None:
            return None
        book, _, mark = self.index.mark.partition("/")
        return Standing(book, revision, mark)

    def _fresh(self) -> bool:
        """Bring the index up to date where it is not; False if there is no book yet."""
        stands = self.standing()
        if stands is None:
            return False
        if self.indexed() != stands:
            try:
                self.catch_up()
            except BookTrouble as trouble:
                if self.indexed() is None:
                    raise
                self.behind = trouble.said  # an index that lags is better than none
        return True

    def catch_up(self) -> None:
        """Give the index what it has missed; rebuild it if it cannot tell what that is."""
        from kb.book.indexing import catch_up

        # Under the writer's lock: what is computed from what the index has seen holds when it is written.
        with self.index.writing(), self.store.snapshot() as now:
            catch_up(self.index, self.indexed(), now, self.settings.inputs, self._progress)

    def reindex(self) -> None:
        """Rebuild the index from the store."""
        from kb.book.indexing import rebuild

        with self.index.writing(), self.store.snapshot() as now:
            rebuild(self.index, now, self.settings.inputs, self._progress)
