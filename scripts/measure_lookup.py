"""How well and how fast is the right set found from a damaged model number?

``python scripts/measure_lookup.py --sizes 1k,19k,100k,1M`` prints, for each size, accuracy by kind of damage,
warm median and p95, build time, size on disk and peak memory, beside three other ways in the same run; then
the growth exponent. Each size runs in a process of its own;
times are those of the processor. How often a score comes true is said by
``calibrate_lookup.py``.
"""

from __future__ import annotations

import argparse
import gc
import json
import math
import random
import resource
import shutil
import sqlite3
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from statistics import median

import damage as d
from model_codes import Code, codes, normal

from kb.index import Index, SetEntry

SEED = 20
HARDEST = "no make, compound"
HARDEST_EACH = 150  # queries of each kind of it, so that there are a thousand at every size
ENDS = ("suffix lost", "prefix only")


@dataclass(frozen=True, slots=True)
class Asked:
    """One query whose right answer is decidable."""

    kind: str
    group: str
    text: str
    make: str
    model: str
    row: int


def key_of(row: int) -> str:
    """The key of a row of the list."""
    return f"s{row}"


def entries(rows: list[Code], text: bool = False) -> Iterator[SetEntry]:
    """The list as sets of the book, with a payload of usual size."""
    payload = json.dumps({"jacks": [{"form": "toslink", "marking": "OPTICAL OUT", "signal": "optical"}] * 2})
    best = '{"signal": "optical", "items": ["optical cable 2 m"], "needs_dac": true, "speakers": "stay-on"}'
    note = (("note", "headphone jack mutes the speakers until the sound menu is set"),) if text else ()
    for at, (make, model) in enumerate(rows):
        yield SetEntry(key_of(at), make, model, findings=at % 7, best=best, payload=payload, text=note)


def groups() -> Iterator[tuple[str, bool, dict[str, d.Damage]]]:
    """(name, with make, kinds of damage)."""
    yield "with make, one damage", True, {**d.ONE, **d.MAKE_ONLY}
    yield "no make, one damage", False, d.ONE
    yield "with make, compound", True, {**d.COMPOUND, **d.MAKE_COMPOUND}
    yield "no make, compound", False, d.COMPOUND


class Truth:
    """Which damaged queries are decidable: the row they came from is the only nearest one.

    Nearness is the optimal string alignment distance of rapidfuzz over make+model (or the model alone where
    the make is left out). A beginning that is read exactly must also fit no other set.
    """

    def __init__(self, rows: list[Code]) -> None:
        self.models = [normal(model) for _, model in rows]
        self.joined = [normal(make) + normal(model) for make, model in rows]

    def decidable(self, kind: str, make: str, model: str, row: int) -> bool:
        """Whether ``row`` is the only right answer."""
        from rapidfuzz import process
        from rapidfuzz.distance import OSA

        pool = self.joined if make else self.models
        read = make + model
        own = OSA.distance(read, pool[row])
        if kind in ENDS and sum(other.startswith(read) for other in pool) > 1:
            return False
        nearest = process.extract(read, pool, scorer=OSA.distance, score_cutoff=own, limit=2)
        return [at for _, _, at in nearest] == [row]


def questions(
    rows: list[Code], each: int, seed: int = SEED, *, check: bool = True, hardest: int = 0
) -> list[Asked]:
    """``each`` decidable queries of every kind of damage, ``hardest`` of the compound ones without make."""
    draw = random.Random(seed)
    truth = Truth(rows)
    out: list[Asked] = []
    for group, with_make, kinds in groups():
        for kind, damage in kinds.items():
            found = tries = 0
            most = max(each, hardest) if group == HARDEST else each
            while found < most and tries < most * 8:
                tries += 1
                row = draw.randrange(len(rows))
                make, model = normal(rows[row][0]), normal(rows[row][1])
                bad_make, bad_model = damage(make, model, draw)
                if kind != "as printed" and (bad_make, bad_model) == (make, model):
                    continue
                if not bad_model or not bad_make:
                    continue
                said = bad_make if with_make else ""
                if check and not truth.decidable(kind, said, bad_model, row):
                    continue
                found += 1
                out.append(Asked(kind, group, d.written(said, bad_model, draw), said, bad_model, row))
    return out


# other ways, for comparison

Way = Callable[[Asked], set[int]]


def by_scan(rows: list[Code], _: Path) -> Way:
    """rapidfuzz: optimal string alignment distance to every row."""
    from rapidfuzz import process
    from rapidfuzz.distance import OSA

    truth = Truth(rows)

    def find(asked: Asked) -> set[int]:
        pool = truth.joined if asked.make else truth.models
        return {process.extractOne(asked.make + asked.model, pool, scorer=OSA.distance)[2]}

    return find


def by_trigrams(rows: list[Code], folder: Path) -> Way:
    """SQLite FTS5 with its trigram tokenizer, the 200 best by rank rescored."""
    from rapidfuzz import process
    from rapidfuzz.distance import OSA

    truth = Truth(rows)
    db = sqlite3.connect(folder / "trigrams.sqlite")
    db.execute("CREATE VIRTUAL TABLE t USING fts5(code, tokenize='trigram', detail='none', columnsize=0)")
    db.executemany("INSERT INTO t(rowid, code) VALUES (?, ?)", enumerate(truth.joined))
    db.commit()

    def find(asked: Asked) -> set[int]:
        read = asked.make + asked.model
        grams = {read[at : at + 3] for at in range(len(read) - 2)}
        if not grams:
            return set()
        match = " OR ".join(f'"{gram}"' for gram in sorted(grams))
        ids = [
            r[0] for r in db.execute("SELECT rowid FROM t WHERE t MATCH ? ORDER BY rank LIMIT 200", (match,))
        ]
        pool = {at: (truth.joined if asked.make else truth.models)[at] for at in ids}
        best = process.extractOne(read, pool, scorer=OSA.distance)
        return {best[2]} if best else set()

    return find


def by_tantivy(rows: list[Code], folder: Path) -> Way:
    """tantivy: fuzzy term, distance 2 with transposition, over make+model and model, best ten rescored."""
    import tantivy
    from rapidfuzz import process
    from rapidfuzz.distance import OSA

    truth = Truth(rows)
    builder = tantivy.SchemaBuilder()
    for name in ("joined", "model"):
        builder.add_text_field(name, tokenizer_name="raw")
    builder.add_integer_field("row", stored=True)
    schema = builder.build()
    index = tantivy.Index(schema, str(folder))
    writer = index.writer(100_000_000, 1)
    for at in range(len(rows)):
        writer.add_document(tantivy.Document(joined=truth.joined[at], model=truth.models[at], row=at))
    writer.commit()
    index.reload()
    searcher = index.searcher()

    def find(asked: Asked) -> set[int]:
        read = asked.make + asked.model
        query = tantivy.Query.fuzzy_term_query(
            schema, "joined" if asked.make else "model", read, distance=2, transposition_cost_one=True
        )
        hits = [searcher.doc(where)["row"][0] for _, where in searcher.search(query, 10).hits]
        pool = {at: (truth.joined if asked.make else truth.models)[at] for at in hits}
        best = process.extractOne(read, pool, scorer=OSA.distance) if pool else None
        return {best[2]} if best else set()

    return find


# measuring


def timed(way: Way, asked: list[Asked]) -> tuple[float, float, float, float]:
    """Share first right, median, 95th percentile and most in milliseconds; the first ten are run twice.

    Time is that of the processor, so that other work on the machine does not count.
    """
    for one in asked[:10]:
        way(one)
    times, right = [], 0
    for one in asked:
        start = time.process_time()
        found = way(one)
        times.append(time.process_time() - start)
        right += found == {one.row}
    times.sort()
    return right / len(asked), median(times) * 1e3, times[int(len(times) * 0.95)] * 1e3, times[-1] * 1e3


def measure(
    size: int, each: int, others: bool, show_wrong: bool, seed: int = SEED, hardest: int = HARDEST_EACH
) -> dict[str, object]:
    """All figures of one size."""
    rows, source = codes(size)
    home = Path(tempfile.mkdtemp(prefix="jackfield-measure-"))
    out: dict[str, object] = {"size": size, "source": source}
    try:
        before = _rss()
        start = time.process_time()
        index = Index.open(home / "index")
        index.rebuild(entries(rows), 1)
        out["build_s"] = time.process_time() - start
        out["build_grew_mb"] = _rss() - before
        out["disk_mb"] = sum(p.stat().st_size for p in home.rglob("*") if p.is_file()) / 1e6
        each = each if size <= 200_000 else max(4, each // 10)
        asked = questions(rows, each, seed, hardest=hardest)
        out["decidable"] = len(asked)
        reader = index.reader()

        def ours(one: Asked) -> set[int]:
            matches = reader.find(one.text).matches
            return {int(matches[0].key[1:])} if matches else set()

        right: dict[str, list[bool]] = {}
        shares: dict[str, float] = {}
        draw = random.Random(1)
        even = [one for kind in by_kind(asked).values() for one in kind[:each]]
        mixed = draw.sample(even, len(even))
        _, out["median_ms"], out["p95_ms"], out["most_ms"] = timed(ours, mixed)
        per: dict[str, list[float]] = {}
        for one in asked:
            start = time.process_time()
            found = ours(one)
            per.setdefault(one.group, []).append(time.process_time() - start)
            good = found == {one.row}
            right.setdefault(f"{one.group}: {one.kind}", []).append(good)
            right.setdefault(one.group, []).append(good)
            if show_wrong and not good:
                first = [(m.make, m.model, m.how, m.score) for m in reader.find(one.text).matches[:2]]
                print("   wrong:", one.kind, "|", one.text, "|", rows[one.row], "|", first, file=sys.stderr)
        shares = {name: sum(values) / len(values) for name, values in right.items()}
        out["accuracy"] = shares
        out["group_ms"] = {name: median(values) * 1e3 for name, values in per.items()}
        if others:
            few = 400 if size <= 20_000 else 200 if size <= 200_000 else 24
            out["others"] = _others(rows, mixed[:few], home, ours)
        out["update_ms"] = _updates(index, rows)
        out["answer_rss_mb"] = _answering(home / "index", asked)
        reader.close()
        index.close()
    finally:
        shutil.rmtree(home, ignore_errors=True)
    return out


def by_kind(asked: list[Asked]) -> dict[tuple[str, str], list[Asked]]:
    """The queries by group and kind of damage."""
    out: dict[tuple[str, str], list[Asked]] = {}
    for one in asked:
        out.setdefault((one.group, one.kind), []).append(one)
    return out


def _others(rows: list[Code], asked: list[Asked], home: Path, ours: Way) -> dict[str, dict[str, float] | str]:
    """All ways on the same queries: accuracy, time; of the others size of the index and memory it takes."""
    out: dict[str, dict[str, float] | str] = {}
    names = {
        "jackfield": lambda *_: ours, "rapidfuzz OSA scan": by_scan,
        "SQLite FTS5 trigram": by_trigrams, "tantivy fuzzy": by_tantivy,
    }  # fmt: skip
    for number, (name, make) in enumerate(names.items()):
        folder = home / f"other-{number}"
        folder.mkdir()
        gc.collect()
        before, start = _rss_now(), time.process_time()
        try:
            way = make(rows, folder)
        except ImportError as error:
            out[name] = f"skipped: {error}"
            continue
        cells = {
            "build s": time.process_time() - start,
            "disk MB": sum(p.stat().st_size for p in folder.rglob("*") if p.is_file()) / 1e6,
        }
        share, cells["median ms"], cells["p95 ms"], cells["most ms"] = timed(way, asked)
        cells["first right %"] = 100 * share
        for group, _, _ in groups():
            mine = [one for one in asked if one.group == group]
            cells[f"{group} %"] = 100 * sum(way(one) == {one.row} for one in mine) / max(len(mine), 1)
        cells["memory grew MB"] = _rss_now() - before
        out[name] = cells
    return out


def _rss_now() -> float:
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * resource.getpagesize() / 1e6


def _updates(index: Index, rows: list[Code]) -> float:
    """Median milliseconds of taking in one recorded visit: of a known set, and of a new one."""
    times = []
    for turn in range(20):
        make, model = rows[turn]
        if turn % 2:
            entry = SetEntry(
                key_of(turn), make, model, findings=9, text=(("note", "hum on the optical output"),)
            )
        else:
            entry = SetEntry(f"new{turn}", make, f"{model}Q{turn}", findings=1, text=(("note", "no sound"),))
        start = time.perf_counter()
        index.update([entry], [], 2 + turn)
        times.append(time.perf_counter() - start)
    return median(times) * 1e3


def _answering(folder: Path, asked: list[Asked]) -> float:
    """Peak megabytes of a process that only answers."""
    script = (
        "import sys, json\nfrom pathlib import Path\nfrom kb.index import Index\n"
        "reader = Index.open(Path(sys.argv[1])).reader()\n"
        "for text in json.load(sys.stdin): reader.find(text)\n"
        "status = Path('/proc/self/status').read_text().split()\n"  # ru_maxrss would include the parent
        "print(int(status[status.index('VmHWM:') + 1]) / 1024)"
    )
    texts = json.dumps([one.text for one in asked if " " not in one.make][:500])
    done = subprocess.run(
        [sys.executable, "-c", script, str(folder)], input=texts, capture_output=True, text=True, check=False
    )
    return float(done.stdout) if done.returncode == 0 else math.nan


def _rss() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def show(results: list[dict[str, object]]) -> None:
    """The table, and how time grows with size."""
    print(f"{'':44}" + "".join(f"{_short(int(str(r['size']))):>12}" for r in results))

    def line(name: str, values: list[str]) -> None:
        print(f"{name:44}" + "".join(f"{value:>12}" for value in values))

    for key, unit in (
        ("median_ms", "ms"), ("p95_ms", "ms"), ("most_ms", "ms"), ("build_s", "s"), ("disk_mb", "MB"),
        ("build_grew_mb", "MB"), ("answer_rss_mb", "MB"), ("update_ms", "ms"), ("decidable", "queries"),
    ):  # fmt: skip
        line(f"{key} ({unit})", [f"{r[key]:.2f}" for r in results])
    names = list(dict.fromkeys(name for r in results for name in r["accuracy"]))  # type: ignore[attr-defined]
    for name in sorted(names):
        line(name, [f"{100 * r['accuracy'].get(name, math.nan):.2f}%" for r in results])  # type: ignore[attr-defined]
    for name in next(iter(results))["group_ms"]:  # type: ignore[attr-defined]
        line(f"median ms, {name}", [f"{r['group_ms'][name]:.2f}" for r in results])  # type: ignore[index]
    for name, first in results[0].get("others", {}).items():  # type: ignore[attr-defined]
        if isinstance(first, str):
            line(name, [first])
            continue
        for what in first:
            line(f"{name}: {what}", [f"{r['others'][name][what]:.2f}" for r in results])  # type: ignore[index]
    if len(results) > 1:
        first, last = results[0], results[-1]
        ratio = math.log(float(str(last["size"])) / float(str(first["size"])))
        for key in ("median_ms", "p95_ms", "build_s", "disk_mb"):
            grew = math.log(float(str(last[key])) / float(str(first[key])))
            print(f"growth exponent of {key}: {grew / ratio:.2f}")
        for name, cells in first.get("others", {}).items():  # type: ignore[attr-defined]
            if not isinstance(cells, str):
                grew = math.log(last["others"][name]["median ms"] / cells["median ms"])  # type: ignore[index]
                print(f"growth exponent of median_ms, {name}: {grew / ratio:.2f}")
    for r in results:
        print(f"{_short(int(str(r['size'])))}: {r['source']}")
    print("to quote:")
    for r in results:
        print(quoted(r))


def quoted(r: dict[str, object]) -> str:
    """One size as a line for the README."""
    shares: dict[str, float] = r["accuracy"]  # type: ignore[assignment]
    kinds = ", ".join(f"{100 * shares[name]:.1f}% {name}" for name, _, _ in groups() if name in shares)
    return (
        f"{_short(int(str(r['size'])))} models: first right {kinds}; median {r['median_ms']:.1f} ms,"
        f" 95th percentile {r['p95_ms']:.0f} ms; built in {r['build_s']:.1f} s, {r['disk_mb']:.0f} MB;"
        f" {r['decidable']} decidable queries"
    )


def _short(size: int) -> str:
    return f"{size // 1_000_000}M" if size >= 1_000_000 else f"{size // 1000}k"


def _size(text: str) -> int:
    scale = {"k": 1000, "M": 1_000_000}
    return int(text[:-1]) * scale[text[-1]] if text[-1] in scale else int(text)


def main() -> None:
    """Parse and run."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sizes", default="1k,19k")
    parser.add_argument("--each", type=int, default=100, help="queries of each kind of damage")
    parser.add_argument("--hardest", type=int, default=HARDEST_EACH, help="of compound damage without make")
    parser.add_argument("--no-others", action="store_true", help="leave the other ways out")
    parser.add_argument("--wrong", action="store_true", help="show wrong answers on stderr")
    parser.add_argument("--seed", type=int, default=SEED, help="another sample of damaged codes")
    parser.add_argument("--one", action="store_true", help=argparse.SUPPRESS)
    told = parser.parse_args()
    sizes = [_size(text) for text in told.sizes.split(",")]
    if told.one:
        found = measure(sizes[0], told.each, not told.no_others, told.wrong, told.seed, told.hardest)
        print(json.dumps(found))
    else:
        results = []
        for size in sizes:
            command = [sys.executable, __file__, "--one", "--sizes", str(size), "--seed", str(told.seed)]
            command += ["--hardest", str(told.hardest)]
            command += (
                ["--each", str(told.each)] + ["--no-others"] * told.no_others + ["--wrong"] * told.wrong
            )
            done = subprocess.run(command, stdout=subprocess.PIPE, check=True)
            results.append(json.loads(done.stdout))
        show(results)


if __name__ == "__main__":
    main()
