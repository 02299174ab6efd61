"""record: ask for a panel question by question.

A jack is typed in short form, or by its form alone, and then only what is still open is asked. The panel is
drawn as it grows; ``undo`` takes the last jack back; nothing is saved until it is confirmed.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from shlex import quote
from textwrap import fill
from typing import Any, Final

import click

from kb.base import clock
from kb.base.errors import BadInput
from kb.base.messages import LANGUAGES, Said
from kb.base.text import visible
from kb.cli.common import Session, agreed, bare_year, tell_year, text
from kb.cli.panel_view import inferred_lines, panel_table, source_title
from kb.cli.session import terminal_columns
from kb.domain import shortform
from kb.domain.language import Language
from kb.domain.panel import panel_of, reconcile
from kb.domain.shortform import FORMS, WORDS, fields, marked
from kb.domain.visit import Visit, finding_from, read_year, visit_from
from kb.domain.words import Direction, Form, Level, Outcome, Signal, Speakers, typed_words


class _Undo(Exception):
    """The person takes back the jack that is being asked about."""


class _Quit(Exception):
    """The person wants to save nothing."""


def _width() -> int:
    return max(20, min(_WIDEST, terminal_columns()) - 2)


def _filled(said: str) -> str:
    """The lines of a message, broken where the terminal ends."""
    return "\n".join(
        fill(
            line,
            _width(),
            subsequent_indent=line[: len(line) - len(line.lstrip())],
            break_on_hyphens=False,
        )
        for line in said.split("\n")
    )


_WIDEST: Final = 80  # columns that are easy to read


def _lists(said: Language) -> str:
    lists = [(said("cli/record/ask/forms"), [*FORMS]), (said("cli/record/ask/words"), [*WORDS])]
    if said.code != LANGUAGES[0]:
        kinds = (Outcome, Speakers, Direction, Level)
        shown = [said.word(word) for kind in kinds for word in kind if word.value != "unknown"]
        first: dict[str, str] = {}  # of several words for one thing
        for kind in ("form", "taken"):
            for one, word in typed_words(kind, said.code):
                first.setdefault(word, one)
        lists.append((said("cli/record/ask/also"), [", ".join(dict.fromkeys((*first.values(), *shown)))]))
    indent = max(len(name) for name, _ in lists) + 1
    return "\n".join(
        fill(
            " ".join(of),
            _width(),
            break_on_hyphens=False,
            initial_indent=name.ljust(indent),
            subsequent_indent=" " * indent,
        )
        for name, of in lists
    )


def asked_visit(session: Session, common: dict[str, Any]) -> Visit | None:
    """Ask for a visit at the terminal; None if the person does not want to save it."""
    visit_from(
        {**common, "source": {"make": "x", "model": "x", **common["source"]}}, "record"
    )  # options first
    source = common["source"]
    said = session.language
    _name(common, "make", said)
    _name(common, "model", said)
    if source.get("year") is None:
        source["year"] = _year(session)
    _known(session, source)
    data = {**common, "jacks": []}
    with typed_again(session, data):
        return _rest(session, data)


def _rest(session: Session, data: dict[str, Any]) -> Visit | None:
    """Ask for jacks and note, which are put into ``data``; None if the person does not want to save it."""
    said = session.language
    if not _jacks(session, data):
        return None
    visit = _noted(data, said)
    if not (visit.findings or visit.note):
        session.say(session.language("cli/record/empty"))
        return None
    draw(session, visit)
    return visit if agreed(said("cli/record/ask/save"), True, session.language) else None


def _name(common: dict[str, Any], part: str, said: Language) -> None:
    """Ask for make or model until it is valid; mistakes are shown at once."""
    source, question = common["source"], said(f"cli/record/ask/{part}")
    while True:
        source[part] = _ask(question, source.get(part))
        try:
            visit_from({"date": common["date"], "source": {"make": "x", "model": "x", part: source[part]}})
        except BadInput as mistake:
            click.echo(mistake.in_language(said.code), err=True)
            source[part] = None
        else:
            return


def _known(session: Session, source: dict[str, Any]) -> None:
    """Show what the book knows already, so that a known set is confirmed and not typed again."""
    visits = session.book.visits(source["make"], source["model"])
    if visits:
        session.console.print(text(session.language("cli/record/ask/known", count=len(visits)), "dim"))
        session.console.print(panel_table(reconcile(visits), session.language))


def _noted(data: dict[str, Any], said: Language) -> Visit:
    """The visit with its note, which is asked for until it is one: a slip here must not cost the jacks."""
    asked = not data.get("note")
    while True:
        if asked:
            data["note"] = _ask(said("cli/record/ask/note"), "")
        try:
            return visit_from(data, "record")
        except BadInput as mistake:
            if not asked:
                raise
            click.echo(_filled(mistake.in_language(said.code)), err=True)


@contextmanager
def typed_again(session: Session, data: dict[str, Any]) -> Iterator[None]:
    """Who stops a dialogue by a slip of the finger gets the line that records what was in so far."""
    try:
        yield
    except click.Abort:
        if data["jacks"]:
            click.echo(err=True)
            session.say(session.language("cli/record/ask/stopped"))
            session.say(line_of(session, data))
        raise


def line_of(session: Session, data: dict[str, Any]) -> str:
    """The command that records this visit, in the keys of a visit file, as far as a line has words for it."""
    source = data["source"]
    words = [source["make"], source["model"], *([str(source["year"])] if source.get("year") else [])]
    said = {**data, **source, "size": source.get("size_in")}
    usual = {"date": clock.today().isoformat(), "by": session.settings.initials}
    for name in ("date", "by", "basis", "job", "note", "kind", "display", "size"):
        value = said.get(name)
        if value and value != usual.get(name):
            words += [f"--{name}", f"{value:g}" if isinstance(value, float) else str(value)]
    words += [shortform.written(one) for one in data["jacks"]]
    return "  " + visible(" ".join(["jackfield record", *map(quote, words)]))


def _jacks(session: Session, data: dict[str, Any]) -> bool:
    """Ask for the jacks, which are put into ``data``; False if the person wants to save nothing."""
    said = session.language
    session.say(_filled(said("cli/record/ask/help")))
    while True:
        jacks = data["jacks"]
        typed = _ask(said("cli/record/ask/jack", number=len(jacks) + 1), "").strip()
        if not typed:
            return True
        if typed in ("quit", "q"):
            return False
        if typed in ("help", "?"):
            session.say(_lists(said))
            continue
        try:
            held = jacks[:-1] if typed in ("undo", "u") else [*jacks, _whole(typed, said)]
            visit = visit_from({**data, "jacks": held}, "record")
        except _Undo:
            continue
        except _Quit:
            return False
        except BadInput as mistake:
            session.say(_filled(mistake.in_language(said.code)))
            continue
        data["jacks"] = held
        draw(session, visit, len(held))


def _whole(typed: str, said: Language) -> dict[str, Any]:
    """A jack from its short form; where only the form was typed, the rest is asked."""
    data = fields(typed, "")
    if "=" in typed or ":" in typed or "?" in typed:
        return data
    form = Form(data["form"])
    data = marked(typed, _part(said("cli/record/ask/mark")))
    finding = finding_from(data, "")
    if finding.jack.direction is Direction.UNCLEAR:
        data["direction"] = _choose(said, "direction", Direction, Direction.UNCLEAR)
        finding = finding_from(data, "")
    if finding.jack.direction is Direction.OUTPUT:
        data["outcome"] = _choose(said, "outcome", Outcome, Outcome.NOT_TRIED)
        data["speakers"] = _choose(said, "speakers", Speakers, Speakers.UNKNOWN)
        if {Signal.OPTICAL, Signal.COAXIAL} & {*form.carries} and data["outcome"] != Outcome.NOT_TRIED:
            data["setting"] = _part(said("cli/record/ask/setting"))
    return {key: value for key, value in data.items() if value != ""}


def _choose(said: Language, field: str, words: type[Direction | Outcome | Speakers], default: str) -> str:
    question = said(f"cli/record/ask/{field}")
    while True:
        typed = _part(question).lower()
        if not typed:
            return str(default)
        if typed in WORDS and isinstance(WORDS[typed][1], words):
            return str(WORDS[typed][1])
        try:
            return str(words.read(typed, question))
        except BadInput:
            short = ", ".join(sorted(w for w, (_, value) in WORDS.items() if isinstance(value, words)))
            seen = visible(typed)
            click.echo(
                _filled(said("cli/record/ask/expected", question=question, seen=seen, words=short)), err=True
            )


def _part(question: str) -> str:
    """One answer about the jack at hand; ``undo`` takes the jack back, ``quit`` all of it."""
    typed = _ask(f"  {question}", "").strip()
    if typed in ("quit", "q"):
        raise _Quit
    if typed in ("undo", "u"):
        raise _Undo
    return typed


def _year(session: Session) -> int | None:
    said = session.language
    while True:
        typed = _ask(said("cli/record/ask/year"), "").strip()
        if not typed:
            return None
        bare = bare_year(typed)
        try:
            if not (bare.isdecimal() and len(bare) == 4):
                raise BadInput("year", typed, Said("expected/year-such-as"))
            year = read_year(int(bare), "year")
        except BadInput as mistake:
            click.echo(mistake.in_language(said.code), err=True)
        else:
            if bare != typed:
                tell_year(session, typed, year)
            return year


def _ask(question: str, default: str | None = None) -> str:
    answer = click.prompt(question, default=default, show_default=bool(default), err=True)
    return str(answer)


def draw(session: Session, visit: Visit, newest: int = 0) -> None:
    """Show the panel so far; what was inferred from a mark is shown for the newest jack only."""
    console, said = session.console, session.language
    console.print()
    console.print(source_title(visit.source, said))
    console.print(panel_table(panel_of(visit), said))
    for line in inferred_lines(visit, said, newest):
        console.print(line)


def chosen(typed: str, most: int, said: Language) -> list[int] | str | None:
    """What a person chose of numbered lines: "all", "each", or numbers; None if that is no answer."""
    words = " ".join(typed.casefold().split())
    if words in ("quit", "q"):
        return []
    for name in ("all", "each", "none"):
        if words in (name, said(f"cli/manual/{name}")):
            return [] if name == "none" else name
    return _numbers_of(typed, most)


def _numbers_of(typed: str, most: int) -> list[int] | None:
    """The numbers that were typed, such as ``1 3 5-7``; None if that is something else."""
    found: list[int] = []
    for word in re.split(r"[\s,;]+", typed.strip()):
        match = re.fullmatch(r"(\d{1,4})(?:-(\d{1,4}))?", word)
        if not match:
            return None
        first, last = int(match[1]), int(match[2] or match[1])
        if not 1 <= first <= last <= most:
            return None
        found += range(first, last + 1)
    return list(dict.fromkeys(found))
