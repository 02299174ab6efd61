"""Find and parse the data files, in the installed package or in a checkout.

>>> data_file("items.toml").name
'items.toml'
"""

from __future__ import annotations

import os.path
from typing import TYPE_CHECKING, Any, Final

from kb.base.datafolder import data_path
from kb.base.errors import BadInput, BookTrouble, kind_of
from kb.base.messages import Said, Wording
from kb.base.parsing import json_of, toml_of

if TYPE_CHECKING:
    from pathlib import Path

LARGEST: Final = 1_000_000  #: characters of a data file


def data_file(name: str) -> Path:
    """The path of ``data/name``; ``name`` may have folders (``messages/en/path.json``).

    Raises BookTrouble if the file is missing or the name leads out of the folder.
    """
    from pathlib import Path  # costs more than all of the catalogue; the reader does without it

    return Path(located(name))


def data_tables(name: str) -> dict[str, Any]:
    """The parsed tables of ``data/name``. Raises BookTrouble if the installation is damaged."""
    try:
        return tables_of(located(name), f"data/{name}")
    except BadInput as damage:
        raise BookTrouble(Said("error/data-damaged", damage=damage)) from damage


def data_object(name: str) -> dict[str, Any]:
    """The JSON object in ``data/name``; parsing JSON is much faster than TOML. Raises BadInput."""
    place = f"data/{name}"
    data = json_of(_text_of(located(name), place, Said("expected/readable-json")), place, by_line=True)
    if not isinstance(data, dict):
        raise BadInput(place, kind_of(data), Said("expected/object"))
    return data


def tables_of(file: str | os.PathLike[str], place: Wording) -> dict[str, Any]:
    """The parsed tables of a TOML file. Raises BadInput naming the file by ``place``."""
    return toml_of(_text_of(file, place, _READABLE), place, _READABLE)


def _text_of(file: str | os.PathLike[str], place: Wording, expected: Wording) -> str:
    try:
        with open(file, encoding="utf-8") as opened:
            text = opened.read(LARGEST + 1)
    except (OSError, ValueError) as wrong:  # ValueError: no UTF-8
        raise BadInput(place, str(wrong), expected) from wrong
    if len(text) > LARGEST:
        raise BadInput(
            place, Said("seen/more-than-characters", most=LARGEST), Said("expected/at-most", most=LARGEST)
        )
    return text


_READABLE: Final = Said("expected/readable-toml")


def located(name: str) -> str:
    """The path of ``data/name`` as text. Raises BookTrouble as ``data_file`` does."""
    if not name or os.path.isabs(name) or ".." in name.replace("\\", "/").split("/"):
        raise BookTrouble(Said("error/data-outside", name=name))
    found = data_path(name)
    if found is None:
        raise BookTrouble(Said("error/data-missing", name=name))
    return found
