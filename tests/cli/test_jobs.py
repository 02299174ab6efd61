"""A job is kept from the call on: added, changed, found, packed for, finished; and it stays at home."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from dataclasses import fields
from pathlib import Path

import pytest

from kb.book import Book
from kb.domain.job import Job, JobSet, JobStatus, changed, job_from, job_to
from tests.cli.conftest import Run

ALDER = {
    "job": "J-1199",
    "client": "Mrs Alder, left ear better",
    "place": "7 Mill Lane",
    "day": "2026-03-06",
    "by": "RT",
    "sets": [
        {"make": "Norwell", "model": "NV40-210", "kind": "television", "display": "flat", "year": 2014}
        | {"size_in": 40.0, "taken": ["optical"], "free": ["arc"], "answers": {"headphone": True}},
        {"make": "Kestering", "kind": "soundbar"},
    ],
    "driver": "bench driver",
    "inputs": ["line-3.5"],
    "length_m": 4.0,
    "speakers": "needed",
    "room": "5.2x4.1",
    "route": "joists",
    "materials": [{"item": "wire AWG 18", "count": 24, "unit": "m"}],
    "note": "ring twice",
}


def added(jackfield: Run, *jobs: object) -> list[dict[str, object]]:
    done = jackfield("job", "add", "--file", "-", "--json", stdin=json.dumps(jobs))
    assert done.code == 0, done.err
    found: list[dict[str, object]] = done.json["added"]
    return found


def jobs_of(jackfield: Run, *words: str) -> list[dict[str, object]]:
    found: list[dict[str, object]] = jackfield("job", "list", *words, "--json").json["jobs"]
    return found


# -- the thing itself ------------------------------------------------------------------------------------


def test_every_field_of_a_job_comes_back_as_it_was_written(jackfield: Run) -> None:
    written = {one.name for one in fields(Job)} - {"id", "status", "used", "reference"}
    assert written <= ALDER.keys()
    assert {one.name for one in fields(JobSet)} == ALDER["sets"][0].keys()  # type: ignore[index]
    [job] = added(jackfield, ALDER)
    job_id = job.pop("id")
    job["materials"] = [{k: v for k, v in one.items() if k != "tool"} for one in job["materials"]]  # type: ignore[attr-defined]
    job["sets"][1].pop("display", None)  # type: ignore[index]
    assert job == ALDER
    again = jackfield("job", "show", "j1199", "--json").json
    assert again["id"] == job_id
    assert job_to(job_from(again)) == again


def test_the_fields_of_a_job_are_the_options_of_its_command(jackfield: Run) -> None:
    typed = ("Norwell", "NV40-210", "--client", "Alder", "--day", "2026-03-07", "--length", "400 cm")
    done = jackfield(
        "job", "add", *typed, "--taken", "none", "--room", "5.2 m x 4.1 m", "--route", "under joists"
    )
    assert done.code == 0, done.err
    [job] = jobs_of(jackfield)
    assert (job["job"], job["length_m"], job["taken"], job["room"]) == ("J-1", 4.0, [], "5.2x4.1")
    assert job["route"] == "joists"


def test_a_change_is_a_new_state_and_the_old_one_stays(jackfield: Run) -> None:
    added(jackfield, ALDER)
    assert jackfield("job", "change", "J-1199", "--place", "", "--set", "2", "--year", "2016").code == 0
    shown = jackfield("job", "show", "J-1199", "--states", "--json").json
    assert "place" not in shown
    assert shown["sets"][1]["year"] == 2016
    assert [one.get("place") for one in shown["states"]] == ["7 Mill Lane", None]


def test_which_of_two_sets_is_meant_must_be_said(jackfield: Run) -> None:
    added(jackfield, ALDER)
    done = jackfield("job", "change", "J-1199", "--year", "2016")
    assert done.code == 2
    assert "one of its sets, 1 to 2" in done.err


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        (("--year", "1800"), "year: saw 1800"),
        (("--year", "soon"), "--year: saw 'soon'"),
        (("--day", "2026-13-40"), "day: saw '2026-13-40'"),
        (("--length", "far"), "--length: saw 'far'"),
        (("--speakers", "maybe"), "speakers: saw 'maybe', expected one of needed, free"),
        (("--taken", "sound"), "sound"),
        (("--route", "roof"), "route: saw 'roof'"),
        (("--room", "big"), "--room: saw 'big'"),
        (("--used", "magic box=1"), "used: saw 'magic box'"),
        (("--status", "lost"), "status: saw 'lost'"),
        ((), "nothing to change"),
    ],
)
def test_bad_input_never_changes_a_job(typed: tuple[str, ...], said: str, jackfield: Run) -> None:
    added(jackfield, {**ALDER, "sets": ALDER["sets"][:1]})  # type: ignore[index]
    before = jackfield("job", "show", "J-1199", "--states", "--json").json
    done = jackfield("job", "change", "J-1199", *typed)
    assert (done.code, done.out) == (2, "")
    assert said in done.err
    assert jackfield("job", "show", "J-1199", "--states", "--json").json == before


def test_a_make_that_is_typed_in_two_places_is_not_dropped_without_a_word(jackfield: Run) -> None:
    done = jackfield("job", "add", "Tarnow", "--make", "Norwell")
    assert (done.code, done.err) == (2, "jackfield: make: was typed twice, once as --make; type it once\n")
    assert jackfield("job", "list", "--json").json["jobs"] == []


def test_a_file_with_one_bad_job_adds_none(jackfield: Run) -> None:
    done = jackfield(
        "job", "add", "--file", "-", stdin=json.dumps([ALDER, {"make": "Norwell", "year": "old"}])
    )
    assert done.code == 2
    assert "job 2, year: saw 'old'" in done.err
    assert jobs_of(jackfield) == []


def test_the_same_file_twice_adds_nothing(jackfield: Run, tmp_path: Path) -> None:
    file = tmp_path / "jobs.toml"
    file.write_text('[[jobs]]\nmake = "Norwell"\nday = 2026-03-06\n' * 2 + '[[jobs]]\njob = "J-7"\n')
    first = jackfield("job", "add", "--file", str(file), "--json").json
    second = jackfield("job", "add", "--file", str(file), "--json").json
    assert [one["job"] for one in first["added"]] == ["J-1", "J-2", "J-7"]
    assert (second["added"], len(second["already"])) == ([], 3)


def test_a_new_job_gets_no_reference_that_visits_name_already(jackfield: Run) -> None:
    """Else the visits to somebody's house would be those of the new client."""
    jackfield("record", "Tarnow", "T40", "opt:ok", "--job", "j-7")
    assert jackfield("job", "add", "--client", "Alder").out == "added  J-8\n"
    assert "Alder" not in jackfield("visits", "--job", "J-7").out


def test_a_reference_in_the_place_of_the_make_is_no_set(jackfield: Run) -> None:
    done = jackfield("job", "add", "J-2", "--client", "Alder")
    assert done.code == 2
    assert "--job J-2" in done.err
    assert jackfield("job", "add", "--job", "J-2", "--client", "Alder").out == "added  J-2\n"


def test_a_reference_belongs_to_one_job(jackfield: Run) -> None:
    added(jackfield, ALDER)
    done = jackfield("job", "add", "--job", "j 1199", "--client", "Brook")
    assert done.code == 2
    assert "a reference that no other job has" in done.err


@pytest.mark.parametrize(
    ("asked", "found"),
    [
        (("alder",), ["J-1199"]),
        (("--job", "1199"), ["J-1199"]),
        (("--client", "left ear"), ["J-1199"]),
        (("--place", "mill"), ["J-1199"]),
        (("--day", "2026-03-06"), ["J-1199"]),
        (("--day", "2026-04"), ["J-1"]),
        (("--set", "nv40"), ["J-1199"]),
        (("--by", "rt"), ["J-1199"]),
        (("--open",), ["J-1199"]),
        (("--done",), ["J-1"]),
        ((), ["J-1199", "J-1"]),
    ],
)
def test_a_job_is_found_by_any_of_its_facts(asked: tuple[str, ...], found: list[str], jackfield: Run) -> None:
    added(jackfield, ALDER, {"client": "Brook", "day": "2026-04-01", "make": "Hallmere", "job": "J-1"})
    jackfield("job", "done", "J-1")
    assert [one["job"] for one in jobs_of(jackfield, *asked)] == found


def test_a_job_that_is_nowhere_is_a_true_no_and_makes_no_book(jackfield: Run, home: Path) -> None:
    assert jackfield("job", "list", "alder").code == 1
    assert jackfield("job", "change", "J-1", "--year", "2014").code == 1
    assert jackfield("job", "add", "--room", "big").code == 2
    assert not (home / "book.sqlite").exists()


# -- the day ---------------------------------------------------------------------------------------------


def test_pack_takes_the_open_jobs_of_a_day(jackfield: Run) -> None:
    added(
        jackfield, ALDER, {"make": "Hallmere", "day": "2026-03-06"}, {"make": "Tolworth", "day": "2026-03-07"}
    )
    jackfield("job", "done", "J-1199")
    plan = jackfield("pack", "--day", "2026-03-06", "--json").json
    assert [(one["job"], one["make"]) for one in plan["jobs"]] == [("J-1200", "Hallmere")]
    two = jackfield("pack", "--job", "J-1201", "--day", "2026-03-06", "--json").json
    assert [one["make"] for one in two["jobs"]] == ["Tolworth", "Hallmere"]
    assert jackfield("pack", "--day", "2026-03-09").code == 1


def test_a_job_with_two_sets_is_packed_for_both(jackfield: Run) -> None:
    added(jackfield, ALDER)
    plan = jackfield("pack", "--day", "2026-03-06", "--json").json
    assert [(one["job"], one["make"]) for one in plan["jobs"]] == [
        ("J-1199", "Norwell"),
        ("J-1199", "Kestering"),
    ]
    assert plan["materials"][0]["count"] == 24


# -- nothing acknowledged is lost ------------------------------------------------------------------------

CHANGES = """
import sys
from kb.cli.main import run
for number in range(6):
    assert run(["job", "add", "--client", f"{sys.argv[1]} {number}"]) == 0
    assert run(["job", "change", "J-1", f"--{sys.argv[1]}", f"said {number}"]) == 0
"""


def test_two_programs_that_change_jobs_at_once_lose_nothing(jackfield: Run, home: Path) -> None:
    added(jackfield, {"job": "J-1", "client": "Alder"})
    env = {**os.environ, "JACKFIELD_HOME": str(home)}
    both = [
        subprocess.Popen([sys.executable, "-c", CHANGES, field], env=env, stdout=subprocess.DEVNULL)
        for field in ("note", "place")
    ]
    assert [one.wait(timeout=300) for one in both] == [0, 0]
    jobs = jobs_of(jackfield)
    assert len(jobs) == 13
    assert len({one["job"] for one in jobs}) == 13
    [first] = [one for one in jobs if one["job"] == "J-1"]
    assert (first["note"], first["place"]) == ("said 5", "said 5")


def test_jobs_of_a_dump_load_to_an_equal_book_and_never_go_into_a_bundle(
    jackfield: Run, tmp_path: Path
) -> None:
    added(jackfield, ALDER)
    jackfield("job", "done", "J-1199", "--used", "DAC")
    jackfield("record", "Norwell", "NV40-210", "opt:ok", "--job", "J-1199")
    for name in ("book.jsonl", "book.csv"):
        file, home = tmp_path / name, str(tmp_path / name.partition(".")[2])
        assert jackfield("dump", str(file)).code == 0
        assert jackfield("load", str(file), "--home", home).code == 0
        assert jackfield("load", str(file), "--home", home).code == 0
        was = jackfield("job", "show", "J-1199", "--states", "--json").json
        assert jackfield("job", "show", "J-1199", "--states", "--json", "--home", home).json == was
    bundle = tmp_path / "bundle.jsonl"
    assert jackfield("share", "out", str(bundle)).code == 0
    said = bundle.read_bytes()
    assert b"Norwell" in said
    assert not [word for word in (b"Alder", b"Mill Lane", b"1199", b"state") if word in said]


def test_a_bundle_that_holds_a_job_is_refused(jackfield: Run, tmp_path: Path) -> None:
    from kb.base.errors import BadInput
    from kb.store import Store
    from kb.store.merging import state

    with Store.open(tmp_path / "other.sqlite") as store, pytest.raises(BadInput, match="nothing private"):
        store.merge([state("job", "a1", 1, "{}", "2026-03-06T10:00:00Z")], outside=True)


def test_a_job_of_a_newer_release_is_not_half_read(jackfield: Run, home: Path) -> None:
    added(jackfield, {"job": "J-1"})
    with Book.open(home) as book:
        [job] = book.jobs.every()
        book.change(
            lambda store: store.keep_states(lambda _: {("job", job.id): '{"job": "J-1", "mood": "good"}'})
        )
    done = jackfield("job", "change", "J-1", "--client", "Alder")
    assert done.code == 3
    assert "newer Jackfield" in done.err
    assert "mood" in done.err


# -- the file of releases before this one ----------------------------------------------------------------


def test_the_jobs_of_an_older_release_are_taken_into_the_book_once(jackfield: Run, home: Path) -> None:
    home.mkdir(exist_ok=True)
    one = {"make": "Norwell", "inputs": ["line-3.5"]}
    data = {
        "jobs": [one, one, {**one, "id": "a1"}],
        "done": [{**one, "job": "J-9"}, {**one, "job": "J-9", "id": "b2"}],
        "have": {"DAC": 2},
    }
    (home / "today.json").write_text(json.dumps(data))
    assert len(jobs_of(jackfield, "--open")) == 3
    assert [done["job"] for done in jobs_of(jackfield, "--done")] == ["J-9", "J-9"]
    assert "one of 2 jobs of that name: " in jackfield("job", "show", "J-9").err
    assert not (home / "today.json").exists()
    (home / "today.json").write_text(json.dumps(data))  # as after a crash before it was put away
    assert len(jobs_of(jackfield)) == 5
    with Book.open(home) as book:
        assert book.jobs.stock() == {"DAC": 2}


def test_a_day_of_an_older_release_that_is_damaged_is_named_and_kept(jackfield: Run, home: Path) -> None:
    home.mkdir(exist_ok=True)
    (home / "today.json").write_text("{")
    done = jackfield("job", "list")
    assert done.code == 2
    assert "today.json" in done.err
    assert (home / "today.json").read_text() == "{"


# -- the screen ------------------------------------------------------------------------------------------


@pytest.mark.parametrize("columns", ["80", "60"])
def test_a_job_fits_the_screen(columns: str, jackfield: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", columns)
    added(jackfield, ALDER)
    for command in (("list",), ("show", "J-1199")):
        out = jackfield("job", *command).out
        assert "Alder" in out
        assert max(map(len, out.splitlines())) <= int(columns)


def test_text_of_a_client_has_no_effect_on_the_screen(jackfield: Run) -> None:
    jackfield("job", "add", "--client", "[red]Alder[/red]")
    assert "[red]Alder[/red]" in jackfield("job", "list").out


def test_a_field_that_is_taken_away_is_gone() -> None:
    job = changed(Job(), {"client": "Alder", "year": 2014})
    assert changed(job, {"client": None, "year": None}) == Job(sets=(JobSet(),))
    assert job.status is JobStatus.OPEN


# -- from the job, without a word typed twice ------------------------------------------------------------

VISIT = ("record", "Norwell", "NV40-210", "opt=OPTICAL OUT:ok", "hp:mute")
READINGS = {
    "positions": [{"name": "sofa", "field_ma_per_m": 410, "response_db": {"100": -1, "1000": 0, "5000": -2}}]
}


def at_alder(jackfield: Run, **more: object) -> None:
    """A job at one set that is in the book."""
    assert jackfield(*VISIT).code == 0
    added(jackfield, {**ALDER, "sets": ALDER["sets"][:1], **more})  # type: ignore[index]


def test_path_sheet_and_tag_take_the_facts_of_the_job(jackfield: Run, tmp_path: Path) -> None:
    at_alder(jackfield, sets=[{"make": "Norwell", "model": "NV4O-210"}], length_m=7)
    typed = ("Norwell", "NV40-210", "--inputs", "line-3.5", "--length", "7 m", "--json")
    by_hand = jackfield("path", *typed)
    by_job = jackfield("path", "--job", "J-1199", "--json")
    assert by_job.json == by_hand.json
    assert "is taken as Norwell NV40-210" in by_job.err
    out = tmp_path / "sheet.html"
    assert jackfield("sheet", "--job", "J-1199", "--out", out, "--private").code == 0
    page = out.read_text()
    assert "bench driver" in page
    assert "NV40-210" in page
    assert jackfield("tag", "--job", "J-1199", "--out", tmp_path / "tag.svg").code == 0


def test_what_is_typed_counts_before_the_job(jackfield: Run) -> None:
    at_alder(jackfield)
    taken = jackfield("path", "--job", "J-1199", "--json").json
    free = jackfield("path", "--job", "J-1199", "--inputs", "optical", "--taken", "headphone", "--json").json
    assert taken["chosen"]["items"] != free["chosen"]["items"]
    assert (taken["chosen"]["input"], free["chosen"]["input"]) == ("line-3.5", "optical")


def test_a_visit_of_a_job_needs_only_the_jacks(jackfield: Run) -> None:
    at_alder(jackfield)
    assert jackfield("record", "--job", "j-1199", "opt=OPTICAL OUT:ok").code == 0
    visit = jackfield("visits", "--job", "J-1199", "--json").json["visits"][-1]
    known = {"make": "Norwell", "model": "NV40-210", "kind": "television", "display": "flat"}
    assert visit["source"] == {**known, "year": 2014, "size_in": 40.0}
    assert (visit["job"], visit["by"], visit["client"]) == ("J-1199", "RT", "Mrs Alder, left ear better")
    assert visit["driver"] == {"name": "bench driver", "inputs": ["line-3.5"]}


def test_the_job_learns_the_model_that_was_found_there(jackfield: Run) -> None:
    added(jackfield, {"job": "J-1", "make": "Tarnow", "year": 2016})
    assert jackfield("record", "--job", "J-1", "opt:ok").code == 2  # the model is not known
    assert jackfield("record", "Tarnow", "T50", "opt:ok", "--job", "J-1").code == 0
    [job] = jobs_of(jackfield)
    assert (job["make"], job["model"], job["year"]) == ("Tarnow", "T50", 2016)


def test_a_reference_that_is_no_job_of_the_book_is_a_word_as_before(jackfield: Run) -> None:
    assert jackfield(*VISIT, "--job", "X-9").code == 0
    assert jackfield("visits", "--job", "X-9", "--json").json["visits"][0]["job"] == "X-9"


def test_readings_faults_and_loop_belong_to_the_job(jackfield: Run, tmp_path: Path) -> None:
    at_alder(jackfield, materials=[])
    file, out = tmp_path / "readings.json", tmp_path / "sheet.html"
    file.write_text(json.dumps(READINGS))
    jackfield("readings", file, "--job", "J-1199")
    jackfield("isolate", "--job", "J-1199", "--complaint", "no-sound", "--fixed", "cap-on-plug", "--record")
    visits = jackfield("visits", "--job", "J-1199", "--json").json["visits"]
    assert [sorted(visit.keys() & {"readings", "case"}) for visit in visits] == [["readings"], ["case"]]
    by_hand = jackfield(
        "loop", "--room", "5.2x4.1", "--route", "joists", "--driver", "bench driver", "--json"
    )
    by_job = jackfield("loop", "--job", "J-1199", "--keep", "--json")
    assert by_job.json == by_hand.json
    [job] = jobs_of(jackfield)
    assert [one["item"] for one in job["materials"]] == [one["item"] for one in by_job.json["items"]]  # type: ignore[attr-defined]
    done = jackfield("sheet", "--job", "J-1199", "--out", out, "--json").json
    assert done["readings"] is not None
    assert done["loop_fits"] == by_job.json["fits"]


def test_a_fault_search_that_goes_on_later_is_still_for_its_job(jackfield: Run, tmp_path: Path) -> None:
    at_alder(jackfield)
    file = tmp_path / "search.json"
    begin = ("isolate", "--job", "J-1199", "--complaint", "no-sound", "--answers", file)
    assert jackfield(*begin, "--json").code == 0
    assert jackfield("isolate", "--answers", file, "--answer", "red-glow=dark", "--json").code == 0
    assert jackfield("isolate", "--answers", file, "--fixed", "cap-on-plug", "--record", "--json").code == 0
    [visit] = jackfield("visits", "--job", "J-1199", "--json").json["visits"]
    assert visit["case"]["fault"] == "cap-on-plug"


def test_of_two_sets_the_one_that_is_typed_counts(jackfield: Run) -> None:
    assert jackfield(*VISIT).code == 0
    added(jackfield, ALDER)
    done = jackfield("path", "--job", "J-1199")
    assert done.code == 2
    assert "one of its sets: Norwell NV40-210, Kestering" in done.err
    assert jackfield("path", "Norwell", "NV40-210", "--job", "J-1199").code in (0, 1)


# -- what was done ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("asked", "found"),
    [
        (("--since", "2025-11", "--by", "RT", "--job", "J-1199", "--outcome", "silent"), ["2026-03-04"]),
        (("--since", "2026", "--until", "2026-03"), ["2026-03-04"]),
        (("--until", "2025"), ["2025-06-30"]),
        (("--by", "xy"), ["2025-06-30"]),
        (("alder",), ["2026-03-04"]),
        (("mill", "lane"), ["2026-03-04"]),
        (("fuse",), ["2025-06-30"]),
        (("tarnow",), ["2025-06-30"]),
        ((), ["2025-06-30", "2026-03-04"]),
        (("--outcome", "hum"), []),
    ],
)
def test_last_years_visit_is_found_by_client_day_job_or_word(
    asked: tuple[str, ...], found: list[str], jackfield: Run
) -> None:
    added(jackfield, {**ALDER, "sets": ALDER["sets"][:1]})  # type: ignore[index]
    jackfield("record", "--job", "J-1199", "opt:silent", "--date", "2026-03-04")
    jackfield("record", "Tarnow", "T50", "hp:ok", "--date", "2025-06-30", "--by", "XY", "--note", "new fuse")
    done = jackfield("visits", *asked, "--json")
    assert [one["date"] for one in done.json["visits"]] == found
    assert done.code == (0 if found else 1)


def test_without_a_filter_only_the_last_visits_are_read(
    jackfield: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    """19,000 visits take as much memory as 50."""
    import kb.store.snapshot as snapshot

    source = {"make": "Tarnow", "model": "T50"}
    lines = [{"source": source, "date": f"2026-01-{day:02}", "jacks": []} for day in range(1, 29)]
    assert jackfield("load", "-", stdin="".join(f"{json.dumps(line)}\n" for line in lines)).code == 0
    asked: list[int] = []
    read = snapshot.load
    monkeypatch.setattr(snapshot, "load", lambda line, ids: (asked.append(len(ids)), read(line, ids))[1])
    monkeypatch.setattr(snapshot, "SOME", 4)
    done = jackfield("visits", "--limit", "3")
    assert [line.split()[1] for line in done.out.splitlines()] == ["2026-01-26", "2026-01-27", "2026-01-28"]
    assert "these are the last 3" in done.err
    assert sum(asked) <= 4
    every = jackfield("visits", "--limit", "28", "--json").json
    assert (len(every["visits"]), every["more"]) == (28, False)  # type: ignore[arg-type]


def test_a_correction_begins_from_the_id_that_visits_shows(jackfield: Run) -> None:
    added(jackfield, {**ALDER, "sets": ALDER["sets"][:1]})  # type: ignore[index]
    jackfield("record", "--job", "J-1199", "opt:silent")
    (visit_id, *_) = jackfield("visits", "alder").out.split()
    assert jackfield("correct", visit_id, "1.outcome=carried").code == 0
    assert jackfield("visits", "--outcome", "silent").code == 1
    assert jackfield("visits", "alder", "--json").json["visits"][0]["jacks"][0]["outcome"] == "carried"


@pytest.mark.parametrize("typed", ["2025-13", "soon", "20x5"])
def test_a_day_that_is_none_is_named(typed: str, jackfield: Run) -> None:
    jackfield(*VISIT)
    done = jackfield("visits", "--since", typed)
    assert done.code == 2
    assert "--since" in done.err


# -- the day on paper, and the van -------------------------------------------------------------------------


def a_day(jackfield: Run) -> None:
    assert jackfield(*VISIT, "rca=AUDIO OUT:ok").code == 0
    known = {**ALDER, "sets": [{"make": "Norwell", "model": "NV40-210"}]}
    added(jackfield, known, {"client": "<b>Brook</b>", "day": "2026-03-06", "year": 2016, "job": "J-1200"})
    jackfield("job", "add", "--client", "Old", "--day", "2026-02-01")


def test_the_sheet_of_a_day_says_where_what_how_and_what_to_carry(jackfield: Run, tmp_path: Path) -> None:
    a_day(jackfield)
    jackfield("stock", "3.5 mm cable 2 m=1")
    page = tmp_path / "day.html"
    done = jackfield("day", "2026-03-06", "--print", "--html", page)
    plan = jackfield("pack", "--day", "2026-03-06", "--json").json
    assert done.code == 0
    for said in (
        "1. J-1199 Mrs Alder, left ear better",
        "7 Mill Lane",
        "optical cable",
        "24 m wire AWG 18",
        "Old",
    ):
        assert said in done.out
        assert said.partition(". ")[2] or said in page.read_text()
    assert done.out.count(" → ") >= 2  # the way and a second one, of the set itself
    ways = done.out.partition("The way, and a second one")[2].partition("\n     Ask")[0]
    assert len([line for line in ways.splitlines() if line.strip().startswith("- ")]) == 2
    for line in plan["items"]:
        assert f"[ ] {line['count']} x {line['item']}" in done.out
    questions = done.out.partition("2. J-1200")[2]
    assert any(ask["question"].split()[0] in questions for ask in plan["ask"])
    assert "<b>Brook</b>" in done.out
    assert "<b>Brook</b>" not in page.read_text()
    assert "<script" not in page.read_text()


@pytest.mark.parametrize("columns", ["80", "60"])
def test_the_sheet_of_a_day_fits_the_screen(
    columns: str, jackfield: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", columns)
    a_day(jackfield)
    out = jackfield("day", "2026-03-06", "--print").out
    assert max(map(len, out.splitlines())) <= int(columns)


def test_the_way_on_the_sheet_of_a_day_takes_what_is_in_the_van(jackfield: Run) -> None:
    jackfield("record", "Ostrava", "K41", "coax=DIGITAL OUT:ok")
    inputs = ("--inputs", "line-3.5,optical")
    jackfield("job", "add", "Ostrava", "K41", *inputs, "--day", "2026-03-06", "--job", "J-7")
    sheet = " ".join(jackfield("day", "2026-03-06", "--print").out.split())
    first = sheet.partition("a second one - ")[2].partition(" (")[0].split(" → ")
    van = sheet.partition("For the van")[2]
    assert [item for item in first[1:-1] if item not in van] == []


def test_a_day_without_jobs_is_a_true_no(jackfield: Run) -> None:
    assert jackfield("day", "2026-03-06").code == 1
    assert jackfield("day", "2026-03-06", "--json").json == {"day": "2026-03-06", "jobs": []}
    assert jackfield("day", "someday").code == 2


def test_a_van_that_nobody_has_counted_says_nothing_of_buying(jackfield: Run) -> None:
    a_day(jackfield)
    assert "To buy" not in jackfield("day", "2026-03-06", "--print").out
    jackfield("stock", "power strip=1")
    assert "To buy" in jackfield("day", "2026-03-06", "--print").out


def test_what_was_used_leaves_the_van_and_the_rest_is_bought(jackfield: Run) -> None:
    a_day(jackfield)
    before = jackfield("stock", "--day", "2026-03-06", "--json").json["buy"]
    (item, lacking) = next(iter(before.items()))
    assert jackfield("stock", f"{item}={lacking}").code == 0
    assert item not in jackfield("stock", "--day", "2026-03-06", "--json").json["buy"]
    assert jackfield("job", "done", "J-1199", "--used", f"{item}={lacking}").code == 0
    assert jackfield("stock", "--json").json["have"] == {}
    assert jackfield("job", "show", "J-1199", "--json").json["used"] == {item: lacking}


def test_the_stock_is_counted_up_and_down(jackfield: Run) -> None:
    assert jackfield("stock", "DAC=2", "optical cable 2 m=3").code == 0
    assert jackfield("stock", "DAC=-1", "optical cable 2 m=+2", "--json").json["have"] == {
        "DAC": 1,
        "optical cable 2 m": 5,
    }
    for wrong, said in (("DAC=-2", "at most 1"), ("magic box=1", "magic box"), ("DAC", "ITEM=COUNT")):
        done = jackfield("stock", "optical cable 2 m=9", wrong)
        assert done.code == 2
        assert said in done.err
    assert jackfield("stock", "--json").json["have"] == {"DAC": 1, "optical cable 2 m": 5}
    assert jackfield("stock", "DAC=0", "--json").json["have"] == {"optical cable 2 m": 5}


def test_a_list_for_a_driver_that_nobody_named_says_which_was_assumed(jackfield: Run) -> None:
    assumed = "Assumed: a driver with one 3.5 mm line input"
    jackfield("job", "add", "--job", "J-7", "--day", "2026-03-06")
    listed, call, sheet = (
        jackfield("pack", "--job", "J-7"),
        jackfield("job", "call", "J-7", "--json"),
        jackfield("day", "2026-03-06", "--html", "-"),
    )
    assert [assumed in said for said in (listed.out, call.err, sheet.err)] == [True] * 3
    jackfield("job", "change", "J-7", "--inputs", "line-rca")
    assert assumed not in jackfield("pack", "--job", "J-7").out


def test_the_van_counts_an_item_once_however_its_name_is_typed(jackfield: Run) -> None:
    jackfield("stock", "DAC=2", "dac=+1", "optical cable 2 m=3", "RCA pair to 3.5 mm cable 2 m=2")
    jackfield("job", "add", "--job", "J-7")
    # A cable held the other way round is the same cable.
    used = ("--used", "optical cable 2m", "--used", "3.5 mm to RCA pair cable 2 m")
    assert jackfield("job", "done", "J-7", *used).err == ""
    left = {"DAC": 3, "RCA pair to 3.5 mm cable 2 m": 1, "optical cable 2 m": 2}
    assert jackfield("stock", "--json").json["have"] == left
    assert "Added to what was used before" in jackfield("job", "done", "J-7", *used).err  # typed twice


TAKES = """
from kb.cli.main import run
for number in range(6):
    assert run(["stock", "DAC=-1"]) == 0
"""


def test_two_programs_that_take_from_the_van_at_once_take_both(jackfield: Run, home: Path) -> None:
    assert jackfield("stock", "DAC=20").code == 0
    env = {**os.environ, "JACKFIELD_HOME": str(home)}
    both = [subprocess.Popen([sys.executable, "-c", TAKES], env=env, stdout=subprocess.DEVNULL) for _ in "ab"]
    assert [one.wait(timeout=300) for one in both] == [0, 0]
    assert jackfield("stock", "--json").json["have"] == {"DAC": 8}


def test_a_job_is_named_by_words_of_its_client_the_open_one_if_there_are_several(jackfield: Run) -> None:
    for client, day in (("Señora Ruiz", "2026-03-05"), ("Mrs Ruiz-Alder", "2026-03-06"), ("Ruizmann", "")):
        assert jackfield("job", "add", "Tarnow", "T40", "--client", client, "--day", day).code == 0
    assert jackfield("job", "show", "alder", "--json").json["job"] == "J-2"
    assert jackfield("record", "--job", "señora ruiz", "Tarnow", "T40", "opt:ok").code == 0
    assert [one["job"] for one in jackfield("visits", "--job", "senora", "--json").json["visits"]] == ["J-1"]
    several = jackfield("job", "done", "ruiz")
    assert (several.code, "J-1 (Señora Ruiz, 2026-03-05), J-2 (Mrs Ruiz-Alder" in several.err) == (2, True)
    assert jackfield("job", "done", "J-1").code == 0
    assert jackfield("job", "show", "Ruiz", "--json").json["job"] == "J-2"
    nobody = jackfield("job", "show", "Brook")
    assert (nobody.code, "no job 'Brook'" in nobody.err) == (1, True)


def test_a_visit_to_a_job_has_the_name_of_the_set_that_the_book_has(jackfield: Run) -> None:
    jackfield("record", "Tarnow", "T40", "opt:ok")
    jackfield("job", "add", "tarnow", "t-40", "--client", "Alder")
    assert jackfield("record", "--job", "J-1", "opt:ok").out.endswith("recorded  Tarnow T40\n")
    assert "no job 'J-9' in the book" in jackfield("record", "--job", "J-9", "opt:ok").err
    assert jackfield("job", "add", "--size", '40"', "--json").json["added"][0]["size_in"] == 40
    assert "inches" in jackfield("job", "add", "--size", "big").err
    assert "make and model as two words" in jackfield("record", "opt:ok", "Tarnow", "T40").err


def test_a_job_that_words_of_a_client_mean_is_named(jackfield: Run) -> None:
    jackfield("job", "add", "Tarnow", "T40", "--client", "Mrs Alder, 12 Mill Lane")
    for jack in ("opt:ok", "optical:ok", "headphones:mute"):  # the set is that of the job
        assert "mill lane is job J-1 (Mrs Alder" in jackfield("record", "--job", "mill lane", jack).err
    assert "is job" not in jackfield("visits", "--job", "j 1").err


@pytest.mark.parametrize("number", ["12", "J-12", "1 2"])
def test_a_number_alone_is_a_reference_and_no_house_number_of_a_client(number: str, jackfield: Run) -> None:
    jackfield("job", "add", "Tarnow", "T40", "--client", "J Alder, 12 Mill Lane, flat 1, floor 2")
    assert jackfield("record", "--job", number, "Tarnow", "T40", "opt:ok").code == 0
    assert [one["job"] for one in jackfield("visits", "--job", number, "--json").json["visits"]] == [number]
    assert jackfield("job", "done", number).code == 1
