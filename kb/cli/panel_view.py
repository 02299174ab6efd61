"""Draw a panel in the terminal."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from typing import TYPE_CHECKING

from rich.table import Table
from rich.text import Text

from kb.cli.common import text
from kb.domain import marking
from kb.domain.words import Direction
from kb.sheet.layout import panel_rows

if TYPE_CHECKING:
    from kb.domain.panel import Panel
    from kb.domain.visit import Source, Visit
    from kb.path import Chance

_WAY = {
    Direction.OUTPUT: ("▶ out", "bold green"),
    Direction.INPUT: ("◀ in", "dim"),
    Direction.UNCLEAR: ("? unclear", "yellow"),
}


def source_title(source: Source) -> Text:
    """``Norwell NV40-210  television, flat, 2014, 40 in``."""
    facts = [source.kind.label]
    facts += [source.display.label] if source.display else []
    facts += [str(source.year)] if source.year else []
    facts += [f"{source.size_in:g} in"] if source.size_in else []
    title = text(f"{source.make} {source.model}", "bold")
    return title.append(f"  {', '.join(facts)}", "not bold dim")


def panel_table(
    panel: Panel, used: Collection[int] = (), works: Sequence[Chance | None] | None = None
) -> Table:
    """The panel, a jack a line; ``used`` marks the jacks that the path starts from, ``works`` tells for each
    output how likely it carries sound."""
    table = Table.grid(padding=(0, 2), expand=False)
    table.add_column(justify="right", style="dim")
    table.add_column(no_wrap=True)
    table.add_column(no_wrap=True)
    table.add_column(ratio=2, max_width=28, overflow="fold")
    table.add_column(ratio=3, overflow="fold")
    for row in panel_rows(panel, used):
        word, style = _WAY[row.way]
        mark = text(row.marking, "bold") if row.marking else Text("(no mark)", style="dim")
        if row.used:
            mark.append("  ← this one", "bold green")
        table.add_row(
            str(row.number),
            Text(word, style=style if row.sounds else "dim"),
            row.form.sign,
            mark,
            Text("; ".join([*row.facts, *_works(works[row.number - 1] if works else None)])),
        )
    return table


def _works(chance: Chance | None) -> Iterator[str]:
    if chance is not None:
        yield f"works {chance.p:.0%} ({chance.low:.0%} to {chance.high:.0%})"


def inferred_lines(visit: Visit, only: int | None = None) -> Iterator[Text]:
    """What the panel reader inferred, and how it knows; of all jacks, or of the one numbered ``only``."""
    for number, finding in enumerate(visit.findings, 1):
        jack = finding.jack
        read = marking.against(jack.form, jack.marking, jack.colour, jack.direction)
        if read and only in (None, number) and "direction" not in finding.inferred:
            said = f"{jack.direction.label} as you say, though the mark reads as {read.direction.label}"
            yield text(f"jack {number} {jack.marking}: kept as {said} ({read.why})", "yellow")
        if not finding.inferred or only not in (None, number):
            continue
        said = jack.direction.label + (f", {jack.signal.label}" if jack.signal else "")
        yield text(f"jack {number} {jack.marking or jack.form.label}: read as {said} ({finding.why})", "dim")
