"""The jobs of the day and what to bring."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest

from kb.book import Book
from kb.domain.job import changed, job_from, job_to
from tests.web.conftest import NewPhone, Phone
from tests.web.test_pages import shown

pytest.importorskip("flask", reason="the extra jackfield[web] is not installed")

JOB_SET = {"make": "Norwell", "model": "NV40-210"}
JOB = {"make": "Norwell", "model": "NV40-210", "job": "J-7", "length_m": "3"}


def kept(home: Path, status: str = "open") -> list[dict[str, Any]]:
    """The jobs of the book with this status, as a job file has them."""
    with Book.open(home) as book:
        return [job_to(job) for job in book.jobs.every() if job.status.value == status]


def test_a_job_that_was_typed_in_is_a_job_of_the_book_that_pack_takes(
    phone: Phone, home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    from kb.cli.main import run

    sent = {**JOB, "client": "Alder", "place": "7 Mill Lane"}
    assert phone.post("/today", sent).status_code == 303
    [written] = kept(home)
    assert written.pop("id")
    assert written == {
        "make": "Norwell",
        "model": "NV40-210",
        "kind": "television",
        "job": "J-7",
        "client": "Alder",
        "place": "7 Mill Lane",
        "day": "2026-03-06",
        "inputs": ["line-3.5"],
        "length_m": 3.0,
    }
    capsys.readouterr()
    assert run(["--home", str(home), "pack", "--day", "today", "--json"]) in (0, 1)
    plan = json.loads(capsys.readouterr().out)
    page = shown(phone.get("/bring").text)
    for line in plan["items"]:
        assert f"{line['count']} × {line['item']}" in page


def test_whether_others_listen_is_said_only_if_somebody_said_it(phone: Phone, home: Path) -> None:
    """What nobody has asked yet stays a question for the telephone."""
    for number, listen in enumerate(("", "needed", "free", "yes")):
        phone.post("/today", {**JOB, "id": f"a{number}", "job": f"J-{number}", "speakers": listen})
    said = {job["job"]: job.get("speakers") for job in kept(home)}
    assert said == {"J-0": None, "J-1": "needed", "J-2": "free", "J-3": None}


def test_jobs_of_another_day_are_not_of_today_and_open_ones_of_earlier_days_are_named(phone: Phone) -> None:
    phone.post("/today", {**JOB, "id": "a1", "day": "2026-03-05"})
    phone.post("/today", {"make": "Hallmere", "id": "b2", "day": "2026-03-07"})
    page = phone.get("/today").text
    assert "Still open from earlier days" in page
    assert 'name="done" value="a1"' in page
    assert "Hallmere" not in page
    assert phone.get("/bring").location == "/today"


def test_a_job_with_two_sets_leads_to_both(phone: Phone, home: Path) -> None:
    with Book.open(home) as book:
        book.jobs.add([job_from({"id": "a1", "day": "2026-03-06", "sets": [JOB_SET, {"make": "Kestering"}]})])
    page = phone.get("/today").text
    assert "/set?make=Norwell&amp;model=NV40-210&amp;job=a1" in page
    assert "/record?make=Kestering&amp;model=&amp;job=a1" in page


def test_a_job_learns_the_model_that_the_phone_recorded(phone: Phone, home: Path) -> None:
    phone.post("/today", {"make": "Tarnow", "id": "a1"})
    sent = {"make": "Tarnow", "model": "T50", "job_id": "a1", "date": "2026-03-06"}
    assert phone.post("/record", sent).status_code == 303
    assert kept(home)[0]["model"] == "T50"


def test_a_job_shows_on_the_phone_what_was_said_on_the_telephone(phone: Phone, book: Book) -> None:
    known = {"make": "Tarnow", "year": 2014, "size_in": 40, "taken": ["optical"], "day": "2026-03-06"}
    book.jobs.add([job_from({**known, "client": "Alder", "speakers": "free"})])
    page = shown(phone.get("/today").text)
    assert "Alder, 1.5 m, nobody else listens, about 2014, 40 in, optical digital in use" in page
    [job] = book.jobs.every()
    form = phone.get(f"/record?make=Tarnow&model=T50&job={job.id}").text
    assert re.search(r'id="size_in"[^>]*value="40"', form)
    book.jobs.change(job.id, lambda one: changed(one, JOB_SET))
    assert "optical digital in use." in shown(
        phone.get(f"/set?make=Norwell&model=NV40-210&job={job.id}").text
    )


def test_the_list_to_bring_says_what_to_buy_once_the_van_is_counted(phone: Phone, book: Book) -> None:
    phone.post("/today", {**JOB, "id": "a1", "inputs": "line-3.5"})
    assert "buy" not in phone.get("/bring").text
    book.jobs.change_stock(lambda _: {"optical cable 5 m": 2})
    page = shown(phone.get("/bring").text)
    assert "DAC buy 1" in page
    assert "optical cable 5 m buy" not in page


def test_the_day_leads_to_set_and_record(phone: Phone) -> None:
    phone.post("/today", {**JOB, "id": "a1"})
    job = "a1"
    page = phone.get("/today").text
    assert re.findall(r'class="keep" href="([^"]+)"', page) == [
        f"/set?make=Norwell&amp;model=NV40-210&amp;job={job}",
        f"/record?make=Norwell&amp;model=NV40-210&amp;job={job}",
    ]
    assert "J-7" in page


def jobs_of(home: Path, key: str = "open") -> list[str]:
    return sorted(one["model"] for one in kept(home, key))


def test_a_job_that_is_done_leaves_the_list_and_can_be_taken_back(phone: Phone, home: Path) -> None:
    phone.post("/today", {**JOB, "id": "a1"})
    phone.post("/today", {**JOB, "model": "NV32-208", "job": "J-8", "id": "b2"})
    answer = phone.post("/today", {"done": "a1"})
    page = phone.get(answer.location).text
    assert "Norwell NV40-210 is done" in page
    assert (jobs_of(home), jobs_of(home, "done")) == (["NV32-208"], ["NV40-210"])
    assert 'name="undo" value="a1"' in page
    phone.post("/today", {"undo": "a1"})
    assert (jobs_of(home), jobs_of(home, "done")) == (["NV32-208", "NV40-210"], [])


def test_two_phones_that_take_the_same_job_as_done_take_one_job_off(
    phone: Phone, new_phone: NewPhone, home: Path
) -> None:
    """By id and once: the second phone still shows the list as it was before the first tap."""
    (home / "today.json").write_text(json.dumps([{"make": "Norwell", "inputs": ["line-3.5"]}] * 3))
    other = new_phone()
    first = re.findall(r'name="done" value="([^"]+)"', phone.get("/today").text)
    same = re.findall(r'name="done" value="([^"]+)"', other.get("/today").text)
    assert len(set(first)) == 3  # three jobs with the same words are three jobs
    assert first == same
    phone.post("/today", {"done": first[0]})
    other.post("/today", {"done": same[0]})
    phone.post("/today", {"done": first[0]})
    assert len(kept(home)) == 2
    assert re.findall(r'name="done" value="([^"]+)"', phone.get("/today").text) == first[1:]


def test_the_same_job_sent_twice_by_a_double_tap_is_one_job(phone: Phone, home: Path) -> None:
    page = phone.get("/today").text
    sent = {**JOB, "id": re.findall(r'name="id" value="([^"]+)"', page)[0]}
    phone.post("/today", sent)
    phone.post("/today", sent)
    assert jobs_of(home) == ["NV40-210"]


def test_what_was_used_at_a_job_leaves_the_van_once(
    phone: Phone, new_phone: NewPhone, home: Path, book: Book
) -> None:
    """Two phones and a double tap tell the same; what is mended comes back into the van."""
    book.jobs.change_stock(lambda _: {"DAC": 3, "optical cable 2 m": 2})
    phone.post("/today", {**JOB, "id": "a1"})
    sent = {"make": "Norwell", "model": "NV40-210", "job": "J-7", "job_id": "a1", "date": "2026-03-06"}
    jack = {
        "form": "toslink",
        "marking": "OPTICAL OUT",
        "outcome": "carried",
        "items": "DAC, optical cable 2 m",
    }
    phone.post("/record", sent | {f"jack-0-{key}": value for key, value in jack.items()})
    page = phone.get(phone.post("/today", {"done": "a1"}).location).text
    counts = dict(re.findall(r'name="used:([^"]+)" value="([0-9]+)"', page))
    assert (counts["DAC"], counts["optical cable 2 m"]) == ("1", "1")  # as the visit says
    assert book.jobs.stock() == {"DAC": 3, "optical cable 2 m": 2}
    sent = {"used_at": "a1", "used:DAC": "1", "used:optical cable 2 m": "1", "used:3.5 mm cable 2 m": "0"}
    for one in (phone, phone, new_phone()):
        page = one.get(one.post("/today", sent).location).text
        assert "Used there: 1 × DAC, 1 × optical cable 2 m" in page
        assert book.jobs.stock() == {"DAC": 2, "optical cable 2 m": 1}
    stale = phone.post("/today", {"used_at": "a1", "used:DAC": "3"})  # from a page that was made before
    assert (stale.status_code, book.jobs.stock()) == (422, {"DAC": 2, "optical cable 2 m": 1})
    assert "1 × DAC, 1 × optical cable 2 m" in stale.text
    was = {"was": "1 × DAC, 1 × optical cable 2 m"}
    phone.post("/today", {"used_at": "a1", "used:DAC": "2", "used:optical cable 2 m": "", **was})
    assert book.jobs.stock() == {"DAC": 1, "optical cable 2 m": 2}
    phone.post("/today", {"used_at": "a1", "another": "power strip", "was": "2 × DAC"})
    assert book.jobs.stock() == {"DAC": 3, "optical cable 2 m": 2}
    assert kept(home, "done")[0]["used"] == {"power strip": 1}
    assert "What was used: 1 × power strip" in phone.get("/today").text


@pytest.mark.parametrize(("item", "count"), [("DAC", "-1"), ("DAC", "x"), ("DAC", "9999"), ("banana", "1")])
def test_what_cannot_have_been_used_is_named_and_changes_nothing(
    item: str, count: str, phone: Phone, book: Book
) -> None:
    book.jobs.change_stock(lambda _: {"DAC": 3})
    phone.post("/today", {**JOB, "id": "a1"})
    phone.post("/today", {"done": "a1"})
    answer = phone.post("/today", {"used_at": "a1", f"used:{item}": count})
    assert answer.status_code == 422
    assert (count if item == "DAC" else item) in answer.text
    assert book.jobs.stock() == {"DAC": 3}


def test_a_van_that_nobody_counted_stays_uncounted(phone: Phone, book: Book) -> None:
    phone.post("/today", {**JOB, "id": "a1"})
    phone.post("/today", {"done": "a1"})
    phone.post("/today", {"used_at": "a1", "used:DAC": "1"})
    phone.post("/today", {"used_at": "a1", "was": "1 × DAC"})
    assert book.jobs.stock() == {}
    assert book.jobs.named("a1").used == ()


def test_pack_takes_no_thought_for_a_job_that_is_done(phone: Phone, home: Path) -> None:
    phone.post("/today", {**JOB, "id": "a1"})
    phone.post("/today", {"make": "Hallmere", "model": "HM32-5", "id": "b2"})
    phone.post("/today", {"done": "a1"})
    assert ([one["id"] for one in kept(home)], [one["id"] for one in kept(home, "done")]) == (["b2"], ["a1"])
    page = phone.get("/bring").text
    assert "HM32-5" in page
    assert "NV40-210" not in page


# -- what is known of a job goes with the person -------------------------------------------------------

FREE = {**JOB, "id": "a1", "inputs": "optical", "speakers": "free", "length_m": "7", "year": "2014"}


def test_the_facts_of_a_job_go_along_to_set_path_fault_search_sheet_and_back(phone: Phone) -> None:
    """The set's page of a job answers for the job's driver and place, and every way from it keeps the job."""
    phone.post("/today", FREE)
    page = phone.get("/today").text
    address = shown(re.findall(r'class="keep" href="([^"]+)"', page)[0])
    of_set = phone.get(address).text
    assert "For the job J-7: 7 m, nobody else listens" in of_set
    assert "optical cable 10 m" in of_set
    ways = [shown(way) for way in re.findall(r'href="(/(?:record|path|isolate|hand-over)\?[^"]+)"', of_set)]
    assert {way.split("?")[0] for way in ways} == {"/record", "/path", "/isolate", "/hand-over"}
    for way in ways:
        assert "job=a1" in way
        assert phone.get(way).status_code == 200
    path = phone.get(next(way for way in ways if way.startswith("/path"))).text
    assert 'name="job" value="a1"' in path
    assert 'name="inputs" value="optical" checked' in path
    hand_over = phone.get(next(way for way in ways if way.startswith("/hand-over"))).text
    assert 'name="job" value="a1"' in hand_over
    sheet = phone.get("/sheet?make=Norwell&model=NV40-210&job=a1").text
    assert "optical cable 10 m" in sheet
    begin = phone.get(next(way for way in ways if way.startswith("/isolate"))).text
    assert 'name="job" value="a1"' in begin
    test = phone.get("/isolate?complaint=no-sound&make=Norwell&model=NV40-210&signal=optical&job=a1").text
    answers = re.findall(r'class="choice" href="([^"]+)"', test)
    assert all("job=a1" in one for one in answers)
    assert answers


def test_a_visit_for_a_job_has_its_reference_and_leads_back_to_it(phone: Phone, book: Any) -> None:
    phone.post("/today", FREE)
    form = phone.get("/record?make=Norwell&model=NV40-210&job=a1").text
    assert re.search(r'id="job"[^>]*value="J-7"', form)
    assert re.search(r'id="year"[^>]*value="2014"', form)
    assert 'name="job_id" value="a1"' in form
    sent = {"make": "Norwell", "model": "NV40-210", "job": "J-7", "job_id": "a1", "date": "2026-03-06"}
    saved = phone.post("/record", sent)
    assert "job=a1" in saved.location
    page = phone.get(saved.location).text
    assert "/set?make=Norwell&amp;model=NV40-210&amp;job=a1" in page
    assert 'name="done" value="a1"' in page
    phone.post("/today", {"done": "a1"})
    assert 'name="done" value="a1"' not in phone.get(saved.location).text
    assert "J-7" in [visit.job for visit in book.visits("Norwell", "NV40-210")]


def test_what_a_fault_search_found_for_a_job_has_its_reference(phone: Phone, book: Any) -> None:
    phone.post("/today", FREE)
    way = "make=Norwell&model=NV40-210&complaint=no-sound&signal=optical&fixed=cap-on-plug&job=a1"
    answer = phone.post(f"/isolate?{way}", {"id": ""})
    assert answer.location.endswith("job=a1")
    assert "J-7" in [visit.job for visit in book.visits("Norwell", "NV40-210")]


def test_a_job_of_which_the_set_is_half_known_finds_it_and_keeps_the_job(phone: Phone) -> None:
    phone.post("/today", {"model": "NV40", "year": "2014", "id": "c3"})
    page = phone.get("/today").text
    (search,) = re.findall(r'href="(/\?q=[^"]+)"', page)
    found = phone.get(shown(search)).text
    assert "/set?make=Norwell&amp;model=NV40-210&amp;job=c3" in found
    assert 'name="job" value="c3"' in found


def test_a_job_that_is_not_in_the_list_any_more_changes_nothing(phone: Phone) -> None:
    page = phone.get("/set?make=Norwell&model=NV40-210&job=gone").text
    assert "For the job" not in page
    assert "DIGITAL AUDIO OUT" in page


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
    assert kept(home) == []


def test_a_day_has_no_more_jobs_than_pack_takes(phone: Phone, home: Path) -> None:
    from kb.pack.jobs import MOST_JOBS

    (home / "today.json").write_text(json.dumps([{"make": "Norwell", "inputs": ["line-3.5"]}] * MOST_JOBS))
    answer = phone.post("/today", JOB)
    assert answer.status_code == 422
    assert len(kept(home)) == MOST_JOBS


@pytest.mark.parametrize("damaged", ["", "{", '{"jobs": 3}', '[{"make": 1}]', "[" * 100_000])
def test_a_damaged_day_is_named_and_left_as_it_is(damaged: str, phone: Phone, home: Path) -> None:
    (home / "today.json").write_text(damaged)
    for answer in (phone.get("/today"), phone.post("/today", JOB), phone.get("/bring")):
        assert answer.status_code == 422
        assert "today.json" in answer.text
    assert (home / "today.json").read_text() == damaged


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
    (job,) = kept(home)
    assert job["length_m"] == pytest.approx(3.048)
    assert "10 ft" in phone.get("/today").text
    phone.post("/today", {"make": "Norwell", "model": "NV32-208", "length_m": "2.5 m"})
    assert kept(home)[1]["length_m"] == 2.5
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
