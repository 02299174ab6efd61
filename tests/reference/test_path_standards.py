"""The catalogue's numbers against published standards; what is from memory or common practice says so."""

from __future__ import annotations

import math
from pathlib import Path

import pytest
from scipy import stats

from kb.catalogue import Carried, catalogue
from kb.domain.jack import Jack
from kb.domain.panel import PanelJack
from kb.domain.words import DriverInput, Form, Outcome, Signal
from kb.path.chance import own_chance

number = catalogue().number


def test_coaxial_levels_are_those_of_iec_60958_3() -> None:
    """0.5 V peak to peak, 20 % either way, into 75 ohm; a receiver reads 0.2 V."""
    assert number("coaxial-output-least") == pytest.approx(0.5 * 0.8)
    assert number("coaxial-output-most") == pytest.approx(0.5 * 1.2)
    assert number("coaxial-input-least") == 0.2
    assert number("coaxial-impedance") == 75
    # A transmitter at its least leaves 6 dB for cable and joints.
    margin = 20 * math.log10(number("coaxial-output-least") / number("coaxial-input-least"))
    assert margin == pytest.approx(6.02, abs=0.01)


def test_the_data_rate_is_that_of_iec_60958_1() -> None:
    """A stereo frame has 2 subframes of 32 bits; at 48 kHz the shortest biphase-mark pulse is 162.76 ns."""
    assert number("spdif-rate-48k") == pytest.approx(2 * 32 * 48_000 / 1e6)
    assert 1e3 / (2 * number("spdif-rate-48k")) == pytest.approx(162.76, abs=0.01)


def test_fibre_lengths_keep_the_power_budget() -> None:
    """Usual length: within the budget of a -21 dBm sender and a -24 dBm receiver (JEITA RC-5720 class,
    from memory) with 1 dB in hand at 0.4 dB/m (IEC 60793-2-40, A4a, most). Longest: within the whole
    budget in good fibre, 0.18 dB/m (handbook value, from memory)."""
    reach = catalogue().reaches[Signal.OPTICAL]
    budget, worst = number("fibre-budget"), number("fibre-attenuation-most")
    assert budget == -21 - -24
    assert reach.usual_m == pytest.approx((budget - 1) / worst)
    assert reach.longest_m <= budget / 0.18
    assert (reach.usual_m, reach.longest_m) == (5, 10)  # encyclopedic page on the connector


def test_behind_a_splitter_the_fibre_keeps_the_power_budget() -> None:
    """A sender in the middle of -21 to -15 dBm (JEITA RC-5720 class, from memory), less what is kept in hand
    and what the splitter takes, in fibre of 0.4 dB/m: two metres and a half. The least sender of the class
    has nothing left at all, hence the splitter's chance below 1."""
    splitter = catalogue().item("optical splitter")
    usual = (-21 - 15) / 2 - -24
    assert number("fibre-budget-usual") == usual
    left_db = usual - number("fibre-in-hand") - splitter.loss_db
    allowed = left_db / number("fibre-attenuation-most")
    assert allowed == pytest.approx(2.5)
    assert splitter.counts_as_m == pytest.approx(catalogue().reaches[Signal.OPTICAL].longest_m - allowed)
    assert splitter.loss_db > number("fibre-budget")
    assert splitter.works < 1


def test_no_optical_cable_is_longer_than_plastic_fibre_goes() -> None:
    lengths = [item.length_m for item in catalogue().items if item.family.startswith("optical cable")]
    assert lengths == [1, 2, 3, 5, 10]
    assert max(lengths) <= catalogue().reaches[Signal.OPTICAL].longest_m


def test_a_passive_splitter_takes_half_the_light_and_a_little_more() -> None:
    loss = catalogue().item("optical splitter").loss_db
    assert 10 * math.log10(2) < loss < 10 * math.log10(2) + 1


def test_the_limits_of_delay_are_those_published() -> None:
    """ITU-R BT.1359-1: sound late noticed from 125 ms, not accepted beyond 185 ms; Wallach, Newman and
    Rosenzweig 1949: speech and music fuse up to 40 ms."""
    assert number("late-noticed") == 125
    assert number("late-limit") == 185
    assert number("echo-limit") == 40
    # Common practice: no converter is late enough to matter; Bluetooth is, by a tenth of a second and more.
    slow = [item.name for item in catalogue().items if item.delay_ms >= number("echo-limit")]
    assert slow == ["Bluetooth receiver", "Bluetooth transmitter"]
    assert catalogue().item("Bluetooth receiver").delay_ms >= 100


def test_a_long_analog_cable_keeps_the_treble() -> None:
    """IEC 61938 (as summarised): at most 2200 ohm drive the cable. Its capacitance is common practice."""
    reach = catalogue().reaches[Signal.ANALOG_LINE]
    farad = number("cable-capacitance") * 1e-12 * reach.longest_m
    corner = 1 / (2 * math.pi * number("line-output-impedance-most") * farad)
    assert corner > 20_000


def test_a_line_input_stands_the_full_scale_of_a_player() -> None:
    """IEC 61938 (as summarised): 2 V full scale, inputs overload at 2.8 V or more."""
    assert number("line-output-full-scale") < number("line-input-overload-least")


def test_a_line_output_of_the_highest_impedance_loses_less_than_a_decibel() -> None:
    """IEC 61938 (as summarised): 2200 ohm at most into 22 000 ohm at least."""
    source, load = number("line-output-impedance-most"), number("line-input-impedance-least")
    assert 20 * math.log10(load / (source + load)) == pytest.approx(-0.83, abs=0.01)


def test_the_loss_of_a_summing_pad_is_that_of_one_side_alone() -> None:
    assert catalogue().item("mono-summing pad").loss_db == pytest.approx(20 * math.log10(2), abs=0.03)


def test_line_level_is_taken_down_to_what_a_microphone_input_takes() -> None:
    """0.5 V line reference (IEC 61938) through pad and attenuator is a few millivolts (common practice)."""
    loss = catalogue().item("mono-summing pad").loss_db + catalogue().item("attenuator").loss_db
    assert 0.001 < 0.5 * 10 ** (-loss / 20) < 0.01
    assert catalogue().inputs[DriverInput.MIC].takes == {Carried.MIC}
    assert catalogue().inputs[DriverInput.MIC].mono


def test_speaker_level_meets_no_line_input_but_through_an_isolating_converter() -> None:
    takers = [i for i in catalogue().items if any(Carried.SPEAKER in near.takes for near in i.near)]
    turning = [i.name for i in takers if any(far.gives is not None for far in i.far)]
    assert turning == ["speaker-to-line converter"]
    wires = [i for i in takers if i.name not in turning]  # they end in loudspeaker terminals again
    assert {far.form for wire in wires for far in wire.far} == {Form.SPEAKER_TERMINALS}
    powered = {Carried.SPEAKER, Carried.CONSTANT_VOLTAGE}
    for one in catalogue().inputs.values():  # an input for power takes power alone
        assert not one.takes & powered or (len(one.takes) == 1 and one.form is Form.SPEAKER_TERMINALS)


def test_every_number_of_the_catalogue_has_a_source() -> None:
    known = catalogue()
    for item in known.items:
        assert {"cost", "weight_g", "price"} <= set(item.source)
        assert all(item.source.values())
    for one in [*known.reaches.values(), *known.numbers.values(), *known.priors.values()]:
        assert one.source
    assert set(known.priors) == set(Signal) - {Signal.NOT_AUDIO}


def test_each_form_that_carries_sound_can_be_met() -> None:
    """Every form with a usable signal has at least one item whose plug goes in."""
    met = {near.form for item in catalogue().items for near in item.near}
    assert set(Form) - met == {Form.D_SUB, Form.ANTENNA}  # "other" stands for sound in the air


def test_the_data_file_names_no_number_without_use_or_check() -> None:
    checked = Path(__file__).read_text(encoding="utf-8")
    package = Path(__file__).parents[2] / "kb"
    code = "".join(file.read_text(encoding="utf-8") for file in package.rglob("*.py"))
    tests = "".join(f.read_text(encoding="utf-8") for f in (package.parent / "tests/path").glob("*.py"))
    unused = [name for name in catalogue().numbers if name not in code + checked + tests]
    assert unused == []


@pytest.mark.parametrize(("carried", "silent"), [(0, 0), (8, 2), (0, 7), (40, 3)])
def test_the_interval_of_a_jack_is_wilsons_at_nine_in_ten(carried: int, silent: int) -> None:
    """By scipy's interval of a proportion; one success and one failure stand for what is not known before."""
    tried = PanelJack(Jack(Form.OTHER), outcomes=((Outcome.CARRIED, carried), (Outcome.SILENT, silent)))
    chance = own_chance(tried)
    wilson = stats.binomtest(1 + carried, 2 + carried + silent).proportion_ci(0.90, method="wilson")
    assert (chance.low, chance.high) == pytest.approx((wilson.low, wilson.high), abs=1e-4)
