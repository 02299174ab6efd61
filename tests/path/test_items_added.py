"""Items, connectors and driver inputs lead where the trade uses them: one row each, with its source."""

from __future__ import annotations

from typing import Any

import pytest

from kb.catalogue import catalogue
from kb.domain.panel import panel_of, reconcile
from kb.domain.visit import visit_from
from kb.domain.words import DriverInput, Kind
from kb.path import Path, connect, sentence

#: Connector, mark, input of the driver, the item that has to be there, and the source of the row.
ROWS = [
    ("xlr", "BALANCED OUT", "line-rca", "XLR to RCA transformer", "+4 dBu is 11.8 dB above -10 dBV"),
    ("xlr", "OUT L", "line-xlr", "XLR cable 2 m", "common practice"),
    ("jack-6.35", "BAL LINE OUT", "line-3.5", "balanced 6.35 mm to RCA transformer",
     "common practice: a summing stereo input cancels a balanced pair"),
    ("rca-pair", "AUDIO OUT", "line-xlr", "RCA pair to XLR transformer", "common practice"),
    ("terminal-block", "AUDIO OUT", "line-rca", "terminal block to RCA pair lead", "common practice"),
    ("rj45", "AUDIO OUT", "line-rca", "RJ45 to RCA pair adapter", "common practice"),
    ("scart", "EXT 1", "scart", "SCART cable 2 m", "IEC 60933-1"),
    ("speaker-terminals", "EXT SP", "speaker-level", "loudspeaker wire 2 m", "common practice"),
    ("speaker-terminals", "100V", "line-100v", "loudspeaker wire 2 m", "common practice"),
    ("speaker-terminals", "100V LINE", "line-rca", "100 V line transformer", "100 V to 1 V is 40 dB"),
    ("hdmi", "HDMI 2 (ARC)", "arc", "HDMI cable 2 m", "HDMI 1.4"),
    ("jack-3.5", "LINE OUT", "line-6.35", "3.5 mm socket to 6.35 mm plug adapter", "common practice"),
    ("rca-pair", "AUDIO OUT", "line-6.35-balanced", "RCA pair to balanced 6.35 mm transformer",
     "common practice: a stereo plug in a balanced input cancels what left and right share"),
    ("jack-6.35", "BAL OUT", "line-6.35-balanced", "balanced 6.35 mm cable 2 m", "common practice"),
    ("xlr", "OUT", "line-6.35-balanced", "XLR to balanced 6.35 mm cable 2 m", "common practice"),
    ("rca-pair", "AUDIO OUT", "optical", "ADC", "common practice"),
    ("rca-pair", "AUDIO OUT", "coaxial", "ADC", "common practice"),
    ("rca-pair", "AUDIO OUT", "bluetooth", "Bluetooth transmitter", "common practice"),
    ("jack-3.5", "AV OUT", "line-rca", "4-pole AV lead", "common practice: the wiring differs by maker"),
    ("jack-3.5", "AUDIO/VIDEO OUT", "line-3.5", "4-pole AV lead", "common practice"),
    ("din-5", "TONBAND", "line-rca", "record-wired DIN lead",
     "from memory: pins 1 and 4 record, 3 and 5 play (DIN 41524)"),
    ("din-5", "AUDIO OUT", "line-rca", "5-pin DIN to RCA pair adapter", "common practice"),
    ("jack-3.5", "SPEAKER OUT 8Ω", "line-rca", "3.5 mm plug to bare wires lead", "common practice"),
]  # fmt: skip


def chosen(jack: dict[str, Any], driver: str, **more: Any) -> Path | None:
    source = {"make": "Norwell", "model": "NV40-210"}
    panel = panel_of(visit_from({"date": "2026-03-04", "source": source, "jacks": [jack]}))
    return connect(panel, [driver], speakers_needed=False, **more).chosen


@pytest.mark.parametrize(("form", "marking", "driver", "item", "source"), ROWS)
def test_a_jack_is_connected_as_the_trade_does_it(
    form: str, marking: str, driver: str, item: str, source: str
) -> None:
    path = chosen({"form": form, "marking": marking}, driver)
    assert path is not None
    assert item in path.items
    assert source
    used = catalogue().item(item)
    assert all(used.source.values())


#: Source kind, jack, driver input, item and source: outputs that only the kind of source tells.
BY_KIND = [
    ("set-top-box", "hdmi", "HDMI", "line-rca", "HDMI audio extractor", "common practice"),
    ("player", "hdmi", "HDMI OUT", "optical", "HDMI audio extractor", "common practice"),
    ("computer", "usb", "USB", "line-3.5", "USB audio adapter", "common practice"),
]


@pytest.mark.parametrize(("kind", "form", "marking", "driver", "item", "source"), BY_KIND)
def test_a_box_is_connected_as_the_trade_does_it(
    kind: str, form: str, marking: str, driver: str, item: str, source: str
) -> None:
    path = chosen({"form": form, "marking": marking}, driver, kind=Kind(kind))
    assert path is not None
    assert item in path.items
    assert source


#: Source kind, and a jack whose direction or signal a person told: no path uses it.
TOLD = [
    ("player", {"form": "hdmi", "marking": "HDMI", "direction": "input"}),
    ("set-top-box", {"form": "hdmi", "marking": "HDMI OUT", "direction": "unclear"}),
    ("computer", {"form": "usb", "marking": "USB", "signal": "not-audio"}),
]


@pytest.mark.parametrize(("kind", "jack"), TOLD)
def test_a_persons_word_outranks_what_the_kind_of_source_tells(kind: str, jack: dict[str, Any]) -> None:
    assert chosen(jack, "line-rca", kind=Kind(kind)) is None


def test_the_word_of_one_visit_outranks_the_reading_of_another() -> None:
    said, read = (
        {"form": "hdmi", "marking": "HDMI", "direction": "input"},
        {"form": "hdmi", "marking": "HDMI"},
    )
    source = {"make": "Norwell", "model": "NP5", "kind": "player"}
    visits = [
        visit_from({"date": f"2026-03-0{day}", "source": source, "jacks": [jack]})
        for day, jack in enumerate((said, read), 1)
    ]
    assert connect(reconcile(visits), ["line-rca"], kind=Kind.PLAYER).chosen is None
    assert connect(reconcile(visits[1:]), ["line-rca"], kind=Kind.PLAYER).chosen is not None


#: Item, where its power comes from, how many outlets it takes, delay in ms at most, and the source.
POWERED = [
    ("HDMI audio extractor", "socket", 1, 5, "common practice"),
    ("ADC", "socket", 1, 2, "common practice"),
    ("USB audio adapter", "jack", 0, 20, "common practice: the computer feeds it"),
    ("low-delay wireless pair", "socket", 2, 40, "Wallach 1949: below an echo"),
    ("powered optical splitter", "usb", 1, 0, "common practice"),
    ("optical switch", "usb", 1, 0, "common practice"),
    ("headphone amplifier", "battery", 0, 0, "common practice"),
    ("DAC", "socket", 1, 2, "common practice"),
    ("optical splitter", "none", 0, 0, "common practice"),
    ("4-pole AV lead", "none", 0, 0, "common practice"),
    ("record-wired DIN lead", "none", 0, 0, "common practice"),
    ("slim 3.5 mm adapter", "none", 0, 0, "common practice"),
    ("power strip", "none", 0, 0, "common practice"),
]


@pytest.mark.parametrize(("name", "power", "sockets", "delay_ms", "source"), POWERED)
def test_an_item_tells_its_power_and_its_delay(
    name: str, power: str, sockets: int, delay_ms: float, source: str
) -> None:
    item = catalogue().item(name)
    assert (item.power, item.sockets) == (power, sockets)
    assert item.delay_ms <= delay_ms
    assert all(item.source.values())
    assert item.names["es"]
    assert source


def test_no_item_that_only_joins_or_boosts_is_used_as_a_repeater() -> None:
    path = chosen({"form": "toslink", "marking": "OPTICAL OUT"}, "optical", length_m=12)
    assert path is None or not {"optical switch", "headphone amplifier"} & {*path.items}


def test_a_second_source_is_let_in_by_a_mixer_or_a_switch() -> None:
    line = {"form": "rca-pair", "marking": "AUDIO OUT"}
    path = chosen(line, "line-rca", shared=["line-rca"])
    assert path is not None
    assert "two-source line mixer" in path.items
    assert any("second input" in sentence(step) for step in path.steps)
    optical = chosen({"form": "toslink", "marking": "OPTICAL OUT"}, "optical", shared=["optical"])
    assert optical is not None
    assert "optical switch" in optical.items
    alone = chosen(line, "line-rca")
    assert alone is not None
    assert "two-source line mixer" not in alone.items


def test_the_bluetooth_of_a_set_needs_no_item_into_a_driver_that_takes_it() -> None:
    path = chosen({"form": "bluetooth", "marking": ""}, "bluetooth")
    assert path is not None
    assert path.items == ()
    assert path.delay_ms >= 100
    assert [step.code for step in path.steps][:2] == ["driver-down", "pair"]


@pytest.mark.parametrize(
    "name", ["XLR to RCA transformer", "RCA pair to XLR transformer", "100 V line transformer"]
)
def test_level_and_source_of_a_transformer_are_told(name: str) -> None:
    item = catalogue().item(name)
    assert item.loss_db > 0
    assert item.source["loss_db"] != item.source["cost"]


def test_a_network_socket_carries_no_sound() -> None:
    assert chosen({"form": "rj45", "marking": "LAN"}, "line-rca") is None


def test_a_balanced_output_never_goes_straight_into_an_input_that_adds_left_and_right() -> None:
    path = chosen({"form": "jack-6.35", "marking": "BALANCED OUT"}, "line-3.5")
    assert path is not None
    assert "6.35 mm to 3.5 mm adapter" not in path.items


def test_every_input_of_a_driver_is_reached_by_some_row_or_by_the_rules() -> None:
    assert {row[2] for row in ROWS} >= set(DriverInput) - {"optical", "coaxial", "mic"}
