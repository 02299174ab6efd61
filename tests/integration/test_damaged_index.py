"""Whatever becomes of a file of the index, the book answers as before, and takes in what is new."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from kb.book import Book
from tests.store.helpers import visit

NOTES = ("cable behind the cabinet in the kitchen", "hum from the dimmer", "asked for the blue cable")
QUESTIONS = (
    "nv40-0",
    "norwell nv41",
    "kitchen",
    '"blue cable"',
    "hum dimmer",
    "attic",
    "red output",
    "nv4?-3",
)


def zeroed(content: bytes) -> bytes:
    """A block in the middle that the disk has lost."""
    start = len(content) // 2 // 4096 * 4096
    return content[:start] + bytes(len(content[start : start + 4096])) + content[start + 4096 :]


def folder(path: Path) -> None:
    path.unlink()
    path.mkdir()
    (path / "something").write_text("in it")


DAMAGE: dict[str, Callable[[Path], object]] = {
    "a folder in its place": folder,
    "gone": Path.unlink,
    "empty": lambda path: path.write_bytes(b""),
    "cut off": lambda path: path.write_bytes(path.read_bytes()[: path.stat().st_size // 2]),
    "a block of zeros": lambda path: path.write_bytes(zeroed(path.read_bytes())),
    "other bytes": lambda path: path.write_bytes(bytes(255 - one for one in path.read_bytes())),
}


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    home = tmp_path_factory.mktemp("whole") / "home"
    with Book.open(home) as book:
        book.record([visit(f"NV{40 + n}-{n}", note=NOTES[n % 3]) for n in range(12)])
        book.find("kitchen")
        book.record([visit("NV99-1", note="in the attic")])
    return home


def answers(home: Path) -> list[list[tuple[str, str]]]:
    with Book.open(home) as book:
        return [[(one.model, one.how) for one in book.find(asked).matches] for asked in QUESTIONS]


@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")  # Whoosh leaves its files open
@pytest.mark.parametrize("damage", DAMAGE)
@pytest.mark.parametrize(
    "name", ["lock.sqlite", "current", "keys.sqlite", "bits-1", "*.seg", "_MAIN_*.toc", "MAIN_WRITELOCK"]
)
def test_a_damaged_file_of_the_index_changes_no_answer(
    whole: Path, tmp_path: Path, name: str, damage: str
) -> None:
    home = Path(shutil.copytree(whole, tmp_path / "home"))
    [file] = (home / "index").rglob(name)
    DAMAGE[damage](file)
    assert answers(home) == answers(whole)
    with Book.open(home) as book:
        book.record([visit("NV77-7", note="in the cellar")])
        assert [one.model for one in book.find("cellar").matches] == ["NV77-7"]
        assert book.index.check() == []
