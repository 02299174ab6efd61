"""Write findings into the book, without loss or duplicates.

    with Store.open("book.sqlite") as store:
        done = store.record(visits)      # acknowledged: on the disk

Every writing call is one transaction, all or nothing. It first takes the next revision under a lock, so the
order of revisions is the order of commits.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import asdict, dataclass, replace
from itertools import chain
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any, NamedTuple, Self, TypeVar

import sqlalchemy as sa
import uuid_utils

from kb.base import clock
from kb.base.errors import BadInput, BookTrouble, Interrupted, NotFound, inside, shown
from kb.base.messages import Said
from kb.domain.visit import Visit
from kb.store import bundles, counted, schema
from kb.store.content_id import is_sealed, sealed, sealed_id, without_private
from kb.store.failures import translated
from kb.store.places import WRITES, Place, place_of
from kb.store.revision import Standing
from kb.store.rows import ORDER, Rows, add_private_rows, add_rows, chunks, fingerprint, insert, load
from kb.store.same_row import Numbers
from kb.store.snapshot import Snapshot, reentered
from kb.store.upgrade import bring_up_to_date, refuse_other_format
from kb.store.withdrawn import taken_back, withdrawn

if TYPE_CHECKING:
    from kb.store.facts import Fact
    from kb.store.merging import Merged


T = TypeVar("T")


class RecordedVisit(NamedTuple):
    """Describe a visit that was added."""

    id: str
    make: str
    model: str


@dataclass(frozen=True, slots=True)
class Recorded:
    """Hold the result of ``record``: visits that were added, ids of those already there, the revision now."""

    recorded: tuple[RecordedVisit, ...]
    already: tuple[str, ...]
    revision: int
    completed: tuple[str, ...] = ()
    """Of those already there: known from another book, now with the private words of this one."""
    reinstated: tuple[str, ...] = ()
    """Of those already there: withdrawn, or taken back with a bundle, until now; they are in force again."""
    withdrawn: tuple[str, ...] = ()
    """Of those already there: withdrawn, and left so."""

    @property
    def first_id(self) -> str:
        """Return the id of the one visit that was given, whether it was added or there already."""
        return self.recorded[0].id if self.recorded else self.already[0]


class Store:
    """An open book. Close it, or use it in a ``with`` block.

    Every method raises BookTrouble if the book cannot be read or written; nothing is changed then.
    """

    def __init__(self, place: Place, engine: sa.Engine) -> None:
        self._place = place
        self._engine = engine
        self.writings = 0
        """Return how many transactions this object has committed."""

    @classmethod
    def open(cls, where: str | Path, *, create: bool = True, upgrade: bool = True) -> Self:
        """Open the book in a file, or at an SQLAlchemy URL (``sqlite:///FILE``,
        ``postgresql+psycopg://USER@HOST/NAME``).

        If nothing is there, a new book is made if ``create``; an older book is copied and upgraded, or
        refused with BookTrouble without ``upgrade``. Raises BadInput if ``where`` names
        no place, BookTrouble, BookTooNew.
        """
        place = place_of(where)
        with translated(place.shown):
            engine = place.engine(create=create)
        try:
            try:
                bring_up_to_date(engine, place, create=create, upgrade=upgrade)
            except Interrupted:  # it continues after its finished steps
                bring_up_to_date(engine, place, create=create, upgrade=upgrade)
        except BaseException:
            engine.dispose()
            raise
        return cls(place, engine)

    def close(self) -> None:
        """Close the book."""
        self._engine.dispose()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, problem: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    @property
    def place(self) -> str:
        """Return the book's place for messages, without a password."""
        return self._place.shown

    @property
    def writable(self) -> bool:
        """Return whether the book can be changed. A file may be read-only, and a server's standby is."""
        return self._place.writable

    # -- writing -----------------------------------------------------------------------------------

    def record(
        self,
        visits: Iterable[Visit],
        told: Callable[[Visit], None] | None = None,
        alike: Callable[[Visit], bool] | None = None,
        *,
        reinstate: bool = True,
    ) -> Recorded:
        """Add visits in one transaction; memory is bounded for any number.

        A visit without an id that equals one in the book word for word is already there (a file loaded
        twice). So is a visit whose id is there with the same content, or with the same shareable content if
        this copy has no private words. A visit with an id of its own is a fact by that id. A visit for which
        ``alike`` is true gets the id that every book gives to this shareable content (``kb.store.same_row``).
        If another book has shared it before, its private words are added. ``told`` gets each visit that is
        known already. If such a visit was withdrawn, it is in force again, unless ``reinstate`` is False. An
        exception of ``visits`` itself leaves the book as it was. Raises BadInput if an id is there with other
        content or a value fits no book.
        """
        recorded: list[RecordedVisit] = []
        already: list[str] = []
        completed: list[str] = []
        superseding: list[str] = []
        coming = chunks(visits)
        at = clock.moment()
        if (first := next(coming, None)) is None:
            return Recorded((), (), self.revision())
        with self._writing("record it again: a visit that is there already adds nothing") as writing:
            numbers = Numbers(writing.connection, alike or (lambda _: False))
            for some in chain([first], coming):
                rows: Rows = {table: [] for table in ORDER}
                for visit, seen, nonce, bare in _sorted_out(writing.connection, some, numbers):
                    if bare:
                        add_private_rows(rows, visit, seen=seen, at=at)
                        completed.append(visit.id)
                    if nonce is None:
                        already.append(visit.id)
                        if told:
                            told(visit)
                        continue
                    add_rows(rows, visit, revision=writing.revision, seen=seen, at=at, nonce=nonce)
                    recorded.append(RecordedVisit(visit.id, visit.source.make, visit.source.model))
                    superseding += [visit.id] if visit.supersedes else []
                insert(writing.connection, rows)
            _refuse_circles(writing.connection, superseding)
            bundles.keep(writing.connection, writing.revision, completed)
            gone = _not_in_force(writing.connection, already)
            back = [one for one in gone if reinstate and _stand_again(writing, one)]
            writing.keep = bool(recorded or completed or back)
        return Recorded(
            tuple(recorded),
            tuple(dict.fromkeys(already)),
            writing.revision,
            tuple(completed),
            tuple(back),
            () if reinstate else tuple(gone),
        )

    def alias(self, set_key: str, same_as: str) -> str:
        """Say that two spellings are one set, known as ``same_as`` from now on.

        Returns the id of the fact, for withdrawing it; "" if they are one set already.
        """
        with self._writing() as writing:
            book = Snapshot(writing.connection, self.place)
            ends = book.kept(set_key), book.kept(same_as)
            if ends[0] == ends[1]:
                return ""
            fact = sealed_id("alias", ends)
            row = {"id": fact, "revision": writing.revision, "set_key": ends[0], "same_as": ends[1]}
            if writing.connection.execute(sa.select(1).where(schema.alias.c.id == fact)).first():
                # An equal fact was withdrawn, or taken back with its bundle.
                bundles.keep(writing.connection, writing.revision, [fact])
                _declare(writing, fact, stands=True)
            else:
                writing.connection.execute(schema.alias.insert(), row)
            writing.keep = True
        return fact

    def withdraw(self, ids: Iterable[str]) -> tuple[str, ...]:
        """Withdraw visits, alias facts or released notes; returns those that were in force until now. Raises
        NotFound."""
        return self._declare_all(ids, stands=False)

    def reinstate(self, ids: Iterable[str]) -> tuple[str, ...]:
        """Put withdrawn visits, alias facts or notes in force again; returns those that were not. Raises
        NotFound."""
        return self._declare_all(ids, stands=True)

    def _declare_all(self, ids: Iterable[str], *, stands: bool) -> tuple[str, ...]:
        with self._writing() as writing:
            wanted = list(dict.fromkeys(ids))
            changed = [fact for fact in wanted if _declare(writing, fact, stands=stands)]
            # A visit entered again for sharing is one visit under two ids.
            twins = [_declare(writing, fact, stands=stands) for fact in _twins(writing.connection, wanted)]
            writing.keep = bool(changed) or any(twins)
        return tuple(changed)

    def merge(
        self,
        facts: Iterable[Fact],
        *,
        outside: bool,
        keep: bool = True,
        origin: bundles.Origin | None = None,
    ) -> Merged:
        """Add facts of another book in one transaction, in any order, any number of times.

        ``outside``: they come from another book, so each id must be made from its content. Without ``keep``
        nothing is written, only reported. ``origin`` says where they came from, so that they can be taken
        back; without it they count as made here. Raises BadInput; nothing is changed then.
        """
        from kb.store.merging import add_facts

        with self._writing("ask for it again: what is there already adds nothing") as writing:
            fresh = origin is not None and bundles.came_in(writing.connection, writing.revision, origin)
            again: list[str] | None = [] if fresh or origin is None else None
            merged = add_facts(
                writing.connection, facts, revision=writing.revision, outside=outside, again=again
            )
            if again:
                bundles.keep(writing.connection, writing.revision, again)
            if origin is not None and (fresh or merged.new):
                bundles.note(writing.connection, writing.revision, origin)
            turned = schema.bundle_turn
            back = sa.select(turned.c.bundle).where(turned.c.revision == writing.revision)
            merged.brought_back = writing.connection.execute(back).first() is not None
            writing.keep = keep and (merged.new > 0 or fresh or merged.brought_back)
        return merged

    def keep_states(self, work: Callable[[Snapshot], Mapping[tuple[str, str], str]]) -> int:
        """Give private things a new state in one transaction; return how many changed.

        ``work`` gets the book inside the transaction, so no other program can change a state between its
        reading and the writing. It returns the new JSON by (kind, name); an equal state is not written.
        """
        from kb.store.merging import state

        with self._writing() as writing:
            book = Snapshot(writing.connection, self.place)
            at = clock.moment()
            rows: list[dict[str, Any]] = []
            for (kind, about), body in work(book).items():
                now = book.states(kind, about).get(about)
                if now is None or now.body != body:
                    fact = state(kind, about, now.turn + 1 if now else 1, body, at)
                    rows.append({**asdict(fact), "revision": writing.revision})
            if rows:
                writing.connection.execute(schema.private_state.insert(), rows)
            writing.keep = bool(rows)
        return len(rows)

    def reenter(self) -> int:
        """Enter again the visits in force with a supplied id; return their number.

        They are read inside the transaction: another program may just have withdrawn or corrected one.
        """
        from kb.store.merging import add_facts, to_reenter

        with self._writing() as writing:
            facts = to_reenter(Snapshot(writing.connection, self.place))
            merged = add_facts(writing.connection, facts, revision=writing.revision, outside=False)
            writing.keep = merged.new > 0
        return merged.visits

    def turn_bundle(self, bundle: str, *, taken_back: bool) -> bool:
        """Take back a bundle's facts, or restore them; False if that is so already.

        ``bundle``: its full id. Raises BadInput if there is none.
        """
        with self._writing() as writing:
            one = bundles.named(Snapshot(writing.connection, self.place), bundle)
            if one.taken_back is taken_back:
                return False
            bundles.turn(writing.connection, writing.revision, one.revisions)
            writing.keep = True
        return True

    @contextmanager
    def _writing(self, again: str = "see `jackfield history` before you ask again") -> Iterator[_Writing]:
        """Make one transaction with the next revision, committed at the end if ``keep`` was set.

        ``again``: what the user may do if nobody knows whether the commit was done.
        """
        with (
            translated(self.place),
            self._engine.connect().execution_options(**{WRITES: True}) as connection,
            connection.begin() as transaction,
        ):
            writing = _Writing(connection, *_take_revision(connection, self.place))
            refuse_other_format(connection, self.place)
            try:
                yield writing
            except BaseException:
                writing.keep = False
                raise
            finally:
                if not writing.keep:
                    transaction.rollback()
                    writing.revision -= 1
            if writing.keep:
                self._place.commit(self._engine, transaction, writing.mark, again)
                self.writings += 1

    # -- reading -----------------------------------------------------------------------------------

    @contextmanager
    def snapshot(self) -> Iterator[Snapshot]:
        """Hold the book's present state for the block, even if others write meanwhile."""
        with translated(self.place):
            connection = self._place.reading(self._engine.connect())
        try:
            yield Snapshot(connection, self.place)
            self._place.have_read(connection)
        finally:
            with translated(self.place):
                connection.close()

    def _ask(self, question: Callable[[Snapshot], T]) -> T:
        """Query one snapshot; once more if the server broke off."""
        try:
            with self.snapshot() as snapshot:
                return question(snapshot)
        except Interrupted:
            with self.snapshot() as snapshot:
                return question(snapshot)

    def standing(self) -> Standing:
        """Return the book's id, its revision and the mark of its last writing."""
        return self._ask(lambda snapshot: snapshot.standing)

    def revision(self) -> int:
        """Return the revision. It grows by one with every writing; 0 is a book without records."""
        return self.standing().revision

    def visit(self, visit_id: str) -> Visit:
        """As ``Snapshot.visit``."""
        return self._ask(lambda snapshot: snapshot.visit(visit_id))

    def visits_of(self, set_key: str) -> list[Visit]:
        """As ``Snapshot.visits_of``."""
        return self._ask(lambda snapshot: snapshot.visits_of(set_key))


@dataclass
class _Writing:
    """Hold a writing transaction; it is dropped unless ``keep`` is set."""

    connection: sa.Connection
    revision: int
    mark: str
    keep: bool = False


def _declare(writing: _Writing, fact: str, *, stands: bool) -> bool:
    """Put a fact in or out of force; False if that is so already. Raises NotFound."""
    table, ask = schema.withdrawal, writing.connection.execute
    kinds = (schema.visit, schema.alias, schema.reviewed_note)
    if not any(ask(sa.select(kind.c.id).where(kind.c.id == fact)).first() for kind in kinds):
        raise NotFound(Said("error/no-fact", id=shown(fact)))
    word = sa.text(counted.last_word(":fact"))
    last = ask(word, {"fact": fact}).first()
    if (bool(last.stands) if last else True) == stands:
        return False
    turn = 0
    while last is None or bool(last.stands) != stands:
        turn = max(turn, last.turn if last else 0) + 1
        said = sealed_id("withdrawal", [fact, turn, stands])
        if not ask(sa.select(table.c.id).where(table.c.id == said)).first():
            row = {"id": said, "revision": writing.revision, "fact": fact, "turn": turn, "stands": stands}
            ask(table.insert(), row)
        else:  # it came with a bundle that was taken back, or it counts from the next turn on
            bundles.keep(writing.connection, writing.revision, [said])
        last = ask(word, {"fact": fact}).first()
    return True


def _twins(connection: sa.Connection, visits: list[str]) -> list[str]:
    """Return the other ids of visits that were entered again for sharing."""
    anew = schema.reentered
    twins = list(reentered(connection, visits).values())
    for some in chunks(visits):
        asked = sa.select(anew.c.earlier).join(schema.visit, schema.visit.c.id == anew.c.earlier)
        twins += connection.execute(asked.where(anew.c.visit.in_(some))).scalars()
    return twins


def _not_in_force(connection: sa.Connection, visits: list[str]) -> list[str]:
    """Return those of the visits that are withdrawn, or taken back with a bundle."""
    found: list[str] = []
    gone = sa.or_(withdrawn(schema.visit.c.id), taken_back(schema.visit))
    for some in chunks(visits):
        asked = sa.select(schema.visit.c.id).where(schema.visit.c.id.in_(some), gone)
        found += connection.execute(asked).scalars()
    return list(dict.fromkeys(found))


def _stand_again(writing: _Writing, visit: str) -> bool:
    """Restore a visit that was withdrawn, or taken back with a bundle, since it is recorded here again."""
    every = [visit, *_twins(writing.connection, [visit])]
    bundles.keep(writing.connection, writing.revision, every)
    for one in every:
        _declare(writing, one, stands=True)
    return True


def _refuse_circles(connection: sa.Connection, visits: Iterable[str]) -> None:
    """Refuse visits that replace each other: none of them would be in force."""
    later = schema.supersession
    for start in visits:
        seen: set[str] = set()
        reached = {start}
        while reached:
            asked = sa.select(later.c.earlier).where(later.c.visit.in_(reached))
            reached = set(connection.execute(asked).scalars()) - seen
            if start in reached:
                raise BadInput("supersedes", start, Said("expected/no-circle"))
            seen |= reached


def _take_revision(connection: sa.Connection, place: str) -> tuple[int, str]:
    """Return the next revision and its mark. A server locks the row until the commit: writers queue."""
    book, mark = schema.book, str(uuid_utils.uuid7())
    done = connection.execute(book.update().values(revision=book.c.revision + 1, mark=mark))
    if done.rowcount != 1:
        raise BookTrouble(Said("error/main-record-missing", place=place))
    revision: int = connection.execute(sa.select(book.c.revision)).scalar_one()
    connection.execute(schema.writing.insert(), {"revision": revision, "mark": mark})
    return revision, mark


class _Sorted(NamedTuple):
    """Hold a visit with an id, its fingerprint, and the nonce of its id.

    The nonce is "" if the id was supplied, None if the visit is in the book already; ``bare``: without its
    private words.
    """

    visit: Visit
    seen: str
    nonce: str | None
    bare: bool = False


def _sorted_out(connection: sa.Connection, visits: list[Visit], numbers: Numbers) -> Iterator[_Sorted]:
    """Yield the relation of each visit to the book."""
    seen = [fingerprint(visit) for visit in visits]
    by_id, private = schema.visit.c.id, schema.visit_private
    ids = [visit.id for visit in visits if visit.id]
    there = connection.execute(sa.select(by_id).where(by_id.in_(ids))).scalars().all() if ids else ()
    known = load(connection, there) if there else {}
    prints: dict[str, str] = {
        row.fingerprint: row.visit
        for row in connection.execute(
            sa.select(private.c.fingerprint, private.c.visit)
            .where(private.c.fingerprint.in_(seen))
            # Of several, the earliest of those that are not withdrawn is named.
            .order_by(withdrawn(private.c.visit).desc(), private.c.visit.desc())
        )
    }
    for visit, print_, first in zip(visits, seen, numbers.look_up(visits), strict=True):
        if visit.id in known:
            if not _same(visit, known[visit.id]):
                raise BadInput(inside("visit", "id"), visit.id, Said("expected/new-id"))
            yield _Sorted(visit, print_, None)
        elif not visit.id and print_ in prints:
            yield _Sorted(replace(visit, id=prints[print_]), print_, None)
        elif first is not None:
            new, nonce, bare = numbers.numbered(first)
            prints.setdefault(print_, new.id)
            yield _Sorted(new, print_, None if bare else nonce, bare)
        else:
            if is_sealed(visit.id):
                raise BadInput(inside("visit", "id"), visit.id, Said("expected/no-foreign-id"))
            new, nonce = (visit, "") if visit.id else sealed(visit)
            known[new.id] = new
            prints.setdefault(print_, new.id)
            yield _Sorted(new, print_, nonce)


def _same(coming: Visit, there: Visit) -> bool:
    """Is it the visit that is there, or what may be shared of it?"""
    return fingerprint(coming) in (fingerprint(there), fingerprint(without_private(there)))
