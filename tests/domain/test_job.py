"""A job file is read as the office wrote it, and a mistake in it is named."""

from __future__ import annotations

import json
from datetime import date
from typing import Any

import pytest

from kb.base import clock
from kb.base.errors import BadInput
from kb.domain.job import Job, JobSet, JobStatus, changed, job_from, job_to, without_id
from kb.domain.kinds import fields_of, without_private
from kb.domain.words import DriverInput, Kind, Signal

ALDER: dict[str, Any] = {
    "job": "J-12",
    "client": "Alder",
    "place": "Mill Lane 3",
    "day": "2026-03-04",
    "by": "RT",
    "make": "Norwell",
    "model": "NV40-210",
    "kind": "television",
    "display": "flat",
    "year": 2014,
    "size_in": 40.0,
    "taken": ["optical"],
    "free": ["headphone"],
    "answers": {"headphone": True},
    "driver": "bench driver",
    "inputs": ["line-3.5"],
    "length_m": 3.0,
    "speakers": "needed",
    "room": "5.2x4.1",
    "route": "skirting",
    "materials": [
        {"item": "wire", "count": 20, "unit": "m"},
        {"item": "drill", "count": 1, "tool": True, "unit": "piece"},
    ],
    "used": {"wire": 18},
    "note": "ring twice",
    "id": "a1",
}


def test_all_that_a_job_can_say_comes_back_as_it_was_written() -> None:
    job = job_from({**ALDER, "status": "done"})
    written = job_to(job)
    assert set(written) == {one.key for of in (Job, JobSet) for one in fields_of(of)} - {"sets"}
    assert written == {**ALDER, "status": "done", "materials": written["materials"]}
    assert job_from(json.loads(json.dumps(written))) == job


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"day": "soon"}, "job, day: saw 'soon', expected a date such as 2026-03-04 (year, month, day)"),
        ({"sets": [{"year": 1}]}, "job, set 1, year: saw 1, expected a year, 1930 to 2200"),
        ({"speakers": "loud"}, "job, speakers: saw 'loud', expected one of needed, free"),
    ],
)
def test_a_wrong_field_is_named_once_from_the_outside_in(wrong: dict[str, Any], said: str) -> None:
    with pytest.raises(BadInput) as caught:
        job_from(wrong)
    assert str(caught.value) == said


def test_of_what_was_used_a_single_piece_counts_and_none_is_not_said() -> None:
    assert job_from({**ALDER, "used": {"wire": 1}}).used == (("wire", 1),)
    with pytest.raises(BadInput, match="used"):
        job_from({**ALDER, "used": {"wire": 0}})


def test_the_driver_may_stand_right_beside_the_set_or_a_hundred_metres_away_and_no_farther() -> None:
    assert [job_from({**ALDER, "length_m": metres}).length_m for metres in (0.2, 100)] == [0.2, 100]
    for wrong in (0, -1, 100.1):
        with pytest.raises(BadInput, match=f"length_m: saw {wrong:g}, .*100"):
            job_from({**ALDER, "length_m": wrong})


def test_the_set_of_a_job_stands_in_a_file_between_the_job_and_its_driver() -> None:
    assert list(job_to(job_from(ALDER))) == list(ALDER)


def test_an_open_job_does_not_say_so_and_a_finished_one_does() -> None:
    assert "status" not in job_to(Job())
    assert job_to(Job(status=JobStatus.CALLED_OFF))["status"] == "called-off"


def test_of_two_sets_each_keeps_its_own_facts() -> None:
    job = job_from({"client": "Elm", "sets": [{"make": "Norwell"}, {"kind": "soundbar", "year": 2019}]})
    assert [one.kind for one in job.sets] == [Kind.TELEVISION, Kind.SOUNDBAR]
    assert job_to(job)["sets"] == [
        {"make": "Norwell", "kind": "television"},
        {"kind": "soundbar", "year": 2019},
    ]


def test_a_job_is_called_by_make_and_model_of_its_sets_as_far_as_known() -> None:
    job = Job(sets=(JobSet("Norwell", "NV40-210"), JobSet(), JobSet(make="Tessarin")))
    assert job.title == "Norwell NV40-210, Tessarin"


def test_a_job_of_which_no_set_was_named_has_one_of_which_nothing_is_known() -> None:
    assert job_from({"client": "Elm"}).sets == ()
    assert job_from({"client": "Elm"}).known_sets == (JobSet(),)
    assert job_from(ALDER).known_sets == job_from(ALDER).sets


def test_nobody_asked_and_nothing_is_taken_are_two_answers() -> None:
    assert job_from({}).known_sets[0].taken is None
    none_taken = job_from({"taken": []})
    assert none_taken.sets[0].taken == ()
    assert job_to(none_taken)["taken"] == []


def test_an_output_that_is_named_twice_counts_once() -> None:
    assert job_from({"taken": ["optical", "optical"]}).sets[0].taken == (Signal.OPTICAL,)
    assert job_from({"inputs": ["mic", "mic"]}).inputs == (DriverInput.MIC,)


@pytest.mark.parametrize(("said", "there"), [(True, True), ("yes", True), (False, False), ("no", False)])
def test_the_client_answers_yes_or_no(said: object, there: bool) -> None:
    assert job_from({"answers": {"optical": said}}).sets[0].answers == ((Signal.OPTICAL, there),)


def test_the_list_of_a_loop_is_taken_from_its_answer_or_alone() -> None:
    items = [{"item": "wire", "count": 20, "unit": "m"}]
    assert job_from({"materials": {"items": items, "notes": []}}) == job_from({"materials": items})
    [wire] = job_from({"materials": items}).materials
    assert (wire.tool, wire.unit) == (False, "m")
    [hooks] = job_from({"materials": [{"item": "hook", "count": 10_000}]}).materials
    assert (hooks.tool, hooks.unit, hooks.count) == (False, "piece", 10_000)


def test_the_size_may_be_said_as_callers_say_it() -> None:
    assert job_from({"size": 32}).sets[0].size_in == 32
    assert job_from({"sets": [{"size": 32}, {"size_in": 40}]}).sets[0].size_in == 32


BAD = [
    ([], "job"),
    ({"sets": 3}, "sets: .*a list of sets"),
    ({"sets": [{"make": "N"}] * 21}, "sets: .*at most 20"),
    ({"sets": [{}, {"yeer": 1}]}, "set 2, unknown field"),
    ({"sets": [{}, 7]}, "set 2: .*what is known of the set"),
    ({"sets": [{}], "make": "N"}, "unknown field: saw 'make'"),
    ({"size": 32, "size_in": 32}, "unknown field: saw 'size'"),
    ({"year": 1929}, "year: saw 1929"),
    ({"length_m": 0}, "length_m.*above 0, at most 100"),
    ({"length_m": 100.5}, "length_m"),
    ({"by": "R" * 41}, "by"),
    ({"place": "x" * 201}, "place"),
    ({"id": "x" * 61}, "id"),
    ({"answers": {"optical": "perhaps"}}, "answers, optical: .*yes or no"),
    ({"answers": {"optical": None}}, "answers, optical: .*yes or no"),
    ({"materials": "wire"}, "materials: .*jackfield loop"),
    ({"materials": [{"item": "wire", "count": 0}]}, "materials, item 1.*count"),
    ({"materials": [{"item": "wire", "count": 10_001}]}, "from 1 to 10000"),
    ({"materials": [{"item": "wire", "count": 1}] * 101}, "at most 100"),
    ({"materials": [{"count": 1}]}, "item"),
    ({"used": {"wire": 0}}, "used, wire.*1 to 500"),
    ({"used": {"wire": 501}}, "used, wire"),
    ({"used": {"??": 1}}, "letters or digits"),
    ({"speakers": "loud"}, "speakers: .*needed, free"),
    ({"day": "2026-02-30"}, "day: .*a date such as"),
    ({"inputs": ["tin can"]}, "inputs"),
]


@pytest.mark.parametrize(("data", "said"), BAD)
def test_a_mistake_in_a_job_is_named_with_its_place(data: object, said: str) -> None:
    with pytest.raises(BadInput, match=f"^job.*{said}"):
        job_from(data)


LARGEST: list[dict[str, Any]] = [
    {"length_m": 100, "by": "R" * 40, "place": "x" * 200, "id": "x" * 60, "used": {"wire": 500}},
    {"sets": [{"make": "N"}] * 20},
    {"materials": [{"item": "wire", "count": 1}] * 100},
]


@pytest.mark.parametrize("data", LARGEST)
def test_the_largest_job_is_read(data: dict[str, Any]) -> None:
    assert job_from(data) == job_from(job_to(job_from(data)))


def test_a_set_of_a_year_to_come_is_refused_except_in_a_book(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(clock, "today", lambda: date(2026, 3, 4))
    assert job_from({"year": 2027}).sets[0].year == 2027
    with pytest.raises(BadInput, match=r"job, year: saw 2028"):
        job_from({"year": 2028})
    assert job_from({"year": 2028}, kept=True).sets[0].year == 2028


# -- changes ---------------------------------------------------------------------------------------


def test_a_change_takes_the_place_of_what_was_said_and_none_takes_it_away() -> None:
    job = changed(job_from(ALDER), {"client": "Ash", "note": None, "year": 2015, "display": None})
    assert (job.client, job.note, job.sets[0].year, job.sets[0].display) == ("Ash", "", 2015, None)
    assert (job.place, job.sets[0].make) == ("Mill Lane 3", "Norwell")


def test_a_fact_of_a_set_goes_to_the_set_that_is_meant() -> None:
    two = job_from({"sets": [{"make": "Norwell"}, {"make": "Tessarin"}]})
    assert [one.year for one in changed(two, {"year": 2015}, 1).sets] == [2015, None]
    assert [one.year for one in changed(two, {"year": 2015}, 2).sets] == [None, 2015]
    assert [one.make for one in changed(two, {"make": "Ostrel"}, 3).sets] == ["Norwell", "Tessarin", "Ostrel"]
    assert changed(Job(), {"make": "Norwell"}).sets == (JobSet(make="Norwell"),)
    assert changed(two, {"client": "Elm"}).sets == two.sets


def test_a_set_that_is_not_there_or_not_named_among_two_is_asked_for() -> None:
    two = job_from({"sets": [{"make": "Norwell"}, {"make": "Tessarin"}]})
    with pytest.raises(BadInput, match=r"job, set: missing, expected one of its sets, 1 to 2"):
        changed(two, {"year": 2015})
    with pytest.raises(BadInput, match=r"job, set: saw 4"):
        changed(two, {"year": 2015}, 4)


def test_two_jobs_of_the_same_content_differ_in_their_id_alone() -> None:
    assert without_id(job_from(ALDER)) == without_id(job_from({**ALDER, "id": "b2"}))
    assert without_id(job_from(ALDER)).id == ""


def test_what_is_private_of_a_job_are_client_place_people_and_free_words() -> None:
    bare = job_to(without_private(job_from(ALDER)))
    assert set(ALDER) - set(bare) == {"job", "client", "place", "by", "driver", "note"}
