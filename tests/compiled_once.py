"""Keep what SQLAlchemy and Jinja compile for all tests of a process, as each test opens books of its own.

A program compiles a statement or a page once; the tests compiled each some hundred times, which was a quarter
of their time.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import sqlalchemy
from flask import Flask
from jinja2 import BytecodeCache
from sqlalchemy.dialects.postgresql.psycopg import PGDialect_psycopg
from sqlalchemy.dialects.sqlite.pysqlite import SQLiteDialect_pysqlite

if TYPE_CHECKING:
    from types import CodeType

    from jinja2.bccache import Bucket


class Pages(BytecodeCache):
    """Compiled templates by their name and place; Jinja itself compares the text they were made of."""

    def __init__(self) -> None:
        self.kept: dict[str, tuple[str, CodeType | None]] = {}

    def load_bytecode(self, bucket: Bucket) -> None:
        checksum, code = self.kept.get(bucket.key, ("", None))
        if checksum == bucket.checksum:
            bucket.code = code

    def dump_bytecode(self, bucket: Bucket) -> None:
        self.kept[bucket.key] = bucket.checksum, bucket.code


def compile_once() -> None:
    """Keep what is compiled from now on, whoever makes an application or an engine."""
    Flask.jinja_options = {**Flask.jinja_options, "bytecode_cache": Pages()}
    statements: dict[Any, Any] = {}
    make = sqlalchemy.create_engine

    def create_engine(*given: Any, **named: Any) -> sqlalchemy.Engine:
        engine = make(*given, **named)
        engine.update_execution_options(compiled_cache=statements)
        return engine

    sqlalchemy.create_engine = create_engine
    # A statement is kept with the dialect it was compiled for, and each engine has one of its own.
    for dialect in (SQLiteDialect_pysqlite, PGDialect_psycopg):
        dialect.__eq__ = lambda self, other: type(self) is type(other)  # type: ignore[method-assign, assignment]
        dialect.__hash__ = lambda self: hash(type(self))  # type: ignore[method-assign, assignment]
