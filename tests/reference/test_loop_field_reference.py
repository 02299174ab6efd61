"""The field of the loop against textbooks and a general magnetics library (magpylib, polyline current)."""

from __future__ import annotations

import math
import random
from decimal import Decimal, localcontext

import pytest

from kb.base.errors import BadInput
from kb.loop.field import (
    REFERENCE_A_PER_M,
    SEATED_M,
    STANDING_M,
    TOLERANCE_DB,
    field_a_per_m,
    level_db,
    vertical_h,
)
from kb.loop.geometry import Loop
from kb.loop.spill import spill
from kb.loop.verdict import icnirp_reference_a_per_m

np = pytest.importorskip("numpy")
magpylib = pytest.importorskip("magpylib")

# a x b in m; x, y from the centre in m; h in m; vertical H in mA/m for 1 A. Computed with magpylib 6.3.0 and
# equal to the closed form of M. Misakian, J. Res. NIST 105 (2000) 557.
RECTANGLES = [
    (4, 5, 0, 0, 0, 203.82),
    (4, 5, 0, 0, 1.2, 146.10),
    (4, 5, 0, 0, 1.7, 111.76),
    (4, 5, 0, 0, 2.2, 83.291),
    (3, 3, 0, 0, 0, 300.11),
    (3, 3, 0, 0, 1.2, 159.27),
    (3, 3, 0, 0, 1.7, 102.51),
    (3, 3, 0, 0, 2.2, 66.106),
    (6, 9, 0, 0, 0, 127.52),
    (6, 9, 0, 0, 1.2, 110.06),
    (6, 9, 0, 0, 1.7, 96.506),
    (6, 9, 0, 0, 2.2, 82.512),
    (4, 5, 1, 1, 1.2, 139.10),
    (4, 5, 1.5, 2.0, 1.2, 91.713),
    (4, 5, 2.0, 0, 1.2, 61.271),
    (4, 5, 2.5, 0, 1.2, 8.7081),
    (4, 5, 1.5, 2.0, 0, 574.79),
    (3, 3, 1, 0, 1.2, 127.80),
    (6, 9, 0, 3, 1.2, 123.35),
    (6, 9, 2, 3, 1.7, 85.055),
    (6, 9, 2, 3, 0, 250.44),
    (6, 9, 3.5, 0, 1.2, -8.5957),
]


def polyline_h(loop: Loop, point: tuple[float, float, float]) -> float:
    """Vertical H in A/m of 1 A a turn, from the library."""
    corners = [*loop.corners, loop.corners[0]]
    source = magpylib.current.Polyline(current=1.0, vertices=corners)
    return loop.turns * float(magpylib.getH(source, point)[2])


@pytest.mark.parametrize(("a", "b", "x", "y", "h", "expected"), RECTANGLES)
def test_the_field_of_a_rectangle_is_that_of_the_tables(a, b, x, y, h, expected):
    field = vertical_h(Loop.rectangle(a, b), (a / 2 + x, b / 2 + y, h))
    assert 1000 * field == pytest.approx(expected, rel=5e-5)


def test_the_field_of_200_bent_rooms_agrees_with_the_library_to_a_billionth():
    draw = random.Random(20260304)
    checked = 0
    while checked < 200:
        corners = draw.randint(3, 9)
        angles = sorted(draw.uniform(0, 2 * math.pi) for _ in range(corners))
        spots = tuple(
            (
                6 + draw.uniform(1, 6) * math.cos(angle),
                6 + draw.uniform(1, 6) * math.sin(angle),
                draw.uniform(-0.5, 2.5),
            )
            for angle in angles
        )
        try:
            loop = Loop(spots, draw.randint(1, 4))
        except BadInput:
            continue  # corners that chance put on each other
        point = (draw.uniform(0, 12), draw.uniform(0, 12), draw.uniform(-1, 3))
        # each side alone may be far stronger than their sum; the library has the same digits to lose
        scale = max(abs(polyline_h(loop, point)), loop.turns * 1e-3)
        assert vertical_h(loop, point) == pytest.approx(polyline_h(loop, point), abs=1e-9 * scale)
        checked += 1


def exact_h(loop: Loop, point: tuple[str, str, str]) -> Decimal:
    """The textbook sum of straight wires, I/(4 pi d) (sin b - sin a) each, in sixty decimal digits."""
    with localcontext() as digits:
        digits.prec = 60
        x, y, z = map(Decimal, point)
        pi = Decimal("3.14159265358979323846264338327950288419716939937510582097494")
        total = Decimal(0)
        for one, other in loop.sides:
            (ax, ay, az), (bx, by, bz) = (tuple(map(Decimal, end)) for end in (one, other))
            sx, sy, sz = bx - ax, by - ay, bz - az
            long = (sx * sx + sy * sy + sz * sz).sqrt()
            ux, uy, uz = x - ax, y - ay, z - az
            along = (ux * sx + uy * sy + uz * sz) / long
            cross = sx * uy - sy * ux
            away = (ux * ux + uy * uy + uz * uz - along * along).sqrt()
            sines = (long - along) / ((long - along) ** 2 + away**2).sqrt() + along / (
                along**2 + away**2
            ).sqrt()
            total += cross / long / away**2 * sines
        return total / (4 * pi)


@pytest.mark.parametrize("near", ["0.006", "0.02", "0.3", "1.2"])
@pytest.mark.parametrize("side", [5, 100])
def test_close_to_a_long_wire_no_digits_are_lost(side, near):
    point = (str(side / 2), near, "0.001")
    found = vertical_h(Loop.rectangle(side, side), tuple(map(float, point)))
    assert found == pytest.approx(float(exact_h(Loop.rectangle(side, side), point)), rel=1e-12)


@pytest.mark.parametrize(
    ("radius", "height", "expected"), [(1, 0, 500.0), (2.5, 0, 200.0), (2.5, 1.2, 146.54)]
)
def test_a_loop_of_many_corners_tends_to_the_circle_of_the_textbook(radius, height, expected):
    # I R^2 / (2 (R^2 + h^2)^1.5), and I/2R in its centre
    assert radius**2 / (2 * (radius**2 + height**2) ** 1.5) * 1000 == pytest.approx(expected, rel=5e-5)
    turns = [2 * math.pi * corner / 720 for corner in range(720)]
    ring = Loop(tuple((radius * math.cos(angle), radius * math.sin(angle), 0.0) for angle in turns))
    assert 1000 * vertical_h(ring, (0, 0, height)) == pytest.approx(expected, rel=1e-4)


def test_the_centre_of_a_square_is_that_of_the_textbook():
    # 2 sqrt(2) I / (pi s)
    assert vertical_h(Loop.rectangle(3, 3), (1.5, 1.5, 0)) == pytest.approx(
        2 * math.sqrt(2) / (math.pi * 3), rel=1e-12
    )


@pytest.mark.parametrize("height", [0.0, 0.4, 1.2, 2.2])
def test_the_axis_of_a_rectangle_is_that_of_the_textbook(height):
    a, b = 2.0, 2.5  # half sides of a room 4 x 5 m
    axis = (
        a
        * b
        / (math.pi * math.sqrt(a * a + b * b + height**2))
        * (1 / (a * a + height**2) + 1 / (b * b + height**2))
    )
    assert vertical_h(Loop.rectangle(4, 5), (2, 2.5, height)) == pytest.approx(axis, rel=1e-12)


def test_near_a_long_straight_wire_the_field_is_that_of_ampere():
    # H = I/(2 pi r): 7.9577 A/m at 0.1 m from 5 A; the other sides of a wide loop hardly matter
    field = 5 * vertical_h(Loop.rectangle(100, 100), (50, 0.1, 0))
    assert field == pytest.approx(7.9577, rel=0.005)


def test_levels_are_those_of_iec_60118_4():
    assert REFERENCE_A_PER_M == 0.4  # cl. 3.1
    assert TOLERANCE_DB == 3  # cl. 8.2
    assert (SEATED_M, STANDING_M) == (1.2, 1.7)
    assert level_db(0.1) == pytest.approx(-12.0412, abs=5e-5)  # long-term average, cl. 4.3
    assert 1000 * field_a_per_m(-3) == pytest.approx(283.18, rel=1e-5)
    assert 1000 * field_a_per_m(3) == pytest.approx(565.02, rel=1e-5)
    for noise, milliamps in ((-47, 1.787), (-32, 10.048), (-22, 31.773)):
        assert 1000 * field_a_per_m(noise) == pytest.approx(milliamps, abs=5e-4)
    assert 20 * math.log10(REFERENCE_A_PER_M) == pytest.approx(-7.959, abs=5e-4)


@pytest.mark.parametrize(
    ("frequency", "limit", "below_db"), [(100, 160.0, 52.04), (1000, 64.0, 44.08), (5000, 21.0, 34.4)]
)
def test_the_reference_field_lies_far_below_the_exposure_levels_of_icnirp_2010(frequency, limit, below_db):
    # Health Phys. 99:818-836, Table 4, general public
    assert icnirp_reference_a_per_m(frequency) == pytest.approx(limit)
    assert 20 * math.log10(limit / REFERENCE_A_PER_M) == pytest.approx(below_db, abs=5e-3)


def test_flux_density_of_the_reference_field_agrees_with_a_units_library():
    pint = pytest.importorskip("pint")
    units = pint.UnitRegistry()
    flux = (REFERENCE_A_PER_M * units.ampere / units.meter * units.mu_0).to("microtesla").magnitude
    assert flux == pytest.approx(0.5027, abs=5e-5)


def bent(chance: random.Random) -> Loop:
    """A room with one or two corners that point inward."""
    a, b = chance.uniform(5, 25), chance.uniform(5, 20)
    x, y, d = a * chance.uniform(0.25, 0.4), a * chance.uniform(0.6, 0.75), b * chance.uniform(0.3, 0.6)
    one = [(0.0, 0.0), (a, 0.0), (a, d), (x, d), (x, b), (0.0, b)]
    two = [(0.0, 0.0), (a, 0.0), (a, b), (y, b), (y, d), (x, d), (x, b), (0.0, b)]
    return Loop.polygon(chance.choice([one, two]), turns=chance.choice([1, 2]))


@pytest.mark.parametrize("seed", range(6))
def test_beyond_the_reach_of_a_bent_room_nobody_hears_more_than_was_asked(seed: int) -> None:
    # in every direction, corners included; the field is the library's
    chance = random.Random(seed)
    loop, ear = bent(chance), chance.uniform(0.4, 2.5)
    found = spill(loop, 1.5, ear=ear, level_db=-32.0, storey=2.7)
    x0, x1, y0, y1 = loop.box
    far = found.reach_m * 1.4
    spots = [(chance.uniform(x0 - far, x1 + far), chance.uniform(y0 - far, y1 + far)) for _ in range(1500)]
    outside = [spot for spot in spots if not loop.contains(spot)]
    source = magpylib.current.Polyline(current=1.5 * loop.turns, vertices=[*loop.corners, loop.corners[0]])
    field = np.abs(magpylib.getH(source, [(*spot, ear) for spot in outside])[:, 2])
    levels = 20 * np.log10(np.maximum(field, 1e-9) / 0.4)
    away = np.array([loop.clearance(spot) for spot in outside])
    assert len(away[away > found.reach_m]) > 50
    assert levels[away > found.reach_m + 0.05].max() <= -32.0
    above = np.array(
        [(x0 + (x1 - x0) * u, y0 + (y1 - y0) * v, ear + 2.7) for u in np.linspace(-0.5, 1.5, 41)
         for v in np.linspace(-0.5, 1.5, 41)]
    )  # fmt: skip
    strongest = np.abs(magpylib.getH(source, above)[:, 2]).max()
    assert found.storeys[0].level_db == pytest.approx(20 * math.log10(strongest / 0.4), abs=0.3)


def test_the_turns_of_a_pad_have_the_field_of_one_filament() -> None:
    # twelve turns 3 mm apart under a chair, laid one by one: the plan takes them as one wire
    pad, gap = Loop.rectangle(0.4, 0.4, turns=12), 3e-3
    point = (0.2, 0.2, 0.5)
    total = 0.0
    for number in range(12):
        out, up = gap * (number % 4 - 1.5), gap * (number // 4 - 1)
        low, high = -out, 0.4 + out
        corners = [(low, low, up), (high, low, up), (high, high, up), (low, high, up), (low, low, up)]
        source = magpylib.current.Polyline(current=1.0, vertices=corners)
        total += float(magpylib.getH(source, point)[2])
    assert vertical_h(pad, point) == pytest.approx(total, rel=2e-3)
