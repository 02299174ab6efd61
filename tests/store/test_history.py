"""Nothing is changed in place: corrections supersede, withdrawals can be taken back, spellings merge."""

from __future__ import annotations

import itertools
import tempfile
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kb.base.errors import NotFound
from kb.domain.panel import reconcile
from kb.store import Store
from kb.store.content_id import sealed_id
from kb.store.facts import AliasFact
from kb.store.spellings import Spellings
from tests.conftest import LONG
from tests.present import Present
from tests.store.helpers import KEY, visit


def one_id(store: Store, *args: str, **more: object) -> str:
    [added] = store.record([visit(*args, **more)]).recorded
    return added.id


def test_a_correction_takes_the_place_of_the_visit_and_both_stay_in_the_history(either: Store) -> None:
    wrong = one_id(either)
    right = one_id(either, jacks=[], supersedes=[wrong])
    assert [v.id for v in either.visits_of(KEY)] == [right]
    history = Present(either).history_of(KEY)
    assert [(e.visit.id, e.revision, e.superseded_by, e.stands) for e in history] == [
        (wrong, 1, (right,), False),
        (right, 2, (), True),
    ]
    everything = [entry.visit for entry in history if not entry.withdrawn]
    assert reconcile(everything) == reconcile(either.visits_of(KEY))


def test_a_correction_of_the_model_leaves_nothing_under_the_wrong_one(either: Store) -> None:
    wrong = one_id(either, "NV4O-210")
    seen = either.revision()
    one_id(either, supersedes=[wrong])
    assert either.visits_of("NORWELL/NV4O210") == []
    assert list(Present(either).set_keys()) == [KEY]
    assert set(Present(either).sets_changed_since(seen)) == {KEY, "NORWELL/NV4O210"}


def test_a_correction_may_come_before_what_it_corrects(store: Store) -> None:
    early = "0192a6c0-0000-7000-8000-000000000001"
    one_id(store, note="the correction", supersedes=[early])
    store.record([visit(id=early)])
    assert [v.note for v in store.visits_of(KEY)] == ["the correction"]


def test_a_withdrawn_visit_no_longer_counts_until_it_is_reinstated(either: Store) -> None:
    one = one_id(either)
    assert either.withdraw([one]) == (one,)
    assert either.visits_of(KEY) == []
    assert Present(either).history_of(KEY)[0].withdrawn
    assert list(Present(either).set_keys()) == []
    assert Present(either).counts()[:5] == (1, 0, 0, 1, 0)
    assert either.withdraw([one]) == ()
    assert either.reinstate([one]) == (one,)
    assert [v.id for v in either.visits_of(KEY)] == [one]
    assert either.revision() == 3


def test_withdrawing_a_correction_brings_back_what_it_corrected(either: Store) -> None:
    wrong = one_id(either, "NV4O-210")
    right = one_id(either, supersedes=[wrong])
    seen = either.revision()
    either.withdraw([right])
    assert [v.id for v in either.visits_of("NORWELL/NV4O210")] == [wrong]
    assert set(Present(either).sets_changed_since(seen)) == {KEY, "NORWELL/NV4O210"}


def test_withdrawing_what_is_not_there_is_not_found_and_withdraws_nothing(store: Store) -> None:
    one = one_id(store)
    with pytest.raises(NotFound):
        store.withdraw([one, "0192a6c0-0000-7000-8000-000000000009"])
    assert len(store.visits_of(KEY)) == 1


def test_two_spellings_become_one_set_and_two_again(either: Store) -> None:
    one_id(either, "NV4O-210")
    one_id(either)
    seen = either.revision()
    merge = either.alias("NORWELL/NV4O210", KEY)
    assert len(either.visits_of(KEY)) == len(either.visits_of("NORWELL/NV4O210")) == 2
    assert list(Present(either).set_keys()) == [KEY]
    assert set(Present(either).sets_changed_since(seen)) == {KEY, "NORWELL/NV4O210"}
    told = dict(Present(either).visits_of_sets(["NORWELL/NV4O210", KEY]))
    assert {key: len(visits) for key, visits in told.items()} == {"NORWELL/NV4O210": 0, KEY: 2}
    assert either.alias(KEY, "NORWELL/NV4O210") == ""
    seen = either.revision()
    either.withdraw([merge])
    assert list(Present(either).set_keys()) == sorted([KEY, "NORWELL/NV4O210"])
    assert set(Present(either).sets_changed_since(seen)) == {KEY, "NORWELL/NV4O210"}


def test_a_spelling_under_which_nothing_was_recorded_can_be_kept(store: Store) -> None:
    one_id(store, "NV40-21O")
    store.alias("NORWELL/NV4021O", KEY)
    assert list(Present(store).set_keys()) == [KEY]
    assert len(dict(Present(store).visits_of_sets())[KEY]) == 1


@given(st.lists(st.tuples(st.sampled_from("ABCDEF"), st.sampled_from("ABCDEF")), max_size=5))
def test_spellings_do_not_depend_on_the_order_of_facts(facts: list[tuple[str, str]]) -> None:
    """Checked against plain reachability over all orders of the facts."""
    first = Spellings(facts)
    for order in itertools.islice(itertools.permutations(facts), 24):
        again = Spellings(order)
        for key in "ABCDEFG":
            assert again.kept(key) == first.kept(key)
            assert again.all_of(key) == first.all_of(key)
    for key, same_as in facts:
        assert first.kept(key) == first.kept(same_as)
        assert first.kept(key) in first.all_of(key)


def test_everything_changed_is_told_since_every_revision(either: Store) -> None:
    """An index that follows ``sets_changed_since`` knows what one made anew knows."""
    index: dict[str, list[str]] = {}
    seen = 0

    def follow() -> None:
        nonlocal seen
        with either.snapshot() as now:
            for key, visits in now.visits_of_sets(now.sets_changed_since(seen)):
                index.pop(key, None)
                if visits:
                    index[key] = [v.id for v in visits]
            seen = now.revision
            assert index == {key: [v.id for v in visits] for key, visits in now.visits_of_sets()}

    ids = [one_id(either, f"D{n}") for n in range(4)]
    follow()
    merges = [either.alias("NORWELL/D0", "NORWELL/D1")]
    follow()
    merges.append(either.alias("NORWELL/D2", "NORWELL/D3"))
    ids.append(one_id(either, "D9", supersedes=[ids[0], ids[2]]))
    follow()
    merges.append(either.alias("NORWELL/D3", "NORWELL/D1"))
    follow()
    either.withdraw([ids[4], merges[0]])
    follow()
    either.withdraw([merges[2]])
    either.reinstate([merges[0]])
    follow()
    either.reinstate([ids[4]])
    either.withdraw([merges[1]])
    follow()
    assert seen == either.revision() == 13


def test_visits_stream_in_the_order_they_were_recorded(either: Store) -> None:
    either.record([visit(f"E{n}") for n in range(603)])
    either.record([visit("LAST")])
    batches = [len(some) for some in Present(either).visits(batch=250)]
    assert batches == [250, 250, 104]
    assert [[v.source.model for v in some] for some in Present(either).visits(since_revision=1)] == [["LAST"]]
    keys = list(Present(either).set_keys())
    assert len(keys) == 604
    assert keys == sorted(keys)
    assert sum(len(visits) for _, visits in Present(either).visits_of_sets()) == 604


def test_a_snapshot_sees_one_whole_revision_while_others_write(either: Store) -> None:
    either.record([visit("G1")])
    with either.snapshot() as before:
        assert before.revision == 1
        either.record([visit("G2")])
        assert before.counts().visits == 1
        assert list(before.set_keys()) == ["NORWELL/G1"]
    assert Present(either).counts().visits == 2


def test_a_book_knows_how_it_once_stood_and_a_copy_that_went_on_elsewhere_does_not(either: Store) -> None:
    start = either.standing()
    one_id(either, "H1")
    first = either.standing()
    one_id(either, "H2")
    with either.snapshot() as now:
        assert now.follows(start)
        assert now.follows(first)
        assert now.follows(now.standing)
        assert not now.follows(first._replace(mark=now.standing.mark))
        assert not now.follows(first._replace(revision=9))
        assert not now.follows(first._replace(book=first.mark))


_KEYS = st.sampled_from([f"NORWELL/NV{n}" for n in range(6)])


@settings(max_examples=500 if LONG else 25)
@given(st.lists(st.tuples(_KEYS, _KEYS, st.booleans()), max_size=12))
def test_the_spelling_that_is_kept_is_the_same_however_it_is_looked_up(
    merges: list[tuple[str, str, bool]],
) -> None:
    """Merges of several books that lead apart or in a circle, and some that were undone."""
    with tempfile.TemporaryDirectory() as folder, Store.open(Path(folder) / "book.sqlite") as store:
        for key, same_as, stands in merges:
            if key != same_as:
                fact = AliasFact(sealed_id("alias", [key, same_as]), key, same_as)
                store.merge([fact], outside=True)
                if not stands:
                    store.withdraw([fact.id])
        with store.snapshot() as now:
            for key in ("NOBODY/MET1", *(f"NORWELL/NV{n}" for n in range(6))):
                assert now.kept(key) == now.spellings.kept(key)
