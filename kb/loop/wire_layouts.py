"""Compare layouts of the wire that spill little: a figure of eight, and two loops in quadrature.

Each of these has pairs of loops side by side whose currents go round in opposite directions. From afar they
cancel: the field of one loop falls with the third power of the distance, that of such a pair with the fourth.
Inside, a figure of eight has no vertical field over its middle wire. A second group of loops, moved by half a
loop and driven 90 degrees later, fills that gap: the two fields add as powers. Such layouts are common
practice; their field is computed here from the same formula as that of one loop.

>>> room = Loop.rectangle(10, 8)
>>> [round(laid(kind, room, ear=1.2).share, 2) for kind in Layout]
[1.0, 0.95, 1.0]
"""

from __future__ import annotations

import math
from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Final

from kb.base.errors import BadInput
from kb.base.messages import Said
from kb.domain.words import Word
from kb.loop.decibels import decibels, ratio
from kb.loop.field import MARGIN_M, drawn_h, level_db, listening_spots
from kb.loop.geometry import Corner, Loop
from kb.loop.sentences import Digits, Metres, Sentence
from kb.loop.spill import Spill, spill
from kb.loop.standard import SLACK, TOLERANCE_DB, at_most, quadrature
from kb.loop.wire import Load, Wire, inductance, mutual

#: Strips of one group that are tried; an even number, so that they cancel from afar.
_STRIPS: Final = (2, 4, 6)
#: The error of the phase that is told, degrees (example of IEC 62489-1, 5.4.14.1, second-hand).
_PHASE_ERROR: Final = 5.0


class Layout(Word):
    """Name the layouts of the wire."""

    PERIMETER = "perimeter", "one loop"
    EIGHT = "eight", "figure of eight"
    QUADRATURE = "quadrature", "in quadrature"


@dataclass(frozen=True)
class Group:
    """Loops that carry the same current in series, each one way round (1) or the other (-1)."""

    loops: tuple[tuple[Loop, int], ...]

    def field(self, point: Corner) -> float:
        """Return the vertical field at a point, A/m for 1 A; if on a wire, then a little next to it."""
        return math.fsum(way * drawn_h(loop, point) for loop, way in self.loops)

    @property
    def metres(self) -> float:
        """Return the length of the wire."""
        return math.fsum(loop.turns * loop.perimeter for loop, _ in self.loops)

    def load(self, wire: Wire) -> Load:
        """Return what a driver sees: the loops and what each induces in the others (Neumann's integral).

        Wires that lie side by side are taken at the distance of two bundles that touch.
        """
        apart = wire.spacing * math.sqrt(self.loops[0][0].turns)
        own = math.fsum(inductance(loop, wire) for loop, _ in self.loops)
        between = math.fsum(
            2 * way * other_way * loop.turns * other.turns * mutual(loop, other, apart)
            for at, (loop, way) in enumerate(self.loops)
            for other, other_way in self.loops[at + 1 :]
        )
        return Load(self.metres * wire.resistance_per_m(), own + between)


@dataclass(frozen=True)
class Laid:
    """Hold a layout in a room: its groups, the current in each (A r.m.s. in the wire), and its field.

    ``share`` of the listening area is within +-3 dB, from ``weakest_db`` to ``strongest_db`` re 400 mA/m.
    ``gap_m`` is the width of the strip along the middle that is weaker than -3 dB.
    """

    kind: Layout
    groups: tuple[Group, ...]
    current_a: float
    share: float
    weakest_db: float
    strongest_db: float
    gap_m: float = 0.0

    def field(self, point: Corner) -> float:
        """Return the r.m.s. vertical field at a point, A/m for 1 A in each group: groups add as powers."""
        return math.hypot(*(group.field(point) for group in self.groups))

    @property
    def turns(self) -> int:
        """Return the turns of each loop."""
        return self.groups[0].loops[0][0].turns

    def wound(self, turns: int) -> Laid:
        """Return the same field from so many turns in place of one, each with its part of the current."""
        groups = tuple(
            Group(tuple((Loop(loop.corners, turns), way) for loop, way in group.loops))
            for group in self.groups
        )
        return replace(self, groups=groups, current_a=self.current_a / turns)

    @property
    def wires(self) -> tuple[Loop, ...]:
        """Return all loops, for drawing."""
        return tuple(loop for group in self.groups for loop, _ in group.loops)

    @property
    def metres(self) -> float:
        """Return the length of the wire of all groups."""
        return math.fsum(group.metres for group in self.groups)

    @property
    def cautions(self) -> tuple[Sentence, ...]:
        """Return what the layout loses against one loop, and what it needs."""
        if self.kind is Layout.PERIMETER:
            return ()
        found = [Sentence("loop/layout/height")]
        if self.kind is Layout.EIGHT:
            return (Sentence("loop/layout/eight", {"gap": Metres(self.gap_m)}), *found)
        error = quadrature(90 - _PHASE_ERROR)
        values = {
            "degrees": _PHASE_ERROR,
            "up": Digits(error.up_db, signed=True),
            "down": Digits(error.down_db, signed=True),
        }
        return (Sentence("loop/layout/quadrature", values), *found)


def laid(
    kind: Layout,
    room: Loop,
    *,
    ear: float,
    margin: float = MARGIN_M,
    metal_db: float = 0.0,
    current_a: float | None = None,
) -> Laid:
    """Return a layout of one turn in a rectangular room, set so that as much as possible is within +-3 dB.

    ``room`` is the loop round it at the height of the wire, ``ear`` the height of the ear in the same frame
    and ``margin`` the floor along the walls where nobody listens, metres. ``metal_db`` is the loss to metal
    that the current makes up for. ``current_a`` is the current if it is known. Raises BadInput for a room
    that is no rectangle, and for one without a listening area.
    """
    if not is_rectangle(room):
        raise BadInput("--layout", Said("seen/no-rectangle"), Said("expected/rectangle"))
    tried = _STRIPS if kind is Layout.QUADRATURE else (2,)
    metal = ratio(metal_db)
    known = None if current_a is None else current_a / metal
    found = [_set(kind, _groups(kind, room, strips), room, ear, margin, known) for strips in tried]
    chosen = _fewest(found)
    return replace(chosen, current_a=chosen.current_a * metal)


def _fewest(found: Sequence[Laid]) -> Laid:
    """The first, with the fewest strips, of the layouts that are as good within a hundredth of the area."""
    best = max(each.share for each in found)
    return next(each for each in found if at_most(best, each.share + 0.01))


def is_rectangle(room: Loop) -> bool:
    """Return whether the room is a rectangle along the axes, whose strips are known."""
    x0, x1, y0, y1 = room.box
    return len(room.corners) == 4 and math.isclose(room.area, (x1 - x0) * (y1 - y0), rel_tol=1e-9)


def spilt(layout: Laid, room: Loop, *, ear: float, asked_db: float, storey: float | None) -> Spill:
    """Return the spill of a layout, as ``kb.loop.spill`` does for one loop."""
    return spill(room, layout.current_a, ear=ear, level_db=asked_db, storey=storey, field=layout.field)


def _groups(kind: Layout, room: Loop, strips: int) -> tuple[Group, ...]:
    if kind is Layout.PERIMETER:
        return (Group(((room, 1),)),)
    edges = [number / strips for number in range(strips + 1)]
    first = _group(room, edges)
    if kind is Layout.EIGHT:
        return (first,)
    # moved by half a strip; the halves at both ends make it cancel from afar, too
    return first, _group(room, [0.0, *((a + b) / 2 for a, b in pairwise(edges)), 1.0])


def _group(room: Loop, edges: Sequence[float]) -> Group:
    """Strips across the longer side of a room, in turn one way round and the other."""
    x0, x1, y0, y1 = room.box
    z, long = room.corners[0][2], x1 - x0 >= y1 - y0
    found = []
    for number, (low, high) in enumerate(pairwise(edges)):
        if long:
            a, b, c, d = x0 + low * (x1 - x0), x0 + high * (x1 - x0), y0, y1
        else:
            a, b, c, d = x0, x1, y0 + low * (y1 - y0), y0 + high * (y1 - y0)
        found.append((Loop(((a, c, z), (b, c, z), (b, d, z), (a, d, z))), 1 - 2 * (number % 2)))
    return Group(tuple(found))


def _set(
    kind: Layout, groups: tuple[Group, ...], room: Loop, ear: float, margin: float, current: float | None
) -> Laid:
    """The layout with its current: the median spot at 400 mA/m, shifted to where most is within +-3 dB."""
    unit = Laid(kind, groups, 1.0, 0.0, 0.0, 0.0)
    levels = sorted(level_db(unit.field((*spot, ear))) for spot in listening_spots(room, margin, 400))
    if current is None:
        current = ratio(_shift(levels))
    shift = decibels(current)
    share = _within(levels, -shift) / len(levels)
    at_current = Laid(kind, groups, current, share, levels[0] + shift, levels[-1] + shift)
    return replace(at_current, gap_m=_gap(at_current, room, ear))


def _shift(levels: Sequence[float]) -> float:
    """The dB that bring most of these levels within +-3 dB, and the median as near to 0 dB as that allows."""
    median = levels[len(levels) // 2]
    # a window of 6 dB that begins or ends at a spot holds as many as any
    middles = [median, *(at + off for at in levels for off in (TOLERANCE_DB, -TOLERANCE_DB))]
    return -max(middles, key=lambda middle: (_within(levels, middle), -abs(middle - median)))


def _within(levels: Sequence[float], middle: float) -> int:
    """How many of these levels, the lowest first, are within 3 dB of another."""
    low, high = middle - TOLERANCE_DB - SLACK, middle + TOLERANCE_DB + SLACK
    return bisect_right(levels, high) - bisect_left(levels, low)


def _gap(layout: Laid, room: Loop, ear: float) -> float:
    """The width of the strip along the middle in which the field is below -3 dB, metres."""
    x0, x1, y0, y1 = room.box
    x, y, wide, deep = (x0 + x1) / 2, (y0 + y1) / 2, x1 - x0, y1 - y0
    steps = 200
    for step in range(steps):
        off = max(wide, deep) * step / steps / 2
        point = (x + off, y, ear) if wide >= deep else (x, y + off, ear)
        if at_most(-TOLERANCE_DB, level_db(layout.field(point) * layout.current_a)):
            return 2 * off
    return max(wide, deep)
