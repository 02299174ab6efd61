"""One jack with two signals, two jacks with one signal, and what jacks without a mark are called."""

from __future__ import annotations

from dataclasses import replace

import pytest

from kb.domain.panel import Dispute, Panel, reconcile
from kb.domain.visit import visit_from
from kb.domain.words import Form, Level, Outcome, Signal, Speakers
from kb.path import Connection, Path, connect, jack_name, to_json
from tests.path.panels import (
    LINE,
    OPTICAL,
    SCART,
    Jack,
    ask,
    cautions,
    chosen,
    failed,
    panel,
    questions,
    ruled_out,
    text,
)

COMBINED: Jack = {"form": "jack-3.5", "marking": "LINE OUT/OPTICAL"}
PHONES_OPTICAL: Jack = {"form": "jack-3.5", "marking": "HEADPHONE/OPTICAL OUT"}
LEFT: Jack = {"form": "rca-single", "marking": "AUDIO OUT L"}
RIGHT: Jack = {"form": "rca-single", "marking": "AUDIO OUT R"}


def ways(answer: Connection) -> list[Path]:
    return [*([answer.chosen] if answer.chosen else []), *answer.others]


# -- combined jacks --------------------------------------------------------------------------------


@pytest.mark.parametrize("form", ["jack-3.5", "mini-toslink"])
def test_a_jack_for_line_and_light_needs_no_dac_for_a_line_driver(form: str) -> None:
    answer = ask({**COMBINED, "form": form})
    assert answer.chosen is not None
    assert answer.chosen.items == ("3.5 mm cable 2 m",)
    assert not answer.dac.needed
    assert {path.jack for path in ways(answer)} == {0}
    assert {path.signal for path in ways(answer)} == {Signal.ANALOG_LINE, Signal.OPTICAL}
    assert answer.ruled_out == ()


def test_a_jack_for_line_and_light_gives_light_to_an_optical_driver() -> None:
    answer = ask(COMBINED, inputs=("optical",))
    assert answer.chosen is not None
    assert answer.chosen.items == ("mini-TOSLINK adapter", "optical cable 2 m")
    assert not answer.dac.needed


def test_what_a_combined_jack_was_silent_with_does_not_close_its_other_signal() -> None:
    silent = {**COMBINED, "outcome": "silent"}
    assert chosen({**silent, "signal": "optical"}).signal is Signal.ANALOG_LINE
    assert chosen({**silent, "signal": "analog-line"}).signal is Signal.OPTICAL


@pytest.mark.parametrize(
    ("items", "signal"),
    [
        (["3.5 mm cable 2 m"], Signal.ANALOG_LINE),
        (["mini-TOSLINK adapter", "optical cable 2 m"], Signal.OPTICAL),
    ],
)
def test_what_carried_sound_from_a_combined_jack_tells_which_signal_was_tried(
    items: list[str], signal: Signal
) -> None:
    answer = ask({**COMBINED, "outcome": "carried", "items": items}, inputs=("line-3.5", "optical"))
    assert {path.signal for path in ways(answer) if path.trials} == {signal}


def test_a_combined_jack_has_one_switch_for_the_speakers_whichever_plug_goes_in() -> None:
    answer = ask(PHONES_OPTICAL, inputs=("line-3.5", "optical"))
    assert all("may-mute-speakers" in cautions(path) for path in ways(answer))
    assert ruled_out(ask({**PHONES_OPTICAL, "speakers": "mute"})) == {0: "mutes-speakers"}


def test_that_visits_tried_both_signals_of_a_combined_jack_is_no_disagreement() -> None:
    visits = [
        visit_from(
            {
                "date": f"2026-03-0{day}",
                "source": {"make": "Norwell", "model": "NV40-210"},
                "jacks": [{**COMBINED, "signal": signal, "outcome": "carried"}],
            }
        )
        for day, signal in ((1, "optical"), (2, "analog-line"))
    ]
    answer = connect(reconcile(visits), ["line-3.5"])
    assert answer.chosen is not None
    assert "check-manual" not in cautions(answer.chosen)


def test_a_jack_whose_signal_somebody_saw_to_be_another_is_not_combined() -> None:
    assert chosen({**COMBINED, "signal": "headphone", "speakers": "stay-on"}).signal is Signal.HEADPHONE


# -- left and right --------------------------------------------------------------------------------


@pytest.mark.parametrize(("first", "second"), [(LEFT, RIGHT), (RIGHT, LEFT)])
def test_left_and_right_jacks_are_one_stereo_path(first: Jack, second: Jack) -> None:
    answer = ask(first, second)
    path = answer.chosen
    assert path is not None
    assert path.items == ("RCA pair to 3.5 mm cable 2 m",)
    assert sorted(path.jacks) == [0, 1]
    assert path.jack == (0 if first is LEFT else 1)
    assert answer.ruled_out == ()
    assert "sum-not-y" not in cautions(path)
    assert (
        "Plug the white plug of the RCA pair to 3.5 mm cable 2 m into the single RCA jack marked "
        "AUDIO OUT L, and the red plug into the one marked AUDIO OUT R." in text(path)
    )
    said = to_json(answer)["chosen"]
    assert said["jacks"] == list(path.jacks)


@pytest.mark.parametrize(
    ("left", "right"), [("LEFT", "RIGHT"), ("LINKS", "RECHTS"), ("GAUCHE", "DROITE"), ("IZQ", "DER")]
)
def test_left_and_right_are_read_in_other_languages(left: str, right: str) -> None:
    jacks = [
        {"form": "rca-single", "marking": f"AUDIO OUT {side}", "signal": "analog-line"}
        for side in (left, right)
    ]
    assert chosen(*jacks).jacks == (0, 1)


def test_left_and_right_are_told_by_the_rings_where_the_marks_do_not() -> None:
    marked = {"form": "rca-single", "marking": "AUDIO OUT", "signal": "analog-line"}
    assert chosen({**marked, "colour": "red"}, {**marked, "colour": "white"}).jacks == (1, 0)


def test_one_of_two_channels_takes_one_plug_and_no_splitter_and_the_loss_is_told() -> None:
    path = chosen(LEFT)
    assert path.items == ("RCA pair to 3.5 mm cable 2 m",)
    assert "sum-not-y" in cautions(path)
    assert "Speech on the other channel alone is missing" in text(path)
    assert "leave the other hanging free" in text(path)


def test_left_is_used_alone_where_right_is_known_not_to_work() -> None:
    answer = connect(Panel((*panel(LEFT).jacks, failed(RIGHT, 2))), ["line-3.5"])
    assert answer.chosen is not None
    assert answer.chosen.jacks == (0,)
    assert ruled_out(answer) == {1: "known-not-to-work"}


def test_left_for_mono_is_the_whole_sound() -> None:
    path = chosen({"form": "rca-single", "marking": "AUDIO OUT L/MONO"})
    assert "sum-not-y" not in cautions(path)
    assert chosen({"form": "rca-single", "marking": "AUDIO OUT L/MONO"}, RIGHT).jacks == (0, 1)


def test_what_is_known_of_both_jacks_counts_for_the_pair() -> None:
    path = chosen(
        {**LEFT, "speakers": "stay-on", "level": "fixed", "outcome": "carried"},
        {**RIGHT, "speakers": "mute-unless-set", "level": "variable", "outcome": "carried"},
    )
    assert path.speakers is Speakers.MUTE_UNLESS_SET
    assert path.level is Level.UNKNOWN
    assert path.trials == 1


def test_half_the_sound_never_ranks_before_both_channels() -> None:
    fixed = {**LEFT, "level": "fixed"}
    both = chosen(fixed, {**RIGHT, "outcome": "weak"})
    assert both.jacks == (0, 1)
    assert both.cost <= chosen(fixed).cost


def test_a_pair_in_use_is_split_as_a_pair() -> None:
    path = chosen({**LEFT, "taken": True}, {**RIGHT, "taken": True})
    assert path.items == ("RCA pair splitter", "RCA pair to 3.5 mm cable 2 m")
    assert "Pull out what is in the single RCA jack marked AUDIO OUT L and in the one marked AUDIO OUT R" in (
        text(path)
    )


def test_a_pair_in_use_steps_back_together() -> None:
    answer = ask({**LEFT, "taken": True}, {**RIGHT, "taken": True}, OPTICAL)
    assert answer.chosen is not None
    assert answer.chosen.jack == 2
    assert ruled_out(answer) == {0: "taken", 1: "taken"}


# -- names -----------------------------------------------------------------------------------------


def test_two_jacks_without_a_mark_are_told_apart_by_their_number() -> None:
    worn = {"form": "jack-3.5", "marking": ""}
    seen = panel(worn, OPTICAL, LINE, worn)
    assert jack_name(seen, 3) == "jack 4, the 3.5 mm jack without a mark"
    assert jack_name(seen, 1) == "the optical jack marked OPTICAL OUT"
    answer = ask(worn, {**OPTICAL, "taken": True}, worn)
    assert any("at jack 3, the 3.5 mm jack without a mark" in one for one in questions(answer))
    output = {**worn, "direction": "output", "signal": "analog-line"}
    assert "into jack 2, the 3.5 mm jack without a mark" in text(chosen(SCART, output, worn))


def test_one_jack_without_a_mark_needs_no_number() -> None:
    assert jack_name(panel({"form": "jack-3.5", "marking": ""}), 0) == "the 3.5 mm jack without a mark"


def test_bluetooth_has_no_mark_to_miss() -> None:
    assert jack_name(panel({"form": "bluetooth"}), 0) == "the source's Bluetooth"


def test_two_jacks_marked_alike_are_numbered_too() -> None:
    assert jack_name(panel(LINE, LINE), 1) == "jack 2, the RCA pair marked AUDIO OUT (FIXED)"


# -- disputes --------------------------------------------------------------------------------------


@pytest.mark.parametrize("believed", ["stay-on", "mute-unless-set"])
def test_a_disagreement_on_the_speakers_is_told_and_asked_whoever_is_believed(believed: str) -> None:
    seen = panel({**LINE, "speakers": believed})
    disputed = replace(seen.jacks[0], disputes=(Dispute("speakers", ((believed, 2), ("mute", 1))),))
    answer = connect(Panel((disputed,)), ["line-3.5"])
    assert answer.chosen is not None
    assert "may-mute-speakers" in cautions(answer.chosen)
    assert "Visits disagree whether the set's speakers go silent" in text(answer.chosen)
    assert any(one.startswith("Visits disagree: does plugging in") for one in questions(answer))
    assert "Both must be heard" not in text(answer.chosen)


def test_trials_count_what_was_tried_and_not_what_was_seen() -> None:
    seen = panel(LINE)
    assert chosen(LINE).trials == 0
    outcomes = ((Outcome.CARRIED, 1), (Outcome.SILENT, 1), (Outcome.NOT_TRIED, 4))
    tried = replace(seen.jacks[0], findings=6, outcomes=outcomes)
    path = connect(Panel((tried,)), ["line-3.5"]).chosen
    assert path is not None
    assert (path.findings, path.trials) == (6, 2)
    assert "Worked 1 of 2 times here; bring a fallback." in text(path)
    assert to_json(connect(Panel((tried,)), ["line-3.5"]))["chosen"]["trials"] == 2


def test_the_single_jack_of_a_pair_keeps_its_form_in_what_is_ruled_out() -> None:
    out = ask(LEFT, RIGHT, inputs=("arc",)).ruled_out
    assert {dict(one.values)["form"] for one in out} == {Form.RCA_SINGLE}
