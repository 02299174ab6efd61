"""Old notes come in: whole files or nothing, each bad row named, the same file twice adds nothing."""

from __future__ import annotations

import csv
import gzip
import json
import sqlite3
import tracemalloc
from contextlib import closing
from pathlib import Path

import pytest

from kb.exchange import loading
from kb.exchange.csv_columns import TableMap
from kb.exchange.csv_table import Table
from kb.exchange.lines import lines_of
from kb.exchange.loading import Source, load
from kb.store import Store
from tests.cli.conftest import Run
from tests.exchange.helpers import facts_of, visit_data
from tests.present import Present
from tests.store.test_safety import start

NOTES = """Visit,Date,Manufacturer,Model No,Technician,Connector,Label,Result,Speakers,Cable,Notes
1,2024-03-01,Norwell,NV40-210,RT,toslink,OPTICAL OUT,carried,stay-on,optical cable 2 m; DAC,"kitchen, low"
1,2024-03-01,Norwell,NV40-210,RT,jack-3.5,HEADPHONE,,mute,,
2,2024-03-02,Hallmere,32FN14,RT,rca-pair,AUDIO OUT,carried,stay-on,,
"""


@pytest.fixture
def notes(tmp_path: Path) -> Path:
    path = tmp_path / "notes.csv"
    path.write_text(NOTES, encoding="utf-8")
    return path


def test_a_spreadsheet_of_old_notes_comes_in_with_its_obvious_columns(jackfield: Run, notes: Path) -> None:
    done = jackfield("load", notes, "--json").json
    assert (done["visits"], done["findings"], done["bad_count"], done["written"]) == (2, 3, 0, True)
    shown = jackfield("show", "Norwell", "NV40-210", "--json").json
    assert [jack["signal"] for jack in shown["panel"]] == ["optical", "headphone"]
    assert shown["panel"][0]["items"] == ["optical cable 2 m", "DAC"]
    assert shown["visits"][0]["note"] == "kitchen, low"
    assert shown["visits"][0]["basis"] == "tested"
    assert jackfield("show", "Hallmere", "32FN14", "--json").json["visits"][0]["by"] == "RT"


def test_a_case_number_of_somebodys_own_table_is_not_taken_for_a_confirmed_fault(
    jackfield: Run, tmp_path: Path
) -> None:
    table = tmp_path / "t.csv"
    table.write_text("date,make,model,Case,Readings\n2024-03-01,Norwell,NV1,4711,fine\n", encoding="utf-8")
    done = jackfield("load", table, "--dry-run", "--json").json
    assert done["unused"] == {str(table): ["Case", "Readings"]}
    told = jackfield("load", table, "--map", "Case=case")
    assert (told.code, "line 2, case" in told.err) == (2, True)
    table.write_text('date,make,model,Case\n2024-03-01,Norwell,NV1,"{""fault"": ""x""}"\n', encoding="utf-8")
    assert jackfield("load", table, "--map", "Case=case").code == 0
    assert jackfield("show", "nv1", "--json").json["visits"][0]["case"] == {"fault": "x"}


def test_the_same_file_twice_adds_nothing(jackfield: Run, notes: Path) -> None:
    jackfield("load", notes)
    before = jackfield("dump").out
    again = jackfield("load", notes, "--json").json
    assert (again["visits"], again["already"], again["written"]) == (0, 2, False)
    assert jackfield("dump").out == before


def test_a_dry_run_tells_the_columns_and_changes_nothing(jackfield: Run, notes: Path) -> None:
    done = jackfield("load", notes, "--dry-run")
    assert done.code == 0
    assert "Model No" in done.out
    assert "2 visits with 3 findings would be loaded" in done.out
    assert jackfield("find", "nv40").code == 1


@pytest.fixture
def flawed(tmp_path: Path) -> Path:
    path = tmp_path / "flawed.csv"
    path.write_text(
        "date,make,model,form,marking,outcome,year\n"
        "2024-03-01,Norwell,NV1,toslink,OPTICAL OUT,carried,2014\n"
        "soon,Norwell,NV2,toslink,OPTICAL OUT,carried,2014\n"
        "2024-03-01,Norwell,NV3,toslonk,OPTICAL OUT,carried,2014\n"
        "2024-03-01,Norwell,NV4,toslink,OPTICAL OUT,purple,2014\n"
        "2024-03-01,Norwell,NV5,toslink,OPTICAL OUT,carried,14\n"
        "2024-03-01,Norwell,NV6,toslink,a,b,c,d,e,f\n",
        encoding="utf-8",
    )
    return path


def test_every_bad_row_is_named_and_nothing_is_half_done(jackfield: Run, flawed: Path) -> None:
    done = jackfield("load", flawed, "--json")
    assert done.code == 2
    bad = [(one["line"], one["field"], one["seen"]) for one in done.json["bad"]]
    assert bad == [
        (3, "date", "soon"),
        (4, "form", "toslonk"),
        (5, "outcome", "purple"),
        (6, "year", "14"),
        (7, "", "10 cells"),
    ]
    assert all(one["expected"] and one["file"] == str(flawed) for one in done.json["bad"])
    assert (done.json["written"], done.json["visits"]) == (False, 0)
    assert jackfield("find", "nv1").code == 1
    said = jackfield("load", flawed).err
    assert "line 4, form: saw 'toslonk', expected toslink" in said


def test_a_cell_that_is_missing_is_told_in_words_not_quoted(jackfield: Run, tmp_path: Path) -> None:
    table = tmp_path / "t.csv"
    table.write_text("date,make,model\n2019-03-04,Norwell,\n", encoding="utf-8")
    assert "line 2, model: missing, expected the model" in jackfield("load", table).err


def test_marks_of_a_table_are_read_beside_each_other_as_those_of_a_visit(
    jackfield: Run, tmp_path: Path
) -> None:
    """A player's only HDMI is its output, whatever is printed; a table names the jacks row by row."""
    table = tmp_path / "t.csv"
    table.write_text(
        "date,make,model,kind,form,marking\n"
        "2019-03-04,Norwell,NP1,player,toslink,OPTICAL OUT\n"
        "2019-03-04,Norwell,NP1,player,hdmi,HDMI\n",
        encoding="utf-8",
    )
    assert jackfield("load", table).code == 0
    [visit] = jackfield("show", "Norwell", "NP1", "--json").json["visits"]
    assert len(visit["jacks"]) == 2
    jacks = jackfield("show", "Norwell", "NP1", "--json").json["panel"]
    assert [jack["direction"] for jack in jacks] == ["output", "output"]


def test_what_is_right_comes_in_when_asked(jackfield: Run, flawed: Path) -> None:
    done = jackfield("load", flawed, "--keep-good", "--json")
    assert (done.code, done.json["visits"], done.json["bad_count"]) == (0, 1, 5)
    assert jackfield("find", "nv1").code == 0


def test_a_mapping_says_what_columns_and_words_mean(jackfield: Run, tmp_path: Path) -> None:
    table, mapping = tmp_path / "odd.csv", tmp_path / "map.toml"
    table.write_text("Set;Nr;Wann;Buchse;Ging?;Egal\nNorwell;NV9;05/03/2024;opt=OPTICAL OUT;ja;x\n")
    mapping.write_text(
        '[columns]\nSet = "make"\nNr = "model"\nWann = "date"\n'
        'Buchse = "jack"\n"Ging?" = "note"\nEgal = "-"\n'
        '[values.note]\nja = "it worked"\n[every]\nbasis = "tested"\n[read]\ndate = "%d/%m/%Y"\n'
    )
    done = jackfield("load", table, "--mapping", mapping)
    assert (done.code, "A new book was begun" in done.err) == (0, True)
    [visit] = jackfield("show", "Norwell", "NV9", "--json").json["visits"]
    assert (visit["date"], visit["note"], visit["basis"]) == ("2024-03-05", "it worked", "tested")
    assert visit["jacks"][0]["form"] == "toslink"


def test_columns_can_be_named_on_the_line(jackfield: Run, tmp_path: Path) -> None:
    table = tmp_path / "odd.csv"
    table.write_text("What,Which\nNorwell,NV9\n")
    words = ["load", table, "--map", "What=make", "--map", "Which=model", "--every", "date=2024-03-05"]
    assert jackfield(*words).code == 0
    assert jackfield("find", "nv9").code == 0


@pytest.mark.parametrize(
    ("text", "words", "named"),
    [
        ("", [], "empty"),
        ("a,b\n1,2\n", [], "a column for make"),
        ("make,model\nx,y\n", [], "a column for date"),
        (
            "make,brand,model,date\nx,y,z,2024-01-01\n",
            ["--map", "brand=make", "--map", "make=make"],
            "two columns",
        ),
        ("make,model,date\n", ["--map", "nothing=make"], "no column nothing"),
        ("make,model,date\n", ["--map", "make=colours"], "colours"),
        ("make,model,date\n", ["--map", "make"], "COLUMN=FIELD"),
        ("make,model,date\n", ["--every", "colours=x"], "colours"),
        ("make,model,date\n", ["--mapping", "/no/such/file"], "file not found"),
        ('make,model,date\n"x"y,z,2024-01-01\n', [], "RFC 4180"),
        ("make,model,date\n" + "x" * 2_000_000, [], "line 2"),
        ("make,model,date\nx,y,2024-01-01\n", ["--encoding", "none-such"], "none-such"),
    ],
)
def test_a_table_that_cannot_be_meant_is_refused_in_one_line(
    jackfield: Run, tmp_path: Path, text: str, words: list[str], named: str
) -> None:
    path = tmp_path / "t.csv"
    path.write_text(text)
    done = jackfield("load", path, *words)
    assert (done.code, done.out) == (2, "")
    assert named in done.err
    assert "Traceback" not in done.err
    assert len(done.err) < 700


def test_text_in_another_encoding_is_told_and_can_be_read(jackfield: Run, tmp_path: Path) -> None:
    path = tmp_path / "old.csv"
    path.write_bytes("make,model,date,note\nØstby,NV1,2024-01-01,Kopfhörer\n".encode("cp1252"))
    assert "line 2" in jackfield("load", path).err
    assert jackfield("load", path, "--encoding", "cp1252").code == 0
    assert jackfield("find", "nv1", "--json").json["matches"][0]["make"] == "Østby"


@pytest.mark.parametrize("name", ["base64", "rot13", "undefined", "punycode", "utf-16", "no-such"])
def test_an_encoding_that_cannot_be_read_line_by_line_is_named(
    jackfield: Run, notes: Path, name: str
) -> None:
    done = jackfield("load", notes, "--encoding", name)
    assert (done.code, done.out) == (2, "")
    assert f"--encoding: saw '{name}'" in done.err


def test_a_mistake_while_loading_is_not_told_as_one_of_the_file_name(
    jackfield: Run, notes: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def mistaken(*_: object, **__: object) -> None:
        raise ValueError("of ours")

    monkeypatch.setattr("kb.exchange.loading.Table", mistaken)
    done = jackfield("load", notes)
    assert (done.code, "a mistake in Jackfield itself" in done.err) == (3, True), done.err


def test_json_lines_hold_a_visit_a_line(jackfield: Run, tmp_path: Path) -> None:
    path = tmp_path / "notes.jsonl"
    lines = [
        visit_data("A1"),
        visit_data("A2"),
        {"date": "2024-01-01", "source": {"make": "x", "model": "y"}, "note": "n"},
    ]
    path.write_text("\n".join(map(json.dumps, lines)))
    assert jackfield("load", path, "--json").json["visits"] == 3
    path.write_text(path.read_text() + "\n{]\n" + json.dumps(visit_data("A3") | {"date": 3}))
    done = jackfield("load", path, "--json")
    assert [(one["line"], one["field"]) for one in done.json["bad"]] == [(4, ""), (5, "date")]


def test_a_packed_file_is_read_as_it_is(jackfield: Run, tmp_path: Path) -> None:
    path = tmp_path / "notes.csv.gz"
    path.write_bytes(gzip.compress(NOTES.encode()))
    assert jackfield("load", path, "--json").json["visits"] == 2
    path.write_bytes(gzip.compress(NOTES.encode())[:-9])
    assert jackfield("load", path).code == 2


def test_a_long_report_is_bounded(tmp_path: Path, jackfield: Run) -> None:
    path = tmp_path / "bad.csv"
    path.write_text("make,model,date\n" + "x,y,soon\nx,z,soon\n" * 1500)
    done = jackfield("load", path)
    assert len(done.err.splitlines()) < 30
    assert "2,980 more" in done.err or "2980 more" in done.err
    assert len(jackfield("load", path, "--json").json["bad"]) == loading.REPORTED


def test_memory_does_not_grow_with_the_file(tmp_path: Path) -> None:
    """Rows are handed on as they are read: the store has taken the first before the last is made."""
    path = tmp_path / "many.csv"
    with path.open("w", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(["date", "make", "model", "form"])
        writer.writerows(["2024-01-01", "Norwell", f"NV{n}", "toslink"] for n in range(3000))
    read: list[int] = []
    with Store.open(tmp_path / "b.sqlite") as store:
        taken: list[int] = []
        record = store.record

        def watched(visits, **more):  # type: ignore[no-untyped-def]
            def one_by_one():  # type: ignore[no-untyped-def]
                for visit in visits:
                    taken.append(read[-1] if read else 0)
                    yield visit

            return record(one_by_one(), **more)

        store.record = watched  # type: ignore[method-assign]
        load(store, [str(path)], Source(), progress=lambda done, total: read.append(done))
    assert len(taken) == 3000
    assert taken[0] < path.stat().st_size / 2


def test_a_dump_beside_other_notes_is_refused(jackfield: Run, notes: Path, tmp_path: Path) -> None:
    jackfield("load", notes)
    jackfield("dump", tmp_path / "d.jsonl")
    done = jackfield("load", notes, tmp_path / "d.jsonl", "--home", tmp_path / "other")
    assert (done.code, "by itself" in done.err) == (2, True)
    with Store.open(tmp_path / "other" / "book.sqlite") as store:
        assert facts_of(store) == []


@pytest.mark.parametrize("form", ["%Y-%m-%Y", "%q", "%", "%d/%m", "%Y", "%m/%Y", "(", "soon", ""])
def test_a_format_that_names_no_day_is_refused_before_anything_is_read(
    jackfield: Run, notes: Path, tmp_path: Path, form: str
) -> None:
    """Python's strptime takes each code once (a regular expression of named groups)."""
    said = jackfield("load", notes, "--date-format", form)
    assert (said.code, said.err.startswith("jackfield: --date-format: saw")) == (2, True)
    assert "mistake" not in said.err
    mapping = tmp_path / "map.toml"
    mapping.write_text(f"[read]\ndate = {json.dumps(form)}\n")
    said = jackfield("load", notes, "--mapping", mapping)
    assert (said.code, "map.toml, read, date: saw" in said.err) == (2, True)


@pytest.mark.parametrize(
    ("form", "said"),
    [
        ("%d.%m.%y", "01.03.24"),
        ("%d %b %Y", "01 Mar 2024"),
        ("%Y%m%d %H:%M", "20240301 14:05"),
        ("%j %Y", "061 2024"),
    ],
)
def test_a_day_is_read_however_it_is_written(jackfield: Run, tmp_path: Path, form: str, said: str) -> None:
    path = tmp_path / "days.csv"
    path.write_text(f"make,model,date\nNorwell,NV1,{said}\n")
    assert jackfield("load", path, "--date-format", form, "--json").json["visits"] == 1
    assert jackfield("show", "Norwell", "NV1", "--json").json["visits"][0]["date"] == "2024-03-01"


def test_a_date_that_may_mean_two_days_is_refused_with_the_option_that_says_which(
    jackfield: Run, tmp_path: Path
) -> None:
    path = tmp_path / "days.csv"
    path.write_text("make,model,date\nNorwell,NV1,03/04/2024\n")
    assert "--date-format to say how dates are written" in jackfield("load", path).err


def test_a_row_that_is_repeated_without_end_takes_no_memory(tmp_path: Path, jackfield: Run) -> None:
    """Rows that say the same of one visit are one visit; 20,000 of them would be 5 MB of lists."""
    path = tmp_path / "same.csv"
    for rows in (
        "Norwell,NV1,2024-03-01,\n",
        "Norwell,NV1,2024-03-01,toslink\n",
    ):
        path.write_text("make,model,date,form\n" + rows * 20_000)
        with path.open("rb") as file:
            table = Table(lines_of(file, "same"), TableMap(), "same")
            tracemalloc.start()
            try:
                found = list(table.read())
                peak = tracemalloc.get_traced_memory()[1]
            finally:
                tracemalloc.stop()
        assert (len(found), peak < 1_000_000) == (1, True)
    done = jackfield("load", path, "--json")
    assert [(one["line"], one["seen"]) for one in done.json["bad"]] == [(2, "20000 rows of one visit")]


def test_a_file_is_loaded_while_a_server_records(tmp_path: Path) -> None:
    """Both are acknowledged, both are there, and the file is one writing."""
    path, book = tmp_path / "many.csv", tmp_path / "book.sqlite"
    path.write_text("date,make,model\n" + "".join(f"2024-01-01,Norwell,NV{n}\n" for n in range(2000)))
    with Store.open(book) as store, start("record", str(book), "W", "100000") as writer:
        assert writer.stdout is not None
        writer.stdout.readline()
        writer.stdout.readline()
        done = load(store, [str(path)], Source())
        lines = [writer.stdout.readline() for _ in range(3)]
        writer.kill()
        lines += writer.communicate()[0].splitlines(keepends=True)
        acknowledged = {id_ for line in lines if line.endswith("\n") for id_ in line.split()[1:]}
        assert (done.visits, done.written) == (2000, True)
        there = [one for some in Present(store).visits() for one in some]
        assert acknowledged <= {one.id for one in there}
        assert sum(1 for one in there if one.source.model.startswith("NV")) == 2000
    with closing(sqlite3.connect(book)) as raw:
        asked = "SELECT count(*), count(DISTINCT revision) FROM visit WHERE model LIKE 'NV%'"
        assert raw.execute(asked).fetchone() == (2000, 1)
