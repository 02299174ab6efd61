"""Invented sets and visits for the tests of the store. Loads little: child processes start with it."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

from kb.domain.visit import Visit, visit_from
from kb.store import Store

KEY = "NORWELL/NV40210"


def visit(model: str = "NV40-210", **more: Any) -> Visit:
    """A tested visit to an invented set with an optical output and an input."""
    data = {
        "date": "2026-03-04",
        "by": "RT",
        "job": "J-104",
        "source": {"make": "Norwell", "model": model, "display": "flat", "year": 2014, "size_in": 40},
        "driver": {"name": "bench driver", "inputs": ["optical", "line-3.5"]},
        "jacks": [
            {
                "form": "toslink",
                "marking": "DIGITAL AUDIO OUT",
                "outcome": "carried",
                "taken": False,
                "items": ["optical cable 2 m", "optical coupler"],
                "setting": "sound menu, digital output: PCM",
                "note": "behind the shelf of Mrs Alder",
            },
            {"form": "rca-pair", "marking": "AUDIO", "direction": "input", "colour": "red"},
        ],
        "note": "client asked for the blue cable",
        **more,
    }
    return visit_from(data)


@contextmanager
def raw(path: Path) -> Iterator[sqlite3.Connection]:
    """The book as any other program would open it, with nothing of ours set."""
    with closing(sqlite3.connect(path, isolation_level=None)) as connection:
        yield connection


def recorded_and_forced(book: Path, change: str) -> None:
    """Record a visit; then another program, which keeps none of the book's rules, changes a row."""
    with Store.open(book) as store:
        store.record([visit()])
    with raw(book) as connection:
        connection.execute("PRAGMA ignore_check_constraints = ON")
        for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            connection.execute(f"DROP TRIGGER {name}")
        connection.execute(change)
