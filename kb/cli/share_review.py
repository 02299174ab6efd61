"""share review: decide which notes and doubtful texts may go to other books."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, Any, Final

import click

from kb.base import text as plain
from kb.base.errors import BadInput
from kb.base.messages import Said
from kb.cli.command import command
from kb.cli.common import Session, text
from kb.domain.language import ENGLISH

if TYPE_CHECKING:
    from kb.domain.language import Language
    from kb.domain.visit import Visit
    from kb.exchange.share_state import Peers
    from kb.exchange.sharing import Approved, Held, Personal, Unreviewed
    from kb.store import Store


_LEAST: Final = 4  #: characters of an id that name a visit


@command("review")
@click.option("--release", multiple=True, metavar="VISIT[.JACK]")
@click.option("--keep", multiple=True, metavar="VISIT[.JACK]")
@click.option("--approve", multiple=True, metavar="VISIT")
@click.option("--released", "list_released", is_flag=True)
@click.option("--ask", is_flag=True)
def review_command(
    session: Session,
    release: tuple[str, ...],
    keep: tuple[str, ...],
    approve: tuple[str, ...],
    list_released: bool,
    ask: bool,
) -> int:
    """
    jackfield share review
    jackfield share review --release 3fa2b1c0.1 --keep 3fa2b1c0
    jackfield share review --released
    """
    import sys

    from kb.exchange import share_state as known
    from kb.exchange.sharing import prepare

    if list_released and (release or keep or approve or ask):
        raise BadInput(
            "share review",
            Said("seen/and-another-option", option="--released"),
            Said("expected/option-alone", option="--released"),
        )
    store = session.found_book.store
    prepare(store)
    if list_released:
        return _list_released(session, store)
    if release or keep or approve:
        return _by_name(session, store, release, keep, approve)
    mine = known.load(session.folder)
    notes, held = _pending(store, mine)
    if session.as_json:
        session.json(
            {
                "notes": [_note(one) for one in notes],
                "held": [held_json(one, session.language) for one in held],
            }
        )
        return 0
    if not (ask or sys.stdin.isatty()):
        for one in notes:
            signs = f"  [{signs_of(one.signs, session.language)}]" if one.signs else ""
            line = f"{_short(one.name)}  {_set(one.visit)}: {one.note!r}{signs}"
            session.console.print(text(line), soft_wrap=True)
        for other in held:
            for why in other.why:
                place = place_of(why, session.language)
                line = f"{other.visit.id[:8]}  {_set(other.visit)}, {place}: {why.text!r}"
                looks = signs_of(why.signs, session.language)
                session.console.print(text(f"{line}  [{looks}]"), soft_wrap=True)
        return 0
    reviewed(session, store)
    return 0


def _pending(store: Store, mine: Peers) -> tuple[list[Unreviewed], list[Held]]:
    from kb.exchange.sharing import Given, outgoing, unreviewed

    given = Given()
    with store.snapshot() as now:
        notes = list(unreviewed(now, mine.declined))
        for _ in outgoing(now, 0, given, approved=mine.approved):
            pass
    return notes, given.held


def reviewed(session: Session, store: Store) -> None:
    """Ask about each; every answer is kept before the next question. At the end it reports what was done."""
    from kb.exchange import share_state as known
    from kb.exchange.sharing import release

    notes, held = _pending(store, known.load(session.folder))
    out, done, said = session.console, _Done(), session.language
    try:
        for one in notes:
            place = ""
            if one.jack is not None:
                marking = one.visit.findings[one.jack].jack.marking
                place = said("cli/share/jack", number=one.jack + 1, marking=marking)
            out.print(text(f"\n{_set(one.visit)}{place}", "bold"))
            out.print(text(one.note))
            if one.signs:
                out.print(text(said("cli/share/looks-like", signs=signs_of(one.signs, said)), "bold red"))
            match _asked(said("cli/share/release"), "yneq", said):
                case "y":
                    done.released += release(store, [(one, one.note)])
                case "e":
                    edited = plain.note(click.prompt(said("cli/share/edited"), err=True), "note")
                    done.released += release(store, [(one, edited)]) if edited else 0
                case "n":
                    with known.changing(session.folder) as mine:
                        mine.declined.append(one.name)
                    done.kept += 1
                case _:
                    return
        for other in held:
            out.print(text(f"\n{_set(other.visit)}", "bold"))
            for why in other.why:
                values = {"where": place_of(why, said), "text": why.text}
                out.print(text(said("cli/share/where-looks-like", **values, signs=signs_of(why.signs, said))))
            match _asked(said("cli/share/approve"), "ynq", said):
                case "y":
                    with known.changing(session.folder) as mine:
                        mine.approved.append(other.visit.id)
                        mine.held_again = [one for one in mine.held_again if one != other.visit.id]
                    done.approved += 1
                case "n":
                    done.held += 1
                case _:
                    return
    finally:
        out.print(text(done.said(said)))


@dataclass(slots=True)
class _Done:
    """What a review did: how many notes and visits."""

    released: int = 0
    kept: int = 0
    taken_back: int = 0
    approved: int = 0
    held: int = 0

    def said(self, said: Language) -> str:
        counts = ((one.name, getattr(self, one.name)) for one in fields(self))
        parts = [said(f"cli/share/done/{name}", count=count) for name, count in counts if count]
        return said("language/join").join(parts) or said("cli/share/done/nothing")


def _asked(question: str, choices: str, said: Language) -> str:
    """One of ``choices``, for which the keys of the language may be typed, and the English ones."""
    keys = dict(zip(said("cli/share/keys").split(), ENGLISH("cli/share/keys").split(), strict=True))
    while True:
        typed = str(click.prompt(question, default="n", show_default=False, err=True)).strip().lower()[:1]
        meant = keys.get(typed, typed)
        if meant and meant in choices:
            return meant


def _by_name(
    session: Session,
    store: Store,
    names: tuple[str, ...],
    kept: tuple[str, ...],
    approved: tuple[str, ...],
) -> int:
    from kb.exchange import share_state as known
    from kb.exchange.sharing import State, release, released

    with store.snapshot() as now:
        earlier, _ = released(now)
    back = [one for one in earlier if one.state is State.TAKEN_BACK]
    out = [one for one in earlier if one.state is not State.TAKEN_BACK]
    done = _Done()
    mine = known.load(session.folder)
    notes, held = _pending(store, known.Peers(approved=mine.approved))  # the declined ones as well
    by_name = {one.name: one for one in notes}
    may_go = [one.visit.id for one in held] + mine.approved
    fit = [*by_name, *(one.name for one in earlier)]
    let = {_whole(name, fit) for name in names}
    stay = {_whole(name, [*fit, *may_go, *mine.declined]) for name in kept}
    allowed = {_whole(name, may_go) for name in approved}
    if both := (let | allowed) & stay:
        raise BadInput("share review", min(both), Said("expected/keep-or-not"))
    with known.changing(session.folder) as mine:
        held_again = sorted(stay & set(mine.approved))
        done.approved = len(allowed - set(mine.approved))
        mine.declined = [one for one in mine.declined if one not in let] + sorted(stay & {*fit})
        mine.approved = [one for one in mine.approved if one not in stay] + sorted(allowed)
        mine.held_again = [one for one in mine.held_again if one not in allowed] + held_again
    done.kept = sum(1 for name in stay if name in by_name)
    done.held = len(stay & set(may_go))
    done.released = release(store, [(one, one.note) for name, one in by_name.items() if name in let])
    done.released += len(store.reinstate([one.note.id for one in back if one.name in let]))
    taken_back = store.withdraw([one.note.id for one in out if one.name in stay])
    done.taken_back = len(taken_back)
    if session.as_json:
        session.json(
            {
                "released": done.released,
                "kept": len(kept),
                "approved": done.approved,
                "taken_back": list(taken_back),
                "held_again": held_again,
            }
        )
        return 0
    session.console.print(text(done.said(session.language)))
    if taken_back or held_again:
        session.say(session.language("cli/share/stays"))
    return 0


def _list_released(session: Session, store: Store) -> int:
    """Everything that was released or approved, and what becomes of it now."""
    from kb.exchange import share_state as known
    from kb.exchange.sharing import State, released

    with store.snapshot() as now:
        mine = known.load(session.folder)
        notes, visits = released(now, mine.approved, mine.held_again)
    if session.as_json:
        session.json(
            {
                "released": [
                    {
                        "name": one.name,
                        "id": one.note.id,
                        "visit": one.note.visit,
                        "jack": None if one.note.jack is None else one.note.jack + 1,
                        "make": one.visit.source.make if one.visit else None,
                        "model": one.visit.source.model if one.visit else None,
                        "note": one.note.note,
                        "own": one.own,
                        "state": one.state.value,
                    }
                    for one in notes
                ],
                "approved": [
                    {**held_json(one, session.language), "state": one.state.value} for one in visits
                ],
            }
        )
        return 0
    said = session.language
    for one in notes:
        of = _set(one.visit) if one.visit else said("cli/share/not-here")
        goes = said(f"cli/share/note-state/{one.state.value}")
        goes += "" if one.own else said("cli/share/other-book")
        line = f"{_short(one.name)}  {of}: {one.note.note!r}  [{goes}]"
        session.console.print(text(line), soft_wrap=True)
    for other in visits:
        what, doubtful = said("cli/share/visit"), said("cli/share/impersonal")
        if other.why:
            what, doubtful = place_of(other.why[0], said), repr(other.why[0].text)
        goes = said(f"cli/share/visit-state/{other.state.value}")
        line = f"{other.visit.id[:8]}  {_set(other.visit)}, {what}: {doubtful}  [{goes}]"
        session.console.print(text(line), soft_wrap=True)
    if not (notes or visits):
        session.console.print(text(said("cli/share/none-released")))
    elif any(one is not State.GOES for one in [*(a.state for a in notes), *(b.state for b in visits)]):
        session.say(said("cli/share/stays"))
    return 0


def _whole(name: str, known: Iterable[str]) -> str:
    """The one name that begins so, the number of the jack apart; raises BadInput."""
    start, _, jack = name.strip().lower().partition(".")
    found = {one for one in known if one.startswith(start) and one.partition(".")[2] == jack}
    if len(start) < _LEAST or len(found) != 1:
        raise BadInput(
            "review",
            name,
            Said("expected/review-words"),
        )
    return found.pop()


def place_of(one: Personal, said: Language) -> str:
    """Where a text is that looks personal."""
    field = said(f"cli/share/field/{one.field}")
    return said("cli/share/where/jack", number=one.jack, field=field) if one.jack else field


def signs_of(signs: Sequence[str], said: Language) -> str:
    """What a text looks like, each with its article."""
    return said("language/join").join(said(f"cli/share/sign/{one.replace(' ', '-')}") for one in signs)


def _set(visit: Visit) -> str:
    return f"{visit.source.make} {visit.source.model}, {visit.date}"


def _short(name: str) -> str:
    visit, dot, jack = name.partition(".")
    return f"{visit[:8]}{dot}{jack}"


def _note(one: Unreviewed) -> dict[str, Any]:
    source = one.visit.source
    return {
        "name": one.name,
        "visit": one.visit.id,
        "jack": None if one.jack is None else one.jack + 1,
        "make": source.make,
        "model": source.model,
        "note": one.note,
        "signs": list(one.signs),
    }


def held_json(one: Held | Approved, said: Language) -> dict[str, Any]:
    """A visit with the texts that look personal, for the answer."""
    source = one.visit.source
    why = [
        {
            "where": place_of(each, said),
            "jack": each.jack or None,
            "field": each.field,
            "text": each.text,
            "signs": list(each.signs),
        }
        for each in one.why
    ]
    return {"visit": one.visit.id, "make": source.make, "model": source.model, "why": why}
