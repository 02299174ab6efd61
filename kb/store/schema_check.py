"""Compare the tables, indexes and triggers of a file with those of a book.

A foreign trigger can swallow every visit, and a missing one lets facts be changed. The comparison makes a
book of the same format in memory, so there is no second list of its parts.
"""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final, NamedTuple

import sqlalchemy as sa

from kb.base.errors import shown
from kb.base.messages import Said
from kb.store.upgrade import made

_ASKED: Final = (
    "SELECT type, name, sql FROM sqlite_master"
    # Made by the engine itself: the indexes of keys, and counts for its planner.
    " WHERE NOT (sql IS NULL AND type = 'index') AND NOT (type = 'table' AND name GLOB 'sqlite_stat[0-9]')"
)
_QUOTED: Final = re.compile(r'"([A-Za-z_]+)"')
#: Parts that can be dropped and made again without touching a fact.
_DERIVED: Final = ("trigger", "view", "index")


class Part(NamedTuple):
    """Hold one part of a schema."""

    kind: str
    """``table``, ``index``, ``trigger`` or ``view``."""
    name: str

    @property
    def said(self) -> Said:
        """Name the part."""
        return Said(f"book/part/{self.kind}", name=shown(self.name))

    def __str__(self) -> str:
        return str(self.said)


@dataclass(frozen=True, slots=True)
class Differences:
    """Hold the differences between the schema of a file and that of a fresh book of its format."""

    extra: tuple[Part, ...] = ()
    missing: tuple[Part, ...] = ()
    changed: tuple[Part, ...] = ()

    def __bool__(self) -> bool:
        return bool(self.extra or self.missing or self.changed)

    @property
    def fatal(self) -> tuple[Part, ...]:
        """Return tables of a book that are missing or wrong: they cannot be repaired."""
        return tuple(one for one in (*self.missing, *self.changed) if one.kind == "table")

    def said(self, *kinds: str) -> Iterator[Said]:
        """Yield one sentence for each difference of these kinds."""
        for one in self.extra:
            if one.kind in kinds:
                yield Said(_for("book/fault/extra", one), part=one.said)
        for one in self.missing:
            if one.kind in kinds:
                yield Said(_for("book/fault/missing", one), part=one.said)
        for one in self.changed:
            if one.kind in kinds:
                yield Said("book/fault/changed", part=one.said)


def _for(key: str, part: Part) -> str:
    return f"{key}/trigger" if part.kind == "trigger" else key


def differences(book: sqlite3.Connection, stamp: str) -> Differences:
    """Compare the schema of an open file with that of a fresh book of format ``stamp``.

    Raises BookTrouble if this installation cannot make a book of that format, sqlite3.Error if the file
    cannot be read.
    """
    wanted, there = _fresh(stamp), _parts(book)
    return Differences(
        tuple(sorted(there.keys() - wanted.keys())),
        tuple(sorted(wanted.keys() - there.keys())),
        tuple(
            sorted(
                one
                for one in wanted.keys() & there.keys()
                if _plain(one.kind, wanted[one]) != _plain(one.kind, there[one])
            )
        ),
    )


def mend(book: sqlite3.Connection, stamp: str, wrong: Differences, *, tables: bool = False) -> None:
    """Drop foreign parts from a book and add the missing ones; the caller commits.

    Tables stay as they are. With ``tables``, foreign tables are dropped too, for a copy.
    """
    wanted = _fresh(stamp)
    drop = [one for one in (*wrong.extra, *wrong.changed) if one.kind in _DERIVED]
    if tables:
        drop += [one for one in wrong.extra if one.kind == "table"]
    for one in sorted(drop, key=lambda part: (*_DERIVED, "table").index(part.kind)):
        name = one.name.replace('"', '""')
        book.execute(f'DROP {one.kind} IF EXISTS "{name}"')
    for one in (*wrong.missing, *wrong.changed):
        if one.kind in _DERIVED:
            book.execute(wanted[one])


def _parts(book: sqlite3.Connection) -> dict[Part, str]:
    return {Part(str(kind), str(name)): str(sql or "") for kind, name, sql in book.execute(_ASKED)}


def _fresh(stamp: str) -> dict[Part, str]:
    """Return the schema of a fresh book of this format, with the statements that make it."""
    engine = sa.create_engine("sqlite://")
    try:
        with engine.connect() as connection:
            made(connection, stamp)
            return {Part(kind, name): sql for kind, name, sql in connection.exec_driver_sql(_ASKED).all()}
    finally:
        engine.dispose()


def _plain(kind: str, sql: str) -> list[str]:
    """Return a statement without its layout.

    For a table the order of lines is ignored, since migrations add theirs at the end.
    """
    said = " ".join(_QUOTED.sub(r"\1", sql).split())
    if kind != "table":
        return [said]
    start, _, rest = said.partition("(")
    return [start.strip(), *sorted(_lines(rest.rstrip().removesuffix(")")))]


def _lines(said: str) -> Iterator[str]:
    """Yield the parts between commas outside brackets and texts."""
    depth, text, begun = 0, False, 0
    for at, sign in enumerate(said):
        if sign == "'":
            text = not text
        elif not text:
            depth += (sign == "(") - (sign == ")")
            if sign == "," and depth == 0:
                yield said[begun:at].strip()
                begun = at + 1
    yield said[begun:].strip()
