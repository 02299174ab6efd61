"""What a loop takes is on the list of what to carry."""

from __future__ import annotations

import json
from pathlib import Path

from tests.cli.conftest import Run


def loop_file(jackfield: Run, file: Path, *words: str) -> Path:
    file.write_text(jackfield("loop", *words, "--json").out)
    return file


def test_what_the_loop_takes_comes_into_the_list(jackfield: Run, tmp_path: Path) -> None:
    loop = loop_file(jackfield, tmp_path / "loop.json", "--room", "5.2x4.1", "--route", "joists")
    wanted = json.loads(loop.read_text())["items"]
    done = jackfield("pack", "Norwell", "--inputs", "line-3.5", "--loop", loop, "--target", "0.5", "--json")
    assert done.code == 0, done.err
    assert done.json["materials"] == wanted
    assert done.json["items"]
    shown = jackfield("pack", "Norwell", "--inputs", "line-3.5", "--loop", loop, "--target", "0.5").out
    wire = next(one for one in wanted if "wire" in one["item"])
    assert f"{wire['count']} m (85 ft)  {wire['item']}" in shown
    listed = jackfield("pack", "Norwell", "--loop", loop, "--target", "0.5", "--print").out
    assert "[ ] 1 x cable stapler" in listed


def test_wire_of_two_jobs_adds_up_and_one_stapler_does_for_both(jackfield: Run, tmp_path: Path) -> None:
    one = loop_file(jackfield, tmp_path / "one.json", "--room", "5x4", "--route", "joists", "--wire", "awg18")
    two = loop_file(jackfield, tmp_path / "two.json", "--room", "3x3", "--route", "joists", "--wire", "awg18")
    counts = [
        {line["item"]: line["count"] for line in json.loads(each.read_text())["items"]} for each in (one, two)
    ]
    jobs = tmp_path / "jobs.json"
    jobs.write_text(json.dumps([{"inputs": ["line-3.5"], "materials": json.loads(two.read_text())["items"]}]))
    done = jackfield("pack", jobs, "--loop", one, "--target", "0.5", "--json")
    assert done.code == 0, done.err
    carried = {line["item"]: line["count"] for line in done.json["materials"]}
    for item in ("insulated wire AWG 18", "insulated cable staple"):
        assert carried[item] == counts[0][item] + counts[1][item]
    assert carried["cable stapler"] == 1


def test_a_file_that_is_no_loop_is_named_with_what_is_wrong(jackfield: Run, tmp_path: Path) -> None:
    file = tmp_path / "x.json"
    for held, why in (
        ("{}", "jackfield loop --json"),
        ('{"items": [{"item": "wire", "count": 0}]}', "item 1, count"),
        ('{"items": [{"item": "wire\\u0007", "count": 1}]}', "control"),
        ('{"items": [{"item": "wire", "count": 1, "extra": 1}]}', "unknown field"),
        ('{"items": [{"item": "wire", "count": 1e308}]}', "item 1, count"),
    ):
        file.write_text(held)
        done = jackfield("pack", "Norwell", "--loop", file)
        assert (done.code, why in done.err, "x.json" in done.err) == (2, True, True), done.err
