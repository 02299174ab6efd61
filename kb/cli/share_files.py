"""share out, share in: exchange findings as files."""

from __future__ import annotations

import sys
from collections.abc import Callable
from contextlib import closing
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import click

from kb.base import clock
from kb.base.errors import BadInput, not_together
from kb.base.messages import Said
from kb.cli.command import command
from kb.cli.common import Output, Session, agreed, text
from kb.cli.share_review import held_json, place_of, reviewed, signs_of

if TYPE_CHECKING:
    from kb.domain.language import Language
    from kb.domain.visit import Visit
    from kb.exchange.bundle import Header
    from kb.exchange.share_state import Peers
    from kb.exchange.sharing import Given
    from kb.store import Store
    from kb.store.merging import Merged

_SHOWN: Final = 10


@command("out")
@click.argument("file", metavar="FILE", type=Output("JSON Lines", or_json=True))
@click.option("--for", "peer", metavar="NAME")
@click.option("--since", type=click.IntRange(0), metavar="REVISION")
@click.option("--all", "everything", is_flag=True)
@click.option("--sign", is_flag=True)
@click.option("--no-notes", is_flag=True)
@click.option("--replace", is_flag=True)
def out_command(
    session: Session,
    file: str,
    peer: str | None,
    since: int | None,
    everything: bool,
    sign: bool,
    no_notes: bool,
    replace: bool,
) -> int:
    """
    jackfield share out north.jsonl.gz --for "north team"
    jackfield share out all.jsonl --sign
    """
    from kb.exchange import share_state as known
    from kb.exchange.bundle import held_in, write
    from kb.exchange.sharing import Given, outgoing, prepare
    from kb.exchange.signing import own_key
    from kb.settings import KEY

    if since is not None and (peer or everything):
        raise not_together(
            "share out", Said("seen/two-options", option="--for" if peer else "--all", other="--since")
        )
    store = session.found_book.store
    anew = prepare(store)
    mine = known.load(session.folder)
    waiting_notes = pending(store, mine)
    if waiting_notes and not no_notes and not session.as_json and sys.stdin.isatty():
        question = session.language("cli/share/review-now", count=waiting_notes)
        if agreed(question, False, session.language):
            reviewed(session, store)
            mine = known.load(session.folder)
            waiting_notes = pending(store, mine)
    other = mine.peer(f"bundle:{peer}") if peer else known.Peer()
    given = Given()
    with store.snapshot() as now:
        stands = now.standing
        after = since if since is not None else 0
        if other.given and not everything and now.follows(other.given):
            after = other.given.revision
        waiting = other.held if after else []
        if since is None and after and replace and (old := held_in(Path(file), stands.book)):
            # What the file held may have reached nobody: it goes in again.
            after = min(after, old.after) if now.follows(old.standing) else 0
            waiting = [*waiting, *old.ids]
        with closing(outgoing(now, after, given, waiting=waiting, approved=mine.approved)) as facts:
            write(
                Path(file),
                facts,
                book=stands.book,
                after=after,
                to=stands.revision,
                mark=stands.mark,
                key=own_key(session.folder, make=True) if sign else None,
                replace=replace,
            )
    if peer:
        with known.changing(session.folder) as mine:
            other = mine.peer(f"bundle:{peer}")
            other.given, other.held = stands, given.waiting
    more = {"file": file, "from": after, "to": stands.revision, "signed": sign, "anew": anew}
    said = session.language
    tell_given(session, given, waiting_notes, more, partial(said, "cli/share/written", file=file))
    if peer and after and not any(given.counts().values()):
        session.say(said("cli/share/nothing-new", peer=peer))
    if not sign and (session.folder / KEY).exists():
        session.say(said("cli/share/not-signed"))
    return 0


def pending(store: Store, mine: Peers) -> int:
    """How many notes nobody has looked at."""
    from kb.exchange.sharing import unreviewed

    with store.snapshot() as now:
        return sum(1 for _ in unreviewed(now, mine.declined))


def tell_given(
    session: Session, given: Given, notes: int, more: dict[str, Any], how: Callable[..., str]
) -> None:
    """What was given and what was held back; ``how`` makes the sentence of the ``content``."""
    if session.as_json:
        held = [held_json(one, session.language) for one in given.held]
        counts = {"visits": given.visits, "aliases": given.aliases}
        counts |= {"withdrawals": given.withdrawals, "notes": given.notes}
        merges = [{"merge": one.id, "spelling": one.set_key, "same_as": one.same_as} for one in given.merges]
        session.json({**more, **counts, "held": held, "held_merges": merges, "unreviewed": notes})
        return
    said = session.language
    content = _content(
        said,
        said.counted("visit", given.visits),
        merge=given.aliases,
        withdrawal=given.withdrawals,
        released_note=given.notes,
    )
    session.console.print(text(how(content=content)), soft_wrap=True)
    if notes:
        session.say(said("cli/share/not-reviewed", count=notes))
    for one in given.held[:_SHOWN]:
        why, name = one.why[0], f"{one.visit.source.make} {one.visit.source.model}"
        held_ = {"set": name, "id": one.visit.id[:8], "where": place_of(why, said), "text": why.text}
        session.say(said("cli/share/held", **held_, sign=signs_of(why.signs[:1], said)))
    if len(given.held) > _SHOWN:
        session.say(said("cli/share/more-held", count=len(given.held) - _SHOWN))
    for merge in given.merges[:_SHOWN]:
        session.say(said("cli/share/held-merge", spelling=merge.set_key, same_as=merge.same_as))
    if given.held:
        session.say(said("cli/share/how-review"))


def _content(said: Language, visits: str, **more: int) -> str:
    """``3 visits, 1 merge``: the visits, and how many facts of each other kind there are."""
    others = (said.counted(kind.replace("_", "-"), count) for kind, count in more.items() if count)
    return said("language/join").join((visits, *others))


@command("in")
@click.argument("files", nargs=-1, required=True, metavar="FILE...")
@click.option("--dry-run", is_flag=True)
@click.option("--anyone", is_flag=True)
def in_command(session: Session, files: tuple[str, ...], dry_run: bool, anyone: bool) -> int:
    """
    jackfield share in south.jsonl.gz --dry-run
    jackfield share in south.jsonl.gz
    """
    from kb.exchange import share_state as known
    from kb.exchange.bundle import origin, read, without_future

    answers = []
    for file in files:
        with read(file) as (header, facts):
            who = _signer(header, known.load(session.folder), anyone, file)
            left_out: list[Visit] = []
            merged = session.book.store_to_write().merge(
                without_future(facts, left_out), outside=True, keep=not dry_run, origin=origin(header, file)
            )
        if not dry_run:
            session.book.change(lambda _: None)
        if dry_run or left_out:
            gap = _seen(known.load(session.folder), header)
        else:
            with known.changing(session.folder) as mine:
                gap = _seen(mine, header)
        answers.append(_answer(file, header, who, merged, gap))
        answers[-1] |= {"bundle": header.id, "brought_back": merged.brought_back}
        answers[-1]["left_out"] = future(left_out)
        if not session.as_json:
            _tell(session, answers[-1], dry_run)
    if session.as_json:
        session.json({"bundles": answers, "dry_run": dry_run})
    return 0


def _signer(header: Header, mine: Peers, anyone: bool, file: str) -> str | None:
    """The name of the signer, "" for a key that is not trusted, None if it is not signed."""
    name = next((name for name, key in mine.trusted.items() if key == header.signed_by), "")
    if mine.signed_only and not anyone and not name:
        seen = (
            Said("seen/untrusted-key", key=header.signed_by[:12])
            if header.signed_by
            else Said("seen/no-signature")
        )
        raise BadInput(file, seen, Said("expected/trusted-signature"))
    return name if header.signed_by else None


def _seen(mine: Peers, header: Header) -> bool:
    """Note how far that book was taken in; True where something before this bundle is missing."""
    from kb.store.revision import Standing

    peer = mine.peer(f"book:{header.book}")
    have = peer.taken.revision if peer.taken else 0
    if header.after > have:
        return True
    if header.to >= have:
        peer.taken = Standing(header.book, header.to, header.mark)
    return False


def _answer(file: str, header: Header, who: str | None, merged: Merged, gap: bool) -> dict[str, Any]:
    return {
        "file": file,
        "book": header.book,
        "from": header.after,
        "to": header.to,
        "signed": bool(header.signed_by),
        "signed_by": who or None,
        **merged_json(merged),
        "gap": gap,
    }


def merged_json(merged: Merged) -> dict[str, Any]:
    """What a merge did, for the answer."""
    return {
        "visits": merged.visits,
        "findings": merged.findings,
        "aliases": merged.aliases,
        "withdrawals": merged.withdrawals,
        "notes": merged.notes,
        "already": merged.already,
        "replaced": list(merged.replaced),
        "withdrawn": list(merged.withdrawn),
    }


def future(visits: list[Visit]) -> list[dict[str, str]]:
    """Visits of a day that has not come yet, for the answer."""
    return [
        {
            "visit": one.id,
            "make": one.source.make,
            "model": one.source.model,
            "date": one.date.isoformat(),
        }
        for one in visits
    ]


def _tell(session: Session, answer: dict[str, Any], dry_run: bool) -> None:
    said = session.language
    who = answer["signed_by"] or said("cli/share/unknown-key" if answer["signed"] else "cli/share/nobody")
    key = "cli/share/would-come" if dry_run else "cli/share/came"
    tell_merged(session, answer, partial(said, key, file=answer["file"], who=who))
    if answer["brought_back"]:
        session.say(said("cli/share/back-again"))
    today = clock.today().isoformat()
    for one in answer["left_out"][:_SHOWN]:
        values = {"set": f"{one['make']} {one['model']}", "id": one["visit"][:8], "date": one["date"]}
        session.say(said("cli/share/left-out", **values, today=today))
    if len(answer["left_out"]) > _SHOWN:
        session.say(said("cli/share/more-left-out", count=len(answer["left_out"]) - _SHOWN))
    if answer["left_out"]:
        session.say(said("cli/share/clocks"))
    if answer["gap"]:
        session.say(said("cli/share/gap", revision=answer["from"]))


def tell_merged(session: Session, answer: dict[str, Any], how: Callable[..., str]) -> None:
    """What came in; ``how`` makes the sentence of the ``content``."""
    said = session.language
    visits, findings = said.counted("visit", answer["visits"]), said.counted("finding", answer["findings"])
    content = _content(
        said,
        said("cli/load/content", visits=visits, findings=findings),
        merge=answer["aliases"],
        withdrawal=answer["withdrawals"],
        note=answer["notes"],
    )
    session.console.print(text(how(content=content)), soft_wrap=True)
    for key in ("replaced", "withdrawn"):
        if answer[key]:
            first = ", ".join(one[:8] for one in answer[key][:5])
            session.say(said(f"cli/share/{key}", count=len(answer[key]), first=first))
