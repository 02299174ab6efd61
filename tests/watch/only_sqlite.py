"""Does anything but SQLite open a file that SQLite keeps?

POSIX locks belong to a process: when it closes any descriptor of a file, all its locks on that file fall,
SQLite's too, and another program then deletes or overwrites what it should not (sqlite.org/howtocorrupt.html,
section 2.2). So nothing may open a database, or the log and the shared memory beside it, while this process
has a connection to it. A hook sees every opening of a file in Python, in the tests and in the programs that
they start, and writes what is wrong into one file; ``tests/conftest.py`` fails the test in which it grew.
"""

from __future__ import annotations

import os
import sys
from _thread import _local as Local  # threading would be imported by each program that a test starts

TYPE_CHECKING = False  # so would typing
if TYPE_CHECKING:
    from typing import Any

HERE = os.path.dirname(os.path.abspath(__file__))
REPORT = "JACKFIELD_TEST_REPORT"  #: names the file in the environment, for the programs that tests start
MAGIC = b"SQLite format 3\0"  #: what a database begins with; a new one is empty (sqlite.org/fileformat2.html)
BESIDE = ("-wal", "-shm", "-journal")

_connected: set[tuple[int, int]] = set()  # every database that this process ever connected to
_here = Local()


def _hook(event: str, args: tuple[Any, ...]) -> None:
    if event == "open":
        if isinstance(args[0], (str, bytes)) and _connected and not getattr(_here, "busy", False):
            _here.busy = True
            try:
                _look(os.fsdecode(args[0]))
            finally:
                _here.busy = False
    elif event == "sqlite3.connect":
        _here.connecting = _path(args[0])
    elif event == "sqlite3.connect/handle":
        from contextlib import suppress

        with suppress(OSError):
            _connected.add(_number(os.stat(_here.connecting)))
    elif event == "subprocess.Popen" and args[3] is not None:
        for name, value in guarded(args[3]).items():
            args[3][name] = value


def guarded(env: Any) -> dict[str, str]:
    """What a child's environment must have so that the hook is in it too."""
    python = env.get("PYTHONPATH", "")
    if HERE not in python.split(os.pathsep):
        python = os.pathsep.join(filter(None, (HERE, python)))
    return {"PYTHONPATH": python, REPORT: os.environ.get(REPORT, "")}


def _path(database: Any) -> bytes:
    from urllib.parse import unquote_to_bytes

    name = os.fsencode(database)
    return unquote_to_bytes(name[5:].partition(b"?")[0]) if name.startswith(b"file:") else name


def _number(about: os.stat_result) -> tuple[int, int]:
    return about.st_dev, about.st_ino


def _look(name: str) -> None:
    for ending in ("", *BESIDE):
        if not name.endswith(ending):
            continue
        try:
            database = _number(os.stat(name.removesuffix(ending)))
        except (OSError, ValueError):
            continue
        # Which connections are closed by now Python does not tell, but the process has no file open then.
        if database in _connected and _open(database):
            _complain(name)


def _open(database: tuple[int, int]) -> bool:
    """Whether a database is open here. A deleted one's number may by now be another file's, which does not
    begin as a database does; reading through the handle that is open releases no lock."""
    for handle in os.listdir("/dev/fd"):
        try:
            if _number(os.fstat(int(handle))) == database:
                begins = os.pread(int(handle), len(MAGIC), 0)
                return begins in (MAGIC, b"")
        except OSError:
            continue
    return False


def _complain(name: str) -> None:
    import traceback

    with open(os.environ[REPORT], "a", encoding="utf-8") as report:
        where = "".join(traceback.format_stack(sys._getframe(3), limit=6))
        report.write(f"{name} was opened while SQLite had it open:\n{where}\n")


if os.environ.get(REPORT) and os.path.isdir("/dev/fd"):
    sys.addaudithook(_hook)
