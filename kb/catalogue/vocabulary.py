"""Define the words that the catalogue and the rules share.

An end of an item is a connector (:class:`kb.domain.words.Form`), a plug or a socket, and what it carries.
"""

from __future__ import annotations

from kb.domain.words import Carried, Part, Word

__all__ = ["Carried", "CautionCode", "Part", "Power", "Role", "StepCode"]


class Role(Word):
    """What an item is for. The rules ask for roles, never for a name."""

    CABLE = "cable"
    COUPLER = "coupler"
    ADAPTER = "adapter"
    CONVERTER = "converter"
    DECODER = "decoder", "converter that decodes a bitstream"
    EXTRACTOR = "extractor", "audio extractor"
    SPLITTER = "splitter"
    ISOLATOR = "isolator"
    PAD = "pad", "attenuator"
    RECEIVER = "receiver"
    MICROPHONE = "microphone"
    LINK = "link", "wireless link"
    MIXER = "mixer", "mixer or switch for two sources"
    AMPLIFIER = "amplifier"
    SUPPLY = "supply", "for the mains side"


class Power(Word):
    """Where an item gets its power from."""

    NONE = "none"
    SOCKET = "socket", "an outlet"
    USB = "usb", "a USB outlet"
    BATTERY = "battery"
    JACK = "jack", "the jack itself"


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
    CONSTANT_VOLTAGE = "constant-voltage"
    SHARED_PCM = "shared-pcm"
    AV_WIRING = "av-wiring"
    COPY_PROTECTED = "copy-protected"
    LOW_LEVEL = "low-level"
    RADIO = "radio"
    MIC_LAST_RESORT = "mic-last-resort"


class StepCode(Word):
    """What to do, in this order: the order of the words is the order of the work."""

    DRIVER_DOWN = "driver-down"
    MAINS_OUT = "mains-out"
    CAPS_OFF = "caps-off"
    PLUG_JACK = "plug-jack"
    SPLIT = "split"
    BARE_WIRES = "bare-wires"
    PAIR = "pair"
    PLACE_MICROPHONE = "place-microphone"
    KEEP_PICTURE = "keep-picture"
    OTHER_SOURCE = "other-source"
    JOIN = "join"
    ADAPTER_OUT = "adapter-out"
    PLUG_DRIVER = "plug-driver"
    POWER = "power"
    INPUT_SWITCH = "input-switch"
    SELECTOR = "selector"
    DEVICE_CONTROL = "device-control"
    CHOOSE_OUTPUT = "choose-output"
    SET_PCM = "set-pcm"
    REMEDY = "remedy"
    AS_NOTED = "as-noted"
    SET_FIXED = "set-fixed"
    LEVEL = "level"
    TEST = "test"
