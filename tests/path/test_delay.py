"""How late may sound be: behind the picture (ITU-R BT.1359-1), beside speakers (Wallach et al. 1949)?"""

from __future__ import annotations

from dataclasses import replace

import pytest

from kb.catalogue import Catalogue, catalogue
from kb.path import Connection, Tier
from tests.path.panels import BLUETOOTH, OPTICAL, ask, cautions, ruled_out


def with_delay(name: str, delay_ms: float) -> Catalogue:
    """The shipped catalogue with one item of this delay."""
    known = catalogue()
    items = tuple(replace(one, delay_ms=delay_ms) if one.name == name else one for one in known.items)
    return replace(known, items=items)


def bluetooth(delay_ms: float, needed: bool) -> Connection:
    return ask(BLUETOOTH, catalogue=with_delay("Bluetooth receiver", delay_ms), speakers_needed=needed)


@pytest.mark.parametrize("needed", [True, False])
def test_beyond_185_ms_sound_is_too_far_behind_the_picture(needed: bool) -> None:
    assert bluetooth(185, needed).chosen is not None
    late = bluetooth(185.1, needed)
    assert late.chosen is None
    assert ruled_out(late) == {0: "late"}


def test_with_free_speakers_lateness_is_told_from_125_ms() -> None:
    for delay, told in ((124, False), (125, True), (160, True)):
        path = bluetooth(delay, needed=False).chosen
        assert path is not None
        assert ("late" in cautions(path)) == told


def test_beside_speakers_that_are_needed_40_ms_is_the_end_of_fusion() -> None:
    for delay, told in ((39, False), (40, False), (41, True)):
        path = bluetooth(delay, needed=True).chosen
        assert path is not None
        assert ("late" in cautions(path)) == told
        assert (path.tier is Tier.LATE) == told


def test_a_slow_converter_is_a_last_resort_only_beside_speakers_that_are_needed() -> None:
    slow = with_delay("DAC", 60)
    needed = ask(OPTICAL, inputs=("line-3.5", "mic"), catalogue=slow)
    assert needed.chosen is not None
    assert needed.chosen.jack is None  # the microphone
    assert ruled_out(needed) == {0: "late"}
    free = ask(OPTICAL, inputs=("line-3.5", "mic"), catalogue=slow, speakers_needed=False)
    assert free.chosen is not None
    assert free.chosen.tier is Tier.DAC


def test_delays_along_the_path_add_up() -> None:
    path = ask(OPTICAL, inputs=("optical",), length_m=12).chosen
    assert path is not None
    assert path.delay_ms == pytest.approx(0.2)
