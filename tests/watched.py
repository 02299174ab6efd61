"""Unclosed databases are seen on every Python, not only from 3.13 on, where sqlite3 itself warns of them."""

from __future__ import annotations

import sqlite3
import sys
import warnings
from functools import partial
from typing import Any


class _Watched(sqlite3.Connection):
    """Warns as Python 3.13 does if it is thrown away unclosed."""

    open = False

    def __init__(self, *given: Any, **more: Any) -> None:
        super().__init__(*given, **more)
        self.open = True

    def close(self) -> None:
        self.open = False
        super().close()

    def __del__(self) -> None:
        if self.open:
            warnings.warn(f"unclosed database in {self!r}", ResourceWarning, source=self, stacklevel=2)


def watch() -> None:
    """From now on."""
    if sys.version_info < (3, 13):
        sqlite3.connect = sqlite3.dbapi2.connect = partial(sqlite3.connect, factory=_Watched)
