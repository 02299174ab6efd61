"""Compute the field strength at the listeners.

>>> loop = Loop.rectangle(5.0, 4.0)
>>> round(1000 * vertical_h(loop, (2.5, 2.0, 1.2)), 2)  # mA/m for 1 A
146.1

Only the vertical component counts: the telecoil of a worn hearing aid stands upright, and so does the
meter's coil (IEC 60118-4:2014+A1:2017 cl. 8.1, unless users kneel or lie). 0 dB is 400 mA/m (cl. 3.1): the
highest indication of a true r.m.s. meter that averages over 125 ms (cl. 6.1.3 and 8.2.7). Every current here
is that r.m.s. maximum. It is not the instantaneous peak, which is higher: 3 dB for a sine, more for speech.
The long-term average of speech is about 12 dB lower, 100 mA/m (cl. 4.3). All clauses are second-hand.

The wire is a filament in free space. Metal near it takes field away; how much is found by measuring,
or allowed for by a number the user states.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from itertools import product
from typing import Final

from kb.base.errors import BadInput
from kb.base.messages import Said
from kb.loop.decibels import decibels, ratio
from kb.loop.geometry import Corner, Loop, Spot
from kb.loop.standard import REFERENCE_A_PER_M, STANDING_DB, TOLERANCE_DB, Use, at_most
from kb.loop.units import show_length

#: Usual listening heights above the floor, metres (IEC 60118-4 cl. 7.1 and 8.4.2, second-hand).
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
            # next to the wire, not beyond its end
            -(ux * sx + uy * sy + uz * sz) > 0 < vx * sx + vy * sy + vz * sz
            and crossed < ON_THE_WIRE_M**2 * (sx * sx + sy * sy + sz * sz)
        ):
            raise BadInput(
                Said("place/listener"),
                Said("seen/on-the-wire", x=f"{x:g}", y=f"{y:g}", z=f"{z:g}"),
                Said("expected/off-the-wire", least=f"{1000 * ON_THE_WIRE_M:g}"),
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
    return max(NO_FIELD_DB, decibels(field_a_per_m / REFERENCE_A_PER_M))


def field_a_per_m(level: float) -> float:
    """Return the field in A/m of a level in dB re 400 mA/m."""
    return REFERENCE_A_PER_M * ratio(level)


@dataclass(frozen=True)
class Plane:
    """The field over the listening area at one height, for 1 A r.m.s. in each turn.

    ``height`` is above the floor, ``offset`` the vertical distance from the loop (None when the loop
    does not lie at one height), both in metres. ``spots`` are (x, y) in metres on an even grid and ``fields``
    their vertical fields in A/m per A. ``centre`` is the field at the commissioning point; ``weakest`` and
    ``strongest`` are the extremes of the area, looked for between the spots, too. ``tolerance_db`` is how far
    from 400 mA/m they may be, and ``standing`` the strongest field where people stand near a small volume
    (None: nothing is asked of it).
    """

    height: float
    offset: float | None
    spots: tuple[Spot, ...]
    fields: tuple[float, ...]
    centre: float
    weakest: float
    strongest: float
    tolerance_db: float = TOLERANCE_DB
    standing: float | None = None

    @property
    def spread_db(self) -> float:
        """Strongest over weakest field in the area, dB; does not depend on the current."""
        return level_db(self.strongest) - level_db(self.weakest)

    @property
    def even(self) -> bool:
        """Whether some current brings the whole area within the tolerance."""
        return self.spread_db <= 2 * self.tolerance_db and self.weakest > 0

    def range_db(self, current_a: float) -> tuple[float, float]:
        """Return the weakest and strongest level at a current, dB re 400 mA/m."""
        return level_db(self.weakest * current_a), level_db(self.strongest * current_a)

    def standing_db(self, current_a: float) -> float | None:
        """Return the strongest level where people stand, dB re 400 mA/m; None: nothing is asked of it."""
        return None if self.standing is None else level_db(self.standing * current_a)

    def share_within(self, current_a: float, tolerance_db: float | None = None) -> float:
        """Return the share of the area within the tolerance (or another) at ``current_a``, 0 to 1."""
        most = self.tolerance_db if tolerance_db is None else tolerance_db
        good = sum(at_most(abs(level_db(field * current_a)), most) for field in self.fields)
        return good / len(self.fields)

    def wound(self, turns: int) -> Plane:
        """Return the same with ``turns`` instead of one."""
        return replace(
            self,
            fields=tuple(turns * field for field in self.fields),
            centre=turns * self.centre,
            weakest=turns * self.weakest,
            strongest=turns * self.strongest,
            standing=None if self.standing is None else turns * self.standing,
        )

    def with_others(self, others: Sequence[Plane]) -> Plane:
        """Return this plane with the areas of other heights added, all of which one current has to suit."""
        return replace(
            self,
            spots=tuple(spot for plane in (self, *others) for spot in plane.spots),
            fields=tuple(field for plane in (self, *others) for field in plane.fields),
            weakest=min(plane.weakest for plane in (self, *others)),
            strongest=max(plane.strongest for plane in (self, *others)),
            standing=max((plane.standing for plane in (self, *others) if plane.standing), default=None),
        )

    @property
    def current_for_centre_a(self) -> float:
        """Current for 400 mA/m at the commissioning point, A r.m.s. (maximum with 125 ms averaging).

        Raises BadInput where the field at that point is nil or points down.
        """
        if self.centre <= 0:
            raise BadInput(
                Said("place/listening-height"),
                Said("seen/no-upward-field", height=f"{self.height:g}"),
                Said("expected/working-height"),
            )
        return REFERENCE_A_PER_M / self.centre

    @property
    def shift_db(self) -> float | None:
        """Least change of the centre's current, in dB, that brings the whole area within the tolerance.

        0 when 400 mA/m at the centre does so already; None when no current does.
        """
        if self._shifts_db is None:
            return None
        least, most = self._shifts_db
        return 0.0 if at_most(least, 0.0) and at_most(0.0, most) else min(max(0.0, least), most)

    @property
    def least_shift_db(self) -> float | None:
        """The change of the centre's current, in dB, to the least that meets the standard."""
        return None if self._shifts_db is None else self._shifts_db[0]

    @property
    def _shifts_db(self) -> tuple[float, float] | None:
        """The least and the greatest change of the centre's current that meet the standard.

        The weakest spot is within the tolerance (cl. 8.4.3 and 9.5), the strongest too, and at 0 dB at
        least (cl. 8.2.7 and 9.5). Where people stand there are +8 dB at most (cl. 9.5).
        """
        if not self.even:
            return None
        current = self.current_for_centre_a
        low, high = self.range_db(current)
        standing = self.standing_db(current)
        most = (
            self.tolerance_db - high
            if standing is None
            else min(self.tolerance_db - high, STANDING_DB - standing)
        )
        least = max(-self.tolerance_db - low, -high)
        return (least, most) if at_most(least, most) else None


def listening_plane(
    loop: Loop, height: float, *, margin: float = MARGIN_M, most: int = 1000, use: Use = Use.ROOM
) -> Plane:
    """Return the field over the listening area of ``loop`` at ``height`` metres above the floor.

    The area is the floor inside the wire, less a ``margin`` in metres along it. About ``most`` spots; the
    extremes are looked for between them. People stand anywhere inside the wire if the ``use`` is one where
    they do (counter and refuge, with agreed points). Raises BadInput when the margin leaves no area, or the
    area touches the wire.
    """
    spots = listening_spots(loop, margin, most)
    fields = [vertical_h(loop, (x, y, height)) for x, y in spots]
    weakest, strongest = _extremes(loop, height, margin, dict(zip(spots, fields, strict=True)))
    return Plane(
        height=height,
        offset=_offset(loop, height),
        spots=tuple(spots),
        fields=tuple(fields),
        centre=vertical_h(loop, (*loop.commissioning_point, height)),
        weakest=weakest,
        strongest=strongest,
        tolerance_db=use.tolerance_db,
        standing=_strongest(loop, loop.spots_inside(0.0, most=most), height) if use.figure else None,
    )


#: People stand at a counter or call point so far in front of the loop, and so far to each side of its middle,
#: metres (own choice: as far as the points of Fig. 2; the copy has no such area).
STANDING_M_AHEAD: Final = (0.3, 0.5)
STANDING_M_ASIDE: Final = 0.35


def front_plane(loop: Loop, height: float, use: Use) -> Plane:
    """Return the field at the points of a counter or refuge that lie in front of a loop (``Use.figure``).

    They count from the middle of the loop's side of lowest y, and people stand beyond it. The copy of the
    standard does not say from where the distances count: this is our reading. A meter shows no sign, so all
    fields are amounts; ``centre`` is the strongest. People stand where ``STANDING_M_AHEAD`` says.
    """
    x0, x1, y0, _ = loop.box
    middle = (x0 + x1) / 2
    spots = [(middle + side, y0 - ahead) for side, ahead in use.figure]
    fields = [abs(drawn_h(loop, (x, y, height))) for x, y in spots]
    nearest, farthest = STANDING_M_AHEAD
    steps = [number / 20 for number in range(21)]
    near = [
        (middle + (2 * across - 1) * STANDING_M_ASIDE, y0 - nearest - back * (farthest - nearest))
        for across in steps
        for back in steps
    ]
    return Plane(
        height=height,
        offset=_offset(loop, height),
        spots=tuple(spots),
        fields=tuple(fields),
        centre=max(fields),
        weakest=min(fields),
        strongest=max(fields),
        tolerance_db=use.tolerance_db,
        standing=_strongest(loop, [*near, *spots], height),
    )


def _offset(loop: Loop, height: float) -> float | None:
    return None if loop.plane is None else abs(height - loop.plane)


def _strongest(loop: Loop, spots: Sequence[Spot], height: float) -> float:
    return max(abs(drawn_h(loop, (*spot, height))) for spot in spots)


#: Spots from which a search for the weakest and for the strongest field begins, of each kind.
_STARTS: Final = 6
#: From a spot to those around it, in steps.
_NEIGHBOURS: Final = [step for step in product((-1, 0, 1), repeat=2) if any(step)]
#: A search ends with steps as short as this, metres.
_FINEST_M: Final = 0.01


def _extremes(loop: Loop, height: float, margin: float, known: Mapping[Spot, float]) -> tuple[float, float]:
    """Return the weakest and strongest field of the area, searched from the best spots of the grid.

    Spots along the margin are added first, since most extremes are there. Each search moves to the best
    of eight neighbours and halves its step where none is better. The tests hold the error against fine grids.
    """
    seen = dict(known)
    for spot in loop.margin_spots(margin, 240):
        seen.setdefault(spot, vertical_h(loop, (*spot, height)))
    wide, deep = loop.box[1] - loop.box[0], loop.box[3] - loop.box[2]
    step = 2 * math.sqrt(wide * deep / len(known))
    best = []
    for sign in (1.0, -1.0):
        found = []
        for start in _apart(sorted(seen, key=lambda spot: sign * seen[spot]), step):
            here, field, reach = start, seen[start], step
            while reach > _FINEST_M:
                moves = [(here[0] + reach * dx, here[1] + reach * dy) for dx, dy in _NEIGHBOURS]
                tried = [
                    (sign * vertical_h(loop, (*spot, height)), spot)
                    for spot in moves
                    if loop.is_inside(spot, margin)
                ]
                least, spot = min(tried, default=(math.inf, here))
                if least < sign * field:
                    here, field = spot, sign * least
                else:
                    reach /= 2
            found.append(sign * field)
        best.append(sign * min(found))
    return best[0], best[1]


def _apart(spots: Sequence[Spot], step: float) -> list[Spot]:
    """Return the first spots of a list that are not near each other."""
    chosen: list[Spot] = []
    for spot in spots:
        if all(math.dist(spot, other) > 1.5 * step for other in chosen):
            chosen.append(spot)
            if len(chosen) == _STARTS:
                break
    return chosen


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
    spots = listening_spots(flat, margin, 120)
    last = max(1, int(min(flat.shorter_side / 2, FARTHEST_M) / step))
    found = []
    for number in range(1, last + 1):
        fields = [vertical_h(flat, (x, y, number * step)) for x, y in spots]
        found.append(BestOffset(number * step, level_db(max(fields)) - level_db(min(fields))))
    least = min(each.spread_db for each in found)
    chosen = next(each for each in found if each.spread_db <= least + 0.1)
    return BestOffset(chosen.offset, listening_plane(flat, chosen.offset, margin=margin, most=400).spread_db)


def listening_spots(loop: Loop, margin: float, most: int) -> list[Spot]:
    """Return about ``most`` spots at least ``margin`` inside the wire; raises BadInput if there are none."""
    spots = loop.spots_inside(margin, most=most)
    across = loop.shorter_side
    if not spots:
        raise BadInput(
            "margin",
            Said("seen/margin-without-area", margin=show_length(margin)),
            Said("expected/margin", most=show_length(across / 2), across=show_length(across)),
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


def grid(
    loop: Loop,
    height: float,
    columns: int,
    rows: int,
    border: float,
    field: Callable[[Corner], float] | None = None,
) -> Sequence[Sequence[float]]:
    """Return the field over the room and ``border`` metres round it, for drawing: rows of A/m per A.

    Row 0 is the lowest y. A spot on the wire itself is taken a little beside it (``drawn_h``). ``field`` is
    the field in A/m for 1 A if other wires make it.
    """
    x0, x1, y0, y1 = loop.box
    wide, deep = x1 - x0 + 2 * border, y1 - y0 + 2 * border
    at = field or partial(drawn_h, loop)
    rows_found = []
    for row in range(rows):
        y = y0 - border + deep * row / (rows - 1)
        line = []
        for column in range(columns):
            x = x0 - border + wide * column / (columns - 1)
            line.append(at((x, y, height)))
        rows_found.append(line)
    return rows_found
