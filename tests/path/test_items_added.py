"""Items, connectors and driver inputs lead where the trade uses them: one row each, with its source."""

from __future__ import annotations

from typing import Any

import pytest

from kb.catalogue import catalogue
from kb.domain.panel import panel_of
from kb.domain.visit import visit_from
from kb.domain.words import DriverInput
from kb.path import Path, connect

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
]  # fmt: skip


def chosen(jack: dict[str, Any], driver: str) -> Path | None:
    source = {"make": "Norwell", "model": "NV40-210"}
    panel = panel_of(visit_from({"date": "2026-03-04", "source": source, "jacks": [jack]}))
    return connect(panel, [driver], speakers_needed=False).chosen


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
