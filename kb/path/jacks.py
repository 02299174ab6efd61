"""Describe a jack for the rules: its signal and its end, alone or with another jack.

A combined 3.5 mm jack offers two signals; two single RCA jacks for left and right offer one stereo pair.
Jacks with the same name get numbers. A rule without a named source is common practice.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Final, NamedTuple

from kb.base.text import squeezed, visible
from kb.catalogue import Carried, Catalogue, End, Part
from kb.domain import marking
from kb.domain.panel import PanelJack
from kb.domain.words import Colour, Direction, Form, Format, Level, Outcome, Signal, Speakers
from kb.path.answer import Values

SOUND: Final = (Outcome.CARRIED, Outcome.WEAK, Outcome.HUM, Outcome.DELAYED)
NO_SOUND: Final = (Outcome.SILENT, Outcome.DISTORTED)


def trials(seen: PanelJack) -> int:
    """Return the number of findings with the result of using the jack."""
    return sum(count for outcome, count in seen.outcomes if outcome is not Outcome.NOT_TRIED)


def never_sounded(seen: PanelJack) -> bool:
    """Return whether it was tried and never gave sound."""
    return bool(seen.tried(*NO_SOUND)) and not seen.tried(*SOUND)


def failures_of(seen: PanelJack) -> Values:
    """Return the failed trials, as values of a sentence."""
    return (("silent", seen.tried(Outcome.SILENT)), ("distorted", seen.tried(Outcome.DISTORTED)))


def signal_of(seen: PanelJack) -> Signal | None:
    """Return the signal as found, or the only one possible for the form: an optical socket gives light."""
    if seen.jack.signal is None and seen.jack.form.light:
        return Signal.OPTICAL
    return seen.jack.signal


def start_of(seen: PanelJack) -> End:
    """Return the end that an output offers; its signal must be known.

    A combined 3.5 mm jack that gives light takes the round optical plug. A single RCA jack with line level
    has one channel; if it is one of two, one plug of an RCA pair goes in.
    """
    signal = signal_of(seen)
    if signal is None:
        raise ValueError("the signal of this jack is not known")
    form = seen.jack.form
    if form is Form.JACK_35 and signal is Signal.OPTICAL:
        form = Form.MINI_TOSLINK
    elif form is Form.MINI_TOSLINK and signal in (Signal.ANALOG_LINE, Signal.HEADPHONE):
        form = Form.JACK_35
    carries = _CARRIED[signal]
    if carries is Carried.SPEAKER and marking.constant_voltage(seen.jack.marking):
        carries = Carried.CONSTANT_VOLTAGE
    if carries is Carried.LINE and (form is Form.XLR or marking.balanced(seen.jack.marking)):
        carries = Carried.BALANCED
    if carries is Carried.LINE and marking.with_picture(form, seen.jack.marking):
        carries = Carried.AV
    if carries is Carried.LINE and form is Form.DIN_5 and "TAPE" in marking.words_of(seen.jack.marking):
        carries = Carried.RECORD
    if form is Form.RCA_SINGLE and carries is Carried.LINE:
        carries = Carried.LINE_MONO
        if one_sided(seen):
            form = Form.RCA_PAIR
    return End(form, Part.SOCKET, carries)


_CARRIED: Final = {
    Signal.ANALOG_LINE: Carried.LINE,
    Signal.HEADPHONE: Carried.HEADPHONE,
    Signal.OPTICAL: Carried.OPTICAL,
    Signal.COAXIAL: Carried.COAXIAL,
    Signal.ARC: Carried.ARC,
    Signal.EARC: Carried.EARC,
    Signal.SPEAKER_LEVEL: Carried.SPEAKER,
    Signal.HDMI: Carried.HDMI,
    Signal.USB: Carried.USB,
    Signal.WIRELESS: Carried.WIRELESS,
    Signal.ACOUSTIC: Carried.ACOUSTIC,
}


def wants_pcm(carries: Carried) -> bool:
    """Return whether this is digital sound in a format that the menu chooses; USB always carries PCM."""
    return carries.digital and carries is not Carried.USB


def only_bitstream(seen: PanelJack) -> bool:
    """Return whether it sends only signals that no driver and no PCM DAC plays. Heard sound refutes it."""
    return seen.jack.format is Format.BITSTREAM and not seen.tried(*SOUND)


def follows_volume(seen: PanelJack) -> bool:
    """Return whether its level always follows the volume, as for headphones, loudspeakers and pre-outs."""
    signal = signal_of(seen)
    return signal in (Signal.HEADPHONE, Signal.SPEAKER_LEVEL) or "PRE" in marking.words_of(seen.jack.marking)


# -- speakers --------------------------------------------------------------------------------------

#: The menu sends sound elsewhere, and on many sets the speakers then stay silent.
SENT_ELSEWHERE: Final = (Signal.ARC, Signal.EARC, Signal.WIRELESS, Signal.USB)


def may_mute(seen: PanelJack) -> bool:
    """Return whether the effect on the speakers is unknown, and the output silences them on many sets.

    A combined jack with headphone sound has one switch for both plugs.
    """
    if seen.speakers is not Speakers.UNKNOWN:
        return False
    return Signal.HEADPHONE in _both(seen) or signal_of(seen) in (Signal.HEADPHONE, *SENT_ELSEWHERE)


def speakers_disputed(seen: PanelJack) -> bool:
    """Return whether visits disagree on the speakers."""
    return any(one.field == "speakers" for one in seen.disputes)


def against_its_mark(seen: PanelJack) -> bool:
    """Return whether a visit calls it an output against its mark, and no sound came out yet."""
    jack = seen.jack
    contradicted = marking.against(jack.form, jack.marking, jack.colour, jack.direction, jack.signal)
    return contradicted is not None and not seen.tried(*SOUND)


def as_most_found(seen: PanelJack) -> PanelJack:
    """Correct the direction: a jack that gave sound is an output if more visits say output than input.

    Otherwise the newest visit counts. The dispute stays and is shown.
    """
    votes = Counter(next((dict(one.said) for one in seen.disputes if one.field == "direction"), {}))
    outvoted = votes[Direction.OUTPUT] > votes[Direction.INPUT]
    if seen.jack.direction is Direction.INPUT and outvoted and seen.tried(*SOUND):
        return replace(seen, jack=replace(seen.jack, direction=Direction.OUTPUT))
    return seen


# -- combined jacks --------------------------------------------------------------------------------


def _both(seen: PanelJack) -> tuple[Signal, ...]:
    """Return the two signals of a combined jack; () for any other."""
    if seen.jack.form not in (Form.JACK_35, Form.MINI_TOSLINK):
        return ()
    reading = marking.read(seen.jack.form, seen.jack.marking, seen.jack.colour)
    if reading.also is None or reading.signal is None:
        return ()
    both = (reading.signal, reading.also)
    # A person on the spot may know better than the mark.
    return both if seen.jack.signal is None or seen.jack.signal in both else ()


def sides(seen: PanelJack, known: Catalogue) -> tuple[PanelJack, ...]:
    """Return the jack once for each of its signals, the tried one first.

    The outcomes belong to the signal that the connecting items take, else to the recorded one. The same holds
    for being in use.
    """
    both = _both(seen)
    if not both:
        return (seen,)
    used = _used(seen, both, known) or seen.jack.signal or both[0]
    other = both[1] if used is both[0] else both[0]
    disputes = tuple(one for one in seen.disputes if one.field != "signal")  # both are right
    return (
        replace(seen, jack=replace(seen.jack, signal=used), disputes=disputes),
        replace(
            seen,
            jack=replace(seen.jack, signal=other),
            disputes=disputes,
            taken=False,
            outcomes=(),
            items=(),
        ),
    )


def _used(seen: PanelJack, both: Sequence[Signal], known: Catalogue) -> Signal | None:
    """Return the signal of ``both`` that the connecting items take."""
    for name in seen.items:
        item = known.by_name.get(squeezed(name))
        if item is not None:
            light = any(Carried.OPTICAL in near.takes for near in item.near)
            return next(one for one in both if (one is Signal.OPTICAL) is light)
    return None


# -- left and right --------------------------------------------------------------------------------


def _side(seen: PanelJack) -> str | None:
    """Return ``left`` or ``right`` for a single RCA line jack; a ring decides if the mark does not."""
    jack = seen.jack
    if jack.form is not Form.RCA_SINGLE or jack.signal is not Signal.ANALOG_LINE:
        return None
    words = marking.words_of(jack.marking)
    left, right = "LEFT" in words, "RIGHT" in words
    if left is not right:
        return "left" if left else "right"
    ring = {Colour.WHITE: "left", Colour.RED: "right"}.get(jack.colour) if jack.colour else None
    return None if left or "MONO" in words else ring


def one_sided(seen: PanelJack) -> bool:
    """Return whether only one of two channels comes out here. ``L/MONO`` alone gives both, added."""
    return bool(_side(seen)) and "MONO" not in marking.words_of(seen.jack.marking)


def pairs(jacks: Sequence[PanelJack]) -> Iterator[tuple[int, int]]:
    """Yield the numbers of left and right jacks that belong together: same mark apart from the side."""
    waiting: dict[tuple[str, frozenset[str]], list[int]] = {}
    for index, seen in enumerate(jacks):
        side = _side(seen)
        if not side or seen.jack.direction is not Direction.OUTPUT:
            continue
        name = marking.without_side(seen.jack.marking)
        across = waiting.get(("right" if side == "left" else "left", name))
        if across:
            first = across.pop(0)
            yield (index, first) if side == "left" else (first, index)
        else:
            waiting.setdefault((side, name), []).append(index)


def joined(left: PanelJack, right: PanelJack) -> PanelJack:
    """Join two single RCA jacks to their stereo pair."""
    counts: Counter[Outcome] = Counter(dict(left.outcomes)) | Counter(dict(right.outcomes))
    level = left.jack.level if left.jack.level is right.jack.level else Level.UNKNOWN
    known = [one.speakers for one in (left, right) if one.speakers is not Speakers.UNKNOWN]
    careful = Speakers.MUTE_UNLESS_SET if Speakers.MUTE_UNLESS_SET in known else None
    return replace(
        left,
        jack=replace(left.jack, form=Form.RCA_PAIR, level=level),
        speakers=careful or next(iter(known), Speakers.UNKNOWN),
        findings=max(left.findings, right.findings),
        outcomes=tuple((outcome, counts[outcome]) for outcome in Outcome if counts[outcome]),
        disputes=left.disputes + right.disputes,
        settings=tuple(dict.fromkeys(left.settings + right.settings)),
    )


# -- names -----------------------------------------------------------------------------------------


class Name(NamedTuple):
    """Hold the name of a jack: ``number`` counts from 1; it is 0 if form and mark are enough."""

    form: Form
    marking: str
    number: int = 0


def names(jacks: Sequence[PanelJack]) -> tuple[Name, ...]:
    """Return the name of each jack of a panel, with its number if another would have the same name."""
    alike = Counter((one.jack.form, visible(one.jack.marking)) for one in jacks)
    return tuple(
        Name(
            one.jack.form,
            one.jack.marking,
            number if alike[one.jack.form, visible(one.jack.marking)] > 1 else 0,
        )
        for number, one in enumerate(jacks, 1)
    )
