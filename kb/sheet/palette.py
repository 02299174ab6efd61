"""Define the colours on paper.

Contrast is that of WCAG 2.2: text 4.5 to 1 at least (SC 1.4.3), signs 3 to 1 (SC 1.4.11). Text of the
client's page keeps 7 to 1 (SC 1.4.6). No meaning rests on a colour alone.
"""

from __future__ import annotations

from typing import Final

PAPER: Final = "#ffffff"
INK: Final = "#1a1a1a"
QUIET: Final = "#4d4d4d"  #: what is less important, still easily read
LINE: Final = "#6b6b6b"  #: rules and outlines
SHADE: Final = "#eef1f4"  #: behind a jack that is not used, or a table's head
MARK: Final = "#0b4f6c"  #: the used jack, the chain
WARN: Final = "#fff3d6"  #: behind a caution
