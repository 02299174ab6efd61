"""Whatever is wrong with the book, the user reads one clear line and nothing was changed."""

from __future__ import annotations

import os
import shutil
import sqlite3
import sys
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa
import sqlalchemy.exc

from kb.base.errors import BookTrouble, JackfieldError
from kb.exchange.backup import back_up, examined
from kb.exchange.doctor import checks
from kb.store import Store, places
from kb.store import revision as peek
from kb.store.content_id import sealed_id
from kb.store.facts import AliasFact
from kb.store.failures import translated
from kb.store.one_set import visits_of
from kb.store.snapshot import Snapshot
from tests.present import Present
from tests.store.helpers import KEY, raw, recorded_and_forced, visit

ID = "0192a6c0-0000-7000-8000-000000000001"
ALIAS = AliasFact(sealed_id("alias", ["A/B", "A/C"]), "A/B", "A/C")


def looked(store: Store, ask: Callable[[Snapshot], Any]) -> Any:
    """What only a snapshot tells."""
    with store.snapshot() as now:
        return ask(now)


CALLS: dict[str, Callable[[Store], Any]] = {
    "record": lambda store: store.record([visit("NEW")]),
    "alias": lambda store: store.alias("A/B", "A/C"),
    "withdraw": lambda store: store.withdraw([ID]),
    "reenter": lambda store: store.reenter(),
    "kept": lambda store: looked(store, lambda now: now.kept(KEY)),
    "to_supersede": lambda store: looked(store, lambda now: now.to_supersede(ID)),
    "entry": lambda store: looked(store, lambda now: now.entry(ID)),
    "in_force": lambda store: looked(store, lambda now: now.in_force(now.entry(ID))),
    "reinstate": lambda store: store.reinstate([ID]),
    "merge": lambda store: store.merge([ALIAS], outside=True),
    "keep_states": lambda store: store.keep_states(lambda now: {("job", "J-1"): "{}"}),
    "states": lambda store: looked(store, lambda now: now.states("job")),
    "every_state": lambda store: looked(store, lambda now: now.every_state("job")),
    "recorded_last": lambda store: looked(store, lambda now: now.recorded_last(3)),
    "visits_found": lambda store: looked(store, lambda now: list(now.visits_found())),
    "turn_bundle": lambda store: store.turn_bundle(ID, taken_back=True),
    "standing": lambda store: store.standing(),
    "revision": lambda store: store.revision(),
    "visit": lambda store: store.visit(ID),
    "visits_of": lambda store: store.visits_of(KEY),
    "history_of": lambda store: Present(store).history_of(KEY),
    "visits": lambda store: list(Present(store).visits()),
    "set_keys": lambda store: list(Present(store).set_keys()),
    "sets_changed_since": lambda store: list(Present(store).sets_changed_since(0)),
    "visits_of_sets": lambda store: list(Present(store).visits_of_sets()),
    "counts": lambda store: Present(store).counts(),
    "cases": lambda store: Present(store).cases(),
    "job_references": lambda store: Present(store).job_references(),
}


def public(kind: type) -> set[str]:
    return {name for name in vars(kind) if not name.startswith("_")}


def test_every_call_of_the_store_is_tried_below() -> None:
    assert public(Store) - {"open", "close", "place", "writable", "snapshot"} <= set(CALLS)
    assert public(Snapshot) - {"spellings", "follows"} <= set(CALLS)


@contextmanager
def anybody() -> Iterator[None]:
    """As a user whom the rights of files hold back, also where the tests run as root."""
    if os.geteuid() != 0:
        yield
        return
    os.seteuid(65534)
    try:
        yield
    finally:
        os.seteuid(0)


@pytest.fixture
def shelf() -> Iterator[Path]:
    """A folder that any user can reach, with a book in it."""
    folder = Path(tempfile.mkdtemp(prefix="jackfield-", dir="/tmp"))
    try:
        with Store.open(folder / "book.sqlite") as store:
            store.record([visit()])
        yield folder
    finally:
        folder.chmod(0o700)
        shutil.rmtree(folder)


def give(folder: Path, rights: int, file_rights: int) -> Path:
    if os.geteuid() == 0:
        for path in (folder, *folder.iterdir()):
            os.chown(path, 65534, 65534)
    for path in folder.iterdir():
        path.chmod(file_rights)
    folder.chmod(rights)
    return folder / "book.sqlite"


@pytest.mark.parametrize("rights", [(0o555, 0o444), (0o555, 0o644), (0o755, 0o444)])
def test_a_read_only_book_is_read_and_says_why_it_cannot_be_written(
    shelf: Path, rights: tuple[int, int]
) -> None:
    book = give(shelf, *rights)
    before = book.read_bytes()
    with anybody(), Store.open(book) as store:
        assert len(store.visits_of(KEY)) == 1
        standing = peek.standing(book)
        assert standing is not None
        assert standing == store.standing()
        with pytest.raises(BookTrouble, match="read-only"):
            store.record([visit("NEW")])
        assert not [one for one in checks(store, book) if one.wrong and one.name != "rights"]
        copies = shelf.with_name(f"{shelf.name}-copies")
        assert back_up(book, copies).copy.visits == 1
        shutil.rmtree(copies)
    assert book.read_bytes() == before


def test_a_book_that_may_not_be_opened_says_so(shelf: Path) -> None:
    book = give(shelf, 0o755, 0o000)
    with anybody():
        with pytest.raises(BookTrouble, match="rights"):
            Store.open(book)
        with pytest.raises(BookTrouble, match="rights"):
            peek.revision(book)


def test_a_folder_in_which_nothing_may_be_made_says_so(shelf: Path) -> None:
    give(shelf, 0o555, 0o644)
    with anybody(), pytest.raises(BookTrouble, match="Permission denied"):
        Store.open(shelf / "home" / "book.sqlite")


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"no database at all, but some text that is long enough to be one" * 40, "is no book"),
        (os.urandom(8192), "is no book"),
        (b"SQLite format 3\x00" + bytes(4000), "book"),
        (b"x", "is no book"),
    ],
)
def test_a_file_that_is_no_database_is_refused_and_left_as_it_is(
    tmp_path: Path, content: bytes, said: str
) -> None:
    path = tmp_path / "book.sqlite"
    path.write_bytes(content)
    with pytest.raises(BookTrouble, match=said) as caught:
        Store.open(path)
    assert str(caught.value).startswith(f"{path}: ")
    assert path.read_bytes() == content
    assert peek.revision(path) is None


def test_a_database_of_another_program_is_refused_and_left_as_it_is(tmp_path: Path) -> None:
    path = tmp_path / "other.sqlite"
    with raw(path) as connection:
        connection.execute("CREATE TABLE shopping (what TEXT)")
    before = path.read_bytes()
    with pytest.raises(BookTrouble, match="another program"):
        Store.open(path)
    assert path.read_bytes() == before
    assert [one.name for one in tmp_path.iterdir()] == ["other.sqlite"]


def test_a_folder_instead_of_a_file_is_told(tmp_path: Path) -> None:
    with pytest.raises(BookTrouble, match="a folder, expected a file"):
        Store.open(tmp_path)


@pytest.mark.skipif(sys.platform in ("win32", "darwin"), reason="names are text there")
def test_a_folder_whose_name_is_no_text_holds_a_book_like_any_other(tmp_path: Path) -> None:
    book = tmp_path / os.fsdecode(b"caf\xe9 #1?") / "book.sqlite"
    with Store.open(book) as store:
        store.record([visit()])
    assert peek.revision(book) == 1
    [known] = visits_of(book, KEY) or []
    assert known == replace(visit(), id=known.id)
    places.copy_book(book, book.with_name("copy.sqlite"))
    assert examined(book.with_name("copy.sqlite")).visits == 1


def test_a_file_in_place_of_the_home_folder_is_told(tmp_path: Path) -> None:
    (tmp_path / "home").write_text("a file")
    with pytest.raises(BookTrouble):
        Store.open(tmp_path / "home" / "book.sqlite")


def test_an_empty_file_becomes_a_book_only_when_one_may_be_made(tmp_path: Path) -> None:
    path = tmp_path / "book.sqlite"
    path.touch()
    with pytest.raises(BookTrouble, match="no book here yet"):
        Store.open(path, create=False)
    with Store.open(path) as store:
        assert store.revision() == 0


@pytest.fixture(scope="module")
def long_book(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """The file of a book with 300 visits."""
    book = tmp_path_factory.mktemp("long") / "book.sqlite"
    with Store.open(book) as store:
        store.record([visit(f"M{number}") for number in range(300)])
    return book.read_bytes()


@pytest.mark.parametrize("call", CALLS)
def test_no_call_on_a_damaged_book_raises_anything_foreign(book: Path, long_book: bytes, call: str) -> None:
    content = bytearray(long_book)
    content[4096:] = os.urandom(len(content) - 4096)  # the first page, with the names of tables, is left
    book.parent.mkdir()
    book.write_bytes(content)
    with pytest.raises(BookTrouble) as caught, Store.open(book) as store:
        CALLS[call](store)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("call", CALLS)
def test_no_call_on_a_book_without_tables_raises_anything_foreign(book: Path, call: str) -> None:
    with Store.open(book) as store:
        store.record([visit()])
        with raw(book) as connection:
            for table in ("visit", "visit_private", "alias", "withdrawal", "private_state", "book"):
                connection.execute(f"DROP TABLE {table}")
        with pytest.raises(BookTrouble, match="no such table"):
            CALLS[call](store)


def test_a_value_that_no_jackfield_wrote_is_told(book: Path) -> None:
    recorded_and_forced(book, "UPDATE visit SET kind = 'toaster'")
    with Store.open(book) as store, pytest.raises(BookTrouble, match=r"toaster.*restore a backup"):
        store.visits_of(KEY)


def test_text_that_is_no_utf_8_is_told(book: Path) -> None:
    """SQLite has no code for it: sqlite3 itself finds it when it makes a text of it."""
    recorded_and_forced(book, "UPDATE book SET mark = CAST(x'ff41' AS TEXT)")
    assert peek.standing(book) is None  # whoever asks opens the store, which says why
    with pytest.raises(BookTrouble, match="UTF-8"), Store.open(book) as store:
        store.standing()
    with pytest.raises(BookTrouble, match="UTF-8"):
        back_up(book, book.parent / "copies")


def test_a_book_that_another_program_writes_to_for_too_long_can_be_read_but_not_written(
    book: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    Store.open(book).close()
    monkeypatch.setattr(places, "PATIENCE", 0.05)
    with raw(book) as other, Store.open(book) as store:
        other.execute("BEGIN IMMEDIATE")
        assert store.visits_of(KEY) == []
        assert peek.revision(book) == 0
        with pytest.raises(BookTrouble, match="another program writes to it"):
            store.record([visit()])
        other.execute("ROLLBACK")
        store.record([visit()])


def test_a_book_on_a_full_disk_is_read_and_is_written_again_once_there_is_room(book: Path) -> None:
    """Linux refuses to let any file grow, so SQLite cannot make the file that readers share."""
    resource = pytest.importorskip("resource")
    with Store.open(book) as store:
        store.record([visit()])
    most = resource.getrlimit(resource.RLIMIT_FSIZE)
    try:
        resource.setrlimit(resource.RLIMIT_FSIZE, (0, most[1]))
        store = Store.open(book)
        with pytest.raises(BookTrouble, match="no room; nothing was changed"):
            store.record([visit("NEW")])
        assert len(store.visits_of(KEY)) == 1
        assert not any(one.wrong for one in checks(store, book) if one.name != "rights")
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, most)
    with store, pytest.raises(BookTrouble, match="no room"):
        store.record([visit("NEW")])  # notices only now that there is room
    with store:
        store.record([visit("NEW")])
        assert Present(store).counts().visits == 2


def test_a_full_book_is_told(book: Path) -> None:
    """SQLite says "full" when its file may not grow any more."""
    with Store.open(book) as store:
        store.record([visit()])

        @sa.event.listens_for(store._engine, "checkout")
        def no_room(connection: sqlite3.Connection, *_: object) -> None:
            connection.execute("PRAGMA max_page_count = 1")

        with pytest.raises(BookTrouble, match="disk is full; nothing was changed"):
            store.record([visit(f"M{number}") for number in range(2000)])
        assert Present(store).counts().visits == 1


def _database_errors() -> Iterator[Exception]:
    for code in range(1, 102):
        for kind in (sqlite3.OperationalError, sqlite3.DatabaseError, sqlite3.IntegrityError):
            problem = kind("from SQLite\nsecond line \x1b[31m")
            problem.sqlite_errorcode = code
            yield problem
    yield sqlite3.ProgrammingError("\x1b[2J no code")


def _every_problem() -> Iterator[Exception]:
    """All that SQLAlchemy, SQLite and the disk can raise."""
    for origin in _database_errors():
        yield origin
        yield sa.exc.DBAPIError.instance("SELECT", None, origin, sqlite3.Error)  # type: ignore[misc]
    todo = [sa.exc.SQLAlchemyError]
    while todo:
        kind = todo.pop()
        todo += kind.__subclasses__()
        if not kind.__module__.startswith("sqlalchemy"):
            continue
        for arguments in (
            ("said",),
            ("said", "SELECT", None, ValueError("v")),
            ("SELECT", None, sqlite3.Error("e")),
        ):
            try:
                yield kind(*arguments)
                break
            except TypeError:
                continue
    yield from (OSError(28, "No space left on device"), PermissionError(13, "Permission denied"), OSError())
    yield from (UnicodeEncodeError("utf-8", "x", 0, 1, "surrogates"), OverflowError("too large"))
    yield ModuleNotFoundError("No module named 'psycopg'", name="psycopg")


def test_nothing_foreign_leaves_the_store() -> None:
    tried = 0
    for problem in _every_problem():
        with pytest.raises(JackfieldError) as caught, translated("book.sqlite"):
            raise problem
        assert "\n" not in str(caught.value)
        assert "\x1b" not in str(caught.value)
        assert caught.value.__cause__ is problem
        tried += 1
    assert tried > 300


def test_mistakes_of_our_own_are_not_dressed_up() -> None:
    with pytest.raises(ZeroDivisionError), translated("book.sqlite"):
        raise ZeroDivisionError


def test_what_goes_wrong_in_a_readers_own_block_is_his(store: Store) -> None:
    with pytest.raises(OSError, match="mine"), store.snapshot():
        raise OSError("mine")
