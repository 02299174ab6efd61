"""path: show how the sound of this set gets into the loop driver."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from kb.base.errors import NotFound
from kb.base.text import cells
from kb.cli.command import command
from kb.cli.common import Output, Session, text
from kb.cli.job_option import job_option
from kb.cli.path_options import Asked, for_path, path_options
from kb.cli.tables import FOLDED, RIGHT, grid
from kb.domain.language import Language
from kb.domain.words import Level, Signal, Speakers

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    from kb.domain.panel import Panel
    from kb.domain.visit import Source
    from kb.path import Connection, Path, RuledOut


@command("path")
@path_options
@job_option
@click.option("--svg", metavar="FILE", type=Output("SVG"))
def path_command(session: Session, asked: Asked, job_ref: str | None, svg: str | None) -> int:
    """
    jackfield path Norwell NV40-210
    jackfield path Norwell NV40-210 --inputs line-3.5,optical --length 4
    jackfield path --panel visit.json --speakers-free
    jackfield path --job J-12
    """
    asked, _ = for_path(session, asked, job_ref)
    try:
        known = asked.view(session, "path")
    except NotFound as nobody:
        if session.as_json:
            session.json(
                {
                    "chosen": None,
                    "others": [],
                    "ruled_out": [],
                    "dac": {"needed": False, "why": nobody.in_language(session.language.code)},
                    "ask": [],
                    "noted": [],
                }
            )
        raise nobody
    source, panel = known.source, known.panel
    connection = asked.connect(session, known, asked.metres(session))
    if svg is not None:
        write_picture(svg, session, source, panel, connection)
    if session.as_json:
        from kb.cli.panel_view import noted_json
        from kb.path import noted, to_json

        notes = [{"jack": index} | noted_json(note) for index, note in noted(panel, connection)]
        session.json(to_json(connection, session.language) | {"noted": notes})
    else:
        for note in asked.assumed_driver(session):
            session.console.print(text(note, "yellow"))
        show(session.console, source, panel, connection, session.language)
    return 0 if connection.chosen else 1


def write_picture(file: str, session: Session, source: Source, panel: Panel, connection: Connection) -> None:
    """Panel and chain as an SVG file."""
    from kb.cli.outputfile import write_out
    from kb.sheet.drawing import path_picture
    from kb.sheet.layout import chain_links, panel_rows

    chosen = connection.chosen
    said = session.language
    links = chain_links(chosen, panel, said) if chosen else ()
    rows = panel_rows(panel, chosen.jacks if chosen else (), said)
    write_out(file, f"{path_picture(f'{source.make} {source.model}', rows, links, said)}\n", "--svg")


# -- how the answer looks -----------------------------------------------------------------------------


def show(console: Console, source: Source, panel: Panel, connection: Connection, language: Language) -> None:
    """The answer for a person behind the set: the chain, then converter and speakers, then the rest."""
    from kb.catalogue import item_name
    from kb.cli.panel_view import source_title
    from kb.path import noted, sentence

    console.print(source_title(source, language))
    console.print()
    chosen = connection.chosen
    if chosen is None:
        console.print(text(f"  {language('cli/path/no-path')}", "bold red"))
        if not panel.jacks:
            console.print(text(f"  {language('cli/path/no-jack')}", "dim"))
    else:
        console.print(arrows(chosen, panel, console.width, language))
    console.print()
    if chosen is not None:
        converter = connection.converter
        needed = item_name(converter, language) if converter else language("cli/path/no-converter")
        verdicts = [
            (language("path/answer/converter"), needed, sentence(connection.dac, language)),
            (language("cli/path/speakers"), *_speakers(chosen, language)),
            (language("cli/path/level"), _level(chosen, language), ""),
            (language("path/answer/works"), language.percent(chosen.p_works), _evidence(chosen, language)),
        ]
        if chosen.delay_ms >= _LATE_MS:
            delay = language("cli/path/delay-of", delay=f"{chosen.delay_ms:.0f}")
            verdicts.append((language("cli/path/delay"), delay, language("cli/path/listen")))
        console.print(_verdicts(verdicts))
        steps = [sentence(step, language) for step in chosen.steps]
        _listed(console, language("path/answer/steps"), steps, numbered=True)
        cautions = [sentence(caution, language) for caution in chosen.cautions]
        _listed(console, language("path/answer/cautions"), cautions)
    notes = [f"{_jack(panel, index, language)}: {note.signed}" for index, note in noted(panel, connection)]
    _listed(console, language("path/answer/noted"), notes)
    questions = [sentence(question, language) for question in connection.ask]
    _listed(console, language("cli/path/ask"), questions)
    if connection.others:
        console.print()
        console.print(text(language("path/answer/others"), "bold"))
        for other in connection.others:
            console.print(arrows(other, panel, console.width, language, style=""))
    _listed(console, language("path/answer/not-used"), _together(connection.ruled_out, language))


def _jack(panel: Panel, index: int, language: Language) -> str:
    return panel.jacks[index].jack.marking or language("place/jack", number=index + 1)


def _together(ruled_out: Sequence[RuledOut], language: Language) -> list[str]:
    """``HDMI 1, HDMI 2: ...``: jacks that are out for the same reason in one line."""
    from kb.path import together

    lines = []
    for jacks, why in together(ruled_out, language):
        names = ", ".join(one.marking or language("place/jack", number=one.jack + 1) for one in jacks)
        lines.append(f"{names}: {why}")
    return lines


def arrows(path: Path, panel: Panel, width: int, language: Language, style: str = "bold") -> Text:
    """The chain from jack to driver in one line; broken before an arrow where the line is full."""
    from rich.text import Text

    from kb.path import chain

    first, *rest = chain(path, panel, language)
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


def _level(path: Path, language: Language) -> str:
    key: str = path.level
    if path.signal is Signal.HEADPHONE and path.level is Level.VARIABLE:
        key = "headphone"
    elif path.signal in (Signal.OPTICAL, Signal.COAXIAL) and path.level is Level.UNKNOWN:
        key = "digital"
    return _disputed(language(f"cli/path/level/{key}"), path, "level", language)


def _speakers(path: Path, language: Language) -> tuple[str, str]:
    if "speakers" in path.disputed and path.speakers is not Speakers.STAY_ON:
        return language("cli/path/speakers/disputed"), language("cli/path/speakers-why/unknown")
    said = language(f"cli/path/speakers/{path.speakers}")
    why = f"cli/path/speakers-why/{path.speakers}"
    return _disputed(said, path, "speakers", language), language(why) if language.has(why) else ""


def _disputed(said: str, path: Path, field: str, language: Language) -> str:
    return language("cli/path/disputed", said=said) if field in path.disputed else said


def _evidence(path: Path, language: Language) -> str:
    if not path.trials:
        return language("path/answer/not-tried")
    return language("path/answer/tried", count=path.trials)


def _verdicts(verdicts: list[tuple[str, str, str]]) -> Table:
    rows = (
        (f"  {name}", text(answer, "bold").append(f"  {why}" if why else "", "not bold"))
        for name, answer, why in verdicts
    )
    return grid(rows, {"style": "dim", "min_width": 11}, FOLDED)


def _listed(console: Console, title: str, sentences: list[str], *, numbered: bool = False) -> None:
    if not sentences:
        return
    console.print()
    console.print(text(title, "bold"))
    rows = ((f"{number}." if numbered else "·", one) for number, one in enumerate(sentences, 1))
    console.print(grid(rows, RIGHT | {"min_width": 4}, FOLDED, gap=1))
