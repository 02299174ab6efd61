"""Bring a book to the format that this Jackfield writes.

A new book is made from ``schema.py`` and stamped. An older one is copied first, then upgraded by Alembic in
one transaction, so a crash leaves it intact. A newer one is refused.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any, Final

import sqlalchemy as sa
import uuid_utils

from kb.base.errors import BookTooNew, BookTrouble, NoBookYet, shown
from kb.base.messages import Said
from kb.base.version import VERSION
from kb.store import schema
from kb.store.counted import VIEWS
from kb.store.failures import translated
from kb.store.places import WRITES, Place
from kb.store.sqlite_codes import FORMATS
from kb.store.triggers import guards

MIGRATIONS: Final = Path(__file__).parent / "migrations"


def bring_up_to_date(
    engine: sa.Engine,
    place: Place,
    *,
    create: bool,
    upgrade: bool = True,
    formats: tuple[str, ...] = FORMATS,
    migrations: Path = MIGRATIONS,
) -> None:
    """Ensure a book of the present format at ``place``.

    Raises BookTrouble if there is none and ``create`` is false, or something else is there; BookTooNew if a
    newer Jackfield wrote it. Without ``upgrade``, BookTrouble for an older one. ``formats`` and
    ``migrations`` are for tests.
    """
    with translated(place.shown):
        with engine.connect() as connection:
            found = _format(connection, place)
        if found == formats[-1]:
            return
        if found is None and not create:
            raise NoBookYet(Said("error/no-book", place=place.shown))
        if found is not None and found not in formats:
            raise BookTooNew(
                Said("error/newer-format", place=place.shown, format=shown(found), known=formats[-1])
            )
        if found is not None and not upgrade:
            raise BookTrouble(Said("error/older-format", place=place.shown))
        if not place.writable:  # a file with no such right, or a standby of a server
            why = Said("error/nothing-recorded" if found is None else "error/is-older")
            raise BookTrouble(Said("error/read-only", place=place.shown, why=why))
        with engine.connect().execution_options(**{WRITES: True}) as connection:
            place.loosen(connection)
            with connection.begin():
                place.lock(connection)
                found = _format(connection, place)  # another program may have done it meanwhile
                if found is None:
                    _create(connection, formats[-1])
                elif found != formats[-1]:
                    place.keep(found)
                    _migrate(connection, migrations, formats[-1])
                    if not place.whole(connection):
                        raise BookTrouble(Said("error/findings-without-visit", place=place.shown))


def refuse_other_format(connection: sa.Connection, place: str) -> None:
    """Raise BookTooNew if another program has upgraded the book since this one opened it.

    Called inside a writing transaction. An older program would leave out columns of the newer format.
    """
    stamp = connection.execute(sa.select(schema.stamp.c.version_num)).scalar()
    if stamp != FORMATS[-1]:
        raise BookTooNew(Said("error/upgraded-meanwhile", place=place))


def _format(connection: sa.Connection, place: Place) -> str | None:
    """Return the format that is stamped on the book, or None without a stamp."""
    tables = place.tables(connection)
    if not tables:
        return None
    if not {schema.book.name, schema.stamp.name} <= tables:
        raise BookTrouble(Said("error/other-database", place=place.shown))
    stamps = connection.execute(sa.select(schema.stamp.c.version_num)).scalars().all()
    if len(stamps) != 1:
        raise BookTrouble(Said("error/format-missing", place=place.shown))
    return str(stamps[0])


def made(connection: sa.Connection, stamp: str) -> None:
    """Make a fresh book of format ``stamp`` in an empty database. Raises BookTrouble if a step is missing."""
    if stamp == FORMATS[-1]:
        _create(connection, stamp)
    else:
        _migrate(connection, MIGRATIONS, stamp)


def _create(connection: sa.Connection, stamp: str) -> None:
    for statement in _tables(connection.dialect.name, connection.dialect.driver):
        connection.exec_driver_sql(statement)
    for name, view in VIEWS.items():
        connection.exec_driver_sql(f"CREATE VIEW {name} AS {view}")
    for guard in guards(connection.dialect.name):
        connection.exec_driver_sql(guard.replace("%", "%%"))
    connection.execute(
        schema.book.insert(),
        {
            "one": 1,
            "id": str(uuid_utils.uuid7()),
            "revision": 0,
            "mark": str(uuid_utils.uuid7()),
            "made_with": VERSION,
        },
    )
    connection.execute(schema.stamp.insert(), {"version_num": stamp})


@cache
def _tables(dialect: str, driver: str) -> tuple[str, ...]:
    """Return the statements that make all tables and indexes; writing them takes longer than running them."""
    written: list[str] = []

    def keep(statement: Any, *_: object, **__: object) -> None:
        written.append(str(statement.compile(dialect=engine.dialect)))

    engine = sa.create_mock_engine(f"{dialect}+{driver}://", keep)
    schema.metadata.create_all(engine, checkfirst=False)
    return tuple(written)


def _migrate(connection: sa.Connection, migrations: Path, target: str) -> None:
    from alembic import command  # costs a quarter of a second: only where it is needed
    from alembic.config import Config
    from alembic.util import CommandError

    config = Config()
    config.set_main_option("script_location", str(migrations).replace("%", "%%"))
    config.attributes["connection"] = connection
    try:
        command.upgrade(config, target)
    except CommandError as problem:  # this installation lacks a step
        raise BookTrouble(Said("error/cannot-upgrade", why=shown(problem))) from problem
