"""Serve the pages on a set: find it, see it, connect it."""

from __future__ import annotations

import re
import threading
from base64 import b64encode
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from functools import partial
from hashlib import sha256
from typing import TYPE_CHECKING, Any, Final

from flask import Flask, Response, request, url_for
from markupsafe import escape
from werkzeug.wrappers import Response as AnyResponse

from kb.base import clock
from kb.base.errors import NOTHING, BadInput, BookTrouble, NotFound
from kb.base.messages import Said, Wording
from kb.base.text import line
from kb.domain.words import DriverInput, Signal
from kb.pack.jobs import LENGTH
from kb.read.label import look
from kb.read.limits import PHOTO_BYTES
from kb.read.picture import cut_out, missing_library
from kb.web.guards import POLICY
from kb.web.isolating import turns_address
from kb.web.jack_icons import sign, symbol, use_sign
from kb.web.jobs import job_asked, of_job
from kb.web.lengths import read_length, shown_length
from kb.web.site import language, page, said_of, site

if TYPE_CHECKING:
    from collections.abc import Sequence

    from kb.book import SetView
    from kb.book.photos import Spot
    from kb.domain.visit import Visit
    from kb.path import Connection, Path

MATCHES = 12  #: shown at most
NEAR = 4  #: sets shown next to one that nobody met


def add(app: Flask) -> None:
    """Put these pages into ``app``."""
    app.add_url_rule("/", "search", search)
    app.add_url_rule("/label", "read_label", read_label, methods=["POST"])
    app.add_url_rule("/set", "show_set", show_set)
    app.add_url_rule("/path", "other_driver", other_driver)
    app.add_url_rule("/sheet", "sheet", sheet)
    app.add_url_rule("/hand-over", "hand_over", hand_over)
    app.add_url_rule("/tag", "tag", tag)
    app.jinja_env.globals |= {one.__name__: one for one in (shown_length, sign, symbol, use_sign)}


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
            wrong = said_of(mistake)
    name = "found" if part else "search"
    named = query.split(None, 1)
    typed = {"make": named[0][:80], "model": named[1][:80]} if len(named) == 2 else {"model": query[:80]}
    return page(
        name,
        query=query,
        typed=typed,
        found=found,
        wrong=wrong,
        best_line=partial(best_line, said=language()),
        of_job=of_job(request.args),
        label_reader_missing=missing_library(),
    )


def read_label() -> AnyResponse:
    """What the label on a photo says, and the sets that may be meant; nothing of it is kept."""
    from kb.book import best_line

    with photo_to_read(Said("expected/web/label-photo")) as sent, site().book.searcher() as searcher:
        label = look(
            sent,
            Said("web/record/photo"),
            lambda query: searcher.find(query, limit=NEAR),
            searcher.make_of,
            today=clock.today().year,
        )
    cuts = [b64encode(cut_out(label.picture, one.piece)).decode() for one in label.candidates]
    answer = page(
        "label",
        label=label,
        cuts=[f"data:image/jpeg;base64,{cut}" for cut in cuts],
        years={"year": label.year} if label.year else {},
        best_line=partial(best_line, said=language()),
        of_job=of_job(request.args),
    )
    answer.headers["Content-Security-Policy"] = POLICY.replace("img-src 'self'", "img-src 'self' data:")
    return answer


@contextmanager
def photo_to_read(expected: Wording) -> Iterator[bytes]:
    """The photo that came along, when it is its turn to be read. Raises BadInput if there is none."""
    file = request.files.get("photo")
    if file is None:
        raise BadInput(Said("web/record/photo"), NOTHING, expected)
    with file.stream as stream:  # a large one is a file without a name
        sent = stream.read(PHOTO_BYTES + 1)
    if not _READING.acquire(timeout=_TURN_S):
        raise BookTrouble(Said("web/trouble/reading"))
    try:
        yield sent
    finally:
        _READING.release()


_READING: Final = threading.Semaphore(1)  # a reader takes much memory
_TURN_S: Final = 60  # that a photo waits for its turn


# -- one set -------------------------------------------------------------------------------------------


def show_set() -> AnyResponse:
    """The path first, then the panel, then who found what."""
    from kb.sheet.layout import facts_of_set

    known = _asked_set()
    if known is None:
        return _unknown()
    asked = Asked(request.args)
    connection = _connected(asked, known)
    photos = [one for visit in known.visits for one in photos_of(visit)]
    return page(
        "set",
        known=known,
        about=_about(known),
        turns=turns_address(known, connection if asked.usual or asked.job else None),
        asked=asked,
        facts=", ".join(facts_of_set(known.source, language())),
        rows=_rows(known, connection),
        photos=photos,
        visits=sorted(known.visits, key=lambda visit: (visit.date, visit.id), reverse=True),
        **told(connection, known),
    )


def photos_of(visit: Visit) -> list[tuple[str, str, list[Spot]]]:
    """The photos of a visit, also those that it had before it was corrected, each with its jacks."""
    kept = site().photos
    found = kept.of_versions(visit, lambda one: site().book.store.visit(one))  # opens the store only if asked
    return [(owner, name, kept.spots(owner, name)) for owner, name in found]


def _about(known: SetView) -> dict[str, str]:
    return {"make": known.source.make, "model": known.source.model, **of_job(request.args)}


def _unknown() -> AnyResponse:
    """Nobody met this set: what is near it, to be tapped, and a form for it."""
    from kb.book import best_line

    make, model = _asked_name()
    found = None
    with suppress(BadInput):
        found = site().book.find(f"{make} {model}", limit=NEAR)
    about = {"make": make, "model": model, **of_job(request.args)}
    return page(
        "unknown",
        404,
        make=make,
        model=model,
        about=about,
        found=found,
        best_line=partial(best_line, said=language()),
    )


def known_set() -> SetView:
    """The set that the address names; raises NotFound if the book has no visit to it."""
    if known := _asked_set():
        return known
    make, model = _asked_name()
    raise NotFound(Said("web/unknown/said", make=make, model=model))


def _asked_set() -> SetView | None:
    return site().book.known(*_asked_name())


def _asked_name() -> tuple[str, str]:
    """Make and model that the address names."""
    make, model = request.args.get("make", "").strip(), request.args.get("model", "").strip()
    if not (make and model):
        raise BadInput(Said("web/set"), make or model or NOTHING, Said("expected/web/make-and-model"))
    if len(make) > 80 or len(model) > 80:
        seen = Said("seen/characters", count=len(make) + len(model))
        raise BadInput(Said("web/set"), seen, Said("expected/web/make-and-model-each", most=80))
    return make, model


class Asked:
    """The driver and its place: as the address says, else as its job says, else the usual driver.

    ``job``: the job of today that the address names. ``usual``: neither address nor job says anything.
    """

    def __init__(self, given: Any) -> None:
        self.job = job = job_asked(given)
        named = DriverInput.read_all(given.getlist("inputs")[: len(DriverInput)], "inputs")
        self.inputs: Sequence[DriverInput] = named or (job.inputs if job else ())
        speakers = given.get("speakers", "")
        self.speakers_needed = speakers != "free" if speakers or not job else job.speakers_needed
        typed = given.get("length", "").strip()
        # The form of another driver always sends a length: then no tick means that nothing is in use.
        in_use = () if typed or not job else sorted(job.taken or ())
        self.taken = tuple(Signal.read(one, "in use") for one in given.getlist("taken")[:12]) or tuple(in_use)
        far = Said("web/path/distance")
        self.length_m = read_length(typed, far) if typed else job.length_m if job else LENGTH
        own = named or given.getlist("taken") or typed or speakers == "free"
        self.as_job = job is not None and not own
        self.usual = job is None and not own


def told(connection: Connection, known: SetView) -> dict[str, Any]:
    """The answer in sentences, the same as in the terminal and on the sheet."""
    from kb.catalogue import item_name
    from kb.path import jack_name, noted, sentence, together

    chosen, panel, say = connection.chosen, known.panel, language()
    return {
        "chosen": chosen,
        "links": links(chosen, known) if chosen else [],
        "converter": item_name(connection.converter, say) if connection.converter else "",
        "dac_why": sentence(connection.dac, say),
        "steps": [sentence(step, say) for step in chosen.steps] if chosen else [],
        "cautions": [sentence(one, say) for one in chosen.cautions] if chosen else [],
        "noted": [
            f"{jack_name(panel, index, say)}: {note.signed}" for index, note in noted(panel, connection)
        ],
        "ask": [sentence(one, say) for one in connection.ask],
        "others": [" → ".join(links(path, known)) for path in connection.others],
        "mutes": any(one.code == "mutes-speakers" for one in connection.ruled_out),
        "ruled_out": [
            (", ".join(one.marking or say("place/jack", number=one.jack + 1) for one in jacks), why)
            for jacks, why in together(connection.ruled_out, say)
        ],
    }


def links(path: Path, known: SetView) -> list[str]:
    """The chain from the jack to the driver."""
    from kb.path import chain

    return list(chain(path, known.panel, language()))


def _rows(known: SetView, connection: Connection) -> list[Any]:
    from kb.sheet.layout import panel_rows

    used = connection.chosen.jacks if connection.chosen else ()
    return list(zip(panel_rows(known.panel, used, language()), known.panel.jacks, strict=True))


def other_driver() -> AnyResponse:
    """Another driver, another length, nobody else listening: what to ask the set page for."""
    known = _asked_set()
    if known is None:
        return _unknown()
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
    from kb.settings import Units
    from kb.sheet.page import CONTACT, Sheet, render
    from kb.sheet.paper import Paper

    known = known_set()
    asked, book = Asked(request.args), site().book
    its_inputs = tuple(asked.inputs) or book.settings.inputs
    made = Sheet(
        source=known.source,
        panel=known.panel,
        connection=_connected(asked, known),
        inputs=its_inputs,
        made=clock.today(),
        visits=known.visits,
        driver=book.settings.driver if set(its_inputs) == set(book.settings.inputs) else "",
        length_m=asked.length_m,
        contact=line(request.args.get("contact", ""), "contact", CONTACT),
        lang=request.args.get("lang", book.settings.language),
        paper=Paper.LETTER if book.settings.units is Units.FEET else Paper.A4,
    )
    document = render(made)
    if "back" in request.args:  # shown on the phone: a way back, which is not printed
        back, words = url_for("hand_over", **_own_address()), language()("web/sheet/back")
        way = _BACK.format(escape(back), escape(words))
        document = document.replace("<body>", f"<body>\n{way}", 1)
    return _document(document)


def _document(document: str) -> AnyResponse:
    """A document of its own: no script, nothing fetched, and only the style that was written into it."""
    answer = Response(document, mimetype="text/html")
    styles = " ".join(
        f"'sha256-{b64encode(sha256(style.encode()).digest()).decode()}'"
        for style in _STYLE.findall(document)
    )
    answer.headers["Content-Security-Policy"] = (
        f"default-src 'none'; style-src {styles}; img-src data:; "
        "frame-ancestors 'self'; base-uri 'none'; form-action 'none'"
    )
    answer.headers["X-Frame-Options"] = "SAMEORIGIN"  # the page that prints it
    return answer


_BACK: Final = (
    "<style>.way-back {{ font: 1.1rem system-ui, sans-serif; margin: 0; padding: .8rem 1rem; }} "
    "@media print {{ .way-back {{ display: none; }} }}</style>\n"
    '<p class="way-back"><a href="{}">{}</a></p>'
)


def _own_address() -> dict[str, Any]:
    """What the address says, for the links to the other pages on this set."""
    return {key: value for key, value in request.args.to_dict(flat=False).items() if key != "back"}


def hand_over() -> AnyResponse:
    """Prepare the sheet: whom the client calls, its language; then show, print or share it."""
    from kb.sheet.page import CONTACT

    known = known_set()
    Asked(request.args)
    given = [(key, one) for key, some in _own_address().items() for one in some]
    return page(
        "hand_over",
        known=known,
        about=_about(known),
        given=[(key, one) for key, one in given if key not in ("contact", "lang")],
        contact=request.args.get("contact", ""),
        most_contact=CONTACT,
        lang=request.args.get("lang", site().book.settings.language),
        languages=_LANGUAGES,
    )


_LANGUAGES: Final = (("en", "English"), ("es", "Español"))


def tag() -> AnyResponse:
    """The tag for the driver; its code has the set's address too, if the book is served under a name."""
    from kb.domain.language import language as language_of
    from kb.settings import Units
    from kb.sheet.tag import make_tag, tag_page

    known = known_set()
    settings = site().book.settings
    said = language_of(request.args.get("lang", settings.language), feet=settings.units is Units.FEET)
    chosen = _connected(Asked(request.args), known).chosen
    served = request.url_root if _has_name(request.host) else ""
    made = make_tag(known.source, known.panel, chosen, clock.today(), said, served=served)
    return _document(tag_page(made, known.source, said))


def _has_name(host: str) -> bool:
    """Is it a name that another phone finds, and neither this machine nor a number that changes?"""
    name = host.rsplit(":", 1)[0]
    return "." in name and re.search(r"[a-z]", name.rsplit(".", 1)[-1], re.IGNORECASE) is not None


def _connected(asked: Asked, known: SetView) -> Connection:
    return site().book.connect(
        known.panel.taken(asked.taken),
        known.source,
        inputs=asked.inputs,
        speakers_needed=asked.speakers_needed,
        length_m=asked.length_m,
    )


_STYLE = re.compile(r"<style[^>]*>(.*?)</style>", re.DOTALL)
