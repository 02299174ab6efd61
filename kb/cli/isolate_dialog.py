"""Ask test by test at a terminal."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Final

import click

from kb.base.errors import BadInput, ascii_controls
from kb.cli.isolate_show import say, show_state
from kb.isolate.wording import POINTS

if TYPE_CHECKING:
    from rich.console import Console

    from kb.isolate import Model, NextTest, State

#: What may be typed besides an answer, and what it does; m and g may name the fault they are about.
_KEYS: Final = "m mended but still so   g good now   u undo   q quit   (m 2: second in list)"
_SAFE: Final = (
    "No test here opens a set, a converter or a driver, or touches mains wiring. "
    "Where one seems to need that, stop."
)
_SKIP: Final = "s skip, not sure"
_LACK: Final = "n not to hand"


def talk(
    state: State, console: Console, read: Callable[[str], str | None], keep: Callable[[State], None]
) -> State:
    """Asks test by test until quit or good; every answer is kept before the next is asked.

    ``read``: prompt -> line, or None at the end of input.
    """
    say(console, _SAFE, "dim")
    before: list[State] = []
    shown: State | None = None
    while not state.fixed:
        found = state.next_test
        if shown is not state:
            show_state(console, state)
            _show_keys(console, found)
            shown = state
        typed = read("answer: " if found else "and now: ")
        line = " ".join((typed if typed is not None else "q").lower().split())
        if line in ("q", "quit"):
            return state
        try:
            changed = _undone(state, before) if line in ("u", "undo") else _changed(state, found, line)
        except BadInput as mistake:
            about = line.partition(" ")[0] in ("m", "g", "mended")
            expected = mistake.expected if about else _expected(found)
            say(console, f"Saw {ascii_controls(repr(line[:40]))}, expected {expected}.", "yellow")
            continue
        if line not in ("u", "undo"):
            before.append(state)
        state = changed
        keep(state)
    show_state(console, state)
    return state


def _expected(found: NextTest | None) -> str:
    return f"{', '.join(found.test.answers)}, or a letter from above" if found else "a letter from above"


def _show_keys(console: Console, found: NextTest | None) -> None:
    say(console, "")
    if found:
        say(console, f"{_SKIP}   {_LACK}" if found.test.tools else _SKIP, "dim")
    say(console, _KEYS, "dim")


def _changed(state: State, found: NextTest | None, line: str) -> State:
    """The state after what was typed; raises BadInput where it means nothing here."""
    key, _, about = line.partition(" ")
    if key in ("m", "mended"):
        return state.mended(_fault(state, about))
    if key in ("g", "good") and not (key == "good" and found and key in found.test.answers):
        return state.fixed_by(_fault(state, about))
    if found is None:
        raise BadInput("answer", line, "a letter from above")
    if line in ("s", "skip"):
        return state.excluding(found.test.id)
    if line == "n" and found.test.tools:
        return state.excluding(*found.test.tools)
    choices = list(found.test.answers)
    if line.isascii() and line.isdigit() and 1 <= int(line[:3]) <= len(choices):
        line = choices[int(line[:3]) - 1]
    return state.answer(found.test.id, line)


def _fault(state: State, about: str) -> str:
    """The fault that is meant: by its name, by its place in the list, or the one that stands out."""
    if about.isascii() and about.isdigit() and 1 <= int(about[:3]) <= len(state.likely):
        return state.likely[int(about[:3]) - 1][0]
    if about:
        return about
    fault, p = state.likely[0]
    if p < POINTS:
        raise BadInput("fault", "", "which one: its place in the list, such as m 2 or g 2, or its name")
    return fault


def _undone(state: State, before: list[State]) -> State:
    return (
        before.pop() if before else state.undo()
    )  # resumed: earlier answers are known, earlier skips are not


def ask_complaint(console: Console, model: Model) -> str:
    names = list(model.complaints)
    for number, one in enumerate(model.complaints.values(), 1):
        say(console, f" {number}  {one.says} ({one.id})")
    typed = (read_line("what is the trouble: ") or "").strip().lower()
    if typed.isascii() and typed.isdigit() and 1 <= int(typed[:3]) <= len(names):
        return names[int(typed[:3]) - 1]
    return typed


def ask_signal() -> str | None:
    return (
        read_line("what carries the sound (optical, coaxial, analog-line ..., empty: not known): ") or ""
    ).strip()


def read_line(prompt: str) -> str | None:
    try:
        return input(prompt)
    except (EOFError, KeyboardInterrupt):
        click.echo()
        return None
