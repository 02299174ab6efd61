"""The reason that the panel reader gives is the one an installer would give."""

from __future__ import annotations

import pytest

from kb.domain import marking
from kb.domain.language import language
from kb.domain.marking import read, words_of
from kb.domain.words import Colour, Direction, Form, Kind, Signal

#: Form, mark, which way the sound goes, signal, and a part of the reason: common practice.
REASONS = [
    ("rca-pair", "", "unclear", None, "never guessed"),
    ("rca-pair", "L R", "unclear", None, "does not tell"),
    ("rca-pair", "XQZ", "unclear", None, "not a word that is known: XQZ"),
    ("rca-pair", "AUDIO ?", "unclear", None, "may say OUT"),
    ("rca-pair", "WOBBLE AUDI?", "unclear", None, "not a word that is known: WOBBLE"),
    ("rca-pair", "AUDIO W?BLE", "unclear", None, "may say OUT"),
    ("rca-pair", "AUDIO WOB..", "unclear", None, "may say OUT"),
    ("rca-pair", "AUDIO T", "unclear", None, "not a word that is known: T"),
    ("rca-pair", "AUDIO O", "unclear", None, "may say OUT"),
    ("rca-pair", "AUDIO UT", "unclear", None, "may say OUT"),
    ("rca-pair", "LINE IN/OUT", "unclear", None, "both IN and OUT"),
    ("rca-pair", "IN/OUT", "unclear", None, "both IN and OUT"),
    ("rca-pair", "AUDIO FIXED", "unclear", None, "a level is printed"),
    ("rca-pair", "AUDIO VARIABLE", "unclear", None, "a level is printed"),
    ("rca-pair", "AUDIO", "input", None, "AUDIO without OUT"),
    ("rca-pair", "DVD", "input", None, "named after what plugs in"),
    ("jack-3.5", "MIC", "input", None, "microphone"),
    ("rca-pair", "IN", "input", None, "marked as an input"),
    ("rca-pair", "AUDIO IN", "input", "analog-line", "marked as an input"),
    # What is at the other end of the cable.
    ("rca-pair", "TO VCR", "unclear", None, "what plugs in"),
    ("rca-pair", "TO AMP", "output", "analog-line", "feeds what is named"),
    ("rca-pair", "TAPE REC", "output", "analog-line", "feeds what is named"),
    ("rca-pair", "FROM VCR", "input", None, "takes the sound"),
    ("rca-pair", "TAPE PLAY", "input", None, "takes the sound"),
    ("rca-pair", "TAPE", "unclear", None, "does not tell"),
    ("din-5", "TAPE", "output", "analog-line", "tape socket"),
    # OUT alone tells what a pair carries, not what a single jack does.
    ("rca-pair", "OUT", "output", "analog-line", "marked as an output"),
    ("rca-pair", "DIGITAL OUT", "output", None, "marked as an output"),
    ("rca-single", "OUT", "output", None, "marked as an output"),
    ("rca-single", "MONO OUT", "output", "analog-line", "marked as an output"),
    ("rca-single", "DIGITAL OUT", "output", "coaxial", "marked as an output"),
    ("rca-single", "VIDEO OUT", "output", "not-audio", "a picture"),
    ("scart", "VIDEO OUT", "output", "analog-line", "SCART"),
    ("jack-3.5", "OUT", "output", "analog-line", "marked as an output"),
    ("jack-3.5", "XQZ OUT", "output", None, "not printed in words"),
    ("jack-3.5", "LINK OUT", "output", None, "not printed in words"),
    ("jack-3.5", "AUDIO LINK OUT", "output", "analog-line", "marked as an output"),
    ("scart", "AV IN", "input", "analog-line", "marked as an input"),
    ("bluetooth", "AUDIO IN", "input", "wireless", "marked as an input"),
    ("bluetooth", "", "output", "wireless", "Bluetooth of the source"),
    ("speaker-terminals", "IN", "input", "speaker-level", "marked as an input"),
    ("speaker-terminals", "SUBWOOFER", "output", "speaker-level", "power, not line level"),
    ("jack-3.5", "PHONES IN", "input", "headphone", "marked as an input"),
    ("jack-3.5", "SORTIE HP", "unclear", None, "in French a loudspeaker"),
    ("jack-3.5", "HP", "output", "headphone", "headphone mark"),
    ("jack-3.5", "SUBWOOFER HEADPHONE", "output", "headphone", "headphone mark"),
    ("toslink", "OPTICAL", "unclear", "optical", "does not say whether it is an output"),
    ("toslink", "", "unclear", "optical", "never guessed"),
    # One loudspeaker's share is no programme; both front ones together are.
    ("rca-pair", "CENTER OUT", "output", "not-audio", "one loudspeaker's share"),
    ("rca-pair", "FRONT SURROUND OUT", "output", "analog-line", "marked as an output"),
    ("jack-3.5", "SURROUND SPEAKERS", "output", "speaker-level", "power, not line level"),
    ("rca-single", "DIGITAL SURROUND OUT", "output", "coaxial", "marked as an output"),
    ("jack-3.5", "SURROUND HEADPHONE", "output", "headphone", "headphone mark"),
    ("jack-3.5", "IR", "unclear", "not-audio", "control or service"),
    ("jack-3.5", "CONTROL AUDIO OUT", "output", "analog-line", "marked as an output"),
    ("hdmi", "HDMI CONTROL", "input", None, "only where it is marked ARC"),
    ("scart", "CONTROL", "output", "analog-line", "SCART"),
    ("d-sub", "PC IN", "unclear", "not-audio", "gives no sound"),
    # HDMI.
    ("hdmi", "HDMI OUT TO TV", "output", None, "with the picture"),
    ("hdmi", "HDMI OUT", "output", None, "with the picture"),
    ("hdmi", "HDMI TO TV (ARC)", "input", None, "takes the television's sound back"),
    ("hdmi", "AUDIO RETURN", "output", "arc", "audio return channel"),
    ("hdmi", "RETURN CHANNEL", "output", "arc", "audio return channel"),
    ("hdmi", "eARC", "output", "earc", "marked eARC"),
    ("hdmi", "HDMI 1 (?)", "unclear", None, "may say ARC"),
]  # fmt: skip


@pytest.mark.parametrize(("form", "mark", "direction", "signal", "why"), REASONS)
def test_each_mark_is_read_for_the_reason_that_an_installer_would_give(
    form: str, mark: str, direction: str, signal: str | None, why: str
) -> None:
    reading = read(Form(form), mark)
    assert (reading.direction, reading.signal) == (direction, signal)
    assert why in reading.why()


@pytest.mark.parametrize(
    ("mark", "seen", "says"),
    [
        ("AUDIO IN", "output", "input"),
        ("AUDIO OUT", "input", "output"),
        ("AUDIO OUT", "output", None),
        ("AUDIO IN", "input", None),
        ("AUDIO OUT", "unclear", None),
        ("L R", "output", None),
        ("", "output", None),
    ],
)
def test_a_mark_speaks_against_a_person_only_where_it_says_the_other_side(
    mark: str, seen: str, says: str | None
) -> None:
    found = marking.against(Form.RCA_PAIR, mark, None, Direction(seen))
    assert (found.direction if found else None) == says


def test_neither_a_jack_without_a_mark_nor_one_that_the_kind_of_source_tells_speaks_against_a_person() -> (
    None
):
    # without a mark the form alone tells the direction: of a socket that takes it nobody printed anything
    assert read(Form.BLUETOOTH, "").direction is Direction.OUTPUT
    assert marking.against(Form.BLUETOOTH, "", None, Direction.INPUT) is None
    said = (Form.HDMI, "HDMI IN", None, Direction.OUTPUT)
    assert marking.against(*said, Signal.HDMI) is None
    for signal in (None, Signal.ARC):
        found = marking.against(*said, signal)
        assert found is not None
        assert found.direction is Direction.INPUT


@pytest.mark.parametrize(
    ("mark", "no"), [("NO AUDIO OUT", True), ("AUDIO OUT", False), ("NO. 1 OUT", False), ("AUDIO IN", False)]
)
def test_a_mark_may_say_that_the_jack_is_no_output(mark: str, no: bool) -> None:
    assert marking.denied(Form.RCA_PAIR, mark, None) is no


def test_the_reason_is_given_in_every_language() -> None:
    spanish = language("es")
    assert read(Form.RCA_PAIR, "AUDIO OUT").why(spanish) == "rotulada como salida"
    assert read(Form.USB, "").why(spanish) == "USB: no da sonido para un bucle"
    assert read(Form.RCA_PAIR, "WOBBLE").why(spanish) == "palabra desconocida: WOBBLE"
    assert read(Form.JACK_35, "", Colour.PINK).why(spanish) == "anillo rosa: una entrada de micrófono"


@pytest.mark.parametrize("arrow", ["->", "<-", "=>", "<", *"←⇿▲►◀◅➔➾⟰⟵⟿⤀⬀⬅⮕￫⏩☞\U0001f800\U0001f8ad"])
def test_beside_an_arrow_of_any_block_the_sound_may_go_either_way(arrow: str) -> None:
    assert read(Form.RCA_PAIR, f"AUDIO {arrow}").direction == "unclear"


@pytest.mark.parametrize("mark", ["«AUDIO»", "‹AUDIO›", "AUDIO\u202fL/R", "AV\u202f1"])
def test_quotation_marks_and_narrow_blanks_are_no_arrows(mark: str) -> None:
    assert read(Form.RCA_PAIR, mark).direction == "input"


@pytest.mark.parametrize("sign", "■◆●★°♫")
def test_a_sign_that_points_nowhere_leaves_the_sound_of_a_picture_input_an_input(sign: str) -> None:
    assert read(Form.RCA_PAIR, f"AUDIO {sign}").direction == "input"


@pytest.mark.parametrize(
    ("mark", "words"),
    [
        ("AUDIO A L", {"AUDIO", "LEFT"}),  # input A: not the Spanish for "to"
        ("BAL R", {"BALANCED", "RIGHT"}),  # balanced: not the Hungarian for left
        ("AUDIO G D", {"AUDIO", "LEFT", "RIGHT"}),  # gauche and droite
        ("AUDIO G R", {"AUDIO", "LEFT", "RIGHT"}),
    ],
)
def test_one_letter_for_each_side_tells_the_language_and_no_other_word_beside_a_side_does(
    mark: str, words: set[str]
) -> None:
    assert words_of(mark) == words


@pytest.mark.parametrize(
    ("form", "mark", "also"),
    [
        ("jack-3.5", "LINE OUT / OPTICAL OUT", "analog-line"),
        ("jack-3.5", "HEADPHONE / OPTICAL", "optical"),
        ("mini-toslink", "OPTICAL / HEADPHONE", "headphone"),
        ("mini-toslink", "OPTICAL OUT", None),
        ("jack-3.5", "OPTICAL IN / LINE IN", None),
        ("toslink", "OPTICAL LINE OUT", None),
        ("jack-3.5", "HEADPHONE / LINE OUT", None),
    ],
)
def test_only_a_small_round_output_has_two_signals(form: str, mark: str, also: str | None) -> None:
    assert read(Form(form), mark).also == also


@pytest.mark.parametrize(("colour", "direction"), [("green", "output"), ("blue", "input"), ("pink", "input")])
def test_a_coloured_ring_of_a_computer_counts_where_no_mark_can_be_read(colour: str, direction: str) -> None:
    assert read(Form.JACK_35, "", Colour(colour)).direction == direction
    for mark in ("XQZ", "..."):
        assert read(Form.JACK_35, mark, Colour(colour)).direction == "unclear", mark
    assert read(Form.JACK_635, "", Colour(colour)).direction == "unclear", "no jack of a computer"


@pytest.mark.parametrize(("mark", "direction"), [("", "unclear"), ("IN", "input"), ("OUT", "output")])
def test_a_white_ring_tells_the_channel_and_not_the_direction(mark: str, direction: str) -> None:
    assert read(Form.RCA_SINGLE, mark, Colour.WHITE).direction == direction


@pytest.mark.parametrize(("mark", "line"), [("100 V", True), ("70V LINE", True), ("LINE OUT", False)])
def test_a_line_for_many_loudspeakers_is_known_by_its_voltage(mark: str, line: bool) -> None:
    assert marking.constant_voltage(mark) is line


def test_a_balanced_output_says_so() -> None:
    assert marking.balanced("BALANCED OUT")
    assert not marking.balanced("LINE OUT")


def test_a_small_jack_for_sound_and_picture_is_known_by_either_word() -> None:
    assert marking.with_picture(Form.JACK_35, "AUDIO VIDEO OUT")
    assert not marking.with_picture(Form.JACK_35, "AUDIO OUT")


@pytest.mark.parametrize(
    ("kind", "mark", "alone", "gives"),
    [
        ("player", "HDMI", True, True),
        ("player", "HDMI", False, False),  # two sockets: one may be an input
        ("player", "HDMI OUT", False, True),
        ("set-top-box", "TO TV", False, True),
        ("set-top-box", "HDMI TO TV", False, True),
        ("set-top-box", "HDMI IN", True, False),
        ("television", "HDMI OUT", True, False),
    ],
)
def test_a_box_gives_its_sound_at_the_socket_for_the_television(
    kind: str, mark: str, alone: bool, gives: bool
) -> None:
    found = marking.by_kind(Kind(kind), Form.HDMI, mark, alone=alone)
    assert found is (Signal.HDMI if gives else None)


def test_left_and_right_of_one_output_have_the_same_mark_and_two_outputs_have_not() -> None:
    left, right, other = (marking.without_side(mark) for mark in ("AUDIO 1 L", "AUDIO 1 R", "AUDIO 2 R"))
    assert left == right != other
    assert marking.without_side("XQZ L") == marking.without_side("XQZ MONO") == {"XQZ"}


@pytest.mark.parametrize("mark", ["VIDEO-OUT", "VIDEOSOUT", "TONSAUSGANG"])
def test_a_joint_between_two_words_does_not_hide_them(mark: str) -> None:
    assert "OUT" in marking.words_of(mark)


def test_letters_that_merely_end_in_a_word_do_not_hold_it() -> None:
    assert marking.words_of("ABSOUT") == set()
