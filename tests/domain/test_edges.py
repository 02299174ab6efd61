"""Find the edges: limits of a visit, short words of a mark, forms of the digital age."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest

from kb.base import clock
from kb.base.errors import BadInput
from kb.domain import marking
from kb.domain.language import ENGLISH, Language, language
from kb.domain.panel import reconcile
from kb.domain.visit import Visit, in_future, visit_from
from kb.domain.words import DriverInput, Form

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
    assert recent >= {"toslink", "mini-toslink", "hdmi", "bluetooth", "usb"}
    assert not recent & {"rca-pair", "rca-single", "scart", "din-5", "jack-3.5", "jack-6.35", "antenna"}


def test_a_word_of_up_to_forty_characters_is_looked_up_and_a_longer_one_is_refused() -> None:
    assert Form.read("rca pair".ljust(40), "form") is Form.RCA_PAIR
    with pytest.raises(BadInput, match="form"):
        Form.read("rca pair".ljust(41), "form")


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
