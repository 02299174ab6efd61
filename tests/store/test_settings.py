"""The settings of an installer: one small file that a person may edit."""

from __future__ import annotations

import os
import tomllib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kb.base.errors import BadInput, BookTrouble
from kb.base.text import line
from kb.domain.words import DriverInput
from kb.settings import FILE, Settings, Units, default_home, load, save


def test_without_a_file_there_is_a_driver_with_a_line_input_and_metres(tmp_path: Path) -> None:
    assert load(tmp_path) == Settings(
        driver="", inputs=(DriverInput.LINE_35,), units=Units.METRIC, initials=""
    )
    assert list(tmp_path.iterdir()) == []


_texts = st.text(st.characters(exclude_categories=("C", "Zl", "Zp")), max_size=40).map(
    lambda text: line(text, "driver", 400)[:40].strip()
)


@given(
    driver=_texts | st.sampled_from(['"', "\\", '"""', "a\\u0041", "[driver]", "# x"]),
    inputs=st.lists(st.sampled_from(DriverInput), min_size=1, unique=True).map(tuple),
    units=st.sampled_from(Units),
    initials=_texts,
)
def test_what_is_saved_is_loaded(
    tmp_path_factory: pytest.TempPathFactory,
    driver: str,
    inputs: tuple[DriverInput, ...],
    units: Units,
    initials: str,
) -> None:
    home = tmp_path_factory.mktemp("home")
    settings = Settings(
        driver=line(driver, "driver"), inputs=inputs, units=units, initials=line(initials, "initials", 40)
    )
    save(home, settings)
    assert load(home) == settings


def test_the_file_is_plain_toml_for_this_user_alone(tmp_path: Path) -> None:
    home = tmp_path / "home"
    path = save(
        home, Settings("bench driver", inputs=(DriverInput.OPTICAL,), units=Units.FEET, initials="RT")
    )
    data = tomllib.loads(path.read_text(encoding="utf-8"))
    assert data == {
        "driver": "bench driver",
        "driver_current_a": 0.0,
        "driver_voltage_v": 0.0,
        "driver_plate": "rms",
        "driver_least_load_ohm": 0.0,
        "inputs": ["optical"],
        "units": "feet",
        "initials": "RT",
        "language": "en",
        "plates": [],
    }
    assert path.stat().st_mode & 0o777 == 0o600
    assert [one.name for one in home.iterdir()] == [FILE]


@pytest.mark.parametrize(
    ("content", "said"),
    [
        ("driver = 5", "driver: saw 5, expected text"),
        ('inputs = "optical"', "inputs: saw 'optical', expected a list"),
        ('inputs = ["optic"]', "inputs 1: saw 'optic', expected optical"),
        ('units = "yards"', "units: saw 'yards', expected one of metric, feet"),
        (
            'unit = "feet"',
            "unknown field: saw 'unit', expected one of driver, driver_current_a, driver_voltage_v, "
            "driver_plate, driver_least_load_ohm, inputs, "
            "units, initials",
        ),
        (f'initials = "{"x" * 41}"', "initials: saw 41 characters"),
        ('driver = "a\\u001b[31m"', "driver: saw"),
        ("driver", "expected TOML"),
        ('units = "feet"\nunits = "feet"', "expected TOML"),
        ("[" * 5000, "expected TOML"),
        ("# " + "x" * 70_000, "at most 65536 bytes"),
        ('"\\u001b[2J" = 1', r"unknown field: saw '\x1b[2J'"),
    ],
)
def test_a_wrong_setting_is_named_with_file_and_key(tmp_path: Path, content: str, said: str) -> None:
    (tmp_path / FILE).write_text(content, encoding="utf-8")
    with pytest.raises(BadInput) as caught:
        load(tmp_path)
    assert str(caught.value).startswith(str(tmp_path / FILE))
    assert said in str(caught.value)
    assert "\x1b" not in str(caught.value)


def test_bytes_that_are_no_text_are_told(tmp_path: Path) -> None:
    (tmp_path / FILE).write_bytes(b"driver = \xff")
    with pytest.raises(BadInput, match="expected TOML"):
        load(tmp_path)


def test_settings_that_could_not_be_loaded_are_not_saved(tmp_path: Path) -> None:
    save(tmp_path, Settings(initials="RT"))
    with pytest.raises(BadInput):
        save(tmp_path, Settings(driver="x" * 81))
    with pytest.raises(BadInput):
        save(tmp_path, Settings(driver="a\x00b"))
    with pytest.raises(BadInput):
        save(tmp_path, Settings(driver=" blank "))
    assert load(tmp_path) == Settings(initials="RT")


def test_a_disk_without_room_leaves_the_settings_as_they_were(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    save(tmp_path, Settings(initials="RT"))

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(BookTrouble, match=r"No space left.*stay as they were"):
        save(tmp_path, Settings(initials="XX"))
    assert load(tmp_path) == Settings(initials="RT")
    assert [one.name for one in tmp_path.iterdir()] == [FILE]


def test_a_folder_in_place_of_the_file_is_told(tmp_path: Path) -> None:
    (tmp_path / FILE).mkdir()
    with pytest.raises(BookTrouble, match=FILE):
        load(tmp_path)
    with pytest.raises(BookTrouble, match=FILE):
        save(tmp_path, Settings())


def test_the_home_folder_is_the_one_that_was_chosen(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("JACKFIELD_HOME", str(tmp_path))
    assert default_home() == tmp_path
    monkeypatch.setenv("JACKFIELD_HOME", "~/notes")
    assert default_home() == Path.home() / "notes"
    monkeypatch.delenv("JACKFIELD_HOME")
    assert default_home().name == "jackfield"
