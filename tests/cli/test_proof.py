"""What was proved stays with the visit: readings, and the fault that was found."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

from tests.cli.conftest import Run

VisitFile = Callable[..., Path]
READINGS = {
    "positions": [{"name": "sofa", "field_ma_per_m": 400}],
    "response": {"at": "sofa", "db_100_hz": -1, "db_1000_hz": 0, "db_5000_hz": -2},
    "noise": {"driver_off_dba": -52, "driver_on_dba": -48},
    "user": {"satisfied": True, "words": "clear"},
}


def test_readings_are_kept_with_a_visit(jackfield: Run, tmp_path: Path, visit_file: VisitFile) -> None:
    jackfield("record", "--file", visit_file())
    file = tmp_path / "readings.json"
    file.write_text(json.dumps(READINGS))
    done = jackfield("readings", file, "--record", "Norwell", "NV40-210", "--json")
    assert (done.code, done.json["verdict"]) == (0, "meets")
    visits = jackfield("show", "Norwell", "NV40-210", "--json").json["visits"]
    (kept,) = [v for v in visits if v["id"] == done.json["recorded"]]
    assert kept["readings"] == READINGS


def test_the_line_of_a_visit_tells_what_is_kept_with_it(
    jackfield: Run, tmp_path: Path, visit_file: VisitFile
) -> None:
    jackfield("record", "--file", visit_file(note="behind the shelf"))
    assert "kept" not in jackfield("show", "Norwell", "NV40-210").out
    file = tmp_path / "readings.json"
    file.write_text(json.dumps(READINGS))
    jackfield("readings", file, "--record", "Norwell", "NV40-210")
    shown = jackfield("show", "Norwell", "NV40-210").out.splitlines()
    assert [line.endswith("readings kept") for line in shown if "kept" in line] == [True]
    case = {"complaint": "no-sound", "fault": "cap-on-plug"}
    jackfield("record", "--file", visit_file(date="2026-03-05", note="cap off", case=case))
    assert "cap off; fault search kept" in jackfield("show", "Norwell", "NV40-210").out


def test_readings_never_leave_the_book(jackfield: Run, tmp_path: Path) -> None:
    file = tmp_path / "readings.json"
    file.write_text(json.dumps(READINGS | {"place": "at Mrs Ardlow's"}))
    jackfield("readings", file, "--record", "Norwell", "NV40-210")
    bundle = tmp_path / "bundle.jsonl"
    assert jackfield("share", "out", bundle).code == 0
    assert "Ardlow" not in bundle.read_bytes().decode(errors="replace")


def test_a_fault_that_was_found_counts_the_next_time(jackfield: Run, visit_file: VisitFile) -> None:
    jackfield("record", "--file", visit_file())
    asked = ["isolate", "Norwell", "NV40-210", "--complaint", "no-sound", "--json"]
    before = {one["fault"]: one["p"] for one in jackfield(*asked).json["likely"]}
    case = {"complaint": "no-sound", "fault": "bitstream", "path": {"signal": "optical"}}
    fault = next(name for name in before if "bitstream" in name)
    case["fault"] = fault
    for number in range(5):
        visit = json.loads(visit_file(note=f"home {number}", case=case).read_text())
        assert jackfield("record", "--file", "-", stdin=json.dumps(visit)).code == 0
    after = {one["fault"]: one["p"] for one in jackfield(*asked).json["likely"]}
    assert after[fault] > before[fault]


def test_the_outcome_of_the_search_can_be_recorded(jackfield: Run, visit_file: VisitFile) -> None:
    jackfield("record", "--file", visit_file())
    done = jackfield("isolate", "Norwell", "NV40-210", "--complaint", "no-sound", "--record", "--json")
    assert done.code == 0, done.err
    visits = jackfield("show", "Norwell", "NV40-210", "--json").json["visits"]
    assert done.json["recorded"] in [visit["id"] for visit in visits]
    assert jackfield("isolate", "--complaint", "no-sound", "--record").code == 2


def test_only_what_mending_confirmed_teaches(jackfield: Run, visit_file: VisitFile) -> None:
    jackfield("record", "--file", visit_file())
    asked = ["isolate", "Norwell", "NV40-210", "--complaint", "no-sound"]

    def chance() -> float:
        return {one["fault"]: one["p"] for one in jackfield(*asked, "--json").json["likely"]}["cap-on-plug"]

    before = chance()
    sure = ["--answer", "red-glow=cap", "--answer", "driver-lights=power", "--record"]
    assert jackfield(*asked, *sure).code == 0
    assert chance() == before  # a likelihood, though it stands above 0.9
    assert jackfield(*asked, *sure, "--fixed", "cap-on-plug").code == 0
    assert chance() > before


def test_the_path_of_the_last_visit_counts_before_the_best_one(jackfield: Run, visit_file: VisitFile) -> None:
    two = [
        {"form": "rca-pair", "marking": "AUDIO OUT", "direction": "output", "signal": "analog-line"},
        {"form": "toslink", "marking": "OPTICAL OUT", "outcome": "carried", "input": "line-3.5",
         "items": ["optical cable 2 m", "DAC", "cable RCA pair to 3.5 mm"]},
    ]  # fmt: skip
    jackfield("record", "--file", visit_file(jacks=two))
    assert jackfield("path", "Norwell", "NV40-210", "--json").json["chosen"]["signal"] == "analog-line"
    done = jackfield("isolate", "Norwell", "NV40-210", "--complaint", "no-sound", "--json")
    assert (done.json["path"]["signal"], done.json["path"]["input"]) == ("optical", "line-3.5")
    assert "as on 2026-" in done.err
    assert "cap-on-plug" in {one["fault"] for one in done.json["likely"]}
    told = jackfield("isolate", "Norwell", "NV40-210", "--complaint", "no-sound", "--signal", "analog-line",
                     "--json")  # fmt: skip
    assert told.json["path"] == {"signal": "analog-line"}


def test_a_set_that_nobody_met_can_be_searched_and_recorded(jackfield: Run) -> None:
    done = jackfield("isolate", "Orlane", "OX-1", "--complaint", "no-sound", "--answer", "plugs=loose",
                     "--fixed", "plug-loose", "--record", "--json")  # fmt: skip
    assert done.code == 0, done.err
    assert "Orlane OX-1 is not in the book yet" in done.err
    visits = jackfield("show", "Orlane", "OX-1", "--json").json["visits"]
    assert [visit["id"] for visit in visits] == [done.json["recorded"]]


def test_a_search_is_resumed_and_recorded_from_its_file_alone(
    jackfield: Run, visit_file: VisitFile, tmp_path
) -> None:
    jackfield("record", "--file", visit_file())
    file = str(tmp_path / "today.json")
    jackfield("isolate", "Norwell", "NV40-210", "--complaint", "no-sound", "--answers", file)
    done = jackfield("isolate", "--answers", file, "--fixed", "output-off", "--record", "--json")
    assert done.code == 0, done.err
    visits = jackfield("show", "Norwell", "NV40-210", "--json").json["visits"]
    assert done.json["recorded"] in [visit["id"] for visit in visits]


def test_the_plate_of_the_usual_driver_is_kept_and_belongs_to_that_driver(jackfield: Run) -> None:
    plate = ["--driver-current", "4", "--driver-voltage", "8.5"]
    done = jackfield("settings", "--driver", "van driver", *plate, "--json")
    assert (done.json["driver_current_a"], done.json["driver_voltage_v"]) == (4, 8.5)
    assert "van driver, 4 A, 8.5 V" in jackfield("settings").out
    assert (
        jackfield("loop", "--room", "5x4", "--height", "1.2", "--json").json["driver"]["name"] == "van driver"
    )
    done = jackfield("settings", "--driver", "bench driver", "--json")
    assert (done.json["driver_current_a"], done.json["driver_voltage_v"]) == (None, None)
    for wrong in ("-1", "nan", "1e308"):
        done = jackfield("settings", "--driver-current", wrong)
        assert (done.code, "--driver-current" in done.err) == (2, True)


def likely(jackfield: Run, *words: str, complaint: str = "no-sound") -> dict[str, float]:
    done = jackfield("isolate", *words, "--complaint", complaint, "--json")
    assert done.code == 0, done.err
    return {one["fault"]: one["p"] for one in done.json["likely"]}


def test_what_was_mended_at_this_set_counts_more_than_what_was_mended_at_another(
    jackfield: Run, visit_file: VisitFile
) -> None:
    jackfield("record", "--file", visit_file())
    other = {"make": "Tarnow", "model": "T32-6"}
    jackfield("record", "--file", visit_file(source=other))
    before = likely(jackfield, "Norwell", "NV40-210")["output-off"]
    case = {"complaint": "no-sound", "fault": "output-off", "path": {"signal": "optical"}}
    jackfield("record", "--file", visit_file(date="2026-03-05", note="menu", case=case))
    here, there = (
        likely(jackfield, *words)["output-off"] for words in (("Norwell", "NV40-210"), ("Tarnow", "T32-6"))
    )
    assert before < there < here
    done = jackfield("isolate", "Norwell", "NV40-210", "--complaint", "no-sound")
    assert "mended here before: the menu has this output off" in " ".join(done.err.split())


def test_what_the_panel_says_of_the_jack_counts_and_is_said(jackfield: Run, visit_file: VisitFile) -> None:
    fixed = {"form": "rca-pair", "marking": "AUDIO OUT", "level": "fixed", "outcome": "carried"}
    for model, level in (("A1", "fixed"), ("A2", "variable")):
        source = {"make": "Norwell", "model": model}
        jackfield("record", "--file", visit_file(source=source, jacks=[fixed | {"level": level}]))
    one, two = (likely(jackfield, "Norwell", model, complaint="weak") for model in ("A1", "A2"))
    assert one["turned-down"] < 0.1 * two["turned-down"]
    done = jackfield("isolate", "Norwell", "A1", "--complaint", "weak")
    assert "The book says of this set, and it counts: its level is fixed" in " ".join(done.err.split())


def test_what_the_book_says_counts_when_a_search_is_resumed_from_its_file(
    jackfield: Run, visit_file: VisitFile, tmp_path: Path
) -> None:
    fixed = {"form": "rca-pair", "marking": "AUDIO OUT", "level": "fixed", "outcome": "carried"}
    jackfield("record", "--file", visit_file(jacks=[fixed]))
    file = str(tmp_path / "today.json")
    begun = jackfield("isolate", "Norwell", "NV40-210", "--complaint", "weak", "--answers", file, "--json")
    assert jackfield("isolate", "--answers", file, "--json").json["likely"] == begun.json["likely"]
