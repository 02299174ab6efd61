"""Read ids and rows of chances of the file of faults."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from typing import Final

from kb.base import text
from kb.base.errors import BadInput
from kb.base.messages import Said, Wording
from kb.base.validation import chance, listed

ENTRIES: Final = 400  #: entries of one kind in the model, at most
_ID = frozenset("abcdefghijklmnopqrstuvwxyz0123456789-.")


def word(value: object, place: Wording) -> str:
    """Read a kebab-case word: the id of a fault, test, tool or complaint."""
    found = text.line(value, place, 60, empty=False)
    if not _ID.issuperset(found):
        raise BadInput(place, found, Said("expected/id-word"))
    return found


def chances(count: int) -> Callable[[object, Wording], tuple[float, ...]]:
    """Return a reader of the chances of ``count`` answers: each 0 to 1, together 1."""
    expected = Said("expected/chances-that-sum", count=count)

    def read(value: object, place: Wording) -> tuple[float, ...]:
        row = listed(chance, count)(value, place)
        if len(row) != count or not math.isclose(sum(row), 1.0, abs_tol=1e-6):
            raise BadInput(place, list(row), expected)
        return row

    return read


def known(names: Mapping[str, object], what: Wording) -> Callable[[object, Wording], str]:
    """Return a reader of ids that must be among ``names``; the message offers the nearest."""

    def read(value: object, place: Wording) -> str:
        if isinstance(value, str) and value in names:
            return value
        raise BadInput(place, value, expected_one(value, list(names), what))

    return read


def expected_one(value: object, names: Sequence[str], what: Wording) -> Wording:
    """Return the expected words for a message: ``bad-cable (or one of ...)``."""
    from difflib import get_close_matches  # loaded only after a mistake, which is rare

    if not names:
        return Said("expected/kind-without-any", kind=what)
    listing = Said("expected/kind-one-of", kind=what, words=", ".join(names))
    typed = value[:60].lower() if isinstance(value, str) else ""
    parts = [name for name in names if typed in name.split("-")]
    near = parts if len(parts) == 1 else get_close_matches(typed, names, n=1)
    return Said("expected/near-of", near=near[0], others=listing) if near else listing
