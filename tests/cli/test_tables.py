"""Tables fit narrow terminals and keep their words whole."""

from __future__ import annotations

import io
import re

import pytest
from rich.console import Console
from rich.table import Table

from kb.cli.tables import fitted

CELLS = ("background noise, driver on", "-52.0 dB(A)", "a limit that is explained at some length", "ok")


def printed(width: int, *, fit: bool, whole: int | None = None) -> list[str]:
    """The lines of a table; ``whole`` is a column whose lines are not to be broken."""
    table = Table.grid(padding=(0, 2))
    for number in range(len(CELLS)):
        table.add_column(no_wrap=number == whole, overflow="fold")
    table.add_row(*CELLS)
    table.add_row("response", "-1.0 dB", "short", "ok")
    console = Console(file=io.StringIO(), width=width, color_system=None)
    console.print(fitted(table, console) if fit else table)
    return str(console.file.getvalue()).splitlines()  # type: ignore[attr-defined]


@pytest.mark.parametrize("width", range(40, 90))
def test_no_word_is_broken_and_no_line_is_too_long(width: int) -> None:
    lines = printed(width, fit=True)
    assert max(map(len, lines)) <= width
    assert set(" ".join(lines).split()) == set(" ".join((*CELLS, "response -1.0 dB short")).split())


def test_rich_alone_breaks_words_there() -> None:
    """What the other test guards against; where this fails, ``fitted`` may go."""
    known = set(" ".join((*CELLS, "response -1.0 dB short")).split())
    assert any(set(" ".join(printed(width, fit=False)).split()) - known for width in range(36, 60))


def test_a_column_that_should_not_wrap_does_so_last() -> None:
    assert any("-52.0 dB(A)" in line for line in printed(60, fit=True, whole=1))
    assert not re.search(r"-52\.0 dB\(A\)", "\n".join(printed(36, fit=True, whole=1)))


def test_a_table_that_fits_is_as_it_was() -> None:
    assert printed(120, fit=True) == printed(120, fit=False)
