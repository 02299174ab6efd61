"""Put the phone page together.

>>> from tempfile import TemporaryDirectory
>>> from kb.web.app import make_app
>>> with TemporaryDirectory() as home:
...     make_app(Path(home)).test_client().get("/").status_code  # not paired: off to the pairing page
303
"""

from __future__ import annotations

import hashlib
import logging
import secrets
from collections.abc import Callable
from contextlib import suppress
from functools import cache
from pathlib import Path
from typing import Final

from flask import Flask, Response, jsonify, render_template, request
from werkzeug.exceptions import HTTPException
from werkzeug.wrappers import Response as AnyResponse

from kb.base.errors import BadInput, BookTrouble, JackfieldError, NotFound
from kb.base.messages import messages
from kb.book.photos import Photos
from kb.settings import PHONES
from kb.web import guards as g_
from kb.web import guide, isolating, pages, phone, recording, tones
from kb.web import jobs as today
from kb.web.book_pool import Books
from kb.web.guards import Guards
from kb.web.pairing import Phones
from kb.web.site import STATIC, Site, language, page, said_of, site, texts_of

YEAR_S: Final = 31_536_000
HERE: Final = Path(__file__).parent
LOCAL: Final = frozenset({"127.0.0.1", "localhost", "::1"})
_LOG: Final = logging.getLogger("kb.web")
#: Statuses with a title of their own under ``web/trouble/``, and others that are answered as one of them.
_TITLED: Final = frozenset({400, 403, 404, 409, 413, 429, 503})
_AS: Final = {405: 404}
#: Whoever gets these has no page of ours open: a line of text is enough.
_PLAIN: Final = frozenset({401, 421})


def make_app(
    home: Path,
    store: str | None = None,
    *,
    hosts: frozenset[str] = LOCAL,
    secure: bool = False,
    jobs: Path | None = None,
    tell: Callable[[str], None] = lambda code: None,
) -> Flask:
    """The page over the book in ``home`` (or at the URL ``store``) as a WSGI application.

    ``hosts``: names under which it answers. ``secure``: it is reached over TLS only. ``jobs``: a job file to
    show as today's. ``tell`` gets each new pairing code.
    """
    app = Flask("kb.web", root_path=str(HERE), static_folder="static", template_folder="templates")
    app.config.update(
        MAX_CONTENT_LENGTH=g_.MOST_BODY,
        MAX_FORM_MEMORY_SIZE=g_.MOST_FORM,
        MAX_FORM_PARTS=g_.MOST_PARTS,
        JSON_AS_ASCII=False,
    )
    app.jinja_env.trim_blocks = app.jinja_env.lstrip_blocks = True
    guards = Guards(Phones(home / PHONES, tell), hosts, secure)
    app.extensions["jackfield"] = Site(Books(home, store), Photos(home), guards, jobs)
    guards.stand_before(app)
    for part in (phone, pages, recording, today, isolating, guide, tones):
        part.add(app)
    app.add_url_rule("/sw.js", "worker", _worker)
    app.after_request(_versioned)
    app.context_processor(lambda: {"version": version()})
    app.jinja_env.globals["texts_of"] = texts_of
    app.register_error_handler(HTTPException, _refused)
    app.register_error_handler(JackfieldError, _troubled)
    app.register_error_handler(Exception, _mistaken)
    return app


def version() -> str:
    """Changes when anything changes that a phone keeps: page frame, style, script, or the words in them."""
    return _version(language().code)


@cache
def _version(code: str) -> str:
    digest = hashlib.sha256()
    digest.update(repr(sorted(messages(code).items())).encode())
    for file in sorted([*STATIC.iterdir(), *(HERE / "templates").iterdir()]):
        if file.is_file():
            digest.update(file.name.encode() + file.read_bytes())
    return digest.hexdigest()[:12]


def _versioned(answer: Response) -> Response:
    """Say which version an answer is of, and let a browser keep a file only under its version's address."""
    answer.headers["Jackfield-Version"] = version()
    if request.endpoint == "static":
        this = request.args.get("v") == version()
        answer.headers["Cache-Control"] = f"public, max-age={YEAR_S}, immutable" if this else "no-cache"
    return answer


def _worker() -> Response:
    """The service worker is at the root, so that it may serve every page when the link is down."""
    return Response(render_template("sw.js", version=version()), mimetype="text/javascript")


# -- when something is wrong ---------------------------------------------------------------------------


def failed(code: int, key: str, said: str = "", **more: object) -> AnyResponse:
    """The same answer for a person and for a script of ours.

    ``key``: the end of the title's key, and of the sentence's unless ``said`` says what is wrong.
    """
    say = language()
    said = said or say(f"web/trouble/{key}/said", **more)
    if g_.wants_json(request):
        answer = jsonify({"error": said})
        answer.status_code = code
        return answer
    return page("trouble", code, title=say(f"web/trouble/{key}"), said=said)


def _refused(wrong: HTTPException) -> AnyResponse:
    code = wrong.code or 500
    if isinstance(wrong, g_.StalePage) and request.endpoint == "record_visit" and not g_.wants_json(request):
        return recording.stale()
    if code in _PLAIN:
        return Response(language()(f"web/trouble/{code}/said") + "\n", code, mimetype="text/plain")
    known = _AS.get(code, code)
    answer = failed(code, str(known) if known in _TITLED else "other")
    if getattr(wrong, "retry_after", None) is not None:
        answer.headers["Retry-After"] = str(wrong.retry_after)  # type: ignore[attr-defined]
    return answer


def _troubled(wrong: JackfieldError) -> AnyResponse:
    """Our own errors are made for the user; only paired phones come this far."""
    if isinstance(wrong, NotFound):
        return failed(404, "not-in-book", said_of(wrong))
    if isinstance(wrong, BadInput):
        return failed(422, "wrong", said_of(wrong))
    _LOG.error("%s", wrong)
    _reopen_next_time()
    answer = failed(503, "book", said_of(wrong) if isinstance(wrong, BookTrouble) else "")
    answer.headers["Retry-After"] = "5"
    return answer


def _reopen_next_time() -> None:
    """Have this thread open the book again at its next request: after a restore, a migration or a cut line to
    a server, what it has open may be of no use any more."""
    with suppress(Exception):  # it is closed as far as it can be
        site().books.close()


def _mistaken(wrong: Exception) -> AnyResponse:
    """A mistake of ours: the terminal gets the details, the phone a number to name it by."""
    number = secrets.token_hex(4)
    _LOG.error("mistake %s at %s", number, request.path, exc_info=wrong)
    _reopen_next_time()
    return failed(500, "mistake", number=number)
