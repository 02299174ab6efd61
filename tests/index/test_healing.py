"""Whatever breaks the index, the book notices and can rebuild it; nothing wrong is answered."""

from __future__ import annotations

import os
import shutil
import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest

from kb.base.errors import BookTrouble
from kb.index import Index, IndexBroken, index_files
from tests.index.conftest import noted, region, sets

Book = Callable[..., Index]
ROOT = Path(__file__).parents[2]


def generation(folder: Path) -> Path:
    return next(folder.glob("gen-*"))


def fails(step: Callable[[], object]) -> bool:
    try:
        step()
    except IndexBroken:
        return True
    return False


def heal(folder: Path) -> None:
    """What the book does: rebuild, and all is well."""
    with Index.open(folder) as index:
        index.rebuild([noted("Norwell: NV40-210", "kitchen")], 9)
        assert index.revision == 9
        assert index.find("nv40210").matches[0].how == "exact"
        assert index.find("kitchen").matches[0].how == "text"
        assert index.check() == []


def test_a_missing_index_has_no_revision_and_heals(folder: Path) -> None:
    index = Index.open(folder)
    assert index.revision is None
    with pytest.raises(IndexBroken):
        index.find("nv40")
    assert index.check()
    heal(folder)


@pytest.mark.parametrize(
    "damage",
    ["empty", "text", "cut", "gone", "meta", "format", "bits", "bits-size", "pointer", "folder", "words"],
)
def test_a_broken_index_has_no_revision_and_heals(book: Book, folder: Path, damage: str) -> None:
    book([noted("Norwell: NV40-210", "kitchen"), *region(200)]).close()
    place = generation(folder)
    keys = place / "keys.sqlite"
    if damage == "empty":
        keys.write_bytes(b"")
    elif damage == "text":
        keys.write_bytes(b"this is no database" * 500)
    elif damage == "cut":
        keys.write_bytes(keys.read_bytes()[:2048])
    elif damage == "gone":
        keys.unlink()
    elif damage in ("meta", "format"):
        with closing(sqlite3.connect(keys)) as db, db:
            db.execute(
                "DELETE FROM meta" if damage == "meta" else "UPDATE meta SET value = 99 WHERE name = 'format'"
            )
    elif damage == "bits":
        (place / "bits-1").unlink()
    elif damage == "bits-size":
        (place / "bits-1").write_bytes(b"short")
    elif damage == "pointer":
        (folder / "current").write_text("../../somewhere\n")
    elif damage == "folder":
        shutil.rmtree(place)
    else:
        shutil.rmtree(place / "words")
    index = Index.open(folder)
    assert index.revision is None
    assert index.check()
    assert fails(lambda: index.update(sets("Norwell: NV1"), [], 5)) or fails(lambda: index.find("kitchen"))
    index.close()
    heal(folder)


@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")  # Whoosh leaves its files open
def test_words_whose_content_is_damaged_are_noticed_by_a_search_or_the_doctor(
    book: Book, folder: Path
) -> None:
    book([noted(f"Norwell: NV{n}-210", f"kitchen set number{n}") for n in range(50)]).close()
    for path in (generation(folder) / "words").glob("*.seg"):
        path.write_bytes(os.urandom(path.stat().st_size))
    index = Index.open(folder)
    assert index.find("nv7-210").matches[0].how == "exact"  # sets are still found
    with pytest.raises(IndexBroken):
        index.find("kitchen number7")
    assert index.check()
    index.close()
    heal(folder)


def test_pages_overwritten_inside_the_file_are_found_by_the_doctor(book: Book, folder: Path) -> None:
    book(region(1500)).close()
    keys = generation(folder) / "keys.sqlite"
    content = bytearray(keys.read_bytes())
    content[len(content) // 2 : len(content) // 2 + 8192] = os.urandom(8192)
    keys.write_bytes(bytes(content))
    assert Index.open(folder).check()
    heal(folder)


def test_on_a_full_disk_the_index_is_read_as_it_is_and_what_is_written_later_is_seen(
    book: Book, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    book([noted("Norwell: NV40-210", "kitchen")]).close()

    def no_room(path: Path, *, create: bool = False) -> sqlite3.Connection:
        """What SQLite says where the file that readers share cannot be made."""
        error = sqlite3.OperationalError("disk I/O error")
        error.sqlite_errorcode = sqlite3.SQLITE_IOERR
        raise IndexBroken("index file keys.sqlite: cannot be opened") from error

    with Index.open(folder) as index:
        with monkeypatch.context() as full:
            full.setattr(index_files, "connect", no_room)
            assert index.find("nv40210").matches[0].how == "exact"
            assert index.find("kitchen").matches[0].how == "text"
        with Index.open(folder) as other:
            other.update(sets("Norwell: NV55-310"), [], 2)
        assert index.revision == 2
        assert index.find("nv55310").matches[0].how == "exact"


def test_a_rebuild_that_fails_half_way_leaves_the_old_index_in_force(book: Book, folder: Path) -> None:
    index = book(sets("Norwell: NV40-210"))

    def entries() -> object:
        yield from sets("Senda: S100")
        raise RuntimeError("the store went away")

    with pytest.raises(RuntimeError):
        index.rebuild(entries(), 2)  # type: ignore[arg-type]
    assert index.revision == 1
    assert index.find("nv40-210").matches
    assert len(list(folder.glob("gen-*"))) == 1


def test_two_entries_with_one_key_are_refused_and_change_nothing(book: Book) -> None:
    index = book(sets("Norwell: NV40-210"))
    with pytest.raises(BookTrouble):
        index.rebuild([*sets("Senda: S1"), *sets("Senda: S1")], 2)
    assert index.revision == 1


def test_an_update_that_comes_twice_changes_nothing_the_second_time(book: Book) -> None:
    index = book(sets("Norwell: NV40-210"))
    index.update(sets("Senda: S100"), [], 5)
    index.update(sets("Ostrava: OX9"), ["norwell/nv40-210"], 5)
    index.update(sets("Ostrava: OX9"), ["norwell/nv40-210"], 4)
    assert index.revision == 5
    assert index.find("nv40-210").matches[0].how == "exact"
    assert not any(m.how == "exact" for m in index.find("ox9").matches)


def test_updates_and_a_rebuild_of_the_same_sets_answer_alike(
    book: Book, folder: Path, tmp_path: Path
) -> None:
    everything = region(400)
    grown = book(everything[:50])
    for turn, at in enumerate(range(50, 400, 50), 2):
        grown.update(everything[at : at + 50], [], turn)
    gone = [entry.key for entry in everything[:30]]
    grown.update([], gone, 20)
    whole = Index.open(tmp_path / "whole")
    whole.rebuild(everything[30:], 20)
    for entry in everything[::7]:
        for query in (
            entry.model,
            f"{entry.make} {entry.model[:-1]}",
            entry.model[:2] + "?" + entry.model[3:],
        ):
            one, other = grown.find(query), whole.find(query)
            assert [(m.key, m.how, m.score) for m in one.matches] == [
                (m.key, m.how, m.score) for m in other.matches
            ]
    assert grown.check() == whole.check() == []
    whole.close()


def test_the_bit_map_grows_with_the_book(book: Book, folder: Path) -> None:
    index = book(sets("Norwell: NV40-210"))
    index.update(region(1500), [], 2)
    assert (generation(folder) / "bits-2").exists()
    for entry in region(1500)[::50]:
        assert index.find(f"{entry.make} {entry.model}").matches[0].key == entry.key
    assert index.check() == []


WRITER = """
import sys
from pathlib import Path
from kb.index import Index, SetEntry
index = Index.open(Path(sys.argv[1]))
revision = index.revision
print("ready", flush=True)
for turn in range(1000):
    revision += 1
    text = (("note", f"visit{revision} kitchen"),)
    index.update([SetEntry(f"s{revision}", "Norwell", f"NV{revision}-210", text=text)], [], revision)
    if turn % 3 == 2:
        index._fold_in(wait=True)
    print(revision, flush=True)
"""


def test_a_writer_killed_at_any_moment_leaves_a_whole_revision(book: Book, folder: Path) -> None:
    book(sets("Senda: S1")).close()
    acknowledged = 1
    for round_ in range(5):
        writer = subprocess.Popen(
            [sys.executable, "-c", WRITER, str(folder)], stdout=subprocess.PIPE, text=True, cwd=ROOT
        )
        assert writer.stdout is not None
        assert writer.stdout.readline() == "ready\n"
        for _ in range(3 + round_):
            acknowledged = int(writer.stdout.readline())
        time.sleep(0.013 * round_)
        writer.send_signal(signal.SIGKILL)
        rest = writer.stdout.read().split()
        writer.stdout.close()
        writer.wait()
        acknowledged = int(rest[-1]) if rest else acknowledged
        with Index.open(folder) as index:
            assert index.revision is not None
            assert index.revision >= acknowledged
            assert index.check() == []
            for revision in range(2, index.revision + 1):
                assert index.find(f"nv{revision}-210").matches[0].key == f"s{revision}"
            told = index.find(f"kitchen visit{index.revision}").matches
            assert told[0].key == f"s{index.revision}"


def test_a_zeroed_bit_map_is_met_at_the_question_not_answered_with_no(book: Book, folder: Path) -> None:
    book(region(1500)).close()
    bits = generation(folder) / "bits-1"
    bits.write_bytes(bytes(bits.stat().st_size))
    index = Index.open(folder)
    assert index.revision is None
    with pytest.raises(IndexBroken):
        index.find("no such set")
    index.close()
    heal(folder)


def test_a_set_whose_page_of_the_bit_map_was_zeroed_is_not_said_to_be_unknown(
    book: Book, folder: Path
) -> None:
    entries = region(3000)
    book(entries).close()
    path = generation(folder) / "bits-1"
    whole = path.read_bytes()
    from zlib import crc32

    from kb.index import keys as k
    from kb.index.normalize import fold, normalise

    code = normalise(entries[7].model)
    at = crc32(k.encode(fold(code)), k.CODE) >> (32 - (len(whole) * 8).bit_length() + 1) >> 3
    path.write_bytes(whole[:at] + bytes(1) + whole[at + 1 :])
    index = Index.open(folder)
    with pytest.raises(IndexBroken):
        index.find(f"{entries[7].make} {entries[7].model}")
    index.close()
    heal(folder)
