"""Draw the field as a map of letters for a terminal.

Plain text, so that it goes through a pipe or a text message; five signs for five bands of level.
"""

from __future__ import annotations

import math
from typing import Final

from kb.loop.field import grid, level_db
from kb.loop.geometry import Loop, Spot
from kb.loop.layout import Laid
from kb.loop.standard import TOLERANCE_DB

#: A character of a terminal is about twice as high as wide.
_ASPECT: Final = 2.0
_WIRE: Final = "#"
#: Sign of each band by its upper edge, dB re 400 mA/m.
BANDS: Final = ((-TOLERANCE_DB, "<"), (-1.0, "-"), (1.0, "o"), (TOLERANCE_DB, "+"), (float("inf"), ">"))


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
) -> str:
    """Return the field over the room as lines of text, the far wall on top.

    ``height`` is that of the ear in the loop's frame (metres), ``current_a`` the current in A r.m.s. with
    any allowance for metal taken off. ``width`` bounds the columns and ``most_rows`` the rows, legend aside.
    With ``spill_db`` the floor outside is shown, too, where the field is that strong. ``layout`` are the
    wires if they are not one loop.
    """
    border = 0.0 if spill_db is None else _ROUND * loop.shorter_side
    x0, x1, y0, y1 = loop.box
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
    lines = []
    for row in reversed(range(rows)):
        line = ""
        for column in range(columns):
            if (column, row) in wire:
                line += _WIRE
            elif loop.contains((x0 + across * column, y0 + down * row)):
                line += _sign(level_db(abs(fields[row][column]) * current_a))
            elif spill_db is not None and level_db(abs(fields[row][column]) * current_a) >= spill_db:
                line += _SPILL
            else:
                line += " "
        lines.append(line.rstrip())
    said = [legend()] if spill_db is None else [legend(), f"{_SPILL} outside at {spill_db:g} dB or more"]
    return "\n".join((*lines, *said))


def _cells_of_wire(loop: Loop, origin: Spot, across: float, down: float) -> set[tuple[int, int]]:
    """Return the cells (column, row) that the wire passes through, walking it in steps below a cell."""
    x0, y0 = origin
    cells = set()
    for (ax, ay, _), (bx, by, _) in loop.sides:
        steps = 2 * math.ceil(max(abs(bx - ax) / across, abs(by - ay) / down, 1))
        for step in range(steps + 1):
            x, y = ax + (bx - ax) * step / steps, ay + (by - ay) * step / steps
            cells.add((round((x - x0) / across), round((y - y0) / down)))
    return cells


def legend() -> str:
    """Return the line that explains the signs."""
    return "# wire  < below -3 dB  - to -1  o to +1  + to +3  > above +3 dB re 400 mA/m"


def _sign(level: float) -> str:
    # the limits themselves are within: a level brought to 3 dB must not show as beyond it here and there,
    # because these spots are not quite those it was brought there on
    slack = 0.05
    if level < -TOLERANCE_DB - slack:
        return BANDS[0][1]
    return next(sign for edge, sign in BANDS[1:] if level <= edge + slack)
