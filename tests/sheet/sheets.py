"""Invented sets, and sheets made of them."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any

from kb.domain.panel import panel_of
from kb.domain.visit import visit_from
from kb.domain.words import DriverInput
from kb.path import connect
from kb.sheet.page import Sheet, render

OPTICAL = {
    "form": "toslink",
    "marking": "DIGITAL AUDIO OUT",
    "speakers": "stay-on",
    "outcome": "carried",
    "setting": "sound menu, digital output: PCM",
    "note": "behind Mrs Ardlow's cabinet",
}
HEADPHONE = {"form": "jack-3.5", "marking": "HEADPHONE", "speakers": "stay-on", "outcome": "carried"}
INPUTS = (
    {"form": "rca-pair", "marking": "AUDIO"},
    {"form": "hdmi", "marking": "HDMI 1"},
)
#: Text that would do something if it were markup, a template, a script or a terminal's command.
HOSTILE = (
    "<script>alert(1)</script>",
    '"><img src=x onerror=alert(1)>',
    "</svg></style><b>bold</b>",
    "{{ 7 * 7 }} {% raw %} ${x} {0} {nothing}",
    "javascript:alert(1) & <!-- ]]> -->",
    "]]></desc><foreignObject>",
)


def visit_of(*jacks: dict[str, Any], **changed: Any) -> dict[str, Any]:
    """A visit file with these jacks."""
    visit = {
        "date": "2026-03-04",
        "by": "Roswitha T",
        "basis": "tested",
        "job": "J-104",
        "source": {"make": "Norwell", "model": "NV40-210", "year": 2014, "display": "flat", "size_in": 40},
        "jacks": list(jacks),
        "note": "Key under the third pot.",
    }
    return visit | changed


def sheet_of(*jacks: dict[str, Any], inputs: str = "line-3.5", needed: bool = True, **changed: Any) -> Sheet:
    """A sheet of one visit to a set with these jacks, for a driver with these inputs."""
    visit_fields = {key: changed.pop(key) for key in ("source", "note", "by", "job") if key in changed}
    visit = visit_from(visit_of(*jacks, **visit_fields))
    panel = panel_of(visit)
    named = tuple(DriverInput(one) for one in inputs.split(","))
    connection = connect(
        panel, named, kind=visit.source.kind, display=visit.source.display, speakers_needed=needed
    )
    sheet = Sheet(
        source=visit.source,
        panel=panel,
        connection=connection,
        inputs=named,
        made=date(2026, 11, 25),
        visits=(visit,),
    )
    return replace(sheet, **changed)


def page_of(*jacks: dict[str, Any], **changed: Any) -> str:
    """The HTML of a sheet with these jacks."""
    return render(sheet_of(*jacks, **changed))
