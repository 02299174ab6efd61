"""Read the pages of a manual that are pictures, with the reader of pictures."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from kb.base.errors import BadInput
from kb.base.messages import Wording
from kb.base.progress import Progress
from kb.read import limits, pdf
from kb.read.picture import PictureReader, Reading, can_import

_AT_ONCE: Final = 8  #: pages that are drawn at a time: each is some megabytes
_SURE: Final = 0.6  #: confidence below which a piece is left out


def with_scans(
    document: pdf.Document, sent: bytes, place: Wording, progress: Progress | None = None
) -> pdf.Document:
    """Return the manual with the text of its pages that are pictures.

    Pages stay empty without the reader of pictures, if one takes too much, and after
    ``limits.SCANNED_PAGES``.
    """
    wanted = [page.number for page in document.pages if page.picture][: limits.SCANNED_PAGES]
    if not wanted or not can_import("rapidocr"):
        return document
    read: dict[int, tuple[pdf.Piece, ...]] = {}
    with PictureReader(place) as reader:
        for begin in range(0, len(wanted), _AT_ONCE):
            drawn = pdf.pictures(sent, wanted[begin : begin + _AT_ONCE], place)
            for number, picture in drawn.items():
                try:
                    read[number] = _pieces(reader.read(picture, place))
                except BadInput:  # it takes too much; the other pages are still wanted
                    continue
                if progress:
                    progress(len(read), len(wanted))
    pages = (replace(page, pieces=read.get(page.number, page.pieces)) for page in document.pages)
    return replace(document, pages=tuple(pages))


def _pieces(reading: Reading) -> tuple[pdf.Piece, ...]:
    """The pieces of a picture with places as on a page of A4: from the lower left corner, in points."""
    scale = _A4_HIGH / max(reading.height, 1)
    found = []
    for piece in reading.pieces:
        if piece.sure >= _SURE:
            across = [x * scale for x, _ in piece.corners]
            down = [_A4_HIGH - y * scale for _, y in piece.corners]
            found.append(pdf.Piece(piece.text, min(across), min(down), max(across), max(down)))
    return tuple(found)


_A4_HIGH: Final = 842.0  #: points (ISO 216)
