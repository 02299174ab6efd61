"""What does a team's book on one PostgreSQL server bear? 8 programs record and find at once.

    python3 scripts/measure_team.py [PROGRAMS [SECONDS]]

Starts a server of its own from the machine's PostgreSQL programs, on loopback, in a temporary folder, with
its usual promises (fsync on). Every program keeps its own index, as machines do. Counts lost writes: visits
that were acknowledged and are not in the book afterwards.
"""

from __future__ import annotations

import json
import os
import random
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path

from measure import invented, table
from team_server import database, server_programs

from environment import ROOT, ready


def main() -> int:
    python = ready("test")
    if Path(sys.prefix).resolve() != python.parent.parent.resolve():
        return subprocess.run([str(python), __file__, *sys.argv[1:]]).returncode
    if sys.argv[1:2] == ["--worker"]:
        return worker(*sys.argv[2:])
    programs = int(sys.argv[1]) if len(sys.argv) > 1 else 8
    seconds = float(sys.argv[2]) if len(sys.argv) > 2 else 20.0
    tools = server_programs()
    if tools is None:
        print("no PostgreSQL server programs on this machine; on Debian: apt-get install postgresql")
        return 1
    with database(tools) as server:
        measure(server.url, programs, seconds)
    return 0


def measure(url: str, programs: int, seconds: float) -> None:
    """The same work by one program alone and by all at once; the ratio says what sharing costs."""
    rows = [("programs", "what", "a second", "p50", "p95", "p50 to one alone", "lost")]
    alone: dict[str, float] = {}
    for count in (1, programs):
        with tempfile.TemporaryDirectory() as folder:
            done = run_workers(url, count, seconds, Path(folder))
        lost = lost_writes(url, [one for said in done for one in said["ids"]])
        for what in ("record", "find"):
            took = sorted(one for said in done for one in said[what])
            middle, high = statistics.median(took), took[int(len(took) * 0.95) - 1]
            alone.setdefault(what, middle)
            rows.append(
                (
                    str(count),
                    what,
                    f"{len(took) / seconds:.0f}",
                    f"{middle * 1000:.1f} ms",
                    f"{high * 1000:.1f} ms",
                    f"{middle / alone[what]:.1f}",
                    str(lost) if what == "record" else "",
                )
            )
    table(f"One server, {programs} programs recording and finding in turn for {seconds:.0f} s", rows)


def run_workers(url: str, count: int, seconds: float, folder: Path) -> list[dict[str, list[float]]]:
    """What each of ``count`` programs says when it is done."""
    workers = [
        subprocess.Popen(
            [sys.executable, __file__, "--worker", url, str(folder / str(n)), str(n), str(seconds)],
            env={**os.environ, "PYTHONPATH": str(ROOT)},
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )
        for n in range(count)
    ]
    for one in workers:
        assert one.stdout is not None
        one.stdout.readline()  # it is ready
    for one in workers:
        assert one.stdin is not None
        one.stdin.write("go\n")
        one.stdin.flush()
    said = [one.communicate()[0] for one in workers]
    if any(one.returncode for one in workers):
        raise SystemExit("a program did not come to its end")
    return [json.loads(one) for one in said]


def worker(url: str, home: str, number: str, seconds: str) -> int:
    """Record a visit, find it and another, again and again; says its ids and times in seconds."""
    from kb.book import Book
    from kb.domain.visit import visit_from

    chance = random.Random(int(number))
    visits = [visit_from(one) for one in invented(20_000, random.Random(int(number) * 7919 + os.getpid()))]
    record: list[float] = []
    find: list[float] = []
    ids: list[str] = []
    with Book.open(Path(home), store=url) as book:
        book.store_to_write()
        book.find("warm up the words")
        print("ready", flush=True)
        sys.stdin.readline()
        until = time.monotonic() + float(seconds)
        for visit in visits:
            if time.monotonic() > until:
                break
            begun = time.perf_counter()
            recorded = book.store_to_write().record([visit]).recorded  # acknowledged: on the server's disk
            record.append(time.perf_counter() - begun)
            ids += [one.id for one in recorded]
            asked = chance.choice((visit.source.model, "kitchen cable", f"norwell {chance.randint(20, 75)}"))
            begun = time.perf_counter()
            book.find(asked)  # brings this machine's own index up to date first
            find.append(time.perf_counter() - begun)
    print(json.dumps({"record": record, "find": find, "ids": ids}))
    return 0


def lost_writes(url: str, ids: Sequence[object]) -> int:
    """How many acknowledged visits the book does not have."""
    from kb.store import Store

    with Store.open(url) as store, store.snapshot() as now:
        there = {one.id for some in now.visits() for one in some}
    return sum(one not in there for one in ids)


if __name__ == "__main__":
    sys.exit(main())
