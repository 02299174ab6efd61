"""Read a day as people say it: a date, yesterday, friday, "el viernes pasado".

A weekday alone is the nearest one, today included: back for what was done, ahead for what is planned.
"""

from __future__ import annotations

import re
from datetime import date, timedelta
from typing import Final

from kb.base import clock
from kb.base.datafiles import data_tables
from kb.base.errors import BadInput
from kb.base.messages import Said
from kb.base.text import folded
from kb.cli.common import Session
from kb.domain.kinds import CalendarDay

_PART: Final = re.compile(r"([0-9]{4})(?:-([0-9]{2}))?\Z")
_DECEMBER: Final = 12


def read_day(session: Session, typed: str, option: str = "--day", *, back: bool = False) -> date:
    """Return the day that was typed, and say which date words mean. Raises BadInput naming the option."""
    typed = typed.strip()
    day = _said(folded(typed).lower(), clock.today(), back=back)
    if day is None:
        if any(letter.isalpha() for letter in typed):
            raise BadInput(option, typed, Said("expected/day"))
        found: date = CalendarDay().read(typed, option)
        return found
    session.say(session.language("cli/day/meant", typed=typed, day=day.isoformat()))
    return day


def read_days(
    session: Session, typed: str, option: str = "--day", *, back: bool = False
) -> tuple[date, date]:
    """Return the first and the last day of a day, month or year. Raises BadInput naming the option."""
    part = _PART.match(typed.strip())
    if not part:
        day = read_day(session, typed, option, back=back)
        return day, day
    year, month = int(part[1]), int(part[2] or 1)
    try:
        first = date(year, month, 1)
        following = date(year + 1, 1, 1) if not part[2] or month == _DECEMBER else date(year, month + 1, 1)
    except ValueError:
        raise BadInput(option, typed, Said("expected/day-month-year")) from None
    return first, following - timedelta(days=1)


def _said(typed: str, today: date, *, back: bool) -> date | None:
    words = data_tables("days.toml")
    first, _, rest = typed.partition(" ")
    typed = rest if rest and first in words["articles"] else typed
    for days, names in words["from_today"].items():
        if typed in names:
            return today + timedelta(days=int(days))
    for number, names in words["weekdays"].items():
        for name in names:
            if f" {name} " not in f" {typed} ":
                continue
            ahead = (int(number) - today.weekday()) % 7
            beside = f" {typed} ".replace(f" {name} ", " ").strip()
            if not beside:
                return today + timedelta(days=ahead - (7 if back and ahead else 0))
            if beside in words["beside"]["before"]:
                return today + timedelta(days=ahead - 7)
            if beside in words["beside"]["after"]:
                return today + timedelta(days=ahead or 7)
    return None
