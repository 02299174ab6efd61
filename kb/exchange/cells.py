"""How does a text stand in a CSV cell so that no spreadsheet runs it, and comes back as it was?

RFC 4180 for the shape; for the formulas what OWASP advises against CSV injection: a cell that begins with
``=``, ``+``, ``-``, ``@``, a tab or a line end (or their full-width forms) gets a single quote in front.

>>> guarded("=SUM(A1)"), guarded("'=x"), guarded("5'"), plain(guarded("-3 dB"))
("'=SUM(A1)", "''=x", "5'", '-3 dB')
"""

from __future__ import annotations

import re
from typing import Final

_RISKY: Final = re.compile(r"'*[=+\-@\t\r\n＝＋－＠]")
_GUARDED: Final = re.compile(r"'+[=+\-@\t\r\n＝＋－＠]")


def guarded(cell: str) -> str:
    """The text of a cell with a quote in front where a spreadsheet might run it."""
    return "'" + cell if _RISKY.match(cell) else cell


def plain(cell: str) -> str:
    """The text that was guarded; any other text as it is."""
    return cell[1:] if _GUARDED.match(cell) else cell
