"""Hostile, broken and huge manuals are refused with a clear message, within limits, and nothing is lost."""

from __future__ import annotations

import io
import random
import zlib
from dataclasses import replace

import pytest

from kb.base.errors import BadInput, MissingExtra
from kb.read import limits, pdf
from kb.read.manual import ManualText
from kb.read.scans import with_scans
from tests.read.papers import NV40, paper, paper_with_odd_font


def refused(sent: bytes) -> str:
    with pytest.raises(BadInput) as wrong:
        pdf.document(sent, "nv40.pdf")
    return str(wrong.value)


def test_files_that_are_no_pdf_are_named() -> None:
    pytest.importorskip("pypdfium2", reason="pypdfium2 is not installed")
    assert refused(b"") == "nv40.pdf: saw an empty file, expected a manual as PDF"
    assert "saw a damaged PDF" in refused(b"%PDF-1.7\nnothing more")
    assert "saw something else than a PDF" in refused(b"<html>")


def test_a_file_that_is_also_an_archive_is_refused() -> None:
    """A polyglot: programs that look for another beginning would take it for something else."""
    assert "something else than a PDF" in refused(b"PK\x03\x04 archive " + paper(["HEADPHONE"]))


def test_a_cut_file_is_damaged() -> None:
    whole = paper(*NV40)
    assert "damaged" in refused(whole[: len(whole) // 2])


def test_an_encrypted_manual_is_refused() -> None:
    assert "an encrypted PDF, expected one that opens without a password" in refused(
        paper(["HEADPHONE"], encrypt="secret")
    )


def test_a_manual_of_too_many_pages_is_refused_before_they_are_read(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(limits, "PDF", replace(limits.PDF, pages=3))
    assert "saw 4 pages, expected a manual of 1 to 3 pages" in refused(paper(*[["a page"]] * 4))


def test_a_manual_of_too_many_bytes_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(limits, "MANUAL_BYTES", 100)
    assert "expected at most" in refused(paper(["HEADPHONE"]))


def bomb(first: bytes, unpacked: int) -> bytes:
    """A manual whose second page unpacks to so many bytes."""
    pypdf = pytest.importorskip("pypdf", reason="pypdf is not installed")
    from pypdf.generic import EncodedStreamObject, NameObject, NumberObject

    writer = pypdf.PdfWriter(clone_from=io.BytesIO(first))
    packer = zlib.compressobj(9)
    block = b"BT (x) Tj ET " * 80_000
    packed = b"".join(packer.compress(block) for _ in range(unpacked // len(block))) + packer.flush()
    stream = EncodedStreamObject()
    stream._data = packed
    stream.update(
        {NameObject("/Filter"): NameObject("/FlateDecode"), NameObject("/Length"): NumberObject(len(packed))}
    )
    writer.pages[1][NameObject("/Contents")] = writer._add_object(stream)
    out = io.BytesIO()
    writer.write(out)
    return out.getvalue()


def test_a_page_that_unpacks_to_gigabytes_ends_the_reading_and_the_pages_before_it_count(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    pytest.importorskip("resource", reason="this system cannot hold a program to a limit")
    monkeypatch.setattr(limits, "PDF", replace(limits.PDF, memory=300 * 1024 * 1024, seconds=5))
    sent = bomb(paper(["HEADPHONE"], ["a bomb"], ["AUDIO OUT"]), 400 * 1024 * 1024)
    assert len(sent) < 2_000_000
    read = pdf.document(sent, "nv40.pdf")
    assert read.stopped == 2
    assert [page.pieces[0].text for page in read.pages] == ["HEADPHONE"]


@pytest.mark.parametrize("seed", range(6))
def test_a_damaged_manual_is_read_or_refused_and_never_breaks_the_reader(seed: int) -> None:
    chance = random.Random(seed)
    sent = bytearray(paper(*NV40))
    for _ in range(1 + 8 * seed):
        sent[chance.randrange(9, len(sent))] = chance.randrange(256)
    try:
        read = pdf.document(bytes(sent), "nv40.pdf")
    except BadInput:
        return
    assert len(read.pages) <= read.count
    ManualText(read.pages).draft("NV40-210")


def test_a_script_in_a_manual_is_not_run() -> None:
    read = pdf.document(paper(["HEADPHONE"], script="app.launchURL('x'); while (true) {}"), "nv40.pdf")
    assert read.stopped is None
    assert [piece.text for piece in read.pages[0].pieces] == ["HEADPHONE"]


def test_a_page_without_text_that_shows_a_picture_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    Image = pytest.importorskip("PIL.Image", reason="Pillow is not installed")
    pytest.importorskip("pypdfium2", reason="pypdfium2 is not installed")
    out = io.BytesIO()
    Image.new("L", (400, 500), 255).save(out, "PDF")
    (page,) = pdf.document(out.getvalue(), "scan.pdf").pages
    assert page.picture
    assert not page.pieces
    drawn = pdf.pictures(out.getvalue(), [1, 7], "scan.pdf")
    assert drawn.keys() == {1}
    assert max(Image.open(io.BytesIO(drawn[1])).size) == limits.PDF.edge


def test_a_page_that_is_a_picture_is_read_and_all_of_it_is_doubtful() -> None:
    for name in ("rapidocr", "onnxruntime", "cv2"):
        pytest.importorskip(name, reason=f"{name} is not installed; the extra jackfield[read] brings it")
    pypdfium2 = pytest.importorskip("pypdfium2", reason="pypdfium2 is not installed")
    pages = [page.render(scale=2).to_pil() for page in pypdfium2.PdfDocument(paper(*NV40[1:]))]
    out = io.BytesIO()
    pages[0].save(out, "PDF", save_all=True, append_images=pages[1:])
    read = with_scans(pdf.document(out.getvalue(), "scan.pdf"), out.getvalue(), "scan.pdf")
    items = ManualText(read.pages).draft("NV40-210")
    assert {"OPTICAL OUT", "HEADPHONE"} <= {item.marking for item in items}
    assert {item.doubt for item in items if item.marking == "HEADPHONE"} == {"picture"}


ODD = ("1  OPTICAL OUT", "Connect a sound system with an optical cable.", "2  HEADPHONE", "For headphones.")


def test_a_page_with_a_sound_font_is_text() -> None:
    (page,) = pdf.document(paper_with_odd_font(ODD, letters=True), "nv40.pdf").pages
    assert [piece.text for piece in page.pieces] == [" ".join(line.split()) for line in ODD]
    assert not page.picture


@pytest.mark.parametrize("font", [{}, {"letters": True, "widths": False}], ids=["no letters", "no widths"])
def test_a_page_whose_font_is_broken_is_read_as_a_picture(font: dict[str, bool]) -> None:
    """Its text would be ``237,&$/ 287`` or ``HEADPON``: a mark that nobody finds printed at a jack."""
    (page,) = pdf.document(paper_with_odd_font(ODD, **font), "nv40.pdf").pages
    assert page.picture
    assert not page.pieces


def test_what_a_page_with_a_broken_font_shows_is_drafted_and_doubtful() -> None:
    for name in ("rapidocr", "onnxruntime", "cv2"):
        pytest.importorskip(name, reason=f"{name} is not installed; the extra jackfield[read] brings it")
    sent = paper_with_odd_font(ODD)
    items = ManualText(with_scans(pdf.document(sent, "nv40.pdf"), sent, "nv40.pdf").pages).draft("NV40-210")
    assert {(item.marking, item.doubt) for item in items if item.is_jack} == {
        ("OPTICAL OUT", "picture"),
        ("HEADPHONE", "picture"),
    }


def test_a_manual_that_claims_a_million_pages_is_refused_at_once() -> None:
    sent = paper(["HEADPHONE"]).replace(b"/Count 1 ", b"/Count 1000000 ")
    assert b"1000000" in sent
    assert "1000000 pages, expected a manual of 1 to 600" in refused(sent)


def test_pages_that_are_nested_in_themselves_are_refused_or_read_within_limits() -> None:
    sent = paper(["HEADPHONE"])
    number = sent.split(b"/Pages ")[1].split(b" ")[0]
    ring = sent.replace(b"/Kids [ ", b"/Kids [ " + number + b" 0 R ")
    assert ring != sent
    try:
        pages = len(pdf.document(ring, "nv40.pdf").pages)
    except BadInput:
        pages = 0
    assert pages <= 2


def test_a_page_as_large_as_a_town_and_one_without_size_are_read() -> None:
    whole = paper(["HEADPHONE"])
    box = b"/MediaBox [ " + whole.split(b"/MediaBox [ ")[1].split(b"]")[0]
    for size in (b"0 0 1e9 1e9", b"0 0 0 0", b"9 9 -9 -9", b"0 0 nan 5"):
        odd = whole.replace(box, b"/MediaBox [ " + size + b" ")
        read = pdf.document(odd, "nv40.pdf")
        assert [piece.text for page in read.pages for piece in page.pieces] in (["HEADPHONE"], [])
        pdf.pictures(odd, [1], "nv40.pdf")


def test_a_manual_that_needs_no_password_to_open_is_read_although_it_is_encrypted() -> None:
    pypdf = pytest.importorskip("pypdf", reason="pypdf is not installed")
    writer = pypdf.PdfWriter(clone_from=io.BytesIO(paper(["HEADPHONE"])))
    writer.encrypt(user_password="", owner_password="owner", algorithm="RC4-128")
    out = io.BytesIO()
    writer.write(out)
    (page,) = pdf.document(out.getvalue(), "nv40.pdf").pages
    assert [piece.text for piece in page.pieces] == ["HEADPHONE"]


def test_a_manual_with_an_archive_behind_it_is_read_as_the_manual_that_it_is() -> None:
    """The other half of a polyglot is never opened."""
    (page,) = pdf.document(
        paper(["HEADPHONE"]) + b"\nPK\x03\x04 archive <script>x</script>", "nv40.pdf"
    ).pages
    assert [piece.text for piece in page.pieces] == ["HEADPHONE"]


def test_without_the_library_the_extra_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(pdf, "find_spec", lambda _name: None)
    with pytest.raises(MissingExtra, match=r"\[read\]"):
        pdf.document(b"%PDF-1.7\n", "nv40.pdf")


def test_a_blank_that_kerning_took_is_read_and_cells_without_a_blank_are_apart() -> None:
    """``DIGITALAUDIO OUT`` is no mark that anybody finds printed at a jack."""
    pytest.importorskip("reportlab", reason="reportlab is not installed")
    pytest.importorskip("pypdfium2", reason="pypdfium2 is not installed")
    from reportlab.lib.pagesizes import A4
    from reportlab.pdfgen.canvas import Canvas

    out = io.BytesIO()
    canvas = Canvas(out, pagesize=A4, invariant=1)
    canvas.setFont("Times-Roman", 12)
    canvas.drawString(50, 780, "Plug the lead of the amplifier into the socket at the back of the set.")
    end = 50 + canvas.stringWidth("DIGITAL", "Times-Roman", 12)
    canvas.drawString(50, 740, "DIGITAL")
    canvas.drawString(end + 1.7, 740, "AUDIO OUT")
    canvas.drawString(50, 700, "NV32-1")
    canvas.drawString(50 + canvas.stringWidth("NV32-1", "Times-Roman", 12) + 4.5, 700, "NV43-1")
    canvas.save()
    (page,) = pdf.document(out.getvalue(), "manual").pages
    assert [piece.text for piece in page.pieces][1:] == ["DIGITAL AUDIO OUT", "NV32-1", "NV43-1"]


def test_each_page_is_taken_apart_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Whether its letters have names and what it says come from one look at the page."""
    pypdfium2 = pytest.importorskip("pypdfium2")
    from kb.read.pdf_text import lines

    taken = []
    take = pypdfium2.PdfPage.get_textpage
    monkeypatch.setattr(pypdfium2.PdfPage, "get_textpage", lambda page: (taken.append(1), take(page))[1])
    for made in (paper(*NV40, *NV40), paper_with_odd_font(ODD, letters=True)):
        taken.clear()
        first, *pages = lines(made, limits.PdfLimits(pages=9, memory=0, seconds=0, edge=0))
        assert len(taken) == len(pages) == first["pages"]
