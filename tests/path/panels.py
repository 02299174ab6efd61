"""Panels for the tests, as visit files describe them. Makes and models are invented."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from kb.domain.panel import Panel, PanelJack, panel_of
from kb.domain.visit import visit_from
from kb.domain.words import Outcome
from kb.path import Connection, Path, connect, to_json

Jack = dict[str, Any]

LINE: Jack = {"form": "rca-pair", "marking": "AUDIO OUT (FIXED)"}
LINE_UNKNOWN: Jack = {"form": "rca-pair", "marking": "AUDIO OUT"}
LINE_VARIABLE: Jack = {"form": "rca-pair", "marking": "AUDIO OUT (VARIABLE)"}
INPUT: Jack = {"form": "rca-pair", "marking": "AUDIO"}
OPTICAL: Jack = {"form": "toslink", "marking": "OPTICAL OUT"}
COAXIAL: Jack = {"form": "rca-single", "marking": "DIGITAL AUDIO OUT", "colour": "orange"}
PHONES: Jack = {"form": "jack-3.5", "marking": "HEADPHONE"}
ARC: Jack = {"form": "hdmi", "marking": "HDMI 1 (ARC)"}
HDMI: Jack = {"form": "hdmi", "marking": "HDMI 2"}
SPEAKERS: Jack = {"form": "speaker-terminals", "marking": "EXT SPEAKERS"}
BLUETOOTH: Jack = {"form": "bluetooth", "marking": ""}
SCART: Jack = {"form": "scart", "marking": "EXT 1"}


def panel(*jacks: Jack) -> Panel:
    """What one visit to an invented set saw."""
    source = {"make": "Norwell", "model": "NV40-210"}
    return panel_of(visit_from({"date": "2026-03-04", "source": source, "jacks": list(jacks)}))


def ask(*jacks: Jack, inputs: tuple[str, ...] = ("line-3.5",), **more: Any) -> Connection:
    """The answer for these jacks, by default with a plain line driver."""
    return connect(panel(*jacks), inputs, **more)


def failed(jack: Jack, times: int, outcome: Outcome = Outcome.SILENT) -> PanelJack:
    """This jack after so many trials in vain."""
    return replace(panel(jack).jacks[0], outcomes=((outcome, times),))


def chosen(*jacks: Jack, **more: Any) -> Path:
    """The chosen path; there must be one."""
    found = ask(*jacks, **more).chosen
    assert found is not None
    return found


def cautions(path: Path) -> list[str]:
    """The codes of its cautions."""
    return [caution.code.value for caution in path.cautions]


def steps(path: Path) -> list[str]:
    """The codes of its steps."""
    return [step.code.value for step in path.steps]


def ruled_out(answer: Connection) -> dict[int, str]:
    """Why each jack that is not offered is not."""
    return {one.jack: one.code.value for one in answer.ruled_out}


def questions(answer: Connection) -> list[str]:
    """The questions as people read them."""
    asked = to_json(answer)["ask"]
    assert isinstance(asked, list)
    return asked


def text(path: Path) -> str:
    """Steps and cautions as people read them, one a line."""
    from kb.path import path_to_json

    said = path_to_json(path)
    return "\n".join([*said["steps"], *(one["text"] for one in said["cautions"])])
