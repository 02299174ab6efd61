"""Draw a panel in the terminal."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from typing import TYPE_CHECKING

from rich.table import Table
from rich.text import Text

from kb.cli.common import text
from kb.domain import marking
from kb.domain.language import Language
from kb.domain.words import Direction
from kb.sheet.layout import facts_of_set, panel_rows

if TYPE_CHECKING:
    from kb.domain.chance import Chance
    from kb.domain.panel import Note, Panel
    from kb.domain.visit import Source, Visit

_WAY = {
    Direction.OUTPUT: ("▶", "bold green"),
    Direction.INPUT: ("◀", "dim"),
    Direction.UNCLEAR: ("?", "yellow"),
}


def source_title(source: Source, language: Language) -> Text:
    """``Norwell NV40-210  television, flat, 2014, 40 in``."""
    title = text(f"{source.make} {source.model}", "bold")
    return title.append(f"  {', '.join(facts_of_set(source, language))}", "not bold dim")


def panel_table(
    panel: Panel,
    language: Language,
    used: Collection[int] = (),
    works: Sequence[Chance | None] | None = None,
) -> Table:
    """The panel, a jack a line; ``used`` marks the jacks that the path starts from, ``works`` tells for each
    output how likely it carries sound."""
    table = Table.grid(padding=(0, 2), expand=False)
    table.add_column(justify="right", style="dim")
    table.add_column(no_wrap=True)
    table.add_column(no_wrap=True)
    table.add_column(ratio=2, max_width=28, overflow="fold")
    table.add_column(ratio=3, overflow="fold")
    for row in panel_rows(panel, used, language):
        sign, style = _WAY[row.way]
        word = f"{sign} {language(f'sheet/way/{row.way}')}"
        mark = (
            text(row.marking, "bold") if row.marking else Text(language("sheet/drawing/no-mark"), style="dim")
        )
        if row.used:
            mark.append(f"  ← {language('cli/panel/this-one')}", "bold green")
        table.add_row(
            str(row.number),
            Text(word, style=style if row.sounds else "dim"),
            row.form.sign,
            mark,
            Text("; ".join([*row.facts, *_works(works[row.number - 1] if works else None, language)])),
        )
    return table


def _works(chance: Chance | None, language: Language) -> Iterator[str]:
    if chance is not None:
        p, low, high = (f"{one:.0%}" for one in (chance.p, chance.low, chance.high))
        yield language("cli/panel/works", p=p, low=low, high=high)


def noted_json(note: Note) -> dict[str, str]:
    """A note of a jack as ``--json`` prints it, with whose and when."""
    return {"text": note.text, "by": note.by, "date": note.date.isoformat()}


def inferred_lines(visit: Visit, language: Language, only: int | None = None) -> Iterator[Text]:
    """What the panel reader inferred, and how it knows; of all jacks, or of the one numbered ``only``."""
    for number, finding in enumerate(visit.findings, 1):
        jack = finding.jack
        read = marking.against(jack.form, jack.marking, jack.colour, jack.direction, jack.signal)
        if only not in (None, number):
            continue
        if read and "direction" not in finding.inferred:
            signal = jack.signal if "signal" in finding.inferred else None
            kept = language(
                "cli/panel/kept",
                number=number,
                marking=jack.marking,
                direction=jack.direction,
                signal=language("cli/panel/kept/signal", signal=signal) if signal else "",
                read=read.direction,
                why=read.why(language),
            )
            yield text(kept, "yellow")
            continue
        if not finding.inferred:
            continue
        words = [language.word(jack.direction), *([language.word(jack.signal)] if jack.signal else [])]
        inferred = language(
            "cli/panel/inferred",
            number=number,
            marking=jack.marking or language.word(jack.form),
            said=", ".join(words),
            why=finding.why(language),
        )
        yield text(inferred, "dim")
