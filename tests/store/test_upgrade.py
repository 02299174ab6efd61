"""An older book is brought up to date, once, with a copy kept; a crash or a newer book changes nothing."""

from __future__ import annotations

import shutil
import signal
import sqlite3
import subprocess
from pathlib import Path

import pytest
from alembic.script import ScriptDirectory

from kb.base.errors import BookTooNew, BookTrouble
from kb.domain.words import Form
from kb.store import Store, upgrade
from kb.store.failures import translated
from kb.store.places import place_of
from kb.store.sqlite_codes import FORMATS
from tests.present import Present
from tests.store.conftest import new_place
from tests.store.helpers import KEY, raw, visit
from tests.store.test_safety import start

NEXT = """
revision = "9999"
down_revision = "LAST"
from alembic import op
import sqlalchemy as sa
from kb.store.migrations.steps import allow_words

def upgrade():
    op.create_table("extra", sa.Column("id", sa.Integer, primary_key=True))
    allow_words("finding", "form", "FORMS new-form")
"""


@pytest.fixture
def coming(tmp_path: Path) -> Path:
    """The migrations of a later Jackfield, in which a new form of jack can be recorded."""
    return later(tmp_path / "migrations")


def later(folder: Path, *, ending: str = "    pass") -> Path:
    shutil.copytree(upgrade.MIGRATIONS, folder, ignore=shutil.ignore_patterns("__pycache__"))
    step = NEXT.replace("FORMS", " ".join(Form)).replace("LAST", FORMATS[-1]) + ending + "\n"
    (folder / "versions" / "9999_next.py").write_text(step, encoding="utf-8")
    return folder


def bring(where: str | Path, migrations: Path) -> None:
    place = place_of(where)
    with translated(place.shown):
        engine = place.engine(create=True)
    try:
        upgrade.bring_up_to_date(
            engine, place, create=True, formats=(*FORMATS, "9999"), migrations=migrations
        )
    finally:
        engine.dispose()


def copies(book: Path) -> list[Path]:
    return sorted(book.parent.glob("*.bak"))


def parts(path: Path) -> dict[str, list[str]]:
    """What makes up the schema: each part with its lines, in any order."""
    with raw(path) as connection:
        rows = connection.execute("SELECT name, sql FROM sqlite_master WHERE sql IS NOT NULL").fetchall()
    # SQLite quotes the name of a table that was renamed, as a migration does.
    return {
        name: sorted(line.strip().rstrip(",").replace('"', "") for line in sql.splitlines())
        for name, sql in rows
    }


def columns(path: Path) -> dict[str, list[tuple[object, ...]]]:
    """The columns of each table by name: nothing reads or writes them by their order."""
    with raw(path) as connection:
        tables = [n for (n,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
        found = {name: connection.execute(f"PRAGMA table_xinfo({name})").fetchall() for name in tables}
        return {name: sorted(column[1:] for column in some) for name, some in found.items()}


def migrated(where: str | Path, target: str = "0001") -> None:
    """A book made by the migrations alone."""
    place = place_of(where)
    engine = place.engine(create=True)
    try:
        with engine.connect().execution_options(jackfield_writes=True) as connection, connection.begin():
            upgrade._migrate(connection, upgrade.MIGRATIONS, target)
    finally:
        engine.dispose()


def test_a_fresh_book_and_one_made_by_the_migrations_are_the_same(tmp_path: Path) -> None:
    fresh, stepwise = tmp_path / "fresh.sqlite", tmp_path / "stepwise.sqlite"
    Store.open(fresh).close()
    migrated(stepwise, FORMATS[-1])
    assert parts(fresh) == parts(stepwise)
    assert columns(fresh) == columns(stepwise)


def test_a_fresh_team_book_and_one_made_by_the_migrations_are_the_same(server: str, team: str) -> None:
    import psycopg

    def described(url: str) -> list[str]:
        asked = (
            "SELECT table_name, column_name, data_type, is_nullable, collation_name, column_default"
            " FROM information_schema.columns WHERE table_schema = current_schema() ORDER BY 1, 2",
            "SELECT conrelid::regclass::text, conname, pg_get_constraintdef(oid) FROM pg_constraint"
            " WHERE connamespace = current_schema()::regnamespace ORDER BY 1, 2",
            "SELECT indexdef FROM pg_indexes WHERE schemaname = current_schema() ORDER BY 1",
            "SELECT pg_get_triggerdef(t.oid) FROM pg_trigger t JOIN pg_class c ON c.oid = t.tgrelid"
            " WHERE NOT tgisinternal AND c.relnamespace = current_schema()::regnamespace ORDER BY 1",
            "SELECT proname, prosrc FROM pg_proc"
            " WHERE pronamespace = current_schema()::regnamespace ORDER BY 1",
        )
        with psycopg.connect(url.replace("+psycopg", "")) as connection:
            [schema] = connection.execute("SELECT current_schema()").fetchone() or [""]
            rows = [connection.execute(query).fetchall() for query in asked]
        assert all(rows)
        return [repr(row).replace(schema, "here") for some in rows for row in some]

    Store.open(team).close()
    other = new_place(server)
    migrated(other, FORMATS[-1])
    assert described(team) == described(other)


def test_the_formats_are_the_migrations_that_are_shipped() -> None:
    script = ScriptDirectory(str(upgrade.MIGRATIONS))
    assert tuple(step.revision for step in script.walk_revisions())[::-1] == FORMATS


def test_an_older_book_is_copied_and_brought_up_to_date(book: Path, coming: Path) -> None:
    with Store.open(book) as store:
        store.record([visit(), visit("NV2")])
    before = parts(book)
    bring(book, coming)
    [kept] = copies(book)
    assert kept.name.startswith(f"book.sqlite.before-{FORMATS[-1]}-")
    assert kept.stat().st_mode & 0o777 == 0o600
    assert parts(kept) == before
    with Store.open(kept) as store:
        assert len(store.visits_of(KEY)) == 1
    with raw(book) as connection:
        assert connection.execute("SELECT version_num FROM alembic_version").fetchall() == [("9999",)]
        assert connection.execute("SELECT count(*) FROM finding").fetchone() == (4,)
        connection.execute("PRAGMA foreign_keys = ON")
        columns = ", ".join(
            "'new-form'" if name == "form" else "9" if name == "seq" else name
            for _, name, *_ in connection.execute("PRAGMA table_info(finding)").fetchall()
        )
        connection.execute(f"INSERT INTO finding SELECT {columns} FROM finding WHERE seq = 0 LIMIT 1")
        with pytest.raises(sqlite3.IntegrityError, match="stays as it is"):
            connection.execute("DELETE FROM finding")
        assert connection.execute("PRAGMA foreign_key_check").fetchall() == []
    after = parts(book)
    assert set(after) == {*before, "extra"}
    assert {name for name in before if after[name] != before[name]} == {"finding"}


def test_a_team_book_is_brought_up_to_date(team: str, coming: Path) -> None:
    with Store.open(team) as store:
        store.record([visit()])
    bring(team, coming)
    with pytest.raises(BookTooNew):
        Store.open(team)


def test_a_crash_in_the_middle_of_an_upgrade_leaves_the_book_whole(book: Path, tmp_path: Path) -> None:
    with Store.open(book) as store:
        store.record([visit()])
    before = parts(book)
    deadly = later(tmp_path / "deadly", ending="    import os; os.kill(os.getpid(), 9)")
    with start("upgrade", str(book), str(deadly), stdin=subprocess.PIPE) as child:
        out, _ = child.communicate("go\n")
    assert (child.returncode, out) == (-signal.SIGKILL, "open\n")
    assert parts(book) == before
    with Store.open(book) as store:
        assert len(store.visits_of(KEY)) == 1
    with raw(book) as connection:
        assert connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
    bring(book, later(tmp_path / "mended"))
    assert "extra" in parts(book)


def test_a_step_that_fails_changes_nothing(book: Path, tmp_path: Path) -> None:
    with Store.open(book) as store:
        store.record([visit()])
    before = parts(book)
    broken = later(tmp_path / "broken", ending="    op.execute('INSERT INTO nowhere VALUES (1)')")
    with pytest.raises(BookTrouble, match="nowhere"):
        bring(book, broken)
    assert parts(book) == before


def test_a_missing_step_is_told_and_changes_nothing(book: Path) -> None:
    Store.open(book).close()
    before = parts(book)
    with pytest.raises(BookTrouble, match="install jackfield again"):
        bring(book, upgrade.MIGRATIONS)
    assert parts(book) == before


def test_an_upgrade_for_which_no_copy_can_be_kept_is_not_made(
    book: Path, coming: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    Store.open(book).close()
    before = parts(book)

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("kb.store.places.put_new", full)
    with pytest.raises(BookTrouble, match="No space left"):
        bring(book, coming)
    assert parts(book) == before
    assert [path.name for path in book.parent.iterdir() if "before" in path.name] == []


def test_of_several_that_want_to_upgrade_only_one_does(book: Path, coming: Path) -> None:
    with Store.open(book) as store:
        store.record([visit()])
    children = [start("upgrade", str(book), str(coming), stdin=subprocess.PIPE) for _ in range(3)]
    for child in children:
        assert child.stdout is not None
        assert child.stdout.readline() == "open\n"
    for child in children:
        assert child.stdin is not None
        child.stdin.write("go\n")
        child.stdin.flush()
    for child in children:
        with child:
            out, _ = child.communicate()
        assert (child.returncode, out) == (0, "done\n")
    assert len(copies(book)) == 1


def test_a_book_made_by_several_at_once_is_one_book(book: Path) -> None:
    children = [start("record", str(book), f"N{number}", "1") for number in range(4)]
    for child in children:
        with child:
            child.communicate()
        assert child.returncode == 0
    with Store.open(book) as store:
        assert Present(store).counts()[:1] == (8,)


def test_a_book_from_a_newer_jackfield_is_refused_and_left_as_it_is(book: Path) -> None:
    Store.open(book).close()
    with raw(book) as connection:
        connection.execute("UPDATE alembic_version SET version_num = '0999'")
    before = book.read_bytes()
    with pytest.raises(BookTooNew, match=r"newer Jackfield \(format '0999'.*update jackfield"):
        Store.open(book)
    assert book.read_bytes() == before
    assert copies(book) == []


def test_a_book_that_lost_its_stamp_is_told(book: Path) -> None:
    Store.open(book).close()
    with raw(book) as connection:
        connection.execute("DELETE FROM alembic_version")
    with pytest.raises(BookTrouble, match="does not name its format"):
        Store.open(book)


def test_opening_a_present_book_loads_no_alembic(book: Path) -> None:
    import sys

    code = (
        "import sys; from kb.store import Store; Store.open(sys.argv[1]).close();"
        " assert 'alembic' not in sys.modules; assert 'sqlalchemy.orm' not in sys.modules"
    )
    for _ in ("made", "opened"):
        subprocess.run([sys.executable, "-c", code, str(book)], check=True, cwd=Path(__file__).parents[2])


def test_what_another_program_records_before_an_upgrade_is_there_and_after_it_is_refused(
    book: Path, coming: Path
) -> None:
    """A server of the older version still runs: it would leave out what the new format asks for."""
    Store.open(book).close()
    with start("record", str(book), "W", "100000") as writer:
        assert writer.stdout is not None
        acknowledged = set()
        writer.stdout.readline()
        for _ in range(5):
            acknowledged.update(writer.stdout.readline().split()[1:])
        bring(book, coming)
        out, _ = writer.communicate()
    for line in out.splitlines():
        acknowledged.update(line.split()[1:])
    assert writer.returncode != 0
    with raw(book) as connection:
        there = {id_ for (id_,) in connection.execute("SELECT id FROM visit")}
        assert connection.execute("SELECT version_num FROM alembic_version").fetchall() == [("9999",)]
    assert there == acknowledged
    [kept] = copies(book)
    with raw(kept) as connection:
        assert {id_ for (id_,) in connection.execute("SELECT id FROM visit")} == acknowledged


def test_a_store_that_was_open_before_an_upgrade_says_what_to_do(book: Path, coming: Path) -> None:
    with Store.open(book) as store:
        store.record([visit()])
        bring(book, coming)
        with pytest.raises(BookTooNew, match="has upgraded the book"):
            store.record([visit("NV2")])
        assert len(store.visits_of(KEY)) == 1
