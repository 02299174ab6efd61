"""The panel reader: marks decide, and what they leave open stays open."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kb.domain.marking import read
from kb.domain.visit import Finding, finding_from, read_together
from kb.domain.words import Colour, Direction, Form, Kind, Level, Signal

# Markings as sets of four languages carry them: common practice.
OUTPUTS = [
    ("rca-pair", "AUDIO OUT", "analog-line"),
    ("rca-pair", "L AUDIO OUT R", "analog-line"),
    ("rca-pair", "MONITOR OUT", "analog-line"),
    ("rca-pair", "REC OUT", "analog-line"),
    ("rca-pair", "TV OUT", "analog-line"),
    ("jack-3.5", "LINE OUT", "analog-line"),
    ("din-5", "AUDIO OUT", "analog-line"),
    ("scart", "EXT 1", "analog-line"),
    ("din-5", "TONBAND", "analog-line"),
    ("jack-3.5", "EAR", "headphone"),
    ("toslink", "DIGITAL AUDIO OUT", "optical"),
    ("toslink", "OPTICAL OUT", "optical"),
    ("jack-3.5", "OPTICAL/LINE OUT", "optical"),
    ("rca-single", "DIGITAL AUDIO OUT (COAXIAL)", "coaxial"),
    ("rca-single", "S/PDIF OUT", "coaxial"),
    ("hdmi", "HDMI 1 (ARC)", "arc"),
    ("hdmi", "HDMI 2 (eARC/ARC)", "earc"),
    ("hdmi", "HDMI 1 AUDIO RETURN CHANNEL", "arc"),
    ("rca-single", "PCM OUT", "coaxial"),
    ("jack-3.5", "Kopfh.", "headphone"),
    ("jack-3.5", "AURIC.", "headphone"),
    ("jack-3.5", "HEADPHONES", "headphone"),
    ("jack-6.35", "PHONES", "headphone"),
    ("jack-3.5", "\N{HEADPHONE}", "headphone"),
    ("speaker-terminals", "EXT SP 8 OHM", "speaker-level"),
    ("jack-3.5", "SPK OUT", "speaker-level"),
    ("jack-3.5", "EXT SP", "speaker-level"),
    ("jack-3.5", "LAUTSPR. AUSGANG", "speaker-level"),
    ("rca-pair", "OUT 8 Ω", "speaker-level"),
    ("bluetooth", "", "wireless"),
    ("rca-pair", "AUDIO-AUSGANG", "analog-line"),
    ("rca-pair", "AUDIOAUSGANG L/R", "analog-line"),
    ("rca-pair", "TONAUSGANG", "analog-line"),
    ("toslink", "DIGITALER AUDIOAUSGANG (OPTISCH)", "optical"),
    ("jack-3.5", "KOPFHÖRER", "headphone"),
    ("jack-3.5", "KOPFHÖRERAUSGANG", "headphone"),
    ("rca-pair", "SORTIE AUDIO", "analog-line"),
    ("toslink", "SORTIE AUDIO NUMÉRIQUE (OPTIQUE)", "optical"),
    ("jack-3.5", "CASQUE", "headphone"),
    ("rca-pair", "SALIDA DE AUDIO", "analog-line"),
    ("rca-single", "SALIDA DIGITAL COAXIAL", "coaxial"),
    ("jack-3.5", "AURICULARES", "headphone"),
]
INPUTS = [
    ("rca-pair", "AUDIO"),
    ("rca-pair", "R-AUDIO-L"),
    ("rca-pair", "AUDIO IN"),
    ("jack-3.5", "PC AUDIO"),
    ("rca-pair", "COMPONENT"),
    ("rca-pair", "COMPONENT AUDIO"),
    ("rca-pair", "AUDIO IN (DVI)"),
    ("jack-3.5", "DVI"),
    ("rca-pair", "AV1"),
    ("rca-pair", "EXT 2"),
    ("hdmi", "HDMI 3"),
    ("hdmi", ""),
    ("hdmi", "HDMI TO TV (ARC)"),
    ("rca-pair", "AUDIO-EINGANG"),
    ("rca-pair", "AUDIOEINGANG"),
    ("rca-pair", "ENTRÉE AUDIO"),
    ("rca-pair", "ENTRADA DE AUDIO"),
    ("toslink", "OPTICAL IN"),
    ("jack-3.5", "MIC"),
]
NO_USE = [
    ("rca-single", "VIDEO OUT"),
    ("rca-single", "SORTIE VIDÉO"),
    ("rca-single", "VIDEOAUSGANG"),
    ("rca-single", "SALIDA DE VIDEO"),
    ("rca-pair", "COMPONENT OUT"),
    ("rca-single", "SUBWOOFER OUT"),
    ("rca-pair", "AUDIO OUT (SUBWOOFER)"),
    ("jack-3.5", "IR OUT"),
    ("jack-3.5", "SERVICE"),
    ("d-sub", "RS-232C"),
    ("jack-3.5", "RS-232C OUT"),
    ("usb", "USB"),
    ("rca-pair", "SURROUND OUT"),
    ("rca-pair", "CENTER OUT"),
    ("jack-3.5", "3D SYNC OUT"),
    ("jack-3.5", "CLOCK OUT"),
    ("din-5", "MIDI OUT"),
    ("antenna", "ANT OUT"),
]
UNCLEAR = [
    ("rca-pair", ""),
    ("jack-3.5", ""),
    ("toslink", ""),
    ("toslink", "OPTICAL"),
    ("rca-single", "COAXIAL"),
    ("rca-pair", "LINE IN/OUT"),
    ("rca-pair", "xx"),
    ("rca-pair", "TAPE MONITOR"),  # an input on many receivers
    ("rca-pair", "MONITOR"),
    ("rca-pair", "SORTIE HP"),  # in French HP may be a loudspeaker
    # A mark of which part is worn: what cannot be read may say OUT, or ARC.
    ("rca-pair", "AUDIO ?"),
    ("rca-pair", "AUDIO O?T"),
    ("rca-pair", "AUDIO O"),
    ("rca-pair", "AUDIO UT"),
    ("rca-pair", "AUDIO OUTPU"),
    ("jack-3.5", "AUDIO ..."),
    ("rca-pair", "VIDEO ?"),
    ("hdmi", "HDMI 1 (?)"),
    # The channels stand beside inputs and outputs alike, and an arrow points out of one and into another.
    ("rca-pair", "L R"),
    ("rca-pair", "R/L STEREO"),
    ("rca-single", "MONO"),
    ("rca-pair", "AUDIO \N{RIGHTWARDS ARROW}"),
    ("rca-pair", "AUDIO ->"),
]


@pytest.mark.parametrize(("form", "marking", "signal"), OUTPUTS)
def test_a_mark_that_says_out_is_an_output(form: str, marking: str, signal: str) -> None:
    reading = read(Form(form), marking)
    assert (reading.direction, reading.signal) == (Direction.OUTPUT, Signal(signal))


@pytest.mark.parametrize(("form", "marking"), INPUTS)
def test_sound_named_after_a_picture_input_is_an_input(form: str, marking: str) -> None:
    assert read(Form(form), marking).direction is Direction.INPUT


@pytest.mark.parametrize(("form", "marking"), NO_USE)
def test_some_jacks_say_out_and_still_carry_no_full_range_sound(form: str, marking: str) -> None:
    assert read(Form(form), marking).signal is Signal.NOT_AUDIO


@pytest.mark.parametrize(
    ("form", "marking"), [("rca-pair", "AUDIO IN ?"), ("rca-pair", "AUDIO 2"), ("rca-pair", "R AUDIO L")]
)
def test_a_mark_that_is_worn_where_it_does_not_matter_is_read(form: str, marking: str) -> None:
    assert read(Form(form), marking).direction is Direction.INPUT


@pytest.mark.parametrize("form", [Form.JACK_35, Form.JACK_635])
def test_ohms_at_a_phone_jack_may_be_those_of_headphones_or_of_a_loudspeaker(form: Form) -> None:
    for marking in ("Ω", "32 Ω"):
        assert (read(form, marking).direction, read(form, marking).signal) == (Direction.OUTPUT, None)
    assert read(form, "SPEAKER 8 Ω").signal is Signal.SPEAKER_LEVEL
    assert read(form, "PHONES 32 Ω").signal is Signal.HEADPHONE


@pytest.mark.parametrize(("form", "marking"), UNCLEAR)
def test_a_worn_or_silent_mark_is_unclear_and_never_guessed(form: str, marking: str) -> None:
    assert read(Form(form), marking).direction is Direction.UNCLEAR


@pytest.mark.parametrize(
    ("marking", "level"),
    [
        ("AUDIO OUT (FIXED)", Level.FIXED),
        ("AUDIO OUT VARIABLE", Level.VARIABLE),
        ("AUDIO OUT (FIXED/VARIABLE)", Level.SELECTABLE),
        ("AUDIO OUT", Level.UNKNOWN),
    ],
)
def test_the_mark_may_tell_whether_the_level_follows_the_remote(marking: str, level: Level) -> None:
    assert read(Form.RCA_PAIR, marking).level is level


# CTA-863 ring colours, as published on connector reference pages (the standard's own table not seen).
@pytest.mark.parametrize(
    ("colour", "signal"),
    [
        ("yellow", Signal.NOT_AUDIO),  # composite video
        ("orange", Signal.COAXIAL),  # digital coaxial audio
        ("purple", Signal.NOT_AUDIO),  # subwoofer
        ("green", Signal.NOT_AUDIO),  # component Y or centre
        ("blue", Signal.NOT_AUDIO),  # component Pb or surround left
        ("red", None),  # audio right, or Pr: settles nothing alone
        ("white", None),  # audio left
        ("black", None),  # seen for left, mono and digital
    ],
)
def test_the_colour_of_a_single_rca_jack_tells_what_it_carries(colour: str, signal: Signal | None) -> None:
    assert read(Form.RCA_SINGLE, "", Colour(colour)).signal is signal


@pytest.mark.parametrize(
    ("marking", "signal", "also"),
    [
        ("LINE OUT / OPTICAL OUT", Signal.OPTICAL, Signal.ANALOG_LINE),
        ("HEADPHONE/OPTICAL", Signal.HEADPHONE, Signal.OPTICAL),
        ("HEADPHONE", Signal.HEADPHONE, None),
        ("LINE OUT", Signal.ANALOG_LINE, None),
    ],
)
def test_a_combined_jack_carries_two_signals(marking: str, signal: Signal, also: Signal | None) -> None:
    reading = read(Form.JACK_35, marking)
    assert (reading.signal, reading.also) == (signal, also)


def test_a_digital_mark_outranks_the_colour_of_the_ring() -> None:
    assert read(Form.RCA_SINGLE, "DIGITAL AUDIO OUT", Colour.BLACK).signal is Signal.COAXIAL


@given(st.sampled_from(Form), st.text(max_size=80))
def test_any_mark_gets_an_answer_with_a_reason(form: Form, marking: str) -> None:
    reading = read(form, marking)
    assert reading.why()
    assert reading == read(form, marking)


@given(st.sampled_from(Form), st.sampled_from(OUTPUTS + [(f, m, "") for f, m in INPUTS]))
def test_case_and_punctuation_of_a_mark_do_not_matter(form: Form, case: tuple[str, str, str]) -> None:
    marking = case[1]
    assert read(form, marking) == read(form, marking.lower()) == read(form, f"  {marking}:")


@pytest.mark.parametrize(
    "mark", ["CONNECT TO DVD AUDIO OUT", "TO PC AUDIO OUT", "FROM PC OUT", "AUDIO VON DVD AUSGANG"]
)
def test_an_input_that_is_marked_with_the_output_it_is_joined_to_is_not_called_an_output(mark: str) -> None:
    """Common practice: a jack for another device may name the socket of that device."""
    assert read(Form.RCA_PAIR, mark).direction is Direction.UNCLEAR
    assert read(Form.TOSLINK, mark).direction is Direction.UNCLEAR


def test_an_output_may_name_the_part_of_the_set_whose_sound_it_gives() -> None:
    assert read(Form.RCA_PAIR, "LINE OUT FROM TUNER").direction is Direction.OUTPUT
    for mark in ("AUDIO OUT FROM DVD", "FROM TUNER OUT", "OUT FROM", "TV OUT FROM DVD"):
        assert read(Form.RCA_PAIR, mark).direction is Direction.UNCLEAR


@pytest.mark.parametrize("form", [Form.RCA_PAIR, Form.TOSLINK, Form.JACK_35])
def test_a_jack_for_the_televisions_cable_is_an_input_or_asked_about_and_never_an_output(form: Form) -> None:
    for mark in ("FROM TV", "DESDE TV", "TON VOM FERNSEHER", "DEPUIS TV", "DALLA TV"):
        assert read(form, mark).direction is Direction.INPUT, mark
    for mark in ("AUDIO OUT FROM TV", "FROM TV OUT", "TO TV AUDIO OUT", "A SALIDA DE TV", "AUSGANG VOM TV"):
        assert read(form, mark).direction is Direction.UNCLEAR, mark
    assert read(form, "AUDIO OUT TO TV").direction is Direction.OUTPUT


@pytest.mark.parametrize("mark", ["TV AUDIO OUT", "SALIDA DE AUDIO DEL TV", "TV-AUDIOAUSGANG", "SORTIE TV"])
def test_a_soundbar_has_no_output_of_a_television(mark: str) -> None:
    def seen(kind: Kind, **more: str) -> Finding:
        jack = finding_from({"form": "rca-pair", "marking": mark, **more}, "jack")
        return read_together([jack], kind)[0]

    assert seen(Kind.TELEVISION).jack.direction is Direction.OUTPUT
    assert seen(Kind.SET_TOP_BOX).jack.direction is Direction.OUTPUT  # to the television
    for kind in (Kind.SOUNDBAR, Kind.RECEIVER, Kind.OTHER):
        assert seen(kind).jack.direction is Direction.UNCLEAR
        assert seen(kind).why() == "the mark tells what plugs in, not which way the sound goes"
        assert seen(kind, direction="output").jack.direction is Direction.OUTPUT
        assert seen(kind, outcome="carried").jack.direction is Direction.OUTPUT


@pytest.mark.parametrize("mark", ["AUDIO OUT TO DVD", "OUT TO AMP", "TO AMP OUT", "SALIDA A DVD"])
def test_an_output_may_name_where_its_cable_goes(mark: str) -> None:
    assert read(Form.RCA_PAIR, mark).direction is Direction.OUTPUT


@pytest.mark.parametrize(
    ("form", "mark"),
    [
        (Form.RCA_PAIR, "NO OUTPUT"),
        (Form.RCA_PAIR, "KEIN AUSGANG"),
        (Form.RCA_PAIR, "PAS DE SORTIE"),
        (Form.RCA_PAIR, "SIN SALIDA"),
        (Form.RCA_PAIR, "NO AUDIO OUT"),
        (Form.TOSLINK, "NO OUTPUT"),
        (Form.JACK_35, "NOT FOR HEADPHONES"),
        (Form.HDMI, "HDMI 3 (NO ARC)"),
        (Form.SCART, "EXT 2 NO AUDIO OUT"),
    ],
)
def test_a_mark_that_says_there_is_no_output_makes_no_output(form: Form, mark: str) -> None:
    """Common practice: stickers and panels say so of sockets that look like outputs."""
    assert read(form, mark).direction is not Direction.OUTPUT


@pytest.mark.parametrize(
    "mark", ["NO. 1 AUDIO OUT", "AUDIO OUT NO. 2", "SALIDA AUDIO", "USCITA SIN DES", "OUT (NO VIDEO)"]
)
def test_a_number_or_what_else_is_missing_leaves_an_output_an_output(mark: str) -> None:
    assert read(Form.RCA_PAIR, mark).direction is Direction.OUTPUT


@pytest.mark.parametrize(
    "mark", ["AUDIO (sortie décodeur)", "AUDIO (SALIDA DEL DECODIFICADOR)", "DECODER OUT"]
)
def test_the_output_of_a_decoder_may_be_that_of_the_other_box(mark: str) -> None:
    """Common practice: a set has a socket for the output of a decoder, or one that feeds it."""
    assert read(Form.RCA_PAIR, mark).direction is Direction.UNCLEAR


def test_the_input_for_a_decoder_is_an_input() -> None:
    assert read(Form.RCA_PAIR, "ENTRÉE DÉCODEUR").direction is Direction.INPUT


def test_an_hdmi_output_without_return_channel_gives_its_sound_with_the_picture() -> None:
    assert read(Form.HDMI, "HDMI OUT (NO ARC)").signal is None
