"""How is a small file written beside the book, whole or not at all, for its owner alone?"""

from __future__ import annotations

import os
import secrets
from contextlib import suppress
from pathlib import Path

from kb.errors import BookTrouble, ascii_controls


def folder(path: Path) -> Path:
    """The folder, made if missing, that only its owner looks into. Raises BookTrouble."""
    try:
        path.mkdir(mode=0o700, parents=True, exist_ok=True)
    except OSError as problem:
        raise BookTrouble(f"{path}: {_why(problem)}") from problem
    return path


def write(path: Path, content: bytes) -> None:
    """Put ``content`` at ``path`` in one step; on the disk when this returns. Raises BookTrouble."""
    part = path.with_name(f".{path.name}.{secrets.token_hex(4)}.part")
    try:
        folder(path.parent)
        with open(os.open(part, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600), "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        os.replace(part, path)
    except OSError as problem:
        raise BookTrouble(f"{path}: {_why(problem)}; nothing was changed") from problem
    finally:
        with suppress(OSError):
            part.unlink(missing_ok=True)


def _why(problem: OSError) -> str:
    return ascii_controls(problem.strerror or str(problem))
