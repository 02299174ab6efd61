"""How does the torture run start Jackfield's programs, speak to them, and kill them?

Commands are processes of their own. Most of them are forked from a *nursery*, a process that has imported
Jackfield and has done nothing else, so that a command begins in milliseconds and many fit into a minute; some
start cold, as a person's do. Nothing here opens a file of the book.
"""

from __future__ import annotations

import contextlib
import http.client
import json
import os
import re
import selectors
import signal
import subprocess
import sys
import tempfile
import threading
import time
import urllib.parse
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from environment import ROOT

COMMAND = [sys.executable, "-m", "kb.cli.main"]
LONGEST_S = 180.0  #: no command may take longer, however busy the machine
SERVER_S = 90.0  #: nor a server until it answers


class Broken(Exception):
    """The torture run itself cannot go on: this says nothing of the book."""


@dataclass(frozen=True)
class Ground:
    """Where a book is: the folder of its home, and the URL of its store where that is a server's.

    All that the actors know of the book; another kind of store overrides ``integrity`` and ``copy_to``.
    """

    home: Path
    store: str | None = None

    @property
    def options(self) -> list[str]:
        """What every command is told."""
        return ["--home", str(self.home), *(["--store", self.store] if self.store else [])]

    def integrity(self) -> list[str]:
        """What the engine itself finds wrong with the book, while no program has it open."""
        import sqlite3

        with contextlib.closing(sqlite3.connect(self.home / "book.sqlite")) as book:
            try:
                said = [row[0] for row in book.execute("PRAGMA integrity_check(20)")]
                keys = [str(row) for row in book.execute("PRAGMA foreign_key_check")]
            except sqlite3.DatabaseError as wrong:
                return [str(wrong)]
        return [one for one in said if one != "ok"] + keys

    def anew(self, folder: Path) -> Ground:
        """The same book in a new home, whose index is built anew; no program has the book open."""
        import sqlite3

        folder.mkdir()
        with (
            contextlib.closing(sqlite3.connect(self.home / "book.sqlite")) as book,
            contextlib.closing(sqlite3.connect(folder / "book.sqlite")) as copy,
        ):
            book.backup(copy)
        return Ground(folder)


@dataclass(frozen=True)
class Answer:
    """How a command ended. ``code`` is its exit code, None where it was killed before it could end."""

    words: tuple[str, ...]
    code: int | None
    said: str
    wrong: str
    took_s: float

    @property
    def data(self) -> Any:
        """The JSON document that it printed; {} where it printed none."""
        try:
            return json.loads(self.said)
        except ValueError:
            return {}

    def __str__(self) -> str:
        ended = "killed" if self.code is None else f"exit {self.code}"
        told = " ".join((self.wrong or self.said).split())
        return f"jackfield {' '.join(self.words)[:160]}: {ended}: {told[:300]}"


@dataclass
class _Child:
    pid: int = 0
    code: int | None = None
    begun: threading.Event = field(default_factory=threading.Event)
    ended: threading.Event = field(default_factory=threading.Event)


class Programs:
    """Starts commands and waits for them, for several threads at once."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._lock = threading.Lock()
        self._count = 0
        self._children: dict[int, _Child] = {}
        self._nursery = subprocess.Popen(
            [sys.executable, __file__, "--nursery"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            cwd=ROOT,
        )
        self._ready = threading.Event()
        threading.Thread(target=self._listen, daemon=True).start()
        if not self._ready.wait(LONGEST_S):
            raise Broken("the nursery does not begin")

    def close(self) -> None:
        """Let the nursery end."""
        assert self._nursery.stdin
        self._nursery.stdin.close()
        self._nursery.wait(30)

    def run(
        self,
        ground: Ground | None,
        words: Sequence[str | Path],
        *,
        typed: str = "",
        cold: bool = False,
        kill_after_s: float | None = None,
    ) -> Answer:
        """Run one command with ``--json`` to its end, or kill it after some seconds.

        ``typed`` is its standard input. Raises Broken where it never ends.
        """
        options = ground.options if ground else []
        line = [str(word) for word in (*words, "--json", *options)]
        with self._lock:
            self._count += 1
            number = self._count
        files = {name: self._folder / f"{number}.{name}" for name in ("in", "out", "err")}
        files["in"].write_text(typed, encoding="utf-8")
        begun = time.monotonic()
        code = (self._run_cold if cold else self._run_warm)(number, line, files, kill_after_s)
        took = time.monotonic() - begun
        said, wrong = (files[name].read_text("utf-8", "replace") for name in ("out", "err"))
        for file in files.values():
            file.unlink()
        return Answer(tuple(str(word) for word in words), code, said, wrong, took)

    def _run_cold(
        self, number: int, line: list[str], files: dict[str, Path], kill_after_s: float | None
    ) -> int | None:
        with files["in"].open() as given, files["out"].open("w") as out, files["err"].open("w") as err:
            child = subprocess.Popen([*COMMAND, *line], stdin=given, stdout=out, stderr=err, cwd=ROOT)
            try:
                child.wait(kill_after_s if kill_after_s is not None else LONGEST_S)
            except subprocess.TimeoutExpired:
                child.kill()
                child.wait()
                if kill_after_s is None:
                    raise Broken(f"{' '.join(line)} did not end in {LONGEST_S:.0f} s") from None
        return child.returncode if child.returncode >= 0 else None

    def _run_warm(
        self, number: int, line: list[str], files: dict[str, Path], kill_after_s: float | None
    ) -> int | None:
        child = _Child()
        order = {"n": number, "words": line, **{name: str(file) for name, file in files.items()}}
        with self._lock:
            self._children[number] = child
            assert self._nursery.stdin
            self._nursery.stdin.write(json.dumps(order) + "\n")
            self._nursery.stdin.flush()
        if not child.begun.wait(LONGEST_S):
            raise Broken("the nursery does not answer")
        if not child.ended.wait(kill_after_s if kill_after_s is not None else LONGEST_S):
            with contextlib.suppress(ProcessLookupError):
                os.kill(child.pid, signal.SIGKILL)
            child.ended.wait(LONGEST_S)
            if kill_after_s is None:
                raise Broken(f"{' '.join(line)} did not end in {LONGEST_S:.0f} s")
        with self._lock:
            del self._children[number]
        return child.code

    def _listen(self) -> None:
        assert self._nursery.stdout
        for line in self._nursery.stdout:
            told = json.loads(line)
            if not told:
                self._ready.set()
                continue
            with self._lock:
                child = self._children[told["n"]]
            if "pid" in told:
                child.pid = told["pid"]
                child.begun.set()
            else:
                child.code = told["code"] if told["code"] >= 0 else None
                child.ended.set()


# -- the nursery ---------------------------------------------------------------------------------------


def nursery() -> None:
    """Fork a command for each line of standard input, say its process, and how it ended."""
    import importlib
    import pkgutil

    import kb

    for module in pkgutil.walk_packages(kb.__path__, "kb."):
        if not module.name.startswith(("kb.web", "kb.store.migrations.", "kb.loop.pictures")):
            with contextlib.suppress(ImportError):
                importlib.import_module(module.name)
    for name in ("sqlalchemy.dialects.sqlite", "whoosh.index", "whoosh.qparser", "alembic.command"):
        importlib.import_module(name)
    waiting = selectors.DefaultSelector()
    waiting.register(0, selectors.EVENT_READ)
    buffered = b""
    _tell({})
    while True:
        for key, _ in waiting.select():
            if key.fd != 0:
                number, pid = key.data
                ended = os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1])
                waiting.unregister(key.fd)
                os.close(key.fd)
                _tell({"n": number, "code": ended})
                continue
            got = os.read(0, 65536)
            if not got:
                return
            *lines, buffered = (buffered + got).split(b"\n")
            for line in lines:
                order = json.loads(line)
                pid = os.fork()
                if not pid:
                    _born(order)
                waiting.register(os.pidfd_open(pid), selectors.EVENT_READ, (order["n"], pid))
                _tell({"n": order["n"], "pid": pid})


def _tell(what: dict[str, int]) -> None:
    os.write(1, (json.dumps(what) + "\n").encode())


def _born(order: dict[str, Any]) -> None:
    """In the fork: become the command, and never come back."""
    import atexit

    from kb.cli.main import main

    code = 70
    try:
        for name, flags, number in (("in", os.O_RDONLY, 0), ("out", os.O_WRONLY, 1), ("err", os.O_WRONLY, 2)):
            fd = os.open(order[name], flags | os.O_CREAT, 0o600)
            os.dup2(fd, number)
            os.close(fd)
        sys.argv = ["jackfield", *order["words"]]
        try:
            main()
            code = 0
        except SystemExit as left:
            code = left.code if isinstance(left.code, int) else 1
        sys.stdout.flush()
        sys.stderr.flush()
        atexit._run_exitfuncs()
    finally:
        os._exit(code)


# -- a server, and a phone's line to it ----------------------------------------------------------------


class Server:
    """``jackfield serve`` on a port of its own; ``codes`` are those that its terminal has shown."""

    def __init__(self, ground: Ground, folder: Path, number: int) -> None:
        self._errors = folder / f"serve-{number}.err"
        self.number = number
        self.pairing = threading.Lock()
        with self._errors.open("w") as err:
            self.process = subprocess.Popen(
                [*COMMAND, "serve", "--json", "--port", "0", *ground.options],
                stdout=subprocess.PIPE,
                stderr=err,
                text=True,
                cwd=ROOT,
            )
        assert self.process.stdout
        watch = threading.Timer(SERVER_S, self.process.kill)
        watch.start()
        line = self.process.stdout.readline()
        watch.cancel()
        told = json.loads(line) if line else {}
        self.code = str(told.get("code", ""))
        self.port = urllib.parse.urlsplit(told.get("url", "")).port or 0

    @property
    def up(self) -> bool:
        """Does it answer, as far as is known?"""
        return bool(self.port) and self.process.poll() is None

    @property
    def errors(self) -> str:
        """What it said on stderr so far."""
        return self._errors.read_text("utf-8", "replace")

    def latest_code(self) -> str:
        """The pairing code that the terminal showed last."""
        shown: list[str] = re.findall(r"code ([0-9A-Z]{4}-[0-9A-Z]{4})", self.errors)
        return shown[-1] if shown else self.code

    def kill(self) -> None:
        """Pull its plug."""
        self.process.kill()
        self._gone()

    def stop(self) -> int:
        """Ask it to end; returns its exit code, or -9 where it had to be killed."""
        self.process.terminate()
        try:
            self.process.wait(60)
        except subprocess.TimeoutExpired:
            self.process.kill()
        self._gone()
        return self.process.returncode

    def _gone(self) -> None:
        self.process.wait()
        assert self.process.stdout
        self.process.stdout.close()


@dataclass(frozen=True)
class Page:
    """What a phone got: ``status`` 0 where the line broke, so that it is unknown what the book did."""

    status: int
    text: str

    @property
    def data(self) -> Any:
        """The JSON that it is; {} for a page."""
        try:
            return json.loads(self.text)
        except ValueError:
            return {}


class Line:
    """One phone's line: its cookie and form token, at whichever server answers now."""

    def __init__(self) -> None:
        self._http: http.client.HTTPConnection | None = None
        self._port = 0
        self._cookie = self._token = ""
        self.paired = 0  #: how often it had to be paired

    def ask(self, server: Server, path: str, form: dict[str, str] | None = None, *, script: bool) -> Page:
        """GET, or POST with ``form``; ``script``: as the page's own script asks, for JSON."""
        if self._port != server.port or self._http is None:
            self.close()
            self._port = server.port
            self._http = http.client.HTTPConnection("127.0.0.1", server.port, timeout=LONGEST_S)
        headers = {"Accept": "application/json" if script else "text/html"}
        if self._cookie:
            headers["Cookie"] = self._cookie
        body = None
        if form is not None:
            body = urllib.parse.urlencode({**form, "form_token": self._token})
            headers["Content-Type"] = "application/x-www-form-urlencoded"
        try:
            self._http.request("POST" if form is not None else "GET", path, body, headers)
            answer = self._http.getresponse()
            text = answer.read().decode()
        except (OSError, http.client.HTTPException):
            self.close()
            return Page(0, "")
        if given := answer.getheader("Set-Cookie"):
            self._cookie = given.split(";")[0]
        return Page(answer.status, text)

    def pair(self, server: Server) -> bool:
        """Become a paired phone with the code that the terminal shows; False where that did not come off."""
        with server.pairing:
            before = server.latest_code()
            page = self.ask(server, "/pair", {"code": before}, script=False)
            if page.status == 403:  # used: opening the page makes the terminal show a new one
                self.ask(server, "/pair", script=False)
                for _ in range(40):
                    if server.latest_code() != before or not server.up:
                        break
                    time.sleep(0.05)
                page = self.ask(server, "/pair", {"code": server.latest_code()}, script=False)
        if page.status != 303:
            return False
        self.paired += 1
        return self.renew(server)

    def renew(self, server: Server) -> bool:
        """Fetch the form token; False where this phone is not paired or the line is down."""
        self._token = str(self.ask(server, "/token", script=True).data.get("form_token", ""))
        return self._token != ""

    def close(self) -> None:
        """Hang up."""
        if self._http is not None:
            self._http.close()
        self._http = None


def scratch() -> tempfile.TemporaryDirectory[str]:
    """A folder for the run, removed at its end."""
    return tempfile.TemporaryDirectory(prefix="torture-")


if __name__ == "__main__" and sys.argv[1:] == ["--nursery"]:
    sys.path.insert(0, str(ROOT))
    nursery()
