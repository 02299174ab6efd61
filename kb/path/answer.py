"""Define the values of a path answer: codes and values, no sentences.

The small values are named tuples: a dozen data classes would cost a cold lookup more than its answer.
"""

from __future__ import annotations

from enum import IntEnum
from typing import NamedTuple, TypeAlias, TypeVar

from kb.catalogue import CautionCode, StepCode
from kb.domain.words import DriverInput, Kind, Level, Signal, Speakers, Word

Value: TypeAlias = str | int | float | tuple[str, ...]
Values: TypeAlias = tuple[tuple[str, Value], ...]


class RuledOutCode(Word):
    """Why a jack is not offered; programs read these codes, so their meaning stays."""

    NOT_AN_OUTPUT = "not-an-output"
    DIRECTION_UNCLEAR = "direction-unclear"
    TAKEN = "taken"
    MUTES_SPEAKERS = "mutes-speakers"
    NO_WAY_TO_INPUT = "no-way-to-input"
    NOT_AUDIO = "not-audio"
    KNOWN_NOT_TO_WORK = "known-not-to-work"
    SPEAKER_LEVEL_UNSAFE = "speaker-level-unsafe"
    LATE = "late"


class DacCode(Word):
    """Why a DAC is needed, or is not."""

    ALL_DIGITAL = "all-digital"
    IN_THE_EXTRACTOR = "in-the-extractor"
    ANALOG = "analog"
    DRIVER_TAKES_IT = "driver-takes-it"
    CONVERTER = "converter"
    NO_PATH = "no-path"


class QuestionCode(Word):
    """An unknown whose answer could change the choice."""

    IS_IT_AN_OUTPUT = "is-it-an-output"
    WHAT_DOES_IT_CARRY = "what-does-it-carry"
    DOES_IT_SILENCE = "does-it-silence"
    WHO_LISTENS = "who-listens"
    WHO_USES_IT = "who-uses-it"
    HOW_WAS_IT_TRIED = "how-was-it-tried"
    IS_PCM_OFFERED = "is-pcm-offered"
    OTHER_BOX = "other-box"
    MICROPHONE_INPUT = "microphone-input"


class Step(NamedTuple):
    """Describe one thing to do. ``variant`` chooses among the sentences of a code."""

    code: StepCode
    values: Values = ()
    variant: str = ""


class Caution(NamedTuple):
    """Describe one caution."""

    code: CautionCode
    values: Values = ()
    variant: str = ""


class RuledOut(NamedTuple):
    """Describe a jack that is not offered: its place in the panel, its marking, and the reason."""

    jack: int
    marking: str
    code: RuledOutCode
    values: Values = ()
    variant: str = ""


class Dac(NamedTuple):
    """Say whether a digital-to-analog converter is needed, and why."""

    code: DacCode
    values: Values = ()
    variant: str = ""

    @property
    def needed(self) -> bool:
        """Is one needed, alone or in the extractor?"""
        return self.code in (DacCode.ALL_DIGITAL, DacCode.IN_THE_EXTRACTOR)


class Question(NamedTuple):
    """Hold a question, with the jack that it is about, if any."""

    code: QuestionCode
    jack: int | None = None
    values: Values = ()
    variant: str = ""


S = TypeVar("S", Step, Caution, RuledOut, Question)


def of_kind(kind: Kind, said: S) -> S:
    """Name the kind of source in a sentence, unless it is a television or already named."""
    known = kind is Kind.TELEVISION or any(name == "kind" for name, _ in said.values)
    return said if known else said._replace(values=(*said.values, ("kind", kind)))


class Tier(IntEnum):
    """Rank the choices, best first. From ``SPLIT`` on they are last resorts, used if nothing else is left."""

    FIXED = 0  #: analog line at a fixed level, by plain cable
    LINE = 1  #: analog line, level not known
    DIGITAL = 2  #: digital, straight into the driver
    VARIABLE = 3  #: analog line that follows the remote control, or that hummed
    HEADPHONE = 4  #: the last analog choice; also line taken down to microphone level
    CONVERTED = 5  #: digital, by a form converter that is to hand, or out of ARC
    DAC = 6
    TO_BUY = 7  #: digital, by a form converter that is not to hand
    DOUBTFUL = 8  #: failed more often than not, or may silence speakers that are needed (untried ARC too)
    SPLIT = 9
    SPEAKER_LEVEL = 10
    WIRELESS = 11
    MICROPHONE = 12
    LATE = 13  #: so late that it echoes against speakers that are needed

    @property
    def last_resort(self) -> bool:
        """Return whether it is used only if nothing else is left."""
        return self >= Tier.SPLIT


class Path(NamedTuple):
    """One way from a jack to the driver. ``jack`` is None for a microphone at the loudspeaker.

    ``cost`` is what paths are ranked by, smaller first: the tier, then the bother of the items and of a
    failure. ``p_works`` is 0 to 1; ``delay_ms`` milliseconds, nominal, of the items. ``findings`` speak of
    the jack, ``trials`` of them tell what came of using it. ``converter`` names what turns one kind of signal
    into another and wants power (DAC, form converter, extractor, receiver), empty if nothing does.
    ``disputed`` names the fields of the jack on which visits disagree.
    ``jacks`` are ``jack`` and the jack of the right channel, where left and right are single jacks.
    """

    jack: int | None
    signal: Signal
    items: tuple[str, ...]
    input: DriverInput
    needs_dac: bool
    speakers: Speakers
    steps: tuple[Step, ...]
    cautions: tuple[Caution, ...]
    p_works: float
    findings: int
    delay_ms: float
    level: Level
    tier: Tier
    cost: int
    length_m: float
    trials: int = 0
    converter: str = ""
    jacks: tuple[int, ...] = ()
    disputed: tuple[str, ...] = ()


class Connection(NamedTuple):
    """The whole answer. Every jack of the panel is in ``chosen`` or ``others`` (by ``jacks``), or in
    ``ruled_out``; one jack may have several ways."""

    chosen: Path | None
    others: tuple[Path, ...]
    ruled_out: tuple[RuledOut, ...]
    dac: Dac
    ask: tuple[Question, ...] = ()

    @property
    def converter(self) -> str:
        """What turns the sound into another kind on the chosen way, powered or not; "" for nothing."""
        if self.chosen is None:
            return ""
        passive = dict(self.dac.values)["item"] if self.dac.variant == "speaker-level" else ""
        return self.chosen.converter or str(passive)
