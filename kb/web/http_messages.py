"""Read a request from a connection and write an answer to it, in bounded time and memory.

h11 parses and writes HTTP/1.1; what is asked becomes the ``environ`` of PEP 3333. Of a body that is longer
than it may be nothing is kept: the application sees how long it says it is, and refuses it.
"""

from __future__ import annotations

import asyncio
import logging
import socket
import ssl
import sys
from contextlib import suppress
from dataclasses import dataclass, field
from email.utils import formatdate
from functools import partial
from http import HTTPStatus
from tempfile import SpooledTemporaryFile
from typing import IO, TYPE_CHECKING, Any, Final, Self
from urllib.parse import unquote_to_bytes, urlsplit

import h11
from werkzeug.test import run_wsgi_app

from kb.web.guards import Bounds

if TYPE_CHECKING:
    from wsgiref.types import WSGIApplication, WSGIEnvironment

_LOG: Final = logging.getLogger("kb.web")
_CHUNK: Final = 64 * 1024
_IN_MEMORY: Final = 256 * 1024  # bytes of a body; a longer one lies in a file that has no name
_ONLY_TLS: Final = b"This page is reached over https only."


class Gone(Exception):
    """The other end has left."""


@dataclass
class Request:
    """What was asked. ``content``: the body, as far as it was kept."""

    said: h11.Request
    content: IO[bytes] = field(default_factory=partial(SpooledTemporaryFile, _IN_MEMORY))

    def header(self, name: str) -> str:
        """Its header, "" for none; several are one, as HTTP has it."""
        joint = "; " if name == "cookie" else ", "
        return joint.join(v.decode("latin-1") for key, v in self.said.headers if key.decode("ascii") == name)

    @property
    def length(self) -> int | None:
        """How many bytes it says follow; None if it does not say so (chunked)."""
        if self.header("transfer-encoding"):
            return None
        return int(self.header("content-length") or 0)

    def environ(self, here: tuple[str, int], peer: tuple[str, int], *, secure: bool) -> WSGIEnvironment:
        """As PEP 3333 wants it."""
        target = self.said.target.decode("latin-1")
        host = self.header("host")
        if not target.startswith("/") and "://" in target:  # RFC 9112, 3.2.2: then its host counts
            parts = urlsplit(target)
            host, target = parts.netloc, target.split(parts.netloc, 1)[1] or "/"
        path, _, query = target.partition("?")
        environ: dict[str, Any] = {
            "REQUEST_METHOD": self.said.method.decode("ascii"),
            "SCRIPT_NAME": "",
            "PATH_INFO": unquote_to_bytes(path).decode("latin-1"),
            "QUERY_STRING": query,
            "REQUEST_URI": target,
            "SERVER_PROTOCOL": f"HTTP/{self.said.http_version.decode('ascii')}",
            "SERVER_NAME": here[0],
            "SERVER_PORT": str(here[1]),
            "REMOTE_ADDR": peer[0],
            "REMOTE_PORT": str(peer[1]),
            "wsgi.version": (1, 0),
            "wsgi.url_scheme": "https" if secure else "http",
            "wsgi.input": self.content,
            "wsgi.errors": sys.stderr,
            "wsgi.multithread": True,
            "wsgi.multiprocess": False,
            "wsgi.run_once": False,
        }
        for name in {key.decode("ascii") for key, _ in self.said.headers}:
            if "_" not in name:  # else it could pass for another header
                environ[f"HTTP_{name.upper().replace('-', '_')}"] = self.header(name)
        environ["HTTP_HOST"] = host
        environ["CONTENT_TYPE"] = environ.pop("HTTP_CONTENT_TYPE", "")
        if (length := environ.pop("HTTP_CONTENT_LENGTH", "")) and self.length is not None:
            environ["CONTENT_LENGTH"] = length
        return environ


@dataclass
class Answer:
    """What the application answered."""

    status: int
    reason: str
    headers: list[tuple[str, str]]
    body: bytes


def answer_of(app: WSGIApplication, environ: WSGIEnvironment) -> Answer:
    """Call the application (PEP 3333) and take the whole answer, so that no thread waits for its reader."""
    try:
        parts, status, headers = run_wsgi_app(app, environ, buffered=True)
        code, _, reason = status.partition(" ")
        return Answer(int(code), reason, list(headers), b"".join(parts))
    except Exception as wrong:  # Flask answers mistakes of ours; this is one beyond it
        _LOG.error("mistake at %s", environ.get("PATH_INFO"), exc_info=wrong)
        return _plain(500)


def _plain(code: int, said: str = "") -> Answer:
    body = (said or HTTPStatus(code).phrase).encode()
    return Answer(code, HTTPStatus(code).phrase, [("Content-Type", "text/plain")], body)


class Wire:
    """One connection as a client's requests and our answers. Everything raises TimeoutError if it takes
    longer than ``bounds`` has it, OSError or Gone where the line breaks."""

    def __init__(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter, bounds: Bounds) -> None:
        self._reader, self._writer, self._bounds = reader, writer, bounds
        self._http = h11.Connection(h11.SERVER, max_incomplete_event_size=bounds.head)
        writer.transport.set_write_buffer_limits(0)  # what is drained is sent

    @classmethod
    async def over(cls, connection: socket.socket, tls: ssl.SSLContext | None, bounds: Bounds) -> Self:
        """A wire over an accepted socket, after the handshake where there is one. It closes the socket."""
        loop = asyncio.get_running_loop()
        reader = asyncio.StreamReader(limit=_CHUNK, loop=loop)
        protocol = asyncio.StreamReaderProtocol(reader, loop=loop)
        more: dict[str, Any] = {} if tls is None else {"ssl_handshake_timeout": bounds.hello_s}
        spare = connection.dup() if tls is not None else None
        try:
            transport, _ = await loop.connect_accepted_socket(lambda: protocol, connection, ssl=tls, **more)
        except ssl.SSLError as wrong:
            if spare is not None and wrong.reason == "HTTP_REQUEST":  # a person typed http://
                head = f"HTTP/1.1 400 Bad Request\r\nContent-Length: {len(_ONLY_TLS)}\r\n"
                spare.send(
                    f"{head}Content-Type: text/plain\r\nConnection: close\r\n\r\n".encode() + _ONLY_TLS
                )
            raise
        except BaseException:
            connection.close()
            raise
        finally:
            if spare is not None:
                spare.close()
        return cls(reader, asyncio.StreamWriter(transport, protocol, reader, loop), bounds)

    async def request(self, wait_s: float) -> Request | None:
        """The next request's head, for which ``wait_s`` are waited; None if no more can come."""
        if not self._http.trailing_data[0]:
            async with asyncio.timeout(wait_s):
                self._http.receive_data(await self._reader.read(_CHUNK))
        try:
            async with asyncio.timeout(self._bounds.head_s):
                event = await self._event()
        except TimeoutError:
            await self._refuse(408)
            return None
        except h11.RemoteProtocolError as wrong:
            await self._refuse(wrong.error_status_hint)
            return None
        return Request(event) if isinstance(event, h11.Request) else None

    async def body(self, asked: Request, most: int) -> bool:
        """Read the body into ``asked.content``; False if it was not kept because it is too long."""
        length = asked.length
        keep = length is not None and length <= most
        # A body that is too long is read all the same, within reason: else the sender sees a broken line
        # and no answer.
        if length is None or length > 2 * most:
            return False
        bounds = self._bounds
        if self._http.they_are_waiting_for_100_continue:
            await self._send(h11.InformationalResponse(status_code=100, headers=[]))
        async with asyncio.timeout(bounds.body_s + length / bounds.slowest):
            while True:
                try:
                    event = await self._event()
                except h11.RemoteProtocolError as wrong:
                    raise Gone from wrong
                if isinstance(event, h11.EndOfMessage):
                    break
                if isinstance(event, h11.Data) and keep:
                    asked.content.write(event.data)
        asked.content.seek(0)
        return keep

    async def answer(self, asked: Request, answer: Answer) -> bool:
        """Write the answer; returns whether another request may follow on this line."""
        headers = [(name, value) for name, value in answer.headers if name.lower() != "connection"]
        named = {name.lower() for name, _ in headers}
        if "date" not in named:
            headers.append(("Date", formatdate(usegmt=True)))
        if "content-length" not in named and answer.status >= 200 and answer.status not in (204, 304):
            headers.append(("Content-Length", str(len(answer.body))))
        if self._http.their_state is not h11.DONE:  # the body was left where it is
            headers.append(("Connection", "close"))
        said: list[h11.Event] = [
            h11.Response(
                status_code=answer.status, headers=headers, reason=answer.reason.encode("ascii", "replace")
            )
        ]
        if answer.body and asked.said.method != b"HEAD" and answer.status not in (204, 304):
            said.append(h11.Data(data=answer.body))
        await self._send(*said, h11.EndOfMessage())
        if self._http.our_state is h11.DONE and self._http.their_state is h11.DONE:
            self._http.start_next_cycle()
            return True
        await self._linger()
        return False

    async def close(self) -> None:
        """Say goodbye, as TLS wants it."""
        self._writer.close()
        async with asyncio.timeout(self._bounds.hello_s):
            await self._writer.wait_closed()

    def abort(self) -> None:
        """Close at once, whatever is still to be sent."""
        self._writer.transport.abort()

    # -- underneath ----------------------------------------------------------------------------------------

    async def _event(self) -> object:
        event = self._http.next_event()
        while event is h11.NEED_DATA:
            self._http.receive_data(await self._reader.read(_CHUNK))
            event = self._http.next_event()
        if isinstance(event, h11.ConnectionClosed):
            raise Gone
        return event

    async def _send(self, *said: h11.Event) -> None:
        content = b"".join(self._http.send(one) or b"" for one in said)
        self._writer.write(content)
        async with asyncio.timeout(self._bounds.body_s + len(content) / self._bounds.slowest):
            await self._writer.drain()

    async def _refuse(self, code: int) -> None:
        """What is no request gets a short answer, and the line is closed."""
        if self._http.our_state not in (h11.IDLE, h11.SEND_RESPONSE):
            return
        answer = _plain(code)
        headers = [*answer.headers, ("Content-Length", str(len(answer.body))), ("Connection", "close")]
        response = h11.Response(status_code=code, headers=headers, reason=answer.reason.encode())
        await self._send(response, h11.Data(data=answer.body), h11.EndOfMessage())
        await self._linger()

    async def _linger(self) -> None:
        """Take what the other end is still sending for a moment: closing at once could drop our answer."""
        with suppress(TimeoutError, OSError):
            async with asyncio.timeout(1):
                if self._writer.can_write_eof():
                    self._writer.write_eof()
                for _ in range(8):
                    if not await self._reader.read(_CHUNK):
                        return
