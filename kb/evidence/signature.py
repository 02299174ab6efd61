"""Describe a panel by its signature: usable outputs, their effect on the speakers, and use by others.

A *shape* is a combination of usable outputs, each a form and a signal, kept as one joint symbol. A headphone
jack changes the chance of an optical output, so outputs are never counted one by one.

>>> shape_of([Output(Form.TOSLINK, Signal.OPTICAL), Output(Form.RCA_PAIR, Signal.ANALOG_LINE)])
'rca-pair:analog-line toslink:optical'
>>> [output.signal.value for output in outputs_of("rca-pair:analog-line toslink:optical")]
['analog-line', 'optical']
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import lru_cache
from typing import Final, NamedTuple

from kb.domain.jack import Jack
from kb.domain.panel import Panel, PanelJack
from kb.domain.visit import Finding, Visit
from kb.domain.words import Basis, Direction, Form, Format, Outcome, Signal, Speakers

#: Effects on the speakers that count; ``unknown`` is a missing answer, not an effect.
EFFECTS: Final = (Speakers.STAY_ON, Speakers.MUTE, Speakers.MUTE_UNLESS_SET)

NO_OUTPUT: Final = "none"  #: the shape of a panel without any usable output


class Output(NamedTuple):
    """Describe a kind of usable output: its connector and its signal."""

    form: Form
    signal: Signal

    @property
    def symbol(self) -> str:
        """Return the symbol, such as ``toslink:optical``."""
        return f"{self.form.value}:{self.signal.value}"


class Outlet(NamedTuple):
    """Hold one output of a signature: its kind, its effect on the speakers, and if something else uses it."""

    output: Output
    speakers: Speakers
    taken: bool = False


Signature = tuple[Outlet, ...]  #: all outlets of a panel, in the order of their symbols


def shape_of(outputs: Iterable[Output]) -> str:
    """Return the joint symbol of a group of outputs."""
    return " ".join(sorted({output.symbol for output in outputs})) or NO_OUTPUT


@lru_cache(maxsize=4096)
def outputs_of(shape: str) -> tuple[Output, ...]:
    """Return the outputs of a shape."""
    if shape == NO_OUTPUT:
        return ()
    pairs = (symbol.split(":") for symbol in shape.split(" "))
    return tuple(Output(Form(form), Signal(signal)) for form, signal in pairs)


def output_of(jack: Jack) -> Output | None:
    """Return the kind of a usable output; None for every other jack."""
    return Output(jack.form, jack.signal) if jack.usable and jack.signal is not None else None


def findings_by_output(visit: Visit) -> dict[Output, list[Finding]]:
    """Return the findings of usable outputs of one visit, by kind of output."""
    found: dict[Output, list[Finding]] = {}
    for finding in visit.findings:
        output = output_of(finding.jack)
        if output is not None:
            found.setdefault(output, []).append(finding)
    return found


def is_partial(visit: Visit) -> bool:
    """Return whether the visit covers only some jacks.

    Hearsay, and a list of only tried jacks, show which jacks exist, not which are missing (common practice).
    """
    return visit.basis is Basis.TOLD or all(f.outcome is not Outcome.NOT_TRIED for f in visit.findings)


def taken_of(findings: Iterable[Finding]) -> bool | None:
    """Return whether something else used an output. A tried output that nobody called taken was free."""
    taken = None
    for finding in findings:
        if finding.taken is not None:
            taken = bool(taken) or finding.taken
        elif finding.outcome is not Outcome.NOT_TRIED:
            taken = bool(taken)
    return taken


def panel_from(signature: Signature) -> Panel:
    """Return the panel that a signature describes, for rules that read panels."""
    digital = {Signal.OPTICAL, Signal.COAXIAL, Signal.ARC, Signal.EARC}
    jacks = tuple(
        PanelJack(
            jack=Jack(
                form=outlet.output.form,
                direction=Direction.OUTPUT,
                signal=outlet.output.signal,
                format=Format.SELECTABLE if outlet.output.signal in digital else Format.UNKNOWN,
            ),
            speakers=outlet.speakers,
            taken=outlet.taken,
        )
        for outlet in signature
    )
    return Panel(jacks)
