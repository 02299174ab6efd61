"""What would somebody see at each test in a home with this fault? Written down from how the chain works.

Not from the model's own chances: these tables are the second opinion that the model is tried against (common
practice, from memory). A test that is not named for a complaint shows what a sound part shows.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Final

from isolate_trial import Choice, path_used

from kb.isolate import SOMETHING_ELSE, Model, PathUsed, State, start

ANALOG: Final = path_used("analog-line", ("RCA cable 2 m",), "line-rca")
HEADPHONE: Final = path_used("headphone", ("cable 3.5 mm",), "line-3.5")
OPTICAL: Final = path_used("optical", ("optical cable 2 m",), "optical")
OPTICAL_DAC: Final = path_used("optical", ("optical cable 2 m", "DAC", "RCA cable 1 m"), "line-rca")
SPLIT: Final = path_used("optical", ("optical cable 2 m", "optical splitter", "optical cable 1 m"), "optical")
COAXIAL: Final = path_used("coaxial", ("coaxial cable 2 m", "DAC"), "line-3.5")
ARC: Final = path_used("arc", ("HDMI cable 1 m", "ARC extractor", "cable 3.5 mm"), "line-3.5")
WIRELESS: Final = path_used("wireless", ("Bluetooth receiver", "cable 3.5 mm"), "line-3.5")
SPEAKER: Final = path_used("speaker-level", ("speaker-to-line converter", "RCA cable"), "line-rca")
MICROPHONE: Final = path_used("acoustic", ("microphone",), "mic")
UNKNOWN: Final = path_used()

_SOURCE: Final = (
    "source-muted wrong-jack cap-on-plug plug-loose bad-cable bitstream output-off turned-down "
    "device-control-off too-little-light not-paired turned-up digital-into-analog "
    "microphone-off converter-no-power converter-dead converter-selector app-mutes-output dead-output"
).split()
_LOOP: Final = "not-stripped wire-broken wire-shorted".split()
_AID: Final = "aid-programme aid-battery no-telecoil telecoil-low".split()


def _all(answer: str, *faults: str) -> dict[str, str]:
    return dict.fromkeys(faults, answer)


#: complaint -> test -> (what a chain shows where the fault is another one, what it shows at these faults)
SEEN: Final[Mapping[str, Mapping[str, tuple[str, Mapping[str, str]]]]] = {
    "no-sound": {
        # the phone has a plug of its own, and its loud music wakes a driver that sleeps
        "player-into-line": (
            "same", _all("good", *_SOURCE, "driver-selector", "plug-unsuited", "driver-standby"),
        ),
        "listen-with-receiver": ("same", _all("good", *_AID)),
        "headphones-at-end": ("good", _all("same", *_SOURCE)),
        "source-plays": ("yes", {"source-muted": "no"}),
        "jack-mark": ("output", {"wrong-jack": "input"}),
        "plugs": ("home", {"plug-loose": "loose", "cap-on-plug": "cap"}),
        # no light at all comes from an input, through a broken fibre, or while the output is off
        "red-glow": ("glow", {"cap-on-plug": "cap", **_all("dark", "wrong-jack", "bad-cable", "output-off")}),
        "menu": (
            "right",
            {"output-off": "off", "bitstream": "bitstream", "device-control-off": "control-off",
             "turned-down": "turned-down"},
        ),
        "set-to-pcm": ("same", {"bitstream": "good"}),
        "turn-up": ("same", {"turned-down": "good", "source-muted": "good"}),
        # a new cable comes without caps and is pushed home
        "swap-cable": ("same", _all("good", "bad-cable", "cap-on-plug", "plug-loose")),
        "without-splitter": ("same", {"too-little-light": "good"}),
        "pairing-light": ("steady", {"not-paired": "blinking", "converter-no-power": "dark"}),
        "microphone-tap": ("same", {"source-muted": "good"}),
        "microphone-supply": ("same", {"microphone-off": "good"}),
        "coaxial-end": ("digital", {"digital-into-analog": "analog"}),
        "converter-light": ("lit", {"converter-no-power": "dark"}),
        "converter-outlet": ("same", {"converter-no-power": "good"}),
        "swap-converter": (
            "same", _all("good", "converter-dead", "converter-no-power", "converter-selector"),
        ),
        "selectors": ("right", {"driver-selector": "driver", "converter-selector": "converter"}),
        "driver-lights": (
            "power",
            {"driver-off": "dark", "driver-protect": "protect", "wire-shorted": "protect",
             **_all("signal", "not-stripped", "wire-broken", *_AID)},
        ),
        "driver-outlet": ("same", {"driver-off": "on"}),
        "driver-rest": ("same", {"driver-protect": "good"}),
        "driver-levels": ("up", {"level-down": "good"}),
        "bench-loop": ("same", _all("good", *_LOOP)),
        "terminals": ("tight", {"not-stripped": "poor"}),
        "loop-resistance": ("as-computed", {"wire-broken": "open", "wire-shorted": "low"}),
        "telecoil-programme": ("same", {"aid-programme": "good"}),
        "fresh-battery": ("same", {"aid-battery": "good"}),
        "has-telecoil": ("yes", {"no-telecoil": "no"}),
        "driver-sleep": ("none", {"driver-standby": "good"}),
        "plug-kind": ("suits", {"plug-unsuited": "other"}),
        "one-app": ("same", {"app-mutes-output": "good"}),
        "another-output": (
            "same",
            _all("good", "dead-output", "wrong-jack", "output-off", "bitstream", "device-control-off",
                 "app-mutes-output"),
        ),
    },
    "weak": {
        "player-into-line": (
            "same", _all("good", "turned-down", "bad-cable", "plug-loose", "microphone-far"),
        ),
        "listen-with-receiver": ("same", _all("good", *_AID)),
        "headphones-at-end": ("good", _all("same", "turned-down", "bad-cable", "plug-loose")),
        "plugs": ("home", {"plug-loose": "loose"}),
        "menu": ("right", {"turned-down": "turned-down"}),
        "turn-up": ("same", {"turned-down": "good"}),
        "swap-cable": ("same", _all("good", "bad-cable", "plug-loose")),
        "microphone-near": ("same", {"microphone-far": "good"}),
        "driver-lights": (
            "signal",
            {"driver-protect": "protect", "wire-shorted": "protect", "level-down": "power",
             "turned-down": "power"},
        ),
        "driver-rest": ("same", {"driver-protect": "good"}),
        "driver-levels": ("up", {"level-down": "good"}),
        "drive-to-target": ("reaches", _all("limit", "driver-too-small", "metal", "wire-shorted")),
        "bench-loop": ("same", _all("good", *_LOOP, "metal", "listener-outside", "driver-too-small")),
        "terminals": ("tight", {"not-stripped": "poor"}),
        "loop-resistance": ("as-computed", {"wire-shorted": "low", "not-stripped": "open"}),
        "walk-the-loop": (
            "nowhere", {"listener-outside": "elsewhere", "metal": "at-wire", **_all("even", *_AID)},
        ),
        "telecoil-programme": ("same", {"aid-programme": "good"}),
        "fresh-battery": ("same", {"aid-battery": "good"}),
        "other-aid": ("same", _all("other-good", *_AID)),
        "another-output": ("same", {"dead-output": "good"}),
        "both-plugs": ("both", {"one-channel": "one"}),
    },
    "hum": {
        "player-into-line": (
            "same", _all("good", "ground-loop", "bad-cable", "plug-loose", "converter-hum", "line-into-mic",
                         "input-lead-at-loop"),
        ),
        "plugs": ("home", {"plug-loose": "loose"}),
        "swap-cable": ("same", _all("good", "bad-cable", "plug-loose")),
        "converter-supply": ("same", {"converter-hum": "good"}),
        "swap-converter": ("same", {"converter-hum": "good"}),
        "driver-input": ("line", {"line-into-mic": "mic"}),
        "driver-off": ("good", _all("same", "dimmer", "device-at-chair", "building-field")),
        "input-out": (
            "same", _all("good", "ground-loop", "bad-cable", "plug-loose", "converter-hum", "line-into-mic",
                         "input-lead-at-loop"),
        ),
        "antenna-out": ("same", {"ground-loop": "good"}),
        "transformer-in": ("same", {"ground-loop": "good"}),
        "input-lead-away": ("same", {"input-lead-at-loop": "good"}),
        "hum-kind": (
            "hum",
            {
                **_all("buzz", "dimmer", "device-at-chair"),
                **_all("other", "microphone-open", "line-into-mic"),
            },
        ),
        "lamps-off": ("same", {"dimmer": "good"}),
        "hum-walk": (
            "even",
            {"device-at-chair": "chair", "mains-at-wire": "wire", **_all("wall", "building-field", "dimmer")},
        ),
        "chair-devices": ("same", {"device-at-chair": "good"}),
        "wire-away": ("same", {"mains-at-wire": "good"}),
        "other-driver": ("same", {"driver-hum": "good"}),
        "plug-kind": ("suits", {"plug-unsuited": "other"}),
    },
    "echo": {
        "listen-with-receiver": ("same", _all("good", "aid-streams", "aid-hears-room")),
        "microphone-near": ("same", {"microphone-far": "good"}),
        "swap-converter": ("same", {"converter-late": "good"}),
        # the aid that streams as well has its two copies whatever the speakers do
        "speakers-muted": ("good", {"aid-streams": "same"}),
        "cable-for-wireless": ("same", {"late-wireless": "good"}),
        "delay-menu": ("zero", {"delay-setting": "good"}),
        "processing-off": ("same", {"late-processing": "good"}),
        "from-the-set": ("same", {"fed-from-box": "good"}),
        "telecoil-only": ("good", _all("same", "aid-streams", "microphone-far")),
        "streaming-off": ("same", {"aid-streams": "good"}),
    },
    "distorted": {
        "player-into-line": (
            "same", _all("good", "plug-loose", "bad-cable", "bitstream", "too-little-light", "turned-up",
                         "digital-into-analog", "converter-dead", "line-into-mic", "input-lead-at-loop"),
        ),
        "listen-with-receiver": ("same", {"aid-battery": "good"}),
        "headphones-at-end": (
            "good", _all("same", "plug-loose", "bad-cable", "bitstream", "too-little-light", "turned-up",
                         "digital-into-analog", "converter-dead"),
        ),
        "plugs": ("home", {"plug-loose": "loose"}),
        "menu": ("right", {"bitstream": "bitstream"}),
        "set-to-pcm": ("same", {"bitstream": "good"}),
        "turn-down": ("same", {"turned-up": "good"}),
        "swap-cable": ("same", _all("good", "bad-cable", "plug-loose")),
        "without-splitter": ("same", {"too-little-light": "good"}),
        "coaxial-end": ("digital", {"digital-into-analog": "analog"}),
        "swap-converter": ("same", {"converter-dead": "good"}),
        "levels-down": ("same", {"level-too-high": "good"}),
        "drive-to-target": ("reaches", _all("limit", "driver-too-small", "wire-shorted")),
        "driver-input": ("line", {"line-into-mic": "mic"}),
        "input-lead-away": ("same", {"input-lead-at-loop": "good"}),
        "bench-loop": ("same", _all("good", *_LOOP, "driver-too-small")),
        "terminals": ("tight", {"not-stripped": "poor"}),
        "loop-resistance": ("as-computed", {"wire-shorted": "low"}),
        "fresh-battery": ("same", {"aid-battery": "good"}),
        "another-output": ("same", {"dead-output": "good"}),
    },
    "speakers-dead": {
        "pull-the-plug": ("same", _all("good", "plug-mutes", "arc-takes-over", "digital-out-mutes")),
        "volume": ("same", {"source-muted": "good"}),
        "speaker-menu": ("on", {"menu-speakers-off": "good"}),
        "device-control": ("same", {"arc-takes-over": "good"}),
        "wireless-off": ("same", {"wireless-mutes": "good"}),
        "plug-in-and-out": ("same", {"jack-switch-stuck": "good", "plug-mutes": "good"}),
        "speaker-leads": ("in", {"speaker-leads-moved": "out"}),
        "speakers-after-reset": (
            "good", _all("same", "speakers-broken", "jack-switch-stuck", "speaker-leads-moved"),
        ),
    },
    "comes-and-goes": {
        "player-into-line": (
            "same", _all("good", *_SOURCE, "plug-unsuited", "wireless-drops", "driver-standby"),
        ),
        "listen-with-receiver": ("same", _all("good", *_AID)),
        "plugs": ("home", {"plug-loose": "loose"}),
        "set-to-pcm": ("same", {"bitstream": "good"}),
        "swap-cable": ("same", _all("good", "bad-cable", "plug-loose", "plug-unsuited")),
        "without-splitter": ("same", {"too-little-light": "good"}),
        "pairing-light": ("steady", {"wireless-drops": "blinking", "converter-no-power": "dark"}),
        "converter-light": ("lit", {"converter-no-power": "dark"}),
        "converter-outlet": ("same", {"converter-no-power": "good"}),
        "swap-converter": ("same", _all("good", "converter-dead", "converter-no-power")),
        "driver-lights": (
            "power",
            {"driver-standby": "dark", "driver-protect": "protect",
             **_all("signal", "not-stripped", "wire-broken", "listener-outside", *_AID)},
        ),
        "driver-rest": ("same", {"driver-protect": "good"}),
        "terminals": ("tight", {"not-stripped": "poor"}),
        "loop-resistance": ("as-computed", {"wire-broken": "open"}),
        "walk-the-loop": ("nowhere", {"listener-outside": "elsewhere", **_all("even", *_AID)}),
        "telecoil-programme": ("same", {"aid-programme": "good"}),
        "fresh-battery": ("same", {"aid-battery": "good"}),
        "other-aid": ("same", _all("other-good", *_AID)),
        "driver-sleep": ("none", {"driver-standby": "good"}),
        "plug-kind": ("suits", {"plug-unsuited": "other"}),
        "one-app": ("same", _all("good", "app-mutes-output", "bitstream")),
        "another-output": ("same", {"dead-output": "good"}),
        "when-it-goes": (
            "chance",
            {**_all("touch", "plug-loose", "bad-cable", "plug-unsuited", "not-stripped"),
             "driver-standby": "quiet", **_all("programme", "app-mutes-output", "bitstream"),
             **_all("warm", "driver-protect", "converter-dead"),
             **_all("move", "listener-outside", "telecoil-low"), "converter-no-power": "supply"},
        ),
        "wiggle": (
            "nowhere",
            {**_all("plug", "plug-loose", "plug-unsuited"), "bad-cable": "cable", "not-stripped": "terminal"},
        ),
    },
    "part-missing": {
        "player-into-line": (
            "good", _all("same", "metal", *_AID),
        ),
        "listen-with-receiver": ("same", _all("good", *_AID)),
        "plugs": ("home", {"plug-loose": "loose"}),
        "swap-cable": ("same", _all("good", "bad-cable", "plug-loose", "plug-unsuited")),
        "telecoil-programme": ("same", {"aid-programme": "good"}),
        "fresh-battery": ("same", {"aid-battery": "good"}),
        "other-aid": ("same", _all("other-good", *_AID)),
        "plug-kind": ("suits", {"plug-unsuited": "other"}),
        "another-output": ("same", {"dead-output": "good"}),
        "which-part": (
            "channel",
            {**_all("voices", "channels-cancel", "centre-missing"), "metal": "dull",
             **_all("one-ear", *_AID)},
        ),
        "both-plugs": ("both", {"one-channel": "one"}),
        "stereo-menu": ("same", {"centre-missing": "good"}),
        "balance": ("middle", {"balance-off": "good"}),
        "one-alone": ("same", {"channels-cancel": "good"}),
        "wiggle": ("nowhere", {"plug-loose": "plug", "plug-unsuited": "plug", "bad-cable": "cable"}),
    },
    "other-sound": {
        "listen-with-receiver": ("same", {"aid-streams": "good"}),
        "pairing-light": ("steady", {}),
        "selectors": ("right", {"driver-selector": "driver"}),
        "streaming-off": ("same", {"aid-streams": "good"}),
        "driver-off": ("good", _all("same", "neighbour-loop", "aid-streams")),
        "input-out": ("good", _all("same", "neighbour-loop", "aid-streams", "microphone-open")),
        "hum-walk": ("even", {"neighbour-loop": "wall"}),
        "whose-sound": (
            "programme",
            {"narrator-on": "narrator", "radio-breaks-in": "radio", "microphone-open": "talk"},
        ),
        "audio-description": ("off", {"narrator-on": "good"}),
        "microphones-down": ("same", {"microphone-open": "good"}),
        "change-programme": (
            "both",
            {"narrator-on": "follows", **_all("stays", "other-programme", "driver-selector", "not-paired")},
        ),
        "short-lead": ("same", {"radio-breaks-in": "good"}),
    },
}  # fmt: skip


@dataclass(frozen=True)
class Story:
    """One home: what was complained of, how the sound goes, what is wrong, and what is odd in it."""

    name: str
    complaint: str
    path: PathUsed
    fault: str
    odd: Mapping[str, str] = field(default_factory=dict)
    """Tests that show something else here than they mostly do."""
    unsure: frozenset[str] = frozenset()
    """Tests that this person cannot tell the answer of, and passes over."""
    lacks: tuple[str, ...] = ()
    """Tools that are not in the van."""

    def sees(self, test: str) -> str:
        """The answer to a test in this home."""
        if test in self.odd:
            return self.odd[test]
        usual, at = SEEN[self.complaint][test]
        return at.get(self.fault, usual)


#: A year of visits. The odd ones are what makes guides go wrong: worn marks, lamps that lie, two things seen
#: at once, tools left at home.
STORIES: Final = (
    Story("soundbar jack on an old flat set", "no-sound", OPTICAL, "cap-on-plug"),
    Story("cap seen only at the second look", "no-sound", OPTICAL, "cap-on-plug", odd={"plugs": "home"}),
    Story("surround left on after an update", "no-sound", OPTICAL_DAC, "bitstream"),
    Story("menu nobody can read", "no-sound", OPTICAL_DAC, "bitstream", unsure=frozenset({"menu"})),
    Story("grandchild pressed mute", "no-sound", ANALOG, "source-muted"),
    Story("two pairs of red and white", "no-sound", ANALOG, "wrong-jack"),
    Story("worn mark", "no-sound", ANALOG, "wrong-jack", odd={"jack-mark": "unclear"}),
    Story("HDMI socket beside the right one", "no-sound", ARC, "wrong-jack"),
    Story("cat behind the cabinet", "no-sound", ANALOG, "plug-loose"),
    Story("plug loose at the driver's end", "no-sound", HEADPHONE, "plug-loose",
          odd={"headphones-at-end": "good"}),
    Story("cable under the chair's foot", "no-sound", COAXIAL, "bad-cable"),
    Story("cable bad, no spare", "no-sound", ANALOG, "bad-cable", lacks=("spare-cable",)),
    Story("output switched off by a reset", "no-sound", OPTICAL, "output-off"),
    Story("light stays on though the output is off", "no-sound", OPTICAL, "output-off",
          odd={"red-glow": "glow"}),
    Story("volume at zero after the night", "no-sound", HEADPHONE, "turned-down"),
    Story("device control off", "no-sound", ARC, "device-control-off"),
    Story("two on one optical jack", "no-sound", SPLIT, "too-little-light"),
    Story("phone of a visitor joined", "no-sound", WIRELESS, "not-paired"),
    Story("orange plug in a red jack", "no-sound", COAXIAL, "digital-into-analog",
          odd={"jack-mark": "unclear"}),
    Story("lamp switch cuts the outlet", "no-sound", OPTICAL_DAC, "converter-no-power"),
    Story("converter dead, lamp lit", "no-sound", OPTICAL_DAC, "converter-dead"),
    Story("converter dead, lamp dark", "no-sound", ARC, "converter-dead", odd={"converter-light": "dark"}),
    Story("converter at its coaxial input", "no-sound", OPTICAL_DAC, "converter-selector"),
    Story("driver at its other input", "no-sound", OPTICAL, "driver-selector"),
    Story("cleaner pulled the driver's plug", "no-sound", ANALOG, "driver-off"),
    Story("driver in a closed cupboard", "no-sound", OPTICAL, "driver-protect"),
    Story("input level at zero", "no-sound", HEADPHONE, "level-down"),
    Story("clamped on insulation", "no-sound", ANALOG, "not-stripped"),
    Story("new screw through the wire", "no-sound", OPTICAL, "wire-broken"),
    Story("no ohmmeter", "no-sound", OPTICAL, "wire-broken", lacks=("ohmmeter",)),
    Story("staple through both wires", "no-sound", ANALOG, "wire-shorted"),
    Story("aid on its usual programme", "no-sound", ANALOG, "aid-programme"),
    Story("aid on its usual programme, no receiver", "no-sound", ANALOG, "aid-programme",
          lacks=("loop-receiver",)),
    Story("flat battery", "no-sound", OPTICAL, "aid-battery"),
    Story("new aids without a coil", "no-sound", ARC, "no-telecoil", lacks=("loop-receiver",)),
    Story("microphone switched off", "no-sound", MICROPHONE, "microphone-off"),
    Story("path nobody wrote down", "no-sound", UNKNOWN, "output-off"),
    Story("variable output turned down", "weak", ANALOG, "turned-down"),
    Story("input level low", "weak", OPTICAL_DAC, "level-down"),
    Story("hall wire on a small driver", "weak", ANALOG, "driver-too-small"),
    Story("reinforced floor", "weak", OPTICAL, "metal"),
    Story("chair moved to the wall", "weak", OPTICAL, "listener-outside"),
    Story("two turns touch", "weak", ANALOG, "wire-shorted"),
    Story("coil set low", "weak", HEADPHONE, "telecoil-low"),
    Story("battery nearly flat", "weak", ANALOG, "aid-battery"),
    Story("microphone on the shelf", "weak", MICROPHONE, "microphone-far"),
    Story("antenna lead and driver earth", "hum", ANALOG, "ground-loop"),
    Story("no transformer in the van", "hum", ANALOG, "ground-loop", lacks=("isolating-transformer",)),
    Story("dimmer in the hall", "hum", OPTICAL_DAC, "dimmer"),
    Story("recliner", "hum", ANALOG, "device-at-chair"),
    Story("floor heating", "hum", OPTICAL, "building-field"),
    Story("wire along the mains", "hum", ANALOG, "mains-at-wire"),
    Story("wall wart of the converter", "hum", OPTICAL_DAC, "converter-hum"),
    Story("screen of the cable broken", "hum", HEADPHONE, "bad-cable"),
    Story("line into microphone", "hum", ANALOG, "line-into-mic"),
    Story("wireless link", "echo", WIRELESS, "late-wireless"),
    Story("game mode off", "echo", OPTICAL_DAC, "late-processing"),
    Story("delay set for a soundbar long gone", "echo", OPTICAL, "delay-setting"),
    Story("loop from the box, room from the set", "echo", OPTICAL, "fed-from-box"),
    Story("extractor late", "echo", ARC, "converter-late"),
    Story("aid takes microphone and coil", "echo", ANALOG, "aid-hears-room"),
    Story("aid streams as well", "echo", OPTICAL, "aid-streams"),
    Story("headphone volume at full", "distorted", HEADPHONE, "turned-up"),
    Story("bitstream as noise", "distorted", OPTICAL_DAC, "bitstream"),
    Story("input level too high", "distorted", ANALOG, "level-too-high"),
    Story("line into microphone, harsh", "distorted", ANALOG, "line-into-mic"),
    Story("driver too small, harsh", "distorted", OPTICAL, "driver-too-small"),
    Story("battery crackles", "distorted", OPTICAL, "aid-battery"),
    Story("headphone plug mutes", "speakers-dead", HEADPHONE, "plug-mutes"),
    Story("switch of the jack stuck", "speakers-dead", HEADPHONE, "jack-switch-stuck"),
    Story("menu sends sound out only", "speakers-dead", OPTICAL, "menu-speakers-off"),
    Story("ARC takes over", "speakers-dead", ARC, "arc-takes-over"),
    Story("digital output mutes", "speakers-dead", OPTICAL, "digital-out-mutes"),
    Story("speaker leads off", "speakers-dead", SPEAKER, "speaker-leads-moved"),
    Story("just muted", "speakers-dead", OPTICAL, "source-muted"),
    Story("wireless joined", "speakers-dead", WIRELESS, "wireless-mutes"),
    Story("driver asleep until the adverts", "no-sound", ANALOG, "driver-standby"),
    Story("one app plays to the speakers only", "no-sound", OPTICAL_DAC, "app-mutes-output"),
    Story("jack of a set that fell", "no-sound", ANALOG, "dead-output"),
    Story("plug of a headset", "no-sound", HEADPHONE, "plug-unsuited"),
    Story("sleeps in every soft scene", "comes-and-goes", ANALOG, "driver-standby"),
    Story("plug worn by dusting", "comes-and-goes", HEADPHONE, "plug-loose"),
    Story("lead pinched by the cabinet", "comes-and-goes", ANALOG, "bad-cable"),
    Story("silent with one app", "comes-and-goes", OPTICAL_DAC, "app-mutes-output"),
    Story("driver hot under the cloth", "comes-and-goes", OPTICAL, "driver-protect"),
    Story("box fed from the set's socket", "comes-and-goes", OPTICAL_DAC, "converter-no-power"),
    Story("leans out of the loop", "comes-and-goes", ANALOG, "listener-outside"),
    Story("link beside the network box", "comes-and-goes", WIRELESS, "wireless-drops"),
    Story("strands under the screw", "comes-and-goes", OPTICAL, "not-stripped"),
    Story("white plug lies loose", "part-missing", ANALOG, "one-channel"),
    Story("headphone plug half in", "part-missing", HEADPHONE, "channels-cancel"),
    Story("centre channel lost", "part-missing", OPTICAL_DAC, "centre-missing"),
    Story("plug of a headset, one side", "part-missing", HEADPHONE, "plug-unsuited"),
    Story("one aid still on its microphone", "part-missing", ANALOG, "aid-programme"),
    Story("balance after a children's visit", "part-missing", ANALOG, "balance-off"),
    Story("loop on the floor below", "other-sound", OPTICAL, "neighbour-loop"),
    Story("narrator", "other-sound", OPTICAL, "narrator-on"),
    Story("recorder's own tuner", "other-sound", ANALOG, "other-programme"),
    Story("link joined to the set next door", "other-sound", WIRELESS, "not-paired"),
    Story("long wave on a long lead", "other-sound", ANALOG, "radio-breaks-in"),
    Story("table microphone left on", "other-sound", OPTICAL, "microphone-open"),
    Story("aid still takes the phone", "other-sound", ANALOG, "aid-streams"),
)  # fmt: skip


@dataclass(frozen=True)
class Told:
    """How a story ended, and the tests and minutes that it took."""

    story: Story
    state: State
    tests: int
    minutes: float

    @property
    def found(self) -> bool:
        """Does what is truly wrong stand on top?"""
        return self.state.likely[0][0] == self.story.fault


def begin(story: Story, model: Model) -> State:
    """The story's complaint on its path, without what is not in the van."""
    return start(model, story.complaint, story.path).excluding(*story.lacks)


def tell(story: Story, state: State, choose: Choice, wrong: Mapping[str, str] | None = None) -> Told:
    """Work a story until nothing is left to ask; ``wrong`` holds answers that were misread."""
    tests, minutes = 0, 0.0
    while (name := choose(state)) is not None:
        minutes += state.model.tests[name].minutes
        if name in story.unsure:
            state = state.excluding(name)
            continue
        state = state.answer(name, (wrong or {}).get(name) or story.sees(name))
        tests += 1
    return Told(story, state, tests, minutes)


def mend_in_vain(told: Told, choose: Choice, most: int = 6) -> Told:
    """Mend what stands on top though it is well, and go on, until the true fault stands there or nothing
    in the list is left to mend."""
    for _ in range(most):
        if told.found or told.state.head == SOMETHING_ELSE:
            return told
        told = tell(told.story, told.state.repaired(told.state.head), choose)
    return told


def misreadings(told: Told) -> Iterator[tuple[str, str]]:
    """Each answer of a story with each other one it can be taken for; nobody misreads that it is good now."""
    for test, said in told.state.answers:
        ends = told.state.model.tests[test].ends
        if said not in ends:
            yield from (
                (test, one) for one in told.state.model.tests[test].answers if one not in (said, *ends)
            )
