"""Find the data files, in the installed package or in a checkout.

>>> data_file("items.toml").name
'items.toml'
"""

from __future__ import annotations

import os.path
from typing import TYPE_CHECKING

from kb.base.errors import BookTrouble

if TYPE_CHECKING:
    from pathlib import Path

_PACKAGE = os.path.dirname(os.path.dirname(os.path.abspath(__file__)))


def data_file(name: str) -> Path:
    """The path of ``data/name``; ``name`` may have folders (``sentences/en.toml``).

    Raises BookTrouble where the file is missing or the name leads out of the folder.
    """
    from pathlib import Path  # costs more than all of the catalogue; the reader does without it

    return Path(located(name))


def located(name: str) -> str:
    """The path as text. The wheel carries ``data`` as ``kb/data``; that one is looked for first, since
    what lies beside an installed package is anybody's."""
    if not name or os.path.isabs(name) or ".." in name.replace("\\", "/").split("/"):
        raise BookTrouble(f"data/{name}: not a name inside the data folder")
    for folder in (_PACKAGE, os.path.dirname(_PACKAGE)):
        found = os.path.join(folder, "data", name)
        if os.path.exists(found):
            return found
    raise BookTrouble(f"data/{name}: missing from this installation")
