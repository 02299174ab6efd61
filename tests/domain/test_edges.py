"""Find the edges: limits of a visit, short words of a mark, forms of the digital age."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest

from kb.base import clock
from kb.base.errors import BadInput
from kb.domain import marking
from kb.domain.driver import DriverLimits, drivers_from
from kb.domain.job import JobSet
from kb.domain.kinds import ListOf, fields_of, without_private
from kb.domain.language import ENGLISH, Language, language
from kb.domain.panel import panel_of, reconcile
from kb.domain.plate import Plate
from kb.domain.shortform import jack, marked
from kb.domain.visit import Driver, Finding, Source, Visit, in_future, read_id, visit_from, visits_from
from kb.domain.words import WORKED, Carried, DriverInput, Form, Outcome, Signal, Word, word_kind

LINE = {"form": "rca-pair", "marking": "AUDIO OUT"}


def visit(*jacks: dict[str, Any], on: str = "2024-05-01", **more: Any) -> Visit:
    source = {"make": "Norwell", "model": "NV40-210", **more.pop("source", {})}
    return visit_from({"date": on, "source": source, "jacks": list(jacks), **more})


# -- marks -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(("word", "meaning"), [("SORTIE", {"OUT"}), ("EINGANG", {"IN"}), ("NORWELL", set())])
def test_a_word_of_one_language_is_believed_alone(word: str, meaning: set[str]) -> None:
    assert marking.words_of(word) == meaning


@pytest.mark.parametrize("word", "UT UD IND INN A G D I E P V H OU".split())
def test_a_word_of_a_letter_or_two_that_may_mean_anything_is_not(word: str) -> None:
    assert marking.words_of(word) == set()


def test_an_s_alone_joins_two_words_of_a_compound() -> None:
    assert marking.words_of("KOPFHORERSAUSGANG") == {"HEADPHONE", "OUT"}
    assert marking.words_of("AUDIOXAUSGANG") == set()
    assert marking.words_of("XOUT") == set()


def test_the_sound_of_a_picture_input_of_hdmi_dvi_or_pc_comes_in_at_a_small_jack() -> None:
    for picture in ("HDMI", "DVI", "PC"):
        assert marking.form_of(f"{picture} AUDIO IN") is Form.JACK_35
    assert marking.form_of("AUDIO IN") is None


def test_weak_hum_and_late_sound_half_worked_and_spoilt_sound_or_none_did_not() -> None:
    share = {outcome.value: worked for outcome, worked in WORKED.items()}
    half = dict.fromkeys(("weak", "hum", "delayed"), 0.5)
    assert share == {"carried": 1, **half, "distorted": 0, "silent": 0}


def test_a_language_knows_which_sentences_it_has() -> None:
    for code in ("en", "es"):
        assert language(code).has("marking/output")
        assert not language(code).has("marking/tin-can")


def test_balanced_is_no_hungarian_left_until_another_word_is_hungarian() -> None:
    assert marking.words_of("BAL") == {"BALANCED"}
    assert marking.words_of("BAL JOBB") >= {"RIGHT"}


def test_one_letter_at_the_end_of_a_worn_mark_is_no_word() -> None:
    assert marking.words_of("OPT?CAL J") == {"OPTICAL"}  # not the Hungarian JOBB, right
    assert marking.words_of("OPT?CAL JO") == {"OPTICAL", "RIGHT"}
    assert marking.words_of("OPT?CAL Y") == {"OPTICAL"}  # nor VIDEO


def test_a_word_of_two_languages_is_read_in_that_of_the_rest_of_the_mark() -> None:
    assert "RIGHT" in marking.words_of("SALIDA DER"), "derecha"
    assert "RIGHT" not in marking.words_of("AUSGANG DER ANLAGE"), "the German article"


def test_signs_without_blanks_are_read_word_by_word() -> None:
    mark = marking.read(Form.JACK_35, "光纤输出")
    assert (mark.direction, mark.signal) == ("output", "optical")


def test_two_words_printed_as_one_are_two() -> None:
    assert marking.words_of("VIDEOIN") == {"VIDEO", "IN"}


def test_light_and_numbers_go_into_no_input_that_takes_a_voltage() -> None:
    digital = {one.value for one in DriverInput if not one.analog}
    assert digital >= {"optical", "coaxial"}
    assert not digital & {"line-3.5", "line-rca", "mic"}


def test_only_forms_that_came_with_digital_sound_make_an_old_tube_set_unlikely() -> None:
    # TOSLINK 1983, USB 1996, Bluetooth 1999, HDMI 2002 (from memory); all others are older.
    recent = {form.value for form in Form if form.recent}
    # A VGA jack (1987) and a network jack came to sets with the flat ones (common practice).
    assert recent == {"toslink", "mini-toslink", "hdmi", "bluetooth", "usb", "d-sub", "rj45"}


def test_only_light_loudspeaker_terminals_and_bluetooth_carry_one_signal_whatever_is_printed() -> None:
    always = {form.value for form in Form if form.always}
    assert always == {"toslink", "mini-toslink", "speaker-terminals", "bluetooth"}
    assert {form.value for form in Form if form.light} == {"toslink", "mini-toslink"}


def test_a_word_of_up_to_forty_characters_is_looked_up_and_a_longer_one_is_refused() -> None:
    assert Form.read("rca pair".ljust(40), "form") is Form.RCA_PAIR
    with pytest.raises(BadInput, match="form"):
        Form.read("rca pair".ljust(41), "form")


@pytest.mark.parametrize("typed", ["", "-", " ? "])
def test_signs_without_a_letter_mean_no_word(typed: str) -> None:
    vocabularies = Word.__subclasses__()
    assert Form in vocabularies
    assert [one for one in vocabularies if one.meant(typed) is not None] == []


def test_a_long_wrong_word_gets_the_list_and_a_near_one_the_word_that_was_meant() -> None:
    for value in ("rca pear", "rca pear".ljust(40), "rca pear".ljust(41), 3):
        with pytest.raises(BadInput) as caught:
            Form.read(value, "form")
        assert ("rca-pair (or one of" in str(caught.value)) is (value == "rca pear"), value


# -- visits ----------------------------------------------------------------------------------------


def test_a_mark_that_a_person_decided_is_not_read_again_in_the_language_of_the_panel() -> None:
    swedish = {"form": "speaker-terminals", "marking": "HÖGTALARE"}
    doubted = {"form": "rca-pair", "marking": "AUDIO UT"}
    read, said = visit(swedish, doubted), visit(swedish, {**doubted, "direction": "input"})
    assert read.findings[1].jack.direction == "output"
    assert said.findings[1].jack.direction == "input"


def test_a_jack_read_by_the_panels_language_has_a_signal_if_it_is_an_output() -> None:
    danish = {"form": "speaker-terminals", "marking": "HØJTTALER"}
    found = visit(
        danish, *({"form": "rca-pair", "marking": f"AUDIO {way}"} for way in ("UD", "IND"))
    ).findings
    assert [(one.jack.direction, one.jack.signal) for one in found[1:]] == [
        ("output", "analog-line"),
        ("input", None),
    ]
    assert [one.inferred for one in found[1:]] == [("direction", "signal"), ("direction",)]


@pytest.mark.parametrize(
    ("form", "marking", "signal"),
    [
        ("rca-pair", "", "analog-line"),
        ("jack-6.35", "XQZ", None),  # of headphones or of a line
        ("rca-pair", "DIGITAL", None),
        ("rca-single", "XQZ", None),
    ],
)
def test_an_output_that_a_person_vouches_for_carries_what_its_form_gives(
    form: str, marking: str, signal: str | None
) -> None:
    for direction, given in (("output", signal), ("unclear", None)):
        [found] = visit({"form": form, "marking": marking, "direction": direction}).findings
        assert found.jack.signal == given, direction


def test_a_jack_that_failed_is_counted_in_vain_and_twice_if_a_remedy_was_tried() -> None:
    def in_vain(*outcomes: str, **more: str) -> float:
        [jack] = reconcile([visit({**LINE, "outcome": one, **more}) for one in outcomes]).jacks
        return jack.in_vain

    assert in_vain("silent") == in_vain("distorted") == 1
    assert in_vain("silent", "distorted") == 2
    assert in_vain("silent", format="pcm") == in_vain("silent", setting="sound: fixed") == 2
    assert in_vain("silent", format="bitstream") == 1
    assert [in_vain("silent", works) for works in ("carried", "weak", "hum", "delayed")] == [0, 0, 0, 0]
    assert in_vain("not-tried") == 0


def test_a_set_of_a_year_to_come_is_a_slip_of_the_pen_except_in_a_book() -> None:
    with pytest.raises(BadInput, match="year: saw 2150"):
        visit(LINE, source={"year": 2150})
    data = {"date": "2024-05-01", "source": {"make": "Norwell", "model": "X", "year": 2150}, "jacks": []}
    assert visit_from(data, recorded=True).source.year == 2150


def test_a_visit_of_tomorrow_is_one_beyond_midnight_and_a_later_one_a_slip(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(clock, "today", lambda: date(2026, 3, 4))
    assert not in_future(date(2026, 3, 5))
    assert in_future(date(2026, 3, 6))
    monkeypatch.setattr(clock, "today", lambda: date.max)
    assert not in_future(date.max), "the last day that Python knows"


def test_sixteen_items_are_noted_at_a_jack_and_no_more() -> None:
    some = [f"item {n}" for n in range(16)]
    assert len(visit({**LINE, "items": some}).findings[0].items) == 16
    with pytest.raises(BadInput, match="items"):
        visit({**LINE, "items": [*some, "one more"]})


def test_readings_of_65536_characters_go_with_a_visit_and_no_more() -> None:
    empty = len(visit(LINE, readings={"note": ""}).readings)
    assert len(visit(LINE, readings={"note": "x" * (65_536 - empty)}).readings) == 65_536
    with pytest.raises(BadInput, match="readings"):
        visit(LINE, readings={"note": "x" * (65_537 - empty)})


def test_of_what_had_to_be_set_the_newest_is_shown_first() -> None:
    old = visit({**LINE, "setting": "sound out: fixed", "note": "stiff"}, on="2023-01-02")
    new = visit({**LINE, "setting": "speakers: on", "note": "loose"}, on="2024-01-02")
    [jack] = reconcile([old, new]).jacks
    assert jack.settings == ("speakers: on", "sound out: fixed")
    assert [note.text for note in jack.notes] == ["loose", "stiff"]


# -- what people read ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("chance", "said"),
    [(0.995, "over 99%"), (0.994, "99%"), (0.006, "1%"), (0.005, "under 1%"), (0.5, "50%")],
)
def test_no_chance_is_called_certain(chance: float, said: str) -> None:
    assert ENGLISH.percent(chance) == said


def test_lengths_are_in_metres_unless_feet_are_asked_for() -> None:
    assert language("en").length(3.048) == "3.05 m"
    assert Language("en").length(2.0) == "2 m"
    assert language("es").length(2.5) == "2,5 m"
    assert [language("en", feet=True).length(m) for m in (3.048, 0.0254)] == ["10 ft 0 in", "0 ft 1 in"]


@pytest.mark.parametrize(("style", "said"), [("a4", "4 December 2026"), ("letter", "December 4, 2026")])
def test_a_day_is_said_in_words(style: str, said: str) -> None:
    assert ENGLISH.day(date(2026, 12, 4), style) == said
    assert ENGLISH.day(date(2026, 1, 4), "a4") == "4 January 2026"


def test_words_of_each_kind_have_a_key_of_their_own() -> None:
    assert [word_kind(one) for one in (DriverInput, Form)] == ["driver-input", "form"]


# -- what is kept from others, and what a plate may say --------------------------------------------


def test_who_was_there_for_which_job_and_all_free_words_are_private() -> None:
    private = {one.key for of in (Visit, Finding, Driver, Source) for one in fields_of(of) if one.private}
    assert private == {"by", "job", "note", "readings", "case", "name"}
    told = visit(
        {**LINE, "note": "stiff", "setting": "fixed"}, by="RT", job="J1", note="n", driver={"name": "own"}
    )
    bare = without_private(told)
    assert (bare.by, bare.job, bare.note, bare.driver) == ("", "", "", None)
    assert without_private(told.findings[0]).note == ""
    assert without_private(told.findings[0]).setting == "fixed"
    kept = without_private(visit(LINE, driver={"name": "own", "inputs": ["mic"]})).driver
    assert kept == Driver(inputs=(DriverInput.MIC,))


PLATE = {"name": "pad", "rated_current_a_rms": 1.0, "max_voltage_v_rms": 2.0}


@pytest.mark.parametrize(
    ("key", "low", "high"),
    [
        ("rated_current_a_rms", 0.01, 100),
        ("max_voltage_v_rms", 0.1, 400),
        ("min_resistance_ohm", 0, 100),
    ],
)
def test_the_plate_of_a_driver_is_read_within_its_bounds(key: str, low: float, high: float) -> None:
    for edge, beyond in ((low, low - 0.001), (high, high + 0.1)):
        assert DriverLimits(**{**PLATE, key: edge})  # type: ignore[arg-type]
        with pytest.raises(BadInput, match="driver pad, "):
            DriverLimits(**{**PLATE, key: beyond})  # type: ignore[arg-type]


def test_a_plate_without_a_least_resistance_asks_for_none() -> None:
    bare = drivers_from({"driver": [{**PLATE, "source": "its plate"}]})[0]
    assert (bare.min_resistance_ohm, bare.inputs) == (0, ())


def test_trials_are_counted_by_their_outcome() -> None:
    seen = [visit({**LINE, "outcome": one}) for one in ("silent", "silent", "hum", "carried")]
    [found] = reconcile(seen).jacks
    assert [found.tried(*some) for some in ((Outcome.SILENT,), (Outcome.SILENT, Outcome.HUM), ())] == [
        2,
        3,
        0,
    ]


def test_free_is_not_taken_in_the_short_form_either() -> None:
    assert [jack(f"opt:{word}", "jack 1").taken for word in ("free", "taken", "ok")] == [False, True, None]


def test_what_a_mark_was_read_to_mean_counts_as_said_once_somebody_of_the_same_basis_says_it() -> None:
    def read(*visits: Visit) -> set[str]:
        [found] = reconcile(visits).jacks
        return set(found.inferred)

    by_mark, said = visit(LINE), visit({**LINE, "direction": "output", "signal": "analog-line"})
    told = visit({**LINE, "direction": "output"}, basis="told")
    assert read(by_mark) == read(by_mark, by_mark) == {"direction", "signal"}
    assert read(by_mark, told) == read(told, by_mark) == {"direction", "signal"}, "hearsay is weaker"
    assert read(by_mark, said) == read(said, by_mark) == read(said) == set()


def test_one_socket_gives_arc_and_earc_and_nothing_else() -> None:
    panel = panel_of(visit({"form": "hdmi", "marking": "HDMI 1 (ARC)"}, LINE))
    assert panel.has(Signal.ARC)
    assert panel.has(Signal.EARC)
    assert not panel.has(Signal.OPTICAL)
    assert [one.taken for one in panel.taken([Signal.EARC]).jacks] == [True, False]
    assert [one.taken for one in panel.taken([Signal.OPTICAL]).jacks] == [False, False]


def test_a_level_is_read_from_the_mark_unless_somebody_says_another() -> None:
    fixed = {**LINE, "marking": "AUDIO OUT (FIXED)"}
    for said, level, inferred in (({}, "fixed", True), ({"level": "variable"}, "variable", False)):
        [found] = visit({**fixed, **said}).findings
        assert (found.jack.level, "level" in found.inferred) == (level, inferred)
    [found] = visit(LINE).findings
    assert (found.jack.level, "level" in found.inferred) == ("unknown", False)


@pytest.mark.parametrize(
    ("mark", "form"),
    [("VIDEO OUT", Form.RCA_SINGLE), ("AUDIO VIDEO OUT", None), ("OUT", None), ("", None), ("XQZ", None)],
)
def test_a_mark_of_a_picture_alone_is_at_a_single_rca_jack(mark: str, form: Form | None) -> None:
    assert marking.form_of(mark) is form


def test_a_list_of_words_is_a_list_and_no_longer_than_there_are_words() -> None:
    every = [one.value for one in DriverInput]
    assert list(DriverInput.read_all(every, "inputs")) == list(DriverInput)
    for wrong in ("mic", {"mic": 1}, [*every, "mic"], 3):
        with pytest.raises(BadInput, match="inputs"):
            DriverInput.read_all(wrong, "inputs")


# -- what people read of a finding ------------------------------------------------------------------


@pytest.mark.parametrize(("by", "who"), [("RT", "RT, 2024-05-01"), ("", "2024-05-01")])
def test_words_about_a_jack_are_on_one_line_with_name_and_date(by: str, who: str) -> None:
    seen = visit({**LINE, "note": "no light,\n shutter stuck"}, by=by)
    (note,) = reconcile([seen]).jacks[0].notes
    assert note.signed == f"no light, shutter stuck ({who})"


@pytest.mark.parametrize(
    ("told", "tried"),
    [
        ({"outcome": "silent", "format": "pcm"}, True),
        ({"outcome": "distorted", "format": "pcm"}, True),
        ({"outcome": "weak", "format": "pcm"}, False),
        ({"outcome": "silent", "format": "bitstream"}, False),
        ({"outcome": "silent", "setting": "digital output: PCM"}, True),
        ({"outcome": "weak", "setting": "volume"}, True),
        ({"outcome": "silent", "setting": " "}, False),
    ],
)
def test_a_remedy_was_tried_if_something_was_set_or_a_failing_jack_gave_pcm(
    told: dict[str, Any], tried: bool
) -> None:
    optical = {"form": "toslink", "marking": "OPTICAL OUT", "signal": "optical"}
    assert visit({**optical, **told}).findings[0].remedied is tried


@pytest.mark.parametrize(
    ("told", "why"),
    [
        ({"form": "rca-pair", "marking": "WOBBLE", "direction": "output"}, "as you say"),
        ({"form": "rca-pair", "marking": "AUDIO OUT"}, "marked as an output"),
        ({"form": "toslink", "marking": "", "outcome": "carried"}, "sound"),
        ({"form": "rca-pair", "marking": "WOBBLE", "outcome": "carried"}, "sound"),
    ],
)
def test_people_are_told_how_it_is_known_which_way_the_sound_goes(told: dict[str, Any], why: str) -> None:
    assert why in visit(told).findings[0].why()


def test_a_plate_of_10_a_and_20_v_peak_means_7_1_a_and_14_1_v_rms_of_a_sine() -> None:
    assert [round(Plate.PEAK.rms(number), 1) for number in (10, 20)] == [7.1, 14.1]
    assert Plate.RMS.rms(10) == 10


def test_a_book_has_room_for_a_hundred_inputs_of_a_driver_and_keeps_each_once() -> None:
    inputs = next(one.kind for one in fields_of(Driver) if one.name == "inputs")
    assert isinstance(inputs, ListOf)
    assert (inputs.most, inputs.distinct) == (100, True)


# -- small facts ------------------------------------------------------------------------------------


def test_what_an_input_takes_is_a_voltage_or_numbers_or_neither() -> None:
    # a DAC is needed from numbers to a voltage; sound in the air, radio and the mains are neither
    assert {one for one in Carried if one.digital} == {
        Carried.OPTICAL, Carried.COAXIAL, Carried.ARC, Carried.EARC, Carried.HDMI, Carried.USB
    }  # fmt: skip
    assert not {one for one in Carried if one.digital and one.analog}
    assert {Carried.WIRELESS, Carried.ACOUSTIC, Carried.MAINS} == {
        one for one in Carried if not (one.digital or one.analog or one.signal is Signal.SPEAKER_LEVEL)
    }


def test_a_driver_takes_what_its_sockets_take() -> None:
    line = DriverInput("line-3.5")
    assert [line.accepts(signal) for signal in (Signal.ANALOG_LINE, Signal.OPTICAL)] == [True, False]
    optical = DriverInput("optical")
    assert [optical.accepts(signal) for signal in (Signal.ANALOG_LINE, Signal.OPTICAL)] == [False, True]
    assert (line.analog, optical.analog) == (True, False)


def test_words_that_nobody_knows_are_told_and_numbers_are_none() -> None:
    assert marking.unread_words("AUDIO OUT 3") == set()
    assert marking.unread_words("Zorbl OUT") == {"ZORBL"}


def test_at_a_player_the_hdmi_socket_is_an_output_because_of_the_kind_of_source() -> None:
    player = {"kind": "player"}
    [told] = visit({"form": "hdmi", "marking": "HDMI"}, source=player).findings
    assert told.why() == "the kind of source tells"
    [said] = visit({"form": "hdmi", "marking": "HDMI", "direction": "output"}, source=player).findings
    assert said.why() == "as you say"


def test_a_visit_alone_is_one_visit_and_each_of_several_is_named_by_its_number() -> None:
    good = {"date": "2024-05-01", "source": {"make": "Norwell", "model": "NV40-210"}, "jacks": [LINE]}
    assert visits_from(good) == [visit_from(good)] == visits_from([good])
    bad = {**good, "date": "soon"}
    with pytest.raises(BadInput) as alone:
        visits_from(bad)
    with pytest.raises(BadInput) as second:
        visits_from([good, bad], "day.json")
    assert str(alone.value).startswith("visit, date: ")
    assert str(second.value).startswith("day.json, visit 2, date: ")
    assert str(second.value).count("visit 2") == 1


def test_an_id_is_read_in_its_usual_form_alone() -> None:
    usual = "0190a3b4-5c6d-7e8f-9012-3456789abcde"
    assert read_id(usual, "id") == usual
    assert read_id(usual.upper(), "id") == usual
    with pytest.raises(BadInput, match="id"):
        read_id("1", "id")


def test_a_jack_whose_mark_was_asked_for_is_the_jack_with_that_mark() -> None:
    said = {"form": "toslink", "marking": "DIGITAL OUT", "signal": "optical"}
    assert marked("opt", "DIGITAL OUT") == said
    assert marked("rca", "") == {"form": "rca-pair", "marking": ""}
    with pytest.raises(BadInput, match="jack"):
        marked("antenna dish", "OUT")


def test_a_set_of_a_job_is_a_source_as_far_as_it_is_known() -> None:
    known = JobSet(make="Norwell", model="NV40-210", year=2014, size_in=40.0)
    assert known.source == Source("Norwell", "NV40-210", known.kind, None, 2014, 40.0)


def test_numbers_have_the_point_of_the_language() -> None:
    assert (ENGLISH.shown(2.5), language("es").shown(2.5)) == ("2.5", "2,5")
    assert (ENGLISH.shown(1e-05), ENGLISH.shown(2.0)) == ("1e-05", "2")
