"""How does a script start a PostgreSQL server of its own, pull its plug and start it again?

``Database`` is one server in a folder of its own, on the loopback only, with its usual promises (fsync on).
As root it runs as an unprivileged user, because PostgreSQL refuses root.
"""

from __future__ import annotations

import os
import pwd
import shutil
import signal
import socket
import subprocess
import tempfile
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Final

_FOLDERS: Final = ("usr/lib/postgresql/*/bin", "usr/pgsql-*/bin", "opt/homebrew/opt/postgresql*/bin")
_START_S: Final = 60.0
USER: Final = "jack"


def server_programs() -> Path | None:
    """Return the folder of the server's programs, or None if this machine has none that run."""
    found = shutil.which("initdb")
    places = [Path(found).resolve().parent] if found else []
    places += sorted((place for folder in _FOLDERS for place in Path("/").glob(folder)), reverse=True)
    for place in places:
        try:
            said = subprocess.run([place / "postgres", "--version"], capture_output=True, text=True)
        except OSError:
            continue
        if said.returncode == 0 and "PostgreSQL" in said.stdout and (place / "pg_ctl").exists():
            return place
    return None


def unprivileged() -> str | None:
    """Return a user to run the server as if we are root, else None. Raises OSError if there is none."""
    if os.geteuid() != 0:
        return None
    names = {user.pw_name for user in pwd.getpwall()}
    user = next((name for name in ("nobody", "daemon") if name in names), None)
    if user is None:
        raise OSError("PostgreSQL refuses root, and there is no user nobody to run it as")
    return user


class Database:
    """One server: its folder, its port, and the options it is started with."""

    def __init__(self, programs: Path, folder: Path, options: Sequence[str] = ()) -> None:
        self._programs = programs
        self._user = unprivileged()
        self._folder = folder
        self._options = list(options)
        self.data = folder / "data"
        folder.mkdir(exist_ok=True)
        if self._user:
            shutil.chown(folder, self._user)
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port: int = free.getsockname()[1]

    @property
    def url(self) -> str:
        """An SQLAlchemy URL of its first database."""
        return f"postgresql+psycopg://{USER}@127.0.0.1:{self.port}/postgres"

    @property
    def address(self) -> str:
        """The same for the server's own programs."""
        return f"host=127.0.0.1 port={self.port} user={USER}"

    def make(self) -> None:
        """Make an empty database."""
        self._run("initdb", "-D", str(self.data), "-U", USER, "-A", "trust", "-E", "UTF8", "-N")

    def copy_of(self, primary: Database, name: str) -> None:
        """Make a streaming standby of another server; its replication is known there as ``name``."""
        source = f"{primary.address} application_name={name}"
        self._run("pg_basebackup", "-D", str(self.data), "-d", source, "-R", "-X", "stream", "-c", "fast")

    def start(self) -> None:
        """Start, and wait until it answers. After a kill the last of its processes may still be ending."""
        until = time.monotonic() + _START_S
        options = ["-p", str(self.port), "-h", "127.0.0.1", "-k", str(self._folder)]
        options += [word for option in self._options for word in ("-c", option)]
        while True:
            try:
                self._run(
                    "pg_ctl", "-D", str(self.data), "-w", "-l", str(self._folder / "log"),
                    "-o", " ".join(f"'{one}'" for one in options), "start",
                )  # fmt: skip
                return
            except subprocess.CalledProcessError:
                if time.monotonic() > until:
                    raise
                time.sleep(0.1)

    def stop(self, mode: str = "immediate") -> None:
        """Stop: ``immediate`` is as a crash, ``fast`` ends every connection in good order."""
        self._run("pg_ctl", "-D", str(self.data), "-w", "-m", mode, "stop")

    def kill(self) -> None:
        """Kill the server's first process with SIGKILL; the others notice and end."""
        number = int((self.data / "postmaster.pid").read_text().splitlines()[0])
        with suppress(ProcessLookupError):
            os.kill(number, signal.SIGKILL)

    def promote(self) -> None:
        """Make a standby the primary."""
        self._run("pg_ctl", "-D", str(self.data), "-w", "promote")

    def _run(self, program: str, *words: str) -> None:
        # The server keeps open whatever it gets as stdout for as long as it lives.
        quiet = subprocess.DEVNULL
        subprocess.run(
            [str(self._programs / program), *words],
            check=True,
            user=self._user,
            cwd=self._folder,
            stdout=quiet,
            stderr=quiet,
            env={"LC_ALL": "C"},
        )


@contextmanager
def database(programs: Path, options: Sequence[str] = ()) -> Iterator[Database]:
    """A new server that runs, in a folder that is removed at the end."""
    folder = Path(tempfile.mkdtemp(prefix="jackfield-pg-"))
    try:
        folder.chmod(0o755)
        made = Database(programs, folder / "server", options)
        made.make()
        made.start()
        try:
            yield made
        finally:
            with suppress(subprocess.CalledProcessError):
                made.stop()
    finally:
        shutil.rmtree(folder, ignore_errors=True)
