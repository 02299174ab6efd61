"""How is a small file written beside the book, whole or not at all, for its owner alone?"""

from __future__ import annotations

from pathlib import Path

from kb.errors import BookTrouble, ascii_controls
from kb.whole import write_mine


def folder(path: Path) -> Path:
    """The folder, made if missing, that only its owner looks into. Raises BookTrouble."""
    try:
        path.mkdir(mode=0o700, parents=True, exist_ok=True)
    except OSError as problem:
        raise BookTrouble(f"{path}: {_why(problem)}") from problem
    return path


def write(path: Path, content: bytes) -> None:
    """Put ``content`` at ``path`` in one step; on the disk when this returns. Raises BookTrouble."""
    try:
        write_mine(path, content)
    except OSError as problem:
        raise BookTrouble(f"{path}: {_why(problem)}; nothing was changed") from problem


def _why(problem: OSError) -> str:
    return ascii_controls(problem.strerror or str(problem))
