"""A laptop dies in a basement: what was acknowledged is there afterwards, and is found."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from kb.book import Book
from kb.domain.visit import Visit, visit_from
from tests.present import Present

RECORDINGS = 120


def visit(number: int) -> Visit:
    return visit_from(
        {
            "date": "2026-03-04",
            "source": {"make": "Norwell", "model": f"NV{number:04}"},
            "jacks": [{"form": "toslink", "marking": "OPTICAL OUT", "note": f"home number{number}"}],
        }
    )


def recording_child(home: str, first: int) -> None:
    """Records one set after another; says each number once its visit is acknowledged."""
    with Book.open(Path(home)) as book:
        for number in range(first, RECORDINGS):
            book.record([visit(number)])
            os.write(1, f"{number}\n".encode())


@pytest.mark.skipif(os.name == "nt", reason="no SIGKILL on Windows")
def test_every_acknowledged_visit_is_there_after_kill_9_and_is_found(tmp_path: Path) -> None:
    chance = random.Random(7)
    home = tmp_path / "book"
    acknowledged: list[int] = []
    kills = 0
    while len(acknowledged) < RECORDINGS:
        child = subprocess.Popen(
            [sys.executable, __file__, str(home), str(len(acknowledged))],
            stdout=subprocess.PIPE,
            env={**os.environ, "PYTHONPATH": str(Path(__file__).parents[2])},
        )
        assert child.stdout
        wanted = chance.randint(15, 60)
        for _, line in zip(range(wanted), child.stdout, strict=False):
            acknowledged.append(int(line))
        if len(acknowledged) < RECORDINGS:
            child.send_signal(signal.SIGKILL)
            kills += 1
        acknowledged += [int(line) for line in child.stdout]  # said before it died
        child.stdout.close()
        child.wait()
    assert acknowledged == list(range(RECORDINGS))
    assert kills >= 2
    with Book.open(home) as book, book.searcher() as searcher:
        for number in acknowledged:
            best = searcher.find(f"NV{number:04}").matches[0]
            assert (best.model, best.how) == (f"NV{number:04}", "exact")
        assert searcher.find("home number17").matches[0].model == "NV0017"
        assert Present(book.store).counts().visits >= RECORDINGS


if __name__ == "__main__":
    recording_child(sys.argv[1], int(sys.argv[2]))
