"""Where does a book lie, and what does its database need said in its own dialect?

A ``FilePlace`` is a SQLite file on this machine, a ``ServerPlace`` a PostgreSQL database. Nothing else
in the store knows which of the two it talks to.
"""

from __future__ import annotations

import os
import random
import secrets
import sqlite3
import time
from contextlib import closing
from pathlib import Path
from typing import Any, Final, Protocol, cast

import sqlalchemy as sa
from sqlalchemy import event
from sqlalchemy.pool import ConnectionPoolEntry, NullPool, QueuePool

from kb import clock
from kb.errors import BadInput, BookTrouble
from kb.given import BESIDE, Way, make_empty, moved, readable, refuse_special, uri_of
from kb.store.peek import WAIT
from kb.store.signs import RIGHTS, SQLITE
from kb.store.trouble import told
from kb.whole import put_new

#: An execution option of a connection: this transaction will write.
WRITES: Final = "jackfield_writes"
PATIENCE: Final = 60.0  #: seconds to wait for one's turn to write; loading a long file is one turn
_LOCK: Final = 0x4A61636B  # "Jack": the advisory lock of whoever makes or upgrades a book on a server
_SETTINGS: Final = ("foreign_keys = ON", "synchronous = FULL", "fullfsync = ON", "trusted_schema = OFF")
_EXPECTED: Final = "a file, sqlite:///FILE or postgresql+psycopg://USER@HOST/NAME"


class Place(Protocol):
    """What the store asks of the two kinds of places."""

    shown: str  #: for messages: no password in it
    writable: bool

    def engine(self, *, create: bool) -> sa.Engine:
        """Connections to the place; makes an empty file where ``create`` allows it."""

    def tables(self, connection: sa.Connection) -> set[str]:
        """Names of all tables there."""

    def reading(self, connection: sa.Connection) -> sa.Connection:
        """The connection, its next transaction set to see one state of the book."""

    def have_read(self, connection: sa.Connection) -> None:
        """After a reading: raises BookTrouble where it was not of one state of the book."""

    def lock(self, connection: sa.Connection) -> None:
        """Inside a writing transaction: keep everybody else from making or upgrading the book."""

    def loosen(self, connection: sa.Connection) -> None:
        """Before the transaction of an upgrade: let tables be rebuilt though others point at them."""

    def whole(self, connection: sa.Connection) -> bool:
        """At the end of an upgrade: does every reference still point at something?"""

    def keep(self, stamp: str) -> Path | None:
        """Save a copy before the book of format ``stamp`` is upgraded; where, if it was made."""


def place_of(where: str | Path) -> Place:
    """The place that a path or an SQLAlchemy URL names; raises BadInput where it names none."""
    if isinstance(where, Path) or "://" not in where:
        return FilePlace(Path(where))
    try:
        url = sa.make_url(where)
        kind = url.get_backend_name()
    except (sa.exc.ArgumentError, ValueError):
        raise BadInput("store", "a URL that cannot be read", _EXPECTED) from None  # may hold a password
    if kind == "sqlite" and url.database and url.database != ":memory:":
        return FilePlace(Path(url.database))
    if kind == "postgresql" and url.drivername in ("postgresql", "postgresql+psycopg"):
        return ServerPlace(url.set(drivername="postgresql+psycopg"))
    raise BadInput("store", url.render_as_string(hide_password=True), _EXPECTED)


class FilePlace:
    """A book in a SQLite file."""

    def __init__(self, path: Path) -> None:
        self.path = path.expanduser().absolute()
        self.shown = str(self.path)
        self.writable = True
        self._way: Way | None = Way(uri_of(self.path, "rw"))  # None: may only be read

    def engine(self, *, create: bool) -> sa.Engine:
        refuse_special(self.path)
        if create:
            self._make()
        elif not self.path.exists():
            raise BookTrouble(f"{self.shown}: there is no book here yet")
        self._choose()
        # How a book can be read that may not be written to depends on what others do: each reading asks anew.
        pool = QueuePool if self._way else NullPool
        engine = sa.create_engine("sqlite+pysqlite:///" + "book", creator=self._connect, poolclass=pool)
        event.listen(engine, "begin", _begin)
        return engine

    def tables(self, connection: sa.Connection) -> set[str]:
        asked = "SELECT name FROM sqlite_master WHERE type = 'table'"
        return set(connection.exec_driver_sql(asked).scalars())

    def reading(self, connection: sa.Connection) -> sa.Connection:
        return connection  # BEGIN sees one state of the file from its first SELECT on

    def have_read(self, connection: sa.Connection) -> None:
        if moved(self.path, cast("_File", connection.connection.dbapi_connection).way):
            raise BookTrouble(f"{self.shown}: was written to while it was read; try again")

    def lock(self, connection: sa.Connection) -> None:
        """BEGIN IMMEDIATE has locked the whole file."""

    def loosen(self, connection: sa.Connection) -> None:
        connection.detach()  # the setting must not go back into the pool
        assert connection.connection.dbapi_connection is not None
        connection.connection.dbapi_connection.execute("PRAGMA foreign_keys = OFF")

    def whole(self, connection: sa.Connection) -> bool:
        return connection.exec_driver_sql("PRAGMA foreign_key_check").first() is None

    def keep(self, stamp: str) -> Path:
        moment = clock.now().strftime("%Y%m%dT%H%M%SZ")
        name, number = f"{self.path.name}.before-{stamp}-{moment}", 1
        kept = self.path.with_name(f"{name}.bak")
        while kept.exists():  # an upgrade that was cut off a moment ago left its copy
            number += 1
            kept = self.path.with_name(f"{name}-{number}.bak")
        copy_book(self.path, kept)
        return kept

    def _make(self) -> None:
        """An empty file that only this user may read, in a folder of the same kind, unless there is one."""
        self.path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        make_empty(self.path)

    def _choose(self) -> None:
        """Find out whether the file can be written or only read; write-ahead mode is switched on once."""
        if self.path.stat().st_size == 1:  # SQLite takes such a file for an empty one and writes over it
            raise BookTrouble(f"{self.shown}: {SQLITE[sqlite3.SQLITE_NOTADB]}")
        until = time.monotonic() + WAIT
        while True:
            try:
                with closing(self._opened(Way(uri_of(self.path, "rw")))) as file:
                    names = {name for (name,) in file.execute("SELECT name FROM sqlite_master")}
                    ours = not names or "book" in names  # another program's database stays as it is
                    if ours and file.execute("PRAGMA journal_mode").fetchone()[0] != "wal":
                        file.execute("PRAGMA journal_mode = WAL").fetchone()
                self.writable = all(_may_write(one) for one in (self.path, self.path.parent))
                self._way = self._way if self.writable else None
                return
            except sqlite3.OperationalError as problem:
                code = problem.sqlite_errorcode & 0xFF
                # Several programs that switch a new file at once do not wait for each other by themselves.
                if code == sqlite3.SQLITE_BUSY and time.monotonic() < until:
                    time.sleep(0.02)
                    continue
                if code not in RIGHTS:
                    raise
                self.writable, self._way = False, None
                self._connect().close()
                return

    def _connect(self) -> sqlite3.Connection:
        refusal: sqlite3.OperationalError | None = None
        for way in [self._way] if self._way else readable(self.path):
            file = self._opened(way)
            try:
                for setting in _SETTINGS:
                    file.execute(f"PRAGMA {setting}")
                if not self._way:
                    file.execute("SELECT count(*) FROM sqlite_master").fetchone()
                return file
            except sqlite3.OperationalError as problem:
                file.close()
                refusal = refusal or problem
            except BaseException:
                file.close()
                raise
        assert refusal is not None
        raise refusal

    def _opened(self, way: Way) -> _File:
        file = sqlite3.connect(
            way.uri, uri=True, timeout=WAIT, isolation_level=None, check_same_thread=False, factory=_File
        )
        file.way = way
        return file


class _File(sqlite3.Connection):
    """A connection that knows how it was opened."""

    way: Way


def _may_write(path: Path) -> bool:
    return os.access(path, os.W_OK, effective_ids=os.access in os.supports_effective_ids)


def _begin(connection: sa.Connection) -> None:
    """sqlite3 begins nothing by itself here (isolation_level None), the same on every Python."""
    if not connection.get_execution_options().get(WRITES):
        connection.exec_driver_sql("BEGIN")
        return
    file = cast("sqlite3.Connection", connection.connection.dbapi_connection)
    until = time.monotonic() + PATIENCE
    # SQLite's own waiting sleeps ever longer, so that of many writers the one that waited longest has the
    # least chance: with 16 at once some starve. Here every waiting writer tries equally often.
    file.execute("PRAGMA busy_timeout = 0")
    try:
        while True:
            try:
                file.execute("BEGIN IMMEDIATE")
                return
            except sqlite3.OperationalError as problem:
                if problem.sqlite_errorcode & 0xFF != sqlite3.SQLITE_BUSY or time.monotonic() > until:
                    raise
            time.sleep(random.uniform(0.001, 0.01))  # noqa: S311 (no secret)
    finally:
        file.execute(f"PRAGMA busy_timeout = {round(WAIT * 1000)}")


def copy_book(path: Path, target: Path) -> None:
    """Copy a book that may be in use to a new file ``target``, through SQLite's online backup.

    The copy is for this user alone and is whole or not there. Raises BookTrouble, also where a file of
    that name is there already.
    """
    with told(str(target)):
        if target.exists():
            raise BookTrouble(f"{target}: is there already; nothing was overwritten")
        # No name of an earlier process: one that was killed may have left its own, and numbers come again.
        unfinished = target.with_name(f"{target.name}.{secrets.token_hex(4)}.part")
        try:
            make_empty(unfinished)
            with (
                closing(sqlite3.connect(uri_of(path), uri=True, timeout=WAIT)) as book,
                closing(sqlite3.connect(uri_of(unfinished, "rw"), uri=True)) as copy,
            ):
                # Each transaction of the copy is on the disk when it ends.
                copy.execute("PRAGMA synchronous = FULL")
                copy.execute("PRAGMA fullfsync = ON")
                book.backup(copy)
                # A single file that can be carried away, with no write-ahead log beside it.
                copy.execute("PRAGMA journal_mode = DELETE").fetchone()
            put_new(unfinished, target)
        except FileExistsError:
            raise BookTrouble(f"{target}: is there already; nothing was overwritten") from None
        finally:
            for ending in ("", *BESIDE):
                unfinished.with_name(unfinished.name + ending).unlink(missing_ok=True)


class ServerPlace:
    """A book in a PostgreSQL database, shared by a team."""

    def __init__(self, url: sa.URL) -> None:
        self._url = url
        self.shown = url.render_as_string(hide_password=True)
        self.writable = True  # the server decides, statement by statement

    def engine(self, *, create: bool) -> sa.Engine:
        engine = sa.create_engine(
            self._url, pool_pre_ping=True, connect_args={"connect_timeout": round(WAIT)}
        )
        event.listen(engine, "connect", _settle)
        return engine

    def tables(self, connection: sa.Connection) -> set[str]:
        asked = "SELECT tablename FROM pg_tables WHERE schemaname = current_schema()"
        return set(connection.exec_driver_sql(asked).scalars())

    def reading(self, connection: sa.Connection) -> sa.Connection:
        return connection.execution_options(isolation_level="REPEATABLE READ", postgresql_readonly=True)

    def have_read(self, connection: sa.Connection) -> None:
        """The server sees to it."""

    def lock(self, connection: sa.Connection) -> None:
        connection.execute(sa.select(sa.func.pg_advisory_xact_lock(_LOCK)))

    def loosen(self, connection: sa.Connection) -> None:
        """A server rebuilds no tables."""

    def whole(self, connection: sa.Connection) -> bool:
        return True  # it has checked every statement

    def keep(self, stamp: str) -> None:
        """The server's keeper makes the backups of a shared book; its upgrade is one transaction."""


def _settle(connection: Any, _: ConnectionPoolEntry) -> None:
    """Every commit is on the server's disk before it is acknowledged; nobody waits for ever."""
    with connection.cursor() as cursor:
        cursor.execute("SET synchronous_commit = on")
        # To compile the rules of what stands takes seconds, to run them milliseconds.
        cursor.execute("SET jit = off")
        cursor.execute(f"SET lock_timeout = {round(PATIENCE * 1000)}")
    connection.commit()
