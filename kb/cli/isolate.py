"""What is at fault when the loop is silent, weak, hums, echoes or is harsh, and which test is next?

Asks test by test at a terminal; says where things stand when piped or with ``--json``.
"""

from __future__ import annotations

import json
import os
import sys
import tempfile
from collections.abc import Callable, Mapping
from contextlib import suppress
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import click

from kb.cli.common import Session, command_options
from kb.errors import BadInput, BookTrouble, ascii_controls, described

if TYPE_CHECKING:
    from rich.console import Console

    from kb.isolate import Confirmed, Model, NextTest, State, Test

_FILE_LIMIT: Final = 1_000_000  # bytes of an answers file
_KEYS: Final = "answer, or u undo, s skip, m mended but still so, q quit: "
_KEYS_DONE: Final = "u undo, m mended but still so, q quit: "
_SHOWN: Final = 7  # faults in the list of odds
_BAR: Final = 10  # characters


@click.command("isolate")
@click.argument("make", required=False)
@click.argument("model", required=False)
@click.option("--complaint", help="no-sound, weak, hum, echo, distorted or speakers-dead.")
@click.option("--signal", help="What the path carries: optical, coaxial, arc, analog-line, headphone ...")
@click.option("--items", multiple=True, help="An item on the path, such as 'optical cable 2 m'. Repeatable.")
@click.option(
    "--input", "driver_input", help="The driver's input: line-3.5, line-rca, optical, coaxial, mic."
)
@click.option("--answer", "said", multiple=True, metavar="TEST=ANSWER", help="An answer. Repeatable.")
@click.option("--without", multiple=True, help="A tool or test to leave out, such as ohmmeter. Repeatable.")
@click.option("--mended", multiple=True, metavar="FAULT", help="Mended, and the trouble stays. Repeatable.")
@click.option(
    "--answers",
    "file",
    type=click.Path(dir_okay=False, allow_dash=True),
    help="Resume from this file, and keep each answer there (- reads from stdin).",
)
@click.option("--record", "recorded", is_flag=True, help="Keep the outcome in the book (needs MAKE MODEL).")
@click.option("--list", "listing", is_flag=True, help="Name complaints, faults, tests and tools.")
@command_options
def isolate_command(
    session: Session,
    make: str | None,
    model: str | None,
    complaint: str | None,
    signal: str | None,
    items: tuple[str, ...],
    driver_input: str | None,
    said: tuple[str, ...],
    without: tuple[str, ...],
    mended: tuple[str, ...],
    file: str | None,
    recorded: bool,
    listing: bool,
) -> int:
    """Find what is at fault by the cheapest next test.

    Give the complaint and, where known, the set or the path: what cannot be on it drops out. At a terminal
    the tests are asked one by one; with --answers FILE you can stop and go on later.

    \b
    jackfield isolate Norwell NV40-210 --complaint no-sound
    jackfield isolate --answers today.json
    """
    if model is not None and make is not None:
        signal, items, driver_input = _path_in_book(session, make, model, signal, items, driver_input)
    elif make is not None:
        raise BadInput("isolate", make, "MAKE MODEL, or neither")
    elif recorded:
        raise BadInput("--record", described("no set"), "MAKE MODEL, so that the book knows what it is about")
    as_json = session.as_json
    faults = _learned(session)
    if listing:
        session.json(list_of(faults)) if as_json else show_list(session.console, faults)
        return 0
    talks = not as_json and file != "-" and _at_terminal()
    asked = {
        "complaint": complaint,
        "signal": signal,
        "items": [*items],
        "input": driver_input,
        "answers": _pairs(said),
        "without": [one.strip() for name in without for one in name.split(",")],
        "mended": [*mended],
    }
    saved = _saved(file, must_exist=not talks and complaint is None)
    if saved is None and complaint is None and talks:
        asked["complaint"] = _ask_complaint(session.console, faults)
        asked["signal"] = signal or _ask_signal()
    state = _state(faults, saved, asked, file or "options")
    keep = _keeper(file if file != "-" else None)
    if talks:
        keep(state)
        state = talk(state, session.console, _read_line, keep)
        if recorded and make and model:
            _record(session, state, make, model)
        return 0
    if saved is None or any(asked.values()):  # reading alone never writes
        keep(state)
    visit = _record(session, state, make, model) if recorded and make and model else None
    if as_json:
        session.json(document_of(state) | ({"recorded": visit} if visit else {}))
    else:
        show_state(session.console, state)
    return 0


def _learned(session: Session) -> Model:
    """The model, its odds moved by what mending confirmed in this book."""
    from kb.isolate import confirmed_from, learned

    model = load_model()
    good: list[Confirmed] = []
    for case in session.book.cases():
        with suppress(BadInput):  # of another release, with faults that are not known here
            good += confirmed_from(model, [case])
    return learned(model, good) if good else model


def _record(session: Session, state: State, make: str, model: str) -> str:
    """Keep what was found as a visit of today; the case counts only where one fault stands out."""
    from kb import clock
    from kb.isolate import finding_of
    from kb.visit import finding_to, visit_from

    found = finding_of(state)
    known = session.book.view(make, model)
    chosen = session.book.connect(known.panel, known.source).chosen
    jacks = []
    if chosen is not None and chosen.jack is not None and chosen.signal is state.path.signal:
        jack = known.panel.jacks[chosen.jack].jack
        told = {"outcome": found["outcome"], "items": [*state.path.items]}
        from kb.visit import Finding

        jacks = [finding_to(Finding(jack)) | {key: value for key, value in told.items() if value}]
    visit = visit_from(
        {
            "date": clock.today().isoformat(),
            "by": session.settings.initials,
            "basis": "tested",
            "source": {"make": known.source.make, "model": known.source.model, "kind": known.source.kind},
            "jacks": jacks,
            "note": found["note"],
            "case": found["case"] if found["settled"] else None,
        },
        "isolate",
    )
    done = session.book.record([visit])
    session.say(f"recorded  {known.source.make} {known.source.model}")
    return [*(one.id for one in done.recorded), *done.already][0]


def _path_in_book(
    session: Session,
    make: str,
    model: str,
    signal: str | None,
    items: tuple[str, ...],
    driver_input: str | None,
) -> tuple[str | None, tuple[str, ...], str | None]:
    """The path that the book gives for the set, where the options do not tell it."""
    known = session.book.view(make, model)
    chosen = session.book.connect(known.panel, known.source).chosen
    if signal or items or driver_input or chosen is None:
        return signal, items, driver_input
    return chosen.signal.value, chosen.items, chosen.input.value


# -- what comes in -----------------------------------------------------------------------------------


@lru_cache(maxsize=1)
def load_model() -> Model:
    """The model that came with the program."""
    import tomllib

    from kb.catalogue import data_file
    from kb.isolate import model_from

    return model_from(tomllib.loads(data_file("faults.toml").read_text("utf-8")))


def _saved(file: str | None, *, must_exist: bool) -> Mapping[str, Any] | None:
    """The answers file as parsed; None where there is none yet."""
    if file is None:
        return None
    if file != "-" and not Path(file).exists() and not must_exist:
        return None
    try:
        if file == "-":
            raw = sys.stdin.buffer.read(_FILE_LIMIT + 1)
        else:
            from kb.given import open_plain

            with open_plain(Path(file), f"--answers {file}") as source:
                raw = source.read(_FILE_LIMIT + 1)
    except OSError as trouble:
        expected = "an answers file that can be read, or --complaint to begin one"
        raise BadInput(f"--answers {file}", trouble.strerror, expected) from trouble
    if len(raw) > _FILE_LIMIT:
        raise BadInput(f"--answers {file}", "a larger file", f"at most {_FILE_LIMIT} bytes")
    try:
        data = json.loads(raw.decode("utf-8"))
    except UnicodeDecodeError as trouble:
        raise BadInput(f"--answers {file}", f"byte {trouble.start} is not UTF-8", "JSON in UTF-8") from None
    except json.JSONDecodeError as trouble:
        raise BadInput(f"--answers {file}, line {trouble.lineno}", trouble.msg, "JSON") from None
    except RecursionError:
        raise BadInput(f"--answers {file}", "lists within lists without end", "JSON") from None
    if not isinstance(data, dict):
        raise BadInput(f"--answers {file}", type(data).__name__, "an object with complaint and answers")
    return data


def _state(model: Model, saved: Mapping[str, Any] | None, asked: Mapping[str, Any], place: str) -> State:
    """The saved state with what the options add; what the options say of the path replaces what was saved."""
    from kb.isolate import state_from

    data: dict[str, Any] = dict(saved or {})
    if asked["complaint"]:
        data["complaint"] = asked["complaint"]
    elif saved is None:
        raise BadInput("--complaint", "nothing", f"one of {', '.join(model.complaints)}")
    path = {key: asked[key] for key in ("signal", "items", "input") if asked[key]}
    if path and isinstance(data.get("path", {}), Mapping):
        data["path"] = {**data.get("path", {}), **path}
    state = state_from(model, data, place)
    for fault in asked["mended"]:
        state = state.mended(fault)
    for test, answer in asked["answers"]:
        state = state.answer(test, answer)
    return state.excluding(*asked["without"])


def _pairs(said: tuple[str, ...]) -> list[tuple[str, str]]:
    pairs = []
    for one in said:
        test, equals, answer = one.partition("=")
        if not equals:
            raise BadInput("--answer", one, "TEST=ANSWER, such as red-glow=dark")
        pairs.append((test.strip(), answer.strip()))
    return pairs


def _keeper(file: str | None) -> Callable[[State], None]:
    """Writes the state to the named file in one step; does nothing where no file was named."""
    if file is None:
        return lambda _: None
    place = Path(file)

    def keep(state: State) -> None:
        from kb.isolate import state_to

        part = ""
        try:
            handle, part = tempfile.mkstemp(prefix=f".{place.name}.", dir=place.parent)
            with os.fdopen(handle, "w", encoding="utf-8") as out:
                out.write(_document(state_to(state)))
                out.flush()
                os.fsync(out.fileno())
            Path(part).replace(place)
        except OSError as trouble:
            if part:
                with suppress(OSError):
                    Path(part).unlink()
            raise BookTrouble(f"--answers {file}: could not be written ({trouble.strerror})") from trouble

    return keep


# -- the talk ----------------------------------------------------------------------------------------


def talk(
    state: State, console: Console, read: Callable[[str], str | None], keep: Callable[[State], None]
) -> State:
    """Asks test by test until done or quit; every answer is kept before the next is asked.

    ``read``: prompt -> line, or None at the end of input.
    """
    before: list[State] = []
    shown: State | None = None
    while True:
        if shown is not state:
            show_state(console, state)
            shown = state
        found = state.next_test
        typed = read(_KEYS if found else _KEYS_DONE)
        line = (typed if typed is not None else "q").strip().lower()
        if line in ("q", "quit"):
            return state
        try:
            changed = _undone(state, before) if line in ("u", "undo") else _changed(state, found, line)
        except BadInput:
            expected = ", ".join(found.test.answers) if found else "u, m or q"
            _say(console, f"Saw {ascii_controls(repr(line[:40]))}, expected {expected}.", "yellow")
            continue
        if line not in ("u", "undo"):
            before.append(state)
        state = changed
        keep(state)


def _changed(state: State, found: NextTest | None, line: str) -> State:
    """The state after what was typed; raises BadInput where it means nothing here."""
    if line in ("m", "mended"):
        return state.mended(state.likely[0][0])
    if found is None:
        raise BadInput("answer", line)
    if line in ("s", "skip"):
        return state.excluding(found.test.id)
    choices = list(found.test.answers)
    if line.isascii() and line.isdigit() and 1 <= int(line[:3]) <= len(choices):
        line = choices[int(line[:3]) - 1]
    return state.answer(found.test.id, line)


def _undone(state: State, before: list[State]) -> State:
    return (
        before.pop() if before else state.undo()
    )  # resumed: earlier answers are known, earlier skips are not


def _ask_complaint(console: Console, model: Model) -> str:
    names = list(model.complaints)
    for number, one in enumerate(model.complaints.values(), 1):
        _say(console, f" {number}  {one.says} ({one.id})")
    typed = (_read_line("what is the trouble: ") or "").strip().lower()
    if typed.isascii() and typed.isdigit() and 1 <= int(typed[:3]) <= len(names):
        return names[int(typed[:3]) - 1]
    return typed


def _ask_signal() -> str | None:
    return (
        _read_line("what carries the sound (optical, coaxial, analog-line ..., empty: not known): ") or ""
    ).strip()


def _read_line(prompt: str) -> str | None:
    try:
        return input(prompt)
    except (EOFError, KeyboardInterrupt):
        click.echo()
        return None


def _at_terminal() -> bool:
    return sys.stdin.isatty() and sys.stdout.isatty()


# -- what goes out -----------------------------------------------------------------------------------


def document_of(state: State) -> dict[str, Any]:
    """The keys of the contract, and what else a program may want to know."""
    from kb.isolate import finding_of, says

    found = state.next_test
    return {
        "complaint": state.complaint,
        "likely": [{"fault": fault, "p": p} for fault, p in state.likely],
        "next": _next_of(found) if found else None,
        "done": state.done,
        "settled": state.settled,
        "contradiction": says.contradiction(state) or None,
        "ask": says.ask(state) or None,
        "finding": finding_of(state),
    }


def _next_of(found: NextTest) -> dict[str, Any]:
    return {
        "test": found.test.id,
        "minutes": found.minutes,
        "why": found.why,
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
    from kb.isolate import says

    model = state.model
    head = model.complaints[state.complaint].says
    if state.path.signal:
        head += f", path: {', '.join([state.path.signal.label, *state.path.items])}"
    _say(console, f"\n{head[:1].upper()}{head[1:]}", "bold")
    _show_odds(console, state)
    for warning in (says.contradiction(state), says.ask(state)):
        if warning:
            _say(console, warning, "yellow")
    found = state.next_test
    if found:
        _show_test(console, found)
        return
    fault, _ = state.likely[0]
    _say(console, f"\n{says.verdict(state)}", "bold")
    _say(console, f"Remedy: {says.fault_mend(model, fault)}")
    if says.fault_caution(model, fault):
        _say(console, f"Caution: {says.fault_caution(model, fault)}", "bold yellow")


def _show_odds(console: Console, state: State) -> None:
    from rich.table import Table
    from rich.text import Text

    from kb.isolate import says

    full, empty = _bar_signs(console)
    table = Table.grid(padding=(0, 1))
    table.add_column(no_wrap=True)
    table.add_column(justify="right", no_wrap=True)
    table.add_column(overflow="fold")
    shown = [one for one in state.likely[:_SHOWN] if one[1] >= 0.01]
    for fault, p in shown:
        filled = round(p * _BAR)
        bar = Text(full * filled, "green").append(empty * (_BAR - filled), "dim")
        table.add_row(bar, says.percent(p), Text(says.fault_says(state.model, fault)))
    rest = len(state.likely) - len(shown)
    if rest:
        left = 1.0 - sum(p for _, p in shown)
        table.add_row("", says.percent(max(left, 0.0)), Text(f"all {rest} others together", "dim"))
    console.print(table)


def _show_test(console: Console, found: NextTest) -> None:
    from kb.isolate import says

    test = found.test
    _say(console, f"\nNext: {test.asks}", "bold")
    _say(console, f"({test.id}, {says.minutes(test.minutes)})", "dim")
    _say(console, test.how)
    if test.caution:
        _say(console, f"Caution: {test.caution}", "bold yellow")
    for number, (answer, looks) in enumerate(test.answers.items(), 1):
        _say(console, f" {number}  {looks} ({answer})")
    _say(console, f"Why: {found.why}.", "dim")


def show_list(console: Console, model: Model) -> None:
    """Names of complaints, faults by side, tests and tools."""
    from kb.isolate import Side

    _say(console, "Complaints", "bold")
    _pairs_shown(console, [(one.id, one.says) for one in model.complaints.values()])
    for side in Side:
        faults = [(one.id, one.says) for one in model.faults.values() if one.side is side]
        if faults:
            _say(console, f"\nFaults: {side.label}", "bold")
            _pairs_shown(console, faults)
    _say(console, "\nTests (minutes)", "bold")
    _pairs_shown(console, [(f"{one.id} ({one.minutes:g})", one.asks) for one in model.tests.values()])
    _say(console, "\nTools", "bold")
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


def _say(console: Console, words: str, style: str = "") -> None:
    from rich.text import Text

    console.print(Text(words, style))  # Text: nothing in it is markup


def _bar_signs(console: Console) -> tuple[str, str]:
    return ("█", "░") if console.encoding.lower().startswith("utf") else ("#", ".")


def _document(data: object) -> str:
    return json.dumps(data, ensure_ascii=False, indent=2) + "\n"
