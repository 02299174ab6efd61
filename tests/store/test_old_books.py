"""A book of every format that there was opens today and loses nothing, whatever happens meanwhile."""

from __future__ import annotations

import os
import random
import signal
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest

from kb.domain.visit import Visit
from kb.exchange.backup import examined
from kb.exchange.doctor import checks, leftovers
from kb.store import Store
from kb.store.content_id import sealed_id
from kb.store.sqlite_codes import FORMATS
from tests.conftest import LONG
from tests.present import Present
from tests.store.helpers import KEY, raw, visit
from tests.store.test_safety import start
from tests.store.test_upgrade import copies, migrated, parts

OLD = FORMATS[:-1]
ONE, TWO, GONE, OTHER = (f"0192a6c0-0000-7000-8000-00000000000{n}" for n in range(1, 5))


def usual(store: Store) -> None:
    """A visit, its correction, a withdrawn visit and merged spellings."""
    store.record([visit(id=ONE)])
    store.record([visit(id=TWO, supersedes=[ONE], note="corrected")])
    store.record([visit("NV2", id=GONE), visit("NV3", id=OTHER)])
    store.withdraw([GONE])
    store.alias("NORWELL/NV4O210", KEY)


def old_book(path: Path, stamp: str, fill: Callable[[Store], None] = usual) -> None:
    """A book of an older format with what ``fill`` puts into it."""
    now = path.with_name("of-today.sqlite")
    with Store.open(now) as store:
        fill(store)
    migrated(path, stamp)
    with raw(path) as book:
        book.execute("ATTACH ? AS today", (str(now),))
        tables = [name for (name,) in book.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
        for table in tables:
            if table != "alembic_version" and not book.execute(f"SELECT 1 FROM {table}").fetchone():
                columns = ", ".join(row[1] for row in book.execute(f"PRAGMA table_info({table})"))
                book.execute(f"INSERT INTO {table} ({columns}) SELECT {columns} FROM today.{table}")
        assert book.execute("PRAGMA foreign_key_check").fetchall() == []
    for part in path.parent.glob(f"{now.name}*"):
        part.unlink()


def stamp_of(path: Path) -> str:
    with raw(path) as book:
        [(stamp,)] = book.execute("SELECT version_num FROM alembic_version").fetchall()
    return str(stamp)


def expected() -> list[Visit]:
    return [visit(id=TWO, supersedes=[ONE], note="corrected")]


def assert_nothing_lost(book: Path) -> None:
    with closing(Store.open(book)) as store:
        assert store.visits_of("NORWELL/NV4O210") == expected()
        assert Present(store).counts()[:1] + Present(store).counts()[2:] == (4, 2, 1, 1, 5)
        assert [one.name for one in checks(store, book) if not one.ok] == []


@pytest.mark.parametrize("stamp", OLD)
def test_an_old_book_is_copied_and_tells_all_it_told(book: Path, stamp: str) -> None:
    book.parent.mkdir(mode=0o700)
    old_book(book, stamp)
    before = parts(book)
    assert_nothing_lost(book)
    assert stamp_of(book) == FORMATS[-1]
    [kept] = copies(book)
    assert (examined(kept).visits, stamp_of(kept), parts(kept)) == (4, stamp, before)
    assert_nothing_lost(kept)  # the copy is a book: it can take the place of the other


@pytest.mark.parametrize("stamp", OLD)
def test_an_old_book_that_holds_a_turn_nobody_can_go_above_still_works(book: Path, stamp: str) -> None:
    book.parent.mkdir(mode=0o700)
    old_book(book, stamp)
    last = (TWO, 1_000_000, False)
    with raw(book) as old:
        row = (sealed_id("withdrawal", [*last]), 1, *last)
        old.execute("INSERT INTO withdrawal (id, revision, fact, turn, stands) VALUES (?, ?, ?, ?, ?)", row)
    with closing(Store.open(book)) as store:
        assert store.visits_of(KEY) == expected()
        assert store.withdraw([TWO]) == (TWO,)
        assert [one.id for one in store.visits_of(KEY)] == [ONE]
        assert store.reinstate([TWO]) == (TWO,)
        assert store.visits_of(KEY) == expected()


@pytest.mark.parametrize("stamp", OLD[1:])  # the first knew no sharing
def test_what_was_entered_anew_in_an_old_book_gives_way_to_a_correction(book: Path, stamp: str) -> None:
    def shared_and_corrected(store: Store) -> None:
        store.record([visit(id=ONE), visit("NV2", id=GONE)])
        assert store.reenter() == 2
        store.record([visit(id=TWO, supersedes=[ONE], note="corrected")])

    book.parent.mkdir(mode=0o700)
    old_book(book, stamp, shared_and_corrected)
    with closing(Store.open(book)) as store:
        assert store.visits_of(KEY) == expected()
        assert {one.reentered for one in Present(store).history_of("NORWELL/NV2")} == {"", GONE}
        assert [one.name for one in checks(store, book) if not one.ok] == []


@pytest.mark.parametrize("stamp", OLD if LONG else [OLD[0], OLD[-1]])
def test_an_upgrade_that_is_killed_anywhere_leaves_the_old_book_whole(book: Path, stamp: str) -> None:
    book.parent.mkdir(mode=0o700)
    old_book(book, stamp)
    before = parts(book)
    again = book.with_name("again.sqlite")
    again.write_bytes(book.read_bytes())
    with start("die", str(again), "0") as child:
        assert child.stdout is not None
        statements = int(child.stdout.read())
    every = range(1, statements + 1)
    some = every if LONG else sorted({*random.Random(8).sample(every, 1), statements})
    for moment in ("copy", *some):
        with start("die", str(book), str(moment)) as child:
            pass
        assert child.returncode == -signal.SIGKILL, moment
        with raw(book) as now:
            assert now.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        if stamp_of(book) != FORMATS[-1]:
            assert parts(book) == before
    for part in book.parent.glob("*.part*"):
        os.utime(part, (0, 0))
    assert len(leftovers(book.parent)) == 1  # the copy that was cut off
    assert_nothing_lost(book)
    assert {stamp_of(kept) for kept in copies(book) if "book.sqlite" in kept.name} == {stamp}
