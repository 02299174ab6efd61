"""Write a small file next to the book, completely or not at all, for its owner alone."""

from __future__ import annotations

from pathlib import Path

from kb.base.atomic import write_mine
from kb.base.errors import BookTrouble, unchanged, why_of
from kb.base.files import private_folder
from kb.base.messages import Said


def folder(path: Path) -> Path:
    """The folder, made if missing, that only its owner looks into. Raises BookTrouble."""
    try:
        private_folder(path)
    except OSError as problem:
        raise BookTrouble(Said("error/place-why", place=path, why=why_of(problem))) from problem
    return path


def write(path: Path, content: bytes) -> None:
    """Put ``content`` at ``path`` in one step; on the disk when this returns. Raises BookTrouble."""
    try:
        write_mine(path, content)
    except OSError as problem:
        raise BookTrouble(Said("error/place-why", place=path, why=unchanged(why_of(problem)))) from problem
