"""A photo that is too dark, grainy, blurred, burnt out or too far away is told so; a good one is not."""

from __future__ import annotations

import io
from typing import Any

import pytest

from kb.read.picture import Piece, Reading
from kb.read.quality import FLAWS, Measures, flaws, measured
from tests.read.pictures import photo

np = pytest.importorskip("numpy", reason="numpy is not installed")
cv2 = pytest.importorskip("cv2", reason="OpenCV is not installed")
from PIL import Image, ImageDraw, ImageFilter  # noqa: E402

GOOD = Measures(light=120, bright=220, burnt=0, grain=2, blur=1)


def picture() -> Image.Image:
    """A label as a good photo shows it: 1,600 pixels wide, on a wall."""
    label = Image.open(io.BytesIO(photo()))
    whole = Image.new("RGB", (1600, 1200), "#787470")
    whole.paste(label, (300, 300))
    return whole.filter(ImageFilter.GaussianBlur(0.8))


def seen(image: Any, grain: float = 2.0) -> tuple[str, ...]:
    """What is wrong with it, as a telephone sends it: with grain, as a JPEG."""
    pixels = np.asarray(image, dtype=np.float32)
    pixels = pixels + np.random.default_rng(7).normal(0, grain, (*pixels.shape[:2], 1))
    out = io.BytesIO()
    Image.fromarray(np.clip(pixels, 0, 255).astype(np.uint8)).save(out, "JPEG", quality=82)
    return flaws(measured(np.asarray(Image.open(out))[:, :, ::-1]), [40.0])


def test_a_good_photo_is_told_nothing() -> None:
    assert seen(picture()) == ()


def test_a_photo_in_the_dark_is_too_dark_and_its_grain_is_not_told_as_well() -> None:
    assert seen(Image.eval(picture(), lambda value: value // 10), grain=5) == ("dark",)


def test_a_photo_with_much_grain_is_grainy() -> None:
    assert seen(picture(), grain=16) == ("grainy",)


@pytest.mark.parametrize("grain", [2, 6])
def test_a_photo_out_of_focus_is_blurred(grain: float) -> None:
    assert "blurred" in seen(picture().filter(ImageFilter.GaussianBlur(7)), grain)


@pytest.mark.parametrize("moved", [(13, 1), (1, 13)], ids=["across", "down"])
def test_a_photo_of_a_hand_that_moved_is_blurred(moved: tuple[int, int]) -> None:
    assert seen(Image.fromarray(cv2.blur(np.asarray(picture()), moved))) == ("blurred",)


def test_a_torch_in_the_picture_burns_it_out() -> None:
    y, x = np.mgrid[0:1200, 0:1600]
    spot = 400 * np.exp(-((x - 800) ** 2 + (y - 500) ** 2) / (2 * 130**2))
    lit = np.clip(np.asarray(picture(), np.float32) + spot[..., None], 0, 255).astype(np.uint8)
    assert seen(Image.fromarray(lit)) == ("glaring",)


def burnt(shape: str, *where: Any, **how: Any) -> float:
    """Which share of a small photo a light burnt out, if this white shape is on it."""
    drawn = Image.new("RGB", (400, 300), "#484440")
    getattr(ImageDraw.Draw(drawn), shape)(*where, **how)
    return measured(np.asarray(drawn)).burnt


def test_the_hard_disc_of_a_torch_on_shiny_plastic_burns_a_mark_out() -> None:
    assert burnt("ellipse", (150, 100, 210, 160), fill="white") > 0.02
    assert burnt("ellipse", (150, 100, 230, 155), fill="white") > 0.02  # seen at an angle


def test_a_white_plate_a_white_ring_and_white_print_are_not_burnt_out() -> None:
    assert burnt("rectangle", (150, 100, 210, 160), fill="white") == 0
    assert burnt("polygon", [(150, 100), (214, 110), (206, 166), (144, 160)], fill="white") == 0
    assert burnt("ellipse", (150, 100, 210, 160), outline="white", width=15) == 0  # a socket
    assert burnt("text", (100, 100), "OO", fill="white", font_size=90) == 0


def test_white_paper_and_a_screenshot_are_not_burnt_out() -> None:
    paper = Image.new("RGB", (1600, 1200), "#404040")
    ImageDraw.Draw(paper).rectangle((200, 150, 1400, 1050), fill="white")
    ImageDraw.Draw(paper).text((300, 300), "MODEL NO.: NV40-210", fill="black", font_size=44)
    assert seen(paper, grain=0) == ()
    screen = Image.new("RGB", (1080, 2160), "white")
    ImageDraw.Draw(screen).text((100, 300), "MODEL NO.: NV40-210", fill="black", font_size=44)
    assert seen(screen, grain=0) == ()


def test_small_letters_are_told_as_far_away() -> None:
    assert flaws(GOOD, [11, 12, 40]) == ("far",)
    assert flaws(GOOD, [30, 31, 8]) == ()


def test_a_photo_without_text_is_not_told_that_it_is_far_away() -> None:
    assert flaws(GOOD, []) == ()


def test_what_was_not_measured_has_no_flaw() -> None:
    assert Reading(1600, 1200, (Piece("HDMI", ((0, 0), (30, 0), (30, 9), (0, 9)), 0.9),)).flaws == ()


def test_at_most_two_flaws_are_told_the_worst_first() -> None:
    bad = Measures(light=10, bright=30, burnt=0.1, grain=20, blur=5)
    assert flaws(bad, [5]) == ("dark", "blurred")
    assert set(flaws(bad, [5])) < set(FLAWS)


@pytest.mark.parametrize("shape", [(1, 1, 3), (9, 700, 3), (40, 40, 3)])
def test_any_size_and_an_even_picture_are_measured(shape: tuple[int, int, int]) -> None:
    assert measured(np.full(shape, 128, np.uint8)).light == 128
