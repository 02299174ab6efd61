"""Name the function that long work calls to tell how far it is."""

from __future__ import annotations

from collections.abc import Callable

#: Called with how much of how much is done.
Progress = Callable[[int, int], None]
