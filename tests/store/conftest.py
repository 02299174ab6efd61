"""A fresh book for each test, in a file, and on a PostgreSQL server where its programs are installed."""

from __future__ import annotations

import os
import pwd
import shutil
import socket
import subprocess
import tempfile
from collections.abc import Iterator
from pathlib import Path
from uuid import uuid4

import pytest

from kb.store import Store

_ROOMS = ("/usr/lib/postgresql/*/bin", "/usr/pgsql-*/bin", "/opt/homebrew/opt/postgresql*/bin")


@pytest.fixture
def book(tmp_path: Path) -> Path:
    """Where the book of this test is; nothing is there yet."""
    return tmp_path / "home" / "book.sqlite"


@pytest.fixture
def store(book: Path) -> Iterator[Store]:
    """An open, empty book in a file."""
    with Store.open(book) as opened:
        yield opened


@pytest.fixture(scope="session")
def server() -> Iterator[str]:
    """The URL of a PostgreSQL server of our own, without the name of a database; skips where none can be."""
    pytest.importorskip("psycopg", reason="psycopg is not installed: no team book to test")
    programs = _programs()
    if programs is None:
        pytest.skip("no PostgreSQL server programs on this machine: the team book is not tested")
    user = _unprivileged()
    if user == "":
        pytest.skip("PostgreSQL refuses root, and there is no user nobody to run it as")
    folder = Path(tempfile.mkdtemp(prefix="jackfield-pg-", dir="/tmp"))
    if user:
        shutil.chown(folder, user)
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    data = folder / "data"

    def run(*command: str) -> None:
        subprocess.run(command, check=True, user=user, cwd=folder, capture_output=True, env={"LC_ALL": "C"})

    def unread(*command: str) -> None:  # the server keeps the pipes open for as long as it lives
        quiet = subprocess.DEVNULL
        subprocess.run(
            command, check=True, user=user, cwd=folder, stdout=quiet, stderr=quiet, env={"LC_ALL": "C"}
        )

    try:
        run(str(programs / "initdb"), "-D", str(data), "-U", "jack", "-A", "trust", "-E", "UTF8", "-N")
        options = f"-p {port} -h 127.0.0.1 -k {folder} -c max_connections=50 -c fsync=off -c fsync=off"
        unread(
            str(programs / "pg_ctl"), "-D", str(data), "-w", "-o", options, "-l", str(folder / "log"), "start"
        )
        try:
            yield f"postgresql+psycopg://jack@127.0.0.1:{port}"
        finally:
            unread(str(programs / "pg_ctl"), "-D", str(data), "-w", "-m", "immediate", "stop")
    finally:
        shutil.rmtree(folder, ignore_errors=True)


@pytest.fixture
def team(server: str) -> str:
    """The URL of a place on the server where nothing is: a schema of its own, cheaper than a database."""
    return new_place(server)


def new_place(server: str) -> str:
    """Another empty schema on the server."""
    import psycopg

    name = f"book_{uuid4().hex}"
    with psycopg.connect(f"{server.replace('+psycopg', '')}/postgres", autocommit=True) as connection:
        connection.execute(f"CREATE SCHEMA {name}")
    return f"{server}/postgres?options=-csearch_path%3D{name}"


@pytest.fixture(params=["file", "server"])
def either(request: pytest.FixtureRequest) -> Iterator[Store]:
    """An open, empty book, once in a file and once on a server."""
    where = request.getfixturevalue("book" if request.param == "file" else "team")
    with Store.open(where) as opened:
        yield opened


def _programs() -> Path | None:
    found = shutil.which("initdb")
    places = [Path(found).resolve().parent] if found else []
    places += sorted((place for room in _ROOMS for place in Path("/").glob(room[1:])), reverse=True)
    return next(
        (place for place in places if (place / "initdb").exists() and (place / "pg_ctl").exists()), None
    )


def _unprivileged() -> str | None:
    """None where we are no root, else a user to run the server as; "" where there is none."""
    if os.geteuid() != 0:
        return None
    return next((name for name in ("nobody", "daemon") if any(u.pw_name == name for u in pwd.getpwall())), "")
