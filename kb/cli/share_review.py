"""share review: which notes and doubtful texts may go to other books?"""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any, Final

import click

from kb import text as plain
from kb.cli.common import Session, command_options, text
from kb.errors import BadInput

if TYPE_CHECKING:
    from kb.exchange.peers import Peers
    from kb.exchange.sharing import Held, Unreviewed
    from kb.store import Store
    from kb.visit import Visit


_LEAST: Final = 4  #: characters of an id that name a visit


@click.command("review")
@click.option("--release", multiple=True, metavar="VISIT[.JACK]", help="Release this note.")
@click.option("--keep", multiple=True, metavar="VISIT[.JACK]", help="This note is to stay here.")
@click.option("--approve", multiple=True, metavar="VISIT", help="Share this visit though it is held back.")
@click.option("--ask", is_flag=True, help="Ask one by one, as at a terminal.")
@command_options
def review_command(
    session: Session,
    release: tuple[str, ...],
    keep: tuple[str, ...],
    approve: tuple[str, ...],
    ask: bool,
) -> int:
    """Look at every note that nobody has reviewed, and at visits that are held back, one by one.

    A note that is released goes to other books word for word, with its visit; e lets you write it anew
    for them first. With --json, or piped, the list alone is printed.

    \b
    jackfield share review
    jackfield share review --release 3fa2b1c0.1 --keep 3fa2b1c0
    """
    import sys

    from kb.exchange import peers as known

    store, mine = session.found_book.store, known.load(session.folder)
    from kb.exchange.sharing import prepare

    prepare(store)
    if release or keep or approve:
        return _by_name(session, store, mine, release, keep, approve)
    notes, held = _pending(store, mine)
    if session.as_json:
        session.json({"notes": [_note(one) for one in notes], "held": [_held(one) for one in held]})
        return 0
    if not (ask or sys.stdin.isatty()):
        for one in notes:
            signs = f"  [{', '.join(one.signs)}]" if one.signs else ""
            said = f"{_short(one.name)}  {_set(one.visit)}: {one.note!r}{signs}"
            session.console.print(text(said), soft_wrap=True)
        for other in held:
            for what, said, signs_ in other.why:
                line = f"{other.visit.id[:8]}  {_set(other.visit)}, {what}: {said!r}  [{', '.join(signs_)}]"
                session.console.print(text(line), soft_wrap=True)
        return 0
    done = reviewed(session, store, mine)
    session.console.print(text(f"{done} released"))
    return 0


def _pending(store: Store, mine: Peers) -> tuple[list[Unreviewed], list[Held]]:
    from kb.exchange.sharing import Given, outgoing, unreviewed

    given = Given()
    with store.snapshot() as now:
        notes = list(unreviewed(now, mine.declined))
        for _ in outgoing(now, 0, given, approved=mine.approved):
            pass
    return notes, given.held


def reviewed(session: Session, store: Store, mine: Peers) -> int:
    """Ask about each, and keep what was said; returns how many were released."""
    from kb.exchange import peers as known
    from kb.exchange.sharing import release

    notes, held = _pending(store, mine)
    out, done = session.console, 0
    try:
        for one in notes:
            place = (
                ""
                if one.jack is None
                else f", jack {one.jack + 1} {one.visit.findings[one.jack].jack.marking}"
            )
            out.print(text(f"\n{_set(one.visit)}{place}", "bold"))
            out.print(text(one.note))
            if one.signs:
                out.print(text(f"looks like a {', a '.join(one.signs)}", "bold red"))
            match _asked("release? [y]es, [n]o, [e]dit, [q]uit", "yneq"):
                case "y":
                    done += release(store, [(one, one.note)])
                case "e":
                    said = plain.note(click.prompt("for other books", err=True), "note")
                    done += release(store, [(one, said)]) if said else 0
                case "n":
                    mine.declined.append(one.name)
                case _:
                    return done
        for other in held:
            out.print(text(f"\n{_set(other.visit)}", "bold"))
            for what, said, signs in other.why:
                out.print(text(f"{what} looks like a {', a '.join(signs)}: {said}"))
            match _asked("share this visit? [y]es, [n]o, [q]uit", "ynq"):
                case "y":
                    mine.approved.append(other.visit.id)
                    done += 1
                case "q":
                    return done
    finally:
        known.save(session.folder, mine)
    return done


def _asked(question: str, choices: str) -> str:
    while True:
        said = click.prompt(question, default="n", show_default=False, err=True).strip().lower()[:1]
        if said and said in choices:
            return str(said)


def _by_name(
    session: Session,
    store: Store,
    mine: Peers,
    names: tuple[str, ...],
    kept: tuple[str, ...],
    approved: tuple[str, ...],
) -> int:
    from kb.exchange import peers as known
    from kb.exchange.sharing import release

    notes, held = _pending(store, mine)
    by_name = {one.name: one for one in notes}
    chosen = [by_name[_whole(name, by_name)] for name in names]
    mine.declined += [_whole(name, by_name) for name in kept]
    mine.approved += [_whole(name, [one.visit.id for one in held]) for name in approved]
    count = release(store, [(one, one.note) for one in chosen])
    known.save(session.folder, mine)
    if session.as_json:
        session.json({"released": count, "kept": len(kept), "approved": len(approved)})
    else:
        said = f"{count} released, {len(kept)} kept here, {len(approved)} approved"
        session.console.print(text(said))
    return 0


def _whole(name: str, known: Iterable[str]) -> str:
    """The one name that begins so, the number of the jack apart; raises BadInput."""
    start, _, jack = name.strip().lower().partition(".")
    found = [one for one in known if one.startswith(start) and one.partition(".")[2] == jack]
    if len(start) < _LEAST or len(found) != 1:
        raise BadInput("review", name, "VISIT or VISIT.JACK as `share review --json` lists them")
    return found[0]


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


def _held(one: Held) -> dict[str, Any]:
    why = [{"where": what, "text": said, "signs": list(signs)} for what, said, signs in one.why]
    return {"visit": one.visit.id, "make": one.visit.source.make, "model": one.visit.source.model, "why": why}
