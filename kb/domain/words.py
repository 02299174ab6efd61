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

from collections.abc import Mapping
from enum import StrEnum
from functools import cache
from typing import Final, Self

from kb.base.errors import BadInput
from kb.base.messages import Said, Wording, one_of
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


_LONGEST: Final = 40  #: characters of a word that somebody may mean


@cache
def _spellings(words: type[Word]) -> dict[str, str]:
    """The words of a vocabulary by what people write for them; a spelling of two words is left out."""
    found: dict[str, str] = {}
    for spelled in (
        lambda word: (word.value,),
        lambda word: (word.label,),
        lambda word: word.also,
        lambda word: tuple(word.names.values()),
    ):
        for word in words:
            for one in spelled(word):
                found.setdefault(squeezed(one), word.value)
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
        return self in _ANALOG

    @property
    def signal(self) -> Signal:
        """The kind of signal, without its level."""
        return _SIGNALS[self]


_DIGITAL = frozenset({Carried.OPTICAL, Carried.COAXIAL, Carried.ARC, Carried.EARC, Carried.HDMI, Carried.USB})
_ANALOG = frozenset(
    {
        Carried.LINE,
        Carried.LINE_MONO,
        Carried.HEADPHONE,
        Carried.MIC,
        Carried.BALANCED,
        Carried.AV,
        Carried.RECORD,
    }
)
_SIGNALS = {
    Carried.LINE: Signal.ANALOG_LINE,
    Carried.LINE_MONO: Signal.ANALOG_LINE,
    Carried.HEADPHONE: Signal.HEADPHONE,
    Carried.MIC: Signal.ANALOG_LINE,
    Carried.BALANCED: Signal.ANALOG_LINE,
    Carried.AV: Signal.ANALOG_LINE,
    Carried.RECORD: Signal.ANALOG_LINE,
    Carried.SPEAKER: Signal.SPEAKER_LEVEL,
    Carried.CONSTANT_VOLTAGE: Signal.SPEAKER_LEVEL,
    Carried.OPTICAL: Signal.OPTICAL,
    Carried.COAXIAL: Signal.COAXIAL,
    Carried.ARC: Signal.ARC,
    Carried.EARC: Signal.EARC,
    Carried.HDMI: Signal.HDMI,
    Carried.USB: Signal.USB,
    Carried.WIRELESS: Signal.WIRELESS,
    Carried.ACOUSTIC: Signal.ACOUSTIC,
    Carried.MAINS: Signal.NOT_AUDIO,
}


# Plain classes: every command loads this, and a named tuple costs a cold start a millisecond.


class ShortName:
    """A short name of a jack in the short form, with the signal that it tells.

    ``printed``: it says what is printed (a headphone sign, ARC), so the jack is an output without a mark.
    """

    def __init__(self, name: str, signal: Signal | None, *, printed: bool = False) -> None:
        self.name, self.signal, self.printed = name, signal, printed


class FormEntry:
    """All that is declared of one connector form.

    Whatever else knows connectors derives from it: the short form, files and CSV, the tables of a book, the
    phone's choices, the terminal's signs, the questions on the telephone, and what an output may carry.
    The picture is one function in ``kb/sheet/jack_shapes.py``.
    """

    def __init__(
        self,
        label: str,
        *,
        carries: tuple[Signal, ...] = (),
        always: bool = False,
        short: tuple[ShortName, ...] = (),
        also: tuple[str, ...] = (),
        marks: tuple[str, ...] = (),
        sign: str = "\N{MIDDLE DOT}",
        asked: Mapping[str, str] | None = None,
        recent: bool = False,
        names: Mapping[str, str] | None = None,
    ) -> None:
        self.label = label
        self.carries = carries
        """What an output of this form may carry, the likeliest first; nothing: no sound for a loop."""
        self.always = always
        """It carries its first signal whatever is printed."""
        self.short = short
        """Its names in the short form."""
        self.also = also
        """Everyday names that files, CSV and options accept."""
        self.marks = marks
        """Marks that are printed at many such jacks, to choose from on a phone (common practice)."""
        self.sign = sign
        """How the socket looks, in one or two characters of the terminal."""
        self.asked = asked or {}
        """How a client is asked for it, by language, if the signal alone does not say what to look for."""
        self.recent = recent
        """It tells that a television is no old tube set (common practice)."""
        self.names = names or {}
        """Its names in other languages by code."""


#: For calls that look a word up; the enumeration itself always gives an entry.
_NO_FORM: Final = FormEntry("")


class Form(Word):
    """What plugs into a jack: the one table of connectors, those most often tapped first (common practice).

    The last carry no usable sound, but they are on panels, too.
    """

    carries: tuple[Signal, ...]
    always: bool
    short: tuple[ShortName, ...]
    marks: tuple[str, ...]
    sign: str
    asked: Mapping[str, str]
    recent: bool

    def __new__(cls, value: str, entry: FormEntry = _NO_FORM) -> Self:
        self = str.__new__(cls, value)
        self._value_, self.label = value, entry.label
        self.also, self.names = entry.also, entry.names
        self.carries, self.always, self.short = entry.carries, entry.always, entry.short
        self.marks, self.sign, self.asked, self.recent = entry.marks, entry.sign, entry.asked, entry.recent
        return self

    TOSLINK = (
        "toslink",
        FormEntry(
            "optical (TOSLINK)",
            names={"es": "óptica (TOSLINK)"},
            carries=(Signal.OPTICAL,),
            always=True,
            short=(ShortName("opt", Signal.OPTICAL),),
            also=("optical", "square optical"),
            marks=("DIGITAL AUDIO OUT", "OPTICAL OUT", "DIGITAL AUDIO OUT (OPTICAL)"),
            sign="▣",
            recent=True,
        ),
    )
    JACK_35 = (
        "jack-3.5",
        FormEntry(
            "3.5 mm jack",
            names={"es": "toma de 3,5 mm"},
            carries=(Signal.ANALOG_LINE, Signal.HEADPHONE),
            short=(
                ShortName("line", Signal.ANALOG_LINE),
                ShortName("hp", Signal.HEADPHONE, printed=True),
                ShortName("headphones", Signal.HEADPHONE, printed=True),
            ),
            also=("3.5 mm", "3.5mm", "mini jack"),
            marks=("HEADPHONE", "AUDIO OUT", "PC AUDIO IN", "AV IN"),
            sign="○",
        ),
    )
    RCA_PAIR = (
        "rca-pair",
        FormEntry(
            "RCA pair",
            names={"es": "pareja RCA"},
            carries=(Signal.ANALOG_LINE,),
            short=(ShortName("rca", Signal.ANALOG_LINE),),
            also=("cinch", "cinch pair", "phono pair"),
            marks=("AUDIO OUT", "AUDIO IN", "AUDIO", "COMPONENT"),
            sign="◉◉",
        ),
    )
    HDMI = (
        "hdmi",
        FormEntry(
            "HDMI",
            names={"es": "HDMI"},
            carries=(Signal.ARC, Signal.EARC),
            short=(
                ShortName("arc", Signal.ARC, printed=True),
                ShortName("earc", Signal.EARC, printed=True),
                ShortName("hdmi", None),
            ),
            marks=("HDMI 1", "HDMI 2", "HDMI 3", "HDMI ARC", "HDMI eARC"),
            sign="▭",
            recent=True,
        ),
    )
    RCA_SINGLE = (
        "rca-single",
        FormEntry(
            "single RCA",
            names={"es": "RCA único"},
            carries=(Signal.COAXIAL, Signal.ANALOG_LINE),
            short=(ShortName("coax", Signal.COAXIAL), ShortName("video", Signal.NOT_AUDIO)),
            marks=("DIGITAL AUDIO OUT", "COAXIAL OUT", "VIDEO IN", "SUBWOOFER OUT"),
            sign="◉",
        ),
    )
    SCART = (
        "scart",
        FormEntry(
            "SCART",
            names={"es": "SCART"},
            carries=(Signal.ANALOG_LINE,),
            short=(ShortName("scart", Signal.ANALOG_LINE),),
            also=("peritel", "euroconnector"),
            marks=("EXT 1", "EXT 2"),
            sign="▱",
            asked={
                "en": "Is there a wide socket with 21 flat contacts (SCART)?",
                "es": "¿Hay una toma ancha con 21 contactos planos (SCART)?",
            },
        ),
    )
    JACK_635 = (
        "jack-6.35",
        FormEntry(
            "6.35 mm jack",
            names={"es": "toma de 6,35 mm"},
            carries=(Signal.HEADPHONE, Signal.ANALOG_LINE),
            short=(ShortName("hp6", Signal.HEADPHONE, printed=True),),
            also=("6.35 mm", "6.35mm", "6.3 mm", "quarter inch"),
            marks=("HEADPHONE",),
            sign="◯",
            asked={
                "en": "Is there a thick headphone hole, wide as a pencil?",
                "es": "¿Hay un agujero de auriculares grueso, ancho como un lápiz?",
            },
        ),
    )
    SPEAKER_TERMINALS = (
        "speaker-terminals",
        FormEntry(
            "speaker terminals",
            names={"es": "bornes de altavoz"},
            carries=(Signal.SPEAKER_LEVEL,),
            always=True,
            short=(ShortName("spk", Signal.SPEAKER_LEVEL),),
            sign="‖",
        ),
    )
    MINI_TOSLINK = (
        "mini-toslink",
        FormEntry(
            "3.5 mm optical",
            names={"es": "óptica de 3,5 mm"},
            carries=(Signal.OPTICAL,),
            always=True,
            short=(ShortName("minitos", Signal.OPTICAL),),
            also=("mini optical", "round optical"),
            sign="◦",
            asked={
                "en": "Is there a small round hole with a red glow?",
                "es": "¿Hay un agujero redondo pequeño con brillo rojo?",
            },
            recent=True,
        ),
    )
    DIN_5 = (
        "din-5",
        FormEntry(
            "5-pin DIN",
            names={"es": "DIN de 5 polos"},
            carries=(Signal.ANALOG_LINE,),
            short=(ShortName("din", Signal.ANALOG_LINE),),
            sign="◠",
            asked={
                "en": "Is there a round socket with five holes?",
                "es": "¿Hay una toma redonda con cinco agujeros?",
            },
        ),
    )
    BLUETOOTH = (
        "bluetooth",
        FormEntry(
            "Bluetooth",
            names={"es": "Bluetooth"},
            carries=(Signal.WIRELESS,),
            always=True,
            short=(ShortName("bt", Signal.WIRELESS),),
            recent=True,
        ),
    )
    XLR = (
        "xlr",
        FormEntry(
            "XLR",
            names={"es": "XLR"},
            carries=(Signal.ANALOG_LINE,),
            short=(ShortName("xlr", Signal.ANALOG_LINE),),
            also=("3-pin XLR", "XLR 3"),
            marks=("BALANCED OUT", "LINE OUT"),
            sign="∴",
            asked={
                "en": "Is there a round socket with three pins or holes (XLR)?",
                "es": "¿Hay una toma redonda con tres patillas o agujeros (XLR)?",
            },
        ),
    )
    TERMINAL_BLOCK = (
        "terminal-block",
        FormEntry(
            "terminal block",
            names={"es": "regleta de tornillos"},
            carries=(Signal.ANALOG_LINE, Signal.SPEAKER_LEVEL),
            short=(ShortName("block", Signal.ANALOG_LINE),),
            also=("screw terminals", "pluggable terminals"),
            marks=("AUDIO OUT", "LINE OUT", "SPEAKER OUT"),
            sign="▥",
            asked={
                "en": "Is there a block with screws for bare wires?",
                "es": "¿Hay una regleta con tornillos para hilos sueltos?",
            },
        ),
    )
    RJ45 = (
        "rj45",
        FormEntry(
            "RJ45",
            names={"es": "RJ45"},
            carries=(Signal.ANALOG_LINE,),
            short=(ShortName("rj", Signal.ANALOG_LINE),),
            also=("network socket", "8P8C"),
            marks=("LAN", "AUDIO OUT"),
            sign="⊓",
            asked={
                "en": "Is there a network socket with AUDIO printed at it?",
                "es": "¿Hay una toma de red con AUDIO impreso al lado?",
            },
            recent=True,
        ),
    )
    D_SUB = "d-sub", FormEntry("D-sub", also=("vga",), recent=True, names={"es": "D-sub"})
    USB = "usb", FormEntry("USB", recent=True, names={"es": "USB"})
    ANTENNA = "antenna", FormEntry("antenna", also=("aerial",), names={"es": "antena"})
    OTHER = "other", FormEntry("other socket", names={"es": "otra toma"})

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


class InputEntry:
    """All that is declared of one input of a driver: its socket, and what it takes.

    ``mono``: it has one channel, so a stereo pair must be added before it, not in the driver. ``also``:
    everyday names that files, CSV and options accept; ``names``: those in other languages by code.
    """

    def __init__(
        self,
        label: str,
        socket: Form,
        takes: tuple[Carried, ...],
        source: str,
        *,
        mono: bool = False,
        also: tuple[str, ...] = (),
        names: Mapping[str, str] | None = None,
    ) -> None:
        self.label, self.socket, self.takes, self.source = label, socket, takes, source
        self.mono, self.also, self.names = mono, also, names or {}


_NO_INPUT: Final = InputEntry("", Form.OTHER, (), "")


class DriverInput(Word):
    """An input of a loop driver: the one table of inputs."""

    socket: Form
    takes: tuple[Carried, ...]
    mono: bool
    source: str

    def __new__(cls, value: str, entry: InputEntry = _NO_INPUT) -> Self:
        self = str.__new__(cls, value)
        self._value_, self.label = value, entry.label
        self.also, self.names = entry.also, entry.names
        self.socket, self.takes, self.mono, self.source = entry.socket, entry.takes, entry.mono, entry.source
        return self

    LINE_35 = (
        "line-3.5",
        InputEntry(
            "3.5 mm line input",
            Form.JACK_35,
            (Carried.LINE, Carried.LINE_MONO, Carried.HEADPHONE),
            "common practice: a stereo line input of a driver adds left and right inside",
            also=("3.5 mm line", "line 3.5 mm", "3.5", "3.5 mm"),
            names={"es": "entrada de línea de 3,5 mm"},
        ),
    )
    LINE_RCA = (
        "line-rca",
        InputEntry(
            "RCA line input",
            Form.RCA_PAIR,
            (Carried.LINE, Carried.LINE_MONO, Carried.HEADPHONE),
            "common practice: a stereo line input of a driver adds left and right inside",
            also=("RCA line", "rca", "cinch"),
            names={"es": "entrada de línea RCA"},
        ),
    )
    OPTICAL = (
        "optical",
        InputEntry(
            "optical input",
            Form.TOSLINK,
            (Carried.OPTICAL,),
            "JEITA RC-5720, IEC 60874-17 (F05 connector)",
            also=("toslink", "opt"),
            names={"es": "entrada óptica"},
        ),
    )
    COAXIAL = (
        "coaxial",
        InputEntry(
            "coaxial input",
            Form.RCA_SINGLE,
            (Carried.COAXIAL,),
            "IEC 60958-3, unbalanced line",
            also=("coax",),
            names={"es": "entrada coaxial"},
        ),
    )
    MIC = (
        "mic",
        InputEntry(
            "microphone input",
            Form.JACK_35,
            (Carried.MIC,),
            "common practice",
            mono=True,
            also=("microphone",),
            names={"es": "entrada de micrófono"},
        ),
    )

    LINE_635 = (
        "line-6.35",
        InputEntry(
            "6.35 mm line input",
            Form.JACK_635,
            (Carried.LINE, Carried.LINE_MONO, Carried.HEADPHONE),
            "common practice; not a balanced 6.35 mm input, which cancels what left and right share",
            also=("6.35 mm line", "quarter inch line"),
            names={"es": "entrada de línea de 6,35 mm"},
        ),
    )
    LINE_XLR = (
        "line-xlr",
        InputEntry(
            "XLR line input",
            Form.XLR,
            (Carried.BALANCED,),
            "IEC 61938: pins 2 and 3 against each other; phantom power must be off",
            mono=True,
            also=("XLR", "balanced line"),
            names={"es": "entrada de línea XLR"},
        ),
    )
    LINE_635_BALANCED = (
        "line-6.35-balanced",
        InputEntry(
            "balanced 6.35 mm input",
            Form.JACK_635,
            (Carried.BALANCED,),
            "common practice: tip and ring against each other; a stereo plug would cancel what both share",
            mono=True,
            also=("balanced 6.35 mm", "balanced quarter inch", "TRS input"),
            names={"es": "entrada balanceada de 6,35 mm"},
        ),
    )
    SPEAKER = (
        "speaker-level",
        InputEntry(
            "loudspeaker-level input",
            Form.SPEAKER_TERMINALS,
            (Carried.SPEAKER,),
            "common practice",
            also=("speaker", "high level"),
            names={"es": "entrada de nivel de altavoz"},
        ),
    )
    LINE_100V = (
        "line-100v",
        InputEntry(
            "100 V line input",
            Form.SPEAKER_TERMINALS,
            (Carried.CONSTANT_VOLTAGE,),
            "common practice",
            mono=True,
            also=("100 V", "70 V"),
            names={"es": "entrada de línea de 100 V"},
        ),
    )
    SCART = (
        "scart",
        InputEntry(
            "SCART input",
            Form.SCART,
            (Carried.LINE,),
            "IEC 60933-1: sound in at pins 2 and 6",
            names={"es": "entrada SCART"},
        ),
    )
    ARC = (
        "arc",
        InputEntry(
            "HDMI ARC input",
            Form.HDMI,
            (Carried.ARC, Carried.EARC),
            "HDMI 1.4 (ARC), HDMI 2.1 (eARC)",
            also=("HDMI", "HDMI ARC"),
            names={"es": "entrada HDMI ARC"},
        ),
    )
    BLUETOOTH = (
        "bluetooth",
        InputEntry(
            "Bluetooth input",
            Form.BLUETOOTH,
            (Carried.WIRELESS,),
            "common practice: the whole link is late by a tenth of a second and more",
            also=("bt",),
            names={"es": "entrada Bluetooth"},
        ),
    )

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
