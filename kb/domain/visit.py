"""Define a visit with its findings, and read it from and write it to a visit file.

>>> visit = visit_from({"date": "2026-03-04", "source": {"make": "Norwell", "model": "NV40-210"},
...                     "jacks": [{"form": "toslink", "marking": "OPTICAL OUT"}]})
>>> visit.findings[0].jack.direction.value, visit.findings[0].inferred
('output', ('direction', 'signal'))
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import date as Day
from datetime import timedelta
from typing import Any, ClassVar, Final, Protocol, TypeVar

from kb.base import clock, text
from kb.base.errors import BadInput, inside
from kb.base.messages import Said, Wording
from kb.base.validation import Fields, listed
from kb.domain import marking
from kb.domain.jack import Jack
from kb.domain.kinds import (
    Attachment,
    CalendarDay,
    DeclaredField,
    Flag,
    Identifier,
    Inputs,
    Line,
    ListOf,
    Name,
    Note,
    Number,
    OneOf,
    Part,
    ValueKind,
    Whole,
    declared,
    fields_of,
    part_of,
    read_object,
    take_fields,
    write_object,
)
from kb.domain.language import ENGLISH, Language
from kb.domain.words import (
    WORKED,
    Basis,
    Direction,
    Display,
    DriverInput,
    Form,
    Format,
    Kind,
    Level,
    Outcome,
    Signal,
    Speakers,
)

JACKS: Final = 64  #: jacks on a panel, at most
ATTACHED: Final = 65_536  #: characters of readings or of a case, as JSON
ITEMS: Final = 16  #: items used at one jack, at most
SUPERSEDES: Final = 64  #: visits that one visit supersedes, at most
INITIALS: Final = 40  #: characters that say who was there
FIRST_YEAR: Final = 1930  #: before there were television sets to buy
LAST_YEAR: Final = 2200  #: that a book holds; what is entered is held to next year
SIZES: Final = (1.0, 200.0)  #: picture diagonal in inches

#: The fields of a jack that the panel reader infers from form and marking.
INFERRED: Final = ("direction", "signal", "level")

THE_VISIT: Final = Said("place/the-visit")  #: where something is wrong with the one visit that is meant
_YEAR: Final = Whole(FIRST_YEAR, LAST_YEAR, Said("expected/year", first=FIRST_YEAR, last=LAST_YEAR))
_DIAGONAL: Final = Number(*SIZES, Said("expected/diagonal", low=f"{SIZES[0]:g}", high=f"{SIZES[1]:g}"))


@dataclass(frozen=True, slots=True)
class Source:
    """The device whose sound is wanted. Unknown stays None; ``size_in`` is inches of diagonal."""

    make: str = field(metadata=declared(Name(Said("expected/make")), "the make"))
    model: str = field(metadata=declared(Name(Said("expected/model")), "the model as printed on the label"))
    kind: Kind = field(default=Kind.TELEVISION, metadata=declared(OneOf(Kind), "what the source is"))
    display: Display | None = field(
        default=None, metadata=declared(OneOf(Display), "how a television shows its picture")
    )
    year: int | None = field(default=None, metadata=declared(_YEAR, "the year of make"))
    size_in: float | None = field(
        default=None, metadata=declared(_DIAGONAL, "the picture's diagonal in inches")
    )

    @property
    def key(self) -> str:
        """The identity of the set: normalised make and model, ``NORWELL/NV40210``."""
        return set_key(self.make, self.model)


def set_key(make: str, model: str) -> str:
    """Two spellings with the same key are the same set.

    >>> set_key("norwell", "NV 40-210") == set_key("NORWELL", "nv40/210")
    True
    """
    return f"{text.squeezed(make)}/{text.squeezed(model)}"


@dataclass(frozen=True, slots=True)
class Driver:
    """The loop amplifier that was there, with its inputs."""

    name: str = field(
        default="", metadata=declared(Line(), "what the driver is called", private=True, column="driver")
    )
    inputs: tuple[DriverInput, ...] = field(
        default=(), metadata=declared(Inputs(), "the inputs that the driver has")
    )


@dataclass(frozen=True, slots=True)
class Finding:
    """What one visit says of one jack. ``taken`` is None if nobody looked."""

    jack: Jack
    speakers: Speakers = field(
        default=Speakers.UNKNOWN,
        metadata=declared(OneOf(Speakers), "what the set's own speakers do while the jack is used"),
    )
    taken: bool | None = field(
        default=None, metadata=declared(Flag(), "whether something else is plugged in here")
    )
    outcome: Outcome = field(
        default=Outcome.NOT_TRIED, metadata=declared(OneOf(Outcome), "what came of using the jack")
    )
    items: tuple[str, ...] = field(
        default=(), metadata=declared(ListOf(Name(), ITEMS), "the items that connected it")
    )
    input: DriverInput | None = field(
        default=None, metadata=declared(OneOf(DriverInput), "the driver's input that was used")
    )
    setting: str = field(
        default="", metadata=declared(Line(text.SETTING), "the menu item that had to be set")
    )
    note: str = field(
        default="", metadata=declared(Note(), "free text on this jack", private=True, column="jack_note")
    )
    inferred: tuple[str, ...] = ()
    """Which of direction, signal and level the panel reader inferred from form and marking."""

    @property
    def remedied(self) -> bool:
        """Whether it failed despite a remedy: a setting, or PCM where there was no sound."""
        pcm = WORKED.get(self.outcome) == 0 and self.jack.format is Format.PCM
        return pcm or bool(text.squeezed(self.setting))

    def why(self, language: Language = ENGLISH) -> str:
        """How it is known which way the sound goes, for people."""
        headphone = self.jack.signal is Signal.HEADPHONE and "signal" not in self.inferred
        if "direction" not in self.inferred or headphone:
            return language("finding/why/as-you-say")
        if self.jack.signal in marking.BY_KIND:
            return language("finding/why/kind")
        reading = marking.read(self.jack.form, self.jack.marking, self.jack.colour)
        if reading.direction is self.jack.direction:
            return reading.why(language)
        if self.jack.direction is Direction.UNCLEAR:
            return language("marking/plugs-in")
        return language("finding/why/sounded" if self.outcome in _SOUNDED else "finding/why/other-marks")


class _SomeDriver(Part):
    """A driver; None if it has neither name nor inputs."""

    def read(self, value: object, place: Wording) -> Driver | None:
        driver = read_object(Driver, value, place, self.expected)
        return driver if driver != Driver() else None


class _Jacks(ValueKind):
    """The findings of a visit, a jack each."""

    expected = Said("expected/list-of-jacks")

    def read(self, value: object, _: Wording) -> tuple[Finding, ...]:
        return listed(finding_from, JACKS, each="place/jack")(value, "jack")


@dataclass(frozen=True, slots=True)
class Visit:
    """One look at one source by one person on one day. ``id`` is empty until the store gives one."""

    source: Source = field(
        metadata=declared(
            Part(Source, Said("expected/object-with", fields="make", last="model")),
            "the device whose sound is wanted",
        )
    )
    date: Day = field(metadata=declared(CalendarDay(), "the day of the visit"))
    basis: Basis = field(
        default=Basis.SEEN,
        metadata=declared(OneOf(Basis), "what the visit's word rests on; tested where a jack was tried"),
    )
    findings: tuple[Finding, ...] = field(
        default=(), metadata=declared(_Jacks(), "what was found, a jack each", key="jacks")
    )
    driver: Driver | None = field(
        default=None,
        metadata=declared(
            _SomeDriver(Driver, "an object with name and inputs"), "the loop driver that was there"
        ),
    )
    id: str = field(default="", metadata=declared(Identifier(), "the id that the book gave"))
    supersedes: tuple[str, ...] = field(
        default=(),
        metadata=declared(
            ListOf(Identifier(), SUPERSEDES, distinct=True), "ids of visits that this one takes the place of"
        ),
    )
    by: str = field(
        default="", kw_only=True, metadata=declared(Line(INITIALS), "who was there", private=True)
    )
    job: str = field(default="", kw_only=True, metadata=declared(Line(), "the job's reference", private=True))
    note: str = field(
        default="", kw_only=True, metadata=declared(Note(), "free text on the visit", private=True)
    )
    readings: str = field(
        default="",
        kw_only=True,
        metadata=declared(Attachment(ATTACHED), "the readings of the loop", private=True),
    )
    """The readings file of the loop as canonical JSON (``kb.loop.readings_file`` reads it), "" for none."""
    case: str = field(
        default="",
        kw_only=True,
        metadata=declared(Attachment(ATTACHED), "the fault that mending confirmed", private=True),
    )
    """The fault that mending confirmed, as canonical JSON (``kb.isolate.confirmed_from`` reads it)."""

    @property
    def rank(self) -> tuple[int, Day, str]:
        """Who is believed when visits disagree: basis first, then date; the id breaks ties for good."""
        return self.basis.weight, self.date, self.id


def plain_fields() -> tuple[DeclaredField, ...]:
    """The fields of a visit itself that people fill in: no parts, no ids, no data that goes with it."""
    return tuple(
        one
        for one in fields_of(Visit)
        if part_of(one) is None
        and not isinstance(one.kind, Attachment)
        and one.key not in ("jacks", "id", "supersedes")
    )


# -- reading ---------------------------------------------------------------------------------------


def visit_from(data: object, place: Wording = THE_VISIT, *, recorded: bool = False) -> Visit:
    """The visit that ``data`` (parsed JSON or TOML) describes.

    ``recorded``: it is in a book already, so days and years in the future are taken as they are: a clock
    that was wrong, then or now, makes no book unreadable. Raises BadInput naming the field, what was seen
    and what was expected.
    """
    given = Fields(data, place, Said("expected/object-with", fields="date", last="source"), bare=True)
    try:
        found = take_fields(Visit, given)
        given.end()
        if not recorded:
            _refuse_future(found)
    except BadInput as mistake:
        raise mistake.within(place) from None
    found["findings"] = read_together(found.get("findings", ()), found["source"].kind)
    tried = any(finding.outcome is not Outcome.NOT_TRIED for finding in found.get("findings", ()))
    visit = Visit(**{"basis": Basis.TESTED if tried else Basis.SEEN, **found})
    if visit.id and visit.id in visit.supersedes:
        raise BadInput(inside(place, "supersedes"), visit.id, Said("expected/id-of-another-visit"))
    return visit


def read_together(findings: Sequence[Finding], kind: Kind) -> tuple[Finding, ...]:
    """Return the findings of a panel with what each mark means beside the others and at this source."""
    return at_source(tuple(_doubted(one, kind) for one in _in_their_language(findings)), kind)


def _doubted(one: Finding, kind: Kind) -> Finding:
    """The finding, with a direction that is left open where the mark may name the television's output."""
    jack = one.jack
    believed = (
        "direction" not in one.inferred or jack.direction is not Direction.OUTPUT or one.outcome in _SOUNDED
    )
    if believed or not marking.from_television(kind, jack.form, jack.marking):
        return one
    return replace(one, jack=replace(jack, direction=Direction.UNCLEAR))


def _in_their_language(findings: Sequence[Finding]) -> Iterator[Finding]:
    """The findings of a panel: what a mark alone left unclear is read in the language of the others."""
    spoken = [marking.languages_of(one.jack.marking) for one in findings]
    for number, one in enumerate(findings):
        jack = one.jack
        others = frozenset().union(*spoken[:number], *spoken[number + 1 :])
        if others and jack.direction is Direction.UNCLEAR and "direction" in one.inferred:
            reading = marking.read(jack.form, jack.marking, jack.colour, others)
            if reading.direction is not Direction.UNCLEAR:
                signal = jack.signal or (reading.signal if reading.direction is Direction.OUTPUT else None)
                inferred = dict.fromkeys((*one.inferred, *(["signal"] if signal and not jack.signal else [])))
                jack = replace(jack, direction=reading.direction, signal=signal)
                one = replace(one, jack=jack, inferred=tuple(inferred))
        yield one


class _Read(Protocol):
    """A jack with the names of its fields that nobody said, of a visit or of a panel."""

    __dataclass_fields__: ClassVar[dict[str, Any]]

    @property
    def jack(self) -> Jack: ...
    @property
    def inferred(self) -> tuple[str, ...]: ...


_Seen = TypeVar("_Seen", bound=_Read)


def at_source(seen: Sequence[_Seen], kind: Kind) -> tuple[_Seen, ...]:
    """Return the jacks of one source: a box's HDMI output and a computer's USB give sound, whatever the mark.

    What a person said of direction or signal stays.
    """
    alone = sum(one.jack.form is Form.HDMI for one in seen) == 1

    def told(one: _Seen) -> _Seen:
        jack, inferred = one.jack, set(one.inferred)
        signal = marking.by_kind(kind, jack.form, jack.marking, alone=alone)
        if signal is None or ("direction" not in inferred and jack.direction is not Direction.OUTPUT):
            return one
        if jack.signal is None or "signal" in inferred:
            jack, inferred = replace(jack, signal=signal), inferred | {"signal"}
        jack = replace(jack, direction=Direction.OUTPUT)
        return replace(one, jack=jack, inferred=tuple(name for name in INFERRED if name in inferred))

    return tuple(told(one) for one in seen)


def visits_from(data: object, place: Wording = "") -> list[Visit]:
    """One visit or a list of them, each named by its number in messages; ``place`` is that of all."""
    if isinstance(data, Sequence) and not isinstance(data, (str, bytes)):
        return [
            visit_from(one, inside(place, Said("place/visit", number=number)))
            for number, one in enumerate(data, 1)
        ]
    return [visit_from(data, inside(place, THE_VISIT))]


def finding_from(value: object, place: Wording) -> Finding:
    """One entry of ``jacks``.

    What is not given is inferred from form and marking where these settle it; a jack that sound came out
    of is an output whatever its mark.
    """
    given = Fields(value, place, Said("expected/object-with", fields="form", last="marking"), bare=True)
    try:
        printed, found = take_fields(Jack, given), take_fields(Finding, given)
        given.end()
    except BadInput as mistake:
        raise mistake.within(place) from None
    inferred = _infer(printed, found.get("outcome", Outcome.NOT_TRIED))
    return Finding(jack=Jack(**printed), **found, inferred=tuple(inferred))


def _infer(jack: dict[str, Any], outcome: Outcome) -> list[str]:
    """Put what form and marking settle into the fields of a jack; the names of the fields that were put."""
    form, mark = jack["form"], jack.get("marking", "")
    reading = marking.read(form, mark, jack.get("colour"))
    inferred = []
    if "direction" not in jack:
        # Who calls it a headphone jack vouches for an output: no input takes that sound.
        headphone = jack.get("signal") is Signal.HEADPHONE and reading.direction is Direction.UNCLEAR
        jack["direction"] = Direction.OUTPUT if outcome in _SOUNDED or headphone else reading.direction
        inferred.append("direction")
    if "signal" not in jack and jack["direction"] is not Direction.INPUT:
        signal = reading.signal or _signal_of(form, mark, jack["direction"])
        if signal:
            jack["signal"] = signal
            inferred.append("signal")
    if jack.get("level", Level.UNKNOWN) is Level.UNKNOWN and reading.level is not Level.UNKNOWN:
        jack["level"] = reading.level
        inferred.append("level")
    return inferred


#: The programme came out of the jack; hum and silence come out of inputs too.
_SOUNDED: Final = frozenset({Outcome.CARRIED, Outcome.WEAK, Outcome.DISTORTED, Outcome.DELAYED})


def _signal_of(form: Form, mark: str, direction: Direction) -> Signal | None:
    """The signal of an output that a person vouches for, if form and mark leave no other."""
    if direction is not Direction.OUTPUT or marking.says_digital(mark):
        return None
    return None if form.light else form.gives


def _refuse_future(found: dict[str, Any]) -> None:
    if in_future(found["date"]):
        raise BadInput("date", found["date"], Said("expected/date-to", today=clock.today().isoformat()))
    if found["source"].year is not None:
        read_year(found["source"].year, "year")


def in_future(day: Day) -> bool:
    """Is it after tomorrow, by this machine's clock? (Clocks on both sides of midnight agree.)"""
    return day > min(clock.today(), Day.max - timedelta(days=1)) + timedelta(days=1)


def read_year(value: object, place: Wording) -> int:
    """A year of make, 1930 to next year."""
    latest = clock.today().year + 1
    return Whole(FIRST_YEAR, latest, Said("expected/year", first=FIRST_YEAR, last=latest)).read(value, place)


def read_size(value: object, place: Wording) -> float:
    """A picture's diagonal in inches."""
    return _DIAGONAL.read(value, place)


def read_id(value: object, place: Wording) -> str:
    """A UUID in its usual lower-case form."""
    return Identifier().read(value, place)


# -- writing ---------------------------------------------------------------------------------------


def visit_to(visit: Visit) -> dict[str, Any]:
    """The visit as a plain dictionary with the keys of a visit file; reads back to an equal visit.

    What is unknown or was inferred is left out, so that a later, wiser panel reader reads the mark again.
    """
    written = write_object(visit)
    return {**written, "jacks": [finding_to(finding) for finding in visit.findings]}


def finding_to(finding: Finding) -> dict[str, Any]:
    """One entry of ``jacks`` as a plain dictionary."""
    jack = {key: value for key, value in write_object(finding.jack).items() if key not in finding.inferred}
    return {**jack, **write_object(finding)}
