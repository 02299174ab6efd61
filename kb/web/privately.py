"""How is a small file written beside the book, whole or not at all, for its owner alone?

Several threads and several programs may change one file: who changes it takes ``locked`` first, then reads it
and writes it whole.
"""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final

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


@contextmanager
def locked(path: Path) -> Iterator[None]:
    """Be the only one, in any thread of any program, that changes ``path``. Raises BookTrouble.

    The lock is on a file of its own (``.NAME.lock``), as ``path`` is a new file after each change. The system
    drops it when a program dies.
    """
    folder(path.parent)
    lock = path.with_name(f".{path.name}.lock")
    try:
        handle = os.open(lock, os.O_RDWR | os.O_CREAT, 0o600)
    except OSError as problem:
        raise BookTrouble(f"{lock}: {_why(problem)}; nothing was changed") from problem
    try:
        end = time.monotonic() + _PATIENCE_S
        while not _taken(handle):
            if time.monotonic() > end:
                raise BookTrouble(f"{path}: another program is changing it; nothing was changed")
            time.sleep(0.01)
        yield
    finally:
        os.close(handle)  # with its lock


_PATIENCE_S: Final = 10


def _taken(handle: int) -> bool:
    try:
        if sys.platform == "win32":  # pragma: no cover
            import msvcrt

            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
        else:
            import fcntl

            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)  # of this handle: other threads wait as well
    except OSError:
        return False
    return True


def _why(problem: OSError) -> str:
    return ascii_controls(problem.strerror or str(problem))
