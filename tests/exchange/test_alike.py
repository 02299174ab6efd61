"""Two books that loaded the same old notes count each visit once when they have shared."""

from __future__ import annotations

import json
import re
from collections import Counter
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sqlalchemy import event

from kb.domain.visit import Visit, visit_from
from kb.exchange.loading import Loaded, Source, load
from kb.store import Store
from kb.store.content_id import without_private
from tests.cli.conftest import Run
from tests.conftest import LONG
from tests.exchange.helpers import facts, facts_of, standing, visit_data
from tests.present import Present


def loaded(store: Store, path: Path, *visits: dict[str, Any]) -> Loaded:
    path.write_text("".join(json.dumps(one) + "\n" for one in visits), encoding="utf-8")
    return load(store, [str(path)], Source())


def shared(*stores: Store) -> None:
    """Everybody gives everybody what may be shared, twice over."""
    for _ in range(2):
        for one in stores:
            for other in stores:
                if one is not other:
                    other.merge(facts(one), outside=True)


def count(store: Store) -> int:
    return sum(len(ids) for ids, _ in standing(store).values())


def test_the_same_spreadsheet_in_two_books_counts_once_after_sharing(tmp_path: Path) -> None:
    rows = [visit_data(f"NV{n}", job=f"J-{n}") for n in range(5)]
    with Store.open(tmp_path / "a.sqlite") as one, Store.open(tmp_path / "b.sqlite") as other:
        assert loaded(one, tmp_path / "a.jsonl", *rows).visits == 5
        assert loaded(other, tmp_path / "b.jsonl", *reversed(rows)).visits == 5
        shared(one, other)
        assert count(one) == count(other) == 5
        # Each book says when it recorded them, which may be a second later.
        here, there = (
            [re.sub(r'"recorded": "[^"]*"', "", one) for one in facts_of(book)] for book in (one, other)
        )
        assert here == there


def test_words_that_only_one_book_has_do_not_make_it_another_visit(tmp_path: Path) -> None:
    with Store.open(tmp_path / "a.sqlite") as one, Store.open(tmp_path / "b.sqlite") as other:
        loaded(one, tmp_path / "a.jsonl", visit_data(note="asked for the blue cable"))
        loaded(other, tmp_path / "b.jsonl", visit_data(note="", by="", job=""))
        shared(one, other)
        assert count(one) == count(other) == 1
        [ids, _] = next(iter(standing(one).values()))
        assert one.visit(ids[0]).note == "asked for the blue cable"
        assert other.visit(ids[0]).note == ""


def test_two_rows_that_differ_only_in_the_job_stay_two_visits(tmp_path: Path) -> None:
    rows = [visit_data(job="J-1"), visit_data(job="J-2")]
    with Store.open(tmp_path / "a.sqlite") as one, Store.open(tmp_path / "b.sqlite") as other:
        assert loaded(one, tmp_path / "a.jsonl", *rows).visits == 2
        assert loaded(other, tmp_path / "b.jsonl", rows[1]).visits == 1
        shared(one, other)
        assert count(one) == count(other) == 2
        done = loaded(other, tmp_path / "b.jsonl", *rows)
        assert (done.visits, done.already, done.completed, done.written) == (0, 2, 1, True)
        assert count(other) == 2
        jobs = sorted(other.visit(one_id).job for ids, _ in standing(other).values() for one_id in ids)
        assert jobs == ["J-1", "J-2"]
        again = loaded(other, tmp_path / "b.jsonl", *rows)
        assert (again.visits, again.already, again.completed, again.written) == (0, 2, 0, False)


def test_a_withdrawal_in_one_book_holds_in_the_other(tmp_path: Path) -> None:
    with Store.open(tmp_path / "a.sqlite") as one, Store.open(tmp_path / "b.sqlite") as other:
        loaded(one, tmp_path / "a.jsonl", visit_data())
        loaded(other, tmp_path / "b.jsonl", visit_data())
        one.withdraw(ids for ids, _ in standing(one).values() for ids in ids)
        shared(one, other)
        assert count(one) == count(other) == 0


def test_a_visit_that_was_recorded_by_hand_is_a_visit_of_its_own(tmp_path: Path) -> None:
    """Two people may find the same on one day; only a row of old notes may be one row twice."""
    from kb.domain.visit import visit_from

    with Store.open(tmp_path / "a.sqlite") as one, Store.open(tmp_path / "b.sqlite") as other:
        one.record([visit_from(visit_data())])
        other.record([visit_from(visit_data())])
        shared(one, other)
        assert count(one) == count(other) == 2


def test_what_looks_private_is_in_no_id_that_can_be_guessed_at(tmp_path: Path) -> None:
    """The id of a corrected visit goes out with its correction; whoever guesses the words could check."""
    row = visit_data()
    row["jacks"][0]["setting"] = "ring Mrs Alder, 0555 010 2233"
    with Store.open(tmp_path / "a.sqlite") as one, Store.open(tmp_path / "b.sqlite") as other:
        loaded(one, tmp_path / "a.jsonl", row)
        loaded(other, tmp_path / "b.jsonl", row)
        assert {fact.id for fact in facts(one)}.isdisjoint(fact.id for fact in facts(other))


ROWS = st.lists(st.tuples(st.integers(0, 2), st.integers(0, 2)), max_size=6)


@settings(max_examples=150 if LONG else 5, deadline=None)
@given(first=ROWS, second=ROWS, third=ROWS, share_early=st.booleans())
def test_books_hold_each_row_as_often_as_the_one_that_has_it_most(
    tmp_path_factory: pytest.TempPathFactory,
    first: list[tuple[int, int]],
    second: list[tuple[int, int]],
    third: list[tuple[int, int]],
    share_early: bool,
) -> None:
    """Rows are (what may be shared, what may not); whatever the order of loading and sharing."""
    folder = tmp_path_factory.mktemp("alike")
    files = [[visit_data(f"NV{m}", job=f"J-{j}") for m, j in rows] for rows in (first, second, third)]
    stores = [Store.open(folder / f"{n}.sqlite") for n in range(3)]
    try:
        for number, (store, rows) in enumerate(zip(stores, files, strict=True)):
            if rows:
                loaded(store, folder / f"{number}.jsonl", *rows)
            if share_early:
                shared(*stores)
        shared(*stores)
        wanted: Counter[int] = Counter()
        for rows in (first, second, third):
            wanted |= Counter(model for model, _ in set(rows))
        for store in stores:
            assert {key: len(ids) for key, (ids, _) in standing(store).items()} == {
                f"NORWELL/NV{model}": number for model, number in wanted.items()
            }
        public = [facts_of(store, private=False) for store in stores]
        assert public[0] == public[1] == public[2]
        for store, rows in zip(stores, files, strict=True):  # and each keeps what it was told itself
            jobs = Counter(
                (visit.source.model, visit.job)
                for visits in Present(store).visits()
                for visit in visits
                if without_private(visit) != visit
            )
            assert jobs == Counter({(one["source"]["model"], one["job"]) for one in rows})
    finally:
        for store in stores:
            store.close()


def test_the_words_of_a_row_known_from_a_colleague_are_found_after_loading_it(
    jackfield: Run, tmp_path: Path
) -> None:
    mine, theirs = str(tmp_path / "mine"), str(tmp_path / "theirs")
    notes = tmp_path / "notes.csv"
    notes.write_text("date,make,model,jack,note\n2019-03-04,Norwell,NV40-210,opt:carried,blue umbrella\n")
    assert jackfield("--home", theirs, "load", notes).code == 0
    assert jackfield("--home", theirs, "share", "out", tmp_path / "b.jsonl", "--no-notes").code == 0
    assert jackfield("--home", mine, "share", "in", tmp_path / "b.jsonl").code == 0
    assert jackfield("--home", mine, "find", "umbrella").code == 1
    done = jackfield("--home", mine, "load", notes)
    assert done.code == 0
    assert "came from another book" in done.out
    assert jackfield("--home", mine, "find", "umbrella").code == 0


def test_one_more_row_that_says_the_same_asks_the_book_a_few_times_only(tmp_path: Path) -> None:
    """300 people who saw one set on one day: their rows differ only in what is private."""
    asked: list[str] = []

    def seen(number: int) -> Visit:
        said = {"date": "2026-03-04", "by": f"P{number}", "source": {"make": "Norwell", "model": "NV1"}}
        return visit_from(said)

    with Store.open(tmp_path / "book.sqlite") as store:
        store.record([seen(number) for number in range(300)], alike=lambda _: True)
        event.listen(store._engine, "before_cursor_execute", lambda *given: asked.append(given[2]))
        done = store.record([seen(300), seen(301)], alike=lambda _: True)
        assert len(done.recorded) == 2
        assert Present(store).counts().visits == 302
    assert len([one for one in asked if "FROM visit" in one]) < 40
