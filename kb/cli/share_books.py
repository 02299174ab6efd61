"""share push, share pull: exchange findings with a shared book."""

from __future__ import annotations

from contextlib import closing
from functools import partial

import click

from kb.base.errors import NOTHING, BadInput
from kb.base.messages import Said
from kb.cli.command import command
from kb.cli.common import Session
from kb.cli.share_files import merged_json, pending, tell_given, tell_merged


@command("push")
@click.argument("url", metavar="URL")
@click.option("--all", "everything", is_flag=True)
def push_command(session: Session, url: str, everything: bool) -> int:
    """
    jackfield share push postgresql+psycopg://rt@server/jackfield
    """
    from kb.exchange import share_state as known
    from kb.exchange.sharing import Given, outgoing, prepare
    from kb.store import Store
    from kb.store.bundles import Origin
    from kb.store.content_id import sealed_id

    _two_books(session, url)
    store, mine, given = session.found_book.store, known.load(session.folder), Given()
    prepare(store)
    with Store.open(url) as shared, store.snapshot() as now:
        stands = now.standing
        there = shared.standing().book
        peer = mine.peer(f"book:{there}")
        after = 0
        if not everything and peer.given and now.follows(peer.given):
            after = peer.given.revision
        waiting = peer.held if after else ()
        with closing(outgoing(now, after, given, waiting=waiting, approved=mine.approved)) as facts:
            said_of_it = [stands.book, after, stands.revision, stands.mark]
            origin = Origin(sealed_id("bundle", said_of_it), "book", stands.book)
            merged = shared.merge(facts, outside=True, origin=origin)
        place = shared.place
    with known.changing(session.folder) as mine:
        peer = mine.peer(f"book:{there}")
        peer.given, peer.held = stands, given.waiting
    said = {
        "to_book": place,
        "from": after,
        "to": stands.revision,
        "new": merged.new,
        "already": merged.already,
    }
    how = partial(session.language, "cli/share/given-to", place=place, new=session.language.whole(merged.new))
    tell_given(session, given, pending(store, mine), said, how)
    return 0


@command("pull")
@click.argument("url", metavar="URL")
@click.option("--all", "everything", is_flag=True)
def pull_command(session: Session, url: str, everything: bool) -> int:
    """
    jackfield share pull postgresql+psycopg://rt@server/jackfield
    """
    from kb.exchange import share_state as known
    from kb.exchange.sharing import Given, outgoing, prepare
    from kb.store import Store
    from kb.store.bundles import Origin
    from kb.store.content_id import sealed_id

    _two_books(session, url)
    mine, given = known.load(session.folder), Given()
    with Store.open(url, create=False) as shared:
        if shared.writable:  # a standby gives what its primary entered again
            prepare(shared)
        with shared.snapshot() as there:
            stands = there.standing
            peer = mine.peer(f"book:{stands.book}")
            after = 0
            if not everything and peer.pulled and there.follows(peer.pulled):
                after = peer.pulled.revision
            waiting = peer.left if after else ()
            # Who pulls may read all of that book: what looks personal is held back from others, not from him.
            with closing(outgoing(there, after, given, waiting=waiting, hold=False)) as facts:
                said_of_it = [stands.book, after, stands.revision, stands.mark]
                origin = Origin(sealed_id("bundle", said_of_it), "book", stands.book)
                merged = session.book.store_to_write().merge(facts, outside=True, origin=origin)
        place = shared.place
    session.book.change(lambda _: None)
    with known.changing(session.folder) as mine:
        peer = mine.peer(f"book:{stands.book}")
        peer.pulled, peer.left = stands, given.waiting
    said = {"from_book": place, "from": after, "to": stands.revision, **merged_json(merged)}
    if session.as_json:
        session.json(said)
    else:
        tell_merged(session, said, partial(session.language, "cli/share/taken-from", place=place))
    return 0


def _two_books(session: Session, url: str) -> None:
    if session.store:
        raise BadInput(
            "--store",
            Said("seen/shared-book"),
            Said("expected/own-book-not-shared"),
        )
    if "://" not in url:  # may hold a password all the same: it is not shown
        expected = Said("expected/share-url")
        raise BadInput("URL", NOTHING, expected)
