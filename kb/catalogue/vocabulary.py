"""Define the words that the catalogue and the rules share.

An end of an item is a connector (:class:`kb.domain.words.Form`), a plug or a socket, and what it carries:
signal and level in one word, because a level belongs to a signal.

>>> Carried("line-mono").signal.value, Carried.MIC.digital
('analog-line', False)
"""

from __future__ import annotations

from kb.domain.words import Signal, Word


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
    SPEAKER = "speaker-level", "loudspeaker power"
    OPTICAL = "optical", "optical digital"
    COAXIAL = "coaxial", "coaxial digital"
    ARC = "arc", "HDMI ARC"
    EARC = "earc", "HDMI eARC"
    WIRELESS = "wireless"
    ACOUSTIC = "acoustic", "sound in the air"

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


_DIGITAL = frozenset({Carried.OPTICAL, Carried.COAXIAL, Carried.ARC, Carried.EARC})
_ANALOG = frozenset({Carried.LINE, Carried.LINE_MONO, Carried.HEADPHONE, Carried.MIC})
_SIGNALS = {
    Carried.LINE: Signal.ANALOG_LINE,
    Carried.LINE_MONO: Signal.ANALOG_LINE,
    Carried.HEADPHONE: Signal.HEADPHONE,
    Carried.MIC: Signal.ANALOG_LINE,
    Carried.SPEAKER: Signal.SPEAKER_LEVEL,
    Carried.OPTICAL: Signal.OPTICAL,
    Carried.COAXIAL: Signal.COAXIAL,
    Carried.ARC: Signal.ARC,
    Carried.EARC: Signal.EARC,
    Carried.WIRELESS: Signal.WIRELESS,
    Carried.ACOUSTIC: Signal.ACOUSTIC,
}


class Role(Word):
    """What an item is for. The rules ask for roles, never for a name."""

    CABLE = "cable"
    COUPLER = "coupler"
    ADAPTER = "adapter"
    CONVERTER = "converter"
    EXTRACTOR = "extractor", "audio extractor"
    SPLITTER = "splitter"
    ISOLATOR = "isolator"
    PAD = "pad", "attenuator"
    RECEIVER = "receiver"
    MICROPHONE = "microphone"


class CautionCode(Word):
    """What to mind with a path; programs read these codes, so they keep their meaning."""

    SET_PCM = "set-pcm"
    SELECTOR = "selector"
    REMOVE_CAPS = "remove-caps"
    MAY_MUTE_SPEAKERS = "may-mute-speakers"
    MUTES_SPEAKERS = "mutes-speakers"
    RESTORES_IN_MENU = "restores-in-menu"
    THIS_BOX_ONLY = "this-box-only"
    SUM_NOT_Y = "sum-not-y"
    ISOLATE = "isolate"
    SPLITTER_LOSS = "splitter-loss"
    LONG_CABLE = "long-cable"
    LATE = "late"
    VARIABLE_LEVEL = "variable-level"
    CHECK_MANUAL = "check-manual"
    HUM = "hum"
    OWN_POWER = "own-power"
    NEVER_OPEN = "never-open"
    MIC_LAST_RESORT = "mic-last-resort"


class StepCode(Word):
    """What to do, in this order: the order of the words is the order of the work."""

    DRIVER_DOWN = "driver-down"
    CAPS_OFF = "caps-off"
    PLUG_JACK = "plug-jack"
    SPLIT = "split"
    BARE_WIRES = "bare-wires"
    PAIR = "pair"
    PLACE_MICROPHONE = "place-microphone"
    JOIN = "join"
    ADAPTER_OUT = "adapter-out"
    PLUG_DRIVER = "plug-driver"
    POWER = "power"
    INPUT_SWITCH = "input-switch"
    SELECTOR = "selector"
    SET_PCM = "set-pcm"
    DEVICE_CONTROL = "device-control"
    REMEDY = "remedy"
    AS_NOTED = "as-noted"
    SET_FIXED = "set-fixed"
    LEVEL = "level"
    TEST = "test"
