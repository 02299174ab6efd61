"""Test signals on the phone page: the driver goes down before anything sounds."""

from __future__ import annotations

import io
import wave

import pytest

from tests.web.conftest import Phone

pytest.importorskip("flask", reason="the extra jackfield[web] is not installed")


def test_the_page_says_to_turn_the_driver_down_before_it_offers_a_signal(phone: Phone) -> None:
    said = phone.get("/tones").get_data(as_text=True)
    assert said.index("Turn the driver down first") < said.index("Play 1 kHz sine")
    assert said.count("disabled") >= 4  # until somebody says that it is turned down


@pytest.mark.parametrize("name", ["sine", "sides", "pink", "sweep"])
def test_without_script_a_signal_is_a_sound_file(name: str, phone: Phone) -> None:
    answer = phone.client.get(f"/tones/{name}.wav")
    assert answer.mimetype == "audio/wav"
    with wave.open(io.BytesIO(answer.data)) as file:
        assert file.getnframes() == 8 * file.getframerate()


def test_a_signal_that_is_not_there_is_not_found(phone: Phone) -> None:
    assert phone.get("/tones/trumpet.wav").status_code == 404
