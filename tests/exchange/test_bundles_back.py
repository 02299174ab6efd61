"""What came with a bundle is taken back in one command, and brought back; what was here anyway stays."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from kb.domain.visit import visit_from
from kb.store import Store
from kb.store.bundles import Origin, bundles
from kb.store.content_id import sealed_id
from kb.store.one_set import visits_of
from tests.cli.conftest import Run
from tests.exchange.helpers import facts, facts_of, fill, standing, visit_data
from tests.present import Present

KEY = "NORWELL/NV1"


def bundle(number: int) -> Origin:
    return Origin(sealed_id("bundle", number), "bundle", name=f"{number}.jsonl")


def models(store: Store) -> list[str]:
    return sorted(Present(store).set_keys())


def both(store: Store, other: Store, number: int) -> None:
    store.merge(facts(other), outside=True, origin=bundle(number))


def test_all_that_came_with_a_bundle_goes_and_comes_again(either: Store, tmp_path: Path) -> None:
    with Store.open(tmp_path / "theirs.sqlite") as theirs:
        fill(theirs, 3, "T")
        theirs.alias("NORWELL/T0", "NORWELL/T1")
        fill(either, 1, "OWN")
        before = standing(either)
        both(either, theirs, 1)
        after = standing(either)
        assert len(models(either)) == 3
        seen = either.revision()
        assert either.turn_bundle(bundle(1).id, taken_back=True)
        assert standing(either) == before
        with either.snapshot() as now:
            assert {"NORWELL/T0", "NORWELL/T1", "NORWELL/T2"} <= set(now.sets_changed_since(seen))
            assert [(one.origin.name, one.facts, one.visits, one.taken_back) for one in bundles(now)] == [
                ("1.jsonl", 4, 3, True)
            ]
        assert facts(either) == [one for one in facts(either) if "OWN" in json.dumps(repr(one))]
        assert not either.turn_bundle(bundle(1).id, taken_back=True)
        assert either.turn_bundle(bundle(1).id, taken_back=False)
        assert standing(either) == after


def test_what_a_bundle_withdrew_or_corrected_stands_again(either: Store, tmp_path: Path) -> None:
    with Store.open(tmp_path / "theirs.sqlite") as theirs:
        one, two = fill(either, 2)
        theirs.merge(facts(either), outside=True)
        theirs.withdraw([one])
        theirs.record([visit_from({**visit_data("M1"), "supersedes": [two]})])
        before = standing(either)
        both(either, theirs, 1)
        assert standing(either) != before
        either.turn_bundle(bundle(1).id, taken_back=True)
        assert standing(either) == before
        assert either.withdraw([one]) == (one,)  # the very words that the bundle had brought
        assert models(either) == ["NORWELL/M1"]
        either.turn_bundle(bundle(1).id, taken_back=False)
        assert models(either) == ["NORWELL/M1"]
        assert either.visits_of("NORWELL/M1")[0].supersedes == (two,)


def test_what_came_with_another_bundle_or_was_recorded_here_stays(either: Store, tmp_path: Path) -> None:
    with Store.open(tmp_path / "a.sqlite") as a, Store.open(tmp_path / "b.sqlite") as b:
        fill(a, 1, "A")
        b.merge(facts(a), outside=True)
        a.record([visit_from(visit_data("NV9"))], alike=lambda _: True)
        fill(b, 1, "B")
        both(either, a, 1)
        both(either, b, 2)
        either.record([visit_from(visit_data("NV9"))], alike=lambda _: True)
        either.turn_bundle(bundle(1).id, taken_back=True)
        assert models(either) == ["NORWELL/A0", "NORWELL/B0", "NORWELL/NV9"]
        either.turn_bundle(bundle(2).id, taken_back=True)
        assert models(either) == ["NORWELL/NV9"]
        either.turn_bundle(bundle(1).id, taken_back=False)
        assert models(either) == ["NORWELL/A0", "NORWELL/NV9"]


def test_a_bundle_that_is_taken_in_again_counts_again(tmp_path: Path) -> None:
    with Store.open(tmp_path / "a.sqlite") as a, Store.open(tmp_path / "b.sqlite") as b:
        fill(a, 2, "A")
        both(b, a, 1)
        b.turn_bundle(bundle(1).id, taken_back=True)
        assert b.merge(facts(a), outside=True, origin=bundle(1)).brought_back
        assert models(b) == models(a)
        revision = b.revision()
        assert not b.merge(facts(a), outside=True, origin=bundle(1)).brought_back
        assert b.revision() == revision


def test_a_look_without_sqlalchemy_sees_what_was_taken_back(tmp_path: Path) -> None:
    path = tmp_path / "b.sqlite"
    with Store.open(tmp_path / "a.sqlite") as a, Store.open(path) as b:
        fill(a, 1)
        both(b, a, 1)
        for taken, number in ((True, 0), (False, 1)):
            b.turn_bundle(bundle(1).id, taken_back=taken)
            assert len(visits_of(path, "NORWELL/M0") or ()) == number
            assert visits_of(path, "NORWELL/M0") == b.visits_of("NORWELL/M0")


def test_a_dump_holds_what_counts_and_loads_back(jackfield: Run, tmp_path: Path) -> None:
    bundle_, dump = tmp_path / "b.jsonl", tmp_path / "d.jsonl"
    with Store.open(tmp_path / "a" / "book.sqlite") as a:
        fill(a, 2, "A")
    jackfield("record", "Hallmere", "32FN14", "hp")
    jackfield("share", "out", bundle_, "--home", tmp_path / "a")
    came = jackfield("share", "in", bundle_, "--json").json["bundles"][0]
    assert jackfield("share", "undo", came["bundle"][:8], "--json").json["taken_back"] is True
    dump.write_text(jackfield("dump").out, encoding="utf-8")
    assert jackfield("load", dump, "--home", tmp_path / "c").code == 0
    with Store.open(tmp_path / "c" / "book.sqlite") as copy:
        assert models(copy) == ["HALLMERE/32FN14"]


def test_bundles_are_listed_and_taken_back_by_their_id(jackfield: Run, tmp_path: Path, home: Path) -> None:
    out = tmp_path / "north.jsonl.gz"
    with Store.open(tmp_path / "a" / "book.sqlite") as a:
        a.record([visit_from(visit_data("NV1"))])
    jackfield("share", "out", out, "--home", tmp_path / "a")
    jackfield("record", "Hallmere", "32FN14", "hp")
    assert "no bundle" in jackfield("share", "bundles").out
    jackfield("share", "in", out)
    [one] = jackfield("share", "bundles", "--json").json["bundles"]
    assert (one["name"], one["signed"], one["facts"], one["taken_back"]) == (
        "north.jsonl.gz",
        False,
        1,
        False,
    )
    listed = jackfield("share", "bundles").out
    assert f"{one['bundle'][:8]}" in listed
    assert "north.jsonl.gz, not signed" in listed
    assert max(map(len, listed.splitlines())) <= 80
    assert jackfield("find", "nv1").code == 0
    done = jackfield("share", "undo", one["bundle"][:8])
    assert (done.code, "taken back" in done.out) == (0, True)
    assert jackfield("find", "nv1").code == 1
    assert jackfield("show", "Norwell", "NV1").code == 1
    assert jackfield("find", "32fn14").code == 0
    assert "taken back" in jackfield("history", "Norwell", "NV1").out
    assert "taken back" in jackfield("share", "bundles").out
    give = jackfield("share", "out", tmp_path / "mine.jsonl", "--json").json
    assert (give["visits"], "NV1" in (tmp_path / "mine.jsonl").read_text()) == (1, False)
    assert jackfield("share", "undo", one["bundle"]).code == 0
    assert jackfield("find", "nv1").code == 0


@pytest.mark.parametrize("given", ["ffffffff", "../x", ""])
def test_no_bundle_is_named_so(jackfield: Run, given: str) -> None:
    jackfield("record", "Hallmere", "32FN14", "hp")
    done = jackfield("share", "undo", given)
    assert (done.code, "share bundles" in done.err) == (2, True)


def test_what_was_brought_back_goes_to_a_colleague_who_had_the_rest(jackfield: Run, tmp_path: Path) -> None:
    theirs, first, second = tmp_path / "b.jsonl", tmp_path / "1.jsonl", tmp_path / "2.jsonl"
    with Store.open(tmp_path / "a" / "book.sqlite") as a:
        [one, _] = fill(a, 2, "A")
        a.withdraw([one])
        a.reinstate([one])
    jackfield("share", "out", theirs, "--home", tmp_path / "a")
    came: dict[str, Any] = jackfield("share", "in", theirs, "--json").json["bundles"][0]
    jackfield("share", "undo", came["bundle"])
    jackfield("record", "Hallmere", "32FN14", "hp")
    jackfield("share", "out", first, "--for", "north", "--json")
    jackfield("share", "undo", came["bundle"])
    again = jackfield("share", "out", second, "--for", "north", "--json").json
    assert (again["visits"], again["withdrawals"]) == (2, 2)
    for file in (first, second):
        jackfield("share", "in", file, "--home", tmp_path / "c")
    with Store.open(tmp_path / "c" / "book.sqlite") as other:
        assert models(other) == ["HALLMERE/32FN14", "NORWELL/A0", "NORWELL/A1"]
        assert facts_of(other, private=False)
