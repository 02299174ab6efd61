"""Serve the fault search: the next test, and the likely fault.

All answers are in the address, so that going back in the browser takes an answer back.
"""

from __future__ import annotations

import gzip
import json
import threading
from collections import OrderedDict
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING, Any, Final

from flask import Flask, Response, redirect, request, url_for
from werkzeug.exceptions import ServiceUnavailable
from werkzeug.wrappers import Response as AnyResponse

from kb.base.errors import NOTHING, BadInput
from kb.base.messages import Said
from kb.catalogue import item_name
from kb.domain.words import DriverInput, Signal
from kb.isolate import State, path_used_from, path_used_to, state_from
from kb.isolate import wording as says
from kb.web.jobs import job_asked, job_id, of_job
from kb.web.site import language, page, site
from kb.web.visit_form import new_id

if TYPE_CHECKING:
    from kb.book import SetView
    from kb.isolate import Model
    from kb.path import Connection

_MOST: Final = 60  #: answers in one address
_SHOWN: Final = 5  #: faults in the list
_PATIENCE_S: Final = 3  #: so long a thread waits for another that makes turns
_KEPT: Final = 32  #: paths whose turns are remembered; they take a second each to make


def add(app: Flask) -> None:
    """Put these pages into ``app``."""
    app.add_url_rule("/isolate", "isolate", isolate)
    app.add_url_rule("/isolate", "keep_outcome", keep_outcome, methods=["POST"])
    app.add_url_rule("/isolate/turns", "turns", turns)
    app.add_url_rule("/isolate/without-link", "isolate_without_link", without_link)


def isolate() -> AnyResponse:
    """Begin with the complaint; then test by test to the likeliest fault and its remedy."""
    model, said = _model(), language()
    given = request.args
    about = _about(given)
    if not given.get("complaint"):
        path = _path(given)
        since = ""
        if not path and (known := _known(about)):
            path, since = _path_in_book(known, _connection_of_job(known))
        return page(
            "isolate_begin",
            complaints=list(model.complaints.values()),
            signals=[one for one in Signal if one not in (Signal.NOT_AUDIO, Signal.ACOUSTIC)],
            inputs=list(DriverInput),
            path=path,
            since=since,
            said=says.path_text(path_used_from(path, "path"), said) if path else "",
            item_name=partial(item_name, language=said),
            about=about,
            of_job=of_job(request.args),
        )
    state = state_from(model, _data(given), "answers")
    counted = ""
    if (of_set := _known(about)) is not None:
        from kb.book.faults import learned_model, mended_before, told_by_panel

        facts = told_by_panel(of_set.panel, state.path)
        counted = says.known_of_set(model, facts, mended_before(model, of_set), said)
        state = replace(state, model=learned_model(site().book, said.code, of_set, state.path))
    fault = state.head
    return page(
        "isolate",
        about=about,
        of_job=of_job(request.args),
        state=state,
        complaint=model.complaints[state.complaint].says,
        found=(found := state.next_test),
        why=says.why(model, found, said) if found else "",
        how=says.how(found.test, said) if found else "",
        answers=[(test, model.tests[test], answer) for test, answer in state.answers],
        odds=[(says.fault_says(model, one, said), p) for one, p in state.likely[:_SHOWN] if p >= 0.01],
        verdict=says.verdict(state, said),
        mend=says.fault_mend(model, fault, said),
        caution=says.fault_caution(model, fault),
        warning=says.halves(state, said) or says.contradiction(state, said),
        counted=counted,
        question=says.ask(state, said),
        note=says.finding_note(state, said),
        minutes=partial(says.minutes, language=said),
        link=_link,
        fault=fault,
        new_id=new_id(),
    )


def keep_outcome() -> AnyResponse:
    """What was found becomes a visit of today to its set, as ``jackfield isolate --record`` does."""
    from kb.book.faults import outcome_visit

    state = state_from(_model(), _data(request.args), "answers")
    if not (state.make and state.set_model):
        raise BadInput(Said("web/set"), NOTHING, Said("expected/web/for-book"))
    visit = outcome_visit(site().book, state, request.form.get("id", "")[:40], language())
    if (job := job_asked(request.args)) and not visit.job:
        visit = replace(visit, job=job.name)
    done = site().books.record([visit])
    visit_id = done.first_id
    return redirect(url_for("recorded", visit=visit_id, job=job_id(request.args)), 303)


def _known(about: dict[str, str]) -> SetView | None:
    return site().book.known(**about) if about else None


def _connection_of_job(known: SetView) -> Connection | None:
    job = job_asked(request.args)
    if job is None:
        return None
    return site().book.connect(
        known.panel.taken(job.taken or ()),
        known.source,
        inputs=job.inputs,
        speakers_needed=job.speakers_needed,
        length_m=job.length_m,
    )


def _model() -> Model:
    """The faults with their odds, moved by what mending confirmed in this book."""
    from kb.book.faults import learned_model

    return learned_model(site().book, language().code)


# -- where there is no link ----------------------------------------------------------------------------

_made: OrderedDict[str, bytes] = OrderedDict()
_making: Final = threading.Lock()


def turns() -> AnyResponse:
    """The tests of a path with all turns, for a phone to keep."""
    from kb.web.turns import turns as turns_of

    path = path_used_from(_path(request.args), "path")
    said = language()
    key = json.dumps([said.code, path_used_to(path), site().book.cases()], sort_keys=True)
    if not _making.acquire(timeout=_PATIENCE_S):  # one at a time: the others would make the same
        raise ServiceUnavailable(retry_after=5)  # the phone asks again with its next page
    try:
        body = _made.pop(key, None)
        if body is None:
            made = turns_of(_model(), path, said) | {"path": says.path_text(path, said)}
            body = gzip.compress(json.dumps(made).encode(), mtime=0)
        _made[key] = body
        while len(_made) > _KEPT:
            _made.popitem(last=False)
    finally:
        _making.release()
    zipped = "gzip" in request.headers.get("Accept-Encoding", "")
    answer = Response(body if zipped else gzip.decompress(body), mimetype="application/json")
    if zipped:
        answer.headers["Content-Encoding"] = "gzip"  # it holds nothing secret (ASVS 5.0, 12.1)
    return answer


def without_link() -> AnyResponse:
    """The page that goes through the kept turns; the phone fills it in."""
    return page("isolate_kept")


# -- from and to the address ---------------------------------------------------------------------------


def _about(given: Any) -> dict[str, str]:
    make, model = given.get("make", "")[:80], given.get("model", "")[:80]
    return {"make": make, "model": model} if make and model else {}


def _path_in_book(known: SetView, connection: Connection | None = None) -> tuple[dict[str, Any], str]:
    """The path of a set as it was connected last, else as it would be; and since when."""
    from kb.book.faults import path_in_book

    found = path_in_book(site().book, known, connection, language())
    return (path_used_to(found[0]), found[1]) if found else ({}, "")


def turns_address(known: SetView, connection: Connection | None = None) -> str:
    """Where the turns for a set's path are; ``connection``: that of the usual driver, where it is known."""
    return url_for("turns", **_path_in_book(known, connection)[0])


def _data(given: Any) -> dict[str, Any]:
    """The address as an answers file."""
    answers = given.getlist("a")[:_MOST]
    if any(":" not in one for one in answers):
        raise BadInput("answers", answers, "test:answer")
    data = {
        "complaint": given.get("complaint", ""),
        "make": given.get("make", ""),
        "model": given.get("model", ""),
        "answers": dict(one.split(":", 1) for one in answers),
        "without": given.getlist("without")[:_MOST],
        "mended": given.getlist("mended")[:_MOST],
        "fixed": given.get("fixed", ""),
    }
    if path := _path(given):
        data["path"] = path
    return {key: value for key, value in data.items() if value}


def _path(given: Any) -> dict[str, Any]:
    items = [one for one in given.getlist("items")[:16] if one]
    path = {"signal": given.get("signal", ""), "items": items, "input": given.get("input", "")}
    return {key: value for key, value in path.items() if value}


def _link(state: State, page: str = "isolate") -> str:
    """The address of a state."""
    path = state.path
    return url_for(
        page,
        complaint=state.complaint,
        make=state.make or None,
        model=state.set_model or None,
        a=[f"{test}:{answer}" for test, answer in state.answers],
        without=list(state.without),
        mended=list(state.mended_faults),
        fixed=state.fixed or None,
        signal=path.signal.value if path.signal else None,
        items=list(path.items),
        input=path.input.value if path.input else None,
        job=job_id(request.args),
    )
