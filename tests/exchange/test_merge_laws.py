"""Books that merge end equal: in any order, any number of times, by any way round."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kb.base.errors import BadInput
from kb.domain.visit import Visit, visit_from
from kb.store import Store
from kb.store.content_id import sealed, sealed_id
from kb.store.facts import AliasFact, Fact, NoteFact, VisitFact, WithdrawalFact
from tests.conftest import LONG
from tests.exchange.helpers import facts, facts_of, standing, visit_data
from tests.store.random_visits import any_visit

EXAMPLES = settings(max_examples=150 if LONG else 8)
KEYS = st.sampled_from([f"NORWELL/NV{n}" for n in range(4)])


@st.composite
def some_facts(draw: st.DrawFn) -> list[Fact]:
    """Facts as several books could have made them, about each other and about what nobody has yet."""
    made: list[Fact] = []
    ids: list[str] = ["01234567-89ab-8def-8123-456789abcdef"]
    for number, visit in enumerate(draw(st.lists(any_visit, min_size=1, max_size=5))):
        from kb.store.content_id import without_private

        earlier = tuple(draw(st.lists(st.sampled_from(ids), max_size=2, unique=True)))
        nonce = f"{number:032x}"
        one, _ = sealed(replace(without_private(visit), supersedes=earlier), nonce)
        made.append(VisitFact(one, nonce))
        ids.append(one.id)
    for pair in draw(st.lists(st.tuples(KEYS, KEYS), max_size=4)):
        if pair[0] != pair[1]:
            made.append(AliasFact(sealed_id("alias", list(pair)), *pair))
            ids.append(made[-1].id)
    turns = st.tuples(st.sampled_from(ids), st.integers(1, 3), st.booleans())
    said = draw(st.lists(turns, max_size=5))
    made += [WithdrawalFact(sealed_id("withdrawal", list(one)), *one) for one in said]
    places = st.tuples(st.sampled_from(ids), st.sampled_from([None, 0]), st.just("a note"))
    notes = draw(st.lists(places, max_size=2))
    made += [NoteFact(sealed_id("note", list(one)), *one) for one in notes]
    return list({one.id: one for one in made}.values())


def merged(path: Path, *bundles: list[Fact]) -> tuple[list[str], dict[str, Any]]:
    with Store.open(path) as store:
        for bundle in bundles:
            store.merge(bundle, outside=True)
        return facts_of(store), standing(store)


@EXAMPLES
@given(every=some_facts(), data=st.data())
def test_order_repetition_and_grouping_do_not_matter(
    tmp_path_factory: pytest.TempPathFactory, every: list[Fact], data: st.DataObject
) -> None:
    """Commutative, associative, idempotent: the laws of a join semilattice."""
    folder = tmp_path_factory.mktemp("laws")
    cut = data.draw(st.integers(0, len(every)))
    one, two = every[:cut], every[cut:]
    shuffled = data.draw(st.permutations(every))
    whole = merged(folder / "a", every)
    assert merged(folder / "b", two, one) == whole
    assert merged(folder / "c", one, two, one, every) == whole
    assert merged(folder / "d", *[[fact] for fact in shuffled]) == whole


@EXAMPLES
@given(first=some_facts(), second=some_facts(), third=some_facts())
def test_three_books_that_meet_in_any_way_end_equal(
    tmp_path_factory: pytest.TempPathFactory, first: list[Fact], second: list[Fact], third: list[Fact]
) -> None:
    folder = tmp_path_factory.mktemp("three")
    books = [Store.open(folder / name) for name in "abc"]
    try:
        for store, own in zip(books, (first, second, third), strict=True):
            store.merge(own, outside=True)
        a, b, c = books
        b.merge(facts(a), outside=True)
        c.merge(facts(b), outside=True)
        a.merge(facts(c), outside=True)
        b.merge(facts(c), outside=True)
        b.merge(facts(a), outside=True)
        assert facts_of(a) == facts_of(b) == facts_of(c)
        assert standing(a) == standing(b) == standing(c)
    finally:
        for store in books:
            store.close()


def visit(model: str = "NV1", **more: Any) -> Visit:
    data = visit_data(model, **more)
    data = {key: value for key, value in data.items() if key not in ("by", "job", "note", "driver")}
    data["jacks"] = [{key: value for key, value in jack.items() if key != "note"} for jack in data["jacks"]]
    return visit_from(data)


def test_nobody_can_put_other_words_under_a_known_id(tmp_path: Path) -> None:
    """Whether the true visit or the false one comes first: the false one is refused, so all books agree."""
    true, nonce = sealed(visit())
    false = VisitFact(replace(visit("NV2"), id=true.id), nonce)
    for name, first in (("a", [VisitFact(true, nonce)]), ("b", [])):
        with Store.open(tmp_path / name) as store:
            store.merge(first, outside=True)
            before = facts_of(store)
            for nonce_ in (nonce, "0" * 32, ""):
                with pytest.raises(BadInput, match="matches its content"):
                    store.merge([replace(false, nonce=nonce_)], outside=True)
            assert facts_of(store) == before
            store.merge([VisitFact(true, nonce)], outside=True)
            assert [one.source.model for one in store.visits_of("NORWELL/NV1")] == ["NV1"]


@pytest.mark.parametrize(
    "fact",
    [
        AliasFact("01234567-89ab-8def-8123-456789abcdef", "NORWELL/NV1", "NORWELL/NV2"),
        WithdrawalFact(
            "01234567-89ab-8def-8123-456789abcdef", "01234567-89ab-8def-8123-456789abcdef", 1, False
        ),
        NoteFact("01234567-89ab-8def-8123-456789abcdef", "01234567-89ab-8def-8123-456789abcdef", None, "x"),
    ],
)
def test_a_fact_under_an_id_that_is_not_its_own_is_refused(tmp_path: Path, fact: Fact) -> None:
    with Store.open(tmp_path / "a") as store:
        with pytest.raises(BadInput):
            store.merge([fact], outside=True)
        assert facts_of(store) == []


def test_a_visit_file_cannot_take_an_id_that_a_book_makes(tmp_path: Path) -> None:
    true, nonce = sealed(visit())
    with Store.open(tmp_path / "a") as store:
        with pytest.raises(BadInput, match="another book gave"):
            store.record([replace(visit("NV2"), id=true.id)])
        store.merge([VisitFact(true, nonce)], outside=True)
        assert store.record([true]).already == (true.id,)


def test_two_visits_that_say_the_same_are_two(tmp_path: Path) -> None:
    """Two colleagues found the same on the same day: two findings, also after they merged."""
    with Store.open(tmp_path / "a") as a, Store.open(tmp_path / "b") as b:
        a.record([visit()])
        b.record([visit()])
        a.merge(facts(b), outside=True)
        assert len(a.visits_of("NORWELL/NV1")) == 2
        a.merge(facts(b), outside=True)
        assert len(a.visits_of("NORWELL/NV1")) == 2


def test_the_last_word_on_a_withdrawal_is_the_same_everywhere(tmp_path: Path) -> None:
    with Store.open(tmp_path / "a") as a, Store.open(tmp_path / "b") as b:
        [one] = a.record([visit()]).recorded
        b.merge(facts(a), outside=True)
        a.withdraw([one.id])
        b.withdraw([one.id])
        b.reinstate([one.id])
        a.merge(facts(b), outside=True)
        b.merge(facts(a), outside=True)
        assert standing(a) == standing(b)
        assert len(standing(a)) == 1
