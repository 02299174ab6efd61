"""Know the paper sizes and the units that go with them."""

from __future__ import annotations

from typing import Final

from kb.domain.words import Word


class Paper(Word):
    """A4 with metres, US Letter with feet and inches."""

    A4 = "a4", "A4"
    LETTER = "letter", "Letter"

    @property
    def feet(self) -> bool:
        """Whether lengths are in feet and inches."""
        return self is Paper.LETTER

    @property
    def size(self) -> str:
        """The page size as CSS has it."""
        return _SIZES[self]


_SIZES: Final = {Paper.A4: "210mm 297mm", Paper.LETTER: "8.5in 11in"}
