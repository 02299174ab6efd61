"""Copper and inductance against ASTM B258, NBS, IEC 60228, Grover's formula and a numeric integral."""

from __future__ import annotations

import math
import random

import pytest

from kb.base.datafiles import data_tables
from kb.loop.geometry import Loop
from kb.loop.wire import (
    MU0_H_PER_M,
    Feed,
    Wire,
    awg,
    bundle_gmd,
    inductance,
    load,
    stock_from,
    wire_from,
)

integrate = pytest.importorskip("scipy.integrate")

# AWG: diameter in mm (ASTM B258 series), ohm/km at 20 C (1/58 ohm mm2/m, the basis of NBS Handbook 100),
# and ohm per 1000 ft as printed in a wire table (None: not in it)
COPPER = [
    (12, 2.0525, 5.2108, 1.588),
    (13, 1.8278, 6.5707, 2.003),
    (14, 1.6277, 8.2855, 2.525),
    (15, 1.4495, 10.448, 3.184),
    (16, 1.2908, 13.174, 4.016),
    (17, 1.1495, 16.613, 5.064),
    (18, 1.0237, 20.948, 6.385),
    (19, 0.9116, 26.415, 8.051),
    (20, 0.8118, 33.309, 10.15),
    (21, 0.7229, 42.002, None),
    (22, 0.6438, 52.963, 16.14),
    (23, 0.5733, 66.786, 20.36),
    (24, 0.5106, 84.215, 25.67),
]
# mm2: highest ohm/km at 20 C by IEC 60228, class 2 (stranded) and class 5 (flexible, plain)
IEC_60228 = [(0.5, 36.0, 39.0), (0.75, 24.5, 26.0), (1.0, 18.1, 19.5), (1.5, 12.1, 13.3), (2.5, 7.41, 7.98)]
# sides in m, wire, uH by Grover's formula (Inductance Calculations, ch. 8), by a Neumann integral, by flux
GROVER = [
    (4, 5, "awg18", 30.7663, 30.7666, 30.7627),
    (3, 3, "awg16", 19.0085, 19.0089, 19.0043),
    (6, 9, "awg14", 51.4033, 51.4038, 51.3975),
    (4, 5, "1.5mm2", 29.6859, 29.6863, 29.6812),
    (8, 10, "awg12", 61.5145, 61.5151, 61.5073),
    (5, 7, "awg20", 43.4464, 43.4466, 43.4434),
]


def rectangle_inductance(length: float, width: float, radius: float) -> float:
    """Return the inductance in H of one turn of round wire round a rectangle (all metres), at low frequency.

    L = 4e-7 * ((a+b) ln(2ab/r) - a ln(a+d) - b ln(b+d) + 2d - 7/4 (a+b)), d the diagonal (Grover,
    Inductance Calculations, ch. 8). For r much less than both sides.
    """
    a, b, d = length, width, math.hypot(length, width)
    return 4e-7 * (
        (a + b) * math.log(2 * a * b / radius)
        - a * math.log(a + d)
        - b * math.log(b + d)
        + 2 * d
        - 1.75 * (a + b)
    )


@pytest.mark.parametrize(("gauge", "diameter", "ohm_per_km", "ohm_per_1000_ft"), COPPER)
def test_a_gauge_has_the_diameter_of_astm_b258_and_the_resistance_of_the_copper_table(
    gauge, diameter, ohm_per_km, ohm_per_1000_ft
):
    wire = awg(gauge)
    assert 1000 * wire.diameter == pytest.approx(diameter, abs=5.1e-5)
    assert 1000 * wire.resistance_per_m() == pytest.approx(ohm_per_km, rel=5e-5)
    if ohm_per_1000_ft:
        assert 304.8 * wire.resistance_per_m() == pytest.approx(ohm_per_1000_ft, rel=1e-3)


def test_the_ends_of_the_astm_series_are_its_two_defining_sizes():
    # AWG 36 is 0.005 in by definition, and AWG 0 lies 36 of 39 steps of the 92nd root above it: 0.3249 in
    assert awg(36).diameter == pytest.approx(0.005 * 0.0254, rel=1e-12)
    assert awg(0).diameter / 0.0254 == pytest.approx(0.3249, abs=5e-5)


@pytest.mark.parametrize(("area", "class_2", "class_5"), IEC_60228)
def test_pure_copper_lies_below_the_limits_of_iec_60228_by_no_more_than_a_sixth(area, class_2, class_5):
    ohm_per_km = 1000 * wire_from(f"{area}mm2").resistance_per_m()
    assert ohm_per_km == pytest.approx(1000 / 58 / area)
    assert ohm_per_km < class_2 < class_5 < ohm_per_km * 7 / 6


@pytest.mark.parametrize(("area", "class_5"), [(area, class_5) for area, _, class_5 in IEC_60228])
def test_the_stock_carries_the_limits_of_iec_60228_class_5(area, class_5):
    stock = {each.wire.label: each for each in stock_from(data_tables("wire.toml"))}
    assert stock[f"{area:g} mm2"].max_ohm_per_km == class_5
    assert "IEC 60228" in stock[f"{area:g} mm2"].source


def test_copper_at_60_c_has_the_handbook_s_resistance():
    # alpha 0.00393 a kelvin at 20 C (IEC 60028; NBS Handbook 100)
    assert awg(18).resistance_per_m(60) / awg(18).resistance_per_m(20) == pytest.approx(1.1572, abs=5e-5)


@pytest.mark.parametrize(("a", "b", "name", "grover", "neumann", "flux"), GROVER)
def test_the_inductance_of_a_rectangle_is_that_of_grover(a, b, name, grover, neumann, flux):
    wire = wire_from(name)
    assert 1e6 * rectangle_inductance(a, b, wire.radius) == pytest.approx(grover, abs=6e-5)
    for other in (grover, neumann, flux):
        assert 1e6 * inductance(Loop.rectangle(a, b), wire) == pytest.approx(other, rel=1e-3)


@pytest.mark.parametrize(
    ("turns", "gmd_mm", "summed"), [(2, 0.998, 109.8509), (3, 1.356, 237.2521), (4, 1.723, 407.9831)]
)
def test_turns_side_by_side_have_less_than_n_squared_times_one_turn(turns, gmd_mm, summed):
    # 4 x 5 m, AWG 18, centres 2.5 mm apart; sums of self and mutual Neumann integrals (scipy quad)
    wound = Loop.rectangle(4, 5, turns=turns)
    assert 1000 * bundle_gmd(awg(18), turns, 2.5e-3) == pytest.approx(gmd_mm, abs=5e-4)
    assert 1e6 * inductance(wound, awg(18), 2.5e-3) == pytest.approx(summed, rel=2e-4)
    assert inductance(wound, awg(18), 2.5e-3) < turns**2 * inductance(Loop.rectangle(4, 5), awg(18))


def test_a_polygon_of_many_sides_has_the_inductance_of_the_circle():
    # mu0 R (ln(8R/r) - 7/4) = 27.719 uH for R = 2.5 m and AWG 18 (Grover; NBS)
    circle = MU0_H_PER_M * 2.5 * (math.log(8 * 2.5 / awg(18).radius) - 1.75)
    assert 1e6 * circle == pytest.approx(27.719, abs=5e-4)
    turns = [2 * math.pi * corner / 120 for corner in range(120)]
    ring = Loop(tuple((2.5 * math.cos(angle), 2.5 * math.sin(angle), 0.0) for angle in turns))
    assert inductance(ring, awg(18)) == pytest.approx(circle, rel=1e-3)


def coaxial(a: float, b: float, apart: float) -> float:
    """Mutual inductance of two coaxial circles in H: Maxwell's formula with elliptic integrals."""
    special = pytest.importorskip("scipy.special")
    squared = 4 * a * b / ((a + b) ** 2 + apart**2)
    k = math.sqrt(squared)
    first, second = float(special.ellipk(squared)), float(special.ellipe(squared))
    return MU0_H_PER_M * math.sqrt(a * b) * ((2 / k - k) * first - 2 / k * second)


@pytest.mark.parametrize(
    ("diameter", "turns", "name", "spacing"),
    [(0.22, 10, "0.5mm2", None), (0.22, 60, "awg32", None), (0.4, 12, "awg18", 3e-3),
     (0.4, 40, "awg22", None), (0.3, 100, "awg30", None), (1.0, 25, "awg18", 5e-3)],
)  # fmt: skip
def test_a_pad_of_many_turns_has_the_inductance_of_its_turns_added_one_by_one(diameter, turns, name, spacing):
    wire = wire_from(name)
    gap = spacing or wire.spacing
    # a heap of touching rounds, laid out here by itself: rows of a triangular lattice, the nearest first
    lattice = sorted(
        (math.hypot(i + j / 2, j * math.sqrt(0.75)), (i + j / 2) * gap, j * math.sqrt(0.75) * gap)
        for i in range(-12, 13)
        for j in range(-12, 13)
    )[:turns]
    middle = sum(out for _, out, _ in lattice) / turns
    rings = [(diameter / 2 + out - middle, up) for _, out, up in lattice]
    total = sum(MU0_H_PER_M * radius * (math.log(8 * radius / wire.radius) - 1.75) for radius, _ in rings)
    total += sum(
        coaxial(one, other, up - down)
        for at, (one, up) in enumerate(rings)
        for number, (other, down) in enumerate(rings)
        if at != number
    )
    found = inductance(Loop.ring(diameter, turns=turns), wire, spacing)
    assert found == pytest.approx(total, rel=3e-3)
    # perfect coupling, as the printed Table B.1 of IEC 62489-1 takes it, is never reached
    assert found < 0.75 * turns**2 * inductance(Loop.ring(diameter), wire)


def numeric_inductance(loop: Loop, wire: Wire) -> float:
    """Neumann's double integral with the filament at the wire's own mean distance, done numerically.

    The inner integral is the potential of a straight line of charge, a textbook form; the outer is scipy's.
    """
    gmd = wire.radius * math.exp(-0.25)
    total = 0.0
    for one in loop.sides:
        for other in loop.sides:
            (ax, ay, _), (bx, by, _) = one
            (cx, cy, _), (dx, dy, _) = other
            m, n = math.dist(*one), math.dist(*other)
            ux, uy, vx, vy = (bx - ax) / m, (by - ay) / m, (dx - cx) / n, (dy - cy) / n

            def potential(s, at=(ax, ay, ux, uy, cx, cy, vx, vy, n)):
                x0, y0, dx_, dy_, px, py, qx, qy, long = at
                x, y = x0 + s * dx_ - px, y0 + s * dy_ - py
                along = x * qx + y * qy
                across = math.hypot(x - along * qx, y - along * qy, gmd)
                return math.asinh((long - along) / across) + math.asinh(along / across)

            value, _ = integrate.quad(potential, 0, m, limit=400, epsrel=1e-9)
            total += (ux * vx + uy * vy) * value
    return MU0_H_PER_M / (4 * math.pi) * total


@pytest.mark.parametrize(
    "spots",
    [
        [(0, 0), (5, 0), (5, 3), (3, 3), (3, 4), (0, 4)],
        [(0, 0), (6, 1), (4, 5)],
        [(0, 0), (5, 0), (6, 3), (2.5, 5), (-1, 3)],
        [(0, 0), (2, 0), (5, 0), (5, 4), (0, 4)],
        [(0, 0), (4, 0), (4, 6), (2, 6), (2, 3), (0, 3)],
    ],
    ids=["l-shape", "triangle", "five corners", "a side in two pieces", "narrow arm"],
)
def test_the_inductance_of_any_polygon_is_that_of_the_numeric_integral(spots):
    loop = Loop.polygon(spots)
    assert inductance(loop, awg(18)) == pytest.approx(numeric_inductance(loop, awg(18)), rel=1e-3)


def test_the_inductance_of_random_rooms_is_that_of_the_numeric_integral():
    draw = random.Random(7)
    for _ in range(15):
        corners = draw.randint(3, 7)
        spots = [
            (
                5 + draw.uniform(2, 5) * math.cos(2 * math.pi * corner / corners),
                5 + draw.uniform(2, 5) * math.sin(2 * math.pi * corner / corners),
            )
            for corner in range(corners)
        ]
        loop = Loop.polygon(spots)
        assert inductance(loop, awg(16)) == pytest.approx(numeric_inductance(loop, awg(16)), rel=1e-3)


def test_a_room_of_4_by_5_m_in_awg_18_has_its_corner_where_the_table_says():
    # R = 0.37707 ohm (18 m at 20 C), R/(2 pi L) = 1950.6 Hz
    seen = load(Loop.rectangle(4, 5), awg(18))
    assert seen.resistance == pytest.approx(0.37707, abs=5e-6)
    assert seen.resistance / (2 * math.pi * seen.inductance) == pytest.approx(1950.6, rel=1e-4)
    assert 2 * math.pi * 1000 * seen.inductance == pytest.approx(0.1933, abs=5e-5)
    assert 2 * math.pi * 5000 * seen.inductance == pytest.approx(0.9666, abs=1e-4)


def test_impedance_is_that_of_resistance_and_inductance_in_series():
    seen = load(Loop.rectangle(4, 5), awg(18))
    for frequency in (100, 1000, 5000):
        assert seen.impedance(frequency) == pytest.approx(
            abs(complex(seen.resistance, 2 * math.pi * frequency * seen.inductance)), rel=1e-12
        )


def test_leaving_out_the_skin_effect_costs_next_to_nothing_up_to_5_khz():
    """Rac/Rdc of a round wire is Re(z J0(z) / (2 J1(z))), z = (1 - j) r/depth (textbook, Bessel functions).

    Depth 0.9346 mm in copper at 5 kHz. The thickest wire of the stock has 3 % more resistance there, and the
    reactance is what counts: the impedance of a room's loop changes by less than 1 %.
    """
    special = pytest.importorskip("scipy.special")
    depth = math.sqrt(1e-6 / 58 / (math.pi * 5000 * MU0_H_PER_M))
    assert 1000 * depth == pytest.approx(0.9346, abs=5e-5)
    for each in stock_from(data_tables("wire.toml")):
        z = (1 - 1j) * each.wire.radius / depth
        rise = (z * special.jv(0, z) / (2 * special.jv(1, z))).real
        assert 1 <= rise < 1.035
        seen = load(Loop.rectangle(4, 5), each.wire)
        with_skin = math.hypot(rise * seen.resistance, 2 * math.pi * 5000 * seen.inductance)
        assert with_skin / seen.impedance(5000) == pytest.approx(1, abs=0.01)


def test_the_feed_has_the_inductance_of_two_parallel_wires():
    # mu0/pi (ln(D/r) + 1/4) a metre: the rectangle of Grover with one side going to nothing beside the other
    wire, far = awg(18), 90.0
    narrow = rectangle_inductance(far, wire.spacing, wire.radius) / far
    assert Feed(1.0).inductance(wire) == pytest.approx(narrow, rel=2e-3)
