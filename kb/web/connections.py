"""Accept connections, and bound the time and memory that each may take.

Every connection waits in one asyncio loop: the TLS handshake, the headers, the body and the answer on its way
out hold no thread, however slowly the other end goes about them. A thread of the application is used only
while a whole request is being answered. What each stranger and each phone may use of time, connections and
memory is in ``guards.Bounds``.

**The choice.** h11 parses HTTP, asyncio does TLS and waiting, Flask answers as a WSGI application. Kept
servers were considered first. cheroot, used before, does the handshake in the thread that accepts and reads
requests in its worker threads: one silent TLS connection held everybody for 20 s, 16 slow ones held the plain
server for good. waitress reads requests in a loop but has no TLS, and stops accepting at its limit.
uvicorn sets no time for headers, hypercorn bounds the handshake; neither bounds the connections of one
address, tells paired phones from strangers, or lets a handshake be turned away for another. With either of
them the code here would be as long and would lean on their insides. h11 (MIT, pure Python, typed, no
dependencies) is the parser that uvicorn, hypercorn and httpx share.
"""

from __future__ import annotations

import asyncio
import logging
import socket
import ssl
import threading
from collections import Counter, defaultdict
from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, Any, Final

from kb.web.guards import Bounds
from kb.web.http_messages import Gone, Request, Wire, answer_of

if TYPE_CHECKING:
    from wsgiref.types import WSGIApplication

_LOG: Final = logging.getLogger("kb.web")
_FILES: Final = 4096  # open files asked of the system where it gives fewer to begin with
#: The token of the phone that a Cookie header belongs to, "" for a stranger. Must not block.
Knows = Callable[[str], str]


@dataclass(eq=False)
class _Line:
    """One connection. ``since``: loop time when its current request, or its wait for one, began."""

    address: str
    since: float
    token: str = ""
    answering: bool = False
    taken: bool = False  # asyncio looks after the socket
    task: asyncio.Task[None] | None = None


class Front:
    """Accept on ``listener`` and have ``app`` answer; ``serve`` runs until ``stop``.

    ``proxied``: every connection comes from a proxy of ours, so its address says nothing. ``leave`` is called
    in each thread of the application at the end.
    """

    def __init__(
        self,
        listener: socket.socket,
        app: WSGIApplication,
        knows: Knows,
        bounds: Bounds,
        *,
        tls: ssl.SSLContext | None = None,
        proxied: bool = False,
        leave: Callable[[], None] = lambda: None,
    ) -> None:
        self._listener, self._app, self._knows, self._bounds = listener, app, knows, bounds
        self._tls, self._proxied, self._leave = tls, proxied, leave
        self._here: tuple[str, int] = listener.getsockname()[:2]
        self._strangers: list[_Line] = []
        self._phones: defaultdict[str, list[_Line]] = defaultdict(list)
        self._turns: dict[str, asyncio.Semaphore] = {}
        self._loop: asyncio.AbstractEventLoop | None = None
        self._stopped = False

    # -- from the beginning to the end ---------------------------------------------------------------------

    def serve(self) -> None:
        """Answer until ``stop``; call it in a thread of its own."""
        try:
            if not self._stopped:
                asyncio.run(self._serve())
        finally:
            self._listener.close()

    def stop(self) -> None:
        """Answer what is being answered, then no more. From any thread; returns at once."""
        self._stopped = True
        if self._loop is None:
            self._listener.close()
            return
        with suppress(RuntimeError):  # it has ended by itself
            self._loop.call_soon_threadsafe(self._ended.set)

    async def _serve(self) -> None:
        self._ended = asyncio.Event()
        loop = self._loop = asyncio.get_running_loop()
        if self._stopped:
            return
        loop.set_exception_handler(_noted)
        _more_files()
        self._listener.setblocking(False)
        with (
            # Threads of their own: no phone waits until strangers have been answered.
            _Threads(self._bounds.threads, "phones", self._leave) as self._for_phones,
            _Threads(self._bounds.stranger_threads, "strangers", self._leave) as self._for_strangers,
        ):
            accepting = loop.create_task(self._accept())
            await self._ended.wait()
            # Cancelled now, asyncio would lose a connection that it has accepted but not handed on, and leave
            # it open: accept no more first, then let the last one in. On Windows it closes such a one.
            with suppress(NotImplementedError):
                loop.remove_reader(self._listener)
            await asyncio.sleep(0)
            accepting.cancel()
            lines = [*self._strangers, *(line for own in self._phones.values() for line in own)]
            tasks = [line.task for line in lines if line.task is not None]
            for line in lines:
                if not line.answering and line.task is not None:
                    line.task.cancel()
            if tasks:
                await asyncio.wait(tasks, timeout=self._bounds.end_s)

    # -- who comes in --------------------------------------------------------------------------------------

    async def _accept(self) -> None:
        loop = asyncio.get_running_loop()
        while not self._stopped:
            try:
                connection, peer = await loop.sock_accept(self._listener)
            except OSError:  # no more files, or the other end has left already
                self._evict(self._strangers)
                await asyncio.sleep(0.05)
                continue
            line = _Line("" if self._proxied else str(peer[0]), loop.time())
            if not self._room_for(line.address):
                connection.close()
                continue
            self._strangers.append(line)
            line.task = loop.create_task(self._talk(line, connection, str(peer[0]), int(peer[1])))
            line.task.add_done_callback(partial(self._over, line, connection))
            await asyncio.sleep(0)  # however many come at once, those that are here go on

    def _room_for(self, address: str) -> bool:
        """Room for one more stranger: the one that has waited longest makes it, first of the same address."""
        own = [line for line in self._strangers if line.address == address]
        if not self._proxied and len(own) >= self._bounds.lines_per_address:
            return self._evict(own)
        if len(self._strangers) < self._bounds.lines_of_strangers:
            return True
        # The address with the most makes room, so that many lines from one place turn nobody else away.
        ((most, _),) = Counter(line.address for line in self._strangers).most_common(1)
        return self._evict(line for line in self._strangers if line.address == most)

    def _evict(self, lines: Iterable[_Line]) -> bool:
        waiting = [line for line in lines if not line.answering]
        if not waiting:
            return False
        line = min(waiting, key=lambda line: line.since)
        self._drop(line)
        if line.task is not None:
            line.task.cancel()
        return True

    def _over(self, line: _Line, connection: socket.socket, _: asyncio.Task[None]) -> None:
        self._drop(line)
        if not line.taken:
            connection.close()

    def _drop(self, line: _Line) -> None:
        own = self._phones.get(line.token, []) if line.token else self._strangers
        if line in own:
            own.remove(line)
        if line.token and not own:
            self._phones.pop(line.token, None)
            self._turns.pop(line.token, None)

    def _count_with(self, line: _Line, token: str) -> bool:
        """Count the line with the phone that speaks on it; False if there is no room for one more."""
        if line.token == token:
            return True
        self._drop(line)
        line.token = token
        if not token:
            self._strangers.append(line)
            return True
        own = self._phones.get(token, [])
        if len(own) >= self._bounds.lines_per_phone and not self._evict(own):
            return False
        if sum(map(len, self._phones.values())) >= self._bounds.lines_of_phones:
            most = max(self._phones.values(), key=len)
            if not self._evict(most):
                return False
        self._phones[token].append(line)
        return True

    # -- one connection ------------------------------------------------------------------------------------

    async def _talk(self, line: _Line, connection: socket.socket, host: str, port: int) -> None:
        loop = asyncio.get_running_loop()
        wire = None
        try:
            connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            line.taken = True
            wire = await Wire.over(connection, self._tls, self._bounds)
            while await self._exchange(line, wire, host, port) and not self._stopped:
                line.since = loop.time()
            await wire.close()
        except (OSError, Gone, TimeoutError, asyncio.CancelledError):
            pass  # too slow, too many, or gone: there is nobody to tell
        finally:
            if wire is not None:
                wire.abort()

    async def _exchange(self, line: _Line, wire: Wire, host: str, port: int) -> bool:
        """One request and its answer; returns whether there may be another on this line."""
        bounds = self._bounds
        asked = await wire.request(bounds.idle_s if line.token else bounds.head_s)
        if asked is None:
            return False
        token = self._knows(asked.header("cookie"))
        if not self._count_with(line, token):
            raise Gone
        turn = self._turns.setdefault(token, asyncio.Semaphore(bounds.answers_per_phone)) if token else None
        with asked.content:
            await wire.body(asked, bounds.body_of_phone if token else bounds.body_of_stranger)
            if turn is None:
                answer = await self._run(line, asked, self._for_strangers, host, port)
            else:
                async with turn:
                    answer = await self._run(line, asked, self._for_phones, host, port)
        if answer.status == 429 and not token:
            await asyncio.sleep(1)  # costs the sender a line of its own, and nobody else anything
        return await wire.answer(asked, answer)

    async def _run(
        self, line: _Line, asked: Request, threads: ThreadPoolExecutor, host: str, port: int
    ) -> Any:
        line.answering = True
        try:
            environ = asked.environ(self._here, (host, port), secure=self._tls is not None)
            loop = asyncio.get_running_loop()
            return await loop.run_in_executor(threads, answer_of, self._app, environ)
        finally:
            line.answering = False


class _Threads(ThreadPoolExecutor):
    """Threads that each call ``leave`` at the end."""

    def __init__(self, count: int, name: str, leave: Callable[[], None]) -> None:
        super().__init__(count, thread_name_prefix=name)
        self._count, self._leave = count, leave

    def __exit__(self, *_: object) -> None:
        together = threading.Barrier(self._count)  # so that none of them does it twice

        def end() -> None:
            with suppress(threading.BrokenBarrierError):
                together.wait(20)  # on a busy machine threads begin late
            self._leave()

        for _number in range(self._count):
            self.submit(end)
        self.shutdown()


def _noted(_: asyncio.AbstractEventLoop, about: dict[str, Any]) -> None:
    """What goes wrong in the loop by itself: lines that break are nothing to tell."""
    wrong = about.get("exception")
    if not isinstance(wrong, OSError):
        _LOG.error("%s", about.get("message"), exc_info=wrong)


def _more_files() -> None:
    """Ask for as many open files as all lines may need; macOS gives 256 to begin with."""
    with suppress(ImportError, OSError, ValueError):
        import resource  # not on Windows, which has no such limit

        soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
        wanted = _FILES if hard == resource.RLIM_INFINITY else min(_FILES, hard)
        if soft != resource.RLIM_INFINITY and soft < wanted:
            resource.setrlimit(resource.RLIMIT_NOFILE, (wanted, hard))
