"""Read the visits of a CSV table: one row per jack, rows of one visit follow each other.

Rows belong to one visit while the columns of the visit are equal or left empty. A column ``visit`` (any
number or word) separates two visits that would look the same.
"""

from __future__ import annotations

import csv
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any, Final

from kb.base.errors import BadInput, inside, unquoted, without
from kb.base.messages import Said, Wording
from kb.base.parsing import json_of
from kb.domain.jack import Jack
from kb.domain.shortform import jack as short_jack
from kb.domain.visit import JACKS, THE_VISIT, Finding, Visit, finding_from, read_together, visit_from
from kb.domain.words import Basis, Outcome
from kb.exchange import csv_cells as cells
from kb.exchange.csv_columns import JACK_FIELDS, VISIT_FIELDS, Columns, TableMap, chosen
from kb.exchange.csv_values import data_of, whole
from kb.exchange.fact_lines import PRIVATE, from_object, read_nonce, read_time
from kb.exchange.lines import Line
from kb.store.facts import Fact, VisitFact

CELLS: Final = 200  #: columns of a table, at most
_SEPARATORS: Final = ",;\t"


@dataclass(frozen=True, slots=True)
class Bad:
    """Describe the fault of one line."""

    line: int
    field: Wording
    seen: object
    expected: Wording


@dataclass(slots=True)
class Group:
    """Hold the rows of one visit; ``rows`` keeps those with a jack, at most as many as a visit may have."""

    line: int
    fields: dict[str, str]
    rows: list[tuple[int, dict[str, str]]] = field(default_factory=list)
    jacks: int = 0

    def add(self, line: int, jack: dict[str, str]) -> None:
        """Count one row; however often a row is repeated, memory stays bounded."""
        if jack:
            self.jacks += 1
            if self.jacks <= JACKS:
                self.rows.append((line, jack))


class Table:
    """Read a CSV table row by row; ``columns`` holds the fields found in its header."""

    def __init__(self, lines: Iterator[Line], mapping: TableMap, place: Wording) -> None:
        self._place, self._mapping = place, mapping
        first = next(lines, None)
        if first is None or not first.text.strip():
            seen = Said("seen/empty-file" if first is None else "seen/empty-first-line")
            raise BadInput(place, seen, Said("expected/header"))
        self._line, self._begun = first.number, False
        separator = max(_SEPARATORS, key=first.text.count)

        def texts() -> Iterator[str]:
            yield first.text
            for one in lines:
                self._line = one.number
                yield one.text

        self._reader = csv.reader(texts(), delimiter=separator, strict=True)
        header = [cells.plain_start(name).strip() for name in self._next() or []]
        if len(header) > CELLS:
            raise BadInput(
                place, Said("seen/columns", count=len(header)), Said("expected/at-most", most=CELLS)
            )
        self.header = tuple(header)
        self.columns: Columns = chosen(header, mapping, inside(place, Said("place/line", number=1)))

    def _next(self) -> list[str] | None:
        begun = self._line + 1 if self._begun else self._line
        self._begun = True
        try:
            return next(self._reader, None)
        except csv.Error as wrong:
            said = str(wrong)
            if "field limit" in said or "unexpected end" in said:
                seen, expected = Said("seen/cell-without-end"), Said("expected/closed-quote")
                raise BadInput(self._at(begun), seen, expected) from None
            seen = Said("seen/lines-ending-in-cr") if "new-line" in said else unquoted(said)
            raise BadInput(self._at(self._line), seen, Said("expected/csv")) from None

    def _at(self, line: int) -> Wording:
        return inside(self._place, Said("place/line", number=line))

    def read(self) -> Iterator[tuple[int, Visit | Fact | list[Bad]]]:
        """(line, its content): a visit, a fact of a dump, or all mistakes of one visit."""
        group: Group | None = None
        while True:
            start = self._line + 1
            row = self._next()
            if row is None:
                break
            if not any(cell.strip() for cell in row):
                continue
            if len(row) > len(self.header):
                if group:
                    yield group.line, self._visit(group)
                    group = None
                seen = Said("seen/cells", count=len(row))
                expected = Said("expected/cells-of-header", count=len(self.header))
                yield start, [Bad(start, "", seen, expected)]
                continue
            said = self._said(row)
            if said.get("record", "visit") not in ("", "visit"):
                if group:
                    yield group.line, self._visit(group)
                    group = None
                yield start, _fact(said, start)
                continue
            fields = {key: value for key, value in said.items() if key in VISIT_FIELDS or key in _OURS}
            if group is None or not _same(group.fields, fields):
                if group:
                    yield group.line, self._visit(group)
                group = Group(start, fields)
            else:
                for key, value in fields.items():
                    group.fields.setdefault(key, value)
            group.add(start, {key: said[key] for key in said if key in JACK_FIELDS})
        if group:
            yield group.line, self._visit(group)

    def _said(self, row: Sequence[str]) -> dict[str, str]:
        """Return the non-empty fields of one row, in our own words."""
        said = dict(self._mapping.every)
        plain = cells.plain if "record" in self.columns.fields else cells.plain_start
        for name, cell in zip(self.columns.fields, row, strict=False):
            value = plain(cell)
            if name and value.strip():
                meant = self._mapping.values.get(name)
                said[name] = meant.get(value.strip(), value) if meant else value
        return said

    def _visit(self, group: Group) -> Visit | Fact | list[Bad]:
        bad: list[Bad] = []
        findings: list[Finding] = []
        for line, said in group.rows:
            try:
                findings += _findings(said)
            except BadInput as mistake:
                bad.append(bad_of(line, mistake))
        try:
            visit = self._without_jacks(group.fields)
            nonce = read_nonce(group.fields.get("seal", ""), "seal")
            recorded = read_time(group.fields.get("recorded", ""), "recorded")
        except BadInput as mistake:
            return sorted([*bad, bad_of(group.line, mistake)], key=lambda one: one.line)
        if bad:
            return bad
        if "basis" not in group.fields and any(one.outcome is not Outcome.NOT_TRIED for one in findings):
            visit = replace(visit, basis=Basis.TESTED)
        if group.jacks > JACKS:
            seen = Said("seen/rows-of-visit", count=group.jacks)
            return [Bad(group.line, "", seen, Said("expected/at-most", most=JACKS))]
        visit = replace(visit, findings=read_together(findings, visit.source.kind))
        return VisitFact(visit, nonce, recorded) if "record" in self.columns.fields else visit

    def _without_jacks(self, said: dict[str, str]) -> Visit:
        data = data_of(Visit, {**said, "date": self._date(said.get("date", ""))})
        return visit_from(data, "visit", recorded="record" in self.columns.fields)

    def _date(self, said: str) -> str:
        form, said = self._mapping.date, said.strip()
        if not form and said and not (said[:4].isdecimal() and said[4:5] == "-"):
            raise BadInput("date", said, Said("expected/date-in-table"))
        if not form:
            return said
        try:
            return datetime.strptime(said, form).date().isoformat()  # noqa: DTZ007 (a day, no moment)
        except ValueError:
            raise BadInput("date", said, Said("expected/date-in-form", form=form)) from None


_OURS: Final = ("seal", "recorded")


def bad_of(line: int, mistake: BadInput) -> Bad:
    """Return the mistake as one entry of the report."""
    return Bad(line, without(mistake.place, THE_VISIT), mistake.seen, mistake.expected)


def _same(first: dict[str, str], fields: dict[str, str]) -> bool:
    """Return whether the rows are of one visit: every field is the same, or empty on the later row."""
    if first.get("visit") != fields.get("visit") and "visit" in fields:
        return False
    return all(first.get(key) == value for key, value in fields.items() if key != "note") and (
        fields.get("note", first.get("note")) == first.get("note")
    )


def _findings(said: dict[str, str]) -> Iterable[Finding]:
    """Return the jack of one row, if any: in short form, or in fields of its own."""
    if short := said.get("jack"):
        if len(said) > 1:
            raise BadInput("jack", short, Said("expected/jack-or-columns"))
        return [short_jack(short)]
    if not said:
        return []
    data = {**data_of(Jack, said), **data_of(Finding, said)}
    return [finding_from(data, "")]


def _fact(said: dict[str, str], line: int) -> Fact | list[Bad]:
    """Return an alias, withdrawal or released note of a dump."""
    kind = said["record"]
    try:
        if kind == "alias":
            value: dict[str, Any] = {key: said.get(key) for key in ("id", "spelling", "same_as")}
        elif kind == "withdrawal":
            value = {"id": said.get("id"), "of": said.get("of"), "turn": whole(said.get("turn", ""), "turn")}
            value["stands"] = said.get("stands") == "yes"
        elif kind == "note":
            value = {"id": said.get("id"), "visit": said.get("of"), "text": said.get("note", "")}
            if "place" in said:
                value["jack"] = whole(said["place"], "place")
        elif kind == PRIVATE:
            value = {
                "id": said.get("id"),
                "of": said.get("of", ""),
                "turn": whole(said.get("turn", ""), "turn"),
                "at": said.get("recorded"),
                said.get("state", ""): json_of(said.get("body", ""), "body"),
            }
        else:
            raise BadInput("record", kind, Said("expected/record-kinds"))
        return from_object({kind: value}, "record")
    except BadInput as mistake:
        return [bad_of(line, mistake)]
