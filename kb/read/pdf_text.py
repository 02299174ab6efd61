"""Take the text of a PDF page by page, in a process of its own.

``pdf`` starts it; it imports little, so that it starts quickly. It runs no script of the file and
opens no link. It reads the file from stdin and writes a line of JSON to stdout: first the number of pages,
then each page with its pieces of text and their places, or with its picture. Exit 1: not a PDF that is
taken; stdout then has a JSON list of what was seen and what was expected, each as the key of a sentence and
its values.
"""

from __future__ import annotations

import base64
import ctypes
import io
import json
import sys
from collections.abc import Iterator
from typing import Any, Final

from kb.read.limits import PdfLimits, Refused, hold_to, of

MOST_CHARS: Final = 40_000  #: of one page; a page of small print has 10,000
_TRIED: Final = 3_000  # characters that tell whether a page is garbled
_GARBLED: Final = 0.2  # of the characters: a bullet or a symbol is not named in many good fonts
#: A space, in heights of the line, that is wider than the gap between the letters before it.
_SPACE: Final = 0.1
#: Between cells of a table, in heights; where the file writes its blanks, a gap without one is enough.
_CELLS: Final = 0.9
_CELLS_WITHOUT_BLANK: Final = 0.25
_HYPHENS: Final = {0x02, 0xAD, 0xFFFE}  # how the library writes a hyphen that parts a word


def lines(sent: bytes, limits: PdfLimits) -> Iterator[dict[str, Any]]:
    """Yield the number of pages, and then each page. Raises Refused."""
    import pypdfium2

    try:
        document = pypdfium2.PdfDocument(sent)
    except pypdfium2.PdfiumError as problem:
        if "password" in str(problem).lower() or "security" in str(problem).lower():
            raise Refused(of("seen/encrypted-pdf"), of("expected/pdf-without-password")) from problem
        raise Refused(of("seen/damaged-pdf"), of("expected/manual")) from problem
    count = len(document)
    if not 0 < count <= limits.pages:
        raise Refused(of("seen/pages", count=count), of("expected/manual-of-pages", most=limits.pages))
    yield {"pages": count}
    for number in limits.pictures or range(1, count + 1):
        try:
            page = document[number - 1]
            if limits.pictures:
                yield {"page": number, "picture": _picture(page, limits.edge)}
            else:
                text = page.get_textpage()  # which takes the page apart: once
                garbled = _is_garbled(text)
                pieces = [] if garbled else _pieces(text)
                text.close()
                yield {"page": number, "pieces": pieces, "drawn": garbled or _is_drawn(page)}
            page.close()
        except (pypdfium2.PdfiumError, IndexError):
            yield {"page": number, "damaged": True}


def _is_garbled(text: Any) -> bool:
    """Can many letters of the page only be seen? Their font does not name them, or puts them on one place."""
    from pypdfium2 import raw

    box = raw.FS_RECTF()
    seen = wrong = 0
    before = -1.0, -1.0
    for at in range(min(raw.FPDFText_CountChars(text), _TRIED)):
        if (
            chr(max(raw.FPDFText_GetUnicode(text, at), 0)).isspace()
            or raw.FPDFText_IsGenerated(text, at) == 1
        ):
            continue
        seen += 1
        raw.FPDFText_GetLooseCharBox(text, at, ctypes.byref(box))
        place = round(box.left, 1), round(box.bottom, 1)
        wrong += place == before or raw.FPDFText_HasUnicodeMapError(text, at) == 1
        before = place
    return wrong > _GARBLED * seen


def _is_drawn(page: Any) -> bool:
    """Is there a picture on the page?"""
    from pypdfium2 import raw

    return next(iter(page.get_objects(filter=[raw.FPDF_PAGEOBJ_IMAGE], max_depth=2)), None) is not None


def _picture(page: Any, edge: int) -> str:
    """The page as PNG in base64, grey, its longer side ``edge`` pixels."""
    scale = edge / max(*page.get_size(), 1)
    out = io.BytesIO()
    page.render(scale=min(scale, 6), grayscale=True).to_pil().save(out, "PNG")
    return base64.b64encode(out.getvalue()).decode("ascii")


def _pieces(text: Any) -> list[Any]:
    """Pieces of text with left, bottom, right and top in points: a line, or a cell of a table."""
    from pypdfium2 import raw

    box = raw.FS_RECTF()
    found: list[Any] = []
    held: list[str] = []
    lows: list[float] = []
    highs: list[float] = []
    left = bottom = right = usual = 0.0
    drawn, blanks = True, _writes_blanks(text)
    for at in range(min(raw.FPDFText_CountChars(text), MOST_CHARS)):
        code = raw.FPDFText_GetUnicode(text, at)
        if code in (0x0A, 0x0D):
            _put(found, held, left, right, lows, highs)
            continue
        if not 0 < code < 0x110000 or 0xD800 <= code < 0xE000:
            continue
        char = "-" if code in _HYPHENS else chr(code)
        if char.isspace():
            if held:
                held.append(" ")
                drawn = not blanks or raw.FPDFText_IsGenerated(text, at) != 1
            continue
        if not raw.FPDFText_GetLooseCharBox(text, at, ctypes.byref(box)):
            continue
        high = max(box.top - box.bottom, 1.0)
        wide = (_CELLS if drawn else _CELLS_WITHOUT_BLANK) * high
        apart = abs(box.bottom - bottom) > 0.4 * high or not -high < box.left - right < wide
        if held and apart:
            _put(found, held, left, right, lows, highs)
        if not held:
            left, bottom, usual = box.left, box.bottom, 0.0
        elif held[-1] != " ":
            gap = (box.left - right) / high
            if gap - usual > _SPACE:
                held.append(" ")  # kerning took some of it, and the library sees none
            else:
                usual = max(gap, 0.0)
        held.append(char)
        drawn = True
        right = box.right
        lows.append(box.bottom)
        highs.append(high)
    _put(found, held, left, right, lows, highs)
    return found


def _writes_blanks(text: Any) -> bool:
    """Does the file write most blanks between words? Some only move on, and the library adds the blank."""
    from pypdfium2 import raw

    count = min(raw.FPDFText_CountChars(text), 2000)
    blanks = [at for at in range(count) if raw.FPDFText_GetUnicode(text, at) == 0x20]
    moved = sum(int(raw.FPDFText_IsGenerated(text, at)) == 1 for at in blanks)
    return 2 * moved < len(blanks)


def _put(
    found: list[Any], held: list[str], left: float, right: float, lows: list[float], highs: list[float]
) -> None:
    """Add a piece. An accent makes a letter's box higher: the middle one of all letters counts."""
    said = " ".join("".join(held).split())
    if said:
        bottom, high = sorted(lows)[len(lows) // 2], sorted(highs)[len(highs) // 2]
        found.append([said, round(left, 1), round(bottom, 1), round(right, 1), round(bottom + high, 1)])
    for one in (held, lows, highs):
        one.clear()


def main() -> int:
    """Read one manual."""
    given = json.loads(sys.argv[1])
    limits = PdfLimits(**{**given, "pictures": tuple(given["pictures"])})
    hold_to(limits.memory, limits.seconds)
    sent = sys.stdin.buffer.read()
    out = sys.stdout
    try:
        for one in lines(sent, limits):
            out.write(json.dumps(one) + "\n")
            out.flush()  # what was read is there, whatever the next page does
    except Refused as wrong:
        out.write(json.dumps(wrong.args))
        return 1
    except MemoryError:
        return 2
    return 0


if __name__ == "__main__":
    sys.exit(main())
