"""Choose the path from a panel to the driver, reject the other jacks with reasons, and list questions."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import replace
from functools import partial
from typing import Final

from kb.base.errors import BadInput
from kb.base.messages import Said
from kb.catalogue import Catalogue, Role
from kb.catalogue import catalogue as shipped
from kb.domain.marking import denied, says_digital
from kb.domain.panel import Panel, PanelJack
from kb.domain.visit import at_source
from kb.domain.words import Direction, Display, DriverInput, Form, Format, Kind, Signal, Speakers
from kb.path.advice import path_of, place_of
from kb.path.answer import (
    Connection,
    Dac,
    DacCode,
    Question,
    QuestionCode,
    RuledOut,
    RuledOutCode,
    Tier,
    of_kind,
)
from kb.path.chance import ChanceLike, own_chance
from kb.path.jacks import (
    SENT_ELSEWHERE,
    may_mute,
    names,
    never_sounded,
    only_bitstream,
    pairs,
    sides,
    signal_of,
    speakers_disputed,
    trials,
)
from kb.path.rules import Job, Verdict, Way, judged, judged_pair, microphone

USUAL_RUN: Final = 1.5  #: metres from jack to driver if nobody says how far
LONGEST_RUN: Final = 100.0  #: metres from jack to driver, at most
QUESTIONS: Final = 4  #: asked at a time, at most


def connect(
    panel: Panel,
    inputs: Sequence[DriverInput | str],
    *,
    kind: Kind = Kind.TELEVISION,
    display: Display | None = None,
    year: int | None = None,
    speakers_needed: bool = True,
    have: Collection[str] = (),
    length_m: float = 1.5,
    shared: Collection[DriverInput | str] = (),
    catalogue: Catalogue | None = None,
    chance: Callable[[PanelJack], ChanceLike] | None = None,
) -> Connection:
    """How sound gets from this panel into a driver with these ``inputs``.

    ``display`` and ``year`` tell whether it may be a tube set. ``speakers_needed``: others listen to the
    set's own speakers. ``have``: items to hand, by name. ``length_m``: metres of the run, 0 to 100, with the
    slack that the installer wants: none is added; the default is that of a driver beside the set (common
    practice). ``shared``: inputs of the driver that another source uses already: a mixer or a switch lets in
    both. ``chance`` tells how likely a jack works; without it the jack's own findings do.

    Raises BadInput if ``inputs`` is empty or has an unknown word, the length is invalid, or ``have``
    names what is not in the catalogue.
    """
    known = catalogue if catalogue is not None else shipped()
    panel = replace(panel, jacks=at_source(panel.jacks, kind))
    job = Job(
        catalogue=known,
        inputs=_inputs(inputs),
        kind=kind,
        display=display,
        speakers_needed=speakers_needed,
        have=known.named(have),
        run_m=_run(length_m),
        chance=chance if chance is not None else partial(own_chance, known=known),
        names=names(panel.jacks),
        shared=frozenset(DriverInput.read(one, "shared") for one in shared),
        tube=_tube(panel, kind, display, year, known.number("tube-until")),
    )
    ways, ruled_out = _sorted_out(_verdicts(panel.jacks, job), job)
    paths = tuple(path_of(way, job) for way in ways)
    best = ways[0] if ways else None
    return Connection(
        chosen=paths[0] if paths else None,
        others=paths[1:],
        ruled_out=tuple(of_kind(kind, one) for one in ruled_out),
        dac=_dac(ways, job),
        ask=tuple(of_kind(kind, one) for one in _questions(panel, best, ruled_out, job)),
    )


def _tube(panel: Panel, kind: Kind, display: Display | None, year: int | None, until: float) -> str:
    """Is it a tube set? Where nobody noted the display, an old one may be, or one with nothing digital on it
    whose year is not known (common practice)."""
    if display is not None or kind is not Kind.TELEVISION:
        return "tube" if display is Display.TUBE else ""
    if year is not None:
        return "perhaps" if year < until else ""
    digital = any(
        one.jack.form.recent or signal_of(one) in _DIGITAL_SIGNALS or says_digital(one.jack.marking)
        for one in panel.jacks
    )
    return "perhaps" if panel.jacks and not digital else ""


_DIGITAL_SIGNALS: Final = (Signal.OPTICAL, Signal.COAXIAL, Signal.ARC, Signal.EARC, Signal.HDMI)


def _verdicts(jacks: tuple[PanelJack, ...], job: Job) -> list[Verdict]:
    """Return the verdict on each jack; left and right together, if neither is out."""
    verdicts = [judged(index, seen, job) for index, seen in enumerate(jacks)]
    for left, right in pairs(jacks):
        if verdicts[left].ways and verdicts[right].ways and jacks[left].taken is jacks[right].taken:
            both = judged_pair(left, right, jacks, (verdicts[left], verdicts[right]), job)
            if both[0].ways:
                verdicts[left], verdicts[right] = both
    return verdicts


def _inputs(inputs: Sequence[DriverInput | str]) -> frozenset[DriverInput]:
    if isinstance(inputs, str) or not inputs:
        raise BadInput("inputs", inputs or "none", Said("expected/inputs-such-as", example="line-3.5"))
    return frozenset(DriverInput.read(one, "inputs") for one in inputs)


def _run(length_m: float) -> float:
    if not 0 <= length_m <= LONGEST_RUN:  # not-a-number is in no range
        raise BadInput("length", length_m, Said("expected/run-length", most=f"{LONGEST_RUN:g}"))
    return float(length_m)


def _sorted_out(verdicts: list[Verdict], job: Job) -> tuple[list[Way], tuple[RuledOut, ...]]:
    """Return the ways, best first, and the excluded jacks. Last resorts count if nothing else is left."""
    every = [way for verdict in verdicts for way in verdict.ways]
    ways = [way for way in every if not way.tier.last_resort]
    if not ways:
        resorts = [*every, *microphone(job)]
        ways = [way for way in resorts if way.tier is not Tier.LATE] or resorts
    offered = {index for way in ways for index in (way.jack, way.right)}
    ruled_out = []
    for index, verdict in enumerate(verdicts):
        if verdict.ruled_out is not None:
            ruled_out.append(verdict.ruled_out)
        elif index not in offered and verdict.otherwise is not None:
            ruled_out.append(verdict.otherwise)
    return sorted(ways, key=_rank), tuple(ruled_out)


def _rank(way: Way) -> tuple[object, ...]:
    return way.cost, -way.p, len(way.chain.items), -1 if way.jack is None else way.jack, way.chain.input


def _dac(ways: Sequence[Way], job: Job) -> Dac:
    """A DAC is needed exactly when every acceptable output is digital and the driver takes none of its
    forms, directly or after a form converter that is to hand.

    The tiers see to it: every way without a DAC from an acceptable output stands before every way with
    one, so the best of ``ways`` tells.
    """
    if not ways:
        return Dac(DacCode.NO_PATH)
    best = ways[0]
    turned = list(best.chain.turned)
    signal = ("signal", best.chain.ends[0].carries.signal)
    into = ("input", best.chain.input)
    if best.chain.has_dac:
        item = next(item for item, before, after in turned if before.digital and after.analog)
        code = DacCode.IN_THE_EXTRACTOR if item.role is Role.EXTRACTOR else DacCode.ALL_DIGITAL
        digital = any(one.digital for name in job.inputs for one in job.catalogue.inputs[name].takes)
        # An analog output further down, such as a headphone jack that may silence the speakers, is in doubt.
        doubtful = any(not way.chain.ends[0].carries.digital for way in ways)
        variant = _why_not_digital(ways) if digital else "doubtful" if doubtful else ""
        if code is not DacCode.ALL_DIGITAL:
            variant = ""
        return Dac(code, (signal, into, ("item", item.name)), variant)
    if not best.chain.ends[0].carries.digital:
        wireless = best.tier is Tier.WIRELESS or best.tier is Tier.LATE
        if not best.chain.items:
            return Dac(DacCode.DRIVER_TAKES_IT, (signal, into))
        variant = "microphone" if best.jack is None else "receiver" if wireless else ""
        item = best.chain.items[0]
        sampled = [one for one, before, after in turned if before.analog and after.digital]
        if sampled:
            variant, item = "adc", sampled[0]
        padded = [one for one, before, _ in turned if before.signal is Signal.SPEAKER_LEVEL]
        if padded:
            variant, item = "speaker-level", padded[0]
        return Dac(DacCode.ANALOG, (signal, into, ("item", item.name)), variant)
    if not turned:
        return Dac(DacCode.DRIVER_TAKES_IT, (signal, into))
    return Dac(DacCode.CONVERTER, (signal, into, ("item", turned[-1][0].name)))


def _why_not_digital(ways: Sequence[Way]) -> str:
    """Return why a way into a digital input comes after the DAC: its converter is not at hand yet.

    The direct way of a doubtful output does not count.
    """
    worst = max(ways[0].tier, Tier.TO_BUY)
    behind = any(way.tier <= worst and way.chain.ends[-1].carries.digital for way in ways)
    return "converter-not-to-hand" if behind else "not-to-hand"


# -- questions -------------------------------------------------------------------------------------


def _questions(
    panel: Panel, best: Way | None, ruled_out: tuple[RuledOut, ...], job: Job
) -> tuple[Question, ...]:
    """Return questions that would change the answer, the most useful first: try each unknown both ways."""
    asked: list[tuple[int, Question]] = []
    for index, seen in enumerate(panel.jacks):
        for question, answers in _unknowns(index, seen, best, job):
            cost = min(
                (way.cost for answer in answers for way in judged(index, answer, job).ways), default=_NEVER
            )
            chosen = best is not None and best.jack == index and question.code in _OF_CHOSEN
            if cost < (best.cost if best else _NEVER) or chosen:
                asked.append((cost, question))
    # Of equals the first on the panel: what is sorted stays in order.
    questions = [question for _, question in sorted(asked, key=lambda one: one[0])]
    last = []
    if _unsettled(best):
        box = "" if job.kind is Kind.TELEVISION else "not-television"
        last.append(Question(QuestionCode.OTHER_BOX, variant=box))
    silencing = any(one.code is RuledOutCode.MUTES_SPEAKERS for one in ruled_out)
    if best is None and silencing and DriverInput.MIC not in job.inputs:
        last.append(Question(QuestionCode.MICROPHONE_INPUT))
    return (*questions[: QUESTIONS - len(last)], *last)


_NEVER: Final = 1 << 60
#: Asked of the chosen jack, too.
_OF_CHOSEN: Final = (QuestionCode.DOES_IT_SILENCE, QuestionCode.IS_PCM_OFFERED)


def _unsettled(best: Way | None) -> bool:
    """Return whether there is no acceptable output: another box, or the user of a taken output, may help."""
    return best is None or best.tier >= Tier.DOUBTFUL


def _unknowns(
    index: int, seen: PanelJack, best: Way | None, job: Job
) -> Iterator[tuple[Question, list[PanelJack]]]:
    """Return the questions about one jack, each with the answers that would make it useful."""
    place = place_of(index, job)
    output = seen.jack.direction is Direction.OUTPUT
    unclear = seen.jack.direction is Direction.UNCLEAR and seen.jack.signal is not Signal.NOT_AUDIO
    if unclear and denied(seen.jack.form, seen.jack.marking, seen.jack.colour):
        return
    if unclear:
        light = "glow" if signal_of(seen) is Signal.OPTICAL else ""
        variant = light or ("" if seen.jack.marking else "unmarked")
        yield Question(QuestionCode.IS_IT_AN_OUTPUT, index, place, variant), _if_output(seen)
    elif output and signal_of(seen) is None and seen.jack.form is not Form.HDMI:
        yield Question(QuestionCode.WHAT_DOES_IT_CARRY, index, place), _if_output(seen)
    elif output and job.speakers_needed:
        disputed = speakers_disputed(seen)
        if disputed or may_mute(seen):
            elsewhere = "sent-elsewhere" if signal_of(seen) in SENT_ELSEWHERE else ""
            variant = "disputed" if disputed else elsewhere
            question = Question(QuestionCode.DOES_IT_SILENCE, index, place, variant)
            yield question, [replace(seen, speakers=Speakers.STAY_ON)]
    if output and never_sounded(seen):
        tried = sides(seen, job.catalogue)[0]
        if _gives_digital(tried):
            untried = [replace(seen, outcomes=())]
            yield Question(QuestionCode.HOW_WAS_IT_TRIED, index, place, _how(tried)), untried
    if output and (only_bitstream(seen) or _format_untold(seen)):
        offered = replace(seen.jack, format=Format.SELECTABLE)
        yield Question(QuestionCode.IS_PCM_OFFERED, index, place), [replace(seen, jack=offered)]
    silenced = seen.speakers is Speakers.MUTE and job.speakers_needed
    if output and silenced and _unsettled(best):
        yield Question(QuestionCode.WHO_LISTENS, index, place), [replace(seen, speakers=Speakers.STAY_ON)]
    if output and seen.taken and _unsettled(best):
        yield Question(QuestionCode.WHO_USES_IT, index, place), [replace(seen, taken=False)]


def _format_untold(seen: PanelJack) -> bool:
    """Is it digital, never tried, and nobody noted in which format?"""
    return _gives_digital(seen) and seen.jack.format is Format.UNKNOWN and not trials(seen)


def _gives_digital(seen: PanelJack) -> bool:
    return signal_of(seen) in _DIGITAL_SIGNALS


def _how(seen: PanelJack) -> str:
    """What is left to ask: there is no cap on a coaxial cable, and no format where PCM was noted."""
    signal = signal_of(seen)
    if signal in (Signal.ARC, Signal.EARC):
        return "arc"
    if seen.jack.format is Format.PCM:
        return "pcm"
    return "" if signal is Signal.OPTICAL else "coaxial"


def _if_output(seen: PanelJack) -> list[PanelJack]:
    """Return the jack as if it were an output, for each signal that its form allows."""
    known = signal_of(seen)
    signals = (known,) if known is not None else seen.jack.form.carries
    return [
        replace(seen, jack=replace(seen.jack, direction=Direction.OUTPUT, signal=signal))
        for signal in signals
    ]
