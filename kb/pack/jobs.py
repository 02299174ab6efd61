"""Read job files: the jobs of a day, what is known of each, and the stock.

>>> day = day_from([{"make": "Norwell", "year": 2014, "inputs": ["line-3.5"], "length_m": 3}])
>>> day.jobs[0].length_m, day.jobs[0].speakers_needed
(3.0, True)
>>> day_from([{"make": "Norwell"}])
Traceback (most recent call last):
...
kb.base.errors.BadInput: job 1, inputs: saw none, expected the inputs of the driver, such as line-3.5
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Final

from kb.base import text
from kb.base.errors import BadInput, described, kind_of
from kb.base.validation import Fields, listed, number, truth, whole
from kb.catalogue import catalogue
from kb.domain.visit import Source, read_year
from kb.domain.words import Display, DriverInput, Kind, Signal

MOST_LINES: Final = 100  #: of one loop
MOST_COUNT: Final = 10_000  #: of one line


@dataclass(frozen=True, slots=True)
class Material:
    """A line of a loop's list. Wire and fixings are used up; a ``tool`` does for every job of the day."""

    item: str
    count: int
    tool: bool = False


def materials_from(data: object, place: str = "loop") -> tuple[Material, ...]:
    """The lines of what ``jackfield loop --json`` prints, or of its ``items`` alone.

    Raises BadInput naming the line, what was seen and what was expected.
    """
    lines = data.get("items") if isinstance(data, Mapping) else data
    expected = "what 'jackfield loop --json' prints, or its items"
    return listed(_material, MOST_LINES, expected=expected, each="{place}, item {number}")(lines, place)


def together(loops: Iterable[Sequence[Material]]) -> tuple[Material, ...]:
    """One list for several loops: what is used up adds up, of tools the most that one job asks for."""
    found: dict[str, Material] = {}
    for loop in loops:
        for one in loop:
            before = found.get(one.item)
            count = 0 if before is None else before.count
            found[one.item] = replace(one, count=max(count, one.count) if one.tool else count + one.count)
    return tuple(found.values())


def _material(data: object, place: str) -> Material:
    fields = Fields(data, place, "an object with item and count")
    material = Material(
        fields.need("item", lambda value, at: text.line(value, at, empty=False)),
        fields.need("count", whole(1, MOST_COUNT, f"a whole number from 1 to {MOST_COUNT}")),
        fields.take("tool", truth, False),
    )
    fields.end()
    return material


MOST_JOBS: Final = 24  #: on one list
LENGTH: Final = 1.5  #: metres of cable from set to driver where nothing is said (common practice)
LONGEST: Final = 100.0  #: metres
MOST_HAVE: Final = 500  #: of one item in stock
MOST_ITEMS: Final = 500  #: kinds of item in stock or priced
MOST_PRICE: Final = 1e6


@dataclass(frozen=True, slots=True)
class Job:
    """One visit to come. ``taken`` None: not asked; else the signals in use, all others being free.

    ``source`` has blank make or model where they are not known. ``length_m`` metres from set to driver.
    """

    source: Source
    inputs: tuple[DriverInput, ...]
    speakers_needed: bool = True
    length_m: float = LENGTH
    taken: frozenset[Signal] | None = None
    name: str = ""
    materials: tuple[Material, ...] = ()
    """What its loop takes, where one is laid."""

    @property
    def title(self) -> str:
        """What to call the job: its set as far as known."""
        named = " ".join(part for part in (self.source.make, self.source.model) if part)
        return named or self.source.kind.label


@dataclass(frozen=True, slots=True)
class Day:
    """Jobs in their order, items in stock with their counts, prices that stand above the catalogue's."""

    jobs: tuple[Job, ...]
    have: Mapping[str, int] = field(default_factory=dict)
    prices: Mapping[str, float] = field(default_factory=dict)


def day_from(data: object, place: str = "") -> Day:
    """The day that a parsed job file describes: a list of jobs, or an object with jobs, have and prices.

    Raises BadInput naming the job and the field.
    """
    have: Mapping[str, int] = {}
    prices: Mapping[str, float] = {}
    listed = data
    if isinstance(data, Mapping):
        _known(data, ("jobs", "have", "prices"), place or "job file")
        listed = data.get("jobs")
        have = _numbers(data.get("have"), "have", _count)
        prices = _numbers(data.get("prices"), "prices", _price)
    if not isinstance(listed, Sequence) or isinstance(listed, (str, bytes)):
        raise BadInput(place or "job file", kind_of(listed), "a list of jobs, or an object with jobs")
    if not listed:
        raise BadInput(place or "job file", described("no jobs"), "one job at least")
    if len(listed) > MOST_JOBS:
        raise BadInput(
            place or "job file",
            described(f"{len(listed)} jobs"),
            f"at most {MOST_JOBS}; pack for one day at a time",
        )
    jobs = tuple(job_from(one, f"job {number}") for number, one in enumerate(listed, 1))
    return Day(jobs, have, prices)


_FIELDS: Final = (
    "make",
    "model",
    "kind",
    "year",
    "display",
    "inputs",
    "speakers",
    "length_m",
    "taken",
    "job",
    "materials",
)


def job_from(data: object, place: str = "job") -> Job:
    """One entry of a job file. Raises BadInput naming the field."""
    if not isinstance(data, Mapping):
        raise BadInput(place, data, "an object with inputs and what is known of the set")
    _known(data, _FIELDS, place)

    def given(key: str) -> Any:
        return data.get(key)

    try:
        if not given("inputs"):
            raise BadInput("inputs", described("none"), "the inputs of the driver, such as line-3.5")
        speakers = given("speakers")
        if speakers not in (None, "needed", "free"):
            raise BadInput("speakers", speakers, "needed or free")
        display, year, kind = given("display"), given("year"), given("kind")
        return Job(
            source=Source(
                make=text.line(given("make") or "", "make"),
                model=text.line(given("model") or "", "model"),
                kind=Kind.TELEVISION if kind is None else Kind.read(kind, "kind"),
                display=None if display is None else Display.read(display, "display"),
                year=None if year is None else read_year(year, "year"),
            ),
            inputs=DriverInput.read_all(given("inputs"), "inputs"),
            speakers_needed=speakers != "free",
            length_m=LENGTH if given("length_m") is None else _metres(given("length_m"), "length_m"),
            taken=None if given("taken") is None else _signals(given("taken")),
            name=text.line(given("job") or "", "job"),
            materials=() if given("materials") is None else materials_from(given("materials"), "materials"),
        )
    except BadInput as mistake:
        raise mistake.within(place) from None


def _known(data: Mapping[Any, Any], fields: Collection[str], place: str) -> None:
    for key in data:
        if key not in fields:
            raise BadInput(f"{place}, unknown field", key, f"one of {', '.join(fields)}")


_metres: Final = number(
    0,
    LONGEST,
    f"metres from set to driver, a bare number above 0, at most {LONGEST:g} (10 ft are 3.05)",
    above=True,
)


def _signals(value: object) -> frozenset[Signal]:
    if not isinstance(value, Sequence) or isinstance(value, (str, bytes)):
        raise BadInput("taken", value, "a list of signals, such as optical")
    return frozenset(Signal.read(one, f"taken {number}") for number, one in enumerate(value, 1))


def _numbers(value: object, place: str, read: Any) -> dict[str, Any]:
    if value is None:
        return {}
    if not isinstance(value, Mapping):
        raise BadInput(place, value, "an object of item and number")
    if len(value) > MOST_ITEMS:
        raise BadInput(place, described(f"{len(value)} items"), f"at most {MOST_ITEMS}")
    found = {
        text.line(key, place, empty=False): read(number, f"{place}, {key}") for key, number in value.items()
    }
    for name in found:
        catalogue().item(name, place)
    return found


_count: Final = whole(1, MOST_HAVE, f"a count, 1 to {MOST_HAVE}; leave out what is not there")
_price: Final = number(0, MOST_PRICE, "a price above 0", above=True)
