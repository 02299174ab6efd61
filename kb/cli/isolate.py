"""isolate: find the fault when the loop is silent, weak, hums, echoes or is harsh.

Asks test by test at a terminal or with ``--ask``; shows the state when piped or with ``--json``.
"""

from __future__ import annotations

import os
import stat
import sys
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import click

from kb.base.errors import NOTHING, BadInput, not_together
from kb.base.messages import Said, Wording
from kb.base.text import words_of_list
from kb.book.faults import learned_model, mended_before, outcome_visit, path_in_book, told_by_panel
from kb.cli.command import command
from kb.cli.common import Output, Session
from kb.cli.isolate_file import keeper, line_of, pairs, saved, state_of
from kb.cli.isolate_show import document_of, list_of, show_list, show_state
from kb.cli.job_option import job_option, named_set
from kb.isolate.wording import known_of_set

if TYPE_CHECKING:
    from kb.book import SetView
    from kb.isolate import State


@command("isolate")
@click.argument("make", required=False)
@click.argument("model", required=False)
@job_option
@click.option("--complaint")
@click.option("--signal")
@click.option("--items", multiple=True)
@click.option("--input", "driver_input")
@click.option("--answer", "said", multiple=True, metavar="TEST=ANSWER")
@click.option("--without", multiple=True)
@click.option("--mended", multiple=True, metavar="FAULT")
@click.option("--fixed", metavar="FAULT")
@click.option("--answers", "file", metavar="FILE", type=Output("JSON", or_json=True))
@click.option("--record", "recorded", is_flag=True)
@click.option("--ask", is_flag=True)
@click.option("--list", "listing", is_flag=True)
def isolate_command(
    session: Session,
    make: str | None,
    model: str | None,
    job_ref: str | None,
    complaint: str | None,
    signal: str | None,
    items: tuple[str, ...],
    driver_input: str | None,
    said: tuple[str, ...],
    without: tuple[str, ...],
    mended: tuple[str, ...],
    fixed: str | None,
    file: str | None,
    recorded: bool,
    ask: bool,
    listing: bool,
) -> int:
    """
    jackfield isolate Norwell NV40-210 --complaint no-sound
    jackfield isolate --answers today.json
    jackfield isolate --job J-12 --complaint hum --record
    """
    job = None if job_ref is None else session.book.jobs.named(job_ref)
    if job is not None and make is None:
        source = named_set(session, job)
        make, model = source.make, source.model
    if make is not None and model is None:
        raise BadInput("isolate", make, Said("expected/set-or-neither"))
    if listing:
        language = session.language
        faults = learned_model(session.book, language.code)
        if session.as_json:
            session.json(list_of(faults, language))
        else:
            show_list(session.console, faults, language)
        return 0
    if ask and (session.as_json or file == "-"):
        other = "--json" if session.as_json else "--answers -"
        raise not_together("isolate", Said("seen/two-options", option="--ask", other=other))
    talks = not session.as_json and file != "-" and (ask or _at_terminal())
    kept = saved(file, must_exist=not talks and complaint is None)
    told = {
        "complaint": complaint,
        "make": make,
        "model": model,
        "job": job.reference if job else None,
        "signal": signal,
        "items": [*items],
        "input": driver_input,
        "answers": pairs(said),
        "without": [one for name in without for one in words_of_list(name)],
        "mended": [*mended],
        "fixed": fixed,
    }
    begun = _begun(session, kept, told, talks=talks, place=file or Said("place/options"))
    if recorded and not begun.set_model:
        raise BadInput("--record", NOTHING, Said("expected/set-for-outcome"))
    keep = keeper(file if file != "-" else None)
    if talks or kept is None or any(told.values()):  # reading alone never writes
        keep(begun)
    if not talks:
        if session.as_json:
            visit = {"recorded": _record_outcome(session, begun)} if recorded else {}
            session.json(document_of(begun, session.language) | visit)
            return 0
        show_state(session.console, begun, session.language)
        if file != "-" and _piped():
            session.say(session.language("cli/isolate/nothing-read"))
    else:
        begun = _talked(session, begun, file, keep, recorded=recorded)
    if recorded:
        _record_outcome(session, begun)
    return 0


def _talked(
    session: Session, begun: State, file: str | None, keep: Callable[[State], None], *, recorded: bool
) -> State:
    """Ask test by test; who leaves before the end, or interrupts, gets the line that goes on from there."""
    from kb.cli.isolate_dialog import read_line, talk

    last = [begun]

    def kept(state: State) -> None:
        last[:] = [state]
        keep(state)

    try:
        return talk(begun, session.console, read_line, kept, session.language)
    finally:
        if not last[0].fixed:
            session.say(
                session.language("cli/isolate/goes-on", line=line_of(last[0], file, recorded=recorded))
            )


def _known_set(session: Session, told: Mapping[str, Any], kept: Mapping[str, Any] | None) -> SetView | None:
    """The set in the book, as typed or from the file; None if nobody met it, and a word of it if typed."""
    asked = told if told["make"] else kept or {}
    make, model = asked.get("make"), asked.get("model")
    if not (isinstance(make, str) and isinstance(model, str) and make and model):
        return None
    try:
        known = session.book.known(make, model)
    except BadInput:
        if told["make"]:
            raise
        return None  # the reader of the file names what is wrong in it
    if known is None and told["make"]:
        session.say(session.language("cli/isolate/not-in-book", make=make, model=model))
    return known


def _record_outcome(session: Session, state: State) -> str:
    """Keep what was found as a visit of today to the state's set; returns its id."""
    visit = outcome_visit(session.book, state, language=session.language)
    done = session.book.record([visit])
    recorded = session.language("cli/recorded", make=visit.source.make, model=visit.source.model)
    session.say(recorded)
    return done.first_id


def _begun(
    session: Session, kept: Mapping[str, Any] | None, told: dict[str, Any], *, talks: bool, place: Wording
) -> State:
    """The state of the search at the start; what the options leave open comes from file, book or asking."""
    language = session.language
    faults = learned_model(session.book, language.code)
    path_told = any(told[key] for key in ("signal", "items", "input")) or bool((kept or {}).get("path"))
    in_book = None
    known = _known_set(session, told, kept)
    if known and told["make"] and not path_told:
        in_book = path_in_book(session.book, known, language=language)
    if kept is None and told["complaint"] is None and talks:
        from kb.cli.isolate_dialog import ask_complaint, ask_signal

        told["complaint"] = ask_complaint(session.console, faults, language)
        if not path_told and in_book is None:
            told["signal"] = ask_signal(language)
    state = state_of(faults, kept, told, place)
    if in_book is not None:
        path, whence = in_book
        make, model = told["make"], told["model"]
        session.say(language("cli/isolate/path-from", make=make, model=model, whence=whence))
        state = state.along(path)
    if known is None:
        return state
    facts = told_by_panel(known.panel, state.path)
    if said := known_of_set(faults, facts, mended_before(faults, known), language):
        session.say(said)
    return replace(state, model=learned_model(session.book, language.code, known, state.path))


def _piped() -> bool:
    """May answers be waiting on standard input, which nobody asked to be read?"""
    try:
        mode = os.fstat(sys.stdin.fileno()).st_mode
    except (OSError, ValueError, AttributeError):
        return False
    return stat.S_ISFIFO(mode) or stat.S_ISREG(mode)


def _at_terminal() -> bool:
    return sys.stdin.isatty() and sys.stdout.isatty()
