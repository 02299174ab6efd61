"""Put SVG together so that nothing in it has an effect.

Elements are made by ElementTree, which escapes every text and attribute; control characters are made visible
before. Lengths are picture units; a unit is a quarter of a millimetre where a picture is printed.
"""

from __future__ import annotations

import re
import unicodedata
import xml.etree.ElementTree as ET
from collections.abc import Iterator
from typing import Final

from kb.base.text import visible
from kb.sheet.palette import INK

FONT: Final = "'Helvetica Neue', Arial, 'Liberation Sans', 'DejaVu Sans Condensed', 'DejaVu Sans', sans-serif"
UNIT_MM: Final = 0.25
#: Mean width of a character, in sizes of the font (wide sans-serif; capitals are wider).
_WIDTH: Final = 0.58
_CAPITAL: Final = 0.74
_UNIT: Final = re.compile(r"(\d) (mm?|ft|in|dB|pies|pulg)\b")
_NAMESPACE: Final = "http://www.w3.org/2000/svg"


class Picture:
    """An SVG picture of ``width`` by ``height`` units, with a title and a description for who cannot see it.

    ``name`` makes the ids in it, so that several pictures can be in one page.
    """

    def __init__(self, name: str, width: float, height: float, title: str, desc: str) -> None:
        self.width, self.height = width, height
        self.root = ET.Element(
            "svg",
            {
                "xmlns": _NAMESPACE,
                "viewBox": f"0 0 {width:g} {height:g}",
                "width": f"{width * UNIT_MM:g}mm",
                "height": f"{height * UNIT_MM:g}mm",
                "role": "img",
                "aria-labelledby": f"{name}-title {name}-desc",
                "font-family": FONT,
            },
        )
        _put(self.root, "title", visible(title), id=f"{name}-title")
        _put(self.root, "desc", visible(desc), id=f"{name}-desc")

    def group(self, x: float = 0, y: float = 0, scale: float = 1) -> ET.Element:
        """A group moved to (x, y)."""
        move = f"translate({x:g} {y:g})" + (f" scale({scale:g})" if scale != 1 else "")
        return put(self.root, "g", transform=move)

    def __str__(self) -> str:
        return ET.tostring(self.root, encoding="unicode", short_empty_elements=True)


def put(parent: ET.Element, kind: str, /, **attributes: object) -> ET.Element:
    """A new element in ``parent``; ``stroke_width`` becomes ``stroke-width``, floats are kept short."""
    return _put(parent, kind, "", **attributes)


def write(
    parent: ET.Element,
    x: float,
    y: float,
    text: str,
    size: float,
    *,
    fill: str = INK,
    bold: bool = False,
    anchor: str = "middle",
) -> None:
    """One line of text with its baseline at ``y``."""
    weight = {"font_weight": "bold"} if bold else {}
    _put(
        parent,
        "text",
        visible(text),
        x=x,
        y=y,
        font_size=size,
        fill=fill,
        text_anchor=anchor,
        **weight,
    )


def _put(parent: ET.Element, kind: str, text: str, **attributes: object) -> ET.Element:
    plain = {name.replace("_", "-"): _plain(value) for name, value in attributes.items()}
    element = ET.SubElement(parent, kind, plain)
    if text:
        element.text = text
    return element


def _plain(value: object) -> str:
    if isinstance(value, (int, float)):
        return f"{round(float(value), 2):g}"
    return visible(str(value))


def cut(text: str, most: int) -> str:
    """The text in at most ``most`` characters; what is left over is shown by ``…``.

    >>> cut("sound menu", 6)
    'sound…'
    """
    return text if len(text) <= most else f"{text[: most - 1].rstrip()}…"


def text_width(text: str, size: float, *, bold: bool = False) -> float:
    """About how wide a text is, in units: on the safe side, since fonts differ between machines."""
    total = 0.0
    for char in text:
        if unicodedata.east_asian_width(char) in "WF":
            total += 1.0
        elif unicodedata.combining(char):
            continue
        elif char.isupper() or char in "MWmw@%—":
            total += _CAPITAL
        elif char in " \N{NO-BREAK SPACE}.,:;'|!()ijlIt1/-":
            total += 0.42
        else:
            total += _WIDTH + 0.04
    return total * size * (1.1 if bold else 1.0)


def wrapped(text: str, width: float, size: float, lines: int, *, bold: bool = False) -> list[str]:
    """A text in at most ``lines`` lines no wider than ``width``; what is left over is cut with ``…``.

    >>> wrapped("DIGITAL AUDIO OUT", 120, 14, 2)
    ['DIGITAL', 'AUDIO OUT']
    """
    found: list[str] = []
    line = ""
    for piece in _pieces(visible(text), width, size, bold):
        longer = f"{line} {piece}" if line else piece
        if text_width(longer, size, bold=bold) <= width:
            line = longer
            continue
        found.append(line)
        line = piece
        if len(found) > lines:
            break
    found = [one for one in [*found, line] if one]
    if len(found) <= lines:
        return found
    last = found[lines - 1]
    while last and text_width(f"{last}…", size, bold=bold) > width:
        last = last[:-1]
    return [*found[: lines - 1], f"{last.rstrip()}…"]


def _pieces(text: str, width: float, size: float, bold: bool) -> Iterator[str]:
    """The words; one that is wider than a line is broken, if it can be after a hyphen; a number stays with
    its unit."""
    for word in _UNIT.sub("\\1\N{NO-BREAK SPACE}\\2", text).split(" "):
        piece = ""
        for char in word:
            if piece and text_width(piece + char, size, bold=bold) > width:
                kept = piece.rfind("-") + 1 or len(piece)
                yield piece[:kept]
                piece = piece[kept:]
            piece += char
        if piece:
            yield piece
