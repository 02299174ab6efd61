"""Files that somebody made odd, by mistake or on purpose, are told in words and at once."""

from __future__ import annotations

import gzip
from pathlib import Path

import pytest

from kb.exchange import lines
from tests.cli.conftest import Run

HEAD = "date,make,model,jack,note\n"
ROW = "2019-03-04,Norwell,NV40-210,opt:carried,hello\n"


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (HEAD + '2019-03-04,Norwell,NV40-210,opt,"open\n' + ROW * 4000, "line 2: saw a cell without an end"),
        (HEAD + ROW + '2019-03-04,Norwell,NV40-210,opt,"open\n' + ROW, "line 3: saw a cell without an end"),
        ((HEAD + ROW).replace("\n", "\r"), "lines that end with a carriage return alone"),
        ("date,make,make,model\n2019-03-04,a,b,c\n", "saw two columns called make"),
        (HEAD + "\n" * 100_002, "saw more than 100000 empty lines"),
        ("\n\n", "saw an empty first line"),
    ],
)
def test_a_table_that_is_none_is_told_where_it_begins_to_be(
    jackfield: Run, tmp_path: Path, content: str, said: str
) -> None:
    path = tmp_path / "t.csv"
    path.write_bytes(content.encode())
    done = jackfield("load", path)
    assert (done.code, said in done.err) == (2, True), done.err


def test_a_field_that_stands_twice_in_a_line_is_refused(jackfield: Run, tmp_path: Path) -> None:
    path = tmp_path / "t.jsonl"
    path.write_text('{"date":"2019-03-04","date":"2020-03-04","source":{"make":"a","model":"b"}}\n')
    done = jackfield("load", path)
    assert (done.code, "'date' occurs twice" in done.err) == (2, True), done.err


def test_a_packed_file_that_swells_is_refused(
    jackfield: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(lines, "_FREELY", 1 << 20)
    path = tmp_path / "t.csv.gz"
    path.write_bytes(gzip.compress((HEAD + ROW * 100_000).encode()))
    done = jackfield("load", path)
    assert (done.code, "expands without limit" in done.err) == (2, True), done.err


def test_the_name_of_a_file_that_is_not_there_makes_no_book(jackfield: Run, home: Path) -> None:
    done = jackfield("load", "nowhere.csv")
    assert (done.code, "nowhere.csv: file not found" in done.err) == (2, True), done.err
    assert not home.exists()
