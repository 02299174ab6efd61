"""What a hostile file, a broken disk or a bad hour does to the book: one clear message, and nothing lost."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from tests.cli.conftest import Run
from tests.conftest import LONG
from tests.exchange.helpers import assert_whole

VisitFile = Callable[..., Path]
ROOT = Path(__file__).parents[2]
ONE = "00000000-0000-7000-8000-000000000001"
TWO = "00000000-0000-7000-8000-000000000002"


def outside(home: Path, *words: str, **more: str) -> subprocess.CompletedProcess[str]:
    """One command in a process of its own."""
    env = {**os.environ, "JACKFIELD_HOME": str(home), "PYTHONPATH": str(ROOT), **more}
    return subprocess.run(
        [sys.executable, "-m", "kb.cli.main", *words],
        env=env,
        capture_output=True,
        text=True,
        errors="replace",
    )


@pytest.mark.parametrize(
    "content",
    [
        "date=2026-03-04\n[source]\nmodel='x'\nmake" + ".a" * 3000 + "=1\n",
        "date=2026-03-04\n[source]\nmake='x'\nmodel='y'\nyear=0x" + "f" * 20_000 + "\n",
        "date=2026-03-04\n[source]\nmake='x'\nmodel=[[[[[[[[[[1]]]]]]]]]]\n",
    ],
)
def test_a_file_made_to_break_the_reader_gets_one_line(jackfield: Run, tmp_path: Path, content: str) -> None:
    file = tmp_path / "bad.toml"
    file.write_text(content)
    done = jackfield("record", "--file", file)
    assert (done.code, done.out) == (2, "")
    assert len(done.err) < 700
    assert "Traceback" not in done.err


def test_a_field_that_stands_twice_is_told(jackfield: Run, tmp_path: Path) -> None:
    twice = '{"date": "2026-03-04", "date": "2025-03-04", "source": {"make": "a", "model": "b"}}'
    assert "twice" in jackfield("record", "--file", "-", stdin=twice).err
    lines = tmp_path / "visits.jsonl"
    lines.write_text(twice)
    done = jackfield("record", "--file", lines)
    assert (done.code, "line 1: saw 'date' occurs twice" in done.err) == (2, True), done.err


def test_visits_that_take_each_others_place_are_refused(jackfield: Run, visit_file: VisitFile) -> None:
    first = json.loads(visit_file(id=ONE, supersedes=[TWO]).read_text())
    second = json.loads(visit_file(id=TWO, supersedes=[ONE], note="other").read_text())
    assert jackfield("record", "--file", "-", stdin=json.dumps([first, second])).code == 2
    assert jackfield("find", "nv40").code == 1
    assert jackfield("record", "--file", "-", stdin=json.dumps(first)).code == 0
    assert jackfield("record", "--file", "-", stdin=json.dumps(second)).code == 2
    assert jackfield("find", "nv40").code == 0
    assert jackfield("record", "--file", visit_file(id=ONE, supersedes=[ONE])).code == 2


@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")  # Whoosh drops a damaged file
@pytest.mark.parametrize("harm", ["middle", "words", "current"])
def test_damage_that_shows_only_at_the_question_is_mended(
    jackfield: Run, home: Path, visit_file: VisitFile, harm: str
) -> None:
    jackfield("record", "--file", visit_file())
    jackfield("find", "cabinet", "kitchen")
    index = home / "index" / "own"
    if harm == "middle":
        (keys,) = index.rglob("keys.sqlite")
        raw = bytearray(keys.read_bytes())
        raw[4096:-4096] = b"\x55" * len(raw[4096:-4096])
        keys.write_bytes(raw)
    elif harm == "words":
        for file in (f for f in index.rglob("words/*") if f.is_file()):
            file.write_bytes(b"\x55" * file.stat().st_size)
    else:
        (index / "current").write_text("gen-../../../etc")
    assert jackfield("find", "nv40-210").code == 0
    assert jackfield("find", "cabinet", "kitchen").code == 0


def test_a_question_never_makes_a_book(jackfield: Run, home: Path, tmp_path: Path) -> None:
    for words in (["find", "x"], ["show", "a", "b"], ["path", "a", "b"]):
        done = jackfield(*words, "--store", f"sqlite:///{tmp_path}/mistyped.db")
        assert done.code == 3
        assert "no book" in done.err
    assert not (tmp_path / "mistyped.db").exists()
    assert not home.exists()


def test_the_store_of_the_environment_is_the_book(
    jackfield: Run, home: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("JACKFIELD_STORE", f"sqlite:///{tmp_path}/shared.db")
    assert jackfield("record", "Norwell", "NV40-210", "hp").code == 0
    assert (tmp_path / "shared.db").exists()
    assert not (home / "book.sqlite").exists()
    assert jackfield("find", "nv40").code == 0


def test_one_bad_query_does_not_cost_the_others_their_answers(jackfield: Run, visit_file: VisitFile) -> None:
    jackfield("record", "--file", visit_file())
    done = jackfield("find", "--batch", "-", stdin='nv40-210\n"\nnv40-210\n')
    answers = [json.loads(line) for line in done.out.splitlines()]
    assert [len(answer["matches"]) for answer in answers] == [1, 0, 1]
    assert "line 2" in done.err
    assert done.code == 2


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no /dev/full here")
def test_what_was_recorded_counts_as_recorded_though_the_answer_is_lost(home: Path) -> None:
    with open("/dev/full", "w") as full:
        env = {**os.environ, "JACKFIELD_HOME": str(home), "PYTHONPATH": str(ROOT)}
        command = [sys.executable, "-m", "kb.cli.main", "record", "Norwell", "NV40-210", "hp"]
        done = subprocess.run(command, env=env, stdout=full, stderr=subprocess.PIPE, text=True)
    assert (done.returncode, "recorded" in done.stderr) == (0, True)
    assert outside(home, "find", "nv40").returncode == 0


@pytest.mark.skipif(os.name == "nt", reason="a shell with pipes")
def test_a_reader_that_goes_away_is_no_error(home: Path, visit_file: VisitFile) -> None:
    outside(home, "record", "--file", str(visit_file()))
    command = f"set -o pipefail; {sys.executable} -m kb.cli.main show Norwell NV40-210 | true"
    env = {**os.environ, "JACKFIELD_HOME": str(home), "PYTHONPATH": str(ROOT)}
    assert subprocess.run(["bash", "-c", command], env=env, capture_output=True).returncode == 0


def test_a_terminal_without_unicode_gets_an_answer(home: Path, visit_file: VisitFile) -> None:
    outside(home, "record", "--file", str(visit_file()))
    for words in (["show", "Norwell", "NV40-210"], ["path", "Norwell", "NV40-210"], ["find", "nv40"]):
        done = outside(home, *words, PYTHONIOENCODING="ascii")
        assert (done.returncode, done.stderr) == (0, "")


def test_folders_are_for_this_user_alone(home: Path, visit_file: VisitFile) -> None:
    old = os.umask(0)
    try:
        outside(home, "record", "--file", str(visit_file()))
        outside(home, "find", "kitchen")
    finally:
        os.umask(old)
    if os.name != "nt":
        open_to_others = [p for p in [home, *home.rglob("*")] if p.stat().st_mode & 0o077]
        assert not open_to_others


def test_many_that_record_and_find_at_once_lose_nothing(home: Path) -> None:
    count = 16 if LONG else 9

    def record(number: int) -> int:
        return outside(home, "record", "Norwell", f"NV{number}0-21{number}", "opt:ok", "hp:mute").returncode

    with ThreadPoolExecutor(8) as pool:
        assert set(pool.map(record, range(count))) == {0}
    queries = "\n".join(f"norwell NV{number}0-21{number}" for number in range(count))
    env = {**os.environ, "JACKFIELD_HOME": str(home), "PYTHONPATH": str(ROOT)}
    done = subprocess.run(
        [sys.executable, "-m", "kb.cli.main", "find", "--batch", "-"],
        env=env,
        input=queries,
        capture_output=True,
        text=True,
    )
    hows = [json.loads(line)["matches"][0]["how"] for line in done.stdout.splitlines()]
    assert hows == ["exact"] * count
    assert_whole(home / "book.sqlite")


def test_an_index_that_cannot_be_brought_up_to_date_still_answers(
    jackfield: Run, home: Path, visit_file: VisitFile, monkeypatch: pytest.MonkeyPatch
) -> None:
    from kb.base.errors import BookTrouble
    from kb.book import Book

    jackfield("record", "--file", visit_file())

    def no_room(book: Book) -> None:
        raise BookTrouble("no room on the disk")

    monkeypatch.setattr(Book, "catch_up", no_room)
    assert jackfield("record", "Hallmere", "32FN14", "hp").code == 0
    done = jackfield("find", "nv40-210")
    assert (done.code, "an older answer" in done.err) == (0, True)
    shutil.rmtree(home / "index")
    assert jackfield("find", "nv40-210").code == 3
