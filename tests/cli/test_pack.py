"""What to carry, asked at the command line: files, one set, an empty book, and what may be wrong."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from kb.base import clock
from tests.cli.conftest import Run

VisitFile = Callable[..., Path]

JOB = {"make": "Norwell", "model": "NV40-210", "inputs": ["line-3.5"]}


@pytest.fixture
def known(jackfield: Run, visit_file: VisitFile) -> Run:
    """A book in which one set was met often enough to be known."""
    one = json.loads(visit_file().read_text())
    days = [one | {"date": f"2026-03-{day:02}"} for day in range(1, 13)]
    assert jackfield("record", "--file", "-", stdin=json.dumps(days)).code == 0
    return jackfield


def test_a_set_that_is_known_wants_a_short_list(known: Run) -> None:
    done = known("pack", "Norwell", "NV40-210", "--inputs", "line-3.5", "--json")
    plan = done.json
    assert done.code == 0
    assert plan["certainty"] >= 0.95
    assert plan["reached"] is True
    assert {line["item"] for line in plan["items"]} >= {"optical cable 2 m", "DAC"}
    assert 2 <= len(plan["items"]) <= 4


def test_programs_get_the_keys_that_they_know(known: Run) -> None:
    plan = known("pack", "-", "--json", stdin=json.dumps([JOB, JOB | {"job": "J-9", "length_m": 4}])).json
    assert plan.keys() >= {"items", "certainty", "jobs", "next"}
    assert all(line.keys() >= {"item", "count"} for line in plan["items"])
    assert all(job.keys() >= {"make", "model", "certainty", "expected", "works"} for job in plan["jobs"])
    assert all(one.keys() >= {"signals", "p"} for job in plan["jobs"] for one in job["expected"])
    assert plan["next"] is None or plan["next"].keys() >= {"item", "gain"}
    assert plan["jobs"][1]["job"] == "J-9"


def test_an_empty_book_answers_from_the_prior_and_says_so(jackfield: Run) -> None:
    done = jackfield("pack", "Norwell", "--year", "2014", "--inputs", "line-3.5")
    assert done.code in (0, 1)
    assert "from common practice only" in done.out
    assert "DAC" in done.out
    assert done.err == ""


def test_a_target_that_cannot_be_had_is_a_true_no(jackfield: Run) -> None:
    done = jackfield("pack", "--year", "1985", "--inputs", "line-3.5")
    assert done.code == 1
    assert "95% is not possible" in done.out


def test_jobs_may_stand_in_toml_and_with_stock(known: Run, tmp_path: Path) -> None:
    file = tmp_path / "jobs.toml"
    file.write_text(
        '[have]\nDAC = 2\n[[jobs]]\nmake = "Norwell"\nmodel = "NV40-210"\ninputs = ["line-3.5"]\n'
        'speakers = "needed"\nlength_m = 2\ntaken = []\n'
    )
    plan = known("pack", file, "--json").json
    (dac,) = (line for line in plan["items"] if line["item"] == "DAC")
    assert dac["in_stock"] == 1
    assert all("splitter" not in line["item"] for line in plan["items"])


def test_the_list_can_be_printed_to_tick_off(known: Run) -> None:
    done = known("pack", "-", "--print", stdin=json.dumps([JOB]))
    assert "[ ] 1 x DAC" in done.out
    assert "the job connects on the first visit" in done.out
    assert done.out.startswith(
        f"To carry, listed on {clock.today().isoformat()}\n  job 1: Norwell NV40-210\n"
    )


def test_the_printed_list_keeps_which_job_an_item_is_for_and_what_is_in_stock(known: Run) -> None:
    day = {"jobs": [JOB | {"job": "J-7"}, {"year": 2014, "inputs": ["optical"]}], "have": {"DAC": 2}}
    done = known("pack", "-", "--print", stdin=json.dumps(day))
    assert "  job 1: Norwell NV40-210  (J-7)\n" in done.out
    (dac,) = (line for line in done.out.splitlines() if " x DAC " in line)
    assert dac.endswith("(for job 1, 1 in stock)")
    assert "every job connects on the first visit" in done.out
    assert max(map(len, done.out.splitlines())) <= 80


def test_screens_keep_to_80_columns(known: Run) -> None:
    jobs: list[dict[str, Any]] = [
        JOB,
        {"inputs": ["line-3.5", "optical"]},
        {"make": "Norwell", "inputs": ["line-rca"]},
    ]
    done = known("pack", "-", stdin=json.dumps(jobs))
    assert "Ask on the phone" in done.out
    assert max(map(len, done.out.splitlines())) <= 80


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ([], "missing, expected one job at least"),
        ("jobs", "a list of jobs, or an object with jobs"),
        (7, "a list of jobs, or an object with jobs"),
        ({"have": {}}, "a list of jobs, or an object with jobs"),
        ([{"make": "Norwell"}], "job 1, inputs"),
        ([JOB, {"inputs": []}], "job 2, inputs"),
        ([JOB, {"inputs": ["line-4"]}], "job 2, inputs"),
        ([JOB | {"length_m": -2}], "job 1, length_m: saw -2"),
        ([JOB | {"length_m": 0}], "job 1, length_m"),
        ([JOB | {"speakers": "perhaps"}], "job 1, speakers: saw 'perhaps', expected one of needed, free"),
        ([JOB | {"taken": ["sound"]}], "job 1, taken"),
        ([JOB | {"display": "round"}], "job 1, display"),
        ([JOB | {"colour": "red"}], "job 1, unknown field"),
        ([JOB] * 201, "saw 201 jobs"),
        ({"jobs": [JOB], "have": {"magic box": 1}}, "standard input, have: saw 'magic box'"),
        ({"jobs": [JOB], "have": {"DAC": 0}}, "have, DAC: saw 0"),
        ({"jobs": [JOB], "have": {"DAC": -3}}, "have, DAC: saw -3"),
        ({"jobs": [JOB], "stock": {}}, "unknown field"),
    ],
)
def test_a_wrong_job_file_gets_one_clear_message(jackfield: Run, given: object, said: str) -> None:
    done = jackfield("pack", "-", stdin=json.dumps(given))
    assert (done.code, done.out) == (2, "")
    assert said in done.err
    assert "Traceback" not in done.err


@pytest.mark.parametrize("target", ["0", "1", "1.5", "-1", "nan", "95", "most"])
def test_a_target_is_a_chance(jackfield: Run, target: str) -> None:
    done = jackfield("pack", "Norwell", "--inputs", "line-3.5", "--target", target)
    assert (done.code, done.out) == (2, "")
    assert "target" in done.err


@pytest.mark.parametrize("have", ["DAC=0", "DAC=-1", "DAC=many", "magic box"])
def test_stock_on_the_command_line_is_checked(jackfield: Run, have: str) -> None:
    done = jackfield("pack", "Norwell", "--inputs", "line-3.5", "--have", have)
    assert (done.code, done.out) == (2, "")
    assert f"--have: saw '{have}', expected an item, or item=count with a count from 1" in done.err or (
        have == "magic box" and "have: saw 'magic box', expected an item of the catalogue" in done.err
    )


def test_a_file_that_is_not_there_is_named(jackfield: Run) -> None:
    done = jackfield("pack", "tomorrow.json")
    assert done.code == 2
    assert "tomorrow.json" in done.err


def test_a_visit_recorded_since_counts_at_once_without_learning_all_anew(
    known: Run, visit_file: VisitFile, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert known("evidence", "Norwell", "NV40-210").code == 0  # learned, and kept
    new = json.loads(visit_file().read_text())
    new["source"] |= {"make": "Quillmere", "model": "QM43-7"}
    assert known("record", "--file", "-", stdin=json.dumps(new)).code == 0

    def learn(*_: object, **__: object) -> None:
        raise AssertionError("learned anew")

    monkeypatch.setattr("kb.evidence.Evidence.learn", learn)
    levels = known("evidence", "Quillmere", "QM43-7", "--json").json["levels"]
    assert next(level["visits"] for level in levels if level["level"] == "set") == 1


def test_another_spelling_of_a_set_is_that_set(known: Run, visit_file: VisitFile) -> None:
    wrong = json.loads(visit_file().read_text())
    wrong["source"] |= {"make": "Norwel", "model": "NV4O-210"}
    assert known("record", "--file", "-", stdin=json.dumps(wrong)).code == 0
    assert known("merge", "Norwel", "NV4O-210", "--into", "Norwell", "NV40-210").code == 0
    for spelling in (("Norwell", "NV40-210"), ("Norwel", "NV4O-210")):
        levels = known("evidence", *spelling, "--json").json["levels"]
        assert next(level["visits"] for level in levels if level["level"] == "set") == 13
    plan = known("pack", "Norwel", "NV4O-210", "--inputs", "line-3.5", "--json").json
    assert (plan["jobs"][0]["make"], plan["jobs"][0]["model"]) == ("Norwell", "NV40-210")


def test_an_item_without_its_length_is_answered_with_the_lengths_there_are(jackfield: Run) -> None:
    done = jackfield("pack", "Norwell", "--inputs", "line-3.5", "--have", "optical cable")
    assert (done.code, done.out) == (2, "")
    assert "expected a length with it: 1 m, 2 m, 3 m, 5 m or 10 m" in done.err


@pytest.mark.parametrize(
    ("given", "seen"), [({}, "missing"), (None, "missing"), ({"jobs": {}}, "saw an object")]
)
def test_a_file_without_jobs_is_told_in_plain_words(jackfield: Run, given: object, seen: str) -> None:
    done = jackfield("pack", "-", stdin=json.dumps(given))
    assert done.code == 2
    assert seen in done.err
    assert "NoneType" not in done.err
    assert "dict" not in done.err


def test_what_keeps_the_target_out_of_reach_is_said(jackfield: Run) -> None:
    done = jackfield("pack", "--year", "1985", "--inputs", "line-3.5")
    assert "What prevents more: " in done.out
    assert "if nobody needs its speakers" in " ".join(done.out.split())
    assert max(map(len, done.out.splitlines())) <= 80


def test_a_list_that_is_not_proved_the_cheapest_says_by_how_much(known: Run) -> None:
    jobs = [{"inputs": ["line-3.5"], "year": 1990 + 4 * n} for n in range(8)]
    done = known("pack", "-", stdin=json.dumps(jobs))
    plan = known("pack", "-", "--json", stdin=json.dumps(jobs)).json
    assert not plan["optimal"]
    spare = round(100 * (1 - plan["bound"] / plan["cost"]))
    assert f"another could cost up to {spare}% less." in " ".join(done.out.split())
    assert "not be the cheapest" not in known("pack", "-", stdin=json.dumps([JOB])).out


def test_a_job_file_holds_metres_and_says_so_where_a_unit_is_written(jackfield: Run) -> None:
    done = jackfield("pack", "-", stdin=json.dumps([JOB | {"length_m": "10ft"}]))
    assert done.code == 2
    assert "length_m: saw '10ft', expected metres from set to driver, a bare number" in done.err


def test_each_output_of_the_evidence_keeps_to_one_line_of_80_columns(known: Run) -> None:
    shown = known("evidence", "Norwell", "NV40-210").out.splitlines()
    (optical,) = (line for line in shown if "TOSLINK" in line)
    assert optical.startswith("  optical (TOSLINK)  ")
    assert optical.rstrip()[-1].isdigit() or optical.rstrip().endswith("-")
    outputs = shown[shown.index("Its outputs, if it has them") + 2 : shown.index("From") - 1]
    assert all("%" in line for line in outputs)
    assert max(map(len, shown)) <= 80


def test_a_set_is_named_for_packing_as_it_is_for_showing(known: Run) -> None:
    by_model = known("pack", "nv40-210", "--inputs", "line-3.5", "--json").json
    in_full = known("pack", "Norwell", "NV40-210", "--inputs", "line-3.5", "--json").json
    assert by_model["items"] == in_full["items"]
    assert by_model["jobs"][0]["make"] == "Norwell"
    assert by_model["notes"] == []


@pytest.mark.parametrize("typed", [["NV4O-210"], ["Norwel", "NV40-210"], ["norwell", "nv40 21O"]])
def test_a_slip_in_the_name_is_understood_and_said(known: Run, typed: list[str]) -> None:
    plan = known("pack", *typed, "--inputs", "line-3.5", "--json").json
    assert (plan["jobs"][0]["make"], plan["jobs"][0]["model"]) == ("Norwell", "NV40-210")
    (note,) = plan["notes"]
    assert " ".join(typed) in note
    assert "Norwell NV40-210" in note


def test_a_set_that_nobody_met_is_not_quietly_packed_for(known: Run) -> None:
    done = known("pack", "Zonda", "Q77", "--inputs", "line-3.5")
    assert "Nobody met Zonda Q77 yet" in done.out
    unknown = known("pack", "Zonda", "--inputs", "line-3.5")
    assert "neither a make nor a model in the book" in unknown.out


def test_half_a_model_that_fits_two_sets_is_asked_about(known: Run, visit_file: VisitFile) -> None:
    one = json.loads(visit_file().read_text())
    one["source"]["model"] = "NV40-218"
    assert known("record", "--file", "-", stdin=json.dumps([one])).code == 0
    plan = known("pack", "NV40", "--inputs", "line-3.5", "--json").json
    assert "NV40-210" in plan["notes"][0]
    assert "NV40-218" in plan["notes"][0]


def test_names_in_a_job_file_are_understood_alike(known: Run) -> None:
    jobs = [{**JOB, "model": "NV4O-210"}, {"make": "Norwel", "inputs": ["line-3.5"]}]
    plan = known("pack", "-", "--json", stdin=json.dumps(jobs)).json
    assert [job["make"] for job in plan["jobs"]] == ["Norwell", "Norwell"]
    assert len(plan["notes"]) == 2


def test_a_job_file_that_is_not_there_is_not_taken_for_a_make(known: Run) -> None:
    for name in ("monday.json", "monday.csv", "jobs/monday"):
        assert known("pack", name, "--inputs", "line-3.5").code == 2


def test_evidence_goes_by_the_same_names(known: Run) -> None:
    assert known("evidence", "nv40-210", "--json").json["source"]["make"] == "Norwell"
    found = known("evidence", "Norwell", "NV4O-210", "--json").json
    assert found["source"]["model"] == "NV40-210"
    assert "NV4O-210" in found["notes"][0]
