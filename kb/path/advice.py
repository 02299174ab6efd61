"""List the steps and cautions of a path in the order of the work."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from kb.base.text import folded
from kb.catalogue import Carried, CautionCode, Item, Part, Power, Role, StepCode
from kb.domain.words import DriverInput, Form, Format, Kind, Level, Outcome, Signal, Speakers
from kb.path.answer import Caution, Path, Step, Values, of_kind
from kb.path.jacks import (
    NO_SOUND,
    SENT_ELSEWHERE,
    SOUND,
    against_its_mark,
    failures_of,
    follows_volume,
    may_mute,
    one_sided,
    signal_of,
    speakers_disputed,
    trials,
    wants_pcm,
)
from kb.path.rules import Job, Way

_WHILE_CONNECTING = (
    StepCode.SPLIT,
    StepCode.BARE_WIRES,
    StepCode.PAIR,
    StepCode.PLACE_MICROPHONE,
    StepCode.ADAPTER_OUT,
    StepCode.OTHER_SOURCE,
)


def path_of(way: Way, job: Job) -> Path:
    """Return the path with its steps, cautions and facts for the installer."""
    signal = way.chain.ends[0].carries.signal
    return Path(
        jack=way.jack,
        signal=signal,
        items=tuple(item.name for item in way.chain.items),
        input=way.chain.input,
        needs_dac=way.chain.has_dac,
        speakers=Speakers.STAY_ON if way.seen is None else way.seen.speakers,
        steps=tuple(of_kind(job.kind, step) for step in _in_order(_steps(way, job))),
        cautions=tuple(of_kind(job.kind, one) for one in dict.fromkeys(_cautions(way, job))),
        p_works=round(min(1.0, max(0.0, way.p)), 4),
        findings=way.findings,
        delay_ms=way.delay_ms,
        level=_level(way),
        tier=way.tier,
        cost=way.cost,
        length_m=way.chain.length_m,
        trials=trials(way.seen) if way.seen else 0,
        converter=", ".join(item.name for item, _, _ in way.chain.turned if item.powered),
        jacks=tuple(index for index in (way.jack, way.right) if index is not None),
        disputed=tuple(dict.fromkeys(one.field for one in way.seen.disputes)) if way.seen else (),
    )


def _level(way: Way) -> Level:
    """Return the level; that of headphone jacks, loudspeakers and pre-outs always follows the volume."""
    if way.seen is None:
        return Level.VARIABLE
    level = way.seen.jack.level
    if level is Level.UNKNOWN and follows_volume(way.seen):
        return Level.VARIABLE
    return level


def _place(way: Way, job: Job) -> Values:
    if way.jack is None:
        return ()
    right: Values = (("right", job.names[way.right].marking),) if way.right is not None else ()
    return (*place_of(way.jack, job), *right)


def place_of(index: int, job: Job) -> Values:
    """Return the name of a jack, as values of a sentence."""
    form, marking, number = job.names[index]
    return (("marking", marking), ("form", form), *((("number", number),) if number else ()))


_OF_FORMAT: Final = ("PCM", "DIGITAL", "BITSTREAM", "STEREO", "NUMERIQUE")


def _settings(way: Way, *, pcm: bool) -> Values:
    """Return menu settings that visits recorded: about the sound format, or about the rest."""
    notes = way.seen.settings if way.seen else ()
    about_format = tuple(note for note in notes if any(word in folded(note) for word in _OF_FORMAT))
    chosen = about_format if pcm else tuple(note for note in notes if note not in about_format)
    return (("settings", chosen[:2]),) if chosen else ()


# -- steps -----------------------------------------------------------------------------------------


def _in_order(steps: Iterator[Step]) -> list[Step]:
    """In the order of the work; what is said twice is said once. Connecting goes from jack to driver."""
    connecting = (StepCode.PLUG_JACK, StepCode.JOIN, StepCode.KEEP_PICTURE, *_WHILE_CONNECTING)
    order = {code: number for number, code in enumerate(StepCode)}
    first = order[StepCode.PLUG_JACK]
    return sorted(
        dict.fromkeys(steps), key=lambda step: first if step.code in connecting else order[step.code]
    )


def _steps(way: Way, job: Job) -> Iterator[Step]:
    yield Step(StepCode.DRIVER_DOWN)
    if job.tube and way.chain.ends[0].carries.signal is Signal.SPEAKER_LEVEL:
        yield Step(StepCode.MAINS_OUT)
    for item in way.chain.items:
        for code in item.steps:
            if code is StepCode.CAPS_OFF:
                yield Step(code)
    yield from _connecting(way, job)
    for item, taken, _ in way.chain.turned:
        if StepCode.INPUT_SWITCH in item.steps:
            yield Step(StepCode.INPUT_SWITCH, (("item", item.name), ("carries", taken)))
    for item in way.chain.items:
        if item.power not in (Power.NONE, Power.JACK):
            yield Step(StepCode.POWER, (("item", item.name),), _fed(item))
        if StepCode.DEVICE_CONTROL in item.steps:
            yield Step(StepCode.DEVICE_CONTROL, (("item", item.name),))
    if _selector(way, job):
        yield Step(StepCode.SELECTOR, (("input", way.chain.input),))
    yield from _menu(way, job)
    yield Step(StepCode.LEVEL, (), _level_variant(way))
    yield Step(StepCode.TEST, (), _test_variant(way, job))


def _fed(item: Item) -> str:
    """Return how the item is fed, if that is not by one outlet of its own."""
    if item.power is Power.SOCKET and item.sockets > 1:
        return "both-ends"
    return {Power.USB: "usb", Power.BATTERY: "battery"}.get(item.power, "")


def _test_variant(way: Way, job: Job) -> str:
    """Both are not asked to be heard where the speakers may well be silent."""
    if not job.speakers_needed:
        return "loop-only"
    return "may-mute" if way.seen and (may_mute(way.seen) or speakers_disputed(way.seen)) else ""


def _connecting(way: Way, job: Job) -> Iterator[Step]:
    """Plug by plug from the jack to the driver; what each item wants said comes with its plug."""
    items, ends = way.chain.items, way.chain.ends
    if not items:
        yield Step(StepCode.PAIR, (("input", way.chain.input),), "driver")
        return
    for item in items:
        if StepCode.KEEP_PICTURE in item.steps:
            yield Step(StepCode.KEEP_PICTURE, (("item", item.name), *_place(way, job)))
    for number, item in enumerate(items):
        name = ("item", item.name)
        own = [code for code in item.steps if code in _WHILE_CONNECTING]
        for code in own:
            both = code is StepCode.SPLIT and way.right is not None
            variant = "left-right" if both else ""
            if code is StepCode.PAIR and item.role is Role.LINK:
                variant = "to-driver"
            yield Step(code, (name, *_place(way, job)), variant)
        if number == 0:
            if not own or item.role in (Role.ADAPTER, Role.LINK):
                values: Values = (name, *_place(way, job), *_click(item))
                yield Step(StepCode.PLUG_JACK, values, _plugs(way))
            continue
        before = items[number - 1]
        if item.role is Role.COUPLER:
            after = items[number + 1].name if number + 1 < len(items) else ""
            yield Step(StepCode.JOIN, (("item", before.name), ("to", after), ("with", item.name)), "coupler")
        elif before.role is not Role.COUPLER and StepCode.SPLIT not in own:
            # A plug goes into a socket, whichever of the two is nearer to the jack.
            if ends[number].part is Part.SOCKET:
                yield Step(StepCode.JOIN, (name, ("to", before.name), *_click(item)))
            else:
                values = (("item", before.name), ("to", item.name), *_click(before))
                yield Step(StepCode.JOIN, values, _other_end(before))
    if way.chain.input is DriverInput.BLUETOOTH:
        return
    values = (("item", items[-1].name), ("input", way.chain.input), *_click(items[-1]))
    yield Step(StepCode.PLUG_DRIVER, values, _other_end(items[-1]))


def _plugs(way: Way) -> str:
    """Two plugs into two single jacks, or one of two where the other jack is not there."""
    if way.right is not None:
        return "left-right"
    return "one-plug" if way.seen is not None and one_sided(way.seen) else ""


def _click(item: Item) -> Values:
    return (("click", "yes"),) if item.clicks else ()


def _other_end(item: Item) -> str:
    return "other-end" if item.role is Role.CABLE else ""


def _menu(way: Way, job: Job) -> Iterator[Step]:
    if way.seen is None:
        return
    if way.chain.items and (chosen := _CHOSEN.get(way.chain.ends[0].carries)) is not None:
        yield Step(StepCode.CHOOSE_OUTPUT, _place(way, job), chosen)
    if _wants_pcm(way):
        yield Step(StepCode.SET_PCM, _settings(way, pcm=True), _was_pcm(way))
    if way.seen.speakers is Speakers.MUTE_UNLESS_SET:
        yield Step(StepCode.REMEDY, _settings(way, pcm=False))
    else:  # whatever else had to be set here: it saves the search through the menu
        rest = _settings(way, pcm=False)
        if not _wants_pcm(way) and not rest:
            rest = _settings(way, pcm=True)
        if rest:
            yield Step(StepCode.AS_NOTED, rest)
    if way.seen.jack.level is Level.SELECTABLE:
        yield Step(StepCode.SET_FIXED)


#: Outputs that many menus switch on or off, or choose (common practice); ARC has a step of its own.
_CHOSEN: Final = {
    Carried.OPTICAL: "",
    Carried.COAXIAL: "",
    Carried.HDMI: "hdmi",
    Carried.USB: "usb",
    Carried.LINE: "line",
    Carried.LINE_MONO: "line",
    Carried.AV: "line",
}


def _wants_pcm(way: Way) -> bool:
    """Whatever takes digital sound here takes PCM only: DAC, converter, extractor and driver."""
    decodes = any(item.role is Role.DECODER for item in way.chain.items)
    return wants_pcm(way.chain.ends[0].carries) and not decodes


def _was_pcm(way: Way) -> str:
    """That it worked with PCM is that day's setting, no proof of today's."""
    return "was-pcm" if way.seen is not None and way.seen.jack.format is Format.PCM else ""


def _selector(way: Way, job: Job) -> bool:
    if not way.chain.items:
        return True
    return len(job.inputs) > 1 or way.chain.ends[-1].carries.digital


def _level_variant(way: Way) -> str:
    if way.seen is None:
        return "microphone"
    if way.seen.tried(Outcome.WEAK):
        return "weak"
    if signal_of(way.seen) is Signal.HEADPHONE:
        return "headphone"
    return "variable" if way.seen.jack.level is Level.VARIABLE else ""


# -- cautions --------------------------------------------------------------------------------------


def _cautions(way: Way, job: Job) -> Iterator[Caution]:
    """In the order of weight: who else listens, what stays silent, what hums, what is lost, what to know."""
    yield from _for_speakers(way, job)
    yield from _for_format(way, job)
    yield from _for_items(way)
    yield from _for_delay(way, job)
    yield from _for_sound(way, job)
    if job.kind is not Kind.TELEVISION:
        other = "other" if job.kind is Kind.OTHER else ""
        yield Caution(CautionCode.THIS_BOX_ONLY, (("kind", job.kind),), other)
    if job.tube:
        yield Caution(CautionCode.NEVER_OPEN, (), "perhaps" if job.tube == "perhaps" else "")
    yield from _for_doubt(way)


def _for_speakers(way: Way, job: Job) -> Iterator[Caution]:
    if way.seen is None:
        return
    disputed = speakers_disputed(way.seen)
    tried = disputed and job.speakers_needed
    if way.seen.speakers is Speakers.MUTE and not tried:  # nobody needs them
        yield Caution(CautionCode.MUTES_SPEAKERS)
    elif way.seen.speakers is Speakers.MUTE_UNLESS_SET:
        yield Caution(CautionCode.RESTORES_IN_MENU, _settings(way, pcm=False))
    if (tried or way.seen.speakers is not Speakers.MUTE) and (disputed or may_mute(way.seen)):
        elsewhere = "sent-elsewhere" if signal_of(way.seen) in SENT_ELSEWHERE else ""
        variant = "disputed" if disputed else elsewhere
        yield Caution(CautionCode.MAY_MUTE_SPEAKERS, (), variant if job.speakers_needed else "free")


def _for_format(way: Way, job: Job) -> Iterator[Caution]:
    if way.seen is not None and _wants_pcm(way):
        only = way.seen.jack.format is Format.BITSTREAM
        yield Caution(CautionCode.SET_PCM, (), "bitstream" if only else _was_pcm(way))
    if way.seen is not None and _wants_pcm(way) and (way.seen.taken or way.seen.taken_seen):
        yield Caution(CautionCode.SHARED_PCM, (), "" if way.seen.taken else "elsewhere")
    if _selector(way, job):
        yield Caution(CautionCode.SELECTOR, (("input", way.chain.input),))


def _for_items(way: Way) -> Iterator[Caution]:
    for item in way.chain.items:
        loss: Values = (("loss_db", item.loss_db),) if item.loss_db else ()
        for code in item.cautions:
            yield Caution(code, (("item", item.name), *loss))
    for item in way.chain.items:
        if item.powered and item.power is not Power.JACK:
            yield Caution(CautionCode.OWN_POWER, (("item", item.name),), _fed(item))
    for carried, metres, counts, item_name in way.chain.long:
        values: Values = (("carries", carried), ("metres", metres))
        if item_name:
            values += (("counts", counts), ("item", item_name))
        yield Caution(CautionCode.LONG_CABLE, values, "counted" if item_name else "")


def _for_delay(way: Way, job: Job) -> Iterator[Caution]:
    limit = job.catalogue.number("echo-limit" if job.speakers_needed else "late-noticed")
    if way.delay_ms > limit or (way.delay_ms == limit and not job.speakers_needed):
        values: Values = (("delay_ms", way.delay_ms), ("limit_ms", limit))
        yield Caution(CautionCode.LATE, values, "echo" if job.speakers_needed else "")
    elif way.seen is not None and way.seen.tried(Outcome.DELAYED):
        yield Caution(CautionCode.LATE, (("count", way.seen.tried(Outcome.DELAYED)),), "found")


def _for_sound(way: Way, job: Job) -> Iterator[Caution]:
    if way.seen is None:
        return
    if one_sided(way.seen) and way.right is None:
        yield Caution(CautionCode.SUM_NOT_Y, _place(way, job), "one-side")
    hummed = way.seen.tried(Outcome.HUM)
    if hummed:
        isolator = next((item.name for item in way.chain.items if item.role is Role.ISOLATOR), "")
        values: Values = (("count", hummed), ("item", isolator))
        yield Caution(CautionCode.HUM, values, "isolated" if isolator else "")
    if signal_of(way.seen) is Signal.HEADPHONE and _level(way) is Level.VARIABLE:
        yield Caution(CautionCode.VARIABLE_LEVEL, (), "headphone")
    elif way.seen.jack.level is Level.VARIABLE:
        yield Caution(CautionCode.VARIABLE_LEVEL)
    elif _level(way) is Level.VARIABLE:
        yield Caution(CautionCode.VARIABLE_LEVEL, (), "by-nature")


def _for_doubt(way: Way) -> Iterator[Caution]:
    if way.seen is None:
        return
    disputed = next((one.field for one in way.seen.disputes if one.field in ("direction", "signal")), "")
    failed, sounded = way.seen.tried(*NO_SOUND), way.seen.tried(*SOUND)
    worked = way.seen.tried(Outcome.CARRIED)
    counts: Values = (("failed", failed), ("worked", sounded), ("tried", failed + sounded))
    if disputed:
        yield Caution(CautionCode.CHECK_MANUAL, (("field", disputed),), "disputed")
    elif against_its_mark(way.seen):
        yield Caution(CautionCode.CHECK_MANUAL, (), "mark")
    elif way.seen.jack.form is Form.SCART and not worked:
        # Some sets drive the output pins from the tuner only (from memory).
        yield Caution(CautionCode.CHECK_MANUAL, (), "scart")
    elif failed and sounded and failed > sounded:
        yield Caution(CautionCode.CHECK_MANUAL, counts, "failed")
    elif failed and sounded:
        yield Caution(CautionCode.CHECK_MANUAL, counts, "mixed")
    elif failed:
        yield Caution(CautionCode.CHECK_MANUAL, failures_of(way.seen), "silent")
