"""How is a file written so that it is there whole, or not at all?

What is written goes into an unfinished file beside it, which takes its place when all of it is on the disk. A
crash leaves the old file as it was, and at most a ``.part`` that `jackfield doctor --mend` removes.
"""

from __future__ import annotations

import errno
import os
import secrets
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import IO, Final, cast

MINE: Final = 0o600  #: read and written by its owner alone
USUAL: Final = 0o666  #: whatever the user's mask leaves of it

_LONGEST: Final = 100  # characters of the name that an unfinished file keeps: more may not fit beside


@contextmanager
def whole(path: Path, mode: int = MINE, *, packed: bool = False) -> Iterator[IO[bytes]]:
    """A file to write to, that takes the place of ``path`` at the end; ``packed`` as gzip.

    Its folder must be there. Raises OSError; whatever is raised meanwhile leaves ``path`` as it was.
    """
    unfinished = path.with_name(f".{path.name[:_LONGEST]}.{secrets.token_hex(4)}.part")
    try:
        with open(os.open(unfinished, os.O_CREAT | os.O_EXCL | os.O_WRONLY, mode), "wb") as file:
            if packed:
                import gzip  # settings are written without it

                with gzip.GzipFile("", "wb", fileobj=file, mtime=0) as inside:
                    yield cast(IO[bytes], inside)
            else:
                yield file
            file.flush()
            os.fsync(file.fileno())
        unfinished.replace(path)
        sync_names(path.parent)
    finally:
        with suppress(OSError):
            unfinished.unlink(missing_ok=True)


def put_new(unfinished: Path, path: Path) -> None:
    """Let a finished file take its place at ``path``, but not that of another file.

    Raises FileExistsError where one is there, OSError.
    """
    try:
        os.link(unfinished, path)
    except FileExistsError:
        raise
    except OSError:  # a disk without links
        if os.path.lexists(path):
            raise FileExistsError(errno.EEXIST, os.strerror(errno.EEXIST), str(path)) from None
        unfinished.rename(path)
    else:
        unfinished.unlink()
    sync_names(path.parent)


def sync_names(folder: Path) -> None:
    """Have the disk keep a folder's list of names, so that what was renamed stays so when the power fails.

    Windows keeps names by itself; of a disk that cannot, no more can be had, and what was written is there.
    """
    if os.name == "nt":  # pragma: no cover (a folder cannot be opened there)
        return
    with suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def write_mine(path: Path, content: bytes) -> None:
    """Write a file that its owner alone reads, in a folder of his alone if there is none. Raises OSError."""
    path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    with whole(path) as file:
        file.write(content)
