"""Read a day as people say it: a date, yesterday, friday, "el viernes pasado".

A weekday alone is the nearest one, today included: back for what was done, ahead for what is planned.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from contextlib import suppress
from datetime import date, timedelta
from typing import Any, Final

from kb.base import clock
from kb.base.datafiles import data_tables
from kb.base.errors import BadInput
from kb.base.messages import Said
from kb.base.text import folded
from kb.cli.common import Session
from kb.domain.kinds import FIRST_DATE, CalendarDay

_PART: Final = re.compile(r"([0-9]{4})(?:-([0-9]{2}))?\Z")
_DECEMBER: Final = 12
_YEAR_LAST: Final = re.compile(r"([0-9]{1,2})([./-]) ?([0-9]{1,2})\2 ?([0-9]{4})\Z")
_NUMBER: Final = re.compile(r"([0-9]{1,4})(?:st|nd|rd|th)?\Z")
_JUST_PAST: Final = timedelta(days=31)
_LEAP: Final = 8  #: years, at most, from one 29 February to the next (Gregorian calendar)


def read_day(session: Session, typed: str, option: str = "--day", *, back: bool = False) -> date:
    """Return the day that was typed, and say which date words mean. Raises BadInput naming the option."""
    typed = typed.strip()
    day = said_day(typed, clock.today(), back=back)
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


def said_day(typed: str, today: date, *, back: bool) -> date | None:
    """Return the day of 28.2.2026, or that words name, seen from ``today``; None if they name none."""
    if year_last := _YEAR_LAST.match(typed):
        return _only_reading(int(year_last[1]), int(year_last[3]), int(year_last[4]))
    typed = folded(typed).lower()
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
    return _with_month(typed, words, today, back=back)


def _only_reading(first: int, second: int, year: int) -> date | None:
    """The one day that day and month in any order can mean; None for 3.4.2026, which may be two days."""
    found = set()
    for month, day in ((first, second), (second, first)):
        with suppress(ValueError):
            found.add(date(year, month, day))
    return found.pop() if len(found) == 1 and min(found) >= FIRST_DATE else None


def _with_month(typed: str, words: Mapping[str, Any], today: date, *, back: bool) -> date | None:
    """The day of ``28 feb`` or ``the 3rd of March 2026``; without a year the nearest one back or ahead.

    Ahead it may lie a month back: who plans nothing there looks for what was done.
    """
    parts = [part for part in typed.split() if part not in words["articles"]]
    named = [int(number) for number, names in words["months"].items() for part in parts if part in names]
    numbers = sorted(int(found[1]) for part in parts if (found := _NUMBER.match(part)))
    if len(named) != 1 or len(parts) != 1 + len(numbers) or len(numbers) not in (1, 2):
        return None
    years = numbers[1:] or range(today.year - _LEAP, today.year + _LEAP + 1)
    days = []
    for year in years:
        with suppress(ValueError):  # 29 February, or no day at all
            days.append(date(year, named[0], numbers[0]))
    if numbers[1:]:
        return next((day for day in days if day >= FIRST_DATE), None)
    some = [day for day in days if (day <= today if back else day >= today - _JUST_PAST)]
    return (max if back else min)(some, default=None)
