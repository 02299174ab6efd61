"""record: ask for a panel question by question.

A jack is typed in short form, or by its form alone, and then only what is still open is asked. The panel is
drawn as it grows; ``undo`` takes the last jack back; nothing is saved until it is confirmed.
"""

from __future__ import annotations

from textwrap import fill
from typing import Any

import click

from kb.base.errors import BadInput
from kb.cli.common import Session, text
from kb.cli.panel_view import inferred_lines, panel_table, source_title
from kb.domain.panel import panel_of
from kb.domain.shortform import FORMS, WORDS, fields, marked
from kb.domain.visit import Visit, finding_from, read_year, visit_from
from kb.domain.words import Direction, Form, Outcome, Signal, Speakers

_HELP = """\
Type a form, or a jack in short: FORM=MARK:WORD,WORD
  opt=OPTICAL OUT:ok,pcm   hp:mute   rca=AUDIO   opt?
Enter alone when all jacks are in; undo takes the last one back; quit saves
nothing; ? lists forms and words."""


class _Undo(Exception):
    """The person takes back the jack that is being asked about."""


class _Quit(Exception):
    """The person wants to save nothing."""


def _lists() -> str:
    forms = fill(" ".join(FORMS), 78, initial_indent="forms ", subsequent_indent="      ")
    return forms + "\n" + fill(" ".join(WORDS), 78, initial_indent="words ", subsequent_indent="      ")


def asked_visit(session: Session, common: dict[str, Any]) -> Visit | None:
    """Ask for a visit at the terminal; None if the person does not want to save it."""
    visit_from(
        {**common, "source": {"make": "x", "model": "x", **common["source"]}}, "record"
    )  # options first
    source = common["source"]
    _name(common, "make")
    _name(common, "model")
    if source.get("year") is None:
        source["year"] = _year()
    _known(session, source)
    jacks = _jacks(session, common)
    if jacks is None:
        return None
    visit = _noted({**common, "jacks": jacks})
    if not (visit.findings or visit.note):
        session.say(session.language("cli/record/empty"))
        return None
    _draw(session, visit)
    return visit if click.confirm("Save this visit?", default=True, err=True) else None


def _name(common: dict[str, Any], part: str) -> None:
    """Ask for make or model until it is valid; mistakes are shown at once."""
    source = common["source"]
    while True:
        source[part] = _ask(part.capitalize(), source.get(part))
        try:
            visit_from({"date": common["date"], "source": {"make": "x", "model": "x", part: source[part]}})
        except BadInput as mistake:
            click.echo(str(mistake), err=True)
            source[part] = None
        else:
            return


def _known(session: Session, source: dict[str, Any]) -> None:
    """Show what the book knows already, so that a known set is confirmed and not typed again."""
    visits = session.book.visits(source["make"], source["model"])
    if visits:
        session.console.print(text(f"{len(visits)} earlier visits to this set; its panel so far:", "dim"))
        session.console.print(panel_table(session.book.panel(visits)))


def _noted(data: dict[str, Any]) -> Visit:
    """The visit with its note, which is asked for until it is one: a slip here must not cost the jacks."""
    asked = not data.get("note")
    while True:
        if asked:
            data["note"] = _ask("Note (Enter for none)", "")
        try:
            return visit_from(data, "record")
        except BadInput as mistake:
            if not asked:
                raise
            click.echo(fill(str(mistake), 78), err=True)


def _jacks(session: Session, common: dict[str, Any]) -> list[dict[str, Any]] | None:
    jacks: list[dict[str, Any]] = []
    session.say(_HELP)
    while True:
        typed = _ask(f"Jack {len(jacks) + 1}", "").strip()
        if not typed:
            return jacks
        if typed in ("quit", "q"):
            return None
        if typed in ("help", "?"):
            session.say(_lists())
            continue
        try:
            held = jacks[:-1] if typed in ("undo", "u") else [*jacks, _whole(typed)]
            visit = visit_from({**common, "jacks": held}, "record")
        except _Undo:
            continue
        except _Quit:
            return None
        except BadInput as mistake:
            session.say(fill(str(mistake), 78))
            continue
        jacks = held
        _draw(session, visit, len(jacks))


def _whole(typed: str) -> dict[str, Any]:
    """A jack from its short form; where only the form was typed, the rest is asked."""
    data = fields(typed)
    if "=" in typed or ":" in typed or "?" in typed:
        return data
    form = Form(data["form"])
    data = marked(typed, _part("  printed at it (Enter for none)"))
    finding = finding_from(data, "jack")
    if finding.jack.direction is Direction.UNCLEAR:
        data["direction"] = _choose("  out, in or unclear", Direction, Direction.UNCLEAR)
        finding = finding_from(data, "jack")
    if finding.jack.direction is Direction.OUTPUT:
        data["outcome"] = _choose("  what came of it (Enter: not tried)", Outcome, Outcome.NOT_TRIED)
        data["speakers"] = _choose("  the set's speakers (on, mute, menu)", Speakers, Speakers.UNKNOWN)
        if {Signal.OPTICAL, Signal.COAXIAL} & {*form.carries} and data["outcome"] != Outcome.NOT_TRIED:
            data["setting"] = _part("  menu setting that it needed (Enter for none)")
    return {key: value for key, value in data.items() if value != ""}


def _choose(question: str, words: type[Direction | Outcome | Speakers], default: str) -> str:
    while True:
        typed = _part(question).lower()
        if not typed:
            return str(default)
        if typed in WORDS and isinstance(WORDS[typed][1], words):
            return str(WORDS[typed][1])
        try:
            return str(words.read(typed, question.strip()))
        except BadInput as mistake:
            short = sorted(w for w, (_, value) in WORDS.items() if isinstance(value, words))
            click.echo(fill(f"{mistake.place}: saw {typed!r}, expected {', '.join(short)}", 78), err=True)


def _part(question: str) -> str:
    """One answer about the jack at hand; ``undo`` takes the jack back, ``quit`` all of it."""
    typed = _ask(question, "").strip()
    if typed in ("quit", "q"):
        raise _Quit
    if typed in ("undo", "u"):
        raise _Undo
    return typed


def _year() -> int | None:
    while True:
        typed = _ask("Year of make (Enter if unknown)", "").strip()
        if not typed:
            return None
        try:
            if not (typed.isdecimal() and len(typed) == 4):
                raise BadInput("year", typed, "a year such as 2014")
            return read_year(int(typed), "year")
        except BadInput as mistake:
            click.echo(str(mistake), err=True)


def _ask(question: str, default: str | None = None) -> str:
    answer = click.prompt(question, default=default, show_default=bool(default), err=True)
    return str(answer)


def _draw(session: Session, visit: Visit, newest: int = 0) -> None:
    """The panel so far; what was inferred from a mark is shown for the newest jack only."""
    console = session.console
    console.print()
    console.print(source_title(visit.source))
    console.print(panel_table(panel_of(visit)))
    for line in inferred_lines(visit, newest):
        console.print(line)
