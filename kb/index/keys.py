"""Make the keys of deletion neighbourhoods, by which a damaged code finds stored ones.

The table stores each set under the hash of its folded code, and of that code without any one character. One
slip of any kind leaves the two neighbourhoods with a common member. To find two slips, the query tries every
second slip on its own side. That is some thousand tries for a code of nine characters. Two things make them
affordable:

* The hash is CRC-32, which is affine. Changing one character changes the CRC by a constant that depends on
  the change and on the distance from the end. So each try is one XOR.
* A bit map next to the table (``Bits``) says at once that a hash is not stored, so few tries reach SQLite.

A key is one integer, hash in the upper bits and id in the lower 24. So the table is a plain B-tree of
integers: 13 bytes per key (the same as a pair without rowid takes 16; measured with 11 million keys).
"""

from __future__ import annotations

import mmap
import os
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from zlib import crc32

from kb.index.normalize import FOLDED_ALPHABET

ID_BITS = 24
MAX_ID = (1 << ID_BITS) - 1

CODE, MAKE, PREFIX, SHAPE = crc32(b"code"), crc32(b"make"), crc32(b"prefix"), crc32(b"shape")
"""Start values of the hash, one for each kind of key."""

_BYTES = FOLDED_ALPHABET.encode()
MIN_PREFIX = 4
"""The bit map knows beginnings of a code from this length on."""


def _zero_tables(longest: int) -> list[list[int]]:
    """Return ``tables[tail][x]``: the CRC change of XOR-ing ``x`` into the byte with ``tail`` after it."""
    tables: list[list[int]] = []
    row = [crc32(bytes([x])) ^ crc32(b"\0") for x in range(256)]
    steps = row
    for _ in range(longest):
        tables.append(row)
        row = [(value >> 8) ^ steps[value & 255] for value in row]
    return tables


_TABLES: list[list[int]] = []


def _tables() -> list[list[int]]:
    if not _TABLES:
        _TABLES.extend(_zero_tables(_LONGEST + 1))  # one character may be inserted
    return _TABLES


_LONGEST = 48


def encode(folded: str) -> bytes:
    """Return the bytes to hash; other scripts than Latin take several bytes per character."""
    return folded.encode()[:_LONGEST]


def one_less(code: bytes, start: int = CODE) -> list[int]:
    """Return the hashes of the code and of every code with one byte left out."""
    out = [crc32(code, start)]
    head = start
    for at in range(len(code)):
        out.append(crc32(code[at + 1 :], head))
        head = crc32(code[at : at + 1], head)
    return out


def stored_hashes(folded: str, start: int = CODE) -> set[int]:
    """Return the stored hashes of a code or make: its own, and from three characters on one left out."""
    code = encode(folded)
    return set(one_less(code, start)) if len(code) >= 3 else {crc32(code, start)}


def prefix_hashes(folded: str) -> list[int]:
    """Return the hashes of a code's beginnings, for the bit map only."""
    code = encode(folded)
    return [crc32(code[:size], PREFIX) for size in range(MIN_PREFIX, len(code))]


def swapped(code: bytes) -> list[bytes]:
    """Return the code with each pair of different neighbours swapped."""
    return [
        code[:at] + code[at + 1 : at + 2] + code[at : at + 1] + code[at + 2 :]
        for at in range(len(code) - 1)
        if code[at] != code[at + 1]
    ]


def less(code: bytes) -> list[bytes]:
    """Return the code with each one byte left out."""
    return [code[:at] + code[at + 1 :] for at in range(len(code))]


def _changes(tail: int, old: int) -> list[int]:
    """Return what each character of the alphabet, in place of ``old``, adds to a CRC by XOR.

    ``tail`` characters follow it.
    """
    found = _CHANGES.get((tail, old))
    if found is None:
        table = _tables()[tail]
        found = _CHANGES[tail, old] = [table[char ^ old] for char in _BYTES]
    return found


_CHANGES: dict[tuple[int, int], list[int]] = {}


def substituted_hashes(code: bytes, start: int, first: int = 0) -> list[int]:
    """Return hashes of the code with one byte, from ``first`` on, replaced by each of the alphabet."""
    base = crc32(code, start)
    out: list[int] = []
    for tail, old in enumerate(code[: first - 1 if first else None : -1]):
        out += [base ^ change for change in _changes(tail, old)]
    return out


def inserted_hashes(code: bytes, start: int) -> list[int]:
    """Return hashes of the code with one character of the alphabet inserted at each position."""
    out: list[int] = []
    for at in range(len(code) + 1):
        base = crc32(code[:at] + b"\0" + code[at:], start)
        out += [base ^ change for change in _changes(len(code) - at, 0)]
    return out


def within_one(code: bytes) -> set[int]:
    """Return hashes that meet the stored ones of every code at most one slip away."""
    return set(one_less(code)).union(crc32(other, CODE) for other in swapped(code))


def within_two(code: bytes, unknown: int = 0) -> list[int]:
    """Return hashes that meet the stored ones of every code at most two slips away.

    ``unknown`` unreadable characters are missing from ``code``. The stored side leaves out one of them, so
    one slip (or one more unreadable character) is tried.
    """
    shorter = less(code)
    out = substituted_hashes(code, CODE)  # one lost, one replaced
    out += inserted_hashes(code, CODE)  # two lost
    out += [crc32(other, CODE) for other in (*swapped(code), *shorter)]
    if unknown:
        return out
    for at, other in enumerate(shorter):  # two replaced: the first is the one left out
        out += substituted_hashes(other, CODE, at)
    for at, other in enumerate(shorter):  # two added
        out += [crc32(other[:end] + other[end + 1 :], CODE) for end in range(at, len(other))]
    for other in swapped(code):  # a swap, and another slip
        out += [crc32(both, CODE) for both in (*less(other), *swapped(other))]
    return out


def prefix_within_one(code: bytes, keep: Callable[[list[int]], list[int]]) -> Iterator[bytes]:
    """Yield each beginning at most one slip away from the code whose hash ``keep`` returns."""
    for other in (*less(code), *swapped(code)):
        if keep([crc32(other, PREFIX)]):
            yield other
    places = [(code[:at], code[at], code[at + 1 :]) for at in range(len(code))]
    places += [(code[:at], 0, code[at:]) for at in range(len(code) + 1)]
    for head, old, tail in places:
        base = crc32(head + bytes([old]) + tail, PREFIX)
        hashes = [base ^ change for change in _changes(len(tail), old)]
        for value in keep(hashes):
            yield head + _BYTES[(at := hashes.index(value)) : at + 1] + tail


def packed(hashes: Iterable[int], ident: int) -> list[int]:
    """Return keys as stored: hash and id in one integer below 2**56."""
    return [value << ID_BITS | ident for value in hashes]


class Bits:
    """Answer whether a hash is stored, from a bit map in a file: "no" is certain, "yes" needs a look-up.

    Bits are only added, and before the rows are committed. So a crash leaves bits without rows, which cost a
    look-up each, never rows without bits.
    """

    SPARE = 16  # bits per key at building, which gives about 6% of false "yes"

    def __init__(self, path: Path, *, write: bool = False) -> None:
        self._file = os.open(path, os.O_RDWR if write else os.O_RDONLY)
        try:
            size = os.fstat(self._file).st_size
            if size < 1024 or size & (size - 1):
                raise ValueError(f"{path.name}: {size} bytes, expected a power of two from 1024")
            access = mmap.ACCESS_WRITE if write else mmap.ACCESS_READ
            self._map = mmap.mmap(self._file, size, access=access)
        except BaseException:
            os.close(self._file)
            raise
        self.shift = 32 - (size * 8).bit_length() + 1

    @staticmethod
    def create(path: Path, keys: int) -> None:
        """Create an empty map for ``keys`` hashes; at least 64 kbit."""
        bits = 1 << 16
        while bits < keys * Bits.SPARE and bits < 1 << 30:
            bits <<= 1
        with open(path, "xb", opener=private_opener) as file:
            file.truncate(bits // 8)

    def keep(self, hashes: Iterable[int]) -> list[int]:
        """Return those of ``hashes`` that may be stored."""
        bits, shift = self._map, self.shift
        byte = shift + 3
        return [h for h in hashes if bits[h >> byte] >> (h >> shift & 7) & 1]

    def may_hold(self, value: int) -> bool:
        """Return whether the hash may be stored."""
        at = value >> self.shift
        return bool(self._map[at >> 3] >> (at & 7) & 1)

    def add(self, hashes: Iterable[int]) -> None:
        """Set the bits of ``hashes``."""
        bits, shift = self._map, self.shift
        for value in hashes:
            at = value >> shift
            bits[at >> 3] |= 1 << (at & 7)

    def flush(self) -> None:
        """Write the bits to the disk."""
        self._map.flush()

    @property
    def room(self) -> int:
        """Return the number of hashes that the map was made for."""
        return len(self._map) * 8 // self.SPARE

    def close(self) -> None:
        """Close the file."""
        self._map.close()
        os.close(self._file)


def private_opener(path: str, flags: int) -> int:
    """Open a new file that only its owner can read; for ``open(..., opener=)``."""
    return os.open(path, flags, 0o600)
