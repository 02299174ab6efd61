"""How long do 100,000 findings take to come in, and in how much memory? Beside bare reading and writing.

python3 scripts/measure_load.py [FINDINGS]
"""

from __future__ import annotations

import csv
import json
import os
import random
import sqlite3
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path

from measure import invented, table

from environment import ROOT, ready

JACKS = 4  #: of each invented visit
SETS_VISITS = 5  #: visits to one set, on the average


def main() -> int:
    python = ready("test")
    if Path(sys.prefix).resolve() != python.parent.parent.resolve():
        return subprocess.run([str(python), __file__, *sys.argv[1:]]).returncode
    findings = int(sys.argv[1]) if len(sys.argv) > 1 else 100_000
    with tempfile.TemporaryDirectory() as folder:
        measure(Path(folder), findings)
    return 0


def measure(folder: Path, findings: int) -> None:
    """Each command in a process of its own; memory is the peak of that process."""
    visits = old_notes(findings // JACKS, SETS_VISITS)
    lines, rows = folder / "notes.jsonl", folder / "notes.csv"
    with lines.open("w", encoding="utf-8") as file:
        file.writelines(json.dumps(visit) + "\n" for visit in visits)
    write_csv(rows, visits)
    begun = time.perf_counter()
    bare(folder / "bare.sqlite", rows)
    plain = time.perf_counter() - begun
    result = [
        ("what", "took", "findings a second", "ratio", "peak memory"),
        ("csv into one table, bare sqlite3", f"{plain:.1f} s", f"{findings / plain:.0f}", "1.0", ""),
    ]
    spread = folder / "spread.jsonl"
    with spread.open("w", encoding="utf-8") as file:
        file.writelines(json.dumps(visit) + "\n" for visit in old_notes(findings // JACKS, 1))
    runs = [
        ("load CSV, index included", folder / "a", ["load", str(rows)]),
        ("the same again", folder / "a", ["load", str(rows)]),
        ("load JSON Lines, index included", folder / "b", ["load", str(lines)]),
        ("load, every visit to another set", folder / "e", ["load", str(spread)]),
        ("dump to JSON Lines", folder / "b", ["dump", str(folder / "dump.jsonl")]),
        ("load the dump, index included", folder / "c", ["load", str(folder / "dump.jsonl")]),
        ("share out", folder / "b", ["share", "out", str(folder / "bundle.jsonl"), "--no-notes"]),
        ("share in, index included", folder / "d", ["share", "in", str(folder / "bundle.jsonl")]),
        ("backup, checked", folder / "b", ["backup"]),
        ("doctor", folder / "b", ["doctor"]),
    ]
    for name, home, words in runs:
        took, memory = run(home, words)
        result.append(
            (name, f"{took:.1f} s", f"{findings / took:.0f}", f"{took / plain:.1f}", f"{memory:.0f} MB")
        )
    table(f"{findings:,} findings in {len(visits):,} visits, {SETS_VISITS} to a set", result)


def old_notes(count: int, to_a_set: int) -> list[dict[str, object]]:
    """``count`` invented visits, ``to_a_set`` of them to each set."""
    visits = list(invented(count, random.Random(6)))
    for number, visit in enumerate(visits):
        visit["source"] = visits[number // to_a_set]["source"]
    return visits


def write_csv(path: Path, visits: Sequence[dict[str, object]]) -> None:
    """One row a jack, as old notes are kept."""
    fields = ["visit", "date", "make", "model", "year", "note"]
    jack_fields = ["form", "marking", "speakers", "outcome", "setting"]
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, [*fields, *jack_fields], restval="")
        writer.writeheader()
        for number, visit in enumerate(visits):
            source, jacks = visit["source"], visit["jacks"]
            assert isinstance(source, dict)
            assert isinstance(jacks, list)
            same = {"visit": number, "date": visit["date"], "note": visit["note"], **source}
            writer.writerows({**same, **jack} for jack in jacks)


def bare(path: Path, rows: Path) -> None:
    """The least that any program has to do: read the rows and write them."""
    book = sqlite3.connect(path)
    book.execute("PRAGMA synchronous = FULL")
    with rows.open(encoding="utf-8", newline="") as file:
        reader = csv.reader(file)
        marks = ", ".join("?" for _ in next(reader))
        book.execute(f"CREATE TABLE t ({', '.join(f'c{n}' for n in range(marks.count('?')))})")
        book.executemany(f"INSERT INTO t VALUES ({marks})", reader)
    book.commit()
    book.close()


def run(home: Path, words: list[str]) -> tuple[float, float]:
    """Seconds and megabytes of one command (its own peak, as Linux tells it)."""
    code = (
        "import sys; from kb.cli.main import run; code = run(sys.argv[1:]);"
        " [peak] = [line.split()[1] for line in open('/proc/self/status') if line.startswith('VmHWM')];"
        " print(peak, file=sys.stderr); sys.exit(code)"
    )
    env = {**os.environ, "JACKFIELD_HOME": str(home), "PYTHONPATH": str(ROOT)}
    begun = time.perf_counter()
    done = subprocess.run([sys.executable, "-c", code, *words], env=env, capture_output=True, text=True)
    took = time.perf_counter() - begun
    if done.returncode:
        raise SystemExit(f"{' '.join(words)}: {done.stderr}")
    return took, int(done.stderr.split()[-1]) / 1024


if __name__ == "__main__":
    sys.exit(main())
