"""Open a file that a person named, and write the URI with which SQLite opens one.

A pipe or a device would be waited for without end. A file that SQLite keeps is opened by SQLite alone: POSIX
locks belong to a process, and fall when the process closes any descriptor of the file; another program then
deletes the log under it, or writes at the same time (sqlite.org/howtocorrupt.html, section 2.2). What has to
be known of such a file is asked of its name (``stat``), or of SQLite.

>>> import os
>>> open_plain(Path(os.devnull), os.devnull)
Traceback (most recent call last):
    ...
kb.base.errors.BadInput: ...: saw a pipe or a device, expected a file
"""

from __future__ import annotations

import os
import stat
from collections.abc import Iterator
from itertools import count
from pathlib import Path
from typing import IO, Final, NamedTuple
from urllib.parse import quote

from kb.base.errors import BadInput, BookTrouble
from kb.base.messages import Said, Wording

_FILE: Final = Said("expected/file")
_SEEN: Final = Said("seen/pipe-or-device")
#: Endings of the files that SQLite keeps next to a database in use (sqlite.org/tempfiles.html).
SQLITE_ENDINGS: Final = ("-wal", "-shm", "-journal")


def open_plain(path: Path, place: Wording, expected: Wording = _FILE) -> IO[bytes]:
    """The file, open for reading from its start.

    Raises BadInput naming ``place`` where it is no plain file, or a database that is in use; OSError where it
    cannot be opened.
    """
    if path.name and _in_use(path):
        raise BadInput(place, Said("seen/database-in-use"), expected)
    # Without this, opening a pipe waits for a writer. What was opened is looked at, not its name.
    handle = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0))
    try:
        mode = os.fstat(handle).st_mode
        if stat.S_ISDIR(mode):
            raise BadInput(place, Said("seen/folder"), expected)
        if not stat.S_ISREG(mode):
            raise BadInput(place, _SEEN, expected)
        return open(handle, "rb")
    except BaseException:
        os.close(handle)
        raise


def private_folder(path: Path) -> None:
    """Make a folder for its owner alone, and those around it that are missing, too. Raises OSError.

    ``mkdir(parents=True)`` would make the outer ones as open as the user's mask says.
    """
    try:
        path.mkdir(mode=0o700)
    except FileNotFoundError:
        if path.parent == path:
            raise
        private_folder(path.parent)
        path.mkdir(mode=0o700, exist_ok=True)
    except OSError:  # a system may refuse in other words than "exists"
        if not path.is_dir():
            raise


def refuse_special(path: Path) -> None:
    """Raise BookTrouble where something is there that SQLite would wait for, or write into."""
    if path.exists() and not path.is_file():
        seen = Said("seen/folder") if path.is_dir() else _SEEN
        raise BookTrouble(Said("error/expected-file", place=path, seen=seen))


def refuse_special_output(path: Path) -> None:
    """Raise BadInput where something is there in whose place no file may be put."""
    if path.exists() and not path.is_file():
        raise BadInput(str(path), Said("seen/folder") if path.is_dir() else _SEEN, _FILE)


class Way(NamedTuple):
    """How a file is opened for reading. ``stood``: how it stood before, where no lock keeps others from
    writing to it; what was read then holds only if it stands so still (``moved``)."""

    uri: str
    stood: tuple[int, ...] | None = None


def readable(path: Path) -> Iterator[Way]:
    """Ways to open the file for reading only, the safe way first; the next is for where one has failed.

    In a folder where nothing may be made, or on a disk without room, SQLite cannot share a book in
    write-ahead mode. Where no write-ahead log has anything in it, nobody is writing, and the file can be
    read as it is. Where somebody begins to meanwhile, the safe way is open again.
    """
    for _ in range(_ROUNDS):
        yield Way(uri_of(path))
        stood = _stands(path)
        if stood is None:
            return
        yield (way := Way(f"{uri_of(path)}&immutable=1", stood))
        if not moved(path, way):
            return


def moved(path: Path, way: Way) -> bool:
    """Whether another program may have written to the file since it was opened without locks."""
    return way.stood is not None and way.stood != _stands(path)


_ROUNDS: Final = 3


def _stands(path: Path) -> tuple[int, ...] | None:
    """Of the file and of what SQLite keeps beside it: which it is, size, last change. None if it has a
    log with something in it, or one that cannot be looked at."""
    said: list[int] = []
    for ending in ("", *SQLITE_ENDINGS):
        try:
            about = path.with_name(f"{path.name}{ending}").stat()
        except FileNotFoundError:
            said.append(-1)
            continue
        except OSError:
            return None
        if ending == "-wal" and about.st_size:
            return None
        said += (about.st_ino, about.st_size, about.st_mtime_ns)
    return tuple(said)


def _in_use(path: Path) -> bool:
    """Whether this is a database with a log next to it, or such a log."""
    for ending in SQLITE_ENDINGS:
        if path.with_name(f"{path.name}{ending}").exists():
            return True
        if path.name.endswith(ending) and path.with_name(path.name.removesuffix(ending)).exists():
            return True
    return False


def free_name(folder: Path, start: str, ending: str) -> Path:
    """A name in ``folder`` that no file has, with none that SQLite keeps beside it: perhaps with a number."""
    names = (folder / f"{start}{f'-{number}' if number > 1 else ''}{ending}" for number in count(1))
    beside = ("", *SQLITE_ENDINGS)
    return next(one for one in names if not any(one.with_name(one.name + end).exists() for end in beside))


def make_empty(path: Path) -> None:
    """Make an empty file for SQLite that only this user may read, if nothing is there. Raises OSError.

    Nothing is opened under its name: another thread may have a connection to it as soon as it is there.
    """
    if path.exists():
        return
    draft = path.with_name(f".{path.name}.{os.urandom(4).hex()}.part")
    os.close(os.open(draft, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600))
    try:
        os.link(draft, path)
    except FileExistsError:  # another program was faster
        return
    except OSError:  # a disk without links; it keeps no rights either, as a rule
        import sqlite3

        sqlite3.connect(uri_of(path, "rwc"), uri=True).close()
        os.chmod(path, 0o600)
    finally:
        os.unlink(draft)


def uri_of(path: Path, mode: str = "ro") -> str:
    """The file as SQLite's URI (sqlite.org/uri.html); ``mode``: ``ro`` or ``rw``; ``rwc`` makes the file.

    >>> uri_of(Path("/van/a book?.sqlite"))
    'file:/van/a%20book%3F.sqlite?mode=ro'
    """
    # As bytes: a name on the disk need not be text.
    return f"file:{quote(os.fsencode(path.absolute()))}?mode={mode}"
