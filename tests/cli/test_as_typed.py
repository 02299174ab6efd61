"""What people type at one door is understood at every other, and a file is what its name says."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.cli.conftest import Run


def visit(visit_file, model: str, size: float | None = None) -> Path:
    source = {"make": "Norwell", "model": model, "year": 2014, "display": "flat"}
    return visit_file(f"{model}.json", source=source | ({"size_in": size} if size else {}))


@pytest.fixture
def sets(jackfield: Run, visit_file) -> None:
    for model, size in (("KD-210", 40), ("KD-777", 55), ("NV46-100", None)):
        assert jackfield("record", "--file", visit(visit_file, model, size), "--new").code == 0


# -- a picture size ----------------------------------------------------------------------------------


@pytest.mark.parametrize("typed", ["size:40", 'size:40"', "size:40in", "size:40-inch", "size:39.8"])
def test_find_takes_a_picture_size_as_callers_say_it(jackfield: Run, sets, typed: str) -> None:
    found = jackfield("find", "norwell", typed, "--json").json["matches"]
    assert [one["model"] for one in found] == ["KD-210"]


def test_a_size_that_only_the_model_number_tells_is_found_as_well(jackfield: Run, sets) -> None:
    assert [one["model"] for one in jackfield("find", "size:46", "--json").json["matches"]] == ["NV46-100"]


def test_a_size_that_is_none_is_named(jackfield: Run, sets) -> None:
    done = jackfield("find", "size:large")
    assert (done.code, "a picture size in inches, such as 40" in done.err) == (2, True)


def test_evidence_and_pack_name_the_one_set_of_that_size_and_do_not_take_it(jackfield: Run, sets) -> None:
    """A maker has more sets of a size than the book: the client's may be another."""
    for words in (["evidence", "Norwell", "--size", "40"], ["pack", "Norwell", "--size", "40 inch"]):
        done = jackfield(*words, "--json")
        assert "Norwell KD-210" in " ".join(done.json["notes"]), done.err
    assert jackfield("evidence", "Norwell", "--size", "40", "--json").json["source"]["model"] == ""


def test_a_job_file_takes_a_size(jackfield: Run, sets, tmp_path: Path) -> None:
    file = tmp_path / "jobs.json"
    for key in ("size_in", "size"):
        file.write_text(json.dumps([{"make": "Norwell", key: 55, "inputs": ["line-3.5"]}]))
        assert "Norwell KD-777" in " ".join(jackfield("pack", file, "--json").json["notes"])


# -- numbers -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("typed", ["0.9", "0,9", "90%", "90 %"])
def test_a_wanted_certainty_is_taken_as_people_write_it(jackfield: Run, sets, typed: str) -> None:
    usual = jackfield("pack", "Norwell", "KD-210", "--target", "0.9", "--json")
    assert jackfield("pack", "Norwell", "KD-210", "--target", typed, "--json").out == usual.out


def test_a_plate_is_taken_with_comma_and_unit(jackfield: Run) -> None:
    done = jackfield("settings", "--driver-current", "4,5 A", "--driver-voltage", "8.5V", "--json").json
    assert (done["driver_current_a"], done["driver_voltage_v"]) == (4.5, 8.5)


def test_a_picture_size_is_recorded_with_its_unit(jackfield: Run) -> None:
    jackfield("record", "Norwell", "KD-9", "opt:ok", "--size", '40"')
    assert jackfield("show", "Norwell", "KD-9", "--json").json["source"]["size_in"] == 40


def test_what_is_no_number_is_named_with_its_option(jackfield: Run) -> None:
    done = jackfield("pack", "Norwell", "--target", "high")
    assert done.code == 2
    assert "--target" in done.err
    assert "'high'" in done.err


# -- a file is what its name says ----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("words", "holds"),
    [
        (["dump", "book.pdf"], "JSON Lines"),
        (["dump", "book.xlsx"], "JSON Lines"),
        (["share", "out", "bundle.png"], "JSON Lines"),
        (["sheet", "Norwell", "KD-210", "--out", "sheet.pdf"], "HTML"),
        (["tag", "Norwell", "KD-210", "--out", "tag.png"], "SVG"),
        (["path", "Norwell", "KD-210", "--svg", "chain.pdf"], "SVG"),
        (["show", "Norwell", "KD-210", "--svg", "panel.png"], "SVG"),
        (["loop", "--room", "5x4", "--svg", "field.png"], "SVG"),
        (["loop", "--room", "5x4", "--png", "field.svg"], "PNG"),
        (["tone", "sine", "--out", "tone.mp3"], "WAV"),
        (["isolate", "--complaint", "hum", "--answers", "today.pdf"], "JSON"),
    ],
)
def test_a_file_named_for_something_else_is_refused(
    jackfield: Run, sets, tmp_path: Path, words: list[str], holds: str
) -> None:
    *rest, name = words
    done = jackfield(*rest, tmp_path / name)
    assert done.code == 2, done.out
    assert name in done.err
    assert f"would hold {holds}" in done.err
    assert not (tmp_path / name).exists()


@pytest.mark.parametrize("name", ["book.jsonl", "book.txt", "notes", "book.2026.pdf.jsonl"])
def test_other_names_are_free(jackfield: Run, sets, tmp_path: Path, name: str) -> None:
    assert jackfield("dump", tmp_path / name).code == 0


# -- settings ----------------------------------------------------------------------------------------


def test_no_setting_is_lost_by_setting_another(jackfield: Run) -> None:
    first = jackfield("settings", "--driver", "van driver", "--driver-current", "4", "--inputs",
                      "line-3.5,optical", "--initials", "RT", "--units", "feet", "--json").json  # fmt: skip
    changes = {"--initials": "KM", "--units": "metric", "--inputs": "line-rca", "--language": "es"}
    for option, value in changes.items():
        before = jackfield("settings", "--json").json
        after = jackfield("settings", option, value, "--json").json
        key = option.removeprefix("--")
        assert {k: v for k, v in after.items() if k != key} == {k: v for k, v in before.items() if k != key}
    assert first["driver_current_a"] == 4


def test_the_plate_of_another_driver_is_kept_for_when_it_comes_back(jackfield: Run) -> None:
    jackfield("settings", "--driver", "van driver", "--driver-current", "4", "--driver-voltage", "8.5")
    done = jackfield("settings", "--driver", "bench driver")
    assert "4 A, 8.5 V" in done.err
    assert "van driver" in done.err


# -- small things ------------------------------------------------------------------------------------


def test_the_second_side_of_a_room_is_blamed_if_it_is_wrong(jackfield: Run) -> None:
    err = jackfield("loop", "--room", "5xfoo").err
    assert "second side" in err
    assert "'foo'" in err


def test_a_level_that_is_too_high_names_its_option(jackfield: Run, tmp_path: Path) -> None:
    done = jackfield("tone", "sine", "--level", "40", "--out", tmp_path / "x.wav")
    assert (done.code, "--level" in done.err) == (2, True)
    for option, value in (("--seconds", "0"), ("--hertz", "1e9"), ("--mains", "3")):
        assert option in jackfield("tone", "sine", option, value, "--out", tmp_path / "x.wav").err


# -- separators --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "typed", ["muted,headphone", "muted/headphone", "muted;headphone", "muted|headphone"]
)
def test_words_of_notes_are_parted_by_any_separator(jackfield: Run, visit_file, typed: str) -> None:
    jackfield("record", "--file", visit_file(note="the headphone jack muted the set"))
    usual = jackfield("find", "muted", "headphone", "--json").json["matches"]
    assert usual
    assert jackfield("find", typed, "--json").json["matches"] == usual


@pytest.mark.parametrize(
    "typed", ["line-3.5,optical", "line-3.5;optical", "line-3.5/optical", "line-3.5 optical"]
)
def test_inputs_are_parted_by_any_separator(jackfield: Run, typed: str) -> None:
    assert jackfield("settings", "--inputs", typed, "--json").json["inputs"] == ["line-3.5", "optical"]


# -- one vocabulary ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("field", "typed", "stored"),
    [
        ("outcome", "ok", "carried"), ("outcome", "works", "carried"), ("outcome", "no sound", "silent"),
        ("outcome", "dead", "silent"), ("outcome", "buzz", "hum"), ("outcome", "echo", "delayed"),
        ("outcome", "quiet", "weak"), ("speakers", "on", "stay-on"), ("speakers", "muted", "mute"),
        ("speakers", "menu", "mute-unless-set"), ("level", "var", "variable"),
        ("format", "bits", "bitstream"),
    ],
)  # fmt: skip
def test_an_everyday_word_means_the_same_at_every_door(
    jackfield: Run, visit_file, field: str, typed: str, stored: str
) -> None:
    jack = {"form": "toslink", "marking": "OPTICAL OUT", "outcome": "carried"}
    jackfield("record", "--file", visit_file(jacks=[jack | {field: typed}]))  # in a file
    shown = jackfield("show", "Norwell", "NV40-210", "--json").json["panel"][0]
    assert stored in json.dumps(shown)
    assert jackfield("record", "Tarnow", "T1", f"opt=OPTICAL OUT:{typed}").code == 0  # the short form
    assert stored in json.dumps(jackfield("show", "Tarnow", "T1", "--json").json["panel"][0])
    found = jackfield("find", f'{field}:"{typed}"', "--json").json["matches"]  # a query
    assert {one["model"] for one in found} == {"NV40-210", "T1"}


@pytest.mark.parametrize(
    ("typed", "signal"), [("toslink", "optical"), ("coax", "coaxial"), ("bluetooth", "wireless")]
)
def test_an_output_in_use_is_named_in_everyday_words(jackfield: Run, typed: str, signal: str) -> None:
    panel = ["opt=OPTICAL OUT:ok", "coax=DIGITAL OUT:ok", "bt:ok"]
    jackfield("record", "Norwell", "X9", *panel)
    asked = ["path", "Norwell", "X9", "--inputs", "line-3.5", "--json", "--taken"]
    done = jackfield(*asked, typed)
    assert done.json == jackfield(*asked, signal).json
    assert "taken" in {one["code"] for one in done.json["ruled_out"]}
