"""Map the columns of a user's table to fields.

Obvious names are guessed. A mapping (``--map`` or a small TOML file) gives the rest: other columns, the
meaning of words, and values for every row:

    [columns]
    "Set maker" = "make"
    "Remarks" = "-"              # a column to leave out
    [values.outcome]
    "works" = "carried"
    [every]
    basis = "tested"
    [read]
    date = "%d/%m/%Y"
"""

from __future__ import annotations

import re
import warnings
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Final

from kb.base import text
from kb.base.errors import BadInput, kind_of
from kb.base.messages import Said, Wording
from kb.base.parsing import toml_of
from kb.base.validation import Fields, keyed
from kb.domain.jack import Jack
from kb.domain.visit import Finding, Visit
from kb.exchange.csv_values import columns

#: Fields of a visit, the same on each of its rows (or given on the first alone), then fields of one jack.
VISIT_FIELDS: Final = ("visit", *columns(Visit))
JACK_FIELDS: Final = (*columns(Jack), *columns(Finding), "jack")
#: Columns of our own dumps only.
DUMP_FIELDS: Final = (
    "record",
    "seal",
    "recorded",
    "spelling",
    "same_as",
    "of",
    "place",
    "turn",
    "stands",
    "state",
    "body",
)
#: Columns with a meaning only in a table made by a book.
OURS: Final = ("id", "readings", "case", *DUMP_FIELDS)
FIELDS: Final = (*VISIT_FIELDS, *JACK_FIELDS, *DUMP_FIELDS)
LEFT_OUT: Final = "-"
_MOST: Final = 1000  #: entries of one table of a mapping

#: Names under which people keep these fields (common practice), squeezed.
_OBVIOUS: Final[dict[str, str]] = {
    **dict.fromkeys("BRAND MANUFACTURER MAKER MAKEOFSET TVMAKE".split(), "make"),
    **dict.fromkeys("MODELNO MODELNUMBER MODELNAME TYPE TYPENUMBER TVMODEL".split(), "model"),
    **dict.fromkeys("DAY VISITDATE DATEOFVISIT VISITED".split(), "date"),
    **dict.fromkeys("VISITID VISITNO VISITNUMBER".split(), "visit"),
    **dict.fromkeys("INITIALS TECHNICIAN TECH INSTALLER ENGINEER".split(), "by"),
    **dict.fromkeys("JOBREF JOBNO JOBNUMBER JOBREFERENCE REF REFERENCE".split(), "job"),
    **dict.fromkeys("SOURCE DEVICE KINDOFSOURCE".split(), "kind"),
    **dict.fromkeys("YEAROFMAKE MADE".split(), "year"),
    **dict.fromkeys("SIZE INCHES SIZEIN SCREENSIZE DIAGONAL".split(), "size_in"),
    **dict.fromkeys("NOTES REMARK REMARKS COMMENT COMMENTS VISITNOTE".split(), "note"),
    **dict.fromkeys("CONNECTOR JACKTYPE JACKFORM SOCKET PLUG".split(), "form"),
    **dict.fromkeys("MARK LABEL LABELLED PRINTED MARKED".split(), "marking"),
    **dict.fromkeys("COLOR RING".split(), "colour"),
    **dict.fromkeys("INOUT INOROUT".split(), "direction"),
    **dict.fromkeys("RESULT TRIED".split(), "outcome"),
    **dict.fromkeys("SPEAKER TVSPEAKERS SETSPEAKERS".split(), "speakers"),
    **dict.fromkeys("INUSE USED".split(), "taken"),
    **dict.fromkeys("ITEM CABLE CABLES PARTS".split(), "items"),
    **dict.fromkeys("DRIVERINPUT".split(), "input"),
    **dict.fromkeys("SETTINGS MENU MENUSETTING".split(), "setting"),
    **dict.fromkeys("JACKNOTES".split(), "jack_note"),
    **dict.fromkeys("DRIVERNAME AMPLIFIER".split(), "driver"),
    **dict.fromkeys("DRIVERINPUTS".split(), "inputs"),
}


@dataclass(frozen=True, slots=True)
class TableMap:
    """Hold a user's mapping: column -> field, words of the table -> ours, fields of every row."""

    columns: Mapping[str, str] = field(default_factory=dict)
    values: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    every: Mapping[str, str] = field(default_factory=dict)
    date: str = ""


@dataclass(frozen=True, slots=True)
class Columns:
    """Hold the field of each column of one table, "" for none."""

    fields: tuple[str, ...]
    unused: tuple[str, ...]


def read_mapping(toml: str, place: Wording) -> TableMap:
    """Return the mapping in a TOML text; raises BadInput naming the key."""
    given = Fields(toml_of(toml, place), place, Said("expected/columns-table"))
    mapping = TableMap(
        columns=given.take("columns", keyed(_word, _field_or_none, _MOST), {}),
        values=given.take("values", keyed(_field, keyed(_word, _word, _MOST), _MOST), {}),
        every=given.take("every", keyed(_field, _word, _MOST), {}),
        date=given.take("read", _date, ""),
    )
    given.end()
    return mapping


def _date(data: object, place: Wording) -> str:
    given = Fields(data, place, Said("expected/table-with-date"))
    found = given.take("date", lambda value, at: date_form(_word(value, at), at), "")
    given.end()
    return found


def _word(value: object, place: Wording) -> str:
    """Read a word of the table; a number may be used as one."""
    if not isinstance(value, str | int | float) or isinstance(value, bool):
        raise BadInput(place, kind_of(value), Said("expected/word"))
    return str(value)


def _field(value: object, place: Wording) -> str:
    """Read the name of a field."""
    return _named(value, place, FIELDS)


def _field_or_none(value: object, place: Wording) -> str:
    """Read the name of a field, or the sign for a column that is left out."""
    return _named(value, place, (*FIELDS, LEFT_OUT))


def _named(value: object, place: Wording, known: Sequence[str]) -> str:
    name = _word(value, place)
    if name not in known:
        raise BadInput(
            place, name, Said("expected/field-or-skip", fields=", ".join((*VISIT_FIELDS, *JACK_FIELDS)))
        )
    return name


#: A day that no other reading of a format turns into itself: day, month and both halves of the year differ.
_PROBE: Final = datetime(2003, 11, 25, tzinfo=UTC)


def date_form(form: str, place: Wording) -> str:
    """Check a format of dates, as Python's ``strptime`` takes it; raises BadInput if it is invalid.

    A format that leaves out day, month or year is invalid too: all visits would get one day of 1900.
    """
    try:
        with warnings.catch_warnings():  # a day without a year: Python 3.13 warns of it, here it is refused
            warnings.simplefilter("ignore", DeprecationWarning)
            read = datetime.strptime(_PROBE.strftime(form), form)  # noqa: DTZ007 (only its day is looked at)
    except (ValueError, re.error):  # strptime builds a regular expression: a code used twice is one too many
        read = None
    if read is None or read.date() != _PROBE.date():
        raise BadInput(place, form, Said("expected/date-form"))
    return form


def pairs(given: Sequence[str]) -> dict[str, str]:
    """Read ``column=field`` options as a mapping of columns; raises BadInput naming the invalid one."""
    columns = {}
    for one in given:
        column, sign, name = one.rpartition("=")
        if not sign or not column:
            raise BadInput("--map", one, "COLUMN=FIELD")
        columns[column.strip()] = _field_or_none(name.strip() or LEFT_OUT, "--map")
    return columns


def chosen(header: Sequence[str], mapping: TableMap, place: Wording) -> Columns:
    """Return the field of each column: by the mapping first, then names of fields, then obvious names.

    Raises BadInput if two columns would hold the same field, a named column is missing, or no column holds
    make, model or date.
    """
    said = {text.squeezed(column) or column: name for column, name in mapping.columns.items()}
    here = {text.squeezed(column) or column for column in header}
    for column in mapping.columns:
        if (text.squeezed(column) or column) not in here:
            raise BadInput(
                place,
                Said("seen/no-column", column=column),
                Said("expected/one-of", words=", ".join(header)[:300]),
            )
    ours = any(text.squeezed(column) == "RECORD" for column in header)
    fields: list[str] = []
    seen: list[str] = []
    for column in header:
        key = text.squeezed(column) or column
        if key in seen and fields[seen.index(key)]:
            raise BadInput(
                place, Said("seen/columns-of-one-name", column=column), Said("expected/one-of-that-name")
            )
        seen.append(key)
        name = said.get(key)
        if name is None:
            guess = _BY_NAME.get(key) or _OBVIOUS.get(key, "")
            if guess in OURS and not ours:
                guess = ""  # in a user's own table it is a number of their own
            name = guess if guess and guess not in fields and guess not in said.values() else ""
        if name == LEFT_OUT:
            name = ""
        if name and name in fields:
            raise BadInput(
                place, Said("seen/columns-of-one-field", field=name), Said("expected/one-column-a-field")
            )
        fields.append(name)
    unused = [
        column
        for column, name in zip(header, fields, strict=True)
        if not name and said.get(text.squeezed(column) or column) != LEFT_OUT
    ]
    if "record" not in fields:
        for need in ("make", "model", "date"):
            if need not in fields and need not in mapping.every:
                listed = ", ".join(repr(column) for column in header)[:200]
                raise BadInput(
                    place,
                    Said("seen/columns-named", columns=listed),
                    Said("expected/column-for", field=need),
                )
    return Columns(tuple(fields), tuple(unused))


_BY_NAME: Final = {text.squeezed(name): name for name in FIELDS}


def fixed(given: Sequence[str]) -> dict[str, str]:
    """Read ``field=value`` options: one value for every row; raises BadInput naming the invalid one."""
    every = {}
    for one in given:
        name, sign, value = one.partition("=")
        if not sign:
            raise BadInput("--every", one, "FIELD=VALUE")
        every[_field(name.strip(), "--every")] = value
    return every
