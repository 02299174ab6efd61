"""Serve the pages that pair a phone and let it work without a link."""

from __future__ import annotations

from typing import Final

from flask import Flask, g, jsonify, make_response, redirect, request, url_for
from werkzeug.exceptions import TooManyRequests
from werkzeug.wrappers import Response as AnyResponse

from kb.web.pairing import form_token
from kb.web.site import page, site

ICONS: Final = (180, 192, 512)  #: pixels; home screens that take no SVG ask for these


def add(app: Flask) -> None:
    """Put these pages into ``app``."""
    app.add_url_rule("/pair", "pair", pair)
    app.add_url_rule("/pair", "pair_phone", pair_phone, methods=["POST"])
    app.add_url_rule("/forget", "forget", forget, methods=["POST"])
    app.add_url_rule("/phone", "phone", this_phone)
    app.add_url_rule("/waiting", "waiting", waiting)
    app.add_url_rule("/offline", "offline", offline)
    app.add_url_rule("/token", "token", token)
    app.add_url_rule("/health", "health", health)
    app.add_url_rule("/manifest.webmanifest", "manifest", manifest)


def pair() -> AnyResponse:
    """The page for the code; a link or QR code brings it along, but only the button uses it."""
    if g.token:
        return redirect(url_for("search"), 303)
    site().guards.phones.offered()
    return page("pair", code_given=request.args.get("code", "")[:20], wrong=False)


def pair_phone() -> AnyResponse:
    """Pair this phone where the code is right; a few tries a minute."""
    guards = site().guards
    wait = guards.pairing.take(f"from {request.remote_addr}")
    if wait:
        raise TooManyRequests(retry_after=round(wait) + 1)
    token = guards.phones.pair(request.form.get("code", "")[:40])
    if token is None:
        return page("pair", 403, code_given="", wrong=True)
    return guards.let_in(redirect(url_for("search"), 303), token)


def forget() -> AnyResponse:
    """End the pairing of this phone, and delete what it had looked at (7.4.1)."""
    guards = site().guards
    guards.phones.forget(g.token)
    g.token = ""
    answer = page("forgotten")
    answer.delete_cookie(guards.cookie, path="/", secure=guards.secure, httponly=True, samesite="Strict")
    return answer


def this_phone() -> AnyResponse:
    """What this phone keeps, and how it is forgotten."""
    return page("phone")


def waiting() -> AnyResponse:
    """What waits on the phone to be sent; the phone itself fills it in."""
    return page("waiting")


def offline() -> AnyResponse:
    """What the phone shows where there is no link and it does not have the page."""
    return page("offline")


def token() -> AnyResponse:
    """The form token of now, for visits that waited while the page grew old."""
    return jsonify({"form_token": form_token(g.token)})


def health() -> AnyResponse:
    """Is there a link? Nothing else is said."""
    return make_response("", 204)


def manifest() -> AnyResponse:
    """How the page looks on the phone's home screen."""
    answer = jsonify(
        {
            "name": "Jackfield",
            "short_name": "Jackfield",
            "start_url": "/",
            "display": "standalone",
            "background_color": "#f6f4ee",
            "theme_color": "#0b4f6c",
            "icons": [
                {"src": url_for("static", filename="icon.svg"), "sizes": "any", "type": "image/svg+xml"},
                *(
                    {
                        "src": url_for("static", filename=f"icon-{size}.png"),
                        "sizes": f"{size}x{size}",
                        "type": "image/png",
                    }
                    for size in ICONS
                ),
            ],
        }
    )
    answer.mimetype = "application/manifest+json"
    return answer
