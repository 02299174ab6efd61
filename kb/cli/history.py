"""history: show everything ever recorded of one set."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING

import click

from kb.base.errors import NotFound
from kb.base.messages import Said
from kb.cli.command import command
from kb.cli.common import Session, text
from kb.cli.tables import print_rows
from kb.domain.language import Language
from kb.domain.visit import set_key, visit_to

if TYPE_CHECKING:
    from kb.store import Entry


@command("history")
@click.argument("make")
@click.argument("model")
def history_command(session: Session, make: str, model: str) -> int:
    """
    jackfield history Norwell NV40-210
    """
    from kb.exchange.corrections import merges_of
    from kb.store.facts import briefly

    with session.book_or("error/nobody-met", set=f"{make} {model}").store.snapshot() as now:
        key = set_key(make, model)
        entries, merges = now.history_of(key), merges_of(now, key)
        brief = briefly(now, [*(one.visit.id for one in entries), *(one.id for one in merges)])
    if not entries:
        session.book.view(make, model)  # says that nobody met it, and what is near
        raise NotFound(Said("error/nobody-met", set=f"{make} {model}"))
    if session.as_json:
        session.json(
            {
                "make": make,
                "model": model,
                "visits": [
                    {
                        **visit_to(one.visit),
                        "revision": one.revision,
                        "state": _state(one),
                        "superseded_by": list(one.superseded_by),
                        "conflicts_with": list(one.rivals),
                    }
                    for one in entries
                ],
                "merges": [
                    {"id": one.id, "spelling": one.spelling, "same_as": one.same_as, "stands": one.stands}
                    for one in merges
                ],
            }
        )
        return 0
    said = session.language
    before = {one.reentered for one in entries}
    shown = [
        one._replace(superseded_by=tuple(later for later in one.superseded_by if later not in before))
        for one in entries
        if one.visit.id not in before
    ]
    rows = (
        (
            text(brief[one.visit.id], "" if one.stands else "dim"),
            one.visit.date.isoformat(),
            one.visit.by,
            said.word(one.visit.basis),
            said("cli/history/jacks", count=len(one.visit.findings)),
            f"{one.visit.source.make} {one.visit.source.model}: {_said(one, brief, said)}",
        )
        for one in sorted(shown, key=lambda entry: (entry.visit.date, entry.revision, entry.visit.id))
    )
    print_rows(session, rows, whole=5)
    for merge in merges:
        key = "cli/history/merge" if merge.stands else "cli/history/merge/undone"
        merged = said(key, id=brief[merge.id], spelling=merge.spelling, same_as=merge.same_as)
        session.console.print(text(merged))
    return 0


def _state(entry: Entry) -> str:
    if entry.taken_back:
        return "taken-back"
    if entry.withdrawn:
        return "withdrawn"
    if entry.superseded_by:
        return "superseded"
    return "outdone" if entry.outdone else "stands"


def _said(entry: Entry, brief: Mapping[str, str], language: Language) -> str:
    ids = ""
    if entry.taken_back:
        state = "taken-back"
    elif entry.withdrawn:
        state = "withdrawn"
    elif entry.superseded_by:
        state, ids = "corrected", _ids(entry.superseded_by, brief)
    elif entry.rivals:
        state, ids = ("outdone" if entry.outdone else "rival"), _ids(entry.rivals, brief)
    else:
        state = "valid"
    said = language(f"cli/history/{state}", ids=ids)
    earlier = [one for one in entry.visit.supersedes if one != entry.reentered]
    return language("cli/history/corrects", state=said, ids=_ids(earlier, brief)) if earlier else said


def _ids(ids: Iterable[str], brief: Mapping[str, str]) -> str:
    """Visits of another set, or of a book that was not shared, may not be among those shown."""
    return ", ".join(brief.get(one, one[:8]) for one in ids)
