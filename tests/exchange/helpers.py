"""Equal books, whole books, and visits to fill them with."""

from __future__ import annotations

import json
import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any

from kb.domain.panel import reconcile
from kb.domain.visit import visit_from
from kb.exchange.fact_lines import to_object
from kb.store import Store
from kb.store.facts import Fact, VisitFact, everything, rows, visits
from kb.store.snapshot import Snapshot
from tests.present import Present


def visit_data(model: str = "NV40-210", **more: Any) -> dict[str, Any]:
    """A visit file's content with words that nobody else may read."""
    return {
        "date": "2026-03-04",
        "by": "QXINITIALS",
        "basis": "tested",
        "job": "QXJOB-104",
        "source": {"make": "Norwell", "model": model, "year": 2014, "display": "flat", "size_in": 40},
        "driver": {"name": "QXDRIVER", "inputs": ["optical", "line-3.5"]},
        "jacks": [
            {
                "form": "toslink",
                "marking": "DIGITAL AUDIO OUT",
                "outcome": "carried",
                "taken": False,
                "items": ["optical cable 2 m", "DAC"],
                "setting": "sound menu, digital output: PCM",
                "note": "QXJACKNOTE behind the shelf",
            },
            {"form": "rca-pair", "marking": "AUDIO", "direction": "input", "colour": "red"},
        ],
        "note": "QXNOTE asked for the blue cable",
        **more,
    }


def facts_of(store: Store, *, private: bool = True) -> list[str]:
    """Every fact of the book as a line, in an order that is always the same."""
    with store.snapshot() as now:
        every: list[Fact] = list(everything(now)) if private else shareable(now)
    return sorted(json.dumps(to_object(one), sort_keys=True) for one in every)


def standing(store: Store) -> dict[str, Any]:
    """What the book says now, under every set's kept name: ids of visits and the panel made of them."""
    return {
        key: ([one.id for one in visits], reconcile(visits))
        for key, visits in Present(store).visits_of_sets()
        if visits
    }


def shareable(book: Snapshot) -> list[Fact]:
    """What may be shared of all that is recorded."""
    return [*visits(book, 0, private=False), *rows(book)]


def facts(store: Store) -> list[Fact]:
    """What may be shared of the book."""
    with store.snapshot() as now:
        return [one for one in shareable(now) if not isinstance(one, VisitFact) or one.nonce]


def assert_whole(path: Path) -> None:
    """The file is sound by SQLite's own checks, and every visit has all of its findings."""
    with closing(sqlite3.connect(path)) as book:
        assert book.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        assert book.execute("PRAGMA foreign_key_check").fetchall() == []
        half = book.execute(
            "SELECT v.id FROM visit v WHERE (SELECT count(*) FROM finding f WHERE f.visit = v.id) <> 2"
        ).fetchall()
        assert half == []


def fill(store: Store, count: int, name: str = "M") -> list[str]:
    """``count`` visits of two findings each."""
    done = store.record([visit_from(visit_data(f"{name}{number}")) for number in range(count)])
    return [one.id for one in done.recorded]
