"""Show the odds, the next test and the remedy, on a screen and as JSON."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from kb.cli.common import text
from kb.cli.tables import FOLDED, RIGHT, WHOLE, grid
from kb.domain.language import Language

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rich.console import Console
    from rich.text import Text

    from kb.isolate import Model, NextTest, State, Test

_SHOWN: Final = 7  # faults in the list of odds
_SHOWN_ASKING: Final = 4
_BAR: Final = 10  # characters


def document_of(state: State, language: Language) -> dict[str, Any]:
    """The state as ``--json`` prints it (README, "For programs")."""
    from kb.isolate import finding_of, path_used_to, wording

    found = state.next_test
    return {
        "complaint": state.complaint,
        "path": path_used_to(state.path),
        "likely": [{"fault": fault, "p": p} for fault, p in state.likely],
        "next": _next_of(state.model, found, language) if found else None,
        "done": state.done,
        "settled": state.settled,
        "fixed": state.fixed or None,
        "contradiction": wording.contradiction(state, language) or None,
        "halves_good": state.halves_good,
        "ask": wording.ask(state, language) or None,
        "finding": finding_of(state, language),
    }


def _next_of(model: Model, found: NextTest, language: Language) -> dict[str, Any]:
    from kb.isolate.wording import why

    return {
        "test": found.test.id,
        "minutes": found.minutes,
        "why": why(model, found, language),
        "bits": found.bits,
        **_how_of(found.test, language),
    }


def _how_of(test: Test, language: Language) -> dict[str, Any]:
    from kb.isolate.wording import how

    return {
        "asks": test.asks,
        "how": how(test, language),
        "answers": dict(test.answers),
        "tools": [*test.tools],
        "caution": test.caution or None,
    }


def list_of(model: Model, language: Language) -> dict[str, Any]:
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
            {"test": one.id, "minutes": one.minutes, **_how_of(one, language), "needs": [*one.needs]}
            for one in model.tests.values()
        ],
        "tools": [{"tool": tool, "says": words} for tool, words in model.tools.items()],
    }


def show_state(console: Console, state: State, language: Language, *, asking: bool = False) -> None:
    """Odds as bars, what the answers say together, and the next test or the remedy.

    ``asking``: in a talk, in which a screen of 24 lines holds it: fewer faults, and no path and no reason.
    """
    from kb.isolate import PathUsed, wording

    model = state.model
    say(console, f"\n{wording.capital(model.complaints[state.complaint].says)}", "bold")
    if state.path != PathUsed() and not asking:
        say(console, language("cli/isolate/path", path=wording.path_text(state.path, language)))
    _show_odds(console, state, language, _SHOWN_ASKING if asking else _SHOWN)
    for warning in (
        wording.halves(state, language),
        wording.contradiction(state, language),
        wording.ask(state, language),
    ):
        if warning:
            say(console, warning, "yellow")
    found = state.next_test
    if found:
        _show_test(console, found, language)
        if not asking:
            say(console, language("cli/isolate/why", why=wording.why(model, found, language)), "dim")
        return
    fault = state.head
    say(console, f"\n{wording.verdict(state, language)}", "bold")
    mend = wording.fault_mend(model, fault, language)
    say(console, language(f"cli/isolate/{'mended' if state.fixed else 'remedy'}", mend=mend))
    if caution := wording.fault_caution(model, fault):
        say(console, language("cli/isolate/caution", caution=caution), "bold yellow")


def _show_odds(console: Console, state: State, language: Language, most: int) -> None:
    from kb.isolate import wording

    full, empty = ("█", "░") if console.encoding.lower().startswith("utf") else ("#", ".")
    shown = [one for one in state.likely[:most] if one[1] >= 0.01]
    rows: list[Sequence[str | Text]] = []
    for number, (fault, p) in enumerate(shown, 1):
        filled = round(p * _BAR)
        bar = text(full * filled, "green").append(empty * (_BAR - filled), "dim")
        said = wording.fault_says(state.model, fault, language)
        rows.append((str(number), bar, language.percent(p), said))
    rest = len(state.likely) - len(shown)
    if rest:
        left = max(1.0 - sum(p for _, p in shown), 0.0)
        others = text(language("cli/isolate/others", count=rest), "dim")
        rows.append(("", "", language.percent(left), others))
    number_of = RIGHT | {"no_wrap": True}
    console.print(grid(rows, number_of, WHOLE, number_of, FOLDED, gap=1))


def _show_test(console: Console, found: NextTest, language: Language) -> None:
    from kb.isolate import wording

    test = found.test
    minutes = wording.minutes(test.minutes, language)
    asks = language("cli/isolate/next", asks=test.asks, test=test.id, minutes=minutes)
    say(console, f"\n{asks}", "bold")
    say(console, wording.how(test, language))
    if test.caution:
        say(console, language("cli/isolate/caution", caution=test.caution), "bold yellow")
    for number, (answer, looks) in enumerate(test.answers.items(), 1):
        say(console, f" {number}  {looks} ({answer})")


def show_list(console: Console, model: Model, language: Language) -> None:
    """Names of complaints, faults by side, tests and tools."""
    from kb.isolate import Side

    say(console, language("cli/isolate/complaints"), "bold")
    _pairs_shown(console, [(one.id, one.says) for one in model.complaints.values()])
    for side in Side:
        faults = [(one.id, one.says) for one in model.faults.values() if one.side is side]
        if faults:
            say(console, f"\n{language('cli/isolate/faults', side=side)}", "bold")
            _pairs_shown(console, faults)
    say(console, f"\n{language('cli/isolate/tests')}", "bold")
    _pairs_shown(
        console, [(f"{one.id} ({language.shown(one.minutes)})", one.asks) for one in model.tests.values()]
    )
    say(console, f"\n{language('cli/isolate/tools')}", "bold")
    _pairs_shown(console, [*model.tools.items()])


def _pairs_shown(console: Console, pairs: list[tuple[str, str]]) -> None:
    console.print(grid(pairs, WHOLE | {"min_width": 26}, FOLDED))


def say(console: Console, words: str, style: str = "") -> None:
    console.print(text(words, style))
