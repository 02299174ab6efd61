"""Ask test by test at a terminal."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import TYPE_CHECKING

import click

from kb.base.errors import BadInput, ascii_controls
from kb.base.messages import Said, one_of, worded
from kb.cli.isolate_show import say, show_state
from kb.domain.language import Language
from kb.isolate.path_used import UNKNOWN_PATH, path_used_from
from kb.isolate.wording import POINTS, path_text, why

if TYPE_CHECKING:
    from rich.console import Console

    from kb.isolate import Model, NextTest, State


def talk(
    state: State,
    console: Console,
    read: Callable[[str], str | None],
    keep: Callable[[State], None],
    language: Language,
) -> State:
    """Ask test by test until quit or good; every answer is kept before the next is asked.

    ``read``: prompt -> line, or None at the end of input.
    """
    say(console, language("cli/isolate/safe"), "dim")
    if state.path != UNKNOWN_PATH:
        say(console, language("cli/isolate/path", path=path_text(state.path, language)), "dim")
    before: list[State] = []
    shown: State | None = None
    while not state.fixed:
        found = state.next_test
        if shown is not state:
            show_state(console, state, language, asking=True)
            _show_keys(console, found, language)
            shown = state
        typed = read(language("cli/isolate/prompt/answer" if found else "cli/isolate/prompt/then"))
        line = _key_of(found, " ".join((typed if typed is not None else "q").lower().split()), language)
        if line in ("q", "quit"):
            return state
        if found and line in ("w", "why"):
            say(console, why(state.model, found, language), "dim")
            continue
        try:
            if line not in ("u", "undo"):
                changed = _changed(state, found, line, language)
            else:  # resumed: earlier answers are known, earlier skips are not
                changed = before.pop() if before else state.undo()
        except BadInput as mistake:
            about = line.partition(" ")[0] in _ABOUT_FAULTS
            expected = worded(mistake.expected, language.code) if about else _expected(found, language)
            shown_line = ascii_controls(repr(line[:40]))
            say(
                console, language("cli/isolate/not-understood", typed=shown_line, expected=expected), "yellow"
            )
            continue
        if line not in ("u", "undo"):
            before.append(state)
        state = changed
        keep(state)
    show_state(console, state, language, asking=True)
    return state


def _key_of(found: NextTest | None, line: str, language: Language) -> str:
    """What was typed with its key as in English; an answer stays as it is."""
    if found and _answer(found, line):
        return line
    keys: dict[str, str] = dict(re.findall(r"(\w+)=(\w+)", language("cli/isolate/keys")))
    key, sign, about = line.partition(" ")
    return keys.get(key, key) + sign + about


_MENDED = ("m", "mended")
_GOOD = ("g", "good")
_ABOUT_FAULTS = (*_MENDED, "g")


def _expected(found: NextTest | None, language: Language) -> str:
    if found is None:
        return language("cli/isolate/expected/key")
    return language("cli/isolate/expected/answer", answers=", ".join(found.test.answers))


def _show_keys(console: Console, found: NextTest | None, language: Language) -> None:
    tools = bool(found and found.test.tools)
    say(console, language("cli/isolate/keys/mended"), "dim")
    say(console, language(f"cli/isolate/keys/{'tool' if tools else 'answer' if found else 'end'}"), "dim")


def _changed(state: State, found: NextTest | None, line: str, language: Language) -> State:
    """The state after what was typed; raises BadInput if it means nothing here."""
    key, _, about = line.partition(" ")
    answer = _answer(found, line) if found else ""
    if key in _MENDED and not answer:
        return state.repaired(_fault(state, about, language))
    if key in _GOOD and not answer:
        return state.fixed_by(_fault(state, about, language))
    if found is None:
        raise BadInput(Said("place/answer"), line, Said("cli/isolate/expected/key"))
    if line in ("s", "skip"):
        return state.excluding(found.test.id)
    if line == "n" and found.test.tools:
        return state.excluding(*found.test.tools)
    return state.answer(found.test.id, answer or line)


def _answer(found: NextTest, line: str) -> str:
    """The answer that is meant, by its word, its number or as printed; empty if there is none."""
    answers = found.test.answers
    if numbered := _numbered(line, list(answers)):
        return numbered
    printed = [
        answer
        for answer, looks in answers.items()
        if line in (answer, looks.lower(), f"{looks} ({answer})".lower())
    ]
    return printed[0] if printed else ""


def _fault(state: State, about: str, language: Language) -> str:
    """The fault that is meant: by its name, by its number on the screen, or the likeliest one."""
    if about:
        return _numbered(about, [fault for fault, _ in state.likely]) or about
    fault, p = state.likely[0]
    if p < POINTS:
        raise BadInput("fault", "", Said("cli/isolate/expected/number"))
    return fault


def _numbered(typed: str, names: list[str]) -> str:
    """The name with the number that was typed, from 1; empty if there is none."""
    number = int(typed[:3]) if typed.isascii() and typed.isdigit() else 0
    return names[number - 1] if 1 <= number <= len(names) else ""


def ask_complaint(console: Console, model: Model, language: Language) -> str:
    """The complaint that is typed, by its number or name."""
    names = list(model.complaints)
    for number, one in enumerate(model.complaints.values(), 1):
        say(console, f" {number}  {one.says} ({one.id})")
    while True:
        typed = _needed("cli/isolate/prompt/complaint", language).lower()
        if numbered := _numbered(typed, names):
            return numbered
        if (named := model.complaint_named(typed)) in names:
            return named
        click.echo(BadInput("--complaint", typed, one_of(names)).in_language(language.code), err=True)


def ask_signal(language: Language) -> str:
    """The signal that is typed, perhaps none."""
    while True:
        typed = _needed("cli/isolate/prompt/signal", language)
        try:
            path_used_from({"signal": typed} if typed else {})
        except BadInput as mistake:
            click.echo(mistake.in_language(language.code), err=True)
        else:
            return typed


def _needed(question: str, language: Language) -> str:
    """What is typed; raises Abort at the end of the input, since without an answer there is no search."""
    typed = read_line(language(question))
    if typed is None:
        raise click.Abort
    return typed.strip()


def read_line(prompt: str) -> str | None:
    """A line of input, or None at its end. Raises Abort where the person interrupts."""
    try:
        return input(prompt)
    except EOFError:
        click.echo()
        return None
    except KeyboardInterrupt:
        click.echo()
        raise click.Abort from None
