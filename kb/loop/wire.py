"""Compute resistance, inductance and voltage of a loop.

>>> wire = wire_from("awg18")
>>> round(1000 * wire.diameter, 4), round(1000 * wire.resistance_per_m(), 3)  # mm, ohm/km
(1.0237, 20.948)
>>> round(1e6 * inductance(Loop.rectangle(5, 4), wire), 2)  # uH
30.77
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Final

from kb.base.errors import BadInput
from kb.base.messages import Said, Wording
from kb.base.validation import bounded
from kb.loop.geometry import Loop

MU0_H_PER_M: Final = 4e-7 * math.pi
#: Annealed copper at 20 C, ohm m: 1/58 ohm mm2/m (IEC 60028; NBS Handbook 100).
RESISTIVITY_20C: Final = 1e-6 / 58
#: Rise of copper's resistance a kelvin, referred to 20 C (IEC 60028; NBS Handbook 100).
ALPHA_20C: Final = 0.00393
#: Where impedance and voltage are shown, Hz: the ends and the reference of the response (IEC 60118-4 cl.
#: 8.3.3, second-hand). A driver is judged elsewhere (``kb.loop.standard.Programme``).
FREQUENCIES_HZ: Final = (100.0, 1000.0, 5000.0)
#: Insulation between copper and surface, metres, for turns that lie against each other (common practice:
#: hook-up and loudspeaker wire of AWG 18 is some 2.5 mm thick over all).
INSULATION_M: Final = 0.75e-3
#: Current a square millimetre in the bare r.m.s. maximum above which the wire is not offered (common
#: practice; speech averages 12 dB lower, so this is a margin for long test tones).
DENSEST_A_PER_MM2: Final = 10.0
COLDEST_C: Final = -40.0
HOTTEST_C: Final = 90.0
#: e**(-1/4): geometric mean distance of a round wire from itself, as a share of its radius (Grover ch. 3).
_SELF_GMD: Final = math.exp(-0.25)


@dataclass(frozen=True)
class Wire:
    """Describe a copper conductor: ``label`` as sold, ``area`` of copper in m2, taken as solid and round."""

    label: str
    area: float

    @property
    def diameter(self) -> float:
        """Diameter of the solid wire with this area, metres."""
        return 2 * math.sqrt(self.area / math.pi)

    @property
    def radius(self) -> float:
        """Half the diameter, metres."""
        return self.diameter / 2

    @property
    def spacing(self) -> float:
        """Distance between the centres of two turns that touch, metres (insulation: common practice)."""
        return self.diameter + 2 * INSULATION_M

    def resistance_per_m(self, celsius: float = 20.0) -> float:
        """Return ohm per metre of one conductor of pure copper.

        (1/58 ohm mm2/m)/A at 20 C, rising by 0.00393 a kelvin. Sold wire may be up to a sixth higher; see
        IEC 60228. Raises BadInput outside -40 to 90 C.
        """
        bounded(celsius, "temperature", low=COLDEST_C, high=HOTTEST_C, unit="C")
        return RESISTIVITY_20C / self.area * (1 + ALPHA_20C * (celsius - 20))


_AWG: Final = r"awg[-#]?(\d{1,3})|#(\d{1,3})(?:awg)?|(\d{1,3})(?:awg|ga)"


def wire_from(text: str, place: Wording = "wire") -> Wire:
    """Read ``awg18``, ``18 AWG``, ``#18``, ``1.5mm2``, ``1,5 mm²`` or ``1.5 sq mm``.

    AWG 0 to 40 by the series of ASTM B258, d = 0.127 mm * 92**((36 - n)/39); mm2 from 0.05 to 50,
    taken as that area of pure copper. Raises BadInput.
    """
    clean = re.sub(r"\s+", "", text.lower()).replace("²", "2").replace("gauge", "awg").replace(",", ".")
    if found := re.fullmatch(_AWG, clean, re.ASCII):
        number = int(next(filter(None, found.groups())))
        if number <= 40:
            return awg(number)
    if (
        found := re.fullmatch(r"(\d{1,3}(?:\.\d{1,3})?|\.\d{1,3})(?:mm2|mm\^2|sqmm|qmm)", clean, re.ASCII)
    ) and (0.05 <= float(found[1]) <= 50):
        return Wire(f"{float(found[1]):g} mm2", float(found[1]) * 1e-6)
    raise BadInput(place, text, Said("expected/wire"))


def awg(number: int) -> Wire:
    """Return the wire of an American wire gauge from 0 to 40 (ASTM B258). Raises BadInput."""
    bounded(number, Said("place/wire-gauge"), low=0, high=40)
    diameter = 0.127e-3 * 92 ** ((36 - number) / 39)
    return Wire(f"AWG {number}", math.pi * diameter**2 / 4)


#: Wire of which no standard says how much resistance it may have is judged with this share of that of pure
#: copper of its size (common practice: a little more than IEC 60228 class 5 allows in this list, 1.13 to
#: 1.16).
GREATEST_SHARE: Final = 7 / 6


@dataclass(frozen=True)
class Stock:
    """A wire that can be bought; the highest ohm/km it is sold with at 20 C (0: not known); a source.

    ``usual``: wire that a tradesman has in the van (common practice).
    """

    wire: Wire
    max_ohm_per_km: float
    source: str
    usual: bool = False

    def worst(self, seen: Load) -> Load:
        """Return a load of this wire with the greatest resistance that it may be sold with."""
        share = GREATEST_SHARE
        if self.max_ohm_per_km:
            share = self.max_ohm_per_km / 1000 / self.wire.resistance_per_m()
        return Load(seen.resistance * share, seen.inductance)


def stock_from(data: Mapping[str, Any]) -> tuple[Stock, ...]:
    """Return the wires of a parsed ``wire.toml`` (``[[wire]]`` tables): the ones a search may choose.

    Keys: ``name`` (as ``wire_from`` reads it), ``max_ohm_per_km`` and ``usual`` (optional), ``source``.
    """
    return tuple(
        Stock(
            wire_from(row["name"], "wire"),
            float(row.get("max_ohm_per_km", 0)),
            row["source"],
            row.get("usual", False),
        )
        for row in data["wire"]
    )


def bundle_gmd(wire: Wire, turns: int, spacing: float | None = None) -> float:
    """Return the geometric mean distance of ``turns`` wires lying together, metres.

    One wire: r e**(-1/4). More: the N*N-th root of all distances, each wire to itself counted as that
    (Grover, Inductance Calculations, ch. 3). ``spacing`` is between centres in metres. Two lie as a pair,
    three as a triangle, four as a square, more as a heap of round wires.

    Raises BadInput when the spacing is less than the wire's diameter.
    """
    gap = wire.spacing if spacing is None else spacing
    if turns > 1:
        bounded(gap, Said("place/spacing-of-turns"), low=wire.diameter, high=0.5, unit="m")
    places = _heap(turns, gap)
    logs = [
        math.log(math.dist(here, there)) if one != other else math.log(wire.radius * _SELF_GMD)
        for one, here in enumerate(places)
        for other, there in enumerate(places)
    ]
    return math.exp(math.fsum(logs) / len(logs))


def inductance(loop: Loop, wire: Wire, spacing: float | None = None) -> float:
    """Return the inductance in H of a flat loop of any straight sides and turns, at low frequency.

    Sum over all pairs of sides of Neumann's integral in closed form, each side with itself at the
    bundle's geometric mean distance; times turns squared. N**2 times one turn would be too much by a
    tenth to a fifth, since the turns do not lie inside each other.

    Raises BadInput for a loop that does not lie in one plane.
    """
    level = loop.plane
    if level is None:
        raise BadInput("polygon", Said("seen/corners-not-level"), Said("expected/flat-loop"))
    total = _outline_sum(loop.spots) - 2 * loop.perimeter * math.log(bundle_gmd(wire, loop.turns, spacing))
    return float(MU0_H_PER_M / (4 * math.pi) * total * loop.turns**2)


def mutual(one: Loop, other: Loop, apart: float) -> float:
    """Return the mutual inductance in H of two flat loops at one height, for one turn each (Neumann).

    ``apart`` is the distance between wires that lie side by side, metres: ``other`` is lowered by so much.
    """
    sides = [[(a[:2], b[:2]) for a, b in loop.sides] for loop in (one, other)]
    total = math.fsum(_neumann(here, there, apart) for here in sides[0] for there in sides[1])
    return MU0_H_PER_M / (4 * math.pi) * total


@lru_cache(maxsize=16)
def _outline_sum(spots: tuple[tuple[float, float], ...]) -> float:
    """Return what the outline alone gives to the inductance, metres: all but the wire's mean distance.

    Kept, since a search over gauges and turns asks for the same outline many times.
    """
    sides = list(zip(spots, (*spots[1:], spots[0]), strict=True))
    parts = []
    for at, one in enumerate(sides):
        long = math.dist(*one)
        parts.append(2 * long * (math.log(2 * long) - 1))
        parts += [2 * _neumann(one, other) for other in sides[at + 1 :]]
    return math.fsum(parts)


@dataclass(frozen=True)
class Feed:
    """The twisted pair from driver to loop: its one-way length in metres, of the loop's own wire."""

    length: float

    def resistance(self, wire: Wire, celsius: float) -> float:
        """Return ohm, out and back."""
        return 2 * self.length * wire.resistance_per_m(celsius)

    def inductance(self, wire: Wire) -> float:
        """Return H of the pair: mu0/pi * (ln(D/r) + 1/4) a metre (textbook two-wire line)."""
        return self.length * MU0_H_PER_M / math.pi * (math.log(wire.spacing / wire.radius) + 0.25)


@dataclass(frozen=True)
class Load:
    """What the driver sees: ``resistance`` in ohm and ``inductance`` in H, in series."""

    resistance: float
    inductance: float

    def impedance(self, frequency_hz: float) -> float:
        """Return |R + j 2 pi f L| in ohm."""
        return math.hypot(self.resistance, 2 * math.pi * frequency_hz * self.inductance)

    def voltage(self, current_a: float, frequency_hz: float) -> float:
        """Return V r.m.s. for a current in A r.m.s."""
        return current_a * self.impedance(frequency_hz)


def load(
    loop: Loop,
    wire: Wire,
    *,
    celsius: float = 20.0,
    feed: float = 0.0,
    extra: float = 0.0,
    spacing: float | None = None,
) -> Load:
    """Return what the driver sees.

    ``feed`` is the one-way length of the twisted pair and ``extra`` the wire of detours (doorways) in each
    turn, both in metres; ``spacing`` is between the centres of turns, metres (None: they touch). A detour
    counts as resistance only, for out and back lie close together. Raises BadInput as ``inductance`` and
    ``Wire.resistance_per_m`` do.
    """
    pair = Feed(feed)
    copper = loop.turns * (loop.perimeter + extra) * wire.resistance_per_m(celsius)
    return Load(
        resistance=copper + pair.resistance(wire, celsius),
        inductance=inductance(loop, wire, spacing) + pair.inductance(wire),
    )


def too_dense(wire: Wire, current_a: float) -> bool:
    """Return whether the current is more than 10 A r.m.s. per square millimetre (common practice)."""
    return current_a / (wire.area * 1e6) > DENSEST_A_PER_MM2


def _heap(turns: int, gap: float) -> list[tuple[float, float]]:
    """Return the centres of wires lying together: four as a square, others as a heap of touching rounds."""
    if turns == 4:
        return [(0.0, 0.0), (gap, 0.0), (0.0, gap), (gap, gap)]
    reach = range(-turns, turns + 1)
    lattice = [(i + j / 2, j * math.sqrt(0.75)) for i in reach for j in reach]
    nearest = sorted(lattice, key=lambda place: (round(math.hypot(*place), 6), place))[:turns]
    return [(gap * x, gap * y) for x, y in nearest]


#: Wires of one line are taken so far apart, metres: the integral over both is the same to twelve digits.
_ONE_LINE_M: Final = 1e-12


def _neumann(
    one: Sequence[tuple[float, float]], other: Sequence[tuple[float, float]], least: float = 0.0
) -> float:
    """Return the integral of (ds . dt)/r over two straight wires in one plane, metres.

    Parallel wires are ``least`` metres apart in height.

    Where the wires' lines meet, let s and t count from the meeting point. 1/r is homogeneous of degree
    -1 in (s, t), so its double integral is that of its flux through the borders (divergence theorem):
    F(s, t) = s * J(s, t) + t * J(t, s), J the single integral along one wire. Own derivation; the tests
    compare it with the numeric integral and with Grover's rectangle.
    """
    (ax, ay), (bx, by), (cx, cy), (dx, dy) = *one, *other
    m, n = math.dist(*one), math.dist(*other)
    ux, uy, vx, vy = (bx - ax) / m, (by - ay) / m, (dx - cx) / n, (dy - cy) / n
    cosine, sine = ux * vx + uy * vy, ux * vy - uy * vx
    wx, wy = cx - ax, cy - ay
    if abs(sine) < 1e-7:
        # parallel: positions along the first wire, at a fixed distance
        apart = max(_ONE_LINE_M, math.hypot(ux * wy - uy * wx, least))
        start = ux * wx + uy * wy
        end = start + n * math.copysign(1.0, cosine)
        low, high = min(start, end), max(start, end)
        total = (
            _beside(high, apart) - _beside(high - m, apart) - _beside(low, apart) + _beside(low - m, apart)
        )
        return math.copysign(total, cosine)
    s0 = (wx * vy - wy * vx) / sine
    t0 = (wx * uy - wy * ux) / sine

    def wedge(s: float, t: float) -> float:
        return s * _along(s, t, cosine, abs(sine)) + t * _along(t, s, cosine, abs(sine))

    return cosine * (wedge(m - s0, n - t0) - wedge(-s0, n - t0) - wedge(m - s0, -t0) + wedge(-s0, -t0))


def _along(fixed: float, end: float, cosine: float, sine: float) -> float:
    """Return the integral over t from 0 to ``end`` of 1/sqrt(fixed**2 + t**2 - 2 fixed t cos)."""
    if abs(fixed) < 1e-12:
        return 0.0  # is multiplied by fixed, and grows only as its logarithm
    scale = abs(fixed) * sine
    return math.asinh((end - fixed * cosine) / scale) - math.asinh(-fixed * cosine / scale)


def _beside(x: float, apart: float) -> float:
    """Second integral of 1/sqrt(x**2 + apart**2)."""
    return x * math.asinh(x / apart) - math.hypot(x, apart)
