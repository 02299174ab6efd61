"""Serve the pages on a set: find it, see it, connect it."""

from __future__ import annotations

import re
from base64 import b64encode
from contextlib import suppress
from hashlib import sha256
from typing import TYPE_CHECKING, Any

from flask import Flask, Response, request
from werkzeug.wrappers import Response as AnyResponse

from kb.base.errors import BadInput, NotFound
from kb.domain.language import ENGLISH
from kb.domain.words import DriverInput, Signal
from kb.web.isolating import turns_address
from kb.web.jack_icons import sign
from kb.web.lengths import read_length, shown_length
from kb.web.site import page, site

if TYPE_CHECKING:
    from collections.abc import Sequence

    from kb.book import SetView
    from kb.path import Connection, Path

MATCHES = 12  #: shown at most
NEAR = 4  #: sets shown next to one that nobody met


def add(app: Flask) -> None:
    """Put these pages into ``app``."""
    app.add_url_rule("/", "search", search)
    app.add_url_rule("/set", "show_set", show_set)
    app.add_url_rule("/path", "other_driver", other_driver)
    app.add_url_rule("/sheet", "sheet", sheet)
    app.jinja_env.globals |= {"percent": ENGLISH.percent, "sign": sign, "shown_length": shown_length}


# -- search --------------------------------------------------------------------------------------------


def search() -> AnyResponse:
    """Sets that may be meant; ``part`` asks for the list alone, as one types."""
    from kb.book import best_line

    query = request.args.get("q", "").strip()[:200]
    part = "part" in request.args
    wrong, found = "", None
    if query:
        try:
            found = site().book.find(query, limit=MATCHES)
        except BadInput as mistake:
            wrong = str(mistake)
    name = "found" if part else "search"
    named = query.split(None, 1)
    typed = {"make": named[0][:80], "model": named[1][:80]} if len(named) == 2 else {"model": query[:80]}
    return page(name, query=query, typed=typed, found=found, wrong=wrong, best_line=best_line, how=_HOW)


#: How a match was made, as people say it.
_HOW = {"exact": "exact", "near": "near", "family": "sister model", "text": "words of a note"}


# -- one set -------------------------------------------------------------------------------------------


def show_set() -> AnyResponse:
    """The path first, then the panel, then who found what."""
    known = asked_set()
    if isinstance(known, tuple):
        make, model, said = known
        return _unknown(make, model, said)
    asked = Asked(request.args)
    connection = site().book.connect(
        known.panel.taken(asked.taken),
        known.source,
        inputs=asked.inputs,
        speakers_needed=asked.speakers_needed,
        length_m=asked.length_m,
    )
    photos = [(visit.id, name) for visit in known.visits for name in site().photos.of(visit.id)]
    return page(
        "set",
        known=known,
        about=_about(known),
        turns=turns_address(known, connection if asked.usual else None),
        asked=asked,
        facts=_facts_of_source(known),
        rows=_rows(known, connection),
        photos=photos,
        visits=sorted(known.visits, key=lambda visit: (visit.date, visit.id), reverse=True),
        **told(connection, known),
    )


def _about(known: SetView) -> dict[str, str]:
    return {"make": known.source.make, "model": known.source.model}


def _unknown(make: str, model: str, said: str) -> AnyResponse:
    """Nobody met this set: what is near it, to be tapped, and a form for it."""
    from kb.book import best_line

    found = None
    with suppress(BadInput):
        found = site().book.find(f"{make} {model}", limit=NEAR)
    about = {"make": make, "model": model}
    return page(
        "unknown", 404, make=make, model=model, said=said, about=about, found=found, best_line=best_line
    )


def asked_set() -> SetView | tuple[str, str, str]:
    """The set that the address names; else make, model and what to say where nobody met it."""
    make, model = request.args.get("make", "").strip(), request.args.get("model", "").strip()
    if not (make and model):
        raise BadInput("set", make or model or "nothing", "make and model")
    if len(make) > 80 or len(model) > 80:
        raise BadInput("set", f"{len(make) + len(model)} characters", "a make and a model, at most 80 each")
    try:
        return site().book.view(make, model)
    except NotFound as wrong:
        return make, model, str(wrong)


class Asked:
    """The driver and its place, as the address tells; without a word, the usual driver."""

    def __init__(self, given: Any) -> None:
        self.inputs: Sequence[DriverInput] = DriverInput.read_all(
            given.getlist("inputs")[: len(DriverInput)], "inputs"
        )
        self.speakers_needed = given.get("speakers", "needed") != "free"
        self.taken = tuple(Signal.read(one, "in use") for one in given.getlist("taken")[:12])
        typed = given.get("length", "").strip()
        self.length_m = read_length(typed, "length") if typed else 1.5
        self.usual = not (self.inputs or self.taken or typed or not self.speakers_needed)


def told(connection: Connection, known: SetView) -> dict[str, Any]:
    """The answer in sentences, the same as in the terminal and on the sheet."""
    from kb.path import sentence

    chosen = connection.chosen
    names: dict[str, list[str]] = {}
    for one in connection.ruled_out:
        names.setdefault(sentence(one), []).append(one.marking or f"jack {one.jack + 1}")
    return {
        "chosen": chosen,
        "links": links(chosen, known) if chosen else [],
        "converter": connection.converter,
        "dac_why": sentence(connection.dac),
        "steps": [sentence(step) for step in chosen.steps] if chosen else [],
        "cautions": [sentence(one) for one in chosen.cautions] if chosen else [],
        "ask": [sentence(one) for one in connection.ask],
        "others": [" → ".join(links(path, known)) for path in connection.others],
        "mutes": any(one.code == "mutes-speakers" for one in connection.ruled_out),
        "ruled_out": [(", ".join(jacks), why) for why, jacks in names.items()],
    }


def links(path: Path, known: SetView) -> list[str]:
    """The chain from the jack to the driver."""
    from kb.path import chain

    return list(chain(path, known.panel))


def _rows(known: SetView, connection: Connection) -> list[Any]:
    from kb.sheet.layout import panel_rows

    used = connection.chosen.jacks if connection.chosen else ()
    return list(zip(panel_rows(known.panel, used), known.panel.jacks, strict=True))


def _facts_of_source(known: SetView) -> str:
    source = known.source
    facts = [source.kind.label, source.display and source.display.label, source.year and str(source.year)]
    facts.append(f"{source.size_in:g} in" if source.size_in else None)
    return ", ".join(fact for fact in facts if fact)


def other_driver() -> AnyResponse:
    """Another driver, another length, nobody else listening: what to ask the set page for."""
    known = asked_set()
    if isinstance(known, tuple):
        make, model, said = known
        return _unknown(make, model, said)
    asked = Asked(request.args)
    usual = asked.inputs or site().book.settings.inputs
    outputs = dict.fromkeys(
        one.jack.signal for one in known.panel.jacks if one.jack.usable and one.jack.signal
    )
    return page(
        "path",
        known=known,
        about=_about(known),
        asked=asked,
        usual=usual,
        inputs=list(DriverInput),
        outputs=list(outputs),
    )


def sheet() -> AnyResponse:
    """The sheet for the client and the file, to print or to keep; it needs nothing else."""
    from kb.base import clock
    from kb.settings import Units
    from kb.sheet.page import Sheet, render
    from kb.sheet.paper import Paper

    known = asked_set()
    if isinstance(known, tuple):
        raise NotFound(known[2])
    asked, book = Asked(request.args), site().book
    its_inputs = tuple(asked.inputs) or book.settings.inputs
    connection = book.connect(
        known.panel.taken(asked.taken),
        known.source,
        inputs=its_inputs,
        speakers_needed=asked.speakers_needed,
        length_m=asked.length_m,
    )
    made = Sheet(
        source=known.source,
        panel=known.panel,
        connection=connection,
        inputs=its_inputs,
        made=clock.today(),
        visits=known.visits,
        driver="" if asked.inputs else book.settings.driver,
        length_m=asked.length_m,
        lang=request.args.get("lang", "en"),
        paper=Paper.LETTER if book.settings.units is Units.FEET else Paper.A4,
    )
    document = render(made)
    answer = Response(document, mimetype="text/html")
    # A document of its own: no script, nothing fetched, and no style but the one that was written into it.
    styles = " ".join(f"'sha256-{_digest(style)}'" for style in _STYLE.findall(document))
    answer.headers["Content-Security-Policy"] = (
        f"default-src 'none'; style-src {styles}; img-src data:; "
        "frame-ancestors 'none'; base-uri 'none'; form-action 'none'"
    )
    return answer


_STYLE = re.compile(r"<style[^>]*>(.*?)</style>", re.DOTALL)


def _digest(style: str) -> str:
    return b64encode(sha256(style.encode()).digest()).decode()
