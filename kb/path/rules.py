"""What may one jack be used for: ways to the driver with their rank, or the reason why not?

Each rule of the trade is one small function in ``_RULES``; the first that objects rules the jack out.
Without a source beside it a rule is common practice.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Final, NamedTuple

from kb.catalogue import Carried, Catalogue, End, Part, Role
from kb.panel import PanelJack
from kb.path.chance import ChanceLike
from kb.path.says import RuledOut, RuledOutCode, Tier, Values
from kb.path.search import Chain, chains
from kb.words import (
    Direction,
    Display,
    DriverInput,
    Form,
    Format,
    Kind,
    Level,
    Outcome,
    Signal,
    Speakers,
)

DOUBTFUL_BELOW: Final = 0.5
"""A jack that was tried and whose chance is below this is no acceptable output."""
TRIP: Final = 60
"""The bother of a second trip, in the measure of item costs: a failure's chance times this is added."""
BITSTREAM: Final = 15
"""The bother of an output that is only known to send a bitstream."""


class Job(NamedTuple):
    """What the answer depends on besides the panel."""

    catalogue: Catalogue
    inputs: frozenset[DriverInput]
    kind: Kind
    display: Display | None
    speakers_needed: bool
    have: frozenset[str]
    run_m: float
    chance: Callable[[PanelJack], ChanceLike]


class Way(NamedTuple):
    """A chain from a jack (None: a microphone at the loudspeaker) to an input, with its rank."""

    jack: int | None
    seen: PanelJack | None
    chain: Chain
    tier: Tier
    p: float
    findings: int
    delay_ms: float
    cost: int


class Verdict(NamedTuple):
    """Ways of one jack, or why there are none; ``otherwise`` is why not, where a last resort is not used."""

    ways: tuple[Way, ...] = ()
    ruled_out: RuledOut | None = None
    otherwise: RuledOut | None = None


def judged(index: int, seen: PanelJack, job: Job) -> Verdict:
    """What jack number ``index`` may be used for."""
    for rule in _RULES:
        objection = rule(seen, job)
        if objection is not None:
            return Verdict(ruled_out=_no(index, seen, *objection))
    taken = _is_taken(seen)
    found = chains(job.catalogue, start_of(seen), job.inputs, job.run_m, job.have, _needed(seen))
    if not found:
        if taken:
            return Verdict(ruled_out=_no(index, seen, RuledOutCode.TAKEN, variant="no-splitter"))
        return Verdict(ruled_out=_no(index, seen, RuledOutCode.NO_WAY_TO_INPUT, *_inputs_of(job)))
    ways = tuple(_way(index, seen, chain, job) for chain in found.values())
    limit = job.catalogue.number("late-limit")
    in_time = tuple(way for way in ways if way.delay_ms <= limit)
    if not in_time:
        late = min(way.delay_ms for way in ways)
        return Verdict(
            ruled_out=_no(
                index, seen, RuledOutCode.LATE, (("delay_ms", late), ("limit_ms", limit)), "behind-picture"
            )
        )
    return Verdict(ways=in_time, otherwise=_last_resort(index, seen, in_time, job))


def microphone(job: Job) -> tuple[Way, ...]:
    """A microphone at the loudspeaker, where the driver takes one."""
    start = End(Form.OTHER, Part.SOCKET, Carried.ACOUSTIC)
    found = chains(job.catalogue, start, job.inputs, job.run_m, job.have)
    return tuple(_way(None, None, chain, job) for chain in found.values())


def signal_of(seen: PanelJack) -> Signal | None:
    """The signal as found, or the only one that the form leaves: an optical socket gives light."""
    if seen.jack.signal is None and seen.jack.form in (Form.TOSLINK, Form.MINI_TOSLINK):
        return Signal.OPTICAL
    return seen.jack.signal


def start_of(seen: PanelJack) -> End:
    """The end that an output offers; its signal must be known.

    A combined 3.5 mm jack that gives light takes the round optical plug; a single RCA jack with line level
    has one channel.
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
    if form is Form.RCA_SINGLE and carries is Carried.LINE:
        carries = Carried.LINE_MONO
    return End(form, Part.SOCKET, carries)


_CARRIED: Final = {
    Signal.ANALOG_LINE: Carried.LINE,
    Signal.HEADPHONE: Carried.HEADPHONE,
    Signal.OPTICAL: Carried.OPTICAL,
    Signal.COAXIAL: Carried.COAXIAL,
    Signal.ARC: Carried.ARC,
    Signal.EARC: Carried.EARC,
    Signal.SPEAKER_LEVEL: Carried.SPEAKER,
    Signal.WIRELESS: Carried.WIRELESS,
    Signal.ACOUSTIC: Carried.ACOUSTIC,
}

# -- rules that rule out ---------------------------------------------------------------------------

_Objection = tuple[RuledOutCode, Values, str] | None


def _no(index: int, seen: PanelJack, code: RuledOutCode, values: Values = (), variant: str = "") -> RuledOut:
    form: Values = (("form", seen.jack.form),)
    return RuledOut(index, seen.jack.marking, code, form + values, variant)


def _inputs_of(job: Job) -> tuple[Values]:
    return ((("inputs", tuple(sorted(job.inputs))),),)


def _only_outputs(seen: PanelJack, job: Job) -> _Objection:
    if seen.jack.direction is not Direction.INPUT:
        return None
    return RuledOutCode.NOT_AN_OUTPUT, (), "hdmi" if seen.jack.form is Form.HDMI else ""


def _only_sound(seen: PanelJack, job: Job) -> _Objection:
    return (RuledOutCode.NOT_AUDIO, (), "") if seen.jack.signal is Signal.NOT_AUDIO else None


def _never_guessed(seen: PanelJack, job: Job) -> _Objection:
    """An output tied to an output can damage both."""
    if seen.jack.direction is not Direction.UNCLEAR:
        return None
    return RuledOutCode.DIRECTION_UNCLEAR, (), "" if seen.jack.marking else "unmarked"


def _signal_known(seen: PanelJack, job: Job) -> _Objection:
    """An output, but of what? The sound of an HDMI output comes with the picture, and ARC is given back by
    the display only: at a box or a receiver the same mark takes it in."""
    hdmi = seen.jack.form is Form.HDMI
    if hdmi and job.kind not in (Kind.TELEVISION, Kind.OTHER):
        return RuledOutCode.NO_WAY_TO_INPUT, _inputs_of(job)[0], "hdmi"
    if signal_of(seen) is not None:
        return None
    if hdmi:
        return RuledOutCode.NO_WAY_TO_INPUT, _inputs_of(job)[0], "hdmi"
    return RuledOutCode.DIRECTION_UNCLEAR, (), "signal"


def _not_known_to_fail(seen: PanelJack, job: Job) -> _Objection:
    silent, distorted = seen.tried(Outcome.SILENT), seen.tried(Outcome.DISTORTED)
    sound = seen.tried(Outcome.CARRIED, Outcome.WEAK, Outcome.HUM, Outcome.DELAYED)
    if not silent + distorted or sound:
        return None
    digital = start_of(seen).carries.digital and seen.jack.format is not Format.PCM
    return (
        RuledOutCode.KNOWN_NOT_TO_WORK,
        (("silent", silent), ("distorted", distorted)),
        "digital" if digital else "",
    )


def _speakers_stay(seen: PanelJack, job: Job) -> _Objection:
    """Whatever the signal: digital outputs silence the speakers on a few sets too."""
    if seen.speakers is Speakers.MUTE and job.speakers_needed:
        return RuledOutCode.MUTES_SPEAKERS, (), ""
    return None


def _taken_for_good(seen: PanelJack, job: Job) -> _Objection:
    if seen.taken and signal_of(seen) is Signal.WIRELESS:
        return RuledOutCode.TAKEN, (), "no-splitter"
    return None


_RULES: Final = (
    _only_outputs,
    _only_sound,
    _never_guessed,
    _signal_known,
    _not_known_to_fail,
    _speakers_stay,
    _taken_for_good,
)

# -- rank ------------------------------------------------------------------------------------------


def _is_taken(seen: PanelJack) -> bool:
    """Loudspeaker terminals are there to be shared: the converter goes beside the loudspeaker."""
    return seen.taken and signal_of(seen) is not Signal.SPEAKER_LEVEL


def _hummed(seen: PanelJack) -> bool:
    analog = signal_of(seen) in (Signal.ANALOG_LINE, Signal.HEADPHONE)
    return analog and bool(seen.tried(Outcome.HUM))


def _needed(seen: PanelJack) -> frozenset[Role]:
    """What a chain from this jack must hold: a splitter where it is taken, an isolator where it hummed."""
    need = set()
    if _is_taken(seen):
        need.add(Role.SPLITTER)
    if _hummed(seen):
        need.add(Role.ISOLATOR)
    return frozenset(need)


def _way(index: int | None, seen: PanelJack | None, chain: Chain, job: Job) -> Way:
    if seen is None:
        prior = job.catalogue.priors.get(Signal.ACOUSTIC)
        p, findings = (prior.works / (prior.works + prior.fails) if prior else 0.5), 0
    else:
        chance = job.chance(seen)
        p, findings = chance.p, seen.findings
    doubtful = seen is not None and _tried(seen) > 0 and p < DOUBTFUL_BELOW
    for item in chain.items:
        p *= item.works
    delay = round(sum(item.delay_ms for item in chain.items), 3)
    tier = _tier(seen, chain, doubtful, delay, job)
    bother = chain.cost + round((1 - p) * TRIP)
    if seen is not None and seen.jack.format is Format.BITSTREAM:
        bother += BITSTREAM
    return Way(index, seen, chain, tier, p, findings, delay, cost=tier * 10_000 + min(bother, 9_999))


def _tried(seen: PanelJack) -> int:
    return sum(count for outcome, count in seen.outcomes if outcome is not Outcome.NOT_TRIED)


def _tier(seen: PanelJack | None, chain: Chain, doubtful: bool, delay_ms: float, job: Job) -> Tier:
    """Where this way stands in the order of choice."""
    signal = chain.ends[0].carries.signal
    if job.speakers_needed and delay_ms > job.catalogue.number("echo-limit"):
        return Tier.LATE
    if seen is None:
        return Tier.MICROPHONE
    if signal is Signal.WIRELESS:
        return Tier.WIRELESS
    if signal is Signal.SPEAKER_LEVEL:
        return Tier.SPEAKER_LEVEL
    if _is_taken(seen):
        return Tier.SPLIT
    silences = signal is Signal.HEADPHONE and seen.speakers is Speakers.UNKNOWN and job.speakers_needed
    if doubtful or silences:
        return Tier.DOUBTFUL
    return _digital_tier(chain, job) if chain.ends[0].carries.digital else _analog_tier(seen, chain)


def _digital_tier(chain: Chain, job: Job) -> Tier:
    if chain.has_dac:
        return Tier.DAC
    turning = [item for item, _, _ in chain.turned]
    if not turning:
        return Tier.DIGITAL
    # Out of ARC an extractor is needed anyhow; a form converter is acceptable where it is to hand.
    to_hand = all(item.role is Role.EXTRACTOR or item.name in job.have for item in turning)
    return Tier.CONVERTED if to_hand else Tier.TO_BUY


def _analog_tier(seen: PanelJack, chain: Chain) -> Tier:
    padded = chain.ends[-1].carries is Carried.MIC
    if padded or chain.ends[0].carries is Carried.HEADPHONE:
        return Tier.HEADPHONE
    if seen.jack.level is Level.VARIABLE or _hummed(seen):  # optical ends mains hum for good: it goes first
        return Tier.VARIABLE
    return Tier.LINE if seen.jack.level is Level.UNKNOWN else Tier.FIXED


def _last_resort(index: int, seen: PanelJack, ways: tuple[Way, ...], job: Job) -> RuledOut | None:
    """Why this jack is not offered while anything better is left; None where it is no last resort."""
    best = min(ways, key=lambda way: way.cost)
    if not best.tier.last_resort:
        return None
    if signal_of(seen) is Signal.SPEAKER_LEVEL:
        return _no(index, seen, RuledOutCode.SPEAKER_LEVEL_UNSAFE)
    if _is_taken(seen):
        return _no(index, seen, RuledOutCode.TAKEN)
    needed = job.speakers_needed
    limit = job.catalogue.number("echo-limit" if needed else "late-noticed")
    values: Values = (("delay_ms", best.delay_ms), ("limit_ms", limit))
    return _no(index, seen, RuledOutCode.LATE, values, "echo" if needed else "")
