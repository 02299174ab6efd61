"""Read job files: the jobs of a day, known facts of each, the stock, and the materials of their loops.

>>> day = day_from([{"make": "Norwell", "year": 2014, "inputs": ["line-3.5"], "length_m": 3}])
>>> day.jobs[0].length_m, day.jobs[0].speakers_needed
(3.0, True)
>>> day_from([{"make": "Norwell"}])
Traceback (most recent call last):
...
kb.base.errors.BadInput: job 1, inputs: missing, expected the inputs of the driver, such as line-3.5
>>> laid = materials_from({"items": [{"item": "wire AWG 18", "count": 24, "unit": "m"},
...                                  {"item": "ladder", "count": 1, "tool": True}]})
>>> [(each.item, each.count) for each in together([laid, laid])]
[('wire AWG 18', 48), ('ladder', 1)]
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Final, TypeVar

from kb.base import text
from kb.base.errors import NOTHING, BadInput, inside
from kb.base.messages import Said, Wording
from kb.base.validation import Fields, keyed, listed, number, whole
from kb.catalogue import catalogue
from kb.domain import job as kept
from kb.domain.job import Listening, Materials
from kb.domain.job import Material as Material
from kb.domain.visit import Source
from kb.domain.words import DriverInput, Signal

T = TypeVar("T")


def materials_from(data: object, place: Wording = "loop") -> tuple[Material, ...]:
    """Return the lines from the output of ``jackfield loop --json``, or from its ``items`` alone.

    Raises BadInput naming the line, the value and the expected value.
    """
    return Materials().read(data, place)


def together(loops: Iterable[Sequence[Material]]) -> tuple[Material, ...]:
    """Join the lists of several loops: add up used items; of tools, take the most that one job needs."""
    found: dict[tuple[str, str], Material] = {}
    for loop in loops:
        for one in loop:
            before = found.get((one.item, one.unit))
            count = 0 if before is None else before.count
            found[one.item, one.unit] = replace(
                one, count=max(count, one.count) if one.tool else count + one.count
            )
    return tuple(found.values())


MOST_JOBS: Final = 200  #: on one list
LENGTH: Final = 1.5  #: metres of cable from set to driver if the job gives none (common practice)
MOST_HAVE: Final = 500  #: of one item in stock
MOST_ITEMS: Final = 500  #: kinds of item in stock or priced
MOST_PRICE: Final = 1e6


@dataclass(frozen=True, slots=True)
class Job:
    """Describe one visit to come. ``taken`` holds the signals in use, all others being free; None: not asked.

    ``source`` has a blank make or model if unknown. ``length_m`` is in metres from set to driver.
    """

    source: Source
    inputs: tuple[DriverInput, ...]
    speakers_needed: bool = True
    speakers_asked: bool = False
    """Was somebody asked whether the set's own speakers are needed?"""
    length_m: float = LENGTH
    taken: frozenset[Signal] | None = None
    free: frozenset[Signal] = frozenset()
    """Signals that nobody uses, if ``taken`` is None."""
    name: str = ""
    answers: frozenset[tuple[Signal, bool]] = frozenset()
    """Answers about outputs that somebody looked for during a call: are they there?"""
    materials: tuple[Material, ...] = ()
    """The materials of its loop, if there is one."""
    id: str = ""  #: its name on the phone page, "" if it has none

    @property
    def title(self) -> str:
        """Return make and model as far as known; "" if neither is."""
        return " ".join(part for part in (self.source.make, self.source.model) if part)


@dataclass(frozen=True, slots=True)
class Day:
    """Hold jobs in their order, items in stock with their counts, and prices that replace the catalogue's.

    ``done``: finished jobs of the day, which need nothing more.
    """

    jobs: tuple[Job, ...]
    have: Mapping[str, int] = field(default_factory=dict)
    prices: Mapping[str, float] = field(default_factory=dict)
    done: tuple[Job, ...] = ()


def day_from(data: object, place: Wording = "") -> Day:
    """Return the day of a parsed job file: a list of jobs, or an object with jobs, have, prices and done.

    Raises BadInput naming the job and the field.
    """
    place = place or Said("place/job-file")
    if not isinstance(data, Mapping):
        return Day(_jobs(data, place))
    fields = Fields(data, place, _FILE, bare=True)
    day = Day(
        fields.need("jobs", lambda value, _: _jobs(value, place)),
        fields.take("have", _stock(_count), {}),
        fields.take("prices", _stock(_price), {}),
        fields.take("done", _DONE, ()),
    )
    fields.end()
    return day


def job_from(data: object, place: Wording = "job") -> Job:
    """Return one entry of a job file that has one set. Raises BadInput naming the field."""
    return jobs_of(kept.job_from(data, place), place=place)[0]


def jobs_of(job: kept.Job, usual: Sequence[DriverInput] = (), *, place: Wording = "job") -> tuple[Job, ...]:
    """Return what has to be connected at a job: an entry for each of its sets.

    ``usual``: the inputs of the driver if the job does not say. Raises BadInput without any.
    """
    inputs = job.inputs or tuple(usual)
    if not inputs:
        raise BadInput(inside(place, "inputs"), NOTHING, Said("expected/inputs-such-as", example="line-3.5"))
    return tuple(
        Job(
            source=one.source,
            inputs=inputs,
            speakers_needed=job.speakers is not Listening.FREE,
            speakers_asked=job.speakers is not None,
            length_m=LENGTH if job.length_m is None else job.length_m,
            taken=None if one.taken is None else frozenset(one.taken),
            free=frozenset(one.free),
            name=job.reference,
            answers=frozenset(one.answers),
            materials=() if number else job.materials,
            id=job.id,
        )
        for number, one in enumerate(job.known_sets)
    )


_FILE: Final = Said("expected/jobs")


def _jobs(value: object, place: Wording) -> tuple[Job, ...]:
    if isinstance(value, Sequence) and not value:
        raise BadInput(place, NOTHING, Said("expected/one-job"))
    if isinstance(value, Sequence) and len(value) > MOST_JOBS:
        seen = Said("seen/jobs", count=len(value))
        raise BadInput(place, seen, Said("expected/jobs-of-one-day", most=MOST_JOBS))
    return _entries("place/job-nth")(value, place)


def _entries(each: str) -> Callable[[object, Wording], tuple[Job, ...]]:
    """Return a reader of the jobs of a list, each with all its sets."""

    def entry(value: object, place: Wording) -> tuple[Job, ...]:
        return jobs_of(kept.job_from(value, place), place=place)

    read = listed(entry, MOST_JOBS, expected=_FILE, each=each)
    return lambda value, place: tuple(one for some in read(value, place) for one in some)


def read_stock(value: object, place: Wording) -> dict[str, int]:
    """Return counts by item. Raises BadInput naming an unknown item or a wrong count."""
    return _stock(_count)(value, place)


_DONE: Final = _entries("place/job-of")


def _stock(read: Callable[[object, Wording], T]) -> Callable[[object, Wording], dict[str, T]]:
    def item(value: object, place: Wording) -> str:
        name = text.line(value, place, empty=False)
        catalogue().item(name, place)
        return name

    return keyed(item, read, MOST_ITEMS)


_count: Final = whole(1, MOST_HAVE, Said("expected/count-or-left-out", most=MOST_HAVE))
_price: Final = number(0, MOST_PRICE, Said("expected/price"), above=True)
