"""A day is typed as people say it, and the date that was understood is shown."""

from __future__ import annotations

import pytest

from kb.cli.common import bare_year
from tests.cli.conftest import Run

#: 2026-03-04 was a Wednesday.
BACK = {
    "yesterday": "2026-03-03",
    "Ayer": "2026-03-03",
    "anteayer": "2026-03-02",
    "today": "2026-03-04",
    "wednesday": "2026-03-04",
    "last Wednesday": "2026-02-25",
    "friday": "2026-02-27",
    "el viernes pasado": "2026-02-27",
    "on monday": "2026-03-02",
    "miércoles": "2026-03-04",
    "28 feb": "2026-02-28",
    "28.2.2026": "2026-02-28",
    "2026-02-20": "2026-02-20",
}
AHEAD = {
    "mañana": "2026-03-05",
    "pasado mañana": "2026-03-06",
    "friday": "2026-03-06",
    "wednesday": "2026-03-04",
    "next wednesday": "2026-03-11",
    "el lunes que viene": "2026-03-09",
    "próximo sábado": "2026-03-07",
    "3/31/2026": "2026-03-31",
    "yesterday": "2026-03-03",
}


@pytest.fixture(autouse=True)
def wednesday(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("JACKFIELD_TODAY", "2026-03-04")


@pytest.mark.parametrize(("typed", "day"), BACK.items())
def test_what_was_done_lies_back(jackfield: Run, typed: str, day: str) -> None:
    done = jackfield("record", "Tarnow", "T32", "opt:ok", "--date", typed)
    assert done.code == 0
    assert (f"{typed} is {day}" in done.err) is (typed != day)
    assert jackfield("show", "Tarnow", "T32", "--json").json["visits"][0]["date"] == day
    assert jackfield("visits", "--since", typed, "--until", typed).code == 0


@pytest.mark.parametrize(("typed", "day"), AHEAD.items())
def test_what_is_planned_lies_ahead(jackfield: Run, typed: str, day: str) -> None:
    done = jackfield("job", "add", "--client", "Alder", "--day", typed)
    assert (done.code, f"{typed} is {day}" in done.err) == (0, True)
    assert jackfield("job", "list", "--day", typed, "--json").json["jobs"][0]["day"] == day
    assert jackfield("day", typed, "--json").json["day"] == day


def test_a_visit_that_a_stopped_clock_dates_is_not_recorded_in_silence(
    jackfield: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert jackfield("record", "Tarnow", "T32", "opt:ok").err.count("clock") == 0
    monkeypatch.setenv("JACKFIELD_TODAY", "2020-01-01")
    assert (
        "today is 2020-01-01 here; set this clock right" in jackfield("record", "Tarnow", "T40", "opt:ok").err
    )


@pytest.mark.parametrize(
    "typed",
    [
        "soon",
        "friday 13",
        "viernes sábado",
        "last month",
        "last",
        "el",
        "32 feb",
        "30 feb 2026",
        "feb",
        "1 feb 1900",
        "3 feb mar",
        "1 2 3 feb",
    ],
)
def test_words_that_name_no_day_are_refused(jackfield: Run, typed: str) -> None:
    done = jackfield("record", "Tarnow", "T32", "opt:ok", "--date", typed)
    assert (done.code, "yesterday" in done.err) == (2, True)
    assert jackfield("job", "add", "--client", "Alder", "--day", typed).code == 2


def test_a_job_of_several_days_is_found_on_each_of_them(jackfield: Run) -> None:
    for job in (("Tarnow", "T32"), ("Norwell", "NV40")):
        jackfield("job", "add", *job, "--client", "Alder", "--day", "2026-03-02")
    jackfield("record", "Tarnow", "T32", "opt:silent", "--job", "J-1", "--date", "2026-03-02")
    jackfield("job", "change", "J-1", "--day", "today")
    jackfield("job", "change", "J-2", "--day", "tomorrow")  # nobody was there on the first day
    for day, found in {
        "2026-03-02": ["J-1"],
        "wed": ["J-1"],
        "2026-03": ["J-1", "J-2"],
        "2026-04": [],
    }.items():
        assert [one["job"] for one in jackfield("job", "list", "--day", day, "--json").json["jobs"]] == found


def test_a_day_that_does_not_exist_is_named_and_is_not_a_job_that_does_not(jackfield: Run) -> None:
    for typed in ("2026-13", "0000", "2026-02-30", "26"):
        done = jackfield("job", "list", "--day", typed)
        assert (done.code, f"saw '{typed}', expected a d" in done.err) == (2, True), done.err


def test_a_free_reference_is_found_beside_the_job_of_a_client_of_that_name(jackfield: Run) -> None:
    jackfield("record", "Tarnow", "T32", "opt:ok", "--job", "alder")
    jackfield("job", "add", "Tarnow", "T32", "--client", "Mrs Alder")
    jackfield("record", "Tarnow", "T32", "opt:ok", "--job", "J-1", "--note", "again")
    found = jackfield("visits", "--job", "Alder", "--json").json["visits"]
    assert sorted(one["job"] for one in found) == ["J-1", "alder"]
    assert "no job 'J-7' in the book; it has J-1" in jackfield("job", "show", "J-7").err


def test_a_year_that_is_not_known_for_certain_is_typed_as_people_say_it(jackfield: Run) -> None:
    assert {bare_year(typed) for typed in ("about 2014", "2014?", "ca. 2014", "hacia 2014", "2014")} == {
        "2014"
    }
    for other in ("2014-2016", "about", "20 14", "old 2014", "-2014", ""):
        assert bare_year(other) == other
    recorded = jackfield("record", "Tarnow", "T1", "opt:ok", "--year", "about 2014")
    assert (recorded.code, "'about 2014' is taken as the year 2014." in recorded.err) == (0, True)
    in_line = jackfield("record", "Tarnow", "T2", "2014?", "opt:ok")
    assert (in_line.code, "'2014?' is taken as the year 2014." in in_line.err) == (0, True)
    assert "taken as" not in jackfield("record", "Tarnow", "T3", "--year", "2014", "opt:ok").err
    assert jackfield("show", "Tarnow", "T1", "--json").json["source"]["year"] == 2014
    assert jackfield("job", "add", "Tarnow", "--year", "2014?", "--json").json["added"][0]["year"] == 2014
