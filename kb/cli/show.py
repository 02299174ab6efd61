"""show: show what is known of one set."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Any

import click

from kb.base.errors import NotFound
from kb.cli.command import command
from kb.cli.common import Output, Session, text
from kb.cli.panel_view import noted_json, panel_table, source_title
from kb.cli.tables import FOLDED, RIGHT, WHOLE, grid
from kb.domain.language import Language
from kb.domain.panel import Panel, PanelJack
from kb.domain.visit import Visit, in_future, visit_to
from kb.domain.words import Form
from kb.settings import MANUALS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rich.table import Table
    from rich.text import Text

    from kb.book import SetView
    from kb.domain.chance import Chance
    from kb.read.shelf import Cited


@command("show")
@click.argument("make")
@click.argument("model", required=False)
@click.option("--svg", metavar="FILE", type=Output("SVG"))
def show_command(session: Session, make: str, model: str | None, svg: str | None) -> int:
    """
    jackfield show Norwell NV40-210
    jackfield show nv40-210 --svg panel.svg
    """
    try:
        known = session.book.view(make, model)
    except NotFound as nobody:
        if session.as_json:
            session.json({"source": None, "panel": [], "conflicts": 0, "visits": []})
        raise nobody
    if svg is not None:
        _write_picture(svg, session, known)
    if any(in_future(visit.date) for visit in known.visits):
        from kb.exchange.doctor import ahead

        for warning in ahead(known.visits):
            session.say(warning.in_language(session.language.code))
    chance = session.book.chance(known.source)
    works = [chance(one) if one.jack.usable else None for one in known.panel.jacks]
    cited = _cited(session, known)
    if session.as_json:
        source = known.source
        session.json(
            {
                "source": {
                    "make": source.make,
                    "model": source.model,
                    "kind": source.kind.value,
                    "display": source.display.value if source.display else None,
                    "year": source.year,
                    "size_in": source.size_in,
                },
                "panel": [
                    jack_json(one) | {"works": _works_json(p)}
                    for one, p in zip(known.panel.jacks, works, strict=True)
                ],
                "conflicts": known.panel.conflicts,
                "visits": [visit_to(visit) for visit in known.visits],
                "cited": [{**asdict(one), "says": dict(one.says)} for one in cited],
            }
        )
        return 0
    out, said = session.console, session.language
    out.print(source_title(known.source, said))
    out.print()
    out.print(_panel(known.panel, works, said))
    out.print()
    if any(one.settings or one.notes for one in known.panel.jacks):
        out.print(_remarks(known.panel, said))
        out.print()
    out.print(_visits(known.visits, said))
    if cited:
        out.print()
    lines: dict[tuple[str, int, str], list[str]] = {}
    for one in cited:
        form = said.word(Form(one.form)) if one.form in list(Form) else ""
        what = one.marking if one.marking.startswith(form) else f"{form} {one.marking}"
        lines.setdefault((one.manual, one.page, one.line), []).append(what)
    for (manual, page, line), about in lines.items():
        place = said("cli/manual/from", name=manual, page=page, line=line)
        out.print(text(f"{', '.join(dict.fromkeys(about))}: {place}", "dim"), soft_wrap=False)
    return 0


def _cited(session: Session, known: SetView) -> list[Cited]:
    """The pages of manuals from which findings of this set came."""
    if not (session.folder / MANUALS).is_dir():
        return []
    from kb.read.shelf import Shelf

    return Shelf(session.folder).cited(visit.id for visit in known.visits)


def _write_picture(file: str, session: Session, known: SetView) -> None:
    from kb.cli.outputfile import write_out
    from kb.sheet.drawing import panel_picture
    from kb.sheet.layout import panel_rows

    title = f"{known.source.make} {known.source.model}"
    write_out(file, f"{panel_picture(title, panel_rows(known.panel))}\n", "--svg")


def _works_json(chance: Chance | None) -> dict[str, float] | None:
    """How likely the jack carries sound, with the interval that holds it with 90%."""
    return chance and {
        "p": round(chance.p, 4),
        "low": round(chance.low, 4),
        "high": round(chance.high, 4),
    }


def jack_json(one: PanelJack) -> dict[str, Any]:
    """A jack of the reconciled panel as ``--json`` prints it (README, "For programs")."""
    jack = one.jack
    return {
        "form": jack.form.value,
        "marking": jack.marking,
        "colour": jack.colour.value if jack.colour else None,
        "direction": jack.direction.value,
        "signal": jack.signal.value if jack.signal else None,
        "level": jack.level.value,
        "format": jack.format.value,
        "speakers": one.speakers.value,
        "taken": one.taken,
        "taken_seen": one.taken_seen,
        "findings": one.findings,
        "conflicts": one.conflicts,
        "disputes": [
            {"field": d.field, "said": [{"value": value, "findings": count} for value, count in d.said]}
            for d in one.disputes
        ],
        "outcomes": {outcome.value: count for outcome, count in one.outcomes},
        "settings": list(one.settings),
        "notes": [note.text for note in one.notes],
        "noted": [noted_json(note) for note in one.notes],
        "items": list(one.items),
    }


def _panel(panel: Panel, works: Sequence[Chance | None], language: Language) -> Table | Text:
    if not works:
        return text(language("sheet/drawing/panel-empty"), "dim")
    return panel_table(panel, language, works=works)


def _remarks(panel: Panel, language: Language) -> Table:
    """Settings and notes of the jacks, the newest first."""
    rows = (
        (str(number), language(f"cli/show/{kind}"), line.replace("\n", " "))
        for number, one in enumerate(panel.jacks, 1)
        for kind, said in (("setting", one.settings), ("note", [note.signed for note in one.notes]))
        for line in said
    )
    return grid(rows, RIGHT | {"style": "dim"}, WHOLE | {"style": "dim"}, FOLDED)


def _visits(visits: tuple[Visit, ...], language: Language) -> Table:
    def said(visit: Visit) -> str:
        kept = [language("cli/show/readings")] * bool(visit.readings)
        kept += [language("cli/show/case")] * bool(visit.case)
        return "; ".join([*([visit.note.replace("\n", " ")] if visit.note else []), *kept])

    rows = (
        (visit.date.isoformat(), visit.by, language.word(visit.basis), said(visit))
        for visit in sorted(visits, key=lambda v: (v.date, v.id), reverse=True)
    )
    return grid(rows, WHOLE, WHOLE, WHOLE | {"style": "dim"}, FOLDED)
