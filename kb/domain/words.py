"""Define the words of the trade, each with one meaning.

Values are the kebab-case words of files and JSON; ``label`` is what a person reads.

>>> Form("toslink").label
'optical (TOSLINK)'
>>> Form.read("tosslink", "jack 1, form")
Traceback (most recent call last):
...
kb.base.errors.BadInput: jack 1, form: saw 'tosslink', expected toslink (or one of toslink, ...)
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from enum import StrEnum
from functools import cache
from typing import Any, Final, Self, TypeVar

from kb.base.datafiles import data_object
from kb.base.errors import BadInput
from kb.base.messages import LANGUAGES, Said, Wording, area, one_of
from kb.base.text import squeezed


class Word(StrEnum):
    """A word of the vocabulary with the label that people read."""

    label: str
    also: tuple[str, ...]
    """Everyday names that are accepted, too; the word itself is what is stored."""
    names: Mapping[str, str]
    """Its names in other languages by code, where these are declared with it."""

    def __new__(cls, value: str, label: str = "", also: tuple[str, ...] = ()) -> Self:
        self = str.__new__(cls, value)
        self._value_ = value
        self.label = label or value.replace("-", " ")
        self.also, self.names = also, {}
        return self

    @classmethod
    def meant(cls, typed: str) -> Self | None:
        """The word that is typed, in everyday spelling as well; None if there is none.

        >>> Outcome.meant("no sound"), Outcome.meant("Works"), Outcome.meant("purple")
        (<Outcome.SILENT: 'silent'>, <Outcome.CARRIED: 'carried'>, None)
        >>> Outcome.meant("sin sonido"), Outcome.meant("schwach")
        (<Outcome.SILENT: 'silent'>, <Outcome.WEAK: 'weak'>)
        """
        try:
            return cls(typed)
        except ValueError:
            found = _spellings(cls).get(squeezed(typed)) if len(typed) <= _LONGEST else None
            return None if found is None else cls(found)

    @classmethod
    def read(cls, value: object, place: Wording) -> Self:
        """Read the word of a file or option, in everyday spelling as well.

        Raises BadInput that lists what was expected.

        >>> Form.read("RCA pair", "form").value, Form.read("Cinch", "form").value
        ('rca-pair', 'rca-pair')
        """
        if isinstance(value, str) and (meant := cls.meant(value)) is not None:
            return meant
        known = [word.value for word in cls]
        raise BadInput(place, value, _expected(value, known))


W = TypeVar("W", bound=Word)


def _from(words: type[W], value: str, table: Mapping[str, Any]) -> tuple[W, Mapping[str, Any]]:
    """A new word with what its entry in a table says, and the entry; a look-up of no word has none."""
    entry: Mapping[str, Any] = table[value]
    made = str.__new__(words, value)
    made._value_, made.label = value, entry["label"]
    made.also, made.names = tuple(entry.get("also", ())), entry.get("names", {})
    return made, entry


_LONGEST: Final = 40  #: characters of a word that somebody may mean


def word_kind(kind: type[Word]) -> str:
    """``DriverInput`` is ``driver-input`` in the keys of messages and of ``data/typed_words.json``."""
    return re.sub(r"(?<!^)(?=[A-Z])", "-", kind.__name__).lower()


def typed_words(kind: str, language: str = "") -> Iterator[tuple[str, str]]:
    """What people type for a word of this kind in a language, or in any, each with that word.

    >>> dict(typed_words("taken"))["ocupada"]
    'taken'
    """
    for word, by_language in _typed().get(kind, {}).items():
        some = [by_language.get(language, [])] if language else by_language.values()
        yield from ((one, word) for typed in some for one in typed)


@cache
def _typed() -> Mapping[str, Mapping[str, Mapping[str, list[str]]]]:
    tables = data_object("typed_words.json")
    return {kind: table for kind, table in tables.items() if isinstance(table, dict)}


def spellings(words: type[Word]) -> Iterator[tuple[str, str]]:
    """What people write for the words of a vocabulary, each with its word: English first, then the rest."""
    for spelled in (
        lambda word: (word.value,),
        lambda word: (word.label,),
        lambda word: word.also,
        lambda word: tuple(word.names.values()),
    ):
        yield from ((one, word.value) for word in words for one in spelled(word))
    kind = word_kind(words)
    for code in LANGUAGES[1:]:
        shown = area("word", code)
        keys = ((word, f"word/{kind}/{word.value}") for word in words)
        yield from ((str(shown[key]), word.value) for word, key in keys if key in shown)
    values = {word.value for word in words}  # the rest are short names of jacks
    yield from (one for one in typed_words(kind) if one[1] in values)


@cache
def _spellings(words: type[Word]) -> dict[str, str]:
    """The words of a vocabulary by what people write for them, folded; the first of two words is meant."""
    found: dict[str, str] = {}
    for spelled, value in spellings(words):
        found.setdefault(squeezed(spelled), value)
    return found


def _expected(value: object, known: list[str]) -> Wording:
    listed = one_of(known)
    if not isinstance(value, str) or len(value) > _LONGEST:
        return listed
    from difflib import SequenceMatcher  # a mistake is rare; its cost is paid only then

    typed = value.lower().replace("_", "-").replace(" ", "-")
    alike = sorted(((SequenceMatcher(None, word, typed).ratio(), word) for word in known), reverse=True)
    (most, near), *others = alike
    if most < _ALIKE or (others and others[0][0] == most):  # two are as near: naming one would be a guess
        return listed
    return Said("expected/near", near=near, others=listed)


_ALIKE: Final = 0.6  #: how much of a word must agree so that it may be the one meant


class Kind(Word):
    """What the source is."""

    TELEVISION = "television", "television", ("tv",)
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


class Signal(Word):
    """What an output carries; ``not-audio`` is no full-range sound at all (video, control, bass only)."""

    ANALOG_LINE = "analog-line", "analog line", ("analog", "analogue", "line", "line out", "RCA", "phono")
    HEADPHONE = "headphone", "headphone", ("headphones", "hp", "earphone", "phones")
    OPTICAL = "optical", "optical digital", ("opt", "toslink", "fibre")
    COAXIAL = "coaxial", "coaxial digital", ("coax", "S/PDIF", "digital coax")
    ARC = "arc", "HDMI ARC", ("HDMI audio return",)
    EARC = "earc", "HDMI eARC"
    SPEAKER_LEVEL = "speaker-level", "speaker level"
    WIRELESS = "wireless", "wireless", ("bluetooth", "bt")
    HDMI = "hdmi", "HDMI with the picture"
    USB = "usb", "USB of a computer"
    ACOUSTIC = "acoustic", "sound in the air"
    NOT_AUDIO = "not-audio", "no usable sound"


class Part(Word):
    """Which half of a connector an end is; a plug goes into a socket."""

    PLUG = "plug"
    SOCKET = "socket"


class Carried(Word):
    """What goes through an end: the kind of signal at its level."""

    LINE = "line", "stereo line level"
    LINE_MONO = "line-mono", "mono line level"
    HEADPHONE = "headphone", "stereo headphone level"
    MIC = "mic", "mono microphone level"
    BALANCED = "balanced", "balanced line level, mono"
    AV = "av", "picture and stereo line level in one plug"
    RECORD = "record", "stereo level of a DIN recording output"
    SPEAKER = "speaker-level", "loudspeaker power"
    CONSTANT_VOLTAGE = "constant-voltage", "100 V or 70 V loudspeaker line"
    OPTICAL = "optical", "optical digital"
    COAXIAL = "coaxial", "coaxial digital"
    ARC = "arc", "HDMI ARC"
    EARC = "earc", "HDMI eARC"
    HDMI = "hdmi", "HDMI with the picture"
    USB = "usb", "USB of a computer"
    WIRELESS = "wireless"
    ACOUSTIC = "acoustic", "sound in the air"
    MAINS = "mains", "mains power"

    @property
    def digital(self) -> bool:
        """Numbers in a cable or fibre, that only a DAC turns into sound for a line input."""
        return self in _DIGITAL

    @property
    def analog(self) -> bool:
        """A voltage that an amplifier's input can take at some level."""
        return self in _ANALOG_LINE or self is Carried.HEADPHONE

    @property
    def signal(self) -> Signal:
        """The kind of signal, without its level."""
        return _SIGNALS.get(self) or Signal(self.value)


_DIGITAL = frozenset({Carried.OPTICAL, Carried.COAXIAL, Carried.ARC, Carried.EARC, Carried.HDMI, Carried.USB})
_ANALOG_LINE = frozenset(
    {Carried.LINE, Carried.LINE_MONO, Carried.MIC, Carried.BALANCED, Carried.AV, Carried.RECORD}
)
#: Where a signal has another name than what goes through the end.
_SIGNALS = {
    **dict.fromkeys(_ANALOG_LINE, Signal.ANALOG_LINE),
    Carried.CONSTANT_VOLTAGE: Signal.SPEAKER_LEVEL,
    Carried.MAINS: Signal.NOT_AUDIO,
}


#: The tables of connectors and of inputs; what their fields mean is said at the attributes below.
_CONNECTORS: Final = data_object("connectors.json")


class ShortName:
    """A short name of a jack in the short form, with the signal that it tells.

    ``printed``: it says what is printed (a headphone sign, ARC), so the jack is an output without a mark.
    """

    def __init__(self, name: str, signal: str = "", *, printed: bool = False) -> None:
        self.name, self.signal, self.printed = name, Signal(signal) if signal else None, printed


class Form(Word):
    """What plugs into a jack: the one table of connectors, those most often tapped first (common practice).

    The last carry no usable sound, but they are on panels, too. All that is declared of a form is in
    ``data/connectors.json``; its picture is in ``data/jacks.svg``.
    """

    carries: tuple[Signal, ...]
    """What an output of this form may carry, the likeliest first; nothing: no sound for a loop."""
    always: bool
    """It carries its first signal whatever is printed."""
    short: tuple[ShortName, ...]
    """Its names in the short form."""
    marks: tuple[str, ...]
    """Marks that are printed at many such jacks, to choose from on a phone (common practice)."""
    sign: str
    """How the socket looks, in one or two characters of the terminal."""
    asked: Mapping[str, str]
    """How a client is asked for it, by language, if the signal alone does not say what to look for."""
    recent: bool
    """It tells that a television is no old tube set (common practice)."""

    def __new__(cls, value: str) -> Self:
        self, entry = _from(cls, value, _CONNECTORS["forms"])
        self.carries = tuple(map(Signal, entry.get("carries", ())))
        self.always, self.recent = entry.get("always", False), entry.get("recent", False)
        self.short = tuple(ShortName(**one) for one in entry.get("short", ()))
        self.marks, self.asked = tuple(entry.get("marks", ())), entry.get("asked", {})
        self.sign = entry.get("sign", "\N{MIDDLE DOT}")
        return self

    TOSLINK = "toslink"
    JACK_35 = "jack-3.5"
    RCA_PAIR = "rca-pair"
    HDMI = "hdmi"
    RCA_SINGLE = "rca-single"
    SCART = "scart"
    JACK_635 = "jack-6.35"
    SPEAKER_TERMINALS = "speaker-terminals"
    MINI_TOSLINK = "mini-toslink"
    DIN_5 = "din-5"
    BLUETOOTH = "bluetooth"
    XLR = "xlr"
    TERMINAL_BLOCK = "terminal-block"
    RJ45 = "rj45"
    D_SUB = "d-sub"
    USB = "usb"
    ANTENNA = "antenna"
    OTHER = "other"

    @property
    def gives(self) -> Signal | None:
        """What an output of this form carries if nothing else is said: the only signal that it can."""
        return self.carries[0] if len(self.carries) == 1 else None

    @property
    def light(self) -> bool:
        """Does light come out of it, whatever is printed?"""
        return self.always and self.carries[0] is Signal.OPTICAL


class Colour(Word):
    """The colour of a jack's ring, where it tells something (CTA-863; at 3.5 mm jacks PC 99)."""

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
    PINK = "pink"


class Direction(Word):
    """Which way sound goes through a jack."""

    OUTPUT = "output", "output", ("out",)
    INPUT = "input", "input", ("in",)
    UNCLEAR = "unclear", "unclear", ("unknown", "not clear")


class Level(Word):
    """Does the level at the jack follow the remote control?"""

    FIXED = "fixed", "fixed", ("fix", "constant")
    VARIABLE = "variable", "variable", ("var", "follows the volume")
    SELECTABLE = "selectable", "selectable", ("fix/var", "either")
    UNKNOWN = "unknown"


class Format(Word):
    """What a digital output sends."""

    PCM = "pcm", "PCM"
    BITSTREAM = "bitstream", "bitstream", ("bits", "raw")
    SELECTABLE = "selectable", "selectable", ("pcm/bits", "either")
    UNKNOWN = "unknown"


class Speakers(Word):
    """What the set's own speakers do while the jack is used."""

    STAY_ON = "stay-on", "stay on", ("on", "play on", "keep playing")
    MUTE = "mute", "go silent", ("off", "muted", "mutes", "silent")
    MUTE_UNLESS_SET = "mute-unless-set", "go silent unless set in the menu", ("menu", "depends on the menu")
    UNKNOWN = "unknown"


class Outcome(Word):
    """What came of using a jack."""

    CARRIED = "carried", "carried sound", ("ok", "okay", "good", "works", "worked", "sound", "fine")
    WEAK = "weak", "weak", ("quiet", "soft", "too soft", "faint")
    SILENT = "silent", "silent", ("no sound", "dead", "nothing", "none")
    HUM = "hum", "hum", ("hums", "buzz", "buzzes")
    DISTORTED = "distorted", "distorted", ("harsh", "noisy", "crackles", "rough")
    DELAYED = "delayed", "delayed", ("late", "echo")
    NOT_TRIED = "not-tried", "not tried"


#: How far an outcome counts as working (common practice): hum, weak and late sound have remedies and count
#: half. Spoilt sound, or none, did not work.
#: Trials: weight of a failure despite a remedy, a setting or PCM (common practice).
REMEDY: Final = 2.0
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

    TESTED = "tested", "tested", ("tried",)
    SEEN = "seen", "seen", ("looked",)
    MANUAL = "manual", "manual", ("handbook", "from the manual")
    TOLD = "told", "told", ("phone", "telephone", "by phone", "heard")

    @property
    def weight(self) -> int:
        """4 for tested down to 1 for told: the higher counts when visits disagree (common practice)."""
        return _WEIGHTS[self]


_WEIGHTS = {Basis.TESTED: 4, Basis.SEEN: 3, Basis.MANUAL: 2, Basis.TOLD: 1}


class DriverInput(Word):
    """An input of a loop driver: the one table of inputs, in ``data/connectors.json``."""

    socket: Form
    takes: tuple[Carried, ...]
    mono: bool
    """It has one channel, so a stereo pair must be added before it, not in the driver."""
    source: str

    def __new__(cls, value: str) -> Self:
        self, entry = _from(cls, value, _CONNECTORS["inputs"])
        self.socket, self.takes = Form(entry["socket"]), tuple(map(Carried, entry["takes"]))
        self.mono, self.source = entry.get("mono", False), entry["source"]
        return self

    LINE_35 = "line-3.5"
    LINE_RCA = "line-rca"
    OPTICAL = "optical"
    COAXIAL = "coaxial"
    MIC = "mic"
    LINE_635 = "line-6.35"
    LINE_XLR = "line-xlr"
    LINE_635_BALANCED = "line-6.35-balanced"
    SPEAKER = "speaker-level"
    LINE_100V = "line-100v"
    SCART = "scart"
    ARC = "arc"
    BLUETOOTH = "bluetooth"

    def accepts(self, signal: Signal) -> bool:
        """Does it take this kind of signal, at some level?"""
        return any(carried.signal is signal for carried in self.takes)

    @property
    def analog(self) -> bool:
        """Does it take a voltage, and no numbers?"""
        return any(carried.analog for carried in self.takes)

    @classmethod
    def read_all(cls, value: object, place: Wording) -> tuple[DriverInput, ...]:
        """The inputs of a driver, each once; raises BadInput if ``value`` is no list of inputs."""
        if not isinstance(value, (list, tuple)) or len(value) > len(cls):
            raise BadInput(place, value, Said("expected/list-of", words=", ".join(cls)))
        return tuple(
            dict.fromkeys(
                cls.read(one, Said("place/nth", place=place, number=n)) for n, one in enumerate(value, 1)
            )
        )


#: Vocabularies that grow without a new format of the book.
GROWING: Final[tuple[type[Word], ...]] = (Form, DriverInput)
