"""Locate the files of the index, and say which of them are in use.

::

    folder/current          one line: the name of the generation in use, replaced atomically
    folder/lock.sqlite      held by the writer; released by the system when its process ends
    folder/gen-XXXX/        one generation: keys.sqlite, bits-N, words/

A rebuild makes a new generation next to the old one and then swaps ``current``. A reader that has the old one
open keeps it. Only the owner can read the files.
"""

from __future__ import annotations

import os
import re
import sqlite3
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from types import MappingProxyType
from zlib import crc32

from kb.base.errors import BookTrouble
from kb.base.files import make_empty

_NAME = re.compile(r"gen-[0-9a-f]{16}\Z")
CURRENT, LOCK, KEYS, WORDS = "current", "lock.sqlite", "keys.sqlite", "words"
LOCK_WAIT_S = 60.0


def current(folder: Path) -> Path | None:
    """Return the folder of the generation in use, None if there is none."""
    try:
        with open(folder / CURRENT, encoding="ascii") as file:
            name = file.read(40).strip()
    except (OSError, UnicodeDecodeError):
        return None
    if not _NAME.match(name):  # the file is data, never a path
        return None
    return folder / name


def new_generation(folder: Path) -> Path:
    """Make a fresh, empty generation folder, not yet in use."""
    import secrets  # a lookup does not load modules that only writers need

    make_private(folder)
    path = folder / f"gen-{secrets.token_hex(8)}"
    path.mkdir(mode=0o700)
    return path


def put_in_force(folder: Path, generation: Path) -> None:
    """Use ``generation`` from now on, and drop the others."""
    import secrets
    import shutil

    draft = folder / f".{CURRENT}-{secrets.token_hex(4)}"
    with open(os.open(draft, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w", encoding="ascii") as file:
        file.write(generation.name + "\n")
        file.flush()
        os.fsync(file.fileno())
    _make_way(folder / CURRENT)
    os.replace(draft, folder / CURRENT)
    for other in folder.iterdir():
        if _NAME.match(other.name) and other.name != generation.name:
            # If the system locks open files, the next rebuild removes the rest.
            shutil.rmtree(other, ignore_errors=True)
        elif other.name.startswith(f".{CURRENT}-"):
            other.unlink(missing_ok=True)


def _make_way(path: Path) -> None:
    """Rename a folder that has the name of a file, since its content is unknown."""
    import secrets

    if path.is_dir():
        path.rename(path.with_name(f"{path.name}-was-a-folder-{secrets.token_hex(4)}"))


def crcs(folder: Path, known: Mapping[str, int] = MappingProxyType({})) -> dict[str, int]:
    """Return the CRC-32 of each file of the words in ``folder``.

    Such a file never changes under its name, so those in ``known`` are not computed again.
    """
    return {
        path.name: known[path.name] if path.name in known else _crc(path)
        for pattern in ("*.seg", "_*.toc")
        for path in folder.glob(pattern)
    }


def damaged(folder: Path, known: Mapping[str, int]) -> str | None:
    """Return the name of a file of the words that differs from the file written; read each once per process.

    Another process may have taken a missing file away and put others in its place.
    """
    for name, crc in known.items():
        path = folder / name
        try:
            about = path.stat()
            seen = (str(path), about.st_ino, about.st_size, about.st_mtime_ns, crc)
            if seen not in _WHOLE and _crc(path) != crc:
                return name
        except FileNotFoundError:
            continue
        except OSError:
            return name
        _WHOLE.add(seen)
    return None


_WHOLE: set[tuple[str, int, int, int, int]] = set()  # files found to be unchanged


def _crc(path: Path) -> int:
    crc = 0
    with open(path, "rb") as file:
        while some := file.read(1 << 20):
            crc = crc32(some, crc)
    return crc


def make_private(folder: Path) -> None:
    """Make the folder, and make sure that only its owner can look inside."""
    if not folder.parent.is_dir():
        make_private(folder.parent)  # missing parents are made for this user alone, too
    folder.mkdir(exist_ok=True, mode=0o700)
    os.chmod(folder, 0o700)


def private_opener(path: str, flags: int) -> int:
    """Open a new file that only its owner can read; for ``open(..., opener=)``."""
    return os.open(path, flags, 0o600)


@contextmanager
def writing(folder: Path, wait_s: float = LOCK_WAIT_S) -> Iterator[None]:
    """Hold the writer's lock; raises ``BookTrouble`` if another process holds it for ``wait_s`` seconds."""
    try:
        make_private(folder)
        _make_way(folder / LOCK)
        make_empty(folder / LOCK)
        try:
            lock = _locked(folder / LOCK, wait_s)
        except sqlite3.DatabaseError as error:
            if isinstance(error, sqlite3.OperationalError):
                raise
            # Damaged: it holds nothing, so it is emptied. It stays the same file and is not opened for that:
            # the first process to repair it keeps its lock.
            os.truncate(folder / LOCK, 0)
            lock = _locked(folder / LOCK, wait_s)
    except (OSError, sqlite3.Error) as error:
        if "locked" in str(error):
            raise BookTrouble(f"index folder {folder}: another Jackfield is writing to it") from error
        raise BookTrouble(f"index folder {folder}: cannot be written ({error})") from error
    try:
        yield
    finally:
        lock.close()


def _locked(path: Path, wait_s: float) -> sqlite3.Connection:
    """Return the lock file, held until the connection is closed or its process ends."""
    lock = sqlite3.connect(path, timeout=wait_s, isolation_level=None)
    try:
        lock.execute("BEGIN EXCLUSIVE")
    except BaseException:
        lock.close()
        raise
    return lock
