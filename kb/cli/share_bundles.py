"""share bundles, share undo: list what came in with each bundle, and take all of it back."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from kb.cli.command import command
from kb.cli.common import Session, text
from kb.cli.tables import print_rows

if TYPE_CHECKING:
    from rich.text import Text

    from kb.domain.language import Language
    from kb.store.bundles import Bundle


@command("bundles")
def bundles_command(session: Session) -> int:
    """
    jackfield share bundles
    """
    from kb.store.bundles import bundles

    with session.found_book.store.snapshot() as now:
        every = bundles(now)
    names, said = _names(session), session.language
    if session.as_json:
        session.json({"bundles": [_json(one, names) for one in every]})
        return 0
    if not every:
        session.console.print(said("cli/share/no-bundle"))
        return 0
    print_rows(session, (_row(one, names, said) for one in every), whole=3)
    return 0


def _row(one: Bundle, names: dict[str, str], said: Language) -> tuple[str | Text, ...]:
    about = [one.origin.name or said(f"cli/share/origin/{one.origin.kind}"), _signer(one, names, said)]
    about += [said("cli/share/is-back")] if one.taken_back else []
    brief = text(one.origin.id[:8], "dim" if one.taken_back else "")
    return brief, one.came_at[:10], said.counted("fact", one.facts), said("language/join").join(about)


@command("undo")
@click.argument("bundle", metavar="BUNDLE")
def undo_command(session: Session, bundle: str) -> int:
    """
    jackfield share bundles
    jackfield share undo 3fa2b1c0
    """
    from kb.store.bundles import named

    book = session.found_book
    with book.store.snapshot() as now:
        one = named(now, bundle)
        before = now.counts()
    taken = not one.taken_back
    book.change(lambda store: store.turn_bundle(one.origin.id, taken_back=taken))
    with book.store.snapshot() as now:
        after = now.counts()
    if session.as_json:
        it = {"bundle": one.origin.id, "taken_back": taken, "facts": one.facts, "visits": one.visits}
        session.json({**it, "findings_before": before.findings, "findings_after": after.findings})
        return 0
    said, brief = session.language, one.origin.id[:8]
    key = "cli/share/undo/taken" if taken else "cli/share/undo/brought"
    facts, visits = said.counted("fact", one.facts), said.counted("visit", one.visits)
    session.console.print(text(said(key, id=brief, facts=facts, visits=visits)), soft_wrap=True)
    then, now_ = said.counted("finding", before.findings), said.whole(after.findings)
    session.console.print(text(said("cli/share/undo/counted", findings=then, now=now_)))
    if taken:
        session.say(said("cli/share/undo/again", id=brief))
    return 0


def _names(session: Session) -> dict[str, str]:
    from kb.exchange import share_state as peers

    return {key: name for name, key in peers.load(session.folder).trusted.items()}


def _signer(one: Bundle, names: dict[str, str], said: Language) -> str:
    if not one.origin.signed_by:
        return said("cli/share/unsigned")
    return said("cli/share/signed-by", who=names.get(one.origin.signed_by) or said("cli/share/unknown-key"))


def _json(one: Bundle, names: dict[str, str]) -> dict[str, Any]:
    return {
        "bundle": one.origin.id,
        "came_at": one.came_at,
        "origin": one.origin.kind,
        "name": one.origin.name,
        "book": one.origin.book or None,
        "signed": bool(one.origin.signed_by),
        "signed_by": names.get(one.origin.signed_by),
        "visits": one.visits,
        "facts": one.facts,
        "taken_back": one.taken_back,
    }
