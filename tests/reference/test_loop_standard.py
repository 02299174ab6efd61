"""The check values of IEC 60118-4 and IEC 62489-1, row by row.

All of them are second-hand: read in public copies of the two standards (BS EN 60118-4:2015 with
Amendment 1:2017, BS EN 62489-1:2010+A1:2015), never in the standards themselves. Beside each row stand its
number in our notes and the clause. "calc" is arithmetic on copied numbers.
"""

from __future__ import annotations

import math

import pytest

from kb.domain.driver import DriverLimits
from kb.domain.plate import Plate
from kb.loop.driver import fit
from kb.loop.field import field_a_per_m, vertical_h
from kb.loop.geometry import Loop
from kb.loop.readings_file import readings_from
from kb.loop.standard import (
    CALM_DB,
    LevelMeter,
    PlayedSignal,
    Programme,
    SiteNoise,
    overload_current_a,
    overload_voltage_v,
    site_noise,
    target_db,
)
from kb.loop.verdict import judge
from kb.loop.wire import Load, Wire, inductance, wire_from

# -- readings, judged


def judged(levels=(0.0,), response=(0.0, 0.0, 0.0), noise=((-55.0, -50.0),), **more):
    """A judgement: field and response at every place, noise (driver off, driver on) at the first of them.

    All but what a row changes is in order.
    """
    places = []
    for number, level in enumerate(levels):
        row = {"name": f"p{number}", "field_db": level}
        one = (
            response[number]
            if isinstance(response, tuple) and isinstance(response[0], (dict, tuple))
            else response
        )
        row["response_db"] = (
            one if isinstance(one, dict) else dict(zip(("100", "1000", "5000"), one, strict=True))
        )
        if number < len(noise):
            row["noise_off_dba"], row["noise_on_dba"] = noise[number]
        places.append(row)
    return judge(readings_from({"positions": places, **more}))


def state(judgement):
    """``meets``, ``falls short`` or ``not proved``."""
    return "falls short" if judgement.failed else "not proved" if judgement.incomplete else "meets"


FIELDS = [
    # row, clause, levels, target, expected
    ("S06", "8.4.3", (3, 0), 0, "meets"),
    ("S06", "8.4.3", (-3, 0), 0, "meets"),
    ("S07", "8.4.3", (3.01, 0), 0, "falls short"),
    ("S07", "8.4.3", (-3.01, 0), 0, "falls short"),
    ("S08", "8.2.7", (-3, 0), 0, "meets"),
    ("S09", "8.2.7", (-3, -0.01), 0, "falls short"),
    ("S09", "8.2.7", (-3, -2.5, -0.01), 0, "falls short"),
    ("S10", "Table 3", (-9, -6), -6, "meets"),
    ("S11", "Table 3", (-9, -6.01), -6, "falls short"),
    ("S11", "Table 3", (-8.5, -6.5), -6, "falls short"),
    ("S12", "8.4.3", (-8.9, -2.9), -5.9, "meets"),
]


@pytest.mark.parametrize(("row", "clause", "levels", "target", "expected"), FIELDS)
def test_the_field_at_every_place_and_somewhere_at_its_full_level(row, clause, levels, target, expected):
    how = {"signal": "pink", "meter": "rms"} if target == -6 else {"target_db": target} if target else {}
    judgement = judged(levels, **how)
    assert state(judgement) == expected
    if row == "S09":
        assert judgement.failed == ("400 mA/m reached",)
        (reached,) = [each for each in judgement.checks if each.code == "field-reached"]
        assert reached.value == pytest.approx(-0.01)  # the margin, as a reading against 0 dB
        assert clause in reached.source
    if row == "S07":
        assert "8.4.3" in next(each for each in judgement.checks if each.code == "field").source
    assert all("second-hand" in each.source for each in judgement.checks if "IEC 60118-4" in each.source)


RESPONSES = [
    ("S13", {"50": -20, "100": -3, "1000": 0, "5000": 3, "8000": -20}, "meets"),
    ("S14", {"100": -3.01, "1000": 0, "5000": 0}, "falls short"),
    ("S14", {"100": 0, "1000": 0, "5000": 3.01}, "falls short"),
    ("S15", {"100": -18.6, "1000": -15.6, "5000": -15.6}, "meets"),
    ("S15", {"100": -34.7, "1000": -34.7, "5000": -31.7}, "meets"),
    ("S17", {"125": 0, "1000": 0, "5000": 0}, "not proved"),
    ("8.3.4", {"100": 0, "1000": 0, "2000": -4, "5000": 0}, "falls short"),
    ("8.3.4", {"100": 0, "2000": 0, "5000": 0}, "not proved"),
]


@pytest.mark.parametrize(("row", "response", "expected"), RESPONSES)
def test_the_response_against_its_own_1_khz_from_100_hz_to_5_khz(row, response, expected):
    # 8.3.3, 8.3.4, 8.3.7
    assert state(judged(response=response)) == expected


def test_each_place_has_its_own_1_khz():
    # S16, 8.3.7
    assert state(judged((0, 0), response=((10, 12, 9), (-5, -5, -8)))) == "meets"
    assert state(judged((0, 0), response=((10, 12, 9), (-5, -5, -8.1)))) == "falls short"


def test_a_place_without_a_response_leaves_the_response_unproved():
    # 8.3.7: at every selected point
    assert state(judged((0, 0), response=({"100": 0, "1000": 0, "5000": 0}, {}))) == "not proved"


SITES = [
    (-47.01, False, SiteNoise.IDEAL, False),
    (-47, False, SiteNoise.ACCEPTABLE, False),
    (-32, False, SiteNoise.ACCEPTABLE, False),
    (-31.99, False, SiteNoise.SHORT_PERIODS, True),
    (-22, False, SiteNoise.SHORT_PERIODS, True),
    (-21.99, False, SiteNoise.NOT_TOLERABLE, True),
    (-25, True, SiteNoise.NOT_TOLERABLE, True),  # S19: a marked tone
]


@pytest.mark.parametrize(("level", "tonal", "expected", "report"), SITES)
def test_noise_of_the_site_has_classes_and_only_asks_for_a_report(level, tonal, expected, report):
    # S18, S19, 7.2
    assert site_noise(level, tonal=tonal) is expected
    assert expected.report is report


def test_noise_of_the_site_does_not_decide_the_verdict():
    # S20, 7.2
    judgement = judged(noise=((-20, -20),))
    assert state(judgement) == "meets"
    (found,) = [each for each in judgement.checks if each.code == "noise-off"]
    assert not found.required
    assert found.ok is False


SYSTEMS = [
    ("S21", ((-55, -47),), "meets"),
    ("S21", ((-55, -46.99),), "falls short"),
    ("S22", ((-40, -39),), "meets"),
    ("S22", ((-40, -38.99),), "falls short"),
    ("S23", ((-32.7, -31.7),), "meets"),
    ("S24", ((-40, -39), (-45, -43.9)), "falls short"),
    ("S25", ((-55, -47), (-50, -48)), "meets"),
    ("S26", ((-47, -46),), "meets"),
    # the readings of our notes, section 16
    ("16", ((-55, -40),), "falls short"),
    ("16", ((-40, -35),), "falls short"),
    ("16", ((-30, -29.5),), "meets"),
    ("16", ((-25, -25),), "meets"),
]


@pytest.mark.parametrize(("row", "noise", "expected"), SYSTEMS)
def test_noise_with_the_driver_on_is_judged_place_by_place_against_off(row, noise, expected):
    # 10.4.7
    judgement = judged(tuple(0.0 for _ in noise), noise=noise)
    assert state(judgement) == expected
    if row == "S24":
        assert judgement.failed == ("noise, driver on, at p1",)


def test_noise_with_the_driver_on_cannot_be_judged_without_off():
    # 10.4.7
    data = {"positions": [{"name": "a", "field_db": 0, "response_db": {"100": 0, "1000": 0, "5000": 0},
                           "noise_on_dba": -60}]}  # fmt: skip
    assert judge(readings_from(data)).incomplete == ("noise, driver on, at a",)


# -- small volumes


def counter(levels, *, heights=(1.2, 1.45, 1.7), stand=(0.0,), use="counter"):
    places = [
        {
            "name": f"{height} m, {number}",
            "height_m": height,
            "field_db": level,
            "response_db": {"100": 0, "1000": 0, "5000": 0},
        }
        for height, row in zip(heights, levels, strict=True)
        for number, level in enumerate(row)
    ]
    places += [
        {"name": f"standing {n}", "standing": True, "field_db": level} for n, level in enumerate(stand)
    ]
    noise = {"driver_off_dba": -55, "driver_on_dba": -50}
    return judge(readings_from({"use": use, "positions": places, "noise": noise}))


def test_a_counter_may_differ_by_6_db():
    # S27, 9.5
    assert state(counter([(-6, 0, 6)] * 3)) == "meets"


@pytest.mark.parametrize(
    ("levels", "stand"),
    [([(-6, 0, 6.01)] * 3, (0,)), ([(-0.01,) * 3] * 3, (0,)), ([(-6, 0, 6)] * 3, (8.01,))],
)
def test_a_counter_falls_short(levels, stand):
    # S28, 9.5
    assert state(counter(levels, stand=stand)) == "falls short"


def test_people_may_stand_at_8_db():
    # S29, 9.5
    assert state(counter([(-6, 0, 6)] * 3, stand=(8,))) == "meets"


def test_a_counter_that_is_too_strong_only_where_people_stand():
    # S30, 9.5
    rows = [(5.1, 4.2, 5.3), (2.0, 1.1, 2.2), (-2.9, -3.8, -2.7)]
    judgement = counter(rows, stand=(6.5, 7.9, 9.2))
    (bad,) = [each for each in judgement.checks if each.ok is False and each.required]
    assert bad.code == "standing"
    assert bad.value - 8 == pytest.approx(1.2, abs=0.01)


def test_a_counter_is_not_proved_without_all_its_heights():
    # S31, 9.3 and 9.4: a null may lie at the middle height
    assert state(counter([(0, 0, 0)] * 2, heights=(1.2, 1.7))) == "not proved"
    # 9.2: a refuge has two heights with six points each
    assert state(counter([(0,) * 6] * 2, heights=(1.2, 1.7), use="refuge")) == "meets"
    assert state(counter([(0,) * 6, (0,) * 5], heights=(1.2, 1.7), use="refuge")) == "not proved"


# -- levels and signals


def test_levels():
    assert 20 * math.log10(0.4 / 0.4) == pytest.approx(0, abs=1e-12)  # S01, 3.1
    assert field_a_per_m(0) == 0.4
    assert 20 * math.log10(0.1 / 0.4) == pytest.approx(-12, abs=0.05)  # S02, 4.3
    assert 1000 * field_a_per_m(-3) == pytest.approx(283, abs=0.5)  # S03, 10.2
    assert 1000 * field_a_per_m(3) == pytest.approx(566, abs=1.0)  # S04, 10.2
    for level, field in ((-47, 1.7867), (-32, 10.0475), (-22, 31.7731)):  # S05, 7.2
        assert 1000 * field_a_per_m(level) == pytest.approx(field, abs=5e-4)


def test_what_a_right_system_reads_by_signal_and_meter():
    # Table 3
    expected = {
        PlayedSignal.SINE: (0, 0),
        PlayedSignal.PINK: (-6, 0),
        PlayedSignal.SPEECH: (0, 0),
        PlayedSignal.COMBI: (0, 0),
    }
    for signal, (rms, programme) in expected.items():
        assert target_db(signal, LevelMeter.RMS) == rms
        assert target_db(signal, LevelMeter.PROGRAMME) == programme


# -- the driver's overload test


def test_the_overload_test_is_7_db_below_the_current_at_the_frequency_of_the_programme():
    # S32, 10.3.2
    assert overload_current_a(3) == pytest.approx(3 * 10 ** (-7 / 20), rel=1e-12)
    assert overload_current_a(3) == pytest.approx(1.3401, abs=1e-4)
    # Table 4
    assert [each.test_hz for each in (Programme.SHORT, Programme.SPEECH, Programme.MUSIC)] == [
        2500,
        3150,
        4000,
    ]
    assert CALM_DB == 7


@pytest.mark.parametrize(
    ("row", "load", "current", "programme", "volts"),
    [
        ("S35", Load(2.0, 109e-6), 1.0, Programme.SHORT, 1.17602),
        ("S36", Load(0.69, 109e-6), 3.0, Programme.SPEECH, 3.03520),
        ("S36", Load(0.69, 109e-6), 3.0, Programme.MUSIC, 3.78568),
    ],
)
def test_the_voltage_of_the_overload_test(row, load, current, programme, volts):
    # 10.3.3
    assert overload_voltage_v(load, current, programme) == pytest.approx(volts, abs=1e-5)
    if row == "S35":  # the only one of the three where 1 kHz asks for more: there 1 A, here 0.45 A
        assert load.voltage(current, 1000) > volts
    else:
        enough = max(volts, load.voltage(current, 1000))
        assert fit(DriverLimits("d", current, enough * 1.0001), load, current, programme=programme).fits


def test_a_driver_that_clips_at_the_frequency_of_table_4_does_not_fit():
    # S36, 10.3.3: 1 kHz asks for 2.92 V, 4 kHz for 3.79 V
    load = Load(0.69, 109e-6)
    short = fit(DriverLimits("d", 3, 3.78), load, 3.0, programme=Programme.MUSIC)
    assert [each.code for each in short.reasons] == ["voltage"]
    assert "4 kHz" in short.reasons[0].text
    assert fit(DriverLimits("d", 3, 3.79), load, 3.0, programme=Programme.MUSIC).fits


def test_a_place_of_worship_with_a_plate_of_10_a_and_10_v_passes():
    # section 16 of our notes: 6.1 V at 3.15 kHz with the printed 109 uH, 7.6 V at 4 kHz
    load = Load(0.69, 109e-6)
    need = 400e-3 / vertical_h(Loop.rectangle(20, 10), (10, 5, 1.4))
    assert overload_voltage_v(load, need, Programme.SPEECH) == pytest.approx(6.1, abs=0.05)
    assert overload_voltage_v(load, need, Programme.MUSIC) == pytest.approx(7.6, abs=0.05)
    assert fit(DriverLimits("hall", 10, 10), load, need, programme=Programme.MUSIC).fits


@pytest.mark.parametrize(("peaks", "volts"), [((14, 14), 9.8995), ((12, 8), 7.0711)])
def test_the_compliance_voltage_of_peaks(peaks, volts):
    # S64, 62489-1, 5.4.8.2: both peaks averaged, over root 2
    assert Plate.PEAK.rms(sum(peaks) / 2) == pytest.approx(volts, abs=1e-4)


# -- fields


def test_fields_of_annex_e():
    assert vertical_h(Loop.rectangle(5, 5), (2.5, 2.5, 0)) * 3 == pytest.approx(
        0.540190, rel=2e-6
    )  # S46, E.1
    assert vertical_h(Loop.rectangle(15, 10), (7.5, 5, 0)) * 3 == pytest.approx(0.229537, abs=1e-5)  # S47


@pytest.mark.parametrize(("side", "amperes"), [(10, 4.89), (15, 5.64), (20, 6.04), (30, 6.41), (50, 6.63)])
def test_the_currents_of_figure_h_1(side, amperes):
    # S48: 10 m wide, 1.4 m above the centre
    loop = Loop.rectangle(side, 10)
    assert 0.4 / vertical_h(loop, (side / 2, 5, 1.4)) == pytest.approx(amperes, abs=0.03)


def test_currents_and_lengths_at_1_4_m():
    three = Loop.rectangle(6, 2, turns=3)
    assert 0.4 / vertical_h(three, (3, 1, 1.4)) == pytest.approx(1.125372, abs=1e-6)  # S49, 5.4.10.2
    for a, b in ((10.289, 10.289), (7.370, 22.109)):  # S50, 5.4.11
        assert 0.4 / vertical_h(Loop.rectangle(a, b), (a / 2, b / 2, 1.4)) == pytest.approx(5, abs=0.02)
    room = Loop.rectangle(14, 10)
    current = 0.4 / vertical_h(room, (7, 5, 1.2))
    assert current == pytest.approx(5.41, abs=0.01)  # S51
    assert vertical_h(room, (7, 5 + 5.22, 1.2)) > 0 > vertical_h(room, (7, 5 + 5.28, 1.2))
    for across, inside in ((4.72, True), (4.78, False)):
        level = 20 * math.log10(vertical_h(room, (7, 5 + across, 1.2)) * current / 0.4)
        assert (level >= -3) is inside


def test_levels_across_a_loop_of_10_m():
    # S52, Fig. E.2 b): vertical part, re the centre in the loop's own plane
    loop = Loop.rectangle(15, 10)
    plane = vertical_h(loop, (7.5, 5, 0))
    for share, printed in ((0.125, 1.7), (0.5, -0.8)):
        level = 20 * math.log10(vertical_h(loop, (7.5, 10 * share, 1.2)) / plane)
        assert level == pytest.approx(printed, abs=0.5)


def test_the_horizontal_part_across_the_room_is_that_of_the_figure():
    # S53, Fig. E.2 b): 15 x 10 m, 1.2 m above, across the 10 m; tolerance 0.5 dB, computed +4.21 and -14.72.
    # The code asks for the upright part alone. Two frames that lean 45 degrees either way have both parts.
    half = math.sqrt(0.5)

    def upright(point, lean):
        def leaning(x, y, z):
            return x, half * (y + lean * z), half * (z - lean * y)

        corners = tuple(leaning(*spot) for spot in ((0, 0, 0), (15, 0, 0), (15, 10, 0), (0, 10, 0)))
        return vertical_h(Loop(corners), leaning(*point))

    centre = vertical_h(Loop.rectangle(15, 10), (7.5, 5, 0))
    for share, level in ((0.025, 4.21), (0.30, -14.72)):
        one, other = (upright((7.5, 10 * share, 1.2), lean) for lean in (1, -1))
        # each is (upright -+ horizontal) / root 2
        assert half * (one + other) == pytest.approx(
            vertical_h(Loop.rectangle(15, 10), (7.5, 10 * share, 1.2)), rel=1e-9
        )
        horizontal = abs(half * (one - other))
        assert 20 * math.log10(horizontal / centre) == pytest.approx(level, abs=0.01)


# -- the loop as a load


def test_corner_frequency():
    # S55, E.3
    load = Load(0.69, 109e-6)
    corner = load.resistance / (2 * math.pi * load.inductance)
    assert corner == pytest.approx(1007.49, abs=0.01)
    assert load.impedance(corner) / load.resistance == pytest.approx(1.4, abs=0.015)


LOOPS = {
    # Table B.1: sides m, turns, mm2, ohm, uH, ohm at 2 kHz, ohm at 5 kHz
    "counter": (0.35, 0.45, 10, 0.75, 0.37, 189, 2.41, 5.96),
    "home": (3, 4, 1, 1.0, 0.24, 22, 0.37, 0.74),
    "small room": (6, 8, 1, 1.5, 0.32, 47, 0.67, 1.52),
    "worship, typical": (10, 20, 1, 1.5, 0.69, 109, 1.54, 3.50),
    "worship, large": (15, 40, 1, 2.5, 0.76, 218, 2.85, 6.89),
}


@pytest.mark.parametrize("name", LOOPS)
def test_the_loads_of_table_b_1(name):
    a, b, turns, area, ohm, microhenry, at_2_khz, at_5_khz = LOOPS[name]
    wire = wire_from(f"{area} mm2")
    loop = Loop.rectangle(a, b)
    assert turns * loop.perimeter * wire.resistance_per_m() == pytest.approx(ohm, abs=0.005)  # S57
    printed = Load(ohm, microhenry * 1e-6)
    assert printed.impedance(2000) == pytest.approx(at_2_khz, abs=0.013)  # S61
    assert printed.impedance(5000) == pytest.approx(at_5_khz, abs=0.021)
    # S58 to S60: ours has the flux inside the wire, 0.05 uH a metre, which the printed ones leave out; the
    # printed one of ten turns is a hundred times one turn, as if all turns lay inside each other
    if name != "worship, large":
        ours = turns**2 * 1e6 * inductance(loop, wire)
        assert ours - turns**2 * 0.05 * loop.perimeter == pytest.approx(microhenry, abs=0.5)


def test_ten_turns_do_not_lie_inside_each_other():
    # S60 and our notes: Table B.1 prints 189 uH for the counter's ten turns, perfect coupling
    real = 1e6 * inductance(Loop.rectangle(0.35, 0.45, turns=10), Wire("0.75 mm2", 0.75e-6))
    assert 100 < real < 189
