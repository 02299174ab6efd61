"""``jackfield loop`` and ``jackfield readings`` as typed."""

from __future__ import annotations

import json
import re

import pytest
from click.testing import CliRunner

from kb.base.errors import BadInput
from kb.cli.loop import loop_command
from kb.cli.readings import readings_command
from kb.settings import Settings, Units, save

READINGS = """
date = 2026-03-04
place = "[red]front[/red] room"
positions = [{ name = "[bold]sofa[/bold]", field_ma_per_m = 400 }]
response = { at = "[bold]sofa[/bold]", db_100_hz = -1, db_1000_hz = 0, db_5000_hz = -2 }
noise = { driver_off_dba = -52, driver_on_dba = -48 }
user = { satisfied = true, words = "good [link=https://example.org]x[/link]" }
"""


@pytest.fixture(autouse=True)
def no_settings(tmp_path, monkeypatch):
    """Nobody's own settings come into these tests."""
    monkeypatch.setenv("JACKFIELD_HOME", str(tmp_path / "none"))


def run(command, *args, text=None):
    done = CliRunner().invoke(command, list(args), input=text, standalone_mode=False, env={"COLUMNS": "80"})
    if done.exception:
        raise done.exception
    return done


def loop(*args):
    return run(loop_command, *args)


def document(*args):
    return json.loads(loop(*args, "--json").stdout)


def test_the_document_has_the_keys_that_scripts_rely_on():
    found = document("--length", "5", "--width", "4", "--height", "1.2", "--wire", "awg18", "--turns", "1")
    assert {"current_a", "voltage_v", "resistance_ohm", "inductance_h", "field", "fits", "cautions"} <= set(
        found
    )
    # magpylib; Grover; 1/58 ohm mm2/m
    assert found["field"]["centre_a_per_m_per_a"] == pytest.approx(0.14610, rel=1e-4)
    assert found["inductance_h"] == pytest.approx(30.766e-6, rel=1e-4)
    assert found["resistance_ohm"] == pytest.approx(0.37707, rel=1e-4)
    assert found["fits"] is True
    assert {"local-code", "licensed", "never-open"} <= {each["code"] for each in found["cautions"]}


@pytest.mark.parametrize(
    "room",
    [
        ["--room", "5x4"],
        ["--room", "500x400 cm"],
        ["--length", "5", "--width", "400 cm"],
        ["--polygon", "0,0 5,0 5,4 0,4"],
    ],
)
def test_a_room_may_be_told_in_several_ways(room):
    assert document(*room, "--height", "1.2")["current_a"] == pytest.approx(0.4 / 0.14610, rel=1e-4)


def test_feet_and_inches_are_the_same_room():
    metric = document("--room", "5.334x3.9624", "--height", "1.2")
    imperial = document("--room", "17ft 6in x 13ft", "--height", "3.937007874ft")
    assert imperial["current_a"] == pytest.approx(metric["current_a"], rel=1e-6)


@pytest.fixture
def home(tmp_path, monkeypatch):
    """A home folder with settings as given."""

    def with_settings(**settings):
        save(tmp_path, Settings(**settings))
        monkeypatch.setenv("JACKFIELD_HOME", str(tmp_path))

    return with_settings


@pytest.mark.parametrize(
    "room",
    [
        ["--room", "17x13"],
        ["--room", "17ft x 13"],
        ["--length", "17", "--width", "13'"],
        ["--polygon", "0,0 17,0 17,13 0,13"],
    ],
)
def test_where_the_settings_say_feet_bare_numbers_are_feet_and_feet_come_first(home, room):
    home(units=Units.FEET)
    done = loop(*room, "--height", "4", "--margin", "2")
    assert "Loop 17 ft 0 in (5.18 m) x 13 ft 0 in (3.96 m)" in done.stdout
    assert "4 ft 0 in (1.22 m) from the loop" in " ".join(done.stdout.split())
    assert "read as feet" in done.stderr
    assert max(map(len, done.stdout.splitlines())) <= 80
    metric = document(*room, "--height", "4", "--margin", "2", "--units", "feet")
    assert metric["room"]["length_m"] == pytest.approx(5.1816)  # JSON holds metres whatever is typed
    assert metric["field"]["offset_m"] == pytest.approx(1.2192)


def test_a_program_types_metres_whatever_the_settings_say(home):
    """All lengths of ``--json`` are in metres: who set this machine to feet is not known to a program."""
    asked = [
        "--length",
        "5",
        "--width",
        "4",
        "--height",
        "1.2",
        "--driver",
        "bench driver",
        "--wire",
        "awg18",
    ]
    metric = document(*asked)
    home(units=Units.FEET)
    assert document(*asked)["room"] == metric["room"]
    assert document(*asked)["field"] == metric["field"]
    assert loop(*asked, "--json").stderr == ""


def test_a_unit_that_is_typed_or_named_counts_before_the_settings(home):
    home(units=Units.FEET)
    assert document("--room", "5mx4m", "--height", "1.2m") == document(
        "--room", "5x4", "--height", "1.2", "--units", "metric"
    )
    assert "read as feet" not in loop("--room", "5mx4m", "--height", "1.2m").stderr


def test_where_feet_are_usual_wire_is_looked_for_by_awg(home):
    driver = ["--driver", "bench driver"]
    assert any("mm2" in each["wire"] for each in document("--room", "5x4m", *driver)["would_fit"])
    home(units=Units.FEET)
    found = document("--room", "5x4m", *driver)
    assert found["would_fit"]
    assert all(each["wire"].startswith("AWG") for each in found["would_fit"])
    assert document("--room", "5x4m", "--wire", "1.5mm2", *driver)["wire"] == "1.5 mm2"  # but may be named


def test_the_usual_driver_judges_the_loop(home):
    room = ["--room", "5x4", "--height", "1.2"]
    home(driver="Chair-Pad driver")  # of the catalogue
    assert document(*room)["driver"]["name"] == "chair pad driver"
    assert loop(*room).return_value == 1
    assert document(*room, "--driver", "bench driver")["fits"] is True
    home(driver="van driver", driver_current_a=5.0, driver_voltage_v=12.0)  # by its plate
    found = document(*room)
    assert (found["driver"]["name"], found["driver"]["source"], found["fits"]) == (
        "van driver",
        "your settings",
        True,
    )
    assert document(*room, "--driver", "VAN driver") == found
    assert document(*room, "--driver-current", "1", "--driver-voltage", "1")["fits"] is False
    home(
        driver="bench driver", driver_current_a=0.5, driver_voltage_v=1.0
    )  # what stands on mine counts first
    assert document(*room)["fits"] is False


def test_a_usual_driver_whose_plate_nobody_read_is_told_and_not_judged(home):
    home(driver="van driver", driver_current_a=5.0)
    done = loop("--room", "5x4", "--height", "1.2", "--json")
    assert json.loads(done.stdout)["driver"] is None
    assert "van driver is not judged" in done.stderr
    assert "jackfield settings --driver-current" in done.stderr
    with pytest.raises(BadInput, match="jackfield settings"):
        loop("--room", "5x4", "--driver", "van driver")


def test_a_driver_too_small_ends_with_1_and_says_why():
    done = loop("--room", "5x4", "--height", "1.2", "--driver", "chair pad driver")
    assert done.return_value == 1
    assert "DOES NOT FIT" in done.stdout
    assert "0.80 A" in done.stdout
    assert loop("--room", "5x4", "--height", "1.2", "--driver", "bench driver").return_value == 0


def test_a_driver_may_be_told_by_its_plate():
    found = document("--room", "5x4", "--height", "1.2", "--driver-current", "4", "--driver-voltage", "8")
    assert found["fits"] is True
    assert found["would_fit"]


def test_a_plate_may_be_in_peak_values_and_name_its_least_load():
    plate = ["--room", "5x4", "--height", "1.2", "--turns", "1", "--wire", "1.5mm2"]
    numbers = ["--driver-current", "4", "--driver-voltage", "8"]
    assert document(*plate, *numbers)["fits"] is True
    peak = document(*plate, *numbers, "--driver-plate", "peak")
    # 4 A peak is 2.83 A r.m.s., and the room asks for 3.09 A
    assert [each["code"] for each in peak["reasons"]] == ["current"]
    least = document(*plate, *numbers, "--driver-least-load", "0.5")
    assert [each["code"] for each in least["reasons"]] == ["resistance"]


def test_the_answer_says_by_which_programme_it_judged_and_how_to_test_it_on_site():
    room = ["--room", "5x4", "--height", "1.2", "--driver", "bench driver"]
    said = " ".join(loop(*room).stdout.split())
    assert "Judged for speech" in said
    assert "On site: set a 1 kHz sine 7 dB below the field you need" in said
    assert document(*room, "--programme", "music")["driver"]["overload_test"]["hertz"] == 4000


def test_the_standing_height_is_counted_where_people_stand_and_else_the_answer_says_that_it_is_not():
    room = ["--room", "5x4", "--wire-height", "0", "--driver", "bench driver"]
    shown = loop(*room)
    assert shown.return_value == 0
    assert "1.70 m (5 ft 7 in) does not count and would not be within +-3 dB" in " ".join(
        shown.stdout.split()
    )
    standing = loop(*room, "--standing")
    assert standing.return_value == 1
    assert "no current suits all heights" in " ".join(standing.stdout.split())
    assert document(*room, "--standing")["heights_counted_m"] == [1.2, 1.7]


def test_a_source_too_weak_for_the_driver_s_input_does_not_fit_and_says_by_how_much():
    room = ["--room", "5x4", "--height", "1.2"]
    good = loop(*room, "--source-level", "-10 dBV", "--sensitivity", "100 mV")
    assert good.return_value == 0
    assert "0.316 V (-10.0 dBV, -7.8 dBu), +10.0 dB" in " ".join(good.stdout.split())
    assert max(map(len, good.stdout.splitlines())) <= 80
    weak = document(*room, "--source-level", "50 mV", "--sensitivity", "-10 dBV")
    assert weak["fits"] is False
    assert weak["line"]["margin_db"] == pytest.approx(-16.02, abs=5e-3)
    assert [each["code"] for each in weak["reasons"]] == ["sensitivity"]
    loud = document(*room, "--source-level", "4 V", "--sensitivity", "0.5")
    assert [each["code"] for each in loud["reasons"]] == ["overload"]
    with pytest.raises(BadInput, match="--sensitivity"):
        loop(*room, "--source-level", "1 V")


def test_every_printed_answer_shows_both_units_and_defers_to_the_local_code():
    for route in ("joists", "tack-strip", "trim", "attic", "drop-ceiling", "saw-cut"):
        shown = loop("--room", "5.2x4.1", "--route", route).stdout
        assert "5.20 m (17 ft 1 in)" in shown
        assert "Local code and licensed practice come first." in shown
        assert max(map(len, shown.splitlines())) <= 80
    assert "silica" in loop("--room", "5.2x4.1", "--route", "saw-cut").stdout


def test_the_plot_is_shown_when_asked_and_only_then():
    assert "# wire" in loop("--room", "5x4", "--height", "1.2", "--plot").stdout
    assert "# wire" not in loop("--room", "5x4", "--height", "1.2").stdout


def test_pictures_are_written_where_asked_and_stdout_stays_one_document(tmp_path):
    pytest.importorskip("matplotlib")
    svg, png = tmp_path / "field.svg", tmp_path / "field.png"
    done = loop("--room", "5x4", "--height", "1.2", "--svg", str(svg), "--png", str(png), "--json")
    json.loads(done.stdout)
    assert svg.read_bytes().lstrip().startswith(b"<?xml")
    assert png.read_bytes().startswith(b"\x89PNG")


def test_a_picture_that_cannot_be_written_is_told(tmp_path):
    pytest.importorskip("matplotlib")
    with pytest.raises(BadInput, match="- with --json"):
        loop("--room", "5x4", "--height", "1.2", "--png", "-", "--json")
    with pytest.raises(BadInput, match="--svg"):
        loop("--room", "5x4", "--height", "1.2", "--svg", str(tmp_path / "no" / "such.svg"))


@pytest.mark.parametrize(
    ("args", "why"),
    [
        ([], "room"),
        (["--room", "5x4", "--length", "5", "--width", "4"], "more than one"),
        (["--length", "5"], "--width"),
        (["--room", "0x4"], "--room"),
        (["--room", "5x-4"], "--room"),
        (["--polygon", "0,0 5,0 0,4 6,4"], "crossing"),
        (["--room", "5x4", "--wire", "awg99"], "--wire"),
        (["--room", "5x4", "--wire", ""], "--wire"),
        (["--room", "5x4", "--driver", "no such"], "bench driver"),
        (["--room", "5x4", "--driver", ""], "driver"),
        (["--room", "5x4", "--driver-current", "4"], "--driver-voltage"),
        (["--room", "5x4", "--driver-current", "0", "--driver-voltage", "1"], "rated_current_a_rms"),
        (["--room", "5x4", "--driver-current", "nan", "--driver-voltage", "1"], "rated_current_a_rms"),
        (["--room", "5x4", "--route", "moat"], "joists"),
        (["--room", "5x4", "--height", "1.2", "--listen-height", "1.2"], "--height"),
        (["--room", "5x4", "--height=-1"], "--height"),
        (["--room", "5x4", "--temp", "nan"], "temperature"),
        (["--room", "5x4", "--metal-db", "-3"], "metal"),
        (["--room", "5x4", "--turns", "0"], "--turns"),
        (["--room", "5x4", "--margin", "2"], "margin"),
        (["--room", "5x4", "--doorways", "-1"], "doorways"),
        (["--room", "5x4", "--height", "0", "--margin", "0.001"], "on the wire"),
    ],
)
def test_what_cannot_be_is_refused_by_its_option(args, why):
    with pytest.raises(BadInput, match=why):
        loop(*args)


def test_readings_that_meet_the_standard_end_with_0(tmp_path):
    file = tmp_path / "readings.toml"
    file.write_text(READINGS, encoding="utf-8")
    done = run(readings_command, str(file))
    assert done.return_value == 0
    assert "MEETS" in done.stdout
    assert max(map(len, done.stdout.splitlines())) <= 80


def test_names_and_words_from_the_file_are_shown_as_text(tmp_path):
    file = tmp_path / "readings.toml"
    file.write_text(READINGS, encoding="utf-8")
    shown = run(readings_command, str(file)).stdout
    assert "[red]front[/red] room" in shown
    assert "[link=https://example.org]x[/link]" in shown
    assert "\x1b" not in shown


def test_readings_that_fall_short_end_with_1_and_say_so_in_the_document(tmp_path):
    file = tmp_path / "readings.json"
    file.write_text(json.dumps({"positions": [{"name": "sofa", "field_db": -5}]}), encoding="utf-8")
    done = run(readings_command, str(file), "--json")
    assert done.return_value == 1
    found = json.loads(done.stdout)
    assert found["verdict"] == "falls-short"
    assert found["failed"] == ["field at sofa", "400 mA/m reached"]
    assert len(found["incomplete"]) == 3
    assert all({"name", "value", "limit", "ok", "source"} <= set(each) for each in found["checks"])


def test_readings_may_come_through_a_pipe():
    done = run(readings_command, "-", text='{"positions": [{"field_db": 0}]}')
    assert "not proved" in done.stdout


@pytest.mark.parametrize(
    ("held", "why"),
    [
        (b"[1, 2", "JSON"),
        (b"{", "JSON"),
        (b'{"positions": [{"field_db": NaN}]}', "readings.json"),
        (b"\xff\xfe", "UTF-8"),
        (b"[" * 100_000, "nested"),
        (b'{"positions": [{"field_db": ' + b"9" * 5000 + b"}]}", "readings.json"),
        (b" " * (1024 * 1024 + 1), "smaller file"),
        (b'{"positons": []}', "positons"),
        (b"[]", "readings"),
    ],
)
def test_a_broken_file_is_named_with_what_is_wrong(held, why, tmp_path):
    file = tmp_path / "readings.json"
    file.write_bytes(held)
    with pytest.raises(BadInput) as refused:
        run(readings_command, str(file))
    assert why in str(refused.value)


def test_a_file_that_is_not_there_is_named():
    with pytest.raises(BadInput, match=r"no-such\.toml"):
        run(readings_command, "no-such.toml")


def test_a_field_at_the_reference_is_not_told_as_minus_nothing():
    """-0.03 dB is 0.0 dB."""
    shown = loop("--room", "5.2x4.1", "--route", "joists", "--driver", "bench driver").stdout
    assert "+0.0" in shown
    assert "-0.0" not in shown


def test_readings_with_gaps_and_no_fault_are_not_proved_rather_than_short(tmp_path):
    file = tmp_path / "readings.json"
    file.write_text(json.dumps({"positions": [{"name": "sofa", "field_db": 1}]}), encoding="utf-8")
    shown = run(readings_command, str(file)).stdout
    assert shown.startswith("NOT PROVED to meet the standard")
    assert "FALLS SHORT" not in shown
    assert json.loads(run(readings_command, str(file), "--json").stdout)["verdict"] == "falls-short"


def test_without_a_driver_nothing_is_said_to_fit():
    shown = loop("--room", "5x4").stdout
    assert "FITS" not in shown
    assert "There is no driver to judge by. Name one: --driver NAME" in shown
    assert document("--room", "5x4")["fits"] is True
    assert "FITS" in loop("--room", "5x4", "--driver-current", "9", "--driver-voltage", "20").stdout


def test_each_voltage_says_for_which_current_it_is():
    shown = loop("--room", "5x4").stdout
    found = document("--room", "5x4")
    assert f"{found['voltage_v']:.2f} V for {found['current_a']:.2f} A, up to 5 kHz" in shown
    higher = re.search(r"([0-9.]+) A \(.*\) brings the whole", shown)[1]
    assert f"Voltage for {higher} A" in shown


def test_every_measured_value_is_shown_with_its_unit(tmp_path):
    file = tmp_path / "readings.toml"
    file.write_text(READINGS, encoding="utf-8")
    shown = run(readings_command, str(file)).stdout
    for value in ("400 mA/m +0.0 dB", "-1.0 dB", "-52.0 dB(A)", "0.4 A/m"):
        assert f" {value} " in shown
    assert max(map(len, shown.splitlines())) <= 80


@pytest.mark.parametrize(("field", "asked"), [(0.38, True), (4.9, True), (5, False), (0, False)])
def test_a_field_that_may_have_been_typed_in_amperes_is_asked_about(tmp_path, field, asked):
    file = tmp_path / "readings.json"
    row = {"name": "sofa", "field_ma_per_m": field}
    file.write_text(json.dumps({"positions": [row]}), encoding="utf-8")
    for more in ((), ("--json",)):
        done = run(readings_command, str(file), *more)
        said = done.stderr
        assert " 0 mA/m" not in done.stdout
        assert (f"sofa: {field:g} mA/m; were these A/m?" in said) is asked


def test_a_neck_loop_is_round_and_told_by_its_volts_and_least_impedance():
    shown = loop(
        "--ring", "0.22", "--height", "0.18", "--margin", "0.03", "--turns", "10", "--wire", "0.5mm2"
    )
    words = " ".join(shown.stdout.split())
    # IEC 62489-1, Table B.1: 10 turns of 0.5 mm2, 0.22 m across, 0.24 ohm
    assert "0.24 ohm at 20 C" in words
    assert "least impedance from 100 Hz to 5 kHz is 0.2 ohm" in words
    assert "corners" not in words
