"""Limit how often a client may ask.

>>> now = [0.0]
>>> limit = Limit(per_s=1, burst=2, now=lambda: now[0])
>>> [limit.take("phone") for _ in range(3)]
[0.0, 0.0, 1.0]
>>> now[0] = 1.0; limit.take("phone")
0.0
"""

from __future__ import annotations

import threading
import time
from collections import OrderedDict
from collections.abc import Callable
from typing import Final

_MOST: Final = 4096  #: who is remembered; the longest unseen are forgotten first


class Limit:
    """So many calls at once (``burst``), and ``per_s`` a second in the long run, for each who asks."""

    def __init__(self, per_s: float, burst: float, now: Callable[[], float] = time.monotonic) -> None:
        self._per_s, self._burst, self._now = per_s, burst, now
        self._left: OrderedDict[str, tuple[float, float]] = OrderedDict()
        self._lock = threading.Lock()

    def take(self, who: str) -> float:
        """0 where ``who`` may go on, else seconds until they may."""
        with self._lock:
            now = self._now()
            left, at = self._left.pop(who, (self._burst, now))
            left = min(self._burst, left + (now - at) * self._per_s)
            wait = 0.0 if left >= 1 else (1 - left) / self._per_s
            self._left[who] = (left - 1 if not wait else left, now)
            while len(self._left) > _MOST:
                self._left.popitem(last=False)
            return wait
