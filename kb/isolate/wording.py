"""Write the fault search as sentences for people."""

from __future__ import annotations

from typing import Any, Final

from kb.base.text import percent
from kb.domain.words import Outcome
from kb.isolate.learning import Confirmed, confirmed_to
from kb.isolate.model import SOMETHING_ELSE, Model, Side
from kb.isolate.path_used import UNKNOWN_PATH
from kb.isolate.state import NextTest, State

LEFT: Final = 0.05  #: a fault at this chance is named among what is left
POINTS: Final = 0.5  #: an answer that brings a fault here points to it

ELSE_SAYS = "something else: a fault that is not in the list, or two at once"
ELSE_MEND = (
    "Mend what is plainly wrong, then begin again; if nothing is, "
    "prove the parts one by one with known good ones."
)


def fault_says(model: Model, fault: str) -> str:
    """What is wrong, in a few words."""
    return ELSE_SAYS if fault == SOMETHING_ELSE else model.faults[fault].says


def fault_side(model: Model, fault: str) -> Side:
    """Where it sits."""
    return Side.ELSEWHERE if fault == SOMETHING_ELSE else model.faults[fault].side


def fault_mend(model: Model, fault: str) -> str:
    """What mends it."""
    return ELSE_MEND if fault == SOMETHING_ELSE else model.faults[fault].mend


def fault_caution(model: Model, fault: str) -> str:
    """What can hurt when it is mended; mostly nothing, then empty."""
    return "" if fault == SOMETHING_ELSE else model.faults[fault].caution


def why(model: Model, found: NextTest) -> str:
    """Why this test comes next: what each likely answer would settle, and what it would leave open."""
    shown = [outlook for outlook in found.outlooks if outlook.p >= 0.01]
    told = [
        f"{one.answer} ({percent(one.p)}) would point to: "
        f"{fault_says(model, one.fault)} ({percent(one.p_fault)})"
        for one in shown
        if one.p_fault >= POINTS
    ]
    left = [f"{one.answer} ({percent(one.p)})" for one in shown if one.p_fault < POINTS]
    if left:
        told.append(f"{' or '.join(left)} would shorten the list")
    return f"it tells most for its {minutes(found.minutes)}. {_capital('; '.join(told))}"


def verdict(state: State) -> str:
    """One sentence on where things stand."""
    fault, p = state.likely[0]
    if state.fixed:
        return f"Good now. It was: {fault_says(state.model, state.fixed)}."
    if state.settled:
        good = "Good now. " if state.gone else ""
        return f"{good}{percent(p)} sure: {fault_says(state.model, fault)}."
    if state.done:
        rest = [fault_says(state.model, one) for one, chance in state.likely[1:3] if chance >= LEFT]
        left = f" Then: {'; '.join(rest)}." if rest else ""
        head = "Good now" if state.gone else "No test left that tells more"
        return f"{head}. Likeliest, {percent(p)}: {fault_says(state.model, fault)}.{left}"
    return f"Likeliest so far, {percent(p)}: {fault_says(state.model, fault)}."


def contradiction(state: State) -> str:
    """What to think of answers that no single fault explains; empty where one does."""
    found = state.contradiction
    if found is None:
        return ""
    test, answer = found.odd
    said = f"No single fault explains all answers; {answer} to {test} fits worst. Do that test again"
    if found.pair is None:
        return f"{said}."
    one, two = found.pair
    return f"{said}, or think of two faults at once: {one} and {two}."


def ask(state: State) -> str:
    """What would narrow the list without any test; empty where it is known."""
    if state.path.signal is None:
        return "Which signal carries the sound (optical, coaxial, analog-line, headphone, arc ...)?"
    return ""


def finding_note(state: State) -> str:
    """The result as a note for the visit: complaint, fault, how sure, on what answers, what mends it."""
    fault, p = state.head, state.odds[state.head]
    model = state.model
    told = ", ".join(f"{test}: {answer}" for test, answer in state.answers) or "no test done"
    before = f" After mending {', '.join(state.mended_faults)}." if state.mended_faults else ""
    sure = "mended, and good now" if state.fixed else percent(p)
    return (
        f"{_capital(model.complaints[state.complaint].says)}: {fault_says(model, fault)} "
        f"({fault}, {sure}).{before} Tests: {told}. Remedy: {fault_mend(model, fault)}"
    )


def finding_of(state: State) -> dict[str, Any]:
    """The result as plain values for the store.

    Keys: ``complaint``, ``outcome`` and ``speakers`` (words of a finding, or null), ``fault``, ``side``,
    ``p``, ``settled``, ``fixed``, ``tests`` [{test, answer}], ``mended``, ``note``; ``jack``: what all this
    says of the jack in use (``outcome`` and ``speakers``, or null); and ``case``: what ``confirmed_from``
    reads, to be kept as confirmed where mending has ended the complaint (``fixed``).
    """
    fault = state.head
    complaint = state.model.complaints[state.complaint]
    # A path that cannot have the fault that was found was not the path.
    path = state.path if state.model.share(fault, state.path) else UNKNOWN_PATH
    return {
        "complaint": complaint.id,
        "outcome": complaint.outcome and complaint.outcome.value,
        "speakers": complaint.speakers and complaint.speakers.value,
        "fault": fault,
        "side": fault_side(state.model, fault).value,
        "p": state.odds[fault],
        "settled": state.settled,
        "fixed": bool(state.fixed),
        "tests": [{"test": test, "answer": answer} for test, answer in state.answers],
        "mended": [*state.mended_faults],
        "note": finding_note(state),
        "jack": _of_the_jack(state),
        "case": confirmed_to(Confirmed(complaint.id, fault, path)),
    }


def _of_the_jack(state: State) -> dict[str, str | None]:
    """What the result says of the jack in use. A loose plug or a flat battery says nothing of it: only what
    mending proved to carry, or a fault that is a way of this set."""
    complaint = state.model.complaints[state.complaint]
    fault = state.model.faults.get(state.head)
    outcome = speakers = None
    if state.fixed and complaint.outcome:
        outcome = Outcome.CARRIED.value
    elif fault and fault.of_the_set and state.settled and not state.fixed:
        outcome = complaint.outcome and complaint.outcome.value
        speakers = complaint.speakers and complaint.speakers.value
    return {"outcome": outcome, "speakers": speakers}


def minutes(count: float) -> str:
    """Minutes for people.

    >>> minutes(0.5), minutes(1), minutes(2.5)
    ('half a minute', '1 minute', '2.5 minutes')
    """
    if count == 0.5:
        return "half a minute"
    return "1 minute" if count == 1 else f"{count:g} minutes"


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
