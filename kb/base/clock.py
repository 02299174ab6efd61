"""Tell the date and time; tests can set this one clock.

>>> import os; os.environ["JACKFIELD_TODAY"] = "2026-03-04"
>>> today().isoformat()
'2026-03-04'
>>> del os.environ["JACKFIELD_TODAY"]
"""

from __future__ import annotations

import os
from datetime import UTC, date, datetime

from kb.base.errors import BadInput
from kb.base.messages import Said


def today() -> date:
    """The local date, or the one in ``JACKFIELD_TODAY`` (ISO 8601)."""
    if fixed := os.environ.get("JACKFIELD_TODAY"):
        try:
            return date.fromisoformat(fixed)
        except ValueError:
            raise BadInput("JACKFIELD_TODAY", fixed, Said("expected/date")) from None
    return datetime.now().astimezone().date()


def now() -> datetime:
    """This moment in UTC, to the second."""
    return datetime.now(UTC).replace(microsecond=0)


def moment() -> str:
    """This moment in UTC as the book keeps it, such as 2026-03-04T05:06:07Z."""
    return now().strftime("%Y-%m-%dT%H:%M:%SZ")


def file_stamp() -> str:
    """This moment in UTC for the name of a file, such as 20260304T050607Z."""
    return now().strftime("%Y%m%dT%H%M%SZ")
