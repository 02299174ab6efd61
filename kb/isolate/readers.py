"""Read ids that must be known, and offer the nearest."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from kb.base.errors import BadInput
from kb.base.messages import Said, Wording


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
