"""Guard CSV cells so that no spreadsheet runs them, and take the guard off again.

The format follows RFC 4180. Against formulas the guard follows OWASP's page on CSV injection. A cell that
begins with ``=``, ``+``, ``-``, ``@``, a tab or a line end (or a full-width form) gets a single quote in
front. A spreadsheet may split the file at another separator than ours, so the guard also goes after each
separator inside a text.

>>> guarded("=SUM(A1)"), guarded("'=x"), guarded("5'"), guarded("x;=1")
("'=SUM(A1)", "''=x", "5'", "x;'=1")
>>> plain(guarded("loud; -3 dB,\\n+1"))
'loud; -3 dB,\\n+1'
"""

from __future__ import annotations

import re
from typing import Final

_SIGNS: Final = r"=+\-@＝＋－＠"
#: Where a spreadsheet may begin a cell: at each split, and behind blanks and quotes that it drops.
_SPLIT: Final = r"(?<=[,;|\t\r\n])"
_DROPPED: Final = r"""(?:[^\S\t\r\n]|")*"""
_FIRST: Final = rf"'*{_DROPPED}[{_SIGNS}\t\r\n]"
#: A separator at the end of a text is followed by the quote that ends our cell, and the line end.
_LATER: Final = rf"'*{_DROPPED}(?:[{_SIGNS}\t\r]|\Z)"

_PLACES: Final = re.compile(rf"\A(?={_FIRST})|{_SPLIT}(?={_LATER})")
_GUARDS: Final = re.compile(rf"\A'(?={_FIRST})|{_SPLIT}'(?={_LATER})")
_AT_START: Final = re.compile(rf"'+[{_SIGNS}\t\r\n]")


def guarded(cell: str) -> str:
    """Return the text of a cell with a quote where a spreadsheet might begin a formula."""
    return _PLACES.sub("'", cell)


def plain(cell: str) -> str:
    """Return the original text of a guarded cell."""
    return _GUARDS.sub("", cell)


def plain_start(cell: str) -> str:
    """Return a cell of a user's own table without the guard in front; quotes inside its text are theirs."""
    return cell[1:] if _AT_START.match(cell) else cell
