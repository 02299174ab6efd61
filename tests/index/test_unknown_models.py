"""No match is better than a wrong one stated with confidence."""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator

import pytest
from damage import slip
from hypothesis import given
from hypothesis import strategies as st

from kb.index import Index, SetEntry
from kb.index.edit_distance import plain_distance, slips
from kb.index.normalize import fold, normalise
from kb.index.scoring import NEAR_FROM
from kb.index.suggest import learn
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
    for _ in range(800):
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
    assert boasts <= unknown * 0.12


@given(st.text(alphabet="WXYZ79", min_size=6, max_size=9))
def test_a_number_unlike_every_set_of_the_book_is_never_called_near(
    plain: tuple[Index, list[str]], code: str
) -> None:
    index, models = plain
    if min(plain_distance(fold(code), fold(model)) for model in models) <= 4:
        return
    answer = index.find(code)
    assert all(m.how == "family" and m.score < NEAR_FROM for m in answer.matches)


@pytest.fixture(scope="module")
def plain(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Index, list[str]]]:
    entries = region(200)
    index = Index.open(tmp_path_factory.mktemp("plain") / "index")
    index.rebuild(entries, 1)
    yield index, [normalise(entry.model) for entry in entries]
    index.close()


def test_a_lost_digit_is_less_sure_than_a_slip_among_letters(book: Book) -> None:
    index = book(sets("Norwell: NV40-210", "Ostrava: OX200"))
    digit, letter, swap = (
        index.find(f"norwell {code}").matches[0] for code in ("nv4021", "nvk40210", "vn40210")
    )
    assert {digit.how, letter.how, swap.how} == {"near"}
    assert digit.score < letter.score < swap.score
    assert letter.score > 0.8


@pytest.mark.parametrize("read", ["norwell nv40-21o", "norwell nv4?-210", "n0rwell nv40-210"])
def test_what_only_a_worn_label_explains_is_sure(book: Book, read: str) -> None:
    assert book(sets("Norwell: NV40-210", "Ostrava: OX200")).find(read).matches[0].score > 0.85


@pytest.mark.parametrize(
    "read", ["norwell nv40-??0", "norwell nv40-210eu", "norwell nv40-2100", "nv40-21", "norwel nv4?-2?0"]
)
def test_what_may_as_well_be_another_set_is_not_stated_with_confidence(book: Book, read: str) -> None:
    match = book(sets("Norwell: NV40-210B", "Norwell: NV40-210", "Ostrava: OX200")).find(read).matches[0]
    assert match.model.startswith("NV40-210")
    assert match.score < 0.8


@pytest.mark.parametrize(
    "read", ["Model: ON-65F65/A", "norwell 65F65_N", "norwell 65F65/A", "norwell in-65F65"]
)
def test_letters_joined_to_a_number_are_part_of_it(book: Book, read: str) -> None:
    """Not "on", "a" and "in", words that say nothing, and not the N of Norwell."""
    assert all(
        match.score < 0.5 for match in book(sets("Norwell: 65F65", "Ostrava: OX200")).find(read).matches
    )


def test_a_full_number_is_less_sure_where_longer_ones_begin_with_it(book: Book) -> None:
    alone = book(sets("Norwell: NV40-210", "Ostrava: OX200")).find("norwell nv40-210").matches[0]
    among = book(sets("Norwell: NV40-210", "Norwell: NV40-210XA")).find("norwell nv40-210").matches[0]
    assert (alone.how, among.how) == ("exact", "exact")
    assert alone.score > 0.95 > among.score > 0.8


@given(st.text(alphabet="ANV0127", max_size=8), st.text(alphabet="ANV0127?", max_size=8))
def test_the_slips_between_two_codes_turn_one_into_the_other(printed: str, read: str) -> None:
    found = slips(read, printed)
    assert sum(len(slip.read) - len(slip.printed) for slip in found) == len(read) - len(printed)
    assert (not found) == (read == printed)
    ends = sum(max(len(slip.read), len(slip.printed)) - 1 for slip in found if slip.end)
    assert len(found) + ends >= plain_distance(read, printed)
    assert all(set(slip.read) <= set(read) and set(slip.printed) <= set(printed) for slip in found)


@pytest.mark.parametrize(
    ("read", "printed", "expected"),
    [
        ("NV4O21", "NV4021XA", [("0", "O", False), ("XA", "", True)]),
        ("VN40", "NV40", [("NV", "VN", False)]),
        ("NV40EU", "NV40", [("", "EU", True)]),
        ("NV?0", "NV40", [("4", "?", False)]),
        ("NVK40", "NV40", [("", "K", False)]),
        ("NV40", "NV40", []),
    ],
)
def test_what_went_wrong_is_told_apart(
    read: str, printed: str, expected: list[tuple[str, str, bool]]
) -> None:
    assert [tuple(slip) for slip in slips(read, printed)] == expected


def test_a_stated_score_keeps_the_order_of_the_chances_and_is_lower_in_the_middle() -> None:
    from kb.index.scoring import _stated

    chances = [n / 200 for n in range(201)]
    scores = [_stated(chance) for chance in chances]
    assert scores == sorted(scores)
    assert (scores[0], scores[-1]) == (0.0, 1.0)
    assert _stated(0.5) < 0.5
    assert _stated(0.8) < 0.8
