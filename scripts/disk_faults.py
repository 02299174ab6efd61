"""What happens when the disk fails in the middle of a command? Each system call on the book, in turn.

    python scripts/disk_faults.py                     a sample of each command
    python scripts/disk_faults.py record restore --all
    python scripts/disk_faults.py backup --call fsync --all

A first run under strace counts the calls that touch the home, the notes or the backups. Then the command
runs once for each of them, on a fresh copy, and that one call fails with an error of the disk (strace's fault
injection). After each run: is the book whole, is what was acknowledged there, is nothing half done, and is
the message an ordinary one?
"""

from __future__ import annotations

import argparse
import json
import os
import random
import re
import shutil
import sqlite3
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

ROOT: Final = Path(__file__).parents[1]
#: Which errors a call is made to fail with (errno(3)).
ERRORS: Final = {
    "openat": ("EMFILE", "EIO", "ENOSPC"),
    "read": ("EIO",),
    "pread64": ("EIO",),
    "write": ("ENOSPC", "EIO"),
    "pwrite64": ("ENOSPC", "EIO"),
    "fsync": ("EIO",),
    "fdatasync": ("EIO",),
    "ftruncate": ("ENOSPC", "EIO"),
    "rename": ("EIO", "ENOSPC"),
    "link": ("EIO", "ENOSPC"),
    "unlink": ("EIO",),
    "mkdir": ("ENOSPC", "EIO"),
    "mmap": ("ENOMEM",),
    "fcntl": ("EIO",),
    "newfstatat": ("EIO",),
}
_CALL: Final = re.compile(r"(\d+) +(\w+)\(")
_TIMEOUT_S: Final = 120


def missing() -> str:
    """Why faults cannot be injected on this machine; "" if they can."""
    if not shutil.which("strace"):
        return "strace is not installed"
    tried = subprocess.run(
        ["strace", "-f", "-qq", "-o", os.devnull, "-e", "inject=fsync:error=EIO:when=1", "true"],
        capture_output=True,
        check=False,
    )
    return "" if tried.returncode == 0 else "strace may not follow programs here"


@dataclass(frozen=True, slots=True)
class Fault:
    """One system call that fails: the ``number``-th call of this kind, from 1."""

    call: str
    number: int
    error: str


@dataclass(frozen=True, slots=True)
class Done:
    """What a command left."""

    code: int
    out: str
    err: str


@dataclass(frozen=True, slots=True)
class Case:
    """A command, what lies there before it, and what has to be true afterwards."""

    name: str
    words: tuple[str, ...]
    """``{}`` stands for the folder of the case."""
    prepare: Callable[[Path], None]
    wrong: Callable[[Path, Done], Iterator[str]]


# -- what has to be true ---------------------------------------------------------------------------


def models(book: Path) -> set[str]:
    """Models of the sets in a book that SQLite finds whole; raises sqlite3.Error if it is not."""
    with closing(sqlite3.connect(f"file:{book}?mode=rw", uri=True)) as one:
        for check in ("integrity_check", "foreign_key_check"):
            wrong = [row[0] for row in one.execute(f"PRAGMA {check}") if row[0] != "ok"]
            if wrong:
                raise sqlite3.DatabaseError(str(wrong[0]))
        half = "SELECT count(*) FROM visit v WHERE NOT EXISTS (SELECT 1 FROM finding f WHERE f.visit = v.id)"
        if one.execute(half).fetchone() != (0,):
            raise sqlite3.DatabaseError("a visit without its finding")
        return {model for (model,) in one.execute("SELECT model FROM visit")}


def _ordinary(done: Done) -> Iterator[str]:
    """Is it an exit code that is promised, with a message for people?"""
    if "Traceback" in done.err or "mistake in Jackfield" in done.err:
        yield "a traceback, or a mistake of our own"
    if done.code not in (0, 2, 3):
        yield f"exit code {done.code}"
    if done.code and not done.err.strip():
        yield "no message"


def _all_or_nothing(before: set[str], new: set[str]) -> Callable[[Path, Done], Iterator[str]]:
    def wrong(folder: Path, done: Done) -> Iterator[str]:
        book = folder / "home" / "book.sqlite"
        there: set[str] = set()
        if before or done.code == 0 or book.exists():
            try:
                there = models(book)
            except sqlite3.Error as problem:
                # Until the first visit a new book may be an empty file, which the next command fills.
                if before or done.code == 0 or (book.stat().st_size and "no such table" not in str(problem)):
                    yield f"the book is damaged: {problem}"
        if there != (before | new if done.code == 0 else before):
            yield f"exit code {done.code}, but the book holds {len(there)} sets"

    return wrong


#: What a command says if its work is done and its answer could not be written.
_UNTOLD: Final = "only this answer could not be written"


def _answer(done: Done) -> dict[str, Any]:
    """The document on stdout; empty if there is none, or only a part of it."""
    try:
        found = json.loads(done.out)
    except ValueError:
        return {}
    return found if isinstance(found, dict) else {}


def _backed_up(folder: Path, done: Done) -> Iterator[str]:
    copies = set((folder / "stick").glob("book-*.sqlite"))
    older = folder / "stick" / "book-20260301T000000Z.sqlite"
    said = _answer(done)
    named = {Path(said["backup"])} if said else copies - {older} if _UNTOLD in done.err else set()
    if done.code == 0 and not named:
        yield "no copy is named"
    for copy in copies:
        if models(copy) != (OLD if copy == older else OLD | LATER):
            yield f"{copy.name} is not whole"
    if named and not named <= copies:
        yield "the copy that is named is not there"
    if not named and older not in copies:
        yield "an older copy was removed, and there is no new one"
    if not named and copies - {older} and "unlink" not in done.err:
        yield "a copy that nobody named was left"
    if models(folder / "home" / "book.sqlite") != OLD | LATER:
        yield "the book changed"


def _restored(lost: bool) -> Callable[[Path, Done], Iterator[str]]:
    def wrong(folder: Path, done: Done) -> Iterator[str]:
        book = folder / "home" / "book.sqlite"
        said = _answer(done)
        kept = [Path(said["kept"])] if said.get("kept") else sorted(book.parent.glob("*.bak"))
        if done.code == 0 and not said and _UNTOLD not in done.err:
            yield "nothing is told"
        if said or _UNTOLD in done.err:
            if models(book) != OLD:
                yield "the book is not the one in the backup"
            if not lost and models(kept[0]) != OLD | LATER:
                yield "the old book is not kept"
        elif lost:
            if book.exists() and models(book) != OLD:
                yield "there is half a book"
        elif models(book) != OLD | LATER:
            yield "the old book is gone"
        elif kept and "nothing was changed" in done.err and models(kept[0]) != OLD | LATER:
            yield "half a copy of the old book is left"

    return wrong


# -- the commands ----------------------------------------------------------------------------------

OLD: Final = {"NV1", "NV2"}
LATER: Final = {"NV3"}
NOTES: Final = {f"L{number}" for number in range(40)}
_NOTES: Final = "make,model,date,form\n" + "".join(
    f"Norwell,{one},2024-03-01,toslink\n" for one in sorted(NOTES)
)


def jackfield(folder: Path, *words: str) -> Done:
    """Run one command on the home in ``folder``."""
    done = subprocess.run(
        [sys.executable, "-m", "kb.cli.main", *words],
        cwd=ROOT,
        env=_environment(folder),
        capture_output=True,
        text=True,
        check=False,
        timeout=_TIMEOUT_S,
    )
    return Done(done.returncode, done.stdout, done.stderr)


def _environment(folder: Path) -> dict[str, str]:
    kept = {key: value for key, value in os.environ.items() if not key.startswith("JACKFIELD_")}
    return {
        **kept,
        "PYTHONPATH": str(ROOT),
        "PYTHONHASHSEED": "0",
        "PYTHONDONTWRITEBYTECODE": "1",
        "JACKFIELD_HOME": str(folder / "home"),
    }


def _record(folder: Path, *names: str) -> None:
    for name in names:
        done = jackfield(folder, "record", "Norwell", name, "opt:ok")
        if done.code:
            raise RuntimeError(done.err)


def _nothing(folder: Path) -> None:
    (folder / "notes.csv").write_text(_NOTES, encoding="utf-8")


def _a_book(folder: Path) -> None:
    _nothing(folder)
    _record(folder, *sorted(OLD))


def _a_backup(folder: Path) -> None:
    _a_book(folder)
    made = Path(json.loads(jackfield(folder, "backup", str(folder / "stick"), "--json").out)["backup"])
    made.rename(made.with_name("book-20260301T000000Z.sqlite"))
    _record(folder, *LATER)


def _a_lost_book(folder: Path) -> None:
    _a_backup(folder)
    (folder / "home" / "book.sqlite").unlink()
    (folder / "home" / "book.sqlite-wal").write_bytes(b"left by a crash" * 100)


_COPY: Final = "{}/stick/book-20260301T000000Z.sqlite"
CASES: Final = (
    Case("record", ("record", "Norwell", "NV9", "opt:ok"), _a_book, _all_or_nothing(OLD, {"NV9"})),
    Case("record-new", ("record", "Norwell", "NV9", "opt:ok"), _nothing, _all_or_nothing(set(), {"NV9"})),
    Case("load", ("load", "{}/notes.csv"), _a_book, _all_or_nothing(OLD, NOTES)),
    Case("backup", ("backup", "{}/stick", "--keep", "1", "--json"), _a_backup, _backed_up),
    Case("restore", ("restore", _COPY, "--replace", "--json"), _a_backup, _restored(lost=False)),
    Case("restore-lost", ("restore", _COPY, "--json"), _a_lost_book, _restored(lost=True)),
)


# -- one fault after the other ---------------------------------------------------------------------


def _traced(folder: Path, words: tuple[str, ...], options: tuple[str, ...], log: Path) -> Done:
    done = subprocess.run(
        [
            *("strace", "-f", "--seccomp-bpf", "-qq", "-y", "-o", str(log), *options),
            *(sys.executable, "-m", "kb.cli.main", *(word.replace("{}", str(folder)) for word in words)),
        ],
        cwd=ROOT,
        env=_environment(folder),
        capture_output=True,
        text=True,
        check=False,
        timeout=_TIMEOUT_S,
    )
    return Done(done.returncode, done.stdout, done.stderr)


def faults(case: Case, start: Path, folder: Path, log: Path) -> list[Fault]:
    """Every call of the command that touches ``folder``, with every error that it is made to fail with."""
    shutil.copytree(start, folder)
    done = _traced(folder, case.words, ("-e", f"trace={','.join(ERRORS)}"), log)
    wrong = [*_ordinary(done), *case.wrong(folder, done)]
    if done.code or wrong:
        raise RuntimeError(f"{case.name} without a fault: {done.code} {wrong} {done.err}")
    found: list[Fault] = []
    count: dict[str, int] = {}
    first = ""
    for line in log.read_text(errors="replace").splitlines():
        if not (call := _CALL.match(line)):
            continue
        first = first or call[1]
        if call[1] != first:  # a thread of its own is counted by itself
            continue
        count[call[2]] = count.get(call[2], 0) + 1
        if str(folder) in line:
            found += [Fault(call[2], count[call[2]], error) for error in ERRORS[call[2]]]
    shutil.rmtree(folder)
    return found


def tried(case: Case, start: Path, folder: Path, log: Path, fault: Fault) -> tuple[Done, str, list[str]]:
    """Run the command with one call failing: what it left, the call, and all that is wrong then."""
    shutil.copytree(start, folder)
    how = f"inject={fault.call}:error={fault.error}:when={fault.number}"
    done = _traced(folder, case.words, ("-e", f"trace={fault.call}", "-e", how), log)
    hit = [line for line in log.read_text(errors="replace").splitlines() if "INJECTED" in line]
    try:
        wrong = [*_ordinary(done), *case.wrong(folder, done)]
    except (sqlite3.Error, OSError, ValueError, KeyError) as problem:
        wrong = [f"cannot be checked: {problem}"]
    shutil.rmtree(folder)
    return done, hit[0] if hit else "", wrong


def swept(
    names: tuple[str, ...] = (), *, most: int | None, seed: int = 1, calls: tuple[str, ...] = ()
) -> Iterator[tuple[str, Fault, Done, str, list[str]]]:
    """Try ``most`` faults of each command of ``names`` (all if none), drawn evenly over the calls.

    Yields command, fault, what it left, the call as traced, and what is wrong. ``most`` None: every fault.
    """
    draw = random.Random(seed)
    with tempfile.TemporaryDirectory() as folder:
        for case in CASES:
            if names and case.name not in names:
                continue
            place = Path(folder) / case.name
            (start := place / "start").mkdir(parents=True)
            case.prepare(start)
            log = place / "log"
            every = faults(case, start, place / "run", log)
            some = [one for one in every if not calls or one.call in calls]
            if most is not None and most < len(some):
                some = sorted(_evenly(some, most, draw), key=some.index)
            for fault in some:
                yield (case.name, fault, *tried(case, start, place / "run", log, fault))


def _evenly(every: list[Fault], most: int, draw: random.Random) -> list[Fault]:
    """As many of each kind of call as can be had: a hundred writes must not leave out the one rename."""
    groups: dict[tuple[str, str], list[Fault]] = {}
    for one in every:
        groups.setdefault((one.call, one.error), []).append(one)
    for group in groups.values():
        draw.shuffle(group)
    order = list(groups.values())
    draw.shuffle(order)
    chosen: list[Fault] = []
    while len(chosen) < most:
        for group in order:
            if group and len(chosen) < most:
                chosen.append(group.pop())
    return chosen


def main() -> int:
    """Sweep and print what is wrong; exit code 1 if anything is."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument(
        "names", nargs="*", choices=[*(case.name for case in CASES), []], help="commands (all)"
    )
    parser.add_argument("--all", action="store_true", help="every call, not a sample")
    parser.add_argument("--most", type=int, default=40, help="faults of each command in a sample")
    parser.add_argument("--call", action="append", default=[], choices=list(ERRORS), help="only this call")
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    if why := missing():
        print(why)
        return 0
    counts: dict[tuple[str, int], int] = {}
    bad = 0
    for name, fault, done, line, wrong in swept(
        tuple(given.names), most=None if given.all else given.most, seed=given.seed, calls=tuple(given.call)
    ):
        counts[name, done.code] = counts.get((name, done.code), 0) + 1
        if wrong:
            bad += 1
            print(f"{name}: {fault.call} {fault.number} {fault.error}: {'; '.join(wrong)}")
            print(f"    {line[:200]}\n    exit {done.code}: {done.err.strip()[-500:]}", flush=True)
    for (name, code), count in sorted(counts.items()):
        print(f"{name:14} exit {code}: {count}")
    print(f"{sum(counts.values())} faults, {bad} with something wrong")
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
