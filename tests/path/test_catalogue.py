"""The catalogue is data: a new item is an entry, and a wrong entry is refused by name."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from kb.base.errors import BadInput, BookTrouble
from kb.catalogue import catalogue, data_file, read_catalogue
from kb.domain.words import DriverInput
from kb.path import connect
from tests.path.panels import LINE, panel

NAMES = """
optical cable 1 m|optical cable 2 m|optical cable 3 m|optical cable 5 m|optical cable 10 m
coaxial digital cable 2 m|RCA pair cable 2 m|RCA pair to 3.5 mm cable 2 m|3.5 mm cable 2 m
3.5 mm to RCA pair cable 2 m|HDMI cable 2 m|DAC|optical to coaxial converter|coaxial to optical converter
ARC extractor|optical splitter|ground-loop isolator|speaker-to-line converter|SCART to RCA pair adapter
mini-TOSLINK adapter|6.35 mm to 3.5 mm adapter|mono-summing pad|attenuator|Bluetooth receiver|RCA splitter
5-pin DIN to RCA pair adapter|microphone
"""


def test_the_items_of_the_trade_are_there_by_name() -> None:
    names = {name for line in NAMES.split("\n") for name in line.split("|") if name}
    assert names <= {item.name for item in catalogue().items}


FIBRE_LINK = """
[[item]]
name = "glass link"
what = "line level over glass fibre"
role = "converter"
power = "socket"
near = [{ form = "rca-pair", part = "plug", takes = ["line"] }]
far = [{ form = "jack-3.5", part = "plug", gives = "line" }]
length_m = 95
cost = 200
delay_ms = 2
source = "invented"
"""


def shipped_with(tmp_path: Path, more: str) -> tuple[Path, ...]:
    extra = tmp_path / "more.toml"
    extra.write_text(more, encoding="utf-8")
    return (data_file("items.toml"), data_file("limits.toml"), data_file("works.toml"), extra)


def test_a_new_item_is_data_and_not_code(tmp_path: Path) -> None:
    assert connect(panel(LINE), ["line-3.5"], length_m=95).chosen is None
    known = read_catalogue(*shipped_with(tmp_path, FIBRE_LINK))
    path = connect(panel(LINE), ["line-3.5"], length_m=95, catalogue=known).chosen
    assert path is not None
    assert path.items == ("glass link",)
    assert path.delay_ms == 2


@pytest.mark.parametrize("content", [b"\xff\xfe", b"x = " + b"[" * 5000, b"#" * 1_000_001])
def test_a_file_that_is_no_catalogue_is_refused(tmp_path: Path, content: bytes) -> None:
    file = tmp_path / "items.toml"
    file.write_bytes(content)
    with pytest.raises(BadInput, match=r"data/items\.toml"):
        read_catalogue(file)
    with pytest.raises(BadInput, match=r"data/missing\.toml"):
        read_catalogue(tmp_path / "missing.toml")


@pytest.mark.parametrize("name", ["", "/etc/hosts", "../pyproject.toml", "a/../../b", "..\\b"])
def test_a_data_file_never_lies_outside_the_data_folder(name: str) -> None:
    with pytest.raises(BookTrouble, match="not a name inside"):
        data_file(name)


def test_a_missing_data_file_is_named() -> None:
    with pytest.raises(BookTrouble, match=r"data/nothing\.toml: missing"):
        data_file("nothing.toml")


@pytest.mark.parametrize("place", ["kb/data", "data"])
def test_the_data_is_found_in_a_wheel_and_in_a_checkout(tmp_path: Path, place: str) -> None:
    """The wheel carries ``data`` as ``kb/data``; a checkout has it beside ``kb``."""
    root = Path(__file__).parents[2]
    copy = _copy(root / "kb", tmp_path / "kb", lambda file: file.suffix == ".py")
    _copy(root / "data", tmp_path / place, lambda file: file.parent.name == "data")
    code = "from kb.catalogue import catalogue, data_file; catalogue(); print(data_file('items.toml'))"
    run = subprocess.run([sys.executable, "-c", code], cwd=copy.parent, capture_output=True, text=True)
    assert run.stdout.strip() == str(tmp_path / place / "items.toml"), run.stderr


def _copy(source: Path, target: Path, wanted: Callable[[Path], bool]) -> Path:
    for file in source.rglob("*"):
        if file.is_file() and wanted(file):
            to = target / file.relative_to(source)
            to.parent.mkdir(parents=True, exist_ok=True)
            to.write_bytes(file.read_bytes())
    return target


def test_catalogue_and_rules_load_nothing_but_the_standard_library() -> None:
    code = "import sys, kb.path; kb.path.connect; print(*sorted({m.split('.')[0] for m in sys.modules}))"
    run = subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True,
        text=True,
        check=True,
        cwd=Path(__file__).parents[2],
    )
    loaded = set(run.stdout.split())
    assert "kb" in loaded
    assert not loaded & {"click", "rich", "sqlalchemy", "alembic", "whoosh", "sqlite3", "networkx"}


@pytest.mark.parametrize(
    ("asked", "offered"),
    [
        ("toslink cable 2 m", "optical cable 2 m"),
        ("coax cable 2 m", "coaxial digital cable 2 m"),
        ("scart lead 2 m", "SCART cable 2 m"),
        ("optcal cable 2 m", "optical cable 2 m"),
    ],
)
def test_an_unknown_item_that_names_a_connector_is_answered_with_one_for_that_connector(
    asked: str, offered: str
) -> None:
    with pytest.raises(BadInput, match=f"perhaps '{offered}'"):
        catalogue().item(asked)


def test_an_input_is_named_as_people_say_it_and_a_word_that_fits_two_alike_is_not_guessed() -> None:
    said = {"3.5": "line-3.5", "entrada óptica": "optical", "toslink": "optical"}
    assert {typed: DriverInput.read(typed, "--inputs").value for typed in said} == said
    for typed in ("line", "line in"):
        with pytest.raises(BadInput, match="expected one of"):
            DriverInput.read(typed, "--inputs")
