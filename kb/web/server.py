"""Serve the page, and say in the terminal where."""

from __future__ import annotations

import logging
import signal
import socket
import sys
import threading
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from kb.base.errors import BadInput, BookTrouble, Stated, ascii_controls, why_of
from kb.base.messages import Said
from kb.web.app import LOCAL, make_app
from kb.web.connections import Front
from kb.web.guards import Bounds, Guards

if TYPE_CHECKING:
    import ssl
    from types import FrameType

    from flask import Flask

PORT: Final = 8437
_QUEUE: Final = 128  # connections that wait to be accepted


@dataclass(frozen=True, slots=True)
class Serving:
    """How to serve: on this machine only, or on the network (``lan``); names and TLS where wanted.

    ``behind``: the name under which a TLS proxy on this machine passes requests on. ``names``: more names
    that the network knows this machine by. ``jobs``: a job file for the page of today.
    """

    port: int = PORT
    lan: bool = False
    names: tuple[str, ...] = ()
    behind: str = ""
    certificate: Path | None = None
    key: Path | None = None
    jobs: Path | None = None

    @property
    def secure(self) -> bool:
        """Do phones reach the page over TLS only?"""
        return self.certificate is not None or bool(self.behind)


class Running:
    """A server that is bound to its port; ``run`` answers until ``stop`` or an interrupt."""

    def __init__(
        self,
        home: Path,
        store: str | None,
        how: Serving,
        tell: Callable[[Running, str], None],
        bounds: Bounds | None = None,
    ) -> None:
        own = lan_names() if how.lan else ()
        behind = (how.behind.lower(),) if how.behind else ()
        hosts = LOCAL | {name.lower() for name in (*own, *how.names, *behind)}
        self.how = how
        self._own = own
        self.app: Flask = make_app(
            home,
            store,
            hosts=frozenset(hosts),
            secure=how.secure,
            jobs=how.jobs,
            tell=lambda code: tell(self, code),
        )
        served: Any = self.app
        if how.behind:
            from werkzeug.middleware.proxy_fix import ProxyFix

            served = ProxyFix(self.app, x_for=1, x_proto=1, x_host=1)
        tls = _tls(how.certificate, how.key) if how.certificate is not None else None
        _warm(self.app)
        address = ("0.0.0.0" if how.lan else "127.0.0.1", how.port)  # noqa: S104  # only when asked for
        try:
            listener = socket.create_server(address, backlog=_QUEUE)
        except OSError as problem:
            why = why_of(problem)
            raise BookTrouble(Said("error/port", port=how.port, why=why)) from problem
        self.port: Final = int(listener.getsockname()[1])  #: the port that it is bound to
        site = self.app.extensions["jackfield"]
        guards: Guards = site.guards
        self._front = Front(
            listener,
            served,
            guards.token_in,
            bounds or Bounds(),
            tls=tls,
            proxied=bool(how.behind),
            leave=site.books.close,
        )

    @property
    def url(self) -> str:
        """Where a phone finds it."""
        if self.how.behind:
            return f"https://{self.how.behind}/"
        name = (*self.how.names, *self._own, "127.0.0.1")[0] if self.how.lan else "127.0.0.1"
        return f"{'https' if self.how.secure else 'http'}://{name}:{self.port}/"

    def pairing_url(self, code: str) -> str:
        """The page for the code, with the code in it."""
        return f"{self.url}pair?code={code}"

    def offer(self) -> str:
        """Show a pairing code in the terminal, and return it."""
        code: str = self.app.extensions["jackfield"].guards.phones.offered()
        return code

    def run(self, ready: Callable[[], None] = lambda: None) -> None:
        """Answer until stopped; an interrupt or a polite request to end stops it. ``ready`` is called once
        phones are answered and an end is listened for."""
        ended = threading.Event()

        def leave(_: int, __: FrameType | None) -> None:
            ended.set()

        def answer() -> None:
            try:
                self._front.serve()
            finally:
                ended.set()

        # The server has a thread of its own: an exception thrown into it by a signal could be lost anywhere.
        answering = threading.Thread(target=answer, name="answering")
        with suppress(ValueError):  # not in the main thread: the caller stops us
            signal.signal(signal.SIGTERM, leave)
            signal.signal(signal.SIGINT, leave)
        answering.start()
        try:
            ready()
            while not ended.wait(0.5):  # a wait without end cannot be interrupted everywhere
                pass
        finally:
            self.stop()
            answering.join()

    def stop(self) -> None:
        """Answer what is being answered, then no more."""
        self._front.stop()


def _warm(app: Flask) -> None:
    """Load, and learn, what the first set page needs, before any phone is told where the page is: of a large
    book that nobody has asked yet this takes a while, and would else hold up everybody."""
    import kb.sheet.layout  # noqa: F401
    from kb.base.errors import JackfieldError
    from kb.catalogue import catalogue
    from kb.domain.language import language
    from kb.domain.visit import Source

    catalogue()
    language()
    books = app.extensions["jackfield"].books
    with suppress(JackfieldError):  # the next request reports it
        books.here().chance(Source("", ""))
    books.close()


def lan_names() -> tuple[str, ...]:
    """What the network may call this machine: the address it goes out with, and its name."""
    names = []
    with suppress(OSError), socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as line:
        line.connect(("192.0.2.1", 9))  # RFC 5737, for documentation: no packet is sent by connecting
        names.append(str(line.getsockname()[0]))
    with suppress(OSError):
        name = socket.gethostname()
        names += [name, f"{name}.local"] if "." not in name else [name]
    return tuple(dict.fromkeys(name for name in names if name))


def qr(url: str) -> str:
    """The address as a QR code of half blocks, for a terminal."""
    import io

    import segno

    out = io.StringIO()
    segno.make(url, error="m").terminal(out, border=2, compact=True)
    return out.getvalue()


def log_to_terminal() -> None:
    """Trouble and mistakes go to stderr, a line each, with nothing that steers the terminal."""
    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(_Plain("jackfield: %(message)s"))
    log = logging.getLogger("kb.web")
    log.handlers[:] = [handler]
    log.propagate = False


class _Plain(logging.Formatter):
    def format(self, record: logging.LogRecord) -> str:
        return "\n".join(ascii_controls(line) for line in super().format(record).splitlines())


def _tls(certificate: Path, key: Path | None) -> ssl.SSLContext:
    import ssl

    context = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
    context.options |= ssl.OP_NO_RENEGOTIATION  # a handshake costs the server more than the client
    context.set_alpn_protocols(["http/1.1"])
    try:
        context.load_cert_chain(certificate, key or certificate)
    except (OSError, ssl.SSLError) as problem:
        seen = Stated("error/says", program="TLS", words=why_of(problem))
        raise BadInput("--cert", seen, Said("expected/certificate")) from problem
    return context
