"""Is what was named a file that has an end? A pipe or a device would be waited for without end.

>>> import os
>>> open_plain(Path(os.devnull), os.devnull)
Traceback (most recent call last):
    ...
kb.errors.BadInput: ...: saw a pipe or a device, expected a file
"""

from __future__ import annotations

import os
import stat
from collections.abc import Iterator
from pathlib import Path
from typing import IO, Final
from urllib.parse import quote

from kb.errors import BadInput, BookTrouble, described

_SEEN: Final = described("a pipe or a device")


def open_plain(path: Path, place: str, expected: str = "a file") -> IO[bytes]:
    """The file, open for reading from its start.

    Raises BadInput naming ``place`` where it is no plain file; OSError where it cannot be opened.
    """
    # Without this, opening a pipe waits for a writer. What was opened is looked at, not its name.
    handle = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0))
    try:
        mode = os.fstat(handle).st_mode
        if stat.S_ISDIR(mode):
            raise BadInput(place, described("a folder"), expected)
        if not stat.S_ISREG(mode):
            raise BadInput(place, _SEEN, expected)
        return open(handle, "rb")
    except BaseException:
        os.close(handle)
        raise


def refuse_special(path: Path) -> None:
    """Raise BookTrouble where something is there that SQLite would wait for, or write into."""
    if path.exists() and not path.is_file():
        seen = "a folder" if path.is_dir() else _SEEN
        raise BookTrouble(f"{path}: {seen}, expected a file")


def refuse_special_output(path: Path) -> None:
    """Raise BadInput where something is there in whose place no file may be put."""
    if path.exists() and not path.is_file():
        raise BadInput(str(path), described("a folder") if path.is_dir() else _SEEN, "a file")


def readable(path: Path) -> Iterator[str]:
    """URIs that open the file for reading only, the safe way first.

    In a folder where nothing may be made, or on a disk without room, SQLite cannot share a book in
    write-ahead mode. Where no write-ahead log has anything in it, nobody is writing, and the file can be
    read as it is.
    """
    yield uri_of(path)
    log = path.with_name(f"{path.name}-wal")
    try:
        quiet = log.stat().st_size == 0
    except FileNotFoundError:
        quiet = True
    except OSError:
        return
    if quiet:
        yield f"{uri_of(path)}&immutable=1"


def uri_of(path: Path, mode: str = "ro") -> str:
    """The file as SQLite's URI (sqlite.org/uri.html); ``mode``: ``ro`` or ``rw``, neither makes a file.

    >>> uri_of(Path("/van/a book?.sqlite"))
    'file:/van/a%20book%3F.sqlite?mode=ro'
    """
    # As bytes: a name on the disk need not be text.
    return f"file:{quote(os.fsencode(path.absolute()))}?mode={mode}"
