"""evidence: show what is expected of a set, and where that comes from."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import click

from kb.cli.command import command
from kb.cli.common import INCHES, Session, Year, text
from kb.cli.tables import FOLDED, RIGHT, fitted, grid
from kb.domain.language import Language
from kb.domain.visit import Source, read_size, read_year
from kb.domain.words import Display, Kind, Speakers

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rich.console import Console
    from rich.text import Text

    from kb.evidence import Expectation, Output


@command("evidence")
@click.argument("make")
@click.argument("model", required=False, default="")
@click.option("--year", type=Year(), metavar="YEAR")
@click.option("--kind", default="television", show_default=True, metavar="KIND")
@click.option("--display", metavar="DISPLAY")
@click.option("--size", "size_in", type=INCHES, metavar="INCHES")
def evidence_command(
    session: Session,
    make: str,
    model: str,
    year: int | None,
    kind: str,
    display: str | None,
    size_in: float | None,
) -> int:
    """
    jackfield evidence Norwell NV40-210
    jackfield evidence Norwell --year 2014
    """
    source = Source(
        make=make,
        model=model,
        kind=Kind.read(kind, "--kind"),
        display=None if display is None else Display.read(display, "--display"),
        year=None if year is None else read_year(year, "--year"),
        size_in=None if size_in is None else read_size(size_in, "--size"),
    )
    from kb.book.naming import note_text
    from kb.evidence.document import as_json

    (found,) = session.book.named([source])
    note = note_text(found, session.language)
    expectation = session.book.expect()(found.source)
    if session.as_json:
        session.json(as_json(expectation) | {"notes": [note] if note else []})
    else:
        if note:
            session.console.print(text(note, "yellow"))
        render_evidence(expectation, session.console, session.language)
    return 0


_PANELS = 6  #: shown
_COLUMNS: Final = ("output", "there", "works", "speakers-on", "tried")


def render_evidence(expectation: Expectation, console: Console, language: Language) -> None:
    """Panels with their chances, what each output does, and from where it comes; fits 80 columns."""
    from kb.pack import expected_text

    source, percent = expectation.source, language.percent
    about = [language.word(source.kind)]
    about += [language.word(source.display)] if source.display else []
    about += [str(source.year) if source.year else language("cli/evidence/year-unknown")]
    title = text(f"{source.make} {source.model}".strip(), "bold")
    console.print(title.append(f"  {', '.join(about)}", "dim"))
    shown = expectation.shapes[:_PANELS]
    rest = sum(one.p for one in expectation.shapes[_PANELS:]) + expectation.other
    panels: list[Sequence[str | Text]] = [(percent(one.p), expected_text(one, language)) for one in shown]
    panels.append((text(percent(rest), "dim"), text(language("cli/evidence/other"), "dim")))
    names = [language(f"cli/evidence/{name}") for name in _COLUMNS]
    outputs: list[Sequence[str | Text]] = [[text(one, "dim") for one in (f"  {names[0]}", *names[1:])]]
    for output in sorted(expectation.speakers, key=lambda o: -_there(expectation, o)):
        there = _there(expectation, output)
        if there < 0.02:
            continue
        works, effects = expectation.works[output], expectation.speakers[output]
        stay = effects[Speakers.STAY_ON] + effects[Speakers.MUTE_UNLESS_SET]
        sure = f"{percent(works.p)} ({100 * works.low:.0f}-{100 * works.high:.0f})"
        findings = str(works.findings) if works.findings else "-"
        outputs.append((f"  {_label(output, language)}", percent(there), sure, percent(stay), findings))
    levels: list[Sequence[str | Text]] = [
        ("", *(text(language(f"cli/evidence/{name}"), "dim") for name in ("visits", "sets", "weight")))
    ]
    for level in expectation.levels:
        name = language(f"cli/evidence/level/{level.level}")
        levels.append((f"  {name}", str(level.visits), str(level.sets), percent(level.share)))
    practice = language("cli/evidence/level/practice")
    levels.append((f"  {practice}", "", "", percent(expectation.prior_share)))
    for key, table in (
        ("expected", grid(panels, RIGHT | {"min_width": 10}, FOLDED)),
        ("outputs", grid(outputs, {}, RIGHT)),
        ("from", grid(levels, {}, RIGHT)),
    ):
        console.print()
        console.print(text(language(f"cli/evidence/{key}"), "bold"))
        console.print(fitted(table, console))


def _label(output: Output, language: Language) -> str:
    """``optical (TOSLINK)``, ``HDMI ARC``, ``single RCA, coaxial digital``: nothing is said twice."""
    form, signal = language.word(output.form), language.word(output.signal)
    if output.form.always:
        return form
    return signal if form in signal else language("cli/evidence/of-signal", form=form, signal=signal)


def _there(expectation: Expectation, output: Any) -> float:
    return sum(one.p for one in expectation.shapes if output in one.outputs)
