"""share bundles, share undo: list what came in with each bundle, and take all of it back."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click
from rich.table import Table

from kb.cli.common import Session, command_options, counted, text

if TYPE_CHECKING:
    from kb.store.bundles import Bundle

_KINDS = {"bundle": "", "book": "from a shared book", "dump": "a dump"}


@click.command("bundles")
@command_options
def bundles_command(session: Session) -> int:
    """List the bundles that came in, the latest first: id, when, who signed, how many facts were new.

    \b
    jackfield share bundles
    """
    from kb.store.bundles import bundles

    with session.found_book.store.snapshot() as now:
        every = bundles(now)
    names = _names(session)
    if session.as_json:
        session.json({"bundles": [_json(one, names) for one in every]})
        return 0
    if not every:
        session.console.print("no bundle has come in yet")
        return 0
    table = Table.grid(padding=(0, 2))
    for _ in range(3):
        table.add_column(no_wrap=True)
    table.add_column(overflow="fold")
    for one in every:
        what = one.origin.name or _KINDS[one.origin.kind] or "standard input"
        back = ", taken back" if one.taken_back else ""
        table.add_row(
            text(one.origin.id[:8], "dim" if one.taken_back else ""),
            one.came_at[:10],
            counted(one.facts, "fact"),
            text(f"{what}, {_signer(one, names)}{back}"),
        )
    session.console.print(table)
    return 0


@click.command("undo")
@click.argument("bundle", metavar="BUNDLE")
@command_options
def undo_command(session: Session, bundle: str) -> int:
    """Take back everything that came with a bundle, or bring it back.

    The first characters of the bundle's id are enough; the same command again brings everything back. A fact
    stays if it was also recorded here or came with another bundle. Only your own book changes: colleagues do
    not hear of it, and what was taken back is not shared on.

    \b
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
        said = {"bundle": one.origin.id, "taken_back": taken, "facts": one.facts, "visits": one.visits}
        session.json({**said, "findings_before": before.findings, "findings_after": after.findings})
        return 0
    facts = f"{counted(one.facts, 'fact')}, {counted(one.visits, 'visit')} among them,"
    verb = "taken back" if taken else "brought back"
    session.console.print(text(f"bundle {one.origin.id[:8]} {verb}: {facts} came with it"), soft_wrap=True)
    session.console.print(
        text(f"{counted(before.findings, 'finding')} counted before, {after.findings:,} now")
    )
    if taken:
        session.say(f"`jackfield share undo {one.origin.id[:8]}` brings it back")
    return 0


def _names(session: Session) -> dict[str, str]:
    from kb.exchange import share_state as peers

    return {key: name for name, key in peers.load(session.folder).trusted.items()}


def _signer(one: Bundle, names: dict[str, str]) -> str:
    if not one.origin.signed_by:
        return "not signed"
    return f"signed by {names.get(one.origin.signed_by, 'a key that is not trusted')}"


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
