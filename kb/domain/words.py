"""Define the words of the trade, each with one meaning.

Values are the kebab-case words of files and JSON; ``label`` is what a person reads.

>>> Form("toslink").label
'optical (TOSLINK)'
>>> Form.read("tosslink", "jack 1, form")
Traceback (most recent call last):
...
kb.base.errors.BadInput: jack 1, form: saw 'tosslink', expected toslink (or one of rca-pair, ...)
"""

from __future__ import annotations

from enum import StrEnum
from typing import Final, Self

from kb.base.errors import BadInput


class Word(StrEnum):
    """A word of the vocabulary with the label that people read."""

    label: str

    def __new__(cls, value: str, label: str = "") -> Self:
        self = str.__new__(cls, value)
        self._value_ = value
        self.label = label or value.replace("-", " ")
        return self

    @classmethod
    def read(cls, value: object, place: str) -> Self:
        """The word that stands in a file or option; raises BadInput that lists what was expected."""
        if isinstance(value, str):
            try:
                return cls(value)
            except ValueError:
                pass
        known = [word.value for word in cls]
        raise BadInput(place, value, _expected(value, known))


def _expected(value: object, known: list[str]) -> str:
    listed = f"one of {', '.join(known)}"
    if not isinstance(value, str) or len(value) > 40:
        return listed
    from difflib import get_close_matches  # a mistake is rare; its cost is paid only then

    near = get_close_matches(value.lower().replace("_", "-").replace(" ", "-"), known, n=1)
    return f"{near[0]} (or {listed})" if near else listed


class Kind(Word):
    """What the source is."""

    TELEVISION = "television"
    SET_TOP_BOX = "set-top-box", "set-top box"
    RECEIVER = "receiver"
    SOUNDBAR = "soundbar"
    PLAYER = "player"
    COMPUTER = "computer"
    OTHER = "other"


class Display(Word):
    """How a television shows its picture."""

    FLAT = "flat"
    TUBE = "tube"
    PROJECTOR = "projector"


class Form(Word):
    """What plugs into a jack. The last four carry no usable sound, but stand on panels."""

    RCA_PAIR = "rca-pair", "RCA pair"
    RCA_SINGLE = "rca-single", "single RCA"
    TOSLINK = "toslink", "optical (TOSLINK)"
    MINI_TOSLINK = "mini-toslink", "3.5 mm optical"
    JACK_35 = "jack-3.5", "3.5 mm jack"
    JACK_635 = "jack-6.35", "6.35 mm jack"
    HDMI = "hdmi", "HDMI"
    SCART = "scart", "SCART"
    DIN_5 = "din-5", "5-pin DIN"
    SPEAKER_TERMINALS = "speaker-terminals", "speaker terminals"
    BLUETOOTH = "bluetooth", "Bluetooth"
    D_SUB = "d-sub", "D-sub"
    USB = "usb", "USB"
    ANTENNA = "antenna"
    OTHER = "other", "other socket"


class Colour(Word):
    """The colour of a jack's ring, where it tells something (CTA-863)."""

    RED = "red"
    WHITE = "white"
    BLACK = "black"
    YELLOW = "yellow"
    ORANGE = "orange"
    PURPLE = "purple"
    GREEN = "green"
    BLUE = "blue"
    GREY = "grey"
    BROWN = "brown"
    TAN = "tan"


class Direction(Word):
    """Which way sound goes through a jack."""

    OUTPUT = "output"
    INPUT = "input"
    UNCLEAR = "unclear"


class Signal(Word):
    """What an output carries; ``not-audio`` is no full-range sound at all (video, control, bass only)."""

    ANALOG_LINE = "analog-line", "analog line"
    HEADPHONE = "headphone"
    OPTICAL = "optical", "optical digital"
    COAXIAL = "coaxial", "coaxial digital"
    ARC = "arc", "HDMI ARC"
    EARC = "earc", "HDMI eARC"
    SPEAKER_LEVEL = "speaker-level", "speaker level"
    WIRELESS = "wireless"
    ACOUSTIC = "acoustic", "sound in the air"
    NOT_AUDIO = "not-audio", "no usable sound"


class Level(Word):
    """Does the level at the jack follow the remote control?"""

    FIXED = "fixed"
    VARIABLE = "variable"
    SELECTABLE = "selectable"
    UNKNOWN = "unknown"


class Format(Word):
    """What a digital output sends."""

    PCM = "pcm", "PCM"
    BITSTREAM = "bitstream"
    SELECTABLE = "selectable"
    UNKNOWN = "unknown"


class Speakers(Word):
    """What the set's own speakers do while the jack is used."""

    STAY_ON = "stay-on", "stay on"
    MUTE = "mute", "go silent"
    MUTE_UNLESS_SET = "mute-unless-set", "go silent unless set in the menu"
    UNKNOWN = "unknown"


class Outcome(Word):
    """What came of using a jack."""

    CARRIED = "carried", "carried sound"
    WEAK = "weak"
    SILENT = "silent"
    HUM = "hum"
    DISTORTED = "distorted"
    DELAYED = "delayed"
    NOT_TRIED = "not-tried", "not tried"


#: How far an outcome counts as working (common practice): hum, weak and late sound have remedies and count
#: half. Spoilt sound, or none, did not work.
WORKED: Final = {
    Outcome.CARRIED: 1.0,
    Outcome.WEAK: 0.5,
    Outcome.HUM: 0.5,
    Outcome.DELAYED: 0.5,
    Outcome.DISTORTED: 0.0,
    Outcome.SILENT: 0.0,
}


class Basis(Word):
    """What a visit's word rests on, strongest first."""

    TESTED = "tested"
    SEEN = "seen"
    MANUAL = "manual"
    TOLD = "told"

    @property
    def weight(self) -> int:
        """4 for tested down to 1 for told: who is believed when visits disagree (common practice)."""
        return _WEIGHTS[self]


_WEIGHTS = {Basis.TESTED: 4, Basis.SEEN: 3, Basis.MANUAL: 2, Basis.TOLD: 1}


class DriverInput(Word):
    """An input of a loop driver."""

    LINE_35 = "line-3.5", "3.5 mm line input"
    LINE_RCA = "line-rca", "RCA line input"
    OPTICAL = "optical", "optical input"
    COAXIAL = "coaxial", "coaxial input"
    MIC = "mic", "microphone input"

    @classmethod
    def read_all(cls, value: object, place: str) -> tuple[DriverInput, ...]:
        """The inputs of a driver, each once; raises BadInput where ``value`` is no list of inputs."""
        if not isinstance(value, (list, tuple)) or len(value) > len(cls):
            raise BadInput(place, value, f"a list of {', '.join(cls)}")
        return tuple(dict.fromkeys(cls.read(one, f"{place} {n}") for n, one in enumerate(value, 1)))
