"""Read job files: the jobs of a day, known facts of each, the stock, and the materials of their loops.

>>> day = day_from([{"make": "Norwell", "year": 2014, "inputs": ["line-3.5"], "length_m": 3}])
>>> day.jobs[0].length_m, day.jobs[0].speakers_needed
(3.0, True)
>>> day_from([{"make": "Norwell"}])
Traceback (most recent call last):
...
kb.base.errors.BadInput: job 1, inputs: saw none, expected the inputs of the driver, such as line-3.5
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
from kb.base.errors import BadInput, described
from kb.base.validation import Fields, keyed, listed, number, truth, whole
from kb.catalogue import catalogue
from kb.domain.visit import Source, read_year
from kb.domain.words import Display, DriverInput, Kind, Signal

T = TypeVar("T")

PIECE, METRE = UNITS = ("piece", "m")  #: unit of a line's count
MOST_LINES: Final = 100  #: of one loop
MOST_COUNT: Final = 10_000  #: of one line


@dataclass(frozen=True, slots=True)
class Material:
    """Hold a line of a loop's list: a count of pieces or metres (``unit``) of an item.

    Wire and fixings are used up; a ``tool`` serves every job of the day.
    """

    item: str
    count: int
    tool: bool = False
    unit: str = PIECE


def materials_from(data: object, place: str = "loop") -> tuple[Material, ...]:
    """Return the lines from the output of ``jackfield loop --json``, or from its ``items`` alone.

    Raises BadInput naming the line, the value and the expected value.
    """
    lines = data.get("items") if isinstance(data, Mapping) else data
    expected = "what 'jackfield loop --json' prints, or its items"
    return listed(_material, MOST_LINES, expected=expected, each="{place}, item {number}")(lines, place)


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


def _unit(value: object, place: str) -> str:
    if value not in UNITS:
        raise BadInput(place, value, f"one of {', '.join(UNITS)}")
    return str(value)


def _material(data: object, place: str) -> Material:
    fields = Fields(data, place, "an object with item and count")
    material = Material(
        fields.need("item", lambda value, at: text.line(value, at, empty=False)),
        fields.need("count", whole(1, MOST_COUNT, f"a whole number from 1 to {MOST_COUNT}")),
        fields.take("tool", truth, False),
        fields.take("unit", _unit, PIECE),
    )
    fields.end()
    return material


MOST_JOBS: Final = 200  #: on one list
LENGTH: Final = 1.5  #: metres of cable from set to driver if the job gives none (common practice)
LONGEST: Final = 100.0  #: metres
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
    name: str = ""
    answers: frozenset[tuple[Signal, bool]] = frozenset()
    """Answers about outputs that somebody looked for during a call: are they there?"""
    materials: tuple[Material, ...] = ()
    """The materials of its loop, if there is one."""
    id: str = ""  #: its name on the phone page, "" if it has none

    @property
    def title(self) -> str:
        """Return a title of the job: its set as far as known."""
        named = " ".join(part for part in (self.source.make, self.source.model) if part)
        return named or self.source.kind.label


@dataclass(frozen=True, slots=True)
class Day:
    """Hold jobs in their order, items in stock with their counts, and prices that replace the catalogue's.

    ``done``: finished jobs of the day, which need nothing more.
    """

    jobs: tuple[Job, ...]
    have: Mapping[str, int] = field(default_factory=dict)
    prices: Mapping[str, float] = field(default_factory=dict)
    done: tuple[Job, ...] = ()


def day_from(data: object, place: str = "") -> Day:
    """Return the day of a parsed job file: a list of jobs, or an object with jobs, have, prices and done.

    Raises BadInput naming the job and the field.
    """
    place = place or "job file"
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


def job_from(data: object, place: str = "job") -> Job:
    """Return one entry of a job file. Raises BadInput naming the field."""
    fields = Fields(data, place, "an object with inputs and what is known of the set", bare=True)
    try:
        speakers = fields.take("speakers", _needed, None)
        job = Job(
            source=Source(
                make=fields.take("make", text.line, ""),
                model=fields.take("model", text.line, ""),
                kind=fields.take("kind", Kind.read, Kind.TELEVISION),
                display=fields.take("display", Display.read, None),
                year=fields.take("year", read_year, None),
            ),
            inputs=fields.need("inputs", _inputs),
            speakers_needed=speakers is not False,
            speakers_asked=speakers is not None,
            answers=frozenset(fields.take("answers", _answers, {}).items()),
            length_m=fields.take("length_m", _metres, LENGTH),
            taken=fields.take("taken", _signals, None),
            name=fields.take("job", text.line, ""),
            materials=fields.take("materials", materials_from, ()),
            id=fields.take("id", text.line, ""),
        )
        fields.end()
    except BadInput as mistake:
        raise mistake.within(place) from None
    return job


_FILE: Final = "a list of jobs, or an object with jobs"


def _jobs(value: object, place: str) -> tuple[Job, ...]:
    if isinstance(value, Sequence) and not value:
        raise BadInput(place, described("no jobs"), "one job at least")
    if isinstance(value, Sequence) and len(value) > MOST_JOBS:
        seen = described(f"{len(value)} jobs")
        raise BadInput(place, seen, f"at most {MOST_JOBS}; pack for one day at a time")
    return listed(job_from, MOST_JOBS, expected=_FILE, each="job {number}")(value, place)


_DONE: Final = listed(job_from, MOST_JOBS, expected="a list of jobs", each="{place}, job {number}")


def _inputs(value: object, place: str) -> tuple[DriverInput, ...]:
    if not value:
        raise BadInput(place, described("none"), "the inputs of the driver, such as line-3.5")
    return DriverInput.read_all(value, place)


def _needed(value: object, place: str) -> bool:
    if value not in ("needed", "free"):
        raise BadInput(place, value, "needed or free")
    return value == "needed"


def _yes(value: object, place: str) -> bool:
    if value not in (True, False, "yes", "no"):
        raise BadInput(place, value, "yes or no")
    return value in (True, "yes")


_answers: Final = keyed(Signal.read, _yes, len(Signal))


def _signals(value: object, place: str) -> frozenset[Signal]:
    return frozenset(
        listed(Signal.read, len(Signal), expected="a list of signals, such as optical")(value, place)
    )


def _stock(read: Callable[[object, str], T]) -> Callable[[object, str], dict[str, T]]:
    def item(value: object, place: str) -> str:
        name = text.line(value, place, empty=False)
        catalogue().item(name, place)
        return name

    return keyed(item, read, MOST_ITEMS)


_metres: Final = number(
    0,
    LONGEST,
    f"metres from set to driver, a bare number above 0, at most {LONGEST:g} (10 ft are 3.05)",
    above=True,
)
_count: Final = whole(1, MOST_HAVE, f"a count, 1 to {MOST_HAVE}; leave out what is not there")
_price: Final = number(0, MOST_PRICE, "a price above 0", above=True)
