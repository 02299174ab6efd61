"""The neighbourhoods miss nothing: properties of keys, folding and readings."""

from __future__ import annotations

import random
from pathlib import Path
from zlib import crc32

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rapidfuzz.distance import OSA

from kb.index import keys as k
from kb.index.normalize import FOLDED_ALPHABET, LOOK_ALIKES, fold, normalise, shape

CODES = st.text(alphabet=FOLDED_ALPHABET, min_size=5, max_size=12)
SLIPS = st.lists(
    st.tuples(st.sampled_from("idst"), st.integers(0, 99), st.sampled_from(FOLDED_ALPHABET)), max_size=2
)


def damaged(code: str, slips: list[tuple[str, int, str]]) -> str:
    for kind, place, char in slips:
        at = place % len(code)
        if kind == "i":
            code = code[:at] + char + code[at:]
        elif kind == "d" and len(code) > 3:
            code = code[:at] + code[at + 1 :]
        elif kind == "s":
            code = code[:at] + char + code[at + 1 :]
        elif kind == "t":
            code = code[:at] + code[at + 1 : at + 2] + code[at : at + 1] + code[at + 2 :]
    return code


@given(CODES, SLIPS)
def test_two_slips_of_any_kind_leave_a_common_key(code: str, slips: list[tuple[str, int, str]]) -> None:
    read = damaged(code, slips)
    stored = k.stored_hashes(code)
    if OSA.distance(code, read) <= 1:
        assert stored & k.within_one(read.encode())
    else:
        assert stored & (k.within_one(read.encode()) | set(k.within_two(read.encode())))


@given(CODES, st.integers(0, 99), SLIPS)
def test_an_unreadable_character_and_a_slip_leave_a_common_key(
    code: str, place: int, slips: list[tuple[str, int, str]]
) -> None:
    at = place % len(code)
    rest = damaged(code[:at] + code[at + 1 :], slips[:1])
    assert k.stored_hashes(code) & ({*k.one_less(rest.encode())} | set(k.within_two(rest.encode(), 1)))


@given(CODES, st.sampled_from([k.CODE, k.MAKE, k.PREFIX]))
def test_hashes_by_xor_are_the_checksums_of_the_changed_codes(code: str, start: int) -> None:
    own = code.encode()
    letters = FOLDED_ALPHABET.encode()
    assert set(k.substituted_hashes(own, start)) == {
        crc32(own[:at] + bytes([x]) + own[at + 1 :], start) for at in range(len(own)) for x in letters
    }
    assert set(k.inserted_hashes(own, start)) == {
        crc32(own[:at] + bytes([x]) + own[at:], start) for at in range(len(own) + 1) for x in letters
    }
    asked: list[int] = []

    def keep(hashes: list[int]) -> list[int]:
        asked.extend(hashes)
        return hashes

    assert [crc32(text, k.PREFIX) for text in k.prefix_within_one(own, keep)] == asked


def test_the_bit_map_never_denies_what_was_added_and_seldom_affirms_the_rest(tmp_path: Path) -> None:
    draw = random.Random(2)
    held = [draw.getrandbits(32) for _ in range(20_000)]
    k.Bits.create(tmp_path / "bits", len(held))
    bits = k.Bits(tmp_path / "bits", write=True)
    bits.add(held)
    assert bits.keep(held) == held
    assert all(map(bits.may_hold, held))
    others = [draw.getrandbits(32) for _ in range(20_000)]
    assert len(bits.keep(others)) < 0.09 * len(others)
    bits.close()


@given(st.text(max_size=60))
def test_normalising_twice_changes_nothing_more(text: str) -> None:
    once = normalise(text)
    assert normalise(once) == once[:40]
    assert len(once) <= 40


def test_every_look_alike_folds_to_one_character_and_nothing_else_does() -> None:
    for group in LOOK_ALIKES:
        assert len({fold(char) for char in group}) == 1
    signs = "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789"
    assert {fold(char) for char in signs} == set(FOLDED_ALPHABET)


@pytest.mark.parametrize(
    ("code", "skeleton"),
    [("NV40210XA", "NV#####"), ("32C77", "##C##"), ("NV4O210", "NV#####"), ("ABC", ""), ("", "")],
)
def test_the_skeleton_masks_digits_and_cuts_the_suffix(code: str, skeleton: str) -> None:
    assert shape(code) == skeleton
