"""What the person who lives with the loop is told, for each kind of path."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from kb.domain.language import language
from kb.domain.panel import Dispute, Panel, panel_of
from kb.domain.visit import visit_from
from kb.domain.words import DriverInput, Kind
from kb.path import Connection, connect, sentence
from kb.sheet.client_page import ForClient, for_client
from kb.sheet.file_page import path_part, ruled_out
from tests.sheet.sheets import HEADPHONE, INPUTS, OPTICAL, sheet_of, visit_of


def told(*jacks: dict[str, Any], lang: str = "en", **changed: Any) -> ForClient:
    sheet = sheet_of(*jacks, **changed)
    return for_client(sheet.connection, sheet.panel, sheet.source.kind, language(lang))


def test_a_digital_path_tells_the_menu_item_that_must_stay_and_where_it_is() -> None:
    client = told(OPTICAL)
    assert [item.text for item in client.menu] == ["Digital sound format: PCM stereo"]
    assert client.menu[0].noted == ("sound menu, digital output: PCM",)
    assert any("still PCM stereo?" in one for one in client.silent)


def test_an_analog_path_asks_nothing_of_the_menu() -> None:
    line = {"form": "rca-pair", "marking": "AUDIO OUT", "level": "fixed", "speakers": "stay-on"}
    client = told(line)
    assert not client.menu
    assert not any("PCM" in one for one in (client.how, *client.keep, *client.silent))


def test_a_level_that_follows_the_remote_control_is_told() -> None:
    line = {"form": "rca-pair", "marking": "AUDIO OUT", "level": "variable", "speakers": "stay-on"}
    client = told(line)
    assert any("remote control" in one for one in client.keep)
    assert any("volume" in one for one in client.silent)


def test_a_headphone_path_names_the_headphone_volume() -> None:
    client = told(HEADPHONE)
    assert any("headphone volume" in one for one in (*client.keep, *client.silent))


def test_a_box_with_power_must_stay_plugged_in_and_its_lamp_is_looked_at_first() -> None:
    client = told(OPTICAL)
    assert "DAC: stays plugged into its power outlet." in client.keep
    assert any("lamps of the loop driver and the DAC" in one for one in client.silent[:3])


def test_the_selector_of_a_driver_with_two_inputs_must_stay() -> None:
    client = told(OPTICAL, inputs="line-3.5,optical")
    assert any("optical input" in one for one in client.keep)


def test_a_selector_that_must_stay_does_not_read_as_a_thing_to_turn_on() -> None:
    client = told(OPTICAL, inputs="line-3.5,mic")
    assert "Selector of the DAC: stays at optical digital." in client.keep
    assert any(one.startswith("Selector of the driver: stays at") for one in client.keep)
    assert not any("witch on" in one for one in client.keep)


def test_speakers_that_go_silent_are_told_and_not_listened_for() -> None:
    client = told(HEADPHONE | {"speakers": "mute"}, needed=False)
    assert "are silent while this plug is in" in client.speakers
    assert not any("hear its loudspeakers" in one for one in client.silent)


def test_speakers_kept_on_by_the_menu_give_a_second_menu_item() -> None:
    client = told(OPTICAL | {"speakers": "mute-unless-set"})
    assert [item.text for item in client.menu] == [
        "Digital sound format: PCM stereo",
        "Loudspeakers: on, also while something is plugged in",
    ]


def disputed(*disputes: Dispute) -> tuple[Connection, Panel]:
    """A line output on whose facts visits disagree; the first that each dispute tells is believed."""
    believed = {one.field: one.said[0][0] for one in disputes}
    (seen,) = panel_of(visit_from(visit_of({"form": "rca-pair", "marking": "AUDIO OUT", **believed}))).jacks
    panel = Panel((replace(seen, disputes=disputes),))
    return connect(panel, [DriverInput.LINE_35]), panel


@pytest.mark.parametrize("believed", ["stay-on", "mute-unless-set"])
@pytest.mark.parametrize(("lang", "words"), [("en", "may stay on or fall silent"), ("es", "o callar")])
def test_speakers_on_which_visits_disagree_are_not_promised(believed: str, lang: str, words: str) -> None:
    answer, panel = disputed(Dispute("speakers", ((believed, 2), ("mute", 1))))
    client = for_client(answer, panel, Kind.TELEVISION, language(lang))
    assert words in client.speakers
    assert (
        language(lang)("sheet/silent/sound-muted", the=language(lang)("sheet/the/television"))
        in client.silent
    )


@pytest.mark.parametrize("believed", [("variable", "fixed"), ("fixed", "variable")])
def test_a_level_on_which_visits_disagree_may_follow_the_remote_control(believed: tuple[str, str]) -> None:
    answer, panel = disputed(Dispute("level", tuple((one, 1) for one in believed)))
    client = for_client(answer, panel, Kind.TELEVISION, language("en"))
    assert "The remote control may change the loudness in the loop, too." in client.keep
    part = path_part(answer, panel, language("en"))
    assert part is not None
    assert ("Level", f"{believed[0]}; visits disagree") in part.facts


def test_a_set_top_box_says_that_only_what_is_watched_through_it_is_heard() -> None:
    source = {"make": "Ostrava Hill", "model": "OB-7", "kind": "set-top-box"}
    client = told(OPTICAL, source=source)
    assert any("Do you watch through the set-top box?" in one for one in client.silent)
    unseen = told({"form": "rca-pair", "marking": "AUDIO OUT"}, source=source)
    assert not unseen.speakers
    assert not any("loudspeakers" in one for one in unseen.silent)


def test_bluetooth_has_no_mark_that_could_be_missing() -> None:
    client = told({"form": "bluetooth", "direction": "output"})
    assert "without a mark" not in client.how


def test_without_a_path_the_client_is_told_what_would_help_and_nothing_to_try() -> None:
    client = told(*INPUTS)
    if client.silent:  # a microphone is a way, too
        assert "microphone" in client.how
    no_mic = told({"form": "jack-3.5"}, inputs="optical")
    assert no_mic.how.startswith("No way has been found yet")
    assert no_mic.ask
    assert (no_mic.silent, no_mic.menu, no_mic.keep) == ((), (), ())


def test_what_only_installers_can_answer_is_left_to_the_page_for_the_file() -> None:
    told_apart = Dispute("speakers", (("mute", 2), ("stay-on", 1)))
    answer, panel = disputed(told_apart)
    asked = [sentence(question) for question in answer.ask]
    assert answer.chosen is not None  # with a warning: others may need the speakers
    assert any(one.startswith("Visits disagree") for one in asked)
    client = for_client(answer, panel, Kind.TELEVISION, language("en"))
    assert not any("Visits disagree" in one or "into a driver" in one for one in (client.how, *client.ask))


@pytest.mark.parametrize(
    ("lang", "one", "two"),
    [("en", "This is an input", "These are inputs"), ("es", "Es una entrada", "Son entradas")],
)
def test_several_inputs_in_one_line_are_spoken_of_as_several(lang: str, one: str, two: str) -> None:
    audio, component = ({"form": "rca-pair", "marking": mark} for mark in ("AUDIO", "COMPONENT AUDIO"))
    alone = ruled_out(sheet_of(OPTICAL, audio).connection.ruled_out, language(lang))
    both = ruled_out(sheet_of(OPTICAL, audio, component).connection.ruled_out, language(lang))
    assert alone.lines[0].startswith(f"AUDIO: {one}:")
    assert both.lines[0].startswith(f"AUDIO, COMPONENT AUDIO: {two}:")


def test_the_same_things_are_told_in_spanish() -> None:
    english, spanish = told(OPTICAL), told(OPTICAL, lang="es")
    assert len(spanish.silent) == len(english.silent)
    assert len(spanish.keep) == len(english.keep)
    assert "la toma óptica rotulada DIGITAL AUDIO OUT" in spanish.how


def test_no_sentence_is_left_with_an_open_brace() -> None:
    for lang in ("en", "es"):
        for jack in (OPTICAL, HEADPHONE):
            client = told(jack, lang=lang)
            said = " ".join([client.how, client.speakers, *client.keep, *client.silent])
            assert not set(said) & set("{}")
