"""Define a job: one home or hall to visit, with the sets there, and read and write it as a file does.

Every field is declared once, in its dataclass. Files, the kept form, and the options of
``jackfield job`` derive from that.

>>> job = job_from({"job": "J-12", "client": "Alder", "make": "Norwell", "year": 2014, "taken": []})
>>> job.sets[0].year, job.sets[0].taken, job.status.value
(2014, (), 'open')
>>> job_to(job)
{'job': 'J-12', 'client': 'Alder', 'make': 'Norwell', 'kind': 'television', 'year': 2014, 'taken': []}
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, fields, replace
from datetime import date as Day
from typing import Any, Final

from kb.base.errors import NOTHING, BadInput, inside
from kb.base.messages import Said, Wording
from kb.base.validation import Fields, listed
from kb.domain.kinds import (
    CalendarDay,
    Flag,
    Inputs,
    Keyed,
    Line,
    ListOf,
    Name,
    Note,
    Number,
    OneOf,
    ValueKind,
    Whole,
    declared,
    fields_of,
    read_object,
    take_fields,
    write_object,
)
from kb.domain.visit import INITIALS, Source, read_year
from kb.domain.words import Display, DriverInput, Kind, Signal, Word

MOST_SETS: Final = 20  #: of one job
MOST_LINES: Final = 100  #: of the materials of one loop
MOST_COUNT: Final = 10_000  #: of one line
MOST_USED: Final = 500  #: kinds of item, and pieces of one
LONGEST: Final = 100.0  #: metres from set to driver
ID: Final = 60  #: characters of the id of a job
ADDRESS: Final = 200  #: characters


class JobStatus(Word):
    """What became of a job."""

    OPEN = "open"
    DONE = "done"
    CALLED_OFF = "called-off", "called off"


class Listening(Word):
    """Whether others in the room listen to the set's own speakers."""

    NEEDED = "needed"
    FREE = "free"


class Unit(Word):
    """What a count is of."""

    PIECE = "piece"
    METRE = "m"


@dataclass(frozen=True, slots=True)
class Material:
    """Hold a line of a loop's list: a count of pieces or metres (``unit``) of an item.

    Wire and fixings are used up; a ``tool`` serves every job of the day.
    """

    item: str = field(metadata=declared(Name(Said("expected/item")), "what is needed"))
    count: int = field(
        metadata=declared(
            Whole(1, MOST_COUNT),
            "how many pieces or metres",
        )
    )
    tool: bool = field(default=False, metadata=declared(Flag(), "whether it serves every job of a day"))
    unit: Unit = field(default=Unit.PIECE, metadata=declared(OneOf(Unit), "what the count is of"))


def _material(value: object, place: Wording) -> Material:
    try:
        return read_object(Material, value, place, Said("expected/object-with", fields="item", last="count"))
    except BadInput as mistake:
        raise mistake.within(place) from None


class Materials(ValueKind):
    """The lines of a loop's list, from the output of ``jackfield loop --json`` or its ``items`` alone."""

    expected = Said("expected/loop-json")

    def read(self, value: object, place: Wording) -> tuple[Material, ...]:
        lines = value.get("items") if isinstance(value, Mapping) else value
        return listed(_material, MOST_LINES, expected=self.expected, each="place/item")(lines, place)


class _Yes(Flag):
    """An answer: true or false, yes or no."""

    expected = Said("expected/yes-or-no")

    def read(self, value: object, place: Wording) -> bool:
        if value not in (True, False, "yes", "no"):
            raise BadInput(place, value, self.expected)
        return value in (True, "yes")


_OF_SOURCE: Final = {one.name: one.metadata for one in fields(Source)}


@dataclass(frozen=True, slots=True)
class JobSet:
    """Describe a set of a job as far as it is known; ``taken`` is None if nobody asked."""

    make: str = field(default="", metadata=declared(Line(), "the make, as far as known"))
    model: str = field(default="", metadata=declared(Line(), "the model, as far as known"))
    kind: Kind = field(default=Kind.TELEVISION, metadata=_OF_SOURCE["kind"])
    display: Display | None = field(default=None, metadata=_OF_SOURCE["display"])
    year: int | None = field(default=None, metadata=_OF_SOURCE["year"])
    size_in: float | None = field(default=None, metadata=_OF_SOURCE["size_in"])
    taken: tuple[Signal, ...] | None = field(
        default=None,
        metadata=declared(
            ListOf(OneOf(Signal), len(Signal), distinct=True), "outputs in use; an empty list: none is"
        ),
    )
    free: tuple[Signal, ...] = field(
        default=(),
        metadata=declared(
            ListOf(OneOf(Signal), len(Signal), distinct=True),
            "outputs that nobody uses, where not all are known",
        ),
    )
    answers: tuple[tuple[Signal, bool], ...] = field(
        default=(),
        metadata=declared(
            Keyed(OneOf(Signal), _Yes(), len(Signal)), "outputs that somebody looked for: there or not"
        ),
    )

    @property
    def source(self) -> Source:
        """Return the set as a source; make or model is blank if unknown."""
        return Source(self.make, self.model, self.kind, self.display, self.year, self.size_in)

    @property
    def title(self) -> str:
        """Return make and model as far as known; "" if neither is."""
        return " ".join(part for part in (self.make, self.model) if part)


class _Sets(ValueKind):
    """The sets of a job."""

    expected = Said("expected/list-of-sets")

    def read(self, value: object, place: Wording) -> tuple[JobSet, ...]:
        return listed(_job_set, MOST_SETS, expected=self.expected, each="place/set")(value, place)


def _job_set(value: object, place: Wording) -> JobSet:
    try:
        return read_object(JobSet, value, place, Said("expected/object-of-set"))
    except BadInput as mistake:
        raise mistake.within(place) from None


@dataclass(frozen=True, slots=True)
class Job:
    """Describe one job. All of it is private. ``id`` is empty until the book gives one."""

    reference: str = field(default="", metadata=declared(Line(), "its reference", private=True, key="job"))
    client: str = field(default="", metadata=declared(Line(), "the client's words", private=True))
    place: str = field(default="", metadata=declared(Line(ADDRESS), "where it is", private=True))
    day: Day | None = field(default=None, metadata=declared(CalendarDay(), "the day of the visit"))
    by: str = field(default="", metadata=declared(Line(INITIALS), "who goes there", private=True))
    status: JobStatus = field(
        default=JobStatus.OPEN, metadata=declared(OneOf(JobStatus), "what became of the job")
    )
    sets: tuple[JobSet, ...] = field(default=(), metadata=declared(_Sets(), "the sets there"))
    driver: str = field(default="", metadata=declared(Line(), "the loop driver by its name", private=True))
    inputs: tuple[DriverInput, ...] = field(
        default=(), metadata=declared(Inputs(), "the inputs that the driver has")
    )
    length_m: float | None = field(
        default=None,
        metadata=declared(
            Number(
                0,
                LONGEST,
                Said("expected/metres-to-driver", most=f"{LONGEST:g}"),
                above=True,
            ),
            "the cable from set to driver",
        ),
    )
    speakers: Listening | None = field(
        default=None, metadata=declared(OneOf(Listening), "whether others listen to the set's own speakers")
    )
    room: str = field(default="", metadata=declared(Line(), "the room for the loop, such as 5.2x4.1"))
    route: str = field(
        default="", metadata=declared(Line(), "how the wire is laid, as loop --route names it")
    )
    materials: tuple[Material, ...] = field(
        default=(), metadata=declared(Materials(), "the materials of its loop")
    )
    used: tuple[tuple[str, int], ...] = field(
        default=(),
        metadata=declared(
            Keyed(
                Name(Said("expected/item")),
                Whole(1, MOST_USED, Said("expected/count", most=MOST_USED)),
                MOST_USED,
            ),
            "what was used up there",
        ),
    )
    note: str = field(default="", metadata=declared(Note(), "free text", private=True))
    id: str = field(default="", metadata=declared(Line(ID), "the id that the book gave"))

    @property
    def title(self) -> str:
        """Return the names of its sets as far as known; "" if none is."""
        return ", ".join(filter(None, (one.title for one in self.sets)))

    @property
    def known_sets(self) -> tuple[JobSet, ...]:
        """Return its sets; one of which nothing is known if none was named."""
        return self.sets or (JobSet(),)


def job_from(data: object, place: Wording = "job", *, kept: bool = False) -> Job:
    """Return the job that ``data`` (parsed JSON or TOML) describes. Raises BadInput naming the field.

    The fields of a single set may be written without ``sets``. ``kept``: it is in a book already, so years
    in the future are taken as they are.
    """
    given = Fields(_with_size(data), place, Said("expected/object-of-job"), bare=True)
    try:
        found = take_fields(Job, given)
        if "sets" not in found:
            one = JobSet(**take_fields(JobSet, given))
            found["sets"] = (one,) if one != JobSet() else ()
        given.end()
        for one in () if kept else found["sets"]:
            if one.year is not None:
                read_year(one.year, "year")
    except BadInput as mistake:
        raise mistake.within(place) from None
    return Job(**found)


def _with_size(data: object) -> object:
    """Return the data with ``size``, as callers say it, under its own name."""
    if not isinstance(data, Mapping):
        return data
    named = {"size_in" if key == "size" and "size_in" not in data else key: data[key] for key in data}
    if isinstance(named.get("sets"), list):
        named["sets"] = [_with_size(one) for one in named["sets"]]
    return named


def job_to(job: Job) -> dict[str, Any]:
    """Return the job as a plain dictionary with the keys of a job file; reads back to an equal job.

    An open job has no ``status``.
    """
    written = write_object(job)
    if job.status is JobStatus.OPEN:
        del written["status"]
    if len(job.sets) != 1 or not (flat := write_object(job.sets[0])).keys() - {"kind"}:
        return written
    return {key: value for part in _flat(written, flat) for key, value in part.items()}


#: Keys of a single set, which may be written among those of its job.
OF_A_SET: Final = frozenset(one.key for one in fields_of(JobSet))


def changed(job: Job, said: Mapping[str, Any], number: int = 0, place: Wording = "job") -> Job:
    """Return the job with fields of a job file put in place of its own; None takes a field away.

    ``number``: the set that the fields of a set are about, from 1, or one more for another set; 0: the only
    one. Raises BadInput naming the field.
    """
    whole = write_object(job)
    of_set = {key: value for key, value in said.items() if key in OF_A_SET}
    if of_set:
        sets: list[dict[str, Any]] = whole.setdefault("sets", [])
        if (not number and len(sets) > 1) or number > len(sets) + 1:
            raise BadInput(
                inside(place, "set"),
                number or NOTHING,
                Said("expected/one-of-its-sets", last=len(sets)),
            )
        if number > len(sets) or not sets:
            sets.append({})
        _put(sets[max(number, 1) - 1], of_set)
    _put(whole, {key: value for key, value in said.items() if key not in OF_A_SET})
    return job_from(whole, place)


def _put(fields_: dict[str, Any], said: Mapping[str, Any]) -> None:
    fields_ |= said
    for key in [key for key, value in fields_.items() if value is None]:
        del fields_[key]


def _flat(written: dict[str, Any], one: dict[str, Any]) -> tuple[dict[str, Any], ...]:
    """Return the fields of a job with those of its one set in their place."""
    keys = [declared.key for declared in fields_of(Job)]
    before = keys[: keys.index("sets")]
    first = {key: value for key, value in written.items() if key in before}
    rest = {key: value for key, value in written.items() if key not in before and key != "sets"}
    return first, one, rest


def without_id(job: Job) -> Job:
    """Return the content of a job, whatever its id."""
    return replace(job, id="")
