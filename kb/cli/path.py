"""path: show how the sound of this set gets into the loop driver."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from kb.base.errors import BadInput, NotFound, described
from kb.base.text import cells, percent
from kb.cli.common import OUTPUT, Session, command_options, text
from kb.cli.path_options import Asked, path_options
from kb.domain.words import Level, Signal, Speakers

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    from kb.domain.panel import Panel
    from kb.domain.visit import Source
    from kb.path import Connection, Path, RuledOut


@click.command("path")
@path_options
@click.option("--svg", metavar="FILE", type=OUTPUT, help="Draw panel and chain as a picture, too.")
@command_options
def path_command(session: Session, asked: Asked, svg: str | None) -> int:
    """Say how to connect a set to the loop driver.

    \b
    jackfield path Norwell NV40-210
    jackfield path Norwell NV40-210 --inputs line-3.5,optical --length 4
    jackfield path --panel visit.json --speakers-free
    """
    try:
        known = asked.view(session, "path")
    except NotFound as nobody:
        if session.as_json:
            session.json(
                {
                    "chosen": None,
                    "others": [],
                    "ruled_out": [],
                    "dac": {"needed": False, "why": str(nobody)},
                    "ask": [],
                }
            )
        raise nobody
    source, panel = known.source, known.panel
    connection = asked.connect(session, known, asked.metres(session))
    if svg is not None:
        write_picture(svg, session, source, panel, connection)
    if session.as_json:
        from kb.path import to_json

        session.json(to_json(connection))
    else:
        show(session.console, source, panel, connection)
    return 0 if connection.chosen else 1


def write_picture(file: str, session: Session, source: Source, panel: Panel, connection: Connection) -> None:
    """Panel and chain as an SVG file."""
    from kb.cli.outputfile import write_out
    from kb.domain.language import language
    from kb.settings import Units
    from kb.sheet.drawing import path_picture
    from kb.sheet.layout import chain_links, panel_rows

    chosen = connection.chosen
    said = language(feet=session.settings.units is Units.FEET)
    links = chain_links(chosen, panel, said) if chosen else ()
    rows = panel_rows(panel, chosen.jacks if chosen else (), said)
    if session.as_json and file == "-":
        raise BadInput("--svg", described("- with --json"), "a file")
    write_out(file, f"{path_picture(f'{source.make} {source.model}', rows, links, said)}\n", "--svg")


# -- how the answer looks -----------------------------------------------------------------------------


def show(console: Console, source: Source, panel: Panel, connection: Connection) -> None:
    """The answer for somebody behind the set: the chain, then converter and speakers, then the rest."""
    from kb.cli.panel_view import source_title
    from kb.path import sentence

    console.print(source_title(source))
    console.print()
    chosen = connection.chosen
    if chosen is None:
        console.print(text("  NO PATH", "bold red"))
        if not panel.jacks:
            said = "  No jack of it is recorded yet; `jackfield evidence` tells what to expect."
            console.print(text(said, "dim"))
    else:
        console.print(arrows(chosen, panel, console.width))
    console.print()
    if chosen is not None:
        verdicts = [
            ("Converter", connection.converter or "none", sentence(connection.dac)),
            ("Speakers", *_speakers(chosen)),
            ("Level", _level(chosen) + _disputed(chosen, "level"), ""),
            ("Works", percent(chosen.p_works), _evidence(chosen)),
        ]
        if chosen.delay_ms >= _LATE_MS:
            verdicts.append(("Delay", f"{chosen.delay_ms:.0f} ms", "listen for an echo"))
        console.print(_verdicts(verdicts))
        _listed(console, "Do this", [sentence(step) for step in chosen.steps], numbered=True)
        _listed(console, "Mind", [sentence(caution) for caution in chosen.cautions])
    _listed(console, "Ask", [sentence(question) for question in connection.ask])
    if connection.others:
        console.print()
        console.print(text("Other ways", "bold"))
        for other in connection.others:
            console.print(arrows(other, panel, console.width, style=""))
    _listed(
        console,
        "Not used",
        _together(connection.ruled_out),
    )


def _together(ruled_out: Sequence[RuledOut]) -> list[str]:
    """``HDMI 1, HDMI 2: ...``: jacks that are out for the same reason in one line."""
    from kb.path import of_several, sentence

    alike: dict[str, list[RuledOut]] = {}
    for one in ruled_out:
        alike.setdefault(sentence(one), []).append(one)
    lines = []
    for why, jacks in alike.items():
        names = ", ".join(one.marking or f"jack {one.jack + 1}" for one in jacks)
        lines.append(f"{names}: {sentence(of_several(jacks[0])) if len(jacks) > 1 else why}")
    return lines


def arrows(path: Path, panel: Panel, width: int, style: str = "bold") -> Text:
    """The chain from jack to driver in one line; broken before an arrow where the line is full."""
    from rich.text import Text

    from kb.path import chain

    first, *rest = chain(path, panel)
    line = Text("  ").append_text(text(first, f"{style} green".strip()))
    used = 2 + cells(first)
    for part in rest:
        if used + cells(part) + 3 > width - 1:
            line.append("\n    ")
            used = 4
        line.append(" → ", "dim").append_text(text(part, style))
        used += cells(part) + 3
    return line


#: From here on a delay is worth a line of its own: sound and its echo are heard apart (Wallach 1949).
_LATE_MS = 40

_LEVELS = {
    Level.FIXED: "fixed",
    Level.VARIABLE: "follows the remote control",
    Level.SELECTABLE: "fixed or variable, by a menu item",
    Level.UNKNOWN: "not known whether it follows the remote control",
}


def _level(path: Path) -> str:
    if path.signal is Signal.HEADPHONE and path.level is Level.VARIABLE:
        return "follows the headphone volume"
    return _LEVELS[path.level]


def _speakers(path: Path) -> tuple[str, str]:
    answer, why = {
        Speakers.STAY_ON: ("stay on", ""),
        Speakers.MUTE: ("GO SILENT", "while this is plugged in"),
        Speakers.MUTE_UNLESS_SET: ("stay on by a menu item", "silent until it is set"),
        Speakers.UNKNOWN: ("not known", "listen when you plug in"),
    }[path.speakers]
    return answer + _disputed(path, "speakers"), why


def _disputed(path: Path, field: str) -> str:
    return "; visits disagree" if field in path.disputed else ""


def _evidence(path: Path) -> str:
    if not path.trials:
        return "not tried on this set yet; others like it"
    return f"tried {path.trials} time{'s' if path.trials != 1 else ''} on this set"


def _verdicts(verdicts: list[tuple[str, str, str]]) -> Table:
    from rich.table import Table

    table = Table.grid(padding=(0, 2))
    table.add_column(style="dim", min_width=11)
    table.add_column(overflow="fold")
    for name, answer, why in verdicts:
        said = text(answer, "bold").append(f"  {why}" if why else "", "not bold")
        table.add_row(f"  {name}", said)
    return table


def _listed(console: Console, title: str, sentences: list[str], *, numbered: bool = False) -> None:
    if not sentences:
        return
    from rich.table import Table

    console.print()
    console.print(text(title, "bold"))
    table = Table.grid(padding=(0, 1))
    table.add_column(justify="right", min_width=4)
    table.add_column(overflow="fold")
    for number, one in enumerate(sentences, 1):
        table.add_row(f"{number}." if numbered else "·", text(one))
    console.print(table)
