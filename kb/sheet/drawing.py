"""Draw the panel and the chain as pictures.

>>> from kb.domain.panel import Panel
>>> str(panel_picture("Norwell NV40-210", panel_rows(Panel())))[:4]
'<svg'
"""

from __future__ import annotations

import xml.etree.ElementTree as ET
from collections.abc import Sequence
from typing import Final

from kb.domain.language import Language, language
from kb.domain.words import Direction
from kb.sheet.jack_shapes import SIZE, draw_arrow, draw_sign
from kb.sheet.layout import Link, LinkKind, Row, panel_rows, the_most_telling
from kb.sheet.palette import INK, LINE, MARK, PAPER, QUIET, SHADE
from kb.sheet.svg import Picture, text_width, wrapped, write
from kb.sheet.svg import put as draw

__all__ = ["chain_picture", "panel_picture", "panel_rows", "path_picture"]

WIDTH: Final = 720.0  #: units across, as wide as the page is between its margins
COLUMNS: Final = 6
CELL: Final = (118.0, 140.0)  #: a jack's place on the panel
_EDGE: Final = 6.0
MOST_JACKS: Final = 64  #: drawn at most; the rest is counted
_TEXT: Final = 16.0
_SMALL: Final = 14.0


def panel_picture(
    title: str,
    rows: Sequence[Row],
    lang: Language | None = None,
    *,
    most: int = MOST_JACKS,
    name: str = "panel",
) -> Picture:
    """The jacks as they are on the panel, the used one marked by a frame, a flag and words.

    Of more than ``most`` jacks the most telling are drawn and the rest is counted.
    """
    said = lang or language()
    shown = the_most_telling(rows, most)
    left = len(rows) - len(shown)
    lines = max(1, -(-len(shown) // COLUMNS))
    height = 2 * _EDGE + lines * CELL[1] + (26 if left else 0)
    picture = Picture(
        name, WIDTH, height, said("sheet/drawing/panel", set=title), _panel_words(rows, shown, said)
    )
    _panel(picture, 0, rows, shown, said)
    return picture


def chain_picture(
    title: str, links: Sequence[Link], lang: Language | None = None, *, name: str = "chain"
) -> Picture:
    """The way of the sound from the jack to the driver: boxes, and cables as arrows between them."""
    said = lang or language()
    picture = Picture(
        name, WIDTH, chain_height(links), said("sheet/drawing/chain", set=title), _chain_words(links, said)
    )
    _chain(picture, 0, links)
    return picture


def path_picture(
    title: str, rows: Sequence[Row], links: Sequence[Link], lang: Language | None = None
) -> Picture:
    """Panel and chain below one another; without a path, the panel and words that say so."""
    said = lang or language()
    lines = max(1, -(-min(len(rows), MOST_JACKS) // COLUMNS))
    head, gap = 34.0, 20.0
    above = head + 2 * _EDGE + lines * CELL[1] + gap
    words = " ".join(
        part for part in (_panel_words(rows, rows, said), _chain_words(links, said) if links else "") if part
    )
    picture = Picture(
        "path", WIDTH, above + chain_height(links), said("sheet/drawing/chain", set=title), words
    )
    draw(picture.root, "rect", width=WIDTH, height=picture.height, fill=PAPER)
    [line] = wrapped(title, WIDTH - 20, 18, 1, bold=True) or [""]
    write(picture.root, _EDGE, 22, line, 18, bold=True, anchor="start")
    _panel(picture, head, rows, the_most_telling(rows, MOST_JACKS), said)
    if links:
        _chain(picture, above, links)
    else:
        write(picture.root, WIDTH / 2, above + 50, said("sheet/drawing/no-path"), 20, bold=True)
    return picture


# -- the panel -------------------------------------------------------------------------------------


def _panel_words(rows: Sequence[Row], shown: Sequence[Row], said: Language) -> str:
    """The panel for who cannot see it: the used jack first."""
    if not rows:
        return said("sheet/drawing/panel-empty")
    jacks = [
        said(
            "sheet/drawing/jack",
            number=row.number,
            jack=row_name(row, said),
            way=said(f"sheet/way/{row.way}"),
        )
        for row in shown
    ]
    jacks += (
        [said("sheet/drawing/more", count=len(rows) - len(shown)) + "."] if len(rows) > len(shown) else []
    )
    used = [
        said("sheet/drawing/panel-used", number=row.number, jack=row_name(row, said))
        for row in rows
        if row.used
    ]
    return " ".join([*used, said("sheet/drawing/panel-desc", count=len(rows), jacks=" ".join(jacks))])


def row_name(row: Row, said: Language) -> str:
    """``OPTICAL OUT, optical (TOSLINK)``."""
    form = said.word(row.form)
    return f"{row.marking}{said('language/join')}{form}" if row.marking else form


def _panel(picture: Picture, top: float, rows: Sequence[Row], shown: Sequence[Row], said: Language) -> None:
    lines = max(1, -(-len(shown) // COLUMNS))
    draw(
        picture.root,
        "rect",
        x=2,
        y=top + 2,
        width=WIDTH - 4,
        height=2 * _EDGE + lines * CELL[1] - 4,
        rx=10,
        fill=SHADE,
        stroke=LINE,
        stroke_width=2,
    )
    if not shown:
        write(picture.root, WIDTH / 2, top + CELL[1] / 2 + 10, said("sheet/drawing/panel-empty"), 18)
    for place, row in enumerate(shown):
        line, column = divmod(place, COLUMNS)
        _jack(picture, _EDGE + column * CELL[0], top + _EDGE + line * CELL[1], row, said)
    if left := len(rows) - len(shown):
        write(
            picture.root,
            WIDTH - _EDGE,
            top + 2 * _EDGE + lines * CELL[1] + 18,
            said("sheet/drawing/more", count=left),
            _TEXT,
            fill=QUIET,
            anchor="end",
        )


def _jack(picture: Picture, x: float, y: float, row: Row, said: Language) -> None:
    wide, high = CELL
    cell = picture.group(x, y)
    if row.used:
        draw(
            cell,
            "rect",
            x=3,
            y=3,
            width=wide - 6,
            height=high - 6,
            rx=8,
            fill=PAPER,
            stroke=MARK,
            stroke_width=5,
        )
        flag = said("sheet/drawing/this-one")
        across = min(wide - 6, text_width(flag, _TEXT, bold=True) + 20)
        draw(
            cell,
            "path",
            d=f"M{wide / 2 - across / 2:g} 3h{across:g}v19h{8 - across / 2:g}l-8 7l-8 -7h{8 - across / 2:g}z",
            fill=MARK,
        )
        write(cell, wide / 2, 18, flag, _TEXT, fill=PAPER, bold=True)
    write(cell, 10 if not row.used else 13, 46, str(row.number), _SMALL, fill=QUIET, anchor="start")
    sign = picture.group(x + wide / 2 - SIZE / 2, y + 28 + (2 if row.used else -6))
    draw_sign(sign, row.form)
    mark = row.marking or said("sheet/drawing/no-mark")
    lines = wrapped(mark, wide - 14, _SMALL, 2, bold=row.used)
    for number, line in enumerate(lines):
        write(cell, wide / 2, 93 + 16 * number, line, _SMALL, fill=INK, bold=row.used)
    _way(cell, wide / 2, 128, row.way, said)


def _way(cell: ET.Element, x: float, y: float, way: Direction, said: Language) -> None:
    """Out, in or unclear: by a sign and in words."""
    word = said(f"sheet/way/{way}")
    sign = {Direction.OUTPUT: "▲", Direction.INPUT: "▽", Direction.UNCLEAR: "?"}[way]
    bold = way is Direction.OUTPUT
    write(cell, x, y, f"{sign} {word}", _SMALL, fill=INK if bold else QUIET, bold=bold)


# -- the chain -------------------------------------------------------------------------------------

_NODE: Final = (146.0, 124.0)
_CABLE: Final = 140.0  #: the arrow of a cable
_STEP: Final = 34.0  #: the arrow between boxes that are joined directly
_ROW: Final = 132.0


def _chain_words(links: Sequence[Link], said: Language) -> str:
    labels = said("language/join").join(link.label for link in links)
    return said("sheet/drawing/chain-desc", links=labels)


#: One node with the cables before it, and its place: (x, line).
_Spot = tuple[Link, tuple[Link, ...], float, int]


def _spots(links: Sequence[Link]) -> list[_Spot]:
    """The place of each box; a box that no longer fits begins a new line, its cable before it."""
    found: list[_Spot] = []
    x, line = 0.0, 0
    cables: list[Link] = []
    for link in links:
        if link.kind is LinkKind.CABLE:
            cables.append(link)
            continue
        lead = len(cables) * _CABLE if cables else (_STEP if found else 0.0)
        if found and x + lead + _NODE[0] > WIDTH:
            x, line = 0.0, line + 1
        found.append((link, tuple(cables), x, line))
        x += lead + _NODE[0]
        cables = []
    return found


def chain_height(links: Sequence[Link]) -> float:
    """Units that the chain takes from top to bottom."""
    return (max((line for *_, line in _spots(links)), default=0) + 1) * _ROW


def _chain(picture: Picture, top: float, links: Sequence[Link]) -> None:
    for number, (link, cables, x, line) in enumerate(_spots(links)):
        y = top + line * _ROW
        for cable in cables:
            _cable(picture, x, y, cable)
            x += _CABLE
        if number and not cables:
            draw_arrow(picture.group(x, y), 3, _NODE[1] / 2, _STEP - 6)
            x += _STEP
        _node(picture, x, y, link)


def _fitted(label: str, wide: float, *, bold: bool = False) -> tuple[list[str], float]:
    """The label in three lines, or in four smaller ones: which input and how long are never cut off."""
    lines = wrapped(label, wide, _TEXT, 4, bold=bold)
    return (lines, _TEXT) if len(lines) <= 3 else (wrapped(label, wide, _SMALL, 4, bold=bold), _SMALL)


def _cable(picture: Picture, x: float, y: float, link: Link) -> None:
    spot = picture.group(x, y)
    lines, size = _fitted(link.label, _CABLE - 10)
    above, below = lines[:3], lines[3:]
    middle = _NODE[1] / 2
    for number, line in enumerate(above):
        write(spot, _CABLE / 2, middle - 14 - (size + 2) * (len(above) - 1 - number), line, size)
    for line in below:
        write(spot, _CABLE / 2, middle + 22, line, size)
    draw_arrow(spot, 3, middle, _CABLE - 6)


def _node(picture: Picture, x: float, y: float, link: Link) -> None:
    wide, high = _NODE
    spot = picture.group(x, y)
    ends = link.kind in (LinkKind.SOURCE, LinkKind.DRIVER)
    draw(
        spot,
        "rect",
        x=2,
        y=2,
        width=wide - 4,
        height=high - 4,
        rx=10,
        fill=PAPER,
        stroke=MARK if ends else LINE,
        stroke_width=4 if ends else 2.5,
    )
    sign = picture.group(x + wide / 2 - SIZE / 2, y + 8)
    if link.kind is LinkKind.SOURCE:
        draw_sign(sign, link.form or "loudspeaker")
    else:
        draw_sign(sign, "driver-with-loop" if link.kind is LinkKind.DRIVER else "box")
    lines, size = _fitted(link.label, wide - 16, bold=ends)
    first = 76 if len(lines) <= 3 else 68
    for number, line in enumerate(lines):
        write(spot, wide / 2, first + (size + 2) * number, line, size, bold=ends)
