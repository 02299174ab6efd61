"""Write the whole book as JSON Lines or CSV that loads to an equal book.

A dump holds private words: it is a copy of one's own book, not a bundle for others.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Generator, Iterator
from typing import Final

from kb.exchange.csv_cells import guarded
from kb.exchange.csv_columns import DUMP_FIELDS, JACK_FIELDS, VISIT_FIELDS
from kb.exchange.csv_values import cells_of
from kb.exchange.fact_lines import to_line
from kb.exchange.loading import FORMAT
from kb.store import Snapshot, schema
from kb.store.facts import (
    AliasFact,
    Fact,
    NoteFact,
    StateFact,
    VisitFact,
    WithdrawalFact,
    everything,
    number_of,
)
from kb.store.failures import translated

_TABLES: Final = {
    "visit": schema.visit,
    "alias": schema.alias,
    "withdrawal": schema.withdrawal,
    "note": schema.reviewed_note,
    "state": schema.private_state,
}
COLUMNS: Final = (
    "record",
    *(name for name in VISIT_FIELDS if name != "visit"),
    *(name for name in JACK_FIELDS if name != "jack"),
    *(name for name in DUMP_FIELDS if name != "record"),
)


def counts(book: Snapshot) -> dict[str, int]:
    """Return how many facts of each kind the book has."""
    with translated(book._place):
        return {kind: number_of(book, table) for kind, table in _TABLES.items()}


def json_lines(book: Snapshot) -> Generator[str, None, None]:
    """Yield a header line, then one line per fact, in the order of recording."""
    header = {"jackfield": "dump", "format": FORMAT, "book": book.standing.book, "revision": book.revision}
    yield json.dumps({**header, "counts": counts(book)}) + "\n"
    for fact in everything(book):
        yield to_line(fact)


def csv_rows(book: Snapshot) -> Generator[str, None, None]:
    """Yield a table by RFC 4180, one row per jack, every cell quoted and guarded against formulas."""
    made = io.StringIO()
    writer = csv.DictWriter(made, COLUMNS, restval="", quoting=csv.QUOTE_ALL, lineterminator="\r\n")
    writer.writeheader()
    for fact in everything(book):
        for row in _rows(fact):
            writer.writerow({key: guarded(value) for key, value in row.items()})
        yield made.getvalue()
        made.seek(0)
        made.truncate()
    yield made.getvalue()


def _rows(fact: Fact) -> Iterator[dict[str, str]]:
    match fact:
        case VisitFact():
            yield from _visit_rows(fact)
        case AliasFact(id_, spelling, same_as):
            yield {"record": "alias", "id": id_, "spelling": spelling, "same_as": same_as}
        case WithdrawalFact(id_, about, turn, stands):
            said = {"of": about, "turn": str(turn), "stands": "yes" if stands else "no"}
            yield {"record": "withdrawal", "id": id_, **said}
        case NoteFact(id_, about, jack, note):
            place = {} if jack is None else {"place": str(jack)}
            yield {"record": "note", "id": id_, "of": about, "note": note, **place}
        case StateFact(id_, kind, about, turn, body, at):
            said = {"of": about, "turn": str(turn), "recorded": at, "state": kind, "body": body}
            yield {"record": "state", "id": id_, **said}


def _visit_rows(fact: VisitFact) -> Iterator[dict[str, str]]:
    """Yield the rows of a visit: all of it on the first row, its id and set on each."""
    visit = fact.visit
    all_of_it = cells_of(visit)
    again = {"record": "visit", **{key: all_of_it[key] for key in _NAMES}}
    ours = {"seal": fact.nonce, "recorded": fact.recorded}
    first = {**again, **all_of_it, **{key: value for key, value in ours.items() if value}}
    if not visit.findings:
        yield first
    for number, finding in enumerate(visit.findings):
        said = {**cells_of(finding.jack, leave_out=finding.inferred), **cells_of(finding)}
        yield {**(again if number else first), **said}


#: Columns that each row of a visit repeats.
_NAMES: Final = ("id", "date", "make", "model")
