"""share push, share pull: how do findings go between one's own book and a shared one?"""

from __future__ import annotations

from contextlib import closing

import click

from kb.cli.common import Session, command_options
from kb.cli.share_files import pending, tell_given, tell_merged
from kb.errors import BadInput


@click.command("push")
@click.argument("url", metavar="URL")
@click.option("--all", "everything", is_flag=True, help="Everything again, not only what is new.")
@command_options
def push_command(session: Session, url: str, everything: bool) -> int:
    """Give what is new to the shared book at URL, stripped as by `share out`.

    \b
    jackfield share push postgresql+psycopg://rt@server/jackfield
    """
    from kb.exchange import peers as known
    from kb.exchange.sharing import Given, outgoing, prepare
    from kb.store import Store

    _two_books(session, url)
    store, mine, given = session.found_book.store, known.load(session.folder), Given()
    prepare(store)
    with Store.open(url) as shared, store.snapshot() as now:
        stands = now.standing
        peer = mine.peer(f"book:{shared.standing().book}")
        after = 0
        if not everything and peer.given and now.follows(peer.given):
            after = peer.given.revision
        waiting = peer.held if after else ()
        with closing(outgoing(now, after, given, waiting=waiting, approved=mine.approved)) as facts:
            merged = shared.merge(facts, outside=True)
        place = shared.place
    peer.given, peer.held = stands, given.waiting
    known.save(session.folder, mine)
    said = {
        "to_book": place,
        "from": after,
        "to": stands.revision,
        "new": merged.new,
        "already": merged.already,
    }
    tell_given(session, given, pending(store, mine), said, f"given to {place}, {merged.new:,} new there")
    return 0


@click.command("pull")
@click.argument("url", metavar="URL")
@click.option("--all", "everything", is_flag=True, help="Everything again, not only what is new.")
@command_options
def pull_command(session: Session, url: str, everything: bool) -> int:
    """Take what is new in the shared book at URL into your own. No private word of it comes along.

    \b
    jackfield share pull postgresql+psycopg://rt@server/jackfield
    """
    from kb.exchange import peers as known
    from kb.exchange.sharing import prepare
    from kb.store import Store
    from kb.store.facts import VisitFact, shareable

    _two_books(session, url)
    mine = known.load(session.folder)
    with Store.open(url, create=False) as shared:
        if shared.writable:  # a standby gives what was entered anew on its primary
            prepare(shared)
        with shared.snapshot() as there:
            stands = there.standing
            peer = mine.peer(f"book:{stands.book}")
            after = 0
            if not everything and peer.taken and there.follows(peer.taken):
                after = peer.taken.revision
            with closing(shareable(there, after)) as every:
                facts = (one for one in every if not isinstance(one, VisitFact) or one.nonce)
                merged = session.book.store_to_write().merge(facts, outside=True)
        place = shared.place
    session.book.change(lambda _: None)
    peer.taken = stands
    known.save(session.folder, mine)
    said = {
        "from_book": place,
        "from": after,
        "to": stands.revision,
        "visits": merged.visits,
        "findings": merged.findings,
        "aliases": merged.aliases,
        "withdrawals": merged.withdrawals,
        "notes": merged.notes,
        "already": merged.already,
        "replaced": list(merged.replaced),
        "withdrawn": list(merged.withdrawn),
    }
    if session.as_json:
        session.json(said)
    else:
        tell_merged(session, said, f"taken from {place}")
    return 0


def _two_books(session: Session, url: str) -> None:
    if session.store:
        raise BadInput(
            "--store",
            session.store.partition(":")[0] + ":...",
            "a book of one's own; name the shared one as URL",
        )
    if "://" not in url:
        raise BadInput("URL", url, "postgresql+psycopg://USER@HOST/NAME or sqlite:///FILE")
