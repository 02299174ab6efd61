"""A stretch of network between a program and its server that breaks when a test wants it to."""

from __future__ import annotations

import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress


class Link:
    """Relay connections to a server, count what the program sends, and break at one of these messages."""

    def __init__(self, port: int) -> None:
        self._server = ("127.0.0.1", port)
        self._door = socket.create_server(("127.0.0.1", 0))
        self.port: int = self._door.getsockname()[1]
        self._lock = threading.Lock()
        self._break_at: int | None = None
        self._answered = False
        self._stays_down = False
        self.sent = 0
        self.broken = False
        self.down = False
        threading.Thread(target=self._open, daemon=True).start()

    def break_at(self, number: int, *, answered: bool, stays_down: bool) -> None:
        """Break at this message from now on. ``answered``: the server gets it, and only its answer is lost.

        ``stays_down``: no further connection is let through.
        """
        with self._lock:
            self.sent, self._break_at, self.broken, self.down = 0, number, False, False
            self._answered, self._stays_down = answered, stays_down

    def mend(self) -> None:
        """Let everything through again."""
        with self._lock:
            self._break_at, self.down = None, False

    def close(self) -> None:
        """Take no more connections."""
        self._door.close()

    def _open(self) -> None:
        while True:
            try:
                near, _ = self._door.accept()
            except OSError:
                return
            if self.down:
                near.close()
                continue
            far = socket.create_connection(self._server)
            for one in (near, far):
                one.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            threading.Thread(target=self._there, args=(near, far), daemon=True).start()

    def _there(self, near: socket.socket, far: socket.socket) -> None:
        silent = threading.Event()
        back = threading.Thread(target=self._back, args=(far, near, silent), daemon=True)
        back.start()
        with suppress(OSError):
            while some := near.recv(1 << 16):
                with self._lock:
                    self.sent += 1
                    breaks = self.sent == self._break_at
                    if breaks:
                        self.broken, self.down = True, self._stays_down
                        silent.set()
                if breaks and not self._answered:
                    break
                far.sendall(some)
                if breaks:
                    back.join(timeout=0.5)  # half a message gets no answer
                    break
        for one in (near, far):
            with suppress(OSError):
                one.shutdown(socket.SHUT_RDWR)
            one.close()

    def _back(self, far: socket.socket, near: socket.socket, silent: threading.Event) -> None:
        with suppress(OSError):
            while some := far.recv(1 << 16):
                if silent.is_set():
                    return
                near.sendall(some)
            near.shutdown(socket.SHUT_RDWR)


@contextmanager
def link(port: int) -> Iterator[Link]:
    """A link to the server at this port."""
    made = Link(port)
    try:
        yield made
    finally:
        made.close()
