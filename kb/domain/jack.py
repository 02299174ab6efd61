"""Define a jack: one connector of a panel."""

from __future__ import annotations

from dataclasses import dataclass, field

from kb.domain.kinds import Line, OneOf, declared
from kb.domain.words import Colour, Direction, Form, Format, Level, Signal


@dataclass(frozen=True, slots=True)
class Jack:
    """One connector: what plugs in, what is printed, which way sound goes and what kind of sound."""

    form: Form = field(metadata=declared(OneOf(Form), "what plugs in"))
    marking: str = field(default="", metadata=declared(Line(), "what is printed next to it"))
    direction: Direction = field(
        default=Direction.UNCLEAR, metadata=declared(OneOf(Direction), "which way the sound goes")
    )
    signal: Signal | None = field(default=None, metadata=declared(OneOf(Signal), "what it carries"))
    level: Level = field(
        default=Level.UNKNOWN, metadata=declared(OneOf(Level), "whether the level follows the remote control")
    )
    format: Format = field(
        default=Format.UNKNOWN, metadata=declared(OneOf(Format), "what a digital output sends")
    )
    colour: Colour | None = field(default=None, metadata=declared(OneOf(Colour), "the colour of its ring"))

    @property
    def usable(self) -> bool:
        """Is it an output that carries full-range sound?"""
        return self.direction is Direction.OUTPUT and self.signal not in (None, Signal.NOT_AUDIO)
