"""One set read without SQLAlchemy is what the store says, whatever was corrected, withdrawn or merged."""

from __future__ import annotations

import shutil
import subprocess
import sys
import tempfile
from dataclasses import replace
from pathlib import Path
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from kb.domain.visit import Visit
from kb.store import Store
from kb.store.content_id import sealed_id
from kb.store.one_set import visits_of
from kb.store.states import states
from tests.conftest import LONG
from tests.present import Present
from tests.store.helpers import KEY, raw, recorded_and_forced, visit
from tests.store.random_visits import any_visit

_acts = st.lists(
    st.tuples(st.sampled_from(["supersede", "withdraw", "reinstate", "merge", "release"]), st.data()),
    max_size=8,
)


def test_states_read_without_sqlalchemy_are_those_of_the_store(tmp_path: Path) -> None:
    path = tmp_path / "book.sqlite3"
    with Store.open(path) as store:
        for body in ('{"turn": 1}', '{"turn": 2}'):
            store.keep_states(lambda now, body=body: {("job", "J-1"): body, ("van", ""): body})
            with store.snapshot() as now:
                assert states(path, "job") == now.states("job") != {}
    assert states(tmp_path / "none.sqlite3", "job") is None


def release(path: Path, seen: Visit, jack: int | None, note: str, revision: int) -> None:
    """A released note, as a bundle brings it."""
    with raw(path) as book:
        book.execute(
            "INSERT INTO reviewed_note (id, revision, visit, jack, note) VALUES (?, ?, ?, ?, ?)",
            (sealed_id("note", [seen.id, jack, note]), revision, seen.id, jack, note),
        )


def changed(path: Path, store: Store, what: str, data: Any) -> None:
    """Something that may become of what is in the book."""
    # By what they say: ids are random, and what is drawn must not hang on them.
    known = sorted(
        (one for some in Present(store).visits() for one in some),
        key=lambda one: repr(replace(one, id="", supersedes=())),
    )
    one = data.draw(st.sampled_from(known))
    if what == "supersede":
        new = data.draw(any_visit)
        store.record(
            [Visit(**{f: getattr(new, f) for f in new.__slots__ if f != "supersedes"}, supersedes=(one.id,))]
        )
    elif what == "merge":
        store.alias(one.source.key, data.draw(st.sampled_from(known)).source.key)
    elif what == "release":
        places = [None, *range(len(one.findings))]
        note = data.draw(st.sampled_from(["seen by torch", "menu under sound"]))
        place = data.draw(st.sampled_from(places))
        with raw(path) as book:
            there = book.execute(
                "SELECT 1 FROM reviewed_note WHERE id = ?", (sealed_id("note", [one.id, place, note]),)
            ).fetchone()
        if not there:
            release(path, one, place, note, store.revision())
    else:
        act = store.withdraw if what == "withdraw" else store.reinstate
        act([one.id])


@settings(max_examples=500 if LONG else 20)
@given(st.lists(any_visit, min_size=1, max_size=6), _acts)
def test_it_says_what_the_store_says(visits: list[Visit], acts: list[tuple[str, Any]]) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "book.sqlite"
        with Store.open(path) as store:
            store.record(visits)
            for what, data in acts:
                changed(path, store, what, data)
            keys = {one.source.key for some in Present(store).visits() for one in some} | {"NOBODY/MET1"}
            for key in sorted(keys):
                assert visits_of(path, key) == store.visits_of(key)


def test_a_visit_that_was_withdrawn_and_stands_again_is_read_again(book: Path) -> None:
    with Store.open(book) as store:
        [one] = store.record([visit()]).recorded
        store.withdraw([one.id])
        assert visits_of(book, KEY) == []
        store.reinstate([one.id])
        assert visits_of(book, KEY) == store.visits_of(KEY) != []


def test_a_set_is_read_without_sqlalchemy(book: Path) -> None:
    with Store.open(book) as store:
        store.record([visit()])
    code = (
        "import sys; from pathlib import Path; from kb.store.one_set import visits_of;"
        f"print(len(visits_of(Path({str(book)!r}), {KEY!r})), 'sqlalchemy' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["1", "False"]


def test_an_older_or_newer_book_is_left_to_the_store(book: Path) -> None:
    with Store.open(book) as store:
        store.record([visit()])
    for stamp in ("0001", "9999"):
        other = shutil.copy(book, book.with_name(f"{stamp}.sqlite"))
        with raw(other) as connection:
            connection.execute("UPDATE alembic_version SET version_num = ?", (stamp,))
        assert visits_of(other, KEY) is None


def test_what_is_no_book_is_left_to_the_store(tmp_path: Path) -> None:
    assert visits_of(tmp_path / "nowhere.sqlite", KEY) is None
    garbage = tmp_path / "garbage.sqlite"
    garbage.write_bytes(b"no database at all" * 100)
    assert visits_of(garbage, KEY) is None


def test_a_word_that_no_book_can_hold_is_left_to_the_store(book: Path) -> None:
    recorded_and_forced(book, "UPDATE finding SET form = 'teapot'")
    assert visits_of(book, KEY) is None
