"""Write a file completely or not at all.

The content goes into an unfinished file next to it, which replaces the old file when all is on disk. A
crash leaves the old file as it was, and at most a ``.part`` that `jackfield doctor --mend` removes. Whoever
reads a file, changes what it says and writes it holds its folder's lock meanwhile (``changing_files``).
"""

from __future__ import annotations

import errno
import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import IO, TYPE_CHECKING, Final, cast

from kb.base.errors import BookTrouble, unchanged, why_of
from kb.base.files import private_folder, refuse_special
from kb.base.messages import Said

if TYPE_CHECKING:
    import sqlite3

MINE: Final = 0o600  #: read and written by its owner alone
USUAL: Final = 0o666  #: whatever the user's mask leaves of it

LOCK: Final = "changes.lock"  #: empty; locked while a small file of its folder is changed
LOCK_WAIT_S: Final = 30.0

_LONGEST: Final = 100  # characters of the name that an unfinished file keeps


@contextmanager
def whole(path: Path, mode: int = MINE, *, packed: bool = False) -> Iterator[IO[bytes]]:
    """A file to write to, that takes the place of ``path`` at the end; ``packed`` as gzip.

    Its folder must be there. Raises OSError; whatever is raised meanwhile leaves ``path`` as it was.
    """
    import secrets  # loads OpenSSL; a cold look-up writes nothing

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

    Raises FileExistsError if one is there, OSError.
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
    """Write a file that only its owner can read; makes a private folder if needed. Raises OSError."""
    private_folder(path.parent)
    with whole(path) as file:
        file.write(content)


def keep_mine(path: Path, content: bytes) -> None:
    """As ``write_mine``. Raises BookTrouble, which says that nothing was changed."""
    try:
        write_mine(path, content)
    except OSError as problem:
        raise BookTrouble(Said("error/place-why", place=path, why=unchanged(why_of(problem)))) from problem


@contextmanager
def changing_files(folder: Path, wait_s: float = LOCK_WAIT_S) -> Iterator[None]:
    """Keep all other threads and programs from changing the small files of ``folder`` until the block ends.

    Needed for reading such a file, changing it and writing it back; reading alone needs no lock. It cannot
    be taken twice by one thread. The system lets go of it when a program dies. Raises BookTrouble if
    another holds it for ``wait_s`` seconds, or the folder cannot be written to.
    """
    try:
        private_folder(folder)
    except OSError as problem:
        said = why_of(problem)
        raise BookTrouble(Said("error/place-why", place=folder, why=unchanged(said))) from problem
    refuse_special(folder / LOCK)
    lock = _held(folder / LOCK, wait_s)
    try:
        yield
    finally:
        lock.close()


def _held(file: Path, wait_s: float) -> sqlite3.Connection:
    """A lock of SQLite, which works alike on Linux, macOS and Windows; held until it is closed."""
    import sqlite3  # not needed by those who only write

    lock = None
    try:
        # Only SQLite opens this file: to close any other descriptor of it would give up the lock.
        lock = sqlite3.connect(file, timeout=wait_s, isolation_level=None)
        lock.execute("BEGIN EXCLUSIVE")
        with suppress(OSError):  # not ours to change
            file.chmod(MINE)
    except BaseException as problem:
        if lock is not None:
            lock.close()
        if not isinstance(problem, sqlite3.Error):
            raise
        code = getattr(problem, "sqlite_errorcode", sqlite3.SQLITE_ERROR) & 0xFF
        if code == sqlite3.SQLITE_NOTADB:
            raise BookTrouble(Said("error/not-a-lock", place=file)) from problem
        busy = code == sqlite3.SQLITE_BUSY
        said = Said("error/others-change-files") if busy else why_of(problem)
        raise BookTrouble(Said("error/place-why", place=file.parent, why=unchanged(said))) from problem
    return lock
