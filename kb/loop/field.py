"""Compute the field strength where people listen.

>>> loop = Loop.rectangle(5.0, 4.0)
>>> round(1000 * vertical_h(loop, (2.5, 2.0, 1.2)), 2)  # mA/m for 1 A
146.1

Only the vertical component counts: the telecoil of a worn hearing aid stands upright, and so does the
meter's coil (IEC 60118-4:2014+A1:2017, cl. 8.2 and Annex B). 0 dB is 400 mA/m, the r.m.s. maximum of
the programme with 125 ms averaging (cl. 3.1): every current here is therefore that r.m.s. maximum, and
not the instantaneous peak, which lies higher still (3 dB for a sine, more for speech). The long-term
average of speech lies about 12 dB lower, at 100 mA/m (cl. 4.3).

The wire is a filament in free space. Metal near it takes field away; how much is found by measuring,
or allowed for by a number the user states.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from kb.base.errors import BadInput
from kb.loop.geometry import Corner, Loop, Spot
from kb.loop.units import show_length

#: 0 dB: r.m.s. maximum with 125 ms averaging, A/m (IEC 60118-4:2014+A1:2017 cl. 3.1).
REFERENCE_A_PER_M: Final = 0.4
#: Tolerance of the field over the useful volume, dB either way (IEC 60118-4:2014+A1:2017 cl. 8.2).
TOLERANCE_DB: Final = 3.0
#: Usual listening heights above the floor, metres (IEC 60118-4:2014+A1:2017, examples in the text).
SEATED_M: Final = 1.2
STANDING_M: Final = 1.7
#: People do not sit on the wire: listening starts this far inside it, metres (common practice).
MARGIN_M: Final = 0.5
#: No wire is laid farther above or below the ear than this, metres (common practice).
FARTHEST_M: Final = 4.0
#: Nearer to a wire than this, the thickness of wire and insulation counts and no value is given, metres.
ON_THE_WIRE_M: Final = 5e-3
#: Where the field has turned over (outside the loop) the level is shown as this, dB.
NO_FIELD_DB: Final = -60.0


def vertical_h(loop: Loop, point: Corner) -> float:
    """Return the vertical field strength at ``point`` (x, y, z in metres), A/m for 1 A r.m.s. in each turn.

    Positive is up. For each straight wire, with r1 and r2 the vectors from the point to its ends
    (Biot-Savart, integrated):

        H = I / (4 pi) * (r1 x r2) * (|r1| + |r2|) / (|r1| |r2| (|r1| |r2| + r1 . r2))

    Raises BadInput when the point lies within 5 mm of the wire.
    """
    x, y, z = point
    parts = []
    for (ax, ay, az), (bx, by, bz) in loop.sides:
        ux, uy, uz = ax - x, ay - y, az - z
        vx, vy, vz = bx - x, by - y, bz - z
        near, far = math.sqrt(ux * ux + uy * uy + uz * uz), math.sqrt(vx * vx + vy * vy + vz * vz)
        # the cross product taken along the wire keeps its digits far from it
        sx, sy, sz = bx - ax, by - ay, bz - az
        cx, cy, cz = uy * sz - uz * sy, uz * sx - ux * sz, ux * sy - uy * sx
        crossed = cx * cx + cy * cy + cz * cz
        along = ux * vx + uy * vy + uz * vz
        product = near * far
        if min(near, far) < ON_THE_WIRE_M or (
            # beside the wire, not beyond its end
            -(ux * sx + uy * sy + uz * sz) > 0 < vx * sx + vy * sy + vz * sz
            and crossed < ON_THE_WIRE_M**2 * (sx * sx + sy * sy + sz * sz)
        ):
            raise BadInput(
                "listener",
                f"{x:g},{y:g} at height {z:g} m, on the wire",
                f"a place at least {1000 * ON_THE_WIRE_M:g} mm from it",
            )
        if cz == 0.0:
            continue  # seen end-on, or upright: no vertical part
        if along < 0:
            # |r1||r2| + r1.r2 would lose its digits here
            parts.append(cz * (near + far) * (product - along) / (product * crossed))
        else:
            parts.append(cz * (near + far) / (product * (product + along)))
    return loop.turns * math.fsum(parts) / (4 * math.pi)


def level_db(field_a_per_m: float) -> float:
    """Return 20 lg(H / 400 mA/m) in dB; a field of zero or turned over is shown as -60 dB."""
    if field_a_per_m <= 0:
        return NO_FIELD_DB
    return max(NO_FIELD_DB, 20 * math.log10(field_a_per_m / REFERENCE_A_PER_M))


def field_a_per_m(level: float) -> float:
    """Return the field in A/m of a level in dB re 400 mA/m."""
    return float(REFERENCE_A_PER_M * 10 ** (level / 20))


@dataclass(frozen=True)
class Plane:
    """The field over the listening area at one height, for 1 A r.m.s. in each turn.

    ``height`` is above the floor, ``offset`` the vertical distance from the loop (None when the loop
    does not lie at one height), both in metres. ``spots`` are (x, y) in metres and ``fields`` their
    vertical fields in A/m per A. ``centre`` is the field at the commissioning point.
    """

    height: float
    offset: float | None
    spots: tuple[Spot, ...]
    fields: tuple[float, ...]
    centre: float

    @property
    def spread_db(self) -> float:
        """Strongest over weakest field in the area, dB; does not depend on the current."""
        return level_db(max(self.fields)) - level_db(min(self.fields))

    @property
    def even(self) -> bool:
        """Whether some current brings the whole area within +-3 dB."""
        return self.spread_db <= 2 * TOLERANCE_DB and min(self.fields) > 0

    def range_db(self, current_a: float) -> tuple[float, float]:
        """Return the weakest and strongest level in the area, dB re 400 mA/m, at ``current_a`` (A r.m.s.)."""
        return level_db(min(self.fields) * current_a), level_db(max(self.fields) * current_a)

    def share_within(self, current_a: float) -> float:
        """Return the share of the area within +-3 dB of 400 mA/m at ``current_a``, 0 to 1."""
        good = sum(abs(level_db(field * current_a)) <= TOLERANCE_DB + 1e-9 for field in self.fields)
        return good / len(self.fields)

    @property
    def current_for_centre_a(self) -> float:
        """Current for 400 mA/m at the commissioning point, A r.m.s. (maximum with 125 ms averaging).

        Raises BadInput where the field at that point is nil or points down.
        """
        if self.centre <= 0:
            raise BadInput(
                "listening height",
                f"{self.height:g} m, where the loop gives no upward field at its centre",
                "a height where the loop works",
            )
        return REFERENCE_A_PER_M / self.centre

    @property
    def shift_db(self) -> float | None:
        """Least change of the centre's current, in dB, that brings the whole area within +-3 dB.

        0 when 400 mA/m at the centre does so already; None when no current does.
        """
        if not self.even:
            return None
        low, high = self.range_db(self.current_for_centre_a)
        if low < -TOLERANCE_DB:
            return -TOLERANCE_DB - low
        return min(0.0, TOLERANCE_DB - high)


def listening_plane(loop: Loop, height: float, *, margin: float = MARGIN_M, most: int = 1000) -> Plane:
    """Return the field over the listening area of ``loop`` at ``height`` metres above the floor.

    The area is the floor inside the wire, less a ``margin`` in metres along it. About ``most`` spots.
    Raises BadInput when the margin leaves no area, or the area touches the wire.
    """
    spots = _spots(loop, margin, most)
    level = loop.plane
    return Plane(
        height=height,
        offset=None if level is None else abs(height - level),
        spots=tuple(spots),
        fields=tuple(vertical_h(loop, (x, y, height)) for x, y in spots),
        centre=vertical_h(loop, (*loop.commissioning_point, height)),
    )


@dataclass(frozen=True)
class BestOffset:
    """The vertical distance between loop and ear at which the field is most even, and its spread."""

    offset: float
    spread_db: float


def best_offset(loop: Loop, *, margin: float = MARGIN_M, step: float = 0.05) -> BestOffset:
    """Return the vertical distance (metres) from the loop at which the listening area is most even.

    Looked for from 5 cm to half the shorter side of the room, 4 m at most, in steps of ``step``: farther
    away the field evens out again, but the current it takes grows out of hand. Of equally even distances
    (within 0.1 dB) the nearest is taken, since it needs the least current.
    """
    flat = Loop(tuple((x, y, 0.0) for x, y, _ in loop.corners))
    spots = _spots(flat, margin, 120)
    last = max(1, int(min(flat.shorter_side / 2, FARTHEST_M) / step))
    found = []
    for number in range(1, last + 1):
        fields = [vertical_h(flat, (x, y, number * step)) for x, y in spots]
        found.append(BestOffset(number * step, level_db(max(fields)) - level_db(min(fields))))
    least = min(each.spread_db for each in found)
    return next(each for each in found if each.spread_db <= least + 0.1)


def _spots(loop: Loop, margin: float, most: int) -> list[Spot]:
    spots = loop.spots_inside(margin, most=most)
    across = loop.shorter_side
    if not spots:
        raise BadInput(
            "margin",
            f"{show_length(margin)} along the wire, which leaves no listening area",
            f"less than {show_length(across / 2)} in a room {show_length(across)} across",
        )
    return spots


def drawn_h(loop: Loop, point: Corner) -> float:
    """Return the field as ``vertical_h``, for drawing: a spot on the wire is taken a little beside it."""
    x, y, z = point
    for eighth in range(9):
        # Straight there at first; then, one after the other, in directions of which one leads off any wire.
        aside = 3 * ON_THE_WIRE_M if eighth else 0.0
        angle = 0.4 + eighth * math.pi / 4
        try:
            return vertical_h(loop, (x + aside * math.cos(angle), y + aside * math.sin(angle), z))
        except BadInput:
            continue
    return 0.0  # wires all round: nobody listens there


def grid(loop: Loop, height: float, columns: int, rows: int, border: float) -> Sequence[Sequence[float]]:
    """Return the field over the room and ``border`` metres round it, for drawing: rows of A/m per A.

    Row 0 is the lowest y. A spot on the wire itself is taken a little beside it (``drawn_h``).
    """
    x0, x1, y0, y1 = loop.box
    wide, deep = x1 - x0 + 2 * border, y1 - y0 + 2 * border
    rows_found = []
    for row in range(rows):
        y = y0 - border + deep * row / (rows - 1)
        line = []
        for column in range(columns):
            x = x0 - border + wide * column / (columns - 1)
            line.append(drawn_h(loop, (x, y, height)))
        rows_found.append(line)
    return rows_found
