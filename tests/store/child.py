"""Programs that other tests start, and kill: ``python -m tests.store.child JOB ARGUMENTS``."""

from __future__ import annotations

import os
import resource
import signal
import sys
from pathlib import Path

import sqlalchemy as sa

from kb.base.errors import BookTrouble
from kb.store import Store
from kb.store.failures import translated
from kb.store.places import place_of
from kb.store.sqlite_codes import FORMATS
from kb.store.upgrade import bring_up_to_date
from tests.store.helpers import visit


def say(*words: object) -> None:
    print(*words, flush=True)


def record(where: str, name: str, count: str) -> None:
    """Record one visit after the other; each id is told once it is acknowledged."""
    with Store.open(where) as store:
        say("open")
        for number in range(int(count)):
            done = store.record([visit(f"{name}-{number}"), visit(f"{name}-{number}-B")])
            say(done.revision, *(one.id for one in done.recorded))


def fill(where: str, limit: str) -> None:
    """Record until the disk has no room for more than ``limit`` bytes in a file."""
    with Store.open(where) as store:
        resource.setrlimit(resource.RLIMIT_FSIZE, (int(limit), resource.RLIM_INFINITY))
        for number in range(10_000):
            try:
                done = store.record([visit(f"FULL-{number}-{part}") for part in range(20)])
            except BookTrouble as trouble:
                say("trouble", trouble)
                resource.setrlimit(resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY, resource.RLIM_INFINITY))
                say(0, *(one.id for one in store.record([visit("AFTER")]).recorded))
                return
            say(done.revision, *(one.id for one in done.recorded))


def upgrade(where: str, migrations: str) -> None:
    """Open a book of the present format with a Jackfield that writes a later one."""
    place = place_of(where)
    with translated(where):
        engine = place.engine(create=True)
    say("open")
    sys.stdin.readline()
    try:
        bring_up_to_date(engine, place, create=True, formats=(*FORMATS, "9999"), migrations=Path(migrations))
    finally:
        engine.dispose()
    say("done")


def die(where: str, moment: str) -> None:
    """Open a book, and be killed: as its copy is about to be kept, or before statement number ``moment``."""
    statements = 0

    link = os.link

    def copied(made: Path, kept: Path) -> None:
        if kept.suffix == ".bak":
            os.kill(os.getpid(), signal.SIGKILL)
        link(made, kept)

    def counted(*_: object) -> None:
        nonlocal statements
        statements += 1
        if statements == int(moment):
            os.kill(os.getpid(), signal.SIGKILL)

    if moment == "copy":
        os.link = copied
    else:
        sa.event.listen(sa.Engine, "before_cursor_execute", counted)
    Store.open(where).close()
    say(statements)


def read(where: str, seconds: str) -> None:
    """Look again and again: a snapshot holds whole writings only."""
    import time

    until = time.monotonic() + float(seconds)
    with Store.open(where) as store:
        say("open")
        last = looks = 0
        while time.monotonic() < until:
            with store.snapshot() as now:
                streamed = [one for some in now.visits(batch=7) for one in some]
                revision, counts = now.revision, now.counts()
            assert len(streamed) == counts.visits == 2 * revision, (len(streamed), counts)
            assert counts.findings == 2 * counts.visits
            assert revision >= last
            last, looks = revision, looks + 1
        say("looks", looks)


if __name__ == "__main__":
    os.umask(0o022)
    {"record": record, "fill": fill, "upgrade": upgrade, "die": die, "read": read}[sys.argv[1]](*sys.argv[2:])
