"""Draw the field as a map of letters for a terminal.

Plain text, so that it goes through a pipe or a text message; five signs for five bands of level.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

from kb.domain.language import ENGLISH, Language
from kb.loop.field import grid, level_db
from kb.loop.geometry import Loop, Spot
from kb.loop.standard import TOLERANCE_DB, at_most
from kb.loop.wire_layouts import Laid

#: A character of a terminal is about twice as high as wide.
_ASPECT: Final = 2.0
_WIRE: Final = "#"
#: A point of the standard in front of a small volume, and so much floor round the points, metres.
_POINT: Final = "x"
_FRONT_M: Final = 0.15
#: Outside the wire as strong as the level asked for.
_SPILL: Final = "."
#: So much floor outside the wire is shown with the spill, as a share of the room's shorter side.
_ROUND: Final = 0.5


def field_sketch(
    loop: Loop,
    height: float,
    current_a: float,
    *,
    width: int = 72,
    most_rows: int = 24,
    spill_db: float | None = None,
    layout: Laid | None = None,
    tolerance_db: float = TOLERANCE_DB,
    points: Sequence[Spot] = (),
    said: Language = ENGLISH,
) -> str:
    """Return the field over the room as lines of text, the far wall on top.

    ``height`` is that of the ear in the loop's frame (metres), ``current_a`` the current in A r.m.s. with
    any allowance for metal taken off. ``width`` bounds the columns and ``most_rows`` the rows, legend aside.
    With ``spill_db`` the floor outside is shown, too, where the field is that strong. ``layout`` are the
    wires if they are not one loop. ``points`` are those where a small volume is judged, in front of the loop.
    """
    border = 0.0 if spill_db is None else _ROUND * loop.shorter_side
    x0, x1, y0, y1 = loop.box
    if points:
        border = max(border, _FRONT_M + max(y0 - y for _, y in points))
    x0, x1, y0, y1 = x0 - border, x1 + border, y0 - border, y1 + border
    columns = max(16, width)
    rows = round((y1 - y0) / (x1 - x0) * columns / _ASPECT)
    if rows > most_rows:
        columns = max(8, round(columns * most_rows / rows))
        rows = most_rows
    rows = max(5, rows)
    fields = grid(loop, height, columns, rows, border, layout.field if layout else None)
    across, down = (x1 - x0) / (columns - 1), (y1 - y0) / (rows - 1)
    wire: set[tuple[int, int]] = set()
    for each in layout.wires if layout else (loop,):
        wire |= _cells_of_wire(each, (x0, y0), across, down)
    marked = {_cell(spot, (x0, y0), across, down) for spot in points}
    lines = []
    for row in reversed(range(rows)):
        line = ""
        for column in range(columns):
            if (column, row) in wire:
                line += _WIRE
            elif (column, row) in marked:
                line += _POINT
            elif points or loop.contains((x0 + across * column, y0 + down * row)):
                line += _sign(level_db(abs(fields[row][column]) * current_a), tolerance_db)
            elif spill_db is not None and at_most(spill_db, level_db(abs(fields[row][column]) * current_a)):
                line += _SPILL
            else:
                line += " "
        lines.append(line.rstrip())
    lines.append(legend(tolerance_db, said))
    if points:
        lines.append(f"{_POINT} {said('loop/map/point')}")
    elif spill_db is not None:
        lines.append(f"{_SPILL} {said('loop/map/spill', level=spill_db)}")
    return "\n".join(lines)


def _cells_of_wire(loop: Loop, origin: Spot, across: float, down: float) -> set[tuple[int, int]]:
    """Return the cells (column, row) that the wire passes through, walking it in steps below a cell."""
    cells = set()
    for (ax, ay, _), (bx, by, _) in loop.sides:
        steps = 2 * math.ceil(max(abs(bx - ax) / across, abs(by - ay) / down, 1))
        for step in range(steps + 1):
            x, y = ax + (bx - ax) * step / steps, ay + (by - ay) * step / steps
            cells.add(_cell((x, y), origin, across, down))
    return cells


def _cell(spot: Spot, origin: Spot, across: float, down: float) -> tuple[int, int]:
    return round((spot[0] - origin[0]) / across), round((spot[1] - origin[1]) / down)


def legend(tolerance_db: float = TOLERANCE_DB, said: Language = ENGLISH) -> str:
    """Return the line that explains the signs."""
    return said("loop/map/legend", most=tolerance_db)


def _sign(level: float, most: float) -> str:
    # the limits themselves are within: a level brought to 3 dB must not show as beyond it here and there,
    # because these spots are not quite those it was brought there on
    slack = 0.05
    if level < -most - slack:
        return "<"
    return next((sign for edge, sign in ((-1.0, "-"), (1.0, "o"), (most, "+")) if level <= edge + slack), ">")
