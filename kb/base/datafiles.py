"""Find and parse the data files, in the installed package or in a checkout.

>>> data_file("items.toml").name
'items.toml'
"""

from __future__ import annotations

import os.path
from typing import TYPE_CHECKING, Any, Final

from kb.base.errors import BadInput, BookTrouble, described, kind_of
from kb.base.parsing import json_of, toml_of

if TYPE_CHECKING:
    from pathlib import Path

LARGEST: Final = 1_000_000  #: characters of a data file
_PACKAGE = os.path.dirname(os.path.dirname(os.path.abspath(__file__)))


def data_file(name: str) -> Path:
    """The path of ``data/name``; ``name`` may have folders (``messages/en.json``).

    Raises BookTrouble if the file is missing or the name leads out of the folder.
    """
    from pathlib import Path  # costs more than all of the catalogue; the reader does without it

    return Path(located(name))


def data_tables(name: str) -> dict[str, Any]:
    """The parsed tables of ``data/name``. Raises BookTrouble if the installation is damaged."""
    try:
        return tables_of(located(name), f"data/{name}")
    except BadInput as damage:
        raise BookTrouble(f"a file that came with Jackfield is damaged: {damage}") from damage


def data_object(name: str) -> dict[str, Any]:
    """The JSON object in ``data/name``; parsing JSON is much faster than TOML. Raises BadInput."""
    place = f"data/{name}"
    data = json_of(_text_of(located(name), place, "a readable JSON file"), place, by_line=True)
    if not isinstance(data, dict):
        raise BadInput(place, kind_of(data), "an object")
    return data


def tables_of(file: str | os.PathLike[str], place: str) -> dict[str, Any]:
    """The parsed tables of a TOML file. Raises BadInput naming the file by ``place``."""
    return toml_of(_text_of(file, place, _READABLE), place, _READABLE)


def _text_of(file: str | os.PathLike[str], place: str, expected: str) -> str:
    try:
        with open(file, encoding="utf-8") as opened:
            text = opened.read(LARGEST + 1)
    except (OSError, ValueError) as wrong:  # ValueError: no UTF-8
        raise BadInput(place, str(wrong), expected) from wrong
    if len(text) > LARGEST:
        raise BadInput(place, described(f"more than {LARGEST} characters"), f"at most {LARGEST}")
    return text


_READABLE: Final = "a readable TOML file"


def located(name: str) -> str:
    """The path as text. The wheel carries ``data`` as ``kb/data``; that one is looked for first, since
    a folder next to an installed package may belong to anybody."""
    if not name or os.path.isabs(name) or ".." in name.replace("\\", "/").split("/"):
        raise BookTrouble(f"data/{name}: not a name inside the data folder")
    for folder in (_PACKAGE, os.path.dirname(_PACKAGE)):
        found = os.path.join(folder, "data", name)
        if os.path.exists(found):
            return found
    raise BookTrouble(f"data/{name}: missing from this installation")
