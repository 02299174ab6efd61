"""Lengths as typed, against a units library."""

from __future__ import annotations

import pytest

from kb.loop.units import length

pint = pytest.importorskip("pint")


@pytest.fixture(scope="module")
def units():
    return pint.UnitRegistry()


@pytest.mark.parametrize(
    ("typed", "parts"),
    [
        ("5.2", [(5.2, "meter")]),
        ("5.2m", [(5.2, "meter")]),
        ("5,2 m", [(5.2, "meter")]),
        ("520 cm", [(520, "centimeter")]),
        ("5200mm", [(5200, "millimeter")]),
        ("17ft", [(17, "foot")]),
        ("17'", [(17, "foot")]),
        ("17' 6\"", [(17, "foot"), (6, "inch")]),
        ("17’6½”", [(17, "foot"), (6.5, "inch")]),
        ("17ft 6in", [(17, "foot"), (6, "inch")]),
        ("17 feet 6 inches", [(17, "foot"), (6, "inch")]),
        ("17' 6", [(17, "foot"), (6, "inch")]),
        ("36 1/2 in", [(36.5, "inch")]),
        ('36-1/2"', [(36.5, "inch")]),
        ("17.5 ft", [(17.5, "foot")]),
    ],
)
def test_a_length_is_what_the_units_library_makes_of_it(typed, parts, units):
    expected = sum(units.Quantity(value, unit).to("meter").magnitude for value, unit in parts)
    assert length(typed) == pytest.approx(expected, rel=1e-12)
