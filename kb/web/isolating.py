"""No sound: which test is next, and what is at fault?

All that was answered stands in the address, so that going back in the browser takes an answer back.
"""

from __future__ import annotations

from typing import Any, Final

from flask import Flask, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from kb.errors import BadInput
from kb.isolate import State, says, state_from
from kb.web.site import page, site
from kb.words import DriverInput, Signal

_MOST: Final = 60  #: answers in one address
_SHOWN: Final = 5  #: faults in the list


def add(app: Flask) -> None:
    """Put these pages into ``app``."""
    app.add_url_rule("/isolate", "isolate", isolate)


def isolate() -> AnyResponse:
    """Begin with the complaint; then test by test to the likeliest fault and its remedy."""
    from kb.cli.isolate_book import learned_model  # the odds moved by what mending confirmed

    model = learned_model(site().book)
    given = request.args
    if not given.get("complaint"):
        return page(
            "isolate_begin",
            complaints=list(model.complaints.values()),
            signals=[one for one in Signal if one not in (Signal.NOT_AUDIO, Signal.ACOUSTIC)],
            inputs=list(DriverInput),
            path=_path(given),
            make=given.get("make", ""),
            set_model=given.get("model", ""),
        )
    state = state_from(model, _data(given), "answers")
    found = state.next_test
    fault = state.likely[0][0]
    return page(
        "isolate",
        state=state,
        complaint=model.complaints[state.complaint].says,
        found=found,
        answers=[(test, model.tests[test], said) for test, said in state.answers],
        odds=[(says.fault_says(model, one), p) for one, p in state.likely[:_SHOWN] if p >= 0.01],
        verdict=says.verdict(state),
        mend=says.fault_mend(model, fault),
        caution=says.fault_caution(model, fault),
        warning=says.contradiction(state),
        question=says.ask(state),
        note=says.finding_note(state),
        percent=says.percent,
        minutes=says.minutes,
        link=_link,
        fault=fault,
    )


def _data(given: Any) -> dict[str, Any]:
    """The address as an answers file."""
    answers = given.getlist("a")[:_MOST]
    if any(":" not in one for one in answers):
        raise BadInput("answers", answers, "test:answer")
    data = {
        "complaint": given["complaint"],
        "make": given.get("make", ""),
        "model": given.get("model", ""),
        "answers": dict(one.split(":", 1) for one in answers),
        "without": given.getlist("without")[:_MOST],
        "mended": given.getlist("mended")[:_MOST],
    }
    if path := _path(given):
        data["path"] = path
    return {key: value for key, value in data.items() if value}


def _path(given: Any) -> dict[str, Any]:
    items = [one for one in given.getlist("items")[:16] if one]
    path = {"signal": given.get("signal", ""), "items": items, "input": given.get("input", "")}
    return {key: value for key, value in path.items() if value}


def _link(state: State) -> str:
    """The address of a state."""
    path = state.path
    return url_for(
        "isolate",
        complaint=state.complaint,
        make=state.make or None,
        model=state.set_model or None,
        a=[f"{test}:{answer}" for test, answer in state.answers],
        without=list(state.without),
        mended=list(state.mended_faults),
        signal=path.signal.value if path.signal else None,
        items=list(path.items),
        input=path.input.value if path.input else None,
    )
