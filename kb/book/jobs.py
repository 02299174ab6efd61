"""Keep the jobs of a book and the stock of the van: add, change, find and finish them.

A job is private. The store keeps each of its states (``Store.keep_states``), so nothing acknowledged is lost
and two programs that change jobs at the same moment queue.
"""

from __future__ import annotations

import hashlib
import os
import re
import secrets
from collections import Counter
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date as Day
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, NamedTuple, Protocol, TypeVar

from kb.base import clock, text
from kb.base.errors import NOTHING, BadInput, BookTooNew, BookTrouble, NotFound, inside, shown, why_of
from kb.base.messages import Said, Wording
from kb.base.parsing import json_of
from kb.domain.job import Job, JobStatus, changed, job_from, job_to, without_id
from kb.domain.kinds import Attachment
from kb.domain.visit import ATTACHED
from kb.settings import TODAY

if TYPE_CHECKING:
    from kb.domain.visit import Source
    from kb.domain.words import DriverInput
    from kb.pack import Day as Packed
    from kb.settings import Settings
    from kb.store import Store
    from kb.store.revision import Standing
    from kb.store.snapshot import Snapshot
    from kb.store.states import State

T = TypeVar("T")

JOB: Final = "job"
VAN: Final = "van"
MOST_JOBS: Final = 200  #: of one file
_MOST_BYTES: Final = 1_000_000  #: of the day's file of older releases
_TAKEN: Final = f"{TODAY}.taken-in.bak"  #: its name once its jobs are in the book
_NUMBERED: Final = re.compile(r"J-([0-9]{1,9})\Z", re.IGNORECASE)


class Added(NamedTuple):
    """Hold the jobs that were added, and those that were in the book before."""

    added: tuple[Job, ...]
    already: tuple[Job, ...]


class Earlier(NamedTuple):
    """Hold an earlier state of a job with its time in UTC."""

    at: str
    job: Job


@dataclass(frozen=True, slots=True)
class Wanted:
    """Say which jobs are looked for; what is empty or None matches every job.

    ``words`` match anywhere in the texts of a job, ``set`` in the names of its sets. ``days`` are the first
    and the last one.
    """

    words: tuple[str, ...] = ()
    reference: str = ""
    client: str = ""
    place: str = ""
    set: str = ""
    days: tuple[Day, Day] | None = None
    by: str = ""
    status: JobStatus | None = None

    def fits(self, job: Job, visited: Collection[str] = ()) -> bool:
        """Return whether the job is one of those. ``visited``: references in visits of these days."""
        names = " ".join(one.title for one in job.sets)
        texts = " ".join((job.reference, job.client, job.place, names, job.driver, job.note))
        parts = (
            (self.reference, job.reference),
            (self.client, job.client),
            (self.place, job.place),
            (self.set, names),
            *((word, texts) for word in self.words),
        )
        return (
            all(text.squeezed(part) in text.squeezed(whole) for part, whole in parts)
            and (
                self.days is None
                or (job.day is not None and self.days[0] <= job.day <= self.days[1])
                or text.squeezed(job.reference) in visited
            )
            and (not self.by or self.by.casefold() == job.by.casefold())
            and self.status in (None, job.status)
        )


class OpenBook(Protocol):
    """What the jobs need of the open book (``kb.book.Book``)."""

    home: Path

    @property
    def settings(self) -> Settings: ...
    @property
    def is_shared(self) -> bool: ...
    @property
    def store(self) -> Store: ...
    def standing(self) -> Standing | None: ...
    def states(self, kind: str) -> dict[str, State]: ...
    def change(self, work: Callable[[Store], T]) -> T: ...


class Jobs:
    """The jobs of one book. Every method raises BookTrouble if the book cannot be read or written."""

    def __init__(self, book: OpenBook) -> None:
        self._book = book

    # -- reading -----------------------------------------------------------------------------------

    def every(self) -> list[Job]:
        """Return all jobs, by day and reference; those without a day last."""
        self._take_in()
        return _in_order(_jobs(self._book.states(JOB)).values())

    def find(self, wanted: Wanted) -> list[Job]:
        """Return the jobs that are looked for: planned for one of the days, or visited on one."""
        visited: set[str] = set()
        if wanted.days and self._book.standing() is not None:
            with self._book.store.snapshot() as now:
                visited = {text.squeezed(one) for one in now.job_references(wanted.days)} - {""}
        return [job for job in self.every() if wanted.fits(job, visited)]

    def of_day(self, day: Day) -> list[Job]:
        """Return the jobs of a day that were not called off."""
        return [job for job in self.every() if job.day == day and job.status is not JobStatus.CALLED_OFF]

    def open_on(self, day: Day, now: Snapshot | None) -> list[Job]:
        """Return the open jobs of a day as they are; what older releases kept stays where it is."""
        file = self._book.home / TODAY
        jobs = {job.id: job for job in _of_older_release(file)[0]} if file.exists() else {}
        jobs |= _jobs(now.states(JOB)) if now else {}
        some = (job for job in jobs.values() if job.day == day and job.status is JobStatus.OPEN)
        return _in_order(some)

    def named(self, given: str) -> Job:
        """Return the job with this reference, id or client. Raises NotFound, BadInput if several fit."""
        return _named(self.every(), given)

    def states(self, job: Job) -> list[Earlier]:
        """Return all states of a job, the present one last."""
        with self._book.store.snapshot() as now:
            return [Earlier(one.at, _read(one)) for one in now.every_state(JOB, job.id)]

    def readings_of(self, job: Job) -> str:
        """Return the last readings that were recorded for a job, as JSON; "" if there are none."""
        if self._book.standing() is None:
            return ""
        with self._book.store.snapshot() as now:
            found = now.visits_found(readings=True, of=lambda _, name: is_for(job, name))
            return next((visit.readings for visit in found), "")

    def items_of(self, job: Job) -> list[str]:
        """Return the items of the catalogue that the visits of its day to a job name, as often as they do."""
        from kb.catalogue import catalogue

        if self._book.standing() is None or job.day is None:
            return []
        with self._book.store.snapshot() as now:
            visits = now.visits_found(since=job.day, of=lambda _, name: is_for(job, name))
            named = [item for visit in visits for finding in visit.findings for item in finding.items]
        return [item for item in named if item in catalogue().by_name]

    def stock(self) -> dict[str, int]:
        """Return what the van has: a count by item."""
        self._take_in()
        return _stock(self._book.states(VAN), self._van)

    def packed(self, jobs: Iterable[Job], have: Mapping[str, int] | None = None) -> Packed:
        """Return what has to be connected at the open ones of these jobs, with ``have`` and the van's stock.

        Raises NotFound if none of them is open.
        """
        from kb.pack.jobs import Day, jobs_of

        some = [job for job in jobs if job.status is JobStatus.OPEN]
        if not some:
            raise NotFound(Said("error/no-open-job"))
        stock = Counter(self.stock()) + Counter(have or {})
        return Day(tuple(one for job in some for one in jobs_of(job, self.inputs_of(job))), stock)

    def inputs_of(self, job: Job) -> tuple[DriverInput, ...]:
        """Return the inputs of a job's driver: as it says, of the driver named, or of the usual one."""
        from kb.catalogue.drivers import drivers

        if job.inputs:
            return job.inputs
        named = (one.inputs for one in drivers() if one.name.casefold() == job.driver.casefold())
        return next(named, None) or self._book.settings.inputs

    # -- writing -----------------------------------------------------------------------------------

    def add(self, jobs: Sequence[Job]) -> Added:
        """Add jobs, all or none; each gets an id, and a reference if it has none.

        A job whose id, or reference and content, is there already adds nothing. Raises BadInput if a
        reference belongs to another job.
        """
        self._take_in()
        return self._add([checked(job) for job in jobs])

    def change(self, given: str, work: Callable[[Job], Job]) -> Job:
        """Give a job a new state; return it. Raises NotFound, and BadInput as ``work`` does.

        What it says was used there leaves the van in the same transaction; what it says no longer comes back.
        So the same state once more takes nothing out.
        """
        self._take_in()
        self.named(given)  # a name that is wrong makes no book
        became: list[Job] = []

        def both(now: Snapshot) -> dict[tuple[str, str], str]:
            every = _jobs(now.states(JOB))
            job = _named(every.values(), given)
            after = checked(replace(work(job), id=job.id))
            _refuse_taken(after, _taken(one for one in every.values() if one.id != job.id))
            became[:] = [after]
            states = {(JOB, job.id): _body(job_to(without_id(after)))}
            used = Counter(dict(after.used))
            used.subtract(_counted(job.used, "used"))  # an older release kept it as it was typed
            van = now.states(VAN, self._van)
            if any(used.values()) and van:  # else nobody has counted what it holds
                states[VAN, self._van] = _van_body(_less(_stock(van, self._van), used))
            return states

        self._book.change(lambda store: store.keep_states(both))
        return became[0]

    def met(self, given: str, source: Source) -> None:
        """Give a job the name of its set that was found there, if it has one set without a model."""
        job = self.named(given)
        if len(job.sets) <= 1 and not (job.sets and job.sets[0].model):
            said = {"make": source.make, "model": source.model}
            self.change(job.id, lambda before: changed(before, said))

    def change_stock(self, work: Callable[[dict[str, int]], Mapping[str, int]]) -> dict[str, int]:
        """Change what the van has; return it."""
        self._take_in()
        after: dict[str, int] = {}

        def van(now: Snapshot) -> dict[tuple[str, str], str]:
            after.clear()
            after.update(_counts(work(_stock(now.states(VAN), self._van))))
            return {(VAN, self._van): _van_body(after)}

        self._book.change(lambda store: store.keep_states(van))
        return after

    @property
    def _van(self) -> str:
        """The name of the van: a book of one's own has one, in a shared book each installer has one."""
        return self._book.settings.initials if self._book.is_shared else ""

    def _add(
        self, jobs: Sequence[Job], have: Mapping[str, int] | None = None, *, twice: bool = False
    ) -> Added:
        added: list[Job] = []
        already: list[Job] = []

        def more(now: Snapshot) -> dict[tuple[str, str], str]:
            added.clear()
            already.clear()
            every = _jobs(now.states(JOB))
            taken = _taken(every.values())
            number = _last_number(one.reference for one in every.values())
            if not all(job.reference for job in jobs):
                # What only visits name is somebody's, too: a new job must not take over their visits.
                number = max(number, _last_number(now.job_references()))
            states: dict[tuple[str, str], str] = {}
            for job in jobs:
                there = every.get(job.id) if job.id else _same(job, every.values())
                if there is not None:
                    already.append(there)
                    continue
                new = replace(job, id=job.id or secrets.token_hex(6))
                if not new.reference:
                    new = replace(new, reference=f"J-{number + 1}")
                if not twice:
                    _refuse_taken(new, taken)
                every[new.id] = new
                taken[text.squeezed(new.reference)] = new.id
                number = max(number, _last_number([new.reference]))
                added.append(new)
                states[JOB, new.id] = _body(job_to(without_id(new)))
            if have and not _stock(now.states(VAN), self._van):
                states[VAN, self._van] = _van_body(have)
            return states

        self._book.change(lambda store: store.keep_states(more))
        return Added(tuple(added), tuple(already))

    # -- the file of older releases -----------------------------------------------------------------

    def _take_in(self) -> None:
        """Take the jobs of ``today.json`` into the book, where releases before this one kept them.

        A crash in between does no harm: a job is added once by its id. Raises BadInput naming the file.
        """
        file = self._book.home / TODAY
        if not file.exists():
            return
        jobs, have = _of_older_release(file)
        self._add(jobs, have, twice=True)  # a reference was only a word there
        try:
            os.replace(file, file.with_name(_TAKEN))
        except FileNotFoundError:  # another program was faster
            pass
        except OSError as trouble:
            raise BookTrouble(Said("error/place-why", place=file, why=why_of(trouble))) from trouble


def is_numbered(word: str) -> bool:
    """Return whether a word looks like a reference that a job is given, such as J-2."""
    return _NUMBERED.match(word) is not None


def is_for(job: Job, reference: str) -> bool:
    """Return whether the reference that a visit names is that of the job."""
    return bool(job.reference) and text.squeezed(job.reference) == text.squeezed(reference)


def checked(job: Job) -> Job:
    """Return the job with its room in metres and its route by code. Raises BadInput naming the field."""
    if job.room:
        from kb.loop.units import room

        job = replace(job, room="x".join(f"{side:g}" for side in room(job.room, "room")))
    if job.route:
        from kb.base.datafiles import data_tables
        from kb.loop.routes import route_named, routes_from

        job = replace(job, route=route_named(job.route, routes_from(data_tables("routes.toml"))).code)
    return replace(job, used=tuple(_counted(job.used, "used").items()))


def jobs_in(data: object, place: Wording) -> tuple[Job, ...]:
    """Return the jobs of a parsed job file, each with an id.

    An entry without an id and reference gets one from its content, so the same file twice adds nothing.
    Raises BadInput naming the job and the field.
    """
    entries = data.get("jobs") if isinstance(data, Mapping) else data
    if not isinstance(entries, Sequence) or isinstance(entries, str) or not entries:
        raise BadInput(place, NOTHING, Said("expected/jobs"))
    if len(entries) > MOST_JOBS:
        raise BadInput(place, Said("seen/jobs", count=len(entries)), Said("expected/at-most", most=MOST_JOBS))
    seen: Counter[str] = Counter()
    found = []
    for number, entry in enumerate(entries, 1):
        job = job_from(entry, inside(place, Said("place/job-nth", number=number)))
        if not (job.id or job.reference):
            content = _body(job_to(job))
            seen[content] += 1
            job = replace(job, id=_digest(seen[content], content))
        found.append(job)
    return tuple(found)


def _of_older_release(file: Path) -> tuple[list[Job], dict[str, int]]:
    try:
        raw = file.read_bytes()[: _MOST_BYTES + 1]
        data: Any = json_of(raw.decode(), file.name) if len(raw) <= _MOST_BYTES else None
    except (BadInput, ValueError):
        data = None
    except OSError as trouble:
        raise BookTrouble(Said("error/place-why", place=file, why=why_of(trouble))) from trouble
    if isinstance(data, list):
        data = {"jobs": data}
    if not isinstance(data, dict):
        raise BadInput(TODAY, Said("seen/something-else"), Said("expected/job-file-json"))
    found = []
    for key, status in (("jobs", JobStatus.OPEN), ("done", JobStatus.DONE)):
        if data.get(key):
            some = jobs_in(data[key], TODAY)
            found += [replace(one, status=status, day=one.day or clock.today()) for one in some]
    have = data.get("have") or {}
    return [
        job if job.id else replace(job, id=_digest(number, _body(job_to(job))))
        for number, job in enumerate(map(checked, found))
    ], _counts(have)


def _digest(number: int, content: str) -> str:
    return hashlib.sha256(f"{number} {content}".encode()).hexdigest()[:12]


def _jobs(states: Mapping[str, State]) -> dict[str, Job]:
    return {key: _read(one) for key, one in states.items()}


def _read(one: State) -> Job:
    try:
        return replace(job_from(json_of(one.body, one.about), kept=True), id=one.about)
    except (BadInput, ValueError) as mistake:
        raise BookTooNew(Said("error/newer-job", job=shown(one.about), why=mistake)) from mistake


def _stock(states: Mapping[str, State], van: str) -> dict[str, int]:
    state = states.get(van)
    return _counts(json_of(state.body, van).get("have", {})) if state else {}


def _counts(have: Mapping[str, Any]) -> dict[str, int]:
    from kb.pack.jobs import read_stock

    read = read_stock({item: count for item, count in have.items() if count}, "have")
    return dict(sorted(_counted(read.items(), "have").items()))


def _counted(said: Iterable[tuple[str, int]], place: str) -> Counter[str]:
    """Return counts by one name of each item, however it was typed. Raises BadInput naming an item."""
    from kb.catalogue import catalogue

    counts: Counter[str] = Counter()
    for item, count in said:
        counts[catalogue().one_name(item, place)] += count
    return counts


def _less(have: Mapping[str, int], used: Mapping[str, int]) -> dict[str, int]:
    """Return what is left; an item that the van had less of than was used is gone.

    A count below 0 in ``used`` comes back.
    """
    from kb.pack.jobs import MOST_HAVE

    left = {item: have.get(item, 0) - used.get(item, 0) for item in {**have, **used}}
    return {item: min(count, MOST_HAVE) for item, count in left.items() if count > 0}


def _van_body(have: Mapping[str, int]) -> str:
    return _body({"have": dict(have)})


def _body(data: Mapping[str, Any]) -> str:
    return str(Attachment(ATTACHED).read(data, "job"))


def _in_order(jobs: Iterable[Job]) -> list[Job]:
    return sorted(jobs, key=lambda job: (job.day or Day.max, _natural(job.reference), job.id))


def _natural(reference: str) -> tuple[str, int, str]:
    """``J-9`` comes before ``J-12``."""
    found = _NUMBERED.match(reference)
    return ("J-", int(found[1]), "") if found else (reference.casefold(), 0, reference)


def _named(jobs: Iterable[Job], given: str) -> Job:
    asked = text.squeezed(given)
    every = list(jobs)
    found = [one for one in every if one.id == given.strip()]
    found = found or [one for one in every if asked and text.squeezed(one.reference) == asked]
    found = found or _of_client(every, given)
    if not found:
        from difflib import get_close_matches

        names = [one.reference for one in every]
        near = get_close_matches(given, names, n=3) or names[-3:]
        if near:
            raise NotFound(Said("error/no-job-near", job=shown(given), near=", ".join(near)))
        raise NotFound(Said("error/no-job-at-all", job=shown(given)))
    if len(found) > 1:
        apart = len({one.reference for one in found}) == len(found)
        about = (", ".join(filter(None, (one.client or one.title, str(one.day or "")))) for one in found)
        ids = ", ".join(
            f"{one.reference if apart else one.id} ({what})" for one, what in zip(found, about, strict=True)
        )
        raise BadInput("job", given, Said("expected/job-by-id", count=len(found), ids=ids))
    return found[0]


def _of_client(jobs: list[Job], given: str) -> list[Job]:
    """Return the jobs whose client's words have all words given; only the open ones if there are any.

    One word must be of letters: a number alone is a reference, not the house number of a client.
    """
    words = set(text.plain_capitals(given).split())
    if not any(len(word) > 1 and word.isalpha() for word in words):
        return []
    found = [one for one in jobs if words <= set(text.plain_capitals(one.client).split())]
    return [one for one in found if one.status is JobStatus.OPEN] or found


def _same(job: Job, jobs: Iterable[Job]) -> Job | None:
    """Return the job with this very reference and content, if there is one."""
    if not job.reference:
        return None
    alike = (one for one in jobs if one.reference == job.reference)
    return next((one for one in alike if without_id(one) == without_id(job)), None)


def _refuse_taken(job: Job, taken: Mapping[str, str]) -> None:
    """Raise BadInput if another job has the reference; ``taken`` holds the ids by reference."""
    if job.reference and taken.get(text.squeezed(job.reference), job.id) != job.id:
        raise BadInput("job", job.reference, Said("expected/own-reference"))


def _taken(jobs: Iterable[Job]) -> dict[str, str]:
    return {text.squeezed(one.reference): one.id for one in jobs if text.squeezed(one.reference)}


def _last_number(references: Iterable[str]) -> int:
    return max((int(found[1]) for one in references if (found := _NUMBERED.match(one))), default=0)
