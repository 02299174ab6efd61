"""What the trade knows of choosing a path; no source named means common practice."""

from __future__ import annotations

from dataclasses import replace

import pytest

from kb.domain.panel import Panel
from kb.domain.words import Display, Form, Kind, Level, Outcome, Signal, Speakers
from kb.path import Chance, connect, sentence, to_json
from tests.path.panels import (
    ARC,
    BLUETOOTH,
    COAXIAL,
    HDMI,
    INPUT,
    LINE,
    LINE_UNKNOWN,
    LINE_VARIABLE,
    OPTICAL,
    PHONES,
    SCART,
    SPEAKERS,
    Jack,
    ask,
    cautions,
    chosen,
    failed,
    panel,
    questions,
    ruled_out,
    steps,
    text,
)

BOTH = ("line-3.5", "optical")

# -- only an output can feed the driver ------------------------------------------------------------


def test_an_input_is_never_offered_though_it_looks_the_same() -> None:
    answer = ask(INPUT, LINE)
    assert answer.chosen is not None
    assert answer.chosen.jack == 1
    assert ruled_out(answer) == {0: "not-an-output"}


def test_hdmi_without_arc_gives_no_sound_out() -> None:
    answer = ask(HDMI)
    assert answer.chosen is None
    assert ruled_out(answer) == {0: "not-an-output"}
    assert "ARC" in to_json(answer)["ruled_out"][0]["why"]


@pytest.mark.parametrize(
    "jack",
    [
        {"form": "rca-single", "marking": "VIDEO OUT", "colour": "yellow"},
        {"form": "rca-single", "marking": "SUBWOOFER OUT"},
        {"form": "usb", "marking": "USB"},
        {"form": "antenna", "marking": "ANT"},
        {"form": "jack-3.5", "marking": "IR OUT"},
    ],
)
def test_video_bass_control_and_service_sockets_are_no_sound_outputs(jack: Jack) -> None:
    assert ruled_out(ask(jack)) == {0: "not-audio"}


def test_a_worn_mark_is_never_guessed_but_asked() -> None:
    answer = ask({"form": "rca-pair", "marking": ""})
    assert answer.chosen is None
    assert ruled_out(answer) == {0: "direction-unclear"}
    assert questions(answer)[0] == (
        "What is printed at the RCA pair without a mark, and is it an output? "
        "Look in the manual for the exact model."
    )


def test_an_unclear_optical_jack_is_told_by_its_red_glow() -> None:
    answer = ask({"form": "toslink", "marking": ""})
    assert ruled_out(answer) == {0: "direction-unclear"}
    assert "glow red while the power is on" in questions(answer)[0]


def test_an_unclear_jack_is_asked_about_only_where_it_would_beat_the_chosen_one() -> None:
    unclear = {"form": "rca-pair", "marking": ""}
    assert "What is printed" in questions(ask(unclear, OPTICAL))[0]  # a plain cable would spare the DAC
    assert questions(ask({"form": "toslink", "marking": ""}, LINE)) == []  # a DAC would be worse


def test_a_single_rca_output_whose_signal_is_open_is_asked_about_not_used() -> None:
    answer = ask({"form": "rca-single", "marking": "AUDIO OUT"})
    assert answer.chosen is None
    assert ruled_out(answer) == {0: "direction-unclear"}
    assert "digital sound, analog sound or video" in questions(answer)[0]


@pytest.mark.parametrize(
    ("jack", "why"),
    [
        ({"form": "rca-pair", "marking": ""}, "There is no readable mark"),
        ({"form": "rca-pair", "marking": "A-DIO .. "}, "The mark does not show whether this is an output"),
        (
            {"form": "rca-single", "marking": "AUDIO OUT"},
            "This is an output, but the mark does not show of what",
        ),
    ],
)
def test_what_a_mark_leaves_open_is_said_as_what_it_is(jack: Jack, why: str) -> None:
    [out] = to_json(ask(jack))["ruled_out"]
    assert (out["code"], out["why"].startswith(why)) == ("direction-unclear", True), out["why"]


@pytest.mark.parametrize("mark", ["HDMI OUT", "HDMI", "", "HDMI OUT (ARC)", "TO TV"])
def test_the_sound_of_a_boxs_hdmi_output_is_taken_out_and_the_picture_goes_on(mark: str) -> None:
    path = chosen({"form": "hdmi", "marking": mark}, kind=Kind.SET_TOP_BOX)
    assert "HDMI audio extractor" in path.items
    assert path.signal is Signal.HDMI
    assert "so that the picture stays" in text(path)
    assert "copy-protected" in cautions(path)


@pytest.mark.parametrize(
    ("kind", "mark"),
    [(Kind.RECEIVER, "HDMI OUT"), (Kind.SOUNDBAR, "HDMI OUT"), (Kind.SET_TOP_BOX, "HDMI IN")],
)
def test_no_extractor_goes_into_an_input_or_behind_a_receiver(kind: Kind, mark: str) -> None:
    assert ask({"form": "hdmi", "marking": mark}, kind=kind).chosen is None


def test_a_box_with_two_hdmi_sockets_without_a_word_is_not_guessed() -> None:
    answer = ask(HDMI, {"form": "hdmi", "marking": "HDMI 1"}, kind=Kind.SET_TOP_BOX)
    assert answer.chosen is None


def test_a_usb_socket_gives_sound_at_a_computer_only() -> None:
    usb = {"form": "usb", "marking": "USB"}
    path = chosen(usb, kind=Kind.COMPUTER, speakers_needed=False)
    assert path.items[0] == "USB audio adapter"
    assert "own-power" not in cautions(path)
    assert ask(usb, kind=Kind.TELEVISION).chosen is None


def test_only_the_display_gives_arc_back_a_receiver_takes_it_in() -> None:
    assert ask(ARC, kind=Kind.RECEIVER).chosen is None
    assert chosen(ARC, kind=Kind.TELEVISION).signal is Signal.ARC


# -- the order of choice ---------------------------------------------------------------------------


def test_an_analog_line_output_needs_a_cable_and_no_converter() -> None:
    answer = ask(LINE, OPTICAL, PHONES)
    assert answer.chosen is not None
    assert answer.chosen.items == ("RCA pair to 3.5 mm cable 2 m",)
    assert not answer.chosen.needs_dac
    assert not answer.dac.needed


@pytest.mark.parametrize(
    ("jack", "driver", "items"),
    [
        (LINE, "line-rca", ("RCA pair cable 2 m",)),
        ({"form": "jack-3.5", "marking": "LINE OUT"}, "line-3.5", ("3.5 mm cable 2 m",)),
        ({"form": "jack-3.5", "marking": "LINE OUT"}, "line-rca", ("3.5 mm to RCA pair cable 2 m",)),
        (SCART, "line-rca", ("SCART to RCA pair adapter", "RCA pair cable 2 m")),
        (
            {"form": "din-5", "marking": "AUDIO OUT"},
            "line-rca",
            ("5-pin DIN to RCA pair adapter", "RCA pair cable 2 m"),
        ),
        (OPTICAL, "optical", ("optical cable 2 m",)),
        (COAXIAL, "coaxial", ("coaxial digital cable 2 m",)),
        (
            {"form": "mini-toslink", "marking": "OPTICAL OUT"},
            "optical",
            ("mini-TOSLINK adapter", "optical cable 2 m"),
        ),
        (
            {"form": "jack-3.5", "marking": "OPTICAL OUT"},
            "optical",
            ("mini-TOSLINK adapter", "optical cable 2 m"),
        ),
        (
            {"form": "jack-6.35", "marking": "PHONES", "speakers": "stay-on"},
            "line-3.5",
            ("6.35 mm to 3.5 mm adapter", "3.5 mm cable 2 m"),
        ),
        (OPTICAL, "line-rca", ("optical cable 2 m", "DAC", "RCA pair cable 2 m")),
        (COAXIAL, "line-3.5", ("coaxial digital cable 2 m", "DAC", "RCA pair to 3.5 mm cable 2 m")),
        (
            OPTICAL,
            "coaxial",
            ("optical cable 2 m", "optical to coaxial converter", "coaxial digital cable 2 m"),
        ),
        (
            COAXIAL,
            "optical",
            ("coaxial digital cable 2 m", "coaxial to optical converter", "optical cable 2 m"),
        ),
        (
            {"form": "rca-single", "marking": "AUDIO OUT MONO", "signal": "analog-line"},
            "line-3.5",
            ("RCA splitter", "RCA pair to 3.5 mm cable 2 m"),
        ),
    ],
)
def test_what_is_carried_from_each_jack_to_each_input(
    jack: Jack, driver: str, items: tuple[str, ...]
) -> None:
    assert chosen(jack, inputs=(driver,)).items == items


def test_digital_into_a_driver_that_takes_it_beats_a_variable_output_but_not_a_fixed_one() -> None:
    assert chosen(LINE_VARIABLE, OPTICAL, inputs=BOTH).signal is Signal.OPTICAL
    assert chosen(LINE, OPTICAL, inputs=BOTH).signal is Signal.ANALOG_LINE
    assert chosen(LINE_UNKNOWN, OPTICAL, inputs=BOTH).signal is Signal.ANALOG_LINE


def test_a_fixed_level_is_chosen_before_a_variable_one() -> None:
    path = chosen(LINE_VARIABLE, {"form": "jack-3.5", "marking": "LINE OUT (FIXED)"})
    assert (path.jack, path.level) == (1, Level.FIXED)
    assert "variable-level" not in cautions(path)


def test_a_level_known_to_be_fixed_is_chosen_before_one_that_is_not_known() -> None:
    assert chosen(LINE_UNKNOWN, {"form": "jack-3.5", "marking": "LINE OUT (FIXED)"}).jack == 1


def test_a_variable_level_is_told_since_some_users_want_it() -> None:
    path = chosen(LINE_VARIABLE)
    assert "variable-level" in cautions(path)
    assert path.level is Level.VARIABLE


def test_a_selectable_level_is_set_to_fixed() -> None:
    assert "set-fixed" in steps(chosen({**LINE, "marking": "AUDIO OUT", "level": "selectable"}))


def test_the_headphone_jack_is_the_last_analog_choice() -> None:
    phones = {**PHONES, "speakers": "stay-on"}
    assert chosen(phones, LINE_VARIABLE).signal is Signal.ANALOG_LINE
    assert chosen(phones, OPTICAL, inputs=BOTH).signal is Signal.OPTICAL


def test_a_headphone_jack_that_leaves_the_speakers_on_spares_the_dac() -> None:
    answer = ask({**PHONES, "speakers": "stay-on"}, OPTICAL)
    assert answer.chosen is not None
    assert answer.chosen.signal is Signal.HEADPHONE
    assert not answer.dac.needed


def test_the_level_of_a_headphone_jack_follows_the_headphone_volume() -> None:
    path = chosen({**PHONES, "speakers": "stay-on"})
    assert path.level is Level.VARIABLE
    assert "headphone volume" in text(path)


# -- DAC or not ------------------------------------------------------------------------------------


def test_a_dac_is_needed_where_all_is_digital_and_the_driver_takes_none_of_it() -> None:
    answer = ask(OPTICAL, COAXIAL)
    assert answer.dac.needed
    assert answer.chosen is not None
    assert answer.chosen.needs_dac


def test_no_dac_where_the_driver_takes_the_digital_form() -> None:
    assert not ask(OPTICAL, inputs=BOTH).dac.needed


def test_a_form_converter_to_hand_spares_the_dac() -> None:
    inputs = ("line-3.5", "coaxial")
    assert ask(OPTICAL, inputs=inputs).dac.needed
    answer = ask(OPTICAL, inputs=inputs, have=["optical to coaxial converter"])
    assert not answer.dac.needed
    assert answer.chosen is not None
    assert answer.chosen.input.value == "coaxial"


def test_a_way_that_only_wants_a_converter_is_not_denied_where_a_dac_is_chosen() -> None:
    answer = ask(OPTICAL, inputs=BOTH, length_m=30)
    assert answer.dac.needed
    assert any(other.input.value == "optical" for other in answer.others)
    assert sentence(answer.dac).endswith("needs a converter that you do not have.")


def test_where_no_way_leads_to_the_digital_input_none_is_hinted_at() -> None:
    answer = ask(OPTICAL, inputs=BOTH, length_m=40)
    assert not answer.others
    assert "no item you have leads from it to a digital input" in sentence(answer.dac)


def test_a_driver_without_analog_input_is_served_by_a_form_converter() -> None:
    answer = ask(OPTICAL, inputs=("coaxial",))
    assert not answer.dac.needed
    assert answer.chosen is not None
    assert "optical to coaxial converter" in answer.chosen.items


def test_an_analog_output_that_is_out_does_not_spare_the_dac() -> None:
    assert ask({**LINE, "taken": True}, OPTICAL).dac.needed
    assert ask({**LINE, "outcome": "silent"}, OPTICAL).dac.needed
    assert ask({**PHONES, "speakers": "mute"}, OPTICAL).dac.needed


def test_arc_needs_an_extractor_and_device_control_and_the_dac_is_inside() -> None:
    answer = ask(ARC, HDMI)
    path = answer.chosen
    assert path is not None
    assert path.items == ("HDMI cable 2 m", "ARC extractor", "RCA pair to 3.5 mm cable 2 m")
    assert path.needs_dac
    assert answer.dac.needed
    assert "The ARC extractor has the DAC inside" in to_json(answer)["dac"]["why"]
    assert "device-control" in steps(path)


@pytest.mark.parametrize("mark", ["HDMI 1 (ARC)", "HDMI eARC"])
def test_arc_into_an_optical_driver_uses_the_optical_end_of_the_extractor(mark: str) -> None:
    answer = ask({"form": "hdmi", "marking": mark}, inputs=BOTH)
    assert answer.chosen is not None
    assert answer.chosen.items == ("HDMI cable 2 m", "ARC extractor", "optical cable 2 m")
    assert not answer.dac.needed


def test_an_optical_output_is_chosen_before_arc() -> None:
    assert chosen(ARC, OPTICAL).signal is Signal.OPTICAL


# -- PCM, selector, caps ---------------------------------------------------------------------------


def test_a_digital_path_is_set_to_pcm_with_the_selector_and_without_caps() -> None:
    path = chosen(
        {**OPTICAL, "outcome": "carried", "setting": "sound menu, digital output: PCM"}, inputs=BOTH
    )
    assert {"set-pcm", "selector", "remove-caps"} <= set(cautions(path))
    assert "sound menu, digital output: PCM" in text(path)


@pytest.mark.parametrize("jack", [OPTICAL, COAXIAL, ARC])
def test_that_it_worked_with_pcm_is_that_days_setting_and_no_proof(jack: Jack) -> None:
    path = chosen({**jack, "format": "pcm", "outcome": "carried", "setting": "digital: PCM"})
    assert "set-pcm" in cautions(path)
    assert "set-pcm" in steps(path)
    assert "still PCM stereo (noted: digital: PCM). It was at the last visit" in text(path)
    assert "but may not be today" in text(path)


def test_an_output_known_to_send_a_bitstream_stands_behind_one_that_can_send_pcm() -> None:
    stream = {**OPTICAL, "format": "bitstream"}
    assert chosen({**OPTICAL, "format": "selectable"}, COAXIAL).jack == 0
    assert chosen(stream, {**COAXIAL, "format": "selectable"}).jack == 1
    assert "decoding DAC" in chosen(stream).items, "nothing else plays it"
    assert "If the menu does not offer PCM" in text(chosen({**stream, "outcome": "carried"}))


def test_an_analog_path_says_nothing_of_pcm_or_caps() -> None:
    assert cautions(chosen(LINE, display=Display.FLAT)) == []


def test_the_steps_come_in_the_order_of_the_work() -> None:
    path = chosen({**OPTICAL, "speakers": "mute-unless-set"}, inputs=("line-3.5", "mic"))
    assert steps(path) == [
        "driver-down",
        "caps-off",
        "plug-jack",
        "join",
        "join",
        "plug-driver",
        "power",
        "input-switch",
        "selector",
        "choose-output",
        "set-pcm",
        "remedy",
        "level",
        "test",
    ]
    said = to_json(ask({**OPTICAL, "speakers": "mute-unless-set"}, inputs=("line-3.5", "mic")))
    assert said["chosen"]["steps"][1:7] == [
        "Pull the dust caps off both cable tips and out of the jack.",
        "Plug the optical cable 2 m into the optical jack marked OPTICAL OUT and push until it clicks.",
        "Plug the other end of the optical cable 2 m into the DAC and push until it clicks.",
        "Plug the RCA pair to 3.5 mm cable 2 m into the DAC.",
        "Plug the other end of the RCA pair to 3.5 mm cable 2 m into the driver's 3.5 mm line input.",
        "Plug the DAC into an outlet of its own and check that its lamp lights.",
    ]


# -- who else listens ------------------------------------------------------------------------------


@pytest.mark.parametrize("jack", [PHONES, OPTICAL, LINE, COAXIAL])
def test_what_silences_speakers_that_are_needed_is_out_whatever_the_signal(jack: Jack) -> None:
    answer = ask({**jack, "speakers": "mute"}, inputs=("line-3.5", "optical", "coaxial"))
    assert answer.chosen is None
    assert ruled_out(answer) == {0: "mutes-speakers"}


@pytest.mark.parametrize("jack", [PHONES, OPTICAL])
def test_where_nobody_needs_the_speakers_it_is_used_and_the_user_told(jack: Jack) -> None:
    path = chosen({**jack, "speakers": "mute"}, speakers_needed=False)
    assert "mutes-speakers" in cautions(path)
    assert path.speakers is Speakers.MUTE


@pytest.mark.parametrize(
    ("jack", "noted"),
    [
        (PHONES | {"speakers": "stay-on"}, "headphone volume: 60"),
        (LINE, "options, audio, rear jacks: fixed"),
        (LINE, "digital box, rear jacks: on"),
        (ARC | {"speakers": "stay-on"}, "set-up, HDMI, device control: on"),
    ],
)
def test_what_had_to_be_set_at_an_earlier_visit_is_told_at_the_next(jack: Jack, noted: str) -> None:
    """Nobody looks through the menu twice for what has been found."""
    path = chosen(jack | {"outcome": "carried", "setting": noted})
    assert noted in text(path)
    assert steps(path).count("as-noted") == 1


def test_a_note_on_the_format_is_known_by_its_word_in_any_width_of_letters() -> None:
    path = chosen(OPTICAL | {"outcome": "carried", "setting": "son, sortie numérique : ＰＣＭ"})
    assert "as-noted" not in steps(path)
    assert "PCM stereo (noted: son" in text(path)


def test_an_analog_output_in_doubt_is_not_called_of_no_use() -> None:
    answer = ask(PHONES, OPTICAL)
    assert [path.signal for path in answer.others] == [Signal.HEADPHONE]
    assert to_json(answer)["dac"]["why"].startswith("Every reliable output is digital")
    assert to_json(ask(OPTICAL))["dac"]["why"].startswith("Every usable output is digital")


def test_a_menu_item_that_brings_the_speakers_back_makes_the_jack_acceptable() -> None:
    phones = {**PHONES, "speakers": "mute-unless-set", "setting": "sound: main speaker on"}
    answer = ask(phones, OPTICAL)
    path = answer.chosen
    assert path is not None
    assert path.signal is Signal.HEADPHONE
    assert not answer.dac.needed
    assert "restores-in-menu" in cautions(path)
    assert "turn the speakers back on (noted: sound: main speaker on)" in text(path)


def test_a_headphone_jack_of_unknown_effect_stands_behind_optical_and_a_dac() -> None:
    answer = ask(PHONES, OPTICAL)
    assert answer.chosen is not None
    assert answer.chosen.signal is Signal.OPTICAL
    assert answer.dac.needed
    other = next(path for path in answer.others if path.signal is Signal.HEADPHONE)
    assert "may-mute-speakers" in cautions(other)
    assert "silence the speakers" in questions(answer)[0]


def test_a_headphone_jack_of_unknown_effect_is_used_where_it_is_all_there_is() -> None:
    answer = ask(PHONES, {**LINE, "taken": True}, inputs=("line-3.5", "mic"))
    assert answer.chosen is not None
    assert answer.chosen.jack == 0
    assert "may-mute-speakers" in cautions(answer.chosen)
    assert [one.code.value for one in answer.ask] == ["who-uses-it", "does-it-silence", "other-box"]


def test_any_headphone_jack_will_do_where_nobody_needs_the_speakers() -> None:
    answer = ask(PHONES, OPTICAL, speakers_needed=False)
    assert answer.chosen is not None
    assert answer.chosen.signal is Signal.HEADPHONE
    assert not answer.dac.needed
    assert questions(answer) == []


def test_where_only_a_muting_jack_is_left_it_is_asked_who_listens() -> None:
    assert questions(ask({**PHONES, "speakers": "mute"}))[0] == (
        "Does anybody need the set's speakers while the loop is on? If not, the 3.5 mm jack marked HEADPHONE "
        "can be used."
    )
    assert questions(ask({**PHONES, "speakers": "mute"}, {**OPTICAL, "format": "pcm"})) == []


def test_where_visits_disagree_on_the_speakers_it_is_asked() -> None:
    from kb.domain.panel import Dispute

    seen = panel({**PHONES, "speakers": "mute"}, OPTICAL)
    disputed = replace(seen.jacks[0], disputes=(Dispute("speakers", (("mute", 2), ("stay-on", 1))),))
    answer = connect(Panel((disputed, seen.jacks[1])), ["line-3.5"])
    assert questions(answer)[0].startswith("Visits disagree")


# -- taken, other boxes ----------------------------------------------------------------------------


def test_another_free_output_is_used_before_a_taken_one() -> None:
    answer = ask({**OPTICAL, "taken": True}, COAXIAL)
    assert answer.chosen is not None
    assert answer.chosen.jack == 1
    assert ruled_out(answer) == {0: "taken"}


def test_a_taken_optical_jack_is_split_at_the_jack_where_nothing_else_is_left() -> None:
    answer = ask({**OPTICAL, "taken": True})
    path = answer.chosen
    assert path is not None
    assert path.items == ("optical splitter", "optical cable 2 m", "DAC", "RCA pair to 3.5 mm cable 2 m")
    assert "splitter-loss" in cautions(path)
    assert any("set-top box" in question for question in questions(answer))
    assert any("audio output of its own, or nobody may use it" in question for question in questions(answer))


def test_one_analog_output_may_feed_two_inputs() -> None:
    path = chosen({**LINE, "taken": True})
    assert path.items == ("RCA pair splitter", "RCA pair to 3.5 mm cable 2 m")


def test_a_splitter_does_not_bring_the_speakers_back() -> None:
    answer = ask({**PHONES, "taken": True, "speakers": "mute"})
    assert ruled_out(answer) == {0: "mutes-speakers"}


def test_a_taken_arc_socket_cannot_be_shared() -> None:
    assert ruled_out(ask({**ARC, "taken": True})) == {0: "taken"}


def test_a_television_without_outputs_sends_the_installer_to_the_set_top_box() -> None:
    assert "set-top box" in questions(ask(INPUT, HDMI))[-1]


@pytest.mark.parametrize("kind", [Kind.SET_TOP_BOX, Kind.RECEIVER, Kind.PLAYER])
def test_the_loop_carries_only_what_comes_through_this_box(kind: Kind) -> None:
    path = chosen(OPTICAL, kind=kind)
    assert "this-box-only" in cautions(path)
    assert kind.label in text(path)
    assert "this-box-only" not in cautions(chosen(OPTICAL))


# -- last resorts ----------------------------------------------------------------------------------


def test_speaker_terminals_are_not_used_while_there_is_another_way() -> None:
    assert ruled_out(ask(SPEAKERS, OPTICAL)) == {0: "speaker-level-unsafe"}


def test_speaker_terminals_go_through_an_isolating_converter_and_are_never_grounded() -> None:
    path = chosen(SPEAKERS)
    assert path.items == ("speaker-to-line converter", "RCA pair to 3.5 mm cable 2 m")
    assert "isolate" in cautions(path)
    assert "never ground either terminal" in text(path)
    assert "Join neither terminal to earth" in text(path)


def test_speaker_terminals_take_a_converter_though_no_dac_and_it_is_named() -> None:
    answer = ask(SPEAKERS)
    assert not answer.dac.needed
    assert answer.converter == "speaker-to-line converter"
    assert sentence(answer.dac) == (
        "The sound comes out analog, at loudspeaker power. The speaker-to-line converter brings it down to "
        "line level. No DAC is needed."
    )
    assert ask(OPTICAL).converter == "DAC"
    assert ask(LINE).converter == ask(INPUT).converter == ""


def test_speaker_terminals_that_are_in_use_are_shared_by_the_converter() -> None:
    assert chosen({**SPEAKERS, "taken": True}).items[0] == "speaker-to-line converter"


def test_bluetooth_is_late_and_only_the_last_way() -> None:
    assert ruled_out(ask(BLUETOOTH, OPTICAL)) == {0: "late"}
    path = chosen(BLUETOOTH)
    assert path.delay_ms == 150
    assert "late" in cautions(path)
    assert "echo" in text(path)


def test_bluetooth_against_speakers_that_are_needed_gives_way_to_a_microphone() -> None:
    inputs = ("line-3.5", "mic")
    answer = ask(BLUETOOTH, inputs=inputs)
    assert answer.chosen is not None
    assert answer.chosen.jack is None
    assert ruled_out(answer) == {0: "late"}
    assert chosen(BLUETOOTH, inputs=inputs, speakers_needed=False).signal is Signal.WIRELESS


def test_bluetooth_that_something_else_uses_is_taken_for_good() -> None:
    answer = ask({**BLUETOOTH, "taken": True})
    assert ruled_out(answer) == {0: "taken"}
    assert "splitter" not in to_json(answer)["ruled_out"][0]["why"]


@pytest.mark.parametrize(("p", "first"), [(0.5, 0), (0.49, 1)])
def test_a_jack_that_failed_more_often_than_not_stands_behind_a_converter(p: float, first: int) -> None:
    """Half and half is still worth a cable; less is no acceptable output, as long as another is."""
    tried = panel({**LINE, "outcome": "carried"}, OPTICAL)
    answer = connect(tried, ["line-3.5"], chance=lambda one: Chance(p if one.outcomes else 0.9, 0, 1, 4))
    assert answer.chosen is not None
    assert answer.chosen.jack == first


def test_a_microphone_at_the_loudspeaker_where_there_is_nothing_at_all() -> None:
    answer = ask(INPUT, inputs=("line-3.5", "mic"))
    path = answer.chosen
    assert path is not None
    assert (path.jack, path.signal) == (None, Signal.ACOUSTIC)
    assert "mic-last-resort" in cautions(path)
    assert chosen(OPTICAL, inputs=("line-3.5", "mic")).jack == 0


def test_no_jack_and_no_microphone_input_is_no_path() -> None:
    answer = ask()
    assert answer.chosen is None
    assert not answer.dac.needed


# -- hum, failures, chances ------------------------------------------------------------------------


def test_where_hum_was_met_the_optical_output_goes_first() -> None:
    answer = ask({**LINE, "outcome": "hum"}, OPTICAL, inputs=BOTH)
    assert answer.chosen is not None
    assert answer.chosen.signal is Signal.OPTICAL


def test_where_hum_was_met_and_only_analog_is_left_an_isolator_goes_in() -> None:
    path = chosen({**LINE, "outcome": "hum"})
    assert path.items == ("ground-loop isolator", "RCA pair to 3.5 mm cable 2 m")
    assert "hum" in cautions(path)
    assert "optical output stops it" in text(path)


def test_hum_does_not_make_a_dac_needed() -> None:
    assert not ask({**LINE, "outcome": "hum"}, OPTICAL).dac.needed


@pytest.mark.parametrize("outcome", [Outcome.SILENT, Outcome.DISTORTED])
def test_what_was_tried_twice_without_success_is_known_not_to_work(outcome: Outcome) -> None:
    answer = connect(Panel((failed(LINE, 2, outcome),)), ["line-3.5"])
    assert ruled_out(answer) == {0: "known-not-to-work"}
    assert f"{outcome} 2" in to_json(answer)["ruled_out"][0]["why"]


def test_an_optical_output_that_was_silent_once_is_offered_with_its_remedy() -> None:
    path = chosen({**OPTICAL, "outcome": "silent"})
    assert "set the digital sound format" in text(path)
    assert "Tried here without success: silent 1. A setting may be the cause" in text(path)


def test_what_was_silent_once_stands_behind_every_output_that_was_not() -> None:
    for other in (LINE, COAXIAL, {**PHONES, "speakers": "stay-on"}):
        answer = ask({**OPTICAL, "outcome": "silent"}, other)
        assert answer.chosen is not None
        assert answer.chosen.jack == 1
        assert [path.jack for path in answer.others] == [0]


def test_silence_despite_pcm_or_another_setting_counts_twice() -> None:
    for remedy in ({"format": "pcm"}, {"setting": "speakers and optical"}):
        assert ruled_out(ask({**OPTICAL, "outcome": "silent", **remedy})) == {0: "known-not-to-work"}


def test_a_digital_output_that_is_given_up_is_worth_one_more_try_with_pcm() -> None:
    answer = connect(Panel((failed(OPTICAL, 2),)), ["line-3.5"])
    assert "format was not PCM" in to_json(answer)["ruled_out"][0]["why"]


def test_delayed_sound_found_before_is_told() -> None:
    assert "late" in cautions(chosen({**LINE, "outcome": "delayed"}))


def test_weak_sound_found_before_changes_the_level_step_and_the_rank() -> None:
    weak = {**LINE, "outcome": "weak"}
    assert "weak here before" in text(chosen(weak))
    assert chosen(weak, {"form": "jack-3.5", "marking": "LINE OUT (FIXED)"}).jack == 1


def test_among_equals_the_likelier_one_is_chosen() -> None:
    first = {"form": "rca-pair", "marking": "MONITOR OUT (FIXED)"}
    seen = panel(first, LINE)
    likely = connect(
        seen,
        ["line-3.5"],
        chance=lambda jack: Chance(0.6 if "MONITOR" in jack.jack.marking else 0.95, 0.1, 1.0, 5),
    )
    assert likely.chosen is not None
    assert likely.chosen.jack == 1
    assert likely.chosen.p_works == 0.95


def test_a_second_trip_weighs_more_than_an_adapter() -> None:
    scart = {**SCART, "level": "fixed"}
    assert chosen(LINE, scart).jack == 0
    answer = connect(
        panel(LINE, scart),
        ["line-3.5"],
        chance=lambda jack: Chance(0.55 if jack.jack.form is Form.RCA_PAIR else 0.95, 0.1, 1.0, 5),
    )
    assert answer.chosen is not None
    assert answer.chosen.jack == 1


def test_a_jack_that_failed_more_often_than_not_stands_behind_a_dac() -> None:
    from kb.domain.words import Outcome

    seen = panel(LINE, OPTICAL)
    doubtful = replace(seen.jacks[0], findings=30, outcomes=((Outcome.CARRIED, 1), (Outcome.SILENT, 29)))
    answer = connect(Panel((doubtful, seen.jacks[1])), ["line-3.5"])
    assert answer.chosen is not None
    assert answer.chosen.jack == 1
    assert answer.dac.needed
    assert "failed 29 of 30" in text(answer.others[0])


# -- levels, mono, power, tubes --------------------------------------------------------------------


def test_at_a_microphone_input_a_fixed_level_goes_first_and_the_headphone_jack_last() -> None:
    """As at a line input (common practice): a level that nobody turns is set once."""
    recording, on = {"form": "rca-pair", "marking": "REC OUT"}, {**PHONES, "speakers": "stay-on"}
    for input_ in ("mic", "line-3.5"):
        assert chosen(on, LINE_VARIABLE, recording, LINE, inputs=(input_,)).jack == 3
        assert chosen(on, LINE_VARIABLE, recording, inputs=(input_,)).jack == 2
        assert chosen(on, LINE_VARIABLE, inputs=(input_,)).jack == 1


def test_line_level_goes_into_a_microphone_input_only_summed_and_taken_down() -> None:
    path = chosen(LINE, inputs=("mic",))
    assert path.items == ("RCA pair to 3.5 mm cable 2 m", "mono-summing pad", "attenuator")
    assert "sum-not-y" in cautions(path)


def test_a_line_input_adds_left_and_right_inside_the_driver() -> None:
    assert "sum-not-y" not in cautions(chosen(LINE))


def test_every_powered_box_wants_its_own_outlet() -> None:
    inputs = ("optical",)
    path = chosen(OPTICAL, inputs=inputs, length_m=12)
    boxes = [name for name in path.items if "converter" in name]
    assert len(boxes) == 2
    assert cautions(path).count("own-power") == 2


def test_a_tube_set_is_never_opened() -> None:
    assert "never-open" in cautions(chosen(LINE, display=Display.TUBE))
    assert "never-open" not in cautions(chosen(LINE, display=Display.FLAT))


def test_a_scart_socket_is_checked_in_the_manual_until_it_has_carried_sound() -> None:
    assert "check-manual" in cautions(chosen(SCART))
    assert "check-manual" not in cautions(chosen({**SCART, "outcome": "carried"}))


def test_an_adc_leads_an_analog_output_into_a_driver_that_takes_digital_sound_only() -> None:
    answer = ask(LINE, inputs=("optical",))
    assert answer.chosen is not None
    assert "ADC" in answer.chosen.items
    assert not answer.dac.needed
    assert "makes it digital" in sentence(answer.dac)


def test_no_adc_is_used_if_the_set_gives_digital_sound_or_the_driver_takes_analog() -> None:
    assert "ADC" not in chosen(LINE, OPTICAL, inputs=("optical",)).items
    answer = ask(LINE, inputs=BOTH)
    assert answer.chosen is not None
    assert not any("ADC" in path.items for path in (answer.chosen, *answer.others))


def test_a_jack_made_an_output_by_hand_needs_no_marking() -> None:
    path = chosen({"form": "rca-pair", "marking": "", "direction": "output"})
    assert "the RCA pair without a mark" in text(path)


# -- silenced by being sent elsewhere --------------------------------------------------------------


def test_sound_sent_out_over_arc_may_silence_speakers_that_others_need() -> None:
    answer = ask(ARC)
    assert answer.chosen is not None
    assert "may-mute-speakers" in cautions(answer.chosen)
    assert "Both must be heard" not in text(answer.chosen)
    assert "an item that brings them back" in text(answer.chosen)
    assert questions(answer)[0].startswith(
        "Does sending the sound out by the HDMI socket marked HDMI 1 (ARC)"
    )


def test_an_untried_headphone_jack_is_the_better_first_try_than_untried_arc() -> None:
    """A cable that is carried anyway settles it in a minute; ARC takes a powered box, and its own step sends
    the sound away from the speakers. Neither is lost."""
    answer = ask(ARC, PHONES)
    assert answer.chosen is not None
    assert answer.chosen.signal is Signal.HEADPHONE
    assert [path.signal for path in answer.others] == [Signal.ARC]
    assert not answer.dac.needed
    assert len([one for one in answer.ask if one.code.value == "does-it-silence"]) == 2


def test_arc_that_leaves_the_speakers_on_goes_before_an_untried_headphone_jack() -> None:
    assert chosen({**ARC, "speakers": "stay-on"}, PHONES).signal is Signal.ARC


def test_bluetooth_of_unknown_effect_on_the_speakers_is_told_too() -> None:
    assert "may-mute-speakers" in cautions(chosen(BLUETOOTH))


def test_where_nobody_needs_the_speakers_arc_is_beyond_doubt() -> None:
    path = chosen(ARC, speakers_needed=False)
    assert path.tier < path.tier.DOUBTFUL
    assert "tell the user" in text(path)


def test_known_speakers_are_tested_together_with_the_loop() -> None:
    assert "Both must be heard" in text(chosen({**ARC, "speakers": "stay-on"}))
    assert "Both must be heard" in text(chosen(LINE))


def test_a_doubtful_analog_way_through_an_attenuator_stands_before_a_doubtful_dac() -> None:
    answer = ask(ARC, PHONES, inputs=("mic",))
    assert answer.chosen is not None
    assert (answer.chosen.signal, answer.chosen.needs_dac) == (Signal.HEADPHONE, False)
    assert any(path.needs_dac for path in answer.others)
    assert not answer.dac.needed


def test_a_doubtful_form_converter_to_buy_stands_behind_a_doubtful_dac() -> None:
    answer = ask(ARC, inputs=("line-3.5", "coaxial"))
    assert answer.dac.needed
    to_hand = ask(ARC, inputs=("line-3.5", "coaxial"), have=["optical to coaxial converter"])
    assert not to_hand.dac.needed


# -- silent once -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("jack", "asked"),
    [
        (OPTICAL, "was the format PCM? Were both caps off, and was the selector at that input?"),
        (COAXIAL, "was the format PCM, and was the selector at that input?"),
        (ARC, "was the format PCM? Were ARC and the control of devices over HDMI turned on?"),
        ({**OPTICAL, "format": "pcm"}, "PCM was noted. Was the selector at that input"),
    ],
)
def test_what_would_settle_the_silence_of_a_digital_output_is_asked(jack: Jack, asked: str) -> None:
    answer = ask({**jack, "outcome": "silent"})
    assert (answer.chosen is None) == ("format" in jack)
    assert any(asked in one for one in questions(answer))


def test_an_analog_output_that_was_silent_raises_no_question_of_format() -> None:
    answer = ask({**LINE, "outcome": "silent"})
    assert not any("format" in one for one in questions(answer))


def test_how_a_silent_output_was_tried_is_not_asked_where_a_cable_does_it_anyway() -> None:
    assert questions(ask({**OPTICAL, "outcome": "silent"}, LINE)) == []


# -- tube sets, kinds, last resorts ----------------------------------------------------------------


def test_a_set_that_may_be_a_tube_set_is_not_opened_either() -> None:
    for year, told in ((1996, True), (2005, True), (2006, False), (2020, False)):
        path = chosen(LINE, HDMI, year=year)
        assert ("never-open" in cautions(path)) == told
    assert "If it is a tube set" in text(chosen(LINE))
    assert "never-open" not in cautions(chosen(LINE, HDMI))
    assert "never-open" not in cautions(chosen(LINE, OPTICAL))
    assert "never-open" not in cautions(chosen({"form": "jack-3.5", "marking": "LINE OUT/OPTICAL"}))
    assert "never-open" not in cautions(chosen(LINE, kind=Kind.RECEIVER))
    assert "never-open" not in cautions(chosen(LINE, year=1996, display=Display.FLAT))
    assert "Never open a tube set" in text(chosen(LINE, year=2020, display=Display.TUBE))


@pytest.mark.parametrize("kind", [kind for kind in Kind if kind is not Kind.TELEVISION])
def test_of_another_kind_of_source_nothing_is_said_of_a_set(kind: Kind) -> None:
    for jack in (OPTICAL, {**PHONES, "level": "selectable"}, SCART, SPEAKERS, {**LINE, "outcome": "weak"}):
        for needed in (True, False):
            answer = ask({**jack, "speakers": "mute-unless-set"}, kind=kind, speakers_needed=needed)
            for path in filter(None, [answer.chosen, *answer.others]):
                assert "the set's" not in text(path)
                assert "this other" not in text(path)


def test_the_menu_is_that_of_the_box_and_the_speakers_are_those_of_the_television() -> None:
    said = text(chosen(OPTICAL, kind=Kind.SET_TOP_BOX))
    assert "In the set-top box's sound menu, set the digital sound format" in said
    assert "Test with the television's speakers and the loop both on" in said
    answer = ask({**PHONES, "speakers": "mute"}, kind=Kind.SET_TOP_BOX)
    assert "silences the television's speakers" in to_json(answer)["ruled_out"][0]["why"]
    assert "anybody need the television's speakers" in questions(answer)[0]


def test_where_all_that_is_left_silences_the_speakers_a_microphone_is_named_as_the_last_resort() -> None:
    hint = "a microphone at the set's loudspeaker, into a driver with a microphone input"
    assert hint in questions(ask({**PHONES, "speakers": "mute"}))[-1]
    assert not any(hint in one for one in questions(ask(INPUT)))
    assert not any(hint in one for one in questions(ask({**PHONES, "speakers": "mute"}, inputs=("mic",))))


@pytest.mark.parametrize(
    ("jack", "inputs", "converter"),
    [
        (LINE, ("line-3.5",), ""),
        (OPTICAL, ("optical",), ""),
        (OPTICAL, ("line-3.5",), "DAC"),
        (OPTICAL, ("coaxial",), "optical to coaxial converter"),
        (ARC, ("optical",), "ARC extractor"),
        (BLUETOOTH, ("line-3.5",), "Bluetooth receiver"),
        (SPEAKERS, ("line-3.5",), ""),
    ],
)
def test_the_powered_box_that_turns_the_sound_into_another_kind_is_named(
    jack: Jack, inputs: tuple[str, ...], converter: str
) -> None:
    assert chosen(jack, inputs=inputs).converter == converter


def test_nobody_is_asked_whether_a_jack_marked_no_output_is_an_output() -> None:
    asked = [one.code for one in ask({"form": "rca-pair", "marking": "NO OUTPUT"}).ask]
    assert "is-it-an-output" not in asked
    assert "is-it-an-output" in [one.code for one in ask({"form": "rca-pair", "marking": ""}).ask]


def test_it_is_asked_whether_a_headphone_jack_without_a_mark_silences_the_speakers() -> None:
    assert "does-it-silence" in [one.code for one in ask({"form": "jack-3.5", "signal": "headphone"}).ask]
