"""How fast is Jackfield on this machine? Medians, each beside something measured in the same run.

    python3 scripts/measure.py            everything of the core
    python3 scripts/measure.py cold       cold starts of find, words and path
    python3 scripts/measure.py instructions FOLDER  cold starts here and in another checkout (needs valgrind)
    python3 scripts/measure.py record     acknowledged writes a second
    python3 scripts/measure.py rebuild    building the index of 10,000 sets
    python3 scripts/measure.py large      a cold find on 100,000 sets beside the demo book (some minutes)
    python3 scripts/measure.py lookup     accuracy and speed of finding the right set
    python3 scripts/measure.py people     finding a set from what people and labels say
    python3 scripts/measure.py read       labels on photos, and manuals as PDF
    python3 scripts/measure.py words      questions of a technician to the demo book
    python3 scripts/measure.py evidence   calibration of what is expected
    python3 scripts/measure.py web        fifty phones on one laptop
    python3 scripts/measure.py strangers  a phone beside a hundred slow or silent connections
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
from itertools import islice
from pathlib import Path
from typing import Any

from environment import ROOT, ready

RUNS = 21
JACKFIELD = [sys.executable, "-m", "kb.cli.main"]
BASE = "import click, rich.table, sqlite3"
WORDS_BASE = "import click, rich.table, sqlite3, whoosh.index"


def main() -> int:
    python = ready("test")
    if Path(sys.prefix).resolve() != python.parent.parent.resolve():
        return subprocess.run([str(python), __file__, *sys.argv[1:]]).returncode
    parts: dict[str, Callable[[], None]] = {"cold": cold, "record": record, "rebuild": rebuild}
    parts |= {"large": large} if sys.argv[1:2] == ["large"] else {}
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
    "instructions": "measure_instructions.py",
    "load": "measure_load.py",
    "team": "measure_team.py",
    "lookup": "measure_lookup.py",
    "people": "people_queries.py",
    "read": "measure_read.py",
    "words": "measure_words.py",
    "evidence": "measure_evidence.py",
    "web": "measure_web.py",
    "strangers": "measure_strangers.py",
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


def environment_of(home: str) -> dict[str, str]:
    """What a command is run with on the book in ``home``."""
    env = {**os.environ, "JACKFIELD_HOME": home}
    env.pop("PYTHONDONTWRITEBYTECODE", None)  # an installed program has its byte code beside it
    return env


def demo(home: str) -> dict[str, str]:
    """What a command is run with on the demo book, made in ``home``."""
    env = environment_of(home)
    timed([*JACKFIELD, "record", "--file", str(ROOT / "data" / "demo" / "visits.jsonl")], env)
    timed([*JACKFIELD, "find", "warm", "up", "the", "words"], env)
    return env


def cold() -> None:
    """Cold starts as ratios to bare imports, runs of all commands taken in turn."""
    with tempfile.TemporaryDirectory() as home:
        env = demo(home)
        commands = {
            f'python -c "{BASE}"': [sys.executable, "-c", BASE],
            "find MODEL": [*JACKFIELD, "find", "nv40-210"],
            "find MODEL --json": [*JACKFIELD, "find", "nv40-210", "--json"],
            f'python -c "{WORDS_BASE}"': [sys.executable, "-c", WORDS_BASE],
            "find WORDS": [*JACKFIELD, "find", "muted", "headphone", "kitchen"],
            "path": [*JACKFIELD, "path", "Norwell", "NV40-210"],
            "show": [*JACKFIELD, "show", "Norwell", "NV40-210"],
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

    from kb.domain.visit import visit_from
    from kb.store import Store

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
    count = 10_000
    with tempfile.TemporaryDirectory() as folder:
        home = Path(folder)
        loaded, took = filled(home, count)
        size = sum(f.stat().st_size for f in (home / "index").rglob("*") if f.is_file())
    rows = [
        ("what", "took", "a second"),
        (f"recording {count} visits in batches", f"{loaded:.1f} s", f"{count / loaded:.0f}"),
        (f"index of {count} sets, keys and words", f"{took:.1f} s", f"{count / took:.0f}"),
        ("size of the index", f"{size / 1e6:.1f} MB", ""),
    ]
    table("Index rebuild", rows)


def large() -> None:
    """A cold find of a model on the demo book and on 100,000 sets, in turn."""
    count = 100_000
    with tempfile.TemporaryDirectory() as small, tempfile.TemporaryDirectory() as big:
        env = demo(small)
        filled(Path(big), count)
        with_many = environment_of(big)
        last = next(iter(invented(1, random.Random(2))))["source"]
        asked = {
            "find MODEL, demo book": ("nv40-210", env),
            f"find MODEL, {count} sets": (last["model"], with_many),
        }
        took: dict[str, list[float]] = {name: [] for name in asked}
        for _ in range(RUNS):
            for name, (model, where) in asked.items():
                took[name].append(timed([*JACKFIELD, "find", model], where))
    median = {name: statistics.median(times) for name, times in took.items()}
    base = next(iter(median.values()))
    rows = [(name, f"{one * 1000:.0f} ms", f"{one / base:.2f}") for name, one in median.items()]
    table(f"Cold starts on a large book, {RUNS} runs each, in turn", [("command", "median", "ratio"), *rows])


def filled(home: Path, count: int) -> tuple[float, float]:
    """Seconds that recording visits to ``count`` sets into a book in ``home`` took, and its index."""
    from kb.book import Book
    from kb.domain.visit import visit_from

    with Book.open(home) as book:
        begun = time.perf_counter()
        visits = (visit_from(data) for data in invented(count, random.Random(2)))
        while batch := list(islice(visits, 1000)):
            book.store_to_write().record(batch)
        loaded = time.perf_counter() - begun
        begun = time.perf_counter()
        book.reindex()
        return loaded, time.perf_counter() - begun


def invented(count: int, chance: random.Random) -> Iterator[dict[str, Any]]:
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
