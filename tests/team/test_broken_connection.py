"""The connection to the team's server breaks at every message: nobody is told anything untrue."""

from __future__ import annotations

import gc
import json
import re
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest

from kb.base.errors import BookTrouble, BookUnavailable, Interrupted, PerhapsSaved
from kb.store import Store, places
from tests.cli.conftest import Done, Run
from tests.conftest import LONG
from tests.exchange.helpers import visit_data
from tests.present import Present
from tests.store.helpers import KEY, visit
from tests.team.breaking import Link, link

# The driver cannot close a cursor of the server on a connection that is broken, and says so.
pytestmark = pytest.mark.filterwarnings("ignore:<psycopg.ServerCursor:ResourceWarning")

UNSURE = "may or may not be saved"
SAVED = "what this command wrote before that is saved"
NOT_SAVED = ("nothing was changed", "cannot be reached")


@pytest.fixture
def line(team: str) -> Iterator[Link]:
    """The link to the team's server."""
    port = urlsplit(team).port
    assert port
    with link(port) as made:
        yield made


@pytest.fixture
def far(team: str, line: Link, monkeypatch: pytest.MonkeyPatch) -> Iterator[str]:
    """The URL of the team's book behind the link. Nobody waits long for a server that is gone."""
    monkeypatch.setattr(places, "BACK", 0.1)
    yield re.sub(r":\d+/", f":{line.port}/", team)
    gc.collect()


def plain(done: Done) -> None:
    """Every message is an ordinary one."""
    said = done.out + done.err
    for foreign in ("mistake in Jackfield", "Traceback", "[SQL", "sqlalche", "psycopg.", "SELECT", "INSERT"):
        assert foreign not in said, said
    assert "restore" not in said


def breaks(line: Link, step: int = 1) -> Iterator[tuple[int, bool, bool]]:
    """Every message at which a program may lose its server, until it comes to its end before that.

    The four kinds of breaking take turns; JACKFIELD_LONG=1 tries all four at every message.
    """
    number, misses = 0, 0
    while misses < 2:
        kinds = [(answered, stays_down) for answered in (False, True) for stays_down in (False, True)]
        for answered, stays_down in kinds if LONG else [kinds[number % 4]]:
            line.break_at(number + 1, answered=answered, stays_down=stays_down)
            yield number, answered, stays_down
            misses = 0 if line.broken else misses + 1
            line.mend()
        number += 1 if LONG else step
    assert number > 10


def test_a_visit_is_told_as_saved_only_if_it_is_and_as_not_saved_only_if_it_is_not(
    team: str, far: str, line: Link
) -> None:
    seen: set[str] = set()
    with Store.open(team) as near, Store.open(far) as store:
        for number, answered, stays_down in (one for turn in range(4) for one in _turned(line, turn, store)):
            model = f"M{number}{'a' if answered else ''}{'d' if stays_down else ''}"
            there = Present(near).counts().visits
            kind, message = outcome(store, model)
            expected, said = 0, "not saved"
            if kind is None:
                expected, said = 1, "saved"
            elif kind is PerhapsSaved:
                assert "record it again: a visit that is there already adds nothing" in message
                assert stays_down
                said = "unsure"  # the commit may even be under way still
            else:
                assert any(one in message for one in NOT_SAVED), message
            seen.add(said)
            if said != "unsure":
                assert Present(near).counts().visits == there + expected
            near.record([visit(model)])  # as the message advises
            assert Present(near).counts().visits == there + 1
    assert seen == {"saved", "unsure", "not saved"}


def outcome(store: Store, model: str) -> tuple[type[BookUnavailable] | None, str]:
    """What a program is told that records a visit."""
    try:
        assert len(store.record([visit(model)]).recorded) == 1
    except BookUnavailable as trouble:
        return type(trouble), str(trouble)
    return None, ""


def _turned(line: Link, turn: int, store: Store) -> Iterator[tuple[int, bool, bool]]:
    """Every message of a writing with one kind of breaking."""
    answered, stays_down = bool(turn & 1), bool(turn & 2)
    number, broken = 0, True
    while broken:
        number += 1
        assert store.revision() >= 0  # a connection that works, as between two visits
        line.break_at(number, answered=answered, stays_down=stays_down)
        yield number, answered, stays_down
        broken = line.broken
        line.mend()
    assert number > 5


def test_record_says_so_in_ordinary_words(jackfield: Run, team: str, far: str, line: Link) -> None:
    Store.open(team).close()
    with Store.open(team) as near:
        for number, _, _ in breaks(line, step=9):
            done = jackfield("record", "Norwell", f"R{number}", "opt:ok", "--store", far)
            plain(done)
            there = len(near.visits_of(f"NORWELL/R{number}"))
            if done.code == 0 or SAVED in done.err:
                assert there == 1
            elif UNSURE not in done.err:
                assert done.code == 3
                assert any(one in done.err for one in NOT_SAVED), done.err
                assert there == 0


def _corrected(near: Store, run: Run, model: str) -> tuple[list[str], Callable[[], bool]]:
    [one] = near.record([visit(model)]).recorded
    key = f"NORWELL/{model}"
    return ["correct", one.id, "year=2013"], lambda: near.visits_of(key)[0].source.year == 2013


def _withdrawn(near: Store, run: Run, model: str) -> tuple[list[str], Callable[[], bool]]:
    [one] = near.record([visit(model)]).recorded
    return ["withdraw", one.id], lambda: not near.visits_of(f"NORWELL/{model}")


def _undone(near: Store, run: Run, model: str) -> tuple[list[str], Callable[[], bool]]:
    [one] = near.record([visit(model)]).recorded
    near.withdraw([one.id])
    return ["undo", one.id], lambda: bool(near.visits_of(f"NORWELL/{model}"))


def _merged(near: Store, run: Run, model: str) -> tuple[list[str], Callable[[], bool]]:
    near.record([visit(model)])
    return (
        ["merge", "Norwell", model, "--into", "Norwell", f"{model}A"],
        lambda: bool(near.visits_of(f"NORWELL/{model}A")),
    )


def _loaded(near: Store, run: Run, model: str) -> tuple[list[str], Callable[[], bool]]:
    notes = Path(f"{model}.jsonl")
    notes.write_text("".join(json.dumps(visit_data(f"{model}X{n}")) + "\n" for n in range(3)))

    def loaded() -> bool:
        found = [bool(near.visits_of(f"NORWELL/{model}X{n}")) for n in range(3)]
        assert len(set(found)) == 1
        return found[0]

    return ["load", str(notes)], loaded


Prepared = Callable[[Store, Run, str], tuple[list[str], Callable[[], bool]]]


@pytest.mark.parametrize("prepare", [_corrected, _withdrawn, _undone, _merged, _loaded])
def test_every_other_command_that_writes_tells_the_truth_as_well(
    jackfield: Run,
    team: str,
    far: str,
    line: Link,
    prepare: Prepared,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.chdir(tmp_path)
    with Store.open(team) as near:
        # An odd step: over the messages of a command it meets each kind of them.
        for count, (number, answered, stays_down) in enumerate(breaks(line, step=17)):
            line.mend()
            words, is_done = prepare(near, jackfield, f"C{count}")
            assert not is_done()
            line.break_at(number, answered=answered, stays_down=stays_down)
            done = jackfield(*words, "--store", far)
            line.mend()
            plain(done)
            if done.code == 0 or SAVED in done.err:
                assert is_done()
            elif UNSURE not in done.err:
                assert done.code == 3
                assert any(one in done.err for one in NOT_SAVED), done.err
                assert not is_done()


@pytest.mark.parametrize(
    "words",
    [
        ["show", "Norwell", "NV40-210"],
        ["path", "Norwell", "NV40-210"],
        ["history", "Norwell", "NV40-210"],
        ["find", "nv40"],
        ["evidence", "Norwell"],
        ["dump"],
        ["doctor"],
    ],
    ids=lambda words: words[0],
)
def test_a_question_is_answered_or_told_as_unanswered(
    jackfield: Run, team: str, far: str, line: Link, words: list[str]
) -> None:
    with Store.open(team) as near:
        near.record([visit()])
    usual = jackfield(*words, "--store", far)
    assert usual.code == 0
    for _ in breaks(line, step=11):
        done = jackfield(*words, "--store", far)
        plain(done)
        assert done.code in (0, 3), done
        if done.code == 3:
            assert any(one in done.err for one in NOT_SAVED), done.err


def test_giving_to_the_team_and_taking_from_it_survive_a_broken_connection(
    jackfield: Run, team: str, far: str, line: Link
) -> None:
    Store.open(team).close()
    jackfield("record", "Hallmere", "32FN14", "hp:mute")
    for command in ("push", "pull"):
        for _ in breaks(line, step=13):
            done = jackfield("share", command, far, "--all")
            plain(done)
            assert done.code in (0, 3), done
    line.mend()
    assert jackfield("share", "push", far).code == 0
    with Store.open(team) as near:
        assert Present(near).counts().visits == 1


def test_a_question_outlives_a_restart_between_and_inside_its_transactions(
    team: str, far: str, line: Link
) -> None:
    with Store.open(far) as store:
        store.record([visit()])
        for number in range(1, 6):
            line.break_at(number, answered=True, stays_down=False)
            assert len(store.visits_of(KEY)) == 1
            assert store.standing().revision == 1
        assert line.broken


def test_an_open_book_that_lost_its_server_works_again_when_the_server_is_back(
    team: str, far: str, line: Link
) -> None:
    with Store.open(far) as store:
        store.record([visit()])
        line.break_at(1, answered=False, stays_down=True)
        with pytest.raises(BookUnavailable):
            store.visits_of(KEY)
        with pytest.raises(BookUnavailable):
            store.record([visit("NV2")])
        line.mend()
        assert len(store.visits_of(KEY)) == 1
        store.record([visit("NV2")])


def test_a_program_that_keeps_a_transaction_open_for_too_long_lets_others_write(
    team: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    Store.open(team).close()  # to make the tables takes longer on a slow machine
    monkeypatch.setattr(places, "IDLE", 1.0)
    with Store.open(team) as store:
        with pytest.raises(BookUnavailable, match=r"stood still.*nothing was changed"):
            stand_still(store, 2.5)
        assert store.revision() == 0
        store.record([visit()])


def stand_still(store: Store, seconds: float) -> None:
    """Take the next revision, do nothing for a while, then ask something."""
    with store._writing() as writing:
        time.sleep(seconds)
        writing.connection.exec_driver_sql("SELECT 1")


#: SQLSTATE, a word of the message, and the kind of error (PostgreSQL's manual, appendix A).
STATES = [
    ("57P01", "stopping", Interrupted),
    ("57P03", "starting or stopping", Interrupted),
    ("57014", "time limit", BookUnavailable),
    ("53300", "no more connections", BookUnavailable),
    ("53100", "disk is full", BookUnavailable),
    ("25006", "read-only", BookUnavailable),
    ("25P03", "stood still", BookUnavailable),
    ("55P03", "writing for too long", BookUnavailable),
    ("40001", "at the same time", Interrupted),
    ("40P01", "at the same time", Interrupted),
    ("08006", "cannot be reached", Interrupted),
    ("28P01", "refuses this user", BookUnavailable),
    ("3D000", "no such database", BookUnavailable),
    ("58030", "disk failed", BookTrouble),
    ("XX001", "damaged", BookTrouble),
]


@pytest.mark.parametrize(("state", "said", "kind"), STATES, ids=lambda one: str(one)[:20])
def test_every_refusal_of_the_server_is_an_ordinary_message(
    team: str, state: str, said: str, kind: type[BookTrouble]
) -> None:
    """The server itself raises the error, in the middle of a transaction of ours."""
    with Store.open(team) as store:
        raising = f"DO $$ BEGIN RAISE EXCEPTION 'foreign words' USING ERRCODE = '{state}'; END $$"
        with pytest.raises(BookTrouble, match=said) as caught, store._writing() as writing:
            writing.connection.exec_driver_sql(raising)
        assert type(caught.value) is kind
        assert "DO $$" not in str(caught.value)
        store.record([visit()])  # the book is as usable as before


def test_a_commit_that_the_server_refuses_is_not_saved(team: str) -> None:
    with Store.open(team) as store:
        with store._writing() as writing:
            writing.connection.exec_driver_sql(
                "CREATE FUNCTION no() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN"
                " RAISE EXCEPTION 'no' USING ERRCODE = '53100'; END $$"
            )
            writing.connection.exec_driver_sql(
                "CREATE CONSTRAINT TRIGGER no AFTER INSERT ON visit DEFERRABLE INITIALLY DEFERRED"
                " FOR EACH ROW EXECUTE FUNCTION no()"
            )
            writing.keep = True
        with pytest.raises(BookUnavailable, match="disk is full; nothing was changed"):
            store.record([visit()])
        assert Present(store).counts().visits == 0


def test_a_server_that_is_full_or_stopped_in_between_is_told(
    jackfield: Run, team: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    import sqlalchemy as sa

    monkeypatch.setattr(places, "BACK", 0.1)
    with Store.open(team) as store:
        store.record([visit()])
        ending = sa.text(
            "SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE pid <> pg_backend_pid()"
            " AND application_name = 'meant'"
        )
        with (
            Store.open(f"{team}&application_name=meant") as other,
            store._engine.connect().execution_options(isolation_level="AUTOCOMMIT") as keeper,
        ):
            with other.snapshot() as snapshot:
                assert snapshot.revision == 1
                keeper.execute(ending)
                with pytest.raises(Interrupted, match="stopping; nothing was changed"):
                    snapshot.visits_of(KEY)
            keeper.execute(ending)
            assert len(other.visits_of(KEY)) == 1

            def ended() -> Iterator[Any]:
                yield from (visit(f"M{number}") for number in range(500))
                keeper.execute(ending)
                yield visit("M500")

            with pytest.raises(Interrupted, match="nothing was changed"):
                other.record(ended())
            assert other.revision() == 1


def test_a_phone_keeps_its_visit_while_the_server_is_away_and_sends_it_once(
    home: Path, team: str, far: str, line: Link
) -> None:
    pytest.importorskip("flask", reason="the extra jackfield[web] is not installed")
    from kb.web.app import make_app
    from tests.web.conftest import FORM, ID, Phone

    codes: list[str] = []
    app = make_app(home, far, tell=codes.append)
    phone = Phone(app.test_client(), codes).pair()
    form = {**FORM, "id": ID, "do": "save"}
    warm = "0199a000-0000-7000-8000-0000000000ff"
    assert phone.script("/record", {**form, "id": warm}).status_code == 200
    seen = set()
    for number in range(2, 40):
        line.break_at(number, answered=bool(number % 2), stays_down=True)
        answers = phone.script("/record", form), phone.post("/record", form)
        line.mend()
        for answer in answers:
            assert answer.status_code in (200, 303, 503), answer.text
            seen.add(answer.status_code)
            for foreign in ("mistake in Jackfield", "SQL", "psycopg."):
                assert foreign not in answer.text
            if UNSURE in answer.text:
                assert "Nothing was saved yet" not in answer.text
        if not line.broken:
            break
    assert 503 in seen
    assert phone.script("/record", form).json["visit"] == ID
    app.extensions["jackfield"].books.close()
    with Store.open(team) as near:
        assert Present(near).counts().visits == 2
