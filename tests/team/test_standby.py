"""A team's server with a streaming standby: reading from it, its delay, and the day the server dies."""

from __future__ import annotations

import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from kb.base.errors import BookTrouble, BookUnavailable, Interrupted, PerhapsSaved
from kb.store import Store, places
from kb.store.sqlite_codes import FORMATS
from tests.cli.conftest import Run
from tests.present import Present
from tests.store.helpers import KEY, visit

sys.path.insert(0, str(Path(__file__).parents[2] / "scripts"))

if TYPE_CHECKING:
    from team_server import Database

TWIN = "twin"  #: the standby's name at the primary


@dataclass
class Pair:
    """A primary and its standby."""

    primary: Database
    standby: Database

    @property
    def either(self) -> str:
        """The URL of whichever of the two takes writes (libpq's manual, target_session_attrs)."""
        hosts = "&".join(f"host=127.0.0.1:{one.port}" for one in (self.primary, self.standby))
        return f"postgresql+psycopg://jack@/postgres?{hosts}&target_session_attrs=read-write"

    def ask(self, server: Database, question: str) -> Any:
        """One question to one of them, outside of any transaction."""
        import psycopg

        with psycopg.connect(server.url.replace("+psycopg", ""), autocommit=True) as connection:
            row = connection.execute(question).fetchone() if question.startswith("SELECT") else None
            if row is None:
                connection.execute(question)
            return row[0] if row else None

    def caught_up(self) -> None:
        """Wait until the standby shows all that the primary has."""
        end = self.ask(self.primary, "SELECT pg_current_wal_flush_lsn()::text")
        until = time.monotonic() + 30
        while not self.ask(self.standby, f"SELECT pg_last_wal_replay_lsn() >= '{end}'::pg_lsn"):
            assert time.monotonic() < until
            time.sleep(0.02)

    def synchronous(self, names: str) -> None:
        """Let commits wait for the standbys of these names; nobody's for ""."""
        self.ask(self.primary, f"ALTER SYSTEM SET synchronous_standby_names = '{names}'")
        self.ask(self.primary, "SELECT pg_reload_conf()")
        time.sleep(0.2)


@pytest.fixture(scope="module")
def pair() -> Iterator[Pair]:
    """Both servers, new and empty; the last test of this module loses the primary."""
    pytest.importorskip("psycopg", reason="psycopg is not installed: no team book to test")
    from team_server import Database, database, server_programs, unprivileged

    programs = server_programs()
    if programs is None:
        pytest.skip("no PostgreSQL server programs on this machine: a standby is not tested")
    try:
        unprivileged()
    except OSError as why:
        pytest.skip(str(why))
    options = ["fsync=off", "wal_receiver_status_interval=1s"]
    with database(programs, options) as primary, tempfile.TemporaryDirectory(dir="/tmp") as folder:
        Path(folder).chmod(0o755)
        standby = Database(programs, Path(folder) / "server", options)
        standby.copy_of(primary, TWIN)
        standby.start()
        try:
            yield Pair(primary, standby)
        finally:
            standby.stop()


def test_a_standby_without_a_book_is_told_and_left_alone(pair: Pair) -> None:
    with pytest.raises(BookTrouble, match="nothing was recorded here yet, and it is read-only"):
        Store.open(pair.standby.url)


def test_a_standby_is_read_and_every_writing_is_refused_in_ordinary_words(pair: Pair, jackfield: Run) -> None:
    with Store.open(pair.primary.url) as store:
        store.record([visit()])
    pair.caught_up()
    with Store.open(pair.standby.url) as store:
        assert not store.writable
        assert len(store.visits_of(KEY)) == 1
        for writing in (
            lambda: store.record([visit("NV2")]),
            lambda: store.withdraw(["x"]),
            lambda: store.alias("A/B", "A/C"),
        ):
            with pytest.raises(BookUnavailable, match=r"a standby\); nothing was changed"):
                writing()
    refused = jackfield("record", "Norwell", "NV3", "opt:ok", "--store", pair.standby.url)
    assert (refused.code, "a standby); nothing was changed" in refused.err) == (3, True)
    assert jackfield("doctor", "--store", pair.standby.url).code == 0
    assert jackfield("find", "nv40", "--store", pair.standby.url).code == 0


def test_an_older_format_on_a_standby_is_not_upgraded_there(pair: Pair) -> None:
    pair.ask(pair.primary, "UPDATE alembic_version SET version_num = '0001'")
    pair.caught_up()
    try:
        with pytest.raises(BookTrouble, match="older format, and it is read-only"):
            Store.open(pair.standby.url)
    finally:
        pair.ask(pair.primary, f"UPDATE alembic_version SET version_num = '{FORMATS[-1]}'")
    pair.caught_up()


def test_a_standby_that_lags_gives_an_older_but_whole_book_and_the_rest_later(
    pair: Pair, jackfield: Run, tmp_path: Path
) -> None:
    laptop, desk = tmp_path / "laptop", tmp_path / "desk"
    with Store.open(pair.primary.url) as team:
        known = Present(team).counts().visits
        pair.caught_up()
        pair.ask(pair.standby, "SELECT pg_wal_replay_pause()")
        try:
            [late] = team.record([visit("LATE-1", note="the bluish relay")]).recorded
            team.withdraw([late.id])
            team.record([visit("LATE-2")])
            pulled = jackfield("share", "pull", pair.standby.url, "--home", laptop, "--json")
            assert pulled.json["visits"] == known
            found = jackfield("find", "late-2", "--store", pair.standby.url, "--home", desk, "--json")
            assert not [one for one in found.json["matches"] if one["how"] == "exact"]
            # Whoever has pulled from the primary already loses nothing by pulling an older state.
            assert jackfield("share", "pull", pair.primary.url, "--home", laptop).code == 0
            assert jackfield("share", "pull", pair.standby.url, "--home", laptop).code == 0
            assert jackfield("show", "Norwell", "LATE-2", "--home", laptop).code == 0
        finally:
            pair.ask(pair.standby, "SELECT pg_wal_replay_resume()")
        pair.caught_up()
        assert jackfield("share", "pull", pair.standby.url, "--home", laptop).code == 0
        assert jackfield("show", "Norwell", "LATE-1", "--home", laptop).code == 1
        found = jackfield("find", "late-2", "--store", pair.standby.url, "--home", desk, "--json")
        assert found.json["matches"][0]["how"] == "exact"
        assert Present(team).counts().visits == known + 2


def test_a_pull_from_a_standby_writes_nothing_there_and_misses_nothing(
    pair: Pair, jackfield: Run, tmp_path: Path
) -> None:
    """A visit handed in under an id of its own is entered anew before it is shared. That is a writing."""
    own = "0190b3c1-7e2a-7abc-8def-0123456789ab"
    with Store.open(pair.primary.url) as team:
        team.record([visit("OWN-1", id=own)])
    pair.caught_up()
    first = jackfield("share", "pull", pair.standby.url, "--home", tmp_path / "a")
    assert first.code == 0, first.err
    assert jackfield("share", "pull", pair.primary.url, "--home", tmp_path / "b").code == 0
    pair.caught_up()
    assert jackfield("share", "pull", pair.standby.url, "--home", tmp_path / "a").code == 0
    for home in ("a", "b"):
        assert jackfield("show", "Norwell", "OWN-1", "--home", tmp_path / home).code == 0


def test_a_commit_that_the_standby_does_not_confirm_is_not_told_as_saved(
    pair: Pair, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(places, "PATIENCE", 0.5)
    monkeypatch.setattr(places, "LOOKING", 0.5)
    with Store.open(pair.primary.url) as store:
        pair.synchronous(TWIN)
        store.record([visit("SYNC-1")])
        pair.standby.stop("fast")
        try:
            with pytest.raises(PerhapsSaved, match="its standby has not confirmed"):
                store.record([visit("SYNC-2")])
        finally:
            pair.standby.start()
        pair.caught_up()
        monkeypatch.setattr(places, "PATIENCE", 30.0)
        assert len(store.record([visit("SYNC-2")]).already) == 1  # as the message advises
        store.record([visit("SYNC-3")])


class Writer(threading.Thread):
    """Somebody who records one visit after the other, and keeps what was told of each."""

    def __init__(self, url: str, name: str, over: threading.Event) -> None:
        super().__init__(name=name, daemon=True)
        self.url, self.over = url, over
        self.told: dict[str, str] = {}
        self.wrong: list[str] = []

    def run(self) -> None:
        number = 0
        store: Store | None = None
        while not self.over.is_set():
            number += 1
            model = f"{self.name}-{number}"
            try:
                if store is None:
                    store = Store.open(self.url)
                store.record([visit(model)])
                self.told[model] = "saved"
            except PerhapsSaved:
                self.told[model] = "unsure"
            except (Interrupted, BookUnavailable) as trouble:
                self.told[model] = "not saved"
                if "nothing was changed" not in str(trouble) and "cannot be reached" not in str(trouble):
                    self.wrong.append(str(trouble))
            except Exception as mistake:
                self.wrong.append(repr(mistake))
        if store:
            store.close()


def test_nothing_acknowledged_is_lost_when_the_standby_is_promoted_in_the_middle_of_writing(
    pair: Pair, jackfield: Run, tmp_path: Path
) -> None:
    pair.synchronous(TWIN)
    desk = tmp_path / "desk"
    over = threading.Event()
    writers = [Writer(pair.either, f"W{number}", over) for number in range(3)]
    assert jackfield("find", "w0", "--store", pair.either, "--home", desk).code in (0, 1)
    for one in writers:
        one.start()

    def saved() -> int:
        return sum(said == "saved" for one in writers for said in list(one.told.values()))

    def wait_for(count: int) -> None:
        until = time.monotonic() + 60
        while saved() < count:
            assert time.monotonic() < until, [one.wrong for one in writers]
            time.sleep(0.02)

    wait_for(15)
    pair.primary.kill()
    pair.standby.promote()
    wait_for(saved() + 15)
    over.set()
    for one in writers:
        one.join(60)
    assert [one.wrong for one in writers] == [[], [], []]
    with Store.open(pair.standby.url) as store:
        there = [one.source.model for some in Present(store).visits() for one in some]
    for one in writers:
        for model, said in one.told.items():
            assert there.count(model) in {"saved": (1,), "not saved": (0,), "unsure": (0, 1)}[said], (
                model,
                said,
            )
    last = max(model for model, said in writers[0].told.items() if said == "saved")
    found = jackfield("find", f"Norwell {last}", "--store", pair.either, "--home", desk, "--json")
    assert found.json["matches"][0]["how"] == "exact"
    assert jackfield("doctor", "--store", pair.either, "--home", desk).code == 0
