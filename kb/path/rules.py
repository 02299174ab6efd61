"""Decide for one jack the ways to the driver with their rank, or the reason why there is none.

Each rule of the trade is one small function in ``_RULES``; the first that objects rules the jack out. A rule
without a named source is common practice.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Final, NamedTuple

from kb.catalogue import GIVEN_UP, Carried, Catalogue, End, Part, Role
from kb.domain.panel import PanelJack
from kb.domain.words import (
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
from kb.path.answer import RuledOut, RuledOutCode, Tier, Values
from kb.path.chains import Chain, chains
from kb.path.chance import ChanceLike
from kb.path.jacks import (
    Name,
    against_its_mark,
    as_most_found,
    failures_of,
    joined,
    may_mute,
    never_sounded,
    only_bitstream,
    sides,
    signal_of,
    speakers_disputed,
    start_of,
    trials,
    wants_pcm,
)

DOUBTFUL_BELOW: Final = 0.5
"""A tried jack with a lower chance is no acceptable output."""
TRIP: Final = 60
"""The cost of a second trip, in the unit of item costs: it is added in proportion to a failure's chance."""
BITSTREAM: Final = 15
"""The cost of an output that is only known to send a bitstream."""


MOST_BOTHER: Final = 2_999
"""Higher costs count as this: a tier has space for three times as much."""
LEVEL: Final = 2_300
"""What parts levels at a microphone input: the last of four stays in its tier."""


class Job(NamedTuple):
    """Hold the facts beyond the panel on which the answer depends."""

    catalogue: Catalogue
    inputs: frozenset[DriverInput]
    kind: Kind
    display: Display | None
    speakers_needed: bool
    have: frozenset[str]
    run_m: float
    chance: Callable[[PanelJack], ChanceLike]
    names: tuple[Name, ...] = ()
    shared: frozenset[DriverInput] = frozenset()
    """Inputs of the driver that another source uses already."""
    tube: str = ""
    """``tube`` or ``perhaps`` if the source may be a tube set."""


class Way(NamedTuple):
    """Describe a chain from a jack (None: a microphone at the loudspeaker) to an input, with its rank."""

    jack: int | None
    seen: PanelJack | None
    chain: Chain
    tier: Tier
    p: float
    findings: int
    delay_ms: float
    cost: int
    right: int | None = None
    """The jack of the right channel, if left and right are single jacks."""


class Verdict(NamedTuple):
    """Hold the ways of one jack, or why there are none; ``otherwise`` says why not as a last resort."""

    ways: tuple[Way, ...] = ()
    ruled_out: RuledOut | None = None
    otherwise: RuledOut | None = None


def judged(index: int, seen: PanelJack, job: Job) -> Verdict:
    """Return the verdict on jack number ``index``; for a combined jack, on either of its signals."""
    verdicts = [_judged(index, side, job) for side in sides(as_most_found(seen), job.catalogue)]
    if len(verdicts) == 1:
        return verdicts[0]
    of_use = [verdict for verdict in verdicts if verdict.ways]
    if not of_use:
        return verdicts[0]
    best = min(of_use, key=lambda verdict: min(way.cost for way in verdict.ways))
    return Verdict(tuple(way for verdict in of_use for way in verdict.ways), otherwise=best.otherwise)


def judged_pair(
    left: int, right: int, jacks: tuple[PanelJack, ...], alone: tuple[Verdict, Verdict], job: Job
) -> tuple[Verdict, Verdict]:
    """Return the verdict on the jacks of left and right together; ``alone`` has the verdict on each.

    The ways are those of the left one. Half the sound is never better: a way with both ranks no lower than
    one with either alone.
    """
    verdict = _judged(left, joined(jacks[left], jacks[right]), job)
    ways = []
    for way in verdict.ways:
        same = [one for side in alone for one in side.ways if one.chain.input is way.chain.input]
        best = min([way, *same], key=lambda one: one.cost)
        ways.append(way._replace(right=right, tier=best.tier, cost=best.cost))
    reached = {way.chain.input for way in ways}
    ways += [way for way in alone[0].ways if ways and way.chain.input not in reached]
    out = verdict.otherwise and verdict.otherwise._replace(jack=right, marking=jacks[right].jack.marking)
    return verdict._replace(ways=tuple(ways)), Verdict(otherwise=out)


def _judged(index: int, seen: PanelJack, job: Job) -> Verdict:
    for rule in _RULES:
        objection = rule(seen, job)
        if objection is not None:
            return Verdict(ruled_out=_no(index, seen, *objection))
    taken = _is_taken(seen)
    found = _chains_from(start_of(seen), job, _needed(seen))
    if not found:
        if taken:
            return Verdict(ruled_out=_no(index, seen, RuledOutCode.TAKEN, variant="no-splitter"))
        why = "bitstream" if only_bitstream(seen) else ""
        return Verdict(ruled_out=_no(index, seen, RuledOutCode.NO_WAY_TO_INPUT, *_inputs_of(job), why))
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


def _chains_from(start: End, job: Job, need: frozenset[Role] = frozenset()) -> dict[DriverInput, Chain]:
    """Return the chains to each input; behind a mixer or switch to those that another source uses.

    An ADC or a sender is left out if the same jack reaches the driver without.
    """
    both = ((job.inputs - job.shared, need), (job.inputs & job.shared, need | {Role.MIXER}))
    found: dict[DriverInput, Chain] = {}
    for inputs, roles in both:
        if inputs:
            found |= chains(job.catalogue, start, inputs, job.run_m, job.have, roles)
    plain = {name: chain for name, chain in found.items() if not chain.detour}
    return plain or found


def microphone(job: Job) -> tuple[Way, ...]:
    """Return a microphone at the loudspeaker, if the driver takes one."""
    start = End(Form.OTHER, Part.SOCKET, Carried.ACOUSTIC)
    found = _chains_from(start, job)
    return tuple(_way(None, None, chain, job) for chain in found.values())


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
    """Object to an unclear direction: connecting an output to an output can damage both."""
    if seen.jack.direction is not Direction.UNCLEAR:
        return None
    return RuledOutCode.DIRECTION_UNCLEAR, (), "" if seen.jack.marking else "unmarked"


def _signal_known(seen: PanelJack, job: Job) -> _Objection:
    """Object to outputs of an unknown signal.

    Only the display gives ARC: at a receiver or a soundbar the same mark takes it in, and an HDMI output
    there carries the sound of other boxes only while they play.
    """
    hdmi = seen.jack.form is Form.HDMI and seen.jack.signal is not Signal.HDMI
    if hdmi and job.kind not in (Kind.TELEVISION, Kind.OTHER):
        return RuledOutCode.NO_WAY_TO_INPUT, _inputs_of(job)[0], "hdmi"
    if signal_of(seen) is not None:
        return None
    if hdmi:
        return RuledOutCode.NO_WAY_TO_INPUT, _inputs_of(job)[0], "hdmi"
    return RuledOutCode.DIRECTION_UNCLEAR, (), "signal"


def _not_known_to_fail(seen: PanelJack, job: Job) -> _Objection:
    """Object to a jack that never gave sound, if it is more likely dead than not set right.

    The format, a cap or the selector may be the cause of one silent trial: then the jack is offered behind
    others. A question asks for the facts that would settle it (``how-was-it-tried``).
    """
    if not never_sounded(seen) or job.chance(seen).dead < GIVEN_UP:
        return None
    digital = start_of(seen).carries.digital and seen.jack.format is not Format.PCM
    return (
        RuledOutCode.KNOWN_NOT_TO_WORK,
        failures_of(seen),
        "digital" if digital else "",
    )


def _speakers_stay(seen: PanelJack, job: Job) -> _Objection:
    """Object to silenced speakers for any signal: digital outputs silence them on a few sets too.

    If visits disagree, the jack counts as unknown: the answer tries it and asks.
    """
    if seen.speakers is Speakers.MUTE and job.speakers_needed and not speakers_disputed(seen):
        return RuledOutCode.MUTES_SPEAKERS, (), ""
    return None


_RULES: Final = (
    _only_outputs,
    _only_sound,
    _never_guessed,
    _signal_known,
    _not_known_to_fail,
    _speakers_stay,
)

# -- rank ------------------------------------------------------------------------------------------


def _is_taken(seen: PanelJack) -> bool:
    """Return whether the output is taken. Loudspeaker terminals can be shared: they are never taken."""
    return seen.taken and signal_of(seen) is not Signal.SPEAKER_LEVEL


def _hummed(seen: PanelJack) -> bool:
    analog = signal_of(seen) in (Signal.ANALOG_LINE, Signal.HEADPHONE)
    return analog and bool(seen.tried(Outcome.HUM))


def _needed(seen: PanelJack) -> frozenset[Role]:
    """Return the roles that a chain from this jack needs: a splitter if taken, an isolator if it hummed."""
    need = set()
    if only_bitstream(seen):
        need.add(Role.DECODER)
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
    doubtful = seen is not None and (
        against_its_mark(seen) or never_sounded(seen) or (trials(seen) > 0 and p < DOUBTFUL_BELOW)
    )
    for item in chain.items:
        p *= item.works
    if seen is not None:
        p *= _of_format(seen, chain, job)
    delay = round(sum(item.delay_ms for item in chain.items), 3)
    if not chain.items:  # from the source straight into the driver, without a cable
        delay = job.catalogue.number("bluetooth-delay")
    tier = _tier(seen, chain, doubtful, delay, job)
    bother = chain.cost + round((1 - p) * TRIP)
    if seen is not None and seen.jack.format is Format.BITSTREAM:
        bother += BITSTREAM
    behind = _after_plain(chain, tier, job) + _after_fixed(seen, chain, tier) * LEVEL
    cost = tier * 10_000 + behind + min(bother, MOST_BOTHER)
    return Way(index, seen, chain, tier, p, findings, delay, cost)


def _of_format(seen: PanelJack, chain: Chain, job: Job) -> float:
    """Return the share of outputs like this that send what the chain plays.

    Trials tell it by themselves, and so does a format that somebody noted.
    """
    decodes = any(item.role is Role.DECODER for item in chain.items)
    wants = wants_pcm(chain.ends[0].carries) and not decodes
    untold = seen.jack.format is Format.UNKNOWN and not trials(seen)
    return job.catalogue.number("pcm-offered") if wants and untold else 1.0


def _tier(seen: PanelJack | None, chain: Chain, doubtful: bool, delay_ms: float, job: Job) -> Tier:
    """Return the place of this way in the order of choice."""
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
    # Among these an untried headphone jack goes before untried ARC: a cable, carried anyway, settles it in a
    # minute, and costs of items see to that order. ARC takes a powered box first, and the very step that
    # sends sound out over it turns the speakers off on most sets.
    silences = may_mute(seen) or seen.speakers is Speakers.MUTE  # the latter only if visits disagree
    if doubtful or (job.speakers_needed and silences):
        return Tier.DOUBTFUL
    return _digital_tier(chain, job) if chain.ends[0].carries.digital else _analog_tier(seen, chain)


def _after_plain(chain: Chain, tier: Tier, job: Job) -> int:
    """Return a rank that puts ways with a DAC after those without, even among doubtful ones and last resorts.

    A form converter that is not at hand comes after the DAC. So the DAC rule stays exact.
    """
    if tier < Tier.DOUBTFUL or not chain.ends[0].carries.digital:
        return 0
    behind = {Tier.DAC: 1, Tier.TO_BUY: 2}
    return behind.get(_digital_tier(chain, job), 0) * (MOST_BOTHER + 1)


def _digital_tier(chain: Chain, job: Job) -> Tier:
    if chain.has_dac:
        return Tier.DAC
    turning = [item for item, _, _ in chain.turned]
    if not turning:
        return Tier.DIGITAL
    # With ARC an extractor is needed anyhow; a form converter is acceptable if it is at hand.
    to_hand = all(item.role is Role.EXTRACTOR or item.name in job.have for item in turning)
    return Tier.CONVERTED if to_hand else Tier.TO_BUY


def _after_fixed(seen: PanelJack | None, chain: Chain, tier: Tier) -> int:
    """Return a rank among the analog ways into a microphone input: their levels differ as at a line input."""
    if seen is None or tier is not Tier.HEADPHONE or chain.ends[-1].carries is not Carried.MIC:
        return 0
    return (Tier.FIXED, Tier.LINE, Tier.VARIABLE, Tier.HEADPHONE).index(_level_tier(seen, chain))


def _analog_tier(seen: PanelJack, chain: Chain) -> Tier:
    if chain.detour:
        return Tier.DAC
    return Tier.HEADPHONE if chain.ends[-1].carries is Carried.MIC else _level_tier(seen, chain)


def _level_tier(seen: PanelJack, chain: Chain) -> Tier:
    if chain.ends[0].carries is Carried.HEADPHONE:
        return Tier.HEADPHONE
    if seen.jack.level is Level.VARIABLE or _hummed(seen):  # optical ends mains hum for good: it goes first
        return Tier.VARIABLE
    return Tier.LINE if seen.jack.level is Level.UNKNOWN else Tier.FIXED


def _last_resort(index: int, seen: PanelJack, ways: tuple[Way, ...], job: Job) -> RuledOut | None:
    """Return why this jack is offered only if nothing better is left; None if it is no last resort."""
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
