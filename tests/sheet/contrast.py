"""Compute the contrast of two colours by WCAG 2.2, and list the pairs of the palette that must keep it.

Text 4.5 to 1 at least (SC 1.4.3), signs 3 to 1 (SC 1.4.11), text of the client's page 7 to 1 (SC 1.4.6).
"""

from __future__ import annotations

from typing import Final

from kb.sheet import palette
from kb.sheet.palette import INK, LINE, MARK, PAPER, QUIET, SHADE, WARN

#: (front, back, least contrast): every pair that is drawn or printed.
PAIRS: Final = (
    (INK, PAPER, 7.0),
    (INK, SHADE, 7.0),
    (INK, WARN, 7.0),
    (QUIET, PAPER, 7.0),
    (QUIET, SHADE, 7.0),
    (PAPER, MARK, 7.0),
    (MARK, PAPER, 7.0),
    (MARK, SHADE, 4.5),
    (LINE, PAPER, 3.0),
    (LINE, SHADE, 3.0),
)
COLOURS: Final = frozenset(value for name, value in vars(palette).items() if name.isupper())


def contrast(front: str, back: str) -> float:
    """The contrast ratio of two colours ``#rrggbb``, 1 to 21, by the formula of WCAG 2.2."""
    lighter, darker = sorted((_luminance(front), _luminance(back)), reverse=True)
    return (lighter + 0.05) / (darker + 0.05)


def _luminance(colour: str) -> float:
    """Relative luminance, 0 black to 1 white (WCAG 2.2, definition of relative luminance)."""
    red, green, blue = (_linear(int(colour[i : i + 2], 16) / 255) for i in (1, 3, 5))
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def _linear(channel: float) -> float:
    return channel / 12.92 if channel <= 0.04045 else float(((channel + 0.055) / 1.055) ** 2.4)
