"""Serve test signals: played by the phone itself, or as sound files where there is no script."""

from __future__ import annotations

import json
from functools import lru_cache

from flask import Flask, Response, abort
from werkzeug.wrappers import Response as AnyResponse

from kb.loop.tone import FADE_IN_S, LEVEL_DB, NOISE_DB, RATE_HZ, SWEEP_HZ, Tone, noise_sections, wav
from kb.web.site import language, page

#: What a phone plays; hum and buzz are for the laptop, to compare with a recording.
PLAYED = (Tone.SINE, Tone.SIDES, Tone.PINK, Tone.SWEEP)
_SECONDS = 8.0


def add(app: Flask) -> None:
    """Put these pages into ``app``."""
    app.add_url_rule("/tones", "tones", tones)
    app.add_url_rule("/tones/<name>.wav", "tone_file", tone_file)


def tones() -> AnyResponse:
    """The signals, each with what it is for."""
    said = language()
    about = [(tone.value, said.word(tone), said(f"cli/tone/means/{tone.value}")) for tone in PLAYED]
    facts = {
        "rate": RATE_HZ,
        "level_db": LEVEL_DB,
        "noise_db": NOISE_DB,
        "fade_s": FADE_IN_S,
        "sweep_hz": SWEEP_HZ,
        "sections": noise_sections(),
    }
    return page("tones", tones=about, facts=json.dumps(facts))


def tone_file(name: str) -> AnyResponse:
    """One signal as a WAV file of eight seconds. Raises NotFound for one that is not there."""
    tone = next((one for one in PLAYED if one.value == name), None)
    if tone is None:
        abort(404)
    return Response(_file(tone), mimetype="audio/wav")


@lru_cache(maxsize=len(PLAYED))
def _file(tone: Tone) -> bytes:
    return wav(tone, seconds=_SECONDS)
