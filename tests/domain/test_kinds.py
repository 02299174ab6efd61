"""Each kind of field reads what a file may hold, up to its bounds, and names everything else."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from typing import Any

import pytest

from kb.base.errors import BadInput
from kb.domain.chance import Chance
from kb.domain.driver import DriverLimits
from kb.domain.jack import Jack
from kb.domain.job import Job, JobSet, JobStatus, Material, Unit
from kb.domain.kinds import (
    Attachment,
    CalendarDay,
    Flag,
    Identifier,
    Inputs,
    Keyed,
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
    is_unknown,
    read_object,
    write_object,
)
from kb.domain.language import ENGLISH, Language
from kb.domain.marking import Reading
from kb.domain.panel import Panel, PanelJack
from kb.domain.visit import Driver, Finding, Source, Visit, read_size, read_year, visit_from
from kb.domain.words import Basis, Direction, DriverInput, Form, Kind, Level, Outcome, Signal

ID = "0190b6c4-7d1e-7cc3-98c4-dc0c0c07398f"
TAKEN: list[tuple[ValueKind, object, object]] = [
    (OneOf(Form), "TOSLINK", Form.TOSLINK),
    (Line(3), "abc", "abc"),
    (Line(), "", ""),
    (Name(most=3), "a-1", "a-1"),
    (Note(3), "a\nb", "a\nb"),
    (Flag(), False, False),
    (Number(0, 1, "a share"), 0, 0.0),
    (Number(0, 1, "a share"), 1, 1.0),
    (Number(0, 1, "a share", above=True), 1e-9, 1e-9),
    (Whole(1, 3, "few"), 1, 1),
    (Whole(1, 3, "few"), 3, 3),
    (CalendarDay(), "1970-01-01", date(1970, 1, 1)),
    (CalendarDay(), datetime(2026, 3, 4, 5, tzinfo=UTC), date(2026, 3, 4)),
    (CalendarDay(), date(2026, 3, 4), date(2026, 3, 4)),
    (Identifier(), ID.upper(), ID),
    (Identifier(), "{" + ID + "}", ID),
    (Identifier(), "urn:uuid:" + ID, ID),
    (ListOf(Flag(), 2), [True, True], (True, True)),
    (ListOf(Flag(), 3, distinct=True), [True, False, True], (True, False)),
    (Keyed(Line(), Flag(), 1), {"a": True}, (("a", True),)),
    (Inputs(), ["mic", "line-3.5", "mic"], (DriverInput.MIC, DriverInput.LINE_35)),
    (Attachment(18), {"b": 1, "a": "ü"}, '{"a": "ü", "b": 1}'),
    (Attachment(20), {}, ""),
    (Part(Driver, "a driver"), {"name": "d"}, Driver("d")),
]
REFUSED: list[tuple[ValueKind, object, str]] = [
    (OneOf(Form), "tin can", "one of toslink"),
    (Line(3), "abcd", "3"),
    (Line(), "a\nb", "x"),
    (Name(), "", "x"),
    (Name(), "--", "letters or digits"),
    (Name(most=3), "abcd", "3"),
    (Note(3), "abcd", "3"),
    (Flag(), 1, "true or false"),
    (Number(0, 1, "a share"), -0.001, "a share"),
    (Number(0, 1, "a share"), 1.001, "a share"),
    (Number(0, 1, "a share", above=True), 0, "a share"),
    (Number(0, 1, "a share"), True, "a share"),
    (Whole(1, 3, "few"), 0, "few"),
    (Whole(1, 3, "few"), 4, "few"),
    (Whole(1, 3, "few"), 1.5, "few"),
    (CalendarDay(), "1969-12-31", "from 1970-01-01"),
    (CalendarDay(), "2026-02-30", "a date such as"),
    (CalendarDay(), "2026-2-3", "a date such as"),
    (CalendarDay(), 20260304, "a date such as"),
    (Identifier(), ID[:-1], "a UUID"),
    (Identifier(), " " * 10 + ID, "a UUID"),
    (Identifier(), 7, "a UUID"),
    (ListOf(Flag(), 1), [True, True], "at most 1"),
    (ListOf(Flag(), 1), "ab", "a list"),
    (Keyed(Line(), Flag(), 1), {"a": True, "b": True}, "at most 1"),
    (Keyed(Line(), Flag(), 1), {"a": 3}, "field, a: "),
    (Inputs(), ["tin can"], "mic"),
    (Attachment(17), {"b": 1, "a": "ü"}, "at most 17"),
    (Attachment(99), {"a": float("nan")}, "numbers, texts and lists"),
    (Attachment(99), [1], "an object"),
    (Part(Driver, "a driver"), 3, "a driver"),
]


@pytest.mark.parametrize(("kind", "value", "held"), TAKEN)
def test_what_a_file_may_hold_is_read(kind: ValueKind, value: object, held: object) -> None:
    assert kind.read(value, "field") == held


@pytest.mark.parametrize(("kind", "value", "said"), REFUSED)
def test_anything_else_is_named_with_its_place(kind: ValueKind, value: object, said: str) -> None:
    with pytest.raises(BadInput) as caught:
        kind.read(value, "field")
    assert str(caught.value).startswith("field")
    assert said in str(caught.value) or said == "x"


def test_what_steers_a_terminal_is_made_visible_in_an_attachment_too() -> None:
    assert "\x1b" not in Attachment(99).read({"a\x1b": "\x1b[31m"}, "field")


@dataclass(frozen=True)
class Cable:
    name: str = field(metadata=declared(Name(), "its name", key="called"))
    level: Level = field(default=Level.UNKNOWN, metadata=declared(OneOf(Level), "its level"))
    uses: tuple[str, ...] | None = field(default=None, metadata=declared(ListOf(Line(), 3), "its uses"))
    notes: tuple[str, ...] = field(default=(), metadata=declared(ListOf(Line(), 3), "notes", column="said"))
    made: date | None = field(default=None, metadata=declared(CalendarDay(), "made on"))
    colours: tuple[tuple[Signal, bool], ...] = field(
        default=(), metadata=declared(Keyed(OneOf(Signal), Flag(), 3), "colours")
    )
    kept: str = field(default="", metadata=declared(Attachment(99), "kept"))
    own: int = 0


def test_a_declared_field_has_a_name_a_key_and_a_column() -> None:
    told = {one.name: (one.key, one.column, one.required) for one in fields_of(Cable)}
    assert told["name"] == ("called", "called", True)
    assert told["notes"] == ("notes", "said", False)
    assert "own" not in told


WRITTEN: list[tuple[Cable, dict[str, Any]]] = [
    (Cable("a"), {}),
    (Cable("a", Level.FIXED), {"level": "fixed"}),
    (Cable("a", uses=()), {"uses": []}),
    (Cable("a", uses=("x",), notes=("y",)), {"uses": ["x"], "notes": ["y"]}),
    (Cable("a", made=date(2026, 3, 4)), {"made": "2026-03-04"}),
    (Cable("a", colours=((Signal.OPTICAL, False),)), {"colours": {"optical": False}}),
    (Cable("a", kept='{"n": 1}'), {"kept": {"n": 1}}),
]


@pytest.mark.parametrize(("cable", "plain"), WRITTEN)
def test_what_is_known_is_written_and_reads_back_and_an_empty_list_says_nobody_uses_any(
    cable: Cable, plain: dict[str, Any]
) -> None:
    assert write_object(cable) == {"called": "a", **plain}
    assert read_object(Cable, write_object(cable), "cable", "a cable") == cable


def test_unknown_and_not_tried_say_nothing_and_every_other_word_does() -> None:
    assert [is_unknown(one) for one in (Level.UNKNOWN, Outcome.NOT_TRIED, Level.FIXED, "unknown")] == [
        True, True, False, False
    ]  # fmt: skip


# -- a visit ---------------------------------------------------------------------------------------

LINE_OUT = {"form": "rca-pair", "marking": "AUDIO OUT"}
PLAIN: dict[str, Any] = {"date": "2024-05-01", "source": {"make": "N", "model": "1"}, "jacks": [LINE_OUT]}
SAME = "0190b6c4-7d1e-7cc3-98c4-dc0c0c07{:04x}"
LARGEST = [
    ("jacks", [LINE_OUT] * 64, [LINE_OUT] * 65),
    ("by", "R" * 40, "R" * 41),
    ("supersedes", [SAME.format(n) for n in range(64)], [SAME.format(n) for n in range(65)]),
]


@pytest.mark.parametrize(("key", "most", "more"), LARGEST)
def test_a_visit_is_taken_up_to_its_bounds(key: str, most: object, more: object) -> None:
    assert visit_from({**PLAIN, key: most})
    with pytest.raises(BadInput, match=key.rstrip("s")):
        visit_from({**PLAIN, key: more})


def test_a_set_is_of_1930_at_the_earliest_and_its_picture_of_one_to_200_inches() -> None:
    assert (read_year(1930, "year"), read_size(1, "size"), read_size(200, "size")) == (1930, 1.0, 200.0)
    for read, value in ((read_year, 1929), (read_size, 0.9), (read_size, 200.1)):
        with pytest.raises(BadInput):
            read(value, "field")


def test_a_visit_that_takes_its_own_place_is_refused() -> None:
    with pytest.raises(BadInput, match=r"supersedes: .*another visit"):
        visit_from({**PLAIN, "id": ID, "supersedes": [ID]})
    assert visit_from({**PLAIN, "id": ID, "supersedes": [SAME.format(1)]})


def test_who_tried_a_jack_tested_and_who_did_not_saw_unless_he_says_else() -> None:
    def basis(outcome: str, **more: str) -> Basis:
        return visit_from({**PLAIN, "jacks": [LINE_OUT, {**LINE_OUT, "outcome": outcome}], **more}).basis

    assert (basis("silent"), basis("not-tried"), basis("silent", basis="told")) == (
        Basis.TESTED,
        Basis.SEEN,
        Basis.TOLD,
    )
    assert [one.weight for one in Basis] == [4, 3, 2, 1]
    tested, seen = (Visit(Source("N", "1"), date(2024, 5, 1), one) for one in (Basis.TESTED, Basis.SEEN))
    assert tested.rank > seen.rank


#: What is taken for granted if nobody says else: a job is about a television, and a visit looked at it.
GRANTED = {Kind.TELEVISION, Basis.SEEN, JobStatus.OPEN, Unit.PIECE, ENGLISH.code, Direction.UNCLEAR}


@pytest.mark.parametrize(
    "of",
    [
        *(Chance, DriverLimits, Jack, Material, JobSet, Job, Language),
        *(Reading, PanelJack, Panel, Source, Driver, Finding, Visit),
    ],
    ids=lambda of: of.__name__,
)
def test_a_fact_that_nobody_tells_is_unknown_empty_or_taken_for_granted(of: type[Any]) -> None:
    fields_ = dataclasses.fields(of) if dataclasses.is_dataclass(of) else ()
    defaults = {one.name: one.default for one in fields_ if one.default is not dataclasses.MISSING}
    defaults |= getattr(of, "_field_defaults", {})
    assert defaults
    told = {name for name, value in defaults.items() if value and value not in GRANTED}
    assert {name for name in told if not is_unknown(defaults[name])} == set()
