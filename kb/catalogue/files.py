"""Where do the data files lie: in the installed package, or beside it in a checkout?

>>> data_file("items.toml").name
'items.toml'
"""

from __future__ import annotations

from pathlib import Path

from kb.errors import BookTrouble

_PACKAGE = Path(__file__).resolve().parents[1]


def data_file(name: str) -> Path:
    """The path of ``data/name``; ``name`` may have folders (``demo/visits.json``).

    The wheel carries ``data`` as ``kb/data``; that one is looked for first, since what lies beside an
    installed package is anybody's. Raises BookTrouble where the file is missing or the name leads out.
    """
    if not name or name.startswith(("/", "\\")) or ".." in Path(name).parts:
        raise BookTrouble(f"data/{name}: not a name inside the data folder")
    for folder in (_PACKAGE / "data", _PACKAGE.parent / "data"):
        found = folder / name
        if found.exists():
            return found
    raise BookTrouble(f"data/{name}: missing from this installation")
