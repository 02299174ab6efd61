"""Find the folder of data files, in the installed package or in a checkout."""

from __future__ import annotations

import os.path
from typing import Final

_PACKAGE: Final = os.path.dirname(os.path.dirname(os.path.abspath(__file__)))


def data_path(name: str) -> str | None:
    """The path of ``data/name``, None if it is not there.

    The wheel carries ``data`` as ``kb/data``; that one is looked for first, since a folder next to an
    installed package may belong to anybody.
    """
    for folder in (_PACKAGE, os.path.dirname(_PACKAGE)):
        found = os.path.join(folder, "data", name)
        if os.path.exists(found):
            return found
    return None
