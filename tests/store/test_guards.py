"""The database itself refuses what cannot be, whichever program writes: tried with raw SQL."""

from __future__ import annotations

import sqlite3
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa

from kb.domain.visit import Visit
from kb.store import Store, schema
from kb.store.bundles import Origin
from kb.store.content_id import sealed_id
from kb.store.facts import NoteFact
from kb.store.places import place_of
from tests.store.helpers import raw, visit

ID = "0192a6c0-0000-7000-8000-00000000000"
GOOD: dict[str, dict[str, Any]] = {
    "writing": {"revision": 2, "mark": ID + "1"},
    "visit": {
        "id": ID + "1",
        "revision": 1,
        "date": "2026-03-04",
        "basis": "tested",
        "make": "Norwell",
        "model": "NV32",
        "set_key": "NORWELL/NV32",
        "kind": "television",
        "display": None,
        "year": None,
        "size_in": None,
        "driver": 0,
    },
    "driver_input": {"visit": "?", "seq": 3, "input": "mic"},
    "finding": {
        "visit": "?",
        "seq": 9,
        "form": "hdmi",
        "marking": "",
        "colour": None,
        "direction": "input",
        "signal": None,
        "level": "unknown",
        "format": "unknown",
        "speakers": "unknown",
        "taken": None,
        "outcome": "not-tried",
        "input": None,
        "setting": "",
        "inferred_direction": 0,
        "inferred_signal": 0,
        "inferred_level": 0,
    },
    "finding_item": {"visit": "?", "seq": 0, "place": 7, "item": "cable"},
    "supersession": {"visit": "?", "seq": 0, "earlier": ID + "5"},
    "visit_private": {
        "visit": ID + "3",
        "person": "",
        "job": "",
        "note": "",
        "driver_name": "",
        "fingerprint": "f" * 64,
        "recorded_at": "2026-03-04T10:00:00Z",
    },
    "finding_private": {"visit": "?", "seq": 1, "note": "n"},
    "alias": {"id": ID + "1", "revision": 1, "set_key": "A/B", "same_as": "A/C"},
    "withdrawal": {"id": ID + "1", "revision": 1, "fact": ID + "2", "turn": 1, "stands": 0},
    "seal": {"visit": ID + "3", "nonce": "0" * 32},
    "entered_anew": {"visit": ID + "3", "earlier": ID + "5"},
    "reviewed_note": {"id": ID + "1", "revision": 1, "visit": ID + "2", "jack": 0, "note": "n"},
}
WORDS = [
    ("visit", name) for name in ("basis", "kind", "display")
] + [
    ("finding", name)
    for name in ("colour", "direction", "signal", "level", "format", "speakers", "outcome")
]  # fmt: skip
#: Words of these columns are added without a migration: a book may hold those of a later Jackfield.
OPEN_WORDS = [("driver_input", "input"), ("finding", "form"), ("finding", "input")]
BAD: list[tuple[str, str, Any]] = [
    *((table, column, "nonsense") for table, column in WORDS),
    *((table, column, bad) for table, column in OPEN_WORDS for bad in ("", "x" * 41)),
    *(
        (table, column, bad)
        for table, column in [
            ("visit", "id"), ("alias", "id"), ("withdrawal", "id"), ("withdrawal", "fact"),
            ("supersession", "earlier"), ("entered_anew", "earlier"), ("writing", "mark"),
            ("reviewed_note", "id"), ("reviewed_note", "visit"),
        ]
        for bad in ("", "x", f"{ID}9".upper(), f"{ID}9".replace("-", "") + "0000", None)
    ),
    *(("visit", "date", bad) for bad in ("soon", "2026-02-30", "1969-12-31", "2026-3-4", "20260304", 5)),
    ("visit", "date", None),
    *(("visit", "year", bad) for bad in (1929, 2201, 2014.5, "new")),
    *(("visit", "size_in", bad) for bad in (0.9, 200.1, "big", -1)),
    *(("visit", "driver", bad) for bad in (2, None, "yes")),
    *(("visit", "make", bad) for bad in ("", "x" * 81, None, b"Norwell")),
    *(("visit", "model", bad) for bad in ("", "x" * 81, None, b"NV32")),
    *(("visit", "set_key", bad) for bad in ("", "A/", "x" * 501, None)),
    *(("finding", "marking", bad) for bad in ("x" * 81, None, b"OUT")),
    *(("finding", "setting", bad) for bad in ("x" * 301, None)),
    *(("finding", "taken", bad) for bad in (2, "yes")),
    *(("finding", "seq", bad) for bad in (-1, 64, 0.5, None, "a")),
    *(("finding", f"inferred_{f}", bad) for f in ("direction", "signal", "level") for bad in (2, None)),
    *(("finding_item", "place", bad) for bad in (-1, 16, None)),
    *(("finding_item", "item", bad) for bad in ("", "x" * 81, None)),
    *(("driver_input", "seq", bad) for bad in (-1, 100, None)),
    *(("supersession", "seq", bad) for bad in (-1, 64, None)),
    *(("visit_private", "person", bad) for bad in ("x" * 41, None)),
    *(("visit_private", "job", bad) for bad in ("x" * 81, None)),
    *(("visit_private", "note", bad) for bad in ("x" * 4001, None)),
    *(("visit_private", "driver_name", bad) for bad in ("x" * 81, None)),
    *(("visit_private", "fingerprint", bad) for bad in ("short", "f" * 65, None)),
    *(("visit_private", "recorded_at", bad) for bad in ("now", None)),
    *(("finding_private", "note", bad) for bad in ("", "x" * 4001, None)),
    *(("alias", "set_key", bad) for bad in ("A", "A/C", "x" * 501, None)),
    *(("alias", "same_as", bad) for bad in ("A", "A/B", "x" * 501, None)),
    *(("withdrawal", "turn", bad) for bad in (0, 2**31, 1.5, None)),
    *(("withdrawal", "stands", bad) for bad in (2, None)),
    *(("seal", "nonce", bad) for bad in ("0" * 31, "0" * 33, None)),
    *(("reviewed_note", "jack", bad) for bad in (-1, 64, 0.5)),
    *(("reviewed_note", "note", bad) for bad in ("", "x" * 4001, None)),
    *(
        (table, "revision", bad)
        for table in ("visit", "alias", "withdrawal", "reviewed_note")
        for bad in (77, None)
    ),
    *(("writing", "revision", bad) for bad in (0, -1)),
    *(
        (table, "visit", bad)
        for table in GOOD
        if "visit" in GOOD[table] and table != "reviewed_note"  # its visit may come later
        for bad in (ID + "9", None)
    ),
    *((table, "seq", 40) for table in ("finding_item", "finding_private")),
]  # fmt: skip


@pytest.fixture
def filled(book: Path) -> tuple[Path, str]:
    """A closed book with one visit, and that visit's id."""
    with Store.open(book) as store:
        [one] = store.record([visit()]).recorded
    return book, one.id


def insert(connection: sqlite3.Connection, table: str, row: dict[str, Any], *, how: str = "INSERT") -> None:
    marks = ", ".join("?" * len(row))
    connection.execute(f"{how} INTO {table} ({', '.join(row)}) VALUES ({marks})", list(row.values()))


def row_of(table: str, visit_id: str, connection: sqlite3.Connection) -> dict[str, Any]:
    """A row that the table takes."""
    row = {name: visit_id if value == "?" else value for name, value in GOOD[table].items()}
    if table in ("visit_private", "seal", "entered_anew"):
        insert(connection, "visit", {**GOOD["visit"], "id": row["visit"]})
    return row


@pytest.mark.parametrize("table", GOOD)
def test_a_good_row_is_taken(filled: tuple[Path, str], table: str) -> None:
    """Else the refusals below would prove nothing."""
    path, visit_id = filled
    with raw(path) as connection:
        connection.execute("PRAGMA foreign_keys = ON")
        insert(connection, table, row_of(table, visit_id, connection))


def test_what_cannot_be_is_refused_in_every_column(filled: tuple[Path, str]) -> None:
    path, visit_id = filled
    taken = []
    with raw(path) as connection:
        connection.execute("PRAGMA foreign_keys = ON")
        for table, column, bad in BAD:
            connection.execute("BEGIN")
            row = {**row_of(table, visit_id, connection), column: bad}
            try:
                insert(connection, table, row)
            except sqlite3.IntegrityError:
                pass
            else:
                taken.append((table, column, bad))
            connection.execute("ROLLBACK")
    assert taken == []


def test_every_column_of_every_fact_has_a_refusal_above() -> None:
    tried = {(table, column) for table, column, _ in BAD}
    every = {(t.name, c.name) for t in schema.metadata.tables.values() if t.name in GOOD for c in t.columns}
    assert every == tried


@pytest.mark.parametrize("table", schema.FACTS)
def test_a_recorded_fact_is_neither_changed_nor_deleted_nor_replaced(
    filled: tuple[Path, str], table: str
) -> None:
    path, visit_id = filled
    with Store.open(path) as store:
        store.record([visit(supersedes=[visit_id], readings={"positions": []})])
        store.record([visit("NV2", id=ID + "2")])
        store.reenter()
        store.alias("A/B", "A/C")
        store.withdraw([visit_id])
        note = (visit_id, None, "n")
        fact = NoteFact(sealed_id("note", [*note]), *note)
        for number in (1, 2):
            store.merge([fact], outside=True, origin=Origin(sealed_id("bundle", number), "bundle"))
        store.turn_bundle(sealed_id("bundle", 1), taken_back=True)
        store.keep_states(lambda _: {("job", "a1"): "{}"})
    with raw(path) as connection:
        before = connection.execute(f"SELECT * FROM {table}").fetchall()
        assert before
        columns = [name for _, name, *_ in connection.execute(f"PRAGMA table_info({table})")]
        row = dict(zip(columns, before[0], strict=True))
        for statement in (
            f"UPDATE {table} SET {columns[-1]} = {columns[-1]}",
            f"DELETE FROM {table}",
            f"UPDATE OR REPLACE {table} SET {columns[0]} = {columns[0]}",
        ):
            with pytest.raises(sqlite3.IntegrityError, match="stays as it is"):
                connection.execute(statement)
        for how in ("INSERT", "INSERT OR REPLACE", "REPLACE", "INSERT OR IGNORE"):
            with pytest.raises(sqlite3.IntegrityError, match="stays as it is"):
                insert(connection, table, row, how=how)
        assert connection.execute(f"SELECT * FROM {table}").fetchall() == before


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE book SET revision = revision",
        "UPDATE book SET revision = 0",
        "UPDATE book SET revision = 'x'",
        f"UPDATE book SET revision = 99, id = '{ID}9'",
        "UPDATE book SET revision = 99, one = 2",
        "UPDATE book SET revision = 99, mark = 'x'",
        "DELETE FROM book",
        "INSERT INTO book SELECT 1, id, 9, mark, made_with FROM book",
        "REPLACE INTO book SELECT 1, id, 9, mark, made_with FROM book",
        "INSERT INTO book SELECT 2, id, 9, mark, made_with FROM book",
    ],
)
def test_there_is_one_book_and_its_revision_only_grows(filled: tuple[Path, str], statement: str) -> None:
    with raw(filled[0]) as connection, pytest.raises(sqlite3.IntegrityError):
        connection.execute(statement)


def test_a_team_book_refuses_changes_too(team: str) -> None:
    with Store.open(team) as store:
        [one] = store.record([visit()]).recorded
        store.record([visit("NV2", supersedes=[one.id])])
        store.alias("A/B", "A/C")
        store.withdraw([one.id])
    engine = place_of(team).engine(create=False)
    try:
        statements = [f"DELETE FROM {table}" for table in (*schema.FACTS, "book")]
        statements += [f"TRUNCATE {table} CASCADE" for table in (*schema.FACTS, "book")]
        statements += [
            f"UPDATE {t} SET {schema.metadata.tables[t].columns.keys()[-1]} = NULL" for t in schema.FACTS
        ]
        statements += [
            "UPDATE book SET revision = revision",
            "UPDATE book SET revision = revision + 1, id = mark",
            "UPDATE visit SET date = date",
            f"INSERT INTO writing VALUES (99, '{ID}')",
        ]
        for statement in statements:
            with pytest.raises(sa.exc.IntegrityError), engine.begin() as connection:
                connection.exec_driver_sql(statement)
    finally:
        engine.dispose()


def test_the_words_of_the_trade_are_all_taken(store: Store) -> None:
    """Every word of the vocabulary that stands in a visit can be recorded."""
    from kb.domain.words import Colour, Form, Outcome, Signal

    visits: list[Visit] = []
    for column, words in (("form", Form), ("colour", Colour), ("signal", Signal), ("outcome", Outcome)):
        visits += [visit(f"{column} {word}", jacks=[{"form": "hdmi", column: str(word)}]) for word in words]
    assert len(store.record(visits).recorded) == len(visits)
