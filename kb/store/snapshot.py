"""Read the book as it is at one revision.

A ``Snapshot`` sees one state of the book as long as it is read, even if others write.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Sequence
from datetime import date as Day
from functools import cached_property
from itertools import islice
from typing import Any, Final, NamedTuple

import sqlalchemy as sa

from kb.base.errors import BookTrouble, NotFound, shown
from kb.base.messages import Said
from kb.domain.visit import SUPERSEDES, Visit
from kb.domain.words import Outcome
from kb.store import counted, schema
from kb.store.failures import translated
from kb.store.revision import Standing
from kb.store.rows import CHUNK, chunks, load
from kb.store.spellings import Spellings
from kb.store.states import State
from kb.store.withdrawn import IN_FORCE, SUPERSEDED, counts, taken_back, withdrawn

SETS: Final = 200  #: sets read at a time
SOME: Final = 100  #: visits read at a time where few may be wanted

_alias = schema.alias
_visit, _anew, _later = schema.visit, schema.reentered, schema.supersession


def reentered(connection: sa.Connection, ids: Sequence[str]) -> dict[str, str]:
    """Return the visits that were entered again for sharing, each with its new id."""
    found: dict[str, str] = {}
    for some in chunks(ids):
        asked = sa.select(_anew.c.earlier, _anew.c.visit).order_by(_anew.c.visit)
        found.update(tuple(row) for row in connection.execute(asked.where(_anew.c.earlier.in_(some))))
    return found


class Entry(NamedTuple):
    """Hold a visit in the history of a set, with its present state."""

    visit: Visit
    revision: int
    withdrawn: bool
    superseded_by: tuple[str, ...]
    """Ids of the visits, not withdrawn, that replace it."""
    reentered: str = ""
    """The id with which this very visit was supplied, if it was entered again for sharing."""
    taken_back: bool = False
    """It came only with bundles that were taken back."""
    rivals: tuple[str, ...] = ()
    """Ids of other corrections in force of the same visit, made in another book: one of all counts."""

    @property
    def outdone(self) -> bool:
        """Return whether one of the rivals counts instead."""
        return any(one > self.visit.id for one in self.rivals)

    @property
    def stands(self) -> bool:
        """Return whether the visit counts for its set."""
        return not (self.withdrawn or self.taken_back or self.superseded_by or self.outdone)


class Counts(NamedTuple):
    """Count the content of the book: ``findings`` and ``sets`` in force, ``visits`` altogether."""

    visits: int
    findings: int
    sets: int
    withdrawn: int
    superseded: int
    revision: int


class Snapshot:
    """Read the book at one revision; made by ``Store.snapshot``.

    Every method raises BookTrouble if the book cannot be read.
    """

    def __init__(self, connection: sa.Connection, place: str) -> None:
        self._connection = connection
        self._place = place

    @cached_property
    def standing(self) -> Standing:
        """Return the book's id, its revision and the mark of its last writing."""
        with translated(self._place):
            row = self._connection.execute(
                sa.select(schema.book.c.id, schema.book.c.revision, schema.book.c.mark)
            ).one_or_none()
        if row is None:
            raise BookTrouble(Said("error/main-record-missing", place=self._place))
        return Standing(*row)

    @property
    def revision(self) -> int:
        """Return the revision. It grows by one with every writing; 0 is a book without records."""
        return self.standing.revision

    def follows(self, earlier: Standing) -> bool:
        """Return whether the book once had this state.

        False for another book, or a copy that was continued elsewhere (a restored backup): then an index made
        from it must be rebuilt.
        """
        if earlier.book != self.standing.book or earlier.revision > self.revision:
            return False
        if earlier.revision == 0:
            return True
        table = schema.writing
        with translated(self._place):
            mark = self._connection.execute(
                sa.select(table.c.mark).where(table.c.revision == earlier.revision)
            ).scalar_one_or_none()
        return mark == earlier.mark

    @cached_property
    def spellings(self) -> Spellings:
        """Return the alias facts in force."""
        table = schema.alias
        with translated(self._place):
            rows = self._connection.execute(sa.select(table.c.set_key, table.c.same_as).where(counts(table)))
            return Spellings((row.set_key, row.same_as) for row in rows)

    def kept(self, key: str) -> str:
        """Return the spelling under which a set is known, as ``spellings`` has it.

        Usually every spelling was given up at most once. Then the merges lead from each to the kept one, and
        only those on the way are read, not the whole book.
        """
        at, way = key, {key}
        while not self._given_up_twice:
            asked = sa.select(_alias.c.same_as).where(_alias.c.set_key == at, counts(_alias))
            with translated(self._place):
                further = self._connection.execute(asked).scalar()
            if further is None:
                return at
            if further in way:  # a cycle
                break
            at = further
            way.add(at)
        return self.spellings.kept(key)

    @cached_property
    def _given_up_twice(self) -> bool:
        """Return whether a spelling was given up for two others; merging books may cause that."""
        several = sa.select(_alias.c.set_key).group_by(_alias.c.set_key).having(sa.func.count() > 1)
        asked = several.where(_alias.c.set_key.in_(several), counts(_alias))
        with translated(self._place):
            return self._connection.execute(asked.limit(1)).first() is not None

    # -- one set, one visit ------------------------------------------------------------------------

    def visit(self, visit_id: str) -> Visit:
        """Return the visit with this id, in force or not; raises NotFound."""
        with translated(self._place):
            found = load(self._connection, [visit_id])
        if visit_id not in found:
            raise NotFound(Said("error/no-visit", id=shown(visit_id)))
        return found[visit_id]

    def visits_of(self, set_key: str) -> list[Visit]:
        """Return the visits in force to a set, under all spellings, by date, as ``reconcile`` takes them."""
        return next(self.visits_of_sets([self.spellings.kept(set_key)]))[1]

    def history_of(self, set_key: str) -> list[Entry]:
        """Return all records of a set, under all its spellings, in the order of recording."""
        return self._entries(_visit.c.set_key.in_(self.spellings.all_of(set_key)))

    def _entries(self, which: sa.ColumnElement[bool]) -> list[Entry]:
        with translated(self._place):
            rows = self._connection.execute(
                sa.select(
                    _visit.c.id,
                    _visit.c.revision,
                    withdrawn(_visit.c.id).label("withdrawn"),
                    taken_back(_visit).label("taken_back"),
                    SUPERSEDED.label("superseded"),
                )
                .where(which)
                .order_by(_visit.c.revision, _visit.c.id)
            ).all()
            ids = [row.id for row in rows]
            correcting: set[str] = set()
            for some in chunks(ids):
                asked = sa.select(_later.c.visit).where(_later.c.visit.in_(some))
                correcting.update(self._connection.execute(asked).scalars())
            visits = load(self._connection, ids)
            anew = {new: old for old, new in reentered(self._connection, ids).items()}
            return [
                Entry(
                    visits[row.id],
                    row.revision,
                    bool(row.withdrawn),
                    (later := self._successors(row.id) if row.superseded else ()),
                    anew.get(row.id, ""),
                    bool(row.taken_back),
                    self._rivals(row.id)
                    if row.id in correcting and not (row.withdrawn or row.taken_back or later)
                    else (),
                )
                for row in rows
            ]

    def entry(self, visit_id: str) -> Entry:
        """Return one visit with its present state; raises NotFound."""
        for entry in self._entries(_visit.c.id == visit_id):
            return entry
        raise NotFound(Said("error/no-visit", id=shown(visit_id)))

    def in_force(self, entry: Entry) -> Entry:
        """Return the version of a visit that counts, following its corrections; the last if none counts."""
        seen = {entry.visit.id}
        while later := entry.superseded_by or (entry.rivals if entry.outdone else ()):
            if max(later) in seen:
                break
            seen.add(max(later))
            entry = self.entry(max(later))
        return entry

    def _successors(self, visit: str) -> tuple[str, ...]:
        """Return the visits that replace it: direct ones, else those that correct a lapsed correction."""
        every = (
            self._connection.execute(sa.text(counted.successors(":visit")), {"visit": visit}).scalars().all()
        )
        anew = sa.select(_anew.c.earlier).where(_anew.c.visit == visit)
        own = sa.or_(_later.c.earlier == visit, _later.c.earlier.in_(anew))
        direct = sa.select(_later.c.visit).where(own, _later.c.visit.in_(every)).distinct()
        return tuple(sorted(self._connection.execute(direct).scalars() if every else ()) or sorted(every))

    def _rivals(self, visit: str) -> tuple[str, ...]:
        asked = sa.text(counted.rivals(":visit"))
        return tuple(sorted(self._connection.execute(asked, {"visit": visit}).scalars()))

    def to_supersede(self, visit: str) -> tuple[str, ...]:
        """Return ids of all visits that a correction of this visit replaces, ``SUPERSEDES`` at most.

        These are the visit, other corrections in force of the same visit (made in another book), and the id
        with which it was supplied if it was entered again.
        """
        with translated(self._place):
            anew = sa.select(_anew.c.earlier).where(_anew.c.visit == visit).order_by(_anew.c.earlier)
            handed_in = self._connection.execute(anew).scalars().all()
            return tuple(dict.fromkeys((visit, *self._rivals(visit), *handed_in)))[:SUPERSEDES]

    # -- many ----------------------------------------------------------------------------------------

    def visits(self, since_revision: int = 0, batch: int = 1000) -> Iterator[list[Visit]]:
        """Yield all visits recorded after a revision, in force or not, in the order of recording.

        The lists have at most ``batch`` visits, so memory is bounded.
        """
        asked = (
            sa.select(_visit.c.id)
            .where(_visit.c.revision > since_revision)
            .order_by(_visit.c.revision, _visit.c.id)
        )
        stream = self._stream(asked)
        while ids := list(islice(stream, batch)):
            with translated(self._place):
                visits = load(self._connection, ids)
            yield [visits[one] for one in ids]

    def set_keys(self) -> Iterator[str]:
        """Yield every set with a visit in force, once, under its kept spelling."""
        merged = set()
        asked = sa.select(_visit.c.set_key).where(IN_FORCE).distinct().order_by(_visit.c.set_key)
        for key in self._stream(asked):
            kept = self.spellings.kept(key)
            if len(self.spellings.all_of(key)) > 1:
                if kept in merged:
                    continue
                merged.add(kept)
            yield kept

    def sets_changed_since(self, revision: int) -> Iterator[str]:
        """Yield keys of sets that may differ from their state at ``revision``, each once.

        Among them are keys that no visit has any more, or that are now a spelling of another set:
        ``visits_of_sets`` gives these an empty list.
        """
        since = {"since": revision}
        with translated(self._place):
            pairs = self._connection.execute(
                sa.text(
                    f"SELECT set_key, same_as FROM alias WHERE id IN ({counted.changed('alias')})"  # noqa: S608
                    f" OR id IN ({counted.retold()})"
                ),
                since,
            ).all()
        respelt = {one for pair in pairs for end in pair for one in self.spellings.all_of(end)}
        yield from sorted(respelt)
        for key in self._stream(sa.text(counted.touched()), since):
            kept = self.spellings.kept(key)
            if kept == key and key not in respelt:
                yield key
            elif kept not in respelt:
                respelt.add(kept)
                yield kept

    def visits_of_sets(self, keys: Iterable[str] | None = None) -> Iterator[tuple[str, list[Visit]]]:
        """Yield each key with the visits in force, under all spellings of its set, by date; memory is
        bounded.

        Without ``keys``: every set of the book. A key that is not the kept spelling gets an empty list.
        """
        for some in chunks(self.set_keys() if keys is None else keys, SETS):
            kept = [key for key in some if self.spellings.kept(key) == key]
            spelt = {one: key for key in kept for one in self.spellings.all_of(key)}
            sets: dict[str, list[str]] = defaultdict(list)
            with translated(self._place):
                for names in chunks(spelt):
                    asked = sa.select(_visit.c.set_key, _visit.c.id)
                    in_force = asked.where(_visit.c.set_key.in_(names), IN_FORCE)
                    for row in self._connection.execute(in_force):
                        sets[spelt[row.set_key]].append(row.id)
                visits = load(self._connection, [one for ids in sets.values() for one in ids])
            for key in some:
                its = [visits[one] for one in sets.get(key, ())]
                yield key, sorted(its, key=lambda visit: (visit.date, visit.id))

    def visits_found(
        self,
        *,
        since: Day | None = None,
        until: Day | None = None,
        outcome: Outcome | None = None,
        readings: bool = False,
        of: Callable[[str, str], bool] = lambda _by, _job: True,
    ) -> Iterator[Visit]:
        """Yield the visits in force of these days, by date, the last one first.

        ``of`` gets the person and the job of each. ``outcome``: at least one jack had it. ``readings``:
        readings of the loop were recorded with it. Only visits that are asked for are read.
        """
        private = schema.visit_private
        asked = (
            sa.select(_visit.c.id, private.c.person, private.c.job)
            .outerjoin(private, private.c.visit == _visit.c.id)
            .where(IN_FORCE)
            .order_by(_visit.c.date.desc(), _visit.c.revision.desc(), _visit.c.id.desc())
        )
        if since is not None:
            asked = asked.where(_visit.c.date >= since)
        if until is not None:
            asked = asked.where(_visit.c.date <= until)
        if outcome is not None:
            found = schema.finding
            asked = asked.where(
                sa.exists().where(found.c.visit == _visit.c.id, found.c.outcome == outcome.value)
            )
        if readings:
            more = schema.attached_private
            asked = asked.where(sa.exists().where(more.c.visit == _visit.c.id, more.c.kind == "readings"))
        fitting = (row.id for row in self._rows(asked) if of(row.person or "", row.job or ""))
        while ids := list(islice(fitting, SOME)):
            with translated(self._place):
                visits = load(self._connection, ids)
            yield from (visits[one] for one in ids)

    def recorded_last(self, most: int) -> list[Visit]:
        """Return the visits in force that were recorded last, the newest first."""
        asked = sa.select(_visit.c.id).where(IN_FORCE)
        asked = asked.order_by(_visit.c.revision.desc(), _visit.c.date.desc(), _visit.c.id.desc()).limit(most)
        with translated(self._place):
            ids = self._connection.execute(asked).scalars().all()
            visits = load(self._connection, ids)
        return [visits[one] for one in ids]

    def job_references(self, days: tuple[Day, Day] | None = None) -> list[str]:
        """Return what visits name as their jobs, each once.

        ``days``: of the visits in force from the first to the last one only; else of all that ever were.
        """
        private = schema.visit_private
        asked = sa.select(private.c.job).distinct()
        if days is not None:
            asked = asked.join(_visit, _visit.c.id == private.c.visit)
            asked = asked.where(IN_FORCE, _visit.c.date.between(*days))
        with translated(self._place):
            return list(self._connection.execute(asked).scalars())

    def cases(self) -> list[str]:
        """Return the faults that a repair confirmed, of visits in force, as canonical JSON."""
        table = schema.attached_private
        with translated(self._place):
            asked = (
                sa.select(table.c.body)
                .join(_visit, _visit.c.id == table.c.visit)
                .where(table.c.kind == "case", IN_FORCE)
                .order_by(table.c.visit)
            )
            return list(self._connection.execute(asked).scalars())

    def states(self, kind: str, about: str | None = None) -> dict[str, State]:
        """Return the present state of each private thing of a kind, or of one, by its name."""
        return {one.about: one for one in self.every_state(kind, about)}

    def every_state(self, kind: str, about: str | None = None) -> list[State]:
        """Return all states of the private things of a kind, or of one: by name, the present one last."""
        table = schema.private_state
        asked = sa.select(table.c.about, table.c.turn, table.c.body, table.c.at).where(
            table.c.kind == kind, sa.not_(taken_back(table))
        )
        if about is not None:
            asked = asked.where(table.c.about == about)
        with translated(self._place):
            rows = self._connection.execute(asked.order_by(table.c.about, table.c.turn, table.c.id))
            return [State(*row) for row in rows]

    def counts(self) -> Counts:
        """Return the counts of the book."""
        with translated(self._place):
            one = self._connection.execute(
                sa.select(
                    sa.select(sa.func.count()).select_from(_visit).scalar_subquery(),
                    sa.select(sa.func.count())
                    .select_from(schema.finding.join(_visit, _visit.c.id == schema.finding.c.visit))
                    .where(IN_FORCE)
                    .scalar_subquery(),
                    sa.select(sa.func.count())
                    .select_from(_visit)
                    .where(withdrawn(_visit.c.id))
                    .scalar_subquery(),
                    sa.select(sa.func.count()).select_from(_visit).where(SUPERSEDED).scalar_subquery(),
                )
            ).one()
        sets = sum(1 for _ in self.set_keys())
        return Counts(one[0], one[1], sets, one[2], one[3], self.revision)

    def _stream(self, asked: sa.Executable, values: dict[str, Any] | None = None) -> Iterator[Any]:
        """Yield the first column, a few rows at a time."""
        return (row[0] for row in self._rows(asked, values))

    def _rows(self, asked: sa.Executable, values: dict[str, Any] | None = None) -> Iterator[Any]:
        """Yield the rows, a few at a time."""
        with translated(self._place):
            result = self._connection.execution_options(yield_per=CHUNK).execute(asked, values)
        with result:
            while True:
                with translated(self._place):
                    some = result.fetchmany(CHUNK)
                if not some:
                    return
                yield from some
