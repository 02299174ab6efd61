"""Keep strangers, other sites and floods away from the book.

Item numbers are those of OWASP ASVS 5.0, from memory. Each guard is one function that runs before a page, or
puts a header on every answer:

=====================  ==========================================================  =====================
guard                  what it keeps away                                          ASVS
=====================  ==========================================================  =====================
``host``               another site's name that was made to point here             4.1 (HTTP messages)
``flood``              more than a phone asks; guessed codes                       2.4.1, 6.3.1
``size``               bodies and forms that are too large                         5.2.1, 4.2
``paired``             who did not see the terminal                                7.2.1, 8.2.1, 8.3.1
``own_page``           another site that makes a phone send a form                 3.5.1, 3.5.3
``headers``            script, frames, sniffing, leaking addresses                 3.4.1 to 3.4.6, 14.3.2
the cookie             script that reads it, other sites that send it              3.3.1, 3.3.2, 3.3.4
errors                 details of ours in the hands of strangers                   16.5.1
=====================  ==========================================================  =====================

Before a request comes here it has to arrive: ``Bounds`` says how much time, how many connections and how much
memory each stranger and each phone gets for that (13.2.6, 15.2.2), ``front`` holds to it. What a photo may
cost to look at is in ``photos``.
"""

from __future__ import annotations

import hmac
from dataclasses import dataclass, field
from typing import Final

from flask import Flask, Request, Response, g, redirect, request, url_for
from werkzeug.exceptions import Forbidden, HTTPException, RequestEntityTooLarge, TooManyRequests, Unauthorized
from werkzeug.http import parse_cookie
from werkzeug.wrappers import Response as AnyResponse

from kb.web.pairing import Phones, form_token
from kb.web.rate_limit import Limit

MOST_BODY: Final = 64 * 1024 * 1024  #: a visit with its photos
MOST_FORM: Final = 256 * 1024  #: text of one form
MOST_PARTS: Final = 1200  #: fields of one form: 64 jacks with 15 each, and the visit's own
OPEN: Final = frozenset(
    {"static", "pair", "pair_phone", "worker", "manifest", "health"}
)  #: pages for anybody

POLICY: Final = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "img-src 'self' blob:",
        "media-src 'self'",
        "connect-src 'self'",
        "manifest-src 'self'",
        "worker-src 'self'",
        "form-action 'self'",
        "frame-src 'self'",
        "frame-ancestors 'none'",
        "base-uri 'none'",
    )
)
_HEADERS: Final = {
    "Content-Security-Policy": POLICY,
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "geolocation=(), microphone=(), camera=(self)",
}


@dataclass(frozen=True)
class Bounds:
    """What a connection may take: seconds (``_s``), bytes, connections (``lines``), threads.

    A stranger is who does not speak for a paired phone (yet). Where one more comes than there may be, the one
    that has been waiting longest goes: first of the same address or phone, then of the one with the most.
    """

    hello_s: float = 5  #: for the TLS handshake, and for the goodbye
    head_s: float = 10  #: for the headers of a request, and for a stranger to begin with one
    idle_s: float = 30  #: between two requests of a paired phone
    body_s: float = 20  #: for a body or an answer, and on top of it
    slowest: int = 16 * 1024  #: its length at this many bytes a second
    end_s: float = 20  #: for what is being answered when the server is stopped
    head: int = 32 * 1024  #: bytes of the headers
    body_of_stranger: int = MOST_FORM
    body_of_phone: int = MOST_BODY
    lines_per_address: int = 24  #: of strangers; a browser opens six
    lines_of_strangers: int = 128
    lines_per_phone: int = 12
    lines_of_phones: int = 512
    answers_per_phone: int = 4  #: at the same time; further requests of that phone wait
    threads: int = 16  #: phones answered at once
    stranger_threads: int = 2


@dataclass
class Guards:
    """The guards of one server: who is paired, under which names it answers, how much may be asked.

    ``secure``: the page is reached over TLS only.
    """

    phones: Phones
    hosts: frozenset[str]
    secure: bool = False
    asking: Limit = field(default_factory=lambda: Limit(per_s=20, burst=80))
    pairing: Limit = field(default_factory=lambda: Limit(per_s=1 / 12, burst=5))

    @property
    def cookie(self) -> str:
        """The cookie's name; over TLS the browser holds it to this host (``__Host-``)."""
        return "__Host-jackfield" if self.secure else "jackfield"

    def stand_before(self, app: Flask) -> None:
        """Put the guards before every page of ``app``, in order."""
        for guard in (self.host, self.phone, self.flood, self.size, self.paired, self.own_page):
            app.before_request(guard)
        app.after_request(self.headers)

    # -- one by one --------------------------------------------------------------------------------------

    def host(self) -> None:
        """Only under our own names, so that no foreign name is made to point here (DNS rebinding)."""
        named = request.host.rsplit(":", 1)[0] if not request.host.endswith("]") else request.host
        if named.lower().strip("[]") not in self.hosts:
            raise OtherName

    def phone(self) -> None:
        """Find out which phone asks: puts its token into ``g.token``, "" for a stranger."""
        token = request.cookies.get(self.cookie, "")
        g.token = token if token and len(token) < 100 and self.phones.known(token) else ""

    def token_in(self, cookie: str) -> str:
        """The token of the paired phone that sends this Cookie header, "" for a stranger; changes nothing."""
        if self.cookie not in cookie:
            return ""
        token = parse_cookie(cookie).get(self.cookie, "")
        return token if len(token) < 100 and self.phones.has(token) else ""

    def flood(self) -> None:
        """A phone has its own allowance; strangers of one address share one."""
        if g.token and request.endpoint == "static":
            return  # a page brings several files with it; a phone keeps them
        wait = self.asking.take(g.token or f"from {request.remote_addr}")
        if wait:
            raise TooManyRequests(retry_after=round(wait) + 1)

    def size(self) -> None:
        """Strangers and plain forms send little; a visit may have photos."""
        length = request.content_length
        if length is None and request.method in ("POST", "PUT"):
            raise RequestEntityTooLarge  # a body that does not say how long it is (4.2)
        # Only what comes in parts may be large: any other form is read into memory as a whole.
        photos = (
            request.endpoint in ("record_visit", "add_photo", "read_label", "read_panel")
            and request.mimetype == "multipart/form-data"
        )
        most = MOST_BODY if g.token and photos else MOST_FORM
        if (length or 0) > most:
            raise RequestEntityTooLarge
        request.max_content_length = most

    def paired(self) -> AnyResponse | None:
        """Everything but the pairing page is for paired phones."""
        if g.token or request.endpoint in OPEN:
            return None
        if wants_json(request) or request.method not in ("GET", "HEAD"):
            raise Unauthorized
        return redirect(url_for("pair"), 303)

    def own_page(self) -> None:
        """What changes something comes from a page of ours: by its form token, and the browser's word."""
        if request.method in ("GET", "HEAD", "OPTIONS"):
            return
        if request.headers.get("Sec-Fetch-Site", "same-origin") not in ("same-origin", "none"):
            raise Forbidden
        if request.endpoint == "pair_phone":  # there is no phone to speak for yet; the code is the proof
            return
        sent = request.headers.get("X-Form-Token") or request.form.get("form_token", "")
        if not hmac.compare_digest(sent.encode(), form_token(g.token).encode()):
            raise StalePage

    def headers(self, answer: Response) -> Response:
        """What every answer says to the browser."""
        for name, value in _HEADERS.items():
            answer.headers.setdefault(name, value)
        if self.secure:
            answer.headers["Strict-Transport-Security"] = "max-age=31536000"
        if request.endpoint != "static":
            answer.headers.setdefault("Cache-Control", "no-store")
        answer.headers["Server"] = "Jackfield"
        return answer

    # -- the cookie --------------------------------------------------------------------------------------

    def let_in(self, answer: AnyResponse, token: str) -> AnyResponse:
        """Give a paired phone its cookie."""
        answer.set_cookie(
            self.cookie,
            token,
            max_age=180 * 86_400,
            httponly=True,
            samesite="Strict",
            secure=self.secure,
            path="/",
        )
        return answer


class StalePage(HTTPException):
    """The page was made for another pairing of this phone."""

    code = 409


class OtherName(HTTPException):
    """The server does not answer under the name that was asked for."""

    code = 421


def wants_json(asked: Request) -> bool:
    """Does a script of ours ask, and not a person?"""
    return asked.headers.get("Accept", "") == "application/json"
