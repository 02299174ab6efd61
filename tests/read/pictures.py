"""Draw labels as a camera sees them, and say what was read on one without a camera."""

from __future__ import annotations

import io
import math
from typing import Any

import pytest

from kb.read import label as labels
from kb.read.picture import Piece, Reading

LINES = ("NORWELL", "MODEL NO.: NV40-210", "AC 220-240V 50Hz 85W")


def photo(lines: tuple[str, ...] = LINES, turn: float = 0.0, kind: str = "JPEG", **more: Any) -> bytes:
    """A label from straight in front, turned by so many degrees."""
    from PIL import Image, ImageDraw, ImageFont

    made = Image.new("RGB", (900, 180 + 100 * len(lines)), "#d8d4cc")
    pen = ImageDraw.Draw(made)
    for number, text in enumerate(lines):
        pen.text((90, 90 + 100 * number), text, font=ImageFont.load_default(size=44), fill="#181818")
    made = made.rotate(turn, fillcolor="#d8d4cc", expand=True)
    out = io.BytesIO()
    made.save(out, kind, **more)
    return out.getvalue()


def read_as(*texts: tuple[float, float, str] | str, turn: float = 0.0, high: float = 30) -> Reading:
    """A reading with texts at places: line and column, or each in a line of its own; turned in degrees."""
    cos, sin = math.cos(math.radians(turn)), math.sin(math.radians(turn))
    pieces = []
    for number, said in enumerate(texts):
        row, column, text = said if isinstance(said, tuple) else (float(number), 0.0, said)
        left, top, right = 50 + 20 * column, 50 + 60 * row, 50 + 20 * column + 18 * len(text)
        square = ((left, top), (right, top), (right, top + high), (left, top + high))
        pieces.append(Piece(text, tuple((x * cos - y * sin, x * sin + y * cos) for x, y in square), 0.98))
    return Reading(1600, 1200, tuple(pieces))


def pretend(monkeypatch: pytest.MonkeyPatch, reading: Reading, reader: Any = labels) -> None:
    """Let the reader of labels, or another one, see this, whatever the photo shows."""

    class Reader:
        def __init__(self, place: str) -> None: ...
        def __enter__(self) -> Reader:
            return self

        def __exit__(self, *_: object) -> None: ...
        def read(self, picture: bytes, place: str, **_: bool) -> Reading:
            return reading

    monkeypatch.setattr(reader, "PictureReader", Reader)


def panel_as(*texts: tuple[float, float, str], turn: float = 0.0, sure: float = 0.97) -> Reading:
    """A reading of a panel: texts 20 pixels high with their middle at x, y; turned by so many degrees."""
    cos, sin = math.cos(math.radians(turn)), math.sin(math.radians(turn))
    pieces = []
    for x, y, text in texts:
        wide = 12 * len(text)
        square = [(x + a * wide / 2, y + b * 10) for a, b in ((-1, -1), (1, -1), (1, 1), (-1, 1))]
        corners = tuple(
            (800 + (a - 800) * cos - (b - 600) * sin, 600 + (a - 800) * sin + (b - 600) * cos)
            for a, b in square
        )
        pieces.append(Piece(text, corners, sure))
    return Reading(1600, 1200, tuple(pieces))
