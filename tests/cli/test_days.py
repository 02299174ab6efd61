"""A day is typed as people say it, and the date that was understood is shown."""

from __future__ import annotations

import pytest

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


@pytest.mark.parametrize("typed", ["soon", "friday 13", "viernes sábado", "last month", "last", "el"])
def test_words_that_name_no_day_are_refused(jackfield: Run, typed: str) -> None:
    done = jackfield("record", "Tarnow", "T32", "opt:ok", "--date", typed)
    assert (done.code, "yesterday" in done.err) == (2, True)
    assert jackfield("job", "add", "--client", "Alder", "--day", typed).code == 2
