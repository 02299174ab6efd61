"""Manuals for tests: pages of lines as a PDF."""

from __future__ import annotations

from collections.abc import Sequence
from io import BytesIO

import pytest


def paper(*pages: Sequence[str], encrypt: str | None = None, script: str = "") -> bytes:
    """A PDF of pages, each a list of lines; ``|`` parts the cells of a table."""
    pytest.importorskip("reportlab", reason="reportlab, which makes manuals for tests, is not installed")
    pytest.importorskip("pypdfium2", reason="pypdfium2 is not installed; the extra jackfield[read] brings it")
    from reportlab.lib.pagesizes import A4
    from reportlab.pdfgen.canvas import Canvas

    out = BytesIO()
    canvas = Canvas(out, pagesize=A4, invariant=1, encrypt=encrypt)
    for page in pages:
        canvas.setFont("Helvetica", 10)
        for number, line in enumerate(page):
            for at, cell in enumerate(line.split("|")):
                canvas.drawString(50 + 130 * at, 780 - 18 * number, cell.strip())
        canvas.showPage()
    canvas.save()
    if not script:
        return out.getvalue()
    import pypdf
    from pypdf.generic import DictionaryObject, NameObject, TextStringObject

    writer = pypdf.PdfWriter(clone_from=BytesIO(out.getvalue()))
    action = {NameObject("/S"): NameObject("/JavaScript"), NameObject("/JS"): TextStringObject(script)}
    writer._root_object[NameObject("/OpenAction")] = DictionaryObject(action)
    changed = BytesIO()
    writer.write(changed)
    return changed.getvalue()


#: A manual of one language: a page on connections and one on the menu.
NV40 = (
    ["Norwell", "NV40-210", "NV50-210"],
    [
        "Connections",
        "1  OPTICAL OUT",
        "Connect a sound system with an optical cable (not supplied).",
        "2  HEADPHONE",
        "For headphones, 3.5 mm. The speakers are muted while headphones are connected.",
        "3  AV IN",
        "Connect the AUDIO OUT sockets of your player to AV IN.",
        "4  HDMI 2 (ARC)",
        "Connect a soundbar that supports the Audio Return Channel (ARC).",
        "* A LINE OUT socket is available depending on model.",
    ],
    ["Audio menu", "Sound > Digital output: choose PCM or Auto."],
)
