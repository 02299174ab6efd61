"""Compare all steps and cautions of common connections with what a technician would tell, code by code."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from kb.domain.panel import Dispute, Panel
from kb.path import connect
from kb.path.answer import Caution, Step
from tests.path.panels import (
    ARC,
    BLUETOOTH,
    HDMI,
    LINE,
    LINE_VARIABLE,
    OPTICAL,
    PHONES,
    SCART,
    SPEAKERS,
    Jack,
    chosen,
    panel,
)

TAKEN: Jack = {**OPTICAL, "taken": True}
FREE = {"speakers_needed": False}
TO_OPTICAL = {"inputs": ("optical",)}
SINGLE: Jack = {"form": "rca-single", "marking": "AUDIO OUT L"}

#: Jacks, what is asked, the steps and the cautions, each as its code and, after a colon, its variant.
ADVICE: list[tuple[tuple[Jack, ...], dict[str, Any], str, str]] = [
    ((LINE,), {}, "driver-down plug-jack plug-driver:other-end choose-output:line level test", ""),
    (
        (LINE,),
        {"inputs": ("mic",)},
        "driver-down plug-jack join:other-end join plug-driver choose-output:line level test",
        "sum-not-y",
    ),
    (
        (LINE,),
        {"inputs": ("line-3.5", "optical")},
        "driver-down plug-jack plug-driver:other-end selector choose-output:line level test",
        "selector",
    ),
    (
        (LINE,),
        {"length_m": 60},
        "driver-down plug-jack join join:coupler join:coupler plug-driver:other-end power:both-ends "
        "choose-output:line level test",
        "radio own-power:both-ends long-cable",
    ),
    (
        ({**LINE, "taken": True},),
        {},
        "driver-down split join plug-driver:other-end choose-output:line level test",
        "",
    ),
    (
        (LINE,),
        {"inputs": ("bluetooth",), **FREE},
        "driver-down plug-jack join:coupler pair:to-driver power:usb choose-output:line level test:loop-only",
        "own-power:usb late",
    ),
    (
        (LINE_VARIABLE,),
        {},
        "driver-down plug-jack plug-driver:other-end choose-output:line level:variable test",
        "variable-level",
    ),
    (
        ({**LINE_VARIABLE, "level": "selectable"},),
        {},
        "driver-down plug-jack plug-driver:other-end choose-output:line set-fixed level test",
        "",
    ),
    (
        ({**LINE, "outcome": "hum"},),
        {},
        "driver-down plug-jack join plug-driver:other-end choose-output:line level test",
        "hum:isolated",
    ),
    (
        (SINGLE,),
        {},
        "driver-down plug-jack:one-plug plug-driver:other-end choose-output:line level test",
        "sum-not-y:one-side",
    ),
    (
        (SINGLE, {**SINGLE, "marking": "AUDIO OUT R"}),
        {},
        "driver-down plug-jack:left-right plug-driver:other-end choose-output:line level test",
        "",
    ),
    (
        (OPTICAL,),
        {},
        "driver-down caps-off plug-jack join:other-end join plug-driver:other-end power input-switch "
        "choose-output set-pcm level test",
        "set-pcm remove-caps own-power",
    ),
    (
        (OPTICAL,),
        TO_OPTICAL,
        "driver-down caps-off plug-jack plug-driver:other-end selector choose-output set-pcm level test",
        "set-pcm selector remove-caps",
    ),
    (
        (TAKEN,),
        TO_OPTICAL,
        "driver-down caps-off split join plug-driver:other-end selector choose-output set-pcm level test",
        "set-pcm shared-pcm selector splitter-loss remove-caps long-cable:counted",
    ),
    (
        (TAKEN,),
        {**TO_OPTICAL, "length_m": 5},
        "driver-down caps-off split join plug-driver:other-end power:usb selector choose-output set-pcm "
        "level test",
        "set-pcm shared-pcm selector remove-caps own-power:usb",
    ),
    (
        (PHONES,),
        {},
        "driver-down plug-jack plug-driver:other-end level:headphone test:may-mute",
        "may-mute-speakers variable-level:headphone",
    ),
    (
        (PHONES,),
        FREE,
        "driver-down plug-jack plug-driver:other-end level:headphone test:loop-only",
        "may-mute-speakers:free variable-level:headphone",
    ),
    (
        (ARC,),
        {},
        "driver-down plug-jack join:other-end join plug-driver:other-end power device-control set-pcm level "
        "test:may-mute",
        "may-mute-speakers:sent-elsewhere set-pcm own-power",
    ),
    (
        (SPEAKERS,),
        {},
        "driver-down mains-out bare-wires join plug-driver:other-end level test",
        "isolate variable-level:by-nature",
    ),
    (
        (BLUETOOTH,),
        FREE,
        "driver-down pair join plug-driver:other-end power level test:loop-only",
        "may-mute-speakers:free own-power late",
    ),
    (
        (BLUETOOTH,),
        {"inputs": ("bluetooth",), **FREE},
        "driver-down pair:driver selector level test:loop-only",
        "may-mute-speakers:free selector late",
    ),
    (
        (BLUETOOTH,),
        {},
        "driver-down pair join plug-driver:other-end power level test:may-mute",
        "may-mute-speakers:sent-elsewhere own-power late:echo",
    ),
    (
        (SCART,),
        {},
        "driver-down adapter-out plug-jack join plug-driver:other-end choose-output:line level test",
        "check-manual:scart",
    ),
    (
        (HDMI,),
        {"inputs": ("mic",)},
        "driver-down place-microphone plug-driver level:microphone test",
        "mic-last-resort",
    ),
]


def said(parts: tuple[Step, ...] | tuple[Caution, ...]) -> list[str]:
    """Each code with its variant; that a set may be a tube set goes with every analog jack."""
    found = [one.code.value + f":{one.variant}" * bool(one.variant) for one in parts]
    return [one for one in found if one != "never-open:perhaps"]


@pytest.mark.parametrize(("jacks", "asked", "steps", "cautions"), ADVICE)
def test_a_connection_is_told_step_by_step_with_what_to_mind(
    jacks: tuple[Jack, ...], asked: dict[str, Any], steps: str, cautions: str
) -> None:
    path = chosen(*jacks, **asked)
    assert said(path.steps) == steps.split()
    assert said(path.cautions) == cautions.split()


def values(path: Any, code: str) -> list[dict[str, object]]:
    """The values of each step and caution of a code."""
    return [dict(one.values) for one in (*path.steps, *path.cautions) if one.code.value == code]


def test_a_step_names_the_jack_the_item_and_the_item_before_it() -> None:
    path = chosen(OPTICAL)
    jack = {"marking": "OPTICAL OUT", "form": "toslink"}
    cable, dac, lead = path.items
    (plug,) = values(path, "plug-jack")
    assert plug.items() >= {**jack, "item": cable}.items()
    joined = [(one["item"], one["to"]) for one in values(path, "join")]
    assert joined == [(cable, dac), (lead, dac)]
    (driver,) = values(path, "plug-driver")
    assert (driver["item"], driver["input"]) == (lead, "line-3.5")
    # An optical plug clicks; an analog one does not.
    assert [one.get("click") for one in (plug, *values(path, "join"), driver)] == ["yes", "yes", None, None]
    hum = chosen({**LINE, "outcome": "hum"})
    assert values(hum, "hum") == [{"count": 1, "item": "ground-loop isolator"}]
    assert hum.items[0] == "ground-loop isolator"
    (late,) = values(chosen(BLUETOOTH, **FREE), "late")
    assert late["delay_ms"] == chosen(BLUETOOTH, **FREE).delay_ms


def test_a_coupler_joins_the_cable_before_it_to_the_one_after_it() -> None:
    path = chosen(LINE, length_m=60)
    first, second = values(path, "join")[1:]
    cables = [item for item in path.items if "cable" in item]
    assert [(one["item"], one["to"]) for one in (first, second)] == [
        (cables[0], cables[1]),
        (cables[1], cables[2]),
    ]
    assert {one["with"] for one in (first, second)} == {"RCA pair coupler"}


def test_what_was_noted_is_told_with_the_step_that_it_is_about() -> None:
    def noted(jack: Jack, setting: str) -> dict[str, list[dict[str, object]]]:
        path = chosen({**jack, "outcome": "carried", "setting": setting})
        return {code: values(path, code) for code in ("set-pcm", "remedy", "as-noted") if values(path, code)}

    pcm, other = {"settings": ("Sound: PCM",)}, {"settings": ("Sound out: external",)}
    assert noted(OPTICAL, "Sound: PCM")["set-pcm"][0] == pcm
    assert "as-noted" not in noted(OPTICAL, "Sound: PCM")
    assert noted(OPTICAL, "Sound out: external")["as-noted"] == [other]
    assert noted(LINE, "Sound: PCM") == {"as-noted": [pcm]}
    unless_set: Jack = {**PHONES, "speakers": "mute-unless-set"}
    assert noted(unless_set, "Sound out: external")["remedy"] == [other]
    assert "as-noted" not in noted(unless_set, "Sound out: external")


def test_of_speakers_that_visits_disagree_on_it_is_told_what_matters_to_those_who_listen() -> None:
    mutes = panel({**PHONES, "speakers": "mute"}).jacks[0]
    disputed = replace(mutes, disputes=(Dispute("speakers", (("mute", 2), ("stay-on", 1))),))

    def told(needed: bool) -> list[str]:
        found = connect(Panel((disputed,)), ["line-3.5"], speakers_needed=needed).chosen
        return said(found.cautions)[:2] if found else ["no path"]

    assert told(True) == ["may-mute-speakers:disputed", "variable-level:headphone"]
    assert told(False) == ["mutes-speakers", "variable-level:headphone"]
