"""How fast is Jackfield on this machine? Medians, each beside something measured in the same run.

    python3 scripts/measure.py            everything of the core
    python3 scripts/measure.py cold       cold starts of find, words and path
    python3 scripts/measure.py record     acknowledged writes a second
    python3 scripts/measure.py rebuild    building the index of 10,000 sets
    python3 scripts/measure.py lookup     accuracy and speed of finding the right set
    python3 scripts/measure.py evidence   calibration of what is expected
    python3 scripts/measure.py web        fifty phones on one laptop
    python3 scripts/measure.py load       100,000 findings of old notes, dump, sharing, backup
    python3 scripts/measure.py team       8 programs on one team's book: lost writes, latency

Needs the environment that scripts/test.py makes.
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
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

from environment import ROOT, ready

RUNS = 21
BASE = "import click, rich.table, sqlite3"
WORDS_BASE = "import click, rich.table, sqlite3, whoosh.index"


def main() -> int:
    python = ready("test")
    if Path(sys.prefix).resolve() != python.parent.parent.resolve():
        return subprocess.run([str(python), __file__, *sys.argv[1:]]).returncode
    parts: dict[str, Callable[[], None]] = {"cold": cold, "record": record, "rebuild": rebuild}
    asked = sys.argv[1:2]
    if asked and asked[0] in OTHERS:
        return subprocess.run(
            [str(python), str(ROOT / "scripts" / OTHERS[asked[0]]), *sys.argv[2:]]
        ).returncode
    if asked and asked[0] not in parts:
        print(f"no part {asked[0]!r}; there are {', '.join([*parts, *OTHERS])}", file=sys.stderr)
        return 2
    for name, part in parts.items():
        if not asked or name == asked[0]:
            part()
    return 0


#: Parts that are scripts of their own.
OTHERS = {
    "load": "measure_load.py",
    "team": "measure_team.py",
    "lookup": "measure_lookup.py",
    "evidence": "measure_evidence.py",
    "web": "measure_web.py",
}


def table(title: str, rows: Sequence[tuple[str, ...]]) -> None:
    """Print rows under a title, columns aligned."""
    widths = [max(len(row[i]) for row in rows) for i in range(len(rows[0]))]
    print(f"\n{title}")
    for row in rows:
        print("  " + "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip())


def timed(command: list[str], env: dict[str, str]) -> float:
    """Seconds that one run of a command takes."""
    begun = time.perf_counter()
    done = subprocess.run(command, env=env, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE)
    took = time.perf_counter() - begun
    if done.returncode > 1:
        raise SystemExit(f"{' '.join(command)}: {done.stderr.decode(errors='replace')}")
    return took


def cold() -> None:
    """Cold starts as ratios to bare imports, runs of all commands taken in turn."""
    with tempfile.TemporaryDirectory() as home:
        env = {**os.environ, "JACKFIELD_HOME": home}
        env.pop("PYTHONDONTWRITEBYTECODE", None)  # an installed program has its byte code beside it
        jackfield = [sys.executable, "-m", "kb.cli.main"]
        visits = ROOT / "data" / "demo" / "visits.jsonl"
        timed([*jackfield, "record", "--file", str(visits)], env)
        timed([*jackfield, "find", "warm", "up", "the", "words"], env)
        commands = {
            f'python -c "{BASE}"': [sys.executable, "-c", BASE],
            "find MODEL": [*jackfield, "find", "nv40-210"],
            "find MODEL --json": [*jackfield, "find", "nv40-210", "--json"],
            f'python -c "{WORDS_BASE}"': [sys.executable, "-c", WORDS_BASE],
            "find WORDS": [*jackfield, "find", "muted", "headphone", "kitchen"],
            "path": [*jackfield, "path", "Norwell", "NV40-210"],
            "show": [*jackfield, "show", "Norwell", "NV40-210"],
        }
        took: dict[str, list[float]] = {name: [] for name in commands}
        for _ in range(RUNS):
            for name, command in commands.items():
                took[name].append(timed(command, env))
        median = {name: statistics.median(times) for name, times in took.items()}
        bases = [name for name in commands if name.startswith("python")]
        rows = [("command", "median", "ratio", "beside")]
        base = bases[0]
        for name in commands:
            base = name if name in bases else base
            beside = bases[0] if name in ("path", "show") else base
            rows.append(
                (name, f"{median[name] * 1000:.0f} ms", f"{median[name] / median[beside]:.2f}", beside)
            )
        table(f"Cold starts on the demo book, {RUNS} runs each, in turn", rows)


def record() -> None:
    """Acknowledged writes a second, one visit each, beside bare SQLite commits with the same promises."""
    import sqlite3

    from kb.store import Store
    from kb.visit import visit_from

    count = 300
    with tempfile.TemporaryDirectory() as folder:
        bare = sqlite3.connect(Path(folder) / "bare.sqlite", isolation_level=None)
        bare.execute("PRAGMA journal_mode=WAL")
        bare.execute("PRAGMA synchronous=FULL")
        bare.execute("CREATE TABLE t (a TEXT)")
        begun = time.perf_counter()
        for number in range(count):
            bare.execute("INSERT INTO t VALUES (?)", (str(number),))
        plain = count / (time.perf_counter() - begun)
        bare.close()
        visits = [visit_from(data) for data in invented(count, random.Random(1))]
        with Store.open(Path(folder) / "book.sqlite") as store:
            begun = time.perf_counter()
            for visit in visits:
                store.record([visit])
            ours = count / (time.perf_counter() - begun)
    rows = [
        ("what", "a second", "ratio"),
        ("one row, bare sqlite3", f"{plain:.0f}", "1.00"),
        ("one visit of 4 jacks, acknowledged", f"{ours:.0f}", f"{ours / plain:.2f}"),
    ]
    table(f"Writes with full synchronous, one transaction each, {count} of them", rows)


def rebuild() -> None:
    """Building the index of 10,000 sets from the store."""
    from kb.book import Book
    from kb.visit import visit_from

    count = 10_000
    with tempfile.TemporaryDirectory() as folder:
        home = Path(folder)
        with Book.open(home) as book:
            begun = time.perf_counter()
            batch = []
            for data in invented(count, random.Random(2)):
                batch.append(visit_from(data))
                if len(batch) == 1000:
                    book.store_to_write().record(batch)
                    batch = []
            loaded = time.perf_counter() - begun
            begun = time.perf_counter()
            book.reindex()
            took = time.perf_counter() - begun
        size = sum(f.stat().st_size for f in (home / "index").rglob("*") if f.is_file())
    rows = [
        ("what", "took", "a second"),
        (f"recording {count} visits in batches", f"{loaded:.1f} s", f"{count / loaded:.0f}"),
        (f"index of {count} sets, keys and words", f"{took:.1f} s", f"{count / took:.0f}"),
        ("size of the index", f"{size / 1e6:.1f} MB", ""),
    ]
    table("Index rebuild", rows)


def invented(count: int, chance: random.Random) -> Iterator[dict[str, object]]:
    """Visits to ``count`` different invented sets."""
    makes = ["Norwell", "Hallmere", "Pellworth", "Aldvik", "Veldana"]
    places = ["kitchen", "lounge", "bedroom", "day room", "chapel"]
    for number in range(count):
        jacks = json.loads(json.dumps(_JACKS))
        jacks[0]["outcome"] = chance.choice(["carried", "carried", "silent", "hum"])
        yield {
            "date": f"2024-{chance.randint(1, 12):02}-{chance.randint(1, 28):02}",
            "source": {
                "make": chance.choice(makes),
                "model": f"{chance.choice('ABCDE')}{chance.randint(20, 75)}-{number:05}",
                "year": chance.randint(2000, 2024),
            },
            "jacks": jacks,
            "note": f"{chance.choice(places)}, cable behind the cabinet, visit {number}",
        }


_JACKS = [
    {
        "form": "toslink",
        "marking": "DIGITAL AUDIO OUT",
        "speakers": "stay-on",
        "setting": "digital output: PCM",
    },
    {"form": "jack-3.5", "marking": "HEADPHONE", "speakers": "mute"},
    {"form": "rca-pair", "marking": "AUDIO"},
    {"form": "hdmi", "marking": "HDMI 1"},
]


if __name__ == "__main__":
    sys.exit(main())
