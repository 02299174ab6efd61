"""A visit counts once and stays recoverable, whatever a file says and in whatever order books share."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kb.domain.visit import visit_from
from kb.exchange.loading import Source, load
from kb.store import Store
from kb.store.content_id import sealed_id
from kb.store.counted import SLACK
from kb.store.facts import WithdrawalFact
from kb.store.one_set import visits_of
from tests.cli.conftest import Run
from tests.conftest import LONG
from tests.exchange.helpers import facts, facts_of, fill, standing, visit_data
from tests.present import Present

VisitFile = Callable[..., Path]


def said(fact: str, turn: int, stands: bool) -> WithdrawalFact:
    return WithdrawalFact(sealed_id("withdrawal", [fact, turn, stands]), fact, turn, stands)


def counted(store: Store) -> dict[str, list[str]]:
    """The visits that stand, by set."""
    return {key: ids for key, (ids, _) in standing(store).items()}


# -- turns of withdrawals --------------------------------------------------------------------


@pytest.mark.parametrize("turn", [SLACK, SLACK + 1, 1_000_000, 2**31 - 1])
def test_no_file_can_make_a_visit_unusable_by_a_great_turn(either: Store, turn: int) -> None:
    [one] = fill(either, 1)
    either.merge([said(one, turn, False)], outside=True)
    either.reinstate([one])
    assert list(counted(either)) == ["NORWELL/M0"]
    for _ in range(3):
        assert either.withdraw([one]) == (one,)
        assert counted(either) == {}
        assert either.reinstate([one]) == (one,)
        assert list(counted(either)) == ["NORWELL/M0"]


@settings(max_examples=100 if LONG else 10, deadline=None)
@given(
    turns=st.lists(st.tuples(st.integers(SLACK - 1, SLACK + 8), st.booleans()), max_size=8), data=st.data()
)
def test_the_word_of_this_book_holds_against_any_turns(
    tmp_path_factory: pytest.TempPathFactory, turns: list[tuple[int, bool]], data: st.DataObject
) -> None:
    path = tmp_path_factory.mktemp("turns") / "b.sqlite"
    with Store.open(path) as store:
        [one] = fill(store, 1)
        store.merge([said(one, *turn) for turn in turns], outside=True)
        for stands in data.draw(st.lists(st.booleans(), min_size=1, max_size=5)):
            (store.reinstate if stands else store.withdraw)([one])
            assert bool(counted(store)) is stands
            assert bool(visits_of(path, "NORWELL/M0")) is stands


# -- recorded again ----------------------------------------------------------------------------


def test_a_visit_that_was_withdrawn_can_be_recorded_again(jackfield: Run, visit_file: VisitFile) -> None:
    [one] = jackfield("record", "--file", visit_file(), "--json").json["recorded"]
    jackfield("withdraw", one["visit"])
    assert jackfield("show", "Norwell", "NV40-210").code == 1
    done = jackfield("record", "--file", visit_file())
    assert (done.code, "1 visit was withdrawn, and is valid again" in done.out) == (0, True)
    assert "already" not in done.out
    assert jackfield("show", "Norwell", "NV40-210").code == 0
    again = jackfield("record", "--file", visit_file(), "--json").json
    assert (again["already"], again["reinstated"]) == ([one["visit"]], [])


def test_a_line_that_was_withdrawn_can_be_recorded_again(jackfield: Run) -> None:
    line = ("record", "Norwell", "NV7", "opt:ok", "--date", "2026-03-04")
    [one] = jackfield(*line, "--json").json["recorded"]
    jackfield("withdraw", one["visit"])
    assert jackfield(*line, "--json").json["reinstated"] == [one["visit"]]
    assert jackfield("find", "nv7").code == 0


def test_a_visit_of_a_phone_that_was_withdrawn_can_be_sent_again(either: Store) -> None:
    visit = visit_from(visit_data("NV1", id="0192a6c0-0000-7000-8000-000000000001"))
    either.record([visit])
    either.withdraw([visit.id])
    assert either.record([visit]).reinstated == (visit.id,)
    assert list(counted(either)) == ["NORWELL/NV1"]


def test_a_sheet_that_is_loaded_again_leaves_withdrawn_rows_and_names_them(
    jackfield: Run, tmp_path: Path
) -> None:
    sheet = tmp_path / "old.csv"
    sheet.write_text("date,make,model,jack\n2019-03-04,Norwell,NV1,opt:carried\n", encoding="utf-8")
    jackfield("load", sheet)
    [one] = jackfield("show", "Norwell", "NV1", "--json").json["visits"]
    jackfield("withdraw", one["id"])
    done = jackfield("load", sheet)
    assert (done.code, one["id"][:8] in done.err, "withdrawn" in done.err) == (0, True, True)
    assert jackfield("show", "Norwell", "NV1").code == 1


def test_a_visit_that_was_entered_anew_to_be_shared_is_withdrawn_whole(
    jackfield: Run, visit_file: VisitFile, tmp_path: Path
) -> None:
    id_ = "0192a6c0-0000-7000-8000-000000000001"
    jackfield("record", "--file", visit_file(id=id_))
    jackfield("share", "out", tmp_path / "b.jsonl")
    jackfield("withdraw", id_[:10])
    assert jackfield("show", "Norwell", "NV40-210").code == 1
    jackfield("undo")
    assert len(jackfield("show", "Norwell", "NV40-210", "--json").json["visits"]) == 1
    jackfield("withdraw", id_[:10])
    jackfield("record", "--file", visit_file(id=id_))
    assert len(jackfield("show", "Norwell", "NV40-210", "--json").json["visits"]) == 1


# -- one sheet in two books ----------------------------------------------------------------------


def loaded(store: Store, path: Path, rows: list[dict[str, Any]]) -> None:
    path.write_text("".join(json.dumps(one) + "\n" for one in rows), encoding="utf-8")
    load(store, [str(path)], Source())


def jobs(store: Store) -> list[str]:
    return sorted(visit.job for _, visits in Present(store).visits_of_sets() for visit in visits)


ROWS = st.lists(st.integers(0, 4), min_size=1, max_size=5, unique=True)


@settings(max_examples=60 if LONG else 6, deadline=None)
@given(first=ROWS, second=ROWS, form=st.sampled_from(["jsonl", "csv"]))
def test_own_books_that_loaded_one_sheet_in_any_order_are_joined(
    tmp_path_factory: pytest.TempPathFactory, first: list[int], second: list[int], form: str
) -> None:
    from kb.exchange.dumping import csv_rows, json_lines

    folder = tmp_path_factory.mktemp("join")
    with Store.open(folder / "a.sqlite") as a, Store.open(folder / "b.sqlite") as b:
        for store, rows, name in ((a, first, "a"), (b, second, "b")):
            loaded(store, folder / f"{name}.jsonl", [visit_data(job=f"J-{one}") for one in rows])
        for store, other, name in ((a, b, "b"), (b, a, "a"), (a, b, "b2"), (b, a, "a2")):
            dump = folder / f"dump-{name}.{form}"
            with other.snapshot() as now:
                lines = json_lines(now) if form == "jsonl" else csv_rows(now)
                dump.write_text("".join(lines), encoding="utf-8", newline="")
            assert load(store, [str(dump)], Source()).bad_count == 0
        wanted = sorted(f"J-{one}" for one in {*first, *second})
        assert jobs(a) == jobs(b) == wanted
        assert facts_of(a, private=False) == facts_of(b, private=False)


# -- clocks ---------------------------------------------------------------------------------------


def test_a_dump_loads_though_the_clock_was_ahead_when_it_was_recorded(
    jackfield: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("JACKFIELD_TODAY", "2031-05-06")
    jackfield("record", "Norwell", "NV7", "2032", "opt:ok")
    monkeypatch.setenv("JACKFIELD_TODAY", "2026-03-04")
    for name in ("d.jsonl", "d.csv"):
        dump = tmp_path / name
        assert jackfield("dump", dump).code == 0
        assert jackfield("load", dump, "--home", tmp_path / name.replace(".", "")).code == 0
        home = tmp_path / name.replace(".", "")
        shown = jackfield("show", "Norwell", "NV7", "--json", "--home", home).json
        assert (shown["visits"][0]["date"], shown["source"]["year"]) == ("2031-05-06", 2032)
    assert jackfield("record", "Norwell", "NV8", "opt", "--date", "2031-05-06").code == 2


def test_a_visit_of_the_future_is_left_out_of_a_bundle_and_explained(
    jackfield: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    out, home = tmp_path / "b.jsonl", tmp_path / "o"
    monkeypatch.setenv("JACKFIELD_TODAY", "2026-03-04")
    jackfield("record", "Norwell", "NV1", "opt:ok")
    monkeypatch.setenv("JACKFIELD_TODAY", "2031-05-06")
    jackfield("record", "Norwell", "NV2", "opt:ok")
    jackfield("share", "out", out)
    monkeypatch.setenv("JACKFIELD_TODAY", "2026-03-04")
    done = jackfield("share", "in", out, "--home", home)
    assert done.code == 0
    assert "left out: Norwell NV2" in done.err
    assert "2026-03-04 by this machine's clock" in done.err
    assert jackfield("show", "Norwell", "NV1", "--home", home).code == 0
    assert jackfield("show", "Norwell", "NV2", "--home", home).code == 1
    monkeypatch.setenv("JACKFIELD_TODAY", "2031-05-07")
    [again] = jackfield("share", "in", out, "--home", home, "--json").json["bundles"]
    assert (again["visits"], again["left_out"]) == (1, [])
    assert jackfield("show", "Norwell", "NV2", "--home", home).code == 0
    jackfield("share", "undo", again["bundle"], "--home", home)
    assert jackfield("show", "Norwell", "NV2", "--home", home).code == 1


# -- one visit corrected in two books -----------------------------------------------------------------


def corrected(jackfield: Run, tmp_path: Path) -> tuple[str, dict[str, str]]:
    """A visit that both books have, and its correction in each."""
    [one] = jackfield("record", "Norwell", "NV7", "opt:ok", "--json").json["recorded"]
    out, other = tmp_path / "0.jsonl", tmp_path / "o"
    jackfield("share", "out", out)
    jackfield("share", "in", out, "--home", other)
    made = {}
    for name, home, edit in (("own", None, "1.outcome=silent"), ("other", other, "1.outcome=hum")):
        at = ["--home", home] if home else []
        made[name] = jackfield("correct", one["visit"], edit, "--json", *at).json["visit"]
        jackfield("share", "out", tmp_path / f"{name}.jsonl", *at)
    jackfield("share", "in", tmp_path / "other.jsonl")
    jackfield("share", "in", tmp_path / "own.jsonl", "--home", other)
    return one["visit"], made


def test_a_visit_corrected_in_two_books_counts_once_and_can_be_settled(
    jackfield: Run, tmp_path: Path
) -> None:
    _, made = corrected(jackfield, tmp_path)
    winner, loser = sorted(made.values(), reverse=True)
    for at in ([], ["--home", tmp_path / "o"]):
        shown = jackfield("show", "Norwell", "NV7", "--json", *at).json
        assert [one["id"] for one in shown["visits"]] == [winner]
        assert sum(shown["panel"][0]["outcomes"].values()) == 1
        told = {
            one["id"]: one for one in jackfield("history", "Norwell", "NV7", "--json", *at).json["visits"]
        }
        assert (told[winner]["state"], told[winner]["conflicts_with"]) == ("stands", [loser])
        assert (told[loser]["state"], told[loser]["conflicts_with"]) == ("outdone", [winner])
        said_ = " ".join(jackfield("history", "Norwell", "NV7", *at).out.split())
        assert "corrects the same visit in another way" in said_
    jackfield("undo", winner)
    assert [one["id"] for one in jackfield("show", "Norwell", "NV7", "--json").json["visits"]] == [loser]
    jackfield("undo", winner)
    new = jackfield("correct", loser, "1.outcome=weak", "--json").json["visit"]
    [shown] = jackfield("show", "Norwell", "NV7", "--json").json["visits"]
    assert (shown["id"], sorted(shown["supersedes"])) == (new, sorted(made.values()))
    jackfield("share", "out", tmp_path / "end.jsonl")
    jackfield("share", "in", tmp_path / "end.jsonl", "--home", tmp_path / "o")
    there = jackfield("show", "Norwell", "NV7", "--json", "--home", tmp_path / "o").json["visits"]
    assert [one["id"] for one in there] == [new]


def test_a_correction_of_a_correction_that_was_withdrawn_still_takes_the_place(either: Store) -> None:
    [first] = fill(either, 1)
    [second] = either.record([visit_from({**visit_data("M0", note="2"), "supersedes": [first]})]).recorded
    again = visit_from({**visit_data("M0", note="3"), "supersedes": [second.id]})
    [third] = either.record([again]).recorded
    either.withdraw([second.id])
    assert counted(either) == {"NORWELL/M0": [third.id]}
    assert Present(either).history_of("NORWELL/M0")[0].superseded_by == (third.id,)


# -- plain undo -----------------------------------------------------------------------------------------


def test_undo_without_an_id_leaves_what_colleagues_did(jackfield: Run, tmp_path: Path) -> None:
    [one] = jackfield("record", "Norwell", "NV7", "opt:ok", "--json").json["recorded"]
    jackfield("record", "Norwell", "NV8", "opt:ok")
    out, back, other = tmp_path / "1.jsonl", tmp_path / "2.jsonl", tmp_path / "o"
    mine = jackfield(
        "correct", jackfield("show", "nv8", "--json").json["visits"][0]["id"], "year=2015", "--json"
    )
    jackfield("share", "out", out)
    jackfield("share", "in", out, "--home", other)
    theirs = jackfield("correct", one["visit"], "year=2016", "--home", other, "--json").json["visit"]
    jackfield("share", "out", back, "--home", other)
    jackfield("share", "in", back)
    done = jackfield("undo")
    assert (done.code, "undoing the correction" in done.err, "Norwell NV8" in done.err) == (0, True, True)
    assert mine.json["visit"][:8] in done.err
    assert [v["id"] for v in jackfield("show", "nv7", "--json").json["visits"]] == [theirs]
    none = jackfield("undo")
    assert (none.code, theirs[:8] in none.err) == (1, True)
    assert jackfield("undo", theirs).code == 0
    assert [v["id"] for v in jackfield("show", "nv7", "--json").json["visits"]] == [one["visit"]]


# -- the laws of a join ---------------------------------------------------------------------------------

ACTS = ("record", "correct", "withdraw", "undo", "merge", "share", "share")
STEPS = st.lists(st.tuples(st.sampled_from(ACTS), st.integers(0, 2), st.integers(0, 20)), max_size=14)


def act(stores: list[Store], what: str, which: int, number: int) -> None:
    """One thing that may happen in one of three books."""
    store = stores[which]
    known = sorted({one.id for some in Present(store).visits() for one in some})
    if what == "record" or not known:
        store.record(
            [visit_from(visit_data(f"M{number % 4}", note=str(number)))], alike=lambda _: number % 2 == 0
        )
        return
    one = known[number % len(known)]
    if what == "correct":
        store.record([visit_from({**visit_data(f"M{number % 4}", note=f"c{number}"), "supersedes": [one]})])
    elif what == "withdraw":
        store.withdraw([one])
    elif what == "undo":
        store.reinstate([one])
    elif what == "merge":
        store.alias(f"NORWELL/M{number % 4}", f"NORWELL/M{number % 3}")
    else:
        stores[number % 3].merge(facts(store), outside=True)


@settings(max_examples=150 if LONG else 8, deadline=None)
@given(steps=STEPS, order=st.permutations(range(3)))
def test_three_books_end_with_the_same_standing_visits_whatever_happened(
    tmp_path_factory: pytest.TempPathFactory, steps: list[tuple[str, int, int]], order: list[int]
) -> None:
    folder = tmp_path_factory.mktemp("laws")
    stores = [Store.open(folder / f"{one}.sqlite") for one in "abc"]
    try:
        index: list[dict[str, list[str]]] = [{}, {}, {}]
        seen = [0, 0, 0]
        for step in steps:
            act(stores, *step)
            for number, store in enumerate(stores):  # an index that follows knows what one made anew knows
                with store.snapshot() as now:
                    for key, visits in now.visits_of_sets(now.sets_changed_since(seen[number])):
                        index[number].pop(key, None)
                        if visits:
                            index[number][key] = [one.id for one in visits]
                    seen[number] = now.revision
                assert index[number] == counted(store)
        for _ in range(2):
            for one in order:
                for other in range(3):
                    if other != one:
                        stores[other].merge(facts(stores[one]), outside=True)
        first = counted(stores[0])
        assert [counted(one) for one in stores] == [first] * 3
        before = [one.revision() for one in stores]
        for one in range(3):
            for other in range(3):
                stores[other].merge(facts(stores[one]), outside=True)
        assert [one.revision() for one in stores] == before  # once more changes nothing
        for name in "abc":
            for key, ids in first.items():
                assert [v.id for v in visits_of(folder / f"{name}.sqlite", key) or ()] == ids
            assert len({i for ids in first.values() for i in ids}) == sum(map(len, first.values()))
    finally:
        for one in stores:
            one.close()
