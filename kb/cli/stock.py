"""stock: say what is in the van, and what to buy."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import date
from typing import Final

import click

from kb.base import clock
from kb.base.errors import BadInput, NotFound
from kb.base.messages import Said
from kb.cli.command import command
from kb.cli.common import Session, answering, text
from kb.cli.days import read_day

_SAID: Final = re.compile(r"(.+?)=([+-]?)([0-9]{1,3})\Z")


@command("stock")
@click.argument("items", nargs=-1, metavar="[ITEM=COUNT]...")
@click.option("--day", "day_text", metavar="DATE")
def stock_command(session: Session, items: tuple[str, ...], day_text: str | None) -> int:
    """
    jackfield stock DAC=2 "optical cable 2 m=+3"
    jackfield stock --day tomorrow
    """
    jobs = session.book.jobs
    have = jobs.change_stock(lambda now: _changed(now, items)) if items else jobs.stock()
    day = read_day(session, day_text) if day_text else clock.today()
    buy = _lacking(session, have, day) if day_text or not items else {}
    with answering(session, "changed" if items else "not-changed"):
        if session.as_json:
            session.json({"have": have, "buy": buy})
            return 0
        from kb.catalogue import item_name

        said = session.language
        if not have:
            session.say(said("cli/stock/none"))
        for item, count in have.items():
            session.console.print(text(f"{count:4} x {item_name(item, said)}"))
        if buy:
            session.console.print(text(said("cli/stock/buy", day=day.isoformat()), "bold"))
        for item, count in buy.items():
            session.console.print(text(f"{count:4} x {item_name(item, said)}"))
    return 0


def _changed(now: dict[str, int], items: Sequence[str]) -> dict[str, int]:
    """The counts with what was typed: set, added or taken out."""
    from kb.catalogue import catalogue

    have = dict(now)
    for one in items:
        found = _SAID.match(one)
        if not found:
            raise BadInput("ITEM=COUNT", one, Said("expected/stock-words"))
        item, sign, count = catalogue().one_name(found[1].strip(), "ITEM"), found[2], int(found[3])
        left = count if not sign else have.get(item, 0) + (count if sign == "+" else -count)
        if left < 0:
            raise BadInput("ITEM=COUNT", one, Said("expected/taken-out", most=have.get(item, 0)))
        have[item] = left
    return have


def _lacking(session: Session, have: dict[str, int], day: date) -> dict[str, int]:
    """What the list for the open jobs of a day needs more of than the van has."""
    from kb.book.naming import named_day
    from kb.pack import pack

    try:
        packed = session.book.jobs.packed(session.book.jobs.of_day(day))
    except NotFound:
        return {}
    named, _ = named_day(session.book.named, packed, session.language)
    plan = pack(named, session.book.expect(), questions=False)
    return {line.item: line.count - line.in_stock for line in plan.items if line.count > line.in_stock}
