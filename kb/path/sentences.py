"""Turn the codes and values of a path answer into English sentences.

A sentence is looked up by the kind of thing said, its code and its variant. To say it in another language,
give :func:`sentence` another table with the same keys and placeholders.

>>> from kb.path import Caution
>>> from kb.catalogue import CautionCode
>>> sentence(Caution(CautionCode.OWN_POWER, (("item", "DAC"),)))
'The DAC wants an outlet of its own, and can be unplugged by mistake.'
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Final, TypeAlias

from kb.base.text import visible
from kb.domain.words import DriverInput, Form, Kind, Word
from kb.path.answer import Caution, Dac, Question, RuledOut, Step, Value

Said: TypeAlias = Step | Caution | RuledOut | Dac | Question

ENGLISH: Final[Mapping[str, str]] = {
    # -- steps
    "step/driver-down": "Turn the driver's level down.",
    "step/caps-off": "Pull the caps off both tips of the optical cable.",
    "step/plug-jack": "Plug the {item} into {jack}{click}.",
    "step/plug-jack/left-right": "Plug the white plug of the {item} into {jack}, "
    "and the red plug into the one marked {right}.",
    "step/plug-jack/one-plug": "Plug one plug of the {item} into {jack}, and leave the other hanging free.",
    "step/split": "Pull out what is in {jack}, plug the {item} in, and put the old plug "
    "back into the {item}.",
    "step/split/left-right": "Pull out what is in {jack} and in the one marked {right}, plug the {item} in, "
    "and put the old plugs back into the {item}.",
    "step/bare-wires": "With the power switched off, run the leads of the {item} to {jack}; "
    "join neither terminal to earth, nor to the other.",
    "step/pair": "Plug in the {item} and pair it with the source: Bluetooth in the source's menu.",
    "step/place-microphone": "Set the {item} close to {owner} loudspeaker, on something soft.",
    "step/join": "Plug the {item} into the {to}{click}.",
    "step/join/other-end": "Plug the other end of the {item} into the {to}{click}.",
    "step/join/coupler": "Join the {item} and the {to} with the {with}.",
    "step/adapter-out": "Set the switch of the {item} to OUT.",
    "step/plug-driver": "Plug the {item} into the driver's {input}{click}.",
    "step/plug-driver/other-end": "Plug the other end of the {item} into the driver's {input}{click}.",
    "step/power": "Power the {item} from its own outlet and see its lamp light.",
    "step/input-switch": "Set the {item} to its {carries} input.",
    "step/selector": "Set the driver's input selector to the {input}.",
    "step/set-pcm": "In {whose} sound menu set the digital sound format to PCM stereo{settings}.",
    "step/set-pcm/was-pcm": "Check in {whose} sound menu that the digital sound format is still PCM stereo"
    "{settings}: it was at the last visit, and resets and updates can undo it.",
    "step/device-control": "In {whose} menu turn on ARC and the control of devices over HDMI, "
    "and choose the external receiver as sound output.",
    "step/remedy": "In {whose} menu turn the speakers back on{settings}.",
    "step/as-noted": "Compare {whose} menu with an earlier visit{settings}.",
    "step/set-fixed": "In {whose} menu set this output to fixed.",
    "step/level": "With a programme at its usual loudness, turn the driver up until the loop is right.",
    "step/level/weak": "Turn {whose} output level up in its menu if it can be: sound was weak here before. "
    "Then turn the driver up until the loop is right.",
    "step/level/headphone": "Set the headphone volume to about two thirds, "
    "then turn the driver up until the loop is right.",
    "step/level/variable": "Set the remote control to its usual volume, "
    "then turn the driver up until the loop is right.",
    "step/level/microphone": "Turn the driver up until the loop is right; "
    "too far, and the room is loud in it.",
    "step/test": "Test with {owner} speakers and the loop both on: both must be heard, and together.",
    "step/test/may-mute": "Test the loop, and listen to {owner} speakers meanwhile: where they have gone "
    "silent, look in {whose} sound menu for an item that brings them back; without one, choose another way.",
    "step/test/loop-only": "Test the loop, and see what {owner} speakers do meanwhile.",
    # -- cautions
    "caution/set-pcm": "Only PCM stereo will do: with anything else there is silence or noise. "
    "Resets and updates can undo the setting.",
    "caution/set-pcm/was-pcm": "It was PCM at the last visit, which is no proof for today: with anything "
    "else there is silence or noise, and resets and updates can undo the setting.",
    "caution/set-pcm/bitstream": "This output is known to send a bitstream: unless the menu offers "
    "PCM stereo, there will be silence or noise.",
    "caution/selector": "The driver is heard only while its selector stands at the {input}.",
    "caution/remove-caps": "New optical cables have caps on both tips: with one left on, no sound.",
    "caution/may-mute-speakers": "Plugging in here may silence {owner} speakers, which others need.",
    "caution/may-mute-speakers/sent-elsewhere": "Sound sent out here often silences {owner} speakers, which "
    "others need: look for a menu item that keeps both on.",
    "caution/may-mute-speakers/disputed": "Visits disagree whether {owner} speakers go silent while this is "
    "used, and others need them: try it before anything is fixed.",
    "caution/may-mute-speakers/free": "Using this may silence {owner} speakers: tell the user.",
    "caution/mutes-speakers": "While this is plugged in, {owner} speakers are silent: tell the user.",
    "caution/restores-in-menu": "Plugging in here silences {owner} speakers until a menu item brings them "
    "back{settings}.",
    "caution/this-box-only": "The loop carries only what is watched through this {kind}.",
    "caution/this-box-only/other": "The loop carries only what is watched through this device.",
    "caution/sum-not-y": "Left and right are added by the resistors of the {item}, never by a bare Y cable.",
    "caution/sum-not-y/one-side": "Only one of two channels comes out at {jack}: what is said on the other "
    "alone is missing in the loop. Look for the second jack, "
    "and never bridge two outputs with a bare Y cable.",
    "caution/isolate": "Loudspeaker terminals carry power: only through the isolating {item}, "
    "and neither terminal is ever grounded.",
    "caution/splitter-loss": "The {item} takes about {loss_db} dB of the light: short cables, "
    "and test both ends.",
    "caution/long-cable": "{metres} m of {carries} is more than usual: test before fixing the cable.",
    "caution/long-cable/counted": "Behind the {item}, {metres} m of {carries} count as {counts} m: keep it "
    "this short, and test before fixing the cable.",
    "caution/late": "The sound comes {delay_ms} ms late, and lips are seen to be ahead (from {limit_ms} ms).",
    "caution/late/echo": "The sound comes {delay_ms} ms late: beside {owner} own speakers an echo "
    "(above {limit_ms} ms), and behind the lips.",
    "caution/late/found": "Delayed sound was found here ({count}): listen for an echo against the speakers.",
    "caution/variable-level": "The level follows the remote control: turned down or muted at the set, "
    "the loop goes with it. Some users want this.",
    "caution/variable-level/headphone": "The level follows the headphone volume: turned down there, "
    "the loop falls silent.",
    "caution/check-manual/disputed": "Visits disagree on the {field} of this jack: check the manual for the "
    "exact model.",
    "caution/check-manual/scart": "Not every SCART socket gives sound out, and some only of {whose} "
    "own tuner: check the manual.",
    "caution/check-manual/failed": "This jack failed {failed} of {tried} times: check the manual, "
    "and have another way ready.",
    "caution/check-manual/mixed": "Tried {tried} times here, sound {worked}: have another way ready.",
    "caution/hum": "Hum was found here ({count}): try another outlet, an isolator, or an optical output.",
    "caution/hum/isolated": "Hum was found here ({count}), a ground loop: hence the {item}. "
    "An optical output ends it too.",
    "caution/own-power": "The {item} wants an outlet of its own, and can be unplugged by mistake.",
    "caution/never-open": "Never open a tube set: high voltage stays for long after it is switched off, "
    "and the chassis may be live.",
    "caution/never-open/perhaps": "If it is a tube set, never open it: high voltage stays for long after it "
    "is switched off, and the chassis may be live.",
    "caution/mic-last-resort": "A microphone hears the room too: only where nothing else is left.",
    # -- ruled out
    "ruled-out/not-an-output": "This is an input: only an output can feed the driver.",
    "ruled-out/not-an-output/several": "These are inputs: only an output can feed the driver.",
    "ruled-out/not-an-output/hdmi": "HDMI gives sound out only where it is marked ARC or eARC.",
    "ruled-out/direction-unclear": "The mark does not tell whether this is an output: not used on a guess. "
    "Two outputs tied together can damage both.",
    "ruled-out/direction-unclear/several": "The marks do not tell whether these are outputs: not used on a "
    "guess. Two outputs tied together can damage both.",
    "ruled-out/direction-unclear/unmarked": "No readable mark: not used on a guess. Two outputs tied "
    "together can damage both.",
    "ruled-out/direction-unclear/signal": "An output, but the mark does not tell of what: "
    "analog sound, digital sound or video.",
    "ruled-out/taken": "In use by something else, and another way is better than a splitter.",
    "ruled-out/taken/no-splitter": "In use by something else, and nothing here can share it "
    "over this length.",
    "ruled-out/mutes-speakers": "Plugging in here silences {owner} speakers, which others need, "
    "and no remedy is known.",
    "ruled-out/no-way-to-input": "Nothing in the catalogue leads from here to {inputs} over this length.",
    "ruled-out/no-way-to-input/hdmi": "The sound of an HDMI output comes with the picture: "
    "nothing in the catalogue takes it out.",
    "ruled-out/not-audio": "Carries no full-range sound.",
    "ruled-out/not-audio/several": "These carry no full-range sound.",
    "ruled-out/known-not-to-work": "Tried here without success: {failures}.",
    "ruled-out/known-not-to-work/digital": "Tried here without success: {failures}. "
    "Worth one more try only if the format was not PCM then.",
    "ruled-out/speaker-level-unsafe": "Carries power for loudspeakers, not line level: "
    "never used while there is another way.",
    "ruled-out/late": "Late by {delay_ms} ms: lips are seen to be ahead (from {limit_ms} ms), "
    "and there is a better way.",
    "ruled-out/late/echo": "Late by {delay_ms} ms: an echo beside {owner} own speakers "
    "(above {limit_ms} ms).",
    "ruled-out/late/behind-picture": "Late by {delay_ms} ms: too far behind the picture "
    "(more than {limit_ms} ms).",
    # -- DAC
    "dac/all-digital": "Every output that can be used is digital, and the driver has only analog inputs.",
    "dac/all-digital/doubtful": "Every output that can be relied on is digital, and the driver has only "
    "analog inputs.",
    "dac/all-digital/not-to-hand": "Every output that can be relied on is digital, and nothing to hand leads "
    "from it to a digital input of the driver.",
    "dac/all-digital/converter-not-to-hand": "Every output that can be relied on is digital, and the way "
    "from it to a digital input of the driver takes a converter that is not to hand.",
    "dac/in-the-extractor": "{signal} is digital; the DAC is inside the {item}, so no other box is needed.",
    "dac/analog": "The sound comes out analog already ({signal}).",
    "dac/analog/microphone": "A microphone is analog.",
    "dac/analog/receiver": "The {item} gives analog sound.",
    "dac/analog/speaker-level": "The sound comes out analog, with the power for loudspeakers: the {item} "
    "takes it down to line level. No DAC.",
    "dac/driver-takes-it": "The driver takes {signal} sound as it is.",
    "dac/converter": "The driver takes digital sound in the form that the {item} gives.",
    "dac/no-path": "There is no path, with or without a DAC.",
    # -- questions
    "question/is-it-an-output": "Is {jack} an output? The manual for the exact model tells.",
    "question/is-it-an-output/unmarked": "What is printed at {jack}, and is it an output? "
    "The manual for the exact model tells.",
    "question/is-it-an-output/glow": "Does {jack} glow red when the power is on? Then it is an output; "
    "else the manual for the exact model tells.",
    "question/what-does-it-carry": "What does {jack} carry: digital sound, analog sound or video? "
    "The colour of its ring or the manual tells.",
    "question/does-it-silence": "Does plugging in at {jack} silence the speakers, "
    "and does a menu item bring them back?",
    "question/does-it-silence/sent-elsewhere": "Does sending the sound out by {jack} silence the speakers, "
    "and does a menu item keep both on?",
    "question/does-it-silence/disputed": "Visits disagree: does plugging in at {jack} silence the speakers, "
    "or does a menu item keep them on?",
    "question/who-listens": "Does anybody need {owner} speakers while the loop is on? "
    "If not, {jack} will do.",
    "question/who-uses-it": "What is plugged into {jack}? It may have an audio output of its own, "
    "or no longer be used.",
    "question/how-was-it-tried": "When {jack} was tried without sound: was the format PCM, were both caps "
    "off, and was the selector at that input?",
    "question/how-was-it-tried/coaxial": "When {jack} was tried without sound: was the format PCM, "
    "and was the selector at that input?",
    "question/how-was-it-tried/arc": "When {jack} was tried without sound: was the format PCM, and were ARC "
    "and the control of devices over HDMI turned on?",
    "question/how-was-it-tried/pcm": "When {jack} was tried without sound, with PCM noted: was the selector "
    "at that input, was no cap left on, and was a second cable tried?",
    "question/other-box": "Is there a set-top box, and has it an audio output of its own? "
    "The loop would carry what is watched through it.",
    "question/other-box/not-television": "Has the television itself, or another box, an audio output?",
    "question/microphone-input": "Is there nothing else? Then, as a last resort, a microphone at "
    "{owner} loudspeaker, into a driver with a microphone input: it hears the room too.",
    # -- parts of sentences
    "part/click": " and push until it clicks",
    "part/jack/marked": "{noun} marked {marking}",
    "part/jack/unmarked": "{noun} without a mark",
    "part/jack/numbered": "jack {number}, {jack}",
    "part/settings": " (noted: {settings})",
    "part/times": "{what} {count}",
    "part/driver": "driver, {input}",
    "part/loudspeaker": "the set's loudspeaker",
    # Of the source: its menu, its output level.
    "part/whose/television": "the set's",
    "part/whose/set-top-box": "the set-top box's",
    "part/whose/receiver": "the receiver's",
    "part/whose/soundbar": "the soundbar's",
    "part/whose/player": "the player's",
    "part/whose/computer": "the computer's",
    "part/whose/other": "the device's",
    # Of what has the speakers: a box or a player sounds through the television.
    "part/owner/television": "the set's",
    "part/owner/set-top-box": "the television's",
    "part/owner/receiver": "the receiver's",
    "part/owner/soundbar": "the soundbar's",
    "part/owner/player": "the television's",
    "part/owner/computer": "the computer's",
    "part/owner/other": "the device's",
    "noun/rca-pair": "the RCA pair",
    "noun/rca-single": "the single RCA jack",
    "noun/toslink": "the optical jack",
    "noun/mini-toslink": "the 3.5 mm optical jack",
    "noun/jack-3.5": "the 3.5 mm jack",
    "noun/jack-6.35": "the 6.35 mm jack",
    "noun/hdmi": "the HDMI socket",
    "noun/scart": "the SCART socket",
    "noun/din-5": "the 5-pin DIN socket",
    "noun/speaker-terminals": "the speaker terminals",
    "noun/bluetooth": "the source's Bluetooth",
    "noun/d-sub": "the D-sub socket",
    "noun/usb": "the USB socket",
    "noun/antenna": "the antenna socket",
    "noun/other": "the socket",
}

_KINDS: Final = {Step: "step", Caution: "caution", RuledOut: "ruled-out", Dac: "dac", Question: "question"}


def _label(word: Word) -> str:
    return word.label


def sentence(said: Said, table: Mapping[str, str] = ENGLISH, named: Callable[[Word], str] = _label) -> str:
    """What is said, as one or two sentences. Text that people entered stands in it without effect.

    ``named`` tells what people call a word of the vocabulary, in the language of ``table``.
    """
    key = f"{_KINDS[type(said)]}/{said.code}"
    template = table[f"{key}/{said.variant}" if said.variant else key]
    return template.format_map(_Filled(said, table, named))


def of_several(why: RuledOut, table: Mapping[str, str] = ENGLISH) -> RuledOut:
    """The reason as it is said of several jacks together, where that sounds different."""
    plural = f"ruled-out/{why.code}/several"
    return why._replace(variant="several") if not why.variant and plural in table else why


class _Filled(dict[str, str]):
    """The values of one thing said, as they stand in its sentence."""

    def __init__(self, said: Said, table: Mapping[str, str], named: Callable[[Word], str]) -> None:
        values = dict(said.values)
        super().__init__({name: _shown(value, named) for name, value in values.items()})
        form = values.get("form")
        if isinstance(form, Form):
            number = values.get("number")
            self["jack"] = jack_phrase(
                form, str(values.get("marking", "")), table, number if isinstance(number, int) else 0
            )
        notes = values.get("settings")
        joined = "; ".join(_shown(note, named) for note in notes) if isinstance(notes, tuple) else ""
        self["settings"] = table["part/settings"].format(settings=joined) if joined else ""
        kind = values.get("kind", Kind.TELEVISION)
        self["whose"], self["owner"] = table[f"part/whose/{kind}"], table[f"part/owner/{kind}"]
        self["click"] = table["part/click"] if "click" in values else ""
        counts = [(name, values[name]) for name in ("silent", "distorted") if values.get(name)]
        self["failures"] = ", ".join(
            table["part/times"].format(what=name, count=count) for name, count in counts
        )


def jack_phrase(form: Form, marking: str, table: Mapping[str, str] = ENGLISH, number: int = 0) -> str:
    """A jack as it is called in a sentence: ``the optical jack marked OPTICAL OUT``; with a ``number``
    where another jack would be called alike: ``jack 4, the 3.5 mm jack without a mark``."""
    noun = table[f"noun/{form}"]
    if marking:
        phrase = table["part/jack/marked"].format(noun=noun, marking=visible(marking))
    else:  # Bluetooth has no mark to miss
        phrase = noun if form is Form.BLUETOOTH else table["part/jack/unmarked"].format(noun=noun)
    return table["part/jack/numbered"].format(number=number, jack=phrase) if number else phrase


def _shown(value: Value, named: Callable[[Word], str]) -> str:
    if isinstance(value, Word):
        return named(value)
    if isinstance(value, tuple):
        return ", ".join(_shown(_as_input(one), named) for one in value)
    return f"{value:g}" if isinstance(value, float) else visible(str(value))


def _as_input(value: str) -> Value:
    """Inputs of a driver travel as their words; what is no input stays as it is."""
    try:
        return DriverInput(value)
    except ValueError:
        return value
