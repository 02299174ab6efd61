"""A hostile bundle is refused or made harmless: no traceback, and the book stays as it was.

JACKFIELD_LONG=1 tries 10,000 made-up files; otherwise a few.
"""

from __future__ import annotations

import gzip
import hashlib
import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from kb.base.errors import BadInput, BookTrouble
from kb.exchange.bundle import BYTES, read
from kb.exchange.fact_lines import to_object
from kb.exchange.loading import Source, load
from kb.store import Store
from kb.store.content_id import sealed, sealed_id
from kb.store.facts import AliasFact, VisitFact, WithdrawalFact
from tests.cli.conftest import Run
from tests.conftest import LONG
from tests.exchange.helpers import facts_of, fill
from tests.exchange.test_merge_laws import visit

ID = "01234567-89ab-8def-8123-456789abcdef"


def bundle(path: Path, *lines: str | bytes, packed: bool = False, **changed: Any) -> Path:
    """A bundle with a true checksum over whatever is in it."""
    raw = b"".join(
        (line if isinstance(line, bytes) else line.encode("utf-8", "surrogatepass")) + b"\n" for line in lines
    )
    counts = dict.fromkeys(("visit", "alias", "withdrawal", "note"), 0)
    for line in lines:
        try:
            counts[next(iter(json.loads(line)))] += 1
        except (ValueError, KeyError, StopIteration, TypeError, RecursionError):
            continue
    header = {
        "jackfield": "bundle",
        "format": 1,
        "book": ID,
        "from": 0,
        "to": 1,
        "mark": ID,
        "counts": counts,
        "bytes": len(raw),
        "sha256": hashlib.sha256(raw).hexdigest(),
        **changed,
    }
    said = (
        json.dumps({key: value for key, value in header.items() if value != "LEFT OUT"}).encode()
        + b"\n"
        + raw
    )
    path.write_bytes(gzip.compress(said) if packed else said)
    return path


def true_fact(**changed: Any) -> dict[str, Any]:
    one, nonce = sealed(visit())
    said = to_object(VisitFact(one, nonce))
    said["visit"] |= changed
    return said


def resealed(**changed: Any) -> dict[str, Any]:
    """A visit whose id fits what it says, however bad that is: only the rules of its fields are left."""
    said = true_fact(**changed)
    plain = {key: value for key, value in said["visit"].items() if key != "id"}
    said["visit"]["id"] = sealed_id("visit", plain, said["seal"])
    return said


HEADERS: list[dict[str, Any]] = [
    {"jackfield": "dump"},
    {"format": 2},
    {"format": True},
    {"format": "1"},
    {"book": "../../etc/passwd"},
    {"book": None},
    {"mark": "LEFT OUT"},
    {"counts": {"visit": 10**12}},
    {"counts": {"visit": 1, "alias": 0, "withdrawal": 0, "note": -1}},
    {"counts": {"visit": 7, "alias": 0, "withdrawal": 0, "note": 0}},
    {"counts": []},
    {"bytes": 1},
    {"bytes": BYTES * 1000},
    {"bytes": -1},
    {"bytes": 2.5},
    {"sha256": "0" * 64},
    {"sha256": None},
    {"to": "now"},
    {"from": 10**40},
    {"extra": "field"},
    {"signed": {"key": "x", "signature": "y"}},
    {"signed": {"key": "A" * 43 + "=", "signature": "A" * 86 + "=="}},
    {"signed": "me"},
]

LINES: list[Any] = [
    "",
    "null",
    "[]",
    "[" * 100_000,
    '{"visit":' * 50_000,
    "{}",
    '{"visit": 1}',
    '{"visit": {}, "alias": {}}',
    '{"photo": {}}',
    "NaN",
    "1" * 5000,
    b"\xff\xfe\x00bytes",
    '"' + "x" * 1_500_000 + '"',
    true_fact(id="../../../../etc/passwd"),
    true_fact(id=7),
    true_fact(date="3026-01-01"),
    true_fact(jacks=[{"form": "toslink"}] * 1000),
    true_fact(jacks={"form": "toslink"}),
    true_fact(source="Norwell"),
    true_fact(source={"make": "\x1b[2J", "model": "x"}),
    true_fact(source={"make": "Nor\u202ewell", "model": "x"}),
    true_fact(source={"make": "\ud800", "model": "x"}),
    true_fact(source={"make": "x" * 100_000, "model": "x"}),
    true_fact(source={"make": ["x"], "model": {"a": 1}}),
    true_fact(size_in=float("1e308")),
    true_fact(supersedes=["x"] * 3),
    true_fact(supersedes=[ID] * 1000),
    resealed(job="J-104"),
    resealed(by="RT"),
    resealed(note="of a client"),
    resealed(driver={"name": "theirs"}),
    resealed(jacks=[{"form": "toslink", "note": "of a client"}]),
    true_fact() | {"seal": "x"},
    true_fact() | {"seal": "0" * 32},
    true_fact() | {"recorded": "2026-03-04T05:06:07Z"},
    true_fact() | {"more": 1},
    {"alias": {"id": ID, "spelling": "a/b", "same_as": "A/B"}},
    {"alias": {"id": ID, "spelling": "../..", "same_as": "A/B"}},
    {"alias": {"id": sealed_id("alias", ["A/B", "A/B"]), "spelling": "A/B", "same_as": "A/B"}},
    {"alias": {"id": ID, "spelling": "X" * 600 + "/B", "same_as": "A/B"}},
    {"withdrawal": {"id": ID, "of": ID, "turn": 1, "stands": False}},
    {
        "withdrawal": {
            "id": sealed_id("withdrawal", [ID, 2**31, False]),
            "of": ID,
            "turn": 2**31,
            "stands": False,
        }
    },
    {"withdrawal": {"id": sealed_id("withdrawal", [ID, 1, 0]), "of": ID, "turn": 1, "stands": 0}},
    {"withdrawal": {"id": ID, "of": ID, "turn": True, "stands": False}},
    {"note": {"id": ID, "visit": ID, "text": "x"}},
    {"note": {"id": ID, "visit": ID, "jack": 99, "text": "x"}},
    {"note": {"id": ID, "visit": ID, "text": "x" * 5000}},
    {"note": {"id": ID, "visit": ID, "text": ""}},
]


@pytest.fixture(scope="module")
def book(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("hostile") / "book.sqlite"
    with Store.open(path) as store:
        fill(store, 2)
    return path


def refused(book: Path, path: Path) -> str:
    with Store.open(book) as store:
        before, revision = facts_of(store), store.revision()
        with pytest.raises((BadInput, BookTrouble)) as told, read(str(path)) as (_, facts):
            store.merge(facts, outside=True)
        assert facts_of(store) == before
        assert store.revision() == revision
    said = str(told.value)
    assert said.isprintable() or "\n" not in said
    assert "\x1b" not in said
    assert len(said) < 600
    return said


@pytest.mark.parametrize("changed", HEADERS, ids=lambda one: json.dumps(one)[:40])
def test_a_header_that_lies_is_refused(book: Path, tmp_path: Path, changed: dict[str, Any]) -> None:
    refused(book, bundle(tmp_path / "b", json.dumps(true_fact()), **changed))


@pytest.mark.parametrize("line", LINES, ids=range(len(LINES)))  # ids differ from run to run
def test_a_fact_that_is_none_is_refused_with_its_line_though_its_checksum_is_true(
    book: Path, tmp_path: Path, line: Any
) -> None:
    good = json.dumps(true_fact())
    one = line if isinstance(line, (str, bytes)) else json.dumps(line)
    path = bundle(tmp_path / "b", good, one)
    assert f"{path}, line 3" in refused(book, path)


def test_a_bundle_that_was_damaged_on_the_way_is_refused(book: Path, tmp_path: Path) -> None:
    path = bundle(tmp_path / "b", json.dumps(true_fact()))
    whole = path.read_bytes()
    for damaged in (
        whole[:-5],
        whole.replace(b"Norwell", b"Nurwell"),
        whole + b"{}\n",
        b"",
        whole[10:],
        b"\x1f\x8b" + whole,
    ):
        path.write_bytes(damaged)
        refused(book, path)


def test_a_small_file_that_unpacks_to_a_huge_one_is_refused_soon(book: Path, tmp_path: Path) -> None:
    zeros = b"0" * 60_000_000
    bundle(tmp_path / "line", zeros, packed=True)
    refused(book, tmp_path / "line")
    path = bundle(tmp_path / "more", json.dumps(true_fact()))
    path.write_bytes(gzip.compress(path.read_bytes() + b"\n" * 60_000_000))
    assert path.stat().st_size < 200_000
    assert "more than" in refused(book, path)


def test_what_looks_like_a_path_or_a_formula_stays_text(jackfield: Run, tmp_path: Path) -> None:
    source = {"make": "../../x", "model": "=CMD|A1 [bold]<b>%s", "kind": "television"}
    said = true_fact(source=source)
    plain = {key: value for key, value in said["visit"].items() if key != "id"}
    said["visit"]["id"] = sealed_id("visit", plain, said["seal"])
    before = {path for path in tmp_path.rglob("*") if "book" not in str(path)}
    assert jackfield("share", "in", bundle(tmp_path / "b", json.dumps(said))).code == 0
    assert {path for path in tmp_path.rglob("*") if "book" not in str(path)} - before <= {tmp_path / "b"}
    assert "=CMD|A1 [bold]<b>%s" in " ".join(jackfield("show", "../../x", source["model"]).out.split())


def test_the_command_says_one_line_and_no_traceback(jackfield: Run, tmp_path: Path) -> None:
    path = bundle(tmp_path / "b", json.dumps(true_fact(source={"make": "\x1b[2J", "model": "x"})))
    done = jackfield("share", "in", path)
    assert (done.code, done.out) == (2, "")
    assert "line 2" in done.err
    assert "\x1b" not in done.err
    assert "Traceback" not in done.err


# -- made-up files -----------------------------------------------------------------------------------

_junk = st.recursive(
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats()
    | st.text(max_size=20)
    | st.sampled_from([ID, "output"]),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3),
    max_leaves=8,
)
_keys = st.sampled_from(
    "visit alias withdrawal note id date source make model jacks form seal spelling same_as of turn stands"
    " text jack supersedes driver inputs items by job recorded".split()
)


@st.composite
def _lines(draw: st.DrawFn) -> str | bytes:
    """A true fact with something changed in it, an object of known keys, or anything."""
    kind = draw(st.integers(0, 3))
    if kind == 0:
        return draw(st.binary(max_size=60).map(lambda raw: raw.replace(b"\n", b"")))
    if kind == 1:
        return json.dumps(
            draw(st.dictionaries(_keys, _junk | st.dictionaries(_keys, _junk, max_size=4), max_size=4))
        )
    facts: list[Any] = [
        true_fact(),
        to_object(AliasFact(sealed_id("alias", ["A/B", "C/D"]), "A/B", "C/D")),
        to_object(WithdrawalFact(sealed_id("withdrawal", [ID, 1, False]), ID, 1, False)),
    ]
    said = draw(st.sampled_from(facts))
    spot: Any = said
    while isinstance(spot, dict) and spot:
        key = draw(st.sampled_from(sorted(spot)))
        if not isinstance(spot[key], (dict, list)) or draw(st.booleans()):
            spot[key] = draw(_junk)
            break
        spot = spot[key] if isinstance(spot[key], dict) else (spot[key] or [{}])[0]
    return json.dumps(said)


@settings(
    max_examples=10_000 if LONG else 40,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.function_scoped_fixture],
)
@given(lines=st.lists(_lines(), min_size=1, max_size=3), header=st.dictionaries(_keys, _junk, max_size=1))
def test_no_made_up_bundle_gets_a_traceback_or_half_of_itself_into_the_book(
    book: Path, tmp_path: Path, lines: list[str | bytes], header: dict[str, Any]
) -> None:
    path = bundle(tmp_path / "b", *lines, **header)
    with Store.open(book) as store:
        before = store.standing()
        try:
            with read(str(path)) as (_, facts):
                store.merge(facts, outside=True, keep=False)
        except (BadInput, BookTrouble) as told:
            steering = "\x1b" in str(told)
            assert not steering
        assert store.standing() == before


@settings(
    max_examples=2_000 if LONG else 20,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.function_scoped_fixture],
)
@given(raw=st.lists(_lines(), max_size=3), form=st.sampled_from(["csv", "jsonl", ""]), head=st.booleans())
def test_no_made_up_file_of_notes_gets_a_traceback(
    book: Path, tmp_path: Path, raw: list[str | bytes], form: str, head: bool
) -> None:
    path = tmp_path / "notes"
    lines = [b"make,model,date,form,note"] if head else []
    lines += [one if isinstance(one, bytes) else one.encode("utf-8", "surrogatepass") for one in raw]
    path.write_bytes(b"\n".join(lines))
    with Store.open(book) as store:
        before = store.standing()
        try:
            load(store, [str(path)], Source(form=form), dry_run=True)
        except (BadInput, BookTrouble) as told:
            steering = "\x1b" in str(told)
            assert not steering
        assert store.standing() == before
