"""Read direction and signal from a jack's form and the words printed next to it.

The panel reader. It says what the mark settles and how it knows, and leaves the rest open: a worn or
missing mark is ``unclear``, never guessed (common practice; tying an output to an output can damage both).

>>> from kb.domain.words import Form
>>> read(Form.RCA_PAIR, "AUDIO OUT")
Reading(direction='output', signal='analog-line', level='unknown', why='marked as an output')
>>> read(Form.RCA_PAIR, "AUDIO").why
'AUDIO without OUT: the sound of a picture input'
>>> read(Form.TOSLINK, "").direction.value, read(Form.TOSLINK, "").signal.value
('unclear', 'optical')

Markings in English, German, French and Spanish are read; compounds too (``AUDIOAUSGANG``).
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

from kb.base.text import folded
from kb.domain.words import Colour, Direction, Form, Level, Signal


@dataclass(frozen=True, slots=True)
class Reading:
    """What the mark settles. ``signal`` is None where the mark leaves it open.

    ``also`` is the second signal of a combined jack, such as a 3.5 mm jack for line and optical.
    """

    direction: Direction
    signal: Signal | None
    level: Level
    why: str
    also: Signal | None = None

    def __repr__(self) -> str:
        signal = f"'{self.signal}'" if self.signal else None
        return (
            f"Reading(direction='{self.direction}', signal={signal}, level='{self.level}', why={self.why!r})"
        )


_OUT = frozenset("OUT OUTPUT OUTPUTS AUSGANG AUSGANGE AUSG SORTIE SORTIES SALIDA SALIDAS SAL".split())
_IN = frozenset("IN INPUT INPUTS EINGANG EINGANGE EING ENTREE ENTREES ENTRADA ENTRADAS ENT".split())
_OUT_ENDS = ("AUSGANG", "AUSGANGE")
_IN_ENDS = ("EINGANG", "EINGANGE")
# OUT and AUDIO printed without a blank.
_OUT_ALONE = frozenset({"LINEOUT", "AUDIOOUT"})
_HEADPHONE = frozenset(
    """HEADPHONE HEADPHONES PHONES EAR EARPHONE EARPHONES HEADSET KOPFHORER KOPFHOERER KOPFH
    OHRHORER CASQUE CASQUES ECOUTEUR ECOUTEURS AURICULAR AURICULARES AURIC AUDIFONO AUDIFONOS CASCOS
    HP""".split()
)
_HEADPHONE_SIGNS = "\N{HEADPHONE}"
_DIGITAL = frozenset(
    """DIGITAL DIGITALE DIGITALER DIGITALES NUMERIQUE NUM SPDIF COAX COAXIAL COAXIALE KOAXIAL KOAX
    OPTICAL OPT OPTISCH OPTISCHE OPTISCHER OPTIQUE OPTICO OPTICA TOSLINK PCM BITSTREAM""".split()
)
_OPTICAL = frozenset("OPTICAL OPT OPTISCH OPTISCHE OPTISCHER OPTIQUE OPTICO OPTICA TOSLINK".split())
_SOUND = frozenset("AUDIO AV SOUND TON SON SONIDO LINE LIGNE LINEA".split())
# These stand beside every pair, inputs and outputs alike.
_CHANNELS = frozenset("STEREO MONO L R LEFT RIGHT".split())
_AUDIO = _SOUND | _CHANNELS
# What cannot be read, as people write it down; and arrows, which point out of one jack and into another.
_UNREAD = re.compile(r"[?\u2026_]|\.\.|->|<-|[\u2190-\u21ff\u2794-\u27bf]")
_VIDEO = frozenset(
    "VIDEO COMPONENT COMPOSITE COMPONENTE COMPOSANTE YPBPR YCBCR PB PR CB CR SVIDEO VGA RGB DVI BILD".split()
)
# One loudspeaker's share of the sound, not the whole programme.
_SHARE = frozenset("SURROUND CENTER CENTRE REAR ARRIERE HINTEN TRASERO".split())
_MICROPHONE = frozenset("MIC MICRO MICROPHONE MIKROFON MIKRO MICROFONO".split())
_BASS = frozenset("SUBWOOFER SUB WOOFER SUBW SW CAISSON BASS BASSES TIEFTONER LFE".split())
_NOT_SOUND = frozenset(
    """IR REMOTE SERVICE SERVICIO CONTROL RS232 RS232C 232C TRIGGER USB LAN ETHERNET ANT ANTENNA ANTENNE
    ANTENA AERIAL RF DEBUG UPDATE EXTENDER BLASTER 12V MIDI SYNC CLOCK 3D""".split()
)
_PICTURE_INPUT = frozenset(
    """PC DVI VGA RGB HDMI COMPONENT COMPOSITE COMPONENTE COMPOSANTE YPBPR YCBCR PB PR AUX GAME CAMERA
    CAMCORDER VCR VIDEO DVD EXT SCART ORDENADOR ORDINATEUR COMPUTER""".split()
)
_SPEAKER = frozenset(
    """SPEAKER SPEAKERS SPK SPKR SP LS OHM LAUTSPRECHER LAUTSPR BOXEN ENCEINTE ENCEINTES ALTAVOZ
    ALTAVOCES HAUTPARLEUR HAUTPARLEURS PARLEUR PARLEURS""".split()
)
_FIXED = frozenset("FIXED FIX FIXE FIJA FIJO FEST".split())
_VARIABLE = frozenset("VARIABLE VAR VARIABEL REGELBAR".split())

_COLOURS: dict[Colour, tuple[Signal, str]] = {
    # CTA-863 as published on connector reference pages; red alone is right audio or Pr: it settles nothing.
    Colour.YELLOW: (Signal.NOT_AUDIO, "yellow: composite video"),
    Colour.PURPLE: (Signal.NOT_AUDIO, "purple: bass only, for a subwoofer"),
    Colour.GREEN: (Signal.NOT_AUDIO, "green: component video, or the centre loudspeaker alone"),
    Colour.BLUE: (Signal.NOT_AUDIO, "blue: component video, or a surround loudspeaker alone"),
    Colour.ORANGE: (Signal.COAXIAL, "orange: coaxial digital"),
}


#: Marks that are kept once read: a book has many jacks and few marks. A mark is at most a line.
_KEPT: Final = 4096


@lru_cache(maxsize=_KEPT)
def read(form: Form, marking: str, colour: Colour | None = None) -> Reading:
    """What ``form``, ``marking`` and ring ``colour`` settle; never raises."""
    words = _words(marking)
    level = _level(words)
    for rule in _RULES:
        found = rule(form, words, marking, colour)
        if found is not None:
            direction, signal, why = found
            return Reading(direction, signal, level, why, _also(form, words, signal))
    raise AssertionError("the last rule answers always")


def says_digital(marking: str) -> bool:
    """Does the mark speak of a digital signal?"""
    return bool(_words(marking) & _DIGITAL)


def _also(form: Form, words: frozenset[str], signal: Signal | None) -> Signal | None:
    """The other signal of a 3.5 mm jack whose mark names two."""
    if form not in (Form.JACK_35, Form.MINI_TOSLINK) or _way(words) is Direction.INPUT:
        return None
    if signal is Signal.HEADPHONE:
        return Signal.OPTICAL if words & _OPTICAL else None
    if signal is Signal.OPTICAL:
        if words & _HEADPHONE:
            return Signal.HEADPHONE
        return Signal.ANALOG_LINE if words & {"LINE", "ANALOG", "ANALOGUE", "LIGNE", "LINEA"} else None
    return None


_Found = tuple[Direction, Signal | None, str] | None


def _by_form_without_sound(form: Form, words: frozenset[str], marking: str, colour: Colour | None) -> _Found:
    if not form.carries:
        return Direction.UNCLEAR, Signal.NOT_AUDIO, f"{form.label}: gives no sound for a loop"
    return None


def _by_colour(form: Form, words: frozenset[str], marking: str, colour: Colour | None) -> _Found:
    if form is not Form.RCA_SINGLE or colour not in _COLOURS or words & _DIGITAL:
        return None
    signal, why = _COLOURS[colour]
    return _way(words), signal, why


def _by_no_sound_words(form: Form, words: frozenset[str], marking: str, colour: Colour | None) -> _Found:
    if form is Form.SPEAKER_TERMINALS:
        return None
    if words & _BASS and not words & (_DIGITAL | _HEADPHONE):
        return _way(words), Signal.NOT_AUDIO, "bass only: no use as a full-range sound output"
    if words & _SHARE and not words & (_DIGITAL | _HEADPHONE | _SPEAKER | {"FRONT"}):
        return _way(words), Signal.NOT_AUDIO, "one loudspeaker's share of the sound, not the whole programme"
    if (
        words & _NOT_SOUND
        and not words & (_HEADPHONE | _AUDIO | _DIGITAL)
        and form not in (Form.HDMI, Form.SCART)
    ):
        return _way(words), Signal.NOT_AUDIO, "control or service: carries no programme sound"
    pictures = words & _VIDEO and not words & (_AUDIO | _DIGITAL | _HEADPHONE)
    if pictures and _way(words) is Direction.OUTPUT and form is not Form.SCART:
        return Direction.OUTPUT, Signal.NOT_AUDIO, "video: carries a picture, no sound"
    return None


def _by_hdmi(form: Form, words: frozenset[str], marking: str, colour: Colour | None) -> _Found:
    if form is not Form.HDMI:
        return None
    if {"TO", "TV"} <= words:
        if words & {"ARC", "EARC"}:
            return Direction.INPUT, None, "takes the television's sound back"
        return Direction.OUTPUT, None, "HDMI output: its sound comes with the picture"
    if "EARC" in words:
        return Direction.OUTPUT, Signal.EARC, "marked eARC: gives sound back"
    if "ARC" in words:
        return Direction.OUTPUT, Signal.ARC, "marked ARC: gives sound back"
    if {"AUDIO", "RETURN"} <= words:
        return Direction.OUTPUT, Signal.ARC, "marked as audio return channel: gives sound back"
    if words & _OUT:
        return Direction.OUTPUT, None, "HDMI output: its sound comes with the picture"
    if _worn(words, marking):
        return Direction.UNCLEAR, None, "what cannot be read may say ARC"
    return Direction.INPUT, None, "HDMI gives sound out only where it is marked ARC or eARC"


def _by_bluetooth(form: Form, words: frozenset[str], marking: str, colour: Colour | None) -> _Found:
    if form is not Form.BLUETOOTH:
        return None
    if _way(words) is Direction.INPUT:
        return Direction.INPUT, Signal.WIRELESS, "marked as an input"
    return Direction.OUTPUT, Signal.WIRELESS, "Bluetooth of the source"


def _by_speaker_terminals(form: Form, words: frozenset[str], marking: str, colour: Colour | None) -> _Found:
    ohms = any(
        sign in marking for sign in "\N{OHM SIGN}\N{GREEK CAPITAL LETTER OMEGA}\N{GREEK SMALL LETTER OMEGA}"
    )
    if ohms and form in (Form.JACK_35, Form.JACK_635) and not words & (_SPEAKER | _HEADPHONE):
        return (
            Direction.OUTPUT,
            None,
            "ohms: for headphones or for a loudspeaker, the mark does not tell which",
        )
    spoken = (ohms or words & _SPEAKER) and not words & (_HEADPHONE | _DIGITAL)
    if form is not Form.SPEAKER_TERMINALS and not spoken:
        return None
    if _way(words) is Direction.INPUT:
        return Direction.INPUT, Signal.SPEAKER_LEVEL, "marked as an input"
    return Direction.OUTPUT, Signal.SPEAKER_LEVEL, "loudspeaker terminals carry power, not line level"


def _by_headphone(form: Form, words: frozenset[str], marking: str, colour: Colour | None) -> _Found:
    sign = any(c in marking for c in _HEADPHONE_SIGNS)
    if not (sign or words & _HEADPHONE) or form.light:
        return None
    if "HP" in words and not sign and words & {"SORTIE", "SORTIES", "EXT", "EXTERIEUR"}:
        return Direction.UNCLEAR, None, "HP is a headphone, or in French a loudspeaker"
    if _way(words) is Direction.INPUT:
        return Direction.INPUT, Signal.HEADPHONE, "marked as an input"
    return Direction.OUTPUT, Signal.HEADPHONE, "headphone mark: an output"


def _by_digital(form: Form, words: frozenset[str], marking: str, colour: Colour | None) -> _Found:
    signal = _digital_signal(form, words)
    if signal is None:
        return None
    way = _way(words)
    why = {
        Direction.OUTPUT: "marked as an output",
        Direction.INPUT: "marked as an input",
        Direction.UNCLEAR: "the mark does not say whether it is an output"
        if words
        else "no mark: never guessed",
    }[way]
    return way, signal, why


def _by_scart(form: Form, words: frozenset[str], marking: str, colour: Colour | None) -> _Found:
    if form is not Form.SCART:
        return None
    if _way(words) is Direction.INPUT:
        return Direction.INPUT, Signal.ANALOG_LINE, "marked as an input"
    return Direction.OUTPUT, Signal.ANALOG_LINE, "SCART gives analog sound out at pins 1 and 3 (IEC 60933-1)"


def _by_tape(form: Form, words: frozenset[str], marking: str, colour: Colour | None) -> _Found:
    if form is not Form.DIN_5 or not words & {"TAPE", "TONBAND", "MAGNETOPHONE", "MAGNETO"}:
        return None
    return (
        Direction.OUTPUT,
        Signal.ANALOG_LINE,
        "tape socket: gives a line signal to record (common practice)",
    )


def _by_way(form: Form, words: frozenset[str], marking: str, colour: Colour | None) -> _Found:
    way = _way(words)
    if way is Direction.OUTPUT:
        # A single RCA jack may be mono analog, digital or video: OUT alone does not tell which.
        mono = bool(words & {"MONO", "L", "R", "LEFT", "RIGHT", "LINE"})
        settled = (form is not Form.RCA_SINGLE or mono) and not words & _DIGITAL
        return way, Signal.ANALOG_LINE if settled else None, "marked as an output"
    if way is Direction.INPUT:
        return way, Signal.ANALOG_LINE if words & _AUDIO else None, "marked as an input"
    return None


def _by_picture_input(form: Form, words: frozenset[str], marking: str, colour: Colour | None) -> _Found:
    if words & _IN and words & _OUT:
        return Direction.UNCLEAR, None, "the mark says both IN and OUT"
    if words & _MICROPHONE:
        return Direction.INPUT, None, "for a microphone: an input"
    if _worn(words, marking):
        return Direction.UNCLEAR, None, "what cannot be read may say OUT"
    if words & _PICTURE_INPUT or any(_numbered_input(word) for word in words):
        return Direction.INPUT, None, "named after what plugs in: an input"
    if words & _SOUND:
        return Direction.INPUT, None, "AUDIO without OUT: the sound of a picture input"
    return None


def _unclear(form: Form, words: frozenset[str], marking: str, colour: Colour | None) -> _Found:
    said = "the mark does not tell" if words else "no mark: never guessed"
    return Direction.UNCLEAR, None, said


#: The rules in order; the first that answers is believed.
_RULES = (
    _by_form_without_sound,
    _by_colour,
    _by_no_sound_words,
    _by_hdmi,
    _by_bluetooth,
    _by_speaker_terminals,
    _by_headphone,
    _by_digital,
    _by_scart,
    _by_tape,
    _by_way,
    _by_picture_input,
    _unclear,
)


@lru_cache(maxsize=_KEPT)
def _words(marking: str) -> frozenset[str]:
    """The folded words of a marking, with the joined spellings of what makers print apart."""
    text = f" {folded(marking)} "
    for apart, joined in (
        (" S PDIF ", " SPDIF "),
        (" S VIDEO ", " SVIDEO "),
        (" A V ", " AV "),
        (" RS 232C ", " RS232C "),
        (" RS 232 ", " RS232 "),
        (" Y PB PR ", " YPBPR "),
        (" E ARC ", " EARC "),
        (" H P ", " HP "),
        (" HAUT PARLEUR", " HAUTPARLEUR"),
    ):
        text = text.replace(apart, joined)
    words = set(text.split())
    for word in tuple(words):
        words |= _parts(word)
    return frozenset(words)


def _parts(word: str) -> set[str]:
    """The words inside a compound: ``KOPFHORERAUSGANG`` holds KOPFHORER and AUSGANG."""
    for ends, plain in ((_OUT_ENDS, "AUSGANG"), (_IN_ENDS, "EINGANG")):
        for end in ends:
            if word.endswith(end) and word != end:
                first = word.removesuffix(end)
                known = {"VIDEO", "SUBWOOFER", "KOPFHORER", "LAUTSPRECHER", "DIGITAL", "KOAXIAL"}
                parts = {w for w in known | {"AUDIO", "TON", "LINE", "OPTISCH", "BILD"} if w in first}
                return {plain, *parts}
    return set()


def _way(words: frozenset[str]) -> Direction:
    out = bool(words & (_OUT | _OUT_ALONE))
    inward = bool(words & _IN)
    if out == inward:
        return Direction.UNCLEAR
    return Direction.OUTPUT if out else Direction.INPUT


def _worn(words: frozenset[str], marking: str) -> bool:
    """Is part of the mark unread, or a word that may be what is left of OUT?"""
    left = (word for word in words - _CHANNELS if len(word) > 1 or word in "OU")
    return bool(_UNREAD.search(marking)) or any(word in "OUTPUT" for word in left)


def _digital_signal(form: Form, words: frozenset[str]) -> Signal | None:
    if form.light:
        return Signal.OPTICAL
    if form is Form.RCA_SINGLE and words & _DIGITAL:
        return Signal.COAXIAL
    if form is Form.JACK_35 and words & _OPTICAL:
        return Signal.OPTICAL
    return None


def _level(words: frozenset[str]) -> Level:
    fixed, variable = bool(words & _FIXED), bool(words & _VARIABLE)
    if fixed and variable:
        return Level.SELECTABLE
    if fixed or variable:
        return Level.FIXED if fixed else Level.VARIABLE
    return Level.UNKNOWN


def _numbered_input(word: str) -> bool:
    """``AV1``, ``EXT2``, ``HDMI3``, ``VIDEO2``: sockets that are counted are inputs."""
    return (
        word.rstrip("0123456789") in {"AV", "EXT", "HDMI", "VIDEO", "AUX", "COMPONENT"}
        and word[-1:].isdigit()
    )
