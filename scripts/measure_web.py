"""How does the phone page hold up with a crew of phones on one laptop?

    python3 scripts/measure.py web                        50 phones, 18,000 sets, half a minute
    python3 scripts/measure_web.py --phones 10 --sets 400 --seconds 5

Every phone is a person: looks a set up as one types, reads the set's page for some seconds, and
sometimes records a visit, sent twice as by a phone that heard no answer. Only the loopback of this machine is
used; it stops by itself. Times are what a phone sees, beside an answer that says nothing (``/health``) in the
same run. At the end every acknowledged visit is looked for in the book. Then ``measure_phone.py``
looks at the pages in Chromium.
"""

from __future__ import annotations

import argparse
import http.client
import json
import os
import random
import statistics
import subprocess
import sys
import tempfile
import threading
import time
import urllib.parse
from collections import defaultdict
from dataclasses import dataclass, field
from pathlib import Path

import measure_phone
from damage import slip, unreadable
from measure import invented, table

MOST_PHONES, MOST_SECONDS, MOST_SETS = 200, 300, 100_000
SEED = 8
READS_S = (3.0, 9.0)  # how long somebody looks at a page before the next set (an assumption)


@dataclass
class Crew:
    """What all phones saw: seconds by what was asked, answers that were none, ids that were acknowledged."""

    took: dict[str, list[float]] = field(default_factory=lambda: defaultdict(list))
    refused: dict[int, int] = field(default_factory=lambda: defaultdict(int))
    sent: list[str] = field(default_factory=list)
    acknowledged: list[str] = field(default_factory=list)
    lock: threading.Lock = field(default_factory=threading.Lock)


class Phone(threading.Thread):
    """One person with a phone, from ``begin`` for ``seconds``."""

    def __init__(
        self, number: int, port: int, token: str, sets: list[tuple[str, str]], crew: Crew, until: float
    ) -> None:
        super().__init__(daemon=True)
        self._draw = random.Random(SEED * 1000 + number)
        self._line = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
        self._cookie = {"Cookie": f"jackfield={token}"}
        self._sets, self._crew, self._until = sets, crew, until
        self._form_token = ""

    def run(self) -> None:
        time.sleep(self._draw.uniform(0, sum(READS_S) / 2))
        self._form_token = json.loads(self._ask("token", "GET", "/token"))["form_token"]
        while time.monotonic() < self._until:
            make, model = self._draw.choice(self._sets)
            typed = self._draw.choice((slip, unreadable))(model, self._draw)
            for upto in (max(3, len(typed) - 2), len(typed)):  # as one types
                self._ask("lookup", "GET", "/?part=1&q=" + urllib.parse.quote(typed[:upto]))
                time.sleep(self._draw.uniform(0.2, 0.6))
            self._ask("set page", "GET", "/set?" + urllib.parse.urlencode({"make": make, "model": model}))
            self._ask("nothing", "GET", "/health")
            time.sleep(self._draw.uniform(*READS_S))
            if self._draw.random() < 0.2:
                self._record(make, model)
        self._line.close()

    def _record(self, make: str, model: str) -> None:
        import uuid_utils

        visit = str(uuid_utils.uuid7())
        form = {
            "form_token": self._form_token,
            "do": "save",
            "id": visit,
            "make": make,
            "model": model,
            "date": "2026-03-04",
            "jack-0-form": "toslink",
            "jack-0-marking": "OPTICAL OUT",
            "jack-0-outcome": "carried",
            "note": f"measured {visit}",
        }
        with self._crew.lock:
            self._crew.sent.append(visit)
        for _ in range(2):
            told = self._ask("record", "POST", "/record", urllib.parse.urlencode(form))
            if told and json.loads(told).get("visit") == visit:
                with self._crew.lock:
                    self._crew.acknowledged.append(visit)

    def _ask(self, what: str, method: str, path: str, body: str | None = None) -> str:
        headers = {**self._cookie, "Accept": "application/json" if body or what == "token" else "text/html"}
        if body:
            headers["Content-Type"] = "application/x-www-form-urlencoded"
        begun = time.perf_counter()
        self._line.request(method, path, body, headers)
        answer = self._line.getresponse()
        text = answer.read().decode()
        took = time.perf_counter() - begun
        with self._crew.lock:
            self._crew.took[what].append(took)
            if answer.status not in (200, 204):
                self._crew.refused[answer.status] += 1
                return ""
        return text


def main() -> int:
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--phones", type=int, default=50)
    asked.add_argument("--sets", type=int, default=18_000)
    asked.add_argument("--seconds", type=int, default=30)
    given = asked.parse_args()
    phones, count = min(given.phones, MOST_PHONES), min(given.sets, MOST_SETS)
    seconds = min(given.seconds, MOST_SECONDS)
    with tempfile.TemporaryDirectory() as folder:
        home = Path(folder)
        sets, tokens = written(home, count), paired(home, phones)
        command = [sys.executable, "-m", "kb.cli.main", "serve", "--port", "0", "--json"]
        env = {**os.environ, "JACKFIELD_HOME": folder}
        server = subprocess.Popen(command, env=env, stdout=subprocess.PIPE, text=True)
        try:
            assert server.stdout is not None
            port = urllib.parse.urlsplit(json.loads(server.stdout.readline())["url"]).port or 0
            crew = Crew()
            until = time.monotonic() + seconds
            crowd = [Phone(n, port, token, sets, crew, until) for n, token in enumerate(tokens)]
            for phone in crowd:
                phone.start()
            for phone in crowd:
                phone.join(seconds + 90)
            peak = peak_mb(server.pid)
        finally:
            server.terminate()
            server.wait(30)
        wrong = told(crew, home, f"{phones} phones on {count:,} sets for {seconds} s", peak)
    return wrong or measure_phone.main()


def written(home: Path, count: int) -> list[tuple[str, str]]:
    """A book of so many invented sets, with its index."""
    from kb.book import Book
    from kb.domain.visit import visit_from

    visits = [visit_from(data) for data in invented(count, random.Random(SEED))]
    with Book.open(home) as book:
        for start in range(0, count, 1000):
            book.store_to_write().record(visits[start : start + 1000])
        book.reindex()
    return [(visit.source.make, visit.source.model) for visit in visits]


def paired(home: Path, count: int) -> list[str]:
    """Tokens of so many phones that have typed their code."""
    from kb.web.pairing import Phones

    phones = Phones(home / "phones.json", lambda code: None)
    return [token for _ in range(count) if (token := phones.pair(phones.offered()))]


def told(crew: Crew, home: Path, title: str, peak: float) -> int:
    """Print what was seen; 1 where an acknowledged visit is not in the book, or is there twice."""
    from kb.book import Book

    there: dict[str, int] = defaultdict(int)
    with Book.open(home) as book, book.store.snapshot() as now:
        for batch in now.visits():
            for visit in batch:
                if visit.note.startswith("measured "):
                    there[visit.note.removeprefix("measured ")] += 1
    acknowledged = set(crew.acknowledged)
    lost = sum(1 for visit in acknowledged if there[visit] == 0)
    twice = sum(1 for visit in acknowledged if there[visit] > 1)
    base = statistics.median(crew.took["nothing"])
    rows: list[tuple[str, ...]] = [("asked", "times", "median", "p95", "worst", "median beside nothing")]
    for what in ("nothing", "lookup", "set page", "record"):
        took = sorted(crew.took[what])
        if not took:
            continue
        p95 = took[min(len(took) - 1, round(0.95 * len(took)))]
        median = statistics.median(took)
        shown = [f"{value * 1000:.0f} ms" for value in (median, p95, took[-1])]
        rows.append((what, str(len(took)), *shown, f"{median / base:.1f}"))
    table(title, rows)
    print(
        f"  visits sent {len(crew.sent)}, acknowledged {len(acknowledged)}, lost {lost}, there twice {twice}"
    )
    print(f"  answers that were none: {dict(crew.refused) or 0}; peak memory of the server {peak:.0f} MB")
    return 1 if lost or twice else 0


def peak_mb(pid: int) -> float:
    """Peak resident memory of a process in MB, 0 where the system does not tell (Linux does)."""
    try:
        for line in Path(f"/proc/{pid}/status").read_text().splitlines():
            if line.startswith("VmHWM"):
                return int(line.split()[1]) / 1024
    except OSError:
        pass
    return 0.0


if __name__ == "__main__":
    sys.exit(main())
