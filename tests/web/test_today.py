"""The jobs of the day and what to bring."""

from __future__ import annotations

import json
import re
import stat
from pathlib import Path

import pytest

from tests.web.conftest import Phone
from tests.web.test_pages import shown

pytest.importorskip("flask", reason="the extra jackfield[web] is not installed")

JOB = {"make": "Norwell", "model": "NV40-210", "job": "J-7", "length_m": "3"}


def test_a_job_that_was_typed_in_is_a_job_file_that_pack_reads(
    phone: Phone, home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    from kb.cli.main import run

    assert phone.post("/today", JOB).status_code == 303
    file = home / "today.json"
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    assert json.loads(file.read_text()) == {
        "jobs": [
            {
                "make": "Norwell",
                "model": "NV40-210",
                "job": "J-7",
                "inputs": ["line-3.5"],
                "speakers": "needed",
                "length_m": 3.0,
            }
        ]
    }
    capsys.readouterr()
    assert run(["--home", str(home), "pack", str(file), "--json"]) in (0, 1)
    plan = json.loads(capsys.readouterr().out)
    page = shown(phone.get("/bring").text)
    for line in plan["items"]:
        assert f"{line['count']} × {line['item']}" in page


def test_the_day_leads_to_set_and_record(phone: Phone) -> None:
    phone.post("/today", JOB)
    page = phone.get("/today").text
    assert re.findall(r'class="keep" href="([^"]+)"', page) == [
        "/set?make=Norwell&amp;model=NV40-210",
        "/record?make=Norwell&amp;model=NV40-210",
    ]
    assert "J-7" in page


def test_a_job_that_is_done_leaves_the_list(phone: Phone) -> None:
    phone.post("/today", JOB)
    phone.post("/today", {**JOB, "model": "NV32-208"})
    phone.post("/today", {"done": "0"})
    page = phone.get("/today").text
    assert "NV32-208" in page
    assert "NV40-210" not in page


@pytest.mark.parametrize(
    ("field", "value"),
    [("make", ""), ("length_m", "far"), ("length_m", "-1"), ("year", "1800"), ("inputs", "banana")],
)
def test_a_job_that_makes_no_sense_is_named_and_nothing_is_written(
    field: str, value: str, phone: Phone, home: Path
) -> None:
    data = {**JOB, field: value} | ({"model": ""} if field == "make" else {})
    answer = phone.post("/today", data)
    assert answer.status_code == 422
    assert 'role="alert"' in answer.text
    assert not (home / "today.json").exists()


def test_a_day_has_no_more_jobs_than_pack_takes(phone: Phone, home: Path) -> None:
    from kb.pack.jobs import MOST_JOBS

    (home / "today.json").write_text(json.dumps([{"make": "Norwell", "inputs": ["line-3.5"]}] * MOST_JOBS))
    answer = phone.post("/today", JOB)
    assert answer.status_code == 422
    assert len(json.loads((home / "today.json").read_text())) == MOST_JOBS


@pytest.mark.parametrize("kept", ["", "{", '{"jobs": 3}', '[{"make": 1}]', "[" * 100_000])
def test_a_damaged_day_is_named_and_left_as_it_is(kept: str, phone: Phone, home: Path) -> None:
    (home / "today.json").write_text(kept)
    for answer in (phone.get("/today"), phone.post("/today", JOB), phone.get("/bring")):
        assert answer.status_code == 422
        assert "today.json" in answer.text
    assert (home / "today.json").read_text() == kept


def test_a_file_that_was_named_is_shown_and_never_changed(home: Path, tmp_path: Path) -> None:
    from kb.web.app import make_app

    named = tmp_path / "jobs.toml"
    named.write_text('[[jobs]]\nmake = "Norwell"\nmodel = "NV40-210"\ninputs = ["optical"]\njob = "J-1"\n')
    codes: list[str] = []
    app = make_app(home, tell=codes.append, jobs=named)
    phone = Phone(app.test_client(), codes).pair()
    assert "J-1" in phone.get("/today").text
    assert phone.post("/today", JOB).status_code == 422
    assert "optical cable" in phone.get("/bring").text
    app.extensions["jackfield"].books.close()


def test_without_a_job_there_is_nothing_to_bring(phone: Phone) -> None:
    assert phone.get("/bring").location == "/today"


def test_lengths_are_typed_and_shown_in_the_units_of_the_settings(phone: Phone, home: Path) -> None:
    (home / "settings.toml").write_text('units = "feet"\n')
    assert "4 ft 11 in" in phone.get("/today").text
    phone.post("/today", {"make": "Norwell", "model": "NV40-210", "length_m": "10"})
    (job,) = json.loads((home / "today.json").read_text())["jobs"]
    assert job["length_m"] == pytest.approx(3.048)
    assert "10 ft" in phone.get("/today").text
    phone.post("/today", {"make": "Norwell", "model": "NV32-208", "length_m": "2.5 m"})
    assert json.loads((home / "today.json").read_text())["jobs"][1]["length_m"] == 2.5
    page = phone.get("/path?make=Norwell&model=NV40-210&length=8+ft").text
    assert 'value="8 ft 0 in"' in page
    wrong = phone.post("/today", {"make": "Norwell", "model": "NV32-208", "length_m": "far"})
    assert wrong.status_code == 422
    assert "far" in wrong.text


def test_a_set_that_is_named_by_half_is_understood_on_the_phone_too(phone: Phone) -> None:
    phone.post("/today", {"model": "nv40-21O", "job": "J-8"})
    page = shown(phone.get("/bring").text)
    assert "is taken as Norwell NV40-210" in page
    assert "Norwell NV40-210 J-8" in page
