"""What was held back, taken back, corrected or withdrawn does not leave the book, in whatever way."""

from __future__ import annotations

import gzip
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kb.domain.visit import visit_from
from kb.exchange.corrections import corrected
from kb.exchange.sharing import Given, State, outgoing, prepare, release, released, unreviewed
from kb.store import Store
from tests.cli.conftest import Run
from tests.conftest import LONG
from tests.exchange.helpers import standing, visit_data

#: What somebody did with a visit and its notes before anything was shared.
FATES = ("nothing", "released", "taken-back", "corrected", "withdrawn", "held", "held-merged")
CANARY = "QXZJ"  # long enough that no binary file holds it by chance


def planted(number: int, fate: str) -> dict[str, Any]:
    """A visit with a canary wherever nobody else may read."""
    data = visit_data(f"NV{number}")
    data["readings"], data["case"] = {"place": f"QXZJPLACE{number}"}, {"words": f"QXZJCASE{number}"}
    data["by"], data["job"] = f"QXZJWHO{number}", f"QXZJJOB{number}"
    data["driver"]["name"] = f"QXZJDRIVER{number}"
    data["note"] = f"QXZJNOTE{number}" if fate != "released" else f"free to go {number}"
    for jack in data["jacks"]:
        jack["note"] = f"QXZJJACK{number}"
    if fate.startswith("held"):
        data["source"] |= {"make": f"Mrs QXZJMAKE{number}"}
        data["jacks"][0]["setting"] = f"ask Mrs QXZJSETTING{number}"
    return data


def act(store: Store, number: int, fate: str) -> None:
    """Record one visit, and do with it what its fate is."""
    data = planted(number, fate)
    visit = visit_from(data)
    [(one, _, _)] = store.record([visit]).recorded
    with store.snapshot() as now:
        mine = [note for note in unreviewed(now) if note.visit.id == one]
    if fate == "released":
        assert release(store, [(note, note.note) for note in mine if note.jack is None]) == 1
    elif fate in ("taken-back", "corrected", "withdrawn", "held"):
        release(store, [(note, note.note) for note in mine])
    if fate == "taken-back":
        with store.snapshot() as now:
            notes, _ = released(now)
        store.withdraw([note.note.id for note in notes if note.note.visit == one])
    elif fate == "corrected":
        old = store.visit(one)
        store.record([corrected(old, ["note=", "1.note=", "2.note=", "1.setting=menu"])])
    elif fate == "withdrawn":
        store.withdraw([one])
    elif fate == "held-merged":
        store.alias(visit.source.key, f"NORWELL/NV{number}")


def left(store: Store, since: int = 0) -> bytes:
    """What a bundle of the book would hold."""
    from kb.exchange.fact_lines import to_line

    with store.snapshot() as now, closing(outgoing(now, since, Given())) as facts:
        return "".join(to_line(one) for one in facts).encode()


@settings(max_examples=60 if LONG else 6, deadline=None)
@given(fates=st.lists(st.sampled_from(FATES), min_size=1, max_size=7))
def test_no_canary_leaves_whatever_was_done_before(
    tmp_path_factory: pytest.TempPathFactory, fates: list[str]
) -> None:
    folder = tmp_path_factory.mktemp("canary")
    with Store.open(folder / "own" / "book.sqlite") as own, Store.open(folder / "team.sqlite") as team:
        for number, fate in enumerate(fates):
            act(own, number, fate)
        out = left(own)
        assert CANARY.encode() not in out
        assert out.count(b"free to go") == fates.count("released")
        assert out.count(b'{"visit"') == sum(not fate.startswith(("held", "withdrawn")) for fate in fates)
        with own.snapshot() as now, closing(outgoing(now, 0, Given())) as facts:
            team.merge(facts, outside=True)
    for file in folder.glob("team.sqlite*"):
        assert CANARY.encode() not in file.read_bytes()


def test_no_canary_is_in_any_file_or_page_that_leaves(jackfield: Run, home: Path, tmp_path: Path) -> None:
    with Store.open(home / "book.sqlite") as store:
        for number, fate in enumerate(FATES):
            act(store, number, fate)
    plain, packed, page = tmp_path / "b.jsonl", tmp_path / "b.jsonl.gz", tmp_path / "page.html"
    assert jackfield("share", "out", plain).code == 0
    assert jackfield("share", "out", packed, "--for", "north", "--json").json["held_merges"]
    url = f"sqlite:///{tmp_path}/team/book.sqlite"
    assert jackfield("share", "push", url).code == 0
    assert jackfield("share", "pull", url, "--home", tmp_path / "other").code == 0
    assert jackfield("share", "out", tmp_path / "on.jsonl", "--home", tmp_path / "other").code == 0
    assert jackfield("sheet", "Norwell", "NV0", "--out", page).code == 0
    tag = tmp_path / "tag.svg"
    assert jackfield("tag", "Norwell", "NV0", "--out", tag).code == 0
    written = [plain.read_bytes(), gzip.decompress(packed.read_bytes()), packed.read_bytes()]
    written += [page.read_bytes(), tag.read_bytes()]
    for folder in (tmp_path / "team", tmp_path / "other"):
        files = [file.read_bytes() for file in folder.rglob("*") if file.is_file()]
        assert files
        written += files
    assert [said[:40] for said in written if CANARY.encode() in said] == []


def test_a_merge_waits_until_the_visit_with_its_spelling_may_go(
    jackfield: Run, home: Path, tmp_path: Path
) -> None:
    jackfield("record", "Mrs Alder", "TV1", "hp")
    jackfield("merge", "Mrs Alder", "TV1", "--into", "Norwell", "NV1")
    first = jackfield("share", "out", tmp_path / "1", "--for", "north", "--json").json
    assert (first["visits"], first["aliases"], len(first["held_merges"])) == (0, 0, 1)
    assert "MRSALDER" not in (tmp_path / "1").read_text()
    told = jackfield("share", "out", tmp_path / "told")
    assert "held back: the merge MRSALDER/TV1 is NORWELL/NV1" in told.err
    jackfield("share", "review", "--approve", first["held"][0]["visit"])
    second = jackfield("share", "out", tmp_path / "2", "--for", "north", "--json").json
    assert (second["visits"], second["aliases"], second["held_merges"]) == (1, 1, [])


def test_a_merge_of_spellings_that_may_go_goes_and_one_that_was_undone_does_not(
    jackfield: Run, home: Path, tmp_path: Path
) -> None:
    jackfield("record", "Norwel", "NV1", "hp")
    merge = jackfield("merge", "Norwel", "NV1", "--into", "Norwell", "NV1", "--json").json["merge"]
    assert jackfield("share", "out", tmp_path / "1", "--json").json["aliases"] == 1
    jackfield("undo", merge)
    done = jackfield("share", "out", tmp_path / "2", "--json").json
    assert (done["aliases"], done["withdrawals"]) == (0, 1)
    assert "NORWELL/NV1" not in (tmp_path / "2").read_text()


@pytest.fixture
def noted(jackfield: Run, home: Path) -> str:
    """A visit with a note that was released; its id."""
    with Store.open(home / "book.sqlite") as store:
        store.record([visit_from(visit_data("NV1", note="QXZJNOTE asked for the blue cable"))])
    [one] = [note for note in jackfield("share", "review", "--json").json["notes"] if note["jack"] is None]
    assert jackfield("share", "review", "--release", one["name"], "--json").json["released"] == 1
    return str(one["visit"])


@pytest.mark.parametrize("how", ["undo", "keep", "correct", "withdraw"])
def test_a_released_note_goes_out_no_more(jackfield: Run, noted: str, tmp_path: Path, how: str) -> None:
    first = tmp_path / "1.jsonl"
    assert jackfield("share", "out", first, "--json").json["notes"] == 1
    [listed] = jackfield("share", "review", "--released", "--json").json["released"]
    assert (listed["state"], listed["own"]) == ("goes-out", True)
    words = {
        "undo": ["undo", listed["id"]],
        "keep": ["share", "review", "--keep", noted[:8]],
        "correct": ["correct", noted, "note="],
        "withdraw": ["withdraw", noted],
    }[how]
    assert jackfield(*words).code == 0
    second = tmp_path / "2.jsonl"
    assert jackfield("share", "out", second, "--json").json["notes"] == 0
    assert "QXZJNOTE" not in second.read_text()
    [listed] = jackfield("share", "review", "--released", "--json").json["released"]
    state = {"correct": "visit-corrected", "withdraw": "visit-withdrawn"}.get(how, "taken-back")
    assert listed["state"] == state
    shown = jackfield("share", "review", "--released")
    assert "QXZJNOTE asked for the blue cable" in shown.out
    assert "cannot be called back" in shown.err
    # The book that has it hides it once it gets the next bundle.
    jackfield("share", "in", first, "--home", tmp_path / "o")
    assert "QXZJNOTE" in jackfield("show", "Norwell", "NV1", "--home", tmp_path / "o").out
    jackfield("share", "in", second, "--home", tmp_path / "o")
    assert "QXZJNOTE" not in jackfield("show", "Norwell", "NV1", "--home", tmp_path / "o").out


def test_what_was_taken_back_can_be_released_again_and_reaches_who_missed_it(
    jackfield: Run, noted: str, tmp_path: Path
) -> None:
    done = jackfield("share", "review", "--keep", noted, "--json").json
    assert (done["kept"], len(done["taken_back"])) == (1, 1)
    assert jackfield("share", "out", tmp_path / "1", "--for", "north", "--json").json["notes"] == 0
    assert noted not in [one["name"] for one in jackfield("share", "review", "--json").json["notes"]]
    again = jackfield("share", "review", "--release", noted)
    assert "1 note released" in again.out
    assert jackfield("share", "out", tmp_path / "2", "--for", "north", "--json").json["notes"] == 1


def test_a_note_that_was_declined_can_be_released_after_all(jackfield: Run, home: Path) -> None:
    with Store.open(home / "book.sqlite") as store:
        store.record([visit_from(visit_data("NV1"))])
    name = jackfield("share", "review", "--json").json["notes"][0]["name"]
    assert "1 note kept here" in jackfield("share", "review", "--keep", name).out
    assert jackfield("share", "review", "--keep", name).code == 0
    assert jackfield("share", "review", "--release", name, "--json").json["released"] == 1
    both = jackfield("share", "review", "--release", name, "--keep", name)
    assert (both.code, "one of the two" in both.err) == (2, True)


def test_an_approved_visit_that_is_kept_goes_out_no_more(jackfield: Run, home: Path, tmp_path: Path) -> None:
    jackfield("record", "Mrs Alder", "TV1", "hp")
    visit = jackfield("share", "review", "--json").json["held"][0]["visit"]
    assert jackfield("share", "review", "--approve", visit, "--json").json["approved"] == 1
    assert jackfield("share", "out", tmp_path / "1", "--json").json["visits"] == 1
    [listed] = jackfield("share", "review", "--released", "--json").json["approved"]
    assert (listed["visit"], listed["state"]) == (visit, "goes-out")
    done = jackfield("share", "review", "--keep", visit[:8])
    assert "1 visit held back" in done.out
    assert "cannot be called back" in done.err
    said = jackfield("share", "out", tmp_path / "2", "--json").json
    assert (said["visits"], len(said["held"])) == (0, 1)
    assert "Alder" not in (tmp_path / "2").read_text()
    [listed] = jackfield("share", "review", "--released", "--json").json["approved"]
    assert (listed["visit"], listed["state"]) == (visit, "taken-back")
    jackfield("share", "review", "--approve", visit)
    [listed] = jackfield("share", "review", "--released", "--json").json["approved"]
    assert listed["state"] == "goes-out"


def test_a_note_waits_for_its_visit_to_be_approved(jackfield: Run, home: Path, tmp_path: Path) -> None:
    with Store.open(home / "book.sqlite") as store:
        store.record([visit_from(visit_data("TV1", source={"make": "Mrs Alder", "model": "TV1"}))])
    name = next(n["name"] for n in jackfield("share", "review", "--json").json["notes"] if n["jack"] is None)
    jackfield("share", "review", "--release", name)
    said = jackfield("share", "out", tmp_path / "1", "--for", "north", "--json").json
    assert (said["visits"], said["notes"]) == (0, 0)
    assert (
        jackfield("share", "review", "--released", "--json").json["released"][0]["state"] == "visit-held-back"
    )
    jackfield("share", "review", "--approve", name)
    said = jackfield("share", "out", tmp_path / "2", "--for", "north", "--json").json
    assert (said["visits"], said["notes"]) == (1, 1)


def test_a_shared_book_gives_no_note_that_was_taken_back(jackfield: Run, home: Path, tmp_path: Path) -> None:
    url = f"sqlite:///{tmp_path}/team.sqlite"
    with Store.open(url) as team:
        team.record([visit_from(visit_data("NV1"))])
        prepare(team)
        with team.snapshot() as now:
            release(team, [(note, note.note) for note in unreviewed(now) if note.jack is None])
        with team.snapshot() as now:
            [back], _ = released(now)
        team.withdraw([back.note.id])
    assert jackfield("share", "pull", url, "--json").json["notes"] == 0
    assert not [f for f in home.rglob("*") if f.is_file() and b"QXZJNOTE" in f.read_bytes()]
    with Store.open(url) as team:
        team.reinstate([back.note.id])
        assert back.state is State.GOES
    assert jackfield("share", "pull", url, "--json").json["notes"] == 1


def test_a_pull_gets_what_no_bundle_of_that_book_held(jackfield: Run, home: Path, tmp_path: Path) -> None:
    team, url = tmp_path / "team", f"sqlite:///{tmp_path}/team/book.sqlite"
    jackfield("record", "Mrs Alder", "TV1", "hp", "--home", team)
    jackfield("record", "Norwell", "NV1", "hp", "--home", team)
    jackfield("share", "out", tmp_path / "1", "--home", team)
    assert jackfield("share", "in", tmp_path / "1", "--json").json["bundles"][0]["visits"] == 1
    assert jackfield("share", "pull", url, "--json").json["visits"] == 1
    with Store.open(home / "book.sqlite") as own:
        assert len(standing(own)) == 2
    assert jackfield("share", "pull", url, "--json").json["already"] == 0


def test_share_review_says_what_it_did_one_by_one(jackfield: Run, home: Path) -> None:
    with Store.open(home / "book.sqlite") as store:
        data = visit_data("TV1", source={"make": "Mrs Alder", "model": "TV1"})
        store.record([visit_from(data)])
    done = jackfield("share", "review", "--ask", stdin="y\nn\ny\n")
    assert done.out.splitlines()[-1] == "1 note released, 1 note kept here, 1 visit approved"
