"""A correction takes the place of what was merely entered anew from the same visit, in every order."""

from __future__ import annotations

from dataclasses import replace
from itertools import permutations
from pathlib import Path
from typing import Any

import pytest

from kb.domain.visit import Visit, visit_from
from kb.exchange.corrections import correct
from kb.exchange.sharing import prepare
from kb.store import Store
from kb.store.content_id import reentry_nonce, sealed, without_private
from kb.store.facts import Fact, VisitFact, everything
from kb.store.one_set import visits_of as quickly
from tests.exchange.helpers import standing, visit_data
from tests.present import Present
from tests.store.helpers import KEY

PHONE = "0192a6c0-0000-7000-8000-00000000000"
#: Begin with 01, as the ids that a phone gives do, and with f: neither may decide.
IDS = (f"{PHONE}2", "f192a6c0-0000-7000-8000-000000000002")


def first(**more: object) -> Visit:
    """A visit as a phone hands it in."""
    return visit_from(visit_data(id=f"{PHONE}1", note="as first seen", **more))


def later(id_: str | None, *, earlier: str = f"{PHONE}1", note: str = "put right") -> Visit:
    """A correction of the visit of a phone."""
    return visit_from(visit_data(id=id_, supersedes=[earlier], note=note))


def dumped(store: Store) -> list[Fact]:
    """Everything, as a copy of one's own book gets it."""
    with store.snapshot() as now:
        return list(everything(now))


def notes(store: Store, path: Path | None = None) -> list[str]:
    """The notes of the visits that stand; the quick way to read a file, the history and changes agree."""
    found = [one.note for one in store.visits_of(KEY)]
    assert [one.visit.note for one in Present(store).history_of(KEY) if one.stands] == found
    assert [one.note for _, visits in Present(store).visits_of_sets() for one in visits] == found
    if path:
        assert [one.note for one in quickly(path, KEY) or ()] == found
    return found


@pytest.mark.parametrize("id_", [*IDS, None])
def test_a_correction_of_a_visit_that_was_entered_anew_counts(
    either: Store, book: Path, id_: str | None
) -> None:
    either.record([first()])
    assert prepare(either) == 1
    either.record([later(id_)])
    assert notes(either, book if book.exists() else None) == ["put right"]
    assert prepare(either) == (id_ is not None)
    assert prepare(either) == 0
    assert notes(either, book if book.exists() else None) == ["put right"]
    [anew] = [one for one in Present(either).history_of(KEY) if one.reentered == f"{PHONE}1"]
    assert anew.superseded_by
    assert anew.rivals == ()


def test_a_correction_of_the_correction_counts_too(either: Store) -> None:
    either.record([first()])
    prepare(either)
    either.record([later(IDS[0])])
    prepare(either)
    either.record([later(f"{PHONE}0", earlier=IDS[0], note="put right twice")])
    assert notes(either) == ["put right twice"]
    prepare(either)
    assert notes(either) == ["put right twice"]


@pytest.mark.parametrize("id_", [*IDS, None])
def test_two_books_from_one_dump_agree_that_the_correction_counts(tmp_path: Path, id_: str | None) -> None:
    def meet(one: Store, other: Store) -> None:
        one.merge(dumped(other), outside=False)
        other.merge(dumped(one), outside=False)

    for turn, order in enumerate(permutations(("correct", "enter anew", "meet"))):
        a, b = (tmp_path / f"{turn}{name}.sqlite" for name in "ab")
        with Store.open(a) as one, Store.open(b) as other:
            one.record([first()])
            other.merge(dumped(one), outside=False)
            for act in order:
                if act == "correct":
                    one.record([later(id_)])
                elif act == "enter anew":
                    prepare(other)
                else:
                    meet(one, other)
            for store in (one, other):
                prepare(store)
                meet(one, other)
            assert notes(one, a) == notes(other, b) == ["put right"]
            assert standing(one) == standing(other)


def test_a_correction_of_what_was_entered_anew_counts_in_a_copy_of_before(tmp_path: Path) -> None:
    with Store.open(tmp_path / "a.sqlite") as one, Store.open(tmp_path / "b.sqlite") as other:
        one.record([first()])
        other.merge(dumped(one), outside=False)
        prepare(one)
        [stands] = one.visits_of(KEY)
        correct(one, stands, replace(stands, id="", supersedes=(stands.id,), note="put right"))
        every = [fact for fact in dumped(one) if isinstance(fact, VisitFact)]
        # A bundle leaves out what does not stand.
        other.merge([fact for fact in every if fact.visit.note == "put right"], outside=True)
        assert notes(other) == ["put right"]
        assert prepare(other) == 0


def test_two_corrections_of_a_visit_stay_rivals_under_whichever_id_they_name_it(either: Store) -> None:
    either.record([first()])
    prepare(either)
    [anew] = either.visits_of(KEY)
    either.record([later(None, note="this"), later(None, earlier=anew.id, note="that")])
    [stands] = notes(either)
    assert stands in ("this", "that")
    told = {
        one.visit.note: one for one in Present(either).history_of(KEY) if one.visit.note in ("this", "that")
    }
    assert [one.outdone for one in told.values()].count(True) == 1
    assert told["this"].rivals == (told["that"].visit.id,)
    assert told["that"].rivals == (told["this"].visit.id,)


def test_undoing_the_correction_brings_back_what_was_entered_anew(either: Store) -> None:
    either.record([first()])
    prepare(either)
    [done] = either.record([later(IDS[0])]).recorded
    either.withdraw([done.id])
    assert notes(either) == ["as first seen"]
    either.reinstate([done.id])
    assert notes(either) == ["put right"]


def test_who_claims_to_enter_anew_what_corrects_it_leaves_a_visit_standing(either: Store) -> None:
    either.record([first()])
    [done] = either.record([later(None)]).recorded
    claimed = replace(without_private(first()), id="", supersedes=(f"{PHONE}1", done.id))
    nonce = reentry_nonce(f"{PHONE}1")
    false, _ = sealed(claimed, nonce)
    either.merge([VisitFact(false, nonce)], outside=True)
    assert [one.id for one in either.visits_of(KEY)] == [false.id]


@pytest.mark.parametrize("what", ["withdraw", "correct"])
def test_what_happens_to_a_visit_while_it_is_being_entered_anew_counts(
    either: Store, monkeypatch: pytest.MonkeyPatch, what: str
) -> None:
    """Another program acts after this one has seen that there is something to enter anew."""
    either.record([first()])
    begin, acted = either._writing, []

    def writing(*given: str) -> Any:
        if not acted:
            acted.append(what)
            if what == "withdraw":
                either.withdraw([f"{PHONE}1"])
            else:
                either.record([later(None)])
        return begin(*given)

    monkeypatch.setattr(either, "_writing", writing)
    prepare(either)
    assert notes(either) == ([] if what == "withdraw" else ["put right"])
    assert len(Present(either).history_of(KEY)) == (1 if what == "withdraw" else 2)
