"""Fit tables into narrow terminals without breaking words."""

from __future__ import annotations

from types import MappingProxyType
from typing import TYPE_CHECKING, Any, Final

from kb.cli.common import Session, text

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from rich.console import Console, RenderableType
    from rich.table import Table
    from rich.text import Text

_WIDE: Final = 10_000  # cells; more than any table needs


def fitted(table: Table, console: Console, width: int | None = None) -> Table:
    """The same table, its columns so wide that no word is broken while the longest words fit in one line.

    ``width`` is in cells; without it, that of the console. A column with ``no_wrap`` keeps its lines whole
    while the others can give way. rich alone narrows the widest column first, even below its longest word.
    If the words do not fit, the table is left to rich.
    """
    wide = console.options.update(width=_WIDE)
    words, least, most = [], [], []
    for column in table.columns:
        cells = [*column.cells, column.header] if table.show_header else list(column.cells)
        sizes = [console.measure(cell, options=wide) for cell in cells]
        words.append(max([column.min_width or 1, *(size.minimum for size in sizes)]))
        most.append(max([words[-1], *(size.maximum for size in sizes)]))
        least.append(most[-1] if column.no_wrap else words[-1])
    room = (width or console.width) - (console.measure(table, options=wide).maximum - sum(most))
    if sum(most) <= room or sum(words) > room:
        return table
    given = list(least if sum(least) <= room else words)
    for _ in range(room - sum(given)):  # each cell goes to the column that would need the most lines
        lacking = max(range(len(given)), key=lambda number: most[number] / given[number])
        given[lacking] += 1
    for column, size in zip(table.columns, given, strict=True):
        column.width, column.no_wrap = size, False
    return table


def grid(rows: Iterable[Sequence[RenderableType]], *columns: Mapping[str, Any], gap: int = 2) -> Table:
    """A table without lines and heads, ``gap`` blanks between its columns.

    ``columns`` are what rich says of each; the last one also holds for columns after it.
    """
    from rich.table import Table

    table = Table.grid(padding=(0, gap))
    for row in rows:
        for number in range(len(table.columns), len(row)):
            table.add_column(**columns[min(number, len(columns) - 1)])
        table.add_row(*(text(cell) if isinstance(cell, str) else cell for cell in row))
    return table


#: Columns that keep their lines whole, that may be folded, and that have numbers.
WHOLE: Final = MappingProxyType({"overflow": "fold", "no_wrap": True})
FOLDED: Final = MappingProxyType({"overflow": "fold"})
RIGHT: Final = MappingProxyType({"justify": "right"})


def headed(heads: Sequence[str], rows: Iterable[Sequence[RenderableType]], title: str = "") -> Table:
    """A table with heads, perhaps under a title: text in its first column, numbers at the right after it."""
    from rich import box
    from rich.table import Table

    table = Table(title=title or None, box=box.SIMPLE_HEAD, title_justify="left")
    for number, head in enumerate(heads):
        table.add_column(head, justify="right" if number else "left")
    for row in rows:
        table.add_row(*(text(cell) if isinstance(cell, str) else cell for cell in row))
    return table


def print_rows(session: Session, rows: Iterable[Sequence[str | Text]], whole: int) -> None:
    """Print a grid that fits the terminal; its first ``whole`` columns keep their lines, the others fold."""
    table = grid(rows, *[WHOLE] * whole, FOLDED)
    session.console.print(fitted(table, session.console))
