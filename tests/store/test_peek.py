"""The revision of a book is told without SQLAlchemy, while others write, and leaves nothing behind."""

from __future__ import annotations

import sqlite3
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from kb.base.errors import BookTrouble
from kb.store import Store
from kb.store import revision as peek
from tests.store.helpers import raw, visit
from tests.store.test_safety import start


def test_the_revision_is_that_of_the_store(book: Path) -> None:
    assert peek.revision(book) is None
    with Store.open(book) as store:
        assert peek.revision(book) == 0
        store.record([visit()])
        assert peek.standing(book) == store.standing()
        assert peek.revision(book) == 1
    assert peek.revision(book) == 1


def test_a_place_where_no_book_is_has_no_revision(tmp_path: Path) -> None:
    assert peek.revision(tmp_path / "nowhere" / "book.sqlite") is None
    empty = tmp_path / "empty.sqlite"
    empty.touch()
    assert peek.revision(empty) is None
    other = tmp_path / "other.sqlite"
    with raw(other) as connection:
        connection.execute("CREATE TABLE shopping (what TEXT)")
    assert peek.revision(other) is None


def test_a_name_with_signs_of_a_url_in_it_is_only_a_name(tmp_path: Path) -> None:
    path = tmp_path / "a ?mode=rwc&x#%41.sqlite"
    with Store.open(path) as store:
        store.record([visit()])
    assert peek.revision(path) == 1
    assert peek.revision(tmp_path / "b ?mode=rwc&x#%41.sqlite") is None
    assert {one.name.removesuffix("-wal").removesuffix("-shm") for one in tmp_path.iterdir()} == {path.name}


def test_peeking_leaves_nothing_behind_that_others_could_read(book: Path) -> None:
    with Store.open(book) as store:
        store.record([visit()])
    peek.revision(book)
    assert {path.stat().st_mode & 0o777 for path in book.parent.iterdir()} == {0o600}
    with Store.open(book) as store:
        store.record([visit("NV2")])
    assert [path.name for path in book.parent.iterdir()] == ["book.sqlite"]


def test_the_revision_only_grows_while_another_process_writes(book: Path) -> None:
    Store.open(book).close()
    with start("record", str(book), "W", "60") as child:
        seen = []
        while child.poll() is None:
            seen.append(peek.revision(book))
        assert child.stdout is not None
        child.stdout.read()
    assert child.returncode == 0
    assert None not in seen
    assert seen == sorted(seen)  # type: ignore[type-var]
    assert peek.revision(book) == 60


def test_peeking_loads_neither_sqlalchemy_nor_the_rest_of_the_store() -> None:
    code = (
        "import sys; from kb.store import revision; import kb.settings;"
        " heavy = {'sqlalchemy', 'alembic', 'platformdirs', 'uuid_utils', 'kb.store.store'};"
        " loaded = heavy & set(sys.modules);"
        " assert not loaded, loaded"
    )
    subprocess.run([sys.executable, "-c", code], check=True, cwd=Path(__file__).parents[2])


@pytest.mark.parametrize("code", [sqlite3.SQLITE_IOERR, sqlite3.SQLITE_FULL])
def test_on_a_disk_without_room_a_quiet_book_is_read_as_it_is(
    book: Path, code: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Readers of a book in write-ahead mode share a small file, for which there is no room."""
    with Store.open(book) as store:
        store.record([visit()])
        stands = store.standing()
    connect = sqlite3.connect

    def full(where: str, **more: Any) -> sqlite3.Connection:
        if "immutable" in where:
            return connect(where, **more)
        problem = sqlite3.OperationalError("no room")
        problem.sqlite_errorcode = code
        raise problem

    monkeypatch.setattr(sqlite3, "connect", full)
    assert peek.standing(book) == stands
    log = book.with_name("book.sqlite-wal")
    log.write_bytes(b"somebody writes")
    with pytest.raises(BookTrouble, match=r"room|full"):
        peek.standing(book)
