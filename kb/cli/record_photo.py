"""record --photo: read a panel on a photo, and record what the person confirms of it."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from shlex import quote
from typing import TYPE_CHECKING, Any, Final

import click

from kb.base.errors import BadInput
from kb.base.inputfiles import read_bytes
from kb.base.text import visible
from kb.cli.common import Session, agreed, answering, text
from kb.cli.record_dialog import draw, numbers_of
from kb.cli.tables import fitted
from kb.domain import shortform
from kb.domain.visit import finding_from, finding_to, visit_from
from kb.domain.words import Form

if TYPE_CHECKING:
    from collections.abc import Callable

    from kb.domain.visit import Source, Visit
    from kb.read.panel import Difference, PanelDraft, SeenJack

#: The short name of each form that has only one, besides those that say what is printed.
_SHORT: Final = {
    form: names[0] for form in Form if len(names := [one.name for one in form.short if not one.printed]) == 1
}


@dataclass(slots=True)
class Drafted:
    """A jack of the draft, as fields of a visit file, and where its mark is on the photo, if anywhere."""

    fields: dict[str, Any]
    at: tuple[float, float] | None = None
    sure: float = 1.0
    doubts: tuple[str, ...] = ()

    @property
    def name(self) -> str:
        """Its mark, or its form."""
        return str(self.fields.get("marking") or Form(self.fields["form"]).label)


def record_photo(
    session: Session, name: str, common: dict[str, Any], named: Callable[[Visit], Visit], *, asks: bool
) -> tuple[bool, Visit | None]:
    """Read the photo, show what was read, and record what the person confirms.

    Returns whether a mark was read, and what was recorded.

    ``common`` is the visit without its jacks, in the keys of a visit file. ``named`` gives a visit the name
    under which the book knows its set. ``asks``: there is a person who can be asked.
    """
    from kb.read.panel import differences, look
    from kb.read.picture import MOST_BYTES

    source = visit_from({**common, "jacks": []}, "record").source  # first: reading takes its time
    sent, place = read_bytes(name, MOST_BYTES)
    draft = look(sent, str(place), source.kind)
    visits = session.book.visits(source.make, source.model)
    known = [one.jack for one in session.book.panel(visits).jacks] if visits else []
    differs = differences(draft.jacks, known) if known else []
    if session.as_json:
        session.json(_json(draft, differs))
        return bool(draft.jacks), None
    jacks = [_drafted(one) for one in draft.jacks]
    _show(session, jacks)
    for one in differs:
        session.console.print(text(one.said(session.language), "yellow"))
    if not asks:
        if jacks:
            session.say(session.language("cli/record/photo/piped"))
            session.say(_line_of(source, jacks))
        return bool(jacks), None
    confirmed = _asked(session, jacks, differs)
    visit = _recorded(session, sent, common, named, confirmed) if confirmed else None
    if visit is None:
        session.say(session.language("cli/record/nothing"))
    return bool(jacks), visit


# -- showing -------------------------------------------------------------------------------------------


def _drafted(one: SeenJack) -> Drafted:
    return Drafted({"form": one.form.value, "marking": one.marking}, (one.x, one.y), one.sure, one.doubts)


def _show(session: Session, jacks: list[Drafted]) -> None:
    from rich.table import Table

    said, console = session.language, session.console
    if not jacks:
        console.print(text(said("cli/record/photo/none")))
        return
    heads = [said(f"cli/record/photo/column/{name}") for name in ("jack", "read-as", "sure", "why")]
    table = Table("", *heads, box=None, pad_edge=False, header_style="dim")
    for number, one in enumerate(jacks, 1):
        jack = finding_from(one.fields, "jack").jack
        way = ", ".join(said.word(word) for word in (jack.direction, jack.signal) if word)
        why = "; ".join(said(f"read/doubt/{doubt}") for doubt in one.doubts)
        what = f"{said.word(jack.form)} {jack.marking}" if jack.marking else said.word(jack.form)
        sure = ("? " if one.doubts else "") + (f"{one.sure:.0%}" if one.at else "")
        table.add_row(*(text(cell) for cell in (str(number), what, way, sure, why)))
    console.print(fitted(table, console))


def _line_of(source: Source, jacks: list[Drafted]) -> str:
    """The command that records the draft without a photo, to be changed and typed."""
    names = [source.make, source.model]
    for one in jacks:
        form, mark = Form(one.fields["form"]), one.fields.get("marking", "")
        short = _SHORT.get(form, form.value)
        names.append(f"{short}={mark}" if mark else short)
    return "  " + visible(" ".join(["jackfield record", *map(quote, names)]))


def _json(draft: PanelDraft, differs: list[Difference]) -> dict[str, Any]:
    return {
        "photo": {"width": draft.reading.width, "height": draft.reading.height},
        "jacks": [seen_json(one) for one in draft.jacks],
        "differences": [
            {
                "known": {"form": one.known.form, "marking": one.known.marking} if one.known else None,
                "seen": {"form": one.seen.form, "marking": one.seen.marking} if one.seen else None,
            }
            for one in differs
        ],
        "recorded": [],
    }


def seen_json(one: SeenJack) -> dict[str, Any]:
    """A jack of the draft as ``--json`` prints it."""
    return {
        "form": one.form,
        "marking": one.marking,
        "direction": one.direction,
        "signal": one.signal,
        "x": one.x,
        "y": one.y,
        "confidence": one.sure,
        "doubts": list(one.doubts),
    }


# -- asking --------------------------------------------------------------------------------------------


class _Wrong(Exception):
    """What was typed is no answer."""


def _asked(session: Session, jacks: list[Drafted], differs: list[Difference]) -> list[Drafted]:
    """What the person confirms, after each correction; the numbers of the list stay as they are shown."""
    from kb.read.panel import named_jack

    said = session.language
    shown = len(jacks)
    for one in differs:
        if one.seen is None and one.known is not None:
            question = said("cli/record/photo/there", jack=named_jack(one.known, said))
            if agreed(question, False, session.language):
                jacks.append(Drafted({"form": one.known.form.value, "marking": one.known.marking}))
    if len(jacks) > shown:
        _show(session, jacks)
    session.say(said("cli/record/photo/help"))
    while True:
        typed = click.prompt(said("cli/record/photo/which"), err=True, default="", show_default=False).strip()
        try:
            if (done := _answered(session, typed, jacks)) is not None:
                return done
            _show(session, jacks)
        except _Wrong:
            session.say(said("cli/record/photo/wrong", most=len(jacks)))
        except BadInput as mistake:
            session.say(str(mistake))


def _answered(session: Session, typed: str, jacks: list[Drafted]) -> list[Drafted] | None:
    """What is confirmed by these words; None if they changed the list, or were no answer yet."""
    said, words = session.language, typed.casefold().split()
    if words in (["all"], [said("cli/manual/all")]):
        return list(jacks)
    if words in (["none"], ["quit"], ["q"], [said("cli/manual/none")]):
        return []
    if words in (["each"], [said("cli/manual/each")]):
        return [one for number, one in enumerate(jacks, 1) if _is_right(session, number, one)]
    if dropped := re.fullmatch(r"-\s*(\d{1,3})", typed):
        del jacks[_number(dropped[1], len(jacks))]
        return None
    if added := re.fullmatch(r"\+\s*(.+)", typed):
        jacks.append(Drafted(shortform.fields(added[1])))
        return None
    if changed := re.fullmatch(r"(\d{1,3})\s+(\D.*)", typed):
        number = _number(changed[1], len(jacks))
        fields = shortform.fields(changed[2])
        jacks[number] = replace(jacks[number], fields=fields, doubts=(), sure=1.0)
        return None
    if (chosen := numbers_of(typed, len(jacks))) is not None:
        return [jacks[number - 1] for number in chosen]
    raise _Wrong


def _number(typed: str, most: int) -> int:
    if not 1 <= int(typed) <= most:
        raise _Wrong
    return int(typed) - 1


def _is_right(session: Session, number: int, one: Drafted) -> bool:
    said = session.language
    session.say(f"{number}  {said.word(Form(one.fields['form']))} {one.fields.get('marking', '')}")
    return agreed(said("cli/manual/right"), not one.doubts, session.language)


# -- recording -----------------------------------------------------------------------------------------


def _recorded(
    session: Session,
    sent: bytes,
    common: dict[str, Any],
    named: Callable[[Visit], Visit],
    confirmed: list[Drafted],
) -> Visit | None:
    """The visit that was recorded with its photo; None if the person does not want it."""
    from kb.book.photos import Photos, Spot

    said = session.language
    jacks = [finding_to(finding_from(one.fields, f"jack {n}")) for n, one in enumerate(confirmed, 1)]
    visit = visit_from({**common, "jacks": jacks}, "record")
    draw(session, visit)
    if not agreed(said("cli/record/ask/save"), True, session.language):
        return None
    visit = named(visit)
    photos = Photos(session.folder)
    name = photos.keep(sent)
    done = session.book.record([visit])
    spots = [Spot(*one.at, one.name) for one in confirmed if one.at]
    for new in done.recorded:
        photos.attach(new.id, [name])
        photos.point(new.id, name, spots)
    with answering(session, "recorded"):
        for new in done.recorded:
            session.console.print(text(said("cli/recorded", make=new.make, model=new.model)))
    return visit
