"""Make the tag for the back of the driver, for the eye and for a telephone's camera.

A tag is 62 by 29 mm, the size of a common label. Its QR code (ISO/IEC 18004) holds the set and the path as
plain text, in at most 152 bytes: with level M that is version 8, whose squares are still 0.45 mm wide.
"""

from __future__ import annotations

import xml.etree.ElementTree as ET
from dataclasses import dataclass
from datetime import date
from typing import Final
from urllib.parse import urlencode

from kb.base.errors import BadInput, inside
from kb.base.messages import Said
from kb.base.text import visible
from kb.catalogue import StepCode
from kb.domain.language import Language, language
from kb.domain.panel import Panel
from kb.domain.visit import Source
from kb.path import Path
from kb.sheet.layout import chain_links
from kb.sheet.palette import INK, PAPER
from kb.sheet.svg import UNIT_MM, Picture, put, wrapped, write

WIDTH_MM: Final = 62.0
HEIGHT_MM: Final = 29.0
MOST_BYTES: Final = 152  #: ISO/IEC 18004, table 7: version 8, level M, 8-bit bytes
#: With an address: version 10, level M (ISO/IEC 18004, table 7), whose squares are 0.40 mm wide.
MOST_WITH_ADDRESS: Final = 213
MOST_ADDRESS: Final = 100  #: bytes of the set's page, so that set, path and day keep 112
_QUIET: Final = 4  #: squares of white round the code (ISO/IEC 18004, 6.3.8)
_CODE_MM: Final = 26.0


@dataclass(frozen=True, slots=True)
class Tag:
    """A tag: its picture, and the text that its code holds. ``version`` is the size of the QR code."""

    picture: Picture
    text: str
    version: int


def tag_text(
    source: Source, panel: Panel, path: Path | None, made: date, said: Language, most: int = MOST_BYTES
) -> str:
    """Set, jack, items, input and day, a line each, in at most ``most`` bytes of UTF-8.

    What is too long is shortened from the longest line on, so that every line keeps its beginning.
    """
    lines = [visible(f"{source.make} {source.model}")]
    if path is None:
        lines.append(said("sheet/tag/no-path"))
    else:
        labels = [link.label for link in chain_links(path, panel, said)]
        if path.jack is not None:
            labels[0] += f" ({said.word(path.signal)})"
        lines += labels
        if any(step.code is StepCode.SET_PCM for step in path.steps):
            lines.append(said("sheet/tag/pcm"))
    lines.append(made.isoformat())
    return _bounded(lines, most)


def page_address(served: str, source: Source) -> str:
    """The address of the set's page under ``served``. Raises BadInput if it is too long for a tag."""
    asked = urlencode({"make": source.make, "model": source.model})
    address = f"{served.rstrip('/')}/set?{asked}"
    if len(address.encode()) > MOST_ADDRESS:
        raise BadInput(inside("tag", "address"), address, Said("expected/address-bytes", most=MOST_ADDRESS))
    return address


def _bounded(lines: list[str], most: int) -> str:
    kept = list(lines)
    while len("\n".join(kept).encode()) > most:
        longest = max(range(len(kept)), key=lambda number: len(kept[number].encode()))
        line = kept[longest].removesuffix("…")
        if len(line) < 8:  # nothing left to shorten: lines from the middle go
            kept.pop(len(kept) // 2)
            continue
        kept[longest] = f"{line[:-1].rstrip()}…"
    return "\n".join(kept)


def make_tag(
    source: Source,
    panel: Panel,
    path: Path | None,
    made: date,
    lang: Language | None = None,
    *,
    served: str = "",
) -> Tag:
    """The tag as a picture in its real size.

    ``served``: the address where phones find the book, such as ``https://loops.example/``. The code then ends
    with the address of the set's page, and the lines before it are shortened to make room. Raises BadInput if
    that address has more than ``MOST_ADDRESS`` bytes.
    """
    import segno

    said = lang or language()
    words = tag_text(source, panel, path, made, said)
    text = words
    if served:
        address = page_address(served, source)
        text = tag_text(
            source, panel, path, made, said, min(MOST_BYTES, MOST_WITH_ADDRESS - len(address.encode()) - 1)
        )
        text = f"{text}\n{address}"
    # UTF-8 throughout: cameras expect it, and ASCII is the same either way
    code = segno.make_qr(text, error="m", encoding="utf-8", boost_error=False)
    wide, high = WIDTH_MM / UNIT_MM, HEIGHT_MM / UNIT_MM
    name = visible(f"{source.make} {source.model}")
    picture = Picture("tag", wide, high, said("sheet/tag/title", set=name), f"{said('sheet/tag/qr')}: {text}")
    put(picture.root, "rect", width=wide, height=high, fill=PAPER)
    side = _CODE_MM / UNIT_MM
    margin = (high - side) / 2
    _code(picture.group(wide - side - margin, margin), [list(row) for row in code.matrix], side)
    _words(picture, wide - side - 2 * margin, words.split("\n"))
    return Tag(picture, text, int(code.version))


def _code(root: ET.Element, matrix: list[list[int]], side: float) -> None:
    """Every run of dark squares of a row as one bar: bars of one height leave no gaps."""
    square = side / (len(matrix) + 2 * _QUIET)
    bars = []
    for y, row in enumerate(matrix):
        x = 0
        while x < len(row):
            end = x
            while end < len(row) and row[end]:
                end += 1
            if end > x:
                bars.append(f"M{x + _QUIET} {y + _QUIET}h{end - x}v1h-{end - x}z")
            x = end + 1
    group = put(root, "g", transform=f"scale({square:.5f})", shape_rendering="crispEdges")
    put(group, "path", d="".join(bars), fill=INK)


#: Sizes of the text, largest first; the set's name is larger by 3 units. 7 units are 5 points.
_SIZES: Final = (11.0, 10.0, 9.0, 8.0, 7.0)


def _words(picture: Picture, width: float, lines: list[str]) -> None:
    """The same text for the eye, as large as it fits; what does not fit at all is in the code."""
    left, room = 8.0, width - 8.0
    for size in _SIZES:
        set_out = [
            (part, size + 3 if number == 0 else size)
            for number, line in enumerate(lines)
            for part in wrapped(line, room, size + 3 if number == 0 else size, 2, bold=number == 0)
        ]
        if sum(1.18 * each for _, each in set_out) <= picture.height - 10:
            break
    y = 4.0
    for part, each in set_out:
        y += 1.18 * each
        if y > picture.height - 4:
            return
        write(picture.root, left, y, part, each, bold=each > size, anchor="start")


def tag_page(tag: Tag, source: Source, said: Language) -> str:
    """The tag as an HTML page of its own size, for a label printer."""
    from markupsafe import Markup

    from kb.sheet.page import document, set_name

    return document(
        "tag.html",
        said,
        set_name=set_name(source),
        picture=Markup(str(tag.picture)),  # noqa: S704
        width_mm=f"{WIDTH_MM:g}",
        height_mm=f"{HEIGHT_MM:g}",
    )
