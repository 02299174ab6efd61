"""Reading text in pictures: offline, in a process with limits, and of nothing but pictures."""

from __future__ import annotations

import io
import json
import math
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import replace
from importlib.metadata import requires
from pathlib import Path
from types import SimpleNamespace

import pytest

from kb.base.errors import BadInput, MissingExtra
from kb.read import limits, recogniser
from kb.read import picture as reading
from kb.read.panel import looks
from kb.read.picture import PictureReader, Reading, cleaned
from tests.read.pictures import LINES, photo

Image = pytest.importorskip("PIL.Image", reason="Pillow is not installed")


@pytest.fixture(scope="module")
def reader() -> Iterator[PictureReader]:
    """One process that reads all pictures here, as starting it takes longest."""
    for name in ("rapidocr", "onnxruntime", "cv2"):
        if not reading.can_import(name):
            pytest.skip(f"{name} is not installed; the extra jackfield[read] brings it")
    with PictureReader() as process:
        yield process


def texts(read: Reading) -> list[str]:
    return [piece.text for piece in read.pieces]


@pytest.mark.parametrize("turn", [0, 12, -25, 90, 180, 270])
def test_the_lines_of_a_label_are_read_with_their_places(reader: PictureReader, turn: float) -> None:
    """Turned counterclockwise; a phone that looks straight down may keep a photo lying on its side."""
    read = reader.read(cleaned(photo(turn=turn)))
    assert "NORWELL" in texts(read)
    (model,) = (piece for piece in read.pieces if "NV40-210" in piece.text)
    assert 0.8 < model.sure <= 1
    (x0, y0), (x1, y1), _, (x3, y3) = model.corners
    assert abs((math.degrees(math.atan2(y0 - y1, x1 - x0)) - turn + 180) % 360 - 180) < 3
    assert math.dist((x0, y0), (x1, y1)) > 5 * math.dist((x0, y0), (x3, y3))
    assert all(0 < x < read.width and 0 < y < read.height for x, y in model.corners)


def test_a_label_that_another_renderer_drew_is_read(reader: PictureReader) -> None:
    """resvg draws it, with a font of matplotlib: neither is used to draw the other pictures here."""
    resvg = pytest.importorskip("resvg_py", reason="resvg is not installed")
    matplotlib = pytest.importorskip("matplotlib", reason="matplotlib is not installed")
    font = Path(matplotlib.get_data_path()) / "fonts" / "ttf" / "DejaVuSans.ttf"
    lines = "".join(f'<text x="60" y="{90 + 90 * n}">{text}</text>' for n, text in enumerate(LINES))
    drawn = (
        '<svg xmlns="http://www.w3.org/2000/svg" width="900" height="360"><rect width="900" height="360" '
        f'fill="#ddd"/><g font-family="DejaVu Sans" font-size="42" transform="rotate(3)">{lines}</g></svg>'
    )
    png = bytes(resvg.svg_to_bytes(svg_string=drawn, font_files=[str(font)], skip_system_fonts=True))
    assert {"NORWELL", "AC 220-240V 50Hz 85W"} <= set(texts(reader.read(cleaned(png))))


def test_a_photo_lying_on_its_side_is_read_upright(reader: PictureReader) -> None:
    exif = Image.Exif()
    exif[0x0112] = 8  # EXIF 2.3, Orientation: turn counterclockwise to see it upright
    lying = Image.open(io.BytesIO(photo())).transpose(Image.Transpose.ROTATE_270)
    out = io.BytesIO()
    lying.save(out, "JPEG", exif=exif)
    read = reader.read(cleaned(out.getvalue()))
    assert (read.width, read.height) == (900, 480)
    assert "NORWELL" in texts(read)


@pytest.mark.parametrize("turn", [0, -25, 90, 180])
def test_a_label_is_read_the_right_way_up(reader: PictureReader, turn: float) -> None:
    read = reader.read(cleaned(photo(turn=turn)), label=True)
    assert {"NORWELL", "AC 220-240V 50Hz 85W"} <= set(texts(read))
    (model,) = (piece for piece in read.pieces if "NV40-210" in piece.text)
    (x0, y0), (x1, y1) = model.corners[:2]
    assert abs((math.degrees(math.atan2(y0 - y1, x1 - x0)) - turn + 180) % 360 - 180) < 3


def test_a_model_behind_a_name_in_letters_that_the_library_does_not_know_is_read(
    reader: PictureReader,
) -> None:
    """The library loses signs of such a line, "43SW102"; so what follows the name is read alone."""
    matplotlib = pytest.importorskip("matplotlib", reason="matplotlib is not installed")
    from PIL import ImageDraw, ImageFilter, ImageFont

    font = Path(matplotlib.get_data_path()) / "fonts" / "ttf" / "DejaVuSans-BoldOblique.ttf"
    made = Image.new("RGB", (900, 300), "#202020")
    pen = ImageDraw.Draw(made)
    for number, text in enumerate(("NORWELL", "МОДЕЛЬ:43SW10T2", "P/N: 13765228")):
        pen.text((60, 40 + 70 * number), text, font=ImageFont.truetype(str(font), 30), fill="#d0d0d0")
    out = io.BytesIO()
    made.filter(ImageFilter.GaussianBlur(1.5)).save(out, "JPEG")
    read = reader.read(cleaned(out.getvalue()), label=True)
    every = [text for piece in read.pieces for text in (piece.text, *piece.others)]
    assert any(text.endswith("43SW10T2") for text in every), every


MARKS = ("OPTICAL OUT", "AUDIO IN", "HEADPHONE", "AUDIO OUT")


def panel_in_grain() -> bytes:
    """Small dim marks far from each other, in much grain; about 19 pixels high."""
    numpy = pytest.importorskip("numpy", reason="numpy is not installed")
    from PIL import ImageDraw, ImageFilter, ImageFont

    made = Image.new("L", (1600, 700), 30)
    pen = ImageDraw.Draw(made)
    for number, text in enumerate(MARKS):
        pen.text((280 + 300 * number, 220 + 130 * (number % 3)), text, 78, ImageFont.load_default(size=19))
    made = made.filter(ImageFilter.GaussianBlur(1.2))
    grain = numpy.random.default_rng(3).normal(0, 11, (700, 1600))
    out = io.BytesIO()
    Image.fromarray(numpy.clip(numpy.asarray(made) + grain, 0, 255).astype("uint8")).save(out, "JPEG")
    return out.getvalue()


def bare(text: str) -> str:
    return text.replace(" ", "")


def test_a_closer_look_at_a_panel_sees_all_marks_however_far_apart(reader: PictureReader) -> None:
    picture = cleaned(panel_in_grain())
    found = [piece for look in looks(reader, picture) for piece in look.pieces]
    assert {bare(mark) for mark in MARKS} <= {bare(piece.text) for piece in found}
    for number, mark in enumerate(MARKS):  # at their places on the photo, not on the part looked at
        x, y = next(piece.corners[0] for piece in found if bare(piece.text) == bare(mark))
        assert math.dist((x, y), (280 + 300 * number, 220 + 130 * (number % 3))) < 25


@pytest.mark.parametrize("turn", [0, 90, 180])
def test_a_closer_look_reads_a_panel_the_right_way_up(reader: PictureReader, turn: float) -> None:
    read = reader.read(cleaned(photo(("OPTICAL OUT", "HDMI 1", "HEADPHONE"), turn=turn)), closer=True)
    assert {"OPTICAL OUT", "HDMI 1", "HEADPHONE"} <= set(texts(read))


def as_read(text: str, sure: float) -> recogniser.Read:
    return recogniser.Read(text, sure, [(at + 0.5) / len(text) for at in range(len(text))])


def test_two_marks_far_from_each_other_on_one_line_are_two(reader: PictureReader) -> None:
    read = reader.read(cleaned(photo(("AUDIO OUT     OPTICAL OUT", "HDMI 1"), turn=8)), closer=True)
    assert {"AUDIO OUT", "OPTICAL OUT", "HDMI 1"} <= set(texts(read))
    left, right = (
        next(piece.corners for piece in read.pieces if piece.text == text)
        for text in ("AUDIO OUT", "OPTICAL OUT")
    )
    assert left[1][0] < right[0][0]


def test_a_text_ends_where_its_last_letter_ends_however_far_its_box_goes() -> None:
    """Else a mark reaches over the one next to it."""
    pytest.importorskip("numpy", reason="numpy is not installed")
    box = [(100, 200), (300, 200), (300, 220), (100, 220)]
    ((text, part),) = recogniser._apart(recogniser.Read("USB", 0.9, [0.05, 0.1, 0.15]), box, 10)
    assert text == "USB"
    assert [tuple(map(float, corner)) for corner in part] == [(100, 200), (140, 200), (140, 220), (100, 220)]


@pytest.mark.parametrize("printed", ["OPTICAL OUT", "光デジタル出力"])
def test_in_grain_letters_of_the_script_are_read_that_was_read_well(printed: str) -> None:
    """Grain looks like signs of any script; at most as many texts are read as a panel has."""
    numpy = pytest.importorskip("numpy", reason="numpy is not installed")
    pytest.importorskip("cv2", reason="OpenCV is not installed")
    boxes = [[(x, y), (x + 90, y), (x + 90, y + 20), (x, y + 20)] for x in (0, 300) for y in range(0, 900, 6)]

    class Library:
        lines = 0

        def __call__(self, picture: object, *, use_det: bool, **more: object) -> SimpleNamespace:
            if use_det:
                return SimpleNamespace(boxes=numpy.array(boxes), scores=[0.5] * len(boxes))
            return SimpleNamespace(txts=("A1",), scores=[0.6], word_results=[None])

        def averaged(self, pictures: list[object]) -> list[recogniser.Read]:
            self.lines += len(pictures) == 1
            if self.lines < 4:
                return [as_read(printed, 0.99), as_read(printed if printed.isascii() else "X", 0.98)]
            return [as_read("口", 0.7), as_read("O", 0.6)]

    picture = numpy.random.default_rng(5).integers(0, 255, (960, 960, 3), "uint8")
    library = Library()
    read = recogniser.panel_lines(picture, library)
    assert len(read) == library.lines == 100
    assert [text for text, *_ in read[:4]] == [printed] * 3 + ["O" if printed.isascii() else "口"]


@pytest.mark.parametrize("closer", [False, True])
def test_grain_that_looks_like_hundreds_of_lines_costs_no_more_than_a_label(closer: bool) -> None:
    numpy = pytest.importorskip("numpy", reason="numpy is not installed")
    pytest.importorskip("cv2", reason="OpenCV is not installed")
    boxes = [[(x, y), (x + 90, y), (x + 90, y + 20), (x, y + 20)] for x in (0, 300) for y in range(0, 900, 3)]
    words = SimpleNamespace(words=["A1"], word_cols=[[1, 2]], line_txt_len=10)
    calls = []

    def library(picture: object, *, use_det: bool, **more: object) -> SimpleNamespace:
        calls.append(use_det)
        if use_det:
            return SimpleNamespace(boxes=numpy.array(boxes), scores=[0.5] * len(boxes))
        return SimpleNamespace(txts=("A1",), scores=[0.6], word_results=[words])

    picture = numpy.random.default_rng(5).integers(0, 255, (960, 960, 3), "uint8")
    assert len(recogniser.label_lines(picture, library, closer=closer)) == 40
    assert calls.count(True) == 1
    assert calls.count(False) < 150


def test_a_picture_without_text_gives_no_pieces(reader: PictureReader) -> None:
    assert reader.read(cleaned(photo(()))).pieces == ()


def test_one_process_reads_several_pictures_and_stays_apart_from_this_one(reader: PictureReader) -> None:
    before = set(sys.modules)
    assert texts(reader.read(cleaned(photo(("TARNOW",))))) == ["TARNOW"]
    assert texts(reader.read(cleaned(photo(("OXMARLE",))))) == ["OXMARLE"]
    assert {"rapidocr", "onnxruntime"}.isdisjoint(set(sys.modules) - before)


def test_reading_uses_no_network_and_would_fail_if_it_tried(reader: PictureReader) -> None:
    """The process forbids itself every connection: what was read above was read without one."""
    tried = (
        "import socket\n"
        "from kb.read.recogniser import forbid_network\n"
        "forbid_network()\n"
        "for attempt in (lambda: socket.create_connection(('127.0.0.1', 9)),\n"
        "                lambda: socket.getaddrinfo('example.org', 80),\n"
        "                lambda: socket.gethostbyname('example.org'),\n"
        "                lambda: socket.socket(type=socket.SOCK_DGRAM).sendto(b'x', ('127.0.0.1', 9))):\n"
        "    try:\n"
        "        attempt()\n"
        "        print('reached')\n"
        "    except RuntimeError as refused:\n"
        "        print(refused)\n"
    )
    done = subprocess.run([sys.executable, "-c", tried], capture_output=True, text=True, check=True)
    assert done.stdout.split() == [
        "socket.getaddrinfo",
        "socket.getaddrinfo",
        "socket.gethostbyname",
        "socket.sendto",
    ]


def test_the_models_are_in_the_wheel_of_the_library(reader: PictureReader) -> None:
    """Nothing is left to be fetched when a picture is read for the first time."""
    from importlib.util import find_spec

    spec = find_spec("rapidocr")
    assert spec is not None
    assert spec.origin is not None
    models = {path.suffix for path in (Path(spec.origin).parent / "models").iterdir()}
    assert ".onnx" in models


def test_without_the_extra_it_is_said_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(reading, "can_import", lambda name: name != "onnxruntime")
    with pytest.raises(MissingExtra, match=r"onnxruntime is not installed.*pip install '\.\[read\]'"):
        PictureReader("find")


def test_a_library_that_cannot_be_loaded_is_named(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, reader: PictureReader
) -> None:
    """As on a machine whose other libraries lack what the wheel needs."""
    (tmp_path / "rapidocr.py").write_text("raise ImportError('libexample.so.1: cannot open')")
    monkeypatch.syspath_prepend(str(tmp_path))
    with PictureReader() as broken, pytest.raises(BadInput, match=r"libexample\.so\.1.*force-reinstall"):
        broken.read(photo())


def test_a_reader_that_does_not_end_is_ended_and_the_next_picture_is_read(
    monkeypatch: pytest.MonkeyPatch, reader: PictureReader
) -> None:
    with PictureReader() as slow:
        monkeypatch.setattr(limits, "RECOGNISER_WAIT_S", 0.01)
        with pytest.raises(BadInput, match="very much time"):
            slow.read(photo())
        monkeypatch.undo()
        assert "NORWELL" in texts(slow.read(photo()))


@pytest.mark.parametrize("limit", [{"seconds": -1}, {"memory": 200 * 1024 * 1024}], ids=str)
def test_a_reader_that_wants_too_much_is_ended(
    limit: dict[str, int], monkeypatch: pytest.MonkeyPatch, reader: PictureReader
) -> None:
    pytest.importorskip("resource", reason="this system holds no program to its memory")
    monkeypatch.setattr(limits, "RECOGNISER", replace(limits.RECOGNISER, **limit))
    with PictureReader() as greedy, pytest.raises(BadInput, match=r"very much time|cannot start"):
        greedy.read(photo())


def test_what_is_no_jpeg_never_crashes_the_caller(reader: PictureReader) -> None:
    with PictureReader() as apart:
        for content in (b"", b"no picture", photo()[:900]):
            with pytest.raises(BadInput, match="photo"):
                apart.read(content)


def test_the_extra_names_a_reader_that_needs_no_graphics_library() -> None:
    """The plain build of OpenCV needs libGL, which a bare machine has not."""
    if not reading.can_import("rapidocr"):
        pytest.skip("rapidocr is not installed; the extra jackfield[read] brings it")
    wanted = [one.split(";")[0] for one in requires("rapidocr") or []]
    assert any(one.startswith("opencv-python-headless") for one in wanted)
    assert not any(one == "opencv-python" or one.startswith("opencv-python>") for one in wanted)


def test_an_answer_is_one_line_of_json(reader: PictureReader) -> None:
    corners = [[1.0, 2.0], [9.0, 2.0], [9.0, 5.0], [1.0, 5.0]]
    found = SimpleNamespace(boxes=[corners], txts=("NORW\nELL",), scores=(0.75,))
    answer = recogniser.recognised(photo(), lambda pixels, **steps: found)
    assert "\n" not in json.dumps(answer)
    assert answer["pieces"] == [["NORW\nELL", [[1, 2], [9, 2], [9, 5], [1, 5]], 0.75, []]]
