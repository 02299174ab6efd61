"""Manuals for tests: pages of lines as a PDF."""

from __future__ import annotations

from collections.abc import Sequence
from io import BytesIO
from pathlib import Path

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


def paper_with_odd_font(lines: Sequence[str], *, widths: bool = True, letters: bool = False) -> bytes:
    """A page whose font names no letters, only shapes (ISO 32000-1, 9.10.2), or gives no widths."""
    fonts = pytest.importorskip("fontTools.ttLib", reason="fonttools is not installed")
    reportlab = pytest.importorskip("reportlab", reason="reportlab is not installed")
    pytest.importorskip("pypdfium2", reason="pypdfium2 is not installed; the extra jackfield[read] brings it")
    file = Path(reportlab.__file__).parent / "fonts" / "Vera.ttf"
    font, whole = fonts.TTFont(file), file.read_bytes()
    shapes = {chr(code): font.getGlyphID(name) for code, name in font.getBestCmap().items()}
    wide = [round(font["hmtx"][name][0] * 1000 / 2048) if widths else 0 for name in font.getGlyphOrder()]
    text = " ".join(
        f"1 0 0 1 50 {780 - 20 * number} Tm <{''.join(f'{shapes[char]:04x}' for char in line)}> Tj"
        for number, line in enumerate(lines)
    )
    pairs = "".join(f"<{shape:04x}> <{ord(char):04x}>\n" for char, shape in list(shapes.items())[:95])
    named = f"1 begincodespacerange\n<0000> <ffff>\nendcodespacerange\n95 beginbfchar\n{pairs}endbfchar\n"
    parts = [
        b"<< /Type /Catalog /Pages 2 0 R >>",
        b"<< /Type /Pages /Kids [3 0 R] /Count 1 >>",
        b"<< /Type /Page /Parent 2 0 R /MediaBox [0 0 595 842] /Contents 4 0 R"
        b" /Resources << /Font << /F1 5 0 R >> >> >>",
        _stream(f"BT /F1 12 Tf {text} ET".encode()),
        b"<< /Type /Font /Subtype /Type0 /BaseFont /AAAAAA+Vera /Encoding /Identity-H"
        b" /DescendantFonts [6 0 R]" + (b" /ToUnicode 9 0 R >>" if letters else b" >>"),
        b"<< /Type /Font /Subtype /CIDFontType2 /BaseFont /AAAAAA+Vera /CIDToGIDMap /Identity /CIDSystemInfo"
        b" << /Registry (Adobe) /Ordering (Identity) /Supplement 0 >> /FontDescriptor 7 0 R"
        b" /W [0 [" + " ".join(map(str, wide)).encode() + b"]] >>",
        b"<< /Type /FontDescriptor /FontName /AAAAAA+Vera /Flags 4 /FontBBox [-183 -236 1288 928]"
        b" /ItalicAngle 0 /Ascent 928 /Descent -236 /CapHeight 729 /StemV 80 /FontFile2 8 0 R >>",
        _stream(whole),
        _stream(f"/CIDInit /ProcSet findresource begin begincmap\n{named}endcmap end".encode()),
    ]
    out = b"%PDF-1.4\n"
    places = []
    for number, part in enumerate(parts, 1):
        places.append(b"%010d 00000 n \n" % len(out))
        out += b"%d 0 obj\n%b\nendobj\n" % (number, part)
    size = len(parts) + 1
    out += b"xref\n0 %d\n0000000000 65535 f \n%b" % (size, b"".join(places))
    table = out.rindex(b"xref\n")
    return out + b"trailer << /Size %d /Root 1 0 R >>\nstartxref\n%d\n%%%%EOF" % (size, table)


def _stream(content: bytes) -> bytes:
    return b"<< /Length %d /Length1 %d >>\nstream\n%b\nendstream" % (len(content), len(content), content)
