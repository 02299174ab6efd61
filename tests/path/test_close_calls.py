"""Two ways of nearly the same worth: which one is chosen, and by how much."""

from __future__ import annotations

import pytest

from kb.domain.words import Format
from kb.path import connect
from kb.path.chance import Chance
from tests.path.panels import COAXIAL, OPTICAL, panel

#: All of it to hand: neither way costs more items than the other.
STOCK = (
    "decoding DAC",
    "optical cable 2 m",
    "coaxial digital cable 2 m",
    "RCA pair to 3.5 mm cable 2 m",
)


@pytest.mark.parametrize(("p", "first"), [(0.68, "coaxial"), (0.66, "optical")])
def test_a_bitstream_that_surely_comes_is_worth_pcm_at_a_risk_of_a_quarter_trip_more(
    p: float, first: str
) -> None:
    """0.95 against 0.67, with items of which nine in ten work, is a quarter of a second trip."""
    seen = panel({**OPTICAL, "format": "bitstream"}, {**COAXIAL, "format": "selectable"})
    answer = connect(
        seen,
        ["line-3.5"],
        have=STOCK,
        chance=lambda one: Chance(0.95 if one.jack.format is Format.BITSTREAM else p, 0, 1, 4),
    )
    assert answer.chosen is not None
    assert answer.chosen.signal.value == first


def test_of_a_doubtful_output_the_dac_goes_before_a_converter_to_buy_though_it_takes_more_items() -> None:
    often_silent = panel({**OPTICAL, "outcome": "carried"})
    answer = connect(often_silent, ["mic", "coaxial"], chance=lambda _: Chance(0.3, 0, 1, 9))
    assert answer.chosen is not None
    assert answer.chosen.items == (
        *("optical cable 2 m", "DAC", "RCA pair to 3.5 mm cable 2 m"),
        *("mono-summing pad", "attenuator"),
    )
    assert [one.items for one in answer.others] == [
        ("optical cable 2 m", "optical to coaxial converter", "coaxial digital cable 2 m")
    ]
    at_hand = connect(
        often_silent,
        ["mic", "coaxial"],
        have=["optical to coaxial converter"],
        chance=lambda _: Chance(0.3, 0, 1, 9),
    )
    assert at_hand.chosen is not None
    assert at_hand.chosen.input.value == "coaxial"
