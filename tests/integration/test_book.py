"""The open book: store and index are one, whatever happens to the index."""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from kb.base.errors import NotFound
from kb.book import Book
from kb.domain.visit import Visit, visit_from
from kb.domain.words import DriverInput
from kb.settings import Settings, save

ROOT = Path(__file__).parents[2]


def visit(model: str = "NV40-210", make: str = "Norwell", **more: object) -> Visit:
    jacks = [{"form": "toslink", "marking": "OPTICAL OUT"}]
    source = {"make": make, "model": model}
    return visit_from({"date": "2026-03-04", "source": source, "jacks": jacks, **more})


def test_an_empty_book_answers_and_leaves_no_trace(tmp_path: Path) -> None:
    home = tmp_path / "book"
    with Book.open(home) as book:
        assert book.find("nv40").matches == ()
        assert book.visits("Norwell", "NV40") == []
        with book.searcher() as searcher:
            assert searcher.find("nv40").matches == ()
        with pytest.raises(NotFound):
            book.view("Norwell", "NV40")
    assert not home.exists()


def test_what_was_recorded_is_found_at_once(tmp_path: Path) -> None:
    with Book.open(tmp_path) as book:
        book.record([visit()])
        assert book.find("nv40210").matches[0].findings == 1
        book.record([visit(note="again")])
        assert book.find("nv40210").matches[0].findings == 2


def test_spellings_of_one_model_are_one_set(tmp_path: Path) -> None:
    with Book.open(tmp_path) as book:
        book.record([visit("NV40-210"), visit("nv 40 210"), visit("NV40/210", "NORWELL")])
        (match,) = book.find("nv40210").matches
        assert match.findings == 3
        assert len(book.view("norwell", "NV40210").visits) == 3


@pytest.mark.parametrize("harm", ["missing", "half", "garbage", "words"])
def test_a_missing_or_broken_index_is_made_anew_by_itself(tmp_path: Path, harm: str) -> None:
    with Book.open(tmp_path) as book:
        book.record([visit(note="behind the cabinet")])
        book.find("cabinet")
    index = tmp_path / "index"
    if harm == "missing":
        shutil.rmtree(index)
    elif harm == "words":
        for folder in index.rglob("words"):
            shutil.rmtree(folder)
    else:
        for file in (f for f in index.rglob("*") if f.is_file()):
            file.write_bytes(
                file.read_bytes()[: file.stat().st_size // 2] if harm == "half" else b"\x00garbage" * 999
            )
    with Book.open(tmp_path) as book:
        assert book.find("nv40-210").matches[0].model == "NV40-210"
        assert book.find("cabinet").matches[0].model == "NV40-210"


def test_a_crash_between_store_and_index_heals_at_the_next_question(tmp_path: Path) -> None:
    with Book.open(tmp_path) as book:
        book.record([visit()])
        book.store.record([visit("NV46-210")])  # the store has it; the index was never told
    with Book.open(tmp_path) as book:
        assert book.find("nv46-210").matches[0].how == "exact"


def test_a_copy_of_the_book_that_went_on_elsewhere_is_noticed(tmp_path: Path) -> None:
    here, there = tmp_path / "here", tmp_path / "there"
    with Book.open(here) as book:
        book.record([visit("NV40-210")])
    shutil.copytree(here, there)
    for home, model in ((here, "NV46-210"), (there, "NV55-210")):
        with Book.open(home) as book:
            book.record([visit(model)])
    (here / "book.sqlite").unlink()
    for old in here.glob("book.sqlite-*"):
        old.unlink()
    with Book.open(there) as book:
        book.store.close()
    shutil.copy(there / "book.sqlite", here / "book.sqlite")
    with Book.open(here) as book:
        assert {m.model for m in book.find("norwell").matches} == {"NV40-210", "NV55-210"}


def test_the_best_way_follows_the_settings(tmp_path: Path) -> None:
    with Book.open(tmp_path) as book:
        book.record([visit()])
        assert book.find("nv40210").matches[0].best["needs_dac"] is True
    save(tmp_path, Settings(inputs=(DriverInput.OPTICAL,)))
    with Book.open(tmp_path) as book:
        assert book.find("nv40210").matches[0].best["needs_dac"] is False


def test_a_cold_lookup_loads_neither_sqlalchemy_nor_whoosh(tmp_path: Path) -> None:
    with Book.open(tmp_path) as book:
        book.record([visit()])
    code = (
        "import sys; from kb.cli.main import run; run(['find', 'nv40-210', '--json']);"
        "import json; json.dump(sorted(m for m in sys.modules if '.' not in m), sys.stderr)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, "--home", str(tmp_path)],
        env={"JACKFIELD_HOME": str(tmp_path), "PYTHONPATH": str(ROOT), "PATH": ""},
        capture_output=True,
        check=True,
    )
    assert json.loads(done.stdout)["matches"][0]["model"] == "NV40-210"
    assert not {"sqlalchemy", "whoosh", "alembic", "rich", "hypothesis"} & set(json.loads(done.stderr))


def test_an_index_built_by_updates_answers_like_one_built_anew(tmp_path: Path) -> None:
    lines = (ROOT / "data" / "demo" / "visits.jsonl").read_text(encoding="utf-8").splitlines()
    visits = [visit_from(json.loads(line)) for line in lines[:120]]
    queries = ["nv40", "norwell", "optical silent", "headphone mute", "hallmere 32fn14", "kopfhörer"]
    with Book.open(tmp_path) as book:
        for start in range(0, len(visits), 10):
            book.record(visits[start : start + 10])
        updated = [book.find(query) for query in queries]
        book.reindex()
        anew = [book.find(query) for query in queries]
    for one, other in zip(updated, anew, strict=True):
        assert {(m.model, m.how) for m in one.matches} == {(m.model, m.how) for m in other.matches}


# -- evidence ---------------------------------------------------------------------------------------


def optical(outcome: str, number: int = 0, model: str = "NV40-210") -> Visit:
    jack = {"form": "toslink", "marking": "OPTICAL OUT", "outcome": outcome, "note": f"{number}"}
    source = {"make": "Norwell", "model": model, "year": 2014}
    return visit_from({"date": "2026-03-04", "source": source, "jacks": [jack]})


def works(book: Book, model: str = "NV40-210") -> float:
    known = book.view("Norwell", model)
    path = book.connect(known.panel, known.source).chosen
    assert path is not None
    return path.p_works


def test_what_carried_before_is_likelier_to_carry_again(tmp_path: Path) -> None:
    with Book.open(tmp_path) as book:
        book.record([optical("not-tried")])
        before = works(book)
        book.record([optical("carried", number) for number in range(4)])
        assert works(book) > before


def test_sisters_lend_their_evidence(tmp_path: Path) -> None:
    with Book.open(tmp_path / "good") as good, Book.open(tmp_path / "bad") as bad:
        for book, outcome in ((good, "carried"), (bad, "weak")):
            book.record(
                [optical(outcome, number, f"NV{size}-210") for number, size in enumerate((42, 46, 55))]
            )
            book.record([optical("not-tried")])
        assert works(good) > works(bad)


def test_what_was_just_recorded_of_a_set_counts_at_once(tmp_path: Path) -> None:
    with Book.open(tmp_path) as book:
        book.record([optical("carried", number) for number in range(3)])
        before = works(book)  # learned and kept
        book.record([optical("weak", number) for number in range(5)])
        assert works(book) < before


def test_evidence_that_is_lost_or_spoilt_is_learned_anew(tmp_path: Path) -> None:
    with Book.open(tmp_path) as book:
        book.record([optical("carried", number) for number in range(3)])
        before = works(book)
        (kept,) = tmp_path.rglob("evidence.jsonl")
        whole = kept.read_bytes()
        first, *trees = whole.split(b"\n")
        halfway = len(first) + len(b"".join(trees)) // 2
        for spoilt in (
            b"{",
            b'{"standing": [1], "evidence": {}}',
            b"[]",
            b'{"trees": [], "standing": [], "evidence": {}}',
            first,  # without what followed
            whole[:halfway],
            whole[:halfway] + bytes(8) + whole[halfway + 8 :],  # as a power cut leaves it
            b"\n".join((first, trees[0].replace(b"1", b"2"), *trees[1:])),
        ):
            assert spoilt != whole
            kept.write_bytes(spoilt)
            assert works(book) == before
            assert kept.read_bytes() == whole, "learned again, and kept"
        assert (kept.stat().st_mode & 0o077) == 0 or sys.platform == "win32"
