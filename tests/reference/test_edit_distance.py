"""Our edit distances against general-purpose libraries (rapidfuzz and jellyfish, both MIT)."""

from __future__ import annotations

import jellyfish
from hypothesis import given, settings
from hypothesis import strategies as st
from rapidfuzz.distance import OSA

from kb.index.edit_distance import PLAIN, Near, plain_distance, weighted_distance

CODES = st.text(alphabet="AB01", max_size=12)
LONG = st.text(alphabet="ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789", max_size=40)


@settings(max_examples=150, deadline=None)
@given(CODES, CODES)
def test_the_plain_distance_is_optimal_string_alignment_as_rapidfuzz_counts_it(one: str, other: str) -> None:
    assert plain_distance(one, other) == OSA.distance(one, other)
    assert Near(one).distance(other) == OSA.distance(one, other)


@settings(max_examples=100, deadline=None)
@given(LONG, LONG)
def test_it_holds_for_codes_of_forty_characters(one: str, other: str) -> None:
    assert plain_distance(one, other) == OSA.distance(one, other)


@settings(max_examples=150, deadline=None)
@given(CODES, CODES)
def test_the_weighted_distance_with_all_weights_one_is_the_plain_one(one: str, other: str) -> None:
    assert weighted_distance(one, other, PLAIN) == OSA.distance(one, other)


@settings(max_examples=100, deadline=None)
@given(CODES, CODES)
def test_it_lies_between_full_damerau_levenshtein_and_levenshtein(one: str, other: str) -> None:
    distance = plain_distance(one, other)
    assert jellyfish.damerau_levenshtein_distance(one, other) <= distance
    assert distance <= jellyfish.levenshtein_distance(one, other)


@settings(max_examples=100, deadline=None)
@given(CODES, CODES)
def test_a_label_never_costs_more_than_plain_slips(one: str, other: str) -> None:
    assert 0 <= weighted_distance(one, other) <= OSA.distance(one, other) + 1e-9


def test_a_look_alike_costs_less_than_a_slip_and_an_unreadable_character_least() -> None:
    printed = "NV40210"
    unreadable, alike = weighted_distance("NV4?210", printed), weighted_distance("NV4O210", printed)
    assert 0 < unreadable < alike < weighted_distance("NV4X210", printed) == 1
