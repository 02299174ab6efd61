"""How is it said to people? Every sentence of this room, made from words and values."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from kb.isolate.learned import Confirmed, confirmed_to
from kb.isolate.model import SOMETHING_ELSE, Model, Side

if TYPE_CHECKING:
    from kb.isolate.state import NextTest, State

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


def why(found: NextTest) -> str:
    """Why this test comes next: how much it tells, and what each likely answer would point to."""
    shown = [outlook for outlook in found.outlooks if outlook.p >= 0.01]
    points = "; ".join(
        f"{one.answer} ({percent(one.p)}): {one.fault} would lead with {percent(one.p_fault)}"
        for one in shown
    )
    return f"tells {found.bits:.2f} bits in {minutes(found.minutes)}: {points}"


def verdict(state: State) -> str:
    """One sentence on where things stand."""
    fault, p = state.likely[0]
    if state.settled:
        return f"{percent(p)} sure: {fault_says(state.model, fault)}."
    if state.done:
        return f"No test left that tells more. Likeliest, {percent(p)}: {fault_says(state.model, fault)}."
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
    fault, p = state.likely[0]
    model = state.model
    told = ", ".join(f"{test}: {answer}" for test, answer in state.answers) or "no test done"
    before = f" After mending {', '.join(state.mended_faults)}." if state.mended_faults else ""
    return (
        f"{_capital(model.complaints[state.complaint].says)}: {fault_says(model, fault)} "
        f"({fault}, {percent(p)}).{before} Tests: {told}. Remedy: {fault_mend(model, fault)}"
    )


def finding_of(state: State) -> dict[str, Any]:
    """The result as plain values for the store.

    Keys: ``complaint``, ``outcome`` and ``speakers`` (words of a finding, or null), ``fault``, ``side``,
    ``p``, ``settled``, ``tests`` [{test, answer}], ``mended``, ``note``, and ``case``: what
    ``confirmed_from`` reads, to be kept as confirmed once mending has ended the complaint.
    """
    fault, p = state.likely[0]
    complaint = state.model.complaints[state.complaint]
    return {
        "complaint": complaint.id,
        "outcome": complaint.outcome and complaint.outcome.value,
        "speakers": complaint.speakers and complaint.speakers.value,
        "fault": fault,
        "side": fault_side(state.model, fault).value,
        "p": p,
        "settled": state.settled,
        "tests": [{"test": test, "answer": answer} for test, answer in state.answers],
        "mended": [*state.mended_faults],
        "note": finding_note(state),
        "case": confirmed_to(Confirmed(complaint.id, fault, state.path)),
    }


def percent(p: float) -> str:
    """A chance for people; never a flat 0 or 100, as nothing here is certain.

    >>> percent(0.9), percent(0.999), percent(0.0001)
    ('90%', '>99%', '<1%')
    """
    if p > 0.99:
        return ">99%"
    return f"{p:.0%}" if p >= 0.01 else "<1%"


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
