"""What was learned from all findings is read once, is right whoever wrote it, and is learned by one alone."""

from __future__ import annotations

import json
import os
import threading
from pathlib import Path
from typing import Any

import pytest

from kb.book import Book, derived
from kb.book.learned_evidence import FILE, Learned
from kb.domain.visit import Source, Visit, visit_from
from kb.evidence import Evidence


def met(model: str = "NV40-210", outcome: str = "carried", day: int = 1) -> Visit:
    return visit_from(
        {
            "date": f"2025-03-{day:02}",
            "source": {"make": "Norwell", "model": model, "year": 2014},
            "jacks": [{"form": "toslink", "marking": "OPTICAL OUT", "outcome": outcome}],
        }
    )


@pytest.fixture
def counted(monkeypatch: pytest.MonkeyPatch) -> dict[str, int]:
    """How often evidence was learned, and read from the file."""
    counts = {"learned": 0, "read": 0}
    learn, read = Evidence.learn, Evidence.from_dict

    def learning(*given: Any, **more: Any) -> Evidence:
        counts["learned"] += 1
        return learn(*given, **more)

    def reading(*given: Any, **more: Any) -> Evidence:
        counts["read"] += 1
        return read(*given, **more)

    monkeypatch.setattr(Evidence, "learn", learning)
    monkeypatch.setattr(Evidence, "from_dict", reading)
    return counts


def test_one_book_reads_what_was_learned_once(tmp_path: Path, counted: dict[str, int]) -> None:
    with Book.open(tmp_path) as book:
        book.record([met()])
        book.evidence()
    with Book.open(tmp_path) as book:
        for _ in range(5):
            book.evidence()
            book.chance(Source("Norwell", "NV40-210"))
    assert counted == {"learned": 1, "read": 1}


def test_learning_tells_how_far_it_is_and_what_is_kept_has_nothing_to_tell(tmp_path: Path) -> None:
    shares: list[float] = []

    def tell(done: int, total: int) -> None:
        shares.append(done / total)

    with Book.open(tmp_path, learning=tell) as book:
        book.record([met(f"NV{number}") for number in range(40, 60)])
        book.evidence()
    assert shares == sorted(shares)
    assert shares[19] == 0.5, "twenty sets read are half of the work"
    assert shares[-1] == 1
    shares.clear()
    with Book.open(tmp_path, learning=tell) as book:
        book.evidence()
    assert shares == []


def test_who_learned_does_not_read_it_back(tmp_path: Path, counted: dict[str, int]) -> None:
    with Book.open(tmp_path) as book:
        book.record([met()])
        for _ in range(3):
            book.evidence()
    assert counted == {"learned": 1, "read": 0}


def test_what_another_process_learned_is_seen_at_once(tmp_path: Path, counted: dict[str, int]) -> None:
    with Book.open(tmp_path) as book:
        book.record([met(f"NW{number}") for number in range(12)])
        assert book.evidence().visits == 12
        with Book.open(tmp_path) as other:  # nothing but the folder is shared, as with another process
            other.record([met("NV46-210")])
            assert other.evidence().visits == 13
        assert book.evidence().visits == 13
    # The other read what the first had learned, and both counted the one set that came in since.
    assert counted == {"learned": 1, "read": 1}


def test_in_a_small_book_a_few_sets_decide_much_and_are_learned_at_once(tmp_path: Path) -> None:
    """What one make's silent outputs taught of others is gone with them."""
    other = Source("Hallmere", "HM32-5")
    with Book.open(tmp_path) as book:
        book.record([met(f"NW{number}", "silent") for number in range(4)])
        assert book.evidence().visits == 4
        for number in range(4):
            [visit] = book.visits("Norwell", f"NW{number}")
            [jack] = book.view("Norwell", f"NW{number}").panel.jacks
            book.store.withdraw([visit.id])
        with Book.open(tmp_path / "empty") as empty:
            assert book.chance(other)(jack).p == pytest.approx(empty.chance(other)(jack).p)


def test_what_another_process_recorded_is_never_missing(tmp_path: Path) -> None:
    with Book.open(tmp_path) as book:
        book.record([met()])
        book.evidence()
        with Book.open(tmp_path) as other:
            other.record([met("NV46-210")])  # recorded, but nobody has learned from it
        assert book.evidence().visits == 2


def test_an_older_file_put_in_its_place_is_not_believed(tmp_path: Path) -> None:
    kept = derived(tmp_path) / FILE
    with Book.open(tmp_path) as book:
        book.record([met()])
        book.evidence()
        older = kept.read_bytes()
        book.record([met("NV46-210")])
        assert book.evidence().visits == 2
        kept.write_bytes(older)
        assert book.evidence().visits == 2


def test_a_file_of_the_same_size_and_time_is_another_file(tmp_path: Path) -> None:
    kept = derived(tmp_path) / FILE
    with Book.open(tmp_path) as book:
        book.record([met()])
        book.evidence()
        found = kept.stat()
        first, trees = kept.read_text().split("\n", 1)
        data = json.loads(first)
        data["standing"][2] = "0" * len(data["standing"][2])
        other = kept.with_suffix(".other")
        other.write_text(f"{json.dumps(data)}\n{trees}")
        os.utime(other, ns=(found.st_atime_ns, found.st_mtime_ns))
        other.replace(kept)
        assert (kept.stat().st_size, kept.stat().st_mtime_ns) == (found.st_size, found.st_mtime_ns)
        now = book.learned.kept()
        assert now is not None
        assert now.standing.mark == data["standing"][2]


def test_where_it_cannot_be_kept_it_is_known_as_long_as_the_book_is_open(
    tmp_path: Path, counted: dict[str, int], monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("kb.book.learned_evidence.write_mine", full)
    with Book.open(tmp_path) as book:
        book.record([met()])
        for _ in range(3):
            assert book.evidence().visits == 1
    assert counted == {"learned": 1, "read": 0}
    assert not (derived(tmp_path) / FILE).exists()


def test_of_many_threads_that_need_it_one_learns(tmp_path: Path, counted: dict[str, int]) -> None:
    with Book.open(tmp_path) as book:
        book.record([met(day=day) for day in range(1, 20)])
    shared = Learned(derived(tmp_path))
    ready, visits = threading.Barrier(6), []

    def ask() -> None:
        with Book.open(tmp_path, learned=shared) as book:
            ready.wait()
            visits.append(book.evidence().visits)

    threads = [threading.Thread(target=ask) for _ in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert visits == [19] * 6
    assert counted["learned"] == 1


def test_nobody_waits_where_learning_goes_on_beside(tmp_path: Path, counted: dict[str, int]) -> None:
    asked: list[Learned] = []
    shared = Learned(derived(tmp_path), beside=asked.append)
    with Book.open(tmp_path, learned=shared) as book:
        book.record([met()])
        book.chance(Source("Norwell", "NV40-210"))
        assert counted["learned"] == 1
        assert not asked
        book.record([met(f"NW{number}") for number in range(40)])
        book.chance(Source("Norwell", "NV40-210"))
        assert counted["learned"] == 1
        assert asked == [shared]


def test_a_success_just_recorded_makes_its_jack_no_less_likely(tmp_path: Path) -> None:
    """What was learned has not seen it yet; the set's other findings count as before all the same."""
    source = Source("Norwell", "NV40-210", year=2014)
    with Book.open(tmp_path) as book:
        book.record([met(day=day) for day in range(1, 5)] + [met("NV46-210", day=day) for day in range(1, 9)])

        def works() -> float:
            [jack] = book.view("Norwell", "NV40-210").panel.jacks
            return book.chance(source)(jack).p

        before = works()
        book.record([met(day=9)])
        just_recorded = works()
        book.record([met(day=10, outcome="silent")])
        after_a_failure = works()
        book.learned.learn(book.store)
        assert before < just_recorded
        assert after_a_failure < just_recorded
        assert works() == pytest.approx(after_a_failure, abs=0.03)
