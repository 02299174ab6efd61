"""Line levels as typed, against a units library and the published conventions."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kb.base.errors import BadInput
from kb.loop.input_level import DBU_V, OVERLOAD_V, dbu, dbv, margin_db, show_level, voltage

pint = pytest.importorskip("pint")


@pytest.fixture(scope="module")
def units():
    registry = pint.UnitRegistry(autoconvert_offset_to_baseunit=True)
    registry.define("levelV = 1 volt; logbase: 10; logfactor: 20")
    registry.define("levelU = 0.7745966692414834 volt; logbase: 10; logfactor: 20")
    return registry


@pytest.mark.parametrize("decibels", [-60.0, -10.0, -7.8, 0.0, 4.0, 6.0, 18.0])
@pytest.mark.parametrize(("sign", "unit", "back"), [("dBV", "levelV", dbv), ("dBu", "levelU", dbu)])
def test_a_level_in_decibels_is_what_the_units_library_makes_of_it(units, decibels, sign, unit, back):
    volts = voltage(f"{decibels} {sign}")
    assert volts == pytest.approx(units.Quantity(decibels, unit).to("volt").magnitude, rel=1e-9)
    assert back(volts) == pytest.approx(decibels, abs=1e-9)


@pytest.mark.parametrize(
    ("typed", "volts"),
    [
        ("0 dBV", 1.0),  # definition
        ("0 dBu", 0.774597),  # 1 mW in 600 ohm
        ("-10 dBV", 0.316228),  # consumer nominal
        ("+4 dBu", 1.22765),  # professional nominal
        ("0.5 V", 0.5),  # line reference, IEC 61938 (as summarised): -6 dBV
        ("150 mV", 0.15),  # portable player at its loudest, EN 50332-2
        ("2", 2.0),
        ("-10dbv", 0.316228),
        ("−10 dBV", 0.316228),
        ("0,5 V", 0.5),
    ],
)
def test_the_usual_levels_have_their_published_voltages(typed, volts):
    assert voltage(typed) == pytest.approx(volts, rel=5e-6)


def test_the_two_nominal_levels_are_11_8_db_apart_and_not_14():
    assert margin_db(voltage("+4 dBu"), voltage("-10 dBV")) == pytest.approx(11.782, abs=5e-4)


def test_full_scale_lies_6_db_above_0_dbv_and_12_db_above_the_line_reference():
    # 2 V r.m.s.: full scale of a consumer player; 0.5 V: IEC 61938 (as summarised)
    assert dbv(2.0) == pytest.approx(6.021, abs=5e-4)
    assert margin_db(2.0, 0.5) == pytest.approx(12.041, abs=5e-4)
    assert dbv(0.5) == pytest.approx(-6.02, abs=5e-3)
    assert OVERLOAD_V == 2.8


def test_0_dbu_is_a_milliwatt_in_600_ohm():
    assert pytest.approx(1e-3, rel=1e-12) == DBU_V**2 / 600


@given(st.floats(1e-4, 50))
def test_decibels_and_volts_go_there_and_back(volts):
    assert voltage(f"{dbv(volts):.9f} dBV") == pytest.approx(volts, rel=1e-6)
    assert dbv(volts) - dbu(volts) == pytest.approx(20 * math.log10(DBU_V), abs=1e-9)
    assert show_level(volts).count("dB") == 2


@pytest.mark.parametrize(
    "typed", ["", "loud", "5 A", "-3 V", "0", "1e3 V", "nan", "99999 dBV", "-9999 dBu", "4 dB"]
)
def test_what_is_no_line_level_is_refused_by_name(typed):
    with pytest.raises(BadInput, match="--source-level"):
        voltage(typed, "--source-level")
