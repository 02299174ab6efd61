"""Draw the field from above: room, wire, listening area and the lines of the tolerance.

Needs matplotlib, the extra ``jackfield[plot]``; it is imported only when a picture is drawn. Pictures are
returned as bytes, and the same answer gives the same bytes.
"""

from __future__ import annotations

import io
import math
from typing import TYPE_CHECKING, Final, Literal

from kb.base.errors import MissingExtra
from kb.domain.language import ENGLISH, Language
from kb.loop.field import STANDING_M_AHEAD, grid, level_db
from kb.loop.plan import Answer
from kb.loop.sentences import Amount
from kb.loop.units import FOOT_M, show_length
from kb.loop.wire_layouts import Group

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.contour import QuadContourSet
    from matplotlib.figure import Figure

#: Points across the longer side of the picture.
_FINENESS: Final = 90
#: Floor drawn outside the wire, metres.
_BORDER_M: Final = 0.5
#: Edges of the shaded bands, dB re 400 mA/m.
_BANDS_DB: Final = (-60.0, -12.0, -9.0, -6.0, -3.0, -1.0, 1.0, 3.0, 6.0, 9.0, 90.0)
#: The lines of the tolerance are drawn this much farther out. If the current is chosen to bring the strongest
#: spot to +3 dB, the spots of the picture differ from it by thousandths, and would show as specks.
_HAIR_DB: Final = 0.05
#: From too weak (blue) over right (near white) to too strong (red-brown), distinct for the colour-blind, too.
_SHADES: Final = (
    "#1f4e8c", "#3f74b0", "#6f9fcf", "#a9c8e4", "#e4eee0",
    "#f7f7ee", "#efe9d2", "#f2b98a", "#dd8452", "#b5522f",
)  # fmt: skip


def draw(
    answer: Answer,
    kind: Literal["svg", "png"],
    plane: int = 0,
    *,
    feet: bool = False,
    language: Language = ENGLISH,
) -> bytes:
    """Return the field map of one listening plane as an SVG or PNG document; axes in metres or in ``feet``.

    Levels are for the current that brings the listening area within the tolerance, or 400 mA/m at the centre
    where none does. Outside the wire the field points down; a meter and a telecoil do not mind, so its amount
    is shown. Raises MissingExtra when the plotting library is not installed.
    """
    try:
        import matplotlib
        from matplotlib.backends.backend_agg import FigureCanvasAgg
        from matplotlib.backends.backend_svg import FigureCanvasSVG
        from matplotlib.figure import Figure
    except ImportError as trouble:
        raise MissingExtra("picture", trouble.name, "plot") from trouble
    with matplotlib.rc_context(
        {
            "svg.hashsalt": "jackfield",
            "svg.fonttype": "none",
            "font.family": "DejaVu Sans",
            "axes.titlesize": "medium",
            "legend.fontsize": "small",
            "legend.frameon": False,
        }
    ):
        figure = Figure(figsize=_inches(answer), layout="constrained")
        canvas = FigureCanvasSVG(figure) if kind == "svg" else FigureCanvasAgg(figure)
        axes = figure.add_subplot()
        unit = FOOT_M if feet else 1.0
        _field(answer, plane, axes, figure, unit)
        _room(answer, axes, unit, language)
        figure.legend(loc="outside lower center", ncols=3)
        _words(answer, plane, axes, feet=feet, language=language)
        out = io.BytesIO()
        # no date and no version inside, so that the same room gives the same file
        if kind == "svg":
            canvas.print_figure(out, format="svg", metadata={"Date": None, "Creator": None})
        else:
            canvas.print_figure(out, format="png", dpi=150, metadata={"Software": None})
    return out.getvalue()


def _border(answer: Answer) -> float:
    """Return how much floor is drawn outside the wire, metres: more if the user asks for the spill."""
    spilt = answer.shown_spill
    if answer.ask.in_front:
        return _BORDER_M + STANDING_M_AHEAD[1]
    if spilt is None:
        return _BORDER_M
    return min(max(_BORDER_M, 1.1 * spilt.reach_m), 3 * answer.loop.shorter_side)


def _floor(answer: Answer) -> tuple[float, float, float, float]:
    """Return the rectangle of floor that is drawn: (x low, x high, y low, y high), metres."""
    x0, x1, y0, y1 = answer.loop.box
    border = _border(answer)
    return x0 - border, x1 + border, y0 - border, y1 + border


def _inches(answer: Answer) -> tuple[float, float]:
    """Return width and height of the picture: the room's own shape, within what fits a page."""
    x0, x1, y0, y1 = _floor(answer)
    return 7.2, min(9.0, max(3.4, 5.4 * (y1 - y0) / (x1 - x0) + 1.6))


def _field(answer: Answer, plane: int, axes: Axes, figure: Figure, unit: float) -> None:
    """Shade the levels and draw the lines of the tolerance."""
    most = answer.planes[plane].tolerance_db
    x0, x1, y0, y1 = _floor(answer)
    wide, deep = x1 - x0, y1 - y0
    columns = max(20, round(_FINENESS * min(1.0, wide / deep)))
    rows = max(20, round(_FINENESS * min(1.0, deep / wide)))
    current = answer.shown_a * answer.metal_gain
    own = answer.drawn.field if answer.drawn else None
    levels = [
        [level_db(abs(field) * current) for field in line]
        for line in grid(answer.loop, answer.planes[plane].height, columns, rows, _border(answer), own)
    ]
    xs = [(x0 + wide * column / (columns - 1)) / unit for column in range(columns)]
    ys = [(y0 + deep * row / (rows - 1)) / unit for row in range(rows)]
    edges = [edge + math.copysign(_HAIR_DB, edge) if abs(edge) == most else edge for edge in _BANDS_DB]
    shaded = axes.contourf(xs, ys, levels, levels=edges, colors=_SHADES)
    lines = axes.contour(
        xs,
        ys,
        levels,
        levels=(-most - _HAIR_DB, most + _HAIR_DB),
        colors="#222222",
        linestyles="solid",
    )
    _say_levels(axes, lines)
    if spilt := answer.shown_spill:
        asked, loop, half = spilt.asked_db, answer.loop, spilt.reach_m / 2
        # near the wire the vertical part vanishes once; the line is where the field is left for good, and no
        # line is drawn nearer
        outer = [
            [
                level if loop.clearance((x * unit, y * unit)) > half else math.nan
                for x, level in zip(xs, line, strict=True)
            ]
            for y, line in zip(ys, levels, strict=True)
        ]
        far = axes.contour(xs, ys, outer, levels=(asked,), colors="#ffffff", linestyles="dashed")
        _say_levels(axes, far)
    bar = figure.colorbar(shaded, ax=axes)
    bar.set_ticks(edges[1:-1], labels=[f"{edge:+g}" for edge in _BANDS_DB[1:-1]])
    bar.set_label("dB re 400 mA/m")


def _say_levels(axes: Axes, lines: QuadContourSet) -> None:
    axes.clabel(lines, fmt=lambda value: f"{value:+.0f} dB", fontsize="small")


def _room(answer: Answer, axes: Axes, unit: float, language: Language) -> None:
    """Draw the wire, the listening area and the commissioning point."""
    groups = answer.drawn.groups if answer.drawn else (Group(((answer.loop, 1),)),)
    for number, group in enumerate(groups):
        for count, (loop, _) in enumerate(group.loops):
            axes.plot(
                [x / unit for x, _ in (*loop.spots, loop.spots[0])],
                [y / unit for _, y in (*loop.spots, loop.spots[0])],
                color=("#7a1fa2", "#0b6e4f")[number],
                linewidth=2.5,
                linestyle=("solid", "dashed")[number],
                label="_" if count else language(("loop/picture/wire", "loop/picture/wire-later")[number]),
            )
    if answer.ask.in_front:
        spots = answer.planes[0].spots
        axes.plot(
            [x / unit for x, _ in spots],
            [y / unit for _, y in spots],
            marker="x",
            color="#222222",
            linestyle="none",
            label=language("loop/picture/points"),
        )
        return
    area = [answer.loop.inset(answer.ask.margin)] if answer.ask.margin > 0 else []
    for outline in area:
        axes.plot(
            [x / unit for x, _ in (*outline, outline[0])],
            [y / unit for _, y in (*outline, outline[0])],
            color="#222222",
            linestyle="dashed",
            label=language("loop/picture/area"),
        )
    if answer.drawn:
        return
    x, y = answer.loop.commissioning_point
    axes.plot(
        [x / unit],
        [y / unit],
        marker="+",
        markersize=12,
        color="#222222",
        linestyle="none",
        label=language("loop/picture/point"),
    )


def _words(answer: Answer, plane: int, axes: Axes, *, feet: bool, language: Language) -> None:
    """Say what the picture shows; all of it is computed, none of it typed by anyone."""
    shown, wire = answer.planes[plane], answer.wire.label
    key = "loop/picture/above-floor"
    height = shown.height
    if answer.distance_only and shown.offset is not None:
        key, height = "loop/picture/from-loop", shown.offset
    turns = answer.drawn.turns if answer.drawn else answer.loop.turns
    wound = language("cli/loop/wound", count=turns, wire=wire)
    if answer.drawn:
        wound = language("loop/picture/layout", layout=answer.drawn.kind, wound=wound)
    metal = answer.ask.metal_db
    title = language(
        "loop/picture/title",
        place=language(key, height=language.number(show_length(height, feet=feet))),
        current=Amount(answer.shown_a).shown(language),
        wound=wound,
        metal=language("loop/picture/metal", metal=metal) if metal else "",
    )
    axes.set_title(title)
    axes.set_xlabel("ft" if feet else "m")
    axes.set_ylabel("ft" if feet else "m")
    axes.set_aspect("equal")
