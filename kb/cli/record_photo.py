"""record --photo: read a panel on a photo, and record what the person confirms of it."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import click

from kb.base.errors import BadInput, BookTrouble
from kb.base.inputfiles import read_bytes
from kb.base.messages import Said
from kb.cli.common import Session, agreed, answering, text
from kb.cli.found import hints_json
from kb.cli.record_dialog import chosen, draw, line_of, typed_again
from kb.cli.tables import fitted
from kb.domain import shortform
from kb.domain.panel import reconcile
from kb.domain.visit import finding_from, finding_to, visit_from
from kb.domain.words import Form

if TYPE_CHECKING:
    from collections.abc import Callable

    from kb.domain.language import Language
    from kb.domain.visit import Visit
    from kb.read.panel import Difference, PanelDraft, SeenJack


@dataclass(slots=True)
class Drafted:
    """A jack of the draft, as fields of a visit file, and where its mark is on the photo, if anywhere."""

    fields: dict[str, Any]
    at: tuple[float, float] | None = None
    sure: float = 1.0
    doubts: tuple[str, ...] = ()

    def name(self, language: Language) -> str:
        """Its mark, or its form."""
        return str(self.fields.get("marking") or language.word(Form(self.fields["form"])))


def record_photo(
    session: Session,
    name: str,
    common: dict[str, Any],
    named: Callable[[Visit], Visit],
    recorded: Callable[[Visit], None],
    *,
    asks: bool,
) -> tuple[bool, Visit | None]:
    """Read the photo, show what was read, and record what the person confirms.

    Returns whether a mark was read, and what was recorded.

    ``common`` is the visit without its jacks, in the keys of a visit file. ``named`` gives a visit the name
    under which the book knows its set, ``recorded`` is called with the visit when it is in the book.
    ``asks``: there is a person who can be asked. Raises BookTrouble, too, if the visit was recorded and
    acknowledged but its photo could not be kept.
    """
    from kb.read.limits import PHOTO_BYTES
    from kb.read.panel import differences, look

    source = visit_from({**common, "jacks": []}, "record").source  # first: reading takes its time
    sent, place = read_bytes(name, PHOTO_BYTES)
    draft = look(sent, place, source.kind)
    visits = session.book.visits(source.make, source.model)
    known = [one.jack for one in reconcile(visits).jacks] if visits else []
    differs = differences(draft.jacks, known) if known else []
    if session.as_json:
        session.json(_json(session.language, draft, differs))
        return bool(draft.jacks), None
    jacks = [
        Drafted({"form": one.form.value, "marking": one.marking}, (one.x, one.y), one.sure, one.doubts)
        for one in draft.jacks
    ]
    _show(session, jacks)
    for flaw in draft.flaws:
        session.console.print(text(session.language(f"read/photo/{flaw}"), "yellow"))
    for one in differs:
        session.console.print(text(one.said(session.language), "yellow"))
    data = {**common, "jacks": [one.fields for one in jacks]}
    if not asks:
        if jacks:
            session.say(session.language("cli/record/photo/piped"))
            session.say(line_of(session, data))
        return bool(jacks), None
    with typed_again(session, data):
        confirmed, seen = _asked(session, data, jacks, differs)
        visit = _confirmed(session, named, seen) if confirmed else None
    if visit is None:
        session.say(session.language("cli/record/nothing"))
    else:
        _record(session, visit, recorded, draft.picture, confirmed)
    return bool(draft.jacks), visit


# -- showing -------------------------------------------------------------------------------------------


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


def _json(said: Language, draft: PanelDraft, differs: list[Difference]) -> dict[str, Any]:
    return {
        "photo": {"width": draft.reading.width, "height": draft.reading.height},
        "hints": hints_json(draft.flaws, said),
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


def _asked(
    session: Session, data: dict[str, Any], jacks: list[Drafted], differs: list[Difference]
) -> tuple[list[Drafted], Visit]:
    """What the person confirms, after each correction, and the visit of it; ``data`` holds its fields.

    The numbers of the list stay as they are shown.
    """
    from kb.read.panel import named_jack

    said = session.language
    shown = len(jacks)
    for one in differs:
        if one.seen is None and one.known is not None:
            question = said("cli/record/photo/there", jack=named_jack(one.known, said))
            if agreed(question, False, session.language):
                jacks.append(Drafted({"form": one.known.form.value, "marking": one.known.marking}))
    if len(jacks) > shown:
        data["jacks"] = [one.fields for one in jacks]
        _show(session, jacks)
    session.say(said("cli/record/photo/help"))
    while True:
        typed = click.prompt(said("cli/record/photo/which"), err=True, default="", show_default=False).strip()
        try:
            right = _right(session, typed, jacks)
            held = _changed(typed, jacks) if right is None else right
            visit = _visit_of(data, held)
            data["jacks"] = [one.fields for one in held]
            if right is not None:
                return right, visit
            jacks = held
            _show(session, jacks)
        except _Wrong:
            session.say(said("cli/record/photo/wrong", most=len(jacks)))
        except BadInput as mistake:
            session.say(mistake)


def _right(session: Session, typed: str, jacks: list[Drafted]) -> list[Drafted] | None:
    """What is confirmed by these words; None if they are about the list."""
    which = chosen(typed, len(jacks), session.language)
    if which in ("all", "each"):
        asked = [which == "each" or bool(one.doubts) for one in jacks]
        return [
            one
            for number, one in enumerate(jacks, 1)
            if not asked[number - 1] or _is_right(session, number, one)
        ]
    return [jacks[number - 1] for number in which] if isinstance(which, list) else None


def _changed(typed: str, jacks: list[Drafted]) -> list[Drafted]:
    """The list after a correction. Raises BadInput if it is no jack in short form, _Wrong."""
    if dropped := re.fullmatch(r"-\s*(\d{1,3})", typed):
        number = _number(dropped[1], len(jacks))
        return [*jacks[:number], *jacks[number + 1 :]]
    if added := re.fullmatch(r"\+\s*(.+)", typed):
        return [*jacks, Drafted(shortform.fields(added[1]))]
    if changed := re.fullmatch(r"(\d{1,3})\s+(\D.*)", typed):
        number = _number(changed[1], len(jacks))
        new = replace(jacks[number], fields=shortform.fields(changed[2]), doubts=(), sure=1.0)
        return [*jacks[:number], new, *jacks[number + 1 :]]
    raise _Wrong


def _visit_of(data: dict[str, Any], jacks: list[Drafted]) -> Visit:
    """The visit of these jacks; raises BadInput if there is none."""
    findings = [
        finding_to(finding_from(one.fields, Said("place/jack", number=n))) for n, one in enumerate(jacks, 1)
    ]
    return visit_from({**data, "jacks": findings}, "record")


def _number(typed: str, most: int) -> int:
    if not 1 <= int(typed) <= most:
        raise _Wrong
    return int(typed) - 1


def _is_right(session: Session, number: int, one: Drafted) -> bool:
    said = session.language
    session.say(f"{number}  {said.word(Form(one.fields['form']))} {one.fields.get('marking', '')}")
    return agreed(said("cli/manual/right"), not one.doubts, session.language)


# -- recording -----------------------------------------------------------------------------------------


def _confirmed(session: Session, named: Callable[[Visit], Visit], visit: Visit) -> Visit | None:
    """The visit under the name that the book knows; None if the person does not want it."""
    draw(session, visit)
    return named(visit) if agreed(session.language("cli/record/ask/save"), True, session.language) else None


def _record(
    session: Session,
    visit: Visit,
    recorded: Callable[[Visit], None],
    picture: bytes,
    confirmed: list[Drafted],
) -> None:
    """Record and acknowledge the visit, and then keep its photo: what goes wrong with that costs no visit."""
    from kb.book.photos import Photos, Spot

    new = session.book.record([visit]).recorded
    with answering(session, "recorded"):
        for one in new:
            session.console.print(text(session.language("cli/recorded", make=one.make, model=one.model)))
    recorded(visit)
    photos = Photos(session.folder)
    spots = [Spot(*one.at, one.name(session.language)) for one in confirmed if one.at]
    try:
        for one in new:
            name = photos.keep_clean(picture)
            if name not in photos.attach(one.id, [name]):
                raise BookTrouble(Said("error/photo-gone"))
            photos.point(one.id, name, spots)
    except BookTrouble as trouble:
        raise BookTrouble(Said("error/without-photo", why=trouble.without_assurance())) from trouble
