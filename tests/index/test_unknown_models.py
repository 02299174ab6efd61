"""No match is better than a wrong one stated with confidence."""

from __future__ import annotations

import random
from collections.abc import Callable

import pytest
from damage import slip

from kb.index import Index, SetEntry
from kb.index.family import learn
from tests.index.conftest import region, sets

Book = Callable[..., Index]


@pytest.mark.parametrize("query", ["Norwell NV42-210", "nv42-210", "NV49-210 norwell", "nv4z2i0"])
def test_a_sister_of_another_size_is_family_and_not_sure(book: Book, query: str) -> None:
    matches = book(sets("Norwell: NV40-210", "Norwell: NV46-210", "Ostrava: OX200")).find(query).matches
    assert {m.model for m in matches} == {"NV40-210", "NV46-210"}
    assert all(m.how == "family" and m.score < 0.5 for m in matches)


def test_a_sister_of_both_other_size_digits_is_family_too(book: Book) -> None:
    matches = book(sets("Norwell: NV40-210", "Norwell: NV46-210")).find("norwell nv55-210").matches
    assert {m.model for m in matches} == {"NV40-210", "NV46-210"}
    assert {m.how for m in matches} == {"family"}


def test_a_wholly_unknown_number_of_a_known_series_gives_its_siblings_same_series_first(book: Book) -> None:
    index = book(sets("Norwell: NV40-210", "Norwell: NV55-210", "Norwell: NV40-330", "Norwell: NV46-387"))
    matches = index.find("norwell nv65-339").matches
    assert {m.how for m in matches} == {"family"}
    assert matches[0].model == "NV40-330"


def test_a_letter_that_varies_within_the_family_is_no_slip(book: Book) -> None:
    index = book(sets("Norwell: NV40C210", "Norwell: NV40D210", "Norwell: NV40F210"))
    assert {(m.how, m.score < 0.5) for m in index.find("NV40H210").matches} == {("family", True)}


def test_nothing_close_is_said_plainly(book: Book) -> None:
    answer = book(sets("Norwell: NV40-210", "Ostrava: OX200")).find("zk7731")
    assert answer.matches == ()


def test_did_you_mean_names_what_was_too_far_to_claim(book: Book) -> None:
    answer = book(sets("Norwell: NV40-210", "Ostrava: OX200")).find("norwell nv4x-2a1y")
    assert answer.matches == ()
    assert answer.did_you_mean == (("Norwell", "NV40-210"),)


def test_roles_of_the_places_are_learned_from_the_members() -> None:
    family = learn(["NV40C210", "NV46D210", "NV55C330", "NV32D118"])
    assert family.roles[2:5] == ("size", "size", "year")
    assert family.varies[:2] == (False, False)
    same_series, other_series = family.apart("NV65C210", "NV40C210"), family.apart("NV65C210", "NV40C330")
    assert same_series < other_series


def test_scores_of_near_come_true_at_least_as_often_as_they_say(book: Book) -> None:
    """A quarter of the sets is unknown to the book; every query has one slip, half of them a make."""
    everything = region(3000)
    draw = random.Random(11)
    hidden = set(draw.sample(range(3000), 750))
    index = book([entry for at, entry in enumerate(everything) if at not in hidden])
    reader = index.reader()
    said: dict[int, list[tuple[float, bool]]] = {}
    boasts = unknown = 0
    for _ in range(1200):
        at = draw.randrange(3000)
        entry: SetEntry = everything[at]
        code = slip(entry.model.replace("-", ""), draw)
        matches = reader.find(f"{entry.make} {code}" if draw.random() < 0.5 else code).matches
        unknown += at in hidden
        if matches and matches[0].how == "near":
            said.setdefault(int(matches[0].score * 5), []).append(
                (matches[0].score, matches[0].key == entry.key)
            )
            boasts += at in hidden and matches[0].score >= 0.8
    reader.close()
    for pairs in said.values():
        if len(pairs) >= 40:
            predicted = sum(score for score, _ in pairs) / len(pairs)
            observed = sum(good for _, good in pairs) / len(pairs)
            assert observed > predicted - 0.15, (predicted, observed, len(pairs))
    assert boasts <= unknown * 0.15
