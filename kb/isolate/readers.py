"""Read ids and rows of chances of the file of faults."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from typing import Final

from kb.base import text
from kb.base.errors import BadInput
from kb.base.messages import Wording
from kb.base.validation import chance, listed

ENTRIES: Final = 400  #: entries of one kind in the model, at most
_ID = frozenset("abcdefghijklmnopqrstuvwxyz0123456789-.")


def word(value: object, place: Wording) -> str:
    """Read a kebab-case word: the id of a fault, test, tool or complaint."""
    found = text.line(value, place, 60, empty=False)
    if not _ID.issuperset(found):
        raise BadInput(place, found, "a word of small letters, digits and hyphens")
    return found


def chances(count: int) -> Callable[[object, Wording], tuple[float, ...]]:
    """Return a reader of the chances of ``count`` answers: each 0 to 1, together 1."""
    expected = f"{count} chances from 0 to 1 that sum to 1"

    def read(value: object, place: Wording) -> tuple[float, ...]:
        row = listed(chance, count)(value, place)
        if len(row) != count or not math.isclose(sum(row), 1.0, abs_tol=1e-6):
            raise BadInput(place, list(row), expected)
        return row

    return read


def known(names: Mapping[str, object], what: str) -> Callable[[object, Wording], str]:
    """Return a reader of ids that must be among ``names``; the message offers the nearest."""

    def read(value: object, place: Wording) -> str:
        if isinstance(value, str) and value in names:
            return value
        raise BadInput(place, value, expected_one(value, list(names), what))

    return read


def expected_one(value: object, names: Sequence[str], what: str) -> str:
    """Return the expected words for a message: ``bad-cable (or one of ...)``."""
    from difflib import get_close_matches  # loaded only after a mistake, which is rare

    listing = f"{what}: one of {', '.join(names)}" if names else f"{what}: there is none"
    near = get_close_matches(value[:60].lower(), names, n=1) if isinstance(value, str) else []
    return f"{near[0]} ({listing})" if near else listing
