"""Draw a jack as seen from the front: our own shapes, 48 by 48 units.

A sign shows the form of the opening, as the eye meets it by torch light: how many holes, round or square, a
shutter or pins. Colour carries no meaning; what the form cannot show is printed in words next to it.
"""

from __future__ import annotations

import math
import xml.etree.ElementTree as ET
from collections.abc import Callable
from typing import Final

from kb.domain.words import Form
from kb.sheet.palette import HOLE, INK, MARK, PAPER
from kb.sheet.svg import put

SIZE: Final = 48.0

_Drawing = Callable[[ET.Element], None]
_SIGNS: Final[dict[Form, _Drawing]] = {}


def _draws(form: Form) -> Callable[[_Drawing], _Drawing]:
    """Let a function draw this form."""

    def kept(drawing: _Drawing) -> _Drawing:
        _SIGNS[form] = drawing
        return drawing

    return kept


def draw_sign(parent: ET.Element, form: Form) -> None:
    """The sign of a form, its corner at the origin of ``parent``; what has no drawing is a dashed box."""
    _SIGNS.get(form, _SIGNS[Form.OTHER])(parent)


def draw_arrow(parent: ET.Element, x: float, y: float, length: float, *, colour: str = MARK) -> None:
    """An arrow to the right from (x, y), as the sound goes."""
    put(parent, "path", d=f"M{x:g} {y:g}h{length - 9:g}", stroke=colour, stroke_width=4, fill="none")
    put(parent, "path", d=f"M{x + length:g} {y:g}l-13 -7.5v15z", fill=colour)


def draw_speaker_loop(parent: ET.Element) -> None:
    """The driver with its loop: a box, and wire going round. 48 by 48 units."""
    put(parent, "rect", x=5, y=5, width=38, height=38, rx=7, fill="none", stroke=INK, stroke_width=3)
    put(parent, "rect", x=14, y=28, width=20, height=15, rx=2, fill=PAPER, stroke=INK, stroke_width=3)
    put(parent, "path", d="M18 20q6 -8 12 0M14 15q10 -12 20 0", fill="none", stroke=INK, stroke_width=2.5)


def draw_loudspeaker(parent: ET.Element) -> None:
    """The source's own loudspeaker. 48 by 48 units."""
    put(parent, "path", d="M6 17h10l13 -11v36l-13 -11h-10z", fill=HOLE, stroke=INK, stroke_width=3)
    put(parent, "path", d="M35 16q6 8 0 16M40 10q10 14 0 28", fill="none", stroke=INK, stroke_width=3)


def draw_box(parent: ET.Element) -> None:
    """A small box with a socket at each side. 48 by 48 units."""
    put(parent, "rect", x=9, y=13, width=30, height=22, rx=4, fill=HOLE, stroke=INK, stroke_width=3)
    put(parent, "path", d="M2 24h7M39 24h7", stroke=INK, stroke_width=4)
    put(parent, "circle", cx=24, cy=24, r=3, fill=INK)


def _ring(parent: ET.Element, x: float, y: float, outer: float, inner: float) -> None:
    put(parent, "circle", cx=x, cy=y, r=outer, fill=HOLE, stroke=INK, stroke_width=3)
    put(parent, "circle", cx=x, cy=y, r=inner, fill=INK)


@_draws(Form.RCA_PAIR)
def _rca_pair(parent: ET.Element) -> None:
    _ring(parent, 13, 24, 10, 3.5)
    _ring(parent, 36, 24, 10, 3.5)


@_draws(Form.RCA_SINGLE)
def _rca_single(parent: ET.Element) -> None:
    _ring(parent, 24, 24, 13, 4.5)


@_draws(Form.TOSLINK)
def _toslink(parent: ET.Element) -> None:
    # square with two corners cut, a shutter inside
    put(parent, "path", d="M8 40V14l6 -6h20l6 6V40z", fill=HOLE, stroke=INK, stroke_width=3)
    put(parent, "rect", x=15, y=16, width=18, height=18, fill=INK)
    put(parent, "path", d="M15 25h18", stroke=HOLE, stroke_width=2)


def _round_jack(parent: ET.Element, outer: float, inner: float) -> None:
    put(parent, "circle", cx=24, cy=24, r=outer, fill=HOLE, stroke=INK, stroke_width=3)
    put(parent, "circle", cx=24, cy=24, r=inner, fill=HOLE, stroke=INK, stroke_width=3)


@_draws(Form.MINI_TOSLINK)
def _mini_toslink(parent: ET.Element) -> None:
    _round_jack(parent, 12, 5)
    for turn in range(0, 360, 45):  # rays: light comes out
        x, y = math.cos(math.radians(turn)), math.sin(math.radians(turn))
        put(
            parent,
            "path",
            d=f"M{24 + 15 * x:.1f} {24 + 15 * y:.1f}L{24 + 20 * x:.1f} {24 + 20 * y:.1f}",
            stroke=INK,
            stroke_width=2.5,
        )


@_draws(Form.JACK_35)
def _jack_35(parent: ET.Element) -> None:
    _round_jack(parent, 12, 5)


@_draws(Form.JACK_635)
def _jack_635(parent: ET.Element) -> None:
    _round_jack(parent, 19, 9)


@_draws(Form.HDMI)
def _hdmi(parent: ET.Element) -> None:
    put(parent, "path", d="M4 16h40v10l-6 7H10l-6 -7z", fill=HOLE, stroke=INK, stroke_width=3)
    put(parent, "path", d="M12 22h24", stroke=INK, stroke_width=3)


@_draws(Form.SCART)
def _scart(parent: ET.Element) -> None:
    put(parent, "path", d="M3 15h42v13l-4 5H3z", fill=HOLE, stroke=INK, stroke_width=3)
    for x in range(9, 41, 5):
        put(parent, "path", d=f"M{x} 20v3M{x} 25v3", stroke=INK, stroke_width=2.2)


@_draws(Form.DIN_5)
def _din_5(parent: ET.Element) -> None:
    put(parent, "circle", cx=24, cy=24, r=18, fill=HOLE, stroke=INK, stroke_width=3)
    for turn in (0, 45, 90, 135, 180):  # five pins on the lower half circle
        x, y = 24 + 11 * math.cos(math.radians(turn)), 22 + 11 * math.sin(math.radians(turn))
        put(parent, "circle", cx=x, cy=y, r=2.6, fill=INK)
    put(parent, "rect", x=20.5, y=4, width=7, height=6, fill=INK)


@_draws(Form.SPEAKER_TERMINALS)
def _speaker_terminals(parent: ET.Element) -> None:
    for x in (4, 26):
        put(parent, "rect", x=x, y=10, width=18, height=28, rx=2, fill=HOLE, stroke=INK, stroke_width=3)
    put(parent, "path", d="M8 24h10M13 19v10M30 24h10", stroke=INK, stroke_width=3)


@_draws(Form.BLUETOOTH)
def _bluetooth(parent: ET.Element) -> None:
    # waves from a dot: no plug at all
    put(parent, "circle", cx=12, cy=24, r=4, fill=INK)
    put(
        parent,
        "path",
        d="M20 16q7 8 0 16M27 11q12 13 0 26M34 6q17 18 0 36",
        fill="none",
        stroke=INK,
        stroke_width=3,
    )


@_draws(Form.D_SUB)
def _d_sub(parent: ET.Element) -> None:
    put(parent, "path", d="M4 15h40l-5 18H9z", fill=HOLE, stroke=INK, stroke_width=3)
    for x in range(13, 36, 5):
        put(parent, "circle", cx=x, cy=21, r=1.7, fill=INK)
        put(parent, "circle", cx=x, cy=28, r=1.7, fill=INK)


@_draws(Form.USB)
def _usb(parent: ET.Element) -> None:
    put(parent, "rect", x=6, y=14, width=36, height=20, fill=HOLE, stroke=INK, stroke_width=3)
    put(parent, "rect", x=11, y=19, width=26, height=5, fill=INK)


@_draws(Form.ANTENNA)
def _antenna(parent: ET.Element) -> None:
    put(parent, "circle", cx=24, cy=26, r=14, fill=HOLE, stroke=INK, stroke_width=3)
    put(parent, "circle", cx=24, cy=26, r=2.5, fill=INK)
    put(parent, "path", d="M12 3l12 9l12 -9", fill="none", stroke=INK, stroke_width=3)


@_draws(Form.OTHER)
def _other(parent: ET.Element) -> None:
    put(
        parent,
        "rect",
        x=6,
        y=12,
        width=36,
        height=24,
        rx=4,
        fill=HOLE,
        stroke=INK,
        stroke_width=3,
        stroke_dasharray="5 4",
    )


@_draws(Form.XLR)
def _xlr(parent: ET.Element) -> None:
    put(parent, "circle", cx=24, cy=24, r=19, fill=HOLE, stroke=INK, stroke_width=3)
    for turn in (30, 150, 270):  # three pins
        x, y = 24 + 9 * math.cos(math.radians(turn)), 24 + 9 * math.sin(math.radians(turn))
        put(parent, "circle", cx=round(x, 2), cy=round(y, 2), r=3, fill=INK)


@_draws(Form.TERMINAL_BLOCK)
def _terminal_block(parent: ET.Element) -> None:
    put(parent, "rect", x=4, y=12, width=40, height=24, fill=HOLE, stroke=INK, stroke_width=3)
    for x in (11, 24, 37):  # screws with their slots
        put(parent, "circle", cx=x, cy=24, r=5, fill=HOLE, stroke=INK, stroke_width=2)
        put(parent, "path", d=f"M{x - 3} 27l6 -6", stroke=INK, stroke_width=2)


@_draws(Form.RJ45)
def _rj45(parent: ET.Element) -> None:
    put(parent, "path", d="M8 10h32v22h-8v6H16v-6H8z", fill=HOLE, stroke=INK, stroke_width=3)
    for x in range(13, 37, 3):  # eight contacts
        put(parent, "path", d=f"M{x} 12v7", stroke=INK, stroke_width=1.5)
