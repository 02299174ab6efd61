"""The first page reads a photo of the label and leads on; nothing of the photo stays."""

from __future__ import annotations

import base64
import io
import re
import threading
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from tests.read.pictures import photo, pretend, read_as
from tests.web.conftest import Phone

pytest.importorskip("flask", reason="the extra jackfield[web] is not installed")
Image = pytest.importorskip("PIL.Image", reason="Pillow is not installed")

from kb.read import picture as pictures  # noqa: E402
from kb.read.picture import Piece, cut_out  # noqa: E402
from kb.read.quality import Measures  # noqa: E402
from kb.web import pages  # noqa: E402

AROUND = ("AC 220-240V~ 50/60Hz 85W", "S/N 408123344551", "MFG 03/2014")


@pytest.fixture(autouse=True)
def installed(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(pages, "missing_library", lambda: "")


def send(phone: Phone, content: bytes | None = None, path: str = "/label") -> Any:
    phone.get("/")
    data = {"photo": (io.BytesIO(photo() if content is None else content), "label.jpg")}
    return phone.post(path, data, content_type="multipart/form-data")


def test_the_set_is_a_tap_away_beside_the_piece_that_was_read(
    monkeypatch: pytest.MonkeyPatch, phone: Phone, home: Path
) -> None:
    pretend(monkeypatch, read_as("NORWELL", "MODEL NO.: NV40-210", *AROUND))
    answer = send(phone)
    assert answer.status_code == 200
    assert "/set?make=Norwell&amp;model=NV40-210" in answer.text
    assert "MODEL NO.: NV40-210" in answer.text
    (cut,) = re.findall(r'src="data:image/jpeg;base64,([^"]+)"', answer.text)
    with Image.open(io.BytesIO(base64.b64decode(cut))) as shown:
        assert shown.width > 3 * shown.height
    assert "img-src 'self' data: blob:" in answer.headers["Content-Security-Policy"]
    own = {"book.sqlite", "book.sqlite-wal", "book.sqlite-shm", "index", "phones.json", "changes.lock"}
    assert {path.name for path in home.iterdir()} <= own


def test_a_set_that_nobody_met_is_begun_with_make_model_and_year(
    monkeypatch: pytest.MonkeyPatch, phone: Phone, book: Any
) -> None:
    pretend(monkeypatch, read_as("Zentrix", "Modell: ZX55-1000", *AROUND))
    answer = send(phone)
    link = "/record?make=Zentrix&amp;model=ZX55-1000&amp;year=2014"
    assert link in answer.text
    form = phone.get(link.replace("&amp;", "&")).text
    for name, value in (("make", "Zentrix"), ("model", "ZX55-1000"), ("year", "2014")):
        assert re.search(rf'<input[^>]*name="{name}"[^>]*value="{value}"', form), name
    assert book.visits("Zentrix", "ZX55-1000") == []


def test_a_job_goes_along(monkeypatch: pytest.MonkeyPatch, phone: Phone) -> None:
    pretend(monkeypatch, read_as("NORWELL", "MODEL NO.: NV40-210", *AROUND))
    assert 'action="/label"' in phone.get("/").text
    assert 'action="/label?job=J-104"' in phone.get("/?job=J-104").text
    assert "job=J-104" in send(phone, path="/label?job=J-104").text


@pytest.mark.parametrize(
    ("texts", "said"),
    [((), "No text was read"), (("CAUTION", "DO <b>NOT</b> OPEN"), "CAUTION | DO &lt;b&gt;NOT")],
)
def test_a_photo_without_a_model_says_so_and_asks_for_another(
    monkeypatch: pytest.MonkeyPatch, phone: Phone, texts: tuple[str, ...], said: str
) -> None:
    pretend(monkeypatch, read_as(*texts))
    answer = send(phone)
    assert said in answer.text
    assert 'action="/label"' in answer.text


def test_what_is_wrong_with_the_photo_is_told_above_what_was_read(
    monkeypatch: pytest.MonkeyPatch, phone: Phone
) -> None:
    grainy = Measures(light=90, bright=200, burnt=0, grain=15, blur=1)
    pretend(monkeypatch, replace(read_as("NORWELL", "MODEL NO.: NV40-210", *AROUND), measures=grainy))
    page = send(phone).text
    assert page.index("The photo is grainy, because there was little light") < page.index("NV40-210")


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "something else"),
        (b"%PDF-1.7\n<script>", "something else"),
        (b"\xff\xd8\xff\xe0" + b"x" * 500, "a damaged picture"),
    ],
    ids=["empty", "two kinds at once", "false start"],
)
def test_what_is_no_photo_is_refused_with_its_reason(
    monkeypatch: pytest.MonkeyPatch, phone: Phone, content: bytes, said: str
) -> None:
    pretend(monkeypatch, read_as())
    answer = send(phone, content)
    assert answer.status_code == 422
    assert said in answer.text


def test_a_stranger_has_no_label_read(stranger: Phone) -> None:
    assert stranger.post("/label", {"photo": (io.BytesIO(photo()), "label.jpg")}).status_code == 401


def test_one_photo_is_read_at_a_time(monkeypatch: pytest.MonkeyPatch, phone: Phone) -> None:
    pretend(monkeypatch, read_as("NORWELL", "MODEL NO.: NV40-210", *AROUND))
    monkeypatch.setattr(pages, "_READING", threading.Semaphore(0))
    monkeypatch.setattr(pages, "_TURN_S", 0.01)
    answer = send(phone)
    assert answer.status_code == 503
    assert "being read just now" in answer.text


def test_without_the_extra_the_page_says_what_to_install(
    monkeypatch: pytest.MonkeyPatch, phone: Phone
) -> None:
    monkeypatch.setattr(pages, "missing_library", lambda: "rapidocr")
    text = phone.get("/").text
    assert "pip install &#39;.[read]&#39;" in text or "pip install '.[read]'" in text
    assert 'action="/label"' not in text
    monkeypatch.setattr(pictures, "missing_library", lambda: "rapidocr")
    answer = send(phone)
    assert answer.status_code == 422
    assert "rapidocr is not installed" in answer.text


def test_a_piece_is_cut_out_level() -> None:
    """The white band lies at a slant on black; cut out, its middle is white from end to end."""
    whole = Image.new("RGB", (400, 400))
    for step in range(200):
        x, y = 100 + step, 100 + step // 2
        whole.paste((255, 255, 255), (x, y, x + 2, y + 40))
    out = io.BytesIO()
    whole.save(out, "JPEG", quality=95)
    corners = ((100.0, 100.0), (300.0, 200.0), (300.0, 240.0), (100.0, 140.0))
    with Image.open(io.BytesIO(cut_out(out.getvalue(), Piece("x", corners, 1.0)))) as shown:
        middle = shown.height // 2
        row = [shown.getpixel((x, middle))[0] for x in range(30, shown.width - 30, 10)]
        assert min(row) > 200
        assert shown.getpixel((shown.width // 2, 3))[0] < 60
