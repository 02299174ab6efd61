"""Draw the signs of ``data/jacks.svg``: a jack as seen from the front, and the boxes around it."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from functools import cache
from typing import Final

from kb.base.datafiles import data_file
from kb.sheet.palette import MARK
from kb.sheet.svg import put

SIZE: Final = 48.0


@cache
def _signs() -> dict[str, list[ET.Element]]:
    symbols = ET.parse(data_file("jacks.svg")).getroot()  # noqa: S314  # a file of our own
    for one in symbols.iter():
        one.tag = one.tag.rpartition("}")[2]  # the pictures that use them name the namespace once
        one.tail = None
    return {symbol.get("id", ""): list(symbol) for symbol in symbols}


def draw_sign(parent: ET.Element, name: str) -> None:
    """The sign of a form, or of this name, its corner at the origin of ``parent``; what has no drawing is a
    dashed box."""
    parent.extend(_signs().get(name, _signs()["other"]))


def draw_arrow(parent: ET.Element, x: float, y: float, length: float, *, colour: str = MARK) -> None:
    """An arrow to the right from (x, y), as the sound goes."""
    put(parent, "path", d=f"M{x:g} {y:g}h{length - 9:g}", stroke=colour, stroke_width=4, fill="none")
    put(parent, "path", d=f"M{x + length:g} {y:g}l-13 -7.5v15z", fill=colour)
