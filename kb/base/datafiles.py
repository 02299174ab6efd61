"""Find and parse the data files, in the installed package or in a checkout.

>>> data_file("items.toml").name
'items.toml'
"""

from __future__ import annotations

import os.path
from typing import TYPE_CHECKING, Any, Final

from kb.base.errors import BadInput, BookTrouble, described
from kb.base.parsing import toml_of

if TYPE_CHECKING:
    from pathlib import Path

LARGEST: Final = 1_000_000  #: characters of a data file
_PACKAGE = os.path.dirname(os.path.dirname(os.path.abspath(__file__)))


def data_file(name: str) -> Path:
    """The path of ``data/name``; ``name`` may have folders (``sentences/en.toml``).

    Raises BookTrouble where the file is missing or the name leads out of the folder.
    """
    from pathlib import Path  # costs more than all of the catalogue; the reader does without it

    return Path(located(name))


def data_tables(name: str) -> dict[str, Any]:
    """The parsed tables of ``data/name``. Raises BookTrouble if the installation is damaged."""
    try:
        return tables_of(located(name), f"data/{name}")
    except BadInput as damage:
        raise BookTrouble(f"a file that came with Jackfield is damaged: {damage}") from damage


def tables_of(file: str | os.PathLike[str], place: str) -> dict[str, Any]:
    """The parsed tables of a TOML file. Raises BadInput naming the file by ``place``."""
    try:
        with open(file, encoding="utf-8") as opened:
            text = opened.read(LARGEST + 1)
    except (OSError, ValueError) as wrong:  # ValueError: no UTF-8
        raise BadInput(place, str(wrong), _READABLE) from wrong
    if len(text) > LARGEST:
        raise BadInput(place, described(f"more than {LARGEST} characters"), f"at most {LARGEST}")
    return toml_of(text, place, _READABLE)


_READABLE: Final = "a readable TOML file"


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
