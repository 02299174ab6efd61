"""Share what all pages need."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, cast

from flask import Response, current_app, g, make_response, render_template

from kb.base.errors import JackfieldError
from kb.base.messages import Message, message
from kb.book.photos import Photos
from kb.domain.language import ENGLISH, Language
from kb.settings import load
from kb.web.book_pool import Books
from kb.web.guards import Guards
from kb.web.pairing import form_token

if TYPE_CHECKING:
    from collections.abc import Sequence

    from kb.book import Book


STATIC: Final = Path(__file__).parent / "static"


@dataclass
class Site:
    """The book with photos, guards and jobs. ``jobs``: a job file that was named when the server began."""

    books: Books
    photos: Photos
    guards: Guards
    jobs: Path | None = None

    @property
    def book(self) -> Book:
        """This thread's book."""
        return self.books.here()


def site() -> Site:
    """The site of the app that answers now."""
    return cast(Site, current_app.extensions["jackfield"])


def language() -> Language:
    """The language of the settings, in which the page answers; English while they cannot be read."""
    if "language" not in g:
        try:
            g.language = load(site().books.home).reader
        except JackfieldError:
            g.language = ENGLISH
    return cast(Language, g.language)


def said_of(wrong: JackfieldError) -> str:
    """An error in the language of the page."""
    return wrong.in_language(language().code)


def texts_of(scripts: Sequence[str]) -> dict[str, Message]:
    """The sentences that these scripts say, by the keys that they name, in the language of the page."""
    code = language().code
    return {key: message(key, code) for script in scripts for key in _keys_in(script)}


@cache
def _keys_in(script: str) -> tuple[str, ...]:
    return tuple(sorted(set(KEY.findall((STATIC / script).read_text("utf-8")))))


KEY: Final = re.compile(r'"((?:web|count)/[a-z0-9/_-]+)"')  #: of a sentence, as scripts write it


def page(name: str, code: int = 200, **values: Any) -> Response:
    """A page from its template, with the form token of the phone that asked.

    ``about``: ``make`` and ``model`` of the set that the page is about, for the links to other pages.
    ``of_job``: ``job``, the id of the job that it is for, if that does not come with ``about``.
    """
    token = getattr(g, "token", "")
    values.setdefault("about", {})
    values.setdefault("of_job", {})
    # The real clock, whatever day tests have set: the phone holds it against its own.
    values["made"] = datetime.now().astimezone().strftime("%Y-%m-%d %H:%M")
    values["say"] = language()
    values |= {"paired": bool(token), "form_token": form_token(token) if token else ""}
    return make_response(render_template(f"{name}.html", **values), code)
