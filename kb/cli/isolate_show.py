"""Show the odds, the next test and the remedy, on a screen and as JSON."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from rich.console import Console

    from kb.isolate import Model, NextTest, State, Test

_SHOWN: Final = 7  # faults in the list of odds
_BAR: Final = 10  # characters


def document_of(state: State) -> dict[str, Any]:
    """The state as ``--json`` prints it (README, "For programs")."""
    from kb.isolate import finding_of, path_used_to
    from kb.isolate import wording as says

    found = state.next_test
    return {
        "complaint": state.complaint,
        "path": path_used_to(state.path),
        "likely": [{"fault": fault, "p": p} for fault, p in state.likely],
        "next": _next_of(state.model, found) if found else None,
        "done": state.done,
        "settled": state.settled,
        "fixed": state.fixed or None,
        "contradiction": says.contradiction(state) or None,
        "ask": says.ask(state) or None,
        "finding": finding_of(state),
    }


def _next_of(model: Model, found: NextTest) -> dict[str, Any]:
    from kb.isolate.wording import why

    return {
        "test": found.test.id,
        "minutes": found.minutes,
        "why": why(model, found),
        "bits": found.bits,
        **_how_of(found.test),
    }


def _how_of(test: Test) -> dict[str, Any]:
    return {
        "asks": test.asks,
        "how": test.how,
        "answers": dict(test.answers),
        "tools": [*test.tools],
        "caution": test.caution or None,
    }


def list_of(model: Model) -> dict[str, Any]:
    """Everything that has a name in the model."""
    return {
        "complaints": [{"complaint": one.id, "says": one.says} for one in model.complaints.values()],
        "faults": [
            {
                "fault": one.id,
                "side": one.side.value,
                "says": one.says,
                "mend": one.mend,
                "complaints": [*one.priors],
                "needs": [*one.needs],
                "caution": one.caution or None,
            }
            for one in model.faults.values()
        ],
        "tests": [
            {"test": one.id, "minutes": one.minutes, **_how_of(one), "needs": [*one.needs]}
            for one in model.tests.values()
        ],
        "tools": [{"tool": tool, "says": words} for tool, words in model.tools.items()],
    }


def show_state(console: Console, state: State) -> None:
    """Odds as bars, what the answers say together, and the next test or the remedy."""
    from kb.isolate import PathUsed
    from kb.isolate import wording as says

    model = state.model
    head = model.complaints[state.complaint].says
    if state.path != PathUsed():
        head += f", path: {state.path}"
    say(console, f"\n{head[:1].upper()}{head[1:]}", "bold")
    _show_odds(console, state)
    for warning in (says.contradiction(state), says.ask(state)):
        if warning:
            say(console, warning, "yellow")
    found = state.next_test
    if found:
        _show_test(console, state.model, found)
        return
    fault = state.head
    say(console, f"\n{says.verdict(state)}", "bold")
    say(console, f"{'What mended it' if state.fixed else 'Remedy'}: {says.fault_mend(model, fault)}")
    if says.fault_caution(model, fault):
        say(console, f"Caution: {says.fault_caution(model, fault)}", "bold yellow")


def _show_odds(console: Console, state: State) -> None:
    from rich.table import Table
    from rich.text import Text

    from kb.base.text import percent
    from kb.isolate import wording as says

    full, empty = _bar_signs(console)
    table = Table.grid(padding=(0, 1))
    table.add_column(no_wrap=True)
    table.add_column(justify="right", no_wrap=True)
    table.add_column(overflow="fold")
    shown = [one for one in state.likely[:_SHOWN] if one[1] >= 0.01]
    for fault, p in shown:
        filled = round(p * _BAR)
        bar = Text(full * filled, "green").append(empty * (_BAR - filled), "dim")
        table.add_row(bar, percent(p), Text(says.fault_says(state.model, fault)))
    rest = len(state.likely) - len(shown)
    if rest:
        left = 1.0 - sum(p for _, p in shown)
        table.add_row("", percent(max(left, 0.0)), Text(f"all {rest} others together", "dim"))
    console.print(table)


def _show_test(console: Console, model: Model, found: NextTest) -> None:
    from kb.isolate import wording as says

    test = found.test
    say(console, f"\nNext: {test.asks}", "bold")
    say(console, f"({test.id}, {says.minutes(test.minutes)})", "dim")
    say(console, test.how)
    if test.caution:
        say(console, f"Caution: {test.caution}", "bold yellow")
    for number, (answer, looks) in enumerate(test.answers.items(), 1):
        say(console, f" {number}  {looks} ({answer})")
    say(console, f"Why: {says.why(model, found)}.", "dim")


def show_list(console: Console, model: Model) -> None:
    """Names of complaints, faults by side, tests and tools."""
    from kb.isolate import Side

    say(console, "Complaints", "bold")
    _pairs_shown(console, [(one.id, one.says) for one in model.complaints.values()])
    for side in Side:
        faults = [(one.id, one.says) for one in model.faults.values() if one.side is side]
        if faults:
            say(console, f"\nFaults: {side.label}", "bold")
            _pairs_shown(console, faults)
    say(console, "\nTests (minutes)", "bold")
    _pairs_shown(console, [(f"{one.id} ({one.minutes:g})", one.asks) for one in model.tests.values()])
    say(console, "\nTools", "bold")
    _pairs_shown(console, [*model.tools.items()])


def _pairs_shown(console: Console, pairs: list[tuple[str, str]]) -> None:
    from rich.table import Table
    from rich.text import Text

    table = Table.grid(padding=(0, 2))
    table.add_column(no_wrap=True, min_width=26)
    table.add_column(overflow="fold")
    for name, words in pairs:
        table.add_row(Text(name), Text(words))
    console.print(table)


def say(console: Console, words: str, style: str = "") -> None:
    from rich.text import Text

    console.print(Text(words, style))  # Text: nothing in it is markup


def _bar_signs(console: Console) -> tuple[str, str]:
    return ("█", "░") if console.encoding.lower().startswith("utf") else ("#", ".")
