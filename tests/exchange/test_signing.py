"""A key is one person's: one under which anybody could sign is none (edwards25519, RFC 8032, 5.1)."""

from __future__ import annotations

import base64
import json
from pathlib import Path

import pytest

from kb.base.errors import BadInput
from kb.exchange import share_state
from kb.exchange.share_state import SMALL, read_key
from kb.exchange.signing import own_key, public, sign, signer
from kb.settings import SHARE
from tests.cli.conftest import Run

P = 2**255 - 19
D = -121665 * pow(121666, -1, P) % P
ORDER = 2**252 + 27742317777372353535851937790883648493
Point = tuple[int, int]


def x_of(y: int) -> int | None:
    """x of the point of the curve with this y, if there is one."""
    square = (y * y - 1) * pow(D * y * y + 1, -1, P) % P
    root = pow(square, (P + 3) // 8, P)
    if (root * root - square) % P:
        root = root * pow(2, (P - 1) // 4, P) % P
    return root if (root * root - square) % P == 0 else None


def added(one: Point, other: Point) -> Point:
    (x1, y1), (x2, y2) = one, other
    k = D * x1 * x2 * y1 * y2 % P
    return (
        (x1 * y2 + x2 * y1) * pow(1 + k, -1, P) % P,
        (y1 * y2 + x1 * x2) * pow(1 - k, -1, P) % P,
    )


def times(point: Point, count: int) -> Point:
    done: Point = (0, 1)
    while count:
        if count & 1:
            done = added(done, point)
        point = added(point, point)
        count >>= 1
    return done


def test_the_points_of_small_order_are_those_of_the_curve() -> None:
    """Any point times the order of the main group is one of them; every one is met."""
    met = set()
    for y in range(2, 60):
        if (x := x_of(y)) is not None:
            met.add(times((x, y), ORDER)[1])
    assert met == SMALL


@pytest.mark.parametrize("y", [*sorted(SMALL), P, P + 1, 2**255 - 1])
@pytest.mark.parametrize("sign_bit", [0, 1 << 255])
def test_a_key_under_which_anybody_could_sign_is_none(y: int, sign_bit: int) -> None:
    key = base64.b64encode((y | sign_bit).to_bytes(32, "little")).decode()
    with pytest.raises(BadInput, match="public key"):
        read_key(key)
    for number in range(40):  # without the rule one in a few of these holds
        with pytest.raises(BadInput):
            signer({"key": key, "signature": "A" * 86 + "=="}, str(number).encode())


def test_such_a_key_is_not_trusted(jackfield: Run, tmp_path: Path) -> None:
    path = tmp_path / "weak.key"
    path.write_text(json.dumps({"jackfield": "key", "name": "RT", "ed25519": "A" * 43 + "="}))
    done = jackfield("share", "trust", path)
    assert (done.code, "public key" in done.err) == (2, True)


def test_who_has_a_key_is_told_when_a_bundle_goes_out_without_it(jackfield: Run, tmp_path: Path) -> None:
    pytest.importorskip("cryptography")
    jackfield("record", "Norwell", "NV40-210", "hp:mute")
    assert "not signed" not in jackfield("share", "out", tmp_path / "first.jsonl").err
    jackfield("share", "key", tmp_path / "rt.key", "--name", "RT")
    assert "not signed" in jackfield("share", "out", tmp_path / "plain.jsonl").err
    assert "not signed" not in jackfield("share", "out", tmp_path / "signed.jsonl", "--sign").err


def test_a_signature_holds_for_what_was_signed_alone(tmp_path: Path) -> None:
    pytest.importorskip("cryptography")
    key = own_key(tmp_path, make=True)
    assert key is not None
    mark = sign(key, b"what was said")
    assert signer(mark, b"what was said") == public(key) == read_key(public(key))
    with pytest.raises(BadInput, match="an invalid signature"):
        signer(mark, b"what was not")


@pytest.mark.parametrize(
    ("said", "why"),
    [
        ('{"peers": {}, "peers": {}}', "occurs twice"),
        ('{"peers": {}, "approved": [], "declined": []}', "trusted: missing"),
        ('{"peers": [], "approved": [], "declined": [], "trusted": {}}', "peers: saw a list"),
        ('{"peers": {}, "approved": ["x"], "declined": [], "trusted": {}}', "approved 1: saw 'x'"),
        ('{"peers": {}, "approved": [], "declined": [], "trusted": {}, "signed_only": 1}', "true or false"),
    ],
)
def test_a_damaged_list_of_colleagues_is_named_with_its_field(tmp_path: Path, said: str, why: str) -> None:
    (tmp_path / SHARE).write_text(said)
    with pytest.raises(BadInput, match=why) as caught:
        share_state.load(tmp_path)
    assert str(caught.value).startswith(str(tmp_path / SHARE))
