"""Compute how far the field of a loop reaches beyond its wire: next door, upstairs, downstairs.

Only the vertical part counts, as an upright telecoil hears it. Our copy of the standard has no limit for
spill; the level is the one that somebody asks for. Loss to metal is not taken off, since walls may have none.

>>> spilt = spill(Loop.rectangle(5, 4), 3.0, ear=1.2, level_db=-32.0, storey=2.7)
>>> round(spilt.reach_m, 1), [round(each.level_db) for each in spilt.storeys]
(5.7, [-13, -1])
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import Final

from kb.loop.decibels import decibels
from kb.loop.field import drawn_h
from kb.loop.geometry import Corner, Loop, Spot
from kb.loop.standard import REFERENCE_A_PER_M

#: The answer gives the spill at these distances outside the wire, metres.
DISTANCES_M: Final = (0.5, 1.0, 2.0, 4.0, 8.0)
#: Nothing is looked for farther away than this, metres.
FARTHEST_M: Final = 200.0
#: The level that is asked for where nobody says: as loud as noise that has to be reported (IEC 60118-4 cl.
#: 7.2, second-hand), dB re 400 mA/m.
USUAL_DB: Final = -32.0
#: Floor between two storeys, metres (common practice).
FLOOR_M: Final = 0.3
_FAINTEST_DB: Final = -120.0
_ALONG: Final = 8  #: spots along each wall at which the spill is computed


@dataclass(frozen=True)
class Outside:
    """The strongest level somewhere outside, dB re 400 mA/m: at a distance from the wire, or a storey up or
    down.

    ``height_m`` is that of the ear above this floor.
    """

    distance_m: float
    height_m: float
    level_db: float


@dataclass(frozen=True)
class Spill:
    """Hold the field outside a loop.

    ``reach_m`` is the distance from the wire at which the field falls below ``asked_db`` for good, at ear
    height. ``by_distance`` are the strongest levels at some distances, ``storeys`` those one storey up and
    one down.
    """

    asked_db: float
    reach_m: float
    by_distance: tuple[Outside, ...]
    storeys: tuple[Outside, ...]


Field = Callable[[Corner], float]


def spill(
    loop: Loop,
    current_a: float,
    *,
    ear: float,
    level_db: float,
    storey: float | None,
    field: Field | None = None,
) -> Spill:
    """Return the spill of a loop at ``current_a`` (A r.m.s. in the wire).

    ``ear`` is the height of the ear in the loop's frame and ``storey`` the height from floor to floor, in
    metres; None where it is not known. ``field`` is the field in A/m for 1 A if other wires make it, and
    ``loop`` is then their outline.
    """
    field = field or partial(drawn_h, loop)
    ways = _ways(loop)
    by_distance = tuple(
        Outside(
            distance, ear, max(_level(loop, _along(way, distance), ear, current_a, field) for way in ways)
        )
        for distance in DISTANCES_M
    )
    storeys: tuple[Outside, ...] = ()
    if storey is not None:
        storeys = tuple(_storey(loop, ear + step, current_a, field) for step in (storey, -storey))
    reach = max(_reach(loop, way, ear, current_a, level_db, field) for way in ways)
    return Spill(level_db, reach, by_distance, storeys)


def _ways(loop: Loop) -> list[tuple[Spot, Spot]]:
    """Return a spot on the wire, and the way out from there, for computing the spill."""
    found = []
    for (ax, ay), (bx, by) in zip(loop.spots, (*loop.spots[1:], loop.spots[0]), strict=True):
        size = math.hypot(bx - ax, by - ay)
        if size == 0:
            continue
        out = (by - ay) / size, (ax - bx) / size  # the inside is to the left
        for step in range(_ALONG + 1):
            share = step / _ALONG
            spot = ax + share * (bx - ax), ay + share * (by - ay)
            if not loop.contains(_along((spot, out), 0.01)):
                found.append((spot, out))
    return found


def _along(way: tuple[Spot, Spot], distance: float) -> Spot:
    (x, y), (dx, dy) = way
    return x + distance * dx, y + distance * dy


def _level(loop: Loop, spot: Spot, ear: float, current_a: float, field: Field) -> float:
    """Return the level at a spot outside; if it is inside after all (a bent room), there is no spill."""
    return _FAINTEST_DB if loop.contains(spot) else _db(field((*spot, ear)) * current_a)


def _db(field: float) -> float:
    """dB re 400 mA/m; a field that vanishes is as faint as any."""
    return max(_FAINTEST_DB, decibels(max(1e-12, abs(field)) / REFERENCE_A_PER_M))


def _reach(
    loop: Loop, way: tuple[Spot, Spot], ear: float, current_a: float, asked_db: float, field: Field
) -> float:
    """Return the last distance along a way at which the level is reached; 0 if it never is."""
    far = FARTHEST_M
    # from far away inwards, since the vertical part vanishes once a little outside the wire
    while far > 0.01 and _level(loop, _along(way, far), ear, current_a, field) < asked_db:
        far /= 1.1
    if far <= 0.01 or far >= FARTHEST_M:
        return 0.0 if far <= 0.01 else FARTHEST_M
    near, far = far, far * 1.1
    for _ in range(20):
        middle = (near + far) / 2
        if _level(loop, _along(way, middle), ear, current_a, field) >= asked_db:
            near = middle
        else:
            far = middle
    return near


def _storey(loop: Loop, height: float, current_a: float, field: Field) -> Outside:
    """Return the strongest level on another storey, over the room and round it."""
    x0, x1, y0, y1 = loop.box
    wide, deep, count = x1 - x0, y1 - y0, 24
    strongest = max(
        abs(field((x0 + wide * (2 * i / count - 0.5), y0 + deep * (2 * j / count - 0.5), height)))
        for i in range(count + 1)
        for j in range(count + 1)
    )
    return Outside(0.0, height, _db(strongest * current_a))
