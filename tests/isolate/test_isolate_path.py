"""Is what can be wrong narrowed by the path, and only by what the path really says?"""

from __future__ import annotations

from pathlib import Path

import pytest
from isolate_trial import path_used

from kb.base.errors import BadInput
from kb.catalogue import read_catalogue
from kb.isolate import path_used as path_used_module
from kb.isolate import path_used_from, path_used_to
from kb.isolate.path_used import TRAITS, UNKNOWN_PATH, UNTOLD

#: signal, items, input, trait, what the path says of it (common practice)
SAYS = [
    ("optical", (), "", "optical", True),
    ("optical", (), "", "digital", True),
    ("optical", (), "", "analog", False),
    ("optical", (), "", "galvanic", False),
    ("optical", (), "optical", "converter", False),
    ("optical", (), "line-3.5", "converter", True),
    ("optical", (), "", "splitter", None),
    ("optical", ("optical cable 2 m",), "", "splitter", False),
    ("optical", ("optical cable 2 m", "passive optical splitter"), "", "splitter", True),
    ("optical", ("dac-optical",), "", "dac", True),
    ("optical", ("optical/coaxial converter",), "coaxial", "converter", True),
    ("optical", ("digital-to-analog converter",), "", "dac", True),
    ("coaxial", (), "coaxial", "converter", False),
    ("coaxial", (), "", "galvanic", True),
    ("arc", ("ARC extractor",), "", "extractor", True),
    ("arc", ("ARC extractor",), "", "converter", True),
    ("arc", (), "line-rca", "analog-end", True),
    ("earc", (), "", "arc", False),
    ("analog-line", (), "", "converter", False),
    ("analog-line", (), "", "dac", False),
    ("analog-line", ("RCA cable 2 m",), "line-rca", "converter", False),
    ("analog-line", ("isolating transformer",), "", "galvanic", False),
    ("analog-line", ("isolating transformer",), "", "isolator", True),
    ("analog-line", ("Bluetooth transmitter",), "", "converter", True),
    ("analog-line", ("small grey box",), "", "converter", None),
    # A short word counts only alone: a cord has no supply, what a recorder is nobody knows.
    ("analog-line", ("grey cord",), "", "converter", False),
    ("analog-line", ("recorder",), "", "converter", None),
    ("headphone", (), "", "analog-end", True),
    ("headphone", (), "mic", "mic-input", True),
    ("headphone", (), "line-3.5", "line-input", True),
    ("wireless", (), "", "bluetooth", True),
    ("wireless", (), "line-3.5", "converter", True),
    ("wireless", (), "", "cable", False),
    ("acoustic", ("microphone",), "mic", "cable", False),
    # a passive one has no supply that could fail
    ("speaker-level", ("speaker-to-line converter",), "line-rca", "converter", False),
    ("speaker-level", ("speaker-to-line converter",), "line-rca", "galvanic", False),
    # Names that hide or contradict the part; the catalogue's own entries say it.
    ("analog-line", ("XLR to RCA transformer",), "", "isolator", True),
    ("optical", ("optical to coaxial converter",), "coaxial", "dac", False),
    ("optical", ("decoding DAC",), "", "converter", True),
    ("wireless", ("Bluetooth receiver",), "line-3.5", "splitter", False),
    ("analog-line", ("aislador de línea",), "", "isolator", True),
    ("optical", ("divisor óptico pasivo",), "", "splitter", True),
    ("", (), "", "optical", None),
    ("", (), "", "galvanic", None),
    ("", (), "", "analog-end", None),
]


@pytest.mark.parametrize(("signal", "items", "driver_input", "trait", "said"), SAYS)
def test_a_path_says_yes_no_or_nothing_of_a_trait(signal, items, driver_input, trait, said):
    assert TRAITS[trait](path_used(signal, items, driver_input)) is said


def test_every_trait_is_tried():
    signals = {"coaxial", "earc", "headphone", "analog-line", "speaker-level", "wireless", "acoustic"} | {
        "hdmi",
        "usb",
    }
    assert {trait for *_, trait, _ in SAYS} | signals == set(TRAITS)  # signals are all read in one way


def test_needs_are_alternatives_and_a_sum_needs_all_of_it():
    light = path_used("optical", ("optical cable",))
    assert light.share(()) == 1
    assert light.share(("coaxial", "optical")) == 1
    assert light.share(("optical+splitter",)) == 0
    assert path_used("optical").share(("optical+splitter",)) == UNTOLD
    assert UNKNOWN_PATH.share(("optical",)) == UNTOLD


def test_a_path_reads_back_from_what_was_written():
    for data in ({}, {"signal": "arc"}, {"signal": "optical", "items": ["DAC"], "input": "line-3.5"}):
        assert path_used_to(path_used_from(data)) == data


def test_an_input_that_no_driver_has_is_named():
    with pytest.raises(BadInput, match=r"path, input: saw 'aux', expected one of line-3.5"):
        path_used("optical", (), "aux")


INVENTED = """
[[item]]
name = "grey box"
what = "its name says nothing"
role = "{role}"
power = "{power}"
near = [{{ form = "toslink", part = "plug", takes = ["{takes}"] }}]
far = [{{ form = "rca-pair", part = "socket", gives = "{gives}" }}]
cost = 20
source = "an invented example"
"""


@pytest.mark.parametrize(
    ("role", "power", "takes", "gives", "trait"),
    [
        ("splitter", "none", "optical", "optical", "splitter"),
        ("isolator", "none", "line", "line", "isolator"),
        ("extractor", "socket", "arc", "line", "extractor"),
        ("converter", "socket", "optical", "line", "dac"),
        ("receiver", "socket", "wireless", "line", "bluetooth"),
        ("pad", "socket", "line", "line", "converter"),
    ],
)
def test_the_entry_of_an_item_says_its_part_and_not_its_name(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    role: str,
    power: str,
    takes: str,
    gives: str,
    trait: str,
) -> None:
    file = tmp_path / "items.toml"
    file.write_text(INVENTED.format(role=role, power=power, takes=takes, gives=gives), "utf-8")
    made = read_catalogue(file)
    monkeypatch.setattr(path_used_module, "catalogue", lambda: made)
    path_used_module._parts.cache_clear()
    try:
        said = {
            one: TRAITS[one](path_used("", ("grey box",)))
            for one in ("splitter", "isolator", "extractor", "dac", "bluetooth", "converter")
        }
    finally:
        path_used_module._parts.cache_clear()
    expected = {trait} | ({"converter"} if power == "socket" else set())
    assert {one for one, here in said.items() if here} == expected
    assert None not in said.values(), "an item of the catalogue leaves nothing open"
