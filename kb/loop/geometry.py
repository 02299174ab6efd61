"""Describe the positions of the wire and the listeners.

>>> loop = Loop.rectangle(5.0, 4.0)
>>> loop.perimeter
18.0
>>> loop.commissioning_point
(2.5, 2.0)

Frame: x and y in the plane of the floor, from one corner of the room; z up. All lengths in metres.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Final, TypeVar

from kb.base.errors import BadInput, inside
from kb.base.messages import Said, Wording
from kb.base.validation import bounded, listed, number
from kb.loop.units import LONGEST_SIDE_M, SHORTEST_SIDE_M

Corner = tuple[float, float, float]
Spot = tuple[float, float]

T = TypeVar("T")

#: A ring is drawn with so many sides; none is smaller than this across, metres.
_RING_SIDES: Final = 72
_LEAST_RING_M: Final = 0.1

#: A room has one or two turns, seldom more than four; a pad under a chair has ten or more (common practice).
MOST_TURNS: Final = 100
#: Enough corners for a circle drawn as a polygon.
MOST_CORNERS: Final = 720
#: Two corners nearer than this are one corner typed twice (metres).
SAME_CORNER_M: Final = 1e-3
_ROUNDING_M: Final = 1e-9
#: A corner may lie this far east or north; those of a ring of the longest side lie 3 cm beyond it (metres).
FARTHEST_M: Final = LONGEST_SIDE_M + 0.1
#: A wire may lie this far below or above the floor (metres).
LOWEST_M: Final = -10.0
HIGHEST_M: Final = 20.0


def spot(value: object, place: Wording) -> Spot:
    """Read a corner ``[x, y]`` of a file, metres. Raises BadInput naming ``place``."""
    axes = listed(
        number(
            -FARTHEST_M,
            FARTHEST_M,
            Said("expected/number-from-to-unit", low=-FARTHEST_M, high=FARTHEST_M, unit="m"),
        ),
        2,
        2,
        expected=_SPOT,
        each="",
    )
    x, y = axes(value, place)
    return x, y


_SPOT: Final = Said("expected/spot")


@dataclass(frozen=True)
class Loop:
    """A closed loop of straight wires, seen as a filament.

    ``corners`` are (x, y, z) in metres, in order round the loop; the last joins the first. They are
    put counter-clockwise as seen from above, so that positive current gives a field that points up
    inside the loop. ``turns`` wires lie side by side.

    Raises BadInput for fewer than 3 corners, a doubled corner, no enclosed area, numbers that are not
    finite or too large, or turns outside 1 to 100.
    """

    corners: tuple[Corner, ...]
    turns: int = 1

    def __post_init__(self) -> None:
        if type(self.turns) is not int or not 1 <= self.turns <= MOST_TURNS:
            raise BadInput("turns", self.turns, Said("expected/whole-from-to", low=1, high=MOST_TURNS))
        if not 3 <= len(self.corners) <= MOST_CORNERS:
            raise BadInput(
                "polygon",
                Said("seen/corners", count=len(self.corners)),
                Said("expected/corners", most=MOST_CORNERS),
            )
        corners = tuple(_corner(corner, count) for count, corner in enumerate(self.corners, 1))
        for count, (here, there) in enumerate(_pairs(corners), 1):
            if math.dist(here, there) < SAME_CORNER_M:
                raise BadInput(
                    inside("polygon", Said("place/corner", number=count)),
                    Said("seen/corner-twice", x=f"{here[0]:g}", y=f"{here[1]:g}"),
                    Said("expected/each-corner-once"),
                )
        area = _signed_area(corners)
        if abs(area) < SAME_CORNER_M**2:
            raise BadInput("polygon", Said("seen/corners-without-floor"), Said("expected/loop-round-room"))
        object.__setattr__(self, "corners", corners if area > 0 else tuple(reversed(corners)))

    @classmethod
    def rectangle(cls, length: float, width: float, *, z: float = 0.0, turns: int = 1) -> Loop:
        """Return the loop round a room of ``length`` (x) by ``width`` (y) metres, one corner at 0,0.

        Raises BadInput for a side outside 0.3 to 100 m.
        """
        x = bounded(length, "length", low=SHORTEST_SIDE_M, high=LONGEST_SIDE_M, unit="m")
        y = bounded(width, "width", low=SHORTEST_SIDE_M, high=LONGEST_SIDE_M, unit="m")
        return cls(((0.0, 0.0, z), (x, 0.0, z), (x, y, z), (0.0, y, z)), turns)

    @classmethod
    def ring(cls, diameter: float, *, turns: int = 1) -> Loop:
        """Return a round loop of ``diameter`` metres, such as a neck loop; 72 sides enclose the same area.

        Raises BadInput for a diameter outside 0.1 to 100 m.
        """
        bounded(diameter, "ring", low=_LEAST_RING_M, high=LONGEST_SIDE_M, unit="m")
        turn = 2 * math.pi / _RING_SIDES
        radius = diameter / 2 * math.sqrt(turn / math.sin(turn))
        spots = [
            (diameter / 2 + radius * math.cos(turn * side), diameter / 2 + radius * math.sin(turn * side))
            for side in range(_RING_SIDES)
        ]
        return cls(tuple((x, y, 0.0) for x, y in spots), turns)

    @classmethod
    def polygon(cls, spots: Iterable[Spot], *, z: float = 0.0, turns: int = 1) -> Loop:
        """Return the loop along ``spots`` (x, y) at height ``z``.

        Raises BadInput where the wire crosses itself: that is a figure of eight, whose halves work
        against each other, and in a room a slip in the corners typed.
        """
        typed = tuple(spots)
        loop = cls(tuple((x, y, z) for x, y in typed), turns)
        sides = list(_pairs(typed))  # a loop turns corners round that were typed clockwise
        for first in range(len(sides)):
            for second in range(first + 2, len(sides)):
                if first == 0 and second == len(sides) - 1:
                    continue  # these two meet at the first corner
                if _cross(sides[first], sides[second]):
                    seen = Said("seen/crossing-sides", first=first + 1, second=second + 1)
                    raise BadInput("polygon", seen, Said("expected/wire-once-round"))
        return loop

    @cached_property
    def sides(self) -> tuple[tuple[Corner, Corner], ...]:
        """The straight wires, each from corner to corner."""
        return tuple(_pairs(self.corners))

    @cached_property
    def spots(self) -> tuple[Spot, ...]:
        """The corners seen from above."""
        return tuple((x, y) for x, y, _ in self.corners)

    @property
    def perimeter(self) -> float:
        """Length of one turn, metres."""
        return math.fsum(math.dist(here, there) for here, there in self.sides)

    @property
    def area(self) -> float:
        """Floor area enclosed, square metres."""
        return _signed_area(self.corners)

    @cached_property
    def box(self) -> tuple[float, float, float, float]:
        """Smallest upright rectangle round it: (x low, x high, y low, y high), metres."""
        xs, ys = [x for x, _ in self.spots], [y for _, y in self.spots]
        return min(xs), max(xs), min(ys), max(ys)

    @cached_property
    def shorter_side(self) -> float:
        """Shorter side of the box, metres."""
        x0, x1, y0, y1 = self.box
        return min(x1 - x0, y1 - y0)

    @property
    def plane(self) -> float | None:
        """Height of the loop above the floor when all of it lies at one height, else None."""
        heights = [z for _, _, z in self.corners]
        return heights[0] if max(heights) - min(heights) < SAME_CORNER_M else None

    @cached_property
    def commissioning_point(self) -> Spot:
        """Where 400 mA/m is set: the centre of the floor area, or the spot farthest from the wire.

        The second holds for rooms so bent that their centre of area lies outside, or within a
        quarter of the way from wire to middle.
        """
        centre = _centroid(self.spots)
        deepest = max(self.spots_inside(0.0, most=400), key=self.clearance, default=centre)
        if self.contains(centre) and self.clearance(centre) > 0.25 * self.clearance(deepest):
            return centre
        return deepest

    def contains(self, spot: Spot) -> bool:
        """Return whether the spot is inside the wire, seen from above (ray casting)."""
        x, y = spot
        inside = False
        for (x0, y0), (x1, y1) in _pairs(self.spots):
            if (y0 > y) != (y1 > y) and x < x0 + (y - y0) * (x1 - x0) / (y1 - y0):
                inside = not inside
        return inside

    def clearance(self, spot: Spot) -> float:
        """Distance from the spot to the wire, seen from above, metres."""
        return min(_to_side(spot, side) for side in _pairs(self.spots))

    def inset(self, margin: float) -> tuple[Spot, ...]:
        """Return the corners of the outline ``margin`` metres inside the wire, for drawing.

        Sound for rooms whose walls are all longer than twice the margin; the listening area itself is
        always taken from ``clearance``.
        """
        return tuple(_margin_corners(self.spots, margin))

    def spots_inside(self, margin: float, *, most: int = 1000) -> list[Spot]:
        """Return about ``most`` spots of an even grid that lie inside and at least ``margin`` from the wire.

        The grid's outer rows lie on the margin itself, since the extremes of the field are found there.
        The spots where two margins meet, one in each corner, are added for the same reason.
        """
        x0, x1, y0, y1 = self.box
        wide, deep = x1 - x0 - 2 * margin, y1 - y0 - 2 * margin
        if wide <= 0 or deep <= 0:
            return []
        step = math.sqrt(wide * deep / most)
        columns, rows = max(3, round(wide / step) | 1), max(3, round(deep / step) | 1)
        spots = [
            (x0 + margin + wide * column / (columns - 1), y0 + margin + deep * row / (rows - 1))
            for row in range(rows)
            for column in range(columns)
        ]
        spots += _margin_corners(self.spots, margin)
        return [spot for spot in dict.fromkeys(spots) if self.is_inside(spot, margin)]

    def is_inside(self, spot: Spot, margin: float) -> bool:
        """Return whether the spot is inside and, but for rounding, at least ``margin`` from the wire."""
        return self.contains(spot) and self.clearance(spot) >= margin - _ROUNDING_M

    def margin_spots(self, margin: float, most: int) -> list[Spot]:
        """Return about ``most`` spots that lie just ``margin`` inside the wire, along it.

        Where the room has a corner that points inward, they go round it.
        """
        line = [] if margin <= 0 else _margin_line(self.spots, margin, self.perimeter / most)
        return [spot for spot in line if self.is_inside(spot, margin)]


def _corner(corner: Sequence[float], number: int) -> Corner:
    if len(corner) != 3:
        raise BadInput(
            inside("polygon", Said("place/corner", number=number)),
            Said("seen/numbers", count=len(corner)),
            Said("expected/x-y-z"),
        )
    x, y = (
        bounded(
            value,
            inside("polygon", Said("place/corner", number=number)),
            low=-FARTHEST_M,
            high=FARTHEST_M,
            unit="m",
        )
        for value in corner[:2]
    )
    z = bounded(
        corner[2],
        inside("polygon", Said("place/corner", number=number), "height"),
        low=LOWEST_M,
        high=HIGHEST_M,
        unit="m",
    )
    return x, y, z


def _pairs(corners: Sequence[T]) -> Iterable[tuple[T, T]]:
    return zip(corners, (*corners[1:], corners[0]), strict=True)


def _signed_area(corners: Sequence[Sequence[float]]) -> float:
    """Return the floor area, positive when counter-clockwise (shoelace formula)."""
    return math.fsum(a[0] * b[1] - b[0] * a[1] for a, b in _pairs(corners)) / 2


def _centroid(spots: Sequence[Spot]) -> Spot:
    area = _signed_area(spots)
    x = math.fsum((a[0] + b[0]) * (a[0] * b[1] - b[0] * a[1]) for a, b in _pairs(spots)) / (6 * area)
    y = math.fsum((a[1] + b[1]) * (a[0] * b[1] - b[0] * a[1]) for a, b in _pairs(spots)) / (6 * area)
    return x, y


def _to_side(spot: Spot, side: tuple[Spot, Spot]) -> float:
    (x0, y0), (x1, y1) = side
    dx, dy = x1 - x0, y1 - y0
    squared = dx * dx + dy * dy
    if squared == 0:  # a vertical wire, seen from above
        return math.dist(spot, side[0])
    share = min(1.0, max(0.0, ((spot[0] - x0) * dx + (spot[1] - y0) * dy) / squared))
    return math.hypot(spot[0] - x0 - share * dx, spot[1] - y0 - share * dy)


def _cross(first: tuple[Spot, Spot], second: tuple[Spot, Spot]) -> bool:
    """Return whether two wires that are not neighbours touch or cross, seen from above."""

    def turn(a: Spot, b: Spot, c: Spot) -> float:
        return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])

    (a, b), (c, d) = first, second
    if turn(a, b, c) * turn(a, b, d) < 0 and turn(c, d, a) * turn(c, d, b) < 0:
        return True
    ends = ((a, second), (b, second), (c, first), (d, first))
    return any(_to_side(end, side) < SAME_CORNER_M for end, side in ends)


def _margin_corners(spots: Sequence[Spot], margin: float) -> list[Spot]:
    """Return, for each corner, the spot that lies ``margin`` inside both of its walls."""
    found = []
    for before, here, after in zip((spots[-1], *spots[:-1]), spots, (*spots[1:], spots[0]), strict=True):
        into, out = _unit(before, here), _unit(here, after)
        bend = 1 + into[0] * out[0] + into[1] * out[1]
        if bend > 1e-6:  # a wire that turns straight back has no inside
            # the inside lies to the left of a counter-clockwise wire
            found.append((
                here[0] - margin * (into[1] + out[1]) / bend,
                here[1] + margin * (into[0] + out[0]) / bend,
            ))  # fmt: skip
    return found


def _margin_line(spots: Sequence[Spot], margin: float, step: float) -> list[Spot]:
    """Return spots ``margin`` to the left of each wall, and in steps round each corner."""
    found = []
    for before, here, after in zip((spots[-1], *spots[:-1]), spots, (*spots[1:], spots[0]), strict=True):
        (ux, uy), (vx, vy) = _unit(before, here), _unit(here, after)
        count = max(1, math.ceil(math.dist(here, after) / step))
        for part in range(count):
            share = part / count
            x, y = here[0] + share * (after[0] - here[0]), here[1] + share * (after[1] - here[1])
            found.append((x - margin * vy, y + margin * vx))
        if ux * vy - uy * vx < 0:  # a corner that points into the room
            first, turn = math.atan2(ux, -uy), math.atan2(ux * vy - uy * vx, ux * vx + uy * vy)
            arc = max(4, math.ceil(abs(turn) * margin / step))
            found += [
                (
                    here[0] + margin * math.cos(first + turn * n / arc),
                    here[1] + margin * math.sin(first + turn * n / arc),
                )
                for n in range(arc + 1)
            ]
    return found


def _unit(a: Spot, b: Spot) -> Spot:
    size = math.dist(a, b)
    return ((b[0] - a[0]) / size, (b[1] - a[1]) / size) if size else (0.0, 0.0)
