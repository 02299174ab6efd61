"""What goes to colleagues is about sets, not homes; theirs come in whole, or not at all."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest
import sqlalchemy as sa

from kb.domain.visit import visit_from
from kb.exchange.private_words import signs
from kb.exchange.sharing import Given, outgoing
from kb.store import Store
from tests.cli.conftest import Run
from tests.exchange.helpers import facts_of, standing, visit_data
from tests.present import Present

VisitFile = Callable[..., Path]
CANARIES = ("QXINITIALS", "QXJOB", "QXDRIVER", "QXJACKNOTE", "QXNOTE")


@pytest.fixture
def book(home: Path) -> Path:
    """A book of two visits with private words in every field that can hold them."""
    path = home / "book.sqlite"
    with Store.open(path) as store:
        store.record([visit_from(visit_data("NV1")), visit_from(visit_data("NV2"))])
    return path


def test_no_private_word_leaves_the_book(jackfield: Run, book: Path, tmp_path: Path) -> None:
    out = tmp_path / "b.jsonl"
    assert jackfield("share", "out", out, "--json").json["visits"] == 2
    written = out.read_text()
    assert "DIGITAL AUDIO OUT" in written
    assert not [one for one in CANARIES if one in written]
    assert out.stat().st_mode & 0o777 == 0o600


def test_sharing_reads_no_private_table(book: Path) -> None:
    asked: list[str] = []
    with Store.open(book) as store:
        sa.event.listen(store._engine, "before_cursor_execute", lambda *args: asked.append(args[2]))
        with store.snapshot() as now:
            shared = list(outgoing(now, 0, Given()))
    assert len(shared) == 2
    assert asked
    assert not [one for one in asked if "private" in one]


def test_a_note_goes_out_word_for_word_once_somebody_released_it(
    jackfield: Run, book: Path, tmp_path: Path
) -> None:
    notes = jackfield("share", "review", "--json").json["notes"]
    assert sorted({one["note"] for one in notes}) == [
        "QXJACKNOTE behind the shelf",
        "QXNOTE asked for the blue cable",
    ]
    one = next(one for one in notes if one["jack"] == 1)
    assert jackfield("share", "review", "--release", one["name"], "--json").json["released"] == 1
    kept = next(one for one in notes if one["jack"] is None)
    jackfield("share", "review", "--keep", kept["name"])
    assert len(jackfield("share", "review", "--json").json["notes"]) == len(notes) - 2
    out = tmp_path / "b.jsonl"
    said = jackfield("share", "out", out, "--json").json
    assert (said["notes"], said["unreviewed"]) == (1, 2)
    assert [word for word in CANARIES if word in out.read_text()] == ["QXJACKNOTE"]
    jackfield("share", "in", out, "--home", tmp_path / "o")
    shown = jackfield("show", one["make"], one["model"], "--home", tmp_path / "o", "--json").json
    assert shown["panel"][0]["notes"] == ["QXJACKNOTE behind the shelf"]
    assert jackfield("find", "qxjacknote", "--home", tmp_path / "o").code == 0


def test_a_released_note_can_be_called_back(jackfield: Run, book: Path, tmp_path: Path) -> None:
    one = jackfield("share", "review", "--json").json["notes"][0]
    jackfield("share", "review", "--release", one["name"])
    out, home = tmp_path / "b.jsonl", tmp_path / "o"
    jackfield("share", "out", out)
    jackfield("share", "in", out, "--home", home)
    note = next(
        json.loads(line)["note"]["id"] for line in out.read_text().splitlines() if '"note"' in line[:8]
    )
    assert jackfield("undo", note, "--json").json["undone"] == "release"
    jackfield("share", "out", out, "--replace")
    assert "QX" not in out.read_text().split('"visit"', 1)[0]
    jackfield("share", "in", out, "--home", home)
    shown = jackfield("show", one["make"], one["model"], "--home", home).out
    assert "QX" not in shown


@pytest.mark.parametrize(
    ("said", "kind"),
    [
        ("call 0555 010 2233 first", "phone number"),
        ("+44 (0)555-0102-233", "phone number"),
        ("m.alder@home.example", "mail address"),
        ("m.alder (at) home.example", "mail address"),
        ("at 12 Long Meadow Lane", "street address"),
        ("Lindenstraße 7, hinten", "street address"),
        ("rue du Four 12", "street address"),
        ("Lindenstr. 7a, hinten", "street address"),
        ("Ulmenallee 7", "street address"),
        ("C/ Olmo, 12", "street address"),
        ("Avda. del Olmo 3, 2º B", "street address"),
        ("Paseo del Olmo 4", "street address"),
        ("8 chemin des Ormes", "street address"),
        ("14 Elm Gardens", "street address"),
        ("7 The Green", "street address"),
        ("lives at 12a, The Old Rectory, Oxmarle", "street address"),
        ("PO Box 123", "street address"),
        ("12345 Ulmstadt", "postal code"),
        ("tel. 12 34 56", "phone number"),
        ("01 23 45 67 89", "phone number"),
        ("0170 1234567", "phone number"),
        ("(555) 010-2233", "phone number"),
        ("alder at home dot example", "mail address"),
        ("3rd floor", "room or flat"),
        ("M. Aulne", "person"),
        ("Mrs Alder likes it loud", "person"),
        ("Frau Alder", "person"),
        ("room 12", "room or flat"),
        ("flat 3b", "room or flat"),
        ("QX1 2AB", "postal code"),
        ("see www.alder.example", "web address"),
    ],
)
def test_words_about_a_home_are_flagged(said: str, kind: str) -> None:
    assert kind in signs(said)


@pytest.mark.parametrize(
    "said",
    [
        "192.168.0.10",
        "10 minutes on the way",
        "place the driver behind the set",
        "48000 Hz, 230 V 50 Hz",
        "press MENU 1147 to enter service",
        "way 2 of the splitter",
        "jack 2 The DAC was off",
        "pull 2 the green plug",
        "sound menu, digital output: PCM",
        "AUDIO OUT (FIXED/VAR)",
        "optical cable 2 m",
        "HDMI 1 (ARC)",
        "DIGITAL AUDIO OUT 48 kHz 16/24 bit",
        "RCA pair to 3.5 mm cable 2 m",
        "settings 2, audio 4, pcm; seen 2024-03-04",
        "menu 1 > 2 > 3 > 4",
        "12 V trigger; 100-240 V 50/60 Hz",
    ],
)
def test_words_of_the_trade_are_not(said: str) -> None:
    assert signs(said) == ()


def test_the_trades_own_words_in_the_demo_book_are_not_held_back() -> None:
    from kb.exchange.sharing import personal

    lines = (Path(__file__).parents[2] / "data" / "demo" / "visits.jsonl").read_text("utf-8").splitlines()
    held = [line for line in lines if personal(visit_from(json.loads(line)))]
    assert len(held) <= len(lines) // 200


def test_a_setting_that_looks_personal_is_held_back_until_approved(
    jackfield: Run, visit_file: VisitFile, tmp_path: Path
) -> None:
    jacks = [{"form": "toslink", "marking": "OPTICAL OUT", "setting": "ask Mrs Alder on 0555 010 2233"}]
    jackfield("record", "--file", visit_file(jacks=jacks))
    jackfield("record", "Hallmere", "32FN14", "hp")
    out = tmp_path / "b.jsonl"
    said = jackfield("share", "out", out, "--for", "north", "--json").json
    assert (said["visits"], len(said["held"])) == (1, 1)
    assert said["held"][0]["why"][0]["signs"] == ["person", "phone number"]
    assert "Alder" not in out.read_text()
    jackfield("share", "review", "--approve", said["held"][0]["visit"])
    again = jackfield("share", "out", tmp_path / "2.jsonl", "--for", "north", "--json").json
    assert (again["visits"], again["held"]) == (1, [])
    assert "Alder" in (tmp_path / "2.jsonl").read_text()


def test_only_what_is_new_since_the_last_time_goes_to_a_colleague(
    jackfield: Run, book: Path, tmp_path: Path
) -> None:
    first, second, third = (tmp_path / f"{n}.jsonl.gz" for n in "123")
    assert jackfield("share", "out", first, "--for", "north", "--json").json["visits"] == 2
    jackfield("record", "Hallmere", "32FN14", "hp")
    assert jackfield("share", "out", second, "--for", "north", "--json").json["visits"] == 1
    assert jackfield("share", "out", third, "--for", "south", "--json").json["visits"] == 3
    home = tmp_path / "o"
    done = jackfield("share", "in", second, "--home", home, "--json").json["bundles"][0]
    assert (done["visits"], done["gap"]) == (1, True)
    assert jackfield("share", "in", first, "--home", home, "--json").json["bundles"][0]["gap"] is False
    with Store.open(home / "book.sqlite") as store, Store.open(book) as own:
        assert standing(store).keys() == standing(own).keys()


def test_a_restored_backup_does_not_lose_what_it_has_to_give(
    jackfield: Run, book: Path, tmp_path: Path
) -> None:
    jackfield("backup")
    jackfield("record", "Hallmere", "32FN14", "hp")
    jackfield("share", "out", tmp_path / "1", "--for", "north")
    jackfield("restore", "--replace")
    jackfield("record", "Hallmere", "32FN15", "hp")
    assert jackfield("share", "out", tmp_path / "2", "--for", "north", "--json").json["visits"] == 3


def test_what_was_withdrawn_or_corrected_before_is_not_given(
    jackfield: Run, book: Path, tmp_path: Path
) -> None:
    with Store.open(book) as store:
        one, two = (one.id for some in Present(store).visits() for one in some)
    jackfield("withdraw", one)
    jackfield("correct", two, "1.setting=menu only")
    out = tmp_path / "b.jsonl"
    assert jackfield("share", "out", out, "--for", "north", "--json").json["visits"] == 1
    assert "digital output: PCM" not in out.read_text()
    jackfield("undo", one)
    again = jackfield("share", "out", tmp_path / "2.jsonl", "--for", "north", "--json").json
    assert (again["visits"], again["withdrawals"]) == (1, 1)


def test_a_visit_with_an_id_of_its_own_is_entered_anew_the_same_everywhere(
    tmp_path: Path, jackfield: Run
) -> None:
    given = visit_from({**visit_data("NV9"), "id": "0192a6c0-0000-7000-8000-000000000001"})
    for name in ("a", "b"):
        with Store.open(tmp_path / name / "book.sqlite") as store:
            store.record([given])
        out = tmp_path / f"{name}.jsonl"
        assert jackfield("share", "out", out, "--home", tmp_path / name, "--json").json["anew"] == 1
    bodies = [(tmp_path / f"{name}.jsonl").read_text().splitlines()[1:] for name in "ab"]
    assert bodies[0] == bodies[1]
    jackfield("share", "in", tmp_path / "b.jsonl", "--home", tmp_path / "a")
    shown = jackfield("show", "Norwell", "NV9", "--home", tmp_path / "a", "--json").json
    assert len(shown["visits"]) == 1
    assert shown["visits"][0]["note"].startswith("QXNOTE")


def test_signed_bundles_of_trusted_colleagues_only(jackfield: Run, book: Path, tmp_path: Path) -> None:
    pytest.importorskip("cryptography")
    out, plain, key, other = tmp_path / "s.jsonl", tmp_path / "p.jsonl", tmp_path / "rt.key", tmp_path / "o"
    jackfield("share", "key", key, "--name", "RT")
    assert (book.parent / "share.key").stat().st_mode & 0o777 == 0o600
    jackfield("share", "out", out, "--sign")
    jackfield("share", "out", plain)
    assert jackfield("share", "in", plain, "--dry-run", "--home", other).code == 0
    assert jackfield("share", "trust", key, "--home", other, "--json").json["trusted"][0]["name"] == "RT"
    refused = jackfield("share", "in", plain, "--home", other)
    assert (refused.code, "no signature" in refused.err) == (2, True)
    done = jackfield("share", "in", out, "--home", other, "--json").json["bundles"][0]
    assert (done["signed_by"], done["visits"]) == ("RT", 2)
    assert jackfield("share", "in", plain, "--anyone", "--home", other).code == 0
    # another's key, and a header that was changed after it was signed
    jackfield("share", "key", tmp_path / "x.key", "--name", "XX", "--home", tmp_path / "x")
    jackfield("share", "trust", "--drop", "RT", "--home", other)
    jackfield("share", "trust", tmp_path / "x.key", "--home", other)
    assert "not trusted" in jackfield("share", "in", out, "--home", other).err
    header, _, rest = out.read_text().partition("\n")
    said = json.loads(header)
    said["to"] += 1
    out.write_text(json.dumps(said) + "\n" + rest)
    assert "signature" in jackfield("share", "in", out, "--anyone", "--home", other).err


def test_a_colleagues_correction_is_told_and_can_be_undone(
    jackfield: Run, book: Path, tmp_path: Path
) -> None:
    out, back, other = tmp_path / "1.jsonl", tmp_path / "2.jsonl", tmp_path / "o"
    jackfield("share", "out", out)
    jackfield("share", "in", out, "--home", other)
    [visit] = jackfield("show", "Norwell", "NV1", "--home", other, "--json").json["visits"]
    new = jackfield("correct", visit["id"], "1.outcome=silent", "--home", other, "--json").json["visit"]
    jackfield("share", "out", back, "--home", other)
    dry = jackfield("share", "in", back, "--dry-run", "--json").json["bundles"][0]
    assert dry["replaced"] == [visit["id"]]
    assert jackfield("show", "Norwell", "NV1", "--json").json["visits"][0]["id"] == visit["id"]
    done = jackfield("share", "in", back)
    assert "it corrects 1 visit of this book" in done.err
    assert jackfield("show", "Norwell", "NV1", "--json").json["visits"][0]["id"] == new
    jackfield("undo", new)
    assert jackfield("show", "Norwell", "NV1", "--json").json["visits"][0]["id"] == visit["id"]


def test_push_and_pull_between_two_books_and_a_shared_one(jackfield: Run, book: Path, tmp_path: Path) -> None:
    url, other = f"sqlite:///{tmp_path}/team.sqlite", tmp_path / "o"
    done = jackfield("share", "push", url, "--json").json
    assert (done["visits"], done["new"]) == (2, 2)
    assert jackfield("share", "push", url, "--json").json["visits"] == 0
    assert jackfield("share", "pull", url, "--home", other, "--json").json["visits"] == 2
    jackfield("record", "Hallmere", "32FN14", "hp", "--home", other)
    jackfield("share", "push", url, "--home", other)
    assert jackfield("share", "pull", url, "--json").json["visits"] == 1
    books = (book, other / "book.sqlite", tmp_path / "team.sqlite")
    shared = []
    for path in books:
        with Store.open(path) as store:
            shared.append(facts_of(store, private=False))
    assert shared[0] == shared[1] == shared[2]
    with Store.open(tmp_path / "team.sqlite") as store:
        assert not [word for word in CANARIES if word in "".join(facts_of(store))]


@pytest.mark.parametrize("part", ["out", "in", "push", "pull", "review", "key", "trust"])
def test_every_part_tells_how_it_is_used(jackfield: Run, part: str) -> None:
    done = jackfield("share", part, "--help")
    assert (done.code, done.err) == (0, "")
    assert "--json" in done.out
    assert max(map(len, done.out.splitlines())) <= 80


@pytest.mark.parametrize(
    ("words", "code", "named"),
    [
        (["share", "push", "nowhere"], 2, "postgresql"),
        (["share", "push", "mysql://x/y"], 2, "postgresql"),
        (["share", "pull", "sqlite:////no/such/book.sqlite"], 3, "no book"),
        (["share", "push", "sqlite:///x", "--store", "sqlite:///y"], 2, "--store"),
        (["share", "out", "/no/such/folder/x"], 2, "its folder does not exist"),
        (["share", "out", "x", "--for", "n", "--since", "3"], 2, "one of them"),
        (["share", "review", "--release", "zzzz"], 2, "review"),
        (["share", "trust", "--drop", "nobody"], 1, "nobody"),
        (["share", "key"], 2, "--name"),
        (["share", "in", "/no/such"], 2, "file not found"),
        (["share", "in", "/"], 2, "a folder"),
    ],
)
def test_wrong_words_get_one_clear_message(
    jackfield: Run, book: Path, words: list[str], code: int, named: str
) -> None:
    done = jackfield(*words)
    assert (done.code, done.out) == (code, "")
    assert named in done.err
    assert "Traceback" not in done.err


def test_the_list_of_notes_names_the_set_that_each_is_about(jackfield: Run, book: Path) -> None:
    lines = jackfield("share", "review").out.splitlines()
    assert lines
    assert all("  Norwell NV1, 2026-03-04: 'QX" in line or "  Norwell NV2, " in line for line in lines)


def test_review_asks_one_by_one(jackfield: Run, book: Path) -> None:
    answers = "y\nn\ne\nthe blue cable is in the van\nq\n"
    done = jackfield("share", "review", "--ask", stdin=answers)
    assert done.code == 0, done.err
    assert "2 notes released, 1 note kept here" in done.out
    with Store.open(book) as store:
        assert any("blue cable is in the van" in line for line in facts_of(store, private=False))
