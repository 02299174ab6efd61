"""What a query may say, and what a mistake in it gets."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from contextlib import suppress

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kb.base.errors import BadInput
from kb.index import Index
from kb.index.query import MAX_QUERY, parse
from tests.index.conftest import region, sets

Book = Callable[..., Index]


@pytest.mark.parametrize(
    ("query", "message"),
    [
        ("", "a make, a model or words"),
        ("  !!  ", "a make, a model or words"),
        ("x" * 601, "saw 601 characters, expected at most 600"),
        ('"sound menu', 'a second " to close the phrase'),
        ("year:soon", "a year or a range, such as 2012, 2010-2014"),
        ("year:2014-2010", "the earlier year first: 2010-2014"),
        ("signal:optcal", "query, signal: saw 'optcal', expected optical"),
        ("outcome:purple", "query, outcome"),
        ("kind:fridge", "query, kind"),
        ("make:", "make:norwell"),
        ("shade:red", "one of the fields make, kind, year, size, signal, outcome"),
        ("a " * 91, "at most 90"),
    ],
)
def test_a_mistake_in_the_query_gets_one_plain_message(book: Book, query: str, message: str) -> None:
    with pytest.raises(BadInput) as caught:
        book(sets("Norwell: NV40-210")).find(query)
    assert message in str(caught.value)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("text", "years"),
    [
        ("2012", (2012, 2012)),
        ("2010-2014", (2010, 2014)),
        ("2010..2014", (2010, 2014)),
        ("2010-", (2010, 9999)),
        ("-2014", (0, 2014)),
    ],
)
def test_years_are_given_as_one_or_a_range_open_at_either_end(text: str, years: tuple[int, int]) -> None:
    assert parse(f"year:{text}").filters.years == years


@given(st.text(max_size=MAX_QUERY))
def test_no_text_whatever_does_more_than_find_nothing_or_be_refused(small: Index, text: str) -> None:
    try:
        answer = small.find(text)
    except BadInput:
        return
    assert answer.query == text
    assert all(0 <= m.score <= 1 for m in answer.matches)
    assert [m.score for m in answer.matches if m.how == "near"] == sorted(
        (m.score for m in answer.matches if m.how == "near"), reverse=True
    )


@pytest.fixture(scope="module")
def small(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Index]:
    with Index.open(tmp_path_factory.mktemp("small") / "index") as index:
        index.rebuild(region(300), 1)
        yield index


@pytest.mark.parametrize(
    "query",
    [
        "?" * 200,
        "? " * 20 + "4",
        "n?v?4?0?2?1?0",
        "0" * 200,
        "OO00QQDD" * 20,
        "a1 " * 24,
        "nv40 " * 20,
        "'; DROP TABLE sets; --",
        "../../../etc/passwd1",
        "%%%1___",
        "[bold]nv40[/bold]",
        "\x1b[31mnv40\x00",
        "*?*?*?1",
        "((((((((1",
        "AND OR NOT 1",
    ],
)
def test_hostile_queries_stay_bounded(small: Index, query: str) -> None:
    start = time.process_time()
    with suppress(BadInput):
        small.find(query)
    assert time.process_time() - start < 5  # a blow-up would take minutes


def test_a_name_with_a_colon_in_it_is_no_field() -> None:
    assert parse("k:star ks-40").tokens == ("k:star", "ks-40")
