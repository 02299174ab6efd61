"""Reading while another process writes is safe and sees a whole revision."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from kb.index import Index, SetEntry
from tests.index.conftest import noted, sets

Book = Callable[..., Index]
ROOT = Path(__file__).parents[2]

WRITER = """
import sys
from pathlib import Path
from kb.index import Index, SetEntry
index = Index.open(Path(sys.argv[1]))
def both(n):
    text = (("note", f"kitchen turn{n}"),)
    names = (("a", "Norwell", "NV40-210"), ("b", "Ostrava", "OX55-330"))
    return [SetEntry(*name, findings=n, payload=str(n), text=text) for name in names]
for n in range(2, 62):
    if n % 20 == 0:
        index.rebuild(both(n), n)
    else:
        index.update(both(n), [], n)
        if n % 7 == 0:
            index._fold_in(wait=True)
print("done")
"""


def pair(n: int) -> list[SetEntry]:
    return [
        noted("Norwell: NV40-210", f"kitchen turn{n}", findings=n, payload=str(n)),
        noted("Ostrava: OX55-330", f"kitchen turn{n}", findings=n, payload=str(n)),
    ]


def test_every_answer_is_of_one_revision_while_another_process_writes_and_rebuilds(
    book: Book, folder: Path
) -> None:
    """Each revision writes its own number into both sets: no answer may mix two numbers."""
    index = book(
        [
            SetEntry(k, e.make, e.model, findings=1, payload="1", text=e.text)
            for k, e in zip("ab", pair(1), strict=True)
        ]
    )
    writer = subprocess.Popen(
        [sys.executable, "-c", WRITER, str(folder)], stdout=subprocess.PIPE, text=True, cwd=ROOT
    )
    seen: set[str] = set()
    try:
        while writer.poll() is None:
            seen.add(watched_revision(index))
        assert writer.stdout is not None
        assert writer.stdout.read() == "done\n"
    finally:
        writer.kill()
        writer.communicate()
    assert index.revision == 61
    assert index.find("kitchen turn61").matches[0].payload == "61"
    assert len(seen) > 3
    assert index.check() == []


def test_a_table_of_contents_taken_away_just_after_it_was_seen_is_looked_for_again(
    book: Book, monkeypatch: pytest.MonkeyPatch
) -> None:
    from whoosh.filedb.filestore import FileStorage

    index = book(pair(1))
    opened, gone = FileStorage.open_file, ["once"]

    def taken_away(self: FileStorage, name: str, **how: Any) -> Any:
        if name.endswith(".toc") and gone:
            gone.pop()
            raise FileNotFoundError(2, "No such file or directory")
        return opened(self, name, **how)

    monkeypatch.setattr(FileStorage, "open_file", taken_away)
    assert len(index.find("kitchen").matches) == 2
    assert not gone


def watched_revision(index: Index) -> str:
    """The number that both sets carry now."""
    assert not index.find("kitchen signal:optical").matches
    answer = index.find("kitchen")
    assert {m.key for m in answer.matches} == {"a", "b"}
    numbers = {m.payload for m in answer.matches}
    assert len(numbers) == 1
    number = numbers.pop()
    assert int(index.find("nv40210").matches[0].payload) >= int(number)
    return number


def test_a_reader_stays_at_its_revision_until_it_is_refreshed(book: Book) -> None:
    index = book([noted("Norwell: NV40-210", "kitchen")])
    with index.reader() as reader:
        index.update([*sets("Senda: S100-7"), noted("Norwell: NV40-210", "attic")], [], 2)
        assert reader.revision == 1
        assert not reader.find("s100-7").matches
        assert reader.find("kitchen").matches
        assert not reader.find("attic").matches
        assert reader.refresh() == 2
        assert reader.find("s100-7").matches[0].how == "exact"
        assert reader.find("attic").matches


def test_a_reader_survives_a_rebuild_and_answers_from_the_old_index(book: Book) -> None:
    index = book([noted("Norwell: NV40-210", "kitchen")])
    with index.reader() as reader:
        assert reader.find("kitchen").matches
        index.rebuild(sets("Senda: S100-7"), 2)
        assert reader.find("nv40-210").matches[0].how == "exact"
    assert not index.find("nv40-210").matches
    assert index.revision == 2
