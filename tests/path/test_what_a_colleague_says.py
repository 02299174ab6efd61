"""What a colleague would say of a path: bitstream, loudspeaker lines, contradictions, shared outputs.

Without a source beside it a rule is common practice.
"""

from __future__ import annotations

from typing import Any

import pytest

from kb.catalogue import catalogue
from kb.domain.panel import Panel, panel_of, reconcile
from kb.domain.visit import visit_from
from kb.domain.words import Display, Signal
from kb.path import Connection, connect, sentence


def panel(*jacks: dict[str, Any]) -> Panel:
    source = {"make": "Norwell", "model": "NV40-210"}
    return panel_of(visit_from({"date": "2026-03-04", "source": source, "jacks": [*jacks]}))


def said(answer: Connection) -> str:
    assert answer.chosen is not None
    return " ".join(sentence(one) for one in (*answer.chosen.steps, *answer.chosen.cautions))


BITSTREAM = {"form": "toslink", "marking": "OPTICAL OUT", "format": "bitstream"}
LINE_100V = {"form": "speaker-terminals", "marking": "100V LINE"}
TERMINALS = {"form": "speaker-terminals", "marking": "EXT SP 8 OHM"}


@pytest.mark.parametrize("driver", ["line-3.5", "optical"])
def test_an_output_that_sends_only_a_bitstream_is_no_path_without_a_decoder(driver: str) -> None:
    answer = connect(panel(BITSTREAM), [driver])
    used = answer.chosen.items if answer.chosen else ()
    assert ("decoding DAC" in used) is (driver == "line-3.5")
    if driver == "optical":
        assert answer.chosen is None
        assert "PCM stereo in the menu" in sentence(answer.ruled_out[0])
    assert "menu offer PCM stereo" in " ".join(sentence(one) for one in answer.ask)


def test_a_decoding_dac_needs_no_pcm() -> None:
    assert "PCM" not in said(connect(panel(BITSTREAM), ["line-3.5"]))


def test_an_output_that_offers_both_is_a_path_with_pcm() -> None:
    answer = connect(panel({**BITSTREAM, "format": "selectable"}), ["line-3.5"])
    assert answer.chosen is not None
    assert "DAC" in answer.chosen.items
    assert "PCM stereo" in said(answer)


def test_sound_that_came_out_outranks_what_was_noted_of_the_format() -> None:
    answer = connect(panel({**BITSTREAM, "outcome": "carried"}), ["optical"])
    assert answer.chosen is not None


def test_a_100_volt_line_goes_through_a_line_transformer_and_never_through_a_pad() -> None:
    answer = connect(panel(LINE_100V), ["line-rca"])
    assert answer.chosen is not None
    assert "100 V line transformer" in answer.chosen.items
    assert "speaker-to-line converter" not in answer.chosen.items
    assert "can give a shock" in said(answer)


def test_ordinary_loudspeaker_terminals_need_no_line_transformer() -> None:
    answer = connect(panel(TERMINALS), ["line-rca"])
    assert answer.chosen is not None
    assert "speaker-to-line converter" in answer.chosen.items


def test_at_a_tube_set_the_mains_plug_is_pulled_before_a_loudspeaker_terminal_is_touched() -> None:
    answer = connect(panel(TERMINALS), ["line-rca"], display=Display.TUBE)
    assert answer.chosen is not None
    steps = [sentence(step) for step in answer.chosen.steps]
    [pulled] = [number for number, step in enumerate(steps) if "pull its mains plug" in step]
    [wired] = [number for number, step in enumerate(steps) if "run the leads" in step]
    assert pulled < wired


@pytest.mark.parametrize(
    "jack",
    [{"form": "rca-pair", "marking": "PRE OUT"}, {"form": "jack-3.5", "marking": "H-PHONE"}, TERMINALS],
)
def test_what_follows_the_volume_by_nature_is_said(jack: dict[str, Any]) -> None:
    answer = connect(panel(jack), ["line-rca"], speakers_needed=False)
    assert "The level follows the" in said(answer)


def test_pcm_for_the_loop_takes_the_surround_sound_of_a_soundbar_on_the_same_output() -> None:
    taken = {"form": "toslink", "marking": "OPTICAL OUT", "taken": True}
    assert "loses its surround sound" in said(connect(panel(taken), ["optical"]))


def test_a_persons_word_outranks_the_mark_and_the_contradiction_is_said() -> None:
    jack = {"form": "rca-pair", "marking": "AUDIO IN", "direction": "output"}
    answer = connect(panel(jack), ["line-rca"])
    assert "mark reads as an input" in said(answer)


def test_an_output_against_its_mark_stands_behind_one_whose_mark_says_so() -> None:
    doubtful = {"form": "rca-pair", "marking": "AUDIO IN", "direction": "output"}
    answer = connect(panel(doubtful, {"form": "rca-pair", "marking": "AUDIO OUT"}), ["line-rca"])
    assert answer.chosen is not None
    assert answer.chosen.jack == 1


def test_arc_in_use_is_the_socket_that_is_marked_earc() -> None:
    known = panel({"form": "hdmi", "marking": "HDMI 2 (eARC)"})
    assert known.taken([Signal.ARC]).jacks[0].taken
    assert known.has(Signal.ARC)
    assert not known.has(Signal.OPTICAL)


def test_each_new_item_has_a_source_for_its_numbers() -> None:
    for name in ("decoding DAC", "100 V line transformer"):
        item = catalogue().item(name)
        assert item.source["cost"]
        assert item.names["es"]


def visits(jack: dict[str, Any], *said: dict[str, Any]) -> Panel:
    """A panel that several visits found, each a day after the other."""
    source = {"make": "Norwell", "model": "NV40-210"}
    found = [
        {"date": f"2026-03-{day:02}", "basis": "tested", "source": source, "jacks": [{**jack, **more}]}
        for day, more in enumerate(said, 1)
    ]
    return reconcile(visit_from(one) for one in found)


STAYS = {"speakers": "stay-on", "outcome": "carried"}


def test_one_visit_against_three_tested_ones_changes_what_is_said_and_not_to_no_path() -> None:
    line = {"form": "rca-pair", "marking": "AUDIO OUT"}
    answer = connect(visits(line, STAYS, STAYS, STAYS, {"speakers": "mute"}), ["line-rca"])
    assert answer.chosen is not None
    assert "Visits disagree" in said(answer)
    assert any("silence" in sentence(question) for question in answer.ask)


def test_disagreement_is_never_punished_harder_than_ignorance() -> None:
    phones = {"form": "jack-3.5", "marking": "HEADPHONE"}
    unknown = connect(visits(phones, {}), ["line-3.5"])
    disputed = connect(visits(phones, STAYS, {"speakers": "mute"}), ["line-3.5"])
    assert unknown.chosen is not None
    assert disputed.chosen is not None
    assert disputed.chosen.tier <= unknown.chosen.tier


def test_speakers_that_every_visit_found_silent_rule_a_jack_out() -> None:
    phones = {"form": "jack-3.5", "marking": "HEADPHONE", "speakers": "mute"}
    assert connect(visits(phones, {}, {}), ["line-3.5"]).chosen is None


def test_an_output_by_three_visits_is_no_input_by_one() -> None:
    plain = {"form": "rca-pair", "marking": "AUDIO 3"}
    out = {"direction": "output", "outcome": "carried"}
    answer = connect(visits(plain, out, out, out, {"direction": "input"}), ["line-rca"])
    assert answer.chosen is not None
    assert "Visits disagree" in said(answer)
    alone = connect(visits(plain, out, {"direction": "input"}), ["line-rca"])
    assert alone.chosen is None, "one against one: an output tied to an output can damage both"


def works(**jack: Any) -> float:
    answer = connect(panel({"form": "toslink", "marking": "OPTICAL OUT", **jack}), ["line-rca"])
    assert answer.chosen is not None
    return answer.chosen.p_works


def test_the_chance_of_a_digital_output_depends_on_its_format() -> None:
    """Common practice: PCM is what a DAC plays; nearly every menu offers it; a decoder is one thing more."""
    assert works(format="pcm") == works(format="selectable")
    assert works(format="pcm") > works() > works(format="bitstream")
    untold = works(outcome="carried")
    assert untold == works(outcome="carried", format="pcm"), "a trial tells it by itself"


@pytest.mark.parametrize(
    ("jack", "asked"),
    [
        ({}, True),
        ({"format": "bitstream"}, True),
        ({"format": "pcm"}, False),
        ({"format": "selectable"}, False),
        ({"outcome": "carried"}, False),
    ],
)
def test_whether_the_menu_offers_pcm_is_asked_if_nobody_knows(jack: dict[str, Any], asked: bool) -> None:
    answer = connect(panel({"form": "toslink", "marking": "OPTICAL OUT", **jack}), ["line-rca"])
    assert any("menu offer PCM" in sentence(one) for one in answer.ask) is asked


#: A jack, the driver's input, words of the steps in their order, and the source of the order.
ORDER = [
    ({"form": "toslink", "marking": "OPTICAL OUT"}, "optical",
     ["level down", "caps off both", "Plug the optical cable", "selector", "switch on the optical jack",
      "PCM stereo", "until the loop is right", "Test"], "common practice: PCM with the output, in one menu"),
    ({"form": "toslink", "marking": "OPTICAL OUT"}, "line-rca",
     ["level down", "caps off both", "out of the jack", "DAC into an outlet", "switch on the optical jack",
      "PCM stereo", "until the loop is right"], "common practice"),
    ({"form": "rca-pair", "marking": "AUDIO OUT", "level": "selectable"}, "line-rca",
     ["level down", "Plug the RCA pair cable", "item for the RCA pair", "set this output to fixed",
      "until the loop is right"], "common practice: fixed before the level, as the sound may jump"),
    ({"form": "hdmi", "marking": "HDMI 1 (ARC)"}, "line-rca",
     ["level down", "HDMI cable", "turn on ARC", "PCM stereo", "until the loop is right"], "HDMI 1.4"),
]  # fmt: skip


@pytest.mark.parametrize(("jack", "driver", "words", "source"), ORDER)
def test_the_steps_come_in_the_order_of_the_work(
    jack: dict[str, Any], driver: str, words: list[str], source: str
) -> None:
    answer = connect(panel(jack), [driver])
    assert answer.chosen is not None
    text = " ".join(sentence(step) for step in answer.chosen.steps)
    places = [text.find(one) for one in words]
    assert -1 not in places, text
    assert places == sorted(places), text
    assert source
