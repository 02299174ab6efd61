"""The whole book goes out and comes back equal; a table of it does nothing in a spreadsheet."""

from __future__ import annotations

import csv
import gzip
import io
import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from kb.domain.visit import Visit, visit_from
from kb.exchange.csv_cells import guarded, plain
from kb.exchange.dumping import csv_rows, json_lines
from kb.exchange.loading import Source, load
from kb.store import Store
from kb.store.content_id import sealed_id
from kb.store.facts import NoteFact
from tests.cli.conftest import Run
from tests.conftest import LONG
from tests.exchange.helpers import facts_of, visit_data
from tests.store.random_visits import any_visit


def lived_in(store: Store, visits: list[Visit]) -> None:
    """A book with everything that can be in one."""
    ids = [one.id for one in store.record(visits).recorded]
    store.record([visit_from({**visit_data("Z1"), "supersedes": ids[:1]})])
    store.record([visit_from({**visit_data("Z2"), "id": "0192a6c0-0000-7000-8000-000000000001"})])
    store.withdraw(ids[-1:])
    store.withdraw(ids[:1])
    store.reinstate(ids[:1])
    store.alias("NORWELL/Z1", "NORWELL/Z2")
    note = [ids[0], 0, "what others may read;\n=1+1"]
    store.merge([NoteFact(sealed_id("note", note), *note)], outside=True)  # type: ignore[arg-type]


@pytest.mark.parametrize("form", ["jsonl", "csv"])
@settings(max_examples=200 if LONG else 8)
@given(visits=st.lists(any_visit, min_size=1, max_size=4))
def test_the_whole_book_loads_back_to_an_equal_book(
    tmp_path_factory: pytest.TempPathFactory, form: str, visits: list[Visit]
) -> None:
    folder = tmp_path_factory.mktemp("dump")
    with Store.open(folder / "a.sqlite") as book, Store.open(folder / "b.sqlite") as other:
        lived_in(book, visits)
        with book.snapshot() as now:
            text = "".join(json_lines(now) if form == "jsonl" else csv_rows(now))
        (folder / f"d.{form}").write_bytes(text.encode())
        done = load(other, [str(folder / f"d.{form}")], Source())
        assert done.bad == []
        assert facts_of(other) == facts_of(book)
        load(other, [str(folder / f"d.{form}")], Source())
        assert facts_of(other) == facts_of(book)


RISKY = ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", "＝1", "'=1", "''=1", '=HYPERLINK("x")']


@pytest.mark.parametrize("text", RISKY)
def test_no_cell_begins_as_a_formula(text: str) -> None:
    """OWASP, CSV Injection: = + - @ tab and carriage return at the start of a cell, full-width forms too."""
    assert guarded(text)[0] == "'"
    assert plain(guarded(text)) == text


@given(st.text())
def test_guarding_a_cell_loses_nothing(text: str) -> None:
    assert plain(guarded(text)) == text


RUN = set("=+-@＝\t\r")
signs = st.text(alphabet="'=+-@\t\r\nab＝,;|\" ", max_size=8)


@settings(max_examples=20_000 if LONG else 200)
@given(signs)
def test_guarding_a_cell_of_signs_loses_nothing(text: str) -> None:
    assert plain(guarded(text)) == text
    assert guarded(text)[:1] not in set("=+-@\t\r\n＝")


def cells_of(text: str, separator: str, *, quotes: bool) -> list[str]:
    """What a spreadsheet takes for cells if it splits at ``separator``; written without a look at ours.

    With ``quotes`` a quote at the start of a cell holds until the next single one, and what follows up to the
    separator belongs to the cell (as common spreadsheets do). Without, quotes are letters like others.
    """
    found, cell, inside, begun, at = [], "", False, False, 0
    while at < len(text):
        sign = text[at]
        if inside:
            if text[at : at + 2] == '""':
                cell += '"'
                at += 1
            elif sign == '"':
                inside = False
            else:
                cell += sign
        elif sign == '"' and quotes and not begun:
            inside = begun = True
        elif sign == separator or sign in "\r\n":
            found.append(cell)
            cell, begun = "", False
        else:
            cell += sign
            begun = True
        at += 1
    return [*found, cell]


@pytest.mark.parametrize("quotes", [True, False], ids=["with quotes", "without"])
@pytest.mark.parametrize("separator", [",", ";", "\t", "|"], ids=["comma", "semicolon", "tab", "bar"])
@settings(max_examples=20_000 if LONG else 150)
@given(st.lists(st.lists(signs, min_size=2, max_size=2), min_size=1, max_size=2))
@example([["x;=HYPERLINK(1)", "a\t=1"]])
@example([["x;", "y"]])
@example([["x\n=1", '";=1']])
def test_whatever_a_spreadsheet_splits_at_no_cell_begins_as_a_formula(
    separator: str, quotes: bool, rows: list[list[str]]
) -> None:
    made = io.StringIO()
    writer = csv.writer(made, quoting=csv.QUOTE_ALL, lineterminator="\r\n")
    writer.writerows(["visit", *map(guarded, row)] for row in rows)
    cells = cells_of(made.getvalue(), separator, quotes=quotes)
    assert [cell for cell in cells if cell.lstrip(' "')[:1] in RUN] == []
    back = csv.reader(io.StringIO(made.getvalue(), newline=""), strict=True)
    assert [[plain(cell) for cell in row[1:]] for row in back] == rows


def test_a_note_with_formulas_after_other_separators_loads_back(jackfield: Run, tmp_path: Path) -> None:
    note = "x;=HYPERLINK(1)\ny\t=2;\n|@3, -4;"
    (tmp_path / "v.json").write_text(json.dumps(visit_data(note=note)))
    jackfield("record", "--file", tmp_path / "v.json")
    jackfield("dump", tmp_path / "d.csv")
    text = (tmp_path / "d.csv").read_bytes().decode()
    for separator in ",;\t|":
        cells = cells_of(text, separator, quotes=True)
        assert [cell for cell in cells if cell.lstrip(' "')[:1] in RUN] == []
    assert jackfield("load", tmp_path / "d.csv", "--home", tmp_path / "o").code == 0
    [visit] = jackfield("show", "nv40-210", "--json", "--home", tmp_path / "o").json["visits"]
    assert visit["note"] == note


def test_quotes_inside_the_texts_of_somebodys_own_table_are_theirs(jackfield: Run, tmp_path: Path) -> None:
    table = tmp_path / "t.csv"
    table.write_text("date,make,model,note\n2024-03-01,Norwell,NV1,\"printed:\n'-R' and '+L'\"\n")
    assert jackfield("load", table).code == 0
    assert jackfield("show", "nv1", "--json").json["visits"][0]["note"] == "printed:\n'-R' and '+L'"


def test_a_table_is_csv_as_in_rfc_4180(jackfield: Run, visit_file: Any) -> None:
    """RFC 4180, section 2: CRLF, a header, as many fields in each row, quotes doubled inside quotes."""
    jackfield("record", "--file", visit_file(note='=1+1 and "so", on\nfurther'))
    text = jackfield("dump", "--as", "csv").out
    raw = text.replace('further"', "further").encode()
    assert raw.count(b"\r\n") + 0 >= 4
    rows = list(csv.reader(io.StringIO(text, newline=""), strict=True))
    assert len({len(row) for row in rows}) == 1
    assert '""so""' in text
    at = rows[0].index("note")
    assert rows[1][at] == '\'=1+1 and "so", on\nfurther'
    for row in rows[1:]:
        assert not any(cell[:1] in "=+-@\t\r" and cell for cell in row)


def test_a_dump_that_was_cut_off_is_refused(jackfield: Run, visit_file: Any, tmp_path: Path) -> None:
    jackfield("record", "--file", visit_file())
    jackfield("record", "Norwell", "NV2", "hp")
    path = tmp_path / "d.jsonl"
    assert jackfield("dump", path, "--json").json["visit"] == 2
    path.write_text("".join(path.read_text().splitlines(keepends=True)[:-1]))
    done = jackfield("load", path, "--home", tmp_path / "o")
    assert (done.code, "cut off" in done.err) == (2, True)
    assert jackfield("find", "nv2", "--home", tmp_path / "o").code == 1


def test_a_dump_is_for_this_user_alone_and_overwrites_nothing(
    jackfield: Run, visit_file: Any, tmp_path: Path
) -> None:
    jackfield("record", "--file", visit_file())
    path = tmp_path / "d.jsonl.gz"
    assert jackfield("dump", path).code == 0
    assert path.stat().st_mode & 0o777 == 0o600
    assert json.loads(gzip.decompress(path.read_bytes()).splitlines()[0])["jackfield"] == "dump"
    assert jackfield("dump", path).code == 2
    assert jackfield("dump", path, "--replace").code == 0
    assert jackfield("load", path, "--home", tmp_path / "o").code == 0
    nowhere = jackfield("dump", tmp_path / "no" / "where.csv")
    assert nowhere.code == 2
    assert "its folder does not exist" in " ".join(nowhere.err.split())
    assert [one.name for one in tmp_path.glob("*.part")] == []


def test_words_that_a_dump_brings_to_visits_shared_before_are_found_at_once(
    jackfield: Run, visit_file: Any, tmp_path: Path
) -> None:
    jackfield("record", "--file", visit_file())
    jackfield("share", "out", tmp_path / "b.jsonl")
    jackfield("dump", tmp_path / "mine.jsonl")
    other = ("--home", tmp_path / "other")
    jackfield("share", "in", tmp_path / "b.jsonl", *other)
    assert jackfield("find", "cabinet", *other).code == 1
    done = jackfield("load", tmp_path / "mine.jsonl", *other)
    assert done.out.splitlines() == [
        "0 visits with 0 findings loaded",
        "1 entry was in the book already",
        "1 of them came from another book; it has your own notes now",
    ]
    assert jackfield("find", "cabinet", "--json", *other).json["matches"][0]["how"] == "text"


def test_a_dump_with_other_words_under_a_known_id_changes_nothing(
    jackfield: Run, visit_file: Any, tmp_path: Path
) -> None:
    jackfield("record", "--file", visit_file())
    path = tmp_path / "d.jsonl"
    jackfield("dump", path)
    before = jackfield("dump").out
    path.write_text(path.read_text().replace("NV40-210", "NV40-211"))
    done = jackfield("load", path)
    assert (done.code, "matches its content" in done.err) == (2, True)
    path.write_text(before.replace("kitchen", "cellar"))
    done = jackfield("load", path)
    assert (done.code, "other content" in done.err) == (2, True)
    assert jackfield("dump").out == before
