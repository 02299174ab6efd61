"""Draw the field of the loop from above for the sheet.

The levels are those of ``kb.loop``; here they are only drawn, without a plotting library. What is too weak is
striped, what is too strong is dotted, and numbers in dB are printed on it: nothing rests on colour.
"""

from __future__ import annotations

import xml.etree.ElementTree as ET
from typing import Final

from kb.domain.language import Language, language
from kb.loop.field import drawn_h, level_db
from kb.sheet.loop_input import LoopData
from kb.sheet.palette import INK, LINE, MARK, PAPER
from kb.sheet.svg import Picture, put, write

WIDTH: Final = 340.0  #: units, the picture's width
_BORDER_M: Final = 0.5
_HIGHEST: Final = 300.0
_POINTS: Final = 40  #: along the longer side
_BUSY: Final = 60_000  #: points times wires, at most
_NUMBERS: Final = 5  #: along the longer side


def field_picture(data: LoopData, lang: Language | None = None, *, name: str = "map") -> Picture | None:
    """The field at ear height; None if the file does not tell how far the ear is from the loop."""
    said = lang or language()
    if data.offset is None:
        return None
    x0, x1, y0, y1 = data.loop.box
    wide, deep = x1 - x0 + 2 * _BORDER_M, y1 - y0 + 2 * _BORDER_M
    scale = min(WIDTH / wide, _HIGHEST / deep)
    shown = data.drawn
    picture = Picture(
        name,
        WIDTH,
        deep * scale + 22,
        said("sheet/drawing/map"),
        said(
            "sheet/drawing/map-desc",
            length=said.length(x1 - x0),
            width=said.length(y1 - y0),
            turns=data.loop.turns,
            low=said.number(f"{shown.min_db:+.1f}"),
            high=said.number(f"{shown.max_db:+.1f}"),
        ),
    )
    _patterns(picture.root, name)
    place = _Place(picture.group((WIDTH - wide * scale) / 2, 1), x0, y1, scale, data)
    put(place.root, "rect", width=wide * scale, height=deep * scale, fill=PAPER, stroke=LINE, stroke_width=1)
    _cells(place, wide, deep, name)
    _wire(place)
    _numbers(place, said)
    write(
        picture.root,
        WIDTH / 2,
        deep * scale + 18,
        said("sheet/loop/size-of", length=said.length(x1 - x0), width=said.length(y1 - y0)),
        14,
    )
    return picture


class _Place:
    """Where a spot of the room is in the picture; y goes up in the room, down in the picture."""

    def __init__(self, root: ET.Element, x0: float, y1: float, scale: float, data: LoopData) -> None:
        self.root, self.scale, self.data = root, scale, data
        self.corner = x0 - _BORDER_M, y1 + _BORDER_M
        self._gain = data.drawn.current_a * 10 ** (-data.metal_db / 20)

    def at(self, x: float, y: float) -> tuple[float, float]:
        """Units of a spot given in metres."""
        left, top = self.corner
        return (x - left) * self.scale, (top - y) * self.scale

    def level(self, x: float, y: float) -> float:
        """dB re 400 mA/m at a spot given in metres; one on the wire is taken a little next to it."""
        field = drawn_h(self.data.loop, (x, y, self.data.offset or 0.0))
        return level_db(abs(field) * self._gain)


def _patterns(root: ET.Element, name: str) -> None:
    kinds = put(root, "defs")
    weak = put(kinds, "pattern", id=f"{name}-weak", width=7, height=7, patternUnits="userSpaceOnUse")
    put(weak, "path", d="M-1 8L8 -1M-1 1l2 -2M6 8l2 -2", stroke=LINE, stroke_width=1)
    strong = put(kinds, "pattern", id=f"{name}-strong", width=6, height=6, patternUnits="userSpaceOnUse")
    put(strong, "circle", cx=3, cy=3, r=1.3, fill=INK)


def _cells(place: _Place, wide: float, deep: float, name: str) -> None:
    """Runs of cells that are too weak or too strong, each as one rectangle."""
    points = min(_POINTS, max(10, int((_BUSY / len(place.data.loop.corners)) ** 0.5)))
    longer = max(wide, deep)
    columns, rows = max(6, round(points * wide / longer)), max(6, round(points * deep / longer))
    metres_x, metres_y = wide / columns, deep / rows
    left, top = place.corner
    cell_x, cell_y = metres_x * place.scale, metres_y * place.scale
    for number in range(rows):
        y = top - (number + 0.5) * metres_y
        line = [place.level(left + (column + 0.5) * metres_x, y) for column in range(columns)]
        kinds = [_kind(level, place.data.tolerance_db) for level in line]
        begin = 0
        for column in range(1, columns + 1):
            if column < columns and kinds[column] == kinds[begin]:
                continue
            if kinds[begin]:
                put(
                    place.root,
                    "rect",
                    x=begin * cell_x,
                    y=number * cell_y,
                    width=(column - begin) * cell_x,
                    height=cell_y,
                    fill=f"url(#{name}-{kinds[begin]})",
                )
            begin = column


def _kind(level: float, most: float) -> str:
    if abs(level) <= most:
        return ""
    return "weak" if level < 0 else "strong"


def _wire(place: _Place) -> None:
    spots = [place.at(x, y) for x, y in place.data.loop.spots]
    outline = "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in spots) + "z"
    put(place.root, "path", d=outline, fill="none", stroke=MARK, stroke_width=5, stroke_linejoin="round")


def _numbers(place: _Place, said: Language) -> None:
    """Levels in dB at spots spread evenly over the box of the loop, each on a small white ground."""
    x0, x1, y0, y1 = place.data.loop.box
    longer = max(x1 - x0, y1 - y0)
    columns = max(1, round(_NUMBERS * (x1 - x0) / longer))
    rows = max(1, round(_NUMBERS * (y1 - y0) / longer))
    for row in range(rows):
        for column in range(columns):
            across = x0 + (column + 0.5) * (x1 - x0) / columns
            up = y0 + (row + 0.5) * (y1 - y0) / rows
            x, y = place.at(across, up)
            put(place.root, "rect", x=x - 15, y=y - 9, width=30, height=18, rx=3, fill=PAPER)
            level = round(place.level(across, up))
            write(place.root, x, y + 5, f"{level:+d}" if level else "0", 14, bold=True)
