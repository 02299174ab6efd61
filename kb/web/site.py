"""Share what all pages need."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

from flask import Response, current_app, g, make_response, render_template

from kb.base.errors import JackfieldError
from kb.book.photos import Photos
from kb.domain.language import ENGLISH, Language
from kb.settings import load
from kb.web.book_pool import Books
from kb.web.guards import Guards
from kb.web.pairing import form_token

if TYPE_CHECKING:
    from kb.book import Book


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
