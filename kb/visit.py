"""What did one person see of one source on one day?

A visit and its findings, and how they are read from a visit file and written to one.

>>> visit = visit_from({"date": "2026-03-04", "source": {"make": "Norwell", "model": "NV40-210"},
...                     "jacks": [{"form": "toslink", "marking": "OPTICAL OUT"}]})
>>> visit.findings[0].jack.direction.value, visit.findings[0].inferred
('output', ('direction', 'signal'))
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date as Day
from datetime import datetime, timedelta
from functools import partial
from typing import Any, Final, TypeVar
from uuid import UUID

from kb import clock, marking, text
from kb.errors import BadInput, described
from kb.fields import Fields, listed, truth
from kb.panel import Jack
from kb.words import (
    Basis,
    Colour,
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
    Word,
)

JACKS: Final = 64  #: jacks on a panel, at most
ATTACHED: Final = 65_536  #: characters of readings or of a case, as JSON
ITEMS: Final = 16  #: items used at one jack, at most
SUPERSEDES: Final = 64  #: visits that one visit supersedes, at most
FIRST_YEAR: Final = 1930  #: before there were television sets to buy
LAST_YEAR: Final = 2200  #: that a book holds; what is entered is held to next year
SIZES: Final = (1.0, 200.0)  #: picture diagonal in inches
_ISO_DATE: Final = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}\Z")
FIRST_DATE: Final = Day(1970, 1, 1)

W = TypeVar("W", bound=Word)


@dataclass(frozen=True, slots=True)
class Source:
    """The device whose sound is wanted. Unknown stays None; ``size_in`` is inches of diagonal."""

    make: str
    model: str
    kind: Kind = Kind.TELEVISION
    display: Display | None = None
    year: int | None = None
    size_in: float | None = None

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

    name: str = ""
    inputs: tuple[DriverInput, ...] = ()


@dataclass(frozen=True, slots=True)
class Finding:
    """What one visit says of one jack. ``taken`` is None where nobody looked."""

    jack: Jack
    speakers: Speakers = Speakers.UNKNOWN
    taken: bool | None = None
    outcome: Outcome = Outcome.NOT_TRIED
    items: tuple[str, ...] = ()
    input: DriverInput | None = None
    setting: str = ""
    note: str = ""
    inferred: tuple[str, ...] = ()
    """Which of direction, signal and level the panel reader inferred from form and marking."""

    @property
    def why(self) -> str:
        """How it is known which way the sound goes, for people."""
        if "direction" not in self.inferred:
            return "as you say"
        reading = marking.read(self.jack.form, self.jack.marking, self.jack.colour)
        return reading.why if reading.direction is self.jack.direction else "sound came out of it"


@dataclass(frozen=True, slots=True)
class Visit:
    """One look at one source by one person on one day. ``id`` is empty until the store gives one."""

    source: Source
    date: Day
    basis: Basis = Basis.SEEN
    findings: tuple[Finding, ...] = ()
    driver: Driver | None = None
    id: str = ""
    supersedes: tuple[str, ...] = ()
    by: str = field(default="", kw_only=True)
    job: str = field(default="", kw_only=True)
    note: str = field(default="", kw_only=True)
    readings: str = field(default="", kw_only=True)
    """The readings file of the loop as canonical JSON (``kb.loop.measured`` reads it), "" for none."""
    case: str = field(default="", kw_only=True)
    """The fault that mending confirmed, as canonical JSON (``kb.isolate.confirmed_from`` reads it)."""

    @property
    def rank(self) -> tuple[int, Day, str]:
        """Who is believed when visits disagree: basis first, then date; the id breaks ties for good."""
        return self.basis.weight, self.date, self.id


# -- reading ---------------------------------------------------------------------------------------


def visit_from(data: object, place: str = "visit", *, recorded: bool = False) -> Visit:
    """The visit that ``data`` (parsed JSON or TOML) describes; the keys are those of the contract.

    ``recorded``: it stands in a book already, so days and years in the future are taken as they are: a clock
    that was wrong, then or now, makes no book unreadable. Raises BadInput naming the field, what was seen
    and what was expected.
    """
    fields = Fields(data, place, "an object with date and source", bare=True)
    try:
        return _visit(fields, recorded)
    except BadInput as mistake:
        raise mistake.within(place) from None


def visits_from(data: object, place: str = "visit") -> list[Visit]:
    """One visit or a list of them, each named by its number in messages."""
    if isinstance(data, Sequence) and not isinstance(data, (str, bytes)):
        return [visit_from(one, f"{place} {number}") for number, one in enumerate(data, 1)]
    return [visit_from(data, place)]


def _visit(fields: Fields, recorded: bool) -> Visit:
    nothing: tuple[Finding, ...] = ()
    findings = fields.take("jacks", _findings, nothing)
    tried = any(finding.outcome is not Outcome.NOT_TRIED for finding in findings)
    visit = Visit(
        source=fields.need("source", partial(_source, recorded=recorded), "an object with make and model"),
        date=fields.need("date", _day if recorded else read_date, "a date such as 2026-03-04"),
        basis=fields.take("basis", Basis.read, Basis.TESTED if tried else Basis.SEEN),
        findings=findings,
        driver=fields.take("driver", _driver, None),
        id=fields.take("id", read_id, ""),
        supersedes=fields.take("supersedes", _ids, ()),
        by=fields.take("by", _short, ""),
        job=fields.take("job", _line, ""),
        note=fields.take("note", text.note, ""),
        readings=fields.take("readings", read_attached, ""),
        case=fields.take("case", read_attached, ""),
    )
    fields.end()
    if visit.id and visit.id in visit.supersedes:
        raise BadInput("supersedes", visit.id, "the id of another visit")
    return visit


def _source(value: object, place: str, *, recorded: bool = False) -> Source:
    fields = Fields(value, place, "an object with make and model", bare=True)
    source = Source(
        make=fields.need("make", _name, "the make"),
        model=fields.need("model", _name, "the model"),
        kind=fields.take("kind", Kind.read, Kind.TELEVISION),
        display=fields.take("display", Display.read, None),
        year=fields.take("year", _year if recorded else read_year, None),
        size_in=fields.take("size_in", _size, None),
    )
    fields.end()
    return source


def _driver(value: object, place: str) -> Driver | None:
    fields = Fields(value, place, "an object with name and inputs", bare=True)
    driver = Driver(
        name=fields.take("name", _line, ""),
        inputs=fields.take("inputs", DriverInput.read_all, ()),
    )
    fields.end()
    return driver if driver != Driver() else None


def _findings(value: object, _: str) -> tuple[Finding, ...]:
    return listed(finding_from, JACKS)(value, "jack")


def finding_from(value: object, place: str) -> Finding:
    """One entry of ``jacks``.

    What is not given is inferred from form and marking where these settle it; a jack that sound came out
    of is an output whatever its mark.
    """
    fields = Fields(value, place, "an object with form and marking", bare=True)
    try:
        form = fields.need("form", Form.read, "a form such as toslink or rca-pair")
        mark = fields.take("marking", _line, "")
        colour = fields.take("colour", Colour.read, None)
        reading = marking.read(form, mark, colour)
        direction = fields.take("direction", Direction.read, None)
        signal = fields.take("signal", Signal.read, None)
        level = fields.take("level", Level.read, Level.UNKNOWN)
        outcome = fields.take("outcome", Outcome.read, Outcome.NOT_TRIED)
        inferred = []
        if direction is None:
            direction = Direction.OUTPUT if outcome in _SOUNDED else reading.direction
            inferred.append("direction")
        if signal is None and direction is not Direction.INPUT:
            signal = reading.signal or _signal_of(form, mark, direction)
            inferred += ["signal"] if signal else []
        if level is Level.UNKNOWN and reading.level is not Level.UNKNOWN:
            level = reading.level
            inferred.append("level")
        finding = Finding(
            jack=Jack(
                form=form,
                marking=mark,
                direction=direction,
                signal=signal,
                level=level,
                format=fields.take("format", Format.read, Format.UNKNOWN),
                colour=colour,
            ),
            speakers=fields.take("speakers", Speakers.read, Speakers.UNKNOWN),
            taken=fields.take("taken", truth, None),
            outcome=outcome,
            items=fields.take("items", listed(_name, ITEMS), ()),
            input=fields.take("input", DriverInput.read, None),
            setting=fields.take("setting", _setting, ""),
            note=fields.take("note", text.note, ""),
            inferred=tuple(inferred),
        )
        fields.end()
    except BadInput as mistake:
        raise mistake.within(place) from None
    return finding


#: The programme came out of the jack; hum and silence come out of inputs too.
_SOUNDED: Final = frozenset({Outcome.CARRIED, Outcome.WEAK, Outcome.DISTORTED, Outcome.DELAYED})


def _signal_of(form: Form, mark: str, direction: Direction) -> Signal | None:
    """The signal of an output that somebody vouches for, where form and mark leave no other."""
    if direction is not Direction.OUTPUT or marking.says_digital(mark):
        return None
    return {
        Form.RCA_PAIR: Signal.ANALOG_LINE,
        Form.DIN_5: Signal.ANALOG_LINE,
        Form.SCART: Signal.ANALOG_LINE,
        Form.SPEAKER_TERMINALS: Signal.SPEAKER_LEVEL,
        Form.BLUETOOTH: Signal.WIRELESS,
    }.get(form)


def _line(value: object, place: str) -> str:
    return text.line(value, place)


def _short(value: object, place: str) -> str:
    return text.line(value, place, 40)


def _setting(value: object, place: str) -> str:
    return text.line(value, place, text.SETTING)


def _name(value: object, place: str) -> str:
    name = text.line(value, place, empty=False)
    if not text.squeezed(name):
        raise BadInput(place, name, "letters or digits")
    return name


def _size(value: object, place: str) -> float:
    low, high = SIZES
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not low <= value <= high:
        raise BadInput(place, value, f"inches of picture diagonal, {low:g} to {high:g}")
    return float(value)


def read_attached(value: object, place: str) -> str:
    """An object that goes with a visit, as canonical JSON; "" for an empty one. Others know its meaning."""
    if not isinstance(value, Mapping):
        raise BadInput(place, value, "an object")
    try:
        # A later release writes texts out as they are: what steers a terminal must not be in them. After that
        # two keys may be equal or in another order, so it is read again before it is written.
        written = _canonical(json.loads(text.visible(_canonical(value))))
    except (ValueError, RecursionError, TypeError):
        raise BadInput(place, described("what JSON cannot hold"), "numbers, texts and lists") from None
    if len(written) > ATTACHED:
        raise BadInput(place, described(f"{len(written)} characters"), f"at most {ATTACHED}")
    return written if value else ""


def _canonical(value: object) -> str:
    return json.dumps(value, sort_keys=True, ensure_ascii=False, allow_nan=False, default=str)


def read_year(value: object, place: str) -> int:
    """A year of make, 1930 to next year."""
    return _year(value, place, clock.today().year + 1)


def _year(value: object, place: str, latest: int = LAST_YEAR) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or not FIRST_YEAR <= value <= latest:
        raise BadInput(place, value, f"a year, {FIRST_YEAR} to {latest}")
    return value


def read_date(value: object, place: str) -> Day:
    """A calendar date, ISO 8601, not after tomorrow (clocks on both sides of midnight agree)."""
    found = _day(value, place)
    if in_future(found):
        raise BadInput(place, value, f"a date from {FIRST_DATE} to today")
    return found


def in_future(day: Day) -> bool:
    """Is it after tomorrow, by this machine's clock?"""
    return day > min(clock.today(), Day.max - timedelta(days=1)) + timedelta(days=1)


def _day(value: object, place: str) -> Day:
    found = value
    if isinstance(found, datetime):
        found = found.date()
    elif isinstance(found, str) and _ISO_DATE.match(found):
        try:
            found = Day.fromisoformat(found)
        except ValueError:
            found = None
    if not isinstance(found, Day):
        raise BadInput(place, value, "a date such as 2026-03-04")
    if found < FIRST_DATE:
        raise BadInput(place, value, f"a date from {FIRST_DATE} to today")
    return found


def read_id(value: object, place: str) -> str:
    """A UUID in its usual lower-case form."""
    try:
        return str(UUID(value)) if isinstance(value, str) and len(value) <= 45 else _no_id(value, place)
    except ValueError:
        return _no_id(value, place)


def _no_id(value: object, place: str) -> str:
    raise BadInput(place, value, "a UUID")


def _ids(value: object, place: str) -> tuple[str, ...]:
    return tuple(dict.fromkeys(listed(read_id, SUPERSEDES)(value, place)))


# -- writing ---------------------------------------------------------------------------------------


def visit_to(visit: Visit) -> dict[str, Any]:
    """The visit as a plain dictionary with the contract's keys; reads back to an equal visit.

    What is unknown or was inferred is left out, so that a later, wiser panel reader reads the mark anew.
    """
    source = visit.source
    data = {
        "id": visit.id,
        "date": visit.date.isoformat(),
        "by": visit.by,
        "basis": visit.basis.value,
        "job": visit.job,
        "source": _without_empty(
            {
                "make": source.make,
                "model": source.model,
                "kind": source.kind.value,
                "display": source.display,
                "year": source.year,
                "size_in": source.size_in,
            }
        ),
        "driver": _without_empty({"name": visit.driver.name, "inputs": [*visit.driver.inputs]})
        if visit.driver
        else None,
        "jacks": [finding_to(finding) for finding in visit.findings],
        "note": visit.note,
        "readings": json.loads(visit.readings) if visit.readings else None,
        "case": json.loads(visit.case) if visit.case else None,
        "supersedes": [*visit.supersedes],
    }
    return {**_without_empty(data), "jacks": data["jacks"]}


def finding_to(finding: Finding) -> dict[str, Any]:
    """One entry of ``jacks`` as a plain dictionary."""
    jack = finding.jack
    said = {
        "form": jack.form,
        "marking": jack.marking,
        "colour": jack.colour,
        "direction": None if "direction" in finding.inferred else jack.direction,
        "signal": None if "signal" in finding.inferred else jack.signal,
        "level": None if "level" in finding.inferred else jack.level,
        "format": jack.format,
        "speakers": finding.speakers,
        "taken": finding.taken,
        "outcome": finding.outcome,
        "items": [*finding.items],
        "input": finding.input,
        "setting": finding.setting,
        "note": finding.note,
    }
    return _without_empty(said)


_UNKNOWN = frozenset({"unknown", Outcome.NOT_TRIED.value})


def _without_empty(data: dict[str, Any]) -> dict[str, Any]:
    plain: dict[str, Any] = {}
    for key, value in data.items():
        if value is None or value in ("", [], {}):
            continue
        if isinstance(value, Word):
            if value.value not in _UNKNOWN:
                plain[key] = value.value
        elif isinstance(value, list):
            plain[key] = [one.value if isinstance(one, Word) else one for one in value]
        else:
            plain[key] = value
    return plain
