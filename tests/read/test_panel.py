"""Text on a photo of a panel becomes jacks: lines are joined, pairs found, headings given to their jacks."""

from __future__ import annotations

import pytest

from kb.domain.words import Direction, Form, Kind, Signal
from kb.read.panel import PanelDraft, SeenJack, jacks_in, joined
from kb.read.picture import Reading
from tests.read.pictures import panel_as

PAIR = ((300.0, 500.0, "L"), (380.0, 500.0, "R"))
#: What is printed on sets besides marks.
LABELS = (
    "CAUTION: RISK OF ELECTRIC SHOCK",
    "DO NOT OPEN",
    "Made in Poland",
    "AC IN",
    "100-240V~ 50/60Hz",
    "DC 19V 3.42A",
    "Model: NV40-210",
    "SERIAL NO. 40812334455",
    "Do not block the vents",
    "M6 x 12",
    "PUSH",
    "CLASS 1 LASER PRODUCT",
    "",
    "?",
)


def marks(*texts: tuple[float, float, str], turn: float = 0.0) -> list[tuple[str, str]]:
    return [(jack.form.value, jack.marking) for jack in jacks_in(panel_as(*texts, turn=turn))]


def only(*texts: tuple[float, float, str]) -> SeenJack:
    (jack,) = jacks_in(panel_as(*texts))
    return jack


@pytest.mark.parametrize("turn", [0, 12, -30, 90, 180])
def test_marks_in_a_row_are_jacks_of_their_own_however_the_photo_is_turned(turn: float) -> None:
    row = ((300, 500, "HDMI 1"), (500, 500, "OPTICAL OUT"), (700, 500, "HEADPHONE"))
    assert set(marks(*row, turn=turn)) == {
        ("hdmi", "HDMI 1"),
        ("toslink", "OPTICAL OUT"),
        ("jack-3.5", "HEADPHONE"),
    }


def test_marks_below_each_other_on_a_side_panel_are_jacks_of_their_own() -> None:
    column = ((400, 300, "HDMI 1"), (400, 350, "HDMI 2"), (400, 400, "USB"), (400, 450, "AV IN"))
    assert [mark for _, mark in marks(*column)] == ["HDMI 1", "HDMI 2", "USB", "AV IN"]


@pytest.mark.parametrize(
    ("lines", "mark", "form"),
    [
        (("DIGITAL AUDIO OUT", "(OPTICAL)"), "DIGITAL AUDIO OUT (OPTICAL)", "toslink"),
        (("HDMI 2", "(ARC)"), "HDMI 2 (ARC)", "hdmi"),
        (("DIGITAL OUT", "COAXIAL"), "DIGITAL OUT COAXIAL", "rca-single"),
        (("OPTICAL DIGITAL", "AUDIO OUT"), "OPTICAL DIGITAL AUDIO OUT", "toslink"),
        (("AUDIO IN", "(PC/DVI)"), "AUDIO IN (PC/DVI)", "jack-3.5"),
    ],
)
def test_the_lines_of_one_mark_are_joined(lines: tuple[str, str], mark: str, form: str) -> None:
    jack = only((500, 500, lines[0]), (500, 524, lines[1]))
    assert (jack.marking, jack.form.value) == (mark, form)


def test_arc_beside_its_socket_belongs_to_it_and_not_to_the_next() -> None:
    assert marks((300, 500, "HDMI 1"), (378, 500, "(ARC)"), (560, 500, "HDMI 2")) == [
        ("hdmi", "HDMI 1 (ARC)"),
        ("hdmi", "HDMI 2"),
    ]


def test_two_sockets_that_were_read_as_one_text_are_two_jacks_at_their_own_places() -> None:
    first, second = jacks_in(panel_as((500, 500, "HDMI 1 (ARC) HDMI 2")))
    assert (first.marking, second.marking) == ("HDMI 1 (ARC)", "HDMI 2")
    assert first.x < 500 / 1600 < second.x


@pytest.mark.parametrize(
    "texts",
    [
        ((300, 500, "L"), (340, 500, "R"), (320, 524, "AUDIO OUT")),  # the name below
        ((300, 500, "R"), (340, 500, "L"), (320, 476, "AUDIO OUT")),  # above
        ((250, 500, "L"), (320, 500, "AUDIO OUT"), (390, 500, "R")),  # between
        ((320, 500, "L - AUDIO OUT - R"),),
        ((300, 580, "L"), (340, 580, "R"), (320, 500, "AUDIO OUT")),  # on the other side of the sockets
        ((300, 500, "L"), (300, 560, "R"), (300, 440, "AUDIO OUT")),  # below each other
    ],
)
def test_left_and_right_are_one_pair_with_one_name(texts: tuple[tuple[float, float, str], ...]) -> None:
    jack = only(*texts)
    assert (jack.form, jack.marking) == (Form.RCA_PAIR, "AUDIO OUT")
    assert (jack.direction, jack.signal) == (Direction.OUTPUT, Signal.ANALOG_LINE)
    assert "form" not in jack.doubts


@pytest.mark.parametrize(("left", "right"), [("(L)", "(R)"), ("[L]", "[R]"), ("(L)", "R"), ("(G)", "(D)")])
def test_left_and_right_in_brackets_are_a_pair_too(left: str, right: str) -> None:
    jack = only((300, 500, left), (380, 500, right), (340, 450, "AUDIO OUT"))
    assert (jack.form, jack.marking, jack.doubts) == (Form.RCA_PAIR, "AUDIO OUT", ())


@pytest.mark.parametrize(("one", "other"), [("(L)", "L"), ("(R)", "RIGHT"), ("(G)", "LEFT")])
def test_one_side_twice_is_no_pair(one: str, other: str) -> None:
    jack = only((300, 500, one), (380, 500, other), (340, 450, "AUDIO OUT"))
    assert jack.doubts == ("form",)  # of the mark alone


def test_a_heading_goes_to_each_jack_that_it_is_over() -> None:
    texts = ((400, 476, "AUDIO OUT"), (290, 500, "OPTICAL"), (430, 500, "L"), (510, 500, "R"))
    found = jacks_in(panel_as(*texts))
    assert [(one.form.value, one.marking, one.direction.value) for one in found] == [
        ("toslink", "AUDIO OUT OPTICAL", "output"),
        ("rca-pair", "AUDIO OUT", "output"),
    ]
    assert all("heading" in one.doubts for one in found)


def test_the_heading_of_a_picture_input_makes_its_pair_an_input() -> None:
    texts = ((380, 524, "AV IN"), (300, 500, "VIDEO"), (380, 500, "L"), (460, 500, "R"))
    found = jacks_in(panel_as(*texts))
    assert [(one.form.value, one.marking, one.direction.value) for one in found] == [
        ("rca-single", "AV IN VIDEO", "input"),
        ("rca-pair", "AV IN", "input"),
    ]


def test_numbers_under_a_heading_are_its_sockets() -> None:
    texts = ((440, 476, "HDMI IN"), (300, 500, "1"), (440, 500, "2 (ARC)"), (580, 500, "3"))
    assert [mark for _, mark in marks(*texts)] == ["HDMI IN 1", "HDMI IN 2 (ARC)", "HDMI IN 3"]


def test_a_number_that_was_not_read_does_not_hide_the_others_of_its_heading() -> None:
    heading = (500, 440, "HDMI INPUTS")  # over 1, which was not read, 2 and 3
    assert {mark for _, mark in marks(heading, (500, 500, "2"), (600, 500, "3"))} == {
        "HDMI INPUTS 2",
        "HDMI INPUTS 3",
    }


@pytest.mark.parametrize(
    ("first", "second"), [("VIDEOL-AUDIO-R", ""), ("VIDEO . AUDIO", ""), ("VIDEO", "L-AUDIO-R")]
)
def test_a_picture_socket_is_not_joined_with_the_pair_beside_it(first: str, second: str) -> None:
    texts = [(500.0, 470.0, "AV IN"), (450.0 if second else 500.0, 500.0, first), (540.0, 500.0, second)]
    assert {(form, mark) for form, mark in marks(*(one for one in texts if one[2]))} == {
        ("rca-single", "AV IN VIDEO"),
        ("rca-pair", "AV IN AUDIO"),
    }


@pytest.mark.parametrize(
    "texts",
    [
        ((400.0, 500.0, "R"), (520.0, 500.0, "DVI AUDIO IN L")),
        ((400.0, 500.0, "L DVI AUDIO IN"), (520.0, 500.0, "R")),
    ],
)
def test_a_pair_of_which_one_letter_was_read_with_the_name_is_a_pair(
    texts: tuple[tuple[float, float, str], ...],
) -> None:
    assert marks(*texts) == [("rca-pair", "DVI AUDIO IN")]


def test_a_letter_of_the_next_pair_is_not_taken_for_the_other_side_of_a_name() -> None:
    far = ((400.0, 500.0, "L AUDIO IN"), (900.0, 500.0, "R"))
    assert ("rca-pair", "AUDIO IN") not in marks(*far)


def test_a_heading_of_one_group_says_nothing_of_the_group_beside_it() -> None:
    texts = (
        *((300, 476, "AUDIO OUT"), (265, 500, "L"), (335, 500, "R")),
        *((600, 476, "AUDIO IN"), (565, 500, "L"), (635, 500, "R")),
    )
    assert [(j.marking, j.direction.value) for j in jacks_in(panel_as(*texts))] == [
        ("AUDIO OUT", "output"),
        ("AUDIO IN", "input"),
    ]


def test_two_sockets_in_one_text_under_a_heading_each_have_it() -> None:
    texts = ((500, 476, "DIGITAL AUDIO OUT"), (500, 500, "OPTICAL COAXIAL"))
    assert marks(*texts) == [
        ("toslink", "DIGITAL AUDIO OUT OPTICAL"),
        ("rca-single", "DIGITAL AUDIO OUT COAXIAL"),
    ]


def test_two_marks_that_each_say_their_direction_are_two_jacks() -> None:
    assert marks((500, 500, "AUDIO OUT H/P OUT")) == [("rca-pair", "AUDIO OUT"), ("jack-3.5", "H/P OUT")]


def test_a_heading_whose_other_jacks_were_not_read_is_given_to_the_one_that_was() -> None:
    """L and R are single letters, and often not read."""
    texts = ((450, 476, "AUDIO OUT"), (330, 500, "OPTICAL"))
    found = jacks_in(panel_as(*texts))
    assert [(one.marking, one.direction.value) for one in found] == [
        ("AUDIO OUT OPTICAL", "output"),
        ("AUDIO OUT", "output"),
    ]
    assert "heading" in found[0].doubts


def test_a_heading_over_sockets_whose_numbers_were_not_read_is_doubtful() -> None:
    assert "heading" in only((500, 500, "HDMI INPUTS")).doubts
    assert only((500, 500, "HDMI 2")).doubts == ()


@pytest.mark.parametrize("text", LABELS)
def test_what_else_is_printed_on_a_set_is_no_jack(text: str) -> None:
    assert marks((500, 500, text)) == []


def test_the_rest_of_the_label_leaves_the_jacks_beside_it_as_they_are() -> None:
    texts = [(300.0, 100 + 50.0 * n, text) for n, text in enumerate(LABELS) if text]
    assert marks(*texts, (1100, 400, "OPTICAL OUT")) == [("toslink", "OPTICAL OUT")]


@pytest.mark.parametrize(
    ("read", "mark"),
    [
        ("0PTICAL 0UT", "OPTICAL OUT"),
        ("HDM1 2", "HDMI 2"),
        ("AUDIOOUT", "AUDIO OUT"),
        ("OPTIGAL OUT", "OPTICAL OUT"),
        ("HEADPHONF", "HEADPHONE"),
        ("H0M13", "HDMI3"),
        ("HDMII", "HDMI1"),
        ("HOMI 2 CARC)", "HDMI 2 (ARC)"),
        ("HDMI2 (ARO)", "HDMI2 (ARC)"),
        ("HDMI 1 (@ARCJ", "HDMI 1 (eARC)"),
        ("AV IN Z", "AV IN 2"),
    ],
)
def test_a_letter_that_was_misread_is_mended_and_the_person_is_told(read: str, mark: str) -> None:
    jack = only((500, 500, read))
    assert jack.marking == mark
    assert ("mended" in jack.doubts) == (read != "AUDIOOUT")


@pytest.mark.parametrize("mark", ["EXT I/O", "ANT | EXT"])
def test_a_stroke_between_words_is_no_number(mark: str) -> None:
    assert "1" not in "".join(jack.marking for jack in jacks_in(panel_as((500, 500, mark))))


def test_a_misread_mark_begins_a_jack_of_its_own_on_a_line_of_several() -> None:
    jacks = jacks_in(panel_as((500, 500, "HDMI 1 (eARC)BDMI 2")))
    assert [(jack.marking, "mended" in jack.doubts) for jack in jacks] == [
        ("HDMI 1 (eARC)", False),
        ("HDMI 2", True),
    ]


@pytest.mark.parametrize("read", ["L-AUDIO-8", "LAUDIO-R", "L AUDIO R"])
def test_letters_of_a_pair_that_run_on_or_are_misread_are_still_its_sides(read: str) -> None:
    jack = only((500, 500, read))
    assert (jack.form, jack.marking, jack.doubts) == (
        Form.RCA_PAIR,
        "AUDIO",
        ("mended",) if "8" in read else (),
    )


def test_a_page_of_a_manual_is_told_as_a_page_and_warnings_on_a_panel_are_not() -> None:
    lines = ("The HEADPHONE socket mutes the speakers.", "Connect a soundbar to HDMI 2 (ARC).")
    page = panel_as(*((800, 200 + 60 * n, lines[n % 2]) for n in range(6)))
    assert PanelDraft((), page).flaws == ("page",)
    warned = panel_as(*((800, 200 + 60 * n, text) for n, text in enumerate((*LABELS[:8], "HDMI 1", "USB"))))
    assert PanelDraft((), warned).flaws == ()


def test_what_the_marks_leave_open_stays_open_and_is_told() -> None:
    """A mark without OUT is no output, and AUDIO OUT is printed at a pair and at a small jack alike."""
    assert only((500, 500, "OPTICAL")).direction is Direction.UNCLEAR
    assert "form" in only((500, 500, "AUDIO OUT")).doubts
    (faint,) = jacks_in(panel_as((500, 500, "OPTICAL OUT"), sure=0.6))
    assert faint.doubts == ("faint",)
    assert faint.sure == 0.6


def test_a_pair_of_which_one_letter_was_read_is_told_as_doubtful() -> None:
    jack = only((300, 500, "L"), (330, 476, "AUDIO OUT"))
    assert (jack.form, "side" in jack.doubts) == (Form.RCA_PAIR, True)


def test_the_kind_of_source_tells_of_the_only_hdmi_socket() -> None:
    (jack,) = jacks_in(panel_as((500, 500, "HDMI")), Kind.PLAYER)
    assert jack.direction is Direction.OUTPUT
    (jack,) = jacks_in(panel_as((500, 500, "HDMI")), Kind.TELEVISION)
    assert jack.direction is Direction.INPUT


def test_the_place_is_that_of_the_mark_as_shares_of_the_photo() -> None:
    jack = only((400, 900, "OPTICAL OUT"))
    assert (jack.x, jack.y) == (0.25, 0.75)


def test_of_two_readings_of_one_photo_the_likelier_text_of_each_place_is_kept() -> None:
    whole = panel_as((300, 500, "HDNI 1"), (600, 500, "OPTICAL OUT"), sure=0.8)
    near = panel_as((302, 501, "HDMI 1"), (900, 500, "HEADPHONE"), (601, 501, "OPT"), sure=0.95)
    texts = {piece.text for piece in joined(whole, near).pieces}
    assert texts == {"HDMI 1", "OPTICAL OUT", "HEADPHONE"}


def test_each_closer_look_may_add_a_mark_and_none_takes_a_better_one_away() -> None:
    whole = panel_as((300, 500, "HDMI 1"), (600, 500, "OPTIGAI"))
    clear = panel_as((600, 500, "OPTICAL OUT"), (900, 500, "HE OPHOME"))
    calm = panel_as((600, 500, "0PTCAL 0U"), (900, 500, "HEADPHONE"), sure=0.9)
    marks = {jack.marking for jack in jacks_in(joined(whole, clear, calm))}
    assert marks == {"HDMI 1", "OPTICAL OUT", "HEADPHONE"}


@pytest.mark.parametrize("first", [0, 1])
def test_two_marks_that_one_look_took_for_one_are_two_if_another_look_saw_them_apart(first: int) -> None:
    one = panel_as((500, 500, "SORTIE OPTIQUE SORTIE AUDIO"))
    two = panel_as((415, 500, "SORTIE OPTIQUE"), (590, 500, "SORTIE AUDIO"))
    kept = joined(*((one, two) if first == 0 else (two, one)))
    assert {piece.text for piece in kept.pieces} == {"SORTIE OPTIQUE", "SORTIE AUDIO"}
    half = panel_as((415, 500, "SORTJE OPTQ"), (590, 500, "S0RTE AUIO"))
    kept = joined(*((one, half) if first == 0 else (half, one)))
    assert {piece.text for piece in kept.pieces} == {"SORTIE OPTIQUE SORTIE AUDIO"}


def test_a_photo_full_of_text_gives_no_more_jacks_than_a_panel_has() -> None:
    many = panel_as(*((40 + 80.0 * (n % 20), 20 + 38.0 * (n // 20), "USB") for n in range(600)))
    assert len(jacks_in(many)) == 64
    assert jacks_in(Reading(1600, 1200, ())) == ()
