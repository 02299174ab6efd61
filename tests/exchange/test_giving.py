"""What was given, to whom, and whose bundles are taken: nothing of it is lost or forgotten."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

from kb.cli.main import run
from kb.domain.language import Language
from kb.domain.visit import visit_from
from kb.exchange import share_state as known
from kb.exchange.signing import key_file
from kb.store import Store
from tests.cli.conftest import Run
from tests.exchange.helpers import visit_data

KEYS = ("11qYAYKxCrfVS/7TyWQHOg7hcvPapiMlrwIaaPcHURo=", "PUAXw+hDiVqStwqnTRt+vJyYLM8uxJaMwM1V8Sr0Zgw=")
"""The public keys of tests 1 and 2 in RFC 8032, section 7.1 (from memory)."""


@pytest.fixture
def book(home: Path) -> Path:
    path = home / "book.sqlite"
    with Store.open(path) as store:
        store.record([visit_from(visit_data("NV1", note="")), visit_from(visit_data("NV2", note=""))])
    return path


@pytest.fixture
def keys(tmp_path: Path) -> list[Path]:
    """The key files of two colleagues."""
    files = [tmp_path / "ab.key", tmp_path / "cd.key"]
    for file, name, key in zip(files, ("AB", "CD"), KEYS, strict=True):
        file.write_text(key_file(name, key))
    return files


# -- whose bundles are taken ------------------------------------------------------------------------------


def test_when_the_last_colleague_leaves_unsigned_bundles_stay_out_until_somebody_says_otherwise(
    jackfield: Run, book: Path, keys: list[Path], tmp_path: Path
) -> None:
    bundle, other = tmp_path / "b", tmp_path / "o"
    jackfield("share", "out", bundle)
    jackfield("share", "trust", keys[0], "--home", other)
    dropped = jackfield("share", "trust", "--drop", "AB", "--home", other)
    assert "no bundle is taken in without one" in dropped.err
    refused = jackfield("share", "in", bundle, "--home", other)
    assert (refused.code, "no signature" in refused.err) == (2, True)
    assert jackfield("share", "trust", "--home", other, "--json").json == {"trusted": [], "signed_only": True}
    opened = jackfield("share", "trust", "--anyone", "--home", other)
    assert "bundles of anybody are taken in" in opened.err
    assert jackfield("share", "in", bundle, "--home", other).code == 0
    assert jackfield("share", "trust", "--signed-only", "--home", other).code == 0
    assert jackfield("share", "in", bundle, "--home", other).code == 2
    several = jackfield("share", "trust", "--signed-only", "--anyone", "--home", other)
    assert (several.code, "one of them" in several.err) == (2, True)


def test_a_file_of_before_with_a_trusted_key_wants_signatures(
    jackfield: Run, book: Path, tmp_path: Path
) -> None:
    other = tmp_path / "o"
    other.mkdir()
    earlier = {"peers": {}, "approved": [], "declined": [], "trusted": {"AB": KEYS[0]}}
    (other / "share.json").write_text(json.dumps(earlier))
    jackfield("share", "out", tmp_path / "b")
    assert jackfield("share", "in", tmp_path / "b", "--home", other).code == 2
    assert known.load(other).signed_only
    (other / "share.json").write_text(json.dumps({**earlier, "signed_only": "yes"}))
    assert "signed_only" in jackfield("share", "in", tmp_path / "b", "--home", other).err


@pytest.mark.parametrize("part", ["out", "push", "pull", "in"])
def test_a_key_that_is_trusted_while_something_is_shared_stays_trusted(
    jackfield: Run,
    book: Path,
    keys: list[Path],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    part: str,
) -> None:
    url = f"sqlite:///{tmp_path}/team.sqlite"
    jackfield("share", "out", tmp_path / "b")
    jackfield("share", "push", url)
    merge, write = Store.merge, "kb.exchange.bundle.write"

    def meanwhile() -> None:
        if not known.load(book.parent).trusted:
            assert run(["share", "trust", str(keys[0])]) == 0
            assert run(["share", "trust", "--drop", "AB"]) == 0
            assert run(["share", "trust", str(keys[1])]) == 0

    def merging(store: Store, *args: object, **named: object) -> object:
        meanwhile()
        return merge(store, *args, **named)  # type: ignore[arg-type]

    def writing(*args: object, **named: object) -> object:
        meanwhile()
        return written(*args, **named)

    from kb.exchange.bundle import write as written  # type: ignore[assignment]

    monkeypatch.setattr(Store, "merge", merging)
    monkeypatch.setattr(write, writing)
    words = {
        "out": ["share", "out", str(tmp_path / "c"), "--for", "north"],
        "push": ["share", "push", url, "--all"],
        "pull": ["share", "pull", url],
        "in": ["share", "in", str(tmp_path / "b")],
    }[part]
    assert jackfield(*words).code == 0
    monkeypatch.undo()
    mine = known.load(book.parent)
    assert (list(mine.trusted), mine.signed_only) == (["CD"], True)


def test_keys_that_are_trusted_at_the_same_moment_are_all_trusted(home: Path, tmp_path: Path) -> None:
    names = ["AB", "CD", "EF"]
    for name in names:
        (tmp_path / name).write_text(key_file(name, KEYS[0]))
    start = [sys.executable, "-m", "kb.cli.main", "share", "trust"]
    children = [
        subprocess.Popen([*start, tmp_path / name, "--home", home], stdout=subprocess.DEVNULL)
        for name in names
    ]
    assert [child.wait() for child in children] == [0, 0, 0]
    assert sorted(known.load(home).trusted) == names


def test_what_was_decided_while_another_was_asked_stays_decided(
    jackfield: Run, home: Path, keys: list[Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Somebody looks at his notes for long; meanwhile a key is trusted and another note declined."""
    with Store.open(home / "book.sqlite") as store:
        store.record([visit_from(visit_data("NV1"))])
    names = [one["name"] for one in jackfield("share", "review", "--json").json["notes"]]
    import kb.cli.share_review as review

    asked = review._asked

    def slowly(question: str, choices: str, said: Language) -> str:
        assert run(["share", "trust", str(keys[0])]) == 0
        assert run(["share", "review", "--keep", names[1]]) == 0
        return asked(question, choices, said)

    monkeypatch.setattr(review, "_asked", slowly)
    jackfield("share", "review", "--ask", stdin="n\nq\n")
    mine = known.load(home)
    assert (list(mine.trusted), mine.declined) == (["AB"], sorted(names))


# -- what was given to whom -------------------------------------------------------------------------------


def test_a_bundle_that_replaces_an_unsigned_one_holds_all_that_it_held(
    jackfield: Run, book: Path, tmp_path: Path
) -> None:
    pytest.importorskip("cryptography")
    out = tmp_path / "west.jsonl"
    jackfield("share", "out", tmp_path / "first", "--for", "west")
    jackfield("record", "Hallmere", "32FN14", "hp")
    assert jackfield("share", "out", out, "--for", "west", "--json").json["visits"] == 1
    again = jackfield("share", "out", out, "--for", "west", "--sign", "--replace", "--json").json
    assert (again["visits"], again["signed"]) == (1, True)
    assert "32FN14" in out.read_text()
    jackfield("record", "Hallmere", "32FN15", "hp")
    more = jackfield("share", "out", out, "--for", "west", "--sign", "--replace", "--json").json
    assert more["visits"] == 2


def test_what_had_waited_is_in_the_bundle_that_replaces(jackfield: Run, book: Path, tmp_path: Path) -> None:
    jackfield("record", "Mrs Alder", "TV1", "hp")
    held = jackfield("share", "out", tmp_path / "1", "--for", "west", "--json").json["held"]
    jackfield("share", "review", "--approve", held[0]["visit"])
    for replace in ([], ["--replace"], ["--replace"]):
        said = jackfield("share", "out", tmp_path / "2", "--for", "west", *replace, "--json").json
        assert said["visits"] == 1
    jackfield("share", "review", "--keep", held[0]["visit"])
    said = jackfield("share", "out", tmp_path / "2", "--for", "west", "--replace", "--json").json
    assert said["visits"] == 0  # it was held back again: a replacement holds no more than may go


def test_a_file_that_is_no_bundle_of_this_book_is_replaced_as_it_was_asked(
    jackfield: Run, book: Path, tmp_path: Path
) -> None:
    out = tmp_path / "2"
    jackfield("share", "out", tmp_path / "1", "--for", "west")
    out.write_text("an old list")
    said = jackfield("share", "out", out, "--for", "west", "--replace", "--json").json
    assert said["visits"] == 0
    jackfield("record", "Hallmere", "32FN14", "hp", "--home", tmp_path / "o")
    jackfield("share", "out", out, "--replace", "--home", tmp_path / "o")
    said = jackfield("share", "out", out, "--for", "west", "--replace", "--json").json
    assert said["visits"] == 0


def test_where_nothing_is_new_it_is_told_how_to_give_everything_again(
    jackfield: Run, book: Path, tmp_path: Path
) -> None:
    jackfield("share", "out", tmp_path / "1", "--for", "west")
    (tmp_path / "1").unlink()
    done = jackfield("share", "out", tmp_path / "1", "--for", "west")
    assert "nothing is new since the last bundle for west; with --all" in done.err
    assert jackfield("share", "out", tmp_path / "2", "--for", "west", "--all", "--json").json["visits"] == 2
