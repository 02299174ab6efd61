"""Photos of panels: kept beside the book, without place or camera, and only where they are photos."""

from __future__ import annotations

import base64
import io
import json
import os
import re
import stat
import struct
import sys
import threading
import time
import zlib
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from kb.base.errors import BadInput, BookTrouble
from tests.web.conftest import FORM, ID, Phone
from tests.web.test_pages import shown

pytest.importorskip("flask", reason="the extra jackfield[web] is not installed")
Image = pytest.importorskip("PIL.Image", reason="Pillow is not installed")

from kb.book.photos import MOST, Photos  # noqa: E402
from kb.read import limits as bounds  # noqa: E402
from kb.read.picture import cleaned  # noqa: E402  # after the question whether Pillow is there
from kb.web.visit_form import new_id  # noqa: E402

OTHER = "0199a000-0000-7000-8000-000000000002"
#: By its entry here, since a test of a missing extra may have taken its name off the package meanwhile.
MODULE = sys.modules["kb.book.photos"]
PICTURE = sys.modules["kb.read.picture"]


def picture(size: tuple[int, int] = (640, 480), kind: str = "JPEG", **more: Any) -> bytes:
    out = io.BytesIO()
    made = Image.new("RGB", size, "#204060")
    made.paste((250, 200, 40), (0, 0, size[0] // 4, size[1] // 4))
    made.save(out, kind, **more)
    return out.getvalue()


def with_place() -> bytes:
    """A photo as a phone takes it: lying on its side, with place, camera and a comment."""
    exif = Image.Exif()
    exif[0x0112] = 6  # EXIF 2.3, Orientation: turn clockwise
    exif[0x010F] = "Camera maker"
    exif[0x8825] = {1: "N", 2: (51.0, 30.0, 0.0), 3: "W", 4: (0.0, 7.0, 0.0)}
    return picture(exif=exif, comment=b"client at home", icc_profile=b"x" * 200)


#: A HEIC of 96 by 64 pixels, drawn for this test, with "client at home" in its EXIF data.
HEIC = base64.b64decode(
    "AAAAHGZ0eXBoZWljAAAAAG1pZjFoZWljbWlhZgAAAZdtZXRhAAAAAAAAACFoZGxyAAAAAAAAAABwaWN0AAAAAAAAAAAAAAAAAAAA"
    "ADRpbG9jAAAAAERAAAIAAQAAAAABuwABAAAAAAAAAXIAAgAAAAADLQABAAAAAAAAADQAAAA4aWluZgAAAAAAAgAAABVpbmZlAgAA"
    "AAABAABodmMxAAAAABVpbmZlAgAAAQACAABFeGlmAAAAAA5waXRtAAAAAAABAAAA1mlwcnAAAAC3aXBjbwAAAHhodmNDAQNwAAAA"
    "kAAAAAAAHvAA/P34+AAADwNgAAEAGEABDAH//wNwAAADAJAAAAMAAAMAHroCQGEAAQArQgEBA3AAAAMAkAAAAwAAAwAeoDCBBZbq"
    "SSmubgIaDAgAAAMAyAAAAwAIQGIAAQAHRAHBcrAiQAAAABNjb2xybmNseAABAA0ABoAAAAAUaXNwZQAAAAAAAABgAAAAQAAAABBw"
    "aXhpAAAAAAMICAgAAAAXaXBtYQAAAAAAAAABAAEEgQIDBAAAABppcmVmAAAAAAAAAA5jZHNjAAIAAQABAAABrm1kYXQAAAFuKAGv"
    "WKOHf/M/bWtgCJ0GSNw0g3ZxG+I883qT6Ax/IuQf/wrfxXmwBC9H4Xorzx4Bqoo0qz0PDBacB9UrLB+cJPEoHDSycQ34VJkjRopo"
    "dDF1h802Ho+blMJkQ2w6E7SweLKVdZ0i0UoCd0Rpcth3PNRdqo32GEEsHg8nntFIoLuJ9V+RwcwU6kj6fsHHzKAqsIKQXC7Z9xDD"
    "sKCAqS6QlXOun+0cLYoC191nEX/kklEpEl8Cgmyfi3QMpyikz+5RJ/c8RdBdb2FEVSyIBHF6RHxixgJ4YWeCJSvHEY4T/cWpYAlS"
    "wcL7eKq49WeqyGiSgTwzR7zvsAe0DQIrTUiBnRhSr6M9sc+13ki1F0ji7RtZDKW6O1Xkf1ovfqN4tVYIsr+SEUl9CI3xTrcIR+5B"
    "kNMJYQSumGdtMNL99dwi1LzKeKgjmMIhjuCBtTWRMRUI0rNCSIyRBkGSlXMgUthdLD7G1SpxOjnF6SXrrCVAAAAABkV4aWYAAE1N"
    "ACoAAAAIAAEBDgACAAAADwAAABoAAAAAY2xpZW50IGF0IGhvbWUAAA=="
)


def bomb() -> bytes:
    """A PNG of 60,000 by 60,000 pixels in a few kilobytes."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    head = struct.pack(">IIBBBBB", 60_000, 60_000, 1, 0, 0, 0, 0)
    rows = zlib.compress(bytes(7501) * 2000, 9)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", rows) + chunk(b"IEND", b"")


def send(phone: Phone, content: bytes, name: str = "panel.jpg", **more: str) -> Any:
    data = {**FORM, "id": ID, "do": "save", **more, "photo": (io.BytesIO(content), name)}
    return phone.post("/record", data, content_type="multipart/form-data")


def test_a_photo_is_kept_upright_without_place_and_camera(phone: Phone, home: Path) -> None:
    sent = with_place()
    assert b"client at home" in sent
    assert send(phone, sent).status_code == 303
    (file,) = (home / "photos" / ID).iterdir()
    kept = file.read_bytes()
    assert b"client at home" not in kept
    assert b"Camera" not in kept
    with Image.open(io.BytesIO(kept)) as image:
        assert image.format == "JPEG"
        assert image.size == (480, 640)
        assert not image.getexif()
        assert not {"exif", "icc_profile", "comment", "photoshop", "xmp"} & set(image.info)
        assert image.getpixel((470, 10))[0] > 200  # what was top left is top right now


def test_it_is_named_by_its_content_and_read_by_its_owner_alone(phone: Phone, home: Path) -> None:
    import hashlib

    send(phone, picture())
    (file,) = (home / "photos" / ID).iterdir()
    assert file.stem == hashlib.sha256(file.read_bytes()).hexdigest()
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    assert stat.S_IMODE(file.parent.stat().st_mode) == 0o700


def test_the_set_shows_it_to_paired_phones_only(phone: Phone, stranger: Phone, home: Path) -> None:
    send(phone, picture())
    page = phone.get("/set?make=Hallmere&model=HM32-5").text
    (file,) = (home / "photos" / ID).iterdir()
    link = f"/photo?visit={ID}&name={file.stem}"
    assert link.replace("&", "&amp;") in page
    shown = phone.client.get(link)
    assert shown.mimetype == "image/jpeg"
    assert shown.data == file.read_bytes()
    assert stranger.client.get(link).status_code == 303


def test_a_photo_whose_visit_comes_days_later_is_not_swept_away_with_what_nobody_wants(
    phone: Phone, home: Path
) -> None:
    """The link broke between photo and visit; the phone sends both again after the weekend."""
    photos = Photos(home)
    name = photos.keep(picture())
    loose = home / "photos" / "loose" / f"{name}.jpg"
    weekend = time.time() - 3 * 86_400
    os.utime(loose, (weekend, weekend))
    assert send(phone, picture()).status_code == 303
    assert photos.of(ID) == [name]
    photos.keep(picture((100, 100)))
    os.utime(next(loose.parent.iterdir()), (weekend, weekend))
    photos.keep(picture((90, 90)))
    assert len(list(loose.parent.iterdir())) == 1  # what no visit took in a day is dropped


def test_a_photo_that_was_kept_for_a_form_and_is_gone_when_it_is_saved_is_told(phone: Phone) -> None:
    """Without script a photo is sent with each page of the form; the last may be saved days later."""
    gone = "0" * 64
    data = {**FORM, "id": ID, "do": "save", "photo_kept": gone}
    told = phone.script("/record", data).get_json()
    assert (told["visit"], len(told["left_out"])) == (ID, 1)
    assert "take it again" in told["left_out"][0]


def test_the_page_of_a_visit_blames_what_became_of_its_photo(phone: Phone) -> None:
    """One that is gone or one too many is no file of a wrong kind."""
    data = {**FORM, "do": "save"}
    gone = phone.post("/record", {**data, "id": ID, "photo_kept": "0" * 64})
    page = shown(phone.get(gone.location).text)
    assert "Photo 1 is gone, take it again. The visit itself is saved." in page
    assert "JPEG, PNG, WebP or HEIC up to" not in page
    many = [(io.BytesIO(picture((90 + number, 60))), f"{number}.jpg") for number in range(MOST + 1)]
    over = phone.post("/record", {**data, "id": OTHER, "photo": many}, content_type="multipart/form-data")
    page = shown(phone.get(over.location).text)
    assert f"Photo {MOST + 1} was left out, a visit has at most {MOST}. The visit itself is saved." in page
    assert "JPEG, PNG, WebP or HEIC up to" not in page


@pytest.mark.parametrize(
    "left", ["7", "gone", "gone-", "wrong-1", "<b>", "gone-0", "over-999", "kind-1." * 999]
)
def test_an_address_says_nothing_of_photos_in_words_of_its_own(phone: Phone, left: str) -> None:
    send(phone, picture())
    answer = phone.get("/recorded", query_string={"visit": ID, "left": left})
    assert answer.status_code == 200
    assert ('role="alert"' in answer.text) == left.startswith("kind-1")


def test_two_visits_with_the_very_same_photo_at_once_both_keep_it(home: Path) -> None:
    photos = Photos(home)
    name = photos.keep(picture())
    assert photos.keep(picture()) == name  # both wait for their visits
    assert photos.attach(ID, [name]) == [name]
    assert photos.attach(OTHER, [name]) == [name]
    assert photos.read(OTHER, name) == photos.read(ID, name)


def test_a_corrected_visit_still_shows_its_photos(phone: Phone, home: Path) -> None:
    send(phone, picture())
    for old, new in ((ID, OTHER), (OTHER, new_id())):
        answer = phone.post("/record", {**FORM, "id": new, "supersedes": old, "note": new, "do": "save"})
    (name,) = Photos(home).of(ID)
    for page in (phone.get(answer.location).text, phone.get("/set?make=Hallmere&model=HM32-5").text):
        assert f"/photo?visit={ID}&amp;name={name}" in page


def test_a_photo_that_is_sent_twice_is_one(phone: Phone, home: Path) -> None:
    send(phone, picture())
    send(phone, picture())
    assert len(list((home / "photos" / ID).iterdir())) == 1


def test_a_large_photo_is_made_smaller() -> None:
    with Image.open(io.BytesIO(cleaned(picture((5000, 2000))))) as image:
        assert max(image.size) == bounds.DECODER.edge


@pytest.mark.parametrize("kind", ["PNG", "WEBP"])
def test_other_kinds_become_jpeg(kind: str) -> None:
    with Image.open(io.BytesIO(cleaned(picture(kind=kind)))) as image:
        assert image.format == "JPEG"


@pytest.mark.parametrize(
    ("content", "seen"),
    [
        (b"", "something else"),
        (b"this is no photo", "something else"),
        (b"\xff\xd8\xff\xe0" + b"x" * 500, "damaged"),
        (picture()[:700], "damaged"),
        (picture(kind="GIF"), "something else"),
        (picture(kind="TIFF"), "something else"),
        (b"<svg xmlns='http://www.w3.org/2000/svg'/>", "something else"),
        (b"%PDF-1.7\n", "something else"),
        (bomb(), "pixels"),
        (bytes(26 * 1024 * 1024), "26 MB"),
    ],
    ids=["empty", "text", "false start", "cut off", "gif", "tiff", "svg", "pdf", "bomb of pixels", "26 MB"],
)
def test_what_is_no_photo_is_refused_by_its_content(content: bytes, seen: str) -> None:
    with pytest.raises(BadInput, match=seen):
        cleaned(content)


def chunk(kind: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))


def large_png(wide: int, high: int, more: bytes = b"") -> bytes:
    """A PNG of one colour with 16 bits in each of four channels, small as a file."""
    packer = zlib.compressobj(9)
    row = bytes(1 + 8 * wide)
    rows = b"".join(packer.compress(row) for _ in range(high)) + packer.flush()
    head = struct.pack(">IIBBBBB", wide, high, 16, 6, 0, 0, 0)
    pixels = chunk(b"IDAT", rows)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + more + pixels + chunk(b"IEND", b"")


def many_scans(count: int) -> bytes:
    """A progressive JPEG whose last scan comes again and again: valid, and slow to show."""
    made = picture((9900, 6000), progressive=True, quality=1)
    last = made.rindex(b"\xff\xda")
    return made[:last] + made[last:-2] * count + made[-2:]


def still_webp(size: tuple[int, int]) -> bytes:
    return picture(size, "WEBP", lossless=True)


@pytest.mark.parametrize(
    ("made", "seen"),  # seconds of work, which only this test does: every process collects every test
    [
        (lambda: large_png(6000, 5000), "6000 by 5000 pixels"),
        (lambda: still_webp((6000, 5000)), "6000 by 5000 pixels"),
        (lambda: many_scans(80), "layers"),
    ],
    ids=["PNG", "WebP", "JPEG of many scans"],
)
def test_a_small_file_that_is_a_large_picture_is_refused_before_it_is_decoded(
    made: Callable[[], bytes], seen: str
) -> None:
    content = made()
    assert len(content) < 1_000_000
    with pytest.raises(BadInput, match=seen):
        cleaned(content)


def test_a_text_in_a_png_that_unpacks_to_very_much_is_refused() -> None:
    text = chunk(b"zTXt", b"Comment\0\0" + zlib.compress(bytes(200_000_000), 9))
    with pytest.raises(BadInput, match="damaged"):
        cleaned(large_png(100, 100, text))


@pytest.mark.parametrize("kind", ["WEBP", "PNG"])
def test_of_a_picture_that_moves_the_first_is_kept(kind: str) -> None:
    out = io.BytesIO()
    frames = [Image.new("RGB", (320, 240), (200, n, n)) for n in range(0, 200, 10)]
    frames[0].save(out, kind, save_all=True, append_images=frames[1:])
    with Image.open(io.BytesIO(cleaned(out.getvalue()))) as image:
        assert image.size == (320, 240)
        assert image.getpixel((5, 5))[1] < 20


@pytest.mark.parametrize("size", [(8160, 6120), (4000, 3000)], ids=["50 megapixels", "12 megapixels"])
@pytest.mark.parametrize("progressive", [False, True])
def test_a_photo_as_large_as_phones_take_them_is_kept(size: tuple[int, int], progressive: bool) -> None:
    with Image.open(io.BytesIO(cleaned(picture(size, progressive=progressive)))) as image:
        assert image.size == (bounds.DECODER.edge, bounds.DECODER.edge * 3 // 4)


@pytest.mark.parametrize(
    "limits",
    [{"memory": 150 * 1024 * 1024}, {"seconds": 0}],
    ids=["memory", "processor time"],
)
def test_a_decoder_that_wants_too_much_is_ended_and_the_phone_is_told(
    limits: dict[str, int], phone: Phone, book: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    pytest.importorskip("resource", reason="this system holds no program to its memory")
    monkeypatch.setattr(bounds, "DECODER", replace(bounds.DECODER, **limits))
    told = phone.post(
        "/record",
        {**FORM, "id": ID, "photo": (io.BytesIO(large_png(5000, 4900)), "panel.jpg")},
        headers={"Accept": "application/json"},
    ).json
    assert "very much time or memory" in told["left_out"][0]
    assert len(book.visits("Hallmere", "HM32-5")) == 1


def test_a_decoder_that_does_not_end_is_ended(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(bounds, "DECODER_WAIT_S", 0.01)
    with pytest.raises(BadInput, match="very much time"):
        cleaned(picture((7000, 5000), progressive=True))


def test_a_photo_that_cannot_be_looked_at_now_keeps_the_visit_on_the_phone(
    phone: Phone, book: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Acknowledged would mean that the phone lets go of the photo."""
    monkeypatch.setattr(MODULE, "_TURN_S", 0.01)
    photos = phone.client.application.extensions["jackfield"].photos
    monkeypatch.setattr(photos, "_decoding", threading.Semaphore(0))
    data = {**FORM, "id": ID, "photo": (io.BytesIO(picture()), "panel.jpg")}
    answer = phone.post("/record", data, headers={"Accept": "application/json"})
    assert answer.status_code == 503
    assert "many photos" in answer.json["error"]
    assert book.visits("Hallmere", "HM32-5") == []


@pytest.mark.parametrize(
    "content", [b"this is no photo", bomb(), picture()[:700]], ids=["text", "bomb", "cut off"]
)
def test_a_photo_that_is_none_holds_up_no_visit(content: bytes, phone: Phone, home: Path, book: Any) -> None:
    answer = send(phone, content)
    assert answer.status_code == 303
    assert "Photo 1 was left out: only JPEG" in phone.get(answer.location).text
    assert len(book.visits("Hallmere", "HM32-5")) == 1
    assert not (home / "photos" / ID).exists()


def test_a_script_is_told_which_photo_was_left_out(phone: Phone) -> None:
    data = {**FORM, "id": ID, "photo": (io.BytesIO(b"no photo"), "panel.jpg")}
    told = phone.post("/record", data, headers={"Accept": "application/json"}).json
    assert told["visit"] == ID
    assert told["left_out"][0].startswith("photo 1: saw something else")


def test_a_photo_outlives_a_form_with_a_mistake_in_it(phone: Phone, home: Path) -> None:
    import re

    page = send(phone, picture(), date="soon")
    assert page.status_code == 422
    kept = re.search(r'name="photo_kept" value="([0-9a-f]{64})"', page.text)
    assert kept is not None
    phone.post("/record", {**FORM, "id": ID, "photo_kept": kept[1], "do": "save"})
    assert len(list((home / "photos" / ID).iterdir())) == 1


def test_a_visit_has_no_more_photos_than_a_few(phone: Phone, home: Path) -> None:
    send(phone, picture())
    for number in range(MOST + 2):
        data = {"visit": ID, "photo": (io.BytesIO(picture((100 + number, 80))), "panel.jpg")}
        answer = phone.post("/photo", data, content_type="multipart/form-data")
    assert answer.status_code == 422
    assert len(list((home / "photos" / ID).iterdir())) == MOST


def test_a_name_that_was_sent_is_never_a_path(phone: Phone, home: Path) -> None:
    send(phone, picture(), name="../../../settings.toml", photo_kept="../../settings.toml")
    assert {path.name for path in home.iterdir()} <= {
        "book.sqlite",
        "book.sqlite-wal",
        "book.sqlite-shm",
        "index",
        "photos",
        "phones.json",
        "changes.lock",
    }


def test_no_file_of_visits_holds_a_photo(phone: Phone, home: Path, book: Any) -> None:
    from kb.domain.visit import visit_to

    send(phone, picture())
    (visit,) = book.visits("Hallmere", "HM32-5")
    assert "photo" not in json.dumps(visit_to(visit))


def test_a_heic_photo_is_kept_as_a_jpeg_without_its_metadata() -> None:
    """Some phones keep their photos as HEIC and send them so."""
    pytest.importorskip("pi_heif", reason="the extra jackfield[heic] is not installed")
    assert b"client at home" in HEIC
    kept = cleaned(HEIC)
    assert b"client at home" not in kept
    with Image.open(io.BytesIO(kept)) as shown:
        assert (shown.format, shown.size) == ("JPEG", (96, 64))
        red, green, blue = shown.getpixel((25, 30))
        assert blue > 120 > red
        assert green < 120


def test_without_the_extra_a_heic_photo_is_refused_by_its_name(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    (tmp_path / "pi_heif.py").write_text("raise ImportError")
    monkeypatch.syspath_prepend(str(tmp_path))
    with pytest.raises(BadInput, match=r"HEIC photo.*take JPEG.*'\.\[heic\]'"):
        cleaned(HEIC)


def test_a_damaged_heic_photo_is_refused_as_any_damaged_picture() -> None:
    pytest.importorskip("pi_heif", reason="the extra jackfield[heic] is not installed")
    for broken in (HEIC[:400], HEIC[:40] + bytes(800)):
        with pytest.raises(BadInput, match="photo"):
            cleaned(broken)


def test_a_photo_of_more_than_25_mb_is_refused_and_one_of_20_is_not() -> None:
    """A camera's largest JPEG: what follows the picture in the file is of no use, but it is sent."""
    large = picture() + bytes(20 * 1024 * 1024)
    assert cleaned(large)
    with pytest.raises(BadInput, match="at most 25 MB"):
        cleaned(large + bytes(6 * 1024 * 1024))


def jpegs(phone: Phone, spots: str, home: Path) -> list[Any]:
    """The spots that are kept of a visit with one photo, of which the form says ``spots``."""
    data = {**FORM, "id": ID, "spots": spots, "photo": (io.BytesIO(picture()), "panel.jpg")}
    assert phone.post("/record", data, content_type="multipart/form-data").status_code == 303
    return [json.loads(file.read_text()) for file in sorted((home / "photos" / ID).glob("*.json"))]


def test_jacks_that_were_pointed_at_on_a_photo_are_kept_with_it(phone: Phone, home: Path) -> None:
    spots = [{"photo": 0, "jack": 1, "x": 0.25, "y": 0.5}, {"photo": 0, "jack": 0, "x": 1, "y": 0}]
    (kept,) = jpegs(phone, json.dumps(spots), home)
    assert kept == [{"x": 0.25, "y": 0.5, "jack": "AUDIO"}, {"x": 1.0, "y": 0.0, "jack": "OPTICAL OUT"}]
    page = phone.get("/set?make=Hallmere&model=HM32-5").text
    assert '<circle cx="25.0%" cy="50.0%"' in page


@pytest.mark.parametrize(
    "spots",
    [
        "{",
        "7",
        "[7]",
        "[" * 50_000,
        '[{"photo": 9, "jack": 0, "x": 0, "y": 0}]',
        '[{"photo": 0, "jack": 7, "x": 0, "y": 0}]',
        '[{"photo": 0, "jack": 0, "x": 1e999, "y": 0}]',
        '[{"photo": 0, "jack": 0, "x": NaN, "y": 0}]',
        '[{"photo": 0, "jack": 0, "x": -1, "y": 0}]',
    ],
)
def test_spots_that_make_no_sense_hold_up_no_visit(spots: str, phone: Phone, home: Path) -> None:
    assert jpegs(phone, spots, home) == []


def broken(*_: Any) -> Any:
    raise BookTrouble("no space left")


def test_a_visit_whose_photo_cannot_be_attached_is_told_to_be_saved_and_its_photo_sent_again(
    phone: Phone, book: Any, home: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with monkeypatch.context() as full:
        full.setattr(Photos, "attach", broken)
        answer = send(phone, picture())
    assert answer.status_code == 503
    assert "no space left. The visit itself is saved." in answer.text
    assert "Client: too loud in the hall." in answer.text
    (name,) = re.findall(r'name="photo_kept" value="(\w+)"', answer.text)
    assert phone.post("/record", {**FORM, "id": ID, "do": "save", "photo_kept": name}).status_code == 303
    assert [one.id for one in book.visits("Hallmere", "HM32-5")] == [ID]
    assert [file.stem for file in (home / "photos" / ID).iterdir()] == [name]


def test_a_script_sends_a_photo_again_that_could_not_be_attached(
    phone: Phone, book: Any, home: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    data = {**FORM, "id": ID, "do": "save"}
    with monkeypatch.context() as full:
        full.setattr(Photos, "attach", broken)
        assert (
            phone.script("/record", {**data, "photo": (io.BytesIO(picture()), "panel.jpg")}).status_code
            == 503
        )
    told = phone.script("/record", {**data, "photo": (io.BytesIO(picture()), "panel.jpg")}).get_json()
    assert (told["already"], told["left_out"]) == (True, [])
    assert len(list((home / "photos" / ID).iterdir())) == 1


def test_a_photo_that_cannot_be_kept_leaves_the_form_as_it_was_typed(
    phone: Phone, book: Any, home: Path
) -> None:
    (home / "photos").write_text("no folder")
    answer = send(phone, picture())
    assert answer.status_code == 503
    assert "Client: too loud in the hall." in answer.text
    assert book.visits("Hallmere", "HM32-5") == []
