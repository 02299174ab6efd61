"""Marks of many languages are read as an installer reads them, and what is not read is asked."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kb.base.text import plain_capitals
from kb.domain.mark_words import ROWS, WORDS
from kb.domain.marking import read, words_of
from kb.domain.visit import visit_from
from kb.domain.words import Colour, Direction, Form, Signal
from tests.domain.marks_seen import SEEN, Seen

#: Marks of the table that the reader leaves unclear although an installer would make something of them: two
#: words fit what is left, and asking costs less than a wrong guess.
ASKED = {"PHON..", "AUDIO I?"}


@pytest.mark.parametrize("seen", SEEN, ids=lambda seen: f"{seen.language}: {seen.form} {seen.marking}")
def test_a_mark_means_what_an_installer_reads_in_it(seen: Seen) -> None:
    reading = read(Form(seen.form), seen.marking, Colour(seen.colour) if seen.colour else None)
    if seen.marking in ASKED:
        assert reading.direction is Direction.UNCLEAR
        return
    assert reading.direction == seen.direction, reading.why()
    if reading.direction is not Direction.INPUT:
        assert (reading.signal or "") == seen.signal, reading.why()


def test_the_table_has_more_than_eighty_marks_of_more_than_twelve_languages() -> None:
    assert len(SEEN) > 80
    assert len({seen.language for seen in SEEN} - {"worn"}) > 12
    assert all(seen.source for seen in SEEN)


CONSONANTS = st.text("BCDFGHJKLMNPQRSTVWXZ", min_size=5, max_size=12)


@given(st.sampled_from(["AUDIO", "AV", "TON", "SON"]), CONSONANTS)
def test_a_word_that_is_not_known_beside_audio_never_makes_an_input(sound: str, other: str) -> None:
    if not words_of(other):
        assert read(Form.RCA_PAIR, f"{sound} {other}").direction is not Direction.INPUT


@given(CONSONANTS)
def test_out_beside_a_word_that_is_not_known_is_no_sound_yet_at_a_small_jack(other: str) -> None:
    reading = read(Form.JACK_35, f"{other} OUT")
    if not words_of(other):
        assert (reading.direction, reading.signal) == (Direction.OUTPUT, None)


def test_each_word_is_written_as_marks_are_compared_and_has_a_source() -> None:
    for row in WORDS:
        assert all(plain_capitals(word) == word for word in row.words.split() if word.isascii()), row
        assert all(plain_capitals(word) in ROWS for word in row.words.split()), row
        assert row.source
        assert row.meaning == plain_capitals(row.meaning)


def test_no_word_means_two_things_in_one_language() -> None:
    told: dict[tuple[str, str], set[str]] = {}
    for row in WORDS:
        for word in row.words.split():
            told.setdefault((row.language, word), set()).add(row.meaning)
    assert {key: found for key, found in told.items() if len(found) > 1} == {}


def test_no_word_is_both_out_and_in_whatever_the_language() -> None:
    out, inward = (
        {word for row in WORDS if row.meaning == meaning for word in row.words.split()}
        for meaning in ("OUT", "IN")
    )
    assert not out & inward


@pytest.mark.parametrize(
    ("marking", "sides"),
    [("SORTIE AUDIO G", "LEFT"), ("SALIDA D", "RIGHT"), ("LJUD UT V", "LEFT"), ("AUDIO G/D", "LEFT RIGHT"),
     ("VÝSTUP P", "RIGHT"), ("音声出力 左", "LEFT"), ("AUDIO OUT D", "")],
)  # fmt: skip
def test_a_letter_for_a_side_is_believed_next_to_a_word_of_its_language(marking: str, sides: str) -> None:
    assert words_of(marking) & {"LEFT", "RIGHT"} == set(sides.split())


def test_a_jack_for_headphones_is_one_however_it_is_written() -> None:
    for marking in ("H-PHONE", "H/PHONE", "H.P.", "HPHONE", "PHONE", "HEADPHONES OUT", "CUFFIE", "☊"):
        assert read(Form.JACK_35, marking).signal is Signal.HEADPHONE, marking


def directions(*marks: str) -> list[str]:
    jacks = [{"form": "rca-pair", "marking": mark} for mark in marks]
    source = {"make": "Norwell", "model": "NV40-210"}
    found = visit_from({"date": "2026-03-04", "source": source, "jacks": jacks}).findings
    return [finding.jack.direction.value for finding in found]


def test_short_words_are_read_in_the_language_of_the_panels_other_marks() -> None:
    assert directions("AUDIO UT") == ["unclear"]
    assert directions("HÖGTALARE", "AUDIO UT") == ["output", "output"]
    assert directions("AUDIO UD", "HØJTTALER") == ["output", "output"]
    assert directions("KOPFHÖRER", "AUDIO UT") == ["output", "unclear"], "no German word"


def test_a_jack_that_is_read_by_the_other_marks_says_so() -> None:
    jacks = [{"form": "rca-pair", "marking": mark} for mark in ("HÖGTALARE", "AUDIO UT")]
    source = {"make": "Norwell", "model": "NV40-210"}
    [_, found] = visit_from({"date": "2026-03-04", "source": source, "jacks": jacks}).findings
    assert found.why() == "in the language of the other marks"
