"""Write the fault search as sentences for people."""

from __future__ import annotations

from collections.abc import Collection
from typing import Any, Final

from kb.base.messages import either
from kb.catalogue import item_name
from kb.domain.language import ENGLISH, Language
from kb.domain.words import Outcome
from kb.isolate.learning import Confirmed, confirmed_to
from kb.isolate.model import FACTS, SOMETHING_ELSE, Model, Side, Test
from kb.isolate.path_used import UNKNOWN_PATH, PathUsed
from kb.isolate.state import NextTest, State

LEFT: Final = 0.05  #: a fault with this chance is named among the remaining ones
POINTS: Final = 0.5  #: an answer that brings a fault to this chance points to it
SHOWN: Final = 0.01  #: an answer below this chance is not mentioned


def fault_says(model: Model, fault: str, language: Language = ENGLISH) -> str:
    """Describe the fault in a few words."""
    return language("isolate/else/says") if fault == SOMETHING_ELSE else model.faults[fault].says


def fault_side(model: Model, fault: str) -> Side:
    """Return the part of the chain that has the fault."""
    return Side.ELSEWHERE if fault == SOMETHING_ELSE else model.faults[fault].side


def fault_mend(model: Model, fault: str, language: Language = ENGLISH) -> str:
    """Describe the repair."""
    return language("isolate/else/mend") if fault == SOMETHING_ELSE else model.faults[fault].mend


def fault_caution(model: Model, fault: str) -> str:
    """Describe the danger of the repair; mostly empty, as there is none."""
    return "" if fault == SOMETHING_ELSE else model.faults[fault].caution


def path_text(path: PathUsed, language: Language = ENGLISH) -> str:
    """Describe the known parts of the path: ``optical digital, DAC, into optical input``."""
    said = [language.word(path.signal)] if path.signal else []
    said += [item_name(item, language) for item in path.items]
    if path.input:
        said.append(language("isolate/path/into", input=path.input))
    return ", ".join(said) or language("isolate/path/not-known")


def how(test: Test, language: Language = ENGLISH) -> str:
    """Describe how to do a test; the driver's level goes down first if the test can be loud in a telecoil."""
    return f"{language('isolate/level-down')} {test.how}" if test.loud else test.how


def why(model: Model, found: NextTest, language: Language = ENGLISH) -> str:
    """Say why this test comes next: what each likely answer would settle, and what it would leave open."""
    shown = [outlook for outlook in found.outlooks if outlook.p >= SHOWN]
    said = [language("isolate/why/most", minutes=minutes(found.minutes, language))]
    said += [
        language(
            "isolate/why/points",
            answer=one.answer,
            p=language.percent(one.p),
            fault=fault_says(model, one.fault, language),
            p_fault=language.percent(one.p_fault),
        )
        for one in shown
        if one.p_fault >= POINTS
    ]
    left = [
        language("isolate/why/answer", answer=one.answer, p=language.percent(one.p))
        for one in shown
        if one.p_fault < POINTS
    ]
    if left:
        said.append(language("isolate/why/shortens", answers=either(left)))
    return " ".join(said)


def verdict(state: State, language: Language = ENGLISH) -> str:
    """Name the likeliest fault so far or at the end, in one or two sentences."""
    fault, p = state.likely[0]
    head, named = "so-far", fault
    if state.fixed:
        head, named = "fixed", state.fixed
    elif state.settled:
        head = "settled-good" if state.gone else "settled"
    elif state.done:
        head = "good" if state.gone else "no-test"
    said = language(
        f"isolate/verdict/{head}", p=language.percent(p), fault=fault_says(state.model, named, language)
    )
    rest = [
        fault_says(state.model, one, language)
        for one, chance in state.likely[1:3]
        if chance >= LEFT and head in ("good", "no-test")
    ]
    return f"{said} {language('isolate/verdict/then', faults='; '.join(rest))}" if rest else said


def contradiction(state: State, language: Language = ENGLISH) -> str:
    """Explain answers that no single fault explains; empty if one does."""
    found = state.contradiction
    if found is None:
        return ""
    test, answer = found.odd
    if found.pair is None:
        return language("isolate/contradiction", answer=answer, test=test)
    one, two = found.pair
    return language("isolate/contradiction/pair", answer=answer, test=test, one=one, two=two)


def known_of_set(
    model: Model, facts: Collection[str], before: Collection[str], language: Language = ENGLISH
) -> str:
    """Say what the book knows of this set: its jack, and faults mended before; empty if nothing."""
    said = [language(f"isolate/fact/{fact}") for fact in FACTS if fact in facts]
    if before:
        faults = "; ".join(fault_says(model, fault, language) for fault in before)
        said.append(language("isolate/fact/mended-before", faults=faults))
    return language("isolate/known-of-set", said=", ".join(said)) if said else ""


def halves(state: State, language: Language = ENGLISH) -> str:
    """Say where to look if both halves of the chain are shown good; empty if they are not."""
    return language("isolate/halves-good") if state.halves_good else ""


def ask(state: State, language: Language = ENGLISH) -> str:
    """Ask for a fact that would narrow the list without a test; empty if it is known."""
    return language("isolate/ask/signal") if state.path.signal is None else ""


def finding_note(state: State, language: Language = ENGLISH) -> str:
    """Write the result as a note for the visit: complaint, fault, certainty, answers, repair."""
    fault, model = state.head, state.model
    before = ", ".join(state.mended_faults)
    tests = ", ".join(f"{test}: {answer}" for test, answer in state.answers)
    return language(
        "isolate/note",
        complaint=capital(model.complaints[state.complaint].says),
        fault=fault_says(model, fault, language),
        name=fault,
        sure=language("isolate/note/fixed") if state.fixed else language.percent(state.odds[fault]),
        before=language("isolate/note/before", faults=before) if before else "",
        tests=tests or language("isolate/note/no-test"),
        mend=fault_mend(model, fault, language),
    )


def finding_of(state: State, language: Language = ENGLISH) -> dict[str, Any]:
    """Return the result as plain values for the store.

    Keys: ``complaint``, ``outcome`` and ``speakers`` (words of a finding, or null), ``fault``, ``side``,
    ``p``, ``settled``, ``fixed``, ``tests`` [{test, answer}], ``mended``, ``note``. ``jack`` holds the result
    for the jack in use (``outcome`` and ``speakers``, or null). ``case`` is for ``confirmed_from``, to be
    kept as confirmed if a repair has ended the complaint (``fixed``).
    """
    fault = state.head
    complaint = state.model.complaints[state.complaint]
    # The sound did not take a path that cannot have the fault found.
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
        "note": finding_note(state, language),
        "jack": _of_the_jack(state),
        "case": confirmed_to(Confirmed(complaint.id, fault, path)),
    }


def _of_the_jack(state: State) -> dict[str, str | None]:
    """Return the result for the jack in use.

    A loose plug or a flat battery says nothing about the jack. Only a successful repair does, or a fault that
    is a property of this set.
    """
    complaint = state.model.complaints[state.complaint]
    fault = state.model.faults.get(state.head)
    outcome = speakers = None
    if state.fixed and complaint.outcome:
        outcome = Outcome.CARRIED.value
    elif fault and fault.of_the_set and state.settled and not state.fixed:
        outcome = complaint.outcome and complaint.outcome.value
        speakers = complaint.speakers and complaint.speakers.value
    return {"outcome": outcome, "speakers": speakers}


def minutes(count: float, language: Language = ENGLISH) -> str:
    """Write minutes for people.

    >>> minutes(0.5), minutes(1), minutes(2.5)
    ('half a minute', '1 minute', '2.5 minutes')
    """
    return language("isolate/minutes/half") if count == 0.5 else language("isolate/minutes", count=count)


def capital(text: str) -> str:
    """Return the text with a capital at its beginning."""
    return text[:1].upper() + text[1:]
