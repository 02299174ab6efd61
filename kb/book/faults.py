"""Use what the book knows of a set's path and faults, and keep what was found."""

from __future__ import annotations

from collections.abc import Iterable
from contextlib import suppress
from functools import lru_cache
from typing import TYPE_CHECKING, Any, Final

from kb.base.errors import BadInput
from kb.base.messages import LANGUAGES
from kb.base.parsing import json_of
from kb.domain.language import ENGLISH, Language
from kb.domain.words import Outcome

if TYPE_CHECKING:
    from kb.book import Book, SetView
    from kb.domain.panel import Panel
    from kb.domain.visit import Finding, Visit
    from kb.isolate import Confirmed, Model, PathUsed, State
    from kb.path import Connection


@lru_cache(maxsize=2)
def load_model(language: str = LANGUAGES[0]) -> Model:
    """The model that came with the program, with its texts in a language."""
    from kb.base.datafiles import data_tables
    from kb.isolate import model_from

    return model_from(data_tables("faults.toml"), language)


#: Cases that the odds of the whole book are worth beside the cases of one set (a judgement).
OF_THE_BOOK: Final = 6.0


def learned_model(
    book: Book, language: str = LANGUAGES[0], known: SetView | None = None, path: PathUsed | None = None
) -> Model:
    """The model, its odds moved by what mending confirmed in this book.

    ``known``: the set at hand. What mended it before counts more than the rest of the book, and so does what
    its panel says of the jack in use (``path``).
    """
    from kb.isolate import learned

    model = load_model(language)
    if good := _confirmed(model, book.cases()):
        model = learned(model, good)
    if known is None:
        return model
    if own := _confirmed(model, (visit.case for visit in known.visits if visit.case)):
        model = learned(model, own, OF_THE_BOOK)
    return model.with_facts(told_by_panel(known.panel, path))


def _confirmed(model: Model, cases: Iterable[str]) -> list[Confirmed]:
    from kb.isolate import confirmed_from

    good: list[Confirmed] = []
    for case in cases:
        with suppress(BadInput):  # of another release, with faults that are not known here, or damaged
            good += confirmed_from(model, [json_of(case, "case")])
    return good


def mended_before(model: Model, known: SetView) -> tuple[str, ...]:
    """The faults that were found and mended at this set, each once, the latest first."""
    visits = sorted(known.visits, key=lambda one: one.date, reverse=True)
    cases = _confirmed(model, (visit.case for visit in visits if visit.case))
    return tuple(dict.fromkeys(one.fault for one in cases if one.fault in model.faults))


def told_by_panel(panel: Panel, path: PathUsed | None) -> frozenset[str]:
    """What the book says of the jack in use, as the facts that a fault may name.

    Empty if it is not certain which jack that is.
    """
    from kb.domain.words import Direction, Format, Level, Speakers

    if path is None or path.signal is None:
        return frozenset()
    used = [one for one in panel.jacks if one.jack.usable and one.jack.signal is path.signal]
    if len(used) != 1:
        return frozenset()
    (one,) = used
    alike = any(
        other.jack.direction is not Direction.OUTPUT
        for other in panel.jacks
        if other.jack.form is one.jack.form
    )
    told = {
        "input-alike" if alike else "no-input-alike",
        f"level-{one.jack.level}" if one.jack.level in (Level.FIXED, Level.VARIABLE) else "",
        f"format-{one.jack.format}" if one.jack.format is not Format.UNKNOWN else "",
        f"speakers-{one.speakers}" if one.speakers is not Speakers.UNKNOWN else "",
        "menu-noted" if one.settings else "",
        "silent-here" if one.tried(Outcome.SILENT) > one.tried(Outcome.CARRIED) else "",
    }
    return frozenset(told - {""})


def path_in_book(
    book: Book, known: SetView, connection: Connection | None = None, language: Language = ENGLISH
) -> tuple[PathUsed, str] | None:
    """The path of this set, and where that is known from: the latest visit that used one, else the rules.

    What was connected counts before what would be best: a cable that lies there is what can be at fault.
    None if there is no path. ``connection``: that of the usual driver, if it is known already.
    """
    from kb.isolate import PathUsed

    connection = connection or book.connect(known.panel, known.source)
    if last := _last_used(known.visits):
        visit, finding = last
        signal = finding.jack.signal
        ways = [way for way in (connection.chosen, *connection.others) if way and way.signal is signal]
        same = next((way for way in ways if way.items == finding.items or not finding.items), None)
        its_input = finding.input or (same.input if same else None)
        return PathUsed(signal, finding.items, its_input), language("isolate/path/as-on", date=visit.date)
    if chosen := connection.chosen:
        return PathUsed(chosen.signal, chosen.items, chosen.input), language("isolate/path/as-connected")
    return None


def _last_used(visits: tuple[Visit, ...]) -> tuple[Visit, Finding] | None:
    """The latest visit in which an output was used, and its finding; of several, the one that carried."""
    from kb.domain.words import Signal

    for visit in sorted(visits, key=lambda one: (one.date, one.id), reverse=True):
        used = [
            one
            for one in visit.findings
            if one.outcome is not Outcome.NOT_TRIED and one.jack.signal not in (None, Signal.NOT_AUDIO)
        ]
        if used:
            return visit, next((one for one in used if one.outcome is Outcome.CARRIED), used[0])
    return None


def outcome_visit(book: Book, state: State, visit_id: str = "", language: Language = ENGLISH) -> Visit:
    """What was found as a visit of today to the state's set; with an id of its own unless one is given.

    The case counts for later searches only where mending ended the complaint.
    """
    from kb.base import clock
    from kb.domain.visit import visit_from
    from kb.isolate import finding_of

    found = finding_of(state, language)
    known = book.known(state.make, state.set_model)
    source: dict[str, Any] = {"make": state.make, "model": state.set_model}
    if known:
        source = {"make": known.source.make, "model": known.source.model, "kind": known.source.kind}
    return visit_from(
        {
            "date": clock.today().isoformat(),
            "by": book.settings.initials,
            "job": state.job,
            "basis": "tested",
            "source": source,
            "jacks": _jacks(state, found, known),
            "note": found["note"],
            "case": found["case"] if state.fixed else None,
            **({"id": visit_id} if visit_id else {}),
        },
        "isolate",
    )


def _jacks(state: State, found: dict[str, Any], known: SetView | None) -> list[dict[str, Any]]:
    """What the outcome says of the jack in use: nothing if it is not certain which one that is, and
    nothing if the fault sits behind it, for a flat battery in the aid is no silent jack."""
    from kb.domain.visit import Finding, finding_to

    if known is None:
        return []
    jacks = [
        one.jack for one in known.panel.jacks if one.jack.usable and one.jack.signal is state.path.signal
    ]
    told = {key: found["jack"][key] for key in ("outcome", "speakers") if found["jack"][key]}
    if len(jacks) != 1 or not told:
        return []
    return [finding_to(Finding(jacks[0], items=state.path.items, input=state.path.input)) | told]
